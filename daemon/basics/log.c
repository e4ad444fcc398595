/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "log.h"

#include "core/basics/utf8.h"

#include <inttypes.h>
#include <poll.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

enum { LINE_SIZE = 1024 };

static const struct duration first_pause = { 60 * SECOND_NS };
static const struct duration longest_pause = { 3600 * SECOND_NS };

bool log_is_journal(const char *journal_stream, int descriptor)
{
    char own[64];
    struct stat status;
    if (journal_stream == NULL || fstat(descriptor, &status) != 0)
        return false;
    snprintf(own, sizeof own, "%ju:%ju", (uintmax_t)status.st_dev, (uintmax_t)status.st_ino);
    return strcmp(journal_stream, own) == 0;
}

/* Cuts what snprintf wanted to write down to what it has written. */
static size_t written(int wanted, size_t size)
{
    if (wanted < 0)
        return 0;
    return (size_t)wanted < size ? (size_t)wanted : size - 1;
}

/*
 * Whether a line would have to wait for somebody to read. A pipe that takes
 * anything takes PIPE_BUF bytes, and no line is that long: better lost than
 * that the daemon stands still because of its log.
 */
static bool would_block(void)
{
    struct pollfd error = { .fd = STDERR_FILENO, .events = POLLOUT };
    return poll(&error, 1, 0) == 0;
}

void log_line(enum log_priority priority, const char *format, ...)
{
    char line[LINE_SIZE];
    size_t length = 0;
    if (log_is_journal(getenv("JOURNAL_STREAM"), STDERR_FILENO))
        length = (size_t)snprintf(line, sizeof line, "<%d>", (int)priority);
    va_list arguments;
    va_start(arguments, format);
    size_t room = sizeof line - 1 - length;
    int wanted = vsnprintf(line + length, room, format, arguments);
    va_end(arguments);
    utf8_tame(line + length);
    length += written(wanted, room);
    line[length++] = '\n';
    if (would_block() || write(STDERR_FILENO, line, length) < 0)
        return; /* there is nowhere left to say so */
}

/* The first failure of a link that dropped a while ago, too, and was mended at once. */
static bool is_known_drop(const struct log_trouble *trouble, const struct failure *failure,
                          struct moment now)
{
    return trouble->count == 1 && failure->code == FAILURE_DISCONNECTED &&
           moment_before(now, trouble->drop_next);
}

void log_trouble_failed(struct log_trouble *trouble, const char *name,
                        const struct failure *failure, struct moment now)
{
    char text[600];
    failure_text(failure, text, sizeof text);
    if (strncmp(text, name, strlen(name)) == 0 && text[strlen(name)] == ':')
        memmove(text, text + strlen(name) + 2, strlen(text + strlen(name) + 2) + 1);
    trouble->count++;
    if (trouble->count == 1)
        trouble->began = now;
    if (is_known_drop(trouble, failure, now))
        return;
    if (!trouble->said) {
        trouble->said = true;
        trouble->pause = first_pause;
        trouble->next = moment_plus(now, trouble->pause);
        log_line(LOG_PRIORITY_WARNING, "%s: %s", name, text);
    } else if (!moment_before(now, trouble->next)) {
        trouble->pause = duration_doubled(trouble->pause, first_pause, longest_pause);
        trouble->next = moment_plus(now, trouble->pause);
        log_line(LOG_PRIORITY_WARNING, "%s: failed %" PRIu64 " times in %.0f s, last: %s", name,
                 trouble->count, duration_seconds(moment_since(now, trouble->began)), text);
    }
}

static void say_over(const struct log_trouble *trouble, const char *name, struct moment now)
{
    char before[64] = "";
    if (trouble->drops > 0)
        snprintf(before, sizeof before, ", short drops before: %" PRIu64, trouble->drops);
    log_line(LOG_PRIORITY_NOTICE, "%s: works again after %.1f s and %" PRIu64 " failures%s", name,
             duration_seconds(moment_since(now, trouble->began)), trouble->count, before);
}

/* A trouble that was over with its first failure starts a silence, or doubles the last one. */
static struct log_trouble drops_after(const struct log_trouble *trouble, struct moment now)
{
    struct duration pause = duration_doubled(trouble->drop_pause, first_pause, longest_pause);
    if (trouble->count > 1)
        return (struct log_trouble) { 0 };
    return (struct log_trouble) { .drop_pause = pause, .drop_next = moment_plus(now, pause) };
}

void log_trouble_over(struct log_trouble *trouble, const char *name, struct moment now)
{
    if (trouble->count == 0)
        return;
    if (trouble->said) {
        say_over(trouble, name, now);
        *trouble = drops_after(trouble, now);
    } else {
        trouble->drops++;
    }
    trouble->count = 0;
}
