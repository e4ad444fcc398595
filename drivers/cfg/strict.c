/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "strict.h"

#include "slurp.h"
#include "strict_scan.h"

#include <ctype.h>
#include <math.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

enum { EXCERPT = 60 };

static const config_setting_t *root_of(const config_setting_t *setting)
{
    while (config_setting_parent(setting) != NULL)
        setting = config_setting_parent(setting);
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
    problems_add_all(problems, joined != NULL ? joined_file(joined, line) : NULL,
                     joined != NULL ? joined_line(joined, line) : 0, format, arguments);
    va_end(arguments);
}

/* Where line `number` of a text begins; its end when there are not so many. */
static const char *line_start(const char *text, int number)
{
    for (int line = 1; line < number; line++) {
        text += strcspn(text, "\n");
        text += *text == '\n' ? 1 : 0;
    }
    return text;
}

/* Copies a line without the blanks around it, cut to EXCERPT bytes. */
static void excerpt(const char *text, char out[EXCERPT + 1])
{
    text += strspn(text, " \t");
    size_t count = strcspn(text, "\r\n");
    count = count > EXCERPT ? EXCERPT : count;
    while (count > 0 && (isspace((unsigned char)text[count - 1]) || (text[count] & 0xC0) == 0x80))
        count--;
    memcpy(out, text, count);
    out[count] = '\0';
}

/* Whether a comma stands before the first bracket that closes a list on this line of the text. */
static bool comma_before_close(const char *text, const char *line)
{
    const char *at = line + strcspn(line, ")]\n");

    if (*at != ')' && *at != ']')
        return false;
    while (at > text && isspace((unsigned char)at[-1]))
        at--;
    return at > text && at[-1] == ',';
}

/* Whether a group stands right inside a group or an array on this line: its list has wrong brackets. */
static bool wrong_brackets(const char *line)
{
    for (const char *at = line; *at != '\0' && *at != '\n'; at++)
        if ((*at == '{' || *at == '[') && at[1 + strspn(at + 1, " \t")] == '{')
            return true;
    return false;
}

/* The parser says where it stopped; what it wanted there is for us to say. */
static const char *wanted(const char *error, bool end, bool comma, bool brackets)
{
    if (strncmp(error, "duplicate", strlen("duplicate")) == 0)
        return "each name once in a group";
    if (end)
        return "what closes it";
    if (brackets)
        return "a list of groups in round brackets, ( { ... }, { ... } )";
    return comma ? "no comma before the closing bracket" : "NAME = VALUE;";
}

static void report_parse(const config_t *config, const struct joined *joined,
                         struct problems *problems)
{
    int number = config_error_line(config);
    bool end = number > (int)joined->line_count;
    char shown[EXCERPT + 1];

    number = end ? (int)joined->line_count : number;
    const char *text = joined->text != NULL ? joined->text : "";
    const char *line = line_start(text, number);
    excerpt(line, shown);
    problems_add(problems, joined_file(joined, number), joined_line(joined, number),
                 "%s %s: %s   (expected %s)", config_error_text(config),
                 end ? "at the end" : "at or before", shown,
                 wanted(config_error_text(config), end, comma_before_close(text, line),
                        wrong_brackets(line)));
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

    if (text == NULL)
        return false;
    bool read = strict_read_text(config, text, length, path, problems);
    free(text);
    return read;
}

const char *strict_text(const config_t *config)
{
    const struct joined *joined = config_setting_get_hook(config_root_setting(config));

    return joined != NULL && joined->text != NULL ? joined->text : "";
}
