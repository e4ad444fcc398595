/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "edges.h"

#include "local_fit.h"

#include <math.h>

static const double references[REFERENCE_COUNT] = { 0.1, 0.5, 0.9 };

static const double uniform_sigma = 0.28867513459481288;

/* Blocks that the shortest edge is cut into, where it has so many samples and twice as many. */
static const double blocks_of_edge = 32;

/* The record in blocks. */
struct look {
    const struct series *series;
    const struct levels *levels;
    size_t block;
    size_t count; /* blocks */
    double at[REFERENCE_COUNT];
    double period; /* samples */
    double reach;  /* of a state, about its level */
    double sigma;  /* of one sample on an edge, rounding included */
    struct edges *edges;
};

static double block_at(const struct look *look, size_t k)
{
    double sum = 0;
    for (size_t i = 0; i < look->block; i++)
        sum += series_at(look->series, k * look->block + i);
    return sum / (double)look->block;
}

/* One transition, between two blocks: the last in the old state and the first in the new one. */
struct way {
    bool rising;
    size_t left, arrived;
};

/* An instant, samples, and what is known of it. */
struct instant {
    double at;
    double slope;
    double bent;  /* third difference around it */
    double share; /* variance in that of a block */
};

/* Second differences at blocks k and k + 1; at an end of the record both are the one that is there. */
static void bends_at(const struct look *look, size_t k, double bends[2])
{
    double here = block_at(look, k), next = block_at(look, k + 1);
    bool before = k > 0, behind = k + 2 < look->count;
    bends[0] = before ? block_at(look, k - 1) - 2 * here + next : 0;
    bends[1] = behind ? here - 2 * next + block_at(look, k + 2) : bends[0];
    bends[0] = before ? bends[0] : bends[1];
}

/* Where between 0 and 1 a parabola of this bend passes a level, by two steps of Newton's from the chord. */
static double part_of(double before, double after, double bend, double level)
{
    double chord = after - before, part = (level - before) / chord;
    for (int i = 0; i < 2; i++) {
        double off = before + chord * part - bend * part * (1 - part) / 2 - level;
        double slope = chord - bend * (1 - 2 * part) / 2;
        if (slope * chord > 0)
            part = fmin(fmax(part - off / slope, 0), 1);
    }
    return part;
}

enum { FIT_ROUNDS = 3, FEWEST_BESIDE = 2 };

/* So much of an edge a parabola is fitted to on either side of an instant, of the blocks inside. */
static const double fitted = 0.1;

/* Whether what a fit leaves over is noise, with the chi-square's two standard deviations. */
static bool is_noise(const struct look *look, const struct local_sums *sums,
                     const struct local_fit *fit)
{
    double freedom = sums->points - 3, sigma = look->sigma / sqrt((double)look->block);
    return fit->left <= sigma * sigma * (freedom + 2 * sqrt(2 * freedom));
}

/*
 * Moves an instant, in blocks, to where the parabola that fits its surroundings passes the level. Noise
 * makes the first passage come too early; the fit is centred anew until it does not matter. The
 * variance; 0, leaving the instant, where no parabola fits.
 */
static double fit_instant(const struct look *look, size_t beside, double level, double *place)
{
    double reach = (double)beside, variance = 0, here = *place;
    for (int round = 0; round < FIT_ROUNDS; round++) {
        double centre = rint(here);
        struct local_sums sums = { 0 };
        struct local_fit fit;
        if (centre < reach || centre + reach > (double)(look->count - 1))
            return 0;
        for (size_t i = 0; i <= 2 * beside; i++)
            local_add(&sums, ((double)i - reach) / reach,
                      block_at(look, (size_t)centre - beside + i), 1);
        if (!local_solve(&sums, 2, &fit) || !is_noise(look, &sums, &fit))
            return 0;
        double x = (here - centre) / reach;
        for (int i = 0; i < 3; i++)
            x -= (local_value(&fit, x) - level) / (fit.terms[1] + 2 * fit.terms[2] * x);
        if (!(fabs(x) <= 2))
            return 0;
        here = centre + x * reach;
        variance = local_variance(&sums, 2, x);
    }
    *place = here;
    return variance;
}

/* First and last passage of a level, as the blocks before them. */
struct passages {
    size_t first, last;
};

/* So many blocks beyond either end of a way noise may still throw a passage of its end's level. */
static size_t room_for_noise(const struct look *look, const struct way *way)
{
    static const double sigmas = 4,
                        least_slope = 0.2; /* of the mean slope, as at an RC edge's end */
    double blocks = (double)(way->arrived - way->left);
    double amplitude = look->levels->high - look->levels->low;
    double sigma = look->sigma / sqrt((double)look->block);
    return (size_t)fmin(ceil(sigmas * sigma * blocks / (least_slope * amplitude)), blocks);
}

static struct passages passages_of(const struct look *look, const struct way *way, double level)
{
    size_t room = room_for_noise(look, way);
    size_t from = way->left > room ? way->left - room : 0, to = way->arrived + room;
    struct passages seen = { look->count, 0 };
    for (size_t k = from; k < to && k + 1 < look->count; k++) {
        double before = block_at(look, k) - level, after = block_at(look, k + 1) - level;
        if (way->rising ? before < 0 && after >= 0 : before >= 0 && after < 0) {
            seen.first = seen.first == look->count ? k : seen.first;
            seen.last = k;
        }
    }
    return seen;
}

/* Where a parabola through the blocks around it has the passage behind block k, in blocks. */
static double place_of(const struct look *look, size_t k, double level, double *bent)
{
    double bends[2];
    bends_at(look, k, bends);
    *bent = bends[1] - bends[0];
    return (double)k +
           part_of(block_at(look, k), block_at(look, k + 1), (bends[0] + bends[1]) / 2, level);
}

/* The passage of a level on the way: the middle of several, as noise makes them. */
static struct instant passage(const struct look *look, const struct way *way, double level)
{
    struct passages seen = passages_of(look, way, level);
    double block = (double)look->block, bent = 0, share = 0;
    double place =
        (place_of(look, seen.first, level, &bent) + place_of(look, seen.last, level, &bent)) / 2;
    double rise = fabs(block_at(look, seen.last + 1) - block_at(look, seen.first));
    size_t beside = (size_t)(fitted * (double)(way->arrived - way->left));
    while (share == 0 && beside >= FEWEST_BESIDE)
        share = fit_instant(look, beside--, level, &place);
    return (struct instant) { (place + 0.5) * block - 0.5,
                              rise / block / (double)(seen.last + 1 - seen.first), bent,
                              share > 0 ? share : 1 };
}

/* Two samples have the 50 % instant between them, whatever it does there. */
static void add_turn(const struct look *look, struct edge_side *side, const struct instant *instant)
{
    double block = (double)look->block;
    double before = floor((instant->at + 0.5) / block - 0.5) * block + (block - 1) / 2;
    double number = rint((instant->at - side->first) / look->period);
    double gone = number * look->period;
    side->numbers += number;
    side->squares += number * number;
    side->products += number * instant->at;
    side->instants += instant->at;
    side->earliest = fmax(side->earliest, before - gone);
    side->latest = fmin(side->latest, before + block - gone);
}

/* Where in the record what was seen last lies. */
struct course {
    double since; /* 50 % instant of the latest transition */
    struct edge_side *previous;
    size_t state_begin; /* first block of the state behind it */
};

static void add_way(const struct look *look, const struct way *way, struct course *course)
{
    struct edge_side *side = way->rising ? &look->edges->rise : &look->edges->fall;
    struct instant instants[REFERENCE_COUNT];
    for (size_t r = 0; r < REFERENCE_COUNT; r++) {
        instants[r] = passage(look, way, look->at[r]);
        side->slope[r] += 1 / instants[r].slope;
        side->share += instants[r].share / REFERENCE_COUNT;
        side->bent[r] += instants[r].bent * instants[r].bent;
    }
    side->duration += fabs(instants[REFERENCE_90].at - instants[REFERENCE_10].at);
    size_t inside = way->arrived - way->left - 1;
    if (side->count == 0 || inside < side->fewest_inside)
        side->fewest_inside = inside;
    double middle = instants[REFERENCE_50].at;
    if (side->count == 0)
        side->first = middle;
    side->count++;
    if (look->period > 0)
        add_turn(look, side, &instants[REFERENCE_50]);
    if (course->previous) {
        course->previous->state += middle - course->since;
        course->previous->states++;
    }
    course->since = middle;
    course->previous = side;
    course->state_begin = way->arrived;
}

/*
 * The furthest that blocks first ... last go beyond the state's level, and what of the peak may lie
 * between them: a parabola's top is no more than an eighth of its bend above the highest of them.
 */
static void add_peak(const struct look *look, struct edge_side *side, size_t first, size_t last)
{
    bool high = side == &look->edges->rise;
    double sign = high ? 1 : -1, level = high ? look->levels->high : look->levels->low;
    double most = -INFINITY;
    size_t at = first;
    for (size_t k = first; k <= last; k++) {
        double over = sign * (block_at(look, k) - level);
        at = over > most ? k : at;
        most = fmax(most, over);
    }
    double gap = 0;
    if (at > 0 && at + 1 < look->count)
        gap = fabs(block_at(look, at - 1) - 2 * block_at(look, at) + block_at(look, at + 1)) / 8;
    side->peak += fmax(most, 0);
    side->gap += gap;
    if (last - first + 1 > look->edges->looked)
        look->edges->looked = last - first + 1;
}

static void add_part(const struct look *look, double level, size_t first, size_t last,
                     struct state_part *part)
{
    for (size_t i = first; i < last; i++) {
        double x = series_at(look->series, i);
        bool of_it = fabs(x - level) <= look->reach;
        part->count += of_it;
        part->sum += of_it ? x : 0;
    }
}

/* Two parts of a state that was seen to its end; its last samples may be of the edge behind it. */
static void add_parts(const struct look *look, struct edge_side *side, size_t first, size_t end)
{
    double level = side == &look->edges->rise ? look->levels->high : look->levels->low;
    size_t from = first * look->block, length = (end - first + 1) * look->block;
    size_t early = from + length / 5, late = from + length * 11 / 20,
           last = from + length * 19 / 20;
    add_part(look, level, early, late, &side->early);
    add_part(look, level, late, last, &side->late);
}

/* Half of the time to the next transition belongs to the one before it, at the record's end all. */
static void end_state(const struct look *look, const struct course *course, size_t end, bool whole)
{
    size_t first = course->state_begin;
    if (!course->previous || end < first)
        return;
    add_peak(look, course->previous, first, whole ? first + (end - first) / 2 : end);
    if (whole)
        add_parts(look, course->previous, first, end);
}

/*
 * Walks along. `state` is 1 in the high one, -1 in the low one, `left` the last block that was in it;
 * a way that turns back before it has arrived is none.
 */
static void walk(const struct look *look)
{
    struct course course = { NAN, NULL, 0 };
    int state = 0;
    size_t left = 0;
    for (size_t k = 0; k < look->count; k++) {
        double value = block_at(look, k);
        int here = value < look->at[REFERENCE_10] ? -1 : value >= look->at[REFERENCE_90] ? 1 : 0;
        if (here == 0)
            continue;
        if (state != 0 && here != state) {
            const struct way way = { here > 0, left, k };
            end_state(look, &course, left, true);
            add_way(look, &way, &course);
        }
        state = here;
        left = k;
    }
    end_state(look, &course, look->count - 1, false);
}

/* From sums to means. */
static void conclude(struct edge_side *side)
{
    double n = (double)side->count;
    side->duration /= n;
    side->share /= n;
    for (size_t r = 0; r < REFERENCE_COUNT; r++) {
        side->slope[r] = n / side->slope[r];
        side->bent[r] /= n;
    }
    side->peak /= n;
    side->gap /= n;
    side->state /= (double)side->states;
}

static void look_with(struct look *look, size_t block)
{
    static const struct edge_side empty = { .earliest = -INFINITY, .latest = INFINITY };
    look->block = block;
    look->count = look->series->count / block;
    *look->edges = (struct edges) { .block = (double)block, .rise = empty, .fall = empty };
    walk(look);
    conclude(&look->edges->rise);
    conclude(&look->edges->fall);
}

void edges_find(const struct series *series, const struct levels *levels, double period,
                double noise, struct edges *edges)
{
    struct look look = { .series = series,
                         .levels = levels,
                         .period = period,
                         .reach = state_reach(series, noise),
                         .sigma = fmax(noise, series->step * uniform_sigma),
                         .edges = edges };
    for (size_t r = 0; r < REFERENCE_COUNT; r++)
        look.at[r] = levels->low + references[r] * (levels->high - levels->low);
    look_with(&look, 1);
    double shortest = INFINITY;
    if (edges->rise.count > 0)
        shortest = edges->rise.duration;
    if (edges->fall.count > 0)
        shortest = fmin(shortest, edges->fall.duration);
    if (isfinite(shortest) && shortest >= 2 * blocks_of_edge)
        look_with(&look, (size_t)(shortest / blocks_of_edge));
}
