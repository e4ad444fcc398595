/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Passes over 16-bit codes, in integers: exact, and many to a vector register. */
#include "core/basics/clones.h"
#include "series_priv.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Sums of a block fit in 32 bits; searches look at WINDOW samples at once; NEAR of them singly. */
enum { SIXTEEN = 16, BLOCK = 4096, WINDOW = 128, NEAR = 16, TABLES = 4, BINS_AT_ONCE = 512 };

/* The sample of a record that the median of its bends is guessed from. */
enum { PROBES = 64, PROBE_LENGTH = 512, GREATEST_BEND = 1 << 17 };

CLONES bool codes_extremes(const int16_t *x, size_t count, double *minimum, double *maximum)
{
    int16_t low = x[0], high = x[0];
    for (size_t i = 0; i < count; i++) {
        low = x[i] < low ? x[i] : low;
        high = x[i] > high ? x[i] : high;
    }
    *minimum = low;
    *maximum = high;
    return true;
}

/* Passes over windows that lie inside as a whole; returns where the first that does not begins. */
CLONES static size_t skip_windows(const int16_t *x, size_t i, size_t count, int16_t least,
                                  int16_t most)
{
    for (; i + WINDOW <= count; i += WINDOW) {
        int16_t outside = 0;
        for (size_t j = 0; j < WINDOW; j++)
            outside = (int16_t)(outside | (x[i + j] < least) | (x[i + j] > most));
        if (outside)
            break;
    }
    return i;
}

size_t codes_leave(const int16_t *x, size_t count, const struct zone *zone)
{
    int least = zone->least, most = zone->most;
    if (least > most)
        return 0;
    size_t i = 0;
    size_t near = count < NEAR ? count : NEAR;
    for (; i < near; i++)
        if (x[i] < least || x[i] > most)
            return i;
    i = skip_windows(x, i, count, (int16_t)least, (int16_t)most);
    while (i < count && x[i] >= least && x[i] <= most)
        i++;
    return i;
}

/* What sixteen codes are, one bit each. */
struct sixteen {
    uint16_t above;
    uint16_t beyond;
};

/* Left as a loop it becomes one vector of codes; unrolled, sixteen tests. */
static inline struct sixteen sort_sixteen(const int16_t *x, int16_t level, int16_t least,
                                          int16_t most)
{
    static const uint16_t bits[SIXTEEN] = { 1,   2,   4,    8,    16,   32,   64,    128,
                                            256, 512, 1024, 2048, 4096, 8192, 16384, 32768 };
    struct sixteen sorted = { 0, 0 };
#pragma GCC unroll 1
    for (size_t i = 0; i < SIXTEEN; i++) {
        sorted.above |= x[i] >= level ? bits[i] : 0;
        sorted.beyond |= ((x[i] < least) | (x[i] > most)) ? bits[i] : 0;
    }
    return sorted;
}

CLONES static void sort_words(const int16_t *x, size_t words, int16_t level, int16_t least,
                              int16_t most, struct series_sides *sides)
{
    for (size_t word = 0; word < words; word++) {
        uint64_t above = 0, beyond = 0;
        for (size_t shift = 0; shift < SERIES_BITS; shift += SIXTEEN) {
            struct sixteen part = sort_sixteen(x + word * SERIES_BITS + shift, level, least, most);
            above |= (uint64_t)part.above << shift;
            beyond |= (uint64_t)part.beyond << shift;
        }
        sides->above[word] = above;
        sides->beyond[word] = beyond;
    }
}

void codes_sort(const int16_t *x, size_t count, double level, const struct zone *around,
                struct series_sides *sides)
{
    int16_t split = (int16_t)ceil(level);
    int16_t least = (int16_t)fmax(around->least, INT16_MIN);
    int16_t most = (int16_t)fmin(around->most, INT16_MAX);
    size_t words = count / SERIES_BITS, rest = count % SERIES_BITS;
    sort_words(x, words, split, least, most, sides);
    for (size_t i = words * SERIES_BITS; i < words * SERIES_BITS + rest; i++) {
        uint64_t above = x[i] >= split, beyond = x[i] < least || x[i] > most;
        sides->above[words] |= above << i % SERIES_BITS;
        sides->beyond[words] |= beyond << i % SERIES_BITS;
    }
}

/* Sums of one block around a code: of x, x^2, max(x, split), and how many are above it. */
struct block {
    int32_t sum;
    int64_t square;
    int32_t larger;
    int32_t above;
};

/* Squares are added in pairs, one from each half, which as unsigned numbers just fit in 32 bits. */
CLONES static int64_t sum_squares(const int16_t *x, size_t count)
{
    uint64_t square = 0;
    size_t half = count / 2;
    for (size_t i = 0; i < half; i++) {
        uint32_t pair = (uint32_t)(x[i] * x[i]) + (uint32_t)(x[i + half] * x[i + half]);
        square += pair;
    }
    if (count % 2 != 0)
        square += (uint32_t)(x[count - 1] * x[count - 1]);
    return (int64_t)square;
}

CLONES static struct block sum_block(const int16_t *x, size_t count, int16_t split)
{
    int32_t sum = 0, larger = 0;
    int16_t above = 0;
    for (size_t i = 0; i < count; i++) {
        sum += x[i];
        larger += x[i] > split ? x[i] : split;
        above = (int16_t)(above + (x[i] > split));
    }
    struct block block = { sum, sum_squares(x, count), larger, above };
    return block;
}

/*
 * With z the zero, s a code near it (floor(z), where that is one) and f = z - s:
 * |x - z| is |x - s| - f for a code above s and |x - s| + f for the others, so
 * long as none lies between s and z; where z is beyond the codes, all are on one
 * side. And |x - s| is 2 max(x, s) - x - s.
 */
struct series_sums codes_sum(const int16_t *x, size_t count, double centre, double zero)
{
    double split = fmax(fmin(floor(zero), INT16_MAX), INT16_MIN);
    int64_t middle = (int64_t)centre, near = (int64_t)split;
    int64_t deviation = 0, square = 0, magnitude = 0, above = 0;
    for (size_t i = 0; i < count; i += BLOCK) {
        int64_t length = (int64_t)(count - i < BLOCK ? count - i : BLOCK);
        struct block block = sum_block(x + i, (size_t)length, (int16_t)split);
        deviation += block.sum - length * middle;
        square += block.square - 2 * middle * block.sum + length * middle * middle;
        magnitude += 2 * (int64_t)block.larger - block.sum - length * near;
        above += block.above;
    }
    double fraction = zero - split;
    /* Below the lowest code s itself is above the zero, and so are all. */
    double high = fraction < 0.0 ? (double)count : (double)above;
    struct series_sums sums = { (double)deviation, (double)square,
                                (double)magnitude + fraction * ((double)count - 2.0 * high) };
    return sums;
}

/*
 * Several tables in turn, or each count would wait for the one before of the
 * same bin; the bins of a block are worked out beforehand, many at once.
 */
CLONES static void bins_of(const int16_t *x, size_t count, int base, int shift, uint16_t *bins)
{
    if (shift == 0) { /* the usual one, and a vector has twice as many of it */
        for (size_t i = 0; i < count; i++)
            bins[i] = (uint16_t)(x[i] - base);
        return;
    }
    for (size_t i = 0; i < count; i++)
        bins[i] = (uint16_t)((uint16_t)(x[i] - base) >> shift);
}

void codes_tally(const int16_t *x, size_t count, double low, double width,
                 uint32_t tally[SERIES_BINS])
{
    uint32_t tables[TABLES][SERIES_BINS];
    uint16_t bins[BINS_AT_ONCE];
    memset(tables, 0, sizeof tables);
    for (size_t i = 0; i < count; i += BINS_AT_ONCE) {
        size_t here = count - i < BINS_AT_ONCE ? count - i : BINS_AT_ONCE;
        bins_of(x + i, here, (int)low, ilogb(width), bins);
        for (size_t j = here; j % TABLES != 0; j--)
            tables[0][bins[j - 1]]++;
        for (size_t j = 0; j + TABLES <= here; j += TABLES) {
            tables[0][bins[j]]++;
            tables[1][bins[j + 1]]++;
            tables[2][bins[j + 2]]++;
            tables[3][bins[j + 3]]++;
        }
    }
    for (size_t bin = 0; bin < SERIES_BINS; bin++)
        tally[bin] = tables[0][bin] + tables[1][bin] + tables[2][bin] + tables[3][bin];
}

/* Count and sum of a block's codes within bounds. */
struct inside {
    int32_t count;
    int32_t sum;
};

CLONES static struct inside block_within(const int16_t *x, size_t count, int32_t least,
                                         int32_t most)
{
    int32_t inside = 0, sum = 0;
    for (size_t i = 0; i < count; i++) {
        int32_t here = x[i];
        int32_t mask = -(int32_t)((here >= least) & (here <= most));
        inside -= mask;
        sum += here & mask;
    }
    struct inside result = { inside, sum };
    return result;
}

struct series_band codes_within(const int16_t *x, size_t count, const struct zone *zone)
{
    int least = zone->least, most = zone->most;
    int64_t inside = 0, sum = 0;
    for (size_t i = 0; i < count; i += BLOCK) {
        struct inside block =
            block_within(x + i, count - i < BLOCK ? count - i : BLOCK, least, most);
        inside += block.count;
        sum += block.sum;
    }
    struct series_band band = { (size_t)inside, inside > 0 ? (double)sum / (double)inside : NAN };
    return band;
}

/* How many bends are below a bound, and how many are equal to it. */
struct bends {
    size_t below;
    size_t equal;
};

/* `count` bends of a block, the first one around x[1]. */
CLONES static struct bends block_bends(const int16_t *x, size_t count, int32_t bound)
{
    int32_t below = 0, equal = 0;
    for (size_t i = 0; i < count; i++) {
        int32_t bend = abs(x[i] - 2 * x[i + 1] + x[i + 2]);
        below += bend < bound;
        equal += bend == bound;
    }
    struct bends bends = { (size_t)below, (size_t)equal };
    return bends;
}

/* The same where four times the distance of the extremes fits in 16 bits. */
CLONES static struct bends narrow_bends(const int16_t *x, size_t count, int16_t bound)
{
    int16_t below = 0, equal = 0;
    for (size_t i = 0; i < count; i++) {
        int16_t bend = (int16_t)((int16_t)(x[i] - x[i + 1]) + (int16_t)(x[i + 2] - x[i + 1]));
        int16_t size = bend < 0 ? (int16_t)-bend : bend;
        below = (int16_t)(below + (size < bound));
        equal = (int16_t)(equal + (size == bound));
    }
    struct bends bends = { (size_t)below, (size_t)equal };
    return bends;
}

/* A way to look at a record's bends: of every `stride` the first `length`, at most a block. */
struct survey {
    const int16_t *x;
    size_t count;
    size_t stride;
    size_t length;
    bool narrow;
};

static struct bends count_bends(const struct survey *survey, int32_t bound)
{
    struct bends all = { 0, 0 };
    for (size_t i = 0; i < survey->count; i += survey->stride) {
        size_t here = survey->count - i < survey->length ? survey->count - i : survey->length;
        struct bends bends = survey->narrow && bound <= INT16_MAX
                                 ? narrow_bends(survey->x + i, here, (int16_t)bound)
                                 : block_bends(survey->x + i, here, bound);
        all.below += bends.below;
        all.equal += bends.equal;
    }
    return all;
}

/* Median of what a survey looks at, by bisection: eighteen counts of it. */
static int32_t guess_median(const struct survey *survey)
{
    struct bends all = count_bends(survey, 2 * GREATEST_BEND);
    int32_t low = 0, high = GREATEST_BEND;
    while (low < high) {
        int32_t middle = low + (high - low) / 2;
        struct bends bends = count_bends(survey, middle);
        if (bends.below + bends.equal > all.below / 2)
            high = middle;
        else
            low = middle + 1;
    }
    return low;
}

/*
 * By counting: the median of a part is mostly that of the whole, and one pass
 * proves it. If not, that pass says on which side the median lies, and the
 * search closes in from the guess in steps that double, then halve.
 */
double codes_median_bend(const int16_t *x, size_t count, double height)
{
    size_t bends = count - 2;
    size_t stride = bends / PROBES > PROBE_LENGTH ? bends / PROBES : PROBE_LENGTH;
    struct survey whole = { x, bends, BLOCK, BLOCK, 4.0 * height <= INT16_MAX };
    struct survey part = { x, bends, stride, PROBE_LENGTH, whole.narrow };
    size_t rank = bends / 2;
    int32_t low = 0, high = GREATEST_BEND, step = 1;
    int32_t guess = guess_median(&part);
    for (;;) {
        struct bends seen = count_bends(&whole, guess);
        if (seen.below > rank)
            high = guess - 1;
        else if (seen.below + seen.equal <= rank)
            low = guess + 1;
        else
            return guess;
        int32_t next = seen.below > rank ? high - step + 1 : low + step - 1;
        guess = next >= low && next <= high ? next : low + (high - low) / 2;
        step = step < GREATEST_BEND ? 2 * step : step;
    }
}
