/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Blocks of samples against the vectors SB1 to SB8 of links_response.json
 * (SCPI-1999, FORMat:DATA and FORMat:BORDer). Source of all: that file. A
 * record has at least four samples, so the bytes of a vector are repeated where
 * they are fewer.
 */
#include "drivers/instrument/samples.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <jansson.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { REPEATS = 4, BYTES = 64, MOST_TESTS = 16 };

static const char *text_of(json_t *object, const char *key)
{
    const char *text = json_string_value(json_object_get(object, key));

    assert_non_null(text);
    return text;
}

/* The bytes between the block's header, one length digit, and the newline. */
static size_t payload_of(json_t *vector, char *payload)
{
    const char *hex = text_of(vector, "bytes");
    size_t count = strlen(hex) / 2;

    assert_true(count > 4 && count <= BYTES);
    for (size_t i = 3; i + 1 < count; i++) {
        char pair[3] = { hex[2 * i], hex[2 * i + 1], '\0' };

        payload[i - 3] = (char)strtoul(pair, NULL, 16);
    }
    return count - 4;
}

static enum sample_format format_of(const char *name)
{
    if (strcmp(name, "INTeger,16") == 0)
        return SAMPLE_INT16;
    if (strcmp(name, "REAL,32") == 0)
        return SAMPLE_REAL32;
    assert_string_equal(name, "REAL,64");
    return SAMPLE_REAL64;
}

/* A scope whose codes, or samples, are volts. */
struct bench {
    struct range range;
    struct scope scope;
    struct record record;
    struct setup setup;
    struct samples samples;
};

static struct bench *bench_new(json_t *vector)
{
    struct bench *bench = calloc(1, sizeof *bench);
    struct waveform_coding *coding;

    assert_non_null(bench);
    bench->range = (struct range) { .low = -1e30, .high = 1e30, .volts_per_division = 1 };
    bench->scope.front_end.ranges = &bench->range;
    coding = &bench->scope.waveform;
    *coding = (struct waveform_coding) { .encoding = ENCODING_BLOCK,
                                         .format = format_of(text_of(vector, "format")),
                                         .code_low = -32768,
                                         .code_high = 32767,
                                         .codes_per_division = 1,
                                         .codes_per_step = 1 };
    coding->codes = coding->format == SAMPLE_INT16;
    coding->order =
        strcmp(text_of(vector, "border"), "SWAPped") == 0 ? ORDER_LSB_FIRST : ORDER_MSB_FIRST;
    bench->samples = (struct samples) { .scope = &bench->scope,
                                        .setup = &bench->setup,
                                        .record = &bench->record };
    return bench;
}

static void bench_free(struct bench *bench)
{
    free(bench->record.volts);
    free(bench);
}

static bool read_payload(struct bench *bench, const char *payload, size_t count, size_t repeats,
                         struct failure *failure)
{
    char block[8 + REPEATS * BYTES];
    size_t size = (size_t)snprintf(block, sizeof block, "#3%03zu", repeats * count);

    for (size_t i = 0; i < repeats; i++) {
        memcpy(block + size, payload, count);
        size += count;
    }
    block[size] = '\0';
    failure_clear(failure);
    return samples_read(&(struct reply) { block, size }, &bench->samples, failure);
}

static void check_values(const struct bench *bench, json_t *values)
{
    size_t count = json_array_size(values);

    assert_int_equal(bench->samples.count, REPEATS * count);
    for (size_t i = 0; i < bench->samples.count; i++)
        assert_true(bench->record.volts[i] == json_number_value(json_array_get(values, i % count)));
    assert_false(bench->samples.clipped_high || bench->samples.clipped_low);
}

/* A mark for no value can come to nothing but a record that is overloaded. */
static void check_special(const struct bench *bench)
{
    assert_true(bench->samples.clipped_high);
}

static void check_block(void **state)
{
    json_t *vector = *state;
    json_t *values = json_object_get(vector, "values");
    struct bench *bench = bench_new(vector);
    struct failure failure;
    char payload[BYTES];
    size_t count = payload_of(vector, payload);

    bench->scope.points = 4;
    if (json_object_get(vector, "reject")) {
        assert_false(read_payload(bench, payload, count, 1, &failure));
        assert_int_equal(failure.code, FAILURE_UNEXPECTED_REPLY);
        assert_string_equal(failure.expected, "one block of whole samples");
        bench_free(bench);
        return;
    }
    bench->scope.points = REPEATS * (values ? json_array_size(values)
                                            : json_array_size(json_object_get(vector, "special")));
    assert_true(read_payload(bench, payload, count, REPEATS, &failure));
    if (values)
        check_values(bench, values);
    else
        check_special(bench);
    bench_free(bench);
}

int main(void)
{
    struct CMUnitTest tests[MOST_TESTS];
    json_error_t error;
    json_t *root = json_load_file(GRADUS_TEST_DATA "/links_response.json", JSON_ALLOW_NUL, &error);
    json_t *blocks = json_object_get(json_object_get(root, "scpi"), "binary_blocks");
    size_t count = json_array_size(blocks);
    int failed;

    if (count == 0 || count > MOST_TESTS) {
        fprintf(stderr, "%s:%d: %s\n", error.source, error.line, error.text);
        return 1;
    }
    for (size_t i = 0; i < count; i++)
        tests[i] = (struct CMUnitTest) { .name = text_of(json_array_get(blocks, i), "id"),
                                         .test_func = check_block,
                                         .initial_state = json_array_get(blocks, i) };
    failed = _cmocka_run_group_tests("links_samples", tests, count, NULL, NULL);
    json_decref(root);
    return failed;
}
