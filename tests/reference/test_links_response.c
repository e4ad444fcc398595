/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Response messages against the published forms: every vector of
 * links_response.json, which names its sources (clauses of IEEE 488.2 and
 * SCPI-1999). Source of all: that file. Each vector is a test of its own, named
 * by its id.
 */
#include "drivers/dialogue/framer.h"
#include "drivers/dialogue/response.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <jansson.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { MESSAGE = 256, LIMIT = 1024, MOST_TESTS = 256, MOST_ELEMENTS = 16 };

struct message {
    char bytes[MESSAGE];
    size_t count;
};

static const char *text_of(json_t *object, const char *key)
{
    return json_string_value(json_object_get(object, key));
}

static void unhex(const char *hex, struct message *message)
{
    assert_non_null(hex);
    message->count = strlen(hex) / 2;
    assert_true(message->count <= sizeof message->bytes);
    for (size_t i = 0; i < message->count; i++) {
        char pair[3] = { hex[2 * i], hex[2 * i + 1], '\0' };

        message->bytes[i] = (char)strtoul(pair, NULL, 16);
    }
}

static enum frame frame_of(const struct message *message, bool end, struct message *body)
{
    struct failure failure;
    size_t length = 0;
    size_t count = 0;
    enum frame frame;

    failure_clear(&failure);
    frame = response_frame(message->bytes, message->count, end, LIMIT, &length, &count, &failure);
    assert_int_equal(failure.code != FAILURE_NONE, frame == FRAME_INVALID);
    if (frame != FRAME_COMPLETE)
        return frame;
    assert_true(count <= length && length <= message->count);
    memcpy(body->bytes, message->bytes, count);
    body->count = count;
    return frame;
}

static void same_bytes(const struct element *element, const char *bytes, size_t count)
{
    assert_int_equal(element->count, count);
    assert_memory_equal(element->bytes, bytes, count);
}

/* Inner quotes stay doubled in an element; the vector has them single. */
static void same_string(const struct element *element, const char *wanted)
{
    struct message single = { .count = 0 };

    assert_int_equal(element->type, ELEMENT_STRING);
    for (size_t i = 0; i < element->count; i++) {
        single.bytes[single.count++] = element->bytes[i];
        if (element->bytes[i] == '"')
            i++;
    }
    assert_int_equal(single.count, strlen(wanted));
    assert_memory_equal(single.bytes, wanted, single.count);
}

static enum number_special special_of(const char *name)
{
    if (strcmp(name, "+infinity") == 0)
        return SPECIAL_INFINITY;
    if (strcmp(name, "-infinity") == 0)
        return SPECIAL_MINUS_INFINITY;
    assert_string_equal(name, "not a number");
    return SPECIAL_NOT_A_NUMBER;
}

static void same_number(const struct element *element, json_t *wanted)
{
    json_t *value = json_object_get(wanted, "value");

    assert_int_equal(element->type, ELEMENT_NUMBER);
    if (!value) {
        assert_int_equal(element->special, special_of(text_of(wanted, "special")));
        return;
    }
    assert_true(element->number == json_number_value(value));
    /* R11 is a number by its form and no value by its size: 9.9E37 is infinity. */
    assert_int_equal(element->special != SPECIAL_NONE, fabs(element->number) >= 9.8e37);
}

static void same_word(const struct element *element, const char *wanted)
{
    assert_int_equal(element->type, ELEMENT_CHARACTER);
    assert_int_equal(element->count, strlen(wanted));
    for (size_t i = 0; i < element->count; i++)
        assert_int_equal(element->bytes[i] & ~0x20, wanted[i] & ~0x20);
}

static void same_element(const struct element *element, json_t *wanted)
{
    const char *type = text_of(wanted, "type");
    struct message block;

    if (strncmp(type, "NR", 2) == 0) {
        same_number(element, wanted);
    } else if (strcmp(type, "string") == 0) {
        same_string(element, text_of(wanted, "value"));
    } else if (strcmp(type, "character") == 0) {
        same_word(element, text_of(wanted, "value"));
    } else if (strcmp(type, "block") == 0) {
        assert_int_equal(element->type, ELEMENT_BLOCK);
        unhex(text_of(wanted, "value"), &block);
        same_bytes(element, block.bytes, block.count);
    } else {
        assert_true(!strcmp(type, "hex") || !strcmp(type, "octal") || !strcmp(type, "binary"));
        assert_int_equal(element->type, ELEMENT_INTEGER);
        assert_true(element->number == json_number_value(json_object_get(wanted, "value")));
    }
}

static void check_identity(const struct message *body, json_t *vector, const char *wanted)
{
    char warning[80] = "unset";
    struct failure failure;

    failure_clear(&failure);
    assert_int_equal(body->count, strlen(wanted));
    assert_memory_equal(body->bytes, wanted, body->count);
    assert_true(identity_check(body->bytes, body->count, warning, sizeof warning, &failure));
    assert_int_equal(warning[0] != '\0', json_object_get(vector, "warn") != NULL);
}

static void check_units(const struct message *body, json_t *vector)
{
    json_t *units = json_object_get(vector, "units");
    json_t *first = json_array_get(json_array_get(units, 0), 0);
    struct element elements[MOST_ELEMENTS];
    struct failure failure;
    size_t n = 0;
    size_t at = 0;

    if (strcmp(text_of(first, "type"), "arbitrary ascii") == 0) {
        check_identity(body, vector, text_of(first, "value"));
        return;
    }
    failure_clear(&failure);
    assert_true(response_parse(body->bytes, body->count, elements, MOST_ELEMENTS, &n, &failure));
    for (size_t unit = 0; unit < json_array_size(units); unit++) {
        json_t *fields = json_array_get(units, unit);

        for (size_t i = 0; i < json_array_size(fields); i++, at++) {
            assert_true(at < n);
            assert_int_equal(elements[at].unit, unit);
            same_element(&elements[at], json_array_get(fields, i));
        }
    }
    assert_int_equal(at, n);
}

/* What a rejected vector was asked for: an identity where it says so, else one number. */
static bool accepted(const struct message *body, const char *reason, struct failure *failure)
{
    enum number_special special;
    double number;
    char warning[80];

    if (strncmp(reason, "*IDN?", 5) == 0)
        return identity_check(body->bytes, body->count, warning, sizeof warning, failure);
    return response_number(body->bytes, body->count, &number, &special, failure);
}

static void check_reject(const struct message *message, bool end, json_t *vector)
{
    const char *reason = text_of(vector, "reject");
    struct message body;
    struct failure failure;
    enum frame frame = frame_of(message, end, &body);

    failure_clear(&failure);
    if (strcmp(text_of(vector, "id"), "RX24") == 0) {
        struct message unused;

        assert_int_equal(frame, FRAME_INVALID);
        assert_int_equal(frame_of(message, false, &unused), FRAME_INCOMPLETE);
    } else if (frame == FRAME_COMPLETE) {
        assert_false(accepted(&body, reason, &failure));
        assert_int_equal(failure.code, FAILURE_UNEXPECTED_REPLY);
    } else {
        assert_int_equal(frame, FRAME_INVALID);
    }
}

static void check_response(void **state)
{
    json_t *vector = *state;
    bool end = json_is_true(json_object_get(vector, "end_with_eom"));
    struct message message;
    struct message body;

    unhex(text_of(vector, "bytes"), &message);
    if (json_object_get(vector, "reject")) {
        check_reject(&message, end, vector);
        return;
    }
    if (json_object_get(vector, "incomplete")) {
        assert_int_equal(frame_of(&message, false, &body), FRAME_INCOMPLETE);
        return;
    }
    assert_int_equal(frame_of(&message, end, &body), FRAME_COMPLETE);
    check_units(&body, vector);
}

/* A stream in the chunks in which it comes: echo, then messages one after the other. */
static void check_stream(void **state)
{
    json_t *vector = *state;
    json_t *chunks = json_object_get(vector, "chunks");
    json_t *messages = json_object_get(vector, "messages");
    size_t skip = json_object_get(vector, "profile") ? strlen("READ?\r\n") : 0;
    struct message all = { .count = 0 };
    struct framer framer;
    size_t found = 0;
    size_t begin = skip;

    framer_start_488(&framer, false, LIMIT);
    for (size_t i = 0; i < json_array_size(chunks); i++) {
        struct message chunk;
        size_t length;
        size_t body;

        unhex(json_string_value(json_array_get(chunks, i)), &chunk);
        memcpy(all.bytes + all.count, chunk.bytes, chunk.count);
        all.count += chunk.count;
        while (all.count > begin && framer_feed(&framer, all.bytes + begin, all.count - begin,
                                                false, &length, &body, NULL) == FRAME_COMPLETE) {
            const char *wanted = json_string_value(json_array_get(messages, found++));

            assert_non_null(wanted);
            assert_int_equal(body, strlen(wanted));
            assert_memory_equal(all.bytes + begin, wanted, body);
            begin += length;
            framer_start_488(&framer, false, LIMIT);
        }
    }
    assert_int_equal(found, json_array_size(messages));
    assert_int_equal(begin, all.count);
}

static double double_of(const char *hex)
{
    uint64_t bits = strtoull(hex, NULL, 16);
    double value;

    memcpy(&value, &bits, sizeof value);
    return value;
}

static double float_of(const char *hex)
{
    uint32_t bits = (uint32_t)strtoul(hex, NULL, 16);
    float value;

    memcpy(&value, &bits, sizeof value);
    return (double)value;
}

/* The marks of SCPI-1999 are known in text, in REAL,64 and in REAL,32 (7.2.1.4, 7.2.1.5). */
static void check_sentinel(void **state)
{
    json_t *vector = *state;
    const char *name = text_of(vector, "name");
    const char *text = text_of(vector, "text");
    enum number_special wanted = strcmp(name, "infinity") == 0            ? SPECIAL_INFINITY
                                 : strcmp(name, "negative infinity") == 0 ? SPECIAL_MINUS_INFINITY
                                                                          : SPECIAL_NOT_A_NUMBER;
    enum number_special special;
    double number;

    assert_true(response_number(text, strlen(text), &number, &special, NULL));
    assert_int_equal(special, wanted);
    assert_true(number == double_of(text_of(vector, "double_be")));
    assert_int_equal(number_classify(number), wanted);
    number = float_of(text_of(vector, "float_be"));
    assert_true(number == json_number_value(json_object_get(vector, "float_as_double")));
    assert_int_equal(number_classify(number), wanted);
}

/* One sample of a block, `size` bytes, most significant byte first or last. */
static double sample(const char *bytes, size_t size, bool swapped, bool real)
{
    char hex[17];

    for (size_t i = 0; i < size; i++) {
        size_t from = swapped ? size - 1 - i : i;

        snprintf(hex + 2 * i, 3, "%02X", (unsigned char)bytes[from]);
    }
    if (real)
        return size == 4 ? float_of(hex) : double_of(hex);
    return (double)(int16_t)strtol(hex, NULL, 16);
}

/* The bytes of a waveform block come out whole, whatever they are (IEEE 488.2 8.7.9). */
static void check_block(void **state)
{
    json_t *vector = *state;
    const char *format = text_of(vector, "format");
    bool real = strncmp(format, "REAL", 4) == 0;
    size_t size = (size_t)strtol(strchr(format, ',') + 1, NULL, 10) / 8;
    bool swapped = strcmp(text_of(vector, "border"), "SWAPped") == 0;
    json_t *values = json_object_get(vector, "values");
    json_t *specials = json_object_get(vector, "special");
    struct message message;
    struct message body;
    struct element element;
    size_t n;

    unhex(text_of(vector, "bytes"), &message);
    assert_int_equal(frame_of(&message, false, &body), FRAME_COMPLETE);
    assert_true(response_parse(body.bytes, body.count, &element, 1, &n, NULL));
    assert_int_equal(element.type, ELEMENT_BLOCK);
    assert_int_equal(element.count % size != 0, json_object_get(vector, "reject") != NULL);
    for (size_t i = 0; i < json_array_size(values); i++)
        assert_true(sample(element.bytes + i * size, size, swapped, real) ==
                    json_number_value(json_array_get(values, i)));
    for (size_t i = 0; i < json_array_size(specials); i++)
        assert_int_equal(number_classify(sample(element.bytes + i * size, size, swapped, real)),
                         special_of(json_string_value(json_array_get(specials, i))));
}

/* Appends a test for each vector of a list. */
static size_t add(struct CMUnitTest *tests, size_t count, json_t *vectors, const char *name_key,
                  CMUnitTestFunction function)
{
    assert_true(json_array_size(vectors) > 0);
    for (size_t i = 0; i < json_array_size(vectors); i++) {
        json_t *vector = json_array_get(vectors, i);

        assert_true(count < MOST_TESTS);
        tests[count++] = (struct CMUnitTest) { .name = text_of(vector, name_key),
                                               .test_func = function,
                                               .initial_state = vector };
    }
    return count;
}

int main(void)
{
    struct CMUnitTest tests[MOST_TESTS];
    json_error_t error;
    json_t *root = json_load_file(GRADUS_TEST_DATA "/links_response.json", JSON_ALLOW_NUL, &error);
    json_t *messages = json_object_get(root, "ieee488_2");
    json_t *scpi = json_object_get(root, "scpi");
    size_t count = 0;
    int failed;

    if (!root) {
        fprintf(stderr, "%s:%d: %s\n", error.source, error.line, error.text);
        return 1;
    }
    count = add(tests, count, json_object_get(messages, "responses"), "id", check_response);
    count = add(tests, count, json_object_get(messages, "stream"), "id", check_stream);
    count = add(tests, count, json_object_get(scpi, "sentinels"), "name", check_sentinel);
    count = add(tests, count, json_object_get(scpi, "binary_blocks"), "id", check_block);
    failed = _cmocka_run_group_tests("links_response", tests, count, NULL, NULL);
    json_decref(root);
    return failed;
}
