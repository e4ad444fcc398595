/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "diagnosis.h"

#include "diagnosis_evidence.h"

#include <math.h>

/* Faults of a board before any reading, so that about one faulty board in twenty has a second; own choice. */
static const double faults_expected = 0.1;

/* No block is more likely to be faulty than good before any reading. */
static const double most_faulty = 0.5;

/* That a block that may hide a bad input does. */
static const double hidden = 0.5;

/* An outcome that is surer than this tells nothing. */
static const double certain = 1e-12;

/* The block and all that feeds it; not past blocks that may hide it, when only what surely shows counts. */
static struct block_set reach(const struct diagnosis *diagnosis, size_t block, bool surely)
{
    struct block_set seen = { 0 };
    size_t waiting[BLOCK_SET_MAX], count = 0;

    block_set_add(&seen, block);
    waiting[count++] = block;
    while (count > 0) {
        const struct diagnosis_block *at = &diagnosis->blocks[waiting[--count]];
        for (size_t i = 0; i < at->input_count && !(surely && at->hides); i++)
            if (!block_set_has(&seen, at->inputs[i])) {
                block_set_add(&seen, at->inputs[i]);
                waiting[count++] = at->inputs[i];
            }
    }
    return seen;
}

void diagnosis_prepare(struct diagnosis *diagnosis)
{
    double sum = 0;
    for (size_t i = 0; i < diagnosis->block_count; i++)
        sum += diagnosis->blocks[i].likelihood;
    for (size_t i = 0; i < BLOCK_SET_MAX; i++)
        diagnosis->faulty[i] =
            i < diagnosis->block_count
                ? fmin(most_faulty, faults_expected * diagnosis->blocks[i].likelihood / sum)
                : 0;
    for (size_t i = 0; i < diagnosis->point_count; i++) {
        struct diagnosis_point *point = &diagnosis->points[i];
        point->blames = reach(diagnosis, point->block, false);
        point->clears = reach(diagnosis, point->block, true);
    }
}

/* Whether a point's outcome can tell some blocks of the set from the others. */
static bool splits(const struct diagnosis_point *point, const struct block_set *set)
{
    return (block_set_meets(set, &point->clears) && !block_set_within(set, &point->clears)) ||
           (block_set_meets(set, &point->blames) && !block_set_within(set, &point->blames));
}

static bool can_split(const struct diagnosis *diagnosis, const struct block_set *set)
{
    for (size_t i = 0; i < diagnosis->point_count; i++)
        if (diagnosis->points[i].outcome == DIAGNOSIS_OPEN && splits(&diagnosis->points[i], set))
            return true;
    return false;
}

/* Reads the outcomes; whether any output was bad. False from the function: they contradict each other. */
static bool gather(const struct diagnosis *diagnosis, struct diagnosis_evidence *evidence,
                   bool *any_bad, size_t *conflict)
{
    *any_bad = false;
    for (size_t i = 0; i < diagnosis->point_count; i++)
        if (diagnosis->points[i].outcome == DIAGNOSIS_GOOD)
            evidence->cleared = block_set_union(&evidence->cleared, &diagnosis->points[i].clears);
    for (size_t i = 0; i < diagnosis->point_count; i++) {
        if (diagnosis->points[i].outcome != DIAGNOSIS_BAD)
            continue;
        *any_bad = true;
        *conflict = i;
        if (!diagnosis_blame(evidence, &diagnosis->points[i].blames))
            return false;
    }
    return true;
}

/* All that any point could show. */
static struct block_set seen_by_any(const struct diagnosis *diagnosis)
{
    struct block_set all = { 0 };
    for (size_t i = 0; i < diagnosis->point_count; i++)
        all = block_set_union(&all, &diagnosis->points[i].blames);
    return all;
}

/* Probability that a point is bad. */
static double chance_of_bad(const struct diagnosis_evidence *evidence, double whole,
                            const struct diagnosis_point *point)
{
    double shown = diagnosis_chance(evidence, &point->clears) / whole;
    double none = diagnosis_chance(evidence, &point->blames) / whole;
    return fmin(1, fmax(0, 1 - shown + (1 - hidden) * (shown - none)));
}

/* Bits that an outcome of this probability tells. */
static double entropy(double p)
{
    return p < certain || p > 1 - certain ? 0 : -(p * log2(p) + (1 - p) * log2(1 - p));
}

/* The point that tells most for its cost, of those that can split the set. */
static bool choose(const struct diagnosis *diagnosis, const struct diagnosis_evidence *evidence,
                   const struct block_set *set, double whole, struct diagnosis_finding *finding)
{
    double most = 0;
    for (size_t i = 0; i < diagnosis->point_count; i++) {
        const struct diagnosis_point *point = &diagnosis->points[i];
        if (point->outcome != DIAGNOSIS_OPEN || !splits(point, set))
            continue;
        double bad = chance_of_bad(evidence, whole, point);
        double worth = entropy(bad) / point->cost;
        if (worth > most) {
            most = worth;
            finding->point = i;
            finding->bad = bad;
        }
    }
    return most > 0;
}

/* Before any output was bad: the least dear that would show a fault that is left. */
static bool confirm(const struct diagnosis *diagnosis, const struct block_set *left,
                    struct diagnosis_finding *finding)
{
    double least = INFINITY;
    for (size_t i = 0; i < diagnosis->point_count; i++) {
        const struct diagnosis_point *point = &diagnosis->points[i];
        if (point->outcome == DIAGNOSIS_OPEN && block_set_meets(left, &point->blames) &&
            point->cost < least) {
            least = point->cost;
            finding->point = i;
            finding->bad = 1;
        }
    }
    return least < INFINITY;
}

/* The set that is nearest to an end: one that nothing splits, else the smallest. */
static const struct block_set *focus(const struct diagnosis *diagnosis,
                                     const struct diagnosis_evidence *evidence, bool *ended)
{
    const struct block_set *best = &evidence->blamed[0];
    *ended = false;
    for (size_t i = 0; i < evidence->count; i++) {
        const struct block_set *set = &evidence->blamed[i];
        bool ends = !can_split(diagnosis, set);
        bool smaller = block_set_count(set) < block_set_count(best);
        if ((ends && !*ended) || (ends == *ended && smaller))
            best = set;
        *ended = *ended || ends;
    }
    return best;
}

static void tell_probabilities(const struct diagnosis *diagnosis,
                               const struct diagnosis_evidence *evidence, double whole,
                               struct diagnosis_finding *finding)
{
    for (size_t i = 0; i < diagnosis->block_count; i++)
        finding->probability[i] = diagnosis_chance_faulty(evidence, i) / whole;
    for (size_t i = 0; i < evidence->count; i++)
        finding->suspects = block_set_union(&finding->suspects, &evidence->blamed[i]);
}

void diagnosis_find(const struct diagnosis *diagnosis, struct diagnosis_finding *finding)
{
    struct diagnosis_evidence evidence = { .faulty = diagnosis->faulty };
    const struct block_set all = seen_by_any(diagnosis), none = { 0 };
    bool any_bad, ended;

    *finding = (struct diagnosis_finding) { .state = DIAGNOSIS_CONFLICT };
    if (!gather(diagnosis, &evidence, &any_bad, &finding->point))
        return;
    finding->state = DIAGNOSIS_NOTHING;
    if (!diagnosis_blame(&evidence, &all))
        return;
    double whole = diagnosis_chance(&evidence, &none);
    tell_probabilities(diagnosis, &evidence, whole, finding);
    const struct block_set *set = focus(diagnosis, &evidence, &ended);
    finding->state = DIAGNOSIS_GO_ON;
    if (!ended && choose(diagnosis, &evidence, set, whole, finding))
        return;
    if (!any_bad && confirm(diagnosis, set, finding))
        return;
    finding->suspects = *set;
    finding->state = block_set_count(set) == 1 && any_bad ? DIAGNOSIS_FOUND : DIAGNOSIS_NARROWED;
}
