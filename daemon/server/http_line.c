/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "http_line.h"

#include <string.h>

#define REFUSAL                                                                                    \
    "This is no web server: it takes one JSON-RPC 2.0 text a line, as gradus sends them."

_Static_assert(sizeof REFUSAL == 84, "Content-Length counts the text with its newline");

bool http_is_request(const char *line, size_t length)
{
    static const char version[] = " HTTP/";
    size_t method = 0;
    while (method < length && line[method] >= 'A' && line[method] <= 'Z')
        method++;
    return method > 0 && method < length && line[method] == ' ' &&
           memmem(line + method, length - method, version, sizeof version - 1) != NULL;
}

const char *http_refusal(void)
{
    return "HTTP/1.1 400 Bad Request\r\nContent-Type: text/plain; charset=utf-8\r\n"
           "Content-Length: 84\r\nConnection: close\r\n\r\n" REFUSAL;
}
