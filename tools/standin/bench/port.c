/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "port.h"

#include "tools/standin/basics/alloc.h"
#include "tools/standin/link/outbox.h"
#include "tools/standin/link/reply.h"
#include "tools/standin/link/terminal.h"

#include <errno.h>
#include <math.h>
#include <netinet/in.h>
#include <netinet/tcp.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <unistd.h>

enum { INPUT_SIZE = 2048 };

struct port {
    struct event_base *base;
    const struct bench_clock *clock;
    struct instrument *instrument;
    char where[160];
    struct listener listener;
    struct terminal *terminal;
    struct gadget *gadget;
    bool gadget_listens; /* pieces of replies go out with a mark */
    int fd;              /* -1: nobody is connected */
    struct outbox *outbox;
    struct event *readable;
    struct event *converted; /* the timer of a conversion */
    bool busy;               /* a conversion lasts; its answer is in `answer` */
    bool stuck;              /* nothing is taken from the link */
    bool overrun;            /* what comes is thrown away up to the end of the command */
    uint32_t executed;       /* commands of this connection */
    size_t count;
    char input[INPUT_SIZE];
    struct answer answer;
};

/* Forgets the connection there is. */
static void hang_up(struct port *port)
{
    if (port->fd < 0)
        return;
    event_free(port->readable);
    event_del(port->converted);
    outbox_free(port->outbox);
    close(port->fd);
    port->fd = -1;
    port->outbox = NULL;
    port->readable = NULL;
    port->busy = false;
    port->overrun = false;
    port->executed = 0;
    port->count = 0;
}

void port_disconnect(struct port *port)
{
    hang_up(port);
    if (port->terminal != NULL)
        terminal_reopen(port->terminal);
    else if (port->gadget != NULL)
        gadget_drop(port->gadget);
}

static void broken(void *argument)
{
    port_disconnect(argument);
}

/* Sends the answer that is ready; false when the connection is gone. */
static bool reply(struct port *port)
{
    struct answer *answer = &port->answer;
    const char *end = port->instrument->language->reply_end;

    if (!answer->replies)
        return true;
    text_add(&answer->text, end, strlen(end));
    outbox_answer_to(port->outbox, port->executed);
    return reply_send(port->instrument, port->outbox, &answer->text);
}

/* Starts the timer of a conversion, rounded up to the microsecond. */
static void wait_conversion(struct port *port)
{
    double us = ceil(port->answer.delay_ms * 1e3);
    struct timeval delay = { .tv_sec = (time_t)(us / 1e6) };

    delay.tv_usec = (suseconds_t)(us - (double)delay.tv_sec * 1e6);
    port->busy = true;
    event_add(port->converted, &delay);
}

/* Executes one command, ended by a NUL; false when the connection is gone. */
static bool execute(struct port *port, char *command, size_t length)
{
    struct answer *answer = &port->answer;

    port->executed++;
    answer->text.count = 0;
    answer->replies = false;
    answer->delay_ms = 0.0;
    answer->now = clock_now(port->clock);
    if (port->overrun) {
        port->overrun = false;
        port->instrument->language->overrun(port->instrument, answer);
    } else {
        /* A NUL is no part of any command: make it a character that none knows. */
        for (char *nul = memchr(command, '\0', length); nul != NULL;
             nul = memchr(command, '\0', length))
            *nul = '\x7f';
        instrument_execute(port->instrument, command, answer);
    }
    if (answer->delay_ms > 0.0) {
        wait_conversion(port);
        return true;
    }
    return reply(port);
}

/* Executes what is complete, until a conversion makes the rest wait. */
static void work(struct port *port)
{
    size_t done = 0;

    while (!port->busy) {
        char *start = port->input + done;
        char *end = memchr(start, port->instrument->language->command_end, port->count - done);

        if (end == NULL)
            break;
        *end = '\0';
        done += (size_t)(end - start) + 1;
        if (!execute(port, start, (size_t)(end - start)))
            return;
    }
    port->count -= done;
    memmove(port->input, port->input + done, port->count);
    if (port->count == sizeof port->input && !port->busy) {
        port->overrun = true;
        port->count = 0;
    }
}

static void listen_on(struct port *port)
{
    if (!port->stuck)
        event_add(port->readable, NULL);
}

static void on_converted(evutil_socket_t fd, short what, void *argument)
{
    struct port *port = argument;

    (void)fd;
    (void)what;
    port->busy = false;
    if (reply(port)) {
        listen_on(port);
        work(port);
    }
}

static void on_readable(evutil_socket_t fd, short what, void *argument)
{
    struct port *port = argument;
    size_t room = sizeof port->input - port->count;
    ssize_t got;

    (void)what;
    if (room == 0) {
        /* Nothing more fits until the conversion is over: let it wait in the socket. */
        event_del(port->readable);
        return;
    }
    got = read(fd, port->input + port->count, room);
    if (got < 0 && (errno == EAGAIN || errno == EWOULDBLOCK || errno == EINTR))
        return;
    if (got <= 0) {
        port_disconnect(port);
        return;
    }
    port->count += (size_t)got;
    work(port);
}

/* Takes over a non-blocking stream as the connection. */
static void connect_to(struct port *port, int fd)
{
    hang_up(port);
    port->fd = fd;
    port->instrument->counters.connections++;
    port->outbox = outbox_new(port->base, port->clock, fd, port->gadget_listens, broken, port);
    port->readable =
        alloc_checked(event_new(port->base, fd, EV_READ | EV_PERSIST, on_readable, port));
    listen_on(port);
}

static void on_accepted(struct evconnlistener *events, evutil_socket_t fd, struct sockaddr *from,
                        int size, void *argument)
{
    int on = 1;

    (void)events;
    (void)size;
    if (from->sa_family != AF_UNIX)
        setsockopt(fd, IPPROTO_TCP, TCP_NODELAY, &on, sizeof on);
    connect_to(argument, fd);
}

static void on_connected(void *argument, int fd)
{
    connect_to(argument, fd);
}

static void on_gone(void *argument)
{
    hang_up(argument);
}

/* Bit 2 is SCPI's: the error queue is not empty. */
static unsigned status(void *argument)
{
    const struct port *port = argument;

    return port->instrument->scpi.count > 0 ? 4 : 0;
}

static bool open_gadget(struct port *port, const struct gadget_protocol *protocol,
                        const struct instrument_plan *plan, struct problem *problem)
{
    const struct language *language = port->instrument->language;
    const struct gadget_plan gadget = {
        .protocol = protocol,
        .mount = port->where + strlen("usb:"),
        .folder = plan->gadget,
        .udc = plan->udc,
        .user = { port, language->command_end, language->error_queue, on_connected, on_gone,
                  status },
    };

    port->gadget_listens = true;
    port->gadget = gadget_open(port->base, &gadget, problem);
    return port->gadget != NULL;
}

static bool open_link(struct port *port, const struct instrument_plan *plan,
                      struct problem *problem)
{
    if (strncmp(port->where, "tty:", 4) == 0) {
        port->terminal =
            terminal_open(port->base, port->where + 4, plan->baud, on_connected, port, problem);
        return port->terminal != NULL;
    }
    if (strncmp(port->where, "usb:", 4) == 0)
        return open_gadget(port, &gadget_tmc, plan, problem);
    if (strncmp(port->where, "acm:", 4) == 0)
        return open_gadget(port, &gadget_acm, plan, problem);
    return listener_open(&port->listener, port->base, port->where, on_accepted, port, problem);
}

struct port *port_open(struct event_base *base, const struct bench_clock *clock,
                       struct instrument *instrument, const char *where,
                       const struct instrument_plan *plan, struct problem *problem)
{
    struct port *port = alloc_new(1, sizeof *port);

    *port = (struct port) { .base = base, .clock = clock, .instrument = instrument, .fd = -1 };
    snprintf(port->where, sizeof port->where, "%s", where);
    port->converted = alloc_checked(event_new(base, -1, 0, on_converted, port));
    if (!open_link(port, plan, problem)) {
        port_close(port);
        return NULL;
    }
    return port;
}

void port_close(struct port *port)
{
    if (port == NULL)
        return;
    gadget_close(port->gadget);
    terminal_close(port->terminal);
    hang_up(port);
    listener_close(&port->listener);
    event_free(port->converted);
    text_clear(&port->answer.text);
    free(port);
}

const char *port_address(const struct port *port)
{
    return port->listener.events != NULL ? port->listener.address : port->where;
}

static void set_stuck(struct port *port, bool on)
{
    port->stuck = on;
    if (port->gadget != NULL)
        gadget_stick(port->gadget, on);
    if (port->fd >= 0 && on)
        event_del(port->readable);
    else if (port->fd >= 0)
        event_add(port->readable, NULL);
}

void port_quiet(struct port *port)
{
    if (port->outbox != NULL)
        outbox_babble(port->outbox, NULL);
    set_stuck(port, false);
}

void port_stick(struct port *port)
{
    set_stuck(port, true);
}

bool port_shows(const struct port *port, enum fault_kind kind)
{
    bool tmc = strncmp(port->where, "usb:", 4) == 0;
    bool acm = strncmp(port->where, "acm:", 4) == 0;

    if (kind == FAULT_SERVICE_REQUEST || (kind >= FAULT_WRONG_TAG && kind <= FAULT_NO_END))
        return tmc;
    return acm || kind < FAULT_FRAMING || kind > FAULT_BREAK;
}

void port_serve(struct port *port)
{
    gadget_serve(port->gadget);
}

struct gadget *port_gadget(const struct port *port)
{
    return port->gadget;
}
