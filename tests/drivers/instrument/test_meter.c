/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A meter driven by its profile: what is sent, what is proved, and what is
 * made of the answers.
 */
#include "tests/drivers/bench.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

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
    { "ROUT?;FUNC?;RANG?;READ?;ROUT?;FUNC?;RANG?", "1;V;2;+1.50000E+00;1;V;2" },
    { NULL, NULL },
};

static struct bench meter_start(void)
{
    struct bench bench = bench_start(meter_text, meter_rows);

    bench.request.quantity = QUANTITY_DC_VOLTAGE;
    return bench;
}

#define METER_BY_HAND "ROUT,1 FUNC,V SLOW RANG,2 "
#define METER_AGAIN   "*CLS REM " METER_BY_HAND

static void a_wrong_answer_makes_the_meter_be_set_afresh(void **state)
{
    static const struct wrong rows[] = {
        { "ERR?", "-113,\"Undefined header\"", FAILURE_INSTRUMENT_ERROR },
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

/* Settings that turn out to be others: the link is well, and all is set afresh. */
static void settings_that_changed_are_set_afresh(void **state)
{
    static const char *const rows[][2] = {
        { "ROUT?", "2" },  { "ROUT?", "11" },      { "ROUT?", "" },     { "FUNC?", "R" },
        { "RANG?", "20" }, { "RANG?", "2.00001" }, { "RANG?", "AUTO" }, { "RANG?", "9.91E37" },
    };
    struct bench bench = meter_start();

    (void)state;
    bench_acquired(&bench, METER_AGAIN);
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        player_answer_once(bench.player, rows[i][0], rows[i][1]);
        bench_failed(&bench, FAILURE_CHANGED);
        assert_non_null(strstr(bench.failure.what, rows[i][0]));
        bench_acquired(&bench, METER_BY_HAND);
    }
    bench_end(&bench);
}

/* The reading with its proofs in one message, each answer once another one. */
static void a_proof_in_the_message_of_the_reading(void **state)
{
    static const char *const message = "ROUT?;FUNC?;RANG?;READ?;ROUT?;FUNC?;RANG?";
    static const char *const others[] = {
        "2;V;2;+1.2;1;V;2", "1;R;2;+1.2;1;V;2",  "1;V;20;+1.2;1;V;2",      "1;V;2;+1.2;2;V;2",
        "1;V;2;+1.2;1;R;2", "1;V;2;+1.2;1;V;20", "1;\"V;W\";2;+1.2;1;V;2",
    };
    static const char *const no_answers[] = {
        "1;V;2;+1.2;1;V", "1;V;2;+1.2;1;V;2;2", "1;V;2;;1;V;2", "1;V;2;V;1;V;2", "+1.2", "",
    };
    struct bench bench = meter_start();

    (void)state;
    bench.profile->proof = PROOF_SAME_MESSAGE;
    bench_acquired(&bench, METER_AGAIN);
    assert_string_equal(player_queries(bench.player),
                        "*IDN? ERR? ERR? ROUT?;FUNC?;RANG?;READ?;ROUT?;FUNC?;RANG? ");
    for (size_t i = 0; i < sizeof others / sizeof *others; i++) {
        player_answer_once(bench.player, message, others[i]);
        bench_failed(&bench, FAILURE_CHANGED);
        bench_acquired(&bench, METER_BY_HAND);
        assert_true(bench.acquisition.signal.value == 1.5);
    }
    for (size_t i = 0; i < sizeof no_answers / sizeof *no_answers; i++) {
        player_answer_once(bench.player, message, no_answers[i]);
        bench_failed(&bench, FAILURE_UNEXPECTED_REPLY);
        bench_acquired(&bench, METER_AGAIN);
    }
    bench_end(&bench);
}

/* A panel that is locked is proved once after each change. */
static void a_locked_panel_is_proved_once(void **state)
{
    struct bench bench = meter_start();

    (void)state;
    bench.profile->locks_panel = true;
    bench_acquired(&bench, METER_AGAIN);
    player_queries(bench.player);
    bench_acquired(&bench, "");
    assert_string_equal(player_queries(bench.player), "READ? ");
    bench.request.setup.range = 1;
    player_answer(bench.player, "RANG?", "20");
    bench_acquired(&bench, "RANG,20 ");
    assert_string_equal(player_queries(bench.player),
                        "ERR? ROUT? FUNC? RANG? READ? ROUT? FUNC? RANG? ");
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
    assert_string_equal(queries, "*IDN? ERR? ERR? ROUT? FUNC? RANG? READ? ROUT? FUNC? RANG? ");
    bench.request.setup.range = 1;
    player_answer(bench.player, "RANG?", "20");
    bench_acquired(&bench, "RANG,20 ");
    queries = player_queries(bench.player);
    assert_string_equal(queries, "ERR? ROUT? FUNC? RANG? READ? ROUT? FUNC? RANG? ");
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
        cmocka_unit_test(settings_that_changed_are_set_afresh),
        cmocka_unit_test(a_proof_in_the_message_of_the_reading),
        cmocka_unit_test(a_locked_panel_is_proved_once),
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
