/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Lines and back-pressure over a loopback socket. Server and client run in
 * one thread: the loop goes on until what a test waits for has happened, and
 * an alarm ends a test that would wait for ever.
 */
#include "daemon/server/listen.h"
#include "daemon/server/server.h"

#include <arpa/inet.h>
#include <errno.h>
#include <event2/event.h>
#include <fcntl.h>
#include <netinet/tcp.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/un.h>
#include <unistd.h>

#include <cmocka.h>

enum { LINE_LIMIT = 1000, MOST_CLIENTS = 2, PATIENCE_S = 60 };

static const char long_answer[] = "too long";
static const char stranger[] = "a line that no client sends";

/* The server's owner as the tests play it: it answers each line with `answer`. */
struct owner {
    struct event_base *base;
    struct server *server;
    int port;
    struct client *newest;  /* the last that came */
    struct client *waiting; /* the one that an answer is to come for */
    size_t opened;
    size_t closed;
    size_t lines;
    size_t too_long;
    char last[LINE_LIMIT + 1]; /* the last line */
    char *answer;              /* NULL: none */
};

static void *on_opened(void *context, struct client *client)
{
    struct owner *owner = context;
    owner->newest = client;
    owner->opened++;
    return client;
}

static bool on_line(void *context, void *user, const char *line, size_t length)
{
    struct owner *owner = context;
    assert_true(length <= LINE_LIMIT);
    memcpy(owner->last, line, length);
    owner->last[length] = '\0';
    owner->lines++;
    if (owner->answer != NULL)
        server_send(user, owner->answer, strlen(owner->answer));
    return strcmp(owner->last, stranger) != 0;
}

static void on_too_long(void *context, void *user)
{
    struct owner *owner = context;
    owner->too_long++;
    server_send(user, long_answer, sizeof long_answer - 1);
}

static const char *on_too_many(void *context)
{
    (void)context;
    return "too many\n";
}

static const char *on_displaced(void *context)
{
    (void)context;
    return "displaced\n";
}

static enum client_claim on_claim(void *context, void *user)
{
    const struct owner *owner = context;
    return user == owner->waiting ? CLIENT_WAITS : CLIENT_IDLE;
}

static void on_closed(void *context, void *user)
{
    struct owner *owner = context;
    (void)user;
    owner->closed++;
}

static const struct server_handlers handlers = { .opened = on_opened,
                                                 .line = on_line,
                                                 .too_long = on_too_long,
                                                 .too_many = on_too_many,
                                                 .displaced = on_displaced,
                                                 .closed = on_closed,
                                                 .claim = on_claim };

static int setup(void **state)
{
    struct owner *owner = calloc(1, sizeof *owner);
    assert_non_null(owner);
    owner->base = event_base_new();
    owner->server = server_new(owner->base, &handlers, owner);
    server_limit(owner->server, LINE_LIMIT, MOST_CLIENTS);
    int descriptor = listen_tcp("127.0.0.1", 0, NULL);
    assert_true(descriptor >= 0);
    owner->port = listen_port(descriptor);
    assert_true(server_listen(owner->server, descriptor));
    alarm(PATIENCE_S);
    *state = owner;
    return 0;
}

static int teardown(void **state)
{
    struct owner *owner = *state;
    alarm(0);
    server_free(owner->server);
    assert_int_equal(owner->opened, owner->closed);
    event_base_free(owner->base);
    free(owner->answer);
    free(owner);
    return 0;
}

/* A connection to the server that blocks for nothing. */
static int connect_to(const struct owner *owner)
{
    const struct sockaddr_in address = { .sin_family = AF_INET,
                                         .sin_port = htons((uint16_t)owner->port),
                                         .sin_addr.s_addr = htonl(INADDR_LOOPBACK) };
    int descriptor = socket(AF_INET, SOCK_STREAM, 0);
    assert_int_equal(connect(descriptor, (const struct sockaddr *)&address, sizeof address), 0);
    assert_int_equal(fcntl(descriptor, F_SETFL, O_NONBLOCK), 0);
    return descriptor;
}

/* Lets the server work until a count of its owner is reached. */
static void run_until(struct owner *owner, const size_t *count, size_t wanted)
{
    while (*count < wanted)
        assert_true(event_base_loop(owner->base, EVLOOP_ONCE) >= 0);
}

/* Sends all of it, and lets the server work while the socket is full. */
static void send_all(struct owner *owner, int descriptor, const char *bytes, size_t count)
{
    while (count > 0) {
        ssize_t sent = send(descriptor, bytes, count, MSG_NOSIGNAL);
        assert_true(sent > 0 || errno == EAGAIN);
        if (sent > 0) {
            bytes += sent;
            count -= (size_t)sent;
        }
        event_base_loop(owner->base, EVLOOP_NONBLOCK);
    }
}

/* Reads until `bytes` holds `wanted` of them, or the end came; how many there are. */
static size_t read_all(struct owner *owner, int descriptor, char *bytes, size_t wanted)
{
    size_t count = 0;
    while (count < wanted) {
        ssize_t got = recv(descriptor, bytes + count, wanted - count, 0);
        if (got == 0)
            break;
        assert_true(got > 0 || errno == EAGAIN);
        if (got > 0)
            count += (size_t)got;
        event_base_loop(owner->base, EVLOOP_NONBLOCK);
    }
    return count;
}

static void a_line_that_is_too_long_is_told_and_ends_the_client(void **state)
{
    struct owner *owner = *state;
    char line[20 * LINE_LIMIT], answer[64] = "";
    int client = connect_to(owner);
    memset(line, 'x', sizeof line);
    send_all(owner, client, line, sizeof line);
    size_t count = read_all(owner, client, answer, sizeof answer - 1);
    assert_int_equal(count, sizeof long_answer);
    assert_memory_equal(answer, "too long\n", count);
    assert_int_equal(owner->too_long, 1);
    assert_int_equal(owner->lines, 0);
    assert_int_equal(owner->closed, 1);
    close(client);
}

/* What stands behind a line that no client sends is not looked at. */
static void a_line_that_no_client_sends_is_answered_and_ends_it(void **state)
{
    struct owner *owner = *state;
    char lines[128], answer[64] = "";
    int client = connect_to(owner);
    owner->answer = strdup("no");
    int length = snprintf(lines, sizeof lines, "one\n%s\nanother\n", stranger);
    send_all(owner, client, lines, (size_t)length);
    size_t count = read_all(owner, client, answer, sizeof answer - 1);
    assert_int_equal(count, 6);
    assert_memory_equal(answer, "no\nno\n", count);
    assert_int_equal(owner->lines, 2);
    assert_int_equal(owner->closed, 1);
    close(client);
}

/* So it is when the client has ended its stream by then, with shutdown(2). */
static void a_line_too_long_at_the_end_of_the_stream_is_told(void **state)
{
    struct owner *owner = *state;
    char line[2 * LINE_LIMIT], answer[64] = "";
    int client = connect_to(owner);
    memset(line, 'x', sizeof line);
    run_until(owner, &owner->opened, 1);
    assert_int_equal(send(client, line, sizeof line, MSG_NOSIGNAL), sizeof line);
    shutdown(client, SHUT_WR);
    size_t count = read_all(owner, client, answer, sizeof answer - 1);
    assert_int_equal(count, sizeof long_answer);
    assert_int_equal(owner->closed, 1);
    close(client);
}

static void the_limit_is_exact(void **state)
{
    struct owner *owner = *state;
    char line[LINE_LIMIT + 2];
    int client = connect_to(owner);
    memset(line, 'x', sizeof line);
    line[LINE_LIMIT] = '\n';
    send_all(owner, client, line, LINE_LIMIT + 1);
    run_until(owner, &owner->lines, 1);
    assert_int_equal(strlen(owner->last), LINE_LIMIT);
    line[LINE_LIMIT] = 'x';
    line[LINE_LIMIT + 1] = '\n';
    send_all(owner, client, line, LINE_LIMIT + 2);
    run_until(owner, &owner->too_long, 1);
    assert_int_equal(owner->lines, 1);
    close(client);
}

static void half_a_line_is_nothing(void **state)
{
    struct owner *owner = *state;
    int client = connect_to(owner);
    send_all(owner, client, "one\ntwo", 7);
    run_until(owner, &owner->lines, 1);
    close(client);
    run_until(owner, &owner->closed, 1);
    assert_int_equal(owner->lines, 1);
    assert_string_equal(owner->last, "one");
}

static void a_client_too_many_is_told(void **state)
{
    struct owner *owner = *state;
    char answer[64] = "";
    int first = connect_to(owner), second = connect_to(owner), third = connect_to(owner);
    size_t count = read_all(owner, third, answer, sizeof answer - 1);
    assert_int_equal(count, 9);
    assert_memory_equal(answer, "too many\n", 9);
    assert_int_equal(owner->opened, MOST_CLIENTS);
    close(first);
    run_until(owner, &owner->closed, 1);
    int fourth = connect_to(owner);
    run_until(owner, &owner->opened, 3);
    close(second);
    close(third);
    close(fourth);
}

/* The quietest gives way, is told so, and counts no more; one that waits for an answer does not. */
static void a_quiet_client_gives_way(void **state)
{
    struct owner *owner = *state;
    char answer[64] = "";
    server_patience(owner->server, 0.0);
    int first = connect_to(owner);
    run_until(owner, &owner->opened, 1);
    owner->waiting = owner->newest;
    int second = connect_to(owner);
    run_until(owner, &owner->opened, 2);
    int third = connect_to(owner);
    run_until(owner, &owner->opened, 3);
    assert_int_equal(owner->closed, 1);
    assert_int_equal(server_clients(owner->server), MOST_CLIENTS);
    assert_int_equal(read_all(owner, second, answer, sizeof answer - 1), 10);
    assert_memory_equal(answer, "displaced\n", 10);
    owner->waiting = owner->newest;
    send_all(owner, first, "still here\n", 11);
    run_until(owner, &owner->lines, 1);
    close(first);
    close(second);
    close(third);
}

/* What the newcomer has sent already must not cost it the reason. */
static void a_client_too_many_is_told_whatever_it_has_sent(void **state)
{
    struct owner *owner = *state;
    static char lines[200000];
    char answer[64] = "";
    int first = connect_to(owner), second = connect_to(owner), third = connect_to(owner);
    memset(lines, '\n', sizeof lines);
    assert_true(send(third, lines, sizeof lines, MSG_NOSIGNAL) > 0);
    assert_int_equal(read_all(owner, third, answer, sizeof answer - 1), 9);
    assert_int_equal(owner->lines, 0);
    close(first);
    close(second);
    close(third);
}

static int connect_by_path(const char *path)
{
    struct sockaddr_un address = { .sun_family = AF_UNIX };
    int descriptor = socket(AF_UNIX, SOCK_STREAM, 0);
    snprintf(address.sun_path, sizeof address.sun_path, "%s", path);
    assert_int_equal(connect(descriptor, (const struct sockaddr *)&address, sizeof address), 0);
    return descriptor;
}

static void a_place_is_kept_back_for_the_unix_socket(void **state)
{
    struct owner *owner = *state;
    char folder[] = "/tmp/test_server.XXXXXX", path[64], answer[64] = "";
    assert_non_null(mkdtemp(folder));
    snprintf(path, sizeof path, "%s/socket", folder);
    assert_true(server_listen(owner->server, listen_unix(path, NULL)));
    int first = connect_to(owner);
    run_until(owner, &owner->opened, 1);
    int second = connect_to(owner);
    assert_int_equal(read_all(owner, second, answer, sizeof answer - 1), 9);
    int local = connect_by_path(path);
    run_until(owner, &owner->opened, 2);
    close(first);
    close(second);
    close(local);
    unlink(path);
    rmdir(folder);
}

static void lines_may_come_in_one_packet_or_byte_by_byte(void **state)
{
    static const char lines[] = "a\n\nbc\r\nd\n";
    struct owner *owner = *state;
    int client = connect_to(owner);
    send_all(owner, client, lines, sizeof lines - 1);
    run_until(owner, &owner->lines, 4);
    assert_string_equal(owner->last, "d");
    for (size_t i = 0; i < sizeof lines - 3; i++)
        send_all(owner, client, &lines[i], 1);
    run_until(owner, &owner->lines, 7);
    assert_string_equal(owner->last, "bc\r");
    close(client);
}

/* What was answered before the client closed its side is still sent. */
static void the_end_of_the_stream_does_not_lose_answers(void **state)
{
    enum { ANSWER = 2000000 };
    struct owner *owner = *state;
    char *got = malloc(ANSWER + 2);
    owner->answer = malloc(ANSWER + 1);
    assert_true(got != NULL && owner->answer != NULL);
    memset(owner->answer, 'y', ANSWER);
    owner->answer[ANSWER] = '\0';
    int client = connect_to(owner);
    send_all(owner, client, "go\n", 3);
    run_until(owner, &owner->lines, 1);
    shutdown(client, SHUT_WR);
    assert_int_equal(read_all(owner, client, got, ANSWER + 2), ANSWER + 1);
    assert_int_equal(owner->closed, 1);
    close(client);
    free(got);
}

/*
 * A client asks for 40 MB and reads none of it. Its requests are left alone
 * once the backlog and the kernel's buffers are full, so that memory stays
 * bounded, and nothing is lost when it reads at last. Meanwhile another
 * client is served.
 */
static void a_slow_reader_delays_nobody(void **state)
{
    enum { ANSWER = 100000, REQUESTS = 400 };
    struct owner *owner = *state;
    char requests[2 * REQUESTS];
    char *got = malloc(REQUESTS * (ANSWER + 1));
    owner->answer = malloc(ANSWER + 1);
    assert_true(got != NULL && owner->answer != NULL);
    memset(owner->answer, 'z', ANSWER);
    owner->answer[ANSWER] = '\0';
    for (size_t i = 0; i < REQUESTS; i++)
        memcpy(requests + 2 * i, "r\n", 2);
    int slow = connect_to(owner);
    send_all(owner, slow, requests, sizeof requests);
    run_until(owner, &owner->lines, SERVER_BACKLOG / ANSWER);
    int quick = connect_to(owner);
    send_all(owner, quick, "q\n", 2);
    assert_int_equal(read_all(owner, quick, got, ANSWER + 1), ANSWER + 1);
    assert_true(owner->lines < REQUESTS);
    assert_int_equal(read_all(owner, slow, got, REQUESTS * (ANSWER + 1)), REQUESTS * (ANSWER + 1));
    assert_int_equal(owner->lines, REQUESTS + 1);
    close(slow);
    close(quick);
    free(got);
}

/* Answers to what it asked before pile up: there is an end to that. */
static void a_client_that_reads_nothing_is_closed_in_the_end(void **state)
{
    enum { ANSWER = 1 << 20 };
    struct owner *owner = *state;
    char *answer = calloc(1, ANSWER);
    assert_non_null(answer);
    int client = connect_to(owner);
    run_until(owner, &owner->opened, 1);
    /* Half as much again: the kernel takes some of it. */
    for (size_t sent = 0; sent < SERVER_MOST + SERVER_MOST / 2; sent += ANSWER)
        server_send(owner->newest, answer, ANSWER);
    run_until(owner, &owner->closed, 1);
    close(client);
    free(answer);
}

static void a_deaf_server_keeps_its_clients(void **state)
{
    struct owner *owner = *state;
    int client = connect_to(owner);
    run_until(owner, &owner->opened, 1);
    server_deafen(owner->server);
    send_all(owner, client, "still here\n", 11);
    run_until(owner, &owner->lines, 1);
    assert_string_equal(owner->last, "still here");
    close(client);
}

static void an_address_that_is_none_is_refused(void **state)
{
    struct failure failure = { 0 };
    (void)state;
    assert_int_equal(listen_tcp("no.such.name.example", 0, &failure), -1);
    assert_int_equal(failure.code, FAILURE_SETTINGS);
}

/* A live socket is refused, a stale one replaced, a plain file left alone. */
static void a_unix_socket_is_replaced_only_when_stale(void **state)
{
    char folder[] = "/tmp/gradus-test-XXXXXX", path[64];
    struct failure failure = { 0 };
    struct stat status;
    (void)state;
    assert_non_null(mkdtemp(folder));
    snprintf(path, sizeof path, "%s/socket", folder);
    int file = open(path, O_CREAT | O_WRONLY, 0600);
    assert_int_equal(listen_unix(path, NULL), -1);
    close(file);
    assert_int_equal(unlink(path), 0);
    int first = listen_unix(path, &failure);
    assert_true(first >= 0);
    assert_int_equal(stat(path, &status), 0);
    assert_int_equal(status.st_mode & 07777, 0660);
    assert_int_equal(listen_unix(path, &failure), -1);
    assert_int_equal(failure.code, FAILURE_SYSTEM);
    close(first);
    int second = listen_unix(path, NULL);
    assert_true(second >= 0);
    close(second);
    unlink(path);
    rmdir(folder);
}

/* The server's end of a connection, told by whom it is connected to. */
static int server_end(int client)
{
    struct sockaddr_in own, peer;
    socklen_t size = sizeof own;
    assert_int_equal(getsockname(client, (struct sockaddr *)&own, &size), 0);
    for (int other = 3; other < 1024; other++) {
        size = sizeof peer;
        if (getpeername(other, (struct sockaddr *)&peer, &size) == 0 &&
            peer.sin_family == AF_INET && peer.sin_port == own.sin_port)
            return other;
    }
    fail_msg("the server has no end of the connection");
    return -1;
}

static int option(int descriptor, int level, int name)
{
    int value = -1;
    socklen_t size = sizeof value;
    assert_int_equal(getsockopt(descriptor, level, name, &value, &size), 0);
    return value;
}

/*
 * A host that loses its power sends no end of the stream. The kernel asks it after so long, so
 * many times (tcp(7)), and gives up within the two minutes that are stated, its coarse timers
 * included; what is on its way to it is given up as soon.
 */
static void a_host_that_vanished_is_asked_for(void **state)
{
    struct owner *owner = *state;
    int client = connect_to(owner);
    run_until(owner, &owner->opened, 1);
    int end = server_end(client);
    assert_int_equal(option(end, SOL_SOCKET, SO_KEEPALIVE), 1);
    int idle = option(end, IPPROTO_TCP, TCP_KEEPIDLE);
    int probes = option(end, IPPROTO_TCP, TCP_KEEPCNT);
    int interval = option(end, IPPROTO_TCP, TCP_KEEPINTVL);
    assert_true(idle > 0 && probes > 0 && interval > 0 && idle + probes * interval <= 110);
    int unacknowledged = option(end, IPPROTO_TCP, TCP_USER_TIMEOUT);
    assert_true(unacknowledged > 0 && unacknowledged <= 110000);
    close(client);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(a_line_that_is_too_long_is_told_and_ends_the_client, setup,
                                        teardown),
        cmocka_unit_test_setup_teardown(a_line_that_no_client_sends_is_answered_and_ends_it, setup,
                                        teardown),
        cmocka_unit_test_setup_teardown(a_line_too_long_at_the_end_of_the_stream_is_told, setup,
                                        teardown),
        cmocka_unit_test_setup_teardown(the_limit_is_exact, setup, teardown),
        cmocka_unit_test_setup_teardown(half_a_line_is_nothing, setup, teardown),
        cmocka_unit_test_setup_teardown(a_client_too_many_is_told, setup, teardown),
        cmocka_unit_test_setup_teardown(a_client_too_many_is_told_whatever_it_has_sent, setup,
                                        teardown),
        cmocka_unit_test_setup_teardown(a_quiet_client_gives_way, setup, teardown),
        cmocka_unit_test_setup_teardown(a_host_that_vanished_is_asked_for, setup, teardown),
        cmocka_unit_test_setup_teardown(a_place_is_kept_back_for_the_unix_socket, setup, teardown),
        cmocka_unit_test(an_address_that_is_none_is_refused),
        cmocka_unit_test(a_unix_socket_is_replaced_only_when_stale),
        cmocka_unit_test_setup_teardown(lines_may_come_in_one_packet_or_byte_by_byte, setup,
                                        teardown),
        cmocka_unit_test_setup_teardown(the_end_of_the_stream_does_not_lose_answers, setup,
                                        teardown),
        cmocka_unit_test_setup_teardown(a_slow_reader_delays_nobody, setup, teardown),
        cmocka_unit_test_setup_teardown(a_client_that_reads_nothing_is_closed_in_the_end, setup,
                                        teardown),
        cmocka_unit_test_setup_teardown(a_deaf_server_keeps_its_clients, setup, teardown),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
