/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Reading the text form of a link. */
#include "link.h"

#include <stdio.h>
#include <string.h>

static const char forms[] =
    "tcp:HOST:PORT, tcp:[IPV6]:PORT, unix:/PATH, serial:/dev/NAME, "
    "serial:usb:VVVV:PPPP[:SERIAL], usb:VVVV:PPPP[:SERIAL] or usb:serial:SERIAL";

/* Longest path that fits into a Unix socket address with its terminator. */
enum { UNIX_PATH = 107, LARGEST_PORT = 65535, HEX_DIGITS = 4 };

struct serial_line serial_line_default(void)
{
    return (struct serial_line) { .baud = 9600,
                                  .data_bits = 8,
                                  .parity = 'N',
                                  .stop_bits = 1,
                                  .flow = FLOW_NONE,
                                  .dtr = true,
                                  .rts = true };
}

bool serial_framing_parse(const char *text, struct serial_line *line)
{
    if (strlen(text) != 3)
        return false;
    if ((text[0] != '7' && text[0] != '8') || !strchr("NEO", text[1]) ||
        (text[2] != '1' && text[2] != '2'))
        return false;
    line->data_bits = text[0] - '0';
    line->parity = text[1];
    line->stop_bits = text[2] - '0';
    return true;
}

static bool wrong(struct failure *failure, const char *text, const char *what)
{
    return failure_set(failure, FAILURE_SETTINGS, NULL, forms, "link '%s': %s", text, what);
}

/* Copies `count` bytes with a terminator; false when they do not fit. */
static bool copy_text(char *out, size_t size, const char *text, size_t count)
{
    if (count >= size)
        return false;
    memcpy(out, text, count);
    out[count] = '\0';
    return true;
}

static bool parse_port(const char *text, int *port)
{
    int value = 0;

    if (*text == '\0' || strlen(text) > 5)
        return false;
    for (; *text; text++) {
        if (*text < '0' || *text > '9')
            return false;
        value = value * 10 + (*text - '0');
    }
    *port = value;
    return value >= 1 && value <= LARGEST_PORT;
}

static bool parse_tcp(const char *text, const char *rest, struct link_spec *spec,
                      struct failure *failure)
{
    bool bracketed = *rest == '[';
    const char *host = bracketed ? rest + 1 : rest;
    const char *end = strchr(host, bracketed ? ']' : ':');
    const char *colon = bracketed && end ? end + 1 : end;

    spec->kind = LINK_TCP;
    if (!end || *colon != ':')
        return wrong(failure, text, "no port");
    if (end == host)
        return wrong(failure, text, "no host");
    if (host[0] == '/')
        return wrong(failure, text, "no slashes before the host");
    if (!copy_text(spec->address, sizeof spec->address, host, (size_t)(end - host)))
        return wrong(failure, text, "host name too long");
    if (!bracketed && strchr(colon + 1, ':'))
        return wrong(failure, text, "IPv6 address without brackets");
    if (!parse_port(colon + 1, &spec->port))
        return wrong(failure, text, "port is not a number from 1 to 65535");
    return true;
}

static bool parse_unix(const char *text, const char *rest, struct link_spec *spec,
                       struct failure *failure)
{
    spec->kind = LINK_UNIX;
    if (rest[0] != '/' || rest[1] == '\0')
        return wrong(failure, text, "path does not begin at the root");
    if (strlen(rest) > UNIX_PATH)
        return wrong(failure, text, "path too long for a socket");
    copy_text(spec->address, sizeof spec->address, rest, strlen(rest));
    return true;
}

/* Reads exactly four hexadecimal digits that are not all zero. */
static bool parse_hex(const char *text, int *value)
{
    int sum = 0;

    for (int i = 0; i < HEX_DIGITS; i++) {
        const char digits[] = "0123456789abcdefABCDEF";
        const char *found = text[i] ? strchr(digits, text[i]) : NULL;

        if (!found)
            return false;
        sum = sum * 16 + (int)(found - digits > 15 ? found - digits - 6 : found - digits);
    }
    *value = sum;
    return sum != 0;
}

static bool parse_ids(const char *text, const char *rest, struct link_spec *spec,
                      struct failure *failure)
{
    const char *product = rest + HEX_DIGITS + 1;
    const char *after = product + HEX_DIGITS;

    if (!parse_hex(rest, &spec->vendor) || rest[HEX_DIGITS] != ':' ||
        !parse_hex(product, &spec->product))
        return wrong(failure, text, "vendor and product are not four hexadecimal digits each");
    if (*after == '\0')
        return true;
    if (*after != ':' || after[1] == '\0')
        return wrong(failure, text, "no serial number behind the product");
    if (!copy_text(spec->usb_serial, sizeof spec->usb_serial, after + 1, strlen(after + 1)))
        return wrong(failure, text, "serial number too long");
    return true;
}

static bool parse_serial(const char *text, const char *rest, struct link_spec *spec,
                         struct failure *failure)
{
    static const char usb[] = "usb:";
    static const char devices[] = "/dev/";

    spec->kind = LINK_SERIAL;
    if (strncmp(rest, usb, sizeof usb - 1) == 0)
        return parse_ids(text, rest + sizeof usb - 1, spec, failure);
    if (strncmp(rest, devices, sizeof devices - 1) != 0 || rest[sizeof devices - 1] == '\0')
        return wrong(failure, text, "no name below /dev");
    if (!copy_text(spec->address, sizeof spec->address, rest, strlen(rest)))
        return wrong(failure, text, "path too long");
    return true;
}

static bool parse_usb(const char *text, const char *rest, struct link_spec *spec,
                      struct failure *failure)
{
    static const char serial[] = "serial:";
    const char *number = rest + sizeof serial - 1;

    spec->kind = LINK_USB;
    if (strncmp(rest, serial, sizeof serial - 1) != 0)
        return parse_ids(text, rest, spec, failure);
    if (*number == '\0')
        return wrong(failure, text, "no serial number");
    if (!copy_text(spec->usb_serial, sizeof spec->usb_serial, number, strlen(number)))
        return wrong(failure, text, "serial number too long");
    return true;
}

typedef bool spec_parser(const char *text, const char *rest, struct link_spec *spec,
                         struct failure *failure);

static const struct {
    const char *prefix;
    spec_parser *parse;
} parsers[] = {
    { "tcp:", parse_tcp },
    { "unix:", parse_unix },
    { "serial:", parse_serial },
    { "usb:", parse_usb },
};

/* A link of which only the kind is not said: one that begins like a device, or ends in a port. */
static bool guess_kind(struct failure *failure, const char *text)
{
    char expected[sizeof(struct link_spec)];
    struct link_spec ignored;
    struct failure wrong_again = { 0 };
    const bool device = strncmp(text, "/dev/", 5) == 0;
    snprintf(expected, sizeof expected, "perhaps '%s%s'", device ? "serial:" : "tcp:", text);
    if (device || parse_tcp(text, text, &ignored, &wrong_again))
        return failure_set(failure, FAILURE_SETTINGS, NULL, expected,
                           "link '%s': its kind is not said", text);
    return wrong(failure, text, "unknown kind of link");
}

bool link_spec_parse(const char *text, const struct serial_line *line, struct link_spec *spec,
                     struct failure *failure)
{
    struct link_spec made = { .line = line ? *line : serial_line_default() };

    if (!copy_text(made.text, sizeof made.text, text, strlen(text)))
        return failure_set(failure, FAILURE_SETTINGS, NULL, forms, "link is longer than %zu bytes",
                           sizeof made.text - 1);
    for (size_t i = 0; i < sizeof parsers / sizeof *parsers; i++) {
        size_t length = strlen(parsers[i].prefix);

        if (strncmp(text, parsers[i].prefix, length) != 0)
            continue;
        if (!parsers[i].parse(text, text + length, &made, failure))
            return false;
        *spec = made;
        return true;
    }
    return guess_kind(failure, text);
}
