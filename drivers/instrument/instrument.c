/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "instrument.h"

#include "meter.h"
#include "panel.h"
#include "scope.h"
#include "scope_proof.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* A zero trace older than this is taken again; instruments drift as they warm up. */
static const struct duration ground_valid = { 600 * SECOND_NS };

/* Level of the zero trace, as taken at one range and position. */
struct ground {
    bool taken;
    size_t range;
    double position;
    struct signal signal;
    struct moment when;
};

struct instrument {
    const struct profile *profile;
    struct panel panel;
    unsigned epoch;         /* of the dialogue when the panel was filled */
    struct ground *grounds; /* of each input */
    struct record record;
    struct record beside; /* of a second input, where two are recorded together */
};

struct instrument *instrument_new(const struct profile *profile, const struct link_spec *spec,
                                  const char *name)
{
    struct instrument *instrument = calloc(1, sizeof *instrument);
    if (!instrument)
        return NULL;
    int inputs = profile_inputs(profile);
    instrument->profile = profile;
    instrument->grounds = calloc((size_t)inputs, sizeof *instrument->grounds);
    if (instrument->grounds && panel_begin(&instrument->panel, inputs, name))
        instrument->panel.dialogue = dialogue_new(&profile->protocol, spec, name);
    if (!instrument->panel.dialogue) {
        instrument_free(instrument);
        return NULL;
    }
    return instrument;
}

void instrument_free(struct instrument *instrument)
{
    if (!instrument)
        return;
    dialogue_free(instrument->panel.dialogue);
    panel_end(&instrument->panel);
    free(instrument->grounds);
    free(instrument->record.volts);
    free(instrument->beside.volts);
    free(instrument);
}

struct dialogue *instrument_dialogue(struct instrument *instrument)
{
    return instrument->panel.dialogue;
}

bool instrument_connect(struct instrument *instrument, struct deadline deadline,
                        struct failure *failure)
{
    return dialogue_connect(instrument->panel.dialogue, deadline, failure);
}

bool instrument_present(struct instrument *instrument, struct failure *failure)
{
    return dialogue_present(instrument->panel.dialogue, failure);
}

static bool send_all(struct instrument *instrument, const struct commands *commands,
                     struct deadline deadline, struct failure *failure)
{
    for (size_t i = 0; i < commands->count; i++)
        if (!dialogue_command(instrument->panel.dialogue, commands->texts[i], deadline, failure))
            return false;
    return true;
}

static void forget_grounds(struct instrument *instrument)
{
    memset(instrument->grounds, 0,
           (size_t)profile_inputs(instrument->profile) * sizeof *instrument->grounds);
}

bool instrument_ready(struct instrument *instrument, struct deadline deadline,
                      struct failure *failure)
{
    struct dialogue *dialogue = instrument->panel.dialogue;
    if (!dialogue_ready(dialogue, deadline, failure))
        return false;
    unsigned epoch = dialogue_epoch(dialogue);
    if (epoch == instrument->epoch)
        return true;
    panel_clear(&instrument->panel);
    forget_grounds(instrument);
    if (!send_all(instrument, &instrument->profile->setup, deadline, failure) ||
        !dialogue_check_errors(dialogue, deadline, failure)) {
        dialogue_suspect(dialogue);
        return false;
    }
    instrument->epoch = epoch;
    return true;
}

/* Hands out a copy of the samples, which the next acquisition overwrites. */
static bool copy_trace(const struct record *record, const char *name,
                       const struct waveform *waveform, struct trace *trace,
                       struct failure *failure)
{
    size_t size = waveform->count * sizeof *trace->volts;
    double *volts = malloc(size);
    if (!volts)
        return failure_set(failure, FAILURE_NO_MEMORY, name, NULL, "%zu samples", waveform->count);
    memcpy(volts, record->volts, size);
    free(trace->volts);
    *trace = (struct trace) { volts, waveform->count, waveform->interval };
    return true;
}

bool instrument_acquire(struct instrument *instrument, const struct request *request,
                        struct deadline deadline, struct acquisition *acquisition,
                        struct trace *trace, struct failure *failure)
{
    const struct profile *profile = instrument->profile;
    struct panel *panel = &instrument->panel;
    if (!instrument_ready(instrument, deadline, failure))
        return false;
    memset(acquisition, 0, sizeof *acquisition);
    bool done = profile->kind == PROFILE_METER
                    ? meter_acquire(panel, profile, request, deadline, acquisition, failure)
                    : scope_acquire(panel, profile, request, deadline, &instrument->record,
                                    acquisition, failure);
    if (!done) /* whatever it was, the zero trace may have moved with it */
        forget_grounds(instrument);
    if (done && profile->errors_always)
        done = dialogue_check_errors(panel->dialogue, deadline, failure);
    if (done && trace && acquisition->has_waveform && !acquisition->overload)
        done = copy_trace(&instrument->record, panel->name, &acquisition->waveform, trace, failure);
    return done;
}

bool instrument_acquire_pair(struct instrument *instrument, const struct request requests[2],
                             struct deadline deadline, struct trace traces[2], bool *overload,
                             struct failure *failure)
{
    struct panel *panel = &instrument->panel;
    struct record records[2] = { instrument->record, instrument->beside };
    struct paired paired;
    if (!instrument_ready(instrument, deadline, failure))
        return false;
    bool done = scope_acquire_pair(panel, instrument->profile, requests, deadline, records, &paired,
                                   failure);
    instrument->record = records[0];
    instrument->beside = records[1];
    if (!done)
        forget_grounds(instrument);
    if (done && instrument->profile->errors_always)
        done = dialogue_check_errors(panel->dialogue, deadline, failure);
    if (!done)
        return false;
    *overload = paired.overload[0] || paired.overload[1];
    for (int i = 0; i < 2; i++) {
        const struct waveform shown = { .count = paired.count[i], .interval = paired.interval };
        if (!copy_trace(&records[i], panel->name, &shown, &traces[i], failure))
            return false;
    }
    return true;
}

static bool still_valid(const struct ground *ground, const struct setup *setup)
{
    return ground->taken && ground->range == setup->range && ground->position == setup->position &&
           duration_shorter(moment_since(monotonic_now(), ground->when), ground_valid);
}

bool instrument_ground(struct instrument *instrument, const struct request *request,
                       struct deadline deadline, struct signal *zero, struct failure *failure)
{
    struct ground *ground = &instrument->grounds[request->input - 1];
    if (!still_valid(ground, &request->setup)) {
        struct request grounded = *request;
        grounded.setup.coupling = COUPLING_GROUND;
        grounded.setup.offset = 0;
        struct acquisition seen;
        if (!instrument_acquire(instrument, &grounded, deadline, &seen, NULL, failure))
            return false;
        if (seen.overload)
            return failure_set(failure, FAILURE_NOT_CALIBRATED, instrument->panel.name,
                               "a zero trace on the screen",
                               "with the input grounded the trace is off the screen");
        *ground =
            (struct ground) { scope_proves_zero(&instrument->profile->scope), request->setup.range,
                              request->setup.position, seen.signal, monotonic_now() };
    }
    *zero = ground->signal;
    return true;
}

bool instrument_confirm(struct instrument *instrument, struct deadline deadline,
                        struct failure *failure)
{
    return dialogue_confirm(instrument->panel.dialogue, deadline, failure);
}

void instrument_release(struct instrument *instrument, struct deadline deadline)
{
    if (dialogue_in_step(instrument->panel.dialogue))
        send_all(instrument, &instrument->profile->local, deadline, NULL);
    dialogue_disconnect(instrument->panel.dialogue);
}
