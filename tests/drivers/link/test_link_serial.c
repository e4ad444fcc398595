/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Serial links over a pseudo-terminal: all that happens on the descriptor.
 * Speed, framing, control lines and error counters need a port of a real
 * driver and are tested in a guest.
 */
#include "drivers/dialogue/link_open.h"
#include "drivers/link/link.h"
#include "drivers/link/link_serial.h"
#include "drivers/link/serial_tty.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <fcntl.h>
#include <pty.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <sys/socket.h>
#include <termios.h>
#include <unistd.h>

static const double plenty_ms = 20000;

/* The instrument's end of a line, and ours. */
struct pair {
    int instrument;
    int ours; /* belongs to `link` once it is made */
    struct link *link;
    char name[64];
};

static struct pair open_pair(enum flow_control flow)
{
    struct pair pair;

    assert_int_equal(openpty(&pair.instrument, &pair.ours, pair.name, NULL, NULL), 0);
    pair.link = link_serial_adopt(pair.ours, flow, NULL);
    assert_non_null(pair.link);
    return pair;
}

static enum link_result take(struct pair *pair, char *bytes, size_t *count, double wait_ms,
                             struct failure *failure)
{
    bool end = true;
    enum link_result result =
        link_read(pair->link, bytes, 64, count, &end, deadline_in(wait_ms), failure);

    assert_false(end);
    return result;
}

static void what_is_no_terminal_is_refused(void **state)
{
    struct failure failure;
    int ends[2];

    (void)state;
    assert_int_equal(socketpair(AF_UNIX, SOCK_STREAM, 0, ends), 0);
    failure_clear(&failure);
    assert_null(link_serial_adopt(ends[0], FLOW_NONE, &failure));
    assert_int_equal(failure.code, FAILURE_SYSTEM);
    assert_int_equal(fcntl(ends[0], F_GETFD), -1); /* closed */
    close(ends[1]);
}

static void refused(const char *text, enum failure_code code)
{
    struct link_spec spec;
    struct failure failure;

    assert_true(link_spec_parse(text, NULL, &spec, NULL));
    failure_clear(&failure);
    assert_null(link_open(&spec, deadline_in(plenty_ms), &failure));
    assert_int_equal(failure.code, code);
}

static void ports_that_are_none_are_refused(void **state)
{
    (void)state;
    refused("serial:/dev/gradus-no-such-port", FAILURE_DISCONNECTED);
    refused("serial:/dev/null", FAILURE_DISCONNECTED);
    refused("serial:/dev/../etc/hostname", FAILURE_SETTINGS);
    refused("serial:usb:fffe:fffd:none", FAILURE_DISCONNECTED);
}

static void a_second_owner_is_refused(void **state)
{
    struct pair pair = open_pair(FLOW_NONE);
    struct failure failure;
    int again = open(pair.name, O_RDWR | O_NOCTTY);

    (void)state;
    failure_clear(&failure);
    /* TIOCEXCL keeps out all but the administrator, the lock keeps out our own. */
    if (again >= 0) {
        assert_null(link_serial_adopt(again, FLOW_NONE, &failure));
        assert_int_equal(failure.code, FAILURE_DISCONNECTED);
    }
    link_close(pair.link);
    again = open(pair.name, O_RDWR | O_NOCTTY);
    assert_true(again >= 0);
    pair.link = link_serial_adopt(again, FLOW_NONE, NULL);
    assert_non_null(pair.link);
    link_close(pair.link);
    close(pair.instrument);
}

static void an_unplugged_line_is_broken_at_once(void **state)
{
    struct pair pair = open_pair(FLOW_NONE);
    struct failure failure;
    char bytes[64];
    size_t count;

    (void)state;
    close(pair.instrument);
    failure_clear(&failure);
    assert_int_equal(take(&pair, bytes, &count, plenty_ms, &failure), LINK_BROKEN);
    assert_int_equal(failure.code, FAILURE_DISCONNECTED);
    failure_clear(&failure);
    assert_false(link_write(pair.link, "X", 1, deadline_in(plenty_ms), &failure));
    assert_int_equal(failure.code, FAILURE_DISCONNECTED);
    link_close(pair.link);
}

static void bytes_before_the_unplug_still_arrive(void **state)
{
    struct pair pair = open_pair(FLOW_NONE);
    struct failure failure;
    char bytes[64];
    size_t count;

    (void)state;
    failure_clear(&failure);
    assert_int_equal(write(pair.instrument, "12\n", 3), 3);
    assert_int_equal(take(&pair, bytes, &count, plenty_ms, &failure), LINK_BYTES);
    assert_int_equal(count, 3);
    close(pair.instrument);
    assert_int_equal(take(&pair, bytes, &count, plenty_ms, &failure), LINK_BROKEN);
    link_close(pair.link);
}

/* Control characters, CR, NL, NUL and eight-bit bytes pass as they are, and nothing is echoed. */
static void transfer_is_raw(void **state)
{
    char all[256];
    char back[256];
    struct pair pair = open_pair(FLOW_NONE);
    char bytes[64];
    size_t count;
    size_t got = 0;

    (void)state;
    for (size_t i = 0; i < sizeof all; i++)
        all[i] = (char)i;
    assert_int_equal(write(pair.instrument, all, sizeof all), sizeof all);
    while (got < sizeof all) {
        assert_int_equal(take(&pair, bytes, &count, plenty_ms, NULL), LINK_BYTES);
        assert_memory_equal(bytes, all + got, count);
        got += count;
    }
    assert_int_equal(take(&pair, bytes, &count, 0, NULL), LINK_QUIET);
    assert_true(link_write(pair.link, all, sizeof all, deadline_in(plenty_ms), NULL));
    for (got = 0; got < sizeof all;) {
        ssize_t n = read(pair.instrument, back + got, sizeof back - got);

        assert_true(n > 0);
        got += (size_t)n;
    }
    assert_memory_equal(back, all, sizeof all);
    link_close(pair.link);
    close(pair.instrument);
}

static void silence_is_no_break(void **state)
{
    struct pair pair = open_pair(FLOW_NONE);
    struct failure failure;
    char bytes[64];
    size_t count;

    (void)state;
    failure_clear(&failure);
    assert_int_equal(take(&pair, bytes, &count, 0, &failure), LINK_QUIET);
    assert_int_equal(take(&pair, bytes, &count, 5, &failure), LINK_QUIET);
    assert_int_equal(failure.code, FAILURE_NONE);
    assert_false(link_damaged(pair.link));
    assert_false(link_marks_end(pair.link));
    link_close(pair.link);
    close(pair.instrument);
}

/* An instrument that says "stop" and never "go on" ends a write at its deadline, and no close. */
static void stuck_flow_control_ends_at_the_deadline(void **state)
{
    struct pair pair = open_pair(FLOW_XON_XOFF);
    struct failure failure;
    char bytes[64];
    size_t count;

    (void)state;
    failure_clear(&failure);
    assert_int_equal(write(pair.instrument, "\x13", 1), 1);
    assert_int_equal(take(&pair, bytes, &count, 5, &failure), LINK_QUIET); /* XOFF is no data */
    assert_false(link_write(pair.link, "READ?\n", 6, deadline_in(10), &failure));
    assert_int_equal(failure.code, FAILURE_TIMEOUT);
    link_close(pair.link);
    close(pair.instrument);
}

static void an_instrument_that_reads_nothing_ends_a_write_at_the_deadline(void **state)
{
    static char large[1 << 20];
    struct pair pair = open_pair(FLOW_NONE);
    struct failure failure;

    (void)state;
    failure_clear(&failure);
    memset(large, 'x', sizeof large);
    assert_false(link_write(pair.link, large, sizeof large, deadline_in(10), &failure));
    assert_int_equal(failure.code, FAILURE_TIMEOUT);
    link_close(pair.link);
    close(pair.instrument);
}

static void the_line_is_set_as_wanted(void **state)
{
    struct pair pair = open_pair(FLOW_NONE);
    struct termios line;

    (void)state;
    assert_int_equal(tcgetattr(pair.ours, &line), 0);
    assert_int_equal(line.c_cflag & HUPCL, 0);
    assert_int_equal(line.c_cflag & CLOCAL, CLOCAL);
    assert_int_equal(line.c_iflag, INPCK);
    assert_int_equal(line.c_lflag, 0);
    assert_int_equal(line.c_cc[VMIN], 1);
    assert_int_equal(line.c_cc[VTIME], 0);
    assert_int_equal(fcntl(pair.ours, F_GETFD) & FD_CLOEXEC, FD_CLOEXEC);
    assert_int_equal(fcntl(pair.ours, F_GETFL) & O_NONBLOCK, O_NONBLOCK);
    link_close(pair.link);
    close(pair.instrument);
}

static void each_counter_shows_damage(void **state)
{
    const struct serial_icounter_struct before = { .rx = 5, .tx = 6, .cts = 1 };
    struct serial_icounter_struct after = before;

    (void)state;
    after.rx++;
    after.tx++;
    after.cts++;
    assert_false(serial_tty_damage(&before, &after));
    after.frame++;
    assert_true(serial_tty_damage(&before, &after));
    after = before;
    after.parity++;
    assert_true(serial_tty_damage(&before, &after));
    after = before;
    after.overrun++;
    assert_true(serial_tty_damage(&before, &after));
    after = before;
    after.brk++;
    assert_true(serial_tty_damage(&before, &after));
    after = before;
    after.buf_overrun++;
    assert_true(serial_tty_damage(&before, &after));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_is_no_terminal_is_refused),
        cmocka_unit_test(ports_that_are_none_are_refused),
        cmocka_unit_test(a_second_owner_is_refused),
        cmocka_unit_test(an_unplugged_line_is_broken_at_once),
        cmocka_unit_test(bytes_before_the_unplug_still_arrive),
        cmocka_unit_test(stuck_flow_control_ends_at_the_deadline),
        cmocka_unit_test(an_instrument_that_reads_nothing_ends_a_write_at_the_deadline),
        cmocka_unit_test(transfer_is_raw),
        cmocka_unit_test(silence_is_no_break),
        cmocka_unit_test(the_line_is_set_as_wanted),
        cmocka_unit_test(each_counter_shows_damage),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
