/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Proof that a meter reads what it was told to read: which input, which
 * function, in which range, and that it leaves the range alone. The questions
 * are the profile's, and the answers must be those of the setup in hand. They
 * are asked around each reading, so that a key pressed in between shows.
 */
#ifndef GRADUS_DRIVERS_PROOF_H
#define GRADUS_DRIVERS_PROOF_H

#include "drivers/dialogue/dialogue.h"
#include "drivers/profile/command.h"
#include "drivers/profile/profile.h"

#include <stdbool.h>
#include <stddef.h>

/* Input, function, automatic range, range. */
enum { PROOF_ITEMS = 4, PROOF_ANSWER = 256 };

/* One question and what its answer must be: the pattern, else the text, else the number. */
struct proof_item {
    const char *what; /* is proved, for messages */
    const regex_t *pattern;
    char query[PROFILE_TEXT];
    char text[PROFILE_TEXT];
    double number;
};

struct proof {
    const char *name; /* of the instrument, for messages; borrowed */
    size_t count;
    struct proof_item items[PROOF_ITEMS];
};

/*
 * Fills the profile's questions in for one setup; what the profile cannot ask
 * is left out. False with the failure set when a text cannot be filled in.
 */
bool proof_make(struct proof *proof, const struct profile *profile, const struct function *function,
                const struct command_values *values, const char *name, struct failure *failure);

/*
 * Asks all questions, each in a message of its own. FAILURE_CHANGED when an
 * answer says that the instrument is set otherwise; the dialogue is then still
 * in step.
 */
bool proof_ask(const struct proof *proof, struct dialogue *dialogue, struct deadline deadline,
               struct failure *failure);

/*
 * As dialogue_read(), with all questions before and behind the reading in the
 * same message. The reading counts only when this returns true; failures as in
 * proof_ask().
 */
bool proof_read(const struct proof *proof, struct dialogue *dialogue,
                const struct function *function, reply_reader *reader, void *out,
                struct deadline deadline, struct failure *failure);

#endif
