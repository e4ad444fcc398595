/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "sample_check.h"

#include <math.h>
#include <stdint.h>

enum { FEWEST = 4, DISTINCT = 4, CODES = 1 << 16, WORD = 64 };

/* Steps are counted in doubles; this is rounding. */
static const double rounding = 1e-6;

/* A record that is this much smoother with its bytes swapped has them swapped. */
static const double smoother = 8;

/* What is this little of a step is no voltage: rounding leaves 1e-16, swapped bytes 1e-38. */
static const double nothing = 1e-20;

bool sample_check_count(size_t count, size_t asked, struct failure *failure)
{
    if (count == asked && count >= FEWEST)
        return true;
    return failure_set(failure, FAILURE_UNEXPECTED_REPLY, NULL,
                       "as many as the profile's \"points\", 4 at least",
                       "%zu samples came, %zu were asked for%s", count, asked,
                       count == 2 * asked ? ": two numbers for each?" : "");
}

static double format_low(enum sample_format format)
{
    return format == SAMPLE_INT8 ? INT8_MIN : format == SAMPLE_INT16 ? INT16_MIN : 0;
}

static double format_high(enum sample_format format)
{
    switch (format) {
    case SAMPLE_INT8:
        return INT8_MAX;
    case SAMPLE_UINT8:
        return UINT8_MAX;
    case SAMPLE_INT16:
        return INT16_MAX;
    default:
        return UINT16_MAX;
    }
}

/* Whether a number can be a code; what stands at or beyond an end is clipped, whatever it is. */
static bool is_code(const struct waveform_coding *coding, double number)
{
    bool held = number >= format_low(coding->format) && number <= format_high(coding->format);
    double steps = (number - coding->code_low) / coding->codes_per_step;
    bool clipped = number <= coding->code_low || number >= coding->code_high;
    return held && number == rint(number) && (clipped || fabs(steps - rint(steps)) <= rounding);
}

static bool check_codes(const struct waveform_coding *coding, const double *numbers, size_t count,
                        struct failure *failure)
{
    for (size_t i = 0; i < count; i++)
        if (!is_code(coding, numbers[i]))
            return failure_set(failure, FAILURE_UNEXPECTED_REPLY, NULL,
                               "codes a whole number of \"codes_per_step\" above \"code_low\"",
                               "%g as code %zu, which this converter cannot give", numbers[i],
                               i + 1);
    return true;
}

/* The number that the two bytes of another one make the other way round. */
static double swapped(enum sample_format format, double number)
{
    uint16_t bits = (uint16_t)(int)number;
    uint16_t turned = (uint16_t)(bits << 8 | bits >> 8);
    return format == SAMPLE_INT16 ? (double)(int16_t)turned : (double)turned;
}

/* How many different codes there are, counted no further than is needed. */
static size_t distinct(const double *numbers, size_t count)
{
    uint64_t seen[CODES / WORD] = { 0 };
    size_t found = 0;
    for (size_t i = 0; i < count && found < DISTINCT; i++) {
        uint16_t bits = (uint16_t)(int)numbers[i];
        uint64_t bit = UINT64_C(1) << bits % WORD;
        found += !(seen[bits / WORD] & bit);
        seen[bits / WORD] |= bit;
    }
    return found;
}

/*
 * Signals move little from sample to sample, and more so in their high byte. Of codes that are
 * shifted up by a byte nothing can be told this way; those between steps tell.
 */
static bool check_byte_order(const struct waveform_coding *coding, const double *numbers,
                             size_t count, struct failure *failure)
{
    bool wide = coding->format == SAMPLE_INT16 || coding->format == SAMPLE_UINT16;
    double as_is = 0, turned = 0;
    if (!wide || coding->encoding != ENCODING_BLOCK || coding->codes_per_step >= 256)
        return true;
    for (size_t i = 1; i < count; i++) {
        as_is += fabs(numbers[i] - numbers[i - 1]);
        turned +=
            fabs(swapped(coding->format, numbers[i]) - swapped(coding->format, numbers[i - 1]));
    }
    return !(as_is > smoother * turned) || distinct(numbers, count) < DISTINCT ||
           failure_set(failure, FAILURE_UNEXPECTED_REPLY, NULL, "the profile's \"byte_order\"",
                       "codes that are %.0f times smoother with their bytes swapped",
                       as_is / turned);
}

/* Whether every other number, from `first` on, is the same step above the one before. */
static bool climbs(const double *numbers, size_t count, size_t first)
{
    double step = numbers[first + 2] - numbers[first];
    double slack = 1e-3 * fabs(step);
    for (size_t i = first + 2; i < count; i += 2)
        if (!(fabs(numbers[i] - numbers[i - 2] - step) <= slack))
            return false;
    return step > 0;
}

/* A ramp climbs in both halves alike; times climb and the values beside them do not. */
static bool check_pairs(const struct waveform_coding *coding, const double *numbers, size_t count,
                        struct failure *failure)
{
    if (coding->encoding != ENCODING_LIST || count < 16 ||
        climbs(numbers, count, 0) == climbs(numbers, count, 1))
        return true;
    return failure_set(failure, FAILURE_UNEXPECTED_REPLY, NULL, "one number for each sample",
                       "every other number is the same step further, as times beside values");
}

static bool check_volts(const double *numbers, size_t count, double resolution,
                        struct failure *failure)
{
    for (size_t i = 0; i < count; i++)
        if (numbers[i] != 0 && fabs(numbers[i]) < nothing * resolution)
            return failure_set(failure, FAILURE_UNEXPECTED_REPLY, NULL,
                               "volts, in the profile's \"format\" and \"byte_order\"",
                               "%g as sample %zu", numbers[i], i + 1);
    return true;
}

bool sample_check(const struct waveform_coding *coding, const double *numbers, size_t count,
                  double resolution, struct failure *failure)
{
    return check_pairs(coding, numbers, count, failure) &&
           (coding->codes ? check_codes(coding, numbers, count, failure) &&
                                check_byte_order(coding, numbers, count, failure)
                          : check_volts(numbers, count, resolution, failure));
}
