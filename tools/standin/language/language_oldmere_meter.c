/* SPDX-License-Identifier: GPL-3.0-or-later */
/* OLDMERE: a 4 1/2-digit bench meter; letters and digits, no acknowledgement. */
#include "languages.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

struct function_word {
    const char *command;
    const char *label;
    const char *unit;
};

static const struct function_word words[METER_FUNCTIONS] = {
    [METER_DC_VOLTAGE] = { "FV", "DCV", "V" }, [METER_AC_VOLTAGE] = { "FA", "ACV", "V" },
    [METER_DC_CURRENT] = { "FI", "DCI", "A" }, [METER_RESISTANCE] = { "FR", "OHM", "OHM" },
    [METER_FREQUENCY] = { "FF", "FRQ", "HZ" },
};

static void reply(struct answer *answer, const char *text)
{
    text_print(&answer->text, "%s", text);
    answer->replies = true;
}

/* Digits before the point for full scale, digits after it for one count. */
static void print_value(struct answer *answer, const struct meter_range *range, double value)
{
    int before = range->full_scale >= 1.0 ? (int)floor(log10(range->full_scale) + 1e-9) + 1 : 1;
    int after = range->count < 1.0 ? (int)-floor(log10(range->count) + 1e-9) : 0;
    int width = 1 + before + (after > 0 ? 1 + after : 0);

    text_print(&answer->text, "%+0*.*f", width, after, value + 0.0);
}

static void trigger(struct instrument *instrument, struct answer *answer)
{
    const struct function_word *word = &words[instrument->meter.function];
    struct meter_reading reading = instrument_read(instrument, answer);

    text_print(&answer->text, "%s ", word->label);
    if (reading.overload) {
        text_print(&answer->text, "OVER");
    } else {
        print_value(answer, meter_range(&instrument->meter), reading.value);
    }
    text_print(&answer->text, " %s", word->unit);
    answer->replies = true;
}

/* A letter and a number of one or two digits, no leading zero; 0 when it is none. */
static int numbered(const char *command, char letter)
{
    size_t digits = command[0] == letter ? strspn(command + 1, "0123456789") : 0;

    if (digits < 1 || digits > 2 || command[1 + digits] != '\0' || command[1] == '0') {
        return 0;
    }
    return (int)strtol(command + 1, NULL, 10);
}

static bool select_function(struct meter *meter, const char *command)
{
    for (size_t f = 0; f < METER_FUNCTIONS; f++) {
        if (strcmp(command, words[f].command) == 0) {
            return meter_select_function(meter, (enum meter_function)f);
        }
    }
    return false;
}

static bool select_number(struct meter *meter, const char *command)
{
    int range = numbered(command, 'R');
    int input = numbered(command, 'I');

    if (range > 0) {
        return meter_select_range(meter, meter->function, (size_t)range - 1);
    }
    return input > 0 && meter_select_input(meter, input);
}

static void execute(struct instrument *instrument, const char *command, struct answer *answer)
{
    struct meter *meter = &instrument->meter;

    if (command[0] == '\0' || strcmp(command, "L") == 0) {
        return;
    }
    if (strcmp(command, "ID") == 0) {
        reply(answer, wrong_identity(instrument) ? "OLDMERE LEVEL METER REV 1"
                                                 : "OLDMERE BENCH METER REV 2");
    } else if (strcmp(command, "T") == 0) {
        trigger(instrument, answer);
    } else if (!select_function(meter, command) && !select_number(meter, command)) {
        reply(answer, "?");
    }
}

static void overrun(struct instrument *instrument, struct answer *answer)
{
    (void)instrument;
    reply(answer, "?");
}

const struct language language_oldmere_meter = {
    .type = "oldmere-meter",
    .meter = &meter_oldmere,
    .command_end = '\r',
    .reply_end = "\r\n",
    .execute = execute,
    .overrun = overrun,
};
