/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Following the hand: glances for the touch detector, and the reading once something has settled. */
#include "walk_priv.h"

#include <event2/event.h>
#include <math.h>
#include <string.h>

/* How long a touched place has to hold still before it is read; stated in README. */
static const double steady_s = 0.25;

/* How long a tip that was never in the air is watched before it is said that it should be. */
static const double lift_s = 1;

/* Glances begin no closer together than this, and after a failure of the link wait so long. */
static const struct duration least_pause = { 30 * MILLISECOND_NS };
static const struct duration retry_pause = { 500 * MILLISECOND_NS };

static const double glance_ms = 5000, reading_ms = 20000;

/* Of what is expected: less may be a lifted tip. */
static const double near_share = 0.5;
/* Where nothing is expected, or zero: as a lifted tip may float, volts; own choice. */
static const double near_unknown = 0.25;

static void submit_glance(struct walk *walk);

static const struct bench_point *point_of(const struct walk *walk, size_t place)
{
    const struct bench_sheet *sheet = bench_sheet(walk->bench, walk->sheet);
    return &walk->bench->points[sheet->places[place].point];
}

/* Whether a lifted probe looks the same for both. */
static bool same_air(const struct bench_point *a, const struct bench_point *b)
{
    return a->instrument == b->instrument && a->input == b->input && a->probe == b->probe &&
           a->quantity == b->quantity;
}

static enum touch_kind kind_of(const struct bench_point *point)
{
    enum dimension dimension = quantity_dimension(point->quantity);
    if (dimension == DIMENSION_RESISTANCE)
        return TOUCH_OPEN;
    if (dimension == DIMENSION_FREQUENCY)
        return TOUCH_RATE;
    return quantity_aspect(point->quantity) == ASPECT_DC ? TOUCH_LEVEL : TOUCH_SWING;
}

/* Half of the smallest that is expected at this input, so that it holds for the whole sheet. */
static double near_of(const struct walk *walk, const struct bench_point *point)
{
    double least = INFINITY;
    for (size_t i = 0; i < walk->count; i++) {
        const struct bench_point *other = point_of(walk, i);
        double expected = fabs(other->expected);
        if (same_air(point, other) && expected > 0 && expected < least)
            least = expected;
    }
    return isinf(least) ? near_unknown : near_share * least;
}

static void begin_touch(struct walk *walk)
{
    const struct bench_point *point = point_of(walk, walk->at);
    const struct touch_rules rules = { kind_of(point), near_of(walk, point), steady_s };
    touch_start(&walk->touch, &rules);
    walk->watched = walk->at;
    walk->told = walk->touch.state;
    walk->first = NAN;
    walk->lift = false;
}

static void wait_until(struct walk *walk, struct duration pause)
{
    const struct timeval wait = duration_timeval(pause);
    evtimer_add(walk->next, &wait);
}

static void look_soon(struct walk *walk)
{
    wait_until(walk, moment_since(moment_plus(walk->looked, least_pause), monotonic_now()));
}

/* What is under way was for the place before. */
static void drop_work(struct walk *walk)
{
    if (walk->work == NULL)
        return;
    station_drop(walk->work);
    walk->work = NULL;
    look_soon(walk);
}

void walk_turn(struct walk *walk)
{
    drop_work(walk);
    walk->elsewhere = walk->count;
    walk->ranges.known = false; /* the next place may expect another size */
    if (walk->watched < walk->count &&
        same_air(point_of(walk, walk->watched), point_of(walk, walk->at)))
        return;
    memset(&walk->ranges, 0, sizeof walk->ranges);
    begin_touch(walk);
}

/* The instrument did not answer: whatever the probe did meanwhile was not seen. */
static void on_failure(struct walk *walk, const struct failure *failure)
{
    begin_touch(walk);
    if (!walk->away)
        walk_tell_away(walk, failure);
    walk->away = true;
    wait_until(walk, retry_pause);
}

static void tell_state(struct walk *walk)
{
    if (walk->touch.state == walk->told && !walk->away)
        return;
    walk->told = walk->touch.state;
    walk->away = false;
    walk_tell_state(walk);
}

/* Whether a reading that fails here is what another place of the sheet should show; count: none. */
static size_t looks_like(const struct walk *walk, const struct reading *reading)
{
    const struct bench_point *here = point_of(walk, walk->at);
    if (reading->judgement.verdict != VERDICT_FAIL)
        return walk->count;
    for (size_t i = 0; i < walk->count; i++) {
        const struct bench_point *other = point_of(walk, i);
        if (i != walk->at && same_air(here, other) && other->limits.judged == JUDGED_VALUE &&
            limits_present(&other->limits) && reading->value >= other->limits.low &&
            reading->value <= other->limits.high)
            return i;
    }
    return walk->count;
}

/* The place has its outcome; the next one's turn comes. */
static void on_outcome(struct walk *walk, struct job *job)
{
    const struct reading *reading = &job->capture.reading;
    struct place_record *place = &walk->places[walk->at];
    bool good = reading->failure.code == FAILURE_NONE;
    place->state = good ? PLACE_READ : PLACE_NO_READING;
    place->verdict = good ? reading->judgement.verdict : VERDICT_NONE;
    place->value = good ? reading->value : NAN;
    publish_reading(&walk->walks->loop->publish, job);
    walk_record_place(walk, walk->at);
    walk_tell_outcome(walk, walk->at, job);
    walk->last = walk->at;
    if (!walk_next(walk))
        return;
    tell_state(walk);
    look_soon(walk);
}

static void take_reading(struct walk *walk, struct job *job)
{
    const struct reading *reading = &job->capture.reading;
    size_t like = looks_like(walk, reading);
    if (job->moved) {
        touch_moved(&walk->touch);
    } else if (failure_is_of_link(reading->failure.code) ||
               reading->failure.code == FAILURE_DEADLINE) {
        on_failure(walk, &reading->failure);
        return;
    } else {
        touch_taken(&walk->touch);
        if (like == walk->count || walk->elsewhere == walk->at) {
            on_outcome(walk, job);
            return;
        }
        walk->elsewhere = walk->at;
        walk_tell_elsewhere(walk, walk->at, like, job);
    }
    tell_state(walk);
    look_soon(walk);
}

static void submit(struct walk *walk, enum job_kind kind, double within_ms, job_done *done)
{
    struct loop *loop = walk->walks->loop;
    const struct bench_point *point = point_of(walk, walk->at);
    struct failure failure = { 0 };
    struct job *job = job_new(kind, loop->bench, point);
    bool whole = job != NULL;
    if (whole && kind == JOB_TOUCH && walk->job != NULL)
        whole = (job->order = strdup(walk->job)) != NULL;
    if (!whole) {
        job_free(job);
        failure_no_memory(&failure, "a job");
        on_failure(walk, &failure);
        return;
    }
    job->done = done;
    job->owner = walk;
    job->ranges = walk->ranges;
    job->wants_spread = touch_wants_spread(&walk->touch);
    job->settled = touch_value(&walk->touch);
    job->tolerance = touch_tolerance(&walk->touch);
    memcpy(job->run, walk->name, sizeof job->run);
    job->round = (int64_t)walk->at + 1;
    walk->looked = monotonic_now();
    if (loop_submit(loop, job, point->instrument, walk->session, within_ms, &failure)) {
        walk->work = job;
        return;
    }
    job_free(job);
    on_failure(walk, &failure);
}

static void on_reading(struct job *job, const struct failure *refusal)
{
    struct walk *walk = job->owner;
    walk->work = NULL;
    walk->ranges = job->ranges;
    if (refusal != NULL)
        on_failure(walk, refusal);
    else
        take_reading(walk, job);
}

/* What the air shows is learnt in less; after that the tip must be on something. */
static void ask_to_lift(struct walk *walk)
{
    if (isnan(walk->first))
        walk->first = walk->touch.last.time;
    if (walk->touch.state != TOUCH_LEARNING || walk->lift ||
        walk->touch.last.time - walk->first < lift_s)
        return;
    walk->lift = true;
    walk_tell_state(walk);
}

static void on_glance(struct job *job, const struct failure *refusal)
{
    struct walk *walk = job->owner;
    const struct failure *failure = refusal != NULL ? refusal : &job->capture.reading.failure;
    walk->work = NULL;
    walk->ranges = job->ranges;
    if (failure->code != FAILURE_NONE) {
        on_failure(walk, failure);
        return;
    }
    const struct glance *seen = &job->glance;
    const struct touch_look look = { .time =
                                         duration_seconds((struct duration) { job->started.ns }),
                                     .overload = seen->overload,
                                     .value = seen->value,
                                     .step = seen->step,
                                     .spread = seen->spread,
                                     .spread_step = seen->spread_step };
    touch_take(&walk->touch, &look);
    ask_to_lift(walk);
    if (walk->touch.state == TOUCH_SETTLED && !walk->idle)
        submit(walk, JOB_TOUCH, reading_ms, on_reading);
    else
        look_soon(walk);
    tell_state(walk);
}

static void submit_glance(struct walk *walk)
{
    if (walk->bench != walk->walks->loop->bench) {
        walk_finish(walk, "the settings were loaded anew", false);
        return;
    }
    submit(walk, JOB_GLANCE, glance_ms, on_glance);
}

static void on_time(evutil_socket_t unused, short what, void *context)
{
    struct walk *walk = context;
    (void)unused;
    (void)what;
    if (!walk->session->ops->gone(walk->session->peer))
        submit_glance(walk);
}

bool walk_watch(struct walk *walk)
{
    walk->next = evtimer_new(walk->walks->loop->base, on_time, walk);
    if (walk->next == NULL)
        return false;
    walk->away = false;
    walk->watched = walk->count;
    walk_turn(walk);
    if (!walk->idle)
        wait_until(walk, (struct duration) { 0 });
    return true;
}

void walk_turn_by_key(struct walk *walk)
{
    walk_turn(walk);
    if (walk->work == NULL && !evtimer_pending(walk->next, NULL))
        look_soon(walk);
    if (walk->touch.state == TOUCH_TOUCHING || walk->touch.state == TOUCH_UNSURE ||
        walk->touch.state == TOUCH_SETTLED)
        touch_moved(&walk->touch);
}

void walk_unwatch(struct walk *walk)
{
    drop_work(walk);
    if (walk->next != NULL)
        event_free(walk->next);
    walk->next = NULL;
}
