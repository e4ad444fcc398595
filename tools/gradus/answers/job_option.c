/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "job_option.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/types.h>

/* A path or a name that ends in .json is a file with what is to be said of the job. */
static bool is_file(const char *text)
{
    const size_t length = strlen(text);
    return strchr(text, '/') != NULL || (length > 5 && strcmp(text + length - 5, ".json") == 0);
}

static json_t *read_job(const struct session *session)
{
    const char *const text = session->options->job;
    json_error_t error;
    if (!is_file(text))
        return json_pack("{s:s}", "name", text);
    json_t *const object = json_load_file(text, JSON_REJECT_DUPLICATES, &error);
    if (json_is_object(object))
        return object;
    terminal_complain(session->terminal, "--job: %s:%d: %s, expected a JSON object", text,
                      object == NULL ? error.line : 1, object == NULL ? error.text : "no object");
    json_decref(object);
    return NULL;
}

bool job_option(const struct session *session, json_t *params)
{
    const struct options *const options = session->options;
    if (options->job == NULL && options->serial == NULL && options->stage == NULL)
        return true;
    if (options->job == NULL) {
        terminal_complain(session->terminal, "--serial and --stage go with --job");
        return false;
    }
    json_t *const job = read_job(session);
    if (job == NULL)
        return false;
    if (options->serial != NULL)
        json_object_set_new(job, "serial", json_string(options->serial));
    if (options->stage != NULL)
        json_object_set_new(job, "stage", json_string(options->stage));
    return json_object_set_new(params, "job", job) == 0;
}

/* The lines of a file without blanks at their ends; empty ones are none. */
static void read_lines(FILE *file, json_t *list)
{
    char *line = NULL;
    size_t size = 0;
    ssize_t length;
    while ((length = getline(&line, &size, file)) >= 0) {
        while (length > 0 && strchr(" \t\r\n", line[length - 1]) != NULL)
            line[--length] = '\0';
        if (length > 0)
            json_array_append_new(list, json_string(line));
    }
    free(line);
}

bool job_serials_read(const struct session *session, json_t *list)
{
    const char *const path = session->options->serials;
    FILE *const file = strcmp(path, "-") == 0 ? stdin : fopen(path, "re");
    if (file == NULL) {
        terminal_complain(session->terminal, "--serials: %s: %s", path, strerror(errno));
        return false;
    }
    read_lines(file, list);
    if (file != stdin)
        fclose(file);
    return true;
}

bool job_serials(const struct session *session, json_t *params)
{
    json_t *const job = json_object_get(params, "job");
    if (session->options->serials == NULL)
        return true;
    if (job == NULL) {
        terminal_complain(session->terminal, "--serials goes with --job");
        return false;
    }
    json_t *const list = json_array();
    if (job_serials_read(session, list))
        return json_object_set_new(job, "serials", list) == 0;
    json_decref(list);
    return false;
}
