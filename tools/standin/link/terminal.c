/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "terminal.h"

#include "tools/standin/basics/alloc.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <termios.h>
#include <unistd.h>

enum { RETRY_US = 20000 };

struct terminal {
    char path[128];
    speed_t speed;
    struct event *retry;
    terminal_opened *opened;
    void *argument;
};

static bool speed_of(double baud, speed_t *speed)
{
    static const struct {
        double baud;
        speed_t speed;
    } known[] = { { 1200, B1200 },   { 2400, B2400 },     { 4800, B4800 },
                  { 9600, B9600 },   { 19200, B19200 },   { 38400, B38400 },
                  { 57600, B57600 }, { 115200, B115200 }, { 230400, B230400 } };

    for (size_t i = 0; i < sizeof known / sizeof known[0]; i++) {
        if (known[i].baud == baud) {
            *speed = known[i].speed;
            return true;
        }
    }
    return false;
}

/* The terminal, set up and without what an earlier user left in it; -1 with errno. */
static int open_raw(const struct terminal *terminal)
{
    struct termios settings;
    int fd = open(terminal->path, O_RDWR | O_NOCTTY | O_NONBLOCK | O_CLOEXEC);

    if (fd < 0)
        return -1;
    if (tcgetattr(fd, &settings) != 0) {
        close(fd);
        return -1;
    }
    cfmakeraw(&settings);
    settings.c_cflag |= CLOCAL | CREAD;
    settings.c_cflag &= ~(tcflag_t)(CRTSCTS | CSTOPB);
    cfsetspeed(&settings, terminal->speed);
    tcsetattr(fd, TCSANOW, &settings);
    tcflush(fd, TCIOFLUSH);
    return fd;
}

void terminal_reopen(struct terminal *terminal)
{
    const struct timeval soon = { .tv_usec = RETRY_US };

    event_add(terminal->retry, &soon);
}

static void on_retry(evutil_socket_t none, short what, void *argument)
{
    struct terminal *terminal = argument;
    int fd = open_raw(terminal);

    (void)none;
    (void)what;
    if (fd < 0)
        terminal_reopen(terminal);
    else
        terminal->opened(terminal->argument, fd);
}

struct terminal *terminal_open(struct event_base *base, const char *path, double baud,
                               terminal_opened *opened, void *argument, struct problem *problem)
{
    struct terminal *terminal = alloc_new(1, sizeof *terminal);
    int length = snprintf(terminal->path, sizeof terminal->path, "%s", path);
    int fd = -1;

    terminal->opened = opened;
    terminal->argument = argument;
    terminal->retry = alloc_checked(event_new(base, -1, 0, on_retry, terminal));
    if ((size_t)length >= sizeof terminal->path || !speed_of(baud, &terminal->speed))
        problem_tell(problem, "%s: too long a path, or %g baud is not known", path, baud);
    else if ((fd = open_raw(terminal)) < 0)
        problem_tell(problem, "%s: %s", path, strerror(errno));
    if (fd < 0) {
        terminal_close(terminal);
        return NULL;
    }
    opened(argument, fd);
    return terminal;
}

void terminal_close(struct terminal *terminal)
{
    if (terminal != NULL) {
        event_free(terminal->retry);
        free(terminal);
    }
}
