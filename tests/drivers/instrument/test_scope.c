/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A scope driven by its profile: what is sent, what is proved, and what is
 * made of the samples.
 * How often settings are proved depends on the clock, so commands are compared
 * and not queries.
 */
#include "tests/drivers/bench.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define SCOPE_TEXT(inputs)                                                                         \
    "description = \"s\"; kind = \"scope\";" BENCH_DIALOGUE("4096") "inputs = " inputs             \
                                                                    ";" SCOPE_REST

#define SCOPE_REST                                                                                 \
    "divisions = 8.0; time_divisions = 10.0; settle_ms = 0.0;"                                     \
    "vertical = { command = \"HEIGHT{input},{volts_per_division}\"; query = \"HEIGHT{input}?\";"   \
    "  calibrated = { query = \"TURNED{input}?\"; pattern = \"^NO$\"; };"                          \
    "  volts_per_division = [ 1.0, 2.0 ]; gain_percent = 3.0; baseline_divisions = 0.2; };"        \
    "position = { command = \"LIFT{input},{position}\"; query = \"LIFT{input}?\"; divisions = "    \
    "4.0; "                                                                                        \
    "};"                                                                                           \
    "coupling = { dc = \"INLET{input},DC\"; ac = \"INLET{input},AC\"; ground = "                   \
    "\"INLET{input},GROUND\";"                                                                     \
    "  query = \"INLET{input}?\"; dc_answer = \"^DC$\"; ac_answer = \"^AC$\";"                     \
    "  ground_answer = \"^GROUND$\"; ac_corner = 10.0; };"                                         \
    "record_checks = ( { query = \"UPSIDE{input}?\"; pattern = \"^OFF$\"; } );"                    \
    "timebase = { set = [ \"PACE,{time_per_division}\" ]; interval_query = \"SPACING?\";"          \
    "  points = 16; durations = [ 1e-3, 10e-3 ]; };"                                               \
    "acquisition = { start = [ \"ONCE\" ]; done = { query = \"OVER?\"; pattern = \"^1$\"; };"      \
    "  extra_ms = 30.0; };"                                                                        \
    "waveform = { query = \"CODES{input}?\"; encoding = \"list\"; format = \"uint8\";"             \
    "  code_low = 0; code_high = 255; code_centre = 128; codes_per_division = 32.0; };"

static const char scope_text[] = SCOPE_TEXT("2");

/* A triangle of 1 V about the middle of the screen, but for its first two codes. */
#define REST    ",128,96,128,160,128,96,128,160,128,96,128,160,128,96"
#define RECORD  "128,160" REST
#define CLIPPED "128,255" REST

static const struct player_row scope_rows[] = {
    { "*IDN?", "MAKER,SCOPE,7,1.0" },
    { "ERR?", "0,\"No error\"" },
    { "*CLS", NULL },
    { "REM", NULL },
    { "LOC", NULL },
    { "HEIGHT1,1", NULL },
    { "HEIGHT1,2", NULL },
    { "HEIGHT2,1", NULL },
    { "HEIGHT1?", "1" },
    { "HEIGHT2?", "1" },
    { "TURNED1?", "NO" },
    { "TURNED2?", "NO" },
    { "LIFT1,0", NULL },
    { "LIFT1,2", NULL },
    { "LIFT2,0", NULL },
    { "LIFT1?", "0" },
    { "LIFT2?", "0" },
    { "INLET1?", "DC" },
    { "INLET2?", "DC" },
    { "UPSIDE1?", "OFF" },
    { "UPSIDE2?", "OFF" },
    { "INLET1,DC", NULL },
    { "INLET1,AC", NULL },
    { "INLET1,GROUND", NULL },
    { "INLET2,DC", NULL },
    { "PACE,0.0001", NULL },
    { "PACE,0.001", NULL },
    { "SPACING?", "6.25E-5" },
    { "ONCE", NULL },
    { "OVER?", "1" },
    { "CODES1?", RECORD },
    { "CODES2?", RECORD },
    { NULL, NULL },
};

static struct bench scope_start(void)
{
    struct bench bench = bench_start(scope_text, scope_rows);

    bench.request.quantity = QUANTITY_DC_VOLTAGE;
    return bench;
}

#define SCOPE_AGAIN "*CLS REM PACE,0.0001 INLET1,DC HEIGHT1,1 LIFT1,0 ONCE "

static void a_wrong_answer_makes_the_scope_be_set_afresh(void **state)
{
    static const struct wrong rows[] = {
        { "ERR?", "-222,\"Data out of range\"", FAILURE_INSTRUMENT_ERROR },
        { "HEIGHT1?", "2", FAILURE_CHANGED },
        { "LIFT1?", "0.05", FAILURE_CHANGED },
        { "LIFT1?", "UP 0", FAILURE_CHANGED },
        { "INLET1?", "GROUND", FAILURE_CHANGED },
        { "INLET1?", "DCX", FAILURE_CHANGED },
        { "UPSIDE1?", "ON", FAILURE_CHANGED },
        { "HEIGHT1?", "YES", FAILURE_CHANGED },
        { "SPACING?", "6.44E-5", FAILURE_UNEXPECTED_REPLY },
        { "SPACING?", "6.06E-5", FAILURE_UNEXPECTED_REPLY },
        { "SPACING?", "0", FAILURE_UNEXPECTED_REPLY },
        { "SPACING?", "-6.25E-5", FAILURE_UNEXPECTED_REPLY },
        { "SPACING?", "9.91E37", FAILURE_UNEXPECTED_REPLY },
        { "CODES1?", "128,128,128,128,128,128,128,128", FAILURE_UNEXPECTED_REPLY },
        { "CODES1?", "128,BUSY" REST, FAILURE_UNEXPECTED_REPLY },
        { "CODES1?", "", FAILURE_UNEXPECTED_REPLY },
    };
    struct bench bench = scope_start();

    (void)state;
    bench_check_wrong(&bench, rows, sizeof rows / sizeof *rows, SCOPE_AGAIN);
    bench_end(&bench);
}

/* The record is of what the input was set to when it was taken, which nobody knows then. */
static void a_knob_turned_during_the_record_refuses_it(void **state)
{
    static const struct wrong rows[] = {
        { "HEIGHT1?", "2", FAILURE_CHANGED },          { "LIFT1?", "-0.5", FAILURE_CHANGED },
        { "LIFT1?", "0.015", FAILURE_CHANGED },        { "INLET1?", "AC", FAILURE_CHANGED },
        { "TURNED1?", "YES", FAILURE_NOT_CALIBRATED }, { "UPSIDE1?", "ON", FAILURE_CHANGED },
    };
    struct bench bench = scope_start();

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        dialogue_suspect(bench_dialogue(&bench));
        player_answer_later(bench.player, rows[i].query, 1, rows[i].reply);
        bench_failed(&bench, rows[i].code);
        bench_acquired(&bench, rows[i].code == FAILURE_CHANGED ? SCOPE_AGAIN : "ONCE ");
    }
    bench_end(&bench);
}

/* 32 codes a division: half a step is 1/64 of a division, and the scope knows where it stands. */
static void a_position_that_was_rounded_counts_as_it_is(void **state)
{
    struct bench bench = scope_start();

    (void)state;
    player_answer(bench.player, "LIFT1?", "0.015");
    bench_acquired(&bench, SCOPE_AGAIN);
    assert_true(fabs(bench.acquisition.signal.low - (-1 - 0.015)) < 1e-12);
    player_answer(bench.player, "LIFT1?", "0.016");
    bench_failed(&bench, FAILURE_CHANGED);
    bench_end(&bench);
}

/* A knob off its stop is the instrument's answer: nothing is out of step, nothing is lost. */
static void a_variable_control_in_use_is_not_calibrated(void **state)
{
    struct bench bench = scope_start();

    (void)state;
    bench_acquired(&bench, SCOPE_AGAIN);
    player_answer(bench.player, "TURNED1?", "YES");
    bench_failed(&bench, FAILURE_NOT_CALIBRATED);
    bench_failed(&bench, FAILURE_NOT_CALIBRATED);
    player_answer(bench.player, "TURNED1?", "NO");
    bench_acquired(&bench, "ONCE ");
    assert_int_equal(dialogue_epoch(bench_dialogue(&bench)), 1);
    bench_end(&bench);
}

static void an_acquisition_that_never_ends_is_given_up(void **state)
{
    struct bench bench = scope_start();

    (void)state;
    bench_acquired(&bench, SCOPE_AGAIN);
    player_answer(bench.player, "OVER?", "0");
    bench_failed(&bench, FAILURE_TIMEOUT);
    player_answer(bench.player, "OVER?", "1");
    bench_acquired(&bench, SCOPE_AGAIN);
    player_answer_once(bench.player, "OVER?", "0");
    bench_acquired(&bench, "ONCE ");
    bench_end(&bench);
}

/* Else the record of the acquisition before would pass for a fresh one. */
static void a_refused_start_gives_no_record(void **state)
{
    struct bench bench = scope_start();

    (void)state;
    bench_acquired(&bench, SCOPE_AGAIN);
    player_answer_once(bench.player, "ERR?", "-213,\"Init ignored\"");
    bench_failed(&bench, FAILURE_INSTRUMENT_ERROR);
    bench_acquired(&bench, SCOPE_AGAIN);
    bench_end(&bench);
}

static void waiting_for_an_acquisition_ends_at_the_deadline(void **state)
{
    struct bench bench = scope_start();

    (void)state;
    bench_acquired(&bench, SCOPE_AGAIN);
    bench.profile->scope.acquire_ms = 60000;
    player_answer(bench.player, "OVER?", "0");
    failure_clear(&bench.failure);
    assert_false(instrument_acquire(bench.instrument, &bench.request, deadline_in(100),
                                    &bench.acquisition, NULL, &bench.failure));
    assert_int_equal(bench.failure.code, FAILURE_DEADLINE);
    bench_end(&bench);
}

static void clipping_is_overload_with_a_side(void **state)
{
    static const struct {
        const char *record;
        enum side side;
    } rows[] = {
        { CLIPPED, SIDE_HIGH },
        { "0,160" REST, SIDE_LOW },
        { "0,255" REST, SIDE_UNKNOWN },
    };
    struct bench bench = scope_start();

    (void)state;
    bench_acquired(&bench, SCOPE_AGAIN);
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        player_answer_once(bench.player, "CODES1?", rows[i].record);
        bench_acquired(&bench, "ONCE ");
        assert_true(bench.acquisition.overload);
        assert_int_equal(bench.acquisition.side, rows[i].side);
    }
    bench_acquired(&bench, "ONCE ");
    assert_false(bench.acquisition.overload);
    bench_end(&bench);
}

static void inputs_are_set_each_for_itself(void **state)
{
    struct bench bench = scope_start();

    (void)state;
    bench_acquired(&bench, SCOPE_AGAIN);
    assert_true(bench.acquisition.has_waveform);
    assert_true(bench.acquisition.signal.low == -1 && bench.acquisition.signal.high == 1);
    bench.request.input = 2;
    bench_acquired(&bench, "INLET2,DC HEIGHT2,1 LIFT2,0 ONCE ");
    bench.request.input = 1;
    bench_acquired(&bench, "ONCE ");
    bench.request.setup.position = 2;
    player_answer(bench.player, "LIFT1?", "2");
    bench_acquired(&bench, "LIFT1,2 ONCE ");
    assert_true(bench.acquisition.signal.low == -3 && bench.acquisition.signal.high == -1);
    bench.request.setup.coupling = COUPLING_AC;
    player_answer(bench.player, "INLET1?", "AC");
    bench_acquired(&bench, "INLET1,AC ONCE ");
    bench.request.duration = 2e-3;
    player_answer(bench.player, "SPACING?", "6.25E-4");
    bench_acquired(&bench, "PACE,0.001 ONCE ");
    bench_end(&bench);
}

static double ground(struct bench *bench, const char *commands)
{
    struct signal zero;

    failure_clear(&bench->failure);
    player_answer(bench->player, "INLET1?", "GROUND");
    assert_true(instrument_ground(bench->instrument, &bench->request, deadline_in(BENCH_PLENTY_MS),
                                  &zero, &bench->failure));
    player_answer(bench->player, "INLET1?", "DC");
    assert_string_equal(player_commands(bench->player), commands);
    return zero.mean;
}

static void the_zero_trace_is_taken_once(void **state)
{
    static const char shifted[] = "136,136,136,136,136,136,136,136,136,136,136,136,136,136,136,136";
    struct bench bench = scope_start();

    (void)state;
    bench_acquired(&bench, SCOPE_AGAIN);
    player_answer_once(bench.player, "CODES1?", shifted);
    assert_true(ground(&bench, "INLET1,GROUND ONCE ") == 0.25);
    bench_acquired(&bench, "INLET1,DC ONCE ");
    assert_true(ground(&bench, "") == 0.25);
    bench.request.setup.range = 1;
    player_answer(bench.player, "HEIGHT1?", "2");
    player_answer_once(bench.player, "CODES1?", shifted);
    assert_true(ground(&bench, "INLET1,GROUND HEIGHT1,2 ONCE ") == 0.5);
    assert_true(ground(&bench, "") == 0.5);
    /* Set afresh, it may be another instrument's. */
    dialogue_suspect(bench_dialogue(&bench));
    bench_acquired(&bench, "*CLS REM PACE,0.0001 INLET1,DC HEIGHT1,2 LIFT1,0 ONCE ");
    player_answer_once(bench.player, "CODES1?", shifted);
    assert_true(ground(&bench, "INLET1,GROUND ONCE ") == 0.5);
    bench_end(&bench);
}

/* Whatever was turned, the trace may have moved with it. */
static void a_turned_knob_voids_the_zero_trace(void **state)
{
    static const struct wrong rows[] = { { "LIFT1?", "1", FAILURE_CHANGED },
                                         { "TURNED1?", "YES", FAILURE_NOT_CALIBRATED } };
    struct bench bench = scope_start();

    (void)state;
    bench_acquired(&bench, SCOPE_AGAIN);
    ground(&bench, "INLET1,GROUND ONCE ");
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        ground(&bench, "");
        player_answer_once(bench.player, rows[i].query, rows[i].reply);
        bench_failed(&bench, rows[i].code);
        bench_acquire(&bench);
        player_commands(bench.player);
        ground(&bench, "INLET1,GROUND ONCE ");
    }
    bench_end(&bench);
}

/* What the scope cannot be asked for is sent before each record, and its zero trace never kept. */
static void what_cannot_be_asked_is_sent_again(void **state)
{
    char text[4096];
    struct bench bench;

    (void)state;
    snprintf(text, sizeof text, "%s cannot_tell = [ \"position\" ];", scope_text);
    char *query = strstr(text, "query = \"LIFT{input}?\";");
    memset(query, ' ', strcspn(query, ";") + 1);
    bench = bench_start(text, scope_rows);
    bench.request.quantity = QUANTITY_DC_VOLTAGE;
    bench_acquired(&bench, SCOPE_AGAIN);
    bench_acquired(&bench, "LIFT1,0 ONCE ");
    ground(&bench, "INLET1,GROUND LIFT1,0 ONCE ");
    ground(&bench, "LIFT1,0 ONCE ");
    bench_end(&bench);
}

static void a_zero_trace_off_the_screen_is_not_calibrated(void **state)
{
    struct bench bench = scope_start();
    struct signal zero = { .mean = 7 };

    (void)state;
    failure_clear(&bench.failure);
    player_answer(bench.player, "INLET1?", "GROUND");
    player_answer_once(bench.player, "CODES1?", CLIPPED);
    assert_false(instrument_ground(bench.instrument, &bench.request, deadline_in(BENCH_PLENTY_MS),
                                   &zero, &bench.failure));
    assert_int_equal(bench.failure.code, FAILURE_NOT_CALIBRATED);
    assert_true(zero.mean == 7);
    player_commands(bench.player);
    ground(&bench, "ONCE ");
    bench_end(&bench);
}

static void a_trace_is_handed_out_whole(void **state)
{
    struct bench bench = scope_start();
    struct trace trace = { 0 };

    (void)state;
    for (int i = 0; i < 2; i++) {
        assert_true(instrument_acquire(bench.instrument, &bench.request,
                                       deadline_in(BENCH_PLENTY_MS), &bench.acquisition, &trace,
                                       NULL));
        assert_int_equal(trace.count, 16);
        assert_true(trace.interval == 6.25e-5 && trace.volts[0] == 0 && trace.volts[1] == 1);
    }
    free(trace.volts);
    bench_end(&bench);
}

/* The last input a profile may state, of a scope that has so many. */
static void the_last_of_all_inputs_is_measured(void **state)
{
    static const char text[] = SCOPE_TEXT("64");
    static const struct player_row rows[] = {
        { "*IDN?", "MAKER,SCOPE,7,1.0" },
        { "ERR?", "0,\"No error\"" },
        { "*CLS", NULL },
        { "REM", NULL },
        { "LOC", NULL },
        { "HEIGHT64,1", NULL },
        { "HEIGHT64?", "1" },
        { "LIFT64?", "0" },
        { "INLET64?", "DC" },
        { "UPSIDE64?", "OFF" },
        { "TURNED64?", "NO" },
        { "LIFT64,0", NULL },
        { "INLET64,DC", NULL },
        { "INLET64,GROUND", NULL },
        { "PACE,0.0001", NULL },
        { "SPACING?", "6.25E-5" },
        { "ONCE", NULL },
        { "OVER?", "1" },
        { "CODES64?", RECORD },
        { NULL, NULL },
    };
    struct bench bench = bench_start(text, rows);
    struct signal zero;

    (void)state;
    bench.request.quantity = QUANTITY_DC_VOLTAGE;
    bench.request.input = PROFILE_INPUTS;
    bench_acquired(&bench, "*CLS REM PACE,0.0001 INLET64,DC HEIGHT64,1 LIFT64,0 ONCE ");
    player_answer(bench.player, "INLET64?", "GROUND");
    assert_true(instrument_ground(bench.instrument, &bench.request, deadline_in(BENCH_PLENTY_MS),
                                  &zero, &bench.failure));
    assert_string_equal(player_commands(bench.player), "INLET64,GROUND ONCE ");
    player_answer(bench.player, "INLET64?", "DC");
    bench_acquired(&bench, "INLET64,DC ONCE ");
    bench_end(&bench);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_wrong_answer_makes_the_scope_be_set_afresh),
        cmocka_unit_test(a_knob_turned_during_the_record_refuses_it),
        cmocka_unit_test(a_position_that_was_rounded_counts_as_it_is),
        cmocka_unit_test(a_turned_knob_voids_the_zero_trace),
        cmocka_unit_test(what_cannot_be_asked_is_sent_again),
        cmocka_unit_test(a_variable_control_in_use_is_not_calibrated),
        cmocka_unit_test(an_acquisition_that_never_ends_is_given_up),
        cmocka_unit_test(a_refused_start_gives_no_record),
        cmocka_unit_test(waiting_for_an_acquisition_ends_at_the_deadline),
        cmocka_unit_test(clipping_is_overload_with_a_side),
        cmocka_unit_test(inputs_are_set_each_for_itself),
        cmocka_unit_test(the_zero_trace_is_taken_once),
        cmocka_unit_test(a_zero_trace_off_the_screen_is_not_calibrated),
        cmocka_unit_test(a_trace_is_handed_out_whole),
        cmocka_unit_test(the_last_of_all_inputs_is_measured),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
