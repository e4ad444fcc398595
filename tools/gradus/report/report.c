/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "report.h"

#include "tools/gradus/basics/field.h"
#include "tools/gradus/basics/memory.h"
#include "tools/gradus/basics/status.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

/* Nearer to its limit than this share of the way, a point is one to look at. */
static const double near_limit = 0.2;

double report_time(const char *text)
{
    struct tm parts = { 0 };
    char *end = text == NULL ? NULL : strptime(text, "%Y-%m-%dT%H:%M:%S", &parts);
    if (end == NULL)
        return NAN;
    return (double)timegm(&parts) + (*end == '.' ? strtod(end, NULL) : 0);
}

bool report_begin(struct report *report, json_t *events, int digits)
{
    struct timespec now;
    size_t index;
    json_t *event;
    memset(report, 0, sizeof *report);
    report->events = events;
    report->digits = digits;
    json_array_foreach(events, index, event)
    {
        const char *kind = field_text_or_empty(event, "kind");
        if (strcmp(kind, "run began") == 0)
            report->began = field_at(event, "body");
        else if (strcmp(kind, "run ended") == 0)
            report->ended = field_at(event, "body");
    }
    snprintf(report->run, sizeof report->run, "%s", field_text_or_empty(report->began, "run"));
    report->first = field_number(report->began, "first_ns") * 1e-9;
    report->every = field_number(report->began, "every_ns") * 1e-9;
    report->warm_until = field_number(report->began, "warm_until_ns") * 1e-9;
    report->last = report->first;
    clock_gettime(CLOCK_REALTIME, &now);
    report->made = (double)now.tv_sec;
    size_t count = json_array_size(field_at(report->began, "points"));
    report->points = memory_zeroed(count + 1, sizeof *report->points);
    report->units = memory_zeroed(count + 1, sizeof *report->units);
    return count > 0 && isfinite(report->first) && report->every > 0;
}

void report_end(struct report *report)
{
    for (size_t i = 0; i < report->point_count; i++) {
        json_decref(report->points[i].study);
        free(report->points[i].buckets);
    }
    free(report->points);
    free(report->units);
    json_decref(report->events);
}

const char *report_name(const struct report *report, size_t index)
{
    return field_text(json_array_get(field_at(report->began, "points"), index), "point");
}

static void read_history(struct report *report, struct report_point *point)
{
    const json_t *history = field_at(point->study, "history");
    size_t index;
    json_t *each;
    point->buckets = memory_zeroed(json_array_size(history) + 1, sizeof *point->buckets);
    json_array_foreach(history, index, each)
    {
        struct report_bucket *bucket = &point->buckets[point->bucket_count++];
        bucket->from = report_time(field_text(each, "time"));
        bucket->to = report_time(field_text(each, "to"));
        bucket->minimum = field_number(each, "minimum");
        bucket->maximum = field_number(each, "maximum");
        bucket->mean = field_number(each, "mean");
        bucket->count = field_number(each, "count");
        bucket->average = field_number(each, "average");
        bucket->failed = field_number(each, "failures") > 0;
        bucket->lost = field_number(each, "lost") > 0;
        report->last = fmax(report->last, bucket->to);
    }
    json_object_del(point->study, "history");
}

/* The uncertainty leaves it open whether a limit was kept, or no verdict could be given. */
static bool is_undecided(const json_t *study)
{
    bool limited = json_array_size(field_at(study, "limits")) > 0;
    return strncmp(field_text_or_empty(study, "drift.verdict"), "conditional", 11) == 0 ||
           field_number(study, "verdicts.conditional pass") > 0 ||
           field_number(study, "verdicts.conditional fail") > 0 ||
           (limited && field_number(study, "verdicts.none") > 0);
}

static enum report_class classify(const struct report_point *point)
{
    const json_t *study = point->study;
    const char *kind = field_text_or_empty(study, "finding.kind");
    if (field_number(study, "failures") > 0 || field_at(study, "trip") != NULL)
        return REPORT_FAILED;
    if (!(field_number(study, "readings") + field_number(study, "warm_up") > 0))
        return REPORT_UNKNOWN;
    bool moved = kind[0] != '\0' && strcmp(kind, "steady") != 0;
    bool doubtful = moved || point->dead || point->undecided ||
                    field_at(study, "finding.excursions") != NULL ||
                    field_number(study, "lost") > 0 || field_number(study, "altered") > 0 ||
                    point->worst < near_limit;
    return doubtful ? REPORT_WATCH : REPORT_WELL;
}

/* A unit by its number, and by its serial number where the run's job says it. */
static void name_unit(const struct report *report, int number, char label[REPORT_LABEL])
{
    char key[16];
    snprintf(key, sizeof key, "%d", number);
    const json_t *serials = field_at(report->began, "job.serials");
    const char *serial = json_string_value(json_object_get(serials, key));
    snprintf(label, REPORT_LABEL, "%s%s%.40s", key, serial != NULL ? ": " : "",
             serial != NULL ? serial : "");
}

/* The unit of a point: units come together in the order of their first point. */
static int unit_of(struct report *report, const struct report_point *point)
{
    char label[REPORT_LABEL];
    int number = (int)json_integer_value(field_at(point->study, "unit_number"));
    size_t i = 0;
    if (number > 0)
        name_unit(report, number, label);
    else
        snprintf(label, sizeof label, "%s", point->name);
    while (i < report->unit_count &&
           (report->units[i].number != number || strcmp(report->units[i].label, label) != 0))
        i++;
    if (i == report->unit_count) {
        report->unit_count++;
        report->units[i].number = number;
        memcpy(report->units[i].label, label, sizeof label);
        report->units[i].class = REPORT_WELL;
        report->units[i].worst = NAN;
    }
    return (int)i;
}

static const char *card_of(const struct report *report, const char *name)
{
    const json_t *each;
    size_t index;
    json_array_foreach(field_at(report->began, "points"), index, each)
    {
        if (strcmp(field_text_or_empty(each, "point"), name) == 0)
            return field_text(each, "card");
    }
    return NULL;
}

bool report_add(struct report *report, json_t *study)
{
    if (field_text(study, "point") == NULL ||
        report->point_count >= json_array_size(field_at(report->began, "points"))) {
        json_decref(study);
        return false;
    }
    struct report_point *point = &report->points[report->point_count++];
    point->study = study;
    point->name = field_text(study, "point");
    point->worst = field_number(study, "worst_margin.value");
    point->digits = report->digits;
    point->card = card_of(report, point->name);
    point->dead = field_true(study, "dead");
    point->undecided = is_undecided(study);
    point->class = classify(point);
    point->unit = unit_of(report, point);
    read_history(report, point);
    struct report_unit *unit = &report->units[point->unit];
    unit->points++;
    unit->dead = unit->dead || point->dead;
    unit->worst = fmin(unit->worst, point->worst);
    unit->class = point->class < unit->class ? point->class : unit->class;
    return true;
}

/* What is of no unit comes behind the units. */
static int compare_numbers(int left, int right)
{
    if (left == 0 || right == 0)
        return (left == 0) - (right == 0);
    return (left > right) - (left < right);
}

static int number_of(const struct report_point *point)
{
    return (int)json_integer_value(field_at(point->study, "unit_number"));
}

static int compare(const void *left, const void *right)
{
    const struct report_point *a = left;
    const struct report_point *b = right;
    if (a->class != b->class)
        return a->class < b->class ? -1 : 1;
    int numbers = compare_numbers(number_of(a), number_of(b));
    return numbers != 0 ? numbers : strverscmp(a->name, b->name);
}

static int compare_units(const void *left, const void *right)
{
    const struct report_unit *a = left;
    const struct report_unit *b = right;
    int numbers = compare_numbers(a->number, b->number);
    return numbers != 0 ? numbers : strverscmp(a->label, b->label);
}

/* Sorts units, and tells their points where they are now. */
static void sort_units(struct report *report)
{
    int *places = memory_zeroed(report->unit_count + 1, sizeof *places);
    for (size_t i = 0; i < report->unit_count; i++)
        report->units[i].place = (int)i;
    qsort(report->units, report->unit_count, sizeof *report->units, compare_units);
    for (size_t i = 0; i < report->unit_count; i++)
        places[report->units[i].place] = (int)i;
    for (size_t i = 0; i < report->point_count; i++)
        report->points[i].unit = places[report->points[i].unit];
    free(places);
}

void report_sort(struct report *report)
{
    sort_units(report);
    qsort(report->points, report->point_count, sizeof *report->points, compare);
}

bool report_is_line(const struct report_point *point)
{
    return point->class == REPORT_WELL && field_at(point->study, "chart") == NULL;
}

size_t report_lines(const struct report *report)
{
    size_t count = 0;
    for (size_t i = 0; i < report->point_count; i++)
        count += report_is_line(&report->points[i]);
    return count;
}

size_t report_worst_of(const struct report *report, size_t unit)
{
    size_t worst = report->point_count;
    for (size_t i = 0; i < report->point_count; i++) {
        const struct report_point *point = &report->points[i];
        if (point->unit != (int)unit)
            continue;
        bool first = worst == report->point_count;
        if (first || (point->class == report->points[worst].class &&
                      point->worst < report->points[worst].worst))
            worst = i;
    }
    return worst < report->point_count ? worst : 0;
}

int report_status(const struct report *report)
{
    static const int statuses[] = { [REPORT_FAILED] = STATUS_FAIL,
                                    [REPORT_WATCH] = STATUS_PASS,
                                    [REPORT_UNKNOWN] = STATUS_NO_READING,
                                    [REPORT_WELL] = STATUS_PASS };
    int status = STATUS_PASS;
    for (size_t i = 0; i < report->point_count; i++) {
        const struct report_point *point = &report->points[i];
        status = status_worse(status, statuses[point->class]);
        status = status_worse(status, point->undecided ? STATUS_UNDECIDED : STATUS_PASS);
    }
    return status;
}

size_t report_points(const struct report *report, enum report_class class)
{
    size_t count = 0;
    for (size_t i = 0; i < report->point_count; i++)
        count += report->points[i].class == class;
    return count;
}

size_t report_units(const struct report *report, enum report_class class)
{
    size_t count = 0;
    for (size_t i = 0; i < report->unit_count; i++)
        count += report->units[i].class == class;
    return count;
}

void report_each(const struct report *report, const char *kind,
                 void (*each)(void *context, const char *time, const json_t *body), void *context)
{
    size_t index;
    json_t *event;
    json_array_foreach(report->events, index, event)
    {
        if (strcmp(field_text_or_empty(event, "kind"), kind) == 0)
            each(context, field_text_or_empty(event, "time"), field_at(event, "body"));
    }
}

/* The first takes the second in. */
static void join(struct report_bucket *first, const struct report_bucket *second)
{
    double count = first->count + second->count;
    if (isnan(first->mean))
        first->mean = second->mean;
    else if (isfinite(second->mean))
        first->mean = (first->mean * first->count + second->mean * second->count) / count;
    first->to = second->to;
    first->count = count;
    first->minimum = fmin(first->minimum, second->minimum);
    first->maximum = fmax(first->maximum, second->maximum);
    first->failed = first->failed || second->failed;
    first->lost = first->lost || second->lost;
}

size_t report_coarsen(struct report_bucket *buckets, size_t count, size_t most, double pause)
{
    size_t before = count + 1;
    while (count > most && count < before) {
        size_t kept = 0;
        before = count;
        for (size_t i = 0; i < count; i++) {
            buckets[kept] = buckets[i];
            if (i + 1 < count && buckets[i + 1].from - buckets[i].to <= pause)
                join(&buckets[kept], &buckets[++i]);
            kept++;
        }
        count = kept;
    }
    return count;
}
