/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Whether the frequency that a scope's record shows is that of the signal, or
 * the alias of a faster one: found by looking again at higher sample rates.
 * A faster signal shows there with its whole swing and at its own frequency; a slow
 * one shows again as it was, or hardly moves in so short a record.
 */
#ifndef GRADUS_DAEMON_SECOND_LOOK_H
#define GRADUS_DAEMON_SECOND_LOOK_H

#include "acquire.h"

/* What a second look came to. */
struct second_look {
    bool alias;       /* the record shows an alias */
    double frequency; /* of the signal, hertz; NAN: it could not be told */
    char reason[160]; /* why it could not, or which alias it was; empty: nothing to say */
};

/*
 * Whether a record asks for a second look: it shows a frequency, or its samples jump so
 * that there must be something faster.
 */
bool second_look_due(const struct acquisition *seen);

/*
 * Looks at higher rates until nothing that the input lets through could be an
 * alias any more. The input is taken to let through twice the -3 dB frequency
 * of instrument and probe together; where none is stated, what the fastest time
 * base shows. Takes no acquisition where the record seen is fast enough itself.
 *
 * request  as the record was taken; the setup is kept
 * seen     that record, for which second_look_due()
 * False with the failure set when an acquisition failed.
 */
bool second_look(const struct acquirer *acquirer, const struct scope *scope,
                 const struct request *request, const struct acquisition *seen,
                 struct second_look *look, struct failure *failure);

/* Takes the frequency from the record that was chosen for it; an alias, where that shows another. */
void second_look_compare(struct second_look *look, const struct waveform *waveform);

/*
 * Whether a record is flat, but for noise; the last digit's flicker may pass for a frequency. A signal of a
 * multiple of the sample rate looks so, and clocks and time bases are both of round figures.
 */
bool looks_flat(const struct acquirer *acquirer, const struct request *request,
                const struct acquisition *seen);

/*
 * Looks at such a signal at a higher rate, and once more where a multiple of that would still come
 * through; none where no multiple of the rate that was looked at does. Writes the duration in which
 * a swing showed, seconds; NAN where it was flat all through, as far as the time base goes. `*moved`: it
 * was flat, but at another level than all of the record seen: something slower than that.
 *
 * request, seen  as above; no look is taken at what is not flat, and at a meter's reading
 * False with the failure set when an acquisition failed.
 */
bool flat_look(const struct acquirer *acquirer, const struct scope *scope,
               const struct request *request, const struct acquisition *seen, double *duration,
               bool *moved, struct failure *failure);

#endif
