/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "mistakes.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>

static const double termination = 50; /* ohm */

/* A dc reading below this share of what is expected is next to nothing. */
static const double nothing = 0.02;

/* What an open lead picks up is less than this share of what is expected; common practice, no source. */
static const double pickup = 0.002;

/* What a point should show lies within this factor of a limit that it has; common practice, no source. */
static const double near_limit = 2;

struct row {
    const char *key;
    enum mistake_policy policy;
};

static const struct row rows[MISTAKE_COUNT] = {
#define X(name, key, policy, help) [MISTAKE_##name] = { key, policy },
    MISTAKE_TABLE(X)
#undef X
};

const char *mistake_key(enum mistake_kind kind)
{
    return rows[kind].key;
}

enum mistake_policy mistake_default(enum mistake_kind kind)
{
    return rows[kind].policy;
}

/* Sets the words of a mistake and returns true, so that a check can end with it. */
static bool say(struct mistake *mistake, const char *format, ...)
    __attribute__((format(printf, 2, 3)));

static bool say(struct mistake *mistake, const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(mistake->words, sizeof mistake->words, format, arguments);
    va_end(arguments);
    return true;
}

/* Whether the value is what `share` of the expected one would show. NAN is close to nothing. */
static bool is_close(const struct circumstances *facts, double share)
{
    double wanted = facts->expected * share;
    return fabs(facts->value - wanted) <= facts->uncertainty + facts->tolerance * fabs(wanted);
}

/* Close to a share of what is expected, which is not nothing, and not to all of it. */
static bool looks_like(const struct circumstances *facts, double share)
{
    bool told_apart = fabs(facts->expected * (1 - share)) > 2 * facts->uncertainty;
    return told_apart && is_close(facts, share) && !is_close(facts, 1);
}

static bool rating(const struct circumstances *facts, struct mistake *mistake)
{
    if (facts->peak > facts->rating)
        return say(mistake, "the signal reaches %.4g %s, above the probe's rating of %.4g %s",
                   facts->peak, facts->unit, facts->rating, facts->unit);
    if (facts->input_peak > facts->input_rating)
        return say(mistake, "the input has %.4g V at its terminals, above its rating of %.4g V",
                   facts->input_peak, facts->input_rating);
    return false;
}

/*
 * Whether the value breaks a limit by more than its uncertainty, and without that share would keep
 * both and not lie far from the one that it breaks.
 */
static bool limits_tell(const struct circumstances *facts, double share)
{
    bool above = facts->value > facts->high + facts->uncertainty;
    bool below = facts->value < facts->low - facts->uncertainty;
    double broken = above ? facts->high : facts->low;
    double meant = facts->value / share;
    return isnan(facts->expected) && (above || below) && meant >= facts->low &&
           meant <= facts->high && fabs(meant) <= near_limit * fabs(broken) &&
           fabs(broken) <= near_limit * fabs(meant);
}

static bool probe_switch(const struct circumstances *facts, struct mistake *mistake)
{
    const char *meant = isnan(facts->expected) ? "its limits allow" : "is expected";
    if (looks_like(facts, 10) || limits_tell(facts, 10))
        return say(mistake,
                   "reads %.4g %s, ten times what %s: probe switch at x1, or the factor "
                   "applied twice?",
                   facts->value, facts->unit, meant);
    if (looks_like(facts, 0.1) || limits_tell(facts, 0.1))
        return say(mistake,
                   "reads %.4g %s, a tenth of what %s: probe switch at x10, or a x10 probe "
                   "connected?",
                   facts->value, facts->unit, meant);
    return false;
}

static bool terminated(const struct circumstances *facts, struct mistake *mistake)
{
    double source = isnan(facts->source_resistance) ? termination : facts->source_resistance;
    double share = termination / (termination + source);
    if (!facts->scope || !facts->bare || !looks_like(facts, share))
        return false;
    return say(mistake,
               "reads %.4g %s, what 50 ohm across the point would leave: input termination "
               "left on?",
               facts->value, facts->unit);
}

static bool coupled(const struct circumstances *facts, struct mistake *mistake)
{
    double small = facts->uncertainty + nothing * fabs(facts->expected);
    if (!facts->scope || !facts->ac_coupling || facts->aspect != ASPECT_DC ||
        !(fabs(facts->value) <= small) || !(fabs(facts->expected) > 2 * small))
        return false;
    return say(mistake,
               "reads next to nothing where %.4g %s is expected: ac coupling left on, or a "
               "capacitor in the way?",
               facts->expected, facts->unit);
}

/* The least that a point should show: what is expected, else the limit that is nearer to zero. */
static double least_meant(const struct circumstances *facts)
{
    if (!isnan(facts->expected))
        return fabs(facts->expected) * (1 - facts->tolerance);
    return fmax(0, fmax(facts->low, -facts->high));
}

/* Told only where a capacitor in the way is not told already, and of what a lead brings. */
static bool open_lead(const struct circumstances *facts, struct mistake *mistake)
{
    struct mistake other;
    double least = least_meant(facts);
    double small = facts->uncertainty + pickup * least;
    if (facts->aspect == ASPECT_WHOLE || coupled(facts, &other) || !(fabs(facts->value) <= small) ||
        !(least > 2 * small))
        return false;
    return say(mistake,
               "reads %.2g %s, next to nothing where %.4g %s or more should be: a lead open or off "
               "the point, or the supply not on?",
               facts->value, facts->unit, least, facts->unit);
}

static bool ground_reference(const struct circumstances *facts, struct mistake *mistake)
{
    if (!(fabs(facts->zero_level) > facts->zero_bound))
        return false;
    return say(mistake,
               "the zero trace is %.3g divisions off its place, of %.3g that are stated: ground "
               "reference off",
               facts->zero_level, facts->zero_bound);
}

static bool ground_clip(const struct circumstances *facts, struct mistake *mistake)
{
    if (!facts->scope || !facts->mains_referenced || facts->isolated)
        return false;
    return say(mistake, "the point is tied to the mains: a scope's ground clip on it is a short "
                        "circuit; use an isolated probe");
}

static bool lead_zero(const struct circumstances *facts, struct mistake *mistake)
{
    if (facts->leads_age < 0)
        return say(mistake, "the leads were zeroed later than now: is the clock right?");
    return facts->leads_age > facts->leads_most &&
           say(mistake,
               "the leads were zeroed %.0f s ago, at most %.0f s are asked: the zero is not used",
               facts->leads_age, facts->leads_most);
}

static bool overdue(const struct circumstances *facts, struct mistake *mistake)
{
    return facts->overdue && say(mistake, "the calibration of %s was due on %s", facts->instrument,
                                 facts->calibration_due);
}

static bool record_only(const struct circumstances *facts, struct mistake *mistake)
{
    if (facts->no_period)
        return say(mistake,
                   "no whole period in the record of %.4g s: the value holds for this record only",
                   facts->record);
    return facts->passing &&
           say(mistake,
               "the signal is not the same all along the record of %.4g s: the value holds for "
               "this record only",
               facts->record);
}

size_t mistakes_find(const struct circumstances *facts, struct mistake found[MISTAKE_COUNT])
{
    static bool (*const checks[MISTAKE_COUNT])(const struct circumstances *, struct mistake *) = {
        [MISTAKE_RATING] = rating,           [MISTAKE_PROBE_SWITCH] = probe_switch,
        [MISTAKE_TERMINATION] = terminated,  [MISTAKE_AC_COUPLING] = coupled,
        [MISTAKE_OPEN_LEAD] = open_lead,     [MISTAKE_GROUND_REFERENCE] = ground_reference,
        [MISTAKE_GROUND_CLIP] = ground_clip, [MISTAKE_LEAD_ZERO] = lead_zero,
        [MISTAKE_CALIBRATION] = overdue,     [MISTAKE_RECORD_ONLY] = record_only,
    };
    size_t count = 0;
    for (int kind = 0; kind < MISTAKE_COUNT; kind++) {
        struct mistake mistake = { .kind = (enum mistake_kind)kind };
        if (checks[kind](facts, &mistake))
            found[count++] = mistake;
    }
    return count;
}
