/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "describe.h"

#include "fields.h"
#include "tools/standin/language/languages.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

/* Bits of the kinds of source, for the fields that not all of them have. */
enum {
    KIND_DC = 1u << SOURCE_DC,
    KIND_SINE = 1u << SOURCE_SINE,
    KIND_SQUARE = 1u << SOURCE_SQUARE,
    KIND_RIPPLE = 1u << SOURCE_RIPPLE,
    KIND_RESISTANCE = 1u << SOURCE_RESISTANCE
};
#define KIND_LEVEL    (KIND_DC | KIND_SINE | KIND_RIPPLE)
#define KIND_PERIODIC (KIND_SINE | KIND_SQUARE | KIND_RIPPLE)
#define KIND_LIVE     (KIND_LEVEL | KIND_SQUARE)

static const char *const kinds[] = { "dc", "sine", "square", "ripple", "resistance", NULL };
static const char *const units[] = { "V", "A", NULL };
static const char *const shapes[] = { "triangle", "sine", NULL };

#define NUMBER_AT(key, structure, member, kinds_with_it)                                           \
    {                                                                                              \
        key, FIELD_NUMBER, offsetof(struct structure, member), 0, NULL, kinds_with_it              \
    }
#define NUMBER(structure, name) NUMBER_AT(#name, structure, name, 0)
#define PROBE_NUMBER(name)      NUMBER_AT(#name, connection_plan, probe.name, 0)
#define SOURCE_NUMBER(name, kinds_with_it)                                                         \
    NUMBER_AT(#name, source_words, source.name, kinds_with_it)

/* What a source's words are read into beside the numbers. */
struct source_words {
    struct source source;
    int kind;
    int unit;
    int shape;
    char name[SOURCE_NAME];
};

bool describe_source(json_t *object, const char *name_key, bool known, struct source *source,
                     struct problem *problem)
{
    const struct field fields[] = {
        { name_key, FIELD_TEXT, offsetof(struct source_words, name), SOURCE_NAME, NULL, 0 },
        { "kind", FIELD_WORD, offsetof(struct source_words, kind), 0, kinds, 0 },
        { "unit", FIELD_WORD, offsetof(struct source_words, unit), 0, units, KIND_LIVE },
        { "shape", FIELD_WORD, offsetof(struct source_words, shape), 0, shapes, KIND_RIPPLE },
        { "steps", FIELD_STEPS, offsetof(struct source_words, source), 0, NULL, KIND_LIVE },
        SOURCE_NUMBER(level, KIND_LEVEL),
        SOURCE_NUMBER(amplitude, KIND_SINE),
        SOURCE_NUMBER(low, KIND_SQUARE),
        SOURCE_NUMBER(high, KIND_SQUARE),
        SOURCE_NUMBER(ripple, KIND_RIPPLE),
        SOURCE_NUMBER(frequency, KIND_PERIODIC),
        SOURCE_NUMBER(duty, KIND_SQUARE),
        SOURCE_NUMBER(rise, KIND_SQUARE),
        SOURCE_NUMBER(overshoot, KIND_SQUARE),
        SOURCE_NUMBER(tail, KIND_SQUARE),
        SOURCE_NUMBER(delay, KIND_PERIODIC),
        SOURCE_NUMBER(source_resistance, KIND_LIVE),
        SOURCE_NUMBER(resistance, KIND_RESISTANCE),
        SOURCE_NUMBER(noise, KIND_LIVE),
        SOURCE_NUMBER(wander, KIND_LIVE),
        SOURCE_NUMBER(drift, KIND_LIVE),
        SOURCE_NUMBER(tolerance, KIND_LIVE),
        SOURCE_NUMBER(fault_every, KIND_LIVE),
        SOURCE_NUMBER(fault_width, KIND_LIVE),
        SOURCE_NUMBER(fault_change, KIND_LIVE),
        SOURCE_NUMBER(fault_burst, KIND_LIVE),
    };
    struct source_words words = { .source = *source, .kind = (int)source->kind };
    const char *kind = json_string_value(json_object_get(object, "kind"));

    if (!known && kind == NULL)
        return problem_tell(problem, "kind: missing");
    for (int k = 0; kind != NULL && kinds[k] != NULL; k++) {
        if (strcmp(kind, kinds[k]) == 0) {
            words.kind = k;
            words.source = source_default((enum source_kind)k);
        }
    }
    words.unit = (int)words.source.unit;
    words.shape = words.source.ripple_is_sine;
    if (!fields_read(object, fields, sizeof fields / sizeof fields[0], 1u << words.kind, &words,
                     problem))
        return false;
    if (words.name[0] == '\0')
        return problem_tell(problem, "%s: missing", name_key);
    *source = words.source;
    source->kind = (enum source_kind)words.kind;
    source->unit = (enum source_unit)words.unit;
    source->ripple_is_sine = words.shape == 1;
    memcpy(source->name, words.name, sizeof source->name);
    return true;
}

bool describe_connection(json_t *object, struct connection_plan *plan, struct problem *problem)
{
    static const struct field fields[] = {
        { "instrument", FIELD_TEXT, offsetof(struct connection_plan, instrument), INSTRUMENT_NAME,
          NULL, 0 },
        { "source", FIELD_TEXT, offsetof(struct connection_plan, source), SOURCE_NAME, NULL, 0 },
        NUMBER(connection_plan, input),
        PROBE_NUMBER(factor),
        PROBE_NUMBER(factor_error),
        PROBE_NUMBER(factor_tolerance),
        PROBE_NUMBER(tip_resistance),
        PROBE_NUMBER(load_resistance),
        PROBE_NUMBER(shunt),
        PROBE_NUMBER(clamp),
        PROBE_NUMBER(offset),
        PROBE_NUMBER(tip_capacitance),
        PROBE_NUMBER(bandwidth),
        PROBE_NUMBER(lead_resistance),
        PROBE_NUMBER(termination),
        PROBE_NUMBER(edge_ratio),
        PROBE_NUMBER(edge_tau),
        { "blocks_dc", FIELD_FLAG, offsetof(struct connection_plan, probe.blocks_dc), 0, NULL, 0 },
    };

    *plan = (struct connection_plan) { .probe = probe_wire() };
    if (!fields_read(object, fields, sizeof fields / sizeof fields[0], 0, plan, problem))
        return false;
    if (plan->instrument[0] == '\0')
        return problem_tell(problem, "instrument: missing");
    return true;
}

bool describe_instrument(json_t *object, struct instrument_plan *plan, struct problem *problem)
{
    static const struct field fields[] = {
        { "name", FIELD_TEXT, offsetof(struct instrument_plan, name), sizeof plan->name, NULL, 0 },
        { "type", FIELD_TEXT, offsetof(struct instrument_plan, type), sizeof plan->type, NULL, 0 },
        { "listen", FIELD_TEXT, offsetof(struct instrument_plan, listen), sizeof plan->listen, NULL,
          0 },
        { "serial", FIELD_TEXT, offsetof(struct instrument_plan, serial), sizeof plan->serial, NULL,
          0 },
        { "gadget", FIELD_TEXT, offsetof(struct instrument_plan, gadget), sizeof plan->gadget, NULL,
          0 },
        { "udc", FIELD_TEXT, offsetof(struct instrument_plan, udc), sizeof plan->udc, NULL, 0 },
        NUMBER(instrument_plan, baud),
        NUMBER(instrument_plan, seed),
        NUMBER(instrument_plan, error_fraction),
        NUMBER(instrument_plan, conversion_ms),
    };

    *plan = (struct instrument_plan) {
        .serial = "100001", .baud = 9600.0, .error_fraction = 1.0, .conversion_ms = NAN
    };
    if (!fields_read(object, fields, sizeof fields / sizeof fields[0], 0, plan, problem))
        return false;
    if (plan->name[0] == '\0' || strchr(plan->name, '/') != NULL)
        return problem_tell(problem, "name: missing, or with a slash in it");
    plan->language = language_of(plan->type);
    if (plan->language == NULL) {
        return problem_tell(problem,
                            "type: expected tarnwerk-meter, oldmere-meter, tarnwerk-scope or "
                            "oldmere-scope, not \"%s\"",
                            plan->type);
    }
    if (plan->seed < 0.0 || plan->seed > 1e15 || plan->error_fraction < 0.0)
        return problem_tell(problem, "seed and error_fraction must not be negative");
    if (plan->conversion_ms < 0.0 || plan->conversion_ms > 60e3)
        return problem_tell(problem, "conversion_ms: expected 0 to 60000");
    return true;
}

static void put(json_t *object, const char *key, double value)
{
    json_object_set_new(object, key, json_real(value));
}

json_t *describe_truth(const struct source *source, double now)
{
    struct truth truth = source_truth(source, now);
    json_t *object = json_object();

    if (source_is_passive(source)) {
        put(object, "resistance", source->resistance);
        return object;
    }
    json_object_set_new(object, "unit", json_string(units[source->unit]));
    put(object, "dc", truth.dc);
    put(object, "ac", truth.ac);
    put(object, "rms", truth.rms);
    put(object, "maximum", truth.maximum);
    put(object, "minimum", truth.minimum);
    put(object, "peak_to_peak", truth.peak_to_peak);
    put(object, "noise", truth.noise);
    put(object, "faults", source_faults(source, now));
    put(object, "source_resistance", source->source_resistance);
    if (truth.frequency > 0.0)
        put(object, "frequency", truth.frequency);
    return object;
}

json_t *describe_bytes(const char *bytes)
{
    char text[INSTRUMENT_LOG_TEXT];
    json_t *string = json_string(bytes);

    if (string != NULL)
        return string;
    snprintf(text, sizeof text, "%s", bytes);
    for (char *c = text; *c != '\0'; c++)
        if ((unsigned char)*c > 0x7e)
            *c = '?';
    return json_string(text);
}
