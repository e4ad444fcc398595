/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "outbox.h"

#include "tools/standin/basics/alloc.h"
#include "tools/standin/basics/mark.h"

#include <errno.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/queue.h>
#include <unistd.h>

#define BABBLE_MS 1.0

/* Bytes that wait. */
struct parcel {
    TAILQ_ENTRY(parcel) link;
    double due; /* seconds on the bench's clock */
    bool last;
    size_t count;
    size_t sent;
    char bytes[];
};

TAILQ_HEAD(parcels, parcel);

struct outbox {
    const struct bench_clock *clock;
    int fd;
    bool marked;
    uint32_t command;
    struct parcels waiting;
    struct event *timer;
    struct event *writable;
    outbox_broken *broken;
    void *argument;
    char babble[64];
};

enum pump { PUMP_GOES_ON, PUMP_BROKEN };

static void after(struct event *timer, double seconds)
{
    double wait = fmax(seconds, 0.0);
    struct timeval delay = { .tv_sec = (time_t)wait };

    delay.tv_usec = (suseconds_t)ceil((wait - (double)delay.tv_sec) * 1e6);
    if (delay.tv_usec >= 1000000) {
        delay.tv_sec++;
        delay.tv_usec -= 1000000;
    }
    event_add(timer, &delay);
}

/* Bytes that the stream took, or -1 when the connection is gone. */
static ssize_t give(struct outbox *outbox, const void *bytes, size_t count)
{
    ssize_t sent = write(outbox->fd, bytes, count);

    if (sent < 0)
        return errno == EAGAIN || errno == EWOULDBLOCK || errno == EINTR ? 0 : -1;
    return sent;
}

static void post(struct outbox *outbox, const struct piece *piece, double due)
{
    const struct mark mark = { .count = (uint32_t)piece->count,
                               .command = piece->stray ? MARK_STRAY : outbox->command,
                               .end = !piece->open,
                               .damage = (uint8_t)piece->damage };
    size_t before = outbox->marked ? sizeof mark : 0;
    struct parcel *parcel = alloc_new(1, sizeof *parcel + before + piece->count);

    parcel->due = due;
    parcel->count = before + piece->count;
    /* Behind a marked piece the face closes, when the host has it. */
    parcel->last = piece->last && !outbox->marked;
    memcpy(parcel->bytes, &mark, before);
    memcpy(parcel->bytes + before, piece->bytes, piece->count);
    TAILQ_INSERT_TAIL(&outbox->waiting, parcel, link);
}

/* Sends the first parcel; true when it is gone and the next may follow. */
static bool send_first(struct outbox *outbox, struct parcel *parcel, enum pump *state)
{
    ssize_t sent = give(outbox, parcel->bytes + parcel->sent, parcel->count - parcel->sent);

    if (sent < 0) {
        *state = PUMP_BROKEN;
        return false;
    }
    parcel->sent += (size_t)sent;
    if (parcel->sent < parcel->count) {
        event_add(outbox->writable, NULL);
        return false;
    }
    *state = parcel->last ? PUMP_BROKEN : PUMP_GOES_ON;
    TAILQ_REMOVE(&outbox->waiting, parcel, link);
    free(parcel);
    return *state == PUMP_GOES_ON;
}

static bool pump(struct outbox *outbox)
{
    enum pump state = PUMP_GOES_ON;
    double now = clock_now(outbox->clock);
    struct parcel *parcel = TAILQ_FIRST(&outbox->waiting);

    while (parcel != NULL && parcel->due <= now) {
        struct parcel *next = TAILQ_NEXT(parcel, link);

        if (!send_first(outbox, parcel, &state))
            break;
        parcel = next;
    }
    if (state == PUMP_BROKEN) {
        outbox->broken(outbox->argument);
        return false;
    }
    if (parcel != NULL && parcel->due > now) {
        after(outbox->timer, parcel->due - now);
    } else if (parcel == NULL && outbox->babble[0] != '\0') {
        const struct piece piece = { .bytes = outbox->babble,
                                     .count = strlen(outbox->babble),
                                     .stray = true,
                                     .damage = FAULT_ARMED_KINDS };

        post(outbox, &piece, now + BABBLE_MS / 1e3);
        after(outbox->timer, BABBLE_MS / 1e3);
    }
    return true;
}

static void on_event(evutil_socket_t fd, short what, void *argument)
{
    (void)fd;
    (void)what;
    pump(argument);
}

struct outbox *outbox_new(struct event_base *base, const struct bench_clock *clock, int fd,
                          bool marked, outbox_broken *broken, void *argument)
{
    struct outbox *outbox = alloc_new(1, sizeof *outbox);

    outbox->clock = clock;
    outbox->fd = fd;
    outbox->marked = marked;
    outbox->broken = broken;
    outbox->argument = argument;
    TAILQ_INIT(&outbox->waiting);
    outbox->timer = alloc_checked(event_new(base, -1, 0, on_event, outbox));
    outbox->writable = alloc_checked(event_new(base, fd, EV_WRITE, on_event, outbox));
    return outbox;
}

void outbox_free(struct outbox *outbox)
{
    outbox_drop(outbox);
    event_free(outbox->timer);
    event_free(outbox->writable);
    free(outbox);
}

void outbox_answer_to(struct outbox *outbox, uint32_t command)
{
    outbox->command = command;
}

bool outbox_send(struct outbox *outbox, const struct piece *piece)
{
    const struct parcel *before = TAILQ_LAST(&outbox->waiting, parcels);
    double now = clock_now(outbox->clock);
    double from = before != NULL ? fmax(before->due, now) : now;
    struct piece rest = *piece;

    if (before == NULL && piece->delay_ms <= 0.0 && !piece->last && !outbox->marked) {
        ssize_t sent = give(outbox, piece->bytes, piece->count);

        if (sent < 0) {
            outbox->broken(outbox->argument);
            return false;
        }
        if ((size_t)sent == piece->count)
            return true;
        rest.bytes = (const char *)piece->bytes + sent;
        rest.count -= (size_t)sent;
    }
    post(outbox, &rest, from + piece->delay_ms / 1e3);
    return pump(outbox);
}

void outbox_drop(struct outbox *outbox)
{
    struct parcel *parcel;

    while ((parcel = TAILQ_FIRST(&outbox->waiting)) != NULL) {
        TAILQ_REMOVE(&outbox->waiting, parcel, link);
        free(parcel);
    }
}

void outbox_babble(struct outbox *outbox, const char *text)
{
    snprintf(outbox->babble, sizeof outbox->babble, "%s", text != NULL ? text : "");
    if (text != NULL)
        after(outbox->timer, 0.0);
}
