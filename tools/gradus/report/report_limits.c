/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "report_limits.h"

#include "tools/gradus/answers/reading.h"
#include "tools/gradus/basics/field.h"

#include "core/basics/notation.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

/* Limits of a comparison say what is compared; those of a ratio have no unit. */
static void phase_limits(const struct report_point *point, const json_t *limits,
                         char text[READING_TEXT])
{
    const char *judge = field_text_or_empty(limits, "judge");
    const char *unit = field_text_or_empty(point->study, "unit");
    reading_limits_text(limits, strcmp(judge, "ratio") == 0 ? "" : unit, text);
    size_t length = strlen(text);
    if (length > 0 && judge[0] != '\0')
        snprintf(text + length, READING_TEXT - length, " (%.30s)", judge);
}

char *report_limits(const struct report_point *point, char text[WORDS_SIZE])
{
    const json_t *limits = field_at(point->study, "limits");
    char first[READING_TEXT] = "", other[READING_TEXT] = "";
    bool differ = false;
    size_t index;
    json_t *each;
    text[0] = '\0';
    json_array_foreach(limits, index, each)
    {
        phase_limits(point, each, index == 0 ? first : other);
        differ = differ || (index > 0 && strcmp(first, other) != 0);
    }
    if (!differ) {
        report_say(text, "%s", first[0] != '\0' ? first : "no limits");
        return text;
    }
    json_array_foreach(limits, index, each)
    {
        phase_limits(point, each, other);
        report_say(text, "%.60s %s%s", field_text_or_empty(each, "phase"), other,
                   index + 1 < json_array_size(limits) ? ";" : "");
    }
    return text;
}

/* Whether they differ from phase to phase. */
static bool do_differ(const struct report_point *point)
{
    const json_t *limits = field_at(point->study, "limits");
    char first[READING_TEXT] = "", other[READING_TEXT] = "";
    phase_limits(point, json_array_get(limits, 0), first);
    for (size_t i = 1; i < json_array_size(limits); i++) {
        phase_limits(point, json_array_get(limits, i), other);
        if (strcmp(first, other) != 0)
            return true;
    }
    return false;
}

/* The set of one that has the same; 0: it is the first. */
static size_t set_of(const struct report *report, size_t index, const char *limits)
{
    char other[WORDS_SIZE];
    for (size_t i = 0; i < index; i++) {
        const struct report_point *point = &report->points[i];
        if (point->limit_set > 0 && strcmp(report_limits(point, other), limits) == 0)
            return point->limit_set;
    }
    return 0;
}

void report_number_limits(struct report *report)
{
    char text[WORDS_SIZE];
    report->limit_sets = 0;
    for (size_t i = 0; i < report->point_count; i++) {
        struct report_point *point = &report->points[i];
        if (point->class != REPORT_WELL || !do_differ(point))
            continue;
        point->limit_set = set_of(report, i, report_limits(point, text));
        if (point->limit_set == 0)
            point->limit_set = ++report->limit_sets;
    }
}

char *report_limits_short(const struct report_point *point, char text[WORDS_SIZE])
{
    char span[NOTATION_SIZE];
    double low = field_number(point->study, "minimum.value");
    double high = field_number(point->study, "maximum.value");
    if (point->limit_set > 0) {
        snprintf(text, WORDS_SIZE, "by phase, set %zu", point->limit_set);
        return text;
    }
    report_limits(point, text);
    if (json_array_size(field_at(point->study, "limits")) == 0 && isfinite(high - low)) {
        notation_value(span, sizeof span, high - low, 2, field_text_or_empty(point->study, "unit"));
        snprintf(text, WORDS_SIZE, "no limits; spans %.60s", span);
    }
    return text;
}

void report_limit_sets(const struct report *report,
                       void (*each)(void *context, const char *set, const char *limits),
                       void *context)
{
    char name[32], text[WORDS_SIZE];
    size_t told = 0;
    for (size_t i = 0; i < report->point_count; i++) {
        if (report->points[i].limit_set == told + 1) {
            snprintf(name, sizeof name, "set %zu", ++told);
            each(context, name, report_limits(&report->points[i], text));
        }
    }
}
