/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "player.h"

#include <pthread.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>

/* What came, for one of the two kinds of message. */
struct record {
    char text[PLAYER_TEXT];
    char shown[PLAYER_TEXT];
};

struct player {
    struct player_row rows[PLAYER_ROWS];
    const char *once[PLAYER_ROWS]; /* a reply that is another, this once */
    unsigned skip[PLAYER_ROWS];    /* how many come before it */
    size_t count;
    int listener;
    int fd; /* under the mutex; -1: nobody there */
    pthread_t thread;
    pthread_mutex_t mutex;
    struct record commands;
    struct record queries;
    char folder[40];
    char link[64];
    char error[256];
};

static void append(struct record *record, const char *message)
{
    size_t used = strlen(record->text);

    snprintf(record->text + used, sizeof record->text - used, "%s ", message);
}

/* Notes a message and says what it is answered with; NULL: nothing. */
static const char *look_up(struct player *player, const char *message)
{
    const char *reply;

    append(strchr(message, '?') ? &player->queries : &player->commands, message);
    for (size_t i = 0; i < player->count; i++) {
        if (strcmp(player->rows[i].message, message) != 0)
            continue;
        if (!player->once[i] || player->skip[i]-- > 0)
            return player->rows[i].reply;
        reply = player->once[i];
        player->once[i] = NULL;
        return reply;
    }
    if (!player->error[0])
        snprintf(player->error, sizeof player->error, "'%.200s' is not in the table", message);
    return NULL;
}

static void answer(struct player *player, const char *message)
{
    char line[PLAYER_TEXT];
    const char *reply;
    int count;

    pthread_mutex_lock(&player->mutex);
    reply = look_up(player, message);
    count = reply ? snprintf(line, sizeof line, "%s\n", reply) : 0;
    pthread_mutex_unlock(&player->mutex);
    /* Whether the other side is still there shows with the next read. */
    if (count > 0)
        (void)!send(player->fd, line, (size_t)count, MSG_NOSIGNAL);
}

static void serve(struct player *player)
{
    char bytes[PLAYER_TEXT];
    size_t count = 0;
    ssize_t n;

    while ((n = read(player->fd, bytes + count, sizeof bytes - count)) > 0) {
        char *message = bytes;
        char *end;

        count += (size_t)n;
        while ((end = memchr(message, '\n', count - (size_t)(message - bytes)))) {
            *end = '\0';
            answer(player, message);
            message = end + 1;
        }
        count -= (size_t)(message - bytes);
        memmove(bytes, message, count);
    }
}

static void *run(void *context)
{
    struct player *player = context;

    for (;;) {
        int fd = accept(player->listener, NULL, NULL);

        if (fd < 0)
            return NULL;
        pthread_mutex_lock(&player->mutex);
        player->fd = fd;
        pthread_mutex_unlock(&player->mutex);
        serve(player);
        pthread_mutex_lock(&player->mutex);
        player->fd = -1;
        pthread_mutex_unlock(&player->mutex);
        close(fd);
    }
}

static bool player_listen(struct player *player)
{
    struct sockaddr_un address = { .sun_family = AF_UNIX };

    snprintf(player->folder, sizeof player->folder, "/tmp/gradus-player-XXXXXX");
    if (!mkdtemp(player->folder))
        return false;
    snprintf(address.sun_path, sizeof address.sun_path, "%s/s", player->folder);
    snprintf(player->link, sizeof player->link, "unix:%s/s", player->folder);
    player->listener = socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0);
    return bind(player->listener, (struct sockaddr *)&address, sizeof address) == 0 &&
           listen(player->listener, 4) == 0;
}

struct player *player_start(const struct player_row *rows)
{
    struct player *player = calloc(1, sizeof *player);

    if (!player)
        return NULL;
    while (player->count < PLAYER_ROWS && rows[player->count].message) {
        player->rows[player->count] = rows[player->count];
        player->count++;
    }
    player->fd = -1;
    pthread_mutex_init(&player->mutex, NULL);
    if (player_listen(player) && pthread_create(&player->thread, NULL, run, player) == 0)
        return player;
    free(player);
    return NULL;
}

const char *player_link(const struct player *player)
{
    return player->link;
}

/* `skip` below zero: for good. */
static void set_answer(struct player *player, const char *message, const char *reply, int skip)
{
    pthread_mutex_lock(&player->mutex);
    for (size_t i = 0; i < player->count; i++) {
        if (strcmp(player->rows[i].message, message) != 0)
            continue;
        *(skip >= 0 ? &player->once[i] : &player->rows[i].reply) = reply;
        player->skip[i] = skip > 0 ? (unsigned)skip : 0;
    }
    pthread_mutex_unlock(&player->mutex);
}

void player_answer(struct player *player, const char *message, const char *reply)
{
    set_answer(player, message, reply, -1);
}

void player_answer_once(struct player *player, const char *message, const char *reply)
{
    set_answer(player, message, reply, 0);
}

void player_answer_later(struct player *player, const char *message, unsigned skip,
                         const char *reply)
{
    set_answer(player, message, reply, (int)skip);
}

void player_drop(struct player *player)
{
    pthread_mutex_lock(&player->mutex);
    if (player->fd >= 0)
        shutdown(player->fd, SHUT_RDWR);
    pthread_mutex_unlock(&player->mutex);
}

static const char *show(struct player *player, struct record *record)
{
    pthread_mutex_lock(&player->mutex);
    memcpy(record->shown, record->text, sizeof record->shown);
    record->text[0] = '\0';
    pthread_mutex_unlock(&player->mutex);
    return record->shown;
}

const char *player_commands(struct player *player)
{
    return show(player, &player->commands);
}

const char *player_queries(struct player *player)
{
    return show(player, &player->queries);
}

const char *player_finish(struct player *player, char *commands)
{
    static char error[sizeof player->error];

    /* What has been sent to it is served before it finds its listener closed. */
    shutdown(player->listener, SHUT_RDWR);
    pthread_join(player->thread, NULL);
    if (commands)
        memcpy(commands, player->commands.text, sizeof player->commands.text);
    memcpy(error, player->error, sizeof error);
    close(player->listener);
    unlink(player->link + strlen("unix:"));
    rmdir(player->folder);
    pthread_mutex_destroy(&player->mutex);
    free(player);
    return error;
}
