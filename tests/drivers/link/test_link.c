/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Link texts, deadlines, and streams over the loopback interface and a Unix socket. */
#include "drivers/basics/deadline.h"
#include "drivers/dialogue/link_open.h"
#include "drivers/link/link.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <arpa/inet.h>
#include <cmocka.h>
#include <math.h>
#include <netinet/in.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>

static const double plenty_ms = 20000;

static void bad_links_are_refused(void **state)
{
    static const char *const texts[] = {
        "",
        "tcp",
        "tcp:",
        "tcp:host",
        "tcp:host:",
        "tcp::5025",
        "tcp:host:0",
        "tcp:host:65536",
        "tcp:host:5025x",
        "tcp:host:-1",
        "tcp:host: 5025",
        "tcp:::1:5025",
        "tcp:[::1]",
        "tcp:[::1]5025",
        "tcp:[::1:5025",
        "tcp:[]:5025",
        "TCP:host:5025",
        "unix:",
        "unix:/",
        "unix:name",
        "serial:",
        "serial:ttyUSB0",
        "serial:/dev/",
        "serial:/tmp/ttyUSB0",
        "serial:usb:",
        "serial:usb:1209",
        "serial:usb:1209:",
        "serial:usb:209:0001",
        "serial:usb:1209:000g",
        "serial:usb:1209:0001:",
        "serial:usb:1209:00011",
        "serial:usb:0000:0001",
        "serial:usb:1209:0000",
        "usb:",
        "usb:1209",
        "usb:1209:",
        "usb:209:0001",
        "usb:1209:000g",
        "usb:1209:0001:",
        "usb:1209:00011",
        "usb:0000:0001",
        "usb:serial",
        "usb:serial:",
        "usb:SN0001",
        "USB:1209:0001",
        "gpib:0",
        " tcp:host:1",
    };

    (void)state;
    for (size_t i = 0; i < sizeof texts / sizeof *texts; i++) {
        struct link_spec spec = { .port = 77 };
        struct failure failure;

        failure_clear(&failure);
        if (link_spec_parse(texts[i], NULL, &spec, &failure))
            fail_msg("'%s' was taken for a link", texts[i]);
        assert_int_equal(failure.code, FAILURE_SETTINGS);
        assert_int_equal(spec.port, 77);
    }
}

static void too_long_links_are_refused(void **state)
{
    struct link_spec spec;
    char text[400];

    (void)state;
    snprintf(text, sizeof text, "unix:/%0107d", 0);
    assert_false(link_spec_parse(text, NULL, &spec, NULL));
    snprintf(text, sizeof text, "unix:/%0106d", 0);
    assert_true(link_spec_parse(text, NULL, &spec, NULL));
    snprintf(text, sizeof text, "tcp:%0200d:1", 0);
    assert_false(link_spec_parse(text, NULL, &spec, NULL));
    snprintf(text, sizeof text, "tcp:%0300d:1", 0);
    assert_false(link_spec_parse(text, NULL, &spec, NULL));
    snprintf(text, sizeof text, "serial:/dev/%0200d", 0);
    assert_false(link_spec_parse(text, NULL, &spec, NULL));
    snprintf(text, sizeof text, "serial:usb:1209:0001:%064d", 0);
    assert_false(link_spec_parse(text, NULL, &spec, NULL));
    snprintf(text, sizeof text, "usb:serial:%064d", 0);
    assert_false(link_spec_parse(text, NULL, &spec, NULL));
    snprintf(text, sizeof text, "usb:serial:%063d", 0);
    assert_true(link_spec_parse(text, NULL, &spec, NULL));
}

static void links_are_read(void **state)
{
    struct serial_line line = serial_line_default();
    struct link_spec spec;

    (void)state;
    assert_true(link_spec_parse("tcp:meter.lab:5025", NULL, &spec, NULL));
    assert_int_equal(spec.kind, LINK_TCP);
    assert_string_equal(spec.address, "meter.lab");
    assert_int_equal(spec.port, 5025);
    assert_string_equal(spec.text, "tcp:meter.lab:5025");
    assert_true(link_spec_parse("tcp:[fe80::1%eth0]:1", NULL, &spec, NULL));
    assert_string_equal(spec.address, "fe80::1%eth0");
    assert_true(link_spec_parse("unix:/run/x:y.sock", NULL, &spec, NULL));
    assert_int_equal(spec.kind, LINK_UNIX);
    assert_string_equal(spec.address, "/run/x:y.sock");
    line.baud = 115200;
    assert_true(link_spec_parse("serial:/dev/serial/by-id/a:b-if00", &line, &spec, NULL));
    assert_int_equal(spec.kind, LINK_SERIAL);
    assert_string_equal(spec.address, "/dev/serial/by-id/a:b-if00");
    assert_int_equal(spec.line.baud, 115200);
    assert_int_equal(spec.vendor, 0);
    assert_true(link_spec_parse("serial:usb:AbcD:00ef:X:1", NULL, &spec, NULL));
    assert_int_equal(spec.vendor, 0xabcd);
    assert_int_equal(spec.product, 0xef);
    assert_string_equal(spec.usb_serial, "X:1");
    assert_int_equal(spec.line.baud, 9600);
    assert_true(link_spec_parse("serial:usb:1209:0001", NULL, &spec, NULL));
    assert_string_equal(spec.usb_serial, "");
}

static void usb_links_are_read(void **state)
{
    struct link_spec spec;

    (void)state;
    assert_true(link_spec_parse("usb:1209:000A", NULL, &spec, NULL));
    assert_int_equal(spec.kind, LINK_USB);
    assert_int_equal(spec.vendor, 0x1209);
    assert_int_equal(spec.product, 0xa);
    assert_string_equal(spec.usb_serial, "");
    assert_true(link_spec_parse("usb:1209:000a:SN:1", NULL, &spec, NULL));
    assert_int_equal(spec.product, 0xa);
    assert_string_equal(spec.usb_serial, "SN:1");
    assert_true(link_spec_parse("usb:serial:SN 0001", NULL, &spec, NULL));
    assert_int_equal(spec.kind, LINK_USB);
    assert_int_equal(spec.vendor, 0);
    assert_string_equal(spec.usb_serial, "SN 0001");
}

static void serial_framing_is_read(void **state)
{
    static const char *const bad[] = { "", "8", "8N", "8N11", "9N1", "8M1", "8N3", "8n1", "8\0" };
    struct serial_line line = serial_line_default();

    (void)state;
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++)
        assert_false(serial_framing_parse(bad[i], &line));
    assert_int_equal(line.data_bits, 8);
    assert_true(serial_framing_parse("7E2", &line));
    assert_int_equal(line.data_bits, 7);
    assert_int_equal(line.parity, 'E');
    assert_int_equal(line.stop_bits, 2);
}

static void deadlines_saturate(void **state)
{
    struct deadline past = { 0 };

    (void)state;
    assert_true(deadline_passed(deadline_in(-5)));
    assert_true(deadline_passed(deadline_in(NAN)));
    assert_int_equal(deadline_poll_ms(past), 0);
    assert_true(deadline_left_ms(past) < 0);
    assert_int_equal(deadline_poll_ms(deadline_in(INFINITY)), 3600000);
    assert_false(deadline_passed(deadline_in(INFINITY)));
    assert_true(deadline_sooner(past, deadline_in(1)).at.ns == 0);
    assert_true(deadline_sooner(deadline_in(1), past).at.ns == 0);
    assert_in_range(deadline_poll_ms(deadline_in(plenty_ms)), 1, 20000);
}

/* A listening socket and what a link to it is called. */
struct listener {
    int fd;
    char text[128];
    char path[100];
    struct link_spec spec;
};

static struct listener listen_tcp(void)
{
    struct sockaddr_in address = { .sin_family = AF_INET,
                                   .sin_addr.s_addr = htonl(INADDR_LOOPBACK) };
    socklen_t size = sizeof address;
    struct listener made = { .fd = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0) };

    assert_int_equal(bind(made.fd, (struct sockaddr *)&address, size), 0);
    assert_int_equal(listen(made.fd, 4), 0);
    assert_int_equal(getsockname(made.fd, (struct sockaddr *)&address, &size), 0);
    snprintf(made.text, sizeof made.text, "tcp:127.0.0.1:%d", ntohs(address.sin_port));
    assert_true(link_spec_parse(made.text, NULL, &made.spec, NULL));
    return made;
}

static struct listener listen_unix(void)
{
    struct sockaddr_un address = { .sun_family = AF_UNIX };
    struct listener made = { .fd = socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0) };
    char folder[] = "/tmp/gradus-test-XXXXXX";

    assert_non_null(mkdtemp(folder));
    snprintf(made.path, sizeof made.path, "%s/s", folder);
    snprintf(address.sun_path, sizeof address.sun_path, "%s", made.path);
    assert_int_equal(bind(made.fd, (struct sockaddr *)&address, sizeof address), 0);
    assert_int_equal(listen(made.fd, 1), 0);
    snprintf(made.text, sizeof made.text, "unix:%s", made.path);
    assert_true(link_spec_parse(made.text, NULL, &made.spec, NULL));
    return made;
}

static void listener_free(struct listener *listener)
{
    close(listener->fd);
    if (listener->path[0]) {
        unlink(listener->path);
        *strrchr(listener->path, '/') = '\0';
        rmdir(listener->path);
    }
}

static void nobody_listens(void **state)
{
    struct listener tcp = listen_tcp();
    struct listener named = listen_unix();
    struct failure failure;

    (void)state;
    listener_free(&tcp);
    listener_free(&named);
    failure_clear(&failure);
    assert_null(link_open(&tcp.spec, deadline_in(plenty_ms), &failure));
    assert_int_equal(failure.code, FAILURE_DISCONNECTED);
    failure_clear(&failure);
    assert_null(link_open(&named.spec, deadline_in(plenty_ms), &failure));
    assert_int_equal(failure.code, FAILURE_DISCONNECTED);
}

/* A Unix listener whose queue is full keeps callers waiting; the deadline ends that. */
static void a_full_queue_ends_at_the_deadline(void **state)
{
    struct listener listener = listen_unix();
    struct link *links[4] = { NULL };
    struct failure failure;
    size_t opened = 0;

    (void)state;
    failure_clear(&failure);
    for (; opened < 4; opened++) {
        links[opened] = link_open(&listener.spec, deadline_in(30), &failure);
        if (!links[opened])
            break;
    }
    assert_in_range(opened, 1, 3);
    assert_int_equal(failure.code, FAILURE_TIMEOUT);
    for (size_t i = 0; i < opened; i++)
        link_close(links[i]);
    listener_free(&listener);
}

static void a_name_is_looked_up(void **state)
{
    struct listener listener = listen_tcp();
    struct link_spec spec = listener.spec;
    struct failure failure;
    struct link *link;

    (void)state;
    failure_clear(&failure);
    /* A label longer than 63 characters is refused without asking the network. */
    snprintf(spec.address, sizeof spec.address, "%070d.invalid", 0);
    assert_null(link_open(&spec, deadline_in(plenty_ms), &failure));
    assert_int_equal(failure.code, FAILURE_DISCONNECTED);
    snprintf(spec.address, sizeof spec.address, "localhost");
    link = link_open(&spec, deadline_in(plenty_ms), NULL);
    assert_non_null(link);
    link_close(link);
    listener_free(&listener);
}

/* Everything a stream does, over either kind of socket. */
static void check_stream(struct listener *listener)
{
    struct link *link = link_open(&listener->spec, deadline_in(plenty_ms), NULL);
    int peer = accept(listener->fd, NULL, NULL);
    struct failure failure;
    char bytes[16];
    size_t count = 0;
    bool end = true;

    failure_clear(&failure);
    assert_non_null(link);
    assert_true(peer >= 0);
    assert_false(link_marks_end(link));
    assert_false(link_damaged(link));
    assert_false(link_clear(link, deadline_in(plenty_ms), &failure));
    assert_int_equal(failure.code, FAILURE_NONE);

    assert_int_equal(link_read(link, bytes, sizeof bytes, &count, &end, deadline_in(0), &failure),
                     LINK_QUIET);
    assert_int_equal(link_read(link, bytes, sizeof bytes, &count, &end, deadline_in(5), &failure),
                     LINK_QUIET);
    assert_int_equal(write(peer, "12345", 5), 5);
    assert_int_equal(link_read(link, bytes, 3, &count, &end, deadline_in(plenty_ms), &failure),
                     LINK_BYTES);
    assert_int_equal(count, 3);
    assert_false(end);
    /* A deadline that has passed still takes what is there. */
    assert_int_equal(link_read(link, bytes, sizeof bytes, &count, &end, deadline_in(0), &failure),
                     LINK_BYTES);
    assert_int_equal(count, 2);
    assert_memory_equal(bytes, "45", 2);

    assert_true(link_write(link, "READ?\n", 6, deadline_in(plenty_ms), &failure));
    assert_int_equal(read(peer, bytes, sizeof bytes), 6);
    assert_int_equal(failure.code, FAILURE_NONE);
    close(peer);
    assert_int_equal(
        link_read(link, bytes, sizeof bytes, &count, &end, deadline_in(plenty_ms), &failure),
        LINK_BROKEN);
    assert_int_equal(failure.code, FAILURE_DISCONNECTED);
    link_close(link);
}

static void tcp_carries_bytes(void **state)
{
    struct listener listener = listen_tcp();

    (void)state;
    check_stream(&listener);
    listener_free(&listener);
}

static void unix_carries_bytes(void **state)
{
    struct listener listener = listen_unix();

    (void)state;
    check_stream(&listener);
    listener_free(&listener);
}

/* A peer that reads nothing stops a large write at its deadline; one that is gone, at once. */
static void writes_end(void **state)
{
    static char large[8 << 20];
    struct listener listener = listen_unix();
    struct link *link = link_open(&listener.spec, deadline_in(plenty_ms), NULL);
    int peer = accept(listener.fd, NULL, NULL);
    struct failure failure;

    (void)state;
    assert_non_null(link);
    failure_clear(&failure);
    assert_false(link_write(link, large, sizeof large, deadline_in(10), &failure));
    assert_int_equal(failure.code, FAILURE_TIMEOUT);
    close(peer);
    failure_clear(&failure);
    assert_false(link_write(link, large, 1, deadline_in(plenty_ms), &failure));
    assert_int_equal(failure.code, FAILURE_DISCONNECTED);
    link_close(link);
    link_close(NULL);
    listener_free(&listener);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(bad_links_are_refused),
        cmocka_unit_test(too_long_links_are_refused),
        cmocka_unit_test(usb_links_are_read),
        cmocka_unit_test(serial_framing_is_read),
        cmocka_unit_test(nobody_listens),
        cmocka_unit_test(a_full_queue_ends_at_the_deadline),
        cmocka_unit_test(writes_end),
        cmocka_unit_test(links_are_read),
        cmocka_unit_test(deadlines_saturate),
        cmocka_unit_test(a_name_is_looked_up),
        cmocka_unit_test(tcp_carries_bytes),
        cmocka_unit_test(unix_carries_bytes),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
