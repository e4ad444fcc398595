/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Commands, refusals, acknowledgements, the error queue, and what the trace shows. */
#include "tests/drivers/talk.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <stdio.h>
#include <string.h>

#define UNEXPECTED   FAILURE_UNEXPECTED_REPLY
#define TIMEOUT      FAILURE_TIMEOUT
#define DISCONNECTED FAILURE_DISCONNECTED

static void bad_commands_are_not_sent(void **state)
{
    TALK(PLAIN, ACCEPT, WHO, SEND(IDENTITY), ASKED, SEND("+1.5E+0\n"));
    struct failure failure;
    double value;

    (void)state;
    assert_false(dialogue_command(talk.dialogue, ":INIT", deadline_in(TALK_PLENTY_MS), NULL));
    talk_ready(&talk);
    failure_clear(&failure);
    assert_false(dialogue_command(talk.dialogue, "A\nB", deadline_in(TALK_PLENTY_MS), &failure));
    assert_int_equal(failure.code, FAILURE_SETTINGS);
    failure_clear(&failure);
    assert_false(dialogue_query(talk.dialogue, "READ?\r", 0, talk_read_488, &value,
                                deadline_in(TALK_PLENTY_MS), &failure));
    assert_int_equal(failure.code, FAILURE_SETTINGS);
    talk_not_answered(&talk, PLAIN, 0, FAILURE_DEADLINE);
    talk_answered(&talk, PLAIN, 1.5);
    talk_end(&talk);
}

/* Where nothing tells whose refusal it is, the dialogue is suspect after one. */
static void a_refusal_is_the_instruments_error(void **state)
{
    TALK(LINE, ACCEPT, LINE_WHO, SEND(LINE_IDENTITY), LINE_ASKED, SEND("?\r\n"), LINE_WHO,
         SEND(LINE_IDENTITY), LINE_ASKED, SEND("STEADY VOLTS +01.500\r\n"));

    (void)state;
    talk_ready(&talk);
    talk_not_answered(&talk, LINE, TALK_PLENTY_MS, FAILURE_INSTRUMENT_ERROR);
    talk_ready(&talk);
    talk_answered(&talk, LINE, 1.5);
    talk_end(&talk);
}

static void a_refusal_that_is_this_querys_leaves_the_dialogue_in_step(void **state)
{
    TALK(PROMPT, ACCEPT, LINE_WHO, SEND(LINE_IDENTITY "> "), LINE_ASKED, SEND("?\r\n> "),
         LINE_ASKED, SEND("STEADY VOLTS +01.500\r\n> "));

    (void)state;
    talk_ready(&talk);
    talk_not_answered(&talk, PROMPT, TALK_PLENTY_MS, FAILURE_INSTRUMENT_ERROR);
    assert_true(dialogue_in_step(talk.dialogue));
    talk_answered(&talk, PROMPT, 1.5);
    talk_end(&talk);
}

static void acknowledgements_are_read(void **state)
{
    TALK(LINE, ACCEPT, LINE_WHO, SEND(LINE_IDENTITY), EXPECT("A\r"), SEND("OK\r\n"), EXPECT("B\r"),
         SEND("?\r\n"), EXPECT("C\r"), SEND("STEADY VOLTS +01.500\r\n"));

    (void)state;
    talk.protocol.acknowledges = true;
    talk_ready(&talk);
    assert_true(talk_command(&talk, "A", FAILURE_NONE));
    assert_false(talk_command(&talk, "B", FAILURE_INSTRUMENT_ERROR));
    assert_true(dialogue_in_step(talk.dialogue));
    assert_false(talk_command(&talk, "C", UNEXPECTED));
    assert_false(dialogue_in_step(talk.dialogue));
    talk_end(&talk);
}

static void a_late_acknowledgement_is_none(void **state)
{
    TALK(LINE, ACCEPT, LINE_WHO, SEND(LINE_IDENTITY), EXPECT("A\r"), LINE_WHO,
         SEND("OK\r\n" LINE_IDENTITY), EXPECT("B\r"), SEND("OK\r\n"));

    (void)state;
    talk.protocol.acknowledges = true;
    talk_ready(&talk);
    talk.protocol.reply_ms = TALK_SHORT_MS;
    assert_false(talk_command(&talk, "A", TIMEOUT));
    talk.protocol.reply_ms = TALK_REPLY_MS;
    assert_false(talk_command(&talk, "A", UNEXPECTED));
    talk_ready(&talk);
    assert_true(talk_command(&talk, "B", FAILURE_NONE));
    talk_end(&talk);
}

static void commands_without_reply_end_with_echo_and_prompt(void **state)
{
    TALK(PROMPT, ACCEPT, LINE_WHO, SEND(LINE_IDENTITY "> "), EXPECT("A\r"), SEND("> "),
         EXPECT("B\r"), SEND("STEADY VOLTS +01.500\r\n> "));

    (void)state;
    talk_ready(&talk);
    assert_true(talk_command(&talk, "A", FAILURE_NONE));
    assert_false(talk_command(&talk, "B", UNEXPECTED));
    talk_end(&talk);
}

#define ERRORS EXPECT(":SYST:ERR?\n")

static void the_error_queue_is_emptied(void **state)
{
    TALK(PLAIN, ACCEPT, WHO, SEND(IDENTITY), ERRORS, SEND("0,\"No error\"\n"), ERRORS,
         SEND("-113,\"Undefined header\"\n"), ERRORS, SEND("-222,\"Data out of range\"\n"), ERRORS,
         SEND("+0,\"No error\"\n"), ERRORS, SEND("NORM\n"));
    struct failure failure;

    (void)state;
    talk_ready(&talk);
    assert_true(dialogue_check_errors(talk.dialogue, deadline_in(TALK_PLENTY_MS), NULL));
    failure_clear(&failure);
    assert_false(dialogue_check_errors(talk.dialogue, deadline_in(TALK_PLENTY_MS), &failure));
    assert_int_equal(failure.code, FAILURE_INSTRUMENT_ERROR);
    assert_non_null(strstr(failure.what, "-113"));
    assert_true(dialogue_in_step(talk.dialogue));
    failure_clear(&failure);
    assert_false(dialogue_check_errors(talk.dialogue, deadline_in(TALK_PLENTY_MS), &failure));
    assert_int_equal(failure.code, UNEXPECTED);
    assert_false(dialogue_in_step(talk.dialogue));
    talk_end(&talk);
}

/* Notes each exchange as "command=reply " or "command!reason ". */
static void note(void *context, const char *sent, const struct reply *reply, double ms,
                 const struct failure *failure)
{
    char *log = context;
    size_t used = strlen(log);

    assert_true(ms >= 0);
    if (failure)
        snprintf(log + used, 400 - used, "%s!%s ", sent, failure_reason(failure->code));
    else
        snprintf(log + used, 400 - used, "%s=%s ", sent, reply ? reply->bytes : "");
}

static void the_trace_shows_every_exchange(void **state)
{
    TALK(PLAIN, ACCEPT, WHO, SEND(IDENTITY), EXPECT("*CLS\n"), ASKED, SEND("+1.5E+0\n"), ASKED,
         SEND("BUSY\n"));
    char log[400] = "";

    (void)state;
    dialogue_trace(talk.dialogue, note, log);
    talk_ready(&talk);
    assert_true(talk_command(&talk, "*CLS", FAILURE_NONE));
    talk_answered(&talk, PLAIN, 1.5);
    talk_not_answered(&talk, PLAIN, TALK_PLENTY_MS, UNEXPECTED);
    talk_not_answered(&talk, PLAIN, TALK_PLENTY_MS, UNEXPECTED);
    assert_string_equal(log, "*IDN?=TARNWERK,BENCH METER,1,1.4 *CLS= READ?=+1.5E+0 "
                             "READ?!unexpected reply ");
    dialogue_trace(talk.dialogue, NULL, NULL);
    talk_end(&talk);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(bad_commands_are_not_sent),
        cmocka_unit_test(a_refusal_is_the_instruments_error),
        cmocka_unit_test(a_refusal_that_is_this_querys_leaves_the_dialogue_in_step),
        cmocka_unit_test(acknowledgements_are_read),
        cmocka_unit_test(a_late_acknowledgement_is_none),
        cmocka_unit_test(commands_without_reply_end_with_echo_and_prompt),
        cmocka_unit_test(the_error_queue_is_emptied),
        cmocka_unit_test(the_trace_shows_every_exchange),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
