/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * How a scope is proved: all questions of a side in one message, what tells of
 * a touched panel, and a panel that is locked.
 */
#include "tests/drivers/bench.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <stdio.h>
#include <string.h>

/* A block of 16 codes, of which some are semicolons, quotes and commas. */
#define CODES "#216;;\";,';;#13;;;;;"

/* The questions of a side, and their answers. */
#define ASKED   "TOUCHED?;INLET1?;HEIGHT1?;LIFT1?"
#define ANSWERS "0;DC;1;0"

static const char scope_text[] = "description = \"s\"; kind = \"scope\";" BENCH_DIALOGUE("4096") //
    "inputs = 2; divisions = 8.0; time_divisions = 10.0; settle_ms = 0.0;"
    "proof = \"same message\"; touched = { query = \"TOUCHED?\"; mask = 192; };"
    "vertical = { command = \"HEIGHT{input},{volts_per_division}\"; query = \"HEIGHT{input}?\";"
    "  volts_per_division = [ 1.0, 2.0 ]; gain_percent = 3.0; baseline_divisions = 0.2; };"
    "position = { command = \"LIFT{input},{position}\"; query = \"LIFT{input}?\";"
    "  divisions = 4.0; };"
    "coupling = { dc = \"INLET{input},DC\"; query = \"INLET{input}?\"; dc_answer = \"^DC$\"; };"
    "timebase = { set = [ \"PACE,{time_per_division}\" ]; points = 16; durations = [ 1e-3 ]; };"
    "cannot_tell = [ \"timebase\" ];"
    "acquisition = { start = [ \"ONCE\" ]; extra_ms = 30.0; };"
    "waveform = { query = \"CODES{input}?\"; encoding = \"block\"; format = \"uint8\";"
    "  code_low = 0; code_high = 255; code_centre = 128; codes_per_division = 32.0; };";

static const struct player_row rows[] = {
    { "*IDN?", "MAKER,SCOPE,7,1.0" },
    { "ERR?", "0,\"No error\"" },
    { "*CLS", NULL },
    { "REM", NULL },
    { "LOC", NULL },
    { "HEIGHT1,1", NULL },
    { "HEIGHT1,2", NULL },
    { "HEIGHT2,1", NULL },
    { "LIFT1,0", NULL },
    { "LIFT2,0", NULL },
    { "INLET1,DC", NULL },
    { "INLET2,DC", NULL },
    { "PACE,0.0001", NULL },
    { "ONCE", NULL },
    { ASKED, ANSWERS },
    { "TOUCHED?;INLET2?;HEIGHT2?;LIFT2?", ANSWERS },
    { "CODES1?", CODES },
    { "CODES1?;" ASKED, CODES ";" ANSWERS },
    { "CODES2?;TOUCHED?;INLET2?;HEIGHT2?;LIFT2?", CODES ";" ANSWERS },
    { NULL, NULL },
};

static struct bench scope_start(void)
{
    struct bench bench = bench_start(scope_text, rows);

    bench.request.quantity = QUANTITY_DC_VOLTAGE;
    return bench;
}

#define AGAIN "*CLS REM PACE,0.0001 INLET1,DC HEIGHT1,1 LIFT1,0 ONCE "

/* Codes 59, 34, 44 and so on are 32 a division from 128: -69 / 32 and the like. */
static void a_side_is_one_message(void **state)
{
    struct bench bench = scope_start();

    (void)state;
    bench_acquired(&bench, AGAIN);
    assert_string_equal(player_queries(bench.player),
                        "*IDN? ERR? ERR? " ASKED " ERR? CODES1?;" ASKED " ");
    assert_true(bench.acquisition.signal.high == -69.0 / 32);
    assert_true(bench.acquisition.signal.low == (34.0 - 128) / 32);
    bench_end(&bench);
}

/* Each answer once another one, before the record and behind its samples. */
static void each_answer_of_the_message_counts(void **state)
{
    static const char *const before[] = { "0;AC;1;0", "0;DC;2;0", "0;DC;1;0.05" };
    static const char *const behind[] = {
        CODES ";64;DC;1;0",  CODES ";128;DC;1;0",  CODES ";-1;DC;1;0",
        CODES ";1.5;DC;1;0", CODES ";YES;DC;1;0",  CODES ";0;AC;1;0",
        CODES ";0;DC;2;0",   CODES ";0;DC;1;0.05", CODES ";0;DC;1;0.01",
    };
    static const char *const no_answers[] = {
        CODES ";0;DC;1", CODES ";0;DC;1;0;0", CODES, "0;DC;1;0", CODES ";0;DC;1;", "#215" CODES,
    };
    struct bench bench = scope_start();

    (void)state;
    bench_acquired(&bench, AGAIN);
    for (size_t i = 0; i < sizeof before / sizeof *before; i++) {
        player_answer_once(bench.player, ASKED, before[i]);
        bench_failed(&bench, FAILURE_CHANGED);
        bench_acquired(&bench, AGAIN);
    }
    for (size_t i = 0; i < sizeof behind / sizeof *behind; i++) {
        player_answer_once(bench.player, "CODES1?;" ASKED, behind[i]);
        bench_failed(&bench, FAILURE_CHANGED);
        bench_acquired(&bench, AGAIN);
    }
    for (size_t i = 0; i < sizeof no_answers / sizeof *no_answers; i++) {
        player_answer_once(bench.player, "CODES1?;" ASKED, no_answers[i]);
        assert_false(bench_acquire(&bench));
        player_commands(bench.player);
        bench_acquired(&bench, AGAIN);
    }
    /* What an event register says before the record is of earlier. */
    player_answer_once(bench.player, ASKED, "192;DC;1;0");
    bench_acquired(&bench, "PACE,0.0001 ONCE ");
    bench_end(&bench);
}

/* A count must be the same behind as before, whatever it is. */
static void a_count_of_touches_must_stand_still(void **state)
{
    struct bench bench = scope_start();

    (void)state;
    bench.profile->touch.mask = 0;
    player_answer(bench.player, ASKED, "17;DC;1;0");
    player_answer(bench.player, "CODES1?;" ASKED, CODES ";17;DC;1;0");
    bench_acquired(&bench, AGAIN);
    player_answer_once(bench.player, "CODES1?;" ASKED, CODES ";18;DC;1;0");
    bench_failed(&bench, FAILURE_CHANGED);
    bench_acquired(&bench, AGAIN);
    bench_end(&bench);
}

/* A locked panel is proved once after each change, and for each input. */
static void a_locked_panel_is_proved_once(void **state)
{
    struct bench bench = scope_start();

    (void)state;
    bench.profile->locks_panel = true;
    bench.profile->scope.cannot_tell[SCOPE_TIMEBASE] = false;
    player_answer(bench.player, ASKED, "0;DC;1;0.01");
    player_answer(bench.player, "CODES1?;" ASKED, CODES ";0;DC;1;0.01");
    bench_acquired(&bench, AGAIN);
    double high = bench.acquisition.signal.high;
    player_queries(bench.player);
    bench_acquired(&bench, "ONCE ");
    assert_string_equal(player_queries(bench.player), "ERR? CODES1? ");
    /* What the scope told of its position then still counts. */
    assert_true(bench.acquisition.signal.high == high && high == -69.0 / 32 - 0.01);
    bench.request.input = 2;
    bench_acquired(&bench, "INLET2,DC HEIGHT2,1 LIFT2,0 ONCE ");
    bench.request.input = 1;
    player_queries(bench.player);
    bench_acquired(&bench, "ONCE ");
    assert_string_equal(player_queries(bench.player), ASKED " ERR? CODES1?;" ASKED " ");
    bench.request.setup.range = 1;
    player_answer(bench.player, ASKED, "0;DC;1;0");
    bench_failed(&bench, FAILURE_CHANGED);
    bench_end(&bench);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_side_is_one_message),
        cmocka_unit_test(each_answer_of_the_message_counts),
        cmocka_unit_test(a_count_of_touches_must_stand_still),
        cmocka_unit_test(a_locked_panel_is_proved_once),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
