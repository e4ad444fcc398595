/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Making a token, and its line in the file. */
#include "tokens.h"

#include "daemon/basics/wall_clock.h"

#include <errno.h>
#include <fcntl.h>
#include <nettle/base64.h>
#include <string.h>
#include <sys/random.h>
#include <unistd.h>

enum { SECRET = 32, DAY_S = 86400 };

/* base64url of the secret (RFC 4648, 5), with room for padding and a terminator. */
#define TOKEN_TEXT (BASE64_ENCODE_RAW_LENGTH(SECRET) + 1)

static bool make_secret(char text[TOKEN_TEXT], struct failure *failure)
{
    uint8_t secret[SECRET];
    if (getrandom(secret, sizeof secret, 0) != SECRET)
        return failure_set(failure, FAILURE_SYSTEM, "getrandom", NULL, "%s", strerror(errno));
    base64_encode_raw(text, SECRET, secret);
    text[TOKEN_TEXT - 1] = '\0';
    for (char *at = text; *at != '\0'; at++)
        *at = (char)(*at == '+' ? '-' : *at == '/' ? '_' : *at);
    text[strcspn(text, "=")] = '\0';
    return true;
}

/* The file at its end, made when it is not there; -1 with the failure set. */
static int open_file(const char *path, const char *name, struct failure *failure)
{
    struct tokens tokens = { 0 };
    bool there = access(path, F_OK) == 0;
    if (there && !tokens_read(&tokens, path, failure))
        return -1;
    for (size_t i = 0; i < tokens.count; i++)
        if (strcmp(tokens.all[i].name, name) == 0)
            failure_set(failure, FAILURE_SETTINGS, path, "a name that is not there yet",
                        "there is a token %s", name);
    tokens_free(&tokens);
    if (failure->code != FAILURE_NONE)
        return -1;
    int file =
        open(path, O_WRONLY | O_APPEND | O_CREAT | O_CLOEXEC | O_NOFOLLOW | O_NONBLOCK, 0640);
    if (file < 0)
        failure_set(failure, FAILURE_SYSTEM, path, NULL, "%s", strerror(errno));
    return file;
}

static bool write_line(int file, const char *path, const char *line, struct failure *failure)
{
    size_t length = strlen(line);
    bool written = write(file, line, length) == (ssize_t)length && fsync(file) == 0;
    return written || failure_set(failure, FAILURE_SYSTEM, path, NULL, "%s", strerror(errno));
}

bool tokens_make(const char *path, const char *name, enum role role, int days, FILE *out,
                 struct failure *failure)
{
    char text[TOKEN_TEXT], digest[DIGEST_SIZE], expiry[TOKEN_DATE], line[PRINCIPAL_NAME * 2];
    const time_t last = wall_time_timespec(wall_time_now()).tv_sec + (time_t)days * DAY_S;
    struct tm parts;
    if (!make_secret(text, failure))
        return false;
    int file = open_file(path, name, failure);
    if (file < 0)
        return false;
    gmtime_r(&last, &parts);
    strftime(expiry, sizeof expiry, "%Y-%m-%d", &parts);
    snprintf(line, sizeof line, "%s %s %s %s\n", name, role_word(role), expiry,
             digest_bytes(text, strlen(text), digest));
    bool made = write_line(file, path, line, failure);
    close(file);
    if (made)
        fprintf(out, "%s\n", text);
    return made;
}
