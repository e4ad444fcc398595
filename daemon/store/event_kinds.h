/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The kinds of events, written once: the text that stands on record, in
 * notifications and in the log. A text is for ever, because databases have it.
 */
#ifndef GRADUS_DAEMON_EVENT_KINDS_H
#define GRADUS_DAEMON_EVENT_KINDS_H

#include <stdbool.h>

/* Texts that stand in SQL too. */
#define EVENT_TEXT_RUN_BEGAN "run began"
#define EVENT_TEXT_RUN_ENDED "run ended"
#define EVENT_TEXT_PRUNED    "pruned"
#define EVENT_TEXT_SUMMARY   "summary"
#define EVENT_TEXT_MISSING   "rows missing"
#define EVENT_TEXT_DIFFERS   "row differs"

/* X(name, text, whether it is put on record) */
#define EVENT_KIND_TABLE(X)                                                                        \
    X(RUN_BEGAN, EVENT_TEXT_RUN_BEGAN, true)                                                       \
    X(LATE_ROUND, "late round", true)                                                              \
    X(ROUNDS_MISSED, "rounds missed", true)                                                        \
    X(NOT_MEASURED, "not measured", true)                                                          \
    X(CLOCK_JUMPED, "clock jumped", true)                                                          \
    X(GAP, "gap", true)                                                                            \
    X(TRIP, "trip", true)                                                                          \
    X(RUN_ENDED, EVENT_TEXT_RUN_ENDED, true)                                                       \
    X(PHASE_COMMAND, "phase command", true)                                                        \
    X(RUN_CONTINUED, "run continued", true)                                                        \
    X(COMPENSATION_CHECKED, "compensation checked", true)                                          \
    X(LEADS_ZEROED, "leads zeroed", true)                                                          \
    X(WALK_BEGAN, "walk began", true)                                                              \
    X(DIAGNOSIS_BEGAN, "diagnosis began", true)                                                    \
    X(WALK_PLACE, "walk place", true)                                                              \
    X(WALK_NOTE, "walk note", true)                                                                \
    X(WALK_ENDED, "walk ended", true)                                                              \
    X(PRUNED, EVENT_TEXT_PRUNED, true)                                                             \
    X(SUMMARY, EVENT_TEXT_SUMMARY, true)                                                           \
    X(REMOVAL_ALLOWED, "removal allowed", true)                                                    \
    X(ROWS_MISSING, EVENT_TEXT_MISSING, true)                                                      \
    X(ROW_DIFFERS, EVENT_TEXT_DIFFERS, true)                                                       \
    X(INSTRUMENT_DOWN, "instrument down", false)                                                   \
    X(INSTRUMENT_BACK, "instrument back", false)                                                   \
    X(STORE_TROUBLE, "store not writable", false)                                                  \
    X(STORE_WELL, "store writable again", false)

enum event_kind {
#define X(name, text, kept) EVENT_##name,
    EVENT_KIND_TABLE(X)
#undef X
        EVENT_KINDS
};

/* The text of a kind. */
const char *event_kind_text(enum event_kind kind);

/* Whether events of a kind are put on record. */
bool event_kind_kept(enum event_kind kind);

/* The kind of a text on record; EVENT_KINDS: none that is known. */
enum event_kind event_kind_of(const char *text);

#endif
