/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "measure.h"

#include "scrutiny.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* A link that failed is brought in step again and asked once more. */
enum { ATTEMPTS = 2 };

/* One measurement under way: what it is for, and the state that its steps share. */
struct job {
    struct instrument *instrument;
    const struct bench_point *point;
    const struct bench *bench;
    struct chain chain;
    struct request request;
    struct deadline deadline;
    struct acquisition acquisition;
    struct trace *trace; /* NULL unless a capture is wanted */
    struct failure *failure;
};

bool measure_chain(const struct bench *bench, const struct bench_point *point, struct chain *chain,
                   struct failure *failure)
{
    const struct bench_instrument *instrument = &bench->instruments[point->instrument];
    const struct front_end *input = profile_front_end(instrument->profile, point->at_input);
    if (!input) {
        failure_set(failure, FAILURE_UNSUPPORTED, instrument->name, NULL,
                    "its profile %s has no %s", instrument->profile->name,
                    quantity_name(point->at_input));
        return false;
    }
    chain->input = input;
    chain->probe = &bench->probes[point->probe];
    chain->aspect = quantity_aspect(point->quantity);
    chain->source = point->source;
    chain->correct_loading = point->correct_loading;
    chain->ambient = instrument->ambient;
    chain->crest_factor = point->crest_factor;
    chain->frequency = point->frequency;
    chain->shape = point->shape;
    chain->eye = profile_eye(instrument->profile, point->at_input, bench_record(point));
    chain->eye.probe_bandwidth = chain->probe->bandwidth;
    chain->lowest_frequency = input->vertical ? 1 / bench_record(point) : NAN;
    return true;
}

/* The largest over RMS of the aspect's signal: what is stated, or a sine's. */
static double crest_of(const struct bench_point *point)
{
    return isnan(point->crest_factor) ? sqrt(2) : point->crest_factor;
}

bool measure_expected(const struct bench *bench, const struct bench_point *point,
                      const struct chain *chain, struct signal *signal)
{
    (void)bench;
    if (isnan(point->expected))
        return false;
    struct setup top = { chain->input->count - 1, COUPLING_DC, 0, 0 };
    double value = chain_input(chain, &top, point->expected);
    double level = isnan(point->dc_level) ? 0 : point->dc_level / chain->probe->factor;
    struct signal expected = { value, value, value, value, 0, 0, 1, point->frequency };
    if (chain->input->vertical && chain->aspect != ASPECT_DC) {
        double swing = chain->aspect == ASPECT_PEAK_TO_PEAK ? value / 2
                       : aspect_ignores_mean(chain->aspect) || chain->aspect == ASPECT_RMS
                           ? value * crest_of(point)
                           : fabs(value);
        expected.mean = level;
        expected.low = level - swing;
        expected.high = level + swing;
    }
    *signal = expected;
    return true;
}

static bool prepare(struct job *job)
{
    if (!measure_chain(job->bench, job->point, &job->chain, job->failure))
        return false;
    job->request.quantity = job->point->at_input;
    job->request.input = job->point->input;
    if (isnan(job->request.duration))
        job->request.duration = bench_record(job->point);
    if (job->chain.input->vertical)
        job->chain.lowest_frequency = 1 / job->request.duration;
    return true;
}

/* Whether bringing the link in step again may help. */
static bool worth_another(enum failure_code code)
{
    return code == FAILURE_TIMEOUT || code == FAILURE_DISCONNECTED ||
           code == FAILURE_UNEXPECTED_REPLY || code == FAILURE_LINE_DAMAGED;
}

/*
 * The one place that looks at what a driver hands up before it counts: finite
 * figures, and extremes within what the range can show. A reading beyond its
 * range is an overload whatever the instrument calls it.
 */
static bool recheck(struct job *job)
{
    struct acquisition *seen = &job->acquisition;
    if (seen->overload)
        return true;
    if (!isfinite(seen->signal.value) || !isfinite(seen->signal.mean) ||
        !isfinite(seen->signal.low) || !isfinite(seen->signal.high) || seen->signal.noise < 0)
        return failure_set(job->failure, FAILURE_NO_VALUE, NULL, "finite figures",
                           "the instrument's figures are no numbers");
    double low, high;
    setup_window(job->chain.input, &job->request.setup, &low, &high);
    const struct range *range = &job->chain.input->ranges[job->request.setup.range];
    bool unipolar = !job->chain.input->vertical && range->low >= 0;
    bool over = seen->signal.high > high + range->resolution / 2;
    bool under = !unipolar && seen->signal.low < low - range->resolution / 2;
    if (over || under) {
        seen->overload = true;
        seen->side = over && under ? SIDE_UNKNOWN : over ? SIDE_HIGH : SIDE_LOW;
    }
    return true;
}

static bool acquire(struct job *job)
{
    struct failure failure;
    for (int attempt = 1;; attempt++) {
        failure_clear(&failure);
        if (instrument_acquire(job->instrument, &job->request, job->deadline, &job->acquisition,
                               job->trace, &failure))
            return recheck(job);
        if (attempt == ATTEMPTS || !worth_another(failure.code) || deadline_passed(job->deadline))
            break;
    }
    if (job->failure)
        *job->failure = failure;
    return false;
}

/* Runs the plan to its end; the steps it took are copied into the reading either way. */
static bool settle(struct job *job, const struct measure_memory *memory, struct reading *reading)
{
    struct plan plan;
    struct signal expected;
    bool expects = measure_expected(job->bench, job->point, &job->chain, &expected);
    if (memory && memory->known)
        plan_resume(&plan, &job->chain, &memory->setup);
    else
        plan_start(&plan, &job->chain, expects ? &expected : NULL);
    enum plan_action action;
    bool acquired = true;
    while (acquired &&
           (action = plan_next(&plan, &job->request.setup, job->failure)) == PLAN_ACQUIRE) {
        acquired = acquire(job);
        if (acquired && job->acquisition.overload)
            plan_overload(&plan, job->acquisition.side);
        else if (acquired)
            plan_reading(&plan, &job->acquisition.signal);
    }
    reading->step_count = plan.step_count;
    memcpy(reading->steps, plan.steps, sizeof plan.steps);
    return acquired && action == PLAN_SETTLED;
}

/* Takes the level of the zero trace out of everything that it is part of. */
static void subtract(struct signal *signal, enum aspect aspect, double level)
{
    double alternating = signal->value * signal->value - signal->mean * signal->mean;
    signal->mean -= level;
    signal->low -= level;
    signal->high -= level;
    if (aspect == ASPECT_RMS)
        signal->value = sqrt(fmax(0, alternating) + signal->mean * signal->mean);
    else if (!aspect_ignores_mean(aspect))
        signal->value -= level;
}

/* Whether the zero trace is looked at, and its level taken away. */
static bool takes_ground(const struct job *job)
{
    return job->chain.input->vertical && job->chain.input->ground_reference &&
           !aspect_ignores_mean(job->chain.aspect);
}

static bool ground(struct job *job, double *level)
{
    *level = 0;
    if (!takes_ground(job))
        return true;
    return instrument_ground(job->instrument, &job->request, job->deadline, level, job->failure);
}

/*
 * The further readings of a repeated measurement, all in the setup that
 * settled. One that overloads ends it: the signal is not what it was.
 */
static bool repeat(struct job *job, size_t n, double level, double *values)
{
    struct signal first = job->acquisition.signal;
    for (size_t i = 0; i < n; i++) {
        if (i > 0 && !acquire(job))
            return false;
        if (job->acquisition.overload)
            return failure_set(job->failure, FAILURE_UNSTABLE, NULL,
                               "a signal that stays within one range",
                               "reading %zu of %zu overloaded", i + 1, n);
        subtract(&job->acquisition.signal, job->chain.aspect, level);
        values[i] = job->acquisition.signal.value;
    }
    subtract(&first, job->chain.aspect, level);
    job->acquisition.signal = first;
    return true;
}

/* From settled to evaluated. */
static bool finish(struct job *job, size_t repeats, struct reading *reading)
{
    double *values = calloc(repeats, sizeof *values);
    if (!values)
        return failure_set(job->failure, FAILURE_NO_MEMORY, NULL, NULL, "%zu readings", repeats);
    double level;
    struct request settled = job->request;
    bool done = ground(job, &level);
    job->request = settled;
    done = done && repeat(job, repeats, level, values) &&
           instrument_confirm(job->instrument, job->deadline, job->failure) &&
           reading_evaluate(reading, &job->chain, &job->request.setup, &job->acquisition.signal,
                            values, repeats, &job->point->limits, job->failure);
    free(values);
    if (!done)
        return false;
    struct sighting sighting = { .bench = job->bench,
                                 .point = job->point,
                                 .chain = &job->chain,
                                 .acquisition = &job->acquisition,
                                 .zero_level = takes_ground(job) ? level : NAN };
    return scrutinise(&sighting, reading, job->failure);
}

static bool run(struct job *job, size_t repeats, struct measure_memory *memory,
                struct reading *reading)
{
    memset(reading, 0, sizeof *reading);
    struct failure failure = { 0 };
    job->failure = &failure;
    bool done = prepare(job) && settle(job, memory, reading) && finish(job, repeats, reading);
    if (memory)
        memory->known = done;
    if (done && memory) {
        memory->setup = reading->setup;
        memory->signal = job->acquisition.signal;
    }
    if (!done)
        reading_fail(reading, &failure);
    job->failure = NULL;
    return done;
}

static bool measure_one(struct instrument *instrument, const struct bench *bench,
                        const struct bench_point *point, size_t repeats, struct deadline deadline,
                        struct measure_memory *memory, struct reading *reading)
{
    struct job job = { .instrument = instrument,
                       .point = point,
                       .bench = bench,
                       .request = { .duration = NAN },
                       .deadline = deadline };
    return run(&job, repeats, memory, reading);
}

/* Whether both are read by the same input through the same probe, moved by hand between them. */
static bool one_input(const struct bench_point *a, const struct bench_point *b)
{
    return a->instrument == b->instrument && a->input == b->input && a->probe == b->probe;
}

/* Fails the reading for want of its reference. */
static void fail_reference(struct reading *reading, const struct bench_point *other,
                           const struct failure *why)
{
    struct failure failure = { 0 };
    failure_set(&failure, why->code, why->where, why->expected, "reference point %s: %s",
                other->name, why->what);
    reading_fail(reading, &failure);
}

void measure_point(struct instrument *instrument, const struct bench *bench,
                   const struct bench_point *point, size_t repeats, struct deadline deadline,
                   struct measure_memory *memory, struct reading *reading)
{
    struct failure failure = { 0 };
    const struct bench_point *other =
        point->reference != BENCH_NO_POINT ? &bench->points[point->reference] : NULL;
    struct reading *reference = other ? calloc(1, sizeof *reference) : NULL;
    if (other && !reference) {
        memset(reading, 0, sizeof *reading);
        failure_set(&failure, FAILURE_NO_MEMORY, NULL, NULL, "no memory for the reference");
        reading_fail(reading, &failure);
    } else if (other &&
               !measure_one(instrument, bench, other, repeats, deadline, NULL, reference)) {
        memset(reading, 0, sizeof *reading);
        fail_reference(reading, other, &reference->failure);
    } else if (measure_one(instrument, bench, point, repeats, deadline, memory, reading) &&
               point->limits.judged != JUDGED_VALUE &&
               !reading_compare(reading, &point->limits, reference,
                                other && one_input(point, other), &failure)) {
        reading_fail(reading, &failure);
    }
    free(reference);
}

/* Samples and parameters at the tip instead of at the input. */
static bool at_tip(const struct job *job, double level, const struct trace *trace,
                   struct capture *capture)
{
    struct chain shown = job->chain;
    shown.aspect = ASPECT_DC; /* a trace keeps its mean, its sign and the probe's offset */
    for (size_t i = 0; i < trace->count; i++)
        trace->volts[i] = chain_value(&shown, &job->request.setup, trace->volts[i] - level);
    capture->samples = trace->volts;
    capture->count = trace->count;
    capture->interval = trace->interval;
    const struct range *range = &job->chain.input->ranges[job->request.setup.range];
    double step = range->resolution * fabs(job->chain.probe->factor);
    return analysis_make(trace->volts, trace->count, trace->interval, step, &capture->analysis);
}

bool measure_capture(struct instrument *instrument, const struct bench *bench,
                     const struct bench_point *point, double duration, struct deadline deadline,
                     struct measure_memory *memory, struct capture *capture)
{
    struct trace trace = { 0 };
    struct job job = { .instrument = instrument,
                       .point = point,
                       .bench = bench,
                       .request = { .duration = duration },
                       .deadline = deadline,
                       .trace = &trace };
    memset(capture, 0, sizeof *capture);
    struct failure failure = { 0 };
    if (bench->instruments[point->instrument].profile->kind != PROFILE_SCOPE) {
        failure_set(&failure, FAILURE_UNSUPPORTED, bench->instruments[point->instrument].name,
                    "a point on a scope", "a meter has no waveform to capture");
        reading_fail(&capture->reading, &failure);
        return false;
    }
    double level = 0;
    bool done = run(&job, 1, memory, &capture->reading);
    job.failure = &failure;
    job.trace = NULL;
    if (done && !(ground(&job, &level) && at_tip(&job, level, &trace, capture)))
        done = false;
    if (!done) {
        free(trace.volts);
        capture->samples = NULL;
        if (capture->reading.failure.code == FAILURE_NONE)
            reading_fail(&capture->reading, &failure);
    }
    return done;
}
