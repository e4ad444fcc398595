/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Whether the other side is still there: streams, terminals, and dialogues on them. */
#include "drivers/dialogue/link_open.h"
#include "drivers/link/link.h"
#include "drivers/link/link_serial.h"
#include "tests/drivers/talk.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <netinet/in.h>
#include <pty.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>

static const double plenty_ms = 20000;

/* Both ends of a connection: a descriptor, and ours as a link. */
struct ends {
    int other;
    struct link *link;
};

static struct ends finish_ends(int listener, const char *text)
{
    struct link_spec spec;
    struct ends ends;

    assert_true(link_spec_parse(text, NULL, &spec, NULL));
    ends.link = link_open(&spec, deadline_in(plenty_ms), NULL);
    assert_non_null(ends.link);
    ends.other = accept(listener, NULL, NULL);
    assert_true(ends.other >= 0);
    close(listener);
    return ends;
}

static struct ends tcp_ends(void)
{
    struct sockaddr_in address = { .sin_family = AF_INET,
                                   .sin_addr.s_addr = htonl(INADDR_LOOPBACK) };
    socklen_t size = sizeof address;
    char text[64];
    int listener = socket(AF_INET, SOCK_STREAM, 0);

    assert_int_equal(bind(listener, (struct sockaddr *)&address, size), 0);
    assert_int_equal(listen(listener, 1), 0);
    assert_int_equal(getsockname(listener, (struct sockaddr *)&address, &size), 0);
    snprintf(text, sizeof text, "tcp:127.0.0.1:%d", ntohs(address.sin_port));
    return finish_ends(listener, text);
}

static struct ends unix_ends(void)
{
    struct sockaddr_un address = { .sun_family = AF_UNIX };
    char folder[] = "/tmp/gradus-presence-XXXXXX";
    char text[128];
    struct ends ends;
    int listener = socket(AF_UNIX, SOCK_STREAM, 0);

    assert_non_null(mkdtemp(folder));
    snprintf(address.sun_path, sizeof address.sun_path, "%s/s", folder);
    assert_int_equal(bind(listener, (struct sockaddr *)&address, sizeof address), 0);
    assert_int_equal(listen(listener, 1), 0);
    snprintf(text, sizeof text, "unix:%s", address.sun_path);
    ends = finish_ends(listener, text);
    unlink(address.sun_path);
    rmdir(folder);
    return ends;
}

static void gone(struct link *link, const char *what)
{
    struct failure failure;

    failure_clear(&failure);
    assert_false(link_present(link, &failure));
    assert_int_equal(failure.code, FAILURE_DISCONNECTED);
    assert_string_equal(failure.what, what);
}

static void there(struct link *link)
{
    struct failure failure;

    failure_clear(&failure);
    assert_true(link_present(link, &failure));
    assert_int_equal(failure.code, FAILURE_NONE);
}

/* The other side closes, or breaks the connection off. On loopback that arrives at once. */
static void leave(struct ends *ends, bool reset)
{
    const struct linger at_once = { .l_onoff = 1, .l_linger = 0 };

    if (reset)
        setsockopt(ends->other, SOL_SOCKET, SO_LINGER, &at_once, sizeof at_once);
    close(ends->other);
}

static void a_stream_is_there_until_the_other_side_closes(void **state)
{
    struct ends (*const kinds[])(void) = { tcp_ends, unix_ends };

    (void)state;
    for (size_t i = 0; i < sizeof kinds / sizeof *kinds; i++) {
        struct ends ends = kinds[i]();
        char byte;

        there(ends.link);
        there(ends.link);
        assert_int_equal(recv(ends.other, &byte, 1, MSG_DONTWAIT), -1); /* nothing was sent */
        leave(&ends, false);
        gone(ends.link, "the other side has closed the connection");
        gone(ends.link, "the other side has closed the connection");
        link_close(ends.link);
    }
}

static void bytes_that_wait_are_no_end(void **state)
{
    struct ends ends = unix_ends();
    char bytes[8];
    size_t count;
    bool end;

    (void)state;
    assert_int_equal(send(ends.other, "+5\n", 3, 0), 3);
    there(ends.link);
    leave(&ends, false);
    there(ends.link);
    assert_int_equal(
        link_read(ends.link, bytes, sizeof bytes, &count, &end, deadline_in(plenty_ms), NULL),
        LINK_BYTES);
    assert_int_equal(count, 3);
    gone(ends.link, "the other side has closed the connection");
    link_close(ends.link);
}

static void a_connection_that_was_reset_is_gone(void **state)
{
    struct ends ends = tcp_ends();

    (void)state;
    leave(&ends, true);
    gone(ends.link, "connection lost: Connection reset by peer");
    link_close(ends.link);
}

static void a_terminal_is_there_until_it_hangs_up(void **state)
{
    int instrument;
    int ours;
    int waiting = -1;
    struct link *link;

    (void)state;
    assert_int_equal(openpty(&instrument, &ours, NULL, NULL, NULL), 0);
    link = link_serial_adopt(ours, FLOW_NONE, NULL);
    assert_non_null(link);
    there(link);
    assert_int_equal(write(instrument, "1\n", 2), 2);
    there(link);
    assert_int_equal(ioctl(instrument, FIONREAD, &waiting), 0);
    assert_int_equal(waiting, 0); /* nothing was sent */
    assert_string_equal(link_note(link), "");
    close(instrument);
    gone(link, "unplugged");
    link_close(link);
}

static void a_dialogue_that_finds_it_gone_begins_anew(void **state)
{
    struct failure failure;

    (void)state;
    TALK(PLAIN, ACCEPT, WHO, SEND(IDENTITY), HOLD, CLOSE, ACCEPT, WHO, SEND(IDENTITY));
    assert_true(dialogue_present(talk.dialogue, NULL)); /* nothing is known of a closed one */
    assert_false(dialogue_connected(talk.dialogue));
    talk_ready(&talk);
    assert_true(dialogue_connected(talk.dialogue));
    peer_resume(talk.peer);
    peer_wait(talk.peer, 5);
    failure_clear(&failure);
    assert_false(dialogue_present(talk.dialogue, &failure));
    assert_int_equal(failure.code, FAILURE_DISCONNECTED);
    assert_true(failure.where[0] != '\0');
    assert_false(dialogue_connected(talk.dialogue));
    assert_false(dialogue_in_step(talk.dialogue));
    assert_string_equal(dialogue_note(talk.dialogue), "");
    talk_ready(&talk);
    assert_int_equal(dialogue_epoch(talk.dialogue), 2);
    talk_end(&talk);
}

static void connecting_says_nothing_to_the_instrument(void **state)
{
    struct failure failure;

    (void)state;
    TALK(PLAIN, ACCEPT);
    failure_clear(&failure);
    assert_true(dialogue_connect(talk.dialogue, deadline_in(plenty_ms), &failure));
    assert_true(dialogue_connect(talk.dialogue, deadline_in(plenty_ms), &failure));
    assert_int_equal(dialogue_counters(talk.dialogue)->opened, 1);
    assert_false(dialogue_in_step(talk.dialogue));
    assert_int_equal(dialogue_epoch(talk.dialogue), 0);
    talk_end(&talk);
}

/* What was opened first and brought in step later is not counted as brought in step again. */
static void connected_first_and_then_in_step(void **state)
{
    (void)state;
    TALK(PLAIN, ACCEPT, WHO, SEND(IDENTITY), WHO, SEND(IDENTITY));
    assert_true(dialogue_connect(talk.dialogue, deadline_in(plenty_ms), NULL));
    talk_ready(&talk);
    assert_int_equal(dialogue_counters(talk.dialogue)->resynchronised, 0);
    dialogue_suspect(talk.dialogue);
    talk_ready(&talk);
    assert_int_equal(dialogue_counters(talk.dialogue)->resynchronised, 1);
    talk_end(&talk);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_stream_is_there_until_the_other_side_closes),
        cmocka_unit_test(bytes_that_wait_are_no_end),
        cmocka_unit_test(a_connection_that_was_reset_is_gone),
        cmocka_unit_test(a_terminal_is_there_until_it_hangs_up),
        cmocka_unit_test(a_dialogue_that_finds_it_gone_begins_anew),
        cmocka_unit_test(connecting_says_nothing_to_the_instrument),
        cmocka_unit_test(connected_first_and_then_in_step),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
