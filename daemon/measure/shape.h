/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A figure of a record's shape as a reading has it: at the tip, in the unit of its quantity, rise times
 * without the instrument's own, and with its uncertainty budget. On the instrument's worker.
 */
#ifndef GRADUS_DAEMON_SHAPE_H
#define GRADUS_DAEMON_SHAPE_H

#include "core/input/chain.h"
#include "core/uncertainty/budget.h"
#include "core/waveform/figures.h"
#include "drivers/profile/profile.h"

/* The quantity that a kind of figure is, and back: one for which quantity_is_shape() holds and
 * quantity_is_pair() does not. */
enum quantity shape_quantity(enum figure_kind kind);
enum figure_kind shape_kind(enum quantity quantity);

/* What a record needs for a quantity of shape; a delay or phase what a pulse's width needs. */
struct timebase_need shape_need(enum quantity quantity);

/* One figure. The unit of its quantity. */
struct shape_figure {
    enum wave_reason lack; /* WAVE_NONE: there is a value */
    double value;
    double at_most; /* of an edge that is too fast to tell; NAN: nothing is known */
    double seen;    /* a rise or fall as it appears, the own one in it; else NAN */
    double own;     /* the instrument's and probe's own that was taken off; else NAN */
    struct budget budget;
};

/* All figures of one record. */
struct shape_figures {
    struct shape_figure of[FIGURE_COUNT];
    size_t orders; /* of harmonics in the distortion */
};

/* What they are made from. Borrowed. */
struct shape_facts {
    const struct chain *chain;
    const struct setup *setup;
    const struct signal *signal; /* as settled, at the input; ground reference subtracted */
    const struct scope *scope;
    bool alias; /* the record shows an alias, or perhaps one */
};

/*
 * Makes them from the samples at the tip. False, writing nothing, as waveform_measure_series().
 *
 * step  the converter's, tip units
 */
bool shapes_make(const double *samples, size_t count, double interval, double step,
                 const struct shape_facts *facts, struct shape_figures *shapes);

/* Why there is no value, in words: "too few samples for what changes so fast; it is no more than 20 ns". */
const char *shape_lack_text(const struct shape_figure *shape, char *text, size_t size);

#endif
