/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Passes over doubles. Inner loops run over LANES independent results, for vector registers. */
#include "core/basics/clones.h"
#include "core/basics/sum.h"
#include "series_priv.h"

#include <math.h>
#include <string.h>

enum { LANES = 16, WINDOW = 4 * LANES, BLOCK = 1024 };

/* The radix selection of the median: three digits of twelve bits, after the sign. */
enum { DIGIT_BITS = 12, DIGIT_VALUES = 1 << DIGIT_BITS, DIGITS = 3, SIGN_BITS = 1 };

/* x - x is zero for what is finite and NAN for the rest, which then stays in `spoilt`. */
CLONES bool reals_extremes(const double *x, size_t count, double *minimum, double *maximum)
{
    double low[LANES], high[LANES], spoilt[LANES] = { 0.0 };
    for (size_t j = 0; j < LANES; j++)
        low[j] = high[j] = x[0];
    size_t i = 0;
    for (; i + LANES <= count; i += LANES) {
        for (size_t j = 0; j < LANES; j++) {
            double here = x[i + j];
            low[j] = here < low[j] ? here : low[j];
            high[j] = here > high[j] ? here : high[j];
            spoilt[j] += here - here;
        }
    }
    for (; i < count; i++) {
        low[0] = x[i] < low[0] ? x[i] : low[0];
        high[0] = x[i] > high[0] ? x[i] : high[0];
        spoilt[0] += x[i] - x[i];
    }
    for (size_t j = 1; j < LANES; j++) {
        low[0] = low[j] < low[0] ? low[j] : low[0];
        high[0] = high[j] > high[0] ? high[j] : high[0];
        spoilt[0] += spoilt[j];
    }
    if (!(spoilt[0] == 0.0))
        return false;
    *minimum = low[0];
    *maximum = high[0];
    return true;
}

static bool outside(double x, double low, double high)
{
    return !(x >= low && x <= high);
}

/* Whole blocks that stay inside are passed over; the first that does not is looked at closely. */
CLONES size_t reals_leave(const double *x, size_t count, const struct zone *zone)
{
    double low = zone->low, high = zone->high;
    size_t i = 0;
    size_t near = count < LANES ? count : LANES;
    for (; i < near; i++)
        if (outside(x[i], low, high))
            return i;
    for (; i + WINDOW <= count; i += WINDOW) {
        double least = x[i], most = x[i];
        double lows[LANES], highs[LANES];
        for (size_t j = 0; j < LANES; j++)
            lows[j] = highs[j] = x[i + j];
        for (size_t k = LANES; k < WINDOW; k += LANES) {
            for (size_t j = 0; j < LANES; j++) {
                double here = x[i + k + j];
                lows[j] = here < lows[j] ? here : lows[j];
                highs[j] = here > highs[j] ? here : highs[j];
            }
        }
        for (size_t j = 0; j < LANES; j++) {
            least = lows[j] < least ? lows[j] : least;
            most = highs[j] > most ? highs[j] : most;
        }
        if (least < low || most > high)
            break;
    }
    while (i < count && !outside(x[i], low, high))
        i++;
    return i;
}

/* One block, in lanes; what is left of it goes into the first lane. */
CLONES static struct series_sums sum_block(const double *x, size_t count, double centre,
                                           double zero)
{
    double deviation[LANES] = { 0.0 }, square[LANES] = { 0.0 }, magnitude[LANES] = { 0.0 };
    size_t i = 0;
    for (; i + LANES <= count; i += LANES) {
        for (size_t j = 0; j < LANES; j++) {
            double d = x[i + j] - centre;
            deviation[j] += d;
            square[j] += d * d;
            magnitude[j] += fabs(x[i + j] - zero);
        }
    }
    for (; i < count; i++) {
        double d = x[i] - centre;
        deviation[0] += d;
        square[0] += d * d;
        magnitude[0] += fabs(x[i] - zero);
    }
    for (size_t width = LANES / 2; width > 0; width /= 2) {
        for (size_t j = 0; j < width; j++) {
            deviation[j] += deviation[j + width];
            square[j] += square[j + width];
            magnitude[j] += magnitude[j + width];
        }
    }
    struct series_sums sums = { deviation[0], square[0], magnitude[0] };
    return sums;
}

void reals_sort(const double *x, size_t count, double level, const struct zone *around,
                struct series_sides *sides)
{
    for (size_t i = 0; i < count; i++) {
        uint64_t above = x[i] >= level, beyond = x[i] < around->low || x[i] > around->high;
        sides->above[i / SERIES_BITS] |= above << i % SERIES_BITS;
        sides->beyond[i / SERIES_BITS] |= beyond << i % SERIES_BITS;
    }
}

struct series_sums reals_sum(const double *x, size_t count, double centre, double zero)
{
    struct sum deviation = { 0.0, 0.0 }, square = { 0.0, 0.0 }, magnitude = { 0.0, 0.0 };
    for (size_t i = 0; i < count; i += BLOCK) {
        size_t length = count - i < BLOCK ? count - i : BLOCK;
        struct series_sums block = sum_block(x + i, length, centre, zero);
        sum_add(&deviation, block.deviation);
        sum_add(&square, block.square);
        sum_add(&magnitude, block.magnitude);
    }
    struct series_sums sums = { sum_value(&deviation), sum_value(&square), sum_value(&magnitude) };
    return sums;
}

void reals_tally(const double *x, size_t count, double low, double width,
                 uint32_t tally[SERIES_BINS])
{
    memset(tally, 0, SERIES_BINS * sizeof *tally);
    for (size_t i = 0; i < count; i++) {
        double bin = (x[i] - low) / width;
        tally[bin < SERIES_BINS - 1 ? (size_t)bin : SERIES_BINS - 1]++;
    }
}

struct series_band reals_within(const double *x, size_t count, const struct zone *zone)
{
    double low = zone->low, high = zone->high;
    struct sum sum = { 0.0, 0.0 };
    double centre = isinf(low) || isinf(high) ? 0.0 : low + (high - low) / 2.0;
    size_t inside = 0;
    for (size_t i = 0; i < count; i++) {
        if (!outside(x[i], low, high)) {
            sum_add(&sum, x[i] - centre);
            inside++;
        }
    }
    struct series_band band = { inside,
                                inside > 0 ? centre + sum_value(&sum) / (double)inside : NAN };
    return band;
}

/* |x[i-1] - 2 x[i] + x[i+1]| as the bits of a double: without a sign they sort as it does. */
static uint64_t bend_bits(const double *x, size_t i)
{
    double bend = fabs((x[i - 1] - x[i]) + (x[i + 1] - x[i]));
    uint64_t bits = 0;
    memcpy(&bits, &bend, sizeof(bits));
    return bits;
}

/*
 * One digit of the selection: among the bends whose leading bits are `prefix`,
 * finds the next twelve bits of the one with rank `*rank`, and makes the rank
 * count within those.
 */
static uint64_t select_digit(const double *x, size_t count, uint64_t prefix, unsigned int shift,
                             size_t *rank)
{
    size_t tally[DIGIT_VALUES] = { 0 };
    for (size_t i = 1; i + 1 < count; i++) {
        uint64_t bits = bend_bits(x, i) >> shift;
        if (bits >> DIGIT_BITS == prefix)
            tally[bits & (DIGIT_VALUES - 1)]++;
    }
    uint64_t digit = 0;
    while (*rank >= tally[digit])
        *rank -= tally[digit++];
    return prefix << DIGIT_BITS | digit;
}

double reals_median_bend(const double *x, size_t count)
{
    size_t rank = (count - 2) / 2;
    uint64_t bits = 0;
    unsigned int shift = 64 - SIGN_BITS;
    for (int i = 0; i < DIGITS; i++) {
        shift -= DIGIT_BITS;
        bits = select_digit(x, count, bits, shift, &rank);
    }
    bits <<= shift;
    double median = 0.0;
    memcpy(&median, &bits, sizeof(median));
    return median;
}
