/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "store_retention.h"

#include "daemon/basics/wall_clock.h"
#include "store_db_priv.h"
#include "store_prune.h"

#include <math.h>

/* A clock that is kept right goes on by no more than this too much: own choice. */
static const struct duration step_least = { 60 * SECOND_NS };

struct retention_clocks retention_clocks_now(void)
{
    return (struct retention_clocks) { wall_time_now(), wall_clock_is_synchronised(),
                                       machine_up() };
}

/* What a statement with up to two parameters answers; false when it cannot be had or is NULL. */
static bool number_of(struct store_db *db, const char *sql, int64_t first, int64_t second,
                      int64_t *number)
{
    sqlite3_stmt *statement = NULL;
    sqlite3_prepare_v2(db->sqlite, sql, -1, &statement, NULL);
    sqlite3_bind_int64(statement, 1, first);
    sqlite3_bind_int64(statement, 2, second);
    bool found =
        sqlite3_step(statement) == SQLITE_ROW && sqlite3_column_type(statement, 0) != SQLITE_NULL;
    if (found)
        *number = sqlite3_column_int64(statement, 0);
    return sqlite3_finalize(statement) == SQLITE_OK && found;
}

/* How much goes of readings and of summaries, each before a moment of its own. */
struct due {
    struct wall_time readings_before;
    struct wall_time summaries_before;
    int64_t rows;
    bool exceeds; /* a share of all that is there */
};

static struct wall_time days_before(struct wall_time now, double days)
{
    return days > 0 ? wall_time_plus(now, duration_of_seconds(-days * STORE_DAY_S))
                    : WALL_TIME_FIRST;
}

/* Whether there are so many rows that are not due. */
static bool has_kept(struct store_db *db, const struct due *due, int64_t count)
{
    int64_t readings = 0;
    int64_t summaries = 0;
    number_of(db,
              "SELECT count(*) FROM (SELECT 1 FROM readings WHERE time_ns >= ?1"
              " ORDER BY time_ns LIMIT ?2)",
              due->readings_before.ns, count, &readings);
    if (readings < count)
        number_of(db,
                  "SELECT count(*) FROM (SELECT 1 FROM events WHERE kind = '" EVENT_TEXT_SUMMARY
                  "' AND time_ns >= ?1 LIMIT ?2)",
                  due->summaries_before.ns, count - readings, &summaries);
    return readings + summaries >= count;
}

/* Counts as `readings` says; whether that is more than the share. */
static bool count_due(struct store_db *db, const char *readings, double percent, struct due *due)
{
    int64_t of_readings = 0;
    int64_t of_summaries = 0;
    if (!number_of(db, readings, due->readings_before.ns, 0, &of_readings) ||
        !number_of(db,
                   "SELECT count(*) FROM events WHERE kind = '" EVENT_TEXT_SUMMARY
                   "' AND time_ns < ?1",
                   due->summaries_before.ns, 0, &of_summaries))
        return false;
    due->rows = of_readings + of_summaries;
    double kept = percent > 0 ? ceil((double)due->rows * (100 / percent - 1)) : 9e15;
    due->exceeds = due->rows > 0 && !has_kept(db, due, (int64_t)fmin(kept, 9e15));
    return true;
}

/*
 * Rows of runs under way do not go, but telling them takes a look at each
 * row; where all that is old is within the share, that is not needed.
 */
static bool find_due(struct store_db *db, const struct bench_store *settings, struct wall_time now,
                     struct due *due)
{
    double days = settings->keep_all_days > 0 ? settings->keep_all_days : settings->retention_days;
    due->readings_before = days_before(now, days);
    due->summaries_before = days_before(now, settings->retention_days);
    return count_due(db, "SELECT count(*) FROM readings WHERE time_ns < ?1", settings->ask_percent,
                     due) &&
           (!due->exceeds ||
            count_due(db, "SELECT count(*) " STORE_OLD_READINGS, settings->ask_percent, due));
}

/* Whether the newest time is no later than time has gone on since it was another one. */
static bool went_on(const struct retention *retention, const struct retention_clocks *clocks,
                    struct wall_time newest)
{
    struct duration wall = wall_time_since(newest, retention->newest);
    struct duration up = { ns_difference(clocks->up.ns, retention->up.ns) };
    return retention->trusted && !duration_shorter(duration_plus(up, step_least), wall);
}

static enum store_wait wait_for(const struct retention *retention, const struct due *due,
                                const struct bench_store *settings,
                                const struct retention_clocks *clocks, struct wall_time newest)
{
    if (due->rows == 0)
        return STORE_WAITS_NOT;
    if (!clocks->synchronised && !settings->trust_clock)
        return STORE_WAITS_CLOCK;
    return due->exceeds && !went_on(retention, clocks, newest) ? STORE_WAITS_CONSENT
                                                               : STORE_WAITS_NOT;
}

/* What the next look goes by. */
static void keep(struct retention *retention, bool trusted, struct duration up,
                 struct wall_time newest)
{
    if (!retention->trusted || newest.ns != retention->newest.ns)
        retention->up = up;
    retention->newest = newest;
    retention->trusted = trusted;
}

enum store_state store_retention_look(struct retention *retention, struct store_db *db,
                                      const struct bench_store *settings,
                                      const struct retention_clocks *clocks, struct wall_time *now,
                                      struct store_removal *removal, struct failure *failure)
{
    struct due due = { 0 };
    struct wall_time newest;
    *now = WALL_TIME_FIRST;
    *removal = (struct store_removal) { 0 };
    if ((settings->keep_all_days <= 0 && settings->retention_days <= 0) ||
        !number_of(db, "SELECT max(time_ns) FROM readings", 0, 0, &newest.ns))
        return STORE_WELL;
    struct wall_time from = wall_time_before(newest, clocks->wall) ? newest : clocks->wall;
    if (!find_due(db, settings, from, &due))
        return store_db_fail(db->sqlite, sqlite3_extended_errcode(db->sqlite), failure);
    removal->wait = wait_for(retention, &due, settings, clocks, from);
    keep(retention, removal->wait == STORE_WAITS_NOT, clocks->up, from);
    if (retention->trusted) {
        *now = from;
    } else {
        removal->before = due.readings_before;
        removal->rows = (uint64_t)due.rows;
        if (retention->allowed.ns != 0) /* ages count from the day that was allowed */
            *now = wall_time_plus(retention->allowed, wall_time_since(from, due.readings_before));
    }
    retention->allowed.ns = 0;
    return STORE_WELL;
}
