/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "pace.h"

#include <gsl/gsl_cdf.h>
#include <math.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

enum { MOST_NODES = 1024, FEWEST_NODES = 8, FEWEST_SAMPLES = 64, ROUNDS = 5, BATCHES = 64 };

/* Samples of one node, where the record has more of them than nodes of one sample's width hold. */
static const double samples_a_node = 8;

static const double fewest_periods = 2;

/* A slope is one that so many of its standard deviations show, over no more than this of the period. */
static const double surely = 4, widest = 0.125;

/* It bends by no more than this, of the step from the node before to the one behind. */
static const double most_bend = 0.5;

/* Its samples are off it by no more than so much of a cell. */
static const double most_astride = 0.25;

/* And goes on beyond them by at least so much of what it would in a straight line. */
static const double least_onwards = 0.7;

/* What a cubic through four cells leaves is no more than so much of what it has and a parabola has not. */
static const double third_order = 0.5;

/* Chords show at least so much of the slopes, or these are none. */
static const double least_chords = 0.3;

/* What cells hide is less than so much of what batches show, or it may be that which they show. */
static const double least_hidden = 0.05;

/* The search rests where it moves by less than this, of the standard uncertainty. */
static const double rest = 0.1;

/* Samples without noise and without a step known are still off by rounding, of the height. */
static const double least_noise = 1e-9;

/* Where in its cell the first sample is: no sample of a period of few whole samples is on a bound between two. */
static const double first_place = 0.3090169943749474;

/* Places of two nodes that are nearer, in cells, are as good as one. */
static const double least_gap = 0.25;

/* Noise that makes roundings independent, in steps. */
static const double dither = 0.4;

static const double uniform_sigma = 0.28867513459481288;

/* A cell of the period. First sums, then means of its samples. */
struct node {
    double count, place, value, time;
    double places, values; /* squares; then variances within the cell */
    double slope;          /* per period; 0: nothing is told from it */
    double chord;          /* from the one neighbour to the other, by their own samples only */
    double bent;           /* what the bend within the cell adds to its mean */
    bool astride;          /* an edge is in it */
    double sag;            /* how far it is off the straight line between its neighbours */
    double hidden; /* what one of a parabola of sag 1 / 4 between two cells adds to the score */
    size_t before, behind; /* the nearest cells that have samples */
    bool cubic; /* it is followed by one behind on one slope with both of their neighbours; then */
    double shares[4]; /* Lagrange's denominators for the cubic through all four, inverse, */
    double bend;      /* and its second derivative between the two */
};

/* Of all cells before one. */
struct sums {
    double count, place, value;
};

struct folded {
    const struct series *series;
    double frequency, base, middle;
    double sigma;  /* of one sample, rounding included */
    double spread; /* the same, or at first what is known of it from within cells */
    size_t cells;
    size_t filled; /* cells that have samples */
    struct node nodes[MOST_NODES];
    struct sums sums[MOST_NODES + 1];
};

/* What all samples say of the frequency: sums of their products with slope and time. */
struct score {
    double used;    /* samples on slopes */
    double squares; /* of what is off, sum */
    double products, weight;
    double chords; /* the weight, by chords that have noise of their own */
    double hidden; /* products with what only cubics have */
    double in_products[BATCHES], in_weight[BATCHES];
};

static size_t cell_of(const struct folded *folded, double place)
{
    size_t cell = (size_t)(place * (double)folded->cells);
    return cell < folded->cells ? cell : folded->cells - 1;
}

static double place_of(const struct folded *folded, size_t i)
{
    double turns = folded->frequency * (double)i + first_place / (double)folded->cells;
    return turns - (double)(int64_t)turns;
}

static void add_samples(struct folded *folded)
{
    memset(folded->nodes, 0, sizeof folded->nodes);
    for (size_t i = 0; i < folded->series->count; i++) {
        double place = place_of(folded, i);
        struct node *node = &folded->nodes[cell_of(folded, place)];
        node->count++;
        node->place += place;
        double value = series_at(folded->series, i) - folded->base;
        node->places += place * place;
        node->value += value;
        node->values += value * value;
        node->time += (double)i - folded->middle;
    }
}

/* From sums to means. */
static void settle(struct folded *folded)
{
    folded->filled = 0;
    folded->sums[0] = (struct sums) { 0 };
    for (size_t k = 0; k < folded->cells; k++) {
        struct node *node = &folded->nodes[k];
        struct sums *sums = &folded->sums[k];
        sums[1] = (struct sums) { sums->count + node->count, sums->place + node->place,
                                  sums->value + node->value };
        if (node->count == 0)
            continue;
        folded->filled++;
        node->place /= node->count;
        node->value /= node->count;
        node->time /= node->count;
        node->places = fmax(0, node->places / node->count - node->place * node->place);
        node->values = fmax(0, node->values / node->count - node->value * node->value);
    }
}

/* Twice around, so that the nearest ones are known across the period's end. */
static void link_cells(struct folded *folded)
{
    size_t cells = folded->cells, last = 0;
    for (size_t k = 0; k < 2 * cells; k++) {
        folded->nodes[k % cells].before = last;
        last = folded->nodes[k % cells].count > 0 ? k % cells : last;
    }
    for (size_t k = 2 * cells; k-- > 0;) {
        folded->nodes[k % cells].behind = last;
        last = folded->nodes[k % cells].count > 0 ? k % cells : last;
    }
}

/* The sums of the cells from ... from + width - 1, which may begin up to a period early or end late. */
static struct sums sums_of(const struct folded *folded, ptrdiff_t from, ptrdiff_t width)
{
    ptrdiff_t cells = (ptrdiff_t)folded->cells, ends[2] = { from, from + width };
    struct sums at[2], whole = folded->sums[cells];
    for (int i = 0; i < 2; i++) {
        ptrdiff_t turns = ends[i] < 0 ? -1 : ends[i] >= cells ? 1 : 0;
        at[i] = folded->sums[ends[i] - turns * cells];
        double count = at[i].count, n = (double)turns;
        at[i].place += n * (whole.place + count) + (turns < 0 ? whole.count : 0);
        at[i].value += n * whole.value;
        at[i].count += n * whole.count;
    }
    return (struct sums) { at[1].count - at[0].count, at[1].place - at[0].place,
                           at[1].value - at[0].value };
}

/* Whether a step from the cells on one side to those on the other goes on beyond them: an edge of few cells does not. */
static bool goes_on(const struct folded *folded, size_t k, ptrdiff_t width, double step,
                    double apart)
{
    struct sums left = sums_of(folded, (ptrdiff_t)k - 2 * width, width);
    struct sums right = sums_of(folded, (ptrdiff_t)k + 1 + width, width);
    if (left.count == 0 || right.count == 0)
        return false;
    double wider = right.value / right.count - left.value / left.count;
    double further = right.place / right.count - left.place / left.count;
    return wider * copysign(1, step) >= least_onwards * fabs(step) * further / apart;
}

/*
 * From the means of the cells on either side, of as many as show it in the noise. None where the cell itself
 * is far from the straight line between them, as beside an edge or on a crest.
 */
static double slope_at(const struct folded *folded, size_t k)
{
    const struct node *node = &folded->nodes[k];
    for (ptrdiff_t width = 1; (double)(2 * width) <= widest * (double)folded->cells || width == 1;
         width *= 2) {
        struct sums left = sums_of(folded, (ptrdiff_t)k - width, width);
        struct sums right = sums_of(folded, (ptrdiff_t)k + 1, width);
        if (left.count == 0 || right.count == 0)
            continue;
        double step = right.value / right.count - left.value / left.count;
        double apart = right.place / right.count - left.place / left.count;
        if (fabs(step) < surely * folded->sigma * sqrt(1 / left.count + 1 / right.count))
            continue;
        double share = (node->place - left.place / left.count) / apart;
        double off = fabs(node->value - left.value / left.count - share * step);
        double by_noise = surely * folded->sigma / sqrt(node->count);
        bool bent = 2 * off > most_bend * fabs(step) + by_noise;
        return bent || !goes_on(folded, k, width, step, apart) ? 0 : step / apart;
    }
    return 0;
}

/*
 * How a cell lies between its neighbours. An edge is in it where its samples are further apart than a slope from
 * the one to the other, and noise, have them.
 */
static void compare(const struct folded *folded, struct node *node)
{
    const struct node *before = &folded->nodes[node->before],
                      *behind = &folded->nodes[node->behind];
    double left = before->place - (before->place >= node->place ? 1 : 0);
    double right = behind->place + (behind->place <= node->place ? 1 : 0);
    double slope = (behind->value - before->value) / (right - left);
    double reach = most_astride / (double)folded->cells;
    double by_slope = slope * slope * (node->places + reach * reach);
    node->sag = node->value - before->value - slope * (node->place - left);
    node->chord = slope;
    double least = least_gap / (double)folded->cells;
    double before_it = fmax(node->place - left, least),
           behind_it = fmax(right - node->place, least);
    node->bent = -node->sag * node->places / (before_it * behind_it);
    node->astride = node->values > by_slope + surely * surely * folded->spread * folded->spread;
}

/* Of all samples in their cells, slopes included. */
static double spread_of(const struct folded *folded)
{
    double squares = 0;
    for (size_t k = 0; k < folded->cells; k++)
        squares += folded->nodes[k].count * folded->nodes[k].values;
    return sqrt(squares / (double)folded->series->count);
}

static void fold_record(struct folded *folded, bool first)
{
    add_samples(folded);
    settle(folded);
    size_t turn = (size_t)fmin(MOST_NODES, fmax(FEWEST_NODES, floor(1 / folded->frequency)));
    if (folded->filled < folded->cells && folded->cells > turn) {
        folded->cells = turn;
        add_samples(folded);
        settle(folded);
    }
    link_cells(folded);
    folded->spread = first ? fmax(folded->sigma, spread_of(folded)) : folded->sigma;
    for (size_t k = 0; k < folded->cells; k++)
        if (folded->nodes[k].count > 0)
            compare(folded, &folded->nodes[k]);
    for (size_t k = 0; k < folded->cells; k++) {
        struct node *node = &folded->nodes[k];
        if (node->count == 0)
            continue;
        bool beside = folded->nodes[node->before].astride || folded->nodes[node->behind].astride;
        node->slope = node->astride || beside ? 0 : slope_at(folded, k);
    }
}

/* What the fold has at a place. */
struct seen {
    double value, time;
    double
        hidden; /* a parabola of sag 1 / 4 between the cells, or, for a cubic, what it has and a parabola has not */
    bool cubic;
};

/* A node as seen from a place: at most half a period away. */
static double near(double at, double place)
{
    double off = at - place;
    return off > 0.5 ? at - 1 : off < -0.5 ? at + 1 : at;
}

/* The nodes around the interval behind one, and their places as seen from it. */
static void four_around(const struct folded *folded, const struct node *low,
                        const struct node *four[4], double at[4])
{
    four[0] = &folded->nodes[low->before];
    four[1] = low;
    four[2] = &folded->nodes[low->behind];
    four[3] = &folded->nodes[four[2]->behind];
    for (int i = 0; i < 4; i++)
        at[i] = near(four[i]->place, low->place);
}

static void prepare(const struct folded *folded, struct node *low)
{
    const struct node *four[4];
    double at[4], least = least_gap / (double)folded->cells;
    four_around(folded, low, four, at);
    low->cubic = true;
    for (int i = 0; i < 4; i++)
        low->cubic &= four[i]->slope != 0 && (i == 0 || at[i] - at[i - 1] >= least);
    if (!low->cubic)
        return;
    for (int i = 0; i < 4; i++) {
        double product = 1;
        for (int j = 0; j < 4; j++)
            product *= j == i ? 1 : at[i] - at[j];
        low->shares[i] = 1 / product;
    }
    double gap = at[2] - at[1];
    low->bend = low->sag / (at[1] - at[0]) / gap + four[2]->sag / gap / (at[3] - at[2]);
}

/* By the cubic through four nodes. */
static struct seen by_cubic(const struct folded *folded, const struct node *low, double place)
{
    const struct node *four[4];
    double at[4];
    four_around(folded, low, four, at);
    double here = near(place, low->place);
    double a = here - at[0], b = here - at[1], c = here - at[2], d = here - at[3];
    double weights[4] = { b * c * d * low->shares[0], a * c * d * low->shares[1],
                          a * b * d * low->shares[2], a * b * c * low->shares[3] };
    struct seen seen = { .cubic = true };
    for (int i = 0; i < 4; i++) {
        seen.value += weights[i] * (four[i]->value - four[i]->bent);
        seen.time += weights[i] * four[i]->time;
    }
    double straight = four[1]->value + b / (at[2] - at[1]) * (four[2]->value - four[1]->value);
    seen.hidden = seen.value - straight + low->bend * b * c / 2;
    return seen;
}

/* Straight between the means of two cells; amid four on a slope, where it is to be fine, by the cubic. */
static struct seen between(const struct folded *folded, const struct node *node, double place,
                           bool fine)
{
    const struct node *low = place < node->place ? &folded->nodes[node->before] : node;
    const struct node *high = place < node->place ? node : &folded->nodes[node->behind];
    if (fine && low->cubic)
        return by_cubic(folded, low, place);
    double from = near(low->place, place), to = near(high->place, place);
    double share = (place - from) / (to - from);
    return (struct seen) { low->value + share * (high->value - low->value),
                           low->time + share * (high->time - low->time), share * (1 - share),
                           false };
}

static struct score score_of(struct folded *folded, bool fine)
{
    struct score score = { 0 };
    size_t count = folded->series->count;
    for (size_t k = 0; fine && k < folded->cells; k++)
        if (folded->nodes[k].count > 0)
            prepare(folded, &folded->nodes[k]);
    for (size_t i = 0; i < count; i++) {
        double place = place_of(folded, i);
        struct node *node = &folded->nodes[cell_of(folded, place)];
        if (node->slope == 0)
            continue;
        struct seen seen = between(folded, node, place, fine);
        double off = series_at(folded->series, i) - folded->base - seen.value;
        double lever = node->slope * ((double)i - folded->middle - seen.time);
        score.chords += lever * lever / node->slope * node->chord;
        if (seen.cubic)
            score.hidden += lever * seen.hidden;
        else
            node->hidden += lever * copysign(seen.hidden, place - node->place);
        size_t batch = i * BATCHES / count;
        score.used++;
        score.squares += off * off;
        score.products += off * lever;
        score.weight += lever * lever;
        score.in_products[batch] += off * lever;
        score.in_weight[batch] += lever * lever;
    }
    return score;
}

/* Variance of the frequency by sums over so many batches together, with Student's law for their number. */
static double by_batches(const struct score *score, size_t together)
{
    double squares = 0, weights = 0, moved = score->products / score->weight;
    for (size_t first = 0; first < BATCHES; first += together) {
        double product = 0, weight = 0;
        for (size_t i = first; i < first + together; i++) {
            product += score->in_products[i];
            weight += score->in_weight[i];
        }
        squares += (product - moved * weight) * (product - moved * weight);
        weights += weight * weight;
    }
    double freedom = score->weight * score->weight / weights - 1;
    double wider = gsl_cdf_tdist_Pinv(0.975, fmax(freedom, 2)) / 2;
    return squares * (freedom + 1) / fmax(freedom, 1) * wider * wider / score->weight /
           score->weight;
}

/*
 * By how many samples of one place roundings are the same: of none, where what a cell shows goes through
 * several steps.
 */
static double repeats_of(const struct folded *folded)
{
    double steps = 0, cells = 0, step = folded->series->step;
    for (size_t k = 0; k < folded->cells; k++) {
        const struct node *node = &folded->nodes[k];
        if (node->slope == 0)
            continue;
        steps += node->slope * node->slope * 12 * node->places / step / step;
        cells++;
    }
    double samples = (double)folded->series->count / (double)folded->filled;
    return fmax(1, samples / fmax(1, steps / cells));
}

/*
 * Variance by how far the shape is from what joins the cells. Where the place in a cell changes as evenly as time
 * does, as when a period is nearly a whole number of samples, it looks like another frequency.
 */
static double hidden_in(const struct folded *folded, const struct score *score)
{
    double squares = third_order * third_order * score->hidden * score->hidden;
    for (size_t k = 0; k < folded->cells; k++) {
        const struct node *node = &folded->nodes[k];
        if (node->slope == 0)
            continue;
        double sag = fmax(fabs(node->sag), fmax(fabs(folded->nodes[node->before].sag),
                                                fabs(folded->nodes[node->behind].sag)));
        squares += sag * sag * node->hidden * node->hidden;
    }
    return squares / score->weight / score->weight;
}

static void conclude(const struct folded *folded, const struct score *score, struct pace *pace)
{
    double samples = (double)folded->series->count, step = folded->series->step;
    double freed = samples / (samples - (double)folded->filled);
    double white = folded->sigma * folded->sigma / score->weight, rounding = step * uniform_sigma;
    double batches = freed * fmax(by_batches(score, 1), by_batches(score, 4));
    double random = folded->sigma * folded->sigma - rounding * rounding, variance = white;
    if (rounding > 0 && random < dither * dither * step * step)
        variance += rounding * rounding * (repeats_of(folded) - 1) / score->weight;
    double hidden = hidden_in(folded, score);
    variance = fmax(variance, batches) + hidden;
    *pace = (struct pace) { folded->frequency, sqrt(variance) * score->weight / score->chords,
                            hidden < least_hidden * batches ? sqrt(fmax(1, batches / white)) : 1,
                            folded->sigma };
}

static double least_of(const struct folded *folded)
{
    double low = INFINITY, high = -INFINITY;
    for (size_t k = 0; k < folded->cells; k++) {
        if (folded->nodes[k].count > 0) {
            low = fmin(low, folded->nodes[k].value);
            high = fmax(high, folded->nodes[k].value);
        }
    }
    return fmax(folded->series->step * uniform_sigma, least_noise * (high - low));
}

bool pace_find(const struct series *series, double noise, double start, struct pace *pace)
{
    struct pace seen;
    struct folded folded = { .series = series,
                             .frequency = start,
                             .base = series_at(series, 0),
                             .middle = (double)(series->count - 1) / 2,
                             .sigma = noise };
    double samples = (double)series->count;
    if (series->count < FEWEST_SAMPLES || !(start * samples >= fewest_periods) || !(start < 0.5))
        return false;
    double cells = fmax(floor(1 / start), floor(samples / samples_a_node));
    folded.cells = (size_t)fmin(MOST_NODES, fmax(FEWEST_NODES, cells));
    for (int round = 0; round < ROUNDS; round++) {
        fold_record(&folded, round == 0);
        struct score score = score_of(&folded, round > 0);
        double freedom = score.used * (1 - (double)folded.filled / samples);
        if (!(score.chords > least_chords * score.weight) || !(freedom >= 1))
            return false;
        folded.sigma = fmax(sqrt(score.squares / freedom), least_of(&folded));
        double moved = score.products / score.chords;
        folded.frequency += moved;
        if (!(fabs(folded.frequency - start) * samples <= 0.25))
            return false;
        conclude(&folded, &score, &seen);
        if (round > 0 && fabs(moved) <= rest * seen.standard) {
            *pace = seen;
            return true;
        }
    }
    return false;
}
