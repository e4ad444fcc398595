/* SPDX-License-Identifier: GPL-3.0-or-later */
/* TARNWERK BENCH METER: a 5 1/2-digit meter that speaks SCPI-1999. */
#include "languages.h"
#include "tools/standin/instrument/keys.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const char *const function_forms[] = {
    [METER_DC_VOLTAGE] = "VOLTage:DC", [METER_AC_VOLTAGE] = "VOLTage:AC",
    [METER_DC_CURRENT] = "CURRent:DC", [METER_RESISTANCE] = "RESistance",
    [METER_FREQUENCY] = "FREQuency",   [METER_FOUR_WIRE] = "FRESistance",
};

static const char *const function_answers[] = {
    [METER_DC_VOLTAGE] = "VOLT:DC", [METER_AC_VOLTAGE] = "VOLT:AC", [METER_DC_CURRENT] = "CURR:DC",
    [METER_RESISTANCE] = "RES",     [METER_FREQUENCY] = "FREQ",     [METER_FOUR_WIRE] = "FRES",
};

/* Takes the quotes off a string parameter; NULL when it is none. `text` has room for it all. */
static bool unquote(const char *argument, char *text)
{
    size_t length = strlen(argument);

    if (length < 2 || (argument[0] != '"' && argument[0] != '\'') ||
        strchr(argument + 1, argument[0]) != argument + length - 1)
        return false;
    memcpy(text, argument + 1, length - 2);
    text[length - 2] = '\0';
    return true;
}

static void set_function(struct scpi_call *call)
{
    char name[256];

    if (!unquote(call->argument, name)) {
        scpi_report(call->scpi, -104, NULL);
        return;
    }
    for (size_t f = 0; f < METER_FUNCTIONS; f++) {
        if (scpi_matches(function_forms[f], name)) {
            meter_select_function(&call_instrument(call)->meter, (enum meter_function)f);
            return;
        }
    }
    scpi_report(call->scpi, -224, NULL);
}

static void ask_function(struct scpi_call *call)
{
    text_print(call->answer, "\"%s\"", function_answers[call_instrument(call)->meter.function]);
}

static void set_range(struct scpi_call *call)
{
    struct meter *meter = &call_instrument(call)->meter;
    enum meter_function function = (enum meter_function)call->tag;
    double value;
    size_t range;

    if (!scpi_number(call, &value))
        return;
    if (!meter_range_holding(meter, function, value, &range)) {
        scpi_report(call->scpi, -222, NULL);
        return;
    }
    meter_select_range(meter, function, range);
}

static void ask_range(struct scpi_call *call)
{
    const struct meter *meter = &call_instrument(call)->meter;
    const struct meter_function_type *type = &meter->type->functions[call->tag];

    text_print(call->answer, "%+.5E", type->ranges[meter->range[call->tag]].full_scale);
}

static void read_value(struct scpi_call *call)
{
    struct instrument *instrument = call_instrument(call);
    struct meter_reading reading = instrument_read(instrument, call_answer(call));
    bool counting = instrument->meter.function == METER_FREQUENCY;

    if (reading.overload) {
        text_print(call->answer, "+9.90000000E+37");
    } else {
        /* The counter shows 1 mHz in 250 kHz, the converter six digits. */
        text_print(call->answer, counting ? "%+.8E" : "%+.5E", reading.value + 0.0);
    }
    keys_pressed(instrument);
}

static void set_automatic(struct scpi_call *call)
{
    double number;

    if (scpi_number(call, &number))
        call_instrument(call)->meter.automatic = round(number) != 0.0;
}

static void ask_automatic(struct scpi_call *call)
{
    text_print(call->answer, "%d", call_instrument(call)->meter.automatic);
}

/* A channel list of exactly one channel: (@n). */
static bool channel_of(const char *argument, long *channel)
{
    char *end;

    if (strncmp(argument, "(@", 2) != 0 || strspn(argument + 2, "0123456789 ") == 0)
        return false;
    *channel = strtol(argument + 2, &end, 10);
    end += strspn(end, " ");
    return strcmp(end, ")") == 0;
}

static void close_channel(struct scpi_call *call)
{
    long channel;

    if (!channel_of(call->argument, &channel))
        scpi_report(call->scpi, -224, NULL);
    else if (channel < 1 || channel > METER_INPUTS ||
             !meter_select_input(&call_instrument(call)->meter, (int)channel))
        scpi_report(call->scpi, -222, NULL);
}

static void ask_channel(struct scpi_call *call)
{
    int input = call_instrument(call)->meter.input;

    if (input == 0)
        text_print(call->answer, "(@)");
    else
        text_print(call->answer, "(@%d)", input);
}

static const struct scpi_row rows[] = {
    SCPI_COMMON_ROWS,
    { "SENSe:FUNCtion", set_function, true, ask_function, false, 0, 0 },
    { "SENSe:VOLTage:DC:RANGe", set_range, true, ask_range, false, 0, METER_DC_VOLTAGE },
    { "SENSe:VOLTage:AC:RANGe", set_range, true, ask_range, false, 0, METER_AC_VOLTAGE },
    { "SENSe:CURRent:DC:RANGe", set_range, true, ask_range, false, 0, METER_DC_CURRENT },
    { "SENSe:RESistance:RANGe", set_range, true, ask_range, false, 0, METER_RESISTANCE },
    { "SENSe:FRESistance:RANGe", set_range, true, ask_range, false, 0, METER_FOUR_WIRE },
    { "SENSe:FRESistance:RANGe:AUTO", set_automatic, true, ask_automatic, false, 0, 0 },
    { "SENSe:FREQuency:RANGe", set_range, true, ask_range, false, 0, METER_FREQUENCY },
    { "SENSe:VOLTage:DC:RANGe:AUTO", set_automatic, true, ask_automatic, false, 0, 0 },
    { "SENSe:VOLTage:AC:RANGe:AUTO", set_automatic, true, ask_automatic, false, 0, 0 },
    { "SENSe:CURRent:DC:RANGe:AUTO", set_automatic, true, ask_automatic, false, 0, 0 },
    { "SENSe:RESistance:RANGe:AUTO", set_automatic, true, ask_automatic, false, 0, 0 },
    { "READ", NULL, false, read_value, false, 0, 0 },
    { "ROUTe:CLOSe", close_channel, true, NULL, false, 0, 0 },
    { "ROUTe:CLOSe:STATe", NULL, false, ask_channel, false, 0, 0 },
    { NULL, NULL, false, NULL, false, 0, 0 },
};

static void execute(struct instrument *instrument, const char *command, struct answer *answer)
{
    common_execute(instrument, rows, "BENCH METER", "1.4", command, answer);
}

const struct language language_tarnwerk_meter = {
    .type = "tarnwerk-meter",
    .meter = &meter_tarnwerk,
    .command_end = '\n',
    .reply_end = "\n",
    .error_queue = true,
    .execute = execute,
    .overrun = common_overrun,
};
