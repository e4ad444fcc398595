/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * OLDMERE: a 4 1/2-digit bench meter that is told in plain English what to be
 * and answers in plain English what it sees; no acknowledgement.
 *
 *     BE VOLTMETER     (AC VOLTMETER, AMMETER, OHMMETER, COUNTER)
 *     STEP 3           the third range from the smallest
 *     PLUG 5           the fifth plug of the scanner card
 *     WHICH PLUG       PLUG 5
 *     LOOK             STEADY VOLTS +05.013, or STEADY VOLTS TOO MUCH
 *     WHO              who it is
 *     HANDS            its keys belong to hands again
 *
 * Anything else: PARDON
 */
#include "languages.h"
#include "tools/standin/instrument/keys.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

struct function_word {
    const char *command;
    const char *answer; /* what stands before the number */
};

static const struct function_word words[METER_FUNCTIONS] = {
    [METER_DC_VOLTAGE] = { "BE VOLTMETER", "STEADY VOLTS" },
    [METER_AC_VOLTAGE] = { "BE AC VOLTMETER", "ALTERNATING VOLTS" },
    [METER_DC_CURRENT] = { "BE AMMETER", "STEADY AMPS" },
    [METER_RESISTANCE] = { "BE OHMMETER", "OHMS" },
    [METER_FREQUENCY] = { "BE COUNTER", "CYCLES A SECOND" },
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

static void look(struct instrument *instrument, struct answer *answer)
{
    struct meter_reading reading = instrument_read(instrument, answer);
    const struct function_word *word = &words[instrument->meter.function];

    text_print(&answer->text, "%s ", word->answer);
    if (reading.overload)
        text_print(&answer->text, "TOO MUCH");
    else
        print_value(answer, meter_range(&instrument->meter), reading.value);
    keys_pressed(instrument);
    answer->replies = true;
}

/* A word and a number of one or two digits, no leading zero; 0 when it is none. */
static int numbered(const char *command, const char *word)
{
    size_t length = strlen(word);
    size_t digits;

    if (strncmp(command, word, length) != 0)
        return 0;
    digits = strspn(command + length, "0123456789");
    if (digits < 1 || digits > 2 || command[length + digits] != '\0' || command[length] == '0')
        return 0;
    return (int)strtol(command + length, NULL, 10);
}

static bool select_function(struct meter *meter, const char *command)
{
    for (size_t f = 0; f < METER_FUNCTIONS; f++)
        if (words[f].command != NULL && strcmp(command, words[f].command) == 0)
            return meter_select_function(meter, (enum meter_function)f);
    return false;
}

static bool select_number(struct meter *meter, const char *command)
{
    int range = numbered(command, "STEP ");
    int input = numbered(command, "PLUG ");

    if (range > 0)
        return meter_select_range(meter, meter->function, (size_t)range - 1);
    return input > 0 && meter_select_input(meter, input);
}

static void execute(struct instrument *instrument, const char *command, struct answer *answer)
{
    struct meter *meter = &instrument->meter;

    if (command[0] == '\0' || strcmp(command, "HANDS") == 0)
        return;
    if (strcmp(command, "WHO") == 0) {
        reply(answer, wrong_identity(instrument) ? "OLDMERE LEVEL METER REV 1"
                                                 : "OLDMERE BENCH METER REV 2");
    } else if (strcmp(command, "WHICH PLUG") == 0) {
        text_print(&answer->text, "PLUG %d", meter->input);
        answer->replies = true;
    } else if (strcmp(command, "LOOK") == 0) {
        look(instrument, answer);
    } else if (!select_function(meter, command) && !select_number(meter, command)) {
        reply(answer, "PARDON");
    }
}

static void overrun(struct instrument *instrument, struct answer *answer)
{
    (void)instrument;
    reply(answer, "PARDON");
}

const struct language language_oldmere_meter = {
    .type = "oldmere-meter",
    .meter = &meter_oldmere,
    .command_end = '\r',
    .reply_end = "\r\n",
    .execute = execute,
    .overrun = overrun,
};
