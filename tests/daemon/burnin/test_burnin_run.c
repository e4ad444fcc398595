/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A run driven by a virtual clock and instruments that answer at once: weeks in a moment. */
#include "daemon/burnin/burnin_run.h"
#include "daemon/settings/settings.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

static const char settings[] =
    "profiles = \"" GRADUS_SOURCE "/config/profiles\";\n"
    "store = { path = \"/tmp/none.db\"; };\n"
    "instruments = ( { name = \"a\"; profile = \"tarnwerk-meter\"; link = \"tcp:a:1\"; },\n"
    "    { name = \"b\"; profile = \"tarnwerk-meter\"; link = \"tcp:a:2\"; } );\n"
    "points = ( { name = \"a_{unit}\"; units = { last = 8; }; instrument = \"a\"; probe = "
    "\"direct\";\n"
    "    input = { first = 1; }; quantity = \"dc voltage\"; limits = { low = 4; high = 6; }; },\n"
    "  { name = \"b_{unit}\"; units = { last = 8; }; instrument = \"b\"; probe = \"direct\";\n"
    "    input = { first = 1; }; quantity = \"dc voltage\"; } );\n"
    "burnin = ( { name = \"rack\"; points = ( \"a\", \"b\" ); every_s = 60; duration_s = 1209600;\n"
    "    trip_after = 2; stops = \"unit\"; } );\n";

enum { QUEUE = 32 };

/* The world of one run. */
struct world {
    struct burnin_clock clock;
    struct steady_time wake;
    struct burnin_run *run;
    size_t slots[QUEUE]; /* measurements under way */
    size_t open;
    size_t most_open;
    size_t measured[16];
    double bad; /* value of point 2, instead of 5 */
    int64_t bad_from;
    size_t trips;
    size_t events;
    char kinds[64][32];
};

static struct burnin_clock world_now(void *context)
{
    return ((struct world *)context)->clock;
}

static void world_wake(void *context, struct duration pause)
{
    struct world *world = context;
    world->wake.ns = world->clock.steady.ns + pause.ns;
}

static bool world_measure(void *context, const struct bench_point *point, size_t slot,
                          int64_t round, struct failure *failure)
{
    struct world *world = context;
    (void)failure;
    assert_int_equal(point->index, slot);
    assert_int_equal(round, world->run->last);
    world->slots[world->open++] = slot;
    if (world->open > world->most_open)
        world->most_open = world->open;
    return true;
}

static void world_record(void *context, enum event_kind kind, const struct text *body)
{
    struct world *world = context;
    assert_false(body->failed);
    if (world->events < 64)
        snprintf(world->kinds[world->events++], sizeof *world->kinds, "%s", event_kind_text(kind));
}

static void world_tripped(void *context, size_t slot, const struct text *body)
{
    (void)slot;
    assert_non_null(strstr(body->bytes, "\"cause\":\"limit\""));
    ((struct world *)context)->trips++;
}

static size_t count_of(const struct world *world, const char *kind)
{
    size_t count = 0;
    for (size_t i = 0; i < world->events; i++)
        count += strcmp(world->kinds[i], kind) == 0;
    return count;
}

static void forward(struct world *world, int64_t nanoseconds)
{
    world->clock.wall.ns += nanoseconds;
    world->clock.steady.ns += nanoseconds;
}

static void answer_one(struct world *world)
{
    size_t slot = world->slots[0];
    bool bad = slot == 1 && world->run->last >= world->bad_from;
    struct burnin_outcome outcome = { .round = world->run->last, .value = bad ? world->bad : 5 };
    outcome.judged = outcome.value;
    outcome.verdict = bad ? VERDICT_FAIL : VERDICT_PASS;
    world->open--;
    memmove(world->slots, world->slots + 1, world->open * sizeof *world->slots);
    world->measured[slot]++;
    forward(world, SECOND_NS / 10);
    burnin_run_took(world->run, slot, &outcome, true);
}

/* Until a moment of the steady clock, or the end of the run. */
static void go_on(struct world *world, int64_t until)
{
    while (!world->run->ended && world->clock.steady.ns < until) {
        if (world->open > 0) {
            answer_one(world);
        } else {
            if (world->wake.ns > world->clock.steady.ns)
                forward(world, world->wake.ns - world->clock.steady.ns);
            burnin_run_tick(world->run);
        }
    }
}

static void begin(struct world *world)
{
    struct problems problems = { 0 };
    struct bench *bench = settings_read(settings, sizeof settings - 1, "test.cfg", &problems);
    const struct burnin_host host = { .context = world,
                                      .now = world_now,
                                      .wake = world_wake,
                                      .measure = world_measure,
                                      .record = world_record,
                                      .tripped = world_tripped };
    assert_non_null(bench);
    *world = (struct world) { .clock = { { 1767225600 * SECOND_NS + 5 }, { 77 } },
                              .bad_from = INT64_MAX };
    world->run = burnin_run_new(bench, &bench->burnins[0], "rack-1", &host);
    assert_non_null(world->run);
    burnin_run_begin(world->run, "boot", "anna (uid 1000)");
    bench_unref(bench);
    problems_free(&problems);
}

static void test_two_weeks(void **state)
{
    struct world world;
    (void)state;
    begin(&world);
    go_on(&world, INT64_MAX);
    assert_string_equal(world.run->why, "completed");
    for (size_t i = 0; i < 16; i++)
        assert_int_equal(world.measured[i], 1209600 / 60);
    assert_int_equal(world.most_open, 2); /* one an instrument */
    assert_int_equal(world.run->missed + world.run->late + world.run->jumps, 0);
    assert_int_equal(world.events, 2); /* begun and ended */
    burnin_run_free(world.run);
}

static void test_a_trip_stops_its_unit(void **state)
{
    struct world world;
    (void)state;
    begin(&world);
    world.bad = 7;
    world.bad_from = 100;
    go_on(&world, SECOND_NS * 12000);
    assert_int_equal(world.trips, 1);
    assert_int_equal(world.measured[1], 101);
    assert_true(world.measured[9] == 100 || world.measured[9] == 101); /* unit 2 as well */
    assert_true(world.measured[0] > 190);
    assert_int_equal(world.run->slots[1].state.trip_round, 101);
    burnin_run_free(world.run);
}

static void test_clocks_that_jump_and_suspend(void **state)
{
    struct world world;
    (void)state;
    begin(&world);
    go_on(&world, SECOND_NS * 600);
    int64_t round = world.run->last;
    world.clock.wall.ns -= 3600 * SECOND_NS;
    go_on(&world, SECOND_NS * 1200);
    assert_int_equal(world.run->jumps, 1);
    assert_int_equal(world.run->last, round + 10);
    assert_int_equal(world.run->missed, 0);
    forward(&world, 3607 * SECOND_NS); /* suspended */
    go_on(&world, SECOND_NS * 6000);
    assert_in_range(world.run->missed, 59, 60);
    assert_int_equal(world.run->late, 1);
    assert_int_equal(world.run->jumps, 1);
    assert_int_equal(count_of(&world, "rounds missed"), 1);
    burnin_run_free(world.run);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_two_weeks),
        cmocka_unit_test(test_a_trip_stops_its_unit),
        cmocka_unit_test(test_clocks_that_jump_and_suspend),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
