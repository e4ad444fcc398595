/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "drivers/link/serial_latency.h"
#include "tests/drivers/fake_folder.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <string.h>

/* The attribute that a driver below drivers/usb/serial of Linux 6.1 makes: latency_timer. */
static void where_the_timer_is(void **state)
{
    char path[128];
    char small[40];

    (void)state;
    assert_true(serial_latency_path("", "/dev/ttyUSB3", path, sizeof path));
    assert_string_equal(path, "/sys/bus/usb-serial/devices/ttyUSB3/latency_timer");
    assert_true(serial_latency_path("/elsewhere", "ttyUSB3", path, sizeof path));
    assert_string_equal(path, "/elsewhere/sys/bus/usb-serial/devices/ttyUSB3/latency_timer");
    assert_false(serial_latency_path("", "/dev/ttyUSB3", small, sizeof small));
    assert_false(serial_latency_path("", "/dev/", path, sizeof path));
    assert_false(serial_latency_path("", "", path, sizeof path));
    assert_false(serial_latency_path("", "/dev/..", path, sizeof path));
    assert_false(serial_latency_path("", NULL, path, sizeof path));
}

static void what_it_is_set_to(void **state)
{
    static const struct {
        const char *text;
        int ms;
    } cases[] = { { "16\n", 16 }, { "1\n", 1 },   { "0\n", 0 },   { "255\n", 255 },
                  { "", -1 },     { "no\n", -1 }, { "-1\n", -1 }, { "99999\n", -1 } };
    const char *root = folder_begin();

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        fake_file("/sys/bus/usb-serial/devices/ttyUSB0/latency_timer", cases[i].text);
        assert_int_equal(serial_latency_ms(root, "/dev/ttyUSB0"), cases[i].ms);
    }
    assert_int_equal(serial_latency_ms(root, "/dev/ttyUSB1"), -1);
    folder_end();
}

static void what_is_said_of_it(void **state)
{
    char note[SERIAL_NOTE];
    const char *root = folder_begin();

    (void)state;
    fake_file("/sys/bus/usb-serial/devices/ttyUSB0/latency_timer", "16\n");
    serial_latency_note(root, "/dev/ttyUSB0", note, sizeof note);
    assert_non_null(strstr(note, "up to 16 ms"));
    assert_non_null(strstr(note, "config/60-gradus.rules"));
    assert_true(strlen(note) < sizeof note - 1); /* not cut */
    fake_file("/sys/bus/usb-serial/devices/ttyUSB0/latency_timer", "1\n");
    serial_latency_note(root, "/dev/ttyUSB0", note, sizeof note);
    assert_string_equal(note, "");
    serial_latency_note(root, "/dev/ttyS0", note, sizeof note);
    assert_string_equal(note, "");
    folder_end();
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(where_the_timer_is),
        cmocka_unit_test(what_it_is_set_to),
        cmocka_unit_test(what_is_said_of_it),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
