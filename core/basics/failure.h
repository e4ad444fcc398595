/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Why there is no value: one caller-owned record that travels unchanged from
 * the place that found the fault to the person who asked.
 *
 * A function that can fail takes a `struct failure *` and returns false; its
 * outputs are written only on success. The first cause wins: a record that
 * already holds a failure is not overwritten by the consequences of it.
 */
#ifndef GRADUS_CORE_FAILURE_H
#define GRADUS_CORE_FAILURE_H

#include <stdbool.h>

/*
 * Every failure code once: name, the reason as it stands on the wire and in
 * messages, the JSON-RPC error code, the exit status of the command, and
 * whether the link is to blame, or who is at its end, and not the signal.
 * Exit statuses: 2 usage or settings, 3 no reading could be had.
 */
#define FAILURE_TABLE(X)                                                                           \
    X(NONE, "none", 0, 0, false)                                                                   \
    X(OVER_RANGE, "over range", -32001, 3, false)                                                  \
    X(UNSTABLE, "unstable signal", -32002, 3, false)                                               \
    X(NO_VALUE, "instrument has no value", -32003, 3, false)                                       \
    X(NOT_CALIBRATED, "vertical scale not calibrated", -32004, 3, false)                           \
    X(RATING, "rating exceeded", -32005, 3, false)                                                 \
    X(UNSUPPORTED, "instrument cannot measure this", -32006, 3, false)                             \
    X(MISTAKE, "operating mistake", -32007, 3, false)                                              \
    X(NO_TRIGGER, "no trigger", -32008, 3, false)                                                  \
    X(TIMEOUT, "no reply in time", -32010, 3, true)                                                \
    X(DISCONNECTED, "link down", -32011, 3, true)                                                  \
    X(UNEXPECTED_REPLY, "unexpected reply", -32012, 3, true)                                       \
    X(BABBLE, "instrument will not stop sending", -32013, 3, true)                                 \
    X(WRONG_IDENTITY, "wrong instrument", -32014, 3, true)                                         \
    X(INSTRUMENT_ERROR, "instrument reported an error", -32015, 3, true)                           \
    X(CHANGED, "settings changed at the instrument", -32017, 3, true)                              \
    X(LINE_DAMAGED, "line errors during the exchange", -32016, 3, true)                            \
    X(DEADLINE, "deadline passed", -32020, 3, false)                                               \
    X(HELD, "held by another client", -32021, 3, false)                                            \
    X(STOPPING, "daemon is stopping", -32022, 3, false)                                            \
    X(OVERLOADED, "too many requests waiting", -32023, 3, false)                                   \
    X(CONNECTIONS, "too many connections", -32025, 3, false)                                       \
    X(NOT_ALLOWED, "not allowed", -32024, 2, false)                                                \
    X(UNKNOWN_POINT, "unknown point", -32030, 2, false)                                            \
    X(UNKNOWN_INSTRUMENT, "unknown instrument", -32031, 2, false)                                  \
    X(SETTINGS, "settings", -32032, 2, false)                                                      \
    X(NO_MEMORY, "out of memory", -32040, 3, false)                                                \
    X(SYSTEM, "system error", -32041, 3, false)

enum failure_code {
#define X(name, reason, rpc, exit_status, of_link) FAILURE_##name,
    FAILURE_TABLE(X)
#undef X
        FAILURE_CODE_COUNT
};

/* One failure. Text fields are always terminated; too long a text is cut with "...". */
struct failure {
    enum failure_code code; /* FAILURE_NONE while all is well */
    char where[128];        /* file:line, or instrument and command; empty when not known */
    char what[256];         /* what is wrong, or what came instead */
    char expected[192];     /* what was expected; empty when that says nothing new */
    int retry_ms;           /* asked again after so long it may go better; 0: not known */
};

/* A record with no failure in it. */
void failure_clear(struct failure *failure);

/*
 * Records a failure and returns false, so that a caller can write
 * `return failure_set(...)`. Does nothing to a record that already holds one,
 * and accepts NULL for `failure`, `where` and `expected`.
 *
 * code      any code but FAILURE_NONE
 * where     where it was found, or NULL
 * expected  what was expected instead, or NULL
 * format    printf format of what is wrong
 */
bool failure_set(struct failure *failure, enum failure_code code, const char *where,
                 const char *expected, const char *format, ...)
    __attribute__((format(printf, 5, 6)));

/* As failure_set() with FAILURE_NO_MEMORY: "no memory for " and `what`, for example "a point". Returns false. */
bool failure_no_memory(struct failure *failure, const char *what);

/* Says after how many milliseconds it may be asked again, in a record that holds a failure. */
void failure_retry(struct failure *failure, int retry_ms);

/* The reason of a code as it stands on the wire, for example "over range". Never NULL. */
const char *failure_reason(enum failure_code code);

/* The JSON-RPC error code that belongs to a failure code. */
int failure_rpc_code(enum failure_code code);

/* The command's exit status that belongs to a failure code. */
int failure_exit_status(enum failure_code code);

/* Whether the link, or who is at its end, is what is wrong. */
bool failure_is_of_link(enum failure_code code);

/*
 * The code whose reason is `reason`, as read back from the wire.
 * Returns FAILURE_NONE when no code has that reason.
 */
enum failure_code failure_from_reason(const char *reason);

/*
 * Writes "where: reason: what, expected ..." into `text`, always terminated,
 * leaving out the parts that are empty. Returns `text`.
 */
char *failure_text(const struct failure *failure, char *text, unsigned long size);

#endif
