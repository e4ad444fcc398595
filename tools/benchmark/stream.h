/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A Unix stream socket read line by line: the least that either side of a comparison needs. */
#ifndef GRADUS_TOOLS_BENCHMARK_STREAM_H
#define GRADUS_TOOLS_BENCHMARK_STREAM_H

#include <stdbool.h>
#include <stddef.h>

struct stream {
    int descriptor;
    size_t begin; /* of the line that follows the last one handed out */
    size_t end;
    char bytes[1 << 20];
};

/* Connects; ends the program with a message when it cannot. */
void stream_connect(struct stream *stream, const char *path);

/* Sends all of a text; ends the program when it cannot. */
void stream_send(struct stream *stream, const char *text);

/* The next line, terminated, without its newline; valid until the next call. */
char *stream_line(struct stream *stream);

/* Closes the connection. */
void stream_close(struct stream *stream);

/* Seconds on the monotonic clock. */
double seconds_now(void);

/* Says what went wrong and ends the program with status 1. */
void give_up(const char *format, ...) __attribute__((format(printf, 1, 2), noreturn));

#endif
