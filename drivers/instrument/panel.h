/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What is set at an instrument, as on its front panel: each setting as the
 * text that was sent last, so that only what differs is sent again.
 */
#ifndef GRADUS_DRIVERS_PANEL_H
#define GRADUS_DRIVERS_PANEL_H

#include "drivers/dialogue/dialogue.h"
#include "drivers/profile/command.h"
#include "drivers/profile/profile.h"

#include <stdbool.h>

/* The settings there are; those that all inputs share live with input 1. */
enum slot {
    SLOT_ROUTE,
    SLOT_FUNCTION,
    SLOT_RANGE,
    SLOT_TIMEBASE,
    SLOT_COUPLING,
    SLOT_VERTICAL,
    SLOT_OFFSET,
    SLOT_POSITION,
    SLOT_TRIGGER,
    SLOT_SLOPE,
    SLOT_COUNT
};

/* A text that is already in its slot is not sent again; an empty slot is not known. */
struct panel {
    struct dialogue *dialogue; /* in step whenever a function here is called */
    char name[64];             /* of the instrument, for messages */
    int inputs;
    char (*slots)[SLOT_COUNT][COMMAND_SIZE]; /* of each input; owned */
    /* The input whose settings were read back since one was last changed, and what a scope told of
     * them then; 0: none. Where the panel is locked they are not read back again. */
    int proved;
    struct setup told;
};

/*
 * Makes a panel of as many inputs, 1 at least, with nothing set; panel_end()
 * frees what it owns. False when memory is short.
 */
bool panel_begin(struct panel *panel, int inputs, const char *name);

/* Accepts a panel that is all zero. The dialogue is not the panel's. */
void panel_end(struct panel *panel);

/* Forgets all settings: the next ones are sent whatever they are. */
void panel_clear(struct panel *panel);

/* Forgets one setting. */
void panel_forget(struct panel *panel, int input, enum slot slot);

/*
 * Sends a command unless the slot says that it was the last one sent there;
 * an empty text is no command. Sets *changed when it was sent, leaves it
 * alone when not.
 */
bool panel_set(struct panel *panel, int input, enum slot slot, const char *text,
               const struct command_values *values, bool *changed, struct deadline deadline,
               struct failure *failure);

/* As panel_set(), for a list of commands that belong together. */
bool panel_set_all(struct panel *panel, int input, enum slot slot, const struct commands *commands,
                   const struct command_values *values, bool *changed, struct deadline deadline,
                   struct failure *failure);

/*
 * After a change: reads the error queue where there is one and lets the
 * input settle for `settle_ms`.
 */
bool panel_settle(struct panel *panel, double settle_ms, struct deadline deadline,
                  struct failure *failure);

#endif
