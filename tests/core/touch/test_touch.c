/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The touch detector, step by step, on looks whose meaning is plain. The
 * states are own derivation from what core/touch/touch.h promises.
 */
#include "core/touch/touch.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

/* A touch machine and the time of its looks, ten a second. */
struct feed {
    struct feeler touch;
    double now;
    int asked; /* spreads wanted */
};

static struct feed feed_of(enum touch_kind kind, double near)
{
    struct feed feed = { .now = 0 };
    touch_start(&feed.touch, &(struct touch_rules) { kind, near, 0.25 });
    return feed;
}

/* One look; `spread` is handed in when it is wanted only. */
static enum touch_state look(struct feed *feed, double value, double spread)
{
    bool wanted = touch_wants_spread(&feed->touch);
    feed->now += 0.1;
    feed->asked += wanted;
    return touch_take(&feed->touch, &(struct touch_look) { .time = feed->now,
                                                           .value = value,
                                                           .step = 1e-4,
                                                           .spread = wanted ? spread : NAN,
                                                           .spread_step = 1e-3 });
}

static enum touch_state looks(struct feed *feed, int count, double value, double spread)
{
    enum touch_state state = feed->touch.state;
    for (int i = 0; i < count; i++)
        state = look(feed, value, spread);
    return state;
}

/* A lifted tip in a room that hums: a little, and never the same twice. */
static enum touch_state air(struct feed *feed, int count)
{
    enum touch_state state = feed->touch.state;
    for (int i = 0; i < count; i++)
        state = look(feed, i % 2 ? 2e-3 : -1e-3, 0.2);
    return state;
}

static void a_tip_has_to_be_in_the_air_first(void **state)
{
    struct feed feed = feed_of(TOUCH_LEVEL, 1.0);
    (void)state;
    assert_int_equal(looks(&feed, 50, 5.0, 0.0), TOUCH_LEARNING);
    assert_int_equal(air(&feed, 8), TOUCH_HUM);
}

static void a_touch_settles_is_held_and_is_lifted(void **state)
{
    struct feed feed = feed_of(TOUCH_LEVEL, 1.0);
    (void)state;
    air(&feed, 8);
    assert_int_equal(look(&feed, 5.0, 0.0), TOUCH_TOUCHING);
    assert_true(isnan(touch_value(&feed.touch)));
    assert_int_equal(looks(&feed, 3, 5.001, 0.0), TOUCH_SETTLED);
    assert_true(fabs(touch_value(&feed.touch) - 5.0) < 1e-3);
    touch_taken(&feed.touch);
    assert_int_equal(looks(&feed, 50, 5.0, 0.0), TOUCH_HELD);
    assert_int_equal(air(&feed, 4), TOUCH_HUM);
    assert_int_equal(looks(&feed, 4, 5.0, 0.0), TOUCH_SETTLED);
}

static void the_same_voltage_without_a_lift_is_the_same_place(void **state)
{
    struct feed feed = feed_of(TOUCH_LEVEL, 1.0);
    (void)state;
    air(&feed, 8);
    looks(&feed, 4, 5.0, 0.0);
    touch_taken(&feed.touch);
    for (int i = 0; i < 100; i++)
        assert_int_equal(look(&feed, 5.0 + 1e-3 * (i % 3), 0.0), TOUCH_HELD);
}

static void what_changes_without_a_lift_has_slipped(void **state)
{
    struct feed feed = feed_of(TOUCH_LEVEL, 1.0);
    (void)state;
    air(&feed, 8);
    looks(&feed, 4, 5.0, 0.0);
    touch_taken(&feed.touch);
    assert_int_equal(looks(&feed, 20, 3.3, 0.0), TOUCH_SLIPPED);
    assert_int_equal(air(&feed, 4), TOUCH_HUM);
    /* And before there was a reading: two looks on one place, then another. */
    looks(&feed, 2, 3.3, 0.0);
    assert_int_equal(looks(&feed, 20, 5.0, 0.0), TOUCH_SLIPPED);
    air(&feed, 4);
    look(&feed, 5.0, 0.0);
    assert_int_equal(looks(&feed, 20, 3.3, 0.0), TOUCH_SLIPPED);
    /* Onto ground is no lift either. */
    air(&feed, 4);
    looks(&feed, 4, 5.0, 0.0);
    touch_taken(&feed.touch);
    assert_int_equal(looks(&feed, 20, 0.0, 0.0), TOUCH_SLIPPED);
}

static void what_bounces_has_no_value(void **state)
{
    const double bounces[] = { 1.3, 5.0, 0.01, 2.5, 3.7, 0.0, 5.0, 1.2, 4.0, 2.0 };
    struct feed feed = feed_of(TOUCH_LEVEL, 1.0);
    (void)state;
    air(&feed, 8);
    for (size_t i = 0; i < sizeof bounces / sizeof bounces[0]; i++)
        assert_int_not_equal(look(&feed, bounces[i], 0.2), TOUCH_SETTLED);
}

static void ground_differs_from_the_air_by_its_lack_of_hum(void **state)
{
    struct feed feed = feed_of(TOUCH_LEVEL, 1.0);
    (void)state;
    air(&feed, 8);
    assert_int_equal(looks(&feed, 30, 0.0, 0.2), TOUCH_HUM); /* still, and humming */
    assert_int_equal(looks(&feed, 30, 0.0, 0.02), TOUCH_UNSURE);
    touch_key(&feed.touch);
    assert_int_equal(look(&feed, 0.0, 0.02), TOUCH_SETTLED);
    touch_taken(&feed.touch);
    air(&feed, 4);
    assert_int_equal(looks(&feed, 20, 1e-4, 1e-3), TOUCH_SETTLED);
    touch_taken(&feed.touch);
    assert_int_equal(looks(&feed, 20, 1e-4, 1e-3), TOUCH_HELD);
    assert_int_equal(air(&feed, 20), TOUCH_HUM);
}

static void without_hum_zero_needs_a_key(void **state)
{
    struct feed feed = feed_of(TOUCH_LEVEL, 1.0);
    (void)state;
    assert_int_equal(looks(&feed, 100, 0.0, 0.0), TOUCH_AIR);
    assert_in_range(feed.asked, 1, 20); /* and does not switch the instrument to and fro for ever */
    touch_key(&feed.touch);
    assert_int_equal(look(&feed, 0.0, 0.0), TOUCH_SETTLED);
}

static void hum_is_never_a_swing(void **state)
{
    struct feed feed = feed_of(TOUCH_SWING, 0.5);
    (void)state;
    for (int i = 0; i < 10; i++)
        look(&feed, 0.2 + 0.02 * (i % 3), NAN);
    for (int i = 0; i < 100; i++)
        assert_int_equal(look(&feed, 0.22, NAN), TOUCH_HUM);
    assert_int_equal(looks(&feed, 4, 12.0, NAN), TOUCH_SETTLED);
    touch_taken(&feed.touch);
    assert_int_equal(looks(&feed, 4, 0.2, NAN), TOUCH_HUM);
    assert_int_equal(looks(&feed, 10, 0.03, NAN), TOUCH_UNSURE);
    assert_int_equal(looks(&feed, 10, 0.005, NAN), TOUCH_SETTLED);
}

static void open_leads_are_the_air_of_a_resistance(void **state)
{
    struct feed feed = feed_of(TOUCH_OPEN, 0.0);
    const struct touch_look open = { .overload = true, .value = NAN, .step = 1, .spread = NAN };
    (void)state;
    for (int i = 0; i < 8; i++) {
        struct touch_look again = open;
        again.time = feed.now += 0.1;
        touch_take(&feed.touch, &again);
    }
    assert_int_equal(feed.touch.state, TOUCH_AIR);
    assert_int_equal(looks(&feed, 4, 0.0, NAN), TOUCH_SETTLED);
    touch_taken(&feed.touch);
    assert_int_equal(looks(&feed, 4, 470.0, NAN), TOUCH_SLIPPED);
}

static void the_frequency_of_the_mains_is_none(void **state)
{
    struct feed feed = feed_of(TOUCH_RATE, 0.0);
    (void)state;
    looks(&feed, 8, 50.01, NAN);
    assert_int_equal(looks(&feed, 50, 60.0, NAN), TOUCH_AIR);
    assert_int_equal(looks(&feed, 4, 32768.0, NAN), TOUCH_SETTLED);
}

static void what_moved_while_it_was_read_has_to_be_lifted(void **state)
{
    struct feed feed = feed_of(TOUCH_LEVEL, 1.0);
    (void)state;
    air(&feed, 8);
    looks(&feed, 4, 5.0, 0.0);
    touch_moved(&feed.touch);
    assert_int_equal(looks(&feed, 20, 5.0, 0.0), TOUCH_SLIPPED);
    air(&feed, 4);
    assert_int_equal(looks(&feed, 4, 5.0, 0.0), TOUCH_SETTLED);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_tip_has_to_be_in_the_air_first),
        cmocka_unit_test(a_touch_settles_is_held_and_is_lifted),
        cmocka_unit_test(the_same_voltage_without_a_lift_is_the_same_place),
        cmocka_unit_test(what_changes_without_a_lift_has_slipped),
        cmocka_unit_test(what_bounces_has_no_value),
        cmocka_unit_test(ground_differs_from_the_air_by_its_lack_of_hum),
        cmocka_unit_test(without_hum_zero_needs_a_key),
        cmocka_unit_test(hum_is_never_a_swing),
        cmocka_unit_test(open_leads_are_the_air_of_a_resistance),
        cmocka_unit_test(the_frequency_of_the_mains_is_none),
        cmocka_unit_test(what_moved_while_it_was_read_has_to_be_lifted),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
