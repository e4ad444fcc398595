/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "point_study.h"

#include "daemon/basics/body.h"
#include "encode_outlook.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Places of the course: more readings than these are looked at in means. */
enum { COURSE = 65536 };

bool point_study_begin(struct point_study *study, const struct run_record *record,
                       const char *point, int64_t rounds, size_t buckets, struct failure *failure)
{
    memset(study, 0, sizeof *study);
    study->record = record;
    study->state = burnin_state_new();
    study->course = track_begin(COURSE);
    snprintf(study->point, sizeof study->point, "%s", point);
    if (!run_record_point(record, point, &study->unit_number, &study->drift))
        return failure_set(failure, FAILURE_SETTINGS, record->run, "a point of its plan",
                           "the run has no point %.120s", point);
    study->rounds = rounds > 0 ? rounds : 1;
    study->bucket_count = study->rounds < (int64_t)buckets ? (size_t)study->rounds : buckets;
    study->buckets = calloc(study->bucket_count, sizeof *study->buckets);
    return study->buckets != NULL || failure_no_memory(failure, "a study");
}

void point_study_end(struct point_study *study)
{
    track_end(&study->course);
    free(study->buckets);
    study->buckets = NULL;
}

static struct study_bucket *bucket_of(struct point_study *study, int64_t round)
{
    int64_t index = (round - 1) * (int64_t)study->bucket_count / study->rounds;
    size_t last = study->bucket_count - 1;
    struct study_bucket *bucket =
        &study->buckets[index < 0 || (size_t)index > last ? last : (size_t)index];
    bucket->first = bucket->first == 0 ? round : bucket->first;
    bucket->last = round;
    return bucket;
}

static void bucket_add(struct study_bucket *bucket, double value)
{
    bucket->minimum = bucket->count == 0 ? value : fmin(bucket->minimum, value);
    bucket->maximum = bucket->count == 0 ? value : fmax(bucket->maximum, value);
    bucket->sum += value;
    bucket->count++;
}

/* Counts one more use of what is known by these texts. */
static void note_use(struct study_uses *uses, const struct study_use *use)
{
    size_t i = 0;
    while (i < uses->count && (strcmp(uses->uses[i].text, use->text) != 0 ||
                               strcmp(uses->uses[i].identity, use->identity) != 0 ||
                               strcmp(uses->uses[i].calibration_due, use->calibration_due) != 0))
        i++;
    if (i == STUDY_USES)
        return;
    if (i == uses->count)
        uses->uses[uses->count++] = *use;
    uses->uses[i].readings++;
}

static void note_text(struct study_uses *uses, const char *text)
{
    struct study_use use = { .factor = NAN };
    snprintf(use.text, sizeof use.text, "%s", text != NULL ? text : "");
    note_use(uses, &use);
}

static void note_uses(struct point_study *study, const struct store_row *row, const json_t *body)
{
    struct study_use use = { .factor = NAN };
    snprintf(use.text, sizeof use.text, "%s", row->instrument != NULL ? row->instrument : "");
    snprintf(use.identity, sizeof use.identity, "%s", row->identity != NULL ? row->identity : "");
    snprintf(use.calibration_due, sizeof use.calibration_due, "%s",
             row->calibration_due != NULL ? row->calibration_due : "");
    note_use(&study->instruments, &use);
    struct study_use probe = { .factor = body_number(json_object_get(body, "probe"), "factor") };
    snprintf(probe.text, sizeof probe.text, "%s",
             body_text(json_object_get(body, "probe"), "name"));
    note_use(&study->probes, &probe);
    note_text(&study->settings, row->settings_digest);
    note_text(&study->versions, row->version);
}

/* The limits as the reading has them. */
static struct limits limits_of(const json_t *body)
{
    const json_t *written = json_object_get(body, "limits");
    struct limits limits = limits_none();
    double low = body_number(written, "low");
    double high = body_number(written, "high");
    double guard = body_number(written, "guard");
    double risk = body_number(written, "risk");
    const char *decision = body_text(written, "decision");
    limits.low = isnan(low) ? -INFINITY : low;
    limits.high = isnan(high) ? INFINITY : high;
    limits.guard = isnan(guard) ? limits.guard : guard;
    limits.risk = isnan(risk) ? limits.risk : risk;
    if (strcmp(decision, decision_name(DECISION_SIMPLE)) == 0)
        limits.decision = DECISION_SIMPLE;
    if (strcmp(decision, decision_name(DECISION_RISK)) == 0)
        limits.decision = DECISION_RISK;
    judged_from_name(body_text(written, "judge"), &limits.judged);
    return limits;
}

/* The guard band that the verdict kept; of a reading that does not tell, a whole uncertainty. */
static double guard_of(const json_t *body, const struct limits *limits)
{
    const json_t *from =
        limits->judged == JUDGED_VALUE ? body : json_object_get(body, "comparison");
    double band = body_number(body, "guard_band");
    double uncertainty = json_number_value(json_object_get(from, "uncertainty"));
    return isnan(band) ? limits->guard * uncertainty : band;
}

static void note_limits(struct point_study *study, int64_t round, const struct limits *limits,
                        const json_t *body)
{
    const struct burnin_schedule *schedule = &study->record->schedule;
    struct study_limits *phase =
        &study->limits[burnin_phase(schedule, burnin_due(schedule, round))];
    if (!limits_present(limits))
        return;
    phase->first = phase->first == 0 ? round : phase->first;
    phase->last = round;
    phase->limits = *limits;
    phase->guard = guard_of(body, limits);
}

/* Figures over all readings after warm-up; mean and squares after Welford (1962; from memory). */
static bool note_figures(struct point_study *study, const struct store_row *row,
                         const struct burnin_outcome *outcome)
{
    struct study_mark mark = { row->value, row->round };
    study->readings++;
    study->verdicts[outcome->verdict]++;
    if (study->minimum.round == 0 || mark.value < study->minimum.value)
        study->minimum = mark;
    if (study->maximum.round == 0 || mark.value > study->maximum.value)
        study->maximum = mark;
    if (study->first.round == 0)
        study->first = mark;
    study->last = mark;
    study->last_uncertainty = row->uncertainty;
    study->uncertainty = fmax(study->uncertainty, row->uncertainty);
    double off = mark.value - study->mean;
    study->mean += off / (double)study->readings;
    study->squares += off * (mark.value - study->mean);
    return track_add(&study->course, burnin_hours(&study->record->schedule, row->round),
                     row->value);
}

/* Judges it as the run did; a trip is noted when it comes to be. */
static void judge(struct point_study *study, const struct limits *limits,
                  const struct burnin_outcome *outcome)
{
    const struct burnin_demands demands = { .limits = limits,
                                            .drift = study->drift,
                                            .rules = study->record->rules };
    int64_t failures = study->state.failures;
    if (burnin_judge(&study->state, &demands, outcome))
        study->trip = *outcome;
    if (study->state.failures > failures)
        study->causes[study->state.cause]++;
}

double burnin_step_in(const json_t *body)
{
    const json_t *range = json_object_get(body, "range");
    double step = body_number(range, "resolution") *
                  fabs(body_number(json_object_get(body, "probe"), "factor"));
    return step > 0 && json_object_get(range, "unit") == NULL ? step : 0;
}

/* Notes what kind of figure it is, and how finely it was shown. */
static void note_kind(struct point_study *study, const struct store_row *row, const json_t *body)
{
    double step = burnin_step_in(body);
    snprintf(study->unit, sizeof study->unit, "%s", row->unit != NULL ? row->unit : "");
    snprintf(study->quantity, sizeof study->quantity, "%s", body_text(body, "quantity"));
    if (step > 0 && (study->quantum == 0 || step < study->quantum))
        study->quantum = step;
}

static bool read_value(struct point_study *study, const struct store_row *row, const json_t *body)
{
    struct limits limits = limits_of(body);
    double judged = body_number(json_object_get(body, "comparison"), "value");
    struct burnin_outcome outcome = { .round = row->round,
                                      .value = row->value,
                                      .judged = isnan(judged) ? row->value : judged,
                                      .step = burnin_step_in(body) };
    outcome.warm_up = burnin_warms(&study->record->schedule, row->round);
    if (row->verdict != NULL)
        verdict_from_name(row->verdict, &outcome.verdict);
    int64_t failures = study->state.failures;
    judge(study, &limits, &outcome);
    struct study_bucket *bucket = bucket_of(study, row->round);
    bucket_add(bucket, row->value);
    bucket->average = study->state.chart.baseline.count > 0 ? study->state.chart.average : NAN;
    bucket->failures += study->state.failures - failures;
    note_kind(study, row, body);
    note_limits(study, row->round, &limits, body);
    note_uses(study, row, body);
    study->warm += outcome.warm_up;
    return outcome.warm_up || note_figures(study, row, &outcome);
}

void point_study_miss(struct point_study *study, int64_t round, const char *reason)
{
    struct limits limits = limits_none();
    struct burnin_outcome outcome = { .round = round, .failure = failure_from_reason(reason) };
    outcome.warm_up = burnin_warms(&study->record->schedule, round);
    int64_t failures = study->state.failures, lost = study->state.lost;
    judge(study, &limits, &outcome);
    struct study_bucket *bucket = bucket_of(study, round);
    bucket->failures += study->state.failures - failures;
    bucket->lost += study->state.lost - lost;
    if (study->state.lost > lost)
        note_text(&study->reasons, reason);
}

bool point_study_take(struct point_study *study, const struct store_row *row, bool intact)
{
    if (!intact || row->round < 1) {
        study->altered++;
        return true;
    }
    if (row->reason != NULL) {
        point_study_miss(study, row->round, row->reason);
        return true;
    }
    json_t *body = json_loads(row->body, 0, NULL);
    bool taken = body != NULL && read_value(study, row, body);
    json_decref(body);
    return taken;
}
