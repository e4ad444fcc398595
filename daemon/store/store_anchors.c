/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "store_anchors.h"

#include "drivers/basics/deadline.h"
#include "store_db_priv.h"
#include "store_missing.h"

#include <inttypes.h>
#include <stdio.h>
#include <string.h>

static const struct duration retry_least = { 2 * SECOND_NS };
static const struct duration tell_period = { 3600 * SECOND_NS };

bool anchors_begin(struct anchors *anchors, const struct bench_store *settings,
                   struct failure *failure)
{
    snprintf(anchors->database, sizeof anchors->database, "%s", settings->path);
    anchor_path(settings->path, anchors->path, sizeof anchors->path);
    anchors->every = duration_of_seconds(settings->anchor_s);
    return anchor_key_read(settings->anchor_key, &anchors->key, failure);
}

/* Reads the end of the file, where it is not known. */
static bool know(struct anchors *anchors, struct anchor_end *end, struct failure *failure)
{
    if (!anchor_read_end(anchors->path, &anchors->key, end, failure))
        return false;
    anchors->last = end->last;
    anchors->known = true;
    return true;
}

enum store_state anchors_compare(struct anchors *anchors, struct store_db *db, uint64_t *missing,
                                 struct failure *failure)
{
    char said[300];
    struct anchor_end end;
    struct failure unread = { 0 };
    if (!know(anchors, &end, &unread)) {
        log_trouble_failed(&anchors->trouble, "store: anchors", &unread, monotonic_now());
        return STORE_WELL;
    }
    enum store_state state = store_missing_check(db, &end, said, sizeof said, failure);
    if (state != STORE_WELL)
        return state;
    if (said[0] != '\0')
        log_line(LOG_PRIORITY_ERROR, "%s: %s", anchors->database, said);
    if (end.wrong)
        log_line(LOG_PRIORITY_ERROR, "%s: the last line was not written with the key of the store",
                 anchors->path);
    if (!end.there && db->last > 0)
        log_line(LOG_PRIORITY_WARNING,
                 "%s: it is not there, although the database has %" PRId64 " rows: begun with them",
                 anchors->path, db->last);
    *missing = store_missing_count(db);
    return STORE_WELL;
}

/* So that a log that is kept elsewhere knows it too. */
static void tell(struct anchors *anchors, bool end)
{
    char hex[2 * CHAIN_SIZE + 1];
    const struct moment now = monotonic_now();
    if (!end && moment_is_set(anchors->tell) && moment_before(now, anchors->tell))
        return;
    anchors->tell = moment_plus(now, tell_period);
    log_line(LOG_PRIORITY_NOTICE, "%s: row %" PRId64 ", digest %s", anchors->database,
             anchors->last.id, anchor_hex(anchors->last.digest, hex));
}

/* A file that could not be read before may name rows that are not there: the next start tells. */
static bool is_next(const struct anchors *anchors, int64_t newest, struct failure *failure)
{
    return anchors->last.id < newest ||
           failure_set(failure, FAILURE_SYSTEM, anchors->path, "fewer rows than the database has",
                       "it has row %" PRId64 " already", anchors->last.id);
}

void anchors_follow(struct anchors *anchors, struct store_db *db, bool end)
{
    struct anchor_end file;
    struct failure failure = { 0 };
    const struct moment now = monotonic_now();
    int64_t newest = db->durable.id;
    if (newest == 0 || newest == anchors->last.id ||
        (!end && moment_is_set(anchors->next) && moment_before(now, anchors->next)))
        return;
    anchors->next = moment_plus(now, anchors->every);
    anchors->known = (anchors->known || know(anchors, &file, &failure)) &&
                     is_next(anchors, newest, &failure) &&
                     anchor_append(anchors->path, &anchors->key, &anchors->last, newest,
                                   db->durable.digest, NULL, &failure);
    if (anchors->known) {
        log_trouble_over(&anchors->trouble, "store: anchors", now);
        tell(anchors, end);
    } else {
        if (duration_shorter(anchors->every, retry_least))
            anchors->next = moment_plus(now, retry_least);
        log_trouble_failed(&anchors->trouble, "store: anchors", &failure, now);
    }
}

struct moment anchors_next(const struct anchors *anchors, const struct store_db *db)
{
    static const struct moment never = { INT64_MAX };
    int64_t newest = db != NULL ? db->durable.id : 0;
    return newest == 0 || newest == anchors->last.id ? never : anchors->next;
}

bool anchors_aside(struct anchors *anchors, const char *name, struct failure *failure)
{
    struct anchor_end file;
    if (!anchors->known && !know(anchors, &file, failure))
        return false;
    if (anchors->last.id == 0)
        return true;
    anchors->known = anchor_append(anchors->path, &anchors->key, &anchors->last, 0,
                                   anchors->last.digest, name, failure);
    return anchors->known;
}
