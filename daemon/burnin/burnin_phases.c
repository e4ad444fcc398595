/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "burnin_phases.h"

#include "burnin_job.h"
#include "burnin_tell.h"
#include "encode_outlook.h"

#include <string.h>

struct burnin_phases burnin_phases_new(void)
{
    return (struct burnin_phases) { .phase = BURNIN_PHASES };
}

bool burnin_phases_any(const struct bench_burnin *plan)
{
    for (size_t i = 0; i < plan->phase_count; i++)
        if (plan->phases[i].begins[0] != NULL || plan->phases[i].ends[0] != NULL)
            return true;
    return false;
}

static char *const *command_of(const struct burnin_run *run, size_t phase, bool ending)
{
    const struct bench_phase *of = &run->plan->phases[phase];
    return ending ? of->ends : of->begins;
}

static const char *when(bool ending)
{
    return ending ? "ends" : "begins";
}

/* The members that events of a command have in common; what it reads on its input, too. */
static struct text *open_event(struct burnin_run *run, const char *outcome)
{
    const struct burnin_phases *phases = &run->phases;
    struct text *text = burnin_tell_open(run);
    text_member_string(text, "phase", run->plan->phases[phases->phase].name);
    text_member_string(text, "when", when(phases->ending));
    text_member_string(text, "outcome", outcome);
    text_member_integer(text, "round", run->last);
    if (phases->after_restart)
        text_member_bool(text, "after_restart", true);
    if (run->ended)
        text_member_string(text, "run_ended", run->why);
    return text;
}

static void mark_done(struct burnin_phases *phases)
{
    phases->stage = phases->ending ? PHASE_LEFT : PHASE_SET;
}

/* Begins a command; true where there is none, which is as good as one that is done. */
static bool step(struct burnin_run *run, size_t phase, bool ending)
{
    struct burnin_phases *phases = &run->phases;
    struct failure failure = { 0 };
    char why[600];
    phases->phase = phase;
    phases->ending = ending;
    if (!ending)
        phases->stage = PHASE_UNSET;
    if (command_of(run, phase, ending)[0] == NULL) {
        mark_done(phases);
        return true;
    }
    phases->doing = PHASE_COMMAND;
    phases->since = burnin_run_now(run);
    struct text *text = open_event(run, "begun");
    burnin_job_member(text, run->job);
    burnin_tell(run, EVENT_PHASE_COMMAND);
    if (!run->host.command(run->host.context, phase, ending, text, &failure)) {
        failure_text(&failure, why, sizeof why);
        burnin_phases_took(run, &(struct shop_outcome) { false, why, "" });
    }
    return false;
}

bool burnin_phases_ready(struct burnin_run *run, size_t phase)
{
    struct burnin_phases *phases = &run->phases;
    if (phases->doing != PHASE_IDLE || run->paused)
        return false;
    bool other = phases->phase != phase;
    if (other && phases->phase != BURNIN_PHASES && phases->stage != PHASE_LEFT &&
        !step(run, phases->phase, true))
        return false;
    if (other || phases->stage != PHASE_SET)
        return step(run, phase, false);
    return true;
}

/* What becomes of the run by a command that failed, in the word of its record. */
static const char *consequence(const struct burnin_run *run)
{
    if (run->ended)
        return "nothing";
    return run->plan->command_fails == BURNIN_FAILS_HOLD ? "held" : "ended";
}

static void tell_outcome(struct burnin_run *run, const struct shop_outcome *outcome)
{
    struct duration took = plan_time_since(burnin_run_now(run), run->phases.since);
    struct text *text = open_event(run, outcome->good ? "done" : "failed");
    text_member_number(text, "took_s", duration_seconds(took));
    if (!outcome->good) {
        text_member_string(text, "reason", outcome->why);
        text_member_string(text, "then", consequence(run));
    }
    char begin[200];
    snprintf(begin, sizeof begin, "%s", outcome->output);
    if (begin[0] != '\0')
        text_member_string(text, "output", begin);
    burnin_tell(run, EVENT_PHASE_COMMAND);
}

void burnin_phases_took(struct burnin_run *run, const struct shop_outcome *outcome)
{
    struct burnin_phases *phases = &run->phases;
    phases->doing = PHASE_IDLE;
    tell_outcome(run, outcome);
    if (outcome->good) {
        mark_done(phases);
        phases->after_restart = false;
    } else if (run->ended) {
        phases->stage = phases->ending ? PHASE_LEFT : PHASE_UNSET;
    } else if (run->plan->command_fails == BURNIN_FAILS_HOLD) {
        phases->doing = PHASE_HELD;
        phases->since = burnin_run_now(run);
    } else {
        if (phases->ending)
            phases->stage = PHASE_LEFT;
        phases->over = true;
    }
}

bool burnin_phases_end(struct burnin_run *run, bool completed)
{
    struct burnin_phases *phases = &run->phases;
    phases->end_due = phases->phase != BURNIN_PHASES && phases->stage != PHASE_LEFT &&
                      command_of(run, phases->phase, true)[0] != NULL &&
                      (completed || run->plan->ends_when_stopped);
    if (phases->doing == PHASE_HELD)
        phases->doing = PHASE_IDLE;
    if (phases->doing == PHASE_COMMAND && !phases->ending)
        run->host.command_kill(run->host.context);
    return phases->end_due;
}

void burnin_phases_finish(struct burnin_run *run)
{
    struct burnin_phases *phases = &run->phases;
    if (!phases->end_due || phases->doing == PHASE_COMMAND || run->open > 0 || run->paused)
        return;
    phases->end_due = false;
    if (phases->stage != PHASE_LEFT)
        step(run, phases->phase, true);
}

bool burnin_phases_continue(struct burnin_run *run, const char *by)
{
    if (run->phases.doing != PHASE_HELD)
        return false;
    run->phases.doing = PHASE_IDLE;
    struct text *text = burnin_tell_open(run);
    text_member_string(text, "by", by);
    burnin_tell_warnings(text);
    burnin_tell(run, EVENT_RUN_CONTINUED);
    run->host.wake(run->host.context, (struct duration) { 0 });
    return true;
}

/* The phase of that name; BURNIN_PHASES: the plan has none. */
static size_t phase_named(const struct bench_burnin *plan, const char *name)
{
    for (size_t i = 0; i < plan->phase_count; i++)
        if (strcmp(plan->phases[i].name, name) == 0)
            return i;
    return BURNIN_PHASES;
}

static const char *string_of(const json_t *body, const char *key)
{
    const char *text = json_string_value(json_object_get(body, key));
    return text != NULL ? text : "";
}

void burnin_phases_recall(struct burnin_run *run, const json_t *body, bool continued)
{
    struct burnin_phases *phases = &run->phases;
    size_t phase = phase_named(run->plan, string_of(body, "phase"));
    bool done = strcmp(string_of(body, "outcome"), "done") == 0;
    phases->doing = PHASE_IDLE;
    if (continued || phase == BURNIN_PHASES)
        return;
    phases->ending = strcmp(string_of(body, "when"), "ends") == 0;
    phases->phase = phase;
    if (done || !phases->ending)
        phases->stage = done ? (phases->ending ? PHASE_LEFT : PHASE_SET) : PHASE_UNSET;
    if (strcmp(string_of(body, "then"), "held") == 0)
        phases->doing = PHASE_HELD;
}

void burnin_phases_resume(struct burnin_run *run)
{
    struct burnin_phases *phases = &run->phases;
    phases->after_restart = true;
    if (phases->stage == PHASE_SET)
        phases->stage = PHASE_UNSET;
    if (phases->doing == PHASE_HELD)
        phases->since = burnin_run_now(run);
}

void burnin_phases_recall_end(struct burnin_run *run, const char *phase)
{
    struct burnin_phases *phases = &run->phases;
    phases->phase = phase_named(run->plan, phase);
    phases->stage = PHASE_UNSET;
    phases->doing = PHASE_IDLE;
    phases->after_restart = true;
    phases->end_due = phases->phase != BURNIN_PHASES;
}

void burnin_phases_member(struct text *text, const struct burnin_run *run)
{
    const struct burnin_phases *phases = &run->phases;
    if (phases->doing == PHASE_IDLE)
        return;
    text_member_open(text, "command", '{');
    text_member_string(text, "phase", run->plan->phases[phases->phase].name);
    text_member_string(text, "when", when(phases->ending));
    text_member_string(text, "state", phases->doing == PHASE_HELD ? "failed" : "running");
    encode_plan_time(text, "since", phases->since);
    text_close(text, '}');
}
