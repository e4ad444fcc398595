/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "rounds.h"

#include "bare_rounds.h"
#include "stream.h"

#include <jansson.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

enum { MOST_ROUNDS = 1000, PAGE = 200, BARE = 21 };

/* What the simulated instruments take for a reading: a round's first ends so long after it began. */
static const double conversion = 10e-3;

static const double room_mib = 64;

/* One round, seconds after it was due. */
struct round {
    double first; /* when its first reading was there */
    double last;
    size_t readings;
    double late; /* by the daemon's own record; 0: it is none there */
};

/* A run, as it is read back. */
struct course {
    char run[80];
    double first; /* wall time when round 1 was due */
    double every;
    struct round rounds[MOST_ROUNDS];
    size_t count;
    size_t lost; /* readings without a value */
};

static json_t *call(struct stream *daemon, const char *method, json_t *params)
{
    json_t *request = json_pack("{s:s, s:i, s:s, s:o}", "jsonrpc", "2.0", "id", 1, "method", method,
                                "params", params);
    char *text = json_dumps(request, JSON_COMPACT);
    stream_send(daemon, text);
    stream_send(daemon, "\n");
    json_t *answer = json_loads(stream_line(daemon), 0, NULL);
    json_t *result = json_incref(json_object_get(answer, "result"));
    if (result == NULL)
        give_up("%s gave no result", method);
    json_decref(answer);
    json_decref(request);
    free(text);
    return result;
}

static double number_at(const json_t *object, const char *key)
{
    return json_number_value(json_object_get(object, key));
}

/* "2026-01-31T12:00:00.123Z" in seconds since the epoch. */
static double moment_of(const char *text)
{
    struct tm parts = { 0 };
    const char *rest = text != NULL ? strptime(text, "%Y-%m-%dT%H:%M:%S", &parts) : NULL;
    if (rest == NULL)
        give_up("a reading has no time");
    return (double)timegm(&parts) + strtod(rest, NULL);
}

static struct round *round_at(struct course *course, double number)
{
    if (!(number >= 1 && number <= MOST_ROUNDS))
        give_up("round %g: 1 to %d are expected", number, MOST_ROUNDS);
    if ((size_t)number > course->count)
        course->count = (size_t)number;
    return &course->rounds[(size_t)number - 1];
}

static void begin(struct stream *daemon, const char *plan, struct course *course)
{
    json_t *began = call(daemon, "burnin.start", json_pack("{s:s}", "plan", plan));
    const char *run = json_string_value(json_object_get(began, "run"));
    snprintf(course->run, sizeof course->run, "%s", run != NULL ? run : "");
    course->first = number_at(began, "first_ns") * 1e-9;
    course->every = number_at(began, "every_ns") * 1e-9;
    json_decref(began);
}

/* Waits for the end of the run; rounds that the daemon calls late are noted on the way. */
static void wait_for_end(struct stream *daemon, struct course *course)
{
    bool ended = false;
    while (!ended) {
        json_t *told = json_loads(stream_line(daemon), 0, NULL);
        const json_t *params = json_object_get(told, "params");
        const json_t *body = json_object_get(params, "body");
        const char *kind = json_string_value(json_object_get(params, "kind"));
        if (kind != NULL && strcmp(kind, "late round") == 0)
            round_at(course, number_at(body, "round"))->late = number_at(body, "late_s");
        ended = kind == NULL || strcmp(kind, "run ended") == 0;
        json_decref(told);
    }
}

static void take(struct course *course, const json_t *row)
{
    const json_t *reading = json_object_get(row, "reading");
    double number = number_at(row, "round");
    struct round *round = round_at(course, number);
    if (reading == NULL) {
        course->lost++;
        return;
    }
    double at = moment_of(json_string_value(json_object_get(reading, "time"))) - course->first -
                (number - 1) * course->every;
    round->first = round->readings == 0 ? at : fmin(round->first, at);
    round->last = round->readings == 0 ? at : fmax(round->last, at);
    round->readings++;
}

static void read_back(struct stream *daemon, struct course *course)
{
    json_int_t after = 0;
    bool more = true;
    while (more) {
        json_t *page =
            call(daemon, "readings",
                 json_pack("{s:s, s:I, s:i}", "run", course->run, "after", after, "limit", PAGE));
        size_t index;
        const json_t *row;
        json_array_foreach(json_object_get(page, "readings"), index, row)
        {
            take(course, row);
            after = json_integer_value(json_object_get(row, "id"));
        }
        more = json_is_true(json_object_get(page, "more"));
        json_decref(page);
    }
}

static double memory_mib(const char *pid, const char *what)
{
    char path[64], line[128];
    double kib = NAN;
    snprintf(path, sizeof path, "/proc/%s/status", pid);
    FILE *file = fopen(path, "r");
    while (file != NULL && fgets(line, sizeof line, file) != NULL)
        if (strncmp(line, what, strlen(what)) == 0)
            kib = strtod(line + strlen(what) + 1, NULL);
    if (file == NULL || isnan(kib))
        give_up("%s: no %s", path, what);
    fclose(file);
    return kib / 1024;
}

/* Round 1 opens and identifies every instrument, and is shown but not counted. */
static void report(const struct course *course, double bare)
{
    size_t late = 0;
    double first = -(double)INFINITY, last = -(double)INFINITY, sum = 0;
    for (size_t i = 0; i < course->count; i++) {
        const struct round *round = &course->rounds[i];
        if (round->readings != (size_t)BARE_INSTRUMENTS * BARE_INPUTS)
            give_up("round %zu has %zu readings", i + 1, round->readings);
        printf("rounds: round %zu began %.0f ms late, its last reading %.0f ms after a bare "
               "loop's%s\n",
               i + 1, (round->first - conversion) * 1e3, (round->last - bare) * 1e3,
               round->late > 0 ? " (late by the daemon's record)" : "");
        late += round->late > 0;
        if (i == 0)
            continue;
        first = fmax(first, round->first - conversion);
        last = fmax(last, round->last);
        sum += round->last;
    }
    double mean = sum / (double)(course->count - 1);
    printf("rounds: last reading over a bare loop's, mean of %zu rounds: %.2f (%.0f over %.0f ms), "
           "worst %.2f; begin at most %.0f ms late\n",
           course->count - 1, mean / bare, mean * 1e3, bare * 1e3, last / bare, first * 1e3);
    printf("rounds: interval %g s, late by the daemon's own record: %zu of %zu (goal 0)\n",
           course->every, late, course->count);
}

void benchmark_rounds(const char *daemon, const char *pid, const char *plan, const char *prefix)
{
    static struct stream stream, told;
    static struct course course;
    double idle = memory_mib(pid, "VmRSS");
    double bare = bare_rounds(prefix, BARE);
    stream_connect(&stream, daemon);
    stream_connect(&told, daemon);
    json_decref(call(&told, "burnin.follow", json_pack("{s:s}", "run", plan)));
    begin(&stream, plan, &course);
    wait_for_end(&told, &course);
    double busy = memory_mib(pid, "VmRSS"), most = memory_mib(pid, "VmHWM");
    double asked = seconds_now();
    json_decref(call(&stream, "burnin.status", json_pack("{s:s}", "run", plan)));
    double answered = seconds_now();
    read_back(&stream, &course);
    report(&course, bare);
    printf("rounds: readings without a value: %zu\n", course.lost);
    printf("rounds: burnin.status of %d points: %.1f ms\n", BARE_INSTRUMENTS * BARE_INPUTS,
           (answered - asked) * 1e3);
    printf("rounds: resident memory with %d instruments: %.1f MiB, at most %.1f of %.0f (%.1f "
           "before)\n",
           BARE_INSTRUMENTS, busy, most, room_mib, idle);
    stream_close(&stream);
    stream_close(&told);
}
