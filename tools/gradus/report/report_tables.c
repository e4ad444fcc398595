/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "report_tables.h"

#include "report_shared.h"
#include "tools/gradus/basics/field.h"

#include "core/basics/notation.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

enum { USES_MOST = 256 };

/* Those that were told already. */
struct told {
    struct report_use uses[USES_MOST];
    size_t count;
    void (*each)(void *context, const struct report_use *use);
    void *context;
};

static void tell(struct told *told, const struct report_use *use)
{
    for (size_t i = 0; i < told->count; i++) {
        const struct report_use *other = &told->uses[i];
        if (strcmp(other->kind, use->kind) == 0 && strcmp(other->name, use->name) == 0 &&
            strcmp(other->identity, use->identity) == 0 && strcmp(other->due, use->due) == 0)
            return;
    }
    if (use->name[0] == '\0' || told->count == USES_MOST)
        return;
    told->uses[told->count++] = *use;
    told->each(told->context, use);
}

/* A calibration is good for all of the day that it is due on. */
static bool is_expired(const char *due, const struct report *report)
{
    char moment[64];
    snprintf(moment, sizeof moment, "%.40sT23:59:59Z", due);
    double end = report_time(moment);
    return isfinite(end) && report->last > end;
}

static void tell_instruments(const struct report *report, const json_t *study, struct told *told)
{
    size_t index;
    json_t *each;
    json_array_foreach(field_at(study, "instruments"), index, each)
    {
        struct report_use use = { "instrument",
                                  field_text_or_empty(each, "name"),
                                  field_text_or_empty(each, "identity"),
                                  field_text_or_empty(each, "calibration_due"),
                                  NAN,
                                  false };
        use.expired = is_expired(use.due, report);
        tell(told, &use);
    }
}

static void tell_card(const struct report_point *point, struct told *told)
{
    const struct report_use use = { "input card", point->card != NULL ? point->card : "",
                                    "",           "",
                                    NAN,          false };
    tell(told, &use);
}

static void tell_probes(const json_t *study, struct told *told)
{
    size_t index;
    json_t *each;
    json_array_foreach(field_at(study, "probes"), index, each)
    {
        const struct report_use use = { "probe", field_text_or_empty(each, "name"), "",
                                        "",      field_number(each, "factor"),      false };
        tell(told, &use);
    }
}

static void tell_texts(const json_t *study, const char *member, const char *kind, struct told *told)
{
    size_t index;
    json_t *each;
    json_array_foreach(field_at(study, member), index, each)
    {
        const char *text = json_string_value(each);
        const struct report_use use = { kind, text == NULL ? "" : text, "", "", NAN, false };
        tell(told, &use);
    }
}

void report_uses(const struct report *report,
                 void (*each)(void *context, const struct report_use *use), void *context)
{
    struct told told = { .each = each, .context = context };
    for (size_t i = 0; i < report->point_count; i++)
        tell_instruments(report, report->points[i].study, &told);
    for (size_t i = 0; i < report->point_count; i++)
        tell_card(&report->points[i], &told);
    for (size_t i = 0; i < report->point_count; i++)
        tell_probes(report->points[i].study, &told);
    for (size_t i = 0; i < report->point_count; i++) {
        tell_texts(report->points[i].study, "versions", "software", &told);
        tell_texts(report->points[i].study, "settings_digests", "settings", &told);
    }
}

char *report_use_detail(const struct report_use *use, char text[WORDS_SIZE])
{
    if (isfinite(use->factor))
        snprintf(text, WORDS_SIZE, "factor %g", use->factor);
    else
        snprintf(text, WORDS_SIZE, "%s", use->identity);
    return text;
}

char *report_use_calibration(const struct report_use *use, char text[WORDS_SIZE])
{
    bool instrument = strcmp(use->kind, "instrument") == 0;
    snprintf(text, WORDS_SIZE, "%s%s",
             use->due[0] != '\0' ? use->due
             : instrument        ? "not stated"
                                 : "",
             use->expired ? ": EXPIRED before the last reading" : "");
    return text;
}

/* Who is told the warnings. */
struct warned {
    void (*each)(void *context, const char *sentence);
    void *context;
};

static void warn(const struct warned *warned, const char *sentence)
{
    if (sentence[0] != '\0')
        warned->each(warned->context, sentence);
}

static void warn_expired(void *context, const struct report_use *use)
{
    char text[WORDS_SIZE] = "";
    if (use->expired) {
        report_say(text,
                   "The calibration of %.100s (%.160s) expired on %.40s, before the last "
                   "reading.",
                   use->name, use->identity, use->due);
        warn(context, text);
    }
}

static void warn_altered(const struct report *report, const struct warned *warned)
{
    double altered = 0;
    char text[WORDS_SIZE] = "";
    for (size_t i = 0; i < report->point_count; i++)
        altered += fmax(0, field_number(report->points[i].study, "altered"));
    if (altered > 0) {
        report_say(
            text,
            "%.0f stored readings were altered after they were written. They are left out of "
            "all figures.",
            altered);
        warn(warned, text);
    }
}

/* What was removed by policy is missing from every figure. */
static void warn_removed(const struct report *report, const struct warned *warned)
{
    bool removed = false;
    for (size_t i = 0; i < report->point_count; i++)
        removed = removed || field_true(report->points[i].study, "removed");
    if (removed) {
        warn(warned,
             "Readings of this run were removed by the store's retention: all figures are of "
             "what is left.");
    }
}

/* What is being counted about events. */
struct tally {
    size_t count;
    double sum;
    double largest;
};

static void count_gap(void *context, const char *time, const json_t *body)
{
    struct tally *tally = context;
    double length = report_time(field_text(body, "to")) - report_time(field_text(body, "from"));
    (void)time;
    tally->count++;
    tally->sum += length;
    tally->largest = fmax(tally->largest, length);
}

static void count_late(void *context, const char *time, const json_t *body)
{
    struct tally *tally = context;
    (void)time;
    tally->count++;
    tally->largest = fmax(tally->largest, field_number(body, "late_s"));
}

static void count_missed(void *context, const char *time, const json_t *body)
{
    struct tally *tally = context;
    (void)time;
    tally->sum += field_number(body, "last") - field_number(body, "first") + 1;
}

static void count_jump(void *context, const char *time, const json_t *body)
{
    struct tally *tally = context;
    double by = field_number(body, "by_s");
    (void)time;
    tally->count++;
    tally->largest = fabs(by) > fabs(tally->largest) ? by : tally->largest;
}

static void warn_away(const struct report *report, const struct warned *warned)
{
    struct tally gaps = { 0 }, missed = { 0 };
    char times[WORDS_SIZE], sum[WORDS_SIZE], largest[WORDS_SIZE], text[WORDS_SIZE] = "";
    report_each(report, "gap", count_gap, &gaps);
    report_each(report, "rounds missed", count_missed, &missed);
    if (gaps.count > 0) {
        report_say(
            text,
            "The run was resumed after a restart %s; nothing was measured for %s in all, %s at "
            "most.",
            report_times((double)gaps.count, times), report_span(gaps.sum, sum),
            report_span(gaps.largest, largest));
    }
    if (missed.sum > 0)
        report_say(text, "%.0f round%s missed.", missed.sum, missed.sum == 1 ? " was" : "s were");
    warn(warned, text);
}

/* "01:00:00 back". Returns text. */
static const char *jump(double by, char text[WORDS_SIZE])
{
    char span[WORDS_SIZE];
    snprintf(text, WORDS_SIZE, "%.100s %s", report_span(fabs(by), span), by < 0 ? "back" : "ahead");
    return text;
}

/* Commands of phases that failed: what they were to switch was perhaps not switched. */
static void count_failed(void *context, const char *time, const json_t *body)
{
    struct tally *tally = context;
    (void)time;
    tally->count += strcmp(field_text_or_empty(body, "outcome"), "failed") == 0;
}

static void warn_commands(const struct report *report, const struct warned *warned)
{
    struct tally failed = { 0 };
    char times[WORDS_SIZE], text[WORDS_SIZE] = "";
    report_each(report, "phase command", count_failed, &failed);
    if (failed.count > 0)
        report_say(
            text,
            "The command of a phase failed %s; what it was to switch may not have been switched.",
            report_times((double)failed.count, times));
    warn(warned, text);
}

static void warn_time(const struct report *report, const struct warned *warned)
{
    struct tally late = { 0 }, jumps = { 0 };
    char times[WORDS_SIZE], span[WORDS_SIZE], text[WORDS_SIZE] = "";
    report_each(report, "late round", count_late, &late);
    report_each(report, "clock jumped", count_jump, &jumps);
    if (late.count > 0) {
        report_say(text, "%zu round%s started late, by up to %s.", late.count,
                   late.count == 1 ? "" : "s", report_span(late.largest, span));
    }
    if (jumps.count > 0) {
        report_say(text, "The clock was set %s, by up to %s; the schedule did not move.",
                   report_times((double)jumps.count, times), jump(jumps.largest, span));
    }
    warn(warned, text);
}

void report_warnings(const struct report *report, void (*each)(void *context, const char *sentence),
                     void *context)
{
    struct warned warned = { each, context };
    report_uses(report, warn_expired, &warned);
    report_shared(report, each, context);
    warn_altered(report, &warned);
    warn_removed(report, &warned);
    warn_away(report, &warned);
    warn_time(report, &warned);
    warn_commands(report, &warned);
}

void report_job(const struct report *report,
                void (*each)(void *context, const char *what, const char *text), void *context)
{
    static const char *const members[][2] = {
        { "name", "job" },         { "customer", "customer" },       { "unit", "unit" },
        { "serial", "serial no" }, { "measured_by", "measured by" }, { "remarks", "remarks" }
    };
    const json_t *job = field_at(report->began, "job");
    const char *name;
    json_t *value;
    for (size_t i = 0; i < sizeof members / sizeof *members; i++)
        if (field_text_or_empty(job, members[i][0])[0] != '\0')
            each(context, members[i][1], field_text(job, members[i][0]));
    json_object_foreach(json_object_get(job, "fields"), name, value)
    {
        if (json_is_string(value))
            each(context, name, json_string_value(value));
    }
}

/* One kind of event and how it is told. */
struct kind {
    const char *name;
    const char *told;
    void (*detail)(const json_t *body, char text[WORDS_SIZE]);
};

static void detail_began(const json_t *body, char text[WORDS_SIZE])
{
    snprintf(text, WORDS_SIZE, "%zu points, %.0f rounds planned",
             json_array_size(field_at(body, "points")), field_number(body, "rounds"));
}

static void detail_trip(const json_t *body, char text[WORDS_SIZE])
{
    char value[NOTATION_SIZE];
    notation_value(value, sizeof value, field_number(body, "value"), 5,
                   field_text_or_empty(body, "value_unit"));
    snprintf(text, WORDS_SIZE, "%s in round %.0f (%s), last value %s",
             field_text_or_empty(body, "point"), field_number(body, "round"),
             field_text_or_empty(body, "cause"), value);
}

static void detail_gap(const json_t *body, char text[WORDS_SIZE])
{
    char span[WORDS_SIZE];
    double from = report_time(field_text(body, "from")), to = report_time(field_text(body, "to"));
    snprintf(text, WORDS_SIZE, "after %.100s and round %.0f%s", report_span(to - from, span),
             field_number(body, "last_round"),
             field_true(body, "same_boot") ? "" : ", the machine was rebooted");
}

static void detail_late(const json_t *body, char text[WORDS_SIZE])
{
    char span[WORDS_SIZE];
    snprintf(text, WORDS_SIZE, "round %.0f, by %.40s", field_number(body, "round"),
             report_span(field_number(body, "late_s"), span));
}

static void detail_missed(const json_t *body, char text[WORDS_SIZE])
{
    snprintf(text, WORDS_SIZE, "rounds %.0f to %.0f", field_number(body, "first"),
             field_number(body, "last"));
}

static void detail_lost(const json_t *body, char text[WORDS_SIZE])
{
    snprintf(text, WORDS_SIZE, "%s in round %.0f: %s", field_text_or_empty(body, "point"),
             field_number(body, "round"), field_text_or_empty(body, "reason"));
}

static void detail_jump(const json_t *body, char text[WORDS_SIZE])
{
    char by[WORDS_SIZE];
    snprintf(text, WORDS_SIZE, "by %.200s; the schedule did not move",
             jump(field_number(body, "by_s"), by));
}

/* "begin command of phase soak: failed, exit status 3; the run was held". */
static void detail_command(const json_t *body, char text[WORDS_SIZE])
{
    const char *then = field_text_or_empty(body, "then");
    const char *reason = field_text_or_empty(body, "reason");
    const char *output = field_text_or_empty(body, "output");
    snprintf(text, WORDS_SIZE, "%s command of phase %s: %s%s%s%s%s%s%.200s",
             strcmp(field_text_or_empty(body, "when"), "begins") == 0 ? "begin" : "end",
             field_text_or_empty(body, "phase"), field_text_or_empty(body, "outcome"),
             reason[0] != '\0' ? ", " : "", reason,
             strcmp(then, "held") == 0    ? "; the run was held"
             : strcmp(then, "ended") == 0 ? "; the run was ended"
                                          : "",
             field_true(body, "after_restart") ? "; after a restart" : "",
             output[0] != '\0' ? "; it said: " : "", output);
}

static void detail_continued(const json_t *body, char text[WORDS_SIZE])
{
    snprintf(text, WORDS_SIZE, "by %s", field_text_or_empty(body, "by"));
}

static void detail_ended(const json_t *body, char text[WORDS_SIZE])
{
    snprintf(text, WORDS_SIZE, "%s, after round %.0f", field_text_or_empty(body, "why"),
             field_number(body, "last_round"));
}

static const struct kind kinds[] = {
    { "run began", "run started", detail_began },
    { "trip", "trip", detail_trip },
    { "gap", "resumed after a restart", detail_gap },
    { "late round", "late round", detail_late },
    { "rounds missed", "rounds missed", detail_missed },
    { "not measured", "not measured", detail_lost },
    { "clock jumped", "clock set", detail_jump },
    { "phase command", "phase command", detail_command },
    { "run continued", "run continued", detail_continued },
    { "run ended", "run ended", detail_ended },
};

enum { KINDS = sizeof kinds / sizeof *kinds };

/* The begin of a command, which its outcome tells as well. */
static bool is_begun(const json_t *event)
{
    return strcmp(field_text_or_empty(field_at(event, "body"), "outcome"), "begun") == 0;
}

void report_happenings(const struct report *report,
                       void (*each)(void *context, const char *time, const char *kind,
                                    const char *detail),
                       void *context)
{
    size_t seen[KINDS] = { 0 };
    char moment[WORDS_SIZE], detail[WORDS_SIZE];
    size_t index;
    json_t *event;
    json_array_foreach(report->events, index, event)
    {
        const char *name = field_text_or_empty(event, "kind");
        for (size_t i = 0; i < KINDS; i++) {
            if (strcmp(name, kinds[i].name) != 0 || is_begun(event) ||
                seen[i]++ >= REPORT_EVENTS_MOST)
                continue;
            kinds[i].detail(field_at(event, "body"), detail);
            report_moment(report_time(field_text(event, "time")), moment);
            each(context, moment, kinds[i].told, detail);
        }
    }
    for (size_t i = 0; i < KINDS; i++) {
        if (seen[i] > REPORT_EVENTS_MOST) {
            snprintf(detail, sizeof detail, "%zu more of them", seen[i] - REPORT_EVENTS_MOST);
            each(context, "", kinds[i].told, detail);
        }
    }
}
