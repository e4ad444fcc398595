/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "follow.h"

#include "loop.h"
#include "notify.h"

#include <event2/event.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/queue.h>

/* After a failure that says nothing about the signal, the next round waits at least so long. */
static const struct duration retry_pause = { 500 * MILLISECOND_NS };

/* Jobs of one point that may be open at a time when there is no period. */
enum { AHEAD = 2 };

/* One point of a subscription. */
struct strand {
    struct subscription *subscription;
    char point[BENCH_NAME];
    json_t *read;                 /* the keys of a point that is not in the settings; NULL: it is */
    struct measure_memory memory; /* of such a point, as long as the settings stay */
    char settings[DIGEST_SIZE];   /* that the memory is of */
    struct job *jobs[AHEAD];
    size_t open;       /* how many of them there are */
    size_t left;       /* rounds still to be told; counts down unless `endless` */
    struct moment due; /* when the next round is, or was, to start */
    uint64_t passed;   /* rounds that were due and could not be held, not told yet */
    struct event *timer;
};

struct subscription {
    struct follow *follow;
    struct session *session;
    uint64_t number;
    struct duration period; /* none: as fast as it goes */
    double deadline_ms;
    bool endless;
    uint64_t missed; /* notifications dropped, not told yet */
    LIST_ENTRY(subscription) entry;
    size_t count;
    struct strand strands[];
};

LIST_HEAD(subscription_list, subscription);

struct follow {
    struct loop *loop;
    struct subscription_list subscriptions;
    struct text outcome; /* reading or error, kept for its memory */
};

static void strand_next(struct strand *strand);

static void strand_drop_jobs(struct strand *strand)
{
    for (size_t i = 0; i < strand->open; i++)
        station_drop(strand->jobs[i]);
    strand->open = 0;
}

static void subscription_free(struct subscription *subscription)
{
    for (size_t i = 0; i < subscription->count; i++) {
        strand_drop_jobs(&subscription->strands[i]);
        if (subscription->strands[i].timer != NULL)
            event_free(subscription->strands[i].timer);
        json_decref(subscription->strands[i].read);
    }
    notify_close(subscription->session);
    LIST_REMOVE(subscription, entry);
    free(subscription);
}

static struct text *open_text(const struct subscription *subscription, const char *method)
{
    return notification_open(subscription->follow->loop, subscription->number, method);
}

static bool send_text(struct subscription *subscription, struct text *text)
{
    return notification_send(subscription->follow->loop, subscription->session, text,
                             &subscription->missed);
}

/* How late a round began, milliseconds; 0 when it did in time, never, or has no period. */
static int64_t late_ms(const struct job *job)
{
    return job != NULL && moment_is_set(job->due) && moment_before(job->due, job->started)
               ? moment_since(job->started, job->due).ns / MILLISECOND_NS
               : 0;
}

/* Tells the outcome of one round. `key` is "reading" or "error"; no job when none was begun. */
static void strand_tell(struct strand *strand, const char *key, const struct job *job)
{
    struct subscription *subscription = strand->subscription;
    struct text *outcome = &subscription->follow->outcome;
    struct text *text = open_text(subscription, "reading");
    text_member_string(text, "point", strand->point);
    text_key(text, key);
    text_json(text, outcome->bytes, outcome->length);
    text->failed = text->failed || outcome->failed;
    if (late_ms(job) > 0)
        text_member_integer(text, "late_ms", late_ms(job));
    if (strand->passed > 0)
        text_member_integer(text, "passed_over", (int64_t)strand->passed);
    if (send_text(subscription, text))
        strand->passed = 0;
}

/* `job` is NULL when no job could be begun. */
static void strand_tell_failure(struct strand *strand, const struct failure *failure,
                                const struct job *job)
{
    struct text *outcome = &strand->subscription->follow->outcome;
    text_reset(outcome);
    if (job != NULL)
        encode_error(outcome, failure, job->bench, job->point, &job->capture.reading);
    else
        encode_error(outcome, failure, NULL, NULL, NULL);
    strand_tell(strand, "error", job);
}

static void strand_tell_reading(struct strand *strand, const struct job *job)
{
    struct text *outcome = &strand->subscription->follow->outcome;
    const struct occasion occasion = job_occasion(job);
    text_reset(outcome);
    if (job->record != NULL)
        text_json(outcome, job->record->body.bytes, job->record->body.length);
    else
        encode_reading(outcome, &occasion, &job->capture.reading);
    strand_tell(strand, "reading", job);
}

/* Ends the subscription once every strand has told all its rounds. */
static void subscription_check(struct subscription *subscription)
{
    for (size_t i = 0; i < subscription->count; i++)
        if (subscription->strands[i].left > 0 || subscription->strands[i].open > 0)
            return;
    struct text *text = open_text(subscription, "finished");
    send_text(subscription, text);
    subscription_free(subscription);
}

static void strand_wait_until(struct strand *strand, struct moment moment)
{
    const struct timeval wait = duration_timeval(moment_since(moment, monotonic_now()));
    evtimer_add(strand->timer, &wait);
}

/* Whether a failure says that the input was looked at, so that going on at once does no harm. */
static bool looked_at_the_input(enum failure_code code)
{
    return code == FAILURE_OVER_RANGE || code == FAILURE_UNSTABLE || code == FAILURE_NO_VALUE ||
           code == FAILURE_NOT_CALIBRATED || code == FAILURE_RATING || code == FAILURE_MISTAKE;
}

/*
 * Sets the due time of the next round: one period on. Of the rounds that
 * were due before `earliest` only the last is held, late; the others are
 * counted.
 */
static void strand_advance(struct strand *strand, struct moment earliest)
{
    struct duration period = strand->subscription->period;
    strand->due = moment_plus(strand->due, period);
    if (moment_before(strand->due, earliest)) {
        int64_t behind = moment_since(earliest, strand->due).ns / period.ns;
        strand->due = moment_plus(strand->due, duration_times(period, behind));
        strand->passed += (uint64_t)behind;
    }
}

/* A round has been told: what comes next? `code` is how it ended. The strand may be gone after. */
static void strand_told(struct strand *strand, enum failure_code code)
{
    struct subscription *subscription = strand->subscription;
    bool pause = code != FAILURE_NONE && !looked_at_the_input(code);
    struct moment earliest = monotonic_now();
    if (pause)
        earliest = moment_plus(earliest, retry_pause);
    if (!subscription->endless && strand->left > 0)
        strand->left--;
    if (strand->left == 0) {
        subscription_check(subscription);
        return;
    }
    if (subscription->period.ns > 0) {
        strand_advance(strand, earliest);
        bool too_early = pause && moment_before(strand->due, earliest);
        strand_wait_until(strand, too_early ? earliest : strand->due);
    } else if (pause) {
        strand_wait_until(strand, earliest);
    } else if (!evtimer_pending(strand->timer, NULL)) {
        strand_next(strand);
    }
}

static void strand_forget(struct strand *strand, const struct job *job)
{
    size_t i = 0;
    while (strand->jobs[i] != job)
        i++;
    strand->jobs[i] = strand->jobs[strand->open - 1];
    strand->open--;
}

/* The worker remembers points of the settings only. */
static void strand_remember(struct strand *strand, const struct job *job)
{
    strand->memory = job->memory;
    memcpy(strand->settings, job->bench->digest, sizeof strand->settings);
}

static void on_done(struct job *job, const struct failure *refusal)
{
    struct strand *strand = job->owner;
    const struct failure *failure = refusal != NULL ? refusal : &job->capture.reading.failure;
    strand_forget(strand, job);
    if (refusal == NULL && moment_is_set(job->started))
        strand_remember(strand, job);
    if (refusal != NULL)
        strand_tell_failure(strand, refusal, job);
    strand_told(strand, failure->code);
}

/* Tells what a round has come to; one that was refused is not published. */
static void on_reading(void *context, struct job *job)
{
    (void)context;
    if (job->done != on_done)
        return;
    if (job->capture.reading.failure.code == FAILURE_NONE)
        strand_tell_reading(job->owner, job);
    else
        strand_tell_failure(job->owner, &job->capture.reading.failure, job);
}

/* A job for the next round, as the settings are now. NULL with the failure set. */
static struct job *strand_job(const struct strand *strand, struct failure *failure)
{
    struct loop *loop = strand->subscription->follow->loop;
    struct job *job;
    if (strand->read != NULL) {
        job = loop_loose_job(loop, strand->read, failure);
        if (job != NULL && strcmp(strand->settings, loop->bench->digest) == 0)
            job->memory = strand->memory;
        return job;
    }
    const struct bench_point *point = loop_point(loop, strand->point, failure);
    job = point != NULL ? job_new(JOB_MEASURE, loop->bench, point) : NULL;
    if (job == NULL)
        failure_no_memory(failure, "a job"); /* the first cause wins */
    return job;
}

static bool strand_submit(struct strand *strand, struct failure *failure)
{
    struct subscription *subscription = strand->subscription;
    struct loop *loop = subscription->follow->loop;
    struct job *job = strand_job(strand, failure);
    if (job == NULL)
        return false;
    job->done = on_done;
    job->owner = strand;
    job->due = subscription->period.ns > 0 ? strand->due : (struct moment) { 0 };
    if (!loop_submit(loop, job, job->point->instrument, subscription->session,
                     subscription->deadline_ms, failure)) {
        job_free(job);
        return false;
    }
    strand->jobs[strand->open++] = job;
    return true;
}

/* Starts as many rounds as may be open. The strand may be gone after. */
static void strand_next(struct strand *strand)
{
    const struct subscription *subscription = strand->subscription;
    size_t most = subscription->period.ns > 0 ? 1 : AHEAD;
    if (subscription->session->ops->gone(subscription->session->peer))
        return;
    while (strand->open < most && (subscription->endless || strand->open < strand->left)) {
        struct failure failure = { 0 };
        if (!strand_submit(strand, &failure)) {
            strand_tell_failure(strand, &failure, NULL);
            strand_told(strand, failure.code);
            return;
        }
    }
}

static void on_timer(evutil_socket_t unused, short what, void *argument)
{
    (void)unused;
    (void)what;
    strand_next(argument);
}

static bool strand_begin(struct subscription *subscription, struct strand *strand,
                         const struct follow_order *order, const char *point)
{
    strand->subscription = subscription;
    snprintf(strand->point, sizeof strand->point, "%s", point);
    strand->read = json_incref(order->read);
    strand->left = subscription->endless ? 1 : order->rounds;
    strand->due = monotonic_now();
    strand->timer = evtimer_new(subscription->follow->loop->base, on_timer, strand);
    return strand->timer != NULL;
}

struct follow *follow_new(struct loop *loop)
{
    struct follow *follow = calloc(1, sizeof *follow);
    if (follow == NULL)
        return NULL;
    follow->loop = loop;
    LIST_INIT(&follow->subscriptions);
    publish_join(&loop->publish, &(struct subscriber) { .context = follow, .reading = on_reading });
    return follow;
}

/* The session's first subscription of that number, or of any number when it is 0. */
static struct subscription *find(const struct follow *follow, const struct session *session,
                                 uint64_t number)
{
    struct subscription *subscription;
    LIST_FOREACH(subscription, &follow->subscriptions, entry)
    if (subscription->session == session && (number == 0 || subscription->number == number))
        return subscription;
    return NULL;
}

static struct subscription *subscription_new(struct follow *follow, struct session *session,
                                             const struct follow_order *order)
{
    size_t size = sizeof(struct subscription) + order->count * sizeof(struct strand);
    struct subscription *subscription = calloc(1, size);
    if (subscription == NULL)
        return NULL;
    subscription->follow = follow;
    subscription->session = session;
    subscription->period = duration_of_ms(order->every_ms);
    subscription->deadline_ms = order->deadline_ms;
    subscription->endless = order->rounds == 0;
    subscription->number = notify_open(follow->loop, session);
    LIST_INSERT_HEAD(&follow->subscriptions, subscription, entry);
    while (subscription->count < order->count) {
        struct strand *strand = &subscription->strands[subscription->count];
        subscription->count++;
        if (!strand_begin(subscription, strand, order, order->points[subscription->count - 1])) {
            subscription_free(subscription);
            return NULL;
        }
    }
    return subscription;
}

/* Points that are followed together are read in turn, with nobody between. */
static bool hands_free(const struct loop *loop, const struct follow_order *order,
                       struct failure *failure)
{
    for (size_t i = 0; order->read == NULL && i < order->count; i++) {
        const struct bench_point *point = loop_point(loop, order->points[i], failure);
        if (point == NULL)
            return false;
        for (size_t j = 0; j < i; j++) {
            const struct bench_point *other = bench_point(loop->bench, order->points[j]);
            if (other != NULL && bench_hand_between(loop->bench, point, other))
                return failure_set(
                    failure, FAILURE_SETTINGS, NULL, "points on inputs of their own",
                    "%s and %s share input %d of %s, and somebody would have to move "
                    "the lead between",
                    other->name, point->name, point->input,
                    loop->bench->instruments[point->instrument].name);
        }
    }
    return true;
}

bool follow_begin(struct follow *follow, struct session *session, const struct follow_order *order,
                  uint64_t *number, struct failure *failure)
{
    if (!hands_free(follow->loop, order, failure))
        return false;
    if (follow->loop->stopping)
        return failure_set(failure, FAILURE_STOPPING, NULL, NULL, "no new work is accepted");
    if (session->subscriptions >= SESSION_MAX_SUBSCRIPTIONS)
        return failure_set(failure, FAILURE_OVERLOADED, NULL, NULL,
                           "this client has %zu subscriptions", session->subscriptions);
    struct subscription *subscription = subscription_new(follow, session, order);
    if (subscription == NULL)
        return failure_no_memory(failure, "a subscription");
    for (size_t i = 0; i < subscription->count; i++)
        strand_wait_until(&subscription->strands[i], monotonic_now());
    *number = subscription->number;
    return true;
}

bool follow_end(struct follow *follow, const struct session *session, uint64_t number)
{
    struct subscription *subscription = find(follow, session, number);
    if (subscription != NULL)
        subscription_free(subscription);
    return subscription != NULL;
}

void follow_dismiss(struct follow *follow, const struct session *session)
{
    while (follow_end(follow, session, 0))
        continue;
}

void follow_stop(struct follow *follow)
{
    struct failure failure = { 0 };
    failure_set(&failure, FAILURE_STOPPING, NULL, NULL, "the subscription ends here");
    while (!LIST_EMPTY(&follow->subscriptions)) {
        struct subscription *subscription = LIST_FIRST(&follow->subscriptions);
        text_reset(&follow->outcome);
        encode_error(&follow->outcome, &failure, NULL, NULL, NULL);
        struct text *text = open_text(subscription, "finished");
        text_key(text, "error");
        text_json(text, follow->outcome.bytes, follow->outcome.length);
        send_text(subscription, text);
        subscription_free(subscription);
    }
}

void follow_free(struct follow *follow)
{
    if (follow == NULL)
        return;
    struct subscription *subscription = LIST_FIRST(&follow->subscriptions);
    while (subscription != NULL) {
        struct subscription *next = LIST_NEXT(subscription, entry);
        subscription_free(subscription);
        subscription = next;
    }
    text_free(&follow->outcome);
    free(follow);
}
