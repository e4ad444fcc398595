/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "report_shared.h"

#include "report_words.h"
#include "tools/gradus/basics/field.h"

#include <math.h>
#include <string.h>

/* So few points move alike by chance. */
enum { FEWEST = 3 };

/* Rates within this factor of each other are alike. */
static const double alike = 2;

/* What points may have in common, in the order that it is looked for. */
static const struct kind {
    const char *key;
    const char *text;
} kinds[] = { { "instruments", "instrument" }, { "card", "input card" }, { "probes", "probe" } };

/* The one that served all readings of a point; NULL: several did, or none. */
static const char *used(const struct report_point *point, const char *key)
{
    if (strcmp(key, "card") == 0)
        return point->card;
    const json_t *list = field_at(point->study, key);
    return json_array_size(list) == 1 ? field_text(json_array_get(list, 0), "name") : NULL;
}

/* How fast it moves, of its level an hour; 0: it does not. */
static double rate_of(const struct report_point *point)
{
    const char *kind = field_text_or_empty(point->study, "finding.kind");
    double level = fabs(field_number(point->study, "mean"));
    double rate = field_number(point->study, "trend.per_hour") / level;
    bool moves = strncmp(kind, "drift", 5) == 0 || strncmp(kind, "settling", 8) == 0;
    return moves && isfinite(rate) ? rate : 0;
}

static bool is_alike(double rate, double other)
{
    double ratio = rate / other;
    return ratio >= 1 / alike && ratio <= alike;
}

/* Points that move like one, among those with what it has in common, and among the others. */
struct company {
    size_t with, alike_with;
    size_t others, alike_others;
};

static struct company company_of(const struct report *report, const char *key, const char *name,
                                 double rate)
{
    struct company company = { 0 };
    for (size_t i = 0; i < report->point_count; i++) {
        const struct report_point *point = &report->points[i];
        const char *own = used(point, key);
        bool same = is_alike(rate_of(point), rate);
        bool with = own != NULL && strcmp(own, name) == 0;
        company.with += with;
        company.alike_with += with && same;
        company.others += !with;
        company.alike_others += !with && same;
    }
    return company;
}

/* Whether the check standard was measured with something; then `moves` is whether it moved. */
static bool is_checked(const struct report *report, const char *key, const char *name, bool *moves)
{
    size_t index;
    const json_t *each;
    json_array_foreach(field_at(report->began, "points"), index, each)
    {
        for (size_t i = 0; field_at(each, "chart") != NULL && i < report->point_count; i++) {
            const struct report_point *point = &report->points[i];
            const char *own = used(point, key);
            if (strcmp(point->name, field_text_or_empty(each, "point")) == 0 && own != NULL &&
                strcmp(own, name) == 0) {
                *moves = rate_of(point) != 0 || field_at(point->study, "trip") != NULL;
                return true;
            }
        }
    }
    return false;
}

/*
 * Whether what moves like that does so with the instrument: a check standard settles it; else
 * most of what is measured with others must not move alike.
 */
static bool is_shared(const struct report *report, const char *key, const char *name, double rate)
{
    struct company company = company_of(report, key, name, rate);
    bool moves;
    if (company.alike_with < FEWEST || 2 * company.alike_with <= company.with)
        return false;
    if (is_checked(report, key, name, &moves))
        return moves;
    return company.others >= FEWEST && 2 * company.alike_others < company.others;
}

void report_share(struct report *report)
{
    for (size_t k = 0; k < sizeof kinds / sizeof *kinds; k++) {
        for (size_t i = 0; i < report->point_count; i++) {
            struct report_point *point = &report->points[i];
            const char *name = used(point, kinds[k].key);
            double rate = rate_of(point);
            if (point->shared == NULL && name != NULL && rate != 0 &&
                is_shared(report, kinds[k].key, name, rate)) {
                point->shared = name;
                point->shared_kind = kinds[k].text;
            }
        }
    }
}

/* The points that move with the same as one; their mean rate. */
static size_t count_shared(const struct report *report, const struct report_point *one,
                           double *rate)
{
    size_t count = 0;
    double sum = 0;
    for (size_t i = 0; i < report->point_count; i++) {
        const struct report_point *point = &report->points[i];
        if (point->shared != NULL && strcmp(point->shared, one->shared) == 0 &&
            point->shared_kind == one->shared_kind) {
            count++;
            sum += rate_of(point);
        }
    }
    *rate = sum / (double)count;
    return count;
}

static bool is_first(const struct report *report, size_t index)
{
    const struct report_point *one = &report->points[index];
    for (size_t i = 0; i < index; i++) {
        const struct report_point *point = &report->points[i];
        if (point->shared != NULL && point->shared_kind == one->shared_kind &&
            strcmp(point->shared, one->shared) == 0)
            return false;
    }
    return true;
}

void report_shared(const struct report *report, void (*each)(void *context, const char *sentence),
                   void *context)
{
    for (size_t i = 0; i < report->point_count; i++) {
        const struct report_point *point = &report->points[i];
        char text[WORDS_SIZE] = "";
        double rate;
        if (point->shared == NULL || !is_first(report, i))
            continue;
        size_t count = count_shared(report, point, &rate);
        report_say(text,
                   "The %s %.100s drifts: %zu of the points measured with it move alike, by %+.3g "
                   "ppm of their level an hour.",
                   point->shared_kind, point->shared, count, 1e6 * rate);
        report_say(text, "Look at it before you look at the units.");
        each(context, text);
    }
}
