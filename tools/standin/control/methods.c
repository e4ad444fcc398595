/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "methods.h"

#include "fault_method.h"
#include "hand_method.h"
#include "plug_method.h"
#include "tools/standin/bench/describe.h"

#include <string.h>

typedef json_t *method_call(struct bench *bench, json_t *params, struct problem *problem);

struct method {
    const char *name;
    method_call *call;
    bool reads_fields;   /* it refuses unknown parameters itself */
    const char *keys[4]; /* the parameters there are, else */
};

static const char *text_of(json_t *params, const char *key)
{
    return json_string_value(json_object_get(params, key));
}

static struct seat *seat_of(struct bench *bench, json_t *params, struct problem *problem)
{
    return bench_seat(bench, text_of(params, "instrument"), problem);
}

static json_t *set_source(struct bench *bench, json_t *params, struct problem *problem)
{
    return bench_set_source(bench, params, "source", problem) ? json_true() : NULL;
}

static json_t *tie_input(struct bench *bench, json_t *params, struct problem *problem)
{
    return bench_connect(bench, params, problem) ? json_true() : NULL;
}

static json_t *move_hand(struct bench *bench, json_t *params, struct problem *problem)
{
    return hand_method(bench, params, problem) ? json_true() : NULL;
}

static json_t *arm(struct bench *bench, json_t *params, struct problem *problem)
{
    return fault_method(bench, params, problem) ? json_true() : NULL;
}

/* Disarms all faults of one instrument and puts its knobs back. */
static void clear_seat(struct seat *seat)
{
    seat->instrument->faults = (struct faults) { 0 };
    port_quiet(seat->port);
    for (size_t i = 0; seat->instrument->language->scope != NULL && i < SCOPE_INPUTS; i++) {
        if (seat->instrument->scope.inputs[i].variable)
            scope_set_variable(&seat->instrument->scope, i, false);
        seat->instrument->scope.inputs[i].ground_dead = false;
    }
}

static json_t *clear(struct bench *bench, json_t *params, struct problem *problem)
{
    if (json_object_get(params, "instrument") != NULL) {
        struct seat *seat = seat_of(bench, params, problem);

        if (seat == NULL)
            return NULL;
        clear_seat(seat);
        return json_true();
    }
    for (size_t i = 0; i < bench->seat_count; i++)
        clear_seat(&bench->seats[i]);
    return json_true();
}

/* The source tied to {instrument, input}. */
static const struct source *tied_source(struct bench *bench, json_t *params,
                                        struct problem *problem)
{
    struct seat *seat = seat_of(bench, params, problem);
    json_int_t input = json_integer_value(json_object_get(params, "input"));

    if (seat == NULL)
        return NULL;
    if (input < 1 || input > (json_int_t)instrument_inputs(seat->instrument) ||
        seat->instrument->ties[input - 1].source == NULL) {
        problem_tell(problem, "input: nothing is connected there");
        return NULL;
    }
    return seat->instrument->ties[input - 1].source;
}

static json_t *truth(struct bench *bench, json_t *params, struct problem *problem)
{
    const struct source *source = json_object_get(params, "source") != NULL
                                      ? bench_source(bench, text_of(params, "source"), problem)
                                      : tied_source(bench, params, problem);

    return source != NULL ? describe_truth(source, clock_now(&bench->clock)) : NULL;
}

static json_t *last_commands(struct bench *bench, json_t *params, struct problem *problem)
{
    struct seat *seat = seat_of(bench, params, problem);
    json_t *wanted = json_object_get(params, "count");
    json_int_t count = wanted != NULL ? json_integer_value(wanted) : INSTRUMENT_LOG;

    if (seat == NULL)
        return NULL;
    if (count < 1 || count > INSTRUMENT_LOG) {
        problem_tell(problem, "count: expected 1 to %d", INSTRUMENT_LOG);
        return NULL;
    }
    const struct instrument *instrument = seat->instrument;
    uint64_t from = instrument->logged > (uint64_t)count ? instrument->logged - (uint64_t)count : 0;
    json_t *entries = json_array();
    for (uint64_t n = from; n < instrument->logged; n++) {
        const struct log_entry *entry = &instrument->log[n % INSTRUMENT_LOG];

        json_array_append_new(entries, json_pack("{s:f, s:o}", "time", entry->time, "command",
                                                 describe_bytes(entry->command)));
    }
    return entries;
}

static json_t *counters(struct bench *bench, json_t *params, struct problem *problem)
{
    const struct seat *seat = seat_of(bench, params, problem);

    if (seat == NULL)
        return NULL;
    const struct counters *count = &seat->instrument->counters;
    return json_pack("{s:I, s:I, s:I, s:I, s:I, s:I}", "connections",
                     (json_int_t)count->connections, "commands", (json_int_t)count->commands,
                     "queries", (json_int_t)count->queries, "readings", (json_int_t)count->readings,
                     "knobs", (json_int_t)count->knobs, "relay_changes",
                     (json_int_t)instrument_relay_changes(seat->instrument));
}

static json_t *instruments(struct bench *bench, json_t *params, struct problem *problem)
{
    json_t *list = json_array();

    (void)params;
    (void)problem;
    for (size_t i = 0; i < bench->seat_count; i++) {
        const struct instrument *instrument = bench->seats[i].instrument;

        json_array_append_new(list,
                              json_pack("{s:s, s:s, s:s, s:s}", "name", instrument->name, "type",
                                        instrument->language->type, "serial", instrument->serial,
                                        "address", port_address(bench->seats[i].port)));
    }
    return list;
}

static json_t *quit(struct bench *bench, json_t *params, struct problem *problem)
{
    /* Leaves the loop after this pass, so that the answer still gets out. */
    static const struct timeval soon = { 0, 1000 };

    (void)params;
    (void)problem;
    event_base_loopexit(bench->base, &soon);
    return json_true();
}

static const struct method methods[] = {
    { "set_source", set_source, true, { NULL } },
    { "connect", tie_input, true, { NULL } },
    { "hand", move_hand, true, { NULL } },
    { "fault", arm, true, { NULL } },
    { "clear", clear, false, { "instrument" } },
    { "truth", truth, false, { "source", "instrument", "input" } },
    { "log", last_commands, false, { "instrument", "count" } },
    { "counters", counters, false, { "instrument" } },
    { "instruments", instruments, false, { NULL } },
    { "unplug", unplug_method, false, { "instrument" } },
    { "plug", plug_method, false, { "instrument", "udc" } },
    { "replug", replug_method, false, { "instrument", "udc" } },
    { "device", device_method, false, { "instrument" } },
    { "quit", quit, false, { NULL } },
};

static const struct method *find(const char *name)
{
    for (size_t i = 0; i < sizeof methods / sizeof methods[0]; i++)
        if (strcmp(methods[i].name, name) == 0)
            return &methods[i];
    return NULL;
}

bool methods_known(const char *method)
{
    return find(method) != NULL;
}

static bool has_key(const struct method *method, const char *key)
{
    for (size_t i = 0; method->keys[i] != NULL; i++)
        if (strcmp(method->keys[i], key) == 0)
            return true;
    return false;
}

static bool known_keys(const struct method *method, json_t *params, struct problem *problem)
{
    const char *key;
    json_t *value;

    json_object_foreach(params, key, value)
    {
        if (!has_key(method, key))
            return problem_tell(problem, "unknown parameter \"%s\"", key);
    }
    return true;
}

json_t *methods_call(struct bench *bench, const char *method, json_t *params,
                     struct problem *problem)
{
    const struct method *found = find(method);

    if (!found->reads_fields && !known_keys(found, params, problem))
        return NULL;
    return found->call(bench, params, problem);
}
