/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Questions that are closed with a number: no other answer fits. */
#include "tests/drivers/talk.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <stdio.h>
#include <string.h>

static void number_it(struct talk *talk)
{
    snprintf(talk->protocol.closing_query, sizeof talk->protocol.closing_query,
             ";*ESE {number};*ESE?");
    snprintf(talk->protocol.closing_reply, sizeof talk->protocol.closing_reply, ";{number}");
    talk_ready(talk);
}

static bool ask(struct talk *talk, double *value, struct failure *failure)
{
    failure_clear(failure);
    return dialogue_ask(talk->dialogue, "READ?", 0, talk_read_488, value,
                        deadline_in(TALK_PLENTY_MS), failure);
}

#define NUMBERED(n) EXPECT("READ?;*ESE " n ";*ESE?\n")

static void each_question_has_a_number_of_its_own(void **state)
{
    (void)state;
    TALK(PLAIN, ACCEPT, WHO, SEND(IDENTITY), NUMBERED("1"), SEND("+1.5E+0;1\n"), NUMBERED("2"),
         SEND("+2.5E+0;2\n"), EXPECT(":SYST:ERR?;*ESE 3;*ESE?\n"), SEND("0,\"No error\";3\n"));
    double value = 0;
    struct failure failure;
    number_it(&talk);
    assert_true(ask(&talk, &value, &failure) && value == 1.5);
    assert_true(ask(&talk, &value, &failure) && value == 2.5);
    assert_true(dialogue_check_errors(talk.dialogue, deadline_in(TALK_PLENTY_MS), &failure));
    talk_end(&talk);
}

/* IEEE 488.2, 8.7.2: a whole number may have a plus sign and zeros before it. */
static void the_number_may_have_a_sign_and_zeros(void **state)
{
    (void)state;
    TALK(PLAIN, ACCEPT, WHO, SEND(IDENTITY), NUMBERED("1"), SEND("+1.5E+0;+1\n"), NUMBERED("2"),
         SEND("+2.5E+0;+002\n"));
    double value = 0;
    struct failure failure;
    number_it(&talk);
    assert_true(ask(&talk, &value, &failure) && value == 1.5);
    assert_true(ask(&talk, &value, &failure) && value == 2.5);
    talk_end(&talk);
}

/* Answers to earlier questions, answers cut or joined, and one with another number in its end. */
static void no_other_answer_fits(void **state)
{
    static const char *const others[] = { "+9.0E+0;1\n",   "+9.0E+0;12\n",   "+9.0E+0\n",
                                          "2\n",           "+9.0E+0;1;2;\n", "+9.0E+0;22\n",
                                          ";2\n",          "+9.0E+0;-2\n",   "+9.0E+0;7;2\n",
                                          "+9.0E+0;102\n", "+9.0E+0;++2\n",  "+9.0E+002\n" };
    (void)state;
    for (size_t i = 0; i < sizeof others / sizeof *others; i++) {
        const struct step script[] = { ACCEPT,
                                       WHO,
                                       SEND(IDENTITY),
                                       NUMBERED("1"),
                                       SEND("+1.5E+0;1\n"),
                                       NUMBERED("2"),
                                       { STEP_SEND, others[i], strlen(others[i]) },
                                       WHO,
                                       SEND(IDENTITY),
                                       NUMBERED("3"),
                                       SEND("+3.5E+0;3\n"),
                                       { STEP_END, NULL, 0 } };
        struct talk talk = { .count = 0 };
        double value = 0;
        struct failure failure;
        talk_add(&talk, script, TALK_STEPS);
        talk_start(&talk, PLAIN);
        number_it(&talk);
        assert_true(ask(&talk, &value, &failure));
        assert_false(ask(&talk, &value, &failure));
        assert_int_equal(failure.code, FAILURE_UNEXPECTED_REPLY);
        assert_true(value == 1.5);
        assert_false(dialogue_in_step(talk.dialogue));
        talk_ready(&talk);
        assert_true(ask(&talk, &value, &failure) && value == 3.5);
        talk_end(&talk);
    }
}

/* Without a number the form of an error entry is all there is: a reading and a record are none. */
static void only_an_error_entry_is_one(void **state)
{
    static const struct {
        const char *reply;
        enum failure_code code;
    } rows[] = {
        { "0,\"No error\"\n", FAILURE_NONE },
        { "0,0,0,0\n", FAILURE_UNEXPECTED_REPLY },
        { "-113,\"Undefined header\"\n", FAILURE_INSTRUMENT_ERROR },
        { "-113\n", FAILURE_INSTRUMENT_ERROR },
        { "+5.013000E+00\n", FAILURE_UNEXPECTED_REPLY },
        { "0,-1,2\n", FAILURE_UNEXPECTED_REPLY },
        { "70000,\"No\"\n", FAILURE_UNEXPECTED_REPLY },
        { "\"VOLT\"\n", FAILURE_UNEXPECTED_REPLY },
        { "(@3)\n", FAILURE_UNEXPECTED_REPLY },
    };
    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        const struct step script[] = { ACCEPT,
                                       WHO,
                                       SEND(IDENTITY),
                                       EXPECT(":SYST:ERR?\n"),
                                       { STEP_SEND, rows[i].reply, strlen(rows[i].reply) },
                                       EXPECT(":SYST:ERR?\n"),
                                       SEND("0,\"No error\"\n"),
                                       { STEP_END, NULL, 0 } };
        struct talk talk = { .count = 0 };
        struct failure failure = { 0 };
        bool more = rows[i].code == FAILURE_INSTRUMENT_ERROR;
        talk_add(&talk, script, more ? 7 : 5);
        talk_start(&talk, PLAIN);
        strcpy(talk.protocol.error_query, ":SYST:ERR?");
        regfree(&talk.protocol.error_none);
        assert_int_equal(regcomp(&talk.protocol.error_none, "^[+]?0,", REG_EXTENDED), 0);
        talk_ready(&talk);
        dialogue_check_errors(talk.dialogue, deadline_in(TALK_PLENTY_MS), &failure);
        assert_string_equal(failure_reason(failure.code), failure_reason(rows[i].code));
        talk_end(&talk);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(each_question_has_a_number_of_its_own),
        cmocka_unit_test(the_number_may_have_a_sign_and_zeros),
        cmocka_unit_test(no_other_answer_fits),
        cmocka_unit_test(only_an_error_entry_is_one),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
