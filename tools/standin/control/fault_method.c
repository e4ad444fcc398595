/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "fault_method.h"

#include "tools/standin/bench/fields.h"

#include <math.h>

struct fault_plan {
    char instrument[INSTRUMENT_NAME];
    char kind[32];
    double count; /* NAN: not told */
    double probability;
    double delay_ms;
    double input;
    bool on;
    double code;
    char text[SCPI_ERROR_TEXT];
};

#define NUMBER(name)                                                                               \
    {                                                                                              \
#name, FIELD_NUMBER, offsetof(struct fault_plan, name), 0, NULL, 0                         \
    }
#define TEXT(name)                                                                                 \
    {                                                                                              \
#name, FIELD_TEXT, offsetof(struct fault_plan, name),                                      \
            sizeof(((struct fault_plan *)0)->name), NULL, 0                                        \
    }

static bool read_plan(json_t *params, struct fault_plan *plan, struct problem *problem)
{
    static const struct field fields[] = {
        TEXT(instrument),
        TEXT(kind),
        TEXT(text),
        NUMBER(count),
        NUMBER(probability),
        NUMBER(delay_ms),
        NUMBER(input),
        NUMBER(code),
        { "on", FIELD_FLAG, offsetof(struct fault_plan, on), 0, NULL, 0 },
    };

    *plan = (struct fault_plan) {
        .count = NAN, .probability = NAN, .input = 1.0, .on = true, .code = -310.0
    };
    if (!fields_read(params, fields, sizeof fields / sizeof fields[0], 0, plan, problem))
        return false;
    if (plan->count < 1.0 || plan->count > 1e9 || plan->probability < 0.0 ||
        plan->probability > 1.0 || plan->delay_ms < 0.0 || plan->delay_ms > 600e3)
        return problem_tell(problem, "count, probability or delay_ms is out of bounds");
    return true;
}

static bool turn_knob(struct instrument *instrument, const struct fault_plan *plan,
                      struct problem *problem)
{
    if (instrument->language->scope == NULL || (plan->input != 1.0 && plan->input != 2.0))
        return problem_tell(problem, "knob_off: only input 1 or 2 of a scope has one");
    scope_set_variable(&instrument->scope, (size_t)plan->input - 1, plan->on);
    return true;
}

static bool kill_ground(struct instrument *instrument, const struct fault_plan *plan,
                        struct problem *problem)
{
    if (instrument->language->scope == NULL || (plan->input != 1.0 && plan->input != 2.0))
        return problem_tell(problem, "dead_ground: only input 1 or 2 of a scope has one");
    instrument->scope.inputs[(size_t)plan->input - 1].ground_dead = plan->on;
    return true;
}

static bool queue_error(struct instrument *instrument, const struct fault_plan *plan,
                        struct problem *problem)
{
    if (!instrument->language->error_queue)
        return problem_tell(problem, "%s has no error queue", instrument->name);
    if (!(plan->code >= -32768.0 && plan->code <= 32767.0) || plan->code == 0.0)
        return problem_tell(problem, "code: expected -32768 to 32767 and not 0");
    scpi_report(&instrument->scpi, (int)plan->code, plan->text[0] != '\0' ? plan->text : NULL);
    return true;
}

static void arm(struct instrument *instrument, enum fault_kind kind, const struct fault_plan *plan)
{
    bool chance = !isnan(plan->probability);
    long counted = isnan(plan->count) ? 1 : (long)plan->count;

    instrument->faults.armed[kind] = (struct fault) {
        .armed = true,
        .left = isnan(plan->count) && chance ? -1 : counted,
        .probability = chance ? plan->probability : 1.0,
        .delay_ms = plan->delay_ms,
    };
}

bool fault_method(struct bench *bench, json_t *params, struct problem *problem)
{
    struct fault_plan plan;
    struct seat *seat;
    enum fault_kind kind;

    if (!read_plan(params, &plan, problem) ||
        (seat = bench_seat(bench, plan.instrument, problem)) == NULL)
        return false;
    if (!fault_named(plan.kind, &kind))
        return problem_tell(problem, "no fault of kind \"%s\"", plan.kind);
    if (!port_shows(seat->port, kind)) {
        return problem_tell(problem, "%s: the link of %s cannot show that", plan.kind,
                            seat->instrument->name);
    }
    switch (kind) {
    case FAULT_KNOB_OFF:
        return turn_knob(seat->instrument, &plan, problem);
    case FAULT_DEAD_GROUND:
        return kill_ground(seat->instrument, &plan, problem);
    case FAULT_ERROR_QUEUE:
        return queue_error(seat->instrument, &plan, problem);
    case FAULT_RESTART:
        instrument_restart(seat->instrument);
        port_disconnect(seat->port);
        return true;
    case FAULT_DISCONNECT:
        port_disconnect(seat->port);
        return true;
    case FAULT_STUCK:
        port_stick(seat->port);
        return true;
    case FAULT_SERVICE_REQUEST:
        port_serve(seat->port);
        return true;
    default:
        arm(seat->instrument, kind, &plan);
        return true;
    }
}
