/* SPDX-License-Identifier: GPL-3.0-or-later */
/* An instrument driven by a profile, against a player that answers from a table. */
#ifndef GRADUS_TESTS_DRIVERS_BENCH_H
#define GRADUS_TESTS_DRIVERS_BENCH_H

#include "drivers/instrument/instrument.h"
#include "player.h"

enum { BENCH_PLENTY_MS = 20000 };

/* The part of a profile that all have in common; `limit` is the longest reply. */
#define BENCH_DIALOGUE(limit)                                                                      \
    "dialogue = { command_terminator = \"\\n\"; reply_terminator = \"\\n\"; framing = \"488\";"    \
    " reply_ms = 20000.0; quiet_ms = 10.0; reply_limit = " limit "; identity_query = \"*IDN?\";"   \
    " identity = \"^MAKER,\"; error_query = \"ERR?\"; error_none = \"^0,\"; };"                    \
    "setup = [ \"*CLS\", \"REM\" ]; local = [ \"LOC\" ]; max_input = 300.0;"

struct bench {
    struct profile *profile;
    struct player *player;
    struct instrument *instrument;
    struct request request;
    struct acquisition acquisition;
    struct failure failure;
};

/* Reads the profile `text` and connects an instrument of it with a player of `rows`. */
struct bench bench_start(const char *text, const struct player_row *rows);

/* Frees all; the player must have nothing to complain about. */
void bench_end(struct bench *bench);

/* One acquisition of `bench->request`; its outcome is in the bench. */
bool bench_acquire(struct bench *bench);

/* An acquisition that goes well, and the commands it takes. */
void bench_acquired(struct bench *bench, const char *commands);

/* An acquisition that fails. */
void bench_failed(struct bench *bench, enum failure_code code);

/* The dialogue with the player. */
struct dialogue *bench_dialogue(struct bench *bench);

/* One answer that is wrong and the failure it gives. */
struct wrong {
    const char *query;
    const char *reply;
    enum failure_code code;
};

/* Gives each wrong answer once; before and after it an acquisition takes the commands `again`. */
void bench_check_wrong(struct bench *bench, const struct wrong *wrong, size_t count,
                       const char *again);

#endif
