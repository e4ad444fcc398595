/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "instrument_priv.h"

#include "response.h"

#include <math.h>
#include <poll.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* A zero trace older than this is taken again; instruments drift as they warm up. */
static const int64_t ground_valid_ns = 600 * INT64_C(1000000000);

struct instrument *instrument_new(const struct profile *profile, const struct link_spec *spec,
                                  const char *name)
{
    struct instrument *instrument = calloc(1, sizeof *instrument);
    if (!instrument)
        return NULL;
    instrument->profile = profile;
    snprintf(instrument->name, sizeof instrument->name, "%s", name);
    instrument->dialogue = dialogue_new(&profile->protocol, spec, name);
    if (!instrument->dialogue) {
        free(instrument);
        return NULL;
    }
    return instrument;
}

void instrument_free(struct instrument *instrument)
{
    if (!instrument)
        return;
    dialogue_free(instrument->dialogue);
    free(instrument->volts);
    free(instrument);
}

struct dialogue *instrument_dialogue(struct instrument *instrument)
{
    return instrument->dialogue;
}

void instrument_forget(struct instrument *instrument, int input, enum slot slot)
{
    instrument->slots[input - 1][slot][0] = '\0';
}

static bool send_all(struct instrument *instrument, const struct commands *commands,
                     struct deadline deadline, struct failure *failure)
{
    for (size_t i = 0; i < commands->count; i++)
        if (!dialogue_command(instrument->dialogue, commands->texts[i], deadline, failure))
            return false;
    return true;
}

bool instrument_ready(struct instrument *instrument, struct deadline deadline,
                      struct failure *failure)
{
    struct dialogue *dialogue = instrument->dialogue;
    if (!dialogue_ready(dialogue, deadline, failure))
        return false;
    unsigned epoch = dialogue_epoch(dialogue);
    if (epoch == instrument->epoch)
        return true;
    memset(instrument->slots, 0, sizeof instrument->slots);
    memset(instrument->grounds, 0, sizeof instrument->grounds);
    if (!send_all(instrument, &instrument->profile->setup, deadline, failure) ||
        !dialogue_check_errors(dialogue, deadline, failure)) {
        dialogue_suspect(dialogue);
        return false;
    }
    instrument->epoch = epoch;
    return true;
}

bool instrument_set(struct instrument *instrument, int input, enum slot slot, const char *text,
                    const struct command_values *values, bool *changed, struct deadline deadline,
                    struct failure *failure)
{
    if (!text[0])
        return true;
    struct commands one = { 1, (char *[]) { NULL } };
    char copy[COMMAND_SIZE];
    snprintf(copy, sizeof copy, "%s", text);
    one.texts[0] = copy;
    return instrument_set_all(instrument, input, slot, &one, values, changed, deadline, failure);
}

/* Fills the commands in and writes them one after another, for comparison with a slot. */
static bool fill_all(const struct commands *commands, const struct command_values *values,
                     char *filled, size_t size, struct failure *failure)
{
    size_t length = 0;
    filled[0] = '\0';
    for (size_t i = 0; i < commands->count; i++) {
        if (!command_fill(commands->texts[i], values, filled + length, size - length - 1, failure))
            return false;
        length += strlen(filled + length);
        filled[length++] = '\n';
        filled[length] = '\0';
    }
    return true;
}

bool instrument_set_all(struct instrument *instrument, int input, enum slot slot,
                        const struct commands *commands, const struct command_values *values,
                        bool *changed, struct deadline deadline, struct failure *failure)
{
    char filled[COMMAND_SIZE];
    char *known = instrument->slots[input - 1][slot];
    if (!fill_all(commands, values, filled, sizeof filled, failure))
        return false;
    if (strcmp(filled, known) == 0)
        return true;
    known[0] = '\0';
    *changed = true;
    char lines[COMMAND_SIZE];
    memcpy(lines, filled, sizeof lines);
    char *rest = lines;
    for (char *line = strsep(&rest, "\n"); line && *line; line = strsep(&rest, "\n"))
        if (!dialogue_command(instrument->dialogue, line, deadline, failure))
            return false;
    memcpy(known, filled, sizeof filled);
    return true;
}

/* Waits on nothing but the clock; the instrument's relays and amplifiers need the time. */
static bool wait_ms(double ms, struct deadline deadline, struct failure *failure)
{
    struct deadline end = deadline_in(ms);
    while (!deadline_passed(end)) {
        if (deadline_passed(deadline))
            return failure_set(failure, FAILURE_DEADLINE, NULL, NULL,
                               "the deadline came while the input settled");
        poll(NULL, 0, deadline_poll_ms(deadline_sooner(end, deadline)));
    }
    return true;
}

bool instrument_settle(struct instrument *instrument, double settle_ms, struct deadline deadline,
                       struct failure *failure)
{
    return dialogue_check_errors(instrument->dialogue, deadline, failure) &&
           wait_ms(settle_ms, deadline, failure);
}

static bool read_number(const struct reply *reply, void *out, struct failure *failure)
{
    enum number_special special;
    if (!response_number(reply->bytes, reply->count, out, &special, failure))
        return false;
    if (special != SPECIAL_NONE)
        return failure_set(failure, FAILURE_UNEXPECTED_REPLY, NULL, "a number",
                           "a mark that says there is no value");
    return true;
}

/* What a check with a pattern makes of its answer. */
struct match {
    const regex_t *pattern;
    bool matches;
    char text[128];
};

static bool read_match(const struct reply *reply, void *out, struct failure *failure)
{
    (void)failure;
    struct match *match = out;
    snprintf(match->text, sizeof match->text, "%.*s", (int)reply->count, reply->bytes);
    match->matches = regexec(match->pattern, reply->bytes, 0, NULL, 0) == 0;
    return true;
}

bool instrument_check(struct instrument *instrument, const struct check *check,
                      const struct command_values *values, double number, enum failure_code failed,
                      const char *what, struct deadline deadline, struct failure *failure)
{
    char query[COMMAND_SIZE];
    if (!command_fill(check->query, values, query, sizeof query, failure))
        return false;
    if (check->has_pattern) {
        struct match match = { .pattern = &check->pattern };
        if (!dialogue_query(instrument->dialogue, query, 0, read_match, &match, deadline, failure))
            return false;
        return match.matches || failure_set(failure, failed, instrument->name, NULL,
                                            "%s: %s answered %s", what, query, match.text);
    }
    double read;
    if (!dialogue_query(instrument->dialogue, query, 0, read_number, &read, deadline, failure))
        return false;
    if (fabs(read - number) <= 1e-6 * fabs(number))
        return true;
    char expected[32];
    return failure_set(failure, failed, instrument->name,
                       command_number(expected, sizeof expected, number), "%s: %s answered %g",
                       what, query, read);
}

bool instrument_acquire(struct instrument *instrument, const struct request *request,
                        struct deadline deadline, struct acquisition *acquisition,
                        struct trace *trace, struct failure *failure)
{
    if (!instrument_ready(instrument, deadline, failure))
        return false;
    memset(acquisition, 0, sizeof *acquisition);
    bool done = instrument->profile->kind == PROFILE_METER
                    ? meter_acquire(instrument, request, deadline, acquisition, failure)
                    : scope_acquire(instrument, request, deadline, acquisition, trace, failure);
    if (done && instrument->profile->errors_always)
        done = dialogue_check_errors(instrument->dialogue, deadline, failure);
    return done;
}

static bool still_valid(const struct ground *ground, const struct setup *setup)
{
    return ground->taken && ground->range == setup->range && ground->position == setup->position &&
           monotonic_now() - ground->when < ground_valid_ns;
}

bool instrument_ground(struct instrument *instrument, const struct request *request,
                       struct deadline deadline, double *level, struct failure *failure)
{
    struct ground *ground = &instrument->grounds[request->input - 1];
    if (!still_valid(ground, &request->setup)) {
        struct request grounded = *request;
        grounded.setup.coupling = COUPLING_GROUND;
        grounded.setup.offset = 0;
        struct acquisition zero;
        if (!instrument_acquire(instrument, &grounded, deadline, &zero, NULL, failure))
            return false;
        if (zero.overload)
            return failure_set(failure, FAILURE_NOT_CALIBRATED, instrument->name,
                               "a zero trace on the screen",
                               "with the input grounded the trace is off the screen");
        *ground = (struct ground) { true, request->setup.range, request->setup.position,
                                    zero.signal.mean, monotonic_now() };
    }
    *level = ground->level;
    return true;
}

void instrument_release(struct instrument *instrument, struct deadline deadline)
{
    if (dialogue_in_step(instrument->dialogue))
        send_all(instrument, &instrument->profile->local, deadline, NULL);
    dialogue_disconnect(instrument->dialogue);
}
