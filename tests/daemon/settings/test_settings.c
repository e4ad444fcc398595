/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Settings: each tests/daemon/settings/bad-*.cfg must be refused with exactly
 * the messages in the .txt beside it, in that order. A line there that ends
 * in "..." stands for every message that begins so. Then what good settings
 * come to.
 */
#include "daemon/settings/settings.h"

#include <dirent.h>
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include <cmocka.h>

#define FOLDER GRADUS_SOURCE "/tests/daemon/settings/"

enum { LINE = 1024 };

static const char common[] =
    "profiles = \"" GRADUS_SOURCE "/config/profiles\";\n"
    "instruments = ( { name = \"fine\"; profile = \"tarnwerk-meter\"; link = \"tcp:a:1\";\n"
    "                  switched_inputs = [ 2, 5, 8, 11 ]; },\n"
    "    { name = \"digitiser\"; profile = \"tarnwerk-scope\"; link = \"tcp:a:2\"; } );\n"
    "probes = ( { name = \"x10\"; factor = 10; tolerance_percent = 1; tip_resistance = 10e6;\n"
    "    resistance_tolerance_percent = 2; load_resistance = 1e6; rating = 300; },\n"
    "    { name = \"shunt\"; unit = \"A\"; sensitivity = 0.1; tolerance_percent = 0.5; },\n"
    "    { name = \"thermo\"; unit = \"°C\"; factor = 100; tolerance_percent = 0.5; } );\n";

/* Reads settings made of the common part and one point's keys. */
static struct bench *read_point(const char *keys, struct problems *problems)
{
    char text[4096];

    int length =
        snprintf(text, sizeof text, "%spoints = ( { name = \"p\"; %s } );\n", common, keys);
    assert_in_range(length, 1, sizeof text - 1);
    return settings_read(text, (size_t)length, "test.cfg", problems);
}

static void show(const struct problems *problems)
{
    for (size_t i = 0; i < problems->count; i++)
        print_message("%s\n", problems->lines[i]);
}

static struct bench *good_point(const char *keys)
{
    struct problems problems = { 0 };
    struct bench *bench = read_point(keys, &problems);

    show(&problems);
    assert_non_null(bench);
    assert_int_equal(problems.total, 0);
    problems_free(&problems);
    return bench;
}

/* Whether a message is the expected one; its file name stands without the folder. */
static bool is_expected(const char *message, const char *expected)
{
    size_t length = strlen(expected);

    if (strncmp(message, FOLDER, sizeof FOLDER - 1) == 0)
        message += sizeof FOLDER - 1;
    if (length > 3 && strcmp(expected + length - 3, "...") == 0)
        return strncmp(message, expected, length - 3) == 0;
    return strcmp(message, expected) == 0;
}

/* Messages may quote the folder once more inside; it is cut out of them. */
static void cut_folder(char *message)
{
    for (char *at = strstr(message, FOLDER); at != NULL; at = strstr(at, FOLDER))
        memmove(at, at + sizeof FOLDER - 1, strlen(at + sizeof FOLDER - 1) + 1);
}

static void check_case(const char *name)
{
    struct problems problems = { 0 };
    char path[512];
    char expected[LINE];
    size_t count = 0;

    print_message("  %s\n", name);
    snprintf(path, sizeof path, FOLDER "%s.cfg", name);
    assert_null(settings_load(path, &problems));
    snprintf(path, sizeof path, FOLDER "%s.txt", name);
    FILE *file = fopen(path, "r");
    assert_non_null(file);
    while (fgets(expected, sizeof expected, file) != NULL) {
        expected[strcspn(expected, "\n")] = '\0';
        if (count >= problems.count)
            fail_msg("%s: no message where expected: %s", name, expected);
        cut_folder(problems.lines[count]);
        if (!is_expected(problems.lines[count], expected))
            fail_msg("%s: got      %s\nexpected %s", name, problems.lines[count], expected);
        count++;
    }
    fclose(file);
    assert_int_equal(problems.count, count);
    assert_true(count > 0);
    problems_free(&problems);
}

static void test_bad_files(void **state)
{
    (void)state;
    struct dirent **entries;
    int count = scandir(FOLDER, &entries, NULL, alphasort);
    int cases = 0;

    assert_true(count > 0);
    for (int i = 0; i < count; i++) {
        char *name = entries[i]->d_name;
        size_t length = strlen(name);
        if (length > 4 && strncmp(name, "bad-", 4) == 0 && strcmp(name + length - 4, ".cfg") == 0) {
            name[length - 4] = '\0';
            check_case(name);
            cases++;
        }
        free(entries[i]);
    }
    free(entries);
    assert_in_range(cases, 25, 1000);
}

static void test_no_file(void **state)
{
    (void)state;
    struct problems problems = { 0 };

    assert_null(settings_load("/nonexistent/gradus.cfg", &problems));
    assert_int_equal(problems.count, 1);
    assert_non_null(strstr(problems.lines[0], "/nonexistent/gradus.cfg"));
    problems_free(&problems);
    assert_null(settings_load(GRADUS_SOURCE, &problems));
    assert_non_null(strstr(problems.lines[0], "is a folder, expected a regular file"));
    problems_free(&problems);
}

static void server_of(const char *group, struct bench_server *server)
{
    struct problems problems = { 0 };
    char text[4096];

    snprintf(text, sizeof text,
             "%s%spoints = ( { name = \"p\"; instrument = \"fine\"; probe = \"direct\"; "
             "quantity = \"dc voltage\"; } );\n",
             group, common);
    struct bench *bench = settings_read(text, strlen(text), "test.cfg", &problems);
    show(&problems);
    assert_non_null(bench);
    *server = bench->server;
    bench_unref(bench);
}

static void test_where_the_server_listens(void **state)
{
    (void)state;
    struct bench_server server;

    server_of("", &server);
    assert_string_equal(server.unix_path, "/run/gradus/gradus.sock");
    assert_string_equal(server.tcp_address, "");
    char tokens[] = "/tmp/test_settings.XXXXXX", access[80], text[200];
    close(mkstemp(tokens));
    snprintf(access, sizeof access, "access = { tokens = \"%s\"; };\n", tokens);
    snprintf(text, sizeof text, "server = { tcp = { port = 7425; }; };\n%s", access);
    server_of(text, &server);
    assert_string_equal(server.unix_path, "/run/gradus/gradus.sock");
    assert_string_equal(server.tcp_address, "127.0.0.1");
    snprintf(text, sizeof text,
             "server = { unix = \"\"; tcp = { address = \"::1\"; port = 7425; }; };\n%s", access);
    server_of(text, &server);
    unlink(tokens);
    assert_string_equal(server.unix_path, "");
    assert_string_equal(server.tcp_address, "::1");
    server_of("server = { unix = \"/tmp/s\"; };\n", &server);
    assert_string_equal(server.unix_path, "/tmp/s");
}

/* All letters but one of a good point: none of the cut texts may be taken as a whole. */
static void test_cut_short(void **state)
{
    (void)state;
    static const char points[] =
        "points = ( { name = \"p\"; instrument = \"digitiser\"; probe = \"x10\"; "
        "quantity = \"dc voltage\"; } ";
    char text[4096];

    snprintf(text, sizeof text, "%s%s", common, points);
    size_t length = strlen(text);
    for (size_t cut = 0; cut < length; cut++) {
        struct problems problems = { 0 };
        assert_null(settings_read(text, cut, "test.cfg", &problems));
        assert_true(problems.total > 0);
        problems_free(&problems);
    }
}

static void test_shipped(void **state)
{
    (void)state;
    static const char *const files[] = { "demo.cfg", "gradus.cfg" };

    for (size_t i = 0; i < sizeof files / sizeof *files; i++) {
        struct problems problems = { 0 };
        char path[512];
        snprintf(path, sizeof path, GRADUS_SOURCE "/config/%s", files[i]);
        struct bench *bench = settings_load(path, &problems);
        show(&problems);
        assert_non_null(bench);
        assert_true(bench->point_count > 0);
        assert_string_equal(bench->path, path);
        for (int kind = 0; kind < MISTAKE_COUNT; kind++)
            assert_int_equal(bench->policy[kind], mistake_default((enum mistake_kind)kind));
        bench_unref(bench);
    }
}

static void test_defaults(void **state)
{
    (void)state;
    struct bench *bench =
        good_point("instrument = \"fine\"; probe = \"direct\"; quantity = \"dc voltage\";");
    const struct bench_point *point = bench_point(bench, "p");

    assert_string_equal(bench->server.unix_path, "/run/gradus/gradus.sock");
    assert_string_equal(bench->server.tcp_address, "");
    assert_int_equal(bench->server.line_limit, 1048576);
    assert_int_equal(bench->server.clients, 64);
    assert_false(bench->server.talk);
    assert_int_equal(point->input, 1);
    assert_int_equal(point->probe, 0);
    assert_true(isnan(point->expected) && isnan(point->dc_level) && isnan(point->frequency) &&
                isnan(point->crest_factor) && isnan(point->record) &&
                isnan(point->source.resistance));
    assert_false(point->correct_loading);
    assert_false(limits_present(&point->limits));
    assert_string_equal(point->unit, "V");
    assert_string_equal(point->caution, "");
    assert_true(bench_instrument(bench, "fine")->ambient == 23.0);
    assert_null(bench_point(bench, "q"));
    assert_null(bench_instrument(bench, "p"));
    bench_unref(bench);
}

static void test_values(void **state)
{
    (void)state;
    struct bench *bench = good_point(
        "instrument = \"fine\"; input = 16; probe = \"direct\"; quantity = \"dc voltage\"; "
        "expected = 5; source_resistance = 10e3; source_resistance_tolerance_percent = 5; "
        "limits = { low = 4.75; decision = \"simple\"; }; caution = \"Vorsicht, 5 µs\";");
    const struct bench_point *point = bench_point(bench, "p");

    assert_int_equal(point->input, 16);
    assert_true(point->expected == 5.0);
    assert_true(point->source.resistance == 10e3);
    assert_true(fabs(point->source.tolerance - 0.05) < 1e-15);
    assert_true(point->correct_loading);
    assert_true(point->limits.low == 4.75 && point->limits.high == INFINITY);
    assert_int_equal(point->limits.decision, DECISION_SIMPLE);
    assert_string_equal(point->caution, "Vorsicht, 5 µs");
    assert_int_equal(bench->probe_count, 4);
    assert_true(fabs(bench->probes[1].tolerance - 0.01) < 1e-15);
    assert_true(fabs(bench->probes[1].resistance_tolerance - 0.02) < 1e-15);
    assert_true(bench->probes[2].factor == 10.0); /* 0.1 V/A */
    assert_int_equal(bench->probes[2].dimension, DIMENSION_CURRENT);
    assert_int_equal(bench->probes[3].dimension, DIMENSION_SIGNAL);
    bench_unref(bench);
}

static void test_limits(void **state)
{
    (void)state;
    static const struct {
        const char *text;
        double low;
        double high;
    } cases[] = {
        { "nominal = 5.0; tolerance = 0.25;", 4.75, 5.25 },
        { "nominal = -5.0; tolerance_percent = 10.0;", -5.5, -4.5 },
        { "nominal = 5.0; plus = 0.5; minus_percent = 5.0;", 4.75, 5.5 },
        { "nominal = 5.0; plus = 0.5;", -INFINITY, 5.5 },
        { "nominal = 5.0; minus = 0.5;", 4.5, INFINITY },
    };

    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        char text[256];
        snprintf(text, sizeof text,
                 "instrument = \"fine\"; probe = \"direct\"; quantity = \"dc voltage\"; "
                 "limits = { %s };",
                 cases[i].text);
        struct bench *bench = good_point(text);
        const struct limits *limits = &bench_point(bench, "p")->limits;
        assert_true(limits->low == cases[i].low && limits->high == cases[i].high);
        assert_true(limits->guard == 1.0 && limits->least_ratio == 1.0);
        bench_unref(bench);
    }
}

static void test_comparisons(void **state)
{
    (void)state;
    struct bench *bench = good_point(
        "instrument = \"fine\"; probe = \"direct\"; quantity = \"dc voltage\"; limits = { "
        "low = 0.9; high = 1.1; judge = \"ratio\"; reference_value = 5.0; "
        "reference_uncertainty = 0.01; decision = \"risk\"; risk_percent = 2.0; "
        "least_ratio = 3.0; };");
    const struct bench_point *point = bench_point(bench, "p");

    assert_int_equal(point->limits.judged, JUDGED_RATIO);
    assert_int_equal(point->limits.decision, DECISION_RISK);
    assert_true(fabs(point->limits.risk - 0.02) < 1e-15);
    assert_true(point->limits.reference == 5.0 && point->limits.reference_uncertainty == 0.01);
    assert_true(point->limits.least_ratio == 3.0);
    assert_true(point->reference == BENCH_NO_POINT);
    bench_unref(bench);
}

static void test_loading(void **state)
{
    (void)state;
    static const struct {
        const char *keys;
        bool correct;
    } cases[] = {
        { "quantity = \"dc voltage\"; probe = \"direct\";", true },
        { "quantity = \"dc voltage\"; probe = \"direct\"; loading = \"correct\";", true },
        { "quantity = \"dc voltage\"; probe = \"direct\"; loading = \"report\";", false },
    };

    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        char keys[256];
        snprintf(keys, sizeof keys,
                 "instrument = \"fine\"; source_resistance = 1e3; "
                 "source_resistance_tolerance_percent = 1; %s",
                 cases[i].keys);
        struct bench *bench = good_point(keys);
        assert_int_equal(bench->points[0].correct_loading, cases[i].correct);
        bench_unref(bench);
    }
}

/* A shape tells the crest factor of an ac quantity; what is not written has its default. */
static void test_signal(void **state)
{
    (void)state;
    struct bench *bench = good_point("instrument = \"digitiser\"; probe = \"x10\"; "
                                     "quantity = \"rms voltage\"; waveform = \"pulse\"; "
                                     "duty_percent = 20; mains_referenced = true; "
                                     "expected_tolerance_percent = 5; source_resistance = 50; "
                                     "source_resistance_tolerance_percent = 1; "
                                     "source_capacitance = 1e-9; "
                                     "source_capacitance_tolerance_percent = 30;");
    const struct bench_point *point = bench_point(bench, "p");

    assert_int_equal(point->shape.kind, WAVESHAPE_PULSE);
    assert_true(fabs(point->crest_factor - 2.0) < 1e-12); /* 0.8 / sqrt(0.2 * 0.8) */
    assert_true(point->mains_referenced);
    assert_true(fabs(point->tolerance - 0.05) < 1e-15);
    assert_true(fabs(point->source.capacitance - 1e-9) < 1e-20);
    assert_true(fabs(point->source.capacitance_tolerance - 0.3) < 1e-15);
    assert_true(bench->loading_share == 0.01);
    assert_true(bench->lead_zero_s == 28800.0);
    for (int kind = 0; kind < MISTAKE_COUNT; kind++)
        assert_int_equal(bench->policy[kind], mistake_default((enum mistake_kind)kind));
    bench_unref(bench);
}

/* Of two ways the one that is less uncertain for what is expected; else the first. */
static void test_ways(void **state)
{
    (void)state;
    static const struct {
        const char *keys;
        const char *used;
    } cases[] = {
        { "expected = 5;", "fine" },
        { "", "digitiser" },
        { "expected = 400;", "fine" },
    };

    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        char keys[256];
        snprintf(keys, sizeof keys,
                 "quantity = \"dc voltage\"; %s ways = ( { instrument = \"digitiser\"; "
                 "probe = \"direct\"; }, { instrument = \"fine\"; input = 2; "
                 "probe = \"direct\"; } );",
                 cases[i].keys);
        struct bench *bench = good_point(keys);
        const struct bench_point *point = bench_point(bench, "p");
        assert_string_equal(bench->instruments[point->instrument].name, cases[i].used);
        assert_int_equal(point->way_count, 2);
        assert_int_equal(point->instrument, point->ways[point->way_used].instrument);
        assert_int_equal(point->input, point->way_used + 1);
        assert_int_equal(point->ways[0].refusal[0] != '\0', i == 2);
        bench_unref(bench);
    }
}

/* Instruments of one type share the profile; a leap day is a day. */
static void test_same_type(void **state)
{
    (void)state;
    static const char text[] =
        "server = { }; profiles = \"" GRADUS_SOURCE "/config/profiles\";\n"
        "instruments = (\n"
        "  { name = \"a\"; profile = \"oldmere-meter\"; link = \"tcp:a:1\";\n"
        "    calibration_due = \"2028-02-29\"; ambient_c = 30; },\n"
        "  { name = \"b\"; profile = \"oldmere-meter\"; link = \"serial:/dev/ttyS0\";\n"
        "    calibration_due = \"2000-02-29\"; serial = { baud = 4800; framing = \"7E2\"; }; },\n"
        "  { name = \"c\"; profile = \"oldmere-meter\"; link = \"usb:1209:0001:SN1\"; },\n"
        "  { name = \"d\"; profile = \"oldmere-meter\"; link = \"usb:serial:SN2\"; } );\n"
        "points = ( { name = \"p\"; instrument = \"b\"; probe = \"direct\";\n"
        "  quantity = \"dc voltage\"; } );\n";
    struct problems problems = { 0 };
    struct bench *bench = settings_read(text, sizeof text - 1, "test.cfg", &problems);

    show(&problems);
    assert_non_null(bench);
    assert_int_equal(bench->profile_count, 1);
    assert_ptr_equal(bench->instruments[0].profile, bench->instruments[1].profile);
    assert_true(bench->instruments[0].ambient == 30.0 && bench->instruments[1].ambient == 23.0);
    assert_int_equal(bench->instruments[1].link.line.baud, 4800);
    assert_int_equal(bench->instruments[1].link.line.data_bits, 7);
    assert_int_equal(bench->instruments[1].link.line.parity, 'E');
    assert_int_equal(bench->instruments[1].link.line.stop_bits, 2);
    assert_int_equal(bench->instruments[2].link.kind, LINK_USB);
    assert_int_equal(bench->instruments[2].link.vendor, 0x1209);
    assert_int_equal(bench->instruments[3].link.kind, LINK_USB);
    assert_string_equal(bench->instruments[3].link.usb_serial, "SN2");
    bench_unref(bench);
}

/* What has to be measured at the input, for each kind of probe. */
static void test_at_input(void **state)
{
    (void)state;
    static const struct {
        const char *instrument;
        const char *probe;
        const char *quantity;
        enum quantity at_input;
        const char *unit;
    } cases[] = {
        { "fine", "direct", "dc voltage", QUANTITY_DC_VOLTAGE, "V" },
        { "fine", "direct", "dc current", QUANTITY_DC_CURRENT, "A" },
        { "fine", "direct", "resistance", QUANTITY_RESISTANCE, "Ω" },
        { "fine", "direct", "frequency", QUANTITY_FREQUENCY, "Hz" },
        { "fine", "shunt", "dc current", QUANTITY_DC_VOLTAGE, "A" },
        { "fine", "thermo", "dc signal", QUANTITY_DC_VOLTAGE, "°C" },
        { "digitiser", "x10", "peak-to-peak voltage", QUANTITY_PEAK_TO_PEAK_VOLTAGE, "V" },
        { "digitiser", "shunt", "maximum current", QUANTITY_MAXIMUM_VOLTAGE, "A" },
        { "digitiser", "direct", "rms voltage", QUANTITY_RMS_VOLTAGE, "V" },
    };

    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        char keys[256];
        snprintf(keys, sizeof keys, "instrument = \"%s\"; probe = \"%s\"; quantity = \"%s\";",
                 cases[i].instrument, cases[i].probe, cases[i].quantity);
        struct bench *bench = good_point(keys);
        assert_int_equal(bench->points[0].at_input, cases[i].at_input);
        assert_string_equal(bench->points[0].unit, cases[i].unit);
        bench_unref(bench);
    }
}

/* Values that are exactly at what can be shown or borne are good; a little more is not. */
static void test_edges(void **state)
{
    (void)state;
    static const struct {
        const char *good;
        const char *bad;
    } cases[] = {
        { "instrument = \"fine\"; probe = \"direct\"; quantity = \"dc voltage\"; expected = -1000;",
          "instrument = \"fine\"; probe = \"direct\"; quantity = \"dc voltage\"; expected = "
          "-1001;" },
        { "instrument = \"fine\"; probe = \"shunt\"; quantity = \"dc current\"; expected = 10e3;",
          "instrument = \"fine\"; probe = \"shunt\"; quantity = \"dc current\"; expected = 11e3;" },
        { "instrument = \"digitiser\"; probe = \"x10\"; quantity = \"dc voltage\"; expected = 300;",
          "instrument = \"digitiser\"; probe = \"x10\"; quantity = \"dc voltage\"; expected = "
          "300.1;" },
        { "instrument = \"fine\"; probe = \"direct\"; quantity = \"ac voltage\"; frequency = 20e3;",
          "instrument = \"fine\"; probe = \"direct\"; quantity = \"ac voltage\"; frequency = "
          "20.1e3;" },
        { "instrument = \"digitiser\"; probe = \"direct\"; quantity = \"dc voltage\"; record = 10;",
          "instrument = \"digitiser\"; probe = \"direct\"; quantity = \"dc voltage\"; record = "
          "10.1;" },
        { "instrument = \"fine\"; probe = \"direct\"; quantity = \"frequency\"; expected = 5;",
          "instrument = \"fine\"; probe = \"direct\"; quantity = \"frequency\"; expected = 4.9;" },
    };

    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct problems problems = { 0 };
        assert_null(read_point(cases[i].bad, &problems));
        assert_int_equal(problems.total, 1);
        problems_free(&problems);
        bench_unref(good_point(cases[i].good));
    }
}

/* A digest changes with the settings, an instrument's with what concerns the instrument. */
static void test_digests(void **state)
{
    (void)state;
    struct bench *one =
        good_point("instrument = \"fine\"; probe = \"direct\"; quantity = \"dc voltage\";");
    struct bench *same =
        good_point("instrument = \"fine\"; probe = \"direct\"; quantity = \"dc voltage\";");
    struct bench *other =
        good_point("instrument = \"fine\"; probe = \"direct\"; quantity = \"dc current\";");

    assert_int_equal(strlen(one->digest), 64);
    assert_string_equal(one->digest, same->digest);
    assert_string_not_equal(one->digest, other->digest);
    assert_int_equal(strlen(one->instruments[0].digest), 64);
    assert_string_equal(one->instruments[0].digest, other->instruments[0].digest);
    assert_string_not_equal(one->instruments[0].digest, one->instruments[1].digest);
    bench_unref(one);
    bench_unref(same);
    bench_unref(other);
}

static void test_references(void **state)
{
    (void)state;
    struct bench *bench =
        good_point("instrument = \"fine\"; probe = \"direct\"; quantity = \"dc voltage\";");

    assert_ptr_equal(bench_ref(bench), bench);
    bench_unref(bench);
    assert_string_equal(bench->points[0].name, "p");
    bench_unref(bench);
    bench_unref(NULL);
}

static void test_units(void **state)
{
    struct problems problems = { 0 };
    char text[4096];
    int length =
        snprintf(text, sizeof text,
                 "%sstore = { path = \"/tmp/a.db\"; };\n"
                 "points = ( { name = \"u{unit:03}_rail\"; units = { first = 7; last = 18; };\n"
                 "    instrument = \"fine\"; probe = \"direct\"; quantity = \"dc voltage\";\n"
                 "    input = { first = 2; step = 3; wrap = 4; }; caution = \"block {unit/4}\";\n"
                 "    limits = { low = 1; high = 3; }; },\n"
                 "  { name = \"bias\"; instrument = \"fine\"; probe = \"direct\"; quantity = \"dc "
                 "voltage\"; } );\n"
                 "burnin = ( { name = \"rack\"; points = ( \"bias\", \"u_rail\" ); every_s = 60;\n"
                 "    phases = ( { name = \"settle\"; duration_s = 600; },\n"
                 "      { name = \"soak\"; duration_s = 600; limits = ( { point = \"u_rail\"; high "
                 "= 2; } ); } );\n"
                 "    drift = ( { point = \"u007_rail\"; percent = 1; } ); command = ( \"/bin/a\", "
                 "\"b\" ); } );\n",
                 common);
    struct bench *bench = settings_read(text, (size_t)length, "test.cfg", &problems);
    (void)state;
    show(&problems);
    assert_non_null(bench);
    assert_int_equal(bench->point_count, 13);
    const struct bench_point *point = bench_point(bench, "u012_rail");
    assert_non_null(point);
    assert_int_equal(point->unit_number, 12);
    assert_int_equal(point->index, 5);
    assert_int_equal(point->input, 5);
    assert_string_equal(point->template_name, "u_rail");
    assert_string_equal(point->caution, "block 2");
    const struct bench_burnin *plan = bench_burnin(bench, "rack");
    assert_int_equal(plan->point_count, 13);
    assert_ptr_equal(plan->phases[0].points[6], point);
    assert_string_equal(plan->phases[1].points[6]->name, "u012_rail");
    assert_true(plan->phases[1].points[6]->limits.high == 2.0);
    assert_true(plan->phases[1].points[6]->limits.low == 1.0);
    assert_true(point->limits.high == 3.0);
    assert_int_equal(plan->phases[1].points[6]->index, 5);
    assert_true(plan->drifts[1].relative == 0.01);
    assert_true(isnan(plan->drifts[2].relative));
    assert_string_equal(plan->command[1], "b");
    assert_null(plan->command[2]);
    bench_unref(bench);
    problems_free(&problems);
}

static void test_a_sheet_has_its_places_in_order(void **state)
{
    struct problems problems = { 0 };
    char text[4096];
    int length = snprintf(text, sizeof text,
                          "%spoints = ( { name = \"five\"; instrument = \"fine\"; probe = "
                          "\"direct\"; quantity = \"dc voltage\"; },\n"
                          "  { name = \"twelve\"; instrument = \"fine\"; probe = \"direct\"; "
                          "quantity = \"dc voltage\"; caution = \"hot\"; } );\n"
                          "sheets = ( { name = \"psu\"; points = (\n"
                          "  { point = \"twelve\"; place = \"TP2\"; },\n"
                          "  { point = \"five\"; place = \"TP1\"; picture = \"/dev/null\"; "
                          "caution = \"near the mains\"; } ); } );\n",
                          common);
    struct bench *bench = settings_read(text, (size_t)length, "test.cfg", &problems);
    (void)state;
    show(&problems);
    assert_non_null(bench);
    const struct bench_sheet *sheet = bench_sheet(bench, "psu");
    assert_non_null(sheet);
    assert_null(bench_sheet(bench, "amp"));
    assert_string_equal(sheet->title, "psu");
    assert_int_equal(sheet->place_count, 2);
    assert_int_equal(sheet->places[0].point, 1);
    assert_string_equal(sheet->places[0].caution, "hot");
    assert_string_equal(sheet->places[1].place, "TP1");
    assert_string_equal(sheet->places[1].picture, "/dev/null");
    assert_string_equal(sheet->places[1].caution, "near the mains");
    bench_unref(bench);
    problems_free(&problems);
}

static void test_keys_are_printed(void **state)
{
    (void)state;
    char *text = NULL;
    size_t size = 0;
    FILE *out = open_memstream(&text, &size);

    assert_non_null(out);
    settings_print_keys(out);
    fclose(out);
    assert_non_null(strstr(text, "calibration_due"));
    assert_non_null(strstr(text, "source_resistance_tolerance_percent"));
    free(text);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_bad_files),
        cmocka_unit_test(test_no_file),
        cmocka_unit_test(test_cut_short),
        cmocka_unit_test(test_shipped),
        cmocka_unit_test(test_defaults),
        cmocka_unit_test(test_where_the_server_listens),
        cmocka_unit_test(test_values),
        cmocka_unit_test(test_limits),
        cmocka_unit_test(test_comparisons),
        cmocka_unit_test(test_loading),
        cmocka_unit_test(test_same_type),
        cmocka_unit_test(test_at_input),
        cmocka_unit_test(test_edges),
        cmocka_unit_test(test_digests),
        cmocka_unit_test(test_references),
        cmocka_unit_test(test_a_sheet_has_its_places_in_order),
        cmocka_unit_test(test_keys_are_printed),
        cmocka_unit_test(test_signal),
        cmocka_unit_test(test_ways),
        cmocka_unit_test(test_units),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
