/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * One acquisition for a measurement: asked again where the link only has to be
 * brought in step, and re-checked before it counts.
 */
#ifndef GRADUS_DAEMON_ACQUIRE_H
#define GRADUS_DAEMON_ACQUIRE_H

#include "drivers/instrument/instrument.h"

/*
 * What comes between two acquisitions of one measurement: others may use the instrument there.
 * What was acquired before has been confirmed by then, and each acquisition sets up what it needs
 * anew, so that nothing that is between changes a value. `repeats` says that it is between two
 * readings of many, where more may come between than within one.
 */
struct courtesy {
    void *context;
    /* Whether anybody still waits for the measurement; looked at between repeats. */
    bool (*wanted)(void *context);
    /* Whether somebody is to have the instrument now, or the measurement is to end. */
    bool (*due)(void *context, bool repeats);
    /* Lets them. False with the failure set: the measurement is to end here. */
    bool (*give_way)(void *context, bool repeats, struct failure *failure);
};

/* What acquisitions are made with. Pointers are borrowed. */
struct acquirer {
    struct instrument *instrument;
    const struct chain *chain;
    struct deadline deadline;
    const struct courtesy *courtesy; /* asked before each acquisition; NULL: nobody else comes */
};

/* Before an acquisition: see struct courtesy. False with the failure set when it is not to be made. */
bool acquire_let_others(const struct acquirer *acquirer, bool repeats, struct failure *failure);

/*
 * Makes one acquisition. A link that failed is brought in step and asked once
 * more, and so is one at which settings were changed by hand; what lies beyond the range is an overload whatever the instrument
 * calls it. False with the failure set when nothing can be said about the input.
 * Before it others may have their turn; not before a zero trace, which belongs to the record that it is for.
 *
 * trace  filled for scopes; may be NULL
 */
bool acquire(const struct acquirer *acquirer, const struct request *request,
             struct acquisition *acquisition, struct trace *trace, struct failure *failure);

/* As acquire(), for the zero trace of a setup: see instrument_ground(). */
bool acquire_ground(const struct acquirer *acquirer, const struct request *request,
                    struct signal *zero, struct failure *failure);

/* As acquire(), of two inputs that are recorded together. */
bool acquire_pair(const struct acquirer *acquirer, const struct request requests[2],
                  struct trace traces[2], bool *overload, struct failure *failure);

#endif
