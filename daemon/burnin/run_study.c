/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "daemon/store/store_read.h"
#include "point_study.h"
#include "run_list.h"

#include <stdlib.h>

/* The latest round that anything is known of. */
static int64_t last_round(sqlite3 *sqlite, const char *run, const char *point)
{
    sqlite3_stmt *at =
        store_read_about(sqlite,
                         "SELECT max(round) FROM readings WHERE run = ?1 AND point = ?2 UNION ALL"
                         " SELECT max(json_extract(body, '$.round')) FROM events"
                         " WHERE subject = ?1 AND kind = 'not measured' ORDER BY 1 DESC LIMIT 1",
                         run, point);
    int64_t round = sqlite3_step(at) == SQLITE_ROW ? sqlite3_column_int64(at, 0) : 0;
    sqlite3_finalize(at);
    return round;
}

/* Whether rows from between the beginning and the end of a run were removed by policy. */
static bool was_pruned(sqlite3 *sqlite, const char *run)
{
    sqlite3_stmt *at =
        store_read_about(sqlite,
                         "SELECT EXISTS (SELECT 1 FROM events WHERE kind = 'pruned' AND last >"
                         " (SELECT min(id) FROM events WHERE subject = ?1 AND kind = 'run began')"
                         " AND first < ifnull((SELECT max(id) FROM events WHERE subject = ?1"
                         " AND kind = 'run ended'), 9223372036854775807))",
                         run, NULL);
    bool pruned = sqlite3_step(at) == SQLITE_ROW && sqlite3_column_int(at, 0) != 0;
    sqlite3_finalize(at);
    return pruned;
}

/* Measurements without a row of readings, in their order; the ids they stand at. */
struct misses {
    sqlite3_stmt *at;
    bool there; /* `at` stands on one */
};

static struct misses misses_begin(sqlite3 *sqlite, const struct point_study *study)
{
    struct misses misses = { 0 };
    misses.at =
        store_read_about(sqlite,
                         "SELECT id, json_extract(body, '$.round'), json_extract(body, '$.reason')"
                         " FROM events WHERE subject = ?1 AND kind = 'not measured'"
                         " AND json_extract(body, '$.point') = ?2 ORDER BY id",
                         study->record->run, study->point);
    misses.there = sqlite3_step(misses.at) == SQLITE_ROW;
    return misses;
}

/* Takes in those that come before an id. */
static void misses_until(struct misses *misses, int64_t id, struct point_study *study)
{
    while (misses->there && sqlite3_column_int64(misses->at, 0) < id) {
        const char *reason = store_read_text(misses->at, 2);
        int64_t round = sqlite3_column_int64(misses->at, 1);
        if (reason[0] != '\0' && round > 0)
            point_study_miss(study, round, reason);
        misses->there = sqlite3_step(misses->at) == SQLITE_ROW;
    }
}

static bool read_rows(sqlite3 *sqlite, sqlite3_stmt *at, struct point_study *study,
                      struct failure *failure)
{
    struct misses misses = misses_begin(sqlite, study);
    struct store_row row;
    bool taken = true;
    int code = SQLITE_DONE;
    while (taken && (code = sqlite3_step(at)) == SQLITE_ROW) {
        const uint8_t *digest = store_read_row(at, &row);
        misses_until(&misses, row.id, study);
        taken = point_study_take(study, &row, store_read_is_intact(sqlite, &row, digest));
    }
    misses_until(&misses, INT64_MAX, study);
    sqlite3_finalize(misses.at);
    if (!taken)
        return failure_set(failure, FAILURE_NO_MEMORY, NULL, NULL, "no memory for a study");
    return code == SQLITE_DONE || store_read_fail(sqlite, failure);
}

static sqlite3_stmt *prepare_rows(sqlite3 *sqlite, const struct point_study *study)
{
    sqlite3_stmt *at =
        store_read_rows(sqlite, "WHERE run = ?1 AND point = ?2 ORDER BY readings.id");
    sqlite3_bind_text(at, 1, study->record->run, -1, SQLITE_STATIC);
    sqlite3_bind_text(at, 2, study->point, -1, SQLITE_STATIC);
    return at;
}

static bool study_point(sqlite3 *sqlite, struct store_query *query, const struct run_record *record,
                        struct point_study *study)
{
    int64_t rounds = last_round(sqlite, record->run, query->point);
    if (!point_study_begin(study, record, query->point, rounds, query->buckets, &query->failure))
        return false;
    study->removed = was_pruned(sqlite, record->run);
    sqlite3_stmt *at = prepare_rows(sqlite, study);
    bool read = at != NULL ? read_rows(sqlite, at, study, &query->failure)
                           : store_read_fail(sqlite, &query->failure);
    sqlite3_finalize(at);
    return read && point_study_encode(study, &query->text, &query->failure);
}

bool store_read_study(sqlite3 *sqlite, struct store_query *query)
{
    struct run_record record = { 0 };
    struct point_study *study = calloc(1, sizeof *study);
    sqlite3_exec(sqlite, "BEGIN", NULL, NULL, NULL);
    bool read = study != NULL
                    ? run_record_read(sqlite, query->run, &record, &query->failure) &&
                          study_point(sqlite, query, &record, study)
                    : failure_set(&query->failure, FAILURE_NO_MEMORY, NULL, NULL, "no memory");
    sqlite3_exec(sqlite, "COMMIT", NULL, NULL, NULL);
    if (study != NULL)
        point_study_end(study);
    free(study);
    run_record_end(&record);
    return read;
}
