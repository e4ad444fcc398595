/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What is said of findings: names, profiles, the group for the settings, the line's words. */
#include "daemon/oneshot/line_words.h"
#include "daemon/oneshot/scan_find.h"
#include "daemon/oneshot/scan_print.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static struct finding identified(const char *identity)
{
    struct finding finding = { .link = "tcp:192.0.2.1:5025" };
    snprintf(finding.identity, sizeof finding.identity, "%s", identity);
    return finding;
}

static void the_profile_that_fits(void **state)
{
    static const struct {
        const char *identity;
        const char *profile;
    } cases[] = { { "TARNWERK,BENCH METER,1,1.4", "tarnwerk-meter" },
                  { "OLDMERE BENCH METER REV 2", "oldmere-meter" },
                  { "SOMEBODY,ELSE,1,2", "generic-scpi-meter" },
                  { "not four fields", NULL } };
    struct shelf shelf = { 0 };
    (void)state;
    assert_true(shelf_load(&shelf, GRADUS_SOURCE "/config/profiles"));
    assert_true(shelf.count >= 6);
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        const struct profile *profile = shelf_find(&shelf, cases[i].identity);
        if (cases[i].profile == NULL)
            assert_null(profile);
        else
            assert_string_equal(profile->name, cases[i].profile);
    }
    shelf_free(&shelf);
    assert_false(shelf_load(&shelf, GRADUS_SOURCE "/no/such/folder"));
    assert_null(shelf_find(&shelf, "TARNWERK,BENCH METER,1,1.4"));
    shelf_free(&shelf);
}

static void names_that_settings_can_have(void **state)
{
    static const struct {
        const char *identity;
        const char *name;
    } cases[] = {
        { "TARNWERK,BENCH METER,1,1.4", "bench_meter" },
        { "TARNWERK,BENCH METER,2,1.4", "bench_meter_2" },
        { "TARNWERK,BENCH METER,3,1.4", "bench_meter_3" },
        { "A,\"Mod el\"-7/b ,1,2", "mod_el_7_b" },
        { "", "instrument" },
        { "a,,1,2", "instrument_2" },
        { "OLDMERE BENCH", "oldmere_bench" },
        { "a,\xc3\xa4\xc3\xb6,1,2", "instrument_3" },
        { "a,012345678901234567890123456789,", "01234567890123456789012" },
    };
    enum { COUNT = sizeof cases / sizeof cases[0] };
    struct finding findings[COUNT];
    char name[64];
    (void)state;
    for (size_t i = 0; i < COUNT; i++)
        findings[i] = identified(cases[i].identity);
    for (size_t i = 0; i < COUNT; i++) {
        finding_name(findings, i, name, sizeof name);
        assert_string_equal(name, cases[i].name);
    }
}

static void what_a_user_may_call_a_device(void **state)
{
    const struct scan_device device = { .node = "/dev/ttyUSB0",
                                        .by_id = "/dev/serial/by-id/x",
                                        .by_path = "/dev/serial/by-path/y",
                                        .link = "serial:usb:1209:0001:A" };
    const struct scan_device bare = { .node = "/dev/ttyS0", .link = "serial:/dev/ttyS0" };
    (void)state;
    assert_true(finding_means(&device, "serial:usb:1209:0001:A"));
    assert_true(finding_means(&device, "/dev/ttyUSB0"));
    assert_true(finding_means(&device, "serial:/dev/ttyUSB0"));
    assert_true(finding_means(&device, "/dev/serial/by-id/x"));
    assert_true(finding_means(&device, "serial:/dev/serial/by-path/y"));
    assert_false(finding_means(&device, "serial:usb:1209:0001"));
    assert_false(finding_means(&device, "/dev/ttyUSB"));
    assert_false(finding_means(&bare, ""));
    assert_false(finding_means(&bare, "serial:"));
}

static void printed(const struct finding *findings, size_t index, const char *wanted)
{
    char *text = NULL;
    size_t size = 0;
    FILE *out = open_memstream(&text, &size);
    scan_print_stanza(out, findings, index, true);
    fclose(out);
    assert_string_equal(text, wanted);
    free(text);
}

static void groups_for_the_settings(void **state)
{
    struct finding known = identified("TARNWERK,BENCH METER,1,1.4");
    struct finding odd = identified("");
    const struct profile profile = { .name = "tarnwerk-meter" };
    (void)state;
    known.profile = &profile;
    known.has_line = true;
    known.line = serial_line_default();
    known.link = "serial:usb:1209:0001:A";
    printed(&known, 0,
            "    { name = \"bench_meter\"; profile = \"tarnwerk-meter\";\n"
            "      link = \"serial:usb:1209:0001:A\";\n"
            "      serial = { baud = 9600; framing = \"8N1\"; flow = \"none\"; }; },\n");
    odd.link = "unix:/a\"b\\c";
    printed(&odd, 0,
            "    { name = \"instrument\"; profile = \"...\";\n"
            "      link = \"unix:/a\\\"b\\\\c\"; },\n");
    odd.link = "";
    printed(&odd, 0, "");
}

/* What is in use is left alone even when it is asked for. */
static void in_use(void **state)
{
    const struct scan_device device = { .node = "/dev/null", .in_use = true };
    struct finding finding = { .device = &device, .link = "serial:/dev/null", .wanted = true };
    const struct serial_line line = serial_line_default();
    const struct shelf shelf = { 0 };
    (void)state;
    finding_identify(&finding, &line, &shelf);
    assert_int_equal(finding.failure.code, FAILURE_DISCONNECTED);
    finding = (struct finding) { .device = &device, .link = "serial:/dev/null" };
    finding_identify(&finding, &line, &shelf);
    assert_int_equal(finding.failure.code, FAILURE_NONE);
}

static void words_of_a_line(void **state)
{
    static const char *const wrong[] = {
        "",       "8N1",      "115200 8X1",      "115200 8N1 no", "299",
        "921601", "9600,8N1", "9600 8N1 none x", "9600x8N1",      "9600 8N1 none none",
        "-9600"
    };
    struct serial_line line = serial_line_default();
    (void)state;
    for (size_t i = 0; i < sizeof wrong / sizeof wrong[0]; i++)
        assert_false(line_read(wrong[i], &line));
    assert_int_equal(line.baud, 9600);
    assert_true(line_read("115200", &line));
    assert_int_equal(line.baud, 115200);
    assert_int_equal(line.data_bits, 8);
    assert_true(line_read(" 4800  7E2 rts/cts ", &line));
    assert_int_equal(line.baud, 4800);
    assert_int_equal(line.data_bits, 7);
    assert_int_equal(line.parity, 'E');
    assert_int_equal(line.stop_bits, 2);
    assert_int_equal(line.flow, FLOW_RTS_CTS);
    assert_string_equal(line_flow_word(line.flow), "rts/cts");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_profile_that_fits),
        cmocka_unit_test(names_that_settings_can_have),
        cmocka_unit_test(what_a_user_may_call_a_device),
        cmocka_unit_test(groups_for_the_settings),
        cmocka_unit_test(in_use),
        cmocka_unit_test(words_of_a_line),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
