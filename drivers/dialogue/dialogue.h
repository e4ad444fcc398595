/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Talking to one instrument: exactly one reply to each query, and never a
 * late one.
 *
 * A dialogue is in one of two states. *In step*: every query so far had its
 * one reply and nothing else came. *Suspect*: a reply was late, damaged, cut,
 * joined to another or not what was asked for, or the link is new. A suspect
 * dialogue asks nothing of the user's before it has been brought in step
 * again: drain until the instrument has been silent, clear it where the link
 * can, ask who it is, and take only its known identity for an answer.
 *
 * Each time that happens the instrument may have lost its settings, so the
 * epoch counts up and the drivers set it up afresh.
 */
#ifndef GRADUS_DRIVERS_DIALOGUE_H
#define GRADUS_DRIVERS_DIALOGUE_H

#include "core/basics/failure.h"
#include "drivers/basics/deadline.h"
#include "drivers/link/link.h"
#include "protocol.h"

#include <regex.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct dialogue;

/* Bytes that the queries of one message may have together, their closing query not counted. */
enum { DIALOGUE_LONGEST = 1024 };

/*
 * Checks a reply against what was asked and takes out what is wanted. Returns
 * false with the failure set when the reply is not an answer to the question;
 * the dialogue is then suspect.
 */
typedef bool reply_reader(const struct reply *reply, void *out, struct failure *failure);

/*
 * A dialogue that is not connected yet. `protocol` is borrowed and must
 * outlive it, `spec` and `name` (for messages) are copied. NULL when memory
 * is short. Free with dialogue_free().
 */
struct dialogue *dialogue_new(const struct protocol *protocol, const struct link_spec *spec,
                              const char *name);

/* Closes the link. Accepts NULL. */
void dialogue_free(struct dialogue *dialogue);

/*
 * Brings the dialogue in step: opens the link if it is closed, and
 * re-synchronises if the dialogue is suspect. Does nothing when it is in step.
 */
bool dialogue_ready(struct dialogue *dialogue, struct deadline deadline, struct failure *failure);

/* Counts up whenever the instrument may have lost its settings; 0 before the first. */
unsigned dialogue_epoch(const struct dialogue *dialogue);

/* The identity last read, or "" before that. */
const char *dialogue_identity(const struct dialogue *dialogue);

/* What happened so far; valid as long as the dialogue. */
const struct dialogue_counters *dialogue_counters(const struct dialogue *dialogue);

/*
 * Sends a command that asks nothing. Where the instrument acknowledges, its
 * acknowledgement is read and checked. The dialogue must be in step: call
 * dialogue_ready() first; a suspect one fails with FAILURE_UNEXPECTED_REPLY.
 */
bool dialogue_command(struct dialogue *dialogue, const char *text, struct deadline deadline,
                      struct failure *failure);

/*
 * Asks, and hands the one reply to `reader`. `extra_ms` is added to the
 * protocol's reply time (conversion, acquisition); the whole never outlasts
 * `deadline`: FAILURE_TIMEOUT when the instrument's time ran out,
 * FAILURE_DEADLINE when the caller's did. On any failure the dialogue is
 * suspect, but for a query that was not sent because of its text or because
 * no time was left, and for a refusal (FAILURE_INSTRUMENT_ERROR) that can
 * only be this query's: without echo, prompt or acknowledgements a refusal
 * may answer an earlier command, and the reply is still to come.
 */
bool dialogue_query(struct dialogue *dialogue, const char *text, double extra_ms,
                    reply_reader *reader, void *out, struct deadline deadline,
                    struct failure *failure);

/*
 * As dialogue_query(), for our own questions: where the protocol's closing
 * query is numbered, that is asked in the same message, and its number, which
 * is another one in each of 256 messages, must stand behind the answer. An
 * answer to any other question, late or sent twice, does not fit then.
 */
bool dialogue_ask(struct dialogue *dialogue, const char *text, double extra_ms,
                  reply_reader *reader, void *out, struct deadline deadline,
                  struct failure *failure);

/*
 * As dialogue_ask(), for a query whose answer is a reading: a closing query
 * without a number is asked as well, so that a number which somebody else sent
 * is not believed. It is asked twice in every other message: an answer to the
 * message before, which comes late or a second time, does not fit this one.
 * `reader` sees the reading alone, and must refuse what is more than one.
 */
bool dialogue_read(struct dialogue *dialogue, const char *text, double extra_ms,
                   reply_reader *reader, void *out, struct deadline deadline,
                   struct failure *failure);

/* One question of several in one message, and who reads its answer. */
struct question {
    const char *text;
    reply_reader *reader;
    void *out;
};

/*
 * As dialogue_read(), for several queries that are asked in one message, joined
 * by semicolons (IEEE 488.2, 7.3.3); there must be exactly as many answers, and
 * each is handed to its reader, in order, until one refuses (8.4.1: answers are
 * parted by semicolons, which may stand in strings and blocks).
 */
bool dialogue_read_all(struct dialogue *dialogue, const struct question *questions, size_t count,
                       double extra_ms, struct deadline deadline, struct failure *failure);

/*
 * To be called behind the last reading before it is believed: where the
 * protocol has no closing query, the instrument must still answer with its
 * identity, and with nothing else.
 */
bool dialogue_confirm(struct dialogue *dialogue, struct deadline deadline, struct failure *failure);

/*
 * Empties the instrument's error queue; fails with FAILURE_INSTRUMENT_ERROR
 * naming the first entry when there was one. Does nothing where there is no queue.
 */
bool dialogue_check_errors(struct dialogue *dialogue, struct deadline deadline,
                           struct failure *failure);

/*
 * Has `trace` called after each exchange, on the calling thread, for showing
 * what goes over the link: every command and query sent, those of opening,
 * re-synchronising and reading the error queue included.
 *
 * command   as sent, without its terminator
 * reply     what came back, or NULL where nothing came or nothing was asked
 * ms        from the first byte written to the end of the reply
 * failure   why the exchange failed, or NULL when it went well
 * context   handed through
 * All pointers are valid during the call only. The trace must not use the
 * dialogue. NULL for `trace` ends it.
 */
void dialogue_trace(struct dialogue *dialogue,
                    void (*trace)(void *context, const char *command, const struct reply *reply,
                                  double ms, const struct failure *failure),
                    void *context);

/* Declares the dialogue suspect: the next dialogue_ready() re-synchronises. */
void dialogue_suspect(struct dialogue *dialogue);

/*
 * Opens the link if it is closed, and does no more than that: the dialogue is
 * suspect until dialogue_ready(). For asking first, in a short time, whether
 * the instrument can be reached at all.
 */
bool dialogue_connect(struct dialogue *dialogue, struct deadline deadline, struct failure *failure);

/* Whether the link is open. */
bool dialogue_connected(const struct dialogue *dialogue);

/*
 * Whether the instrument is still there, without waiting and without a byte
 * to it: false with the failure set, and the link closed, when it is surely
 * gone. True where the link cannot tell or is closed.
 */
bool dialogue_present(struct dialogue *dialogue, struct failure *failure);

/* What could be better about the open link (link_note()); "" for nothing or while it is closed. */
const char *dialogue_note(const struct dialogue *dialogue);

/* Whether the link is open and the dialogue in step. */
bool dialogue_in_step(const struct dialogue *dialogue);

/* Closes the link; the next dialogue_ready() opens it again. */
void dialogue_disconnect(struct dialogue *dialogue);

#endif
