/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "instrument.h"

#include "keys.h"
#include "tools/standin/basics/alloc.h"
#include "tools/standin/circuit/scope_wait.h"
#include "tools/standin/circuit/spread.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* What the types take when the bench file does not say. */
#define METER_CONVERSION_MS 20.0
#define SCOPE_OVERHEAD_MS   5.0

struct instrument *instrument_new(const struct instrument_plan *plan, uint64_t bench_seed)
{
    const struct language *language = plan->language;
    struct instrument *instrument = alloc_new(1, sizeof *instrument);

    snprintf(instrument->name, sizeof instrument->name, "%s", plan->name);
    snprintf(instrument->serial, sizeof instrument->serial, "%s", plan->serial);
    instrument->language = language;
    instrument->conversion_ms = plan->conversion_ms;
    instrument->rng = spread_new(bench_seed + (uint64_t)plan->seed, plan->name);
    if (language->meter != NULL) {
        meter_init(&instrument->meter, language->meter, instrument->rng, plan->error_fraction);
        if (isnan(instrument->conversion_ms))
            instrument->conversion_ms = METER_CONVERSION_MS;
    } else {
        scope_init(&instrument->scope, language->scope, instrument->rng, plan->error_fraction);
    }
    scpi_reset(&instrument->scpi);
    return instrument;
}

void instrument_free(struct instrument *instrument)
{
    if (instrument != NULL) {
        scope_clear(&instrument->scope);
        gsl_rng_free(instrument->rng);
        free(instrument);
    }
}

size_t instrument_inputs(const struct instrument *instrument)
{
    return instrument->language->meter != NULL ? METER_INPUTS : SCOPE_INPUTS;
}

void instrument_restart(struct instrument *instrument)
{
    if (instrument->language->meter != NULL)
        meter_reset(&instrument->meter);
    else
        scope_reset(&instrument->scope);
    instrument->busy_until = 0.0;
    instrument->locked = false;
    scpi_reset(&instrument->scpi);
}

void instrument_execute(struct instrument *instrument, const char *command, struct answer *answer)
{
    struct log_entry *entry = &instrument->log[instrument->logged++ % INSTRUMENT_LOG];

    entry->time = answer->now;
    snprintf(entry->command, sizeof entry->command, "%s", command);
    instrument->counters.commands++;
    if (instrument->language->scope != NULL &&
        faults_take(&instrument->faults, FAULT_KNOB, instrument->rng)) {
        scope_turn_knob(&instrument->scope, instrument->rng);
        keys_note(instrument);
    }
    keys_pressed(instrument);
    instrument->language->execute(instrument, command, answer);
    instrument->counters.queries += answer->replies;
}

uint64_t instrument_relay_changes(const struct instrument *instrument)
{
    return instrument->language->meter != NULL ? instrument->meter.relay_changes
                                               : instrument->scope.relay_changes;
}

/* What an input is tied to now; what a hand holds there is written to `felt`, which it points to. */
static struct tie tie_now(const struct instrument *instrument, size_t input, double now,
                          struct source *felt)
{
    struct tie tie = instrument->ties[input];

    if (instrument->hands[input].holds) {
        *felt = hand_feel(&instrument->hands[input], now);
        tie.source = felt;
    }
    return tie;
}

/* The same of the input in use. */
static struct tie tie_of(const struct instrument *instrument, double now, struct source *felt)
{
    int input = instrument->meter.input;

    return input > 0 ? tie_now(instrument, (size_t)input - 1, now, felt) : (struct tie) { 0 };
}

struct meter_reading instrument_read(struct instrument *instrument, struct answer *answer)
{
    struct meter_reading reading = { .overload = true };
    struct keys_before before;
    struct source felt;

    answer->delay_ms += instrument->conversion_ms;
    instrument->counters.readings++;
    keys_pressed(instrument);
    bool there = keys_there(instrument, &before);
    struct tie tie = tie_of(instrument, answer->now, &felt);
    keys_step(instrument, &tie, answer->now);
    if (!faults_take(&instrument->faults, FAULT_OVERLOAD, instrument->rng))
        reading = meter_read(&instrument->meter, &tie, answer->now, instrument->rng);
    if (there)
        keys_back(instrument, &before);
    return reading;
}

void instrument_acquire(struct instrument *instrument, double record_s, struct answer *answer)
{
    double busy_ms = isnan(instrument->conversion_ms) ? record_s * 1e3 + SCOPE_OVERHEAD_MS
                                                      : instrument->conversion_ms;
    struct source felt[SCOPE_INPUTS];
    struct tie ties[SCOPE_INPUTS];

    for (size_t i = 0; i < SCOPE_INPUTS; i++)
        ties[i] = tie_now(instrument, i, answer->now, &felt[i]);
    instrument->counters.readings++;
    struct keys_before before;
    bool there = keys_there(instrument, &before);
    if (faults_take(&instrument->faults, FAULT_OVERLOAD, instrument->rng))
        scope_acquire_overload(&instrument->scope);
    else
        scope_acquire(&instrument->scope, ties, answer->now, instrument->rng);
    if (there)
        keys_back(instrument, &before);
    instrument->busy_until = busy_ms > 0.0 ? answer->now + busy_ms / 1e3 : 0.0;
}

void instrument_arm(struct instrument *instrument, const struct answer *answer)
{
    instrument->counters.readings++;
    scope_arm(&instrument->scope, answer->now, instrument->rng);
}

bool instrument_waits(struct instrument *instrument, const struct answer *answer)
{
    struct source felt[SCOPE_INPUTS];
    struct tie ties[SCOPE_INPUTS];
    double end;

    if (!instrument->scope.trigger.armed)
        return false;
    for (size_t i = 0; i < SCOPE_INPUTS; i++)
        ties[i] = tie_now(instrument, i, answer->now, &felt[i]);
    if (!scope_look(&instrument->scope, ties, answer->now, &end, instrument->rng))
        return true;
    instrument->busy_until = end;
    return false;
}

void instrument_abort(struct instrument *instrument)
{
    scope_disarm(&instrument->scope);
    instrument->busy_until = 0.0;
}

int16_t *instrument_record(struct instrument *instrument, size_t input, size_t *count)
{
    struct faults *faults = &instrument->faults;
    size_t taken = instrument->scope.recorded;
    const int16_t *codes = instrument->scope.inputs[input].codes;
    int16_t *sent = alloc_new(2 * taken, sizeof *sent);
    bool twice = faults_take(faults, FAULT_TWICE, instrument->rng);
    bool pairs = !twice && faults_take(faults, FAULT_PAIRS, instrument->rng);

    *count = twice ? 2 * taken : taken;
    for (size_t i = 0; i < *count; i++) {
        bool number = pairs && i % 2 == 0;
        sent[i] = number ? (int16_t)(i / 2) : codes[twice || pairs ? i / 2 : i];
    }
    *count -= faults_take(faults, FAULT_ONE_LESS, instrument->rng);
    return sent;
}

bool instrument_busy(const struct instrument *instrument, const struct answer *answer)
{
    return answer->now < instrument->busy_until;
}
