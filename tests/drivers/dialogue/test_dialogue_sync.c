/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Coming in step with an instrument, whatever it does meanwhile. */
#include "tests/drivers/talk.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <string.h>

#define UNEXPECTED   FAILURE_UNEXPECTED_REPLY
#define TIMEOUT      FAILURE_TIMEOUT
#define DISCONNECTED FAILURE_DISCONNECTED

static void nobody_there(void **state)
{
    struct protocol protocol = talk_protocol(PLAIN);
    struct link_spec spec;
    struct failure failure;
    struct dialogue *dialogue;

    (void)state;
    assert_true(link_spec_parse("unix:/tmp/gradus-no-such-socket", NULL, &spec, NULL));
    dialogue = dialogue_new(&protocol, &spec, "meter_a");
    assert_non_null(dialogue);
    failure_clear(&failure);
    assert_false(dialogue_ready(dialogue, deadline_in(TALK_PLENTY_MS), &failure));
    assert_int_equal(failure.code, DISCONNECTED);
    assert_int_equal(dialogue_epoch(dialogue), 0);
    assert_string_equal(dialogue_identity(dialogue), "");
    dialogue_disconnect(dialogue);
    dialogue_free(dialogue);
    dialogue_free(NULL);
    talk_protocol_free(&protocol);
}

/* The link of a suspect dialogue broke meanwhile: one call finds out and opens a fresh one. */
static void a_suspect_link_that_broke_is_opened_again(void **state)
{
    TALK(PLAIN, ACCEPT, WHO, SEND(IDENTITY), HOLD, CLOSE, ACCEPT, WHO, SEND(IDENTITY));

    (void)state;
    talk_ready(&talk);
    peer_resume(talk.peer);
    peer_wait(talk.peer, 5);
    dialogue_suspect(talk.dialogue);
    talk_ready(&talk);
    assert_int_equal(dialogue_epoch(talk.dialogue), 2);
    talk_end(&talk);
}

static void babble_from_the_start_is_found(void **state)
{
    TALK(LINE, ACCEPT, BABBLE("STEADY VOLTS +01.500\r\n"), ACCEPT, LINE_WHO, SEND(LINE_IDENTITY));

    (void)state;
    talk_not_ready(&talk, TALK_PLENTY_MS, FAILURE_BABBLE);
    talk_ready(&talk);
    talk_end(&talk);
}

static void another_instrument_is_refused(void **state)
{
    TALK(PLAIN, ACCEPT, WHO, SEND(OTHER), HOLD, ACCEPT, WHO, SEND(IDENTITY));
    struct failure failure;

    (void)state;
    talk.protocol.reply_ms = 300;
    failure_clear(&failure);
    assert_false(dialogue_ready(talk.dialogue, deadline_in(TALK_PLENTY_MS), &failure));
    peer_resume(talk.peer);
    assert_int_equal(failure.code, FAILURE_WRONG_IDENTITY);
    assert_non_null(strstr(failure.what, "OLDMERE,FIELD"));
    assert_string_equal(dialogue_identity(talk.dialogue), "");
    talk.protocol.reply_ms = TALK_REPLY_MS;
    talk_ready(&talk);
    assert_string_equal(dialogue_identity(talk.dialogue), "TARNWERK,BENCH METER,1,1.4");
    talk_end(&talk);
}

/* In plain text any line could be a late reply: only the same one twice is an identity. */
static void another_plain_instrument_is_refused(void **state)
{
    TALK(LINE, ACCEPT, LINE_WHO, SEND("OLDMERE CLOCK\r\n"), LINE_WHO, SEND("OLDMERE CLOCK\r\n"));

    (void)state;
    talk.protocol.reply_ms = 300;
    talk_not_ready(&talk, TALK_PLENTY_MS, FAILURE_WRONG_IDENTITY);
    talk_end(&talk);
}

static void silence_at_the_start_is_a_timeout(void **state)
{
    TALK(PLAIN, ACCEPT, WHO, WHO, WHO);

    (void)state;
    talk.protocol.reply_ms = TALK_SHORT_MS;
    talk_not_ready(&talk, TALK_PLENTY_MS, TIMEOUT);
    talk_end(&talk);
}

static void silence_at_the_start_ends_at_the_deadline(void **state)
{
    TALK(PLAIN, ACCEPT, WHO);

    (void)state;
    talk_not_ready(&talk, 500, FAILURE_DEADLINE);
    talk_end(&talk);
}

/* The identity asked for twice comes twice; the second is waited for, not left for a query. */
static void a_late_identity_is_awaited(void **state)
{
    TALK(PLAIN, ACCEPT, WHO, WHO, SEND(IDENTITY), SEND(IDENTITY), ASKED, SEND("+1.5E+0\n"));

    (void)state;
    talk.protocol.reply_ms = 500;
    talk_ready(&talk);
    talk_answered(&talk, PLAIN, 1.5);
    talk_end(&talk);
}

/* The caller's own identity query is late as well: both answers are awaited. */
static void an_identity_the_caller_asked_for_is_awaited(void **state)
{
    TALK(PLAIN, ACCEPT, WHO, SEND(IDENTITY), WHO, WHO, SEND(IDENTITY), LATER, SEND(IDENTITY), ASKED,
         SEND("+1.5E+0\n"));
    double value;

    (void)state;
    talk_ready(&talk);
    talk.protocol.reply_ms = TALK_SHORT_MS;
    assert_false(dialogue_query(talk.dialogue, "*IDN?", 0, talk_read_488, &value,
                                deadline_in(TALK_PLENTY_MS), NULL));
    talk.protocol.reply_ms = TALK_REPLY_MS;
    talk_ready(&talk);
    talk_answered(&talk, PLAIN, 1.5);
    talk_end(&talk);
}

/* The second one takes longer than the instrument is ever quiet. */
static void a_later_identity_is_awaited(void **state)
{
    TALK(PLAIN, ACCEPT, WHO, WHO, SEND(IDENTITY), LATER, SEND(IDENTITY), ASKED, SEND("+1.5E+0\n"));

    (void)state;
    talk.protocol.reply_ms = 1000;
    talk_ready(&talk);
    talk_answered(&talk, PLAIN, 1.5);
    talk_end(&talk);
}

/* The echo of a late identity query is a line of its own where commands end as replies do. */
static void late_identities_come_with_their_echoes(void **state)
{
    TALK(ECHO, ACCEPT, EXPECT("WHO\nWHO\n"), SEND("WHO\n" LINE_IDENTITY "WHO\n" LINE_IDENTITY),
         EXPECT("LOOK\n"), SEND("LOOK\nSTEADY VOLTS +01.500\r\n"));

    (void)state;
    strcpy(talk.protocol.command_terminator, "\n");
    talk.protocol.reply_ms = 1000;
    talk_ready(&talk);
    talk_answered(&talk, ECHO, 1.5);
    talk_end(&talk);
}

/* Another reply does not pass for the late identity: it is asked for once more. */
static void a_reply_instead_of_the_late_identity_is_not_in_step(void **state)
{
    TALK(PLAIN, ACCEPT, WHO, WHO, SEND(IDENTITY "+1.5E+0\n"), WHO, SEND(IDENTITY), ASKED,
         SEND("+2.5E+0\n"));

    (void)state;
    talk.protocol.reply_ms = 1000;
    talk_ready(&talk);
    talk_answered(&talk, PLAIN, 2.5);
    talk_end(&talk);
}

static void a_disconnect_while_coming_in_step_fails_at_once(void **state)
{
    TALK(PLAIN, ACCEPT, WHO, SEND("TARN"), CLOSE, ACCEPT, WHO, SEND(IDENTITY));

    (void)state;
    talk_not_ready(&talk, TALK_PLENTY_MS, DISCONNECTED);
    talk_ready(&talk);
    talk_end(&talk);
}

/* An identity too many in one breath: not in step until it has been asked once more. */
static void an_identity_too_many_is_not_in_step(void **state)
{
    TALK(PLAIN, ACCEPT, WHO, SEND(IDENTITY IDENTITY), WHO, SEND(IDENTITY));

    (void)state;
    talk_ready(&talk);
    talk_end(&talk);
}

static void clear_characters_come_first(void **state)
{
    TALK(LINE, ACCEPT, EXPECT("\x03"), LINE_WHO, SEND(LINE_IDENTITY));

    (void)state;
    strcpy(talk.protocol.clear, "\x03");
    talk_ready(&talk);
    talk_end(&talk);
}

static void a_greeting_is_drained(void **state)
{
    TALK(PROMPT, ACCEPT, SEND("WELCOME\r\n> "), LINE_WHO, SEND(LINE_IDENTITY "> "), LINE_ASKED,
         SEND("STEADY VOLTS +01.500\r\n> "));

    (void)state;
    talk_ready(&talk);
    talk_answered(&talk, PROMPT, 1.5);
    talk_end(&talk);
}

/* Another unit of the same type has another calibration; new firmware makes no other unit. */
static void another_unit_of_the_type_is_refused(void **state)
{
    (void)state;
    TALK(PLAIN, ACCEPT, WHO, SEND(IDENTITY), HOLD, ACCEPT, WHO,
         SEND("TARNWERK,BENCH METER,2,1.4\n"), HOLD, ACCEPT, WHO,
         SEND("TARNWERK,BENCH METER,1,1.5\n"));
    talk_ready(&talk);
    dialogue_disconnect(talk.dialogue);
    peer_resume(talk.peer);
    talk.protocol.reply_ms = 300;
    talk_not_ready(&talk, TALK_PLENTY_MS, FAILURE_WRONG_IDENTITY);
    peer_resume(talk.peer);
    talk.protocol.reply_ms = TALK_REPLY_MS;
    talk_ready(&talk);
    assert_string_equal(dialogue_identity(talk.dialogue), "TARNWERK,BENCH METER,1,1.5");
    talk_end(&talk);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(another_unit_of_the_type_is_refused),
        cmocka_unit_test(nobody_there),
        cmocka_unit_test(a_suspect_link_that_broke_is_opened_again),
        cmocka_unit_test(babble_from_the_start_is_found),
        cmocka_unit_test(another_instrument_is_refused),
        cmocka_unit_test(another_plain_instrument_is_refused),
        cmocka_unit_test(silence_at_the_start_is_a_timeout),
        cmocka_unit_test(silence_at_the_start_ends_at_the_deadline),
        cmocka_unit_test(a_late_identity_is_awaited),
        cmocka_unit_test(a_later_identity_is_awaited),
        cmocka_unit_test(late_identities_come_with_their_echoes),
        cmocka_unit_test(a_reply_instead_of_the_late_identity_is_not_in_step),
        cmocka_unit_test(an_identity_the_caller_asked_for_is_awaited),
        cmocka_unit_test(a_disconnect_while_coming_in_step_fails_at_once),
        cmocka_unit_test(an_identity_too_many_is_not_in_step),
        cmocka_unit_test(clear_characters_come_first),
        cmocka_unit_test(a_greeting_is_drained),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
