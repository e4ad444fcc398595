/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Sessions with devices that misbehave in every way there is a name for: each
 * exchange ends in the right bytes or in a failure, and the one after it never
 * in those of the one before.
 */
#include "drivers/usb/usbtmc.h"
#include "tests/drivers/usb_fake.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const double plenty_ms = 20000;

/* What an exchange came to. */
enum outcome { ANSWERED, QUIET, FAILED };

struct reply {
    char *bytes;
    size_t count;
    struct failure failure;
};

static struct usbtmc *begin(struct fake *fake)
{
    struct usb_pipe pipe = fake_pipe(fake);
    struct usbtmc *session = usbtmc_open(&pipe, deadline_in(plenty_ms), NULL);

    assert_non_null(session);
    return session;
}

/* Reads one message to its end. */
static enum outcome read_whole(struct usbtmc *session, size_t part, struct reply *reply)
{
    bool end = false;

    reply->count = 0;
    while (!end) {
        size_t count = 0;
        enum link_result result = usbtmc_read(session, reply->bytes + reply->count, part, &count,
                                              &end, deadline_in(plenty_ms), &reply->failure);

        if (result != LINK_BYTES) {
            assert_int_equal(reply->failure.code == FAILURE_NONE, result == LINK_QUIET);
            return result == LINK_QUIET ? QUIET : FAILED;
        }
        assert_in_range(count, 1, part);
        reply->count += count;
        assert_true(reply->count <= FAKE_ROOM);
    }
    return ANSWERED;
}

static enum outcome ask(struct usbtmc *session, const char *query, size_t part, struct reply *reply)
{
    failure_clear(&reply->failure);
    if (!usbtmc_write(session, query, strlen(query), deadline_in(plenty_ms), &reply->failure)) {
        assert_int_not_equal(reply->failure.code, FAILURE_NONE);
        return FAILED;
    }
    return read_whole(session, part, reply);
}

static bool is_answer(const struct reply *reply, const char *name)
{
    char text[600];

    snprintf(text, sizeof text, "answer to %s\n", name);
    return reply->count == strlen(text) && memcmp(reply->bytes, text, reply->count) == 0;
}

static struct reply reply_new(void)
{
    struct reply reply = { .bytes = malloc(2 * (size_t)FAKE_ROOM) };

    assert_non_null(reply.bytes);
    return reply;
}

static void answers_come_whole(void **state)
{
    struct reply reply = reply_new();
    struct fake fake;
    struct usbtmc *session;

    (void)state;
    fake_begin(&fake);
    session = begin(&fake);
    assert_true(fake.remote);
    for (int i = 0; i < 600; i++) {
        assert_int_equal(ask(session, i % 2 ? "odd?\n" : "even?", 1 + (size_t)i, &reply), ANSWERED);
        assert_true(is_answer(&reply, i % 2 ? "odd" : "even"));
    }
    assert_int_equal(fake.clears, 1);
    assert_int_equal(fake.aborts, 0);
    usbtmc_close(session);
    assert_false(fake.remote);
    fake_end(&fake);
    free(reply.bytes);
}

/* Sizes around packets and parts, in one transfer and in several. */
static void blocks_of_any_size(void **state)
{
    static const unsigned sizes[] = { 1, 41, 42, 43, 44, 106, 107, 65000, 65515, 65516, 1048576 };
    static const size_t splits[] = { 0, 1000, 64, 52, 1048565 };
    struct reply reply = reply_new();

    (void)state;
    for (size_t i = 0; i < sizeof sizes / sizeof *sizes; i++) {
        for (size_t k = 0; k < sizeof splits / sizeof *splits; k++) {
            char query[32];
            struct fake fake;
            struct usbtmc *session;

            fake_begin(&fake);
            fake.split = splits[k];
            session = begin(&fake);
            snprintf(query, sizeof query, "block %u?", sizes[i]);
            assert_int_equal(ask(session, query, 65536, &reply), ANSWERED);
            assert_int_equal(reply.count, sizes[i] + 10);
            assert_int_equal(reply.bytes[0], '#');
            assert_int_equal(ask(session, "next?", 65536, &reply), ANSWERED);
            assert_true(is_answer(&reply, "next"));
            assert_int_equal(fake.clears, 1);
            usbtmc_close(session);
            fake_end(&fake);
        }
    }
    free(reply.bytes);
}

/* The exchange with the fault, and the one after it, with a new session where the link broke. */
static void two_exchanges(struct fake *fake, const char *first, const char *name,
                          struct reply *reply)
{
    enum fake_fault fault = fake->fault;
    struct usbtmc *session = begin(fake);
    enum outcome outcome = ask(session, first, 65536, reply);

    if ((outcome == ANSWERED) != fault_is_harmless(fault))
        fail_msg("fault %d ends in %d: %s", (int)fault, (int)outcome, reply->failure.what);
    if (outcome == ANSWERED)
        assert_true(is_answer(reply, name));
    fake->fault = FAULT_NONE;
    outcome = ask(session, "second?", 65536, reply);
    if (outcome == ANSWERED && !is_answer(reply, "second"))
        fail_msg("fault %d: the second answer is '%.*s'", (int)fault, (int)reply->count,
                 reply->bytes);
    if (outcome != ANSWERED) {
        usbtmc_close(session);
        session = begin(fake);
        assert_int_equal(ask(session, "third?", 65536, reply), ANSWERED);
        assert_true(is_answer(reply, "third"));
    }
    usbtmc_close(session);
}

static void every_fault(void **state)
{
    /* The second fills its transfer's last packet: 12 + 116 bytes are two of 64. */
    static const char *const names[] = {
        "first", "a name of 105 characters, so that header and an"
                 "swer fill two packets to their very last byte, here it is."
    };
    struct reply reply = reply_new();

    (void)state;
    assert_int_equal(strlen(names[1]) + 11 + USBTMC_HEADER, 2 * FAKE_PACKET);
    for (int i = 0; i < 2 * FAULT_COUNT * MANNER_COUNT * MANNER_COUNT * 2; i++) {
        int rest = i / (2 * FAULT_COUNT);
        char query[200];
        struct fake fake;

        fake_begin(&fake);
        fake.fault = (enum fake_fault)(i / 2 % FAULT_COUNT);
        fake.abort = (enum fake_manner)(rest % MANNER_COUNT);
        fake.clear = (enum fake_manner)(rest / MANNER_COUNT % MANNER_COUNT);
        /* Who queues answers and knows no clear cannot be helped from here. */
        fake.keeps_answers = rest / MANNER_COUNT / MANNER_COUNT && fake.clear <= MANNER_DRAIN;
        snprintf(query, sizeof query, "%s?", names[i % 2]);
        two_exchanges(&fake, query, names[i % 2], &reply);
        fake_end(&fake);
    }
    free(reply.bytes);
}

/* Without its last, empty packet a transfer is still open: it is aborted before the next one. */
static void forgotten_end_is_aborted(void **state)
{
    struct reply reply = reply_new();
    struct fake fake;
    struct usbtmc *session;

    (void)state;
    fake_begin(&fake);
    fake_say(&fake, "full", "a line of fifty-two characters, its newline too ...\n");
    fake.fault = FAULT_NO_END;
    session = begin(&fake);
    assert_int_equal(ask(session, "full?", 65536, &reply), ANSWERED);
    assert_int_equal(USBTMC_HEADER + reply.count, FAKE_PACKET);
    assert_int_equal(fake.aborts, 0);
    assert_int_equal(ask(session, "next?", 65536, &reply), ANSWERED);
    assert_true(is_answer(&reply, "next"));
    assert_int_equal(fake.aborts, 1);
    assert_int_equal(fake.clears, 1);
    usbtmc_close(session);
    fake_end(&fake);
    free(reply.bytes);
}

static void late_answer_is_not_the_next(void **state)
{
    struct reply reply = reply_new();
    struct fake fake;
    struct usbtmc *session;

    (void)state;
    fake_begin(&fake);
    fake.fault = FAULT_LATE;
    fake.abort = MANNER_FAILED;
    session = begin(&fake);
    assert_int_equal(ask(session, "first?", 65536, &reply), QUIET);
    assert_int_equal(fake.aborts, 1);
    /* Asked again in place of a new message: the old answer comes under its old tag. */
    assert_int_equal(read_whole(session, 65536, &reply), FAILED);
    assert_int_equal(reply.failure.code, FAILURE_UNEXPECTED_REPLY);
    assert_non_null(strstr(reply.failure.what, "tag"));
    assert_int_equal(ask(session, "second?", 65536, &reply), ANSWERED);
    assert_true(is_answer(&reply, "second"));
    usbtmc_close(session);
    fake_end(&fake);
    free(reply.bytes);
}

static void late_answer_can_be_waited_for(void **state)
{
    struct reply reply = reply_new();
    struct fake fake;
    struct usbtmc *session;
    size_t count;

    (void)state;
    fake_begin(&fake);
    session = begin(&fake);
    assert_int_equal(read_whole(session, 65536, &reply), QUIET);
    count = (size_t)sprintf((char *)fake.answer, "answer to slow\n");
    fake.answer_count = count;
    assert_int_equal(read_whole(session, 65536, &reply), ANSWERED);
    assert_true(is_answer(&reply, "slow"));
    usbtmc_close(session);
    fake_end(&fake);
    free(reply.bytes);
}

/* An instrument that finishes after its reader has given up, and keeps what it has to say. */
static void finished_too_late(void **state)
{
    struct reply reply = reply_new();
    struct fake fake;
    struct usbtmc *session;

    (void)state;
    fake_begin(&fake);
    fake.keeps_answers = true;
    session = begin(&fake);
    assert_int_equal(ask(session, "slow command", 65536, &reply), QUIET);
    fake.answer_count = (size_t)sprintf((char *)fake.answer, "answer to slow\n");
    assert_int_equal(ask(session, "second?", 65536, &reply), ANSWERED);
    assert_true(is_answer(&reply, "second"));
    usbtmc_close(session);
    fake_end(&fake);
    free(reply.bytes);
}

/* What is drained in an abort may be the beginning of an answer: its rest is no answer. */
static void rest_is_no_answer(void **state)
{
    struct reply reply = reply_new();
    struct fake fake;
    struct usbtmc *session;

    (void)state;
    fake_begin(&fake);
    fake.split = 5;
    fake.fault = FAULT_LATE;
    session = begin(&fake);
    assert_int_equal(ask(session, "first?", 65536, &reply), FAILED);
    assert_int_equal(reply.failure.code, FAILURE_TIMEOUT);
    failure_clear(&reply.failure);
    assert_int_equal(read_whole(session, 65536, &reply), FAILED);
    assert_int_equal(ask(session, "second?", 65536, &reply), ANSWERED);
    assert_true(is_answer(&reply, "second"));
    usbtmc_close(session);
    fake_end(&fake);
    free(reply.bytes);
}

static void long_message_goes_in_parts(void **state)
{
    enum { LONG = 200000 };
    char *text = malloc(LONG);
    struct fake fake;
    struct usbtmc *session;

    (void)state;
    assert_non_null(text);
    for (size_t i = 0; i < LONG; i++)
        text[i] = (char)('a' + i % 23);
    fake_begin(&fake);
    session = begin(&fake);
    assert_true(usbtmc_write(session, text, LONG, deadline_in(plenty_ms), NULL));
    assert_int_equal(fake.messages, 1);
    assert_memory_equal(fake.message, text, LONG);
    assert_int_equal(fake.message[LONG], 0);
    usbtmc_close(session);
    fake_end(&fake);
    free(text);
}

static void leftovers_of_a_former_user_are_gone(void **state)
{
    struct reply reply = reply_new();

    (void)state;
    for (int clear = 0; clear < MANNER_COUNT; clear++) {
        struct fake fake;
        struct usbtmc *session;

        fake_begin(&fake);
        fake.clear = (enum fake_manner)clear;
        fake.halted_in = clear % 2;
        /* The tag is the one that the first request will have. */
        fake_leave(&fake, "somebody else's\n", 2);
        session = begin(&fake);
        assert_int_equal(ask(session, "mine?", 65536, &reply), ANSWERED);
        assert_true(is_answer(&reply, "mine"));
        usbtmc_close(session);
        fake_end(&fake);
    }
    free(reply.bytes);
}

/* A message that is written before the last answer was read to its end. */
static void unread_rest_is_thrown_away(void **state)
{
    struct reply reply = reply_new();
    struct fake fake;
    struct usbtmc *session;

    (void)state;
    for (size_t split = 0; split <= 5; split += 5) {
        size_t count;
        bool end;

        fake_begin(&fake);
        fake.split = split;
        fake.keeps_answers = true;
        session = begin(&fake);
        assert_true(usbtmc_write(session, "first?", 6, deadline_in(plenty_ms), NULL));
        assert_int_equal(
            usbtmc_read(session, reply.bytes, 3, &count, &end, deadline_in(plenty_ms), NULL),
            LINK_BYTES);
        assert_false(end);
        assert_int_equal(ask(session, "second?", 65536, &reply), ANSWERED);
        assert_true(is_answer(&reply, "second"));
        usbtmc_close(session);
        fake_end(&fake);
    }
    free(reply.bytes);
}

static void no_time_means_no_request(void **state)
{
    struct reply reply = reply_new();
    struct fake fake;
    struct usbtmc *session;
    size_t count;
    bool end;
    int calls;

    (void)state;
    fake_begin(&fake);
    session = begin(&fake);
    assert_true(usbtmc_write(session, "first?", 6, deadline_in(plenty_ms), NULL));
    calls = fake.calls;
    assert_int_equal(
        usbtmc_read(session, reply.bytes, 3, &count, &end, (struct deadline) { 0 }, NULL),
        LINK_QUIET);
    assert_int_equal(fake.calls, calls);
    assert_int_equal(
        usbtmc_read(session, reply.bytes, 3, &count, &end, deadline_in(plenty_ms), NULL),
        LINK_BYTES);
    /* What is here already comes without asking. */
    assert_int_equal(
        usbtmc_read(session, reply.bytes, 100, &count, &end, (struct deadline) { 0 }, NULL),
        LINK_BYTES);
    assert_int_equal(count, strlen("answer to first\n") - 3);
    assert_true(end);
    usbtmc_close(session);
    fake_end(&fake);
    free(reply.bytes);
}

/* Everything a session does, until the device is unplugged; false when that was noticed. */
static bool whole_life(struct fake *fake, struct reply *reply)
{
    struct usb_pipe pipe = fake_pipe(fake);
    struct deadline deadline = deadline_in(plenty_ms);
    struct failure *failure = &reply->failure;
    struct usbtmc *session;
    bool well;

    failure_clear(failure);
    session = usbtmc_open(&pipe, deadline, failure);
    if (!session)
        return false;
    well = ask(session, "block 200?", 65536, reply) == ANSWERED &&
           ask(session, "silent?", 65536, reply) == ANSWERED &&
           usbtmc_clear(session, deadline, failure) && usbtmc_present(session, failure);
    if (!well)
        assert_int_equal(usbtmc_present(session, NULL), false);
    usbtmc_close(session);
    return well;
}

static void unplugged_at_each_call(void **state)
{
    struct reply reply = reply_new();

    (void)state;
    for (int n = 0;; n++) {
        struct fake fake;
        bool well;
        int calls;

        fake_begin(&fake);
        fake.gone_at = n;
        fake.clear = MANNER_PENDING;
        well = whole_life(&fake, &reply);
        calls = fake.calls;
        fake_end(&fake);
        if (well && calls <= n)
            break;
        if (!well)
            assert_int_equal(reply.failure.code, FAILURE_DISCONNECTED);
        assert_true(n < 1000);
    }
    free(reply.bytes);
}

static void capabilities_may_be_missing(void **state)
{
    struct reply reply = reply_new();

    (void)state;
    for (int i = 0; i < 3; i++) {
        struct fake fake;
        struct usbtmc *session;

        fake_begin(&fake);
        memset(fake.capabilities, i == 1 ? 0xff : 0, sizeof fake.capabilities);
        session = begin(&fake);
        assert_false(fake.remote);
        assert_int_equal(ask(session, "there?", 65536, &reply), ANSWERED);
        assert_true(is_answer(&reply, "there"));
        usbtmc_close(session);
        fake_end(&fake);
    }
    free(reply.bytes);
}

/* A device that marks no ends: its answers end at a newline, and what is behind never comes. */
static void an_end_byte_ends_an_answer(void **state)
{
    struct reply reply = reply_new();
    struct fake fake;
    struct usbtmc *session;

    (void)state;
    fake_begin(&fake);
    fake.never_ends = true;
    fake.capabilities[5] = 1;
    fake.said[0][0] = "two";
    fake.said[0][1] = "first\nsecond\n";
    session = begin(&fake);
    usbtmc_end_at(session, '\n');
    assert_int_equal(ask(session, "two?", 512, &reply), ANSWERED);
    assert_int_equal(fake.term_char, '\n');
    assert_int_equal(reply.count, 6);
    assert_memory_equal(reply.bytes, "first\n", 6);
    assert_int_equal(ask(session, "name?", 512, &reply), ANSWERED);
    assert_true(is_answer(&reply, "name"));
    usbtmc_close(session);
    fake_end(&fake);
    free(reply.bytes);
}

/* One that cannot is not asked to. */
static void an_end_byte_needs_the_capability(void **state)
{
    struct reply reply = reply_new();
    struct fake fake;
    struct usbtmc *session;

    (void)state;
    fake_begin(&fake);
    fake.capabilities[5] = 0;
    session = begin(&fake);
    usbtmc_end_at(session, '\n');
    assert_int_equal(ask(session, "name?", 512, &reply), ANSWERED);
    assert_true(is_answer(&reply, "name"));
    assert_int_equal(fake.term_char, USBTMC_NO_TERM_CHAR);
    usbtmc_close(session);
    fake_end(&fake);
    free(reply.bytes);
}

int main(void)
{
    static const struct CMUnitTest tests[] = {
        cmocka_unit_test(answers_come_whole),
        cmocka_unit_test(blocks_of_any_size),
        cmocka_unit_test(an_end_byte_ends_an_answer),
        cmocka_unit_test(an_end_byte_needs_the_capability),
        cmocka_unit_test(every_fault),
        cmocka_unit_test(forgotten_end_is_aborted),
        cmocka_unit_test(late_answer_is_not_the_next),
        cmocka_unit_test(late_answer_can_be_waited_for),
        cmocka_unit_test(finished_too_late),
        cmocka_unit_test(rest_is_no_answer),
        cmocka_unit_test(long_message_goes_in_parts),
        cmocka_unit_test(leftovers_of_a_former_user_are_gone),
        cmocka_unit_test(unread_rest_is_thrown_away),
        cmocka_unit_test(no_time_means_no_request),
        cmocka_unit_test(unplugged_at_each_call),
        cmocka_unit_test(capabilities_may_be_missing),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
