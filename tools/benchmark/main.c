/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What the daemon costs: readings per second and delay through it, as ratios
 * over a bare request-reply loop on the same simulated instrument in the same
 * run; and what the range planner gains. tools/bench starts everything.
 *
 *     benchmark rates DAEMON-SOCKET (NAME INSTRUMENT-SOCKET POINT)...
 *     benchmark proofs DAEMON-SOCKET (NAME POINT POINT-PROVED-ONCE)...
 *     benchmark plans PROFILE...
 *     benchmark store FOLDER SETTINGS
 *     benchmark waveform CODES
 *     benchmark block USB-LINK SETUP QUERY
 *     benchmark line NAME TTY DAEMON-SOCKET POINT QUERY
 *     benchmark rounds DAEMON-SOCKET DAEMON-PID PLAN INSTRUMENT-SOCKETS-PREFIX
 */
#include "analysis.h"
#include "asking.h"
#include "block.h"
#include "line.h"
#include "planning.h"
#include "rounds.h"
#include "storing.h"
#include "stream.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { ROUNDS = 5, LATENCIES = 1000 };

/* How long each way of asking is watched in one round. */
static const double round_seconds = 0.6;

/* One instrument with its point, asked both ways. */
struct subject {
    const char *name;
    const char *instrument;
    const char *point;
    struct stream bare;
    struct stream daemon;
};

/* Delays of single readings, for medians. */
struct delays {
    size_t count;
    double seconds[ROUNDS * LATENCIES];
};

static void bare_reading(struct subject *subject)
{
    stream_send(&subject->bare, ":READ?\n");
    const char *line = stream_line(&subject->bare);
    if (!strchr("+-0123456789", line[0]))
        give_up("%s answered %s", subject->name, line);
}

static void one_reading(struct subject *subject)
{
    char request[256];
    snprintf(request, sizeof request,
             "{\"jsonrpc\":\"2.0\",\"id\":1,\"method\":\"measure\",\"params\":[\"%s\"]}\n",
             subject->point);
    ask(&subject->daemon, request);
}

static double rate_of(struct subject *subject, void (*reading)(struct subject *),
                      struct delays *delays)
{
    double begin = seconds_now(), now = begin;
    size_t count = 0;
    while (now - begin < round_seconds) {
        double before = now;
        reading(subject);
        now = seconds_now();
        count++;
        if (delays->count < sizeof delays->seconds / sizeof delays->seconds[0])
            delays->seconds[delays->count++] = now - before;
    }
    return (double)count / (now - begin);
}

static double rate_repeating(struct subject *subject, double expected)
{
    return repeat_rate(&subject->daemon, subject->point, expected * round_seconds);
}

static double rate_following(struct subject *subject, double expected)
{
    size_t count = (size_t)(expected * round_seconds) + 1;
    char request[256];
    snprintf(request, sizeof request,
             "{\"jsonrpc\":\"2.0\",\"id\":1,\"method\":\"follow\",\"params\":"
             "{\"points\":[\"%s\"],\"every_ms\":0,\"readings\":%zu}}\n",
             subject->point, count);
    double begin = seconds_now();
    ask(&subject->daemon, request);
    for (size_t i = 0; i < count; i++)
        if (!strstr(stream_line(&subject->daemon), "\"value\""))
            give_up("a followed reading had no value");
    double rate = (double)count / (seconds_now() - begin);
    if (!strstr(stream_line(&subject->daemon), "\"finished\""))
        give_up("the daemon did not say that it had finished");
    return rate;
}

static int ascending(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

static double quantile(struct delays *delays, double share)
{
    qsort(delays->seconds, delays->count, sizeof delays->seconds[0], ascending);
    return delays->seconds[(size_t)(share * (double)(delays->count - 1))];
}

static void report_delays(const char *name, struct delays *bare, struct delays *daemon)
{
    static const struct {
        const char *name;
        double share;
    } quantiles[] = { { "median", 0.5 }, { "99 %", 0.99 } };
    for (size_t i = 0; i < 2; i++) {
        double alone = quantile(bare, quantiles[i].share);
        double through = quantile(daemon, quantiles[i].share);
        printf("%s: delay of one reading over bare loop, %s: %.3f (%.0f us added to %.0f us)\n",
               name, quantiles[i].name, through / alone, (through - alone) * 1e6, alone * 1e6);
    }
}

static void report_rate(const char *name, const char *how, double through, double bare)
{
    printf("%s: readings/s over bare loop, %s: %.3f (%.0f over %.0f)\n", name, how, through / bare,
           through, bare);
}

/*
 * Rounds alternate between both ways, so that neither has the quieter
 * machine. The instrument serves one client at a time: the bare loop takes it
 * from the daemon, and a reading that is not counted gives it back.
 */
static void compare(struct subject *subject, const char *daemon)
{
    static struct delays bare_delays, daemon_delays;
    bare_delays.count = daemon_delays.count = 0;
    double bare = 0, single = 0, repeating = 0, following = 0;
    stream_connect(&subject->daemon, daemon);
    for (int i = 0; i < ROUNDS; i++) {
        one_reading(subject); /* settles range and channel for both */
        stream_connect(&subject->bare, subject->instrument);
        double rate = rate_of(subject, bare_reading, &bare_delays);
        stream_close(&subject->bare);
        one_reading(subject);
        bare += rate / ROUNDS;
        repeating += rate_repeating(subject, rate) / ROUNDS;
        following += rate_following(subject, rate) / ROUNDS;
        single += rate_of(subject, one_reading, &daemon_delays) / ROUNDS;
    }
    report_rate(subject->name, "repeating", repeating, bare);
    report_rate(subject->name, "following", following, bare);
    report_rate(subject->name, "one at a time", single, bare);
    report_delays(subject->name, &bare_delays, &daemon_delays);
    stream_close(&subject->daemon);
}

static void all_rates(const char *daemon, size_t count, char **words)
{
    static struct subject subject;
    for (size_t i = 0; i + 2 < count; i += 3) {
        subject.name = words[i];
        subject.instrument = words[i + 1];
        subject.point = words[i + 2];
        compare(&subject, daemon);
    }
}

/* The same signal through instruments that are proved with each reading, and once. */
static void all_proofs(const char *daemon, size_t count, char **words)
{
    static struct subject subject;
    static struct delays delays;
    for (size_t i = 0; i + 2 < count; i += 3) {
        double rates[2] = { 0, 0 };
        stream_connect(&subject.daemon, daemon);
        for (int k = 0; k < 2 * ROUNDS; k++) {
            subject.point = words[i + 1 + (size_t)k % 2];
            one_reading(&subject);
            rates[k % 2] += rate_of(&subject, one_reading, &delays) / ROUNDS;
        }
        stream_close(&subject.daemon);
        printf("%s: readings/s over those of one proved once: %.3f (%.0f over %.0f)\n", words[i],
               rates[0] / rates[1], rates[0], rates[1]);
    }
}

int main(int argc, char **argv)
{
    setvbuf(stdout, NULL, _IOLBF, 0);
    if (argc >= 3 && argc % 3 == 0 && strcmp(argv[1], "proofs") == 0) {
        all_proofs(argv[2], (size_t)argc - 3, argv + 3);
        return 0;
    }
    if (argc >= 3 && argc % 3 == 0 && strcmp(argv[1], "rates") == 0) {
        all_rates(argv[2], (size_t)argc - 3, argv + 3);
        return 0;
    }
    if (argc >= 3 && strcmp(argv[1], "plans") == 0) {
        for (int i = 2; i < argc; i++)
            benchmark_planning(argv[i]);
        return 0;
    }
    if (argc == 4 && strcmp(argv[1], "store") == 0) {
        benchmark_storing(argv[2], argv[3]);
        return 0;
    }
    if (argc == 3 && strcmp(argv[1], "waveform") == 0) {
        benchmark_analysis(argv[2]);
        return 0;
    }
    if (argc == 5 && strcmp(argv[1], "block") == 0) {
        benchmark_block(argv[2], argv[3], argv[4]);
        return 0;
    }
    if (argc == 7 && strcmp(argv[1], "line") == 0) {
        benchmark_line(argv[2], argv[3], argv[4], argv[5], argv[6]);
        return 0;
    }
    if (argc == 6 && strcmp(argv[1], "rounds") == 0) {
        benchmark_rounds(argv[2], argv[3], argv[4], argv[5]);
        return 0;
    }
    give_up("usage: benchmark rates DAEMON-SOCKET (NAME INSTRUMENT-SOCKET POINT)... | "
            "proofs DAEMON-SOCKET (NAME POINT POINT-PROVED-ONCE)... | "
            "plans PROFILE... | store FOLDER SETTINGS | waveform CODES | "
            "block USB-LINK SETUP QUERY | line NAME TTY DAEMON-SOCKET POINT QUERY | "
            "rounds DAEMON-SOCKET DAEMON-PID PLAN INSTRUMENT-SOCKETS-PREFIX");
}
