/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Thousands of random hands before the touch detector: no reading may be taken
 * but of the place that the tip was put on, and how often a touch is missed is counted.
 * The hand here is a model of its own and knows nothing of the detector.
 */
#include "core/touch/touch.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>

#include <cmocka.h>

#include "tests/core/noise.h"

enum { HANDS = 4000, PLACES = 8, NOWHERE = -1 };

/* A board, a room and a way of holding a probe. */
struct hand {
    double volts[PLACES];
    double hum;      /* RMS that a lifted tip picks up */
    double leftover; /* bound on its drifting level */
    double noise;    /* of the instrument and the board */
    double pace;     /* seconds from look to look */
    bool shows_ac;   /* each look has a spread, as a scope's */
    double now;
    int on;         /* the place that the tip is on; NOWHERE: in the air */
    double bounces; /* until then contact comes and goes */
    bool keyed;     /* the person presses a key on places near zero */
};

struct tally {
    int touches;
    int right;
    int wrong;
    int missed;
    int keys;       /* that a touch needed */
    int plain_keys; /* of a place that is not near zero */
    int slides;
    int slides_read;
};

static double between(double low, double high)
{
    return low + (high - low) * uniform();
}

/* A board has neighbours at the same voltage, places at zero, and some of either sign. */
static struct hand hand_of(unsigned seed)
{
    static const double usual[] = {
        5.0, 5.0, 3.3, 12.0, -12.0, 1.8, 0.0, 24.0, 0.6, 2.5, 0.0, 3.3
    };
    struct hand hand = { .on = NOWHERE };
    srandom(seed);
    for (int i = 0; i < PLACES; i++) {
        double volts = usual[(int)(uniform() * 12) % 12];
        hand.volts[i] = volts * between(0.98, 1.02);
    }
    hand.hum = uniform() < 0.1 ? 0 : pow(10, between(-1.7, 0.3));
    hand.leftover = pow(10, between(-4, -1.5));
    hand.noise = pow(10, between(-5, -3.5));
    hand.pace = between(0.03, 0.15);
    hand.shows_ac = uniform() < 0.4;
    hand.keyed = true;
    return hand;
}

/* What one look at the input shows, the hum averaged nearly away. */
static struct touch_look look(struct hand *hand, bool spread)
{
    double air = hand->leftover * sin(0.8 * hand->now) + 0.01 * hand->hum * noise();
    double share = hand->on == NOWHERE ? 0 : hand->now < hand->bounces ? uniform() : 1;
    double volts = hand->on == NOWHERE ? 0 : hand->volts[hand->on];
    double swell = hand->hum * (1 + 0.3 * sin(1.3 * hand->now));
    hand->now += hand->pace;
    return (struct touch_look) { .time = hand->now,
                                 .value = share * volts + (1 - share) * air + hand->noise * noise(),
                                 .step = fmax(1e-4, 2 * hand->noise),
                                 .spread = spread || hand->shows_ac
                                               ? hypot((1 - share) * swell, 1e-3 * fabs(noise()))
                                               : NAN,
                                 .spread_step = 3e-3 };
}

/* One hand and what it does with the detector. */
struct walk {
    struct hand hand;
    struct feeler touch;
    int asked; /* the place that a reading is wanted of */
    struct tally *tally;
};

/* Looks for so long, or until there is something to read; true then. */
static bool watch(struct walk *walk, double seconds)
{
    double end = walk->hand.now + seconds;
    while (walk->hand.now < end) {
        const struct touch_look seen = look(&walk->hand, touch_wants_spread(&walk->touch));
        if (touch_take(&walk->touch, &seen) == TOUCH_SETTLED)
            return true;
    }
    return false;
}

/* Reads what has settled; `slides_to` is where the tip goes meanwhile, or where it is. */
static void read_it(struct walk *walk, int slides_to)
{
    double settled = touch_value(&walk->touch), tolerance = touch_tolerance(&walk->touch);
    int on = walk->hand.on;
    walk->hand.now += 0.2;
    walk->hand.on = slides_to;
    const struct touch_look after = look(&walk->hand, false);
    if (fabs(after.value - settled) > tolerance) {
        touch_moved(&walk->touch);
        return;
    }
    touch_taken(&walk->touch);
    if (on == walk->asked)
        walk->tally->right++;
    else
        walk->tally->wrong++;
}

static void lift(struct walk *walk)
{
    walk->hand.on = NOWHERE;
    walk->hand.bounces = 0;
    if (watch(walk, between(0.8, 2)))
        read_it(walk, NOWHERE);
}

static void put(struct walk *walk, int place)
{
    walk->hand.on = place;
    walk->hand.bounces = walk->hand.now + (uniform() < 0.5 ? 0 : uniform() * 0.4);
}

/* Touches the place that is asked for and waits; a key says so where nothing else can. */
static void touch_it(struct walk *walk)
{
    walk->tally->touches++;
    int before = walk->tally->right;
    put(walk, walk->asked);
    bool ready = watch(walk, 4);
    bool plain = fabs(walk->hand.volts[walk->asked]) > 0.3;
    if (!ready && walk->hand.keyed) {
        touch_key(&walk->touch);
        walk->tally->keys++;
        walk->tally->plain_keys += plain;
        ready = watch(walk, 2);
    }
    if (ready)
        read_it(walk, walk->asked);
    walk->tally->missed += walk->tally->right == before;
}

/*
 * Whether it shows that the tip is on a place and not in the air: one near zero differs by
 * the lack of hum alone.
 */
static bool shows(const struct hand *hand, int place)
{
    return fabs(hand->volts[place]) > 0.3 || (hand->shows_ac && hand->hum > 0.15);
}

/* Rests on one place for some looks and a tenth of a second, then slides to another: that is not the one asked for. */
static void slide(struct walk *walk)
{
    int other = (walk->asked + 1 + (int)(uniform() * (PLACES - 1))) % PLACES;
    int right = walk->tally->right;
    if (!shows(&walk->hand, walk->asked))
        return;
    walk->tally->slides++;
    walk->hand.on = walk->asked;
    walk->hand.bounces = 0;
    if (watch(walk, fmax(between(3.1, 5) * walk->hand.pace, 0.1 + 2 * walk->hand.pace))) {
        read_it(walk, walk->asked);
    } else {
        walk->hand.on = other;
        if (fabs(walk->hand.volts[other] - walk->hand.volts[walk->asked]) <
            0.05 * fabs(walk->hand.volts[walk->asked]) + 0.01)
            walk->hand.on = NOWHERE; /* the same voltage: nothing could tell */
        if (watch(walk, 2))
            read_it(walk, walk->hand.on);
    }
    walk->tally->slides_read += walk->tally->right > right;
}

/* After a reading the tip slides on, with and without a change of voltage, and nothing is read. */
static void slide_after(struct walk *walk)
{
    walk->asked = (walk->asked + 1) % PLACES;
    for (int i = 0; i < 3; i++) {
        int place = (int)(uniform() * PLACES);
        if (!shows(&walk->hand, place))
            return;
        walk->hand.on = place;
        walk->hand.bounces = walk->hand.now + 0.05;
        if (watch(walk, 1)) {
            walk->tally->wrong++;
            touch_taken(&walk->touch);
        }
    }
}

static void walk_board(unsigned seed, struct tally *tally)
{
    struct walk walk = { .hand = hand_of(seed), .tally = tally };
    touch_start(&walk.touch, &(struct touch_rules) { TOUCH_LEVEL, 0.3, 0.25 });
    lift(&walk);
    for (walk.asked = 0; walk.asked < PLACES - 1; walk.asked++) {
        double what = uniform();
        if (what < 0.15)
            slide(&walk);
        else
            touch_it(&walk);
        if (what > 0.85)
            slide_after(&walk);
        lift(&walk);
        if (walk.asked >= PLACES - 1)
            break;
    }
}

static void no_reading_is_of_another_place(void **state)
{
    struct tally tally = { 0 };
    (void)state;
    for (unsigned seed = 1; seed <= HANDS; seed++) {
        int wrong = tally.wrong;
        walk_board(seed, &tally);
        if (tally.wrong > wrong)
            printf("seed %u: %d wrong\n", seed, tally.wrong - wrong);
    }
    printf("%d hands, %d touches, %d readings, %d of another place, %d touches missed, %d keys, "
           "%d of them away from zero, %d slides\n",
           HANDS, tally.touches, tally.right, tally.wrong, tally.missed, tally.keys,
           tally.plain_keys, tally.slides);
    assert_int_equal(tally.wrong, 0);
    /* Own bound, so that a detector that takes nothing does not pass. */
    assert_true(tally.missed < tally.touches / 100);
    assert_true(tally.plain_keys < tally.touches / 50);
}

int main(void)
{
    const struct CMUnitTest tests[] = { cmocka_unit_test(no_reading_is_of_another_place) };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
