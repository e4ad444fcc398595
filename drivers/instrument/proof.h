/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Proof that an instrument is set as it was told: a list of questions, each
 * with the answer that the setup in hand must give. They are asked around each
 * reading or record, since people press keys and turn knobs; together in one
 * message where the profile says so.
 */
#ifndef GRADUS_DRIVERS_PROOF_H
#define GRADUS_DRIVERS_PROOF_H

#include "drivers/dialogue/dialogue.h"
#include "drivers/profile/command.h"
#include "drivers/profile/profile.h"

#include <stdbool.h>
#include <stddef.h>

enum { PROOF_ITEMS = 24, PROOF_ANSWER = 256 };

/* What an answer must be. */
enum proof_way {
    PROOF_BY_PATTERN,
    PROOF_BY_TEXT,
    PROOF_BY_NUMBER, /* within `tolerance` */
    PROOF_BY_TOUCH   /* nobody touched the panel since the question before; see struct touch */
};

struct proof_item {
    enum proof_way way;
    const char *what;            /* is proved, for messages */
    enum failure_code otherwise; /* the failure when it is not so */
    const regex_t *pattern;
    const struct touch *touch;
    char query[PROFILE_TEXT];
    char text[PROFILE_TEXT];
    double number;
    double tolerance;
    double unit;  /* of the number in that of `told` */
    double *told; /* where the number goes that was answered; NULL: nowhere */
};

struct proof;

/* One item on one side of what it proves. */
struct proof_side {
    struct proof *proof;
    const struct proof_item *item;
    bool behind;
};

struct proof {
    const char *name; /* of the instrument, for messages; borrowed */
    bool together;    /* asked in one message */
    size_t count;
    struct proof_item items[PROOF_ITEMS];
    struct proof_side sides[2 * PROOF_ITEMS];
    char touched[PROOF_ANSWER]; /* the answer before, of PROOF_BY_TOUCH */
    struct failure found;       /* the first thing that is set otherwise */
};

/* Starts an empty list. */
void proof_begin(struct proof *proof, const char *name, bool together);

/*
 * Adds a question with its placeholders filled in; the caller says in *item
 * what the answer must be. An empty query adds none, and *item is NULL. False with the failure set when a text cannot be filled in.
 */
bool proof_add(struct proof *proof, const char *what, const char *query,
               const struct command_values *values, struct proof_item **item,
               struct failure *failure);

/* As proof_add(), for a check with a pattern; `otherwise` is the failure when it does not match. */
bool proof_add_check(struct proof *proof, const char *what, enum failure_code otherwise,
                     const struct check *check, const struct command_values *values,
                     struct failure *failure);

/* As proof_add(), for what the profile knows a touched panel by, where it does. */
bool proof_add_touch(struct proof *proof, const struct touch *touch,
                     const struct command_values *values, struct failure *failure);

/*
 * The questions as they go with others into one message: fills `questions`,
 * which has room for proof->count. Their answers are judged with
 * proof_holds() when all have been read.
 */
void proof_questions(struct proof *proof, bool behind, struct question *questions);

/* Whether all answers so far were those of the setup; the failure is that of the first that was not. */
bool proof_holds(const struct proof *proof, struct failure *failure);

/*
 * Asks all questions, before or behind what they prove. A failure of an item
 * leaves the dialogue in step.
 */
bool proof_ask(struct proof *proof, bool behind, struct dialogue *dialogue,
               struct deadline deadline, struct failure *failure);

/*
 * One question with all proofs before and behind it, or behind it only, in its
 * message. Its answer counts only when this returns true.
 */
bool proof_read(struct proof *proof, bool before, const struct question *question, double extra_ms,
                struct dialogue *dialogue, struct deadline deadline, struct failure *failure);

#endif
