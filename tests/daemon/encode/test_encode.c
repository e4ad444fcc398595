/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Readings as JSON: the shape that is promised, and nothing that is no number. */
#include "daemon/encode/encode.h"

#include <jansson.h>
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

static const struct range meter_range = { .full_scale = 20,
                                          .resolution = 1e-4,
                                          .input_resistance = 1e7 };
static const struct range scope_range = { .full_scale = 0.8,
                                          .resolution = 0.003125,
                                          .volts_per_division = 0.1 };

static struct profile meter_profile = {
    .name = "some meter",
    .kind = PROFILE_METER,
    .function_count = 1,
    .functions = { { .quantity = QUANTITY_DC_VOLTAGE,
                     .front_end = { .count = 1, .ranges = &meter_range } } },
};

static struct profile scope_profile = {
    .name = "some scope",
    .kind = PROFILE_SCOPE,
    .scope = { .inputs = 2,
               .front_end = { .count = 1,
                              .ranges = &scope_range,
                              .vertical = true,
                              .divisions = 8 } },
};

static struct probe probes[] = { { .name = "x10", .unit = "V", .factor = 10 } };

static struct bench_instrument instruments[] = {
    { .name = "meter_a", .profile = &meter_profile, .calibration_due = "2027-03-01" },
    { .name = "scope_a", .profile = &scope_profile },
};

static const struct bench_point points[] = {
    { .name = "rail",
      .instrument = 0,
      .input = 3,
      .quantity = QUANTITY_DC_VOLTAGE,
      .at_input = QUANTITY_DC_VOLTAGE,
      .unit = "V",
      .expected = 50,
      .dc_level = NAN,
      .limits = { .low = 47.5, .high = INFINITY, .guard = 1 },
      .caution = "high energy" },
    { .name = "gate",
      .instrument = 1,
      .input = 2,
      .quantity = QUANTITY_DC_VOLTAGE,
      .at_input = QUANTITY_DC_VOLTAGE,
      .unit = "V",
      .expected = NAN,
      .dc_level = NAN,
      .limits = { .low = -INFINITY, .high = INFINITY } },
};

static const struct bench bench = {
    .instrument_count = 2, .instruments = instruments, .probe_count = 1, .probes = probes
};

static struct occasion occasion_of(size_t point)
{
    const struct occasion occasion = { .bench = &bench,
                                       .point = &points[point],
                                       .identity = "MAKER,MODEL,1,2",
                                       .time = { 1769904000 * SECOND_NS + 7999999 },
                                       .sequence = 1841,
                                       .frequency = NAN };
    return occasion;
}

static struct reading good_reading(void)
{
    struct reading reading = {
        .value = 50.132,
        .expanded = { 0.002, INFINITY, 2, 0.004, COVERAGE_NORMAL },
        .raw = 5.0132,
        .repeats = 1,
        .judgement = { VERDICT_PASS, 0.999, NAN, false },
        .loading = { .known = true, .ratio = 0.5, .relative = -0.5, .factor = 2 },
        .step_count = 2,
        .steps = { { { 0 }, STEP_OVERLOAD, NAN }, { { 0 }, STEP_SETTLED, 5.0132 } }
    };
    budget_add(&reading.budget, "instrument accuracy", SHAPE_RECTANGULAR, 0.002, 1, INFINITY);
    budget_add(&reading.budget, "repeatability", SHAPE_NORMAL, 0.001, 1, 9);
    reading_warn(&reading, "something \"odd\"");
    return reading;
}

static json_t *encoded(size_t point, const struct reading *reading)
{
    struct text text = { 0 };
    const struct occasion occasion = occasion_of(point);
    encode_reading(&text, &occasion, reading);
    assert_false(text.failed);
    json_t *json = json_loadb(text.bytes, text.length, JSON_REJECT_DUPLICATES, NULL);
    assert_non_null(json);
    text_free(&text);
    return json;
}

/* The member a path such as "range.at_tip" names. */
static const json_t *at(const json_t *json, const char *path)
{
    char name[64];
    const char *dot;
    while ((dot = strchr(path, '.')) != NULL) {
        snprintf(name, sizeof name, "%.*s", (int)(dot - path), path);
        json = json_object_get(json, name);
        path = dot + 1;
    }
    return json_object_get(json, path);
}

static void check_number(const json_t *json, const char *path, double expected)
{
    assert_true(json_is_number(at(json, path)));
    assert_true(fabs(json_number_value(at(json, path)) - expected) <= 1e-12 * fabs(expected));
}

static void check_text(const json_t *json, const char *path, const char *expected)
{
    const char *text = json_string_value(at(json, path));
    assert_non_null(text);
    assert_string_equal(text, expected);
}

static void a_reading_without_value_is_never_encoded(void **state)
{
    struct failure failure = { 0 };
    struct reading reading = good_reading();
    const struct occasion occasion = occasion_of(0);
    struct text text = { 0 };
    (void)state;
    failure_set(&failure, FAILURE_OVER_RANGE, NULL, NULL, "too much");
    reading_fail(&reading, &failure);
    encode_reading(&text, &occasion, &reading);
    assert_true(text.failed);
    text_free(&text);
}

static void figures_that_are_none_spoil_the_reading(void **state)
{
    const double bad[] = { NAN, INFINITY };
    (void)state;
    for (size_t i = 0; i < 2; i++) {
        struct reading reading = good_reading();
        const struct occasion occasion = occasion_of(0);
        struct text text = { 0 };
        reading.expanded.uncertainty = bad[i];
        encode_reading(&text, &occasion, &reading);
        assert_true(text.failed);
        text_free(&text);
    }
}

static void a_failure_says_what_it_knows(void **state)
{
    struct failure failure = { 0 };
    struct text text = { 0 };
    const struct reading reading = good_reading();
    (void)state;
    failure_set(&failure, FAILURE_UNEXPECTED_REPLY, "meter_a READ?", NULL, "came \"%s\"", "\xff\n");
    encode_error(&text, &failure, &bench, &points[0], &reading);
    json_t *json = json_loadb(text.bytes, text.length, JSON_REJECT_DUPLICATES, NULL);
    check_number(json, "code", -32012);
    check_text(json, "message", "unexpected reply");
    check_text(json, "data.reason", "unexpected reply");
    check_text(json, "data.where", "meter_a READ?");
    check_text(json, "data.point", "rail");
    assert_non_null(at(json, "data.what"));
    assert_null(at(json, "data.expected"));
    assert_int_equal(json_array_size(at(json, "data.steps")), 2);
    json_decref(json);
    text_free(&text);
}

static void a_reading_of_a_meter(void **state)
{
    const struct reading reading = good_reading();
    json_t *json = encoded(0, &reading);
    (void)state;
    check_text(json, "point", "rail");
    check_text(json, "quantity", "dc voltage");
    check_number(json, "value", 50.132);
    check_text(json, "unit", "V");
    check_number(json, "uncertainty", 0.004);
    check_number(json, "standard_uncertainty", 0.002);
    check_number(json, "coverage_factor", 2);
    assert_null(at(json, "degrees_of_freedom"));
    check_text(json, "time", "2026-02-01T00:00:00.007Z");
    check_number(json, "sequence", 1841);
    check_text(json, "instrument.name", "meter_a");
    check_text(json, "instrument.identity", "MAKER,MODEL,1,2");
    check_text(json, "instrument.calibration_due", "2027-03-01");
    check_text(json, "probe.name", "x10");
    check_number(json, "probe.factor", 10);
    check_number(json, "input", 3);
    check_number(json, "range.full_scale", 20);
    check_number(json, "range.at_tip", 200);
    assert_null(at(json, "range.volts_per_division"));
    assert_null(at(json, "range.coupling"));
    check_number(json, "raw", 5.0132);
    check_number(json, "limits.low", 47.5);
    assert_null(at(json, "limits.high"));
    check_text(json, "limits.decision", "guarded");
    check_text(json, "verdict", "pass");
    assert_null(at(json, "frequency"));
    json_decref(json);
}

static void lists_of_a_reading(void **state)
{
    const struct reading reading = good_reading();
    json_t *json = encoded(0, &reading);
    const json_t *budget = at(json, "budget");
    const json_t *steps = at(json, "steps");
    (void)state;
    assert_int_equal(json_array_size(budget), 2);
    check_text(json_array_get(budget, 0), "shape", "rectangular");
    assert_null(at(json_array_get(budget, 0), "degrees_of_freedom"));
    check_number(json_array_get(budget, 1), "degrees_of_freedom", 9);
    assert_int_equal(json_array_size(steps), 2);
    check_text(json_array_get(steps, 0), "outcome", "overload");
    assert_null(at(json_array_get(steps, 0), "raw"));
    check_number(json_array_get(steps, 1), "raw", 5.0132);
    assert_string_equal(json_string_value(json_array_get(at(json, "warnings"), 0)),
                        "something \"odd\"");
    json_decref(json);
}

/* A source as large as the load halves the voltage: 100 V unloaded read as 50 V. */
static void the_loading_error_is_that_of_the_uncorrected_reading(void **state)
{
    struct reading reading = good_reading();
    (void)state;
    reading.value = 50;
    json_t *json = encoded(0, &reading);
    check_number(json, "loading.error", -50);
    assert_true(json_is_false(at(json, "loading.corrected")));
    json_decref(json);
    reading.value = 100;
    reading.loading_corrected = true;
    json = encoded(0, &reading);
    check_number(json, "loading.error", -50);
    assert_true(json_is_true(at(json, "loading.corrected")));
    json_decref(json);
}

static void a_reading_of_a_scope(void **state)
{
    struct reading reading = good_reading();
    (void)state;
    reading.raw = 0.75;
    reading.setup.offset = 0.5;
    json_t *json = encoded(1, &reading);
    check_number(json, "range.volts_per_division", 0.1);
    check_number(json, "range.offset", 0.5);
    check_number(json, "range.position", 0);
    check_text(json, "range.coupling", "dc");
    check_number(json, "range.deflection_divisions", 2.5);
    assert_null(at(json, "limits"));
    assert_null(at(json, "instrument.calibration_due"));
    json_decref(json);
}

/* 10 samples of which 4 are wanted: every third, so four, three intervals apart. */
static void a_capture_hands_out_no_more_than_asked(void **state)
{
    double samples[] = { 0, 1, 2, 3, 4, 5, 6, 7, 8, 9 };
    const struct occasion occasion = occasion_of(1);
    struct capture capture = {
        .reading = good_reading(),
        .samples = samples,
        .count = 10,
        .interval = 1e-6,
        .analysis = { .waveform = { .mean = 4.5, .frequency = NAN },
                      .periodic = WAVE_NOT_PERIODIC,
                      .pulse = { .low = 1.0, .duty = NAN, .rise = { 2, NAN, 0.01, 0.02 } },
                      .sine_lack = WAVE_NOT_SINE,
                      .distortion_lack = WAVE_FEW_PERIODS }
    };
    const struct await await = {
        .given = true, .when = { false, 2.5 }, .at = 2e-6, .waited = 3, .watched = 2
    };
    struct text text = { 0 };
    (void)state;
    encode_capture(&text, &occasion, &capture, &await, 4);
    json_t *json = json_loadb(text.bytes, text.length, JSON_REJECT_DUPLICATES, NULL);
    check_number(json, "interval", 3e-6);
    check_number(json, "count", 4);
    check_number(json, "recorded", 10);
    check_text(json, "trigger.way", "falls");
    check_number(json, "trigger.level", 2.5);
    check_number(json, "trigger.at", 2e-6);
    check_number(json, "trigger.waited_s", 3);
    check_number(json, "trigger.watched_s", 2);
    assert_int_equal(json_array_size(at(json, "samples")), 4);
    assert_true(json_number_value(json_array_get(at(json, "samples"), 3)) == 9);
    check_number(json, "parameters.mean", 4.5);
    assert_null(at(json, "parameters.frequency"));
    check_text(json, "parameters.reason", "not periodic");
    check_number(json, "parameters.pulse.low", 1.0);
    check_number(json, "parameters.pulse.rise.count", 2);
    check_number(json, "parameters.pulse.rise.aberration_after", 0.02);
    assert_null(at(json, "parameters.pulse.rise.duration"));
    assert_null(at(json, "parameters.pulse.fall"));
    assert_null(at(json, "parameters.pulse.duty"));
    check_text(json, "parameters.sine.reason", "not a sine");
    check_text(json, "parameters.distortion.reason", "too few periods in the record");
    assert_null(at(json, "parameters.distortion.thd_f"));
    json_decref(json);
    samples[6] = NAN;
    text_reset(&text);
    encode_capture(&text, &occasion, &capture, &await, 4);
    assert_true(text.failed);
    text_free(&text);
}

static void a_point_as_configured(void **state)
{
    struct text text = { 0 };
    (void)state;
    encode_point(&text, &bench, &points[0], (struct wall_time) { 0 });
    assert_string_equal(text.bytes,
                        "{\"name\":\"rail\",\"quantity\":\"dc voltage\",\"unit\":\"V\","
                        "\"instrument\":\"meter_a\",\"input\":3,\"probe\":\"x10\",\"expected\":50,"
                        "\"limits\":{\"low\":47.5,\"decision\":\"guarded\"},"
                        "\"by_hand\":true,\"caution\":\"high energy\"}");
    text_free(&text);
}

/* What an answer adds to the reading it is made of. */
static void a_reading_that_is_stored(void **state)
{
    struct text reading = { 0 };
    struct text text = { 0 };
    (void)state;
    static const char none[] = "{\"value\":1,\"warnings\":[]}";
    static const char one[] = "{\"value\":1,\"warnings\":[\"hot\"]}";
    text_raw(&reading, none, sizeof none - 1);
    encode_stored(&text, &reading, 7, NULL);
    assert_string_equal(text.bytes, "{\"value\":1,\"warnings\":[],\"stored\":true,\"id\":7}");
    text_reset(&text);
    encode_stored(&text, &reading, 0, "full");
    assert_string_equal(text.bytes, "{\"value\":1,\"warnings\":[\"full\"],\"stored\":false}");
    text_reset(&text);
    text_reset(&reading);
    text_raw(&reading, one, sizeof one - 1);
    encode_stored(&text, &reading, 0, "full");
    assert_string_equal(text.bytes,
                        "{\"value\":1,\"warnings\":[\"hot\",\"full\"],\"stored\":false}");
    text_free(&text);
    text_free(&reading);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_reading_without_value_is_never_encoded),
        cmocka_unit_test(figures_that_are_none_spoil_the_reading),
        cmocka_unit_test(a_failure_says_what_it_knows),
        cmocka_unit_test(a_reading_of_a_meter),
        cmocka_unit_test(lists_of_a_reading),
        cmocka_unit_test(the_loading_error_is_that_of_the_uncorrected_reading),
        cmocka_unit_test(a_reading_of_a_scope),
        cmocka_unit_test(a_reading_that_is_stored),
        cmocka_unit_test(a_capture_hands_out_no_more_than_asked),
        cmocka_unit_test(a_point_as_configured),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
