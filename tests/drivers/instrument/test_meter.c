/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A meter driven by its profile: what is sent, what is proved, and what is
 * made of the answers.
 * How often settings are proved depends on the clock, so commands are compared
 * and not queries.
 */
#include "tests/drivers/bench.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

static const char meter_text[] = "description = \"m\"; kind = \"meter\";" BENCH_DIALOGUE("1024") //
    "inputs = 4; route = \"ROUT,{input}\"; route_query = \"ROUT?\"; route_answer = \"{input}\";"
    "functions = ("
    "{ quantity = \"dc voltage\"; select = [ \"FUNC,V\", \"SLOW\" ];"
    "  select_check = { query = \"FUNC?\"; pattern = \"^V$\"; };"
    "  range = \"RANG,{range}\"; range_query = \"RANG?\"; read = \"READ?\";"
    "  conversion_ms = 1.0; settle_ms = 0.0;"
    "  ranges = ( { full_scale = 2.0; resolution = 1e-5; reading_percent = 0.1; },"
    "             { full_scale = 20.0; resolution = 1e-4; reading_percent = 0.1; } ); },"
    "{ quantity = \"resistance\"; select = [ \"FUNC,R\" ]; range = \"RANG,{range}\";"
    "  read = \"READ?\"; conversion_ms = 1.0; settle_ms = 0.0;"
    "  ranges = ( { full_scale = 2.0; resolution = 1e-5; reading_percent = 0.1; } ); } );";

static const struct player_row meter_rows[] = {
    { "*IDN?", "MAKER,METER,7,1.0" },
    { "ERR?", "0,\"No error\"" },
    { "*CLS", NULL },
    { "REM", NULL },
    { "LOC", NULL },
    { "ROUT,1", NULL },
    { "ROUT,2", NULL },
    { "ROUT?", "1" },
    { "FUNC,V", NULL },
    { "FUNC,R", NULL },
    { "FUNC?", "V" },
    { "SLOW", NULL },
    { "RANG,2", NULL },
    { "RANG,20", NULL },
    { "RANG?", "2" },
    { "READ?", "+1.50000E+00" },
    { NULL, NULL },
};

static struct bench meter_start(void)
{
    struct bench bench = bench_start(meter_text, meter_rows);

    bench.request.quantity = QUANTITY_DC_VOLTAGE;
    return bench;
}

#define METER_AGAIN "*CLS REM ROUT,1 FUNC,V SLOW RANG,2 "

static void a_wrong_answer_makes_the_meter_be_set_afresh(void **state)
{
    static const struct wrong rows[] = {
        { "ERR?", "-113,\"Undefined header\"", FAILURE_INSTRUMENT_ERROR },
        { "ROUT?", "2", FAILURE_UNEXPECTED_REPLY },
        { "ROUT?", "11", FAILURE_UNEXPECTED_REPLY },
        { "ROUT?", "", FAILURE_UNEXPECTED_REPLY },
        { "FUNC?", "R", FAILURE_UNEXPECTED_REPLY },
        { "RANG?", "20", FAILURE_UNEXPECTED_REPLY },
        { "RANG?", "2.00001", FAILURE_UNEXPECTED_REPLY },
        { "RANG?", "AUTO", FAILURE_UNEXPECTED_REPLY },
        { "RANG?", "9.91E37", FAILURE_UNEXPECTED_REPLY },
        { "READ?", "V", FAILURE_UNEXPECTED_REPLY },
        { "READ?", "1.5;2", FAILURE_UNEXPECTED_REPLY },
        { "READ?", "\"1.5\"", FAILURE_UNEXPECTED_REPLY },
        { "READ?", "", FAILURE_UNEXPECTED_REPLY },
    };
    struct bench bench = meter_start();

    (void)state;
    bench_check_wrong(&bench, rows, sizeof rows / sizeof *rows, METER_AGAIN);
    bench_end(&bench);
}

static void a_quantity_without_function_sends_nothing(void **state)
{
    struct bench bench = meter_start();

    (void)state;
    bench_acquired(&bench, METER_AGAIN);
    bench.request.quantity = QUANTITY_FREQUENCY;
    assert_false(bench_acquire(&bench));
    assert_int_equal(bench.failure.code, FAILURE_UNSUPPORTED);
    bench.request.quantity = QUANTITY_DC_VOLTAGE;
    bench_acquired(&bench, "");
    bench_end(&bench);
}

static void only_what_differs_is_sent(void **state)
{
    struct bench bench = meter_start();

    (void)state;
    bench_acquired(&bench, METER_AGAIN);
    assert_true(bench.acquisition.signal.value == 1.5 && !bench.acquisition.overload);
    bench_acquired(&bench, "");
    bench.request.setup.range = 1;
    player_answer(bench.player, "RANG?", "20");
    bench_acquired(&bench, "RANG,20 ");
    bench.request.input = 2;
    player_answer(bench.player, "ROUT?", "2");
    bench_acquired(&bench, "ROUT,2 ");
    /* The range belongs to the function and is sent with it, also when it reads the same. */
    bench.request.setup.range = 0;
    player_answer(bench.player, "RANG?", "2");
    bench_acquired(&bench, "RANG,2 ");
    bench.request.quantity = QUANTITY_RESISTANCE;
    bench_acquired(&bench, "FUNC,R RANG,2 ");
    bench.request.quantity = QUANTITY_DC_VOLTAGE;
    bench_acquired(&bench, "FUNC,V SLOW RANG,2 ");
    bench_end(&bench);
}

static void a_meter_switched_off_is_set_afresh(void **state)
{
    struct bench bench = meter_start();

    (void)state;
    bench_acquired(&bench, METER_AGAIN);
    player_drop(bench.player);
    bench_failed(&bench, FAILURE_DISCONNECTED);
    bench_acquired(&bench, METER_AGAIN);
    assert_int_equal(dialogue_counters(bench_dialogue(&bench))->opened, 2);
    bench_end(&bench);
}

static void overload_is_no_failure(void **state)
{
    static const char *const marks[] = { "9.9E37", "-9.9E37", "+9.90000000E+37", "9.91E37" };
    struct bench bench = meter_start();

    (void)state;
    bench_acquired(&bench, METER_AGAIN);
    for (size_t i = 0; i < sizeof marks / sizeof *marks; i++) {
        player_answer_once(bench.player, "READ?", marks[i]);
        bench_acquired(&bench, "");
        assert_true(bench.acquisition.overload);
        assert_int_equal(bench.acquisition.side, SIDE_UNKNOWN);
    }
    bench_acquired(&bench, "");
    assert_false(bench.acquisition.overload);
    bench_end(&bench);
}

/* The error queue is read after each change and before the first reading. */
static void the_error_queue_is_read_after_set_up(void **state)
{
    struct bench bench = meter_start();
    const char *queries;

    (void)state;
    bench_acquired(&bench, METER_AGAIN);
    queries = player_queries(bench.player);
    assert_string_equal(queries, "*IDN? ERR? ERR? ROUT? FUNC? RANG? READ? ");
    bench.request.setup.range = 1;
    player_answer(bench.player, "RANG?", "20");
    bench_acquired(&bench, "RANG,20 ");
    queries = player_queries(bench.player);
    assert_string_equal(queries, "ERR? ROUT? FUNC? RANG? READ? ");
    bench_end(&bench);
}

static void settling_ends_at_the_deadline(void **state)
{
    struct bench bench = meter_start();

    (void)state;
    bench.profile->functions[0].settle_ms = 3600e3;
    failure_clear(&bench.failure);
    assert_false(instrument_acquire(bench.instrument, &bench.request, deadline_in(200),
                                    &bench.acquisition, NULL, &bench.failure));
    assert_int_equal(bench.failure.code, FAILURE_DEADLINE);
    player_commands(bench.player);
    bench.profile->functions[0].settle_ms = 0;
    bench_acquired(&bench, METER_AGAIN);
    bench_end(&bench);
}

static void release_gives_the_front_panel_back(void **state)
{
    struct bench bench = meter_start();
    char commands[PLAYER_TEXT];

    (void)state;
    bench_acquired(&bench, METER_AGAIN);
    instrument_release(bench.instrument, deadline_in(BENCH_PLENTY_MS));
    bench_acquired(&bench, "LOC " METER_AGAIN);
    instrument_release(bench.instrument, deadline_in(BENCH_PLENTY_MS));
    instrument_release(bench.instrument, deadline_in(BENCH_PLENTY_MS));
    instrument_free(bench.instrument);
    assert_string_equal(player_finish(bench.player, commands), "");
    assert_string_equal(commands, "LOC ");
    profile_free(bench.profile);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_wrong_answer_makes_the_meter_be_set_afresh),
        cmocka_unit_test(a_quantity_without_function_sends_nothing),
        cmocka_unit_test(a_meter_switched_off_is_set_afresh),
        cmocka_unit_test(settling_ends_at_the_deadline),
        cmocka_unit_test(only_what_differs_is_sent),
        cmocka_unit_test(overload_is_no_failure),
        cmocka_unit_test(the_error_queue_is_read_after_set_up),
        cmocka_unit_test(release_gives_the_front_panel_back),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
