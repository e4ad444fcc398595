/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "report_form.h"
#include "report_tables.h"

#include <math.h>

static void write_value(const json_t *value, FILE *out)
{
    json_dumpf(value, out, JSON_COMPACT | JSON_ENCODE_ANY | JSON_REAL_PRECISION(17));
}

void report_json_begin(const struct report *report, FILE *out)
{
    json_t *run = json_string(report->run);
    fputs("{\"run\":", out);
    write_value(run, out);
    fputs(",\n\"events\":", out);
    write_value(report->events, out);
    fputs(",\n\"points\":[\n", out);
    json_decref(run);
}

void report_json_point(const json_t *study, bool first, FILE *out)
{
    fputs(first ? "" : ",\n", out);
    write_value(study, out);
}

static void add_warning(void *context, const char *sentence)
{
    json_array_append_new(context, json_string(sentence));
}

static json_t *warnings_of(const struct report *report)
{
    json_t *list = json_array();
    report_warnings(report, add_warning, list);
    return list;
}

static void set_margin(json_t *object, double margin)
{
    if (isfinite(margin))
        json_object_set_new(object, "worst_margin", json_real(margin));
}

static json_t *units_of(const struct report *report)
{
    json_t *list = json_array();
    for (size_t i = 0; i < report->unit_count; i++) {
        const struct report_unit *unit = &report->units[i];
        json_t *object =
            json_pack("{s:s, s:s}", "unit", unit->label, "class", report_class_name(unit->class));
        set_margin(object, unit->worst);
        json_array_append_new(list, object);
    }
    return list;
}

/* In the order of the report: failures first. */
static json_t *points_of(const struct report *report)
{
    char text[WORDS_SIZE];
    json_t *list = json_array();
    for (size_t i = 0; i < report->point_count; i++) {
        const struct report_point *point = &report->points[i];
        json_t *object =
            json_pack("{s:s, s:s, s:s}", "point", point->name, "class",
                      report_class_name(point->class), "course", report_course(point, text));
        set_margin(object, point->worst);
        json_array_append_new(list, object);
    }
    return list;
}

void report_json_end(const struct report *report, FILE *out)
{
    char outcome[WORDS_SIZE];
    json_t *summary =
        json_pack("{s:s, s:o, s:o, s:o, s:s}", "outcome", report_outcome(report, outcome),
                  "warnings", warnings_of(report), "units", units_of(report), "points",
                  points_of(report), "caution", report_caution);
    fputs("\n],\n\"summary\":", out);
    write_value(summary, out);
    fputs("}\n", out);
    json_decref(summary);
}
