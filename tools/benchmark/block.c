/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "block.h"

#include "bare_usb.h"
#include "drivers/dialogue/link_open.h"
#include "drivers/link/link.h"
#include "stream.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { TURNS = 4, BLOCKS = 5, MOST = 2 * 1024 * 1024 };

static const double patience_ms = 20000;

static struct link *open_link(const char *text, struct link_spec *spec)
{
    struct failure failure = { 0 };
    if (!link_spec_parse(text, NULL, spec, &failure))
        give_up("%s: %s", text, failure.what);
    struct link *link = link_open(spec, deadline_in(patience_ms), &failure);
    if (link == NULL)
        give_up("%s: %s", text, failure.what);
    return link;
}

static void tell(struct link *link, const char *text)
{
    struct failure failure = { 0 };
    if (!link_write(link, text, strlen(text), deadline_in(patience_ms), &failure))
        give_up("%s", failure.what);
}

/* One whole answer; returns its length. */
static size_t ask(struct link *link, const char *query, char *bytes)
{
    struct failure failure = { 0 };
    size_t total = 0, count = 0;
    bool end = false;
    tell(link, query);
    while (!end) {
        if (link_read(link, bytes + total, MOST - total, &count, &end, deadline_in(patience_ms),
                      &failure) != LINK_BYTES)
            give_up("no answer: %s", failure.what);
        total += count;
    }
    return total;
}

/* Seconds of the fastest of a few answers through the driver, and how long the answer is. */
static double through_driver(const char *text, const char *setup, const char *query, size_t *length)
{
    static char bytes[MOST];
    struct link_spec spec;
    struct link *link = open_link(text, &spec);
    double best = INFINITY;
    tell(link, setup);
    for (int i = 0; i < BLOCKS; i++) {
        double begin = seconds_now();
        *length = ask(link, query, bytes);
        best = fmin(best, seconds_now() - begin);
    }
    link_close(link);
    return best;
}

static double bare(const struct link_spec *spec, const char *query, size_t length)
{
    struct bare_usb *usb = bare_usb_open(spec->vendor, spec->product);
    double best = INFINITY;
    for (int i = 0; i < BLOCKS; i++) {
        double begin = seconds_now();
        if (bare_usb_ask(usb, query, length) < length)
            give_up("a bare answer is too short");
        best = fmin(best, seconds_now() - begin);
    }
    bare_usb_close(usb);
    return best;
}

void benchmark_block(const char *link, const char *setup, const char *query)
{
    struct link_spec spec;
    struct failure failure = { 0 };
    double driver = INFINITY, plain = INFINITY;
    size_t length = 0;
    if (!link_spec_parse(link, NULL, &spec, &failure))
        give_up("%s: %s", link, failure.what);
    for (int i = 0; i < TURNS; i++) {
        driver = fmin(driver, through_driver(link, setup, query, &length));
        plain = fmin(plain, bare(&spec, query, length));
    }
    double megabytes = (double)length / 1e6;
    printf("usb, %.1f MB block: MB/s over bare libusb transfers: %.3f (%.1f over %.1f)\n",
           megabytes, plain / driver, megabytes / driver, megabytes / plain);
}
