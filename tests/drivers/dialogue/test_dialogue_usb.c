/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A dialogue over a link that marks the ends of messages: a USBTMC session
 * with a device that is played. Nothing is asked for that was not queried.
 */
#include "drivers/dialogue/dialogue.h"
#include "drivers/dialogue/exchange.h"
#include "drivers/dialogue/response.h"
#include "drivers/link/link_kinds.h"
#include "drivers/usb/usbtmc.h"
#include "tests/drivers/talk.h"
#include "tests/drivers/usb_fake.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <stdlib.h>
#include <string.h>

static bool fake_write(void *self, const char *bytes, size_t count, struct deadline deadline,
                       struct failure *failure)
{
    return usbtmc_write(self, bytes, count, deadline, failure);
}

static enum link_result fake_read(void *self, char *bytes, size_t capacity, size_t *count,
                                  bool *end, struct deadline deadline, struct failure *failure)
{
    return usbtmc_read(self, bytes, capacity, count, end, deadline, failure);
}

static bool fake_clear(void *self, struct deadline deadline, struct failure *failure)
{
    return usbtmc_clear(self, deadline, failure);
}

static void fake_close(void *self)
{
    usbtmc_close(self);
}

static const struct link_ops fake_ops = {
    .name = "played",
    .marks_end = true,
    .write = fake_write,
    .read = fake_read,
    .clear = fake_clear,
    .close = fake_close,
};

/* A dialogue whose link is open already. */
struct played {
    struct fake fake;
    struct protocol protocol;
    struct dialogue *dialogue;
};

static void plug(struct played *played)
{
    struct usb_pipe pipe = fake_pipe(&played->fake);
    struct usbtmc *session = usbtmc_open(&pipe, deadline_in(TALK_PLENTY_MS), NULL);

    assert_non_null(session);
    played->dialogue->link = link_wrap(&fake_ops, session, NULL);
    assert_non_null(played->dialogue->link);
}

static void start(struct played *played, enum variant variant)
{
    struct link_spec spec;

    fake_begin(&played->fake);
    played->protocol = talk_protocol(variant);
    assert_true(link_spec_parse("usb:fffe:fffd:none", NULL, &spec, NULL));
    played->dialogue = dialogue_new(&played->protocol, &spec, "meter_a");
    assert_non_null(played->dialogue);
    plug(played);
}

static void end(struct played *played)
{
    dialogue_free(played->dialogue);
    talk_protocol_free(&played->protocol);
    fake_end(&played->fake);
}

static void ready(struct played *played)
{
    struct failure failure;
    char text[600];

    failure_clear(&failure);
    if (!dialogue_ready(played->dialogue, deadline_in(TALK_PLENTY_MS), &failure))
        fail_msg("not ready: %s", failure_text(&failure, text, sizeof text));
}

static enum failure_code query(struct played *played, const char *text, double *value)
{
    struct failure failure;

    failure_clear(&failure);
    dialogue_query(played->dialogue, text, 0, talk_read_488, value, deadline_in(TALK_PLENTY_MS),
                   &failure);
    return failure.code;
}

static void no_request_but_for_answers(void **state)
{
    struct played played;
    double value = 0;

    (void)state;
    start(&played, PLAIN);
    fake_say(&played.fake, "*IDN", IDENTITY);
    fake_say(&played.fake, "READ", "1.25\n");
    ready(&played);
    assert_string_equal(dialogue_identity(played.dialogue), "TARNWERK,BENCH METER,1,1.4");
    assert_int_equal(query(&played, "READ?", &value), FAILURE_NONE);
    assert_true(value == 1.25);
    assert_true(dialogue_command(played.dialogue, "SET", deadline_in(TALK_PLENTY_MS), NULL));
    assert_int_equal(query(&played, "READ?", &value), FAILURE_NONE);
    /* Three answers, three requests. */
    assert_int_equal(played.fake.requests, 3);
    assert_int_equal(played.fake.aborts, 0);
    end(&played);
}

static void end_ends_a_message(void **state)
{
    struct played played;
    double value = 0;

    (void)state;
    start(&played, PLAIN);
    fake_say(&played.fake, "*IDN", "TARNWERK,BENCH METER,1,1.4");
    fake_say(&played.fake, "READ", "-2.5");
    ready(&played);
    assert_int_equal(query(&played, "READ?", &value), FAILURE_NONE);
    assert_true(value == -2.5);
    assert_int_equal(played.fake.requests, 2);
    end(&played);
}

static bool read_text(const struct reply *reply, void *out, struct failure *failure)
{
    (void)failure;
    memcpy(out, reply->bytes, reply->count < 32 ? reply->count + 1 : 32);
    return true;
}

static void plain_text_ends_with_the_message(void **state)
{
    struct played played;
    char text[32] = "";

    (void)state;
    start(&played, LINE);
    strcpy(played.protocol.identity_query, "WHO?");
    fake_say(&played.fake, "WHO", "OLDMERE BENCH METER REV 2");
    fake_say(&played.fake, "LOOK", "STEADY VOLTS +05.013");
    ready(&played);
    assert_true(dialogue_query(played.dialogue, "LOOK?", 0, read_text, text,
                               deadline_in(TALK_PLENTY_MS), NULL));
    assert_string_equal(text, "STEADY VOLTS +05.013");
    end(&played);
}

/* A newline that is not the end of the message: what follows belongs to it too. */
static void newline_without_end(void **state)
{
    struct played played;
    double value = 7;

    (void)state;
    start(&played, PLAIN);
    fake_say(&played.fake, "*IDN", IDENTITY);
    fake_say(&played.fake, "READ", "1.25\n9.5\n");
    played.fake.split = 5;
    ready(&played);
    assert_int_equal(query(&played, "READ?", &value), FAILURE_UNEXPECTED_REPLY);
    assert_true(value == 7);
    end(&played);
}

static void indefinite_block(void **state)
{
    struct played played;
    char text[32] = "";

    (void)state;
    start(&played, PLAIN);
    fake_say(&played.fake, "*IDN", IDENTITY);
    fake_say(&played.fake, "DATA", "#0ab\ncd\n");
    played.fake.split = 5;
    ready(&played);
    assert_true(dialogue_query(played.dialogue, "DATA?", 0, read_text, text,
                               deadline_in(TALK_PLENTY_MS), NULL));
    assert_string_equal(text, "#0ab\ncd");
    end(&played);
}

/* After each fault the dialogue is brought in step again, and the next answer is its own. */
static void faults(void **state)
{
    (void)state;
    for (int i = 0; i < FAULT_COUNT * 2; i++) {
        struct played played;
        double value = 7;
        enum failure_code code;

        start(&played, PLAIN);
        fake_say(&played.fake, "*IDN", IDENTITY);
        fake_say(&played.fake, "READ", "1.25\n");
        fake_say(&played.fake, "NEXT", "4.5\n");
        ready(&played);
        played.fake.fault = (enum fake_fault)(i / 2);
        played.fake.keeps_answers = i % 2;
        code = query(&played, "READ?", &value);
        assert_int_equal(code == FAILURE_NONE, fault_is_harmless((enum fake_fault)(i / 2)));
        assert_true(value == (code == FAILURE_NONE ? 1.25 : 7));
        assert_int_equal(dialogue_in_step(played.dialogue), code == FAILURE_NONE);
        played.fake.fault = FAULT_NONE;
        if (!played.dialogue->link)
            plug(&played);
        ready(&played);
        assert_int_equal(query(&played, "NEXT?", &value), FAILURE_NONE);
        assert_true(value == 4.5);
        end(&played);
    }
}

static void another_instrument_is_refused(void **state)
{
    struct failure failure;
    struct played played;

    (void)state;
    failure_clear(&failure);
    start(&played, PLAIN);
    fake_say(&played.fake, "*IDN", OTHER);
    assert_false(dialogue_ready(played.dialogue, deadline_in(TALK_PLENTY_MS), &failure));
    assert_int_equal(failure.code, FAILURE_WRONG_IDENTITY);
    assert_int_equal(played.fake.requests, 1);
    end(&played);
}

int main(void)
{
    static const struct CMUnitTest tests[] = {
        cmocka_unit_test(no_request_but_for_answers),
        cmocka_unit_test(end_ends_a_message),
        cmocka_unit_test(plain_text_ends_with_the_message),
        cmocka_unit_test(newline_without_end),
        cmocka_unit_test(indefinite_block),
        cmocka_unit_test(faults),
        cmocka_unit_test(another_instrument_is_refused),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
