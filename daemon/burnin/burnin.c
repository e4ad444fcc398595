/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "burnin_priv.h"

#include "burnin_job.h"

#include "daemon/basics/log.h"
#include "daemon/basics/wall_clock.h"

#include "core/basics/nearest.h"

#include <event2/event.h>
#include <fcntl.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

/* Runs that are shown after their end. */
enum { ENDED_MOST = 8 };

static struct burnin_clock host_now(void *context)
{
    struct timespec steady;
    (void)context;
    clock_gettime(CLOCK_BOOTTIME, &steady);
    return (struct burnin_clock) { wall_time_now(),
                                   { (int64_t)steady.tv_sec * SECOND_NS + steady.tv_nsec } };
}

static void host_wake(void *context, struct duration pause)
{
    struct burnin_entry *entry = context;
    const struct timeval time = duration_timeval(pause);
    evtimer_add(entry->timer, &time);
}

static void on_timer(evutil_socket_t unused, short what, void *context)
{
    struct burnin_entry *entry = context;
    (void)unused;
    (void)what;
    burnin_run_tick(entry->run);
}

struct burnin_outcome burnin_outcome(const struct reading *reading, int64_t round)
{
    struct burnin_outcome outcome = { .round = round, .failure = reading->failure.code };
    double uncertainty;
    if (!reading_value(reading, &outcome.value, &uncertainty))
        return outcome;
    outcome.judged = reading->compared ? reading->comparison.value : outcome.value;
    outcome.verdict = reading->judgement.verdict;
    return outcome;
}

/* How finely the instrument shows the value at the tip; 0: a figure of shape, which no step is of. */
static double step_of(const struct job *job)
{
    const struct bench_point *point = job->point;
    if (bench_of_shape(job->bench, point))
        return 0;
    const struct bench_instrument *instrument = &job->bench->instruments[point->instrument];
    const struct front_end *input = profile_front_end(instrument->profile, point->at_input);
    return input->ranges[job->capture.reading.setup.range].resolution *
           fabs(job->bench->probes[point->probe].factor);
}

static void on_done(struct job *job, const struct failure *refusal)
{
    struct burnin_entry *entry = job->owner;
    struct burnin_outcome outcome = burnin_outcome(&job->capture.reading, job->round);
    if (outcome.failure == FAILURE_NONE)
        outcome.step = step_of(job);
    if (refusal != NULL)
        outcome = (struct burnin_outcome) { .round = job->round, .failure = refusal->code };
    entry->reading = refusal == NULL ? job->record : NULL;
    burnin_run_took(entry->run, burnin_run_slot(entry->run, job->point->name), &outcome,
                    refusal == NULL && job->record != NULL);
    entry->reading = NULL;
}

static bool host_measure(void *context, const struct bench_point *point, size_t slot, int64_t round,
                         struct failure *failure)
{
    struct burnin_entry *entry = context;
    const struct burnin_run *run = entry->run;
    struct job *job = job_new(JOB_MEASURE, run->bench, point);
    (void)slot;
    if (job == NULL)
        return failure_no_memory(failure, "a job");
    job->done = on_done;
    job->owner = entry;
    job->round = round;
    snprintf(job->run, sizeof job->run, "%s", run->name);
    job->order = burnin_job_of(run->job, point->unit_number);
    if (loop_submit(entry->burnin->loop, job, point->instrument, NULL, run->plan->deadline_ms,
                    failure))
        return true;
    job_free(job);
    return false;
}

struct record *burnin_record(struct burnin *burnin, struct happening *event)
{
    publish_event(&burnin->loop->publish, event);
    if (event->record == NULL)
        log_line(LOG_PRIORITY_ERROR, "%s: \"%s\" could not be recorded", event->subject,
                 event_kind_text(event->kind));
    return event->record;
}

static void host_record(void *context, enum event_kind kind, const struct text *body)
{
    struct burnin_entry *entry = context;
    struct happening event = {
        .kind = kind, .subject = entry->run->name, .plan = entry->run->plan->name, .body = body
    };
    entry->recorded = burnin_record(entry->burnin, &event);
    log_line(kind == EVENT_TRIP ? LOG_PRIORITY_ERROR : LOG_PRIORITY_NOTICE, "burn-in %s: %s %s",
             event.subject, event_kind_text(kind), body->failed ? "" : body->bytes);
}

/* What the command reads: the trip, and in it the reading (or error) that made it. */
static void encode_told(struct text *told, const struct text *body, const struct record *reading)
{
    text_raw(told, body->bytes, body->length - 1);
    if (reading != NULL) {
        text_key(told, reading->reason != NULL ? "error" : "reading");
        text_json(told, reading->body.bytes, reading->body.length);
    }
    text_close(told, '}');
    text_raw(told, "\n", 1);
}

/* Starts a command of a plan with what it is told. */
static bool start_command(struct burnin_entry *entry, struct shop_order *order,
                          const struct text *told, struct failure *failure)
{
    if (told->failed)
        return failure_no_memory(failure, "its input");
    order->user = entry->run->plan->command_user;
    order->input = told->bytes;
    order->length = told->length;
    order->owner = entry;
    return shop_command_start(entry->burnin->commands, order, failure);
}

static void host_tripped(void *context, size_t slot, const struct text *body)
{
    struct burnin_entry *entry = context;
    const struct bench_burnin *plan = entry->run->plan;
    struct failure failure = { 0 };
    struct text told = { 0 };
    char text[600];
    (void)slot;
    if (plan->command[0] == NULL || body->failed)
        return;
    encode_told(&told, body, entry->reading);
    struct shop_order order = { .kind = "trip command",
                                .words = plan->command,
                                .limit_s = plan->command_s };
    if (!start_command(entry, &order, &told, &failure))
        log_line(LOG_PRIORITY_ERROR, "trip command: %s", failure_text(&failure, text, sizeof text));
    text_free(&told);
}

static void on_command(void *owner, const struct shop_outcome *outcome)
{
    struct burnin_entry *entry = owner;
    burnin_run_command_took(entry->run, outcome);
}

static bool host_command(void *context, size_t phase, bool ending, const struct text *told,
                         struct failure *failure)
{
    struct burnin_entry *entry = context;
    const struct bench_phase *of = &entry->run->plan->phases[phase];
    struct text input = { 0 };
    struct shop_order order = { .kind = "phase command",
                                .words = ending ? of->ends : of->begins,
                                .limit_s = of->command_s,
                                .done = on_command };
    encode_told(&input, told, NULL);
    bool started = start_command(entry, &order, &input, failure);
    text_free(&input);
    return started;
}

static void host_command_kill(void *context)
{
    struct burnin_entry *entry = context;
    shop_command_kill(entry->burnin->commands, entry);
}

struct burnin_entry *burnin_entry_new(struct burnin *burnin, const struct bench_burnin *plan,
                                      const char *name, struct failure *failure)
{
    struct burnin_entry *entry = calloc(1, sizeof *entry);
    if (entry != NULL) {
        const struct burnin_host host = { .context = entry,
                                          .now = host_now,
                                          .wake = host_wake,
                                          .measure = host_measure,
                                          .record = host_record,
                                          .tripped = host_tripped,
                                          .command = host_command,
                                          .command_kill = host_command_kill };
        entry->burnin = burnin;
        entry->number = ++burnin->begun;
        TAILQ_INSERT_TAIL(&burnin->entries, entry, entry);
        entry->timer = evtimer_new(burnin->loop->base, on_timer, entry);
        entry->run = burnin_run_new(burnin->loop->bench, plan, name, &host);
        if (entry->timer != NULL && entry->run != NULL)
            return entry;
        burnin_entry_free(entry);
    }
    failure_no_memory(failure, "a run");
    return NULL;
}

void burnin_entry_free(struct burnin_entry *entry)
{
    TAILQ_REMOVE(&entry->burnin->entries, entry, entry);
    if (entry->timer != NULL)
        event_free(entry->timer);
    burnin_run_free(entry->run);
    free(entry);
}

/* "7b7e...": Linux makes one anew at each boot. */
static void read_boot(char boot[BURNIN_BOOT])
{
    int file = open("/proc/sys/kernel/random/boot_id", O_RDONLY | O_CLOEXEC);
    ssize_t count = file >= 0 ? read(file, boot, BURNIN_BOOT - 1) : 0;
    boot[count > 0 ? count : 0] = '\0';
    boot[strcspn(boot, "\n")] = '\0';
    if (file >= 0)
        close(file);
}

struct burnin *burnin_new(struct loop *loop, const struct probe_checks *checks)
{
    struct burnin *burnin = calloc(1, sizeof *burnin);
    if (burnin == NULL)
        return NULL;
    burnin->loop = loop;
    burnin->checks = checks;
    TAILQ_INIT(&burnin->entries);
    read_boot(burnin->boot);
    burnin->commands = shop_commands_new(loop->base);
    if (burnin->commands != NULL)
        return burnin;
    free(burnin);
    return NULL;
}

void burnin_free(struct burnin *burnin)
{
    if (burnin == NULL)
        return;
    struct burnin_entry *next = NULL;
    for (struct burnin_entry *entry = TAILQ_FIRST(&burnin->entries); entry != NULL; entry = next) {
        next = TAILQ_NEXT(entry, entry);
        burnin_entry_free(entry);
    }
    shop_commands_free(burnin->commands);
    free(burnin);
}

/* The newest run of that name or of that plan; NULL: there is none. */
static struct burnin_entry *find(struct burnin *burnin, const char *name)
{
    struct burnin_entry *entry;
    TAILQ_FOREACH_REVERSE(entry, &burnin->entries, burnin_entries, entry)
    {
        if (strcmp(entry->run->name, name) == 0 || strcmp(entry->run->plan->name, name) == 0)
            return entry;
    }
    return NULL;
}

/* Whether it has ended, and nothing of it is under way. */
static bool is_over(const struct burnin_run *run)
{
    return run->ended && run->open == 0 && !run->phases.end_due &&
           run->phases.doing != PHASE_COMMAND;
}

/* Forgets the oldest runs that have ended, once there are many. */
static void forget(struct burnin *burnin)
{
    size_t ended = 0;
    struct burnin_entry *next;
    struct burnin_entry *entry;
    TAILQ_FOREACH(entry, &burnin->entries, entry)
    ended += entry->run->ended;
    for (entry = TAILQ_FIRST(&burnin->entries); entry != NULL && ended > ENDED_MOST; entry = next) {
        next = TAILQ_NEXT(entry, entry);
        if (is_over(entry->run)) {
            burnin_entry_free(entry);
            ended--;
        }
    }
}

/* PLAN-20260131T235959Z, later by seconds where there is one of that name. */
static void name_run(struct burnin *burnin, const char *plan, char name[BENCH_NAME])
{
    time_t now = wall_time_timespec(wall_time_now()).tv_sec;
    struct tm parts;
    char moment[24];
    do {
        gmtime_r(&now, &parts);
        strftime(moment, sizeof moment, "%Y%m%dT%H%M%SZ", &parts);
        snprintf(name, BENCH_NAME, "%.*s-%.20s", BENCH_NAME - 24, plan, moment);
        now++;
    } while (find(burnin, name) != NULL);
}

static const struct bench_burnin *find_plan(const struct bench *bench, const char *name,
                                            struct failure *failure)
{
    const struct bench_burnin *plan = bench_burnin(bench, name);
    struct nearest nearest = { 0 };
    char expected[BENCH_NAME + 16] = "";
    for (size_t i = 0; plan == NULL && i < bench->burnin_count; i++)
        nearest_offer(&nearest, name, bench->burnins[i].name);
    if (nearest.word != NULL)
        snprintf(expected, sizeof expected, "perhaps %s", nearest.word);
    if (plan == NULL)
        failure_set(failure, FAILURE_SETTINGS, bench->path, expected,
                    "there is no burn-in plan %.120s", name);
    return plan;
}

/* Whether the probes of a plan were checked as it asks. */
static bool probes_good(struct burnin *burnin, const struct bench_burnin *plan,
                        struct failure *failure)
{
    struct loop *loop = burnin->loop;
    bool good = true;
    for (size_t i = 0; good && plan->probe_checks_s > 0 && i < plan->point_count; i++)
        good = probe_checks_good(burnin->checks, loop->bench, plan->phases[0].points[i],
                                 plan->probe_checks_s, wall_time_now(), failure);
    return good;
}

bool burnin_start(struct burnin *burnin, const char *name, const char *by, const char *order,
                  struct record **record, struct failure *failure)
{
    const struct bench_burnin *plan = find_plan(burnin->loop->bench, name, failure);
    if (plan == NULL)
        return false;
    const struct burnin_entry *before = find(burnin, name);
    if (burnin->loop->stopping)
        return failure_set(failure, FAILURE_STOPPING, NULL, NULL, "no new work is accepted");
    if (burnin->loop->store == NULL)
        return failure_set(failure, FAILURE_SETTINGS, burnin->loop->bench->path,
                           "store = { path = ...; } and a restart", "readings are not kept");
    if (before != NULL && !before->run->ended)
        return failure_set(failure, FAILURE_HELD, name, NULL, "run %s of it goes on",
                           before->run->name);
    if (!probes_good(burnin, plan, failure))
        return false;
    char run[BENCH_NAME];
    name_run(burnin, name, run);
    forget(burnin);
    json_t *job = NULL;
    if (order != NULL && (job = burnin_job_read(order, plan, failure)) == NULL)
        return false;
    struct burnin_entry *entry = burnin_entry_new(burnin, plan, run, failure);
    if (entry == NULL) {
        json_decref(job);
        return false;
    }
    entry->run->job = job;
    burnin_run_begin(entry->run, burnin->boot, by);
    *record = entry->recorded;
    return true;
}

struct burnin_entry *burnin_find(struct burnin *burnin, const char *name, struct failure *failure)
{
    struct burnin_entry *entry = find(burnin, name);
    const struct burnin_entry *other;
    struct nearest nearest = { 0 };
    char expected[BENCH_NAME + 16] = "a run that burnin.status names, or a plan";
    if (entry != NULL)
        return entry;
    if (bench_burnin(burnin->loop->bench, name) != NULL) {
        failure_set(failure, FAILURE_SETTINGS, NULL, "one that has been started",
                    "no run of the plan %.120s has begun", name);
        return NULL;
    }
    TAILQ_FOREACH(other, &burnin->entries, entry)
    nearest_offer(&nearest, name, other->run->name);
    for (size_t i = 0; i < burnin->loop->bench->burnin_count; i++)
        nearest_offer(&nearest, name, burnin->loop->bench->burnins[i].name);
    if (nearest.word != NULL)
        snprintf(expected, sizeof expected, "perhaps %s", nearest.word);
    failure_set(failure, FAILURE_SETTINGS, NULL, expected, "there is no run %.120s", name);
    return NULL;
}

bool burnin_stop(struct burnin *burnin, const char *name, const char *by, struct record **record,
                 struct failure *failure)
{
    struct burnin_entry *entry = burnin_find(burnin, name, failure);
    if (entry == NULL)
        return false;
    if (entry->run->ended)
        return failure_set(failure, FAILURE_SETTINGS, entry->run->name, "a run that goes on",
                           "it has ended: %s", entry->run->why);
    burnin_run_end(entry->run, "stopped", by);
    *record = entry->recorded;
    return true;
}

bool burnin_continue(struct burnin *burnin, const char *name, const char *by,
                     struct record **record, struct failure *failure)
{
    struct burnin_entry *entry = burnin_find(burnin, name, failure);
    if (entry == NULL)
        return false;
    if (!burnin_phases_continue(entry->run, by))
        return failure_set(failure, FAILURE_SETTINGS, entry->run->name,
                           "a run that a phase's command holds", "it is not held");
    *record = entry->recorded;
    return true;
}

bool burnin_may_follow(struct burnin *burnin, const char *name, struct failure *failure)
{
    if (bench_burnin(burnin->loop->bench, name) != NULL)
        return true;
    const struct burnin_entry *entry = burnin_find(burnin, name, failure);
    if (entry == NULL)
        return false;
    return !entry->run->ended ||
           failure_set(failure, FAILURE_SETTINGS, entry->run->name, "a run that goes on",
                       "it has ended: %s", entry->run->why);
}

/* Whether a run has a point at that input. */
static bool uses_input(const struct burnin_run *run, const char *instrument, int input)
{
    for (size_t i = 0; i < run->plan->point_count; i++) {
        const struct bench_point *point = run->plan->phases[0].points[i];
        if (point->input == input &&
            strcmp(run->bench->instruments[point->instrument].name, instrument) == 0)
            return true;
    }
    return false;
}

const char *burnin_at_input(const struct burnin *burnin, const char *instrument, int input)
{
    const struct burnin_entry *entry;
    TAILQ_FOREACH(entry, &burnin->entries, entry)
    if (!entry->run->ended && uses_input(entry->run, instrument, input))
        return entry->run->name;
    return NULL;
}

void burnin_pause(struct burnin *burnin)
{
    struct burnin_entry *entry;
    TAILQ_FOREACH(entry, &burnin->entries, entry)
    burnin_run_pause(entry->run);
}

void burnin_rebind(struct burnin *burnin, struct bench *bench)
{
    struct burnin_entry *entry;
    TAILQ_FOREACH(entry, &burnin->entries, entry)
    burnin_run_rebind(entry->run, bench);
}
