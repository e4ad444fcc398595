/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Queries to a scripted instrument: every fault as a row, and after each of
 * them the next query must have its own answer or none.
 */
#include "drivers/dialogue/response.h"
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

static bool read_block(const struct reply *reply, void *out, struct failure *failure)
{
    struct element element;
    size_t n;

    if (!response_parse(reply->bytes, reply->count, &element, 1, &n, failure))
        return false;
    *(double *)out = (double)element.count;
    return element.type == ELEMENT_BLOCK;
}

/* What each kind of instrument does at the start and at the end of a row. */
static const struct step openings[VARIANTS][4] = {
    [PLAIN] = { ACCEPT, EXPECT("*IDN?\n"), SEND(IDENTITY) },
    [LINE] = { ACCEPT, EXPECT("WHO\r"), SEND(LINE_IDENTITY) },
    [ECHO] = { ACCEPT, EXPECT("WHO\r"), SEND("WHO\r" LINE_IDENTITY) },
    [PROMPT] = { ACCEPT, EXPECT("WHO\r"), SEND(LINE_IDENTITY "> ") },
};

static const struct step endings[VARIANTS][3] = {
    [PLAIN] = { EXPECT("READ?\n"), SEND("+8.5E+0\n") },
    [LINE] = { EXPECT("LOOK\r"), SEND("STEADY VOLTS +08.500\r\n") },
    [ECHO] = { EXPECT("LOOK\r"), SEND("LOOK\rSTEADY VOLTS +08.500\r\n") },
    [PROMPT] = { EXPECT("LOOK\r"), SEND("STEADY VOLTS +08.500\r\n> ") },
};

/* One fault: what the instrument does from the query on, until it is in step again. */
struct row {
    const char *name;
    enum variant variant;
    enum failure_code code;
    double reply_ms;    /* of this query; 0: as ever */
    double deadline_ms; /* of this query; 0: plenty */
    struct step steps[6];
};

/* The rest of a row's arguments are the instrument's steps. */
#define ROW(name, variant, code, reply_ms, deadline_ms, ...)                                       \
    {                                                                                              \
        name, variant, code, reply_ms, deadline_ms,                                                \
        {                                                                                          \
            __VA_ARGS__                                                                            \
        }                                                                                          \
    }

static const struct row rows[] = {
    ROW("no reply", PLAIN, TIMEOUT, 30, 0, ASKED, WHO, SEND(IDENTITY)),
    ROW("no reply before the deadline", PLAIN, FAILURE_DEADLINE, 0, 500, ASKED, WHO,
        SEND(IDENTITY)),
    ROW("late reply", PLAIN, TIMEOUT, 30, 0, ASKED, WHO, SEND("+1.5E+0\n" IDENTITY)),
    ROW("two late replies", PLAIN, TIMEOUT, 30, 0, ASKED, WHO, SEND("+1.5E+0\n+2.5E+0\n" IDENTITY)),
    ROW("late block of lines", PLAIN, TIMEOUT, 30, 0, ASKED, WHO, SEND("#15a\nb\nc\n" IDENTITY)),
    ROW("late reply behind the identity", PLAIN, TIMEOUT, 30, 0, ASKED, WHO,
        SEND(IDENTITY "+1.5E+0\n"), WHO, SEND(IDENTITY)),
    ROW("identity damaged", PLAIN, TIMEOUT, 30, 0, ASKED, WHO,
        SEND("TARNWERK,BENCH METER,\xb1,1.4\n" IDENTITY)),
    ROW("half a reply, then silence", PLAIN, TIMEOUT, 30, 0, ASKED, SEND("+1.5"), WHO,
        SEND(IDENTITY)),
    ROW("half a reply, the rest late", PLAIN, TIMEOUT, 30, 0, ASKED, SEND("+1.5"), WHO,
        SEND("E+0\n" IDENTITY)),
    ROW("half a block, the rest late", PLAIN, TIMEOUT, 30, 0, ASKED, SEND("#210+1\n+2"), WHO,
        SEND("\n+3\n+\n" IDENTITY)),
    ROW("string never closed", PLAIN, TIMEOUT, 30, 0, ASKED, SEND("\"+1.5E+0\n"), WHO,
        SEND(IDENTITY)),
    ROW("two replies joined", PLAIN, UNEXPECTED, 0, 0, ASKED, SEND("+1.5E+0\n+2.5E+0\n"), WHO,
        SEND(IDENTITY)),
    ROW("reply twice", PLAIN, UNEXPECTED, 0, 0, ASKED, SEND("+1.5E+0\n+1.5E+0\n"), WHO,
        SEND(IDENTITY)),
    ROW("two replies in one message", PLAIN, UNEXPECTED, 0, 0, ASKED, SEND("+1.5E+0;+2.5E+0\n"),
        WHO, SEND(IDENTITY)),
    ROW("reply and the head of another", PLAIN, UNEXPECTED, 0, 0, ASKED, SEND("+1.5E+0\n+2"), WHO,
        SEND(".5E+0\n" IDENTITY)),
    ROW("garbage before", PLAIN, UNEXPECTED, 0, 0, ASKED, SEND("\xff\xfe+1.5E+0\n"), WHO,
        SEND(IDENTITY)),
    ROW("printable garbage before", PLAIN, UNEXPECTED, 0, 0, ASKED, SEND("~}+1.5E+0\n"), WHO,
        SEND(IDENTITY)),
    ROW("NUL inside", PLAIN, UNEXPECTED, 0, 0, ASKED,
        SEND("+1.\0"
             "5E+0\n"),
        WHO, SEND(IDENTITY)),
    ROW("byte above 7E inside", PLAIN, UNEXPECTED, 0, 0, ASKED,
        SEND("+1.\xb5"
             "E+0\n"),
        WHO, SEND(IDENTITY)),
    ROW("CR inside", PLAIN, UNEXPECTED, 0, 0, ASKED, SEND("+1.5\r0E+0\n"), WHO, SEND(IDENTITY)),
    ROW("indefinite block", PLAIN, UNEXPECTED, 0, 0, ASKED, SEND("#0+1.5E+0\n"), WHO,
        SEND(IDENTITY)),
    ROW("empty reply", PLAIN, UNEXPECTED, 0, 0, ASKED, SEND("\n"), WHO, SEND(IDENTITY)),
    ROW("word instead of a number", PLAIN, UNEXPECTED, 0, 0, ASKED, SEND("BUSY\n"), WHO,
        SEND(IDENTITY)),
    ROW("block longer than the limit", PLAIN, UNEXPECTED, 0, 0, ASKED, SEND("#9999999999"), WHO,
        SEND(IDENTITY)),
    ROW("identity instead of the reply", PLAIN, UNEXPECTED, 0, 0, ASKED, SEND(IDENTITY), WHO,
        SEND(IDENTITY)),
    ROW("disconnect during a reply", PLAIN, DISCONNECTED, 0, 0, ASKED, SEND("+1.5"), CLOSE, ACCEPT,
        WHO, SEND(IDENTITY)),
    ROW("disconnect before a reply", PLAIN, DISCONNECTED, 0, 0, ASKED, CLOSE, ACCEPT, WHO,
        SEND(IDENTITY)),
    ROW("disconnect in a block", PLAIN, DISCONNECTED, 0, 0, ASKED, SEND("#3100abc"), CLOSE, ACCEPT,
        WHO, SEND(IDENTITY)),
    ROW("reply without its first byte", LINE, UNEXPECTED, 0, 0, LINE_ASKED,
        SEND("TEADY VOLTS +01.500\r\n"), LINE_WHO, SEND(LINE_IDENTITY)),
    ROW("reply without its last byte", LINE, UNEXPECTED, 0, 0, LINE_ASKED,
        SEND("STEADY VOLTS +01.500\n"), LINE_WHO, SEND(LINE_IDENTITY)),
    ROW("late line", LINE, TIMEOUT, 30, 0, LINE_ASKED, LINE_WHO,
        SEND("STEADY VOLTS +01.500\r\n" LINE_IDENTITY)),
    ROW("byte above 7E in a line", LINE, UNEXPECTED, 0, 0, LINE_ASKED,
        SEND("STEADY VOLTS +01.5\xb0\r\n"), LINE_WHO, SEND(LINE_IDENTITY)),
    ROW("echo garbled", ECHO, UNEXPECTED, 0, 0, LINE_ASKED, SEND("look\rSTEADY VOLTS +01.500\r\n"),
        LINE_WHO, SEND("WHO\r" LINE_IDENTITY)),
    ROW("no echo", ECHO, UNEXPECTED, 0, 0, LINE_ASKED, SEND("STEADY VOLTS +01.500\r\n"), LINE_WHO,
        SEND("WHO\r" LINE_IDENTITY)),
    ROW("echo of another command", ECHO, UNEXPECTED, 0, 0, LINE_ASKED,
        SEND("LOOK1\rSTEADY VOLTS +01.500\r\n"), LINE_WHO, SEND("WHO\r" LINE_IDENTITY)),
    ROW("echo alone", ECHO, TIMEOUT, 30, 0, LINE_ASKED, SEND("LOOK\r"), LINE_WHO,
        SEND("STEADY VOLTS +01.500\r\nWHO\r" LINE_IDENTITY)),
    ROW("late echoes", ECHO, TIMEOUT, 30, 0, LINE_ASKED, LINE_WHO,
        SEND("LOOK\rSTEADY VOLTS +01.500\r\nWHO\r" LINE_IDENTITY)),
    ROW("prompt missing", PROMPT, TIMEOUT, 30, 0, LINE_ASKED, SEND("STEADY VOLTS +01.500\r\n"),
        LINE_WHO, SEND("> " LINE_IDENTITY "> ")),
    ROW("prompt garbled", PROMPT, UNEXPECTED, 0, 0, LINE_ASKED, SEND("STEADY VOLTS +01.500\r\n>>"),
        LINE_WHO, SEND(LINE_IDENTITY "> ")),
    ROW("reply behind the prompt", PROMPT, UNEXPECTED, 0, 0, LINE_ASKED,
        SEND("STEADY VOLTS +01.500\r\n> STEADY VOLTS +02.500\r\n> "), LINE_WHO,
        SEND(LINE_IDENTITY "> ")),
};

static void play_row(const struct row *row)
{
    struct talk talk = { .count = 0 };
    unsigned epoch;

    print_message("  %s\n", row->name);
    talk_add(&talk, openings[row->variant], 4);
    talk_add(&talk, row->steps, 6);
    talk_add(&talk, endings[row->variant], 3);
    talk_start(&talk, row->variant);
    talk_ready(&talk);
    epoch = dialogue_epoch(talk.dialogue);
    if (row->reply_ms > 0)
        talk.protocol.reply_ms = row->reply_ms;
    talk_not_answered(&talk, row->variant, row->deadline_ms > 0 ? row->deadline_ms : TALK_PLENTY_MS,
                      row->code);
    assert_false(dialogue_in_step(talk.dialogue));
    talk.protocol.reply_ms = TALK_REPLY_MS;
    /* A suspect dialogue asks nothing: the script would notice. */
    talk_not_answered(&talk, row->variant, TALK_PLENTY_MS, UNEXPECTED);
    talk_ready(&talk);
    assert_int_equal(dialogue_epoch(talk.dialogue), epoch + 1);
    talk_answered(&talk, row->variant, 8.5);
    talk_end(&talk);
}

static void no_fault_is_taken_for_an_answer(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++)
        play_row(&rows[i]);
}

static void single_bytes_make_a_reply(void **state)
{
    TALK(PLAIN, ACCEPT, WHO, DRIP(IDENTITY), ASKED, DRIP("+1.5E+0\r\n"));

    (void)state;
    talk_ready(&talk);
    talk_answered(&talk, PLAIN, 1.5);
    talk_end(&talk);
}

static void echo_and_prompt_belong_to_the_exchange(void **state)
{
    for (enum variant variant = PLAIN; variant < VARIANTS; variant++) {
        struct talk talk = { .count = 0 };

        (void)state;
        talk_add(&talk, openings[variant], 4);
        talk_add(&talk, endings[variant], 3);
        talk_add(&talk, endings[variant], 3);
        talk_start(&talk, variant);
        talk_ready(&talk);
        talk_answered(&talk, variant, 8.5);
        talk_answered(&talk, variant, 8.5);
        assert_int_equal(dialogue_counters(talk.dialogue)->queries, 2);
        assert_int_equal(dialogue_counters(talk.dialogue)->opened, 1);
        assert_int_equal(dialogue_counters(talk.dialogue)->resynchronised, 0);
        assert_int_equal(dialogue_epoch(talk.dialogue), 1);
        talk_end(&talk);
    }
}

/* A reply that comes between two queries: the second must not even be sent. */
static void bytes_waiting_stop_a_query(void **state)
{
    TALK(PLAIN, ACCEPT, WHO, SEND(IDENTITY), ASKED, SEND("+1.5E+0\n"), HOLD, SEND("+2.5E+0\n"), WHO,
         SEND(IDENTITY), ASKED, SEND("+3.5E+0\n"));

    (void)state;
    talk_ready(&talk);
    talk_answered(&talk, PLAIN, 1.5);
    peer_resume(talk.peer);
    peer_wait(talk.peer, 7);
    talk_not_answered(&talk, PLAIN, TALK_PLENTY_MS, UNEXPECTED);
    talk_ready(&talk);
    talk_answered(&talk, PLAIN, 3.5);
    talk_end(&talk);
}

static void a_disconnect_while_idle_is_noticed_before_asking(void **state)
{
    TALK(PLAIN, ACCEPT, WHO, SEND(IDENTITY), HOLD, CLOSE, ACCEPT, WHO, SEND(IDENTITY), ASKED,
         SEND("+1.5E+0\n"));

    (void)state;
    talk_ready(&talk);
    peer_resume(talk.peer);
    peer_wait(talk.peer, 5);
    talk_not_answered(&talk, PLAIN, TALK_PLENTY_MS, DISCONNECTED);
    talk_ready(&talk);
    assert_int_equal(dialogue_counters(talk.dialogue)->opened, 2);
    talk_answered(&talk, PLAIN, 1.5);
    talk_end(&talk);
}

static void babble_is_bounded_and_closes_the_link(void **state)
{
    TALK(PLAIN, ACCEPT, WHO, SEND(IDENTITY), ASKED, BABBLE("1,2,3,4,5,6,7,8,9,"), ACCEPT, WHO,
         SEND(IDENTITY), ASKED, SEND("+1.5E+0\n"));

    (void)state;
    talk_ready(&talk);
    talk_not_answered(&talk, PLAIN, TALK_PLENTY_MS, FAILURE_BABBLE);
    talk_not_ready(&talk, TALK_PLENTY_MS, FAILURE_BABBLE);
    talk_ready(&talk);
    talk_answered(&talk, PLAIN, 1.5);
    talk_end(&talk);
}

static void a_failure_already_there_stays(void **state)
{
    TALK(PLAIN, ACCEPT, WHO, SEND(IDENTITY), ASKED, SEND("BUSY\n"));
    struct failure failure;
    double value;

    (void)state;
    talk_ready(&talk);
    failure_clear(&failure);
    failure_set(&failure, FAILURE_STOPPING, NULL, NULL, "first");
    assert_false(dialogue_query(talk.dialogue, "READ?", 0, talk_read_488, &value,
                                deadline_in(TALK_PLENTY_MS), &failure));
    assert_int_equal(failure.code, FAILURE_STOPPING);
    talk_end(&talk);
}

#define ERRORS EXPECT(":SYST:ERR?\n")

static void a_large_block_comes_whole(void **state)
{
    enum { SIZE = 150000, HEAD = 8 };
    static char block[HEAD + SIZE + 1] = "#6150000";
    const struct step script[] = { ACCEPT,
                                   WHO,
                                   SEND(IDENTITY),
                                   ASKED,
                                   { STEP_SEND, block, sizeof block },
                                   { STEP_END, NULL, 0 } };
    struct talk talk = { .count = 0 };
    double count = 0;

    (void)state;
    memset(block + HEAD, '\n', SIZE + 1);
    talk_add(&talk, script, TALK_STEPS);
    talk_start(&talk, PLAIN);
    talk_ready(&talk);
    assert_true(dialogue_query(talk.dialogue, "READ?", 0, read_block, &count,
                               deadline_in(TALK_PLENTY_MS), NULL));
    assert_true(count == SIZE);
    talk_end(&talk);
}

/* Asks for a reading together with a closing query. */
static bool read_closed(struct talk *talk, double *value, struct failure *failure)
{
    snprintf(talk->protocol.closing_query, sizeof talk->protocol.closing_query, ";*OPC?");
    snprintf(talk->protocol.closing_reply, sizeof talk->protocol.closing_reply, ";1");
    return dialogue_read(talk->dialogue, "READ?", 0, talk_read_488, value,
                         deadline_in(TALK_PLENTY_MS), failure);
}

static void a_reading_with_its_closing_answer_is_taken(void **state)
{
    (void)state;
    TALK(PLAIN, ACCEPT, WHO, SEND(IDENTITY), EXPECT("READ?;*OPC?;*OPC?\n"), SEND("+1.5E+0;1;1\n"));
    double value = 0;
    struct failure failure = { 0 };
    talk_ready(&talk);
    assert_true(read_closed(&talk, &value, &failure));
    assert_true(value == 1.5);
    assert_true(dialogue_confirm(talk.dialogue, deadline_in(TALK_PLENTY_MS), &failure));
    talk_end(&talk);
}

/* A number that somebody sent unasked, between the look and the answer. */
static void a_number_without_its_closing_answer_is_refused(void **state)
{
    (void)state;
    TALK(PLAIN, ACCEPT, WHO, SEND(IDENTITY), EXPECT("READ?;*OPC?;*OPC?\n"), SEND("+1.0E+0\n"));
    double value = 0;
    struct failure failure = { 0 };
    talk_ready(&talk);
    assert_false(read_closed(&talk, &value, &failure));
    assert_int_equal(failure.code, UNEXPECTED);
    assert_true(value == 0);
    assert_false(dialogue_in_step(talk.dialogue));
    talk_end(&talk);
}

/* On a slow line the first answer comes a second time, when the next question is out already. */
static void an_answer_that_comes_again_is_no_answer_to_the_next_question(void **state)
{
    (void)state;
    TALK(PLAIN, ACCEPT, WHO, SEND(IDENTITY), EXPECT("READ?;*OPC?;*OPC?\n"), SEND("+1.0E+0;1;1\n"),
         EXPECT("READ?;*OPC?\n"), SEND("+1.0E+0;1;1\n"), SEND("+2.0E+0;1\n"));
    double value = 0;
    struct failure failure = { 0 };
    talk_ready(&talk);
    assert_true(read_closed(&talk, &value, &failure));
    value = 0;
    assert_false(read_closed(&talk, &value, &failure));
    assert_int_equal(failure.code, UNEXPECTED);
    assert_true(value == 0);
    assert_false(dialogue_in_step(talk.dialogue));
    talk_end(&talk);
}

/* The other way round: what was closed once does not answer what is closed twice. */
static void an_answer_closed_once_is_not_taken_for_one_closed_twice(void **state)
{
    (void)state;
    TALK(PLAIN, ACCEPT, WHO, SEND(IDENTITY), EXPECT("READ?;*OPC?;*OPC?\n"), SEND("+1.0E+0;1;1\n"),
         EXPECT("READ?;*OPC?\n"), SEND("+2.0E+0;1\n"), EXPECT("READ?;*OPC?;*OPC?\n"),
         SEND("+2.0E+0;1\n"));
    double value = 0;
    struct failure failure = { 0 };
    talk_ready(&talk);
    assert_true(read_closed(&talk, &value, &failure) && value == 1.0);
    assert_true(read_closed(&talk, &value, &failure) && value == 2.0);
    assert_false(read_closed(&talk, &value, &failure));
    assert_int_equal(failure.code, UNEXPECTED);
    assert_false(dialogue_in_step(talk.dialogue));
    talk_end(&talk);
}

/* Where there is no closing query, the identity behind the reading proves it. */
static void babble_does_not_confirm_a_reading(void **state)
{
    (void)state;
    TALK(PLAIN, ACCEPT, WHO, SEND(IDENTITY), ASKED, SEND("+1.0E+0\n"), WHO, SEND("+1.0E+0\n"));
    double value = 0;
    struct failure failure = { 0 };
    talk_ready(&talk);
    assert_true(dialogue_read(talk.dialogue, "READ?", 0, talk_read_488, &value,
                              deadline_in(TALK_PLENTY_MS), &failure));
    assert_false(dialogue_confirm(talk.dialogue, deadline_in(TALK_PLENTY_MS), &failure));
    assert_int_equal(failure.code, UNEXPECTED);
    talk_end(&talk);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(no_fault_is_taken_for_an_answer),
        cmocka_unit_test(bytes_waiting_stop_a_query),
        cmocka_unit_test(a_disconnect_while_idle_is_noticed_before_asking),
        cmocka_unit_test(babble_is_bounded_and_closes_the_link),
        cmocka_unit_test(a_failure_already_there_stays),
        cmocka_unit_test(single_bytes_make_a_reply),
        cmocka_unit_test(echo_and_prompt_belong_to_the_exchange),
        cmocka_unit_test(a_large_block_comes_whole),
        cmocka_unit_test(a_reading_with_its_closing_answer_is_taken),
        cmocka_unit_test(a_number_without_its_closing_answer_is_refused),
        cmocka_unit_test(an_answer_that_comes_again_is_no_answer_to_the_next_question),
        cmocka_unit_test(an_answer_closed_once_is_not_taken_for_one_closed_twice),
        cmocka_unit_test(babble_does_not_confirm_a_reading),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
