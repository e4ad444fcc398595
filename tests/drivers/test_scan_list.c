/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "drivers/scan.h"
#include "fake_folder.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <stdio.h>
#include <string.h>

/* One port of a scan in the making. */
static struct scan_device *port(struct scan *scan, const char *node, int vendor, int product,
                                const char *serial)
{
    struct scan_device *device = scan_add(scan);

    assert_non_null(device);
    device->transport = vendor ? "usb" : "native";
    device->vendor = vendor;
    device->product = product;
    snprintf(device->node, sizeof device->node, "%s", node);
    snprintf(device->usb_serial, sizeof device->usb_serial, "%s", serial);
    return device;
}

static void chosen(const struct scan *scan, size_t index, const char *wanted)
{
    char link[256];

    scan_choose_link(scan, index, link, sizeof link);
    assert_string_equal(link, wanted);
}

static void names_of_udev(void **state)
{
    struct scan scan = { 0 };
    struct scan_device *device = port(&scan, "/dev/ttyUSB1", 0x1209, 1, "");
    const char *root = folder_begin();

    (void)state;
    fake_file("/dev/ttyUSB0", "");
    fake_file("/dev/ttyUSB1", "");
    scan_names(root, device);
    assert_string_equal(device->by_id, "");
    fake_link("/dev/serial/by-id/usb-Other-if00-port0", "../../ttyUSB0");
    fake_link("/dev/serial/by-id/usb-This-if00-port0", "../../ttyUSB1");
    fake_link("/dev/serial/by-id/usb-Gone-if00-port0", "../../ttyUSB2");
    fake_link("/dev/serial/by-path/pci-0:1", "../../ttyUSB1");
    scan_names(root, device);
    assert_string_equal(device->by_id, "/dev/serial/by-id/usb-This-if00-port0");
    assert_string_equal(device->by_path, "/dev/serial/by-path/pci-0:1");
    folder_end();
    scan_free(&scan);
}

static void a_port_of_its_own_goes_by_its_ids(void **state)
{
    struct scan scan = { 0 };

    (void)state;
    port(&scan, "/dev/ttyS0", 0, 0, "");
    port(&scan, "/dev/ttyUSB0", 0x1209, 0x0001, "SHOP1");
    port(&scan, "/dev/ttyUSB1", 0x1209, 0x0001, "SHOP2");
    port(&scan, "/dev/ttyUSB2", 0x1a0b, 0x00ff, "");
    chosen(&scan, 0, "serial:/dev/ttyS0");
    chosen(&scan, 1, "serial:usb:1209:0001:SHOP1");
    chosen(&scan, 2, "serial:usb:1209:0001:SHOP2");
    chosen(&scan, 3, "serial:usb:1a0b:00ff");
    scan_free(&scan);
}

/* Ids that fit two ports would be refused when the link is opened: the socket tells them apart. */
static void ports_alike_go_by_their_sockets(void **state)
{
    struct scan scan = { 0 };
    struct scan_device *device;

    (void)state;
    device = port(&scan, "/dev/ttyUSB0", 0x1209, 1, "");
    snprintf(device->by_path, sizeof device->by_path, "/dev/serial/by-path/a");
    snprintf(device->by_id, sizeof device->by_id, "/dev/serial/by-id/same");
    port(&scan, "/dev/ttyUSB1", 0x1209, 1, "");
    port(&scan, "/dev/ttyUSB2", 0x1209, 2, "TWO-PORTS");
    port(&scan, "/dev/ttyUSB3", 0x1209, 2, "TWO-PORTS");
    chosen(&scan, 0, "serial:/dev/serial/by-path/a");
    chosen(&scan, 1, "serial:/dev/ttyUSB1");
    chosen(&scan, 2, "serial:/dev/ttyUSB2");
    scan_free(&scan);
}

/* One without a serial number beside one with: its ids alone fit both. */
static void a_missing_serial_number_fits_all(void **state)
{
    struct scan scan = { 0 };

    (void)state;
    port(&scan, "/dev/ttyUSB0", 0x1209, 1, "");
    port(&scan, "/dev/ttyUSB1", 0x1209, 1, "A");
    chosen(&scan, 0, "serial:/dev/ttyUSB0");
    chosen(&scan, 1, "serial:usb:1209:0001:A");
    scan_free(&scan);
}

static void serial_numbers_that_cannot_be_written(void **state)
{
    static const char *const numbers[] = { "A B", "A\"B", "A\\B", "A\x01", "A\xc3\xa4" };

    (void)state;
    for (size_t i = 0; i < sizeof numbers / sizeof *numbers; i++) {
        struct scan scan = { 0 };

        port(&scan, "/dev/ttyACM0", 0x1209, 1, numbers[i]);
        chosen(&scan, 0, "serial:/dev/ttyACM0");
        scan_free(&scan);
    }
}

static void who_has_a_lock(void **state)
{
    static const char locks[] = "1: FLOCK  ADVISORY  WRITE 1044 00:05:97 0 EOF\n"
                                "2: POSIX  ADVISORY  READ  900 fe:01:4711 0 EOF\n"
                                "2: -> POSIX  ADVISORY  WRITE 901 fe:01:4711 0 EOF\n"
                                "3: FLOCK  ADVISORY  WRITE 7 00:1a:12 0 EOF\n";

    (void)state;
    assert_true(scan_locked(locks, 0, 5, 97));
    assert_true(scan_locked(locks, 0xfe, 1, 4711));
    assert_true(scan_locked(locks, 0, 0x1a, 12));
    assert_false(scan_locked(locks, 0, 5, 9));
    assert_false(scan_locked(locks, 0, 6, 97));
    assert_false(scan_locked(locks, 5, 0, 97));
    assert_false(scan_locked("", 0, 5, 97));
    assert_false(scan_locked("nonsense\n\n", 0, 5, 97));
}

/* What there is differs from machine to machine; what is said of it must hold together. */
static void this_machine(void **state)
{
    struct scan scan = { 0 };
    struct failure failure;

    (void)state;
    failure_clear(&failure);
    assert_true(scan_list("", &scan, &failure));
    for (size_t i = 0; i < scan.count; i++) {
        const struct scan_device *device = &scan.devices[i];

        assert_true(strcmp(device->transport, "native") == 0 ||
                    strcmp(device->transport, "usb") == 0 ||
                    strcmp(device->transport, "bluetooth") == 0);
        assert_true(device->kind != SCAN_SERIAL || strncmp(device->node, "/dev/", 5) == 0);
    }
    scan_free(&scan);
    assert_int_equal(scan.count, 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(names_of_udev),
        cmocka_unit_test(a_port_of_its_own_goes_by_its_ids),
        cmocka_unit_test(ports_alike_go_by_their_sockets),
        cmocka_unit_test(a_missing_serial_number_fits_all),
        cmocka_unit_test(serial_numbers_that_cannot_be_written),
        cmocka_unit_test(who_has_a_lock),
        cmocka_unit_test(this_machine),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
