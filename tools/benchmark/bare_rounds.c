/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "bare_rounds.h"

#include "stream.h"

#include <errno.h>
#include <math.h>
#include <poll.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* settle_ms of config/profiles/tarnwerk-meter.cfg. */
static const double settle = 5e-3;

/* One instrument in a round. */
struct lane {
    struct stream stream;
    int input;      /* that is closed; 0: none yet */
    int left;       /* inputs still to be read in this round */
    double asks_at; /* INFINITY: it has been asked, or is done */
};

static struct lane lanes[BARE_INSTRUMENTS];

static void ask_reading(struct lane *lane)
{
    lane->asks_at = (double)INFINITY;
    stream_send(&lane->stream, ":READ?;*OPC?\n");
}

/* Closes the next input, or asks at once where it is closed already. */
static void visit(struct lane *lane, int input)
{
    char command[64];
    if (lane->input == input) {
        ask_reading(lane);
        return;
    }
    lane->input = input;
    snprintf(command, sizeof command, ":ROUTe:CLOSe (@%d)\n", input);
    stream_send(&lane->stream, command);
    lane->asks_at = seconds_now() + settle;
}

static void take(struct lane *lane, int step)
{
    const char *line = stream_line(&lane->stream);
    if (strchr("+-0123456789", line[0]) == NULL)
        give_up("an instrument answered %s", line);
    if (--lane->left > 0)
        visit(lane, lane->input + step);
}

/* Asks those that have settled; returns how many milliseconds the next one has left, -1: none. */
static int ask_settled(void)
{
    double first = (double)INFINITY, now = seconds_now();
    for (size_t i = 0; i < BARE_INSTRUMENTS; i++) {
        if (lanes[i].asks_at <= now)
            ask_reading(&lanes[i]);
        first = fmin(first, lanes[i].asks_at);
    }
    return isinf(first) ? -1 : (int)ceil((first - now) * 1e3);
}

static double one_round(bool forwards)
{
    struct pollfd polled[BARE_INSTRUMENTS];
    double begin = seconds_now();
    for (size_t i = 0; i < BARE_INSTRUMENTS; i++) {
        polled[i] = (struct pollfd) { lanes[i].stream.descriptor, POLLIN, 0 };
        lanes[i].left = BARE_INPUTS;
        visit(&lanes[i], forwards ? 1 : BARE_INPUTS);
    }
    for (size_t left = BARE_INSTRUMENTS; left > 0;) {
        int wait = ask_settled();
        if (poll(polled, BARE_INSTRUMENTS, wait) < 0)
            give_up("poll: %s", strerror(errno));
        for (size_t i = 0; i < BARE_INSTRUMENTS; i++) {
            if ((polled[i].revents & (POLLIN | POLLHUP)) == 0)
                continue;
            take(&lanes[i], forwards ? 1 : -1);
            left -= lanes[i].left == 0;
        }
    }
    return seconds_now() - begin;
}

static int ascending(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

double bare_rounds(const char *prefix, size_t rounds)
{
    double *seconds = calloc(rounds, sizeof *seconds);
    char path[128];
    if (seconds == NULL)
        give_up("no memory");
    for (size_t i = 0; i < BARE_INSTRUMENTS; i++) {
        snprintf(path, sizeof path, "%s%zu", prefix, i);
        stream_connect(&lanes[i].stream, path);
        lanes[i].asks_at = (double)INFINITY;
        /* The range that the daemon settles on for 5 V. */
        stream_send(&lanes[i].stream, ":SENSe:VOLTage:DC:RANGe 20\n");
    }
    one_round(true); /* the first finds no input closed, as no other does */
    for (size_t i = 0; i < rounds; i++)
        seconds[i] = one_round(i % 2 != 0);
    for (size_t i = 0; i < BARE_INSTRUMENTS; i++)
        stream_close(&lanes[i].stream);
    qsort(seconds, rounds, sizeof *seconds, ascending);
    double median = seconds[rounds / 2];
    free(seconds);
    return median;
}
