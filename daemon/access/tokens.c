/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "tokens.h"

#include <errno.h>
#include <nettle/base64.h>
#include <nettle/memops.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

enum { TOKENS_MOST = 1024, LINE_MOST = 256, DIGEST_DIGITS = DIGEST_SIZE - 1 };

bool tokens_is_name(const char *text)
{
    size_t length = strlen(text);
    return length > 0 && length < ACCESS_NAME &&
           strspn(text, "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789_.-") ==
               length;
}

static bool is_date(const char *text)
{
    struct tm day = { 0 };
    const char *end = strptime(text, "%Y-%m-%d", &day);
    return end != NULL && *end == '\0' && strlen(text) == TOKEN_DATE - 1;
}

static bool is_digest(const char *text)
{
    return strlen(text) == DIGEST_DIGITS && strspn(text, "0123456789abcdef") == DIGEST_DIGITS;
}

/* One line, taken apart; what is wrong with it is not repeated, as it may be a secret. */
static bool read_token(char *line, struct token *token)
{
    static const char blanks[] = " \t\r\n";
    char *rest = NULL;
    const char *name = strtok_r(line, blanks, &rest);
    const char *role = strtok_r(NULL, blanks, &rest);
    const char *expiry = strtok_r(NULL, blanks, &rest);
    const char *digest = strtok_r(NULL, blanks, &rest);
    if (digest == NULL || strtok_r(NULL, blanks, &rest) != NULL || !tokens_is_name(name) ||
        !role_of(role, &token->role) || !is_date(expiry) || !is_digest(digest))
        return false;
    snprintf(token->name, sizeof token->name, "%s", name);
    snprintf(token->expiry, sizeof token->expiry, "%s", expiry);
    snprintf(token->digest, sizeof token->digest, "%s", digest);
    return true;
}

static bool add(struct tokens *tokens, const struct token *token)
{
    for (size_t i = 0; i < tokens->count; i++)
        if (strcmp(tokens->all[i].name, token->name) == 0)
            return false;
    if (tokens->count == TOKENS_MOST)
        return false;
    tokens->all[tokens->count++] = *token;
    return true;
}

static bool read_lines(struct tokens *tokens, FILE *file, const char *path, struct failure *failure)
{
    char line[LINE_MOST], where[PRINCIPAL_NAME];
    for (int number = 1; fgets(line, sizeof line, file) != NULL; number++) {
        struct token token;
        bool whole = strchr(line, '\n') != NULL || feof(file);
        if (line[strspn(line, " \t\r\n")] == '\0' || (line[0] == '#' && whole))
            continue;
        snprintf(where, sizeof where, "%.100s:%d", path, number);
        if (!whole || !read_token(line, &token))
            return failure_set(failure, FAILURE_SETTINGS, where,
                               "NAME ROLE YYYY-MM-DD SHA-256, as gradus token writes it",
                               "the line is no token");
        if (!add(tokens, &token))
            return failure_set(failure, FAILURE_SETTINGS, where, "at most 1024 names, each once",
                               "token %s is there twice, or is one too many", token.name);
    }
    return !ferror(file) || failure_set(failure, FAILURE_SYSTEM, path, NULL, "%s", strerror(errno));
}

/* A regular file that nobody can have changed or read who should not. */
static bool is_private(FILE *file, const char *path, struct failure *failure)
{
    struct stat status;
    if (fstat(fileno(file), &status) != 0)
        return failure_set(failure, FAILURE_SYSTEM, path, NULL, "%s", strerror(errno));
    return (S_ISREG(status.st_mode) && (status.st_mode & (S_IWGRP | S_IRWXO)) == 0) ||
           failure_set(failure, FAILURE_SETTINGS, path, "a file of mode 0640 or less",
                       "it is of mode %04o", (unsigned)status.st_mode & 07777);
}

bool tokens_read(struct tokens *tokens, const char *path, struct failure *failure)
{
    struct tokens fresh = { .all = calloc(TOKENS_MOST, sizeof *fresh.all) };
    FILE *file = fopen(path, "re");
    bool read = false;
    if (file == NULL)
        failure_set(failure, FAILURE_SETTINGS, path, "a file that gradus token made", "%s",
                    strerror(errno));
    else if (fresh.all == NULL)
        failure_no_memory(failure, "tokens");
    else
        read = is_private(file, path, failure) && read_lines(&fresh, file, path, failure);
    if (file != NULL)
        fclose(file);
    if (!read) {
        tokens_free(&fresh);
        return false;
    }
    tokens_free(tokens);
    *tokens = fresh;
    return true;
}

void tokens_free(struct tokens *tokens)
{
    free(tokens->all);
    *tokens = (struct tokens) { 0 };
}

static void today(char date[TOKEN_DATE], struct wall_time now)
{
    struct tm parts;
    const time_t seconds = wall_time_timespec(now).tv_sec;
    gmtime_r(&seconds, &parts);
    strftime(date, TOKEN_DATE, "%Y-%m-%d", &parts);
}

static const struct token *find_digest(const struct tokens *tokens, const char *digest,
                                       struct wall_time now)
{
    const struct token *found = NULL;
    char date[TOKEN_DATE] = "";
    today(date, now);
    for (size_t i = 0; i < tokens->count; i++)
        if (memeql_sec(tokens->all[i].digest, digest, DIGEST_DIGITS) &&
            strcmp(date, tokens->all[i].expiry) <= 0)
            found = &tokens->all[i];
    return found;
}

const struct token *tokens_find(const struct tokens *tokens, const char *text, struct wall_time now)
{
    char digest[DIGEST_SIZE];
    return find_digest(tokens, digest_bytes(text, strlen(text), digest), now);
}

bool tokens_hold(const struct tokens *tokens, const char *digest, struct wall_time now)
{
    return find_digest(tokens, digest, now) != NULL;
}
