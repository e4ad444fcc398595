/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Commands of phases: what is run in which order, what waits, and what a failure or restart does. */
#include "daemon/burnin/burnin_run.h"
#include "daemon/settings/settings.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

#define SETTINGS(word)                                                                             \
    "profiles = \"" GRADUS_SOURCE "/config/profiles\";\n"                                          \
    "store = { path = \"/tmp/none.db\"; };\n"                                                      \
    "instruments = ( { name = \"a\"; profile = \"tarnwerk-meter\"; link = \"tcp:a:1\"; } );\n"     \
    "points = ( { name = \"a\"; instrument = \"a\"; probe = \"direct\"; input = 1;\n"              \
    "    quantity = \"dc voltage\"; limits = { low = 4; high = 6; }; } );\n"                       \
    "burnin = ( { name = \"rack\"; points = ( \"a\" ); every_s = 10; " word "\n"                   \
    "  phases = ( { name = \"cold\"; duration_s = 35; begins = ( \"/x/cold\" );\n"                 \
    "               ends = ( \"/x/away\" ); },\n"                                                  \
    "             { name = \"hot\"; duration_s = 60; begins = ( \"/x/hot\", \"85\" );\n"           \
    "               ends = ( \"/x/off\" ); command_s = 7000; } ); } );\n"

/* The world of one run: what it does stands in a text, a word each. */
struct world {
    struct burnin_clock clock;
    struct burnin_run *run;
    size_t commands; /* begun so far */
    int takes;       /* seconds that each takes; -1: it does not end */
    size_t fails;    /* the number of the one that does, from 1; 0: none */
    bool under_way;  /* a command is */
    bool measuring;  /* the point is */
    bool killed;     /* the command under way was */
    json_t *events;  /* of commands, for a restart */
    char said[2000];
};

static void say(struct world *world, const char *word)
{
    size_t length = strlen(world->said);
    snprintf(world->said + length, sizeof world->said - length, "%s%s", length > 0 ? " " : "",
             word);
}

static struct burnin_clock world_now(void *context)
{
    return ((struct world *)context)->clock;
}

static void world_wake(void *context, struct duration pause)
{
    (void)context;
    (void)pause;
}

static bool world_measure(void *context, const struct bench_point *point, size_t slot,
                          int64_t round, struct failure *failure)
{
    struct world *world = context;
    char word[32];
    (void)point;
    (void)slot;
    (void)failure;
    assert_false(world->under_way);
    snprintf(word, sizeof word, "%d", (int)round);
    say(world, word);
    world->measuring = true;
    return true;
}

static void world_record(void *context, enum event_kind kind, const struct text *body)
{
    struct world *world = context;
    json_t *event = json_loadb(body->bytes, body->length, 0, NULL);
    assert_non_null(event);
    if (kind == EVENT_PHASE_COMMAND || kind == EVENT_RUN_CONTINUED)
        json_array_append(world->events, event);
    if (kind == EVENT_PHASE_COMMAND &&
        strcmp(json_string_value(json_object_get(event, "outcome")), "failed") == 0)
        say(world, "failed");
    if (kind == EVENT_RUN_ENDED)
        say(world, json_string_value(json_object_get(event, "why")));
    json_decref(event);
}

static bool world_command(void *context, size_t phase, bool ending, const struct text *told,
                          struct failure *failure)
{
    struct world *world = context;
    const struct bench_phase *of = &world->run->plan->phases[phase];
    (void)failure;
    assert_false(world->under_way || world->measuring);
    assert_non_null(strstr(told->bytes, "\"outcome\":\"begun\""));
    say(world, (ending ? of->ends : of->begins)[0]);
    if (strstr(told->bytes, "\"after_restart\":true") != NULL)
        say(world, "(again)");
    world->under_way = true;
    world->commands++;
    return true;
}

static void world_command_kill(void *context)
{
    ((struct world *)context)->killed = true;
}

static void new_run(struct world *world, const char *text)
{
    struct problems problems = { 0 };
    struct bench *bench = settings_read(text, strlen(text), "test.cfg", &problems);
    const struct burnin_host host = { .context = world,
                                      .now = world_now,
                                      .wake = world_wake,
                                      .measure = world_measure,
                                      .record = world_record,
                                      .command = world_command,
                                      .command_kill = world_command_kill };
    assert_non_null(bench);
    world->run = burnin_run_new(bench, &bench->burnins[0], "rack-1", &host);
    assert_non_null(world->run);
    bench_unref(bench);
    problems_free(&problems);
}

/* Begins; the wall clock is at a whole ten seconds, as is the first round. */
static void begin(struct world *world, const char *text)
{
    *world = (struct world) { .clock = { { 1767225600 * SECOND_NS }, { 77 } }, .takes = 0 };
    world->events = json_array();
    new_run(world, text);
    burnin_run_begin(world->run, "boot", "anna");
}

static void end(struct world *world)
{
    burnin_run_free(world->run);
    json_decref(world->events);
}

/* What is under way ends. */
static void finish(struct world *world, int waited)
{
    const struct burnin_outcome good = {
        .round = world->run->last, .value = 5, .judged = 5, .verdict = VERDICT_PASS
    };
    if (world->measuring) {
        world->measuring = false;
        burnin_run_took(world->run, 0, &good, true);
    }
    if (!world->under_way || !(world->killed || (world->takes >= 0 && waited >= world->takes)))
        return;
    bool well = !world->killed && world->commands != world->fails;
    world->under_way = world->killed = false;
    burnin_run_command_took(world->run, &(struct shop_outcome) { well, "exit status 3", "text" });
}

/* So many seconds go by; the run is looked at twice in each. */
static void go_on(struct world *world, int seconds)
{
    int waited = 0;
    for (int i = 0; i < 2 * seconds; i++) {
        size_t commands = world->commands;
        burnin_run_tick(world->run);
        waited = world->under_way && world->commands == commands ? waited + 1 : 0;
        finish(world, waited / 2);
        world->clock.wall.ns += SECOND_NS / 2;
        world->clock.steady.ns += SECOND_NS / 2;
    }
}

/* The daemon is gone and comes back later: a new run, with what is on record. */
static void restart(struct world *world, const char *text, int seconds)
{
    struct burnin_time time = world->run->time;
    struct plan_time first = world->run->schedule.first;
    int64_t last = world->run->last;
    size_t index;
    json_t *event;
    burnin_run_free(world->run);
    world->under_way = world->measuring = false;
    world->clock.wall.ns += seconds * SECOND_NS;
    world->clock.steady.ns += seconds * SECOND_NS;
    new_run(world, text);
    burnin_run_recall_time(world->run, &time, first);
    json_array_foreach(world->events, index, event)
    {
        burnin_phases_recall(world->run, event, json_object_get(event, "phase") == NULL);
    }
    world->run->last = last;
    say(world, "restart");
    burnin_run_resume(world->run, true, "boot");
}

static void commands_are_run_around_their_phases(void **state)
{
    struct world world;
    (void)state;
    begin(&world, SETTINGS(""));
    go_on(&world, 100);
    assert_string_equal(world.said, "/x/cold 1 2 3 4 /x/away /x/hot 5 6 7 8 9 10 completed /x/off");
    assert_int_equal(world.run->missed, 0);
    end(&world);
}

/* The end of "cold" is 35 s after the first round: 12 s later round 4 is of a phase that is over. */
static void measuring_waits_and_rounds_are_missed(void **state)
{
    struct world world;
    (void)state;
    begin(&world, SETTINGS(""));
    world.takes = 12;
    go_on(&world, 200);
    assert_string_equal(world.said, "/x/cold 2 3 4 /x/away /x/hot 7 8 9 10 completed /x/off");
    assert_int_equal(world.run->missed, 3);
    end(&world);
}

static void a_failure_ends_the_run(void **state)
{
    struct world world;
    (void)state;
    begin(&world, SETTINGS(""));
    world.fails = 3;
    go_on(&world, 200);
    assert_string_equal(world.said,
                        "/x/cold 1 2 3 4 /x/away /x/hot failed a phase's command failed");
    end(&world);
    begin(&world, SETTINGS("ends_when_stopped = true;"));
    world.fails = 3;
    go_on(&world, 200);
    assert_string_equal(world.said,
                        "/x/cold 1 2 3 4 /x/away /x/hot failed a phase's command failed "
                        "/x/off");
    end(&world);
}

static void a_failure_holds_the_run_until_somebody_says(void **state)
{
    struct world world;
    (void)state;
    begin(&world, SETTINGS("command_fails = \"hold\";"));
    world.fails = 3;
    assert_false(burnin_phases_continue(world.run, "anna"));
    go_on(&world, 60);
    assert_int_equal(world.run->phases.doing, PHASE_HELD);
    restart(&world, SETTINGS("command_fails = \"hold\";"), 1);
    go_on(&world, 10);
    assert_int_equal(world.run->phases.doing, PHASE_HELD);
    assert_true(burnin_phases_continue(world.run, "anna"));
    go_on(&world, 100);
    assert_string_equal(world.said, "/x/cold 1 2 3 4 /x/away /x/hot failed restart /x/hot (again) "
                                    "8 9 10 completed /x/off");
    end(&world);
}

static void one_that_nobody_lets_go_on_ends_with_its_time(void **state)
{
    struct world world;
    (void)state;
    begin(&world, SETTINGS("command_fails = \"hold\";"));
    world.fails = 1;
    go_on(&world, 200);
    assert_string_equal(world.said, "/x/cold failed held until its time was over");
    end(&world);
}

static void a_stop_kills_the_begin_and_runs_the_end_where_the_plan_says_so(void **state)
{
    struct world world;
    (void)state;
    begin(&world, SETTINGS(""));
    go_on(&world, 5);
    burnin_run_end(world.run, "stopped", "anna");
    go_on(&world, 5);
    assert_string_equal(world.said, "/x/cold 1 stopped");
    end(&world);
    begin(&world, SETTINGS("ends_when_stopped = true;"));
    world.takes = -1;
    go_on(&world, 5);
    burnin_run_end(world.run, "stopped", "anna");
    go_on(&world, 5);
    assert_string_equal(world.said, "/x/cold stopped failed /x/away");
    end(&world);
}

static void the_begin_is_run_again_after_a_restart(void **state)
{
    struct world world;
    (void)state;
    begin(&world, SETTINGS(""));
    go_on(&world, 15);
    restart(&world, SETTINGS(""), 1);
    go_on(&world, 100);
    assert_string_equal(world.said,
                        "/x/cold 1 2 restart /x/cold (again) 3 4 /x/away /x/hot 5 6 7 8 "
                        "9 10 completed /x/off");
    end(&world);
}

/* The phase is over when the daemon comes back: what it had switched is switched back first. */
static void a_phase_that_ended_meanwhile_is_ended(void **state)
{
    struct world world;
    (void)state;
    begin(&world, SETTINGS(""));
    go_on(&world, 15);
    restart(&world, SETTINGS(""), 40);
    go_on(&world, 100);
    assert_string_equal(world.said, "/x/cold 1 2 restart /x/away (again) /x/hot 6 7 8 9 10 "
                                    "completed /x/off");
    end(&world);
}

static void a_command_that_was_cut_is_run_again(void **state)
{
    struct world world;
    (void)state;
    begin(&world, SETTINGS(""));
    world.takes = -1;
    go_on(&world, 5);
    restart(&world, SETTINGS(""), 1);
    world.takes = 0;
    go_on(&world, 29);
    world.takes = -1;
    go_on(&world, 3);
    assert_string_equal(world.said, "/x/cold restart /x/cold (again) 1 2 3 4 /x/away");
    restart(&world, SETTINGS(""), 1);
    world.takes = 0;
    go_on(&world, 100);
    assert_string_equal(world.said,
                        "/x/cold restart /x/cold (again) 1 2 3 4 /x/away restart /x/away (again) "
                        "/x/hot 5 6 7 8 9 10 completed /x/off");
    end(&world);
}

/* Between the two commands: the end of one phase is on record, and not run again. */
static void what_is_on_record_as_ended_is_not_ended_again(void **state)
{
    struct world world;
    (void)state;
    begin(&world, SETTINGS(""));
    go_on(&world, 34);
    world.takes = 1;
    go_on(&world, 3);
    assert_string_equal(world.said, "/x/cold 1 2 3 4 /x/away /x/hot");
    restart(&world, SETTINGS(""), 1);
    go_on(&world, 5);
    assert_string_equal(world.said, "/x/cold 1 2 3 4 /x/away /x/hot restart /x/hot (again) 5");
    end(&world);
}

static void the_end_command_left_to_do_is_done_after_a_restart(void **state)
{
    struct world world;
    (void)state;
    begin(&world, SETTINGS(""));
    go_on(&world, 15);
    struct plan_time first = world.run->schedule.first;
    struct burnin_time time = world.run->time;
    burnin_run_free(world.run);
    new_run(&world, SETTINGS(""));
    burnin_run_recall_time(world.run, &time, first);
    burnin_run_recall_end(world.run, "stopped", "cold");
    go_on(&world, 5);
    assert_string_equal(world.said, "/x/cold 1 2 /x/away (again)");
    end(&world);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(commands_are_run_around_their_phases),
        cmocka_unit_test(measuring_waits_and_rounds_are_missed),
        cmocka_unit_test(a_failure_ends_the_run),
        cmocka_unit_test(a_failure_holds_the_run_until_somebody_says),
        cmocka_unit_test(one_that_nobody_lets_go_on_ends_with_its_time),
        cmocka_unit_test(a_stop_kills_the_begin_and_runs_the_end_where_the_plan_says_so),
        cmocka_unit_test(the_begin_is_run_again_after_a_restart),
        cmocka_unit_test(a_phase_that_ended_meanwhile_is_ended),
        cmocka_unit_test(a_command_that_was_cut_is_run_again),
        cmocka_unit_test(what_is_on_record_as_ended_is_not_ended_again),
        cmocka_unit_test(the_end_command_left_to_do_is_done_after_a_restart),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
