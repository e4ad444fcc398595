/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A record of samples as the waveform functions see it: doubles, or the
 * converter's own 16-bit codes with their scale, read where they lie. The
 * passes over it that cost time are here, in a form that a compiler can turn
 * into vector instructions.
 *
 * Levels are in stored units (the doubles themselves, or codes) and times in
 * samples from the start of the record, unless a function says otherwise.
 */
#ifndef GRADUS_CORE_SERIES_H
#define GRADUS_CORE_SERIES_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* A record. Borrows its samples, of which there is one kind; make it with the functions below. */
struct series {
    const double *reals;
    const int16_t *codes;
    size_t count;
    double interval; /* seconds from sample to sample */
    double scale;    /* value = offset + scale * stored */
    double offset;
    double step; /* from one value of the converter to the next, stored units; 0: not known */
};

/* Most samples of a record; squares of codes are summed exactly up to here. */
static const size_t series_most = (size_t)1 << 30;

/* A record of values. `interval` in seconds. */
static inline struct series series_of_reals(const double *volts, size_t count, double interval)
{
    struct series series = { volts, NULL, count, interval, 1.0, 0.0, 0.0 };
    return series;
}

/* A record of codes, each worth offset + scale * code; scale > 0. `interval` in seconds. */
static inline struct series series_of_codes(const int16_t *codes, size_t count, double scale,
                                            double offset, double interval)
{
    struct series series = { NULL, codes, count, interval, scale, offset, 1.0 };
    return series;
}

/* One sample, stored units. */
static inline double series_at(const struct series *series, size_t i)
{
    return series->codes ? (double)series->codes[i] : series->reals[i];
}

/* One level from stored units to the record's values. */
static inline double series_value(const struct series *series, double stored)
{
    return series->offset + series->scale * stored;
}

/*
 * Smallest and largest of the samples first ... first + count - 1, count > 0.
 * False, writing nothing, when one is not finite.
 */
bool series_extremes(const struct series *series, size_t first, size_t count, double *minimum,
                     double *maximum);

/* A zone of levels, low <= x <= high, once more as the codes that lie in it. */
struct zone {
    double low;
    double high;
    int least;
    int most;
};

/* The zone between two levels, which may be infinite; with low above high nothing lies in it. */
struct zone zone_between(double low, double high);

/* The zones of all levels below one, and of those from one on. */
struct zone zone_below(double level);
struct zone zone_from(double level);

/* The first sample from `from` on that lies outside a zone, or the count when there is none. */
size_t series_leave(const struct series *series, size_t from, const struct zone *zone);

enum { SERIES_SPAN = 1024, SERIES_BITS = 64 };

/* On which side of a level samples lie: bit k % 64 of word k / 64 for the k-th of a span. */
struct series_sides {
    uint64_t above[SERIES_SPAN / SERIES_BITS];  /* at the level or above it */
    uint64_t beyond[SERIES_SPAN / SERIES_BITS]; /* outside the zone around it */
};

/*
 * Sorts the samples first ... first + SERIES_SPAN - 1, or up to the record's end, behind which
 * the bits are clear. `level` lies between the record's extremes.
 */
void series_sort(const struct series *series, size_t first, double level, const struct zone *around,
                 struct series_sides *sides);

/* Sums over a stretch of samples. */
struct series_sums {
    double deviation; /* of x - centre */
    double square;    /* of (x - centre)^2 */
    double magnitude; /* of |x - zero| */
};

/*
 * Sums over the samples first ... first + count - 1. Those of codes are exact up to the last
 * rounding; of doubles they are added in 16 lanes of blocks and the blocks with compensation, so
 * that their error is that of a few hundred roundings of the deviations, however long the record.
 *
 * centre  for codes a whole number; near the mean, or the square loses digits
 * zero    where the value is zero
 */
struct series_sums series_sum(const struct series *series, size_t first, size_t count,
                              double centre, double zero);

enum { SERIES_BINS = 4096 };

/*
 * A histogram: tally[b] counts the samples with low + b * width <= x < low +
 * (b + 1) * width; no sample may lie below or above all bins, but what rounding
 * puts above the last one counts in it. For codes `low` is a whole number and
 * `width` a power of two. 64 KiB of stack.
 */
void series_tally(const struct series *series, double low, double width,
                  uint32_t tally[SERIES_BINS]);

/* Count and mean of some samples. The mean of none is NAN. */
struct series_band {
    size_t count;
    double mean;
};

/* The samples in a zone. */
struct series_band series_within(const struct series *series, const struct zone *zone);

/*
 * The (upper) median of |x[i-1] - 2 x[i] + x[i+1]|, at least 3 samples. Exact
 * for codes; for doubles to 25 bits (3 parts in 10^8), downward, so that zero
 * stays zero. 32 KiB of stack.
 *
 * height  distance of the extremes: codes that differ little are counted faster
 */
double series_median_bend(const struct series *series, double height);

#endif
