/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "references.h"

#include "daemon/basics/body.h"
#include "daemon/basics/log.h"
#include "daemon/basics/wall_clock.h"
#include "daemon/store/store_look.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

/* What speaks against a row as the reference of a point; NULL: nothing. */
static const char *objection(const struct bench_point *point, const struct store_row *row,
                             const json_t *body, bool intact)
{
    if (!intact || body == NULL)
        return "it is not as it was written";
    if (row->unit == NULL || strcmp(row->unit, point->unit) != 0)
        return "it is in another unit";
    if (strcmp(body_text(body, "quantity"), quantity_name(point->quantity)) != 0)
        return "it is another quantity";
    if (isnan(body_number(body, "standard_uncertainty")))
        return "it has no uncertainty";
    return NULL;
}

/* An age in the unit that suits it. */
static const char *age_text(struct wall_time since, char *text, size_t size)
{
    static const struct {
        double least, seconds;
        const char *name;
    } units[] = { { 172800, 86400, "days" }, { 7200, 3600, "hours" }, { 120, 60, "minutes" } };
    double age = duration_seconds(wall_time_since(wall_time_now(), since));
    for (size_t i = 0; i < sizeof units / sizeof *units; i++)
        if (age >= units[i].least) {
            snprintf(text, size, "%.0f %s old", age / units[i].seconds, units[i].name);
            return text;
        }
    snprintf(text, size, "%.0f s old", age);
    return text;
}

static void read_row(struct bench_point *point, const struct store_row *row, bool intact)
{
    json_t *body = intact ? json_loads(row->body, 0, NULL) : NULL;
    const char *against = objection(point, row, body, intact);
    if (against != NULL) {
        log_line(LOG_PRIORITY_ERROR, "%s: reading %lld of %s cannot be a reference: %s",
                 point->name, (long long)row->id, point->stored.point, against);
    } else {
        char age[32];
        point->stored.found = row->id;
        point->stored.found_at = row->at;
        snprintf(point->stored.verdict, sizeof point->stored.verdict, "%s",
                 row->verdict != NULL ? row->verdict : "none");
        point->limits.reference = row->value;
        point->limits.reference_uncertainty = 2 * body_number(body, "standard_uncertainty");
        log_line(LOG_PRIORITY_NOTICE,
                 "%s: its reference is reading %lld of %s, %.9g %s of %s, %s, verdict %s",
                 point->name, (long long)row->id, point->stored.point, row->value, row->unit,
                 row->time, age_text(row->at, age, sizeof age), point->stored.verdict);
    }
    json_decref(body);
}

static void find(const struct store_look *look, struct bench_point *point)
{
    struct store_rows rows;
    struct store_row row;
    struct failure ignored = { 0 };
    bool intact;
    if (point->stored.point[0] == '\0')
        return;
    if (store_rows_reference(look, point->stored.point, point->stored.id, &rows, &row, &intact))
        read_row(point, &row, intact);
    else
        log_line(LOG_PRIORITY_WARNING, "%s: no reading of %s %s is in the store", point->name,
                 point->stored.point,
                 point->stored.id == 0 ? "that passed" : "with that number and a value");
    store_rows_end(&rows, &ignored);
}

static bool any_stored(const struct bench *bench)
{
    bool any = false;
    for (size_t i = 0; i < bench->point_count; i++)
        any = any || bench->points[i].stored.point[0] != '\0';
    return any;
}

void references_find(struct bench *bench)
{
    struct failure failure = { 0 };
    char text[600];
    if (!any_stored(bench))
        return;
    struct store_look look;
    if (!store_look_open(&look, bench->store.path, &failure)) {
        log_line(LOG_PRIORITY_ERROR, "stored references: %s",
                 failure_text(&failure, text, sizeof text));
        return;
    }
    for (size_t i = 0; i < bench->point_count; i++)
        find(&look, &bench->points[i]);
    for (size_t i = 0; i < bench->variant_count; i++)
        find(&look, bench->variants[i]);
    store_look_close(&look);
}
