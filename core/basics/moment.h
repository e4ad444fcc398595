/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Times as types, so that the compiler keeps the clocks apart: a moment of the
 * steady clock, a time of the wall clock, and how long something lasts. All
 * are nanoseconds. What is added up stops at the ends of the range, 292 years
 * away, in place of wrapping. No clock is looked at here.
 */
#ifndef GRADUS_CORE_MOMENT_H
#define GRADUS_CORE_MOMENT_H

#include <math.h>
#include <stdbool.h>
#include <stdint.h>
#include <sys/time.h>
#include <time.h>

#define SECOND_NS      INT64_C(1000000000)
#define MILLISECOND_NS INT64_C(1000000)

/* How long something lasts; negative: it lies the other way. */
struct duration {
    int64_t ns;
};

/* On CLOCK_MONOTONIC: deadlines, ages, pauses. {0} is none, as that clock began with the machine. */
struct moment {
    int64_t ns;
};

/* Since 1970-01-01T00:00Z, without leap seconds: what is written beside a reading. It may be set. */
struct wall_time {
    int64_t ns;
};

/* Before and after all others. */
#define WALL_TIME_FIRST ((struct wall_time) { INT64_MIN })
#define WALL_TIME_LAST  ((struct wall_time) { INT64_MAX })

/* Nanoseconds added up, at the ends of the range no further. */
static inline int64_t ns_sum(int64_t a, int64_t b)
{
    int64_t sum;
    if (__builtin_add_overflow(a, b, &sum))
        return b < 0 ? INT64_MIN : INT64_MAX;
    return sum;
}

/* Nanoseconds from `b` to `a`, at the ends of the range no further. */
static inline int64_t ns_difference(int64_t a, int64_t b)
{
    int64_t difference;
    if (__builtin_sub_overflow(a, b, &difference))
        return b < 0 ? INT64_MAX : INT64_MIN;
    return difference;
}

/* Seconds, to the nearest nanosecond; NaN counts as none. */
static inline struct duration duration_of_seconds(double seconds)
{
    if (!(seconds < 9.2e9)) /* written so that NaN comes here */
        return (struct duration) { isnan(seconds) ? 0 : INT64_MAX };
    if (seconds < -9.2e9)
        return (struct duration) { INT64_MIN };
    return (struct duration) { (int64_t)llround(seconds * 1e9) };
}

/* Milliseconds, as the settings and calls have them; see duration_of_seconds(). */
static inline struct duration duration_of_ms(double milliseconds)
{
    return duration_of_seconds(milliseconds / 1e3);
}

/* In seconds. */
static inline double duration_seconds(struct duration duration)
{
    return (double)duration.ns / 1e9;
}

/* In milliseconds. */
static inline double duration_ms(struct duration duration)
{
    return (double)duration.ns / 1e6;
}

/* Whether one is shorter than the other; negative ones are shorter than none. */
static inline bool duration_shorter(struct duration a, struct duration b)
{
    return a.ns < b.ns;
}

/* Two together. */
static inline struct duration duration_plus(struct duration a, struct duration b)
{
    return (struct duration) { ns_sum(a.ns, b.ns) };
}

/* So many times as long. */
static inline struct duration duration_times(struct duration duration, int64_t times)
{
    struct duration product;
    if (__builtin_mul_overflow(duration.ns, times, &product.ns))
        product.ns = (duration.ns < 0) == (times < 0) ? INT64_MAX : INT64_MIN;
    return product;
}

/* As timers take it: rounded up to microseconds, none when it is negative. */
static inline struct timeval duration_timeval(struct duration duration)
{
    int64_t wait = duration.ns < 0 ? 0 : duration.ns / 1000 + (duration.ns % 1000 > 0);
    return (struct timeval) { (time_t)(wait / 1000000), (suseconds_t)(wait % 1000000) };
}

/* The pause after this one where each is twice the one before: `first` after none, then up to `longest`. */
static inline struct duration duration_doubled(struct duration pause, struct duration first,
                                               struct duration longest)
{
    struct duration next = pause.ns == 0 ? first : duration_times(pause, 2);
    return duration_shorter(next, longest) ? next : longest;
}

/* Whether there is one: {0} is none. */
static inline bool moment_is_set(struct moment moment)
{
    return moment.ns != 0;
}

/* So long after; with a negative duration before. */
static inline struct moment moment_plus(struct moment moment, struct duration duration)
{
    return (struct moment) { ns_sum(moment.ns, duration.ns) };
}

/* How long `later` is after `earlier`; negative: it is before. */
static inline struct duration moment_since(struct moment later, struct moment earlier)
{
    return (struct duration) { ns_difference(later.ns, earlier.ns) };
}

/* Whether `a` comes before `b`, and is not the same. */
static inline bool moment_before(struct moment a, struct moment b)
{
    return a.ns < b.ns;
}

/* As pthread_cond_timedwait(3) takes it; not negative. */
static inline struct timespec moment_timespec(struct moment moment)
{
    return (struct timespec) { (time_t)(moment.ns / SECOND_NS), (long)(moment.ns % SECOND_NS) };
}

/* As clock_gettime(2) gives it. */
static inline struct wall_time wall_time_of(struct timespec time)
{
    return (struct wall_time) { (int64_t)time.tv_sec * SECOND_NS + time.tv_nsec };
}

/* The same the other way round; not before 1970. */
static inline struct timespec wall_time_timespec(struct wall_time time)
{
    return (struct timespec) { (time_t)(time.ns / SECOND_NS), (long)(time.ns % SECOND_NS) };
}

/* So long after; with a negative duration before. */
static inline struct wall_time wall_time_plus(struct wall_time time, struct duration duration)
{
    return (struct wall_time) { ns_sum(time.ns, duration.ns) };
}

/* How long `later` is after `earlier`, if nobody set the clock between; negative: it is before. */
static inline struct duration wall_time_since(struct wall_time later, struct wall_time earlier)
{
    return (struct duration) { ns_difference(later.ns, earlier.ns) };
}

/* Whether `a` comes before `b`, and is not the same. */
static inline bool wall_time_before(struct wall_time a, struct wall_time b)
{
    return a.ns < b.ns;
}

#endif
