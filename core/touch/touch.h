/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Whether a probe that is held by hand touches something: a pure state
 * machine that is told quick looks at the input, one after the other.
 *
 * It learns first what a lifted tip shows, and from then on asks of each look
 * whether it may be that. What is clearly more and holds still for a while is
 * a touch that a reading may be taken of. After it the tip has to be seen in
 * the air before there is another, so that two places at the same voltage are
 * two touches, and what changes without a lift is a slip and never a reading.
 *
 * A place near zero looks like the air to anything that averages. What tells
 * them apart is the impedance: of the hum that a lifted tip picks up a
 * touched place leaves next to nothing. Where there is no hum to miss, or the
 * instrument cannot show it, a key has to say that the tip is on the place.
 *
 * A contact that is shorter than two looks, or than a tenth of a second, is not seen.
 */
#ifndef GRADUS_CORE_TOUCH_H
#define GRADUS_CORE_TOUCH_H

#include <stdbool.h>
#include <stddef.h>

/* How the air looks. */
enum touch_kind {
    TOUCH_LEVEL, /* near zero, hum averaged away */
    TOUCH_SWING, /* the hum itself: of quantities without a sign, and extremes */
    TOUCH_OPEN,  /* overload: resistance */
    TOUCH_RATE   /* no frequency, or that of the mains */
};

/* What the machine says after a look. */
enum touch_state {
    TOUCH_LEARNING, /* what the air looks like is not known yet: the tip should be lifted */
    TOUCH_AIR,      /* nothing is touched */
    TOUCH_HUM,      /* nothing is touched, and hum is picked up */
    TOUCH_TOUCHING, /* something is there that does not hold still yet */
    TOUCH_UNSURE,   /* it holds still, but it may be the air: a key has to say */
    TOUCH_SETTLED,  /* it holds still: a reading may be taken */
    TOUCH_HELD,     /* still where the last reading was taken */
    TOUCH_SLIPPED   /* somewhere else without a lift: it has to be lifted first */
};

/* One look at the input, tip units. */
struct touch_look {
    double time;        /* seconds, any origin, never backwards */
    bool overload;      /* no value */
    double value;       /* of the quantity; NAN: there is none to be had */
    double step;        /* by how much `value` may differ although nothing has moved, > 0 */
    double spread;      /* alternating content, RMS or peak to peak; NAN: not looked at */
    double spread_step; /* the same as `step`, of the spread */
};

/* What is fixed while one input is watched. */
struct touch_rules {
    enum touch_kind kind;
    double near;     /* tip units, >= 0: what is not more may be the air, whatever was learnt */
    double steady_s; /* seconds for which something has to hold still, > 0 */
};

enum { TOUCH_WINDOW = 32 };

/* Caller-owned; all members are the functions'. */
struct feeler {
    struct touch_rules rules;
    enum touch_state state;
    struct touch_look last;
    size_t count; /* of values that follow each other without a gap */
    double values[TOUCH_WINDOW];
    double times[TOUCH_WINDOW];
    double level;    /* magnitude that is the air's because a key said so; 0: none did */
    double hum;      /* spread that the air showed; NAN: never seen */
    double hum_step; /* its step then */
    double asked;    /* when a spread was asked for last */
    int hums;        /* spreads asked for in vain since the last reading */
    int learnt;      /* looks that were the air's, in a row */
    double since;    /* when the first of them was, or of those below */
    int quiet;       /* looks in a row that had next to none of the hum */
    int away;        /* looks in a row that were the air's after a reading */
    int astray;      /* looks after a reading that were neither the air's nor the place's */
    double plateau;  /* of this touch, that held still for a moment; NAN: none yet */
    double furthest; /* value of this touch that is furthest from zero; NAN: none yet */
    double held;     /* value that the reading was taken of */
    bool told;       /* a key has said that the tip is on the place */
};

/* Begins with the tip anywhere: it has to be lifted first. */
void touch_start(struct feeler *touch, const struct touch_rules *rules);

/* Takes a look in and says what it comes to. */
enum touch_state touch_take(struct feeler *touch, const struct touch_look *look);

/* Whether the next look is to have a spread, where the instrument can show one. */
bool touch_wants_spread(const struct feeler *touch);

/*
 * A key was pressed: while the machine learns it says that the tip is
 * in the air, else that it is on the place, whatever it looks like.
 */
void touch_key(struct feeler *touch);

/* The value that has settled, tip units; NAN in any other state. */
double touch_value(const struct feeler *touch);

/* How far from that a look may be for the tip to be where it was, tip units. */
double touch_tolerance(const struct feeler *touch);

/* The reading was taken of what had settled: from now on it is held, until it is lifted. */
void touch_taken(struct feeler *touch);

/* What had settled moved while it was read: it has to be lifted first. */
void touch_moved(struct feeler *touch);

#endif
