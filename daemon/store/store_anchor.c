/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "store_anchor.h"

#include "daemon/basics/wall_clock.h"
#include "daemon/encode/encode.h"

#include <errno.h>
#include <fcntl.h>
#include <inttypes.h>
#include <nettle/hmac.h>
#include <nettle/memops.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

/* How much of the end of a file is read: the last lines, whatever a kill or a full disk left behind them. */
enum { END_SIZE = 64 * 1024, WORDS_MOST = 6, HEX_SIZE = 2 * CHAIN_SIZE };

char *anchor_path(const char *path, char *name, size_t size)
{
    snprintf(name, size, "%s.anchors", path);
    return name;
}

char *anchor_hex(const uint8_t digest[CHAIN_SIZE], char text[2 * CHAIN_SIZE + 1])
{
    for (size_t i = 0; i < CHAIN_SIZE; i++)
        snprintf(text + 2 * i, 3, "%02x", digest[i]);
    return text;
}

static int hex_digit(char digit)
{
    static const char digits[] = "0123456789abcdef";
    const char *found = digit != '\0' ? strchr(digits, digit) : NULL;
    return found != NULL ? (int)(found - digits) : -1;
}

static bool read_hex(const char *text, uint8_t digest[CHAIN_SIZE])
{
    if (strlen(text) != HEX_SIZE)
        return false;
    for (size_t i = 0; i < CHAIN_SIZE; i++) {
        int high = hex_digit(text[2 * i]);
        int low = hex_digit(text[2 * i + 1]);
        if (high < 0 || low < 0)
            return false;
        digest[i] = (uint8_t)(high * 16 + low);
    }
    return true;
}

/* A regular file and nothing else is opened, and no link followed. -1 with the failure set. */
static int open_file(const char *path, int flags, struct failure *failure)
{
    struct stat status;
    int file = open(path, flags | O_NOFOLLOW | O_NONBLOCK | O_NOCTTY | O_CLOEXEC, 0600);
    if (file >= 0 && fstat(file, &status) == 0 && S_ISREG(status.st_mode))
        return file;
    failure_set(failure, FAILURE_SYSTEM, path, "a regular file", "it cannot be opened: %s",
                file < 0 ? strerror(errno) : "it is none");
    if (file >= 0)
        close(file);
    return -1;
}

/* Reads up to `size` bytes from an offset; fewer at the end of the file, -1 on an error. */
static ssize_t read_at(int file, void *bytes, size_t size, off_t offset)
{
    size_t done = 0;
    while (done < size) {
        ssize_t count = pread(file, (char *)bytes + done, size - done, offset + (off_t)done);
        if (count < 0 && errno == EINTR)
            continue;
        if (count < 0)
            return -1;
        if (count == 0)
            break;
        done += (size_t)count;
    }
    return (ssize_t)done;
}

bool anchor_key_read(const char *path, struct anchor_key *key, struct failure *failure)
{
    struct stat status;
    *key = (struct anchor_key) { 0 };
    if (path[0] == '\0')
        return true;
    int file = open(path, O_RDONLY | O_NONBLOCK | O_NOCTTY | O_CLOEXEC);
    if (file < 0 || fstat(file, &status) != 0) {
        failure_set(failure, FAILURE_SETTINGS, path, "a file with a key", "%s", strerror(errno));
    } else if (!S_ISREG(status.st_mode) || (status.st_mode & (S_IROTH | S_IWOTH)) != 0) {
        failure_set(failure, FAILURE_SETTINGS, path, "a regular file that others cannot read",
                    "others may read or write it");
    } else {
        ssize_t count = read_at(file, key->bytes, sizeof key->bytes, 0);
        key->length = count > 0 ? (size_t)count : 0;
        if (key->length < ANCHOR_KEY_LEAST || status.st_size > ANCHOR_KEY_MOST)
            failure_set(failure, FAILURE_SETTINGS, path, "16 to 4096 bytes",
                        "the key has %jd bytes", (intmax_t)status.st_size);
    }
    if (file >= 0)
        close(file);
    return failure->code == FAILURE_NONE;
}

static void make_mac(const struct anchor_key *key, const uint8_t before[CHAIN_SIZE],
                     const char *line, size_t length, uint8_t mac[CHAIN_SIZE])
{
    struct hmac_sha256_ctx context;
    hmac_sha256_set_key(&context, key->length, key->bytes);
    hmac_sha256_update(&context, CHAIN_SIZE, before);
    hmac_sha256_update(&context, length, (const uint8_t *)line);
    hmac_sha256_digest(&context, CHAIN_SIZE, mac);
}

/* Splits at blanks, in place; the number of words, 0 when there are too many. */
static int split(char *line, char *words[WORDS_MOST])
{
    int count = 0;
    char *rest = line;
    for (char *word = strsep(&rest, " "); word != NULL; word = strsep(&rest, " ")) {
        if (count == WORDS_MOST)
            return 0;
        words[count++] = word;
    }
    return count;
}

/* What the words say, but for the HMAC; the number of words that were taken, 0: they say nothing. */
static int read_words(char *const words[WORDS_MOST], int count, struct anchor *anchor)
{
    char *end = NULL;
    if (count >= 3 && strcmp(words[0], "aside") == 0) {
        snprintf(anchor->time, sizeof anchor->time, "%s", words[2]);
        return 3;
    }
    if (count < 4 || strcmp(words[0], "row") != 0 || !read_hex(words[2], anchor->digest))
        return 0;
    errno = 0;
    anchor->id = strtoll(words[1], &end, 10);
    if (errno != 0 || *end != '\0' || anchor->id < 0 || anchor->id == INT64_MAX)
        return 0;
    snprintf(anchor->time, sizeof anchor->time, "%s", words[3]);
    return 4;
}

bool anchor_parse(const char *line, size_t length, const struct anchor_key *key,
                  const uint8_t before[CHAIN_SIZE], struct anchor *anchor, bool *wrong)
{
    char copy[ANCHOR_LINE];
    char *words[WORDS_MOST];
    struct anchor read = { 0 };
    if (length >= sizeof copy || memchr(line, '\0', length) != NULL)
        return false;
    memcpy(copy, line, length);
    copy[length] = '\0';
    int count = split(copy, words);
    int taken = read_words(words, count, &read);
    if (taken == 0 || count > taken + 1 ||
        (count == taken + 1 && !read_hex(words[taken], read.mac)))
        return false;
    read.keyed = count == taken + 1;
    *wrong = false;
    if (key->length > 0 && read.keyed) {
        uint8_t expected[CHAIN_SIZE];
        make_mac(key, before, line, length - HEX_SIZE - 1, expected);
        *wrong = !memeql_sec(expected, read.mac, CHAIN_SIZE);
    }
    *anchor = read;
    return true;
}

/* Looks through the last lines; the first may be half a one, and has nothing before it. */
static void find_last(const char *bytes, size_t length, bool whole, const struct anchor_key *key,
                      struct anchor_end *end)
{
    bool known = whole; /* what stands before a line */
    const char *line = bytes;
    const char *newline;
    size_t left = length;
    while ((newline = memchr(line, '\n', left)) != NULL) {
        bool wrong = false;
        bool keyed = end->last.keyed;
        if (anchor_parse(line, (size_t)(newline - line), key, end->last.mac, &end->last, &wrong)) {
            end->wrong = known && (wrong || (keyed && !end->last.keyed && key->length > 0));
            known = true;
        }
        left -= (size_t)(newline + 1 - line);
        line = newline + 1;
    }
}

bool anchor_read_end(const char *path, const struct anchor_key *key, struct anchor_end *end,
                     struct failure *failure)
{
    struct stat status;
    *end = (struct anchor_end) { 0 };
    if (access(path, F_OK) != 0 && errno == ENOENT)
        return true;
    int file = open_file(path, O_RDONLY, failure);
    char *bytes = file >= 0 ? malloc(END_SIZE) : NULL;
    bool read = bytes != NULL && fstat(file, &status) == 0;
    if (read) {
        off_t from = status.st_size > END_SIZE ? status.st_size - END_SIZE : 0;
        ssize_t count = read_at(file, bytes, END_SIZE, from);
        read = count >= 0;
        end->there = true;
        if (read)
            find_last(bytes, (size_t)count, from == 0, key, end);
    }
    free(bytes);
    if (file >= 0)
        close(file);
    return read || failure_set(failure, FAILURE_SYSTEM, path, NULL, "it cannot be read");
}

/* Writes a line behind what is there; behind half a line that a kill has left, on one of its own. */
static bool write_line(int file, const char *line, size_t length)
{
    struct stat status;
    char last = '\n';
    if (fstat(file, &status) != 0 ||
        (status.st_size > 0 && read_at(file, &last, 1, status.st_size - 1) != 1))
        return false;
    if (last != '\n' && write(file, "\n", 1) != 1)
        return false;
    return write(file, line, length) == (ssize_t)length && fdatasync(file) == 0;
}

bool anchor_append(const char *path, const struct anchor_key *key, struct anchor *last, int64_t id,
                   const uint8_t digest[CHAIN_SIZE], const char *aside, struct failure *failure)
{
    char line[ANCHOR_LINE];
    char hex[HEX_SIZE + 1];
    struct anchor next = { .id = aside != NULL ? 0 : id, .keyed = key->length > 0 };
    encode_time(next.time, wall_time_now());
    int length = aside != NULL ? snprintf(line, sizeof line, "aside %.200s %s", aside, next.time)
                               : snprintf(line, sizeof line, "row %" PRId64 " %s %s", id,
                                          anchor_hex(digest, hex), next.time);
    if (aside == NULL)
        memcpy(next.digest, digest, CHAIN_SIZE);
    if (next.keyed) {
        make_mac(key, last->mac, line, (size_t)length, next.mac);
        length +=
            snprintf(line + length, sizeof line - (size_t)length, " %s", anchor_hex(next.mac, hex));
    }
    line[length++] = '\n';
    int file = open_file(path, O_RDWR | O_APPEND | O_CREAT, failure);
    if (file < 0)
        return false;
    bool written = write_line(file, line, (size_t)length);
    if (!written)
        failure_set(failure, FAILURE_SYSTEM, path, NULL, "it cannot be written: %s",
                    strerror(errno));
    else
        *last = next;
    close(file);
    return written;
}
