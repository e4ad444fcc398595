/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "store_anchor_walk.h"

#include <fcntl.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

/* Lines looked through at a stretch. */
enum { STRIDE = 20000 };

static FILE *open_at(const char *path, off_t offset)
{
    struct stat status;
    int number = open(path, O_RDONLY | O_NOFOLLOW | O_NONBLOCK | O_NOCTTY | O_CLOEXEC);
    bool good = number >= 0 && fstat(number, &status) == 0 && S_ISREG(status.st_mode);
    FILE *file = good ? fdopen(number, "r") : NULL;
    if (file == NULL && number >= 0)
        close(number);
    if (file != NULL && fseeko(file, offset, SEEK_SET) != 0) {
        fclose(file);
        return NULL;
    }
    return file;
}

void anchor_walk_begin(struct anchor_walk *walk, const char *path)
{
    struct stat status;
    if (walk->begun)
        return;
    walk->begun = true;
    walk->size = stat(path, &status) == 0 ? status.st_size : 0;
}

/* The next line within what is looked at; false at its end. What is too long for a line is passed over. */
static bool next_line(struct anchor_walk *walk, FILE *file, char line[ANCHOR_LINE], size_t *length)
{
    while (walk->at < walk->size && fgets(line, ANCHOR_LINE, file) != NULL) {
        *length = strlen(line);
        walk->at = ftello(file);
        if (*length > 0 && line[*length - 1] == '\n') {
            --*length;
            return true;
        }
    }
    walk->at = walk->size;
    return false;
}

bool anchor_walk_ready(struct anchor_walk *walk, const char *path, const struct anchor_key *key)
{
    char line[ANCHOR_LINE];
    size_t length;
    FILE *file = walk->ready ? NULL : open_at(path, walk->at);
    for (int i = 0; i < STRIDE && file != NULL && next_line(walk, file, line, &length); i++) {
        bool wrong = false;
        bool keyed = walk->last.keyed;
        walk->lines++;
        if (!anchor_parse(line, length, key, walk->last.mac, &walk->last, &wrong))
            continue;
        if (walk->wrong == 0 && (wrong || (keyed && !walk->last.keyed && key->length > 0)))
            walk->wrong = walk->lines;
        if (walk->last.id == 0)
            walk->first = walk->at;
    }
    if (!walk->ready && (file == NULL || walk->at >= walk->size)) {
        walk->ready = true;
        walk->at = walk->first;
    }
    if (file != NULL)
        fclose(file);
    return walk->ready;
}

void anchor_walk_to(struct anchor_walk *walk, const char *path, int64_t id)
{
    static const struct anchor_key none = { 0 };
    char line[ANCHOR_LINE];
    size_t length;
    if (walk->next.id > id || walk->at >= walk->size)
        return;
    FILE *file = open_at(path, walk->at);
    walk->next.id = 0;
    while (walk->next.id <= id && file != NULL && next_line(walk, file, line, &length)) {
        bool wrong = false;
        anchor_parse(line, length, &none, walk->last.mac, &walk->next, &wrong);
    }
    if (walk->next.id <= id)
        walk->next.id = 0;
    if (file != NULL)
        fclose(file);
}
