/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "asking.h"

#include <stdio.h>
#include <string.h>

void ask(struct stream *daemon, const char *request)
{
    stream_send(daemon, request);
    const char *line = stream_line(daemon);
    if (!strstr(line, "\"result\""))
        give_up("the daemon answered %s", line);
}

double repeat_rate(struct stream *daemon, const char *point, double readings)
{
    size_t count = (size_t)readings + 1;
    count = count > 10000 ? 10000 : count;
    char request[256];
    snprintf(request, sizeof request,
             "{\"jsonrpc\":\"2.0\",\"id\":1,\"method\":\"measure\",\"params\":"
             "{\"point\":\"%s\",\"repeat\":%zu,\"deadline_ms\":60000}}\n",
             point, count);
    double begin = seconds_now();
    ask(daemon, request);
    return (double)count / (seconds_now() - begin);
}
