/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Whether the numbers of a record can be what the profile says they are: as
 * many as were asked for, codes that the converter has, and no other form of
 * record read as this one.
 */
#ifndef GRADUS_DRIVERS_SAMPLE_CHECK_H
#define GRADUS_DRIVERS_SAMPLE_CHECK_H

#include "core/basics/failure.h"
#include "drivers/profile/profile.h"

/*
 * A record has exactly as many samples as the profile states: with another number the time
 * from sample to sample would be another one too. At least 4.
 */
bool sample_check_count(size_t count, size_t asked, struct failure *failure);

/*
 * Looks for what no converter of that profile sends. Refused (FAILURE_UNEXPECTED_REPLY), with
 * what was expected:
 *   a code between two steps of the converter, or one that its format cannot hold;
 *   16-bit codes that are far smoother with their bytes the other way round;
 *   in a list, every other number the same step further: times or counts beside values;
 *   volts that are no zero and yet nothing to a step, as of a number with its bytes swapped.
 *
 * numbers     as they came, before any scaling; borrowed, at least 4
 * resolution  volts from one step of the converter to the next, > 0
 */
bool sample_check(const struct waveform_coding *coding, const double *numbers, size_t count,
                  double resolution, struct failure *failure);

#endif
