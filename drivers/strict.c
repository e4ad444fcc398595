/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "strict.h"

#include "slurp.h"
#include "strict_scan.h"

#include <ctype.h>
#include <math.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

enum { MESSAGE = 1024, EXCERPT = 60 };

void problems_free(struct problems *problems)
{
    for (size_t i = 0; i < problems->count; i++) {
        free(problems->lines[i]);
    }
    free(problems->lines);
    *problems = (struct problems) { 0 };
}

static void append(struct problems *problems, const char *text)
{
    problems->total++;
    if (problems->count == PROBLEMS_MAX) {
        return;
    }
    char **lines = realloc(problems->lines, (problems->count + 1) * sizeof *lines);
    if (lines == NULL) {
        return;
    }
    problems->lines = lines;
    lines[problems->count] = strdup(text);
    if (lines[problems->count] != NULL) {
        problems->count++;
    }
}

__attribute__((format(printf, 4, 0))) static void append_formatted(struct problems *problems,
                                                                   const char *file, int line,
                                                                   const char *format,
                                                                   va_list arguments)
{
    char text[MESSAGE];
    int count = 0;

    if (file != NULL && line > 0) {
        count = snprintf(text, sizeof text, "%s:%d: ", file, line);
    } else if (file != NULL) {
        count = snprintf(text, sizeof text, "%s: ", file);
    }
    if (count >= 0 && (size_t)count < sizeof text) {
        vsnprintf(text + count, sizeof text - (size_t)count, format, arguments);
    }
    append(problems, text);
}

void problems_add(struct problems *problems, const char *file, int line, const char *format, ...)
{
    va_list arguments;

    va_start(arguments, format);
    append_formatted(problems, file, line, format, arguments);
    va_end(arguments);
}

static const config_setting_t *root_of(const config_setting_t *setting)
{
    while (config_setting_parent(setting) != NULL) {
        setting = config_setting_parent(setting);
    }
    return setting;
}

/* The joined text hangs on the root as its hook. */
static const struct joined *joined_of(const config_setting_t *setting)
{
    return config_setting_get_hook(root_of(setting));
}

int strict_line(const config_setting_t *setting)
{
    const struct joined *joined = joined_of(setting);

    return joined != NULL ? joined_line(joined, (int)config_setting_source_line(setting)) : 0;
}

bool strict_doubtful(const config_setting_t *setting)
{
    const struct joined *joined = joined_of(setting);

    return joined != NULL && joined_doubtful(joined, (int)config_setting_source_line(setting));
}

void problems_at(struct problems *problems, const config_setting_t *setting, const char *format,
                 ...)
{
    const struct joined *joined = joined_of(setting);
    int line = (int)config_setting_source_line(setting);
    va_list arguments;

    va_start(arguments, format);
    append_formatted(problems, joined != NULL ? joined_file(joined, line) : NULL,
                     joined != NULL ? joined_line(joined, line) : 0, format, arguments);
    va_end(arguments);
}

/* Copies line `number` of a text without the blanks around it, cut to EXCERPT bytes. */
static void excerpt(const char *text, int number, char out[EXCERPT + 1])
{
    for (int line = 1; line < number && text != NULL; line++) {
        text = strchr(text, '\n');
        text = text != NULL ? text + 1 : NULL;
    }
    if (text == NULL) {
        text = "";
    }
    text += strspn(text, " \t");
    size_t count = strcspn(text, "\r\n");
    count = count > EXCERPT ? EXCERPT : count;
    while (count > 0 && (isspace((unsigned char)text[count - 1]) || (text[count] & 0xC0) == 0x80)) {
        count--;
    }
    memcpy(out, text, count);
    out[count] = '\0';
}

static void report_parse(const config_t *config, const struct joined *joined,
                         struct problems *problems)
{
    int line = config_error_line(config);
    bool end = line > (int)joined->line_count;
    char text[EXCERPT + 1];

    line = end ? (int)joined->line_count : line;
    excerpt(joined->text, line, text);
    problems_add(problems, joined_file(joined, line), joined_line(joined, line),
                 "%s %s: %s   (expected %s)", config_error_text(config),
                 end ? "at the end" : "at or before", text,
                 end ? "what closes it" : "NAME = VALUE;");
}

static void free_joined(void *hook)
{
    struct joined *joined = hook;

    joined_free(joined);
    free(joined);
}

bool strict_read_text(config_t *config, const char *text, size_t length, const char *name,
                      struct problems *problems)
{
    struct joined *joined = calloc(1, sizeof *joined);

    if (joined == NULL) {
        problems_add(problems, name, 0, "no memory");
        return false;
    }
    if (!strict_scan(joined, text, length, name, problems)) {
        free_joined(joined);
        return false;
    }
    if (config_read_string(config, joined->text != NULL ? joined->text : "") != CONFIG_TRUE) {
        report_parse(config, joined, problems);
        free_joined(joined);
        return false;
    }
    config_set_destructor(config, free_joined);
    config_setting_set_hook(config_root_setting(config), joined);
    return true;
}

bool strict_read_file(config_t *config, const char *path, struct problems *problems)
{
    size_t length = 0;
    char *text = slurp(path, &length, NULL, 0, problems);

    if (text == NULL) {
        return false;
    }
    bool read = strict_read_text(config, text, length, path, problems);
    free(text);
    return read;
}

const char *strict_text(const config_t *config)
{
    const struct joined *joined = config_setting_get_hook(config_root_setting(config));

    return joined != NULL && joined->text != NULL ? joined->text : "";
}
