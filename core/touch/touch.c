/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "touch.h"

#include <math.h>

/* Looks and seconds of air before it is known. */
enum { LEARN_LOOKS = 5 };
static const double learn_s = 0.25;

/* A contact that bounces is open for less than this. */
static const double away_s = 0.1;

/* What holds still for this is a place that was touched, and not a contact on its way. */
static const double plateau_s = 0.1;

/* Looks in a row that say that there is no hum, that the tip is lifted, that something holds still. */
enum { QUIET_LOOKS = 2, AWAY_LOOKS = 2, STEADY_LOOKS = 4, CALM_LOOKS = 4 };

/* Own choices; tests/core/touch/test_touch_hands.c counts what they miss. */
static const double air_margin = 4;      /* what is clearly more than the air, times it */
static const double quiet_share = 0.05;  /* of the hum: no more than this is a touched place */
static const double loud_share = 0.2;    /* of the hum: no less than this is the air */
static const double hum_pace = 1.25;     /* by how much the hum is followed in one look */
static const double hum_steps = 20;      /* hum that can be missed when it is gone */
static const double steady_share = 5e-3; /* of the value: holds still */
static const double held_share = 2e-2;   /* of the value: still the same place */
static const double ask_s = 1;           /* between spreads that are asked for */

enum { HUMS_IN_VAIN = 10 };

/* The frequencies of mains are 50 and 60 Hz; what a counter makes of bad hum lies around them. */
static bool of_mains(double frequency)
{
    return frequency > 40 && frequency < 70;
}

void touch_start(struct feeler *touch, const struct touch_rules *rules)
{
    *touch = (struct feeler) { .rules = *rules,
                               .state = TOUCH_LEARNING,
                               .hum = NAN,
                               .asked = -INFINITY,
                               .plateau = NAN,
                               .furthest = NAN,
                               .held = NAN };
    touch->last.value = NAN;
    touch->last.spread = NAN;
}

/* Whether there is hum enough to be missed. */
static bool hums(const struct feeler *touch)
{
    return touch->hum > hum_steps * touch->hum_step;
}

/* The alternating content of a look; NAN: not known. */
static double spread_of(const struct feeler *touch, const struct touch_look *look)
{
    return touch->rules.kind == TOUCH_SWING ? fabs(look->value) : look->spread;
}

static double spread_step_of(const struct feeler *touch, const struct touch_look *look)
{
    return touch->rules.kind == TOUCH_SWING ? look->step : look->spread_step;
}

/* What is not more than this may be the air. */
static double near_zero(const struct feeler *touch, const struct touch_look *look)
{
    double seen = touch->rules.kind == TOUCH_SWING && touch->hum > 0 ? touch->hum : touch->level;
    return fmax(fmax(touch->rules.near, air_margin * seen), 3 * look->step);
}

/* Whether a look by itself may be the air's. */
static bool may_be_air(const struct feeler *touch, const struct touch_look *look)
{
    switch (touch->rules.kind) {
    case TOUCH_OPEN:
        return look->overload;
    case TOUCH_RATE:
        return !look->overload && (!(look->value > 0) || of_mains(look->value));
    case TOUCH_LEVEL:
    case TOUCH_SWING:
        break;
    }
    return !look->overload && fabs(look->value) <= near_zero(touch, look);
}

/* Whether zero and the air may be mistaken for each other. */
static bool has_hum(const struct feeler *touch)
{
    return touch->rules.kind == TOUCH_LEVEL || touch->rules.kind == TOUCH_SWING;
}

/* How far two values of the same place may be apart. */
static double slack(double value, double step, double share)
{
    return 3 * step + share * fabs(value);
}

static void keep_value(struct feeler *touch, const struct touch_look *look)
{
    if (look->overload || isnan(look->value)) {
        touch->count = 0;
        return;
    }
    if (touch->count == TOUCH_WINDOW) {
        touch->count--;
        for (size_t i = 0; i < touch->count; i++) {
            touch->values[i] = touch->values[i + 1];
            touch->times[i] = touch->times[i + 1];
        }
    }
    touch->values[touch->count] = look->value;
    touch->times[touch->count++] = look->time;
}

/* Whether the latest values, so many at least, have held still for so long. */
static bool still_for(const struct feeler *touch, size_t looks, double seconds)
{
    double low = INFINITY, high = -INFINITY;
    for (size_t i = touch->count; i-- > 0;) {
        low = fmin(low, touch->values[i]);
        high = fmax(high, touch->values[i]);
        if (high - low > slack(high + low, touch->last.step, steady_share) / 2)
            return false;
        if (touch->count - i >= looks && touch->last.time - touch->times[i] >= seconds)
            return true;
    }
    return false;
}

/* Whether the latest values have held still for long enough to be read. */
static bool steady(const struct feeler *touch)
{
    return still_for(touch, STEADY_LOOKS, touch->rules.steady_s);
}

/* Forgets what belongs to one touch. */
static void let_go(struct feeler *touch)
{
    touch->plateau = NAN;
    touch->furthest = NAN;
    touch->quiet = 0;
}

/* Whether the last looks may all have been the air's: those at a contact that bounces are not. */
static bool calm(const struct feeler *touch, const struct touch_look *look)
{
    size_t from = touch->count > CALM_LOOKS ? touch->count - CALM_LOOKS : 0;
    for (size_t i = from; i < touch->count; i++)
        if (fabs(touch->values[i]) > near_zero(touch, look))
            return false;
    return touch->count >= CALM_LOOKS;
}

/* What hum the air shows. It is followed slowly: a contact that bounces alternates, too. */
static void know_air(struct feeler *touch, const struct touch_look *look)
{
    double spread = spread_of(touch, look);
    if (isnan(spread) || !has_hum(touch))
        return;
    if (touch->state != TOUCH_LEARNING && spread > touch->hum && !calm(touch, look))
        return;
    if (touch->state == TOUCH_LEARNING)
        touch->hum = isnan(touch->hum) ? spread : fmax(touch->hum, spread);
    else if (!(touch->hum > spread_step_of(touch, look)))
        touch->hum = spread;
    else
        touch->hum = fmin(fmax(spread, touch->hum / hum_pace), touch->hum * hum_pace);
    touch->hum_step = spread_step_of(touch, look);
}

static enum touch_state in_air(const struct feeler *touch)
{
    return hums(touch) ? TOUCH_HUM : TOUCH_AIR;
}

static enum touch_state learn(struct feeler *touch, const struct touch_look *look)
{
    if (!may_be_air(touch, look)) {
        touch->learnt = 0;
        return TOUCH_LEARNING;
    }
    if (touch->learnt++ == 0)
        touch->since = look->time;
    know_air(touch, look);
    bool enough = touch->learnt >= LEARN_LOOKS && look->time - touch->since >= learn_s;
    return enough ? in_air(touch) : TOUCH_LEARNING;
}

/* Something that may be the air, or a place near zero: the hum tells, or nothing does. */
static enum touch_state judge_quiet(struct feeler *touch, const struct touch_look *look)
{
    double spread = spread_of(touch, look);
    bool still = steady(touch);
    if (touch->state == TOUCH_UNSURE && still && isnan(spread))
        return TOUCH_UNSURE;
    if (!has_hum(touch) || isnan(spread) || !hums(touch) || spread >= loud_share * touch->hum) {
        bool between = has_hum(touch) && isnan(spread) && touch->quiet > 0 && still;
        touch->quiet = between ? touch->quiet : 0;
        if (!between)
            know_air(touch, look);
        return between ? TOUCH_TOUCHING : in_air(touch);
    }
    if (spread > fmax(quiet_share * touch->hum, spread_step_of(touch, look))) {
        touch->quiet = 0;
        return still ? TOUCH_UNSURE : TOUCH_TOUCHING;
    }
    touch->quiet++;
    return still && touch->quiet >= QUIET_LOOKS ? TOUCH_SETTLED : TOUCH_TOUCHING;
}

/* Whether a look that may be the air's surely is. */
static bool surely_air(const struct feeler *touch, const struct touch_look *look)
{
    if (!may_be_air(touch, look))
        return false;
    return !has_hum(touch) || !hums(touch) || spread_of(touch, look) >= loud_share * touch->hum;
}

/*
 * Whether the tip has been on something else in this touch. A contact that comes and goes
 * shows what is between the air and the place, never more than the place, and
 * nothing for long.
 */
static bool slipped(struct feeler *touch, const struct touch_look *look)
{
    double value = look->value;
    double same = slack(value, look->step, held_share);
    if (!(fabs(touch->furthest) >= fabs(value)))
        touch->furthest = value;
    if (!still_for(touch, 2, plateau_s))
        return false;
    bool other = fabs(touch->plateau - value) > same;
    bool beyond = fabs(touch->furthest - value) > same;
    touch->plateau = value;
    return other || beyond;
}

/* Nothing was read yet since the tip was last in the air. */
static enum touch_state approach(struct feeler *touch, const struct touch_look *look)
{
    if (surely_air(touch, look)) {
        touch->plateau = NAN;
        touch->furthest = NAN;
    }
    if (may_be_air(touch, look)) {
        enum touch_state state = judge_quiet(touch, look);
        return touch->quiet > 0 && !isnan(touch->plateau) ? TOUCH_SLIPPED : state;
    }
    /* One look without hum may have had its spread taken when the tip was on the place already. */
    bool grounded = touch->quiet >= QUIET_LOOKS;
    touch->quiet = 0;
    if (look->overload || isnan(look->value))
        return TOUCH_TOUCHING;
    if (grounded || slipped(touch, look))
        return TOUCH_SLIPPED;
    return steady(touch) ? TOUCH_SETTLED : TOUCH_TOUCHING;
}

/* A reading was taken, or the tip has slipped: nothing counts before it has been lifted. */
static enum touch_state wait_for_lift(struct feeler *touch, const struct touch_look *look)
{
    double same = slack(touch->held, look->step, held_share);
    bool holds =
        touch->state == TOUCH_HELD && !look->overload && fabs(look->value - touch->held) <= same;
    bool hummed = has_hum(touch) && hums(touch);
    bool loud = hummed && !isnan(look->spread) && surely_air(touch, look);
    if (!(holds && !loud) && surely_air(touch, look)) {
        if (touch->away++ == 0)
            touch->since = look->time;
        if (touch->away < AWAY_LOOKS || look->time - touch->since < away_s)
            return touch->state;
        let_go(touch);
        touch->count = 0;
        return in_air(touch);
    }
    if (isnan(look->spread) && touch->away > 0 && may_be_air(touch, look))
        return touch->state;
    touch->away = 0;
    touch->astray = holds ? 0 : touch->astray;
    /* Hum that has become less is followed, or the tip would never seem lifted. */
    if (hummed && may_be_air(touch, look) && spread_of(touch, look) > quiet_share * touch->hum &&
        !holds)
        know_air(touch, look);
    if (holds || touch->state == TOUCH_SLIPPED)
        return touch->state;
    /* What may be the air waits for a spread that says so. */
    bool open = may_be_air(touch, look) && isnan(spread_of(touch, look));
    /* A look that was partly on the place and partly in the air is no slip yet. */
    if (open || ++touch->astray < AWAY_LOOKS)
        return touch->state;
    return TOUCH_SLIPPED;
}

enum touch_state touch_take(struct feeler *touch, const struct touch_look *look)
{
    touch->last = *look;
    keep_value(touch, look);
    if (!isnan(look->spread)) {
        touch->asked = look->time;
        touch->hums = hums(touch) ? 0 : touch->hums + 1;
    }
    if (touch->told && steady(touch))
        touch->state = TOUCH_SETTLED;
    else if (touch->told)
        touch->state = TOUCH_TOUCHING;
    else if (touch->state == TOUCH_LEARNING)
        touch->state = learn(touch, look);
    else if (touch->state == TOUCH_HELD || touch->state == TOUCH_SLIPPED)
        touch->state = wait_for_lift(touch, look);
    else
        touch->state = approach(touch, look);
    return touch->state;
}

bool touch_wants_spread(const struct feeler *touch)
{
    if (touch->rules.kind != TOUCH_LEVEL || touch->told || !may_be_air(touch, &touch->last))
        return false;
    if (touch->state == TOUCH_LEARNING || touch->quiet > 0 || touch->away > 0 ||
        !isnan(touch->plateau))
        return true;
    bool moved =
        fabs(touch->last.value - touch->held) > slack(touch->held, touch->last.step, held_share);
    bool leaves = (touch->state == TOUCH_HELD && moved) || touch->state == TOUCH_SLIPPED;
    if (leaves && hums(touch))
        return true;
    bool due = touch->last.time - touch->asked >= ask_s;
    return due && (hums(touch) ? steady(touch) : touch->hums < HUMS_IN_VAIN);
}

void touch_key(struct feeler *touch)
{
    if (touch->state != TOUCH_LEARNING) {
        touch->told = true;
        return;
    }
    if (has_hum(touch) && !touch->last.overload) {
        touch->level = touch->rules.kind == TOUCH_LEVEL ? fabs(touch->last.value) : 0;
        know_air(touch, &touch->last);
    }
    touch->state = in_air(touch);
}

/* The middle of what has held still. */
static double settled_value(const struct feeler *touch)
{
    double low = INFINITY, high = -INFINITY;
    for (size_t i = touch->count; i-- > 0 && touch->count - i <= STEADY_LOOKS;) {
        low = fmin(low, touch->values[i]);
        high = fmax(high, touch->values[i]);
    }
    return (low + high) / 2;
}

double touch_value(const struct feeler *touch)
{
    return touch->state == TOUCH_SETTLED ? settled_value(touch) : NAN;
}

double touch_tolerance(const struct feeler *touch)
{
    double near = may_be_air(touch, &touch->last) && has_hum(touch) ? air_margin * touch->level : 0;
    return fmax(slack(settled_value(touch), touch->last.step, held_share), near);
}

void touch_taken(struct feeler *touch)
{
    touch->held = settled_value(touch);
    touch->state = TOUCH_HELD;
    touch->told = false;
    touch->away = 0;
    touch->astray = 0;
    touch->hums = 0;
    let_go(touch);
}

void touch_moved(struct feeler *touch)
{
    touch->held = NAN;
    touch->state = TOUCH_SLIPPED;
    touch->told = false;
    touch->away = 0;
    touch->count = 0;
    let_go(touch);
}
