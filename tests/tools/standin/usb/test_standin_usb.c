/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The USB faces of the simulated bench without any USB: message headers and
 * the bulk-out state machine (USBTMC 1.00, 3.2 and 3.3), class requests
 * (USBTMC 1.00, 4.2; USB488 1.00, 4.3), and the serial device's (PSTN 1.2, 6.3
 * and 6.5); tables and clauses below 4.2.1 and 4.3 from memory.
 */
#include "tools/standin/usb/acm.h"
#include "tools/standin/usb/ffs.h"
#include "tools/standin/usb/tmc.h"
#include "tools/standin/usb/tmc_request.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

enum { PACKET = 64, MOST = 4096 };

/* What a host sends as one transfer, and what it led to. */
struct sent {
    enum tmc_step step;
    size_t count;
    uint8_t data[MOST];
    size_t reads;
};

static struct sent send_transfer(struct tmc_out *out, const uint8_t *bytes, size_t size)
{
    struct sent sent = { .step = TMC_GOES_ON };
    size_t done = 0;

    while (done < size && sent.step == TMC_GOES_ON) {
        size_t wanted = tmc_wanted(out, MOST);
        size_t got = size - done < wanted ? size - done : wanted;
        const uint8_t *data;
        size_t count;

        sent.step = tmc_take(out, bytes + done, got, &data, &count);
        assert_true(sent.count + count <= sizeof sent.data);
        memcpy(sent.data + sent.count, data, count);
        sent.count += count;
        sent.reads++;
        done += got;
    }
    return sent;
}

/* A DEV_DEP_MSG_OUT of `size` bytes that count up; returns its length on the wire. */
static size_t data_out(uint8_t *transfer, uint8_t tag, size_t size, bool end)
{
    size_t whole = (12 + size + 3) / 4 * 4;

    memset(transfer, 0, whole);
    transfer[0] = 1;
    transfer[1] = tag;
    transfer[2] = (uint8_t)~tag;
    transfer[4] = (uint8_t)size;
    transfer[5] = (uint8_t)(size >> 8);
    transfer[8] = end;
    for (size_t i = 0; i < size; i++)
        transfer[12 + i] = (uint8_t)(i + 1);
    return whole;
}

static void commands_of_any_length_come_whole(void **state)
{
    struct tmc_out out = { .packet = PACKET };
    uint8_t transfer[MOST];

    (void)state;
    for (size_t size = 1; size < 5 * PACKET; size++) {
        size_t whole = data_out(transfer, 7, size, true);
        struct sent sent = send_transfer(&out, transfer, whole);

        assert_int_equal(sent.step, TMC_ENDED);
        assert_int_equal(sent.count, size);
        assert_memory_equal(sent.data, transfer + 12, size);
        assert_true(sent.reads <= 2);
        assert_false(out.open);
    }
}

static void a_command_goes_on_until_its_end_of_message(void **state)
{
    struct tmc_out out = { .packet = PACKET };
    uint8_t transfer[MOST];

    (void)state;
    size_t whole = data_out(transfer, 1, 100, false);
    assert_int_equal(send_transfer(&out, transfer, whole).step, TMC_TAKEN);
    assert_true(out.unended);
    whole = data_out(transfer, 2, 3, true);
    assert_int_equal(send_transfer(&out, transfer, whole).step, TMC_ENDED);
    assert_false(out.unended);
}

static void refused(const uint8_t *bytes, size_t count)
{
    struct tmc_out out = { .packet = PACKET };

    assert_int_equal(send_transfer(&out, bytes, count).step, TMC_REFUSED);
    assert_false(out.open);
}

static void broken_rules_are_refused(void **state)
{
    uint8_t transfer[MOST];

    (void)state;
    size_t whole = data_out(transfer, 9, 20, true);
    refused(transfer, 11);         /* no whole header */
    refused(transfer, whole - 4);  /* ends before its message does */
    refused(transfer, whole + 40); /* goes on behind it */
    transfer[2] ^= 1;              /* inverse of the tag */
    refused(transfer, whole);
    data_out(transfer, 0, 20, true); /* a tag is never 0 (Table 1) */
    refused(transfer, whole);
    data_out(transfer, 9, 20, true);
    transfer[3] = 1; /* reserved */
    refused(transfer, whole);
    data_out(transfer, 9, 20, true);
    transfer[0] =
        126; /* unknown kind (Table 2); 128, a trigger, is one that no instrument here has */
    refused(transfer, whole);
    transfer[0] = 128;
    refused(transfer, 12);
    data_out(transfer, 9, 0, true); /* more than none (Table 3) */
    refused(transfer, 12);
    data_out(transfer, 9, 20, true);
    transfer[0] = 2; /* exactly a header (Table 4) */
    refused(transfer, 16);
}

static void missing_alignment_is_forgiven(void **state)
{
    struct tmc_out out = { .packet = PACKET };
    uint8_t transfer[MOST];

    (void)state;
    data_out(transfer, 3, 5, true);
    struct sent sent = send_transfer(&out, transfer, 12 + 5);
    assert_int_equal(sent.step, TMC_ENDED);
    assert_int_equal(sent.count, 5);
}

static void a_request_says_what_is_wanted(void **state)
{
    struct tmc_out out = { .packet = PACKET };
    const uint8_t request[12] = { 2, 200, 55, 0, 0x40, 0x42, 0x0f, 0, 2, ';' };

    (void)state;
    assert_int_equal(send_transfer(&out, request, sizeof request).step, TMC_ASKED);
    assert_int_equal(out.asked.tag, 200);
    assert_int_equal(out.asked.size, 1000000);
    assert_true(out.asked.uses_term);
    assert_int_equal(out.asked.term, ';');
}

/* An answer of "1.25;-3" to a request with tag 255. */
static size_t answered(enum fault_kind damage, bool end, uint8_t transfer[32])
{
    const struct tmc_request request = { .tag = 255, .size = 100 };
    static const char text[] = "1.25;-3";

    return tmc_answer(&request, (const uint8_t *)text, 7, end, damage, transfer);
}

static void answers_have_the_headers_of_the_standard(void **state)
{
    uint8_t transfer[32];
    const uint8_t expected[20] = { 2, 255, 0,   0,   7,   0,   0,   0,   1,   0,
                                   0, 0,   '1', '.', '2', '5', ';', '-', '3', 0 };

    (void)state;
    assert_int_equal(answered(FAULT_ARMED_KINDS, true, transfer), 20);
    assert_memory_equal(transfer, expected, sizeof expected);
    answered(FAULT_ARMED_KINDS, false, transfer);
    assert_int_equal(transfer[8], 0);
}

static void answers_end_at_the_size_or_the_term_char(void **state)
{
    struct tmc_request request = { .tag = 1, .size = 3 };
    const uint8_t text[] = "1;2;3";
    uint8_t transfer[32];

    (void)state;
    assert_int_equal(tmc_fitting(&request, text, 5), 3);
    request.uses_term = true;
    request.term = ';';
    assert_int_equal(tmc_fitting(&request, text, 5), 2);
    assert_int_equal(tmc_fitting(&request, text, 1), 1);
    assert_int_equal(tmc_answer(&request, text, 2, false, FAULT_ARMED_KINDS, transfer), 16);
    assert_int_equal(transfer[8], 2);
    assert_int_equal(tmc_answer(&request, text + 4, 1, true, FAULT_ARMED_KINDS, transfer), 16);
    assert_int_equal(transfer[8], 1);
}

static void each_fault_damages_one_thing(void **state)
{
    static const struct {
        enum fault_kind fault;
        size_t place; /* the one byte of the header that differs, beside a tag's inverse */
        uint8_t value;
        size_t size;
    } cases[] = {
        { FAULT_WRONG_MESSAGE, 0, 3, 20 }, { FAULT_WRONG_TAG, 1, 1, 20 },
        { FAULT_SIZE_LARGER, 4, 23, 20 },  { FAULT_SIZE_SMALLER, 4, 4, 20 },
        { FAULT_NO_END, 8, 0, 20 },        { FAULT_SHORT_HEADER, 0, 2, 8 },
    };
    uint8_t good[32];
    uint8_t bad[32];

    (void)state;
    answered(FAULT_ARMED_KINDS, true, good);
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        assert_int_equal(answered(cases[i].fault, true, bad), cases[i].size);
        assert_int_equal(bad[cases[i].place], cases[i].value);
        assert_int_equal(bad[1] ^ bad[2], 0xff);
        bad[cases[i].place] = good[cases[i].place];
        bad[2] = good[2];
        assert_memory_equal(bad, good, 20);
    }
}

static int requested(const struct tmc_view *view, uint8_t type, uint8_t request, uint16_t value,
                     uint16_t index, uint8_t *reply, enum tmc_order *order)
{
    const struct gadget_setup setup = { type, request, value, index, 24 };

    return tmc_request(view, &setup, reply, order);
}

static void capabilities_are_told(void **state)
{
    const struct tmc_view view = { .scpi = true };
    uint8_t reply[TMC_REPLY];
    enum tmc_order order;
    /* USB488 1.00, 4.2.2, without trigger */
    const uint8_t expected[24] = { 1, 0, 0, 1, 4, 1, 0, 0, 0, 0, 0, 0, 0, 1, 6, 14 };

    (void)state;
    assert_int_equal(requested(&view, 0xa1, 7, 0, 0, reply, &order), 24);
    assert_memory_equal(reply, expected, sizeof expected);
    assert_int_equal(order, TMC_NOTHING);
    assert_int_equal(requested(&view, 0xa1, 99, 0, 0, reply, &order), -1);
    assert_int_equal(requested(&view, 0x21, 7, 0, 0, reply, &order), -1);
}

static void aborts_name_the_transfer(void **state)
{
    const struct tmc_view view = { .in_open = true, .in_tag = 8, .in_sent = 0x010203 };
    uint8_t reply[TMC_REPLY];
    enum tmc_order order;

    (void)state;
    assert_int_equal(requested(&view, 0xa2, 3, 8, FFS_IN + 1, reply, &order), 2); /* 4.2.1.4 */
    assert_int_equal(reply[0], 1);
    assert_int_equal(order, TMC_ABORT_IN);
    requested(&view, 0xa2, 3, 7, FFS_IN + 1, reply, &order);
    assert_int_equal(reply[0], 0x81);
    assert_int_equal(order, TMC_NOTHING);
    requested(&view, 0xa2, 1, 8, FFS_OUT + 1, reply, &order); /* 4.2.1.2 */
    assert_int_equal(reply[0], 0x80);
    assert_int_equal(requested(&view, 0xa2, 4, 0, FFS_IN + 1, reply, &order), 8);
    assert_int_equal(reply[4], 3);
    assert_int_equal(reply[6], 1);
    assert_int_equal(requested(&view, 0xa2, 3, 8, FFS_OUT + 1, reply, &order), -1);
}

static void clears_and_status_bytes(void **state)
{
    struct tmc_view view = { .unread = true };
    uint8_t reply[TMC_REPLY];
    enum tmc_order order;

    (void)state;
    assert_int_equal(requested(&view, 0xa1, 5, 0, 0, reply, &order), 1); /* 4.2.1.6 */
    assert_int_equal(order, TMC_CLEAR);
    assert_int_equal(requested(&view, 0xa1, 6, 0, 0, reply, &order), 2);
    assert_int_equal(reply[0], 2);
    assert_int_equal(reply[1], 1);
    assert_int_equal(requested(&view, 0xa1, 128, 5, 0, reply, &order), 3); /* USB488 1.00, 4.3.1 */
    assert_int_equal(order, TMC_TELL_STATUS);
    assert_int_equal(reply[1], 5);
    assert_int_equal(requested(&view, 0xa1, 128, 1, 0, reply, &order), 3);
    assert_int_equal(reply[0], 0x80);
    view.notice_waits = true;
    requested(&view, 0xa1, 128, 5, 0, reply, &order);
    assert_int_equal(reply[0], 0x20);
    assert_int_equal(order, TMC_NOTHING);
    requested(&view, 0xa1, 160, 1, 0, reply, &order); /* USB488 1.00, 4.3.2 */
    assert_int_equal(order, TMC_REMOTE_ENABLE);
    requested(&view, 0xa1, 160, 0, 0, reply, &order);
    assert_int_equal(order, TMC_REMOTE_DISABLE);
}

static void a_serial_device_keeps_its_line_coding(void **state)
{
    struct acm_line line = acm_default();
    uint8_t bytes[GADGET_DATA] = { 0x00, 0xc2, 0x01, 0, 0, 2, 7 };
    const struct gadget_setup set = { 0x21, 0x20, 0, 0, 7 };
    const struct gadget_setup get = { 0xa1, 0x21, 0, 0, 7 };
    const struct gadget_setup lines = { 0x21, 0x22, 3, 0, 0 };
    const struct gadget_setup pause = { 0x21, 0x23, 0xffff, 0, 0 };
    const struct gadget_setup cut = { 0x21, 0x20, 0, 0, 6 };

    (void)state;
    assert_int_equal(acm_baud(&line), 9600);
    assert_true(acm_takes(&set));
    assert_false(acm_takes(&cut));
    assert_int_equal(acm_request(&line, &set, bytes), 0);
    memset(bytes, 0, sizeof bytes);
    assert_int_equal(acm_request(&line, &get, bytes), 7);
    assert_int_equal(acm_baud(&line), 115200);
    assert_int_equal(bytes[6], 7);
    acm_request(&line, &lines, bytes);
    assert_true(line.dtr && line.rts);
    acm_request(&line, &pause, bytes);
    assert_int_equal(line.breaks, 1);
}

static void a_damaged_byte_comes_with_its_notification(void **state)
{
    uint8_t notice[ACM_NOTICE];
    const uint8_t expected[ACM_NOTICE] = { 0xa1, 0x20, 0, 0, 0, 0, 2, 0, 0x13, 0 };
    uint8_t bytes[] = "ABCD";
    size_t count = 4;

    (void)state;
    acm_notice(FAULT_FRAMING, notice);
    assert_memory_equal(notice, expected, sizeof expected);
    assert_int_equal(acm_damage(FAULT_PARITY, bytes, &count), 2);
    assert_memory_equal(bytes, "ABBD", 4);
    assert_int_equal(acm_damage(FAULT_OVERRUN, bytes, &count), 2);
    assert_int_equal(count, 3);
    assert_memory_equal(bytes, "ABD", 3);
    assert_int_equal(acm_damage(FAULT_BREAK, bytes, &count), 1);
    assert_memory_equal(bytes, "ABD", 3);
    count = 0;
    assert_int_equal(acm_damage(FAULT_FRAMING, bytes, &count), 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(commands_of_any_length_come_whole),
        cmocka_unit_test(a_command_goes_on_until_its_end_of_message),
        cmocka_unit_test(broken_rules_are_refused),
        cmocka_unit_test(missing_alignment_is_forgiven),
        cmocka_unit_test(a_request_says_what_is_wanted),
        cmocka_unit_test(answers_have_the_headers_of_the_standard),
        cmocka_unit_test(answers_end_at_the_size_or_the_term_char),
        cmocka_unit_test(each_fault_damages_one_thing),
        cmocka_unit_test(capabilities_are_told),
        cmocka_unit_test(aborts_name_the_transfer),
        cmocka_unit_test(clears_and_status_bytes),
        cmocka_unit_test(a_serial_device_keeps_its_line_coding),
        cmocka_unit_test(a_damaged_byte_comes_with_its_notification),
    };
    return cmocka_run_group_tests_name("standin_usb", tests, NULL, NULL);
}
