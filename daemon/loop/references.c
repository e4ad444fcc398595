/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "references.h"

#include "daemon/basics/body.h"
#include "daemon/basics/log.h"
#include "daemon/basics/moment.h"
#include "daemon/store/store_read.h"

#include <math.h>
#include <stdio.h>
#include <string.h>
#include <time.h>

/* The row that a reference names; NULL when there is no such statement. */
static sqlite3_stmt *prepare(sqlite3 *sqlite, const struct bench_stored *stored)
{
    sqlite3_stmt *at =
        store_read_rows(sqlite, "WHERE point = ?1 AND value IS NOT NULL"
                                " AND (?2 = 0 AND verdict = 'pass' OR readings.id = ?2)"
                                " ORDER BY readings.id DESC LIMIT 1");
    sqlite3_bind_text(at, 1, stored->point, -1, SQLITE_STATIC);
    sqlite3_bind_int64(at, 2, stored->id);
    return at;
}

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
static const char *age_text(int64_t since_ns, char *text, size_t size)
{
    static const struct {
        double least, seconds;
        const char *name;
    } units[] = { { 172800, 86400, "days" }, { 7200, 3600, "hours" }, { 120, 60, "minutes" } };
    struct timespec now;
    clock_gettime(CLOCK_REALTIME, &now);
    double age = (double)(moment_of(now) - since_ns) / 1e9;
    for (size_t i = 0; i < sizeof units / sizeof *units; i++)
        if (age >= units[i].least) {
            snprintf(text, size, "%.0f %s old", age / units[i].seconds, units[i].name);
            return text;
        }
    snprintf(text, size, "%.0f s old", age);
    return text;
}

static void take_row(sqlite3 *sqlite, sqlite3_stmt *at, struct bench_point *point)
{
    struct store_row row;
    const uint8_t *digest = store_read_row(at, &row);
    bool intact = store_read_is_intact(sqlite, &row, digest);
    json_t *body = intact ? json_loads(row.body, 0, NULL) : NULL;
    const char *against = objection(point, &row, body, intact);
    if (against != NULL) {
        log_line(LOG_PRIORITY_ERROR, "%s: reading %lld of %s is no reference: %s", point->name,
                 (long long)row.id, point->stored.point, against);
    } else {
        char age[32];
        point->stored.found = row.id;
        point->stored.found_ns = row.time_ns;
        snprintf(point->stored.verdict, sizeof point->stored.verdict, "%s",
                 row.verdict != NULL ? row.verdict : "none");
        point->limits.reference = row.value;
        point->limits.reference_uncertainty = 2 * body_number(body, "standard_uncertainty");
        log_line(LOG_PRIORITY_NOTICE,
                 "%s: its reference is reading %lld of %s, %.9g %s of %s, %s, verdict %s",
                 point->name, (long long)row.id, point->stored.point, row.value, row.unit, row.time,
                 age_text(row.time_ns, age, sizeof age), point->stored.verdict);
    }
    json_decref(body);
}

static void find(sqlite3 *sqlite, struct bench_point *point)
{
    if (point->stored.point[0] == '\0')
        return;
    sqlite3_stmt *at = prepare(sqlite, &point->stored);
    if (at != NULL && sqlite3_step(at) == SQLITE_ROW)
        take_row(sqlite, at, point);
    else
        log_line(LOG_PRIORITY_WARNING, "%s: no reading of %s %s is in the store", point->name,
                 point->stored.point,
                 point->stored.id == 0 ? "that passed" : "with that number and a value");
    sqlite3_finalize(at);
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
    sqlite3 *sqlite = store_read_open(bench->store.path, &failure);
    if (sqlite == NULL) {
        log_line(LOG_PRIORITY_ERROR, "stored references: %s",
                 failure_text(&failure, text, sizeof text));
        return;
    }
    for (size_t i = 0; i < bench->point_count; i++)
        find(sqlite, &bench->points[i]);
    for (size_t i = 0; i < bench->variant_count; i++)
        find(sqlite, bench->variants[i]);
    sqlite3_close(sqlite);
}
