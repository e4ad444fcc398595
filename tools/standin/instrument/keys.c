/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "keys.h"

#include "tools/standin/circuit/spread.h"

static size_t pick(gsl_rng *rng, size_t count)
{
    return (size_t)(spread_unit(rng) * (double)count) % count;
}

void keys_note(struct instrument *instrument)
{
    instrument->counters.knobs++;
    instrument->scpi.esr |= SCPI_ESR_USER;
}

/* One key of a meter, drawn at random. */
static void press(struct instrument *instrument)
{
    struct meter *meter = &instrument->meter;
    gsl_rng *rng = instrument->rng;

    instrument->locked = false;
    keys_note(instrument);
    switch (pick(rng, 4)) {
    case 0:
        meter_select_function(meter, (enum meter_function)pick(rng, METER_FUNCTIONS));
        break;
    case 1:
        meter_select_range(meter, meter->function,
                           pick(rng, meter->type->functions[meter->function].count));
        break;
    case 2:
        meter_select_input(meter, 1 + (int)pick(rng, METER_INPUTS));
        break;
    default:
        meter->automatic = !meter->automatic;
        break;
    }
}

void keys_pressed(struct instrument *instrument)
{
    if (faults_take(&instrument->faults, FAULT_KEY, instrument->rng))
        press(instrument);
}

bool keys_there(struct instrument *instrument, struct keys_before *before)
{
    if (!faults_take(&instrument->faults, FAULT_THERE_AND_BACK, instrument->rng))
        return false;
    *before = (struct keys_before) { instrument->meter, instrument->scope };
    if (instrument->language->meter != NULL) {
        press(instrument);
    } else {
        scope_turn_knob(&instrument->scope, instrument->rng);
        keys_note(instrument);
    }
    return true;
}

void keys_back(struct instrument *instrument, const struct keys_before *before)
{
    if (instrument->language->meter != NULL)
        instrument->meter = before->meter;
    else
        scope_turn_back(&instrument->scope, &before->scope);
    keys_note(instrument);
}

/* Whether the next lower range holds what is there. */
static bool fits_below(const struct meter *meter, const struct tie *tie, double now, gsl_rng *rng)
{
    struct meter below = *meter;

    if (meter->range[meter->function] == 0)
        return false;
    below.range[meter->function]--;
    return !meter_read(&below, tie, now, rng).overload;
}

void keys_step(struct instrument *instrument, const struct tie *tie, double now)
{
    struct meter *meter = &instrument->meter;
    bool steps = faults_take(&instrument->faults, FAULT_STEPS_DOWN, instrument->rng);

    if (meter->automatic)
        meter->range[meter->function] = meter->type->functions[meter->function].count - 1;
    for (bool go = steps || meter->automatic; go && fits_below(meter, tie, now, instrument->rng);
         go = meter->automatic)
        meter->range[meter->function]--;
}
