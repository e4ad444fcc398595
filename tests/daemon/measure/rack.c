/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "rack_priv.h"

#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>

/* A reply as it is built. */
struct answer {
    char bytes[32768];
    size_t count;
};

static void say(struct answer *answer, const char *text)
{
    answer->count += (size_t)snprintf(answer->bytes + answer->count,
                                      sizeof answer->bytes - answer->count, "%s", text);
}

static void say_number(struct answer *answer, double number)
{
    char text[40];
    snprintf(text, sizeof text, "%.12G", number);
    say(answer, text);
}

/* Codes as a definite block (IEEE 488.2, 8.7.9), 16 bits each, high byte first. */
static void say_record(struct rack *rack, struct answer *answer)
{
    static __thread int codes[RACK_SAMPLES];
    char head[16];
    rack_record(rack, codes);
    snprintf(head, sizeof head, "#5%05zu", 2 * rack->scope.points);
    say(answer, head);
    for (size_t i = 0; i < rack->scope.points; i++) {
        answer->bytes[answer->count++] = (char)((uint16_t)codes[i] >> 8);
        answer->bytes[answer->count++] = (char)(codes[i] & 0xff);
    }
}

/* Whether a message is the command of this name, with a number behind it. */
static bool takes(const char *message, const char *name, double *number)
{
    size_t length = strlen(name);
    if (strncmp(message, name, length) != 0 || message[length] != ' ')
        return false;
    *number = strtod(message + length, NULL);
    return true;
}

static bool scope_takes(struct rack *rack, const char *message, struct answer *answer)
{
    struct rack_scope *scope = &rack->scope;
    if (takes(message, "SENS", &scope->scale) || takes(message, "LIFT", &scope->position) ||
        takes(message, "OFFS", &scope->offset) || takes(message, "SPAN", &scope->span) ||
        strcmp(message, "GO") == 0)
        return true;
    if (strncmp(message, "INLET ", 6) == 0)
        snprintf(scope->coupling, sizeof scope->coupling, "%s", message + 6);
    else if (strcmp(message, "SENS?") == 0)
        say_number(answer, scope->scale);
    else if (strcmp(message, "LIFT?") == 0)
        say_number(answer, scope->position);
    else if (strcmp(message, "OFFS?") == 0)
        say_number(answer, scope->offset);
    else if (strcmp(message, "SPAN?") == 0)
        say_number(answer, scope->span);
    else if (strcmp(message, "INLET?") == 0)
        say(answer, scope->coupling);
    else if (strcmp(message, "DATA?") == 0)
        say_record(rack, answer);
    else
        return false;
    return true;
}

static bool meter_takes(struct rack *rack, const char *message, struct answer *answer)
{
    struct rack_meter *meter = &rack->meter;
    if (takes(message, "RANG", &meter->full_scale))
        return true;
    double function;
    if (takes(message, "FUNC", &function)) {
        meter->function = function > 0;
        return true;
    }
    double shown = NAN;
    if (strcmp(message, "RANG?") == 0)
        say_number(answer, meter->full_scale);
    else if (strcmp(message, "FUNC?") == 0)
        say_number(answer, meter->function);
    else if (strcmp(message, "READ?") == 0)
        say_number(answer, isinf(shown = rack_shown(rack)) ? 9.9e37 : shown);
    else
        return false;
    return true;
}

/* Somebody at the panel. */
static void turn_a_knob(struct rack *rack, bool scope)
{
    int knob = (int)rack_even(rack, 0, 4);
    rack->touched = true;
    if (!scope && knob < 2)
        rack->meter.function = !rack->meter.function;
    else if (!scope)
        rack->meter.full_scale =
            rack->meter.full_scales[(size_t)rack_even(rack, 0, (double)rack->meter.count)];
    else if (knob == 0)
        rack->scope.scale =
            rack->scope.scales[(size_t)rack_even(rack, 0, (double)rack->scope.count)];
    else if (knob == 1 && rack->scope.has_offset)
        rack->scope.offset += 0.7 * rack->scope.scale;
    else if (knob == 1)
        rack->scope.position += rack->scope.position > 0 ? -0.7 : 0.7;
    else if (knob == 2)
        snprintf(rack->scope.coupling, sizeof rack->scope.coupling,
                 strcmp(rack->scope.coupling, "DC") == 0 ? "AC" : "DC");
    else
        rack->scope.span *= 2;
}

static void take(struct rack *rack, bool scope, const char *message, struct answer *answer)
{
    if (rack->countdown > 0 && --rack->countdown == 0)
        turn_a_knob(rack, scope);
    if (answer->count > 0 && strchr(message, '?'))
        say(answer, ";");
    if (strcmp(message, "*IDN?") == 0)
        say(answer, "NOBODY,RACK,1,1");
    else if (strcmp(message, "ERR?") == 0)
        say(answer, "0,\"No error\"");
    else if (strcmp(message, "*CLS") != 0 &&
             !(scope ? scope_takes(rack, message, answer) : meter_takes(rack, message, answer)))
        fprintf(stderr, "rack: '%s' is not known\n", message);
}

/* A line: messages with semicolons between them. */
static void take_line(struct rack_server *server, int fd, char *line)
{
    static __thread struct answer answer;
    char *rest = line, *message;
    answer.count = 0;
    if (getenv("RACK_TELL"))
        fprintf(stderr, "> %s\n", line);
    pthread_mutex_lock(&server->rack->mutex);
    while ((message = strsep(&rest, ";")))
        take(server->rack, server->is_scope, message, &answer);
    pthread_mutex_unlock(&server->rack->mutex);
    if (answer.count == 0)
        return;
    answer.bytes[answer.count++] = '\n';
    (void)!send(fd, answer.bytes, answer.count, MSG_NOSIGNAL);
}

static void serve(struct rack_server *server, int fd)
{
    char bytes[4096];
    size_t count = 0;
    ssize_t n;
    while ((n = read(fd, bytes + count, sizeof bytes - count)) > 0) {
        char *line = bytes, *end;
        count += (size_t)n;
        while ((end = memchr(line, '\n', count - (size_t)(line - bytes)))) {
            *end = '\0';
            take_line(server, fd, line);
            line = end + 1;
        }
        count -= (size_t)(line - bytes);
        memmove(bytes, line, count);
    }
}

static void *run(void *context)
{
    struct rack_server *server = context;
    int fd;
    while ((fd = accept(server->listener, NULL, NULL)) >= 0) {
        serve(server, fd);
        close(fd);
    }
    return NULL;
}

static bool serve_as(struct rack *rack, size_t i, bool scope)
{
    struct rack_server *server = &rack->servers[i];
    struct sockaddr_un address = { .sun_family = AF_UNIX };
    *server = (struct rack_server) { .rack = rack, .is_scope = scope };
    snprintf(server->path, sizeof server->path, "%s/%s", rack->folder, scope ? "scope" : "meter");
    snprintf(address.sun_path, sizeof address.sun_path, "%s", server->path);
    server->listener = socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0);
    return bind(server->listener, (struct sockaddr *)&address, sizeof address) == 0 &&
           listen(server->listener, 4) == 0 &&
           pthread_create(&server->thread, NULL, run, server) == 0;
}

struct rack *rack_start(unsigned seed)
{
    struct rack *rack = calloc(1, sizeof *rack);
    if (!rack)
        return NULL;
    pthread_mutex_init(&rack->mutex, NULL);
    rack->state[0] = (unsigned short)seed;
    rack->state[1] = (unsigned short)(seed >> 16);
    rack->state[2] = 11;
    snprintf(rack->folder, sizeof rack->folder, "/tmp/gradus-rack-XXXXXX");
    rack->signal = (struct rack_signal) { .frequency = 1000, .duty = 0.5 };
    if (mkdtemp(rack->folder) && rack_draw(rack) && serve_as(rack, 0, true) &&
        serve_as(rack, 1, false))
        return rack;
    free(rack);
    return NULL;
}

void rack_stop(struct rack *rack)
{
    char path[128];
    static const char *const files[] = { "scope.cfg", "meter.cfg" };
    for (size_t i = 0; i < 2; i++) {
        shutdown(rack->servers[i].listener, SHUT_RDWR);
        pthread_join(rack->servers[i].thread, NULL);
        close(rack->servers[i].listener);
        unlink(rack->servers[i].path);
        snprintf(path, sizeof path, "%s/%s", rack->folder, files[i]);
        unlink(path);
    }
    rmdir(rack->folder);
    pthread_mutex_destroy(&rack->mutex);
    free(rack);
}

const char *rack_folder(const struct rack *rack)
{
    return rack->folder;
}

const char *rack_settings(const struct rack *rack)
{
    return rack->settings;
}

void rack_play(struct rack *rack, const struct rack_signal *signal, unsigned messages)
{
    pthread_mutex_lock(&rack->mutex);
    rack->signal = *signal;
    rack->touched = false;
    rack->countdown = messages;
    pthread_mutex_unlock(&rack->mutex);
}

bool rack_touched(struct rack *rack)
{
    pthread_mutex_lock(&rack->mutex);
    bool touched = rack->touched;
    rack->countdown = 0;
    pthread_mutex_unlock(&rack->mutex);
    return touched;
}

double rack_most(const struct rack *rack, bool scope)
{
    return scope ? 4 * rack->scope.scales[rack->scope.count - 1] * rack->divider
                 : rack->meter.full_scales[rack->meter.count - 1];
}
