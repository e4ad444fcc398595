/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Which device a link asks for. The transfers need a kernel with a device behind it. */
#include "drivers/dialogue/link_open.h"
#include "drivers/usb/usb_device.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <stdlib.h>
#include <string.h>

static const struct usb_device_info meter = { .vendor = 0x1209, .product = 1, .serial = "SN:1" };

static bool fits(const struct usb_device_info *info, const char *link)
{
    struct link_spec spec;

    assert_true(link_spec_parse(link, NULL, &spec, NULL));
    return usb_device_fits(info, &spec);
}

static void devices_fit_their_links(void **state)
{
    (void)state;
    assert_true(fits(&meter, "usb:1209:0001"));
    assert_true(fits(&meter, "usb:1209:0001:SN:1"));
    assert_true(fits(&meter, "usb:serial:SN:1"));
    assert_false(fits(&meter, "usb:1209:0002"));
    assert_false(fits(&meter, "usb:1208:0001"));
    assert_false(fits(&meter, "usb:1209:0001:SN:10"));
    assert_false(fits(&meter, "usb:1209:0001:SN"));
    assert_false(fits(&meter, "usb:serial:sn:1"));
}

static void links_lead_back(void **state)
{
    struct usb_device_info info = meter;
    char text[64];

    (void)state;
    assert_string_equal(usb_device_link(&info, text, sizeof text), "usb:1209:0001:SN:1");
    assert_true(fits(&info, text));
    info.serial[0] = '\0';
    assert_string_equal(usb_device_link(&info, text, sizeof text), "usb:1209:0001");
    memset(info.serial, 'x', 64);
    info.serial[64] = '\0';
    assert_string_equal(usb_device_link(&info, text, sizeof text), "usb:1209:0001");
}

/* Here there may be devices or none, and access to USB or none: nothing is promised but sense. */
static void lists_make_sense(void **state)
{
    struct failure failure;
    size_t count = 0;
    struct usb_device_info *list;

    (void)state;
    failure_clear(&failure);
    list = usb_device_list(&count, &failure);
    assert_int_equal(list == NULL, failure.code != FAILURE_NONE);
    for (size_t i = 0; list && i < count; i++)
        assert_string_not_equal(list[i].port, "");
    free(list);
}

static void absent_device_is_not_opened(void **state)
{
    struct link_spec spec;
    struct failure failure;

    (void)state;
    failure_clear(&failure);
    assert_true(link_spec_parse("usb:fffe:fffd:none", NULL, &spec, NULL));
    assert_null(link_open(&spec, deadline_in(20000), &failure));
    assert_int_not_equal(failure.code, FAILURE_NONE);
}

int main(void)
{
    static const struct CMUnitTest tests[] = {
        cmocka_unit_test(devices_fit_their_links),
        cmocka_unit_test(links_lead_back),
        cmocka_unit_test(lists_make_sense),
        cmocka_unit_test(absent_device_is_not_opened),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
