/* SPDX-License-Identifier: GPL-3.0-or-later */
/* TARNWERK BENCH SCOPE: a digitiser with two 8-bit inputs that speaks SCPI-1999. */
#include "languages.h"

#include "tools/standin/scpi/scpi_match.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Full height of the screen. */
#define DIVISIONS 8.0

static const char *const couplings[] = { "DC", "AC", "GROund", NULL };
static const char *const coupling_answers[] = { "DC", "AC", "GRO" };

/* The input that the suffix names, from 0. */
static size_t input_of(const struct scpi_call *call)
{
    return (size_t)call->suffix[0] - 1;
}

static struct scope *scope_of(const struct scpi_call *call)
{
    return &call_instrument(call)->scope;
}

static void set_coupling(struct scpi_call *call)
{
    size_t choice;

    if (scpi_choice(call, couplings, &choice))
        scope_set_coupling(scope_of(call), input_of(call), (enum scope_coupling)choice);
}

static void ask_coupling(struct scpi_call *call)
{
    text_print(call->answer, "%s",
               coupling_answers[scope_of(call)->inputs[input_of(call)].coupling]);
}

static void set_height(struct scpi_call *call)
{
    struct scope *scope = scope_of(call);
    double height;
    size_t step;

    if (!scpi_number(call, &height))
        return;
    if (!(height > 0.0) || !scope_step_holding(scope->type, height / DIVISIONS, &step)) {
        scpi_report(call->scpi, -222, NULL);
        return;
    }
    scope_set_step(scope, input_of(call), step);
}

static void ask_height(struct scpi_call *call)
{
    text_print(call->answer, "%+.5E",
               scope_volts_per_division(scope_of(call), input_of(call)) * DIVISIONS);
}

static void set_offset(struct scpi_call *call)
{
    double offset;

    if (scpi_number(call, &offset) && !scope_set_offset(scope_of(call), input_of(call), offset))
        scpi_report(call->scpi, -222, NULL);
}

static void ask_offset(struct scpi_call *call)
{
    text_print(call->answer, "%+.9E", scope_of(call)->inputs[input_of(call)].offset);
}

static void ask_knob(struct scpi_call *call)
{
    text_print(call->answer, "%d", scope_of(call)->inputs[input_of(call)].variable);
}

static void set_points(struct scpi_call *call)
{
    double points;

    if (!scpi_number(call, &points))
        return;
    if (!(points >= 2.0 && points <= SCOPE_POINTS) || points != (double)(size_t)points) {
        scpi_report(call->scpi, -222, NULL);
        return;
    }
    scope_set_points(scope_of(call), (size_t)points);
}

static void ask_points(struct scpi_call *call)
{
    text_print(call->answer, "%zu", scope_of(call)->points);
}

static void set_time(struct scpi_call *call)
{
    double time;

    if (!scpi_number(call, &time))
        return;
    if (!(time >= 1e-6 && time <= 10.0)) {
        scpi_report(call->scpi, -222, NULL);
        return;
    }
    scope_set_time(scope_of(call), time);
}

static void ask_time(struct scpi_call *call)
{
    text_print(call->answer, "%+.9E", scope_of(call)->time);
}

static void ask_interval(struct scpi_call *call)
{
    const struct scope *scope = scope_of(call);

    text_print(call->answer, "%+.9E", scope->time / (double)(scope->points - 1));
}

/* The forms of a record: codes of 8 bits, or volts, high byte first (SCPI-1999, FORMat:DATA). */
static const struct format {
    const char *type;
    const char *bits;
    int real_bits;
    const char *told;
} formats[] = {
    { "INTeger", "8", 0, "INT,8" },
    { "REAL", "32", 32, "REAL,32" },
    { "REAL", "64", 64, "REAL,64" },
};

static void set_format(struct scpi_call *call)
{
    char word[16];
    size_t length = strcspn(call->argument, " ,");
    const char *bits = call->argument + length;

    bits += strspn(bits, " ");
    bits += *bits == ',';
    bits += strspn(bits, " ");
    snprintf(word, sizeof word, "%.*s", (int)length, call->argument);
    for (size_t i = 0; i < sizeof formats / sizeof formats[0]; i++) {
        if (scpi_matches(formats[i].type, word) && strcmp(bits, formats[i].bits) == 0) {
            scope_of(call)->real_bits = formats[i].real_bits;
            return;
        }
    }
    scpi_report(call->scpi, -224, NULL);
}

static void ask_format(struct scpi_call *call)
{
    for (size_t i = 0; i < sizeof formats / sizeof formats[0]; i++)
        if (formats[i].real_bits == scope_of(call)->real_bits)
            text_print(call->answer, "%s", formats[i].told);
}

/* The TRIGger subsystem and its neighbours, as far as SCPI-1999 has them: nodes from memory. */

static void set_source(struct scpi_call *call)
{
    int suffixes[SCPI_SUFFIXES];

    instrument_abort(call_instrument(call));
    if (scpi_matches("IMMediate", call->argument))
        scope_of(call)->trigger.source = 0;
    else if (scpi_match_header("INTernal#", call->argument, suffixes) && suffixes[0] >= 1 &&
             suffixes[0] <= SCOPE_INPUTS)
        scope_of(call)->trigger.source = (size_t)suffixes[0];
    else
        scpi_report(call->scpi, -224, NULL);
}

static void ask_source(struct scpi_call *call)
{
    if (scope_of(call)->trigger.source == 0)
        text_print(call->answer, "IMM");
    else
        text_print(call->answer, "INT%zu", scope_of(call)->trigger.source);
}

static void set_slope(struct scpi_call *call)
{
    static const char *const slopes[] = { "NEGative", "POSitive", NULL };
    size_t choice;

    if (scpi_choice(call, slopes, &choice))
        scope_of(call)->trigger.rising = choice == 1;
}

static void ask_slope(struct scpi_call *call)
{
    text_print(call->answer, "%s", scope_of(call)->trigger.rising ? "POS" : "NEG");
}

static void set_level(struct scpi_call *call)
{
    double level;

    if (scpi_number(call, &level))
        scope_of(call)->trigger.level = level;
}

static void ask_level(struct scpi_call *call)
{
    text_print(call->answer, "%+.9E", scope_of(call)->trigger.level);
}

/* Where in the record the trigger is: 0 is its first sample, 1 its last. */
static void set_location(struct scpi_call *call)
{
    double share;

    if (!scpi_number(call, &share))
        return;
    if (share >= 0.0 && share <= 1.0)
        scope_of(call)->trigger.share = share;
    else
        scpi_report(call->scpi, -222, NULL);
}

static void ask_location(struct scpi_call *call)
{
    text_print(call->answer, "%+.9E", scope_of(call)->trigger.share);
}

/* One record for each start is all there is; and nothing between the trigger and its place. */
static void set_zero(struct scpi_call *call)
{
    double number;

    if (strcmp(call->argument, "OFF") != 0 && (!scpi_number(call, &number) || number != 0.0))
        scpi_report(call->scpi, -224, NULL);
}

static void ask_zero(struct scpi_call *call)
{
    text_print(call->answer, "0");
}

static void give_up(struct scpi_call *call)
{
    instrument_abort(call_instrument(call));
}

/* The condition of the operation status: bit 3 sweeping, bit 5 waiting for the trigger. */
static void ask_condition(struct scpi_call *call)
{
    struct instrument *instrument = call_instrument(call);
    bool waits = instrument_waits(instrument, call_answer(call));

    text_print(call->answer, "%d",
               waits                                            ? 32
               : instrument_busy(instrument, call_answer(call)) ? 8
                                                                : 0);
}

static void initiate(struct scpi_call *call)
{
    struct instrument *instrument = call_instrument(call);

    if (instrument->scope.trigger.armed || instrument_busy(instrument, call_answer(call))) {
        scpi_report(call->scpi, -213, NULL);
        return;
    }
    if (instrument->scope.trigger.source > 0) {
        instrument_arm(instrument, call_answer(call));
        return;
    }
    instrument_acquire(instrument, instrument->scope.time, call_answer(call));
}

/* One sample in the form that is set. */
static void add_sample(struct text *text, const struct scope *scope, size_t input, int code)
{
    double volts = scope_volts(scope, input, code);
    float single = (float)volts;
    uint64_t bits = 0;
    uint32_t narrow;

    if (scope->real_bits == 64) {
        memcpy(&bits, &volts, sizeof bits);
    } else if (scope->real_bits == 32) {
        memcpy(&narrow, &single, sizeof narrow);
        bits = narrow;
    } else {
        bits = (uint8_t)code;
    }
    for (int shift = scope->real_bits > 0 ? scope->real_bits - 8 : 0; shift >= 0; shift -= 8) {
        char byte = (char)(bits >> shift);

        text_add(text, &byte, 1);
    }
}

static void ask_trace(struct scpi_call *call)
{
    const struct scope *scope = scope_of(call);
    int suffixes[SCPI_SUFFIXES];
    char digits[16];

    if (!scpi_match_header("CH#", call->argument, suffixes) || suffixes[0] < 1 ||
        suffixes[0] > SCOPE_INPUTS) {
        scpi_report(call->scpi, -224, NULL);
        return;
    }
    const struct scope_input *input = &scope->inputs[suffixes[0] - 1];
    if (!input->recorded || instrument_busy(call_instrument(call), call_answer(call))) {
        scpi_report(call->scpi, -230, NULL);
        return;
    }
    size_t count;
    int16_t *codes = instrument_record(call_instrument(call), (size_t)suffixes[0] - 1, &count);
    size_t size = scope->real_bits > 0 ? (size_t)scope->real_bits / 8 : 1;
    int length = snprintf(digits, sizeof digits, "%zu", count * size);
    text_print(call->answer, "#%d%s", length, digits);
    for (size_t n = 0; n < count; n++)
        add_sample(call->answer, scope, (size_t)suffixes[0] - 1, codes[n]);
    free(codes);
}

static const struct scpi_row rows[] = {
    SCPI_COMMON_ROWS,
    { "INPut#:COUPling", set_coupling, true, ask_coupling, false, SCOPE_INPUTS, 0 },
    { "SENSe#:VOLTage:RANGe:PTPeak", set_height, true, ask_height, false, SCOPE_INPUTS, 0 },
    { "SENSe#:VOLTage:RANGe:OFFSet", set_offset, true, ask_offset, false, SCOPE_INPUTS, 0 },
    { "SENSe:SWEep:POINts", set_points, true, ask_points, false, 0, 0 },
    { "SENSe:SWEep:TIME", set_time, true, ask_time, false, 0, 0 },
    { "SENSe:SWEep:TINTerval", NULL, false, ask_interval, false, 0, 0 },
    { "FORMat:DATA", set_format, true, ask_format, false, 0, 0 },
    { "SENSe:SWEep:OREFerence:LOCation", set_location, true, ask_location, false, 0, 0 },
    { "SENSe:SWEep:OFFSet:TIME", set_zero, true, ask_zero, false, 0, 0 },
    { "TRIGger:SOURce", set_source, true, ask_source, false, 0, 0 },
    { "TRIGger:SLOPe", set_slope, true, ask_slope, false, 0, 0 },
    { "TRIGger:LEVel", set_level, true, ask_level, false, 0, 0 },
    { "INITiate:CONTinuous", set_zero, true, ask_zero, false, 0, 0 },
    { "STATus:OPERation:CONDition", NULL, false, ask_condition, false, 0, 0 },
    { "ABORt", give_up, false, NULL, false, 0, 0 },
    { "INITiate:IMMediate", initiate, false, NULL, false, 0, 0 },
    { "TRACe:DATA", NULL, false, ask_trace, true, 0, 0 },
    /* The maker's own: SCPI-1999 has no node for a control that only hands can turn. */
    { "TARNwerk:KNOB#", NULL, false, ask_knob, false, SCOPE_INPUTS, 0 },
    { NULL, NULL, false, NULL, false, 0, 0 },
};

static void execute(struct instrument *instrument, const char *command, struct answer *answer)
{
    common_execute(instrument, rows, "BENCH SCOPE", "2.0", command, answer);
}

const struct language language_tarnwerk_scope = {
    .type = "tarnwerk-scope",
    .scope = &scope_tarnwerk,
    .command_end = '\n',
    .reply_end = "\n",
    .error_queue = true,
    .execute = execute,
    .overrun = common_overrun,
};
