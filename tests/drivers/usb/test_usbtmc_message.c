/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The bytes of USBTMC against the vectors UO, UR, UI, UX, UK, UC and the
 * tag sequence of tests/reference/links_usbtmc.json (USBTMC 1.00 tables 1 to
 * 9 and USB488 1.00, sources named there).
 */
#include "drivers/usb/usbtmc_message.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <jansson.h>
#include <stdlib.h>
#include <string.h>

enum { MOST_BYTES = 2048 };

struct bytes {
    unsigned char at[MOST_BYTES];
    size_t count;
};

static json_t *vectors;

static struct bytes from_hex(const char *hex)
{
    struct bytes bytes = { .count = strlen(hex) / 2 };

    assert_true(bytes.count <= MOST_BYTES);
    for (size_t i = 0; i < bytes.count; i++) {
        char pair[3] = { hex[2 * i], hex[2 * i + 1], '\0' };

        bytes.at[i] = (unsigned char)strtoul(pair, NULL, 16);
    }
    return bytes;
}

static struct bytes hex_of(json_t *object, const char *key)
{
    const char *text = json_string_value(json_object_get(object, key));

    assert_non_null(text);
    return from_hex(text);
}

static int number_of(json_t *object, const char *key)
{
    json_t *number = json_object_get(object, key);

    assert_true(json_is_integer(number));
    return (int)json_integer_value(number);
}

static json_t *list_of(const char *name, size_t least)
{
    json_t *list = json_object_get(vectors, name);

    assert_true(json_array_size(list) >= least);
    return list;
}

static void same(json_t *vector, const unsigned char *made, size_t count, struct bytes expected)
{
    if (count != expected.count || memcmp(made, expected.at, count) != 0)
        fail_msg("%s differs", json_string_value(json_object_get(vector, "id")));
}

static void messages_out(void **state)
{
    json_t *list = list_of("encode_dev_dep_msg_out", 12);
    json_t *vector;
    size_t i;

    (void)state;
    json_array_foreach(list, i, vector)
    {
        struct bytes payload = hex_of(vector, "payload");
        struct bytes made = { .count = usbtmc_out_length(payload.count) };

        usbtmc_out_header(made.at, (uint8_t)number_of(vector, "bTag"), (uint32_t)payload.count,
                          number_of(vector, "eom"));
        memcpy(made.at + USBTMC_HEADER, payload.at, payload.count);
        same(vector, made.at, made.count, hex_of(vector, "wire"));
    }
}

static void requests(void **state)
{
    json_t *list = list_of("encode_request_dev_dep_msg_in", 4);
    json_t *vector;
    size_t i;

    (void)state;
    json_array_foreach(list, i, vector)
    {
        json_t *term = json_object_get(vector, "term_char");
        struct usbtmc_request request = { .tag = (uint8_t)number_of(vector, "bTag"),
                                          .size = (uint32_t)number_of(vector, "size"),
                                          .term_char = USBTMC_NO_TERM_CHAR };
        unsigned char header[USBTMC_HEADER];

        if (json_is_string(term))
            request.term_char = hex_of(vector, "term_char").at[0];
        usbtmc_in_request(header, &request);
        same(vector, header, sizeof header, hex_of(vector, "wire"));
    }
}

static struct usbtmc_request request_of(json_t *vector, bool term_char)
{
    json_t *request = json_object_get(vector, "request");

    return (struct usbtmc_request) { .tag = (uint8_t)number_of(request, "bTag"),
                                     .size = (uint32_t)number_of(request, "size"),
                                     .term_char = term_char ? '\n' : USBTMC_NO_TERM_CHAR };
}

static void answers(void **state)
{
    json_t *list = list_of("decode_dev_dep_msg_in", 11);
    json_t *vector;
    size_t i;

    (void)state;
    json_array_foreach(list, i, vector)
    {
        json_t *expect = json_object_get(vector, "expect");
        bool term = json_is_true(json_object_get(expect, "term_char_matched"));
        struct usbtmc_request request = request_of(vector, term);
        struct bytes wire = hex_of(vector, "wire");
        struct usbtmc_answer answer;

        assert_true(usbtmc_in_header(wire.at, wire.count, &request, &answer, NULL));
        assert_int_equal(answer.end, json_is_true(json_object_get(expect, "eom")));
        assert_int_equal(answer.term_char_matched, term);
        assert_true(USBTMC_HEADER + answer.size <= wire.count);
        same(vector, wire.at + USBTMC_HEADER, answer.size, hex_of(expect, "payload"));
    }
}

/* UX7 has a good header; that its data are cut is for the session to see. */
static void wrong_answers(void **state)
{
    json_t *list = list_of("reject_dev_dep_msg_in", 13);
    json_t *vector;
    size_t i;

    (void)state;
    json_array_foreach(list, i, vector)
    {
        struct usbtmc_request request = request_of(vector, false);
        struct bytes wire = hex_of(vector, "wire");
        struct usbtmc_answer answer = { .size = 77 };
        struct failure failure;
        bool cut = strcmp(json_string_value(json_object_get(vector, "id")), "UX7") == 0;

        failure_clear(&failure);
        if (usbtmc_in_header(wire.at, wire.count, &request, &answer, &failure) != cut)
            fail_msg("%s is taken", json_string_value(json_object_get(vector, "id")));
        if (cut) {
            assert_true(USBTMC_HEADER + answer.size > wire.count);
            continue;
        }
        assert_int_equal(failure.code, FAILURE_UNEXPECTED_REPLY);
        assert_int_equal(answer.size, 77);
    }
}

static void tags(void **state)
{
    json_t *sequence = json_object_get(vectors, "tag_sequence");
    json_t *pair;
    size_t i;

    (void)state;
    assert_int_equal(usbtmc_next_tag(0), number_of(sequence, "first"));
    json_array_foreach(json_object_get(sequence, "after"), i, pair)
        assert_int_equal(usbtmc_next_tag((uint8_t)json_integer_value(json_array_get(pair, 0))),
                         json_integer_value(json_array_get(pair, 1)));
}

static const struct {
    const char *id;
    enum usbtmc_control control;
    uint8_t value;
    uint8_t index;
} setups[] = {
    { "UC1", USBTMC_GET_CAPABILITIES, 0, 0 },  { "UC2", USBTMC_INITIATE_CLEAR, 0, 0 },
    { "UC3", USBTMC_CHECK_CLEAR, 0, 0 },       { "UC5", USBTMC_INITIATE_ABORT_IN, 9, 0x82 },
    { "UC6", USBTMC_CHECK_ABORT_IN, 0, 0x82 }, { "UC7", USBTMC_INITIATE_ABORT_OUT, 9, 1 },
    { "UC8", USBTMC_CHECK_ABORT_OUT, 0, 1 },   { "UC11", USBTMC_REN_CONTROL, 1, 0 },
    { "UC12", USBTMC_REN_CONTROL, 0, 0 },      { "UC13", USBTMC_GO_TO_LOCAL, 0, 0 },
};

static void control_requests(void **state)
{
    json_t *list = list_of("control", sizeof setups / sizeof *setups);
    json_t *vector;
    size_t i;

    (void)state;
    assert_int_equal(json_array_size(list), sizeof setups / sizeof *setups);
    json_array_foreach(list, i, vector)
    {
        struct usb_setup setup = usbtmc_setup(setups[i].control, setups[i].value, setups[i].index);
        unsigned char made[8] = { setup.type,
                                  setup.request,
                                  (unsigned char)setup.value,
                                  (unsigned char)(setup.value >> 8),
                                  (unsigned char)setup.index,
                                  (unsigned char)(setup.index >> 8),
                                  (unsigned char)setup.length,
                                  (unsigned char)(setup.length >> 8) };

        assert_string_equal(json_string_value(json_object_get(vector, "id")), setups[i].id);
        same(vector, made, sizeof made, hex_of(vector, "setup"));
    }
}

/* The replies of UC3, UC6 and UC8, and some that are none. */
static void progress(void **state)
{
    static const struct {
        enum usbtmc_control check;
        const char *reply;
        enum usbtmc_progress expected;
    } rows[] = {
        { USBTMC_CHECK_CLEAR, "0201", USBTMC_DRAIN },
        { USBTMC_CHECK_CLEAR, "0200", USBTMC_WAIT },
        { USBTMC_CHECK_CLEAR, "0100", USBTMC_DONE },
        { USBTMC_CHECK_CLEAR, "8000", USBTMC_REFUSED },
        { USBTMC_CHECK_CLEAR, "", USBTMC_REFUSED },
        { USBTMC_CHECK_ABORT_IN, "0201000000000000", USBTMC_DRAIN },
        { USBTMC_CHECK_ABORT_IN, "0200000000000000", USBTMC_WAIT },
        { USBTMC_CHECK_ABORT_IN, "0100000000020000", USBTMC_DONE },
        { USBTMC_CHECK_ABORT_OUT, "0100000006000000", USBTMC_DONE },
        { USBTMC_CHECK_ABORT_OUT, "0201000000000000", USBTMC_WAIT },
        { USBTMC_CHECK_ABORT_OUT, "8100000000000000", USBTMC_REFUSED },
    };

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        struct bytes reply = from_hex(rows[i].reply);

        assert_int_equal(usbtmc_read_progress(rows[i].check, reply.at, reply.count),
                         rows[i].expected);
    }
}

static void is_said(json_t *expect, const char *key, bool found)
{
    if (json_is_true(json_object_get(expect, key)) != found)
        fail_msg("capability %s", key);
}

static void capabilities(void **state)
{
    json_t *list = list_of("capabilities", 5);
    json_t *vector;
    size_t i;

    (void)state;
    json_array_foreach(list, i, vector)
    {
        json_t *expect = json_object_get(vector, "expect");
        struct bytes bytes = hex_of(vector, "bytes");
        struct usbtmc_capabilities said;

        memset(&said, 1, sizeof said);
        assert_int_equal(usbtmc_read_capabilities(bytes.at, bytes.count, &said), expect != NULL);
        is_said(expect, "indicator_pulse", said.indicator_pulse);
        is_said(expect, "talk_only", said.talk_only);
        is_said(expect, "listen_only", said.listen_only);
        is_said(expect, "term_char", said.term_char);
        is_said(expect, "trigger", said.trigger);
        is_said(expect, "ren_control", said.ren_control);
        is_said(expect, "is_488_2", said.is_488_2);
        is_said(expect, "dt1", said.dt1);
        is_said(expect, "rl1", said.rl1);
        is_said(expect, "sr1", said.sr1);
        is_said(expect, "scpi", said.scpi);
    }
}

int main(void)
{
    static const struct CMUnitTest tests[] = {
        cmocka_unit_test(messages_out), cmocka_unit_test(requests),
        cmocka_unit_test(answers),      cmocka_unit_test(wrong_answers),
        cmocka_unit_test(tags),         cmocka_unit_test(control_requests),
        cmocka_unit_test(progress),     cmocka_unit_test(capabilities),
    };
    json_t *file = json_load_file(GRADUS_TEST_DATA "/links_usbtmc.json", 0, NULL);
    int failed;

    vectors = json_object_get(file, "usbtmc");
    failed = cmocka_run_group_tests(tests, NULL, NULL);
    json_decref(file);
    return failed;
}
