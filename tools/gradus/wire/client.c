/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "client.h"

#include "address.h"
#include "secure.h"
#include "tools/gradus/basics/field.h"
#include "tools/gradus/basics/memory.h"
#include "tools/gradus/basics/status.h"

#include <errno.h>
#include <math.h>
#include <poll.h>
#include <signal.h>
#include <stdlib.h>
#include <string.h>
#include <sys/signalfd.h>
#include <sys/socket.h>
#include <time.h>
#include <unistd.h>

enum { CONNECT_MS = 5000, SEND_MS = 5000, LINE_MOST = 256 << 20, READ_SIZE = 65536 };
enum { TOKEN_MOST = 256, LAST_WORDS_MS = 1000 };

struct client {
    int descriptor;
    struct secure *secure; /* NULL: bytes go as they are */
    int signals;
    int also; /* a descriptor that client_receive() waits for besides; -1: none */
    int last_id;
    char *buffer;
    size_t used;
    size_t capacity;
    size_t searched; /* bytes at the front that are known to hold no newline */
};

double client_now(void)
{
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)now.tv_sec * 1e3 + (double)now.tv_nsec / 1e6;
}

static int watch_signals(void)
{
    sigset_t set;
    sigemptyset(&set);
    sigaddset(&set, SIGINT);
    sigaddset(&set, SIGTERM);
    sigprocmask(SIG_BLOCK, &set, NULL);
    return signalfd(-1, &set, SFD_CLOEXEC | SFD_NONBLOCK);
}

/* The token that the environment names, to be freed; NULL: none. False: it cannot be read. */
static bool read_token(char **token, struct fault *fault)
{
    const char *const path = getenv("GRADUS_TOKEN_FILE");
    const char *const given = getenv("GRADUS_TOKEN");
    char line[TOKEN_MOST] = "";
    *token = NULL;
    if (path == NULL || *path == '\0') {
        *token = given != NULL && *given != '\0' ? memory_text(given) : NULL;
        return true;
    }
    FILE *const file = fopen(path, "re");
    const bool read = file != NULL && fgets(line, sizeof line, file) != NULL;
    if (!read)
        fault_set(fault, STATUS_USAGE, "GRADUS_TOKEN_FILE", "%s: %s", path,
                  file == NULL ? strerror(errno) : "nothing in it");
    if (file != NULL)
        fclose(file);
    line[strcspn(line, " \t\r\n")] = '\0';
    *token = read ? memory_text(line) : NULL;
    return read;
}

/* Says who one is, where there is a token to say it with. */
static bool say_name(struct client *client, struct fault *fault)
{
    char *token;
    struct message answer = { 0 };
    if (!read_token(&token, fault))
        return false;
    if (token == NULL)
        return true;
    const bool taken = client_call(client, "authenticate", json_pack("{s:s}", "token", token),
                                   CONNECT_MS, &answer, fault);
    message_clear(&answer);
    free(token);
    return taken;
}

struct client *client_open(const struct options *options, struct fault *fault)
{
    struct address address;
    if (!address_parse(options->socket, &address, fault))
        return NULL;
    const int descriptor = address_connect(&address, options->socket, CONNECT_MS, fault);
    if (descriptor < 0)
        return NULL;
    struct client *const client = memory_zeroed(1, sizeof *client);
    client->descriptor = descriptor;
    client->signals = watch_signals();
    client->also = -1;
    const bool plain = !address.tcp || options->ca == NULL || *options->ca == '\0';
    if (!plain)
        client->secure = secure_open(descriptor, address.host, options, CONNECT_MS, fault);
    if ((plain || client->secure != NULL) && say_name(client, fault))
        return client;
    client_close(client);
    return NULL;
}

void client_close(struct client *client)
{
    if (client == NULL)
        return;
    secure_close(client->secure);
    close(client->descriptor);
    if (client->signals >= 0)
        close(client->signals);
    free(client->buffer);
    free(client);
}

static bool lost(struct fault *fault, const char *why)
{
    fault_set(fault, STATUS_NO_READING, "connection lost", "%s", why);
    return false;
}

void client_also(struct client *client, int descriptor)
{
    client->also = descriptor;
}

/*
 * Waits for the socket; false with errno set to ETIMEDOUT or EINTR when it was not ready,
 * EAGAIN when the other descriptor was.
 */
static bool wait_for(const struct client *client, short events, double until_ms)
{
    struct pollfd polled[3] = { { .fd = client->descriptor, .events = events },
                                { .fd = client->signals, .events = POLLIN },
                                { .fd = events == POLLIN ? client->also : -1, .events = POLLIN } };
    for (;;) {
        const double left = ceil(until_ms - client_now());
        const int wait = isinf(until_ms) ? -1 : (int)fmin(fmax(left, 0), 3600000);
        const int ready = poll(polled, 3, wait);
        if (ready > 0) {
            const bool signalled = (polled[1].revents & POLLIN) != 0;
            errno = signalled ? EINTR : EAGAIN;
            return !signalled && polled[0].revents != 0;
        }
        if (ready < 0 && errno != EINTR)
            return false;
        if (ready == 0 && client_now() >= until_ms) {
            errno = ETIMEDOUT;
            return false;
        }
    }
}

static bool write_all(struct client *client, const char *bytes, size_t count, struct fault *fault)
{
    const double until = client_now() + SEND_MS;
    while (count > 0) {
        const ssize_t sent = client->secure != NULL
                                 ? secure_write(client->secure, bytes, count)
                                 : send(client->descriptor, bytes, count, MSG_NOSIGNAL);
        if (sent >= 0) {
            bytes += sent;
            count -= (size_t)sent;
        } else if (errno == EAGAIN) {
            if (!wait_for(client, POLLOUT, until))
                return lost(fault, strerror(errno));
        } else if (errno != EINTR) {
            return lost(fault, strerror(errno));
        }
    }
    return true;
}

/*
 * What the daemon said before it closed, as it does when there are too many connections, in the
 * place of what became of the socket.
 */
static void last_words(struct client *client, struct fault *fault)
{
    struct message message = { 0 };
    struct fault said = { 0 };
    const enum client_event event =
        client_receive(client, client_now() + LAST_WORDS_MS, &message, &said);
    const json_t *const error =
        event == CLIENT_MESSAGE ? json_object_get(message.json, "error") : NULL;
    if (error != NULL) {
        *fault = (struct fault) { 0 };
        fault_from_error(fault, error);
    }
    message_clear(&message);
}

int client_send(struct client *client, const char *method, json_t *params, struct fault *fault)
{
    const int id = client->last_id + 1;
    json_t *const request = json_pack("{s:s, s:i, s:s, s:o}", "jsonrpc", "2.0", "id", id, "method",
                                      method, "params", params);
    char *text = request == NULL ? NULL : json_dumps(request, JSON_COMPACT);
    json_decref(request);
    if (text == NULL) {
        /* All that can keep a request from being written is text that is no UTF-8. */
        fault_set(fault, STATUS_USAGE, "request", "an argument is not valid UTF-8 text");
        return 0;
    }
    const size_t length = strlen(text);
    text = memory_resize(text, length + 2, 1);
    memcpy(text + length, "\n", 2);
    const bool sent = write_all(client, text, length + 1, fault);
    free(text);
    client->last_id = id;
    if (!sent)
        last_words(client, fault);
    return sent ? id : 0;
}

/* Takes the first line out of the buffer. Returns whether there was one. */
static bool read_line(struct client *client, struct message *message, enum client_event *event,
                      struct fault *fault)
{
    if (client->used == client->searched)
        return false;
    const char *const newline =
        memchr(client->buffer + client->searched, '\n', client->used - client->searched);
    if (newline == NULL) {
        client->searched = client->used;
        return false;
    }
    const size_t length = (size_t)(newline - client->buffer);
    char problem[256];
    *event = CLIENT_MESSAGE;
    if (!message_read(client->buffer, length, message, problem, sizeof problem)) {
        fault_set(fault, STATUS_NO_READING, "unexpected answer from the daemon", "%s", problem);
        *event = CLIENT_GONE;
    }
    client->used -= length + 1;
    memmove(client->buffer, newline + 1, client->used);
    client->searched = 0;
    return true;
}

/* Reads what is there. False with the fault filled in when the connection is gone. */
static bool read_more(struct client *client, struct fault *fault)
{
    if (client->used >= LINE_MOST)
        return lost(fault, "the daemon sends a line without end");
    if (client->capacity - client->used < READ_SIZE) {
        client->capacity = client->used + READ_SIZE + client->used / 2;
        client->buffer = memory_resize(client->buffer, client->capacity, 1);
    }
    const ssize_t count =
        client->secure != NULL
            ? secure_read(client->secure, client->buffer + client->used, READ_SIZE)
            : recv(client->descriptor, client->buffer + client->used, READ_SIZE, 0);
    if (count > 0) {
        client->used += (size_t)count;
        return true;
    }
    if (count < 0 && (errno == EAGAIN || errno == EINTR))
        return true;
    return lost(fault, count == 0 ? "the daemon closed it" : strerror(errno));
}

enum client_event client_receive(struct client *client, double until_ms, struct message *message,
                                 struct fault *fault)
{
    enum client_event event;
    while (!read_line(client, message, &event, fault)) {
        /* What TLS has taken off the socket already wakes nobody: it is looked for first. */
        if (client->secure != NULL) {
            const size_t before = client->used;
            if (!read_more(client, fault))
                return CLIENT_GONE;
            if (client->used > before)
                continue;
        }
        if (!wait_for(client, POLLIN, until_ms)) {
            if (errno == ETIMEDOUT)
                return CLIENT_LATE;
            if (errno == EINTR)
                return CLIENT_INTERRUPTED;
            if (errno == EAGAIN)
                return CLIENT_KEYS;
            lost(fault, strerror(errno));
            return CLIENT_GONE;
        }
        if (!read_more(client, fault))
            return CLIENT_GONE;
    }
    return event;
}

int client_answer_id(const struct message *message)
{
    const json_int_t id = json_integer_value(json_object_get(message->json, "id"));
    return id > 0 && id <= INT32_MAX ? (int)id : 0;
}

void client_event_fault(enum client_event event, double waited_ms, struct fault *fault)
{
    if (event == CLIENT_LATE) {
        fault_set(fault, STATUS_NO_READING, "the daemon does not answer",
                  "nothing came within %.3g s", waited_ms / 1e3);
    } else if (event == CLIENT_INTERRUPTED) {
        fault_set(fault, STATUS_NO_READING, "interrupted", "before the answer came");
    }
}

/* Tells a result from an error. An answer to a request that could not be read has no id. */
static bool judge_answer(const struct message *answer, struct fault *fault)
{
    const json_t *const error = json_object_get(answer->json, "error");
    if (error != NULL) {
        fault_from_error(fault, error);
        return false;
    }
    if (json_object_get(answer->json, "result") == NULL) {
        fault_set(fault, STATUS_NO_READING, "unexpected answer from the daemon",
                  "it has neither result nor error");
        return false;
    }
    return true;
}

bool client_call(struct client *client, const char *method, json_t *params, double within_ms,
                 struct message *answer, struct fault *fault)
{
    *answer = (struct message) { 0 };
    const int id = client_send(client, method, params, fault);
    const double until = client_now() + within_ms;
    while (id != 0) {
        const enum client_event event = client_receive(client, until, answer, fault);
        if (event != CLIENT_MESSAGE) {
            client_event_fault(event, within_ms, fault);
            return false;
        }
        const bool refused =
            client_answer_id(answer) == 0 && json_object_get(answer->json, "error") != NULL;
        if (client_answer_id(answer) == id || refused)
            return judge_answer(answer, fault);
        message_clear(answer);
    }
    return false;
}
