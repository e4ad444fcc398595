/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "report_tables.h"

#include "field.h"

#include "../../core/notation.h"

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
            strcmp(other->identity, use->identity) == 0 && strcmp(other->due, use->due) == 0) {
            return;
        }
    }
    if (use->name[0] == '\0' || told->count == USES_MOST) {
        return;
    }
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
    for (size_t i = 0; i < report->point_count; i++) {
        tell_instruments(report, report->points[i].study, &told);
    }
    for (size_t i = 0; i < report->point_count; i++) {
        tell_probes(report->points[i].study, &told);
    }
    for (size_t i = 0; i < report->point_count; i++) {
        tell_texts(report->points[i].study, "versions", "software", &told);
        tell_texts(report->points[i].study, "settings_digests", "settings", &told);
    }
}

char *report_use_detail(const struct report_use *use, char text[WORDS_SIZE])
{
    if (isfinite(use->factor)) {
        snprintf(text, WORDS_SIZE, "factor %g", use->factor);
    } else {
        snprintf(text, WORDS_SIZE, "%s", use->identity);
    }
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

/* One kind of event, how it is told, and how many of it there are. */
struct kind {
    const char *name;
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
    snprintf(text, WORDS_SIZE, "%.100s after round %.0f%s", report_span(to - from, span),
             field_number(body, "last_round"),
             field_true(body, "same_boot") ? "" : ", the machine started anew");
}

static void detail_late(const json_t *body, char text[WORDS_SIZE])
{
    snprintf(text, WORDS_SIZE, "round %.0f, %.3g s", field_number(body, "round"),
             field_number(body, "late_s"));
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
    snprintf(text, WORDS_SIZE, "by %+.0f s; the plan did not move", field_number(body, "by_s"));
}

static void detail_ended(const json_t *body, char text[WORDS_SIZE])
{
    snprintf(text, WORDS_SIZE, "%s, after round %.0f", field_text_or_empty(body, "why"),
             field_number(body, "last_round"));
}

static const struct kind kinds[] = {
    { "run began", detail_began },
    { "trip", detail_trip },
    { "gap", detail_gap },
    { "late round", detail_late },
    { "rounds missed", detail_missed },
    { "not measured", detail_lost },
    { "clock jumped", detail_jump },
    { "run ended", detail_ended },
};

enum { KINDS = sizeof kinds / sizeof *kinds };

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
            if (strcmp(name, kinds[i].name) != 0 || seen[i]++ >= REPORT_EVENTS_MOST) {
                continue;
            }
            kinds[i].detail(field_at(event, "body"), detail);
            report_moment(report_time(field_text(event, "time")), moment);
            each(context, moment, name, detail);
        }
    }
    for (size_t i = 0; i < KINDS; i++) {
        if (seen[i] > REPORT_EVENTS_MOST) {
            snprintf(detail, sizeof detail, "%zu more of them", seen[i] - REPORT_EVENTS_MOST);
            each(context, "", kinds[i].name, detail);
        }
    }
}
