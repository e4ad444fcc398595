/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A dialogue with a scripted instrument: the fixture of the dialogue tests.
 *
 * Reply times are long, so that a slow machine changes nothing; where nothing
 * is to come they are cut for that one call.
 */
#ifndef GRADUS_TESTS_DRIVERS_TALK_H
#define GRADUS_TESTS_DRIVERS_TALK_H

#include "drivers/dialogue/dialogue.h"
#include "peer.h"

enum { TALK_STEPS = 24, TALK_PLENTY_MS = 20000, TALK_REPLY_MS = 5000, TALK_SHORT_MS = 30 };

/* What kind of instrument it is: IEEE 488.2, plain text, and that with echo or prompt. */
enum variant { PLAIN, LINE, ECHO, PROMPT, VARIANTS };

#define IDENTITY      "TARNWERK,BENCH METER,1,1.4\n"
#define OTHER         "OLDMERE,FIELD METER,7,2.0\n"
#define LINE_IDENTITY "OLDMERE BENCH METER REV 2\r\n"
#define ASKED         EXPECT("READ?\n")
#define WHO           EXPECT("*IDN?\n")
#define LINE_ASKED    EXPECT("LOOK\r")
#define LINE_WHO      EXPECT("WHO\r")

/* A dialogue with a peer that plays a script. */
struct talk {
    struct protocol protocol;
    struct step steps[TALK_STEPS];
    size_t count;
    struct peer *peer;
    struct dialogue *dialogue;
};

/* How each kind of instrument wants to be talked to. Free with talk_protocol_free(). */
struct protocol talk_protocol(enum variant variant);

void talk_protocol_free(struct protocol *protocol);

/* Appends at most `most` steps to the script, up to STEP_END. */
void talk_add(struct talk *talk, const struct step *steps, size_t most);

/* Starts the peer, which plays what has been added, and makes the dialogue. */
void talk_start(struct talk *talk, enum variant variant);

/* Ends both; the script must have been played to its end. */
void talk_end(struct talk *talk);

/* A talk whose instrument follows `steps`, ended by STEP_END. */
#define TALK(variant, ...)                                                                         \
    struct talk talk = { .count = 0 };                                                             \
    const struct step script[] = { __VA_ARGS__, { STEP_END, NULL, 0 } };                           \
    talk_add(&talk, script, TALK_STEPS);                                                           \
    talk_start(&talk, variant)

/* dialogue_ready() must succeed. */
void talk_ready(struct talk *talk);

/* dialogue_ready() must fail with this code. */
void talk_not_ready(struct talk *talk, double deadline_ms, enum failure_code code);

/* The reply_readers of one number, a double. */
bool talk_read_488(const struct reply *reply, void *out, struct failure *failure);
bool talk_read_line(const struct reply *reply, void *out, struct failure *failure);

/* Asks for a reading. */
bool talk_ask(struct talk *talk, enum variant variant, double deadline_ms, double *value,
              struct failure *failure);

/* A reading must come and be this. */
void talk_answered(struct talk *talk, enum variant variant, double wanted);

/* No reading must come, for this reason. */
void talk_not_answered(struct talk *talk, enum variant variant, double deadline_ms,
                       enum failure_code code);

/* Sends a command, which must end with this code. */
bool talk_command(struct talk *talk, const char *text, enum failure_code code);

#endif
