/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "stream.h"

#include <errno.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <time.h>
#include <unistd.h>

void give_up(const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    fputs("benchmark: ", stderr);
    vfprintf(stderr, format, arguments);
    fputc('\n', stderr);
    va_end(arguments);
    exit(1);
}

double seconds_now(void)
{
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)now.tv_sec + (double)now.tv_nsec * 1e-9;
}

void stream_connect(struct stream *stream, const char *path)
{
    struct sockaddr_un address = { .sun_family = AF_UNIX };
    if (strlen(path) >= sizeof address.sun_path)
        give_up("%s: path too long for a socket", path);
    memcpy(address.sun_path, path, strlen(path) + 1);
    stream->begin = stream->end = 0;
    stream->descriptor = socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0);
    if (connect(stream->descriptor, (const struct sockaddr *)&address, sizeof address) != 0)
        give_up("%s: %s", path, strerror(errno));
}

void stream_send(struct stream *stream, const char *text)
{
    size_t left = strlen(text);
    while (left > 0) {
        ssize_t sent = send(stream->descriptor, text, left, MSG_NOSIGNAL);
        if (sent < 0)
            give_up("send: %s", strerror(errno));
        text += sent;
        left -= (size_t)sent;
    }
}

char *stream_line(struct stream *stream)
{
    for (;;) {
        char *line = stream->bytes + stream->begin;
        char *newline = memchr(line, '\n', stream->end - stream->begin);
        if (newline) {
            *newline = '\0';
            stream->begin = (size_t)(newline + 1 - stream->bytes);
            return line;
        }
        memmove(stream->bytes, line, stream->end - stream->begin);
        stream->end -= stream->begin;
        stream->begin = 0;
        if (stream->end == sizeof stream->bytes)
            give_up("a line longer than %zu bytes", sizeof stream->bytes);
        ssize_t got = recv(stream->descriptor, stream->bytes + stream->end,
                           sizeof stream->bytes - stream->end, 0);
        if (got <= 0)
            give_up("the other side closed the connection");
        stream->end += (size_t)got;
    }
}

void stream_close(struct stream *stream)
{
    close(stream->descriptor);
}
