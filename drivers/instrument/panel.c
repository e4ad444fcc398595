/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "panel.h"

#include "drivers/cfg/pattern.h"
#include "drivers/dialogue/response.h"

#include <assert.h>
#include <math.h>
#include <poll.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

bool panel_begin(struct panel *panel, int inputs, const char *name)
{
    *panel = (struct panel) { .inputs = inputs };
    snprintf(panel->name, sizeof panel->name, "%s", name);
    panel->slots = calloc((size_t)inputs, sizeof *panel->slots);
    return panel->slots != NULL;
}

void panel_end(struct panel *panel)
{
    free(panel->slots);
}

void panel_clear(struct panel *panel)
{
    memset(panel->slots, 0, (size_t)panel->inputs * sizeof *panel->slots);
    panel->proved = 0;
}

/* Which inputs there are has been checked above: another one here is a mistake of ours. */
static char *slot_of(struct panel *panel, int input, enum slot slot)
{
    assert(input >= 1 && input <= panel->inputs);
    return panel->slots[input - 1][slot];
}

void panel_forget(struct panel *panel, int input, enum slot slot)
{
    slot_of(panel, input, slot)[0] = '\0';
}

bool panel_set(struct panel *panel, int input, enum slot slot, const char *text,
               const struct command_values *values, bool *changed, struct deadline deadline,
               struct failure *failure)
{
    if (!text[0])
        return true;
    struct commands one = { 1, (char *[]) { NULL } };
    char copy[COMMAND_SIZE];
    snprintf(copy, sizeof copy, "%s", text);
    one.texts[0] = copy;
    return panel_set_all(panel, input, slot, &one, values, changed, deadline, failure);
}

/* Fills the commands in and writes them one after another, for comparison with a slot. */
static bool fill_all(const struct commands *commands, const struct command_values *values,
                     char *filled, size_t size, struct failure *failure)
{
    size_t length = 0;
    filled[0] = '\0';
    for (size_t i = 0; i < commands->count; i++) {
        if (!command_fill(commands->texts[i], values, filled + length, size - length - 1, failure))
            return false;
        length += strlen(filled + length);
        filled[length++] = '\n';
        filled[length] = '\0';
    }
    return true;
}

bool panel_set_all(struct panel *panel, int input, enum slot slot, const struct commands *commands,
                   const struct command_values *values, bool *changed, struct deadline deadline,
                   struct failure *failure)
{
    char filled[COMMAND_SIZE];
    char *known = slot_of(panel, input, slot);
    if (!fill_all(commands, values, filled, sizeof filled, failure))
        return false;
    if (strcmp(filled, known) == 0)
        return true;
    known[0] = '\0';
    *changed = true;
    char lines[COMMAND_SIZE];
    memcpy(lines, filled, sizeof lines);
    char *rest = lines;
    for (char *line = strsep(&rest, "\n"); line && *line; line = strsep(&rest, "\n"))
        if (!dialogue_command(panel->dialogue, line, deadline, failure))
            return false;
    memcpy(known, filled, sizeof filled);
    return true;
}

/* Waits on nothing but the clock; the instrument's relays and amplifiers need the time. */
static bool wait_ms(double ms, struct deadline deadline, struct failure *failure)
{
    struct deadline end = deadline_in(ms);
    while (!deadline_passed(end)) {
        if (deadline_passed(deadline))
            return failure_set(failure, FAILURE_DEADLINE, NULL, NULL,
                               "the deadline came while the input settled");
        poll(NULL, 0, deadline_poll_ms(deadline_sooner(end, deadline)));
    }
    return true;
}

bool panel_settle(struct panel *panel, double settle_ms, struct deadline deadline,
                  struct failure *failure)
{
    return dialogue_check_errors(panel->dialogue, deadline, failure) &&
           wait_ms(settle_ms, deadline, failure);
}
