/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Workers that are called off amid a record, and records that nobody wants; own derivation. */
#include "tools/standin/link/record.h"
#include "tools/standin/link/worker.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>
#include <sys/socket.h>
#include <unistd.h>

#include <cmocka.h>

/* A worker that takes records from a stream and echoes their bytes. */
struct echo {
    struct worker *worker;
    struct record record;
    int stream;
};

static void echo(void *argument)
{
    struct echo *echo = argument;

    if (!record_fill(&echo->record, echo->worker, echo->stream)) {
        worker_rest(echo->worker);
        return;
    }
    worker_write_all(echo->worker, echo->stream, echo->record.bytes, echo->record.count);
    record_clear(&echo->record);
}

static void send_record(int fd, const char *text, uint32_t command)
{
    struct mark mark = { .count = (uint32_t)strlen(text), .command = command, .end = 1 };
    uint8_t bytes[64];

    memcpy(bytes, &mark, sizeof mark);
    memcpy(bytes + sizeof mark, text, mark.count);
    size_t whole = sizeof mark + mark.count;
    assert_int_equal(write(fd, bytes, whole), whole);
}

static void expect(int fd, const char *text)
{
    char bytes[64];

    assert_int_equal(recv(fd, bytes, strlen(text), MSG_WAITALL), strlen(text));
    assert_memory_equal(bytes, text, strlen(text));
}

/* Makes the worker of an echo on one end of `pair`; it does not run yet. */
static void echo_begin(struct echo *own, int pair[2])
{
    assert_int_equal(socketpair(AF_UNIX, SOCK_STREAM, 0, pair), 0);
    own->stream = pair[1];
    own->worker = worker_new(echo, own);
}

static void echo_end(struct echo *own, const int pair[2])
{
    worker_free(own->worker);
    close(pair[0]);
    close(pair[1]);
}

static void a_worker_parks_amid_a_read_and_goes_on(void **state)
{
    int pair[2];
    struct mark mark = { .count = 5, .command = 1, .end = 1 };
    struct echo own = { 0 };

    (void)state;
    echo_begin(&own, pair);
    worker_run(own.worker);
    send_record(pair[0], "first", 1);
    expect(pair[0], "first");
    for (size_t cut = 1; cut < sizeof mark + 5; cut++) {
        uint8_t bytes[sizeof mark + 5];

        memcpy(bytes, &mark, sizeof mark);
        memcpy(bytes + sizeof mark, "again", 5);
        assert_int_equal(write(pair[0], bytes, cut), cut);
        worker_park(own.worker);
        worker_run(own.worker);
        assert_int_equal(write(pair[0], bytes + cut, sizeof bytes - cut), sizeof bytes - cut);
        expect(pair[0], "again");
    }
    worker_park(own.worker);
    send_record(pair[0], "wait", 1);
    assert_true(record_waits(&own.record, own.stream));
    worker_run(own.worker);
    expect(pair[0], "wait");
    echo_end(&own, pair);
}

static void a_dropped_record_is_not_handed_on(void **state)
{
    int pair[2];
    struct echo own = { 0 };

    (void)state;
    echo_begin(&own, pair);
    own.record.dropped = true;
    send_record(pair[0], "stale", 1);
    send_record(pair[0], "fresh", 1);
    worker_run(own.worker);
    expect(pair[0], "fresh");
    echo_end(&own, pair);
}

static void answers_to_commands_of_the_past_are_void(void **state)
{
    int pair[2];
    struct echo own = { .record = { .void_to = 2 } };

    (void)state;
    echo_begin(&own, pair);
    send_record(pair[0], "two", 2);
    send_record(pair[0], "stray", MARK_STRAY);
    send_record(pair[0], "one", 1);
    send_record(pair[0], "three", 3);
    worker_run(own.worker);
    expect(pair[0], "straythree");
    echo_end(&own, pair);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_worker_parks_amid_a_read_and_goes_on),
        cmocka_unit_test(a_dropped_record_is_not_handed_on),
        cmocka_unit_test(answers_to_commands_of_the_past_are_void),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
