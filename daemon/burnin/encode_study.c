/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "daemon/encode/encode.h"
#include "encode_outlook.h"
#include "point_study.h"

#include <math.h>
#include <stdlib.h>

static struct plan_time due_of(const struct point_study *study, int64_t round)
{
    return burnin_due(&study->record->schedule, round);
}

static void member_round(struct text *text, const struct point_study *study, int64_t round)
{
    encode_plan_time(text, "time", due_of(study, round));
    text_member_integer(text, "round", round);
}

/* A figure with its round; left out when there is none. `uncertainty` NAN: it has none. */
static void member_mark(struct text *text, const char *key, const struct point_study *study,
                        const struct study_mark *mark, double uncertainty)
{
    if (mark->round == 0)
        return;
    text_member_open(text, key, '{');
    text_member_number(text, "value", mark->value);
    text_member_number(text, "uncertainty", uncertainty);
    member_round(text, study, mark->round);
    text_close(text, '}');
}

/* What it may move in. */
static void encode_band(struct text *text, const struct point_study *study)
{
    double reference, bound;
    if (!burnin_drift_band(&study->state, &study->drift, &reference, &bound))
        return;
    text_member_number(text, "low", reference - bound);
    text_member_number(text, "high", reference + bound);
}

/* Failures by their cause, and what stood in the way of readings. */
static void encode_troubles(struct text *text, const struct point_study *study)
{
    text_member_open(text, "causes", '{');
    for (size_t i = 0; i < sizeof study->causes / sizeof *study->causes; i++)
        if (study->causes[i] > 0)
            text_member_integer(text, burnin_cause_name((enum burnin_cause)i), study->causes[i]);
    text_close(text, '}');
    text_member_open(text, "reasons", '{');
    for (size_t i = 0; i < study->reasons.count; i++)
        text_member_integer(text, study->reasons.uses[i].text, study->reasons.uses[i].readings);
    text_close(text, '}');
}

/* The control chart of a check standard, once its window is full. */
static void encode_chart(struct text *text, const struct point_study *study)
{
    const struct control_chart *chart = &study->state.chart;
    double deviation = control_chart_deviation(chart);
    if (isnan(deviation))
        return;
    text_member_open(text, "chart", '{');
    text_member_integer(text, "window", chart->window);
    text_member_number(text, "centre", chart->baseline.mean);
    text_member_number(text, "limit", control_sigmas * deviation);
    text_member_number(text, "average", chart->average);
    text_member_number(text, "average_limit",
                       control_average_limit(deviation, control_weight, control_sigmas));
    text_member_integer(text, "out_of_control", study->causes[BURNIN_CONTROL]);
    text_close(text, '}');
}

static void encode_figures(struct text *text, const struct point_study *study)
{
    double readings = (double)study->readings;
    member_mark(text, "minimum", study, &study->minimum, NAN);
    member_mark(text, "maximum", study, &study->maximum, NAN);
    member_mark(text, "first", study, &study->first, NAN);
    member_mark(text, "last", study, &study->last, study->last_uncertainty);
    if (study->readings == 0)
        return;
    text_member_number(text, "mean", study->mean);
    if (study->readings > 1)
        text_member_number(text, "standard_deviation", sqrt(study->squares / (readings - 1)));
    text_member_number(text, "uncertainty", study->uncertainty);
    text_member_open(text, "drift", '{');
    text_member_number(text, "value", study->last.value - study->state.first);
    text_member_number(text, "uncertainty", baseline_uncertainty(&study->state.baseline, false));
    text_member_integer(text, "window", study->state.baseline.count);
    if (study->state.drift_worst != VERDICT_NONE)
        text_member_string(text, "verdict", verdict_name(study->state.drift_worst));
    text_member_number(text, "bound", study->drift.bound);
    text_member_number(text, "relative", study->drift.relative);
    text_member_number(text, "reference", study->drift.reference);
    encode_band(text, study);
    text_close(text, '}');
}

static void encode_verdicts(struct text *text, const struct point_study *study)
{
    enum verdict worst = study->state.drift_worst;
    text_member_open(text, "verdicts", '{');
    for (int verdict = 0; verdict < VERDICT_COUNT; verdict++) {
        text_member_integer(text, verdict_name((enum verdict)verdict), study->verdicts[verdict]);
        if (study->verdicts[verdict] > 0)
            worst = verdict_worse(worst, (enum verdict)verdict);
    }
    text_close(text, '}');
    text_member_string(text, "verdict", verdict_name(worst));
    const struct study_mark margin = { study->state.worst, study->state.worst_round };
    member_mark(text, "worst_margin", study, &margin, NAN);
    if (study->trip.round == 0)
        return;
    text_member_open(text, "trip", '{');
    member_round(text, study, study->trip.round);
    text_member_string(text, "cause", burnin_cause_name(study->state.trip));
    text_close(text, '}');
}

static void encode_phase_limits(struct text *text, const struct point_study *study, size_t phase)
{
    const struct study_limits *held = &study->limits[phase];
    if (held->first == 0)
        return;
    text_open(text, '{');
    text_member_string(text, "phase", run_record_phase(study->record, phase));
    text_member_number(text, "low", held->limits.low);
    text_member_number(text, "high", held->limits.high);
    text_member_string(text, "decision", decision_name(held->limits.decision));
    text_member_number(text, "guard", held->guard);
    if (held->limits.judged != JUDGED_VALUE)
        text_member_string(text, "judge", judged_name(held->limits.judged));
    encode_plan_time(text, "from", due_of(study, held->first));
    encode_plan_time(text, "to", due_of(study, held->last));
    text_close(text, '}');
}

static void encode_history(struct text *text, const struct point_study *study)
{
    text_member_open(text, "history", '[');
    for (size_t i = 0; i < study->bucket_count; i++) {
        const struct study_bucket *bucket = &study->buckets[i];
        if (bucket->first == 0)
            continue;
        text_open(text, '{');
        encode_plan_time(text, "time", due_of(study, bucket->first));
        encode_plan_time(text, "to", due_of(study, bucket->last));
        if (bucket->count > 0) {
            text_member_number(text, "minimum", bucket->minimum);
            text_member_number(text, "maximum", bucket->maximum);
            text_member_number(text, "mean", bucket->sum / (double)bucket->count);
        }
        if (bucket->count > 0 && study->state.chart.window > 0)
            text_member_number(text, "average", bucket->average);
        text_member_integer(text, "count", bucket->count);
        text_member_integer(text, "failures", bucket->failures);
        text_member_integer(text, "lost", bucket->lost);
        text_close(text, '}');
    }
    text_close(text, ']');
}

/* Instruments have an identity and a calibration, probes a factor; the other is left out. */
static void encode_uses(struct text *text, const char *key, const struct study_uses *uses)
{
    text_member_open(text, key, '[');
    for (size_t i = 0; i < uses->count; i++) {
        const struct study_use *use = &uses->uses[i];
        text_open(text, '{');
        text_member_string(text, "name", use->text);
        text_member_string(text, "identity", use->identity);
        text_member_string(text, "calibration_due", use->calibration_due);
        text_member_number(text, "factor", use->factor);
        text_member_integer(text, "readings", use->readings);
        text_close(text, '}');
    }
    text_close(text, ']');
}

static void encode_texts(struct text *text, const char *key, const struct study_uses *uses)
{
    text_member_open(text, key, '[');
    for (size_t i = 0; i < uses->count; i++)
        text_string(text, uses->uses[i].text);
    text_close(text, ']');
}

/* The round that a place of the course stands for. */
static int64_t round_at(const struct point_study *study, size_t place)
{
    const struct burnin_schedule *schedule = &study->record->schedule;
    return llround(study->course.times[place] * 3600 / duration_seconds(schedule->every)) + 1;
}

static void encode_step(struct text *text, const struct point_study *study,
                        const struct history_finding *finding)
{
    if (finding->step_at == 0)
        return;
    text_member_open(text, "step", '{');
    text_member_number(text, "value", finding->step);
    text_member_number(text, "standard_uncertainty", finding->step_standard);
    member_round(text, study, round_at(study, finding->step_at));
    text_close(text, '}');
}

static void encode_excursions(struct text *text, const struct point_study *study,
                              const struct history_finding *finding)
{
    const struct excursions *found = &finding->excursions;
    int64_t last = round_at(study, found->last);
    if (found->count == 0)
        return;
    text_member_open(text, "excursions", '{');
    text_member_integer(text, "count", (int64_t)found->count);
    text_member_integer(text, "longest", (int64_t)(found->longest * study->course.stride));
    text_member_number(text, "value", found->largest);
    member_round(text, study, round_at(study, found->first));
    encode_plan_time(text, "last_time", due_of(study, last));
    text_member_integer(text, "last_round", last);
    text_close(text, '}');
}

static void encode_finding(struct text *text, const struct point_study *study,
                           const struct outlook *outlook)
{
    const struct history_finding *finding = &outlook->finding;
    text_member_open(text, "finding", '{');
    text_member_string(text, "kind", history_kind_name(finding->kind));
    text_member_number(text, "noise", finding->noise);
    if (study->course.stride > 1)
        text_member_integer(text, "means_of", (int64_t)study->course.stride);
    if (outlook->compared)
        text_member_string(text, "background", background_name(outlook->background));
    if (outlook->day > 0)
        text_member_number(text, "daily_swing", outlook->day);
    encode_step(text, study, finding);
    encode_excursions(text, study, finding);
    text_close(text, '}');
}

/* Where it is going, from its course and the limits of its last phase. */
static bool encode_course(struct text *text, const struct point_study *study)
{
    const struct track *course = &study->course;
    const struct study_limits *held = NULL;
    struct outlook outlook;
    if (course->count == 0)
        return true;
    double *scratch = malloc(2 * course->count * sizeof *scratch);
    if (scratch == NULL)
        return false;
    for (size_t i = 0; i < BURNIN_PHASES; i++)
        if (study->limits[i].first != 0)
            held = &study->limits[i];
    outlook_find(course->times, course->values, course->count, study->quantum,
                 held != NULL ? &held->limits : NULL, scratch, &outlook);
    free(scratch);
    encode_trend(text, &outlook, study->record->schedule.first);
    if (outlook.studied)
        encode_finding(text, study, &outlook);
    return true;
}

bool point_study_encode(const struct point_study *study, struct text *text, struct failure *failure)
{
    text_open(text, '{');
    text_member_string(text, "run", study->record->run);
    text_member_string(text, "plan", study->record->plan);
    text_member_string(text, "point", study->point);
    if (study->unit_number != 0)
        text_member_integer(text, "unit_number", study->unit_number);
    text_member_string(text, "quantity", study->quantity);
    text_member_string(text, "unit", study->unit);
    text_member_integer(text, "readings", study->readings);
    text_member_integer(text, "warm_up", study->warm);
    text_member_integer(text, "failures", study->state.failures);
    text_member_integer(text, "lost", study->state.lost);
    text_member_integer(text, "altered", study->altered);
    text_member_bool(text, "removed", study->removed);
    if (study->state.dead)
        text_member_bool(text, "dead", true);
    encode_figures(text, study);
    encode_troubles(text, study);
    encode_chart(text, study);
    encode_verdicts(text, study);
    text_member_open(text, "limits", '[');
    for (size_t i = 0; i < study->record->schedule.phase_count; i++)
        encode_phase_limits(text, study, i);
    text_close(text, ']');
    bool found = encode_course(text, study);
    encode_history(text, study);
    encode_uses(text, "instruments", &study->instruments);
    encode_uses(text, "probes", &study->probes);
    encode_texts(text, "settings_digests", &study->settings);
    encode_texts(text, "versions", &study->versions);
    text_close(text, '}');
    return (found && !text->failed) || failure_no_memory(failure, "a study");
}
