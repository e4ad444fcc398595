/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "crest.h"

#include <math.h>
#include <stddef.h>

enum { FEWEST_POINTS = 4, LEVEL = 0, LINE = 1, PARABOLA = 2, SPLITS = 4, FAILURES = 3 };

/* A stretch grows by this, of what it has on a side, from one try to the next. */
static const double growth = 0.3;

/* Places in a fit, in a period. */
static const double tenths = 10;

/* How surely a stretch must be above others to be the highest, in sigma. */
static const double surely_above = 3.0;

/* Two more terms of a fit may take so much, in the noise's variance, before they say something. */
static const double most_taken = 10.0;

/* What a fit leaves over may be so many of its standard deviations more than noise leaves. */
static const double most_left = 3.0;

/* So much of the widest stretch is used: of a bend of the second order that is half, of the fourth a quarter. */
static const double kept = 0.7;

/* For what remains of the bends, and of having looked for the highest place. */
static const double safety = 1.35;

/*
 * Two lines are the crest where they hold for so many times the samples that one parabola does, and
 * may be it where they hold for that share of them.
 */
static const double surely_corner = 1.5, maybe_corner = 0.7;

/* The nodes in one row: the record's from an edge, or its lowest place, on; upside down for a low. */
struct row {
    size_t count;
    double noise;
    struct fold_node nodes[FOLD_NODES];
    bool edge[FOLD_NODES]; /* behind the node */
};

/* Nodes first ... last of the row. */
struct span {
    size_t first;
    size_t last;
};

/* Where in a row the record is highest, and between which edges. */
struct peak {
    size_t at;
    struct span between;
};

/* Two straight lines that meet behind node `split`. */
struct corner {
    size_t split;
    double place, value, variance;
    struct local_fit up, down;
    struct span whole;
};

static size_t beginning_of(const struct fold *fold, double sign)
{
    size_t lowest = 0;
    for (size_t i = 0; i < fold->count; i++) {
        if (fold_edge(fold, i) > 0)
            return (i + 1) % fold->count;
        if (sign * fold->nodes[i].value < sign * fold->nodes[lowest].value)
            lowest = i;
    }
    return lowest;
}

static void make_row(const struct fold *fold, double sign, double noise, struct row *row)
{
    size_t begin = beginning_of(fold, sign);
    row->count = fold->count;
    row->noise = noise;
    for (size_t i = 0; i < fold->count; i++) {
        size_t from = (begin + i) % fold->count;
        row->nodes[i] = fold->nodes[from];
        row->nodes[i].place += from < begin ? 1 : 0;
        row->nodes[i].value *= sign;
        row->edge[i] = i + 1 == fold->count || fold_edge(fold, from) > 0 ||
                       fold_astride(fold, from) || fold_astride(fold, (from + 1) % fold->count);
    }
}

/* The span of `width` nodes from one on that is most surely high, if it is above `*best`. */
static void scan(const struct row *row, size_t width, double *best, struct peak *peak)
{
    double sum = 0, weight = 0;
    size_t begin = 0, edge = 0;
    for (size_t i = 0; i < row->count; i++) {
        sum += row->nodes[i].value * row->nodes[i].count;
        weight += row->nodes[i].count;
        if (i + 1 - begin > width) {
            sum -= row->nodes[begin].value * row->nodes[begin].count;
            weight -= row->nodes[begin].count;
            begin++;
        }
        double surely = sum / weight - surely_above * row->noise / sqrt(weight);
        if (i + 1 - begin == width && surely > *best) {
            *best = surely;
            *peak = (struct peak) { begin + width / 2, { edge, i } };
        }
        if (row->edge[i]) {
            sum = weight = 0;
            begin = edge = i + 1;
        }
    }
}

static struct peak find_peak(const struct row *row)
{
    struct peak peak = { 0 };
    double best = -INFINITY;
    for (size_t width = 1; width <= row->count; width *= 2)
        scan(row, width, &best, &peak);
    while (peak.between.last + 1 < row->count && !row->edge[peak.between.last])
        peak.between.last++;
    return peak;
}

/* From the peak's place, in tenths of a period. */
static double local_place(const struct row *row, const struct peak *peak, double place)
{
    return tenths * (place - row->nodes[peak->at].place);
}

/* The sums of a span, about the peak's place and level. */
static struct local_sums sums_of(const struct row *row, const struct peak *peak, struct span span)
{
    struct local_sums sums = { 0 };
    for (size_t i = span.first; i <= span.last; i++)
        local_add(&sums, local_place(row, peak, row->nodes[i].place),
                  row->nodes[i].value - row->nodes[peak->at].value, row->nodes[i].count);
    return sums;
}

/* Whether a polynomial of an order leaves nothing but noise over, and two more terms take no more. */
static bool suits(const struct row *row, const struct local_sums *sums, int order,
                  struct local_fit *fit)
{
    struct local_fit more;
    double variance = row->noise * row->noise;
    if (!local_solve(sums, order, fit))
        return false;
    double freedom = sums->points - order - 1;
    if (fit->left > variance * (freedom + most_left * sqrt(2 * freedom)))
        return false;
    return !local_solve(sums, order + 2, &more) || fit->left - more.left <= most_taken * variance;
}

/* Where a fit is highest in a span; the middle of the gap at an edge that cuts it off. */
static bool highest(const struct row *row, const struct peak *peak, struct span span,
                    const struct local_fit *fit, double *place)
{
    double low = local_place(row, peak, row->nodes[span.first].place);
    double high = local_place(row, peak, row->nodes[span.last].place);
    if (fit->order == PARABOLA && fit->terms[2] < 0) {
        *place = -fit->terms[1] / (2 * fit->terms[2]);
        if (*place > low && *place < high)
            return true;
    }
    bool at_end = local_value(fit, high) > local_value(fit, low);
    *place = at_end ? high : low;
    return at_end ? span.last == peak->between.last : span.first == peak->between.first;
}

/* Two or three places between two edges are as level as noise lets one tell. */
static bool is_all(const struct peak *peak, struct span span)
{
    return span.last > span.first && span.first == peak->between.first &&
           span.last == peak->between.last;
}

static bool is_smooth(const struct row *row, const struct peak *peak, struct span span,
                      struct local_fit *fit)
{
    double place;
    struct local_sums sums = sums_of(row, peak, span);
    for (int order = LEVEL; order <= PARABOLA; order++) {
        bool few = sums.points < FEWEST_POINTS + order && !(order == LEVEL && is_all(peak, span));
        if (few || !suits(row, &sums, order, fit))
            continue;
        if (order == LEVEL || highest(row, peak, span, fit, &place))
            return true;
    }
    return false;
}

static size_t node_before(const struct row *row, const struct peak *peak, struct span span,
                          double place)
{
    size_t at = span.first;
    while (at < span.last && local_place(row, peak, row->nodes[at + 1].place) <= place)
        at++;
    return at;
}

/* A line through the nodes on one side of a corner; false where it is none. */
static bool side_of(const struct row *row, const struct peak *peak, struct span span,
                    struct local_sums *sums, struct local_fit *fit)
{
    *sums = sums_of(row, peak, span);
    return suits(row, sums, LINE, fit);
}

/* Two lines, up and down, that meet between them; where they do is found in a few steps. */
static bool is_corner(const struct row *row, const struct peak *peak, struct span span,
                      struct corner *corner)
{
    struct local_sums left, right;
    struct local_fit up, down;
    bool good = false;
    for (int i = 0; i < SPLITS; i++) {
        if (corner->split < span.first + FEWEST_POINTS || corner->split + FEWEST_POINTS > span.last)
            return false;
        bool rises = side_of(row, peak, (struct span) { span.first, corner->split }, &left, &up);
        bool falls =
            side_of(row, peak, (struct span) { corner->split + 1, span.last }, &right, &down);
        if (!(up.terms[1] > 0 && down.terms[1] < 0))
            return false;
        good = rises && falls;
        corner->place = (down.terms[0] - up.terms[0]) / (up.terms[1] - down.terms[1]);
        size_t split = node_before(row, peak, span, corner->place);
        if (split == corner->split)
            break;
        corner->split = split;
    }
    corner->value = local_value(&up, corner->place);
    corner->up = up;
    corner->down = down;
    corner->whole = span;
    double steep = up.terms[1] - down.terms[1];
    double from_left = down.terms[1] / steep, from_right = up.terms[1] / steep;
    corner->variance = from_left * from_left * local_variance(&left, LINE, corner->place) +
                       from_right * from_right * local_variance(&right, LINE, corner->place);
    return good;
}

/* Whether a span has the shape that is looked for. */
typedef bool shape_check(const struct row *row, const struct peak *peak, struct span span,
                         struct corner *corner);

static bool check_smooth(const struct row *row, const struct peak *peak, struct span span,
                         struct corner *corner)
{
    struct local_fit fit;
    (void)corner;
    return is_smooth(row, peak, span, &fit);
}

static struct span widened(const struct peak *peak, struct span span, bool left, bool right)
{
    size_t before = (size_t)ceil(growth * (double)(peak->at - span.first + 1));
    size_t after = (size_t)ceil(growth * (double)(span.last - peak->at + 1));
    size_t room_before = span.first - peak->between.first;
    size_t room_after = peak->between.last - span.last;
    return (struct span) { span.first - (!left                  ? 0
                                         : before < room_before ? before
                                                                : room_before),
                           span.last + (!right               ? 0
                                        : after < room_after ? after
                                                             : room_after) };
}

/*
 * Widens a span on some sides for as long as it keeps its shape, but for a few tries that noise may
 * spoil. Whether it has had the shape.
 */
static bool widen(const struct row *row, const struct peak *peak, shape_check *check, bool left,
                  bool right, bool found, struct span *span, struct corner *corner)
{
    struct span tried = *span;
    struct corner moved = *corner;
    for (int failed = 0; failed < FAILURES || !found;) {
        struct span wider = widened(peak, tried, left, right);
        if (wider.first == tried.first && wider.last == tried.last)
            break;
        tried = wider;
        if (check(row, peak, tried, &moved)) {
            *span = tried;
            *corner = moved;
            found = true;
            failed = 0;
        } else {
            failed++;
        }
    }
    return found;
}

/* The widest span of a shape: on both sides, and then on either. */
static bool widest(const struct row *row, const struct peak *peak, shape_check *check,
                   struct span *span, struct corner *corner)
{
    return widen(row, peak, check, true, true, false, span, corner) &&
           widen(row, peak, check, true, false, true, span, corner) &&
           widen(row, peak, check, false, true, true, span, corner);
}

static double samples_in(const struct row *row, struct span span)
{
    double samples = 0;
    for (size_t i = span.first; i <= span.last; i++)
        samples += row->nodes[i].count;
    return samples;
}

/* So much of a span around a node; all of it where that is too little. */
static struct span narrowed(struct span span, size_t around)
{
    struct span part = { around - (size_t)(kept * (double)(around - span.first)),
                         around + (size_t)(kept * (double)(span.last - around)) };
    return part.last - part.first + 1 < FEWEST_POINTS ? span : part;
}

/* Half of the gap behind, or before, the end of a span, in the places of a fit. */
static double half_gap(const struct row *row, size_t node, bool behind)
{
    size_t other = behind ? (node + 1) % row->count : (node + row->count - 1) % row->count;
    double gap = fabs(row->nodes[other].place - row->nodes[node].place);
    return tenths * fmin(gap, 1 - gap) / 2;
}

static void set_crest(const struct row *row, const struct peak *peak, double value, double variance,
                      double open, struct crest *crest)
{
    double scatter = safety * row->noise * sqrt(variance);
    *crest = (struct crest) { .value = row->nodes[peak->at].value + value,
                              .scatter = hypot(scatter, open),
                              .samples = 1 / (safety * safety * variance) };
}

/* Of which stretch the shape is. */
static void set_stretch(const struct row *row, const struct peak *peak, struct span span,
                        const struct local_fit *fit, struct crest *crest)
{
    crest->first = row->nodes[span.first].place;
    crest->last = row->nodes[span.last].place;
    crest->origin = row->nodes[peak->at].place;
    crest->base = row->nodes[peak->at].value;
    crest->corner = INFINITY;
    crest->fit = *fit;
}

double crest_shape(const struct crest *crest, double place)
{
    const struct local_fit *fit = place < crest->corner ? &crest->fit : &crest->fall;
    return crest->sign * (crest->base + local_value(fit, tenths * (place - crest->origin)));
}

double crest_top(const struct crest *crest, double from, double to)
{
    const double *terms = crest->fit.terms;
    double top = crest->corner;
    if (crest->fit.order == PARABOLA && terms[2] < 0)
        top = crest->origin - terms[1] / (2 * terms[2]) / tenths;
    double inside = fmin(to, fmax(from, top));
    double ends =
        fmax(crest->sign * crest_shape(crest, from), crest->sign * crest_shape(crest, to));
    return crest->sign * fmax(ends, crest->sign * crest_shape(crest, inside));
}

static bool smooth_crest(const struct row *row, const struct peak *peak, struct span span,
                         struct crest *crest)
{
    struct local_fit fit;
    double place;
    if (!is_smooth(row, peak, span, &fit))
        return false;
    int order = fit.order;
    if (order == LEVEL) {
        struct local_sums sums = sums_of(row, peak, narrowed(span, peak->at));
        if (!local_solve(&sums, LEVEL, &fit))
            return false;
        set_crest(row, peak, fit.terms[0], 1 / sums.powers[0], 0, crest);
        set_stretch(row, peak, span, &fit, crest);
        return true;
    }
    highest(row, peak, span, &fit, &place);
    span = narrowed(span, node_before(row, peak, span, place));
    struct local_sums sums = sums_of(row, peak, span);
    if (!local_solve(&sums, order, &fit) || !highest(row, peak, span, &fit, &place))
        return false;
    bool behind = place >= local_place(row, peak, row->nodes[span.last].place);
    bool before = place <= local_place(row, peak, row->nodes[span.first].place);
    double open = 0;
    if (behind || before) {
        double gap = half_gap(row, behind ? span.last : span.first, behind);
        double at_node = local_value(&fit, place);
        place += behind ? gap : -gap;
        open = fabs(local_value(&fit, place) - at_node) / sqrt(3);
    }
    set_crest(row, peak, local_value(&fit, place), local_variance(&sums, order, place), open,
              crest);
    set_stretch(row, peak, span, &fit, crest);
    return true;
}

static bool corner_crest(const struct row *row, const struct peak *peak, struct span span,
                         struct corner *corner, struct crest *crest)
{
    struct corner whole = *corner;
    if (!is_corner(row, peak, narrowed(span, corner->split), corner) &&
        !is_corner(row, peak, span, corner))
        *corner = whole;
    set_crest(row, peak, corner->value, corner->variance, 0, crest);
    set_stretch(row, peak, corner->whole, &corner->up, crest);
    crest->corner = crest->origin + corner->place / tenths;
    crest->fall = corner->down;
    return isfinite(crest->scatter);
}

/* One shape where the other cannot be, else between the two. */
static bool choose(const struct crest *smooth, double smooth_samples, const struct crest *corner,
                   double corner_samples, struct crest *crest)
{
    if (corner_samples > surely_corner * smooth_samples)
        *crest = *corner;
    else if (smooth_samples > 0)
        *crest = *smooth;
    if (smooth_samples > 0 && corner_samples >= maybe_corner * smooth_samples &&
        corner_samples <= surely_corner * smooth_samples) {
        crest->value = (smooth->value + corner->value) / 2;
        crest->doubt = fabs(smooth->value - corner->value) / 2;
        crest->scatter = fmax(smooth->scatter, corner->scatter);
    }
    return smooth_samples > 0 || corner_samples > 0;
}

bool fold_crest(const struct fold *fold, double sign, double noise, struct crest *crest)
{
    struct row row;
    make_row(fold, sign, noise, &row);
    struct peak peak = find_peak(&row);
    struct span level = { peak.at, peak.at }, bent = level;
    struct corner none = { 0 }, corner = { .split = peak.at };
    struct crest smooth = { 0 }, angular = { 0 };
    double smooth_samples = 0, corner_samples = 0;
    if (widest(&row, &peak, check_smooth, &level, &none) &&
        smooth_crest(&row, &peak, level, &smooth))
        smooth_samples = samples_in(&row, level);
    if (widest(&row, &peak, is_corner, &bent, &corner) &&
        corner_crest(&row, &peak, bent, &corner, &angular))
        corner_samples = samples_in(&row, bent);
    bool found = choose(&smooth, smooth_samples, &angular, corner_samples, crest);
    crest->value *= sign;
    crest->sign = sign;
    return found;
}
