/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A scope that waits for its input to pass a level: what is sent and proved, what a trigger that
 * does not come leaves behind, and the way back to records at once.
 */
#include "tests/drivers/bench.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <math.h>
#include <string.h>

/* No brackets of libconfig are left open: the trigger's own group comes last, and is varied. */
#define SCOPE                                                                                      \
    "description = \"s\"; kind = \"scope\";" BENCH_DIALOGUE(                                       \
        "4096") "inputs = 2; divisions = 8.0; time_divisions = 10.0; settle_ms = 0.0;"             \
                "vertical = { command = \"HEIGHT{input},{volts_per_division}\"; query = "          \
                "\"HEIGHT{input}?\";"                                                              \
                "  volts_per_division = [ 1.0, 2.0 ]; gain_percent = 3.0; baseline_divisions = "   \
                "0.2; };"                                                                          \
                "coupling = { dc = \"INLET{input},DC\"; query = \"INLET{input}?\"; dc_answer = "   \
                "\"^DC$\"; };"                                                                     \
                "timebase = { set = [ \"PACE,{time_per_division}\" ]; query = \"PACE?\"; points "  \
                "= 16;"                                                                            \
                "  durations = [ 1e-3 ]; };"                                                       \
                "acquisition = { start = [ \"ONCE\" ]; done = { query = \"OVER?\"; pattern = "     \
                "\"^1$\"; };"                                                                      \
                "  extra_ms = 30.0; };"                                                            \
                "waveform = { query = \"CODES{input}?\"; encoding = \"list\"; format = \"uint8\";" \
                "  code_low = 0; code_high = 255; code_centre = 128; codes_per_division = 32.0; "  \
                "};"

#define TRIGGER_SET                                                                                \
    "set = [ \"SOURCE,IN{input}\", \"LEVEL,{trigger_level}\", \"PAST,{before_share}\" ];"
#define TRIGGER_REST                                                                               \
    "rising = \"SLOPE,UP\"; falling = \"SLOPE,DOWN\"; off = [ \"SOURCE,NONE\" ];"                  \
    "abort = [ \"STOP\" ]; source_query = \"SOURCE?\"; source_answer = \"IN{input}\";"             \
    "slope_query = \"SLOPE?\"; rising_answer = \"^UP$\"; falling_answer = \"^DOWN$\";"             \
    "level_query = \"LEVEL?\"; position_query = \"PAST?\";"                                        \
    "checks = ( { query = \"SINGLE?\"; pattern = \"^YES$\"; } );"                                  \
    "state_query = \"STATE?\"; waiting = \"^WAITS$\"; done = \"^DONE$\"; error_divisions = 0.1;"
#define TRIGGER SCOPE "trigger = { " TRIGGER_SET TRIGGER_REST " };"

#define RECORD "96,96,96,96,160,160,160,160,160,160,160,160,160,160,160,160"

static const struct player_row rows[] = {
    { "*IDN?", "MAKER,SCOPE,7,1.0" },
    { "ERR?", "0,\"No error\"" },
    { "*CLS", NULL },
    { "REM", NULL },
    { "LOC", NULL },
    { "HEIGHT1,1", NULL },
    { "HEIGHT1?", "1" },
    { "INLET1,DC", NULL },
    { "INLET1?", "DC" },
    { "PACE,0.0001", NULL },
    { "PACE?", "0.0001" },
    { "SOURCE,NONE", NULL },
    { "SOURCE,IN1", NULL },
    { "LEVEL,0.5", NULL },
    { "LEVEL,0.75", NULL },
    { "PAST,0.25", NULL },
    { "SLOPE,UP", NULL },
    { "SLOPE,DOWN", NULL },
    { "STOP", NULL },
    { "SOURCE?", "IN1" },
    { "SLOPE?", "UP" },
    { "LEVEL?", "0.5" },
    { "PAST?", "0.25" },
    { "SINGLE?", "YES" },
    { "STATE?", "DONE" },
    { "ONCE", NULL },
    { "OVER?", "1" },
    { "CODES1?", RECORD },
    { NULL, NULL },
};

#define COMMON "PACE,0.0001 INLET1,DC HEIGHT1,1 "
#define ARMED  "*CLS REM " COMMON "SOURCE,IN1 LEVEL,0.5 PAST,0.25 SLOPE,UP ONCE "

static struct bench start(struct trigger *trigger)
{
    struct bench bench = bench_start(TRIGGER, rows);

    *trigger = (struct trigger) {
        .rising = true, .level = 0.5, .before = 0.25e-3, .wait_ms = BENCH_PLENTY_MS
    };
    bench.request.quantity = QUANTITY_DC_VOLTAGE;
    bench.request.trigger = trigger;
    return bench;
}

static void a_trigger_is_set_and_taken_back(void **state)
{
    struct trigger trigger;
    struct bench bench = start(&trigger);

    (void)state;
    player_answer_once(bench.player, "STATE?", "WAITS");
    bench_acquired(&bench, ARMED);
    assert_true(bench.acquisition.signal.low == -1.0 && bench.acquisition.signal.high == 1.0);
    bench_acquired(&bench, "ONCE ");
    trigger.level = 0.75;
    player_answer(bench.player, "LEVEL?", "0.75");
    bench_acquired(&bench, "SOURCE,IN1 LEVEL,0.75 PAST,0.25 ONCE ");
    trigger.rising = false;
    player_answer(bench.player, "SLOPE?", "DOWN");
    bench_acquired(&bench, "SLOPE,DOWN ONCE ");
    bench.request.trigger = NULL;
    bench_acquired(&bench, "SOURCE,NONE ONCE ");
    bench_acquired(&bench, "ONCE ");
    bench.request.trigger = &trigger;
    bench_acquired(&bench, "SOURCE,IN1 LEVEL,0.75 PAST,0.25 SLOPE,DOWN ONCE ");
    bench_end(&bench);
}

static void each_setting_of_a_trigger_is_proved(void **state)
{
    static const struct wrong wrong[] = {
        { "SOURCE?", "IN2", FAILURE_CHANGED }, { "SOURCE?", "NONE", FAILURE_CHANGED },
        { "SLOPE?", "DOWN", FAILURE_CHANGED }, { "SLOPE?", "UPX", FAILURE_CHANGED },
        { "LEVEL?", "0.6", FAILURE_CHANGED },  { "LEVEL?", "-0.5", FAILURE_CHANGED },
        { "LEVEL?", "HIGH", FAILURE_CHANGED }, { "PAST?", "0.26", FAILURE_CHANGED },
        { "SINGLE?", "NO", FAILURE_CHANGED },
    };
    struct trigger trigger;
    struct bench bench = start(&trigger);

    (void)state;
    bench_check_wrong(&bench, wrong, sizeof wrong / sizeof *wrong, ARMED);
    for (size_t i = 0; i < sizeof wrong / sizeof *wrong; i++) { /* behind the record too */
        dialogue_suspect(bench_dialogue(&bench));
        player_answer_later(bench.player, wrong[i].query, 1, wrong[i].reply);
        bench_failed(&bench, wrong[i].code);
        bench_acquired(&bench, ARMED);
    }
    bench_end(&bench);
}

/* The scope is left idle, its settings and the dialogue as they were. */
static void a_trigger_that_never_comes_is_given_up(void **state)
{
    struct trigger trigger;
    struct bench bench = start(&trigger);
    unsigned epoch;

    (void)state;
    bench_acquired(&bench, ARMED);
    epoch = dialogue_epoch(bench_dialogue(&bench));
    trigger.wait_ms = 40;
    trigger.armed = trigger.until = (struct moment) { 0 };
    player_answer(bench.player, "STATE?", "WAITS");
    assert_false(bench_acquire(&bench));
    assert_int_equal(bench.failure.code, FAILURE_NO_TRIGGER);
    assert_string_equal(player_commands(bench.player), "ONCE STOP ");
    assert_true(moment_is_set(trigger.armed) && moment_before(trigger.armed, trigger.until));
    player_answer(bench.player, "STATE?", "DONE");
    bench_acquired(&bench, "ONCE ");
    assert_int_equal(dialogue_epoch(bench_dialogue(&bench)), epoch);
    bench_end(&bench);
}

static bool at_once(const void *context)
{
    (void)context;
    return true;
}

static void a_wait_that_nobody_wants_ends_early(void **state)
{
    struct trigger trigger;
    struct bench bench = start(&trigger);

    (void)state;
    trigger.ends = at_once;
    player_answer(bench.player, "STATE?", "WAITS");
    assert_false(bench_acquire(&bench));
    assert_int_equal(bench.failure.code, FAILURE_NO_TRIGGER);
    bench_end(&bench);
}

/* Neither waiting nor done for longer than a record takes, and an answer that is neither. */
static void a_record_that_does_not_end_is_given_up(void **state)
{
    struct trigger trigger;
    struct bench bench = start(&trigger);

    (void)state;
    player_answer(bench.player, "STATE?", "RECORDS");
    bench_failed(&bench, FAILURE_TIMEOUT);
    player_answer(bench.player, "STATE?", "DONEX");
    bench_failed(&bench, FAILURE_TIMEOUT);
    player_answer(bench.player, "STATE?", "DONE");
    bench_acquired(&bench, ARMED);
    bench_end(&bench);
}

static void without_a_trigger_in_the_profile_there_is_none(void **state)
{
    struct trigger trigger = { .rising = true, .wait_ms = 10 };
    struct bench bench = bench_start(SCOPE, rows);

    (void)state;
    bench.request.quantity = QUANTITY_DC_VOLTAGE;
    assert_false(profile_triggers(bench.profile));
    bench_acquired(&bench, "*CLS REM " COMMON "ONCE ");
    bench.request.trigger = &trigger;
    bench_failed(&bench, FAILURE_UNSUPPORTED);
    bench_end(&bench);
}

static void a_profile_says_all_of_a_trigger(void **state)
{
    static const char *const texts[] = {
        SCOPE "trigger = { set = [ \"LEVEL,{trigger_level}\", \"PAST,{before}\" ];" TRIGGER_REST
              " };",
        SCOPE "trigger = { set = [ \"S{input}\", \"PAST,{before}\" ];" TRIGGER_REST " };",
        SCOPE "trigger = { set = [ \"S{input}\", \"L{trigger_level}\" ];" TRIGGER_REST " };",
        SCOPE "trigger = { set = [ \"S{input}\", \"L{trigger_level}{before}{range}\" ];" //
        TRIGGER_REST " };",
        SCOPE "trigger = { " TRIGGER_SET " };",
        SCOPE "record_checks = ( { query = \"Q{before}?\"; pattern = \"^1$\"; } );",
    };

    (void)state;
    for (size_t i = 0; i < sizeof texts / sizeof *texts; i++) {
        struct problems problems = { 0 };

        assert_null(profile_read(texts[i], strlen(texts[i]), "t.cfg", &problems));
        assert_true(problems.count > 0);
        problems_free(&problems);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_trigger_is_set_and_taken_back),
        cmocka_unit_test(each_setting_of_a_trigger_is_proved),
        cmocka_unit_test(a_trigger_that_never_comes_is_given_up),
        cmocka_unit_test(a_wait_that_nobody_wants_ends_early),
        cmocka_unit_test(a_record_that_does_not_end_is_given_up),
        cmocka_unit_test(without_a_trigger_in_the_profile_there_is_none),
        cmocka_unit_test(a_profile_says_all_of_a_trigger),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
