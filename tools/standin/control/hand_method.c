/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "hand_method.h"

#include "tools/standin/bench/fields.h"

#include <math.h>

enum move_kind { MOVE_TOUCH, MOVE_LIFT, MOVE_SLIP, MOVE_BOUNCE };

struct move_plan {
    char instrument[INSTRUMENT_NAME];
    char source[SOURCE_NAME];
    double input;
    int move; /* enum move_kind */
    double after_s;
    double bounce_s; /* NAN: not told */
    double hum;      /* NAN: as it was */
    double mains_hz;
    double leftover;
};

static const char *const kinds[] = { "touch", "lift", "slip", "bounce", NULL };

#define NUMBER(name)                                                                               \
    {                                                                                              \
#name, FIELD_NUMBER, offsetof(struct move_plan, name), 0, NULL, 0                          \
    }
#define TEXT(name)                                                                                 \
    {                                                                                              \
#name, FIELD_TEXT, offsetof(struct move_plan, name),                                       \
            sizeof(((struct move_plan *)0)->name), NULL, 0                                         \
    }

static bool read_plan(json_t *params, struct move_plan *plan, struct problem *problem)
{
    static const struct field fields[] = {
        TEXT(instrument),
        TEXT(source),
        NUMBER(input),
        NUMBER(after_s),
        NUMBER(bounce_s),
        NUMBER(hum),
        NUMBER(mains_hz),
        NUMBER(leftover),
        { "move", FIELD_WORD, offsetof(struct move_plan, move), 0, kinds, 0 },
    };

    *plan = (struct move_plan) {
        .input = 1.0, .move = -1, .bounce_s = NAN, .hum = NAN, .mains_hz = NAN, .leftover = NAN
    };
    if (!fields_read(params, fields, sizeof fields / sizeof fields[0], 0, plan, problem))
        return false;
    if (plan->move < 0)
        return problem_tell(problem, "move: expected touch, lift, slip or bounce");
    if (plan->after_s < 0.0 || plan->bounce_s < 0.0 || plan->hum < 0.0 || plan->leftover < 0.0 ||
        plan->mains_hz <= 0.0)
        return problem_tell(problem, "after_s, bounce_s, hum, mains_hz or leftover is negative");
    if ((plan->move == MOVE_TOUCH) > (plan->source[0] != '\0'))
        return problem_tell(problem, "touch: no source is named");
    if ((plan->move == MOVE_LIFT || plan->move == MOVE_BOUNCE) && plan->source[0] != '\0')
        return problem_tell(problem, "lift and bounce take no source");
    return true;
}

/* How long contact comes and goes, unless it is told: a slip scrapes. */
static double bounce_of(const struct move_plan *plan)
{
    static const double usual[] = { 0.0, 0.0, 0.05, 0.2 };

    return isnan(plan->bounce_s) ? usual[plan->move] : plan->bounce_s;
}

static void set_air(struct hand *hand, const struct move_plan *plan)
{
    hand->hum = isnan(plan->hum) ? hand->hum : plan->hum;
    hand->mains_hz = isnan(plan->mains_hz) ? hand->mains_hz : plan->mains_hz;
    hand->leftover = isnan(plan->leftover) ? hand->leftover : plan->leftover;
}

bool hand_method(struct bench *bench, json_t *params, struct problem *problem)
{
    struct move_plan plan;
    const struct source *source = NULL;
    struct seat *seat;

    if (!read_plan(params, &plan, problem) ||
        (seat = bench_seat(bench, plan.instrument, problem)) == NULL)
        return false;
    double inputs = (double)instrument_inputs(seat->instrument);
    if (!(plan.input >= 1.0 && plan.input <= inputs) || plan.input != (double)(int)plan.input)
        return problem_tell(problem, "input: expected 1 to %g", inputs);
    size_t input = (size_t)plan.input - 1;
    struct hand *hand = &seat->instrument->hands[input];
    struct tie *tie = &seat->instrument->ties[input];
    if (tie->probe.factor == 0.0)
        tie->probe = probe_wire(); /* nothing was ever tied to it */
    if (plan.source[0] != '\0') {
        source = bench_source(bench, plan.source, problem);
        if (source == NULL || !probe_check(&tie->probe, source, problem))
            return false;
    }
    if (!hand->holds)
        *hand = hand_begin(bench->seed + (uint64_t)input);
    double now = clock_now(&bench->clock);
    struct hand_move move = { now + plan.after_s, bounce_of(&plan), source };
    if (plan.move == MOVE_BOUNCE)
        move.node = hand_node(hand, move.at);
    set_air(hand, &plan);
    hand_move(hand, &move, now);
    return true;
}
