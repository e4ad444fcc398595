/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "line.h"

#include "asking.h"

#include <libserialport.h>
#include <stdio.h>
#include <string.h>

enum { BAUD = 115200, PATIENCE_MS = 2000, WARM_UP = 50 };

static const double watched_s = 3;

static void must(enum sp_return code, const char *what)
{
    if (code < 0)
        give_up("serial line: %s failed", what);
}

static struct sp_port *open_line(const char *node)
{
    struct sp_port *port;
    must(sp_get_port_by_name(node, &port), "finding it");
    must(sp_open(port, SP_MODE_READ_WRITE), "opening it");
    must(sp_set_baudrate(port, BAUD), "its speed");
    must(sp_set_bits(port, 8), "its framing");
    must(sp_set_parity(port, SP_PARITY_NONE), "its framing");
    must(sp_set_stopbits(port, 1), "its framing");
    must(sp_set_flowcontrol(port, SP_FLOWCONTROL_NONE), "its flow control");
    must(sp_flush(port, SP_BUF_BOTH), "flushing");
    return port;
}

static void one_reading(struct sp_port *port, const char *query)
{
    char reply[256];
    size_t count = 0;
    must(sp_blocking_write(port, query, strlen(query), PATIENCE_MS), "writing");
    while (count == 0 || reply[count - 1] != '\n') {
        int n = sp_blocking_read_next(port, reply + count, sizeof reply - count, PATIENCE_MS);
        if (n <= 0 || (count += (size_t)n) == sizeof reply)
            give_up("serial line: no reply");
    }
}

static double bare_rate(const char *node, const char *query)
{
    struct sp_port *port = open_line(node);
    size_t count = 0;
    for (int i = 0; i < WARM_UP; i++)
        one_reading(port, query);
    double begin = seconds_now();
    for (; seconds_now() - begin < watched_s; count++)
        one_reading(port, query);
    double rate = (double)count / (seconds_now() - begin);
    sp_close(port);
    sp_free_port(port);
    return rate;
}

void benchmark_line(const char *name, const char *node, const char *daemon, const char *point,
                    const char *query)
{
    static struct stream stream;
    char message[256];
    snprintf(message, sizeof message, "%s\n", query);
    double bare = bare_rate(node, message);
    stream_connect(&stream, daemon);
    repeat_rate(&stream, point, WARM_UP); /* opens, identifies, settles */
    double through = repeat_rate(&stream, point, bare * watched_s);
    stream_close(&stream);
    printf("%s: readings/s over a bare libserialport loop, repeating: %.3f (%.0f over %.0f)\n",
           name, through / bare, through, bare);
}
