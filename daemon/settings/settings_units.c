/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "settings_units.h"

#include <stdlib.h>
#include <string.h>

/* A text as it was written, and where it stands. */
struct unit_text {
    config_setting_t *at;
    char *written;
};

struct unit_input {
    config_setting_t *at;
    int first;
    int step;
    int wrap; /* 0: never */
};

struct units_file {
    int first;
    int last;
};

static const struct strict_key units_keys[] = {
    { .name = "first",
      .type = STRICT_INTEGER,
      .offset = offsetof(struct units_file, first),
      .minimum = 1,
      .maximum = 99999,
      .help = "number of the first unit; default 1" },
    { .name = "last",
      .type = STRICT_INTEGER,
      .required = true,
      .offset = offsetof(struct units_file, last),
      .minimum = 1,
      .maximum = 99999,
      .help = "number of the last unit" },
    { .name = NULL },
};

static const struct strict_key input_keys[] = {
    { .name = "first",
      .type = STRICT_INTEGER,
      .offset = offsetof(struct unit_input, first),
      .minimum = 1,
      .maximum = PROFILE_INPUTS,
      .help = "input of the first unit; default 1" },
    { .name = "step",
      .type = STRICT_INTEGER,
      .offset = offsetof(struct unit_input, step),
      .minimum = 0,
      .maximum = PROFILE_INPUTS,
      .help = "from unit to unit; default 1" },
    { .name = "wrap",
      .type = STRICT_INTEGER,
      .offset = offsetof(struct unit_input, wrap),
      .minimum = 1,
      .maximum = PROFILE_INPUTS,
      .help = "after so many units it begins again; default never" },
    { .name = NULL },
};

static bool no_memory(struct settings *settings, const config_setting_t *at)
{
    problems_at(settings->problems, at, "no memory");
    return false;
}

/* Puts a number in the place of the group that says how an input depends on the unit. */
static bool read_input(struct settings *settings, struct stanza *stanza, config_setting_t *group)
{
    struct unit_input input = { .first = 1, .step = 1 };
    config_setting_t *parent = config_setting_parent(group);
    unsigned line = group->line;
    const char *file = group->file;
    struct unit_input *more =
        realloc(stanza->input, (stanza->input_count + 1) * sizeof *stanza->input);

    if (more == NULL)
        return no_memory(settings, group);
    stanza->input = more;
    if (!strict_group(group, input_keys, &input, settings->problems))
        return false;
    config_setting_remove(parent, "input");
    input.at = config_setting_add(parent, "input", CONFIG_TYPE_INT);
    if (input.at == NULL)
        return no_memory(settings, parent);
    input.at->line = line;
    input.at->file = file;
    stanza->input[stanza->input_count++] = input;
    return true;
}

static bool read_text(struct settings *settings, struct stanza *stanza, config_setting_t *at)
{
    const char *written = config_setting_get_string(at);
    if (strchr(written, '{') == NULL)
        return true;
    struct unit_text *more = realloc(stanza->text, (stanza->text_count + 1) * sizeof *stanza->text);
    char *copy = strdup(written);
    if (more != NULL)
        stanza->text = more;
    if (more == NULL || copy == NULL) {
        free(copy);
        return no_memory(settings, at);
    }
    stanza->text[stanza->text_count++] = (struct unit_text) { at, copy };
    return true;
}

/* Finds all that depends on the unit below a setting; trees are as deep as files are indented. */
static bool collect(struct settings *settings, struct stanza *stanza, config_setting_t *at)
{
    bool good = true;
    if (config_setting_type(at) == CONFIG_TYPE_STRING)
        return read_text(settings, stanza, at);
    if (!config_setting_is_aggregate(at))
        return true;
    config_setting_t *input =
        config_setting_is_group(at) ? config_setting_get_member(at, "input") : NULL;
    if (input != NULL && config_setting_is_group(input))
        good = read_input(settings, stanza, input);
    for (int i = 0; good && i < config_setting_length(at); i++)
        good = collect(settings, stanza, config_setting_get_elem(at, (unsigned)i));
    return good;
}

/* Length of a placeholder at `text`, 0 when it is none; what it says goes into block and width. */
static size_t read_place(const char *text, int *block, int *width)
{
    const char *at = text;
    char *end;
    *block = 1;
    *width = 0;
    if (strncmp(at, "{unit", 5) != 0)
        return 0;
    at += 5;
    if (*at == '/' && at[1] >= '1' && at[1] <= '9') {
        *block = (int)strtol(at + 1, &end, 10);
        at = end;
    }
    if (at[0] == ':' && at[1] == '0' && at[2] >= '1' && at[2] <= '9') {
        *width = at[2] - '0';
        at += 3;
    }
    return *at == '}' ? (size_t)(at + 1 - text) : 0;
}

/* Writes a text with what is in braces put in; false when there is something unknown in them. */
static bool fill_in(FILE *out, const char *written, int unit, size_t index)
{
    int block;
    int width;
    for (const char *at = written; *at != '\0'; at++) {
        size_t length = *at == '{' ? read_place(at, &block, &width) : 0;
        if (*at == '{' && length == 0)
            return false;
        if (length == 0)
            fputc(*at, out);
        else
            fprintf(out, "%0*d", width, block == 1 ? unit : (int)(index / (size_t)block) + 1);
        at += length > 0 ? length - 1 : 0;
    }
    return true;
}

static void turn_text(struct settings *settings, const struct unit_text *text, int unit,
                      size_t index)
{
    char *filled = NULL;
    size_t length = 0;
    FILE *out = open_memstream(&filled, &length);
    bool known = out != NULL && fill_in(out, text->written, unit, index);
    bool closed = out != NULL && fclose(out) == 0;
    if (closed && known)
        config_setting_set_string(text->at, filled);
    else if (!closed)
        no_memory(settings, text->at);
    else
        problems_at(settings->problems, text->at,
                    "\"%s\" has something else in braces, expected {unit}, {unit:02} or {unit/8}",
                    text->written);
    free(filled);
}

/* The name without what is in braces, and without the separators that leaves at its ends. */
static void read_name(struct stanza *stanza)
{
    const config_setting_t *member = config_setting_get_member(stanza->group, "name");
    const char *written = member != NULL ? config_setting_get_string(member) : NULL;
    size_t length = 0;
    for (const char *at = written; at != NULL && *at != '\0' && length < BENCH_NAME - 1; at++) {
        const char *brace = *at == '{' ? strchr(at, '}') : NULL;
        if (brace != NULL)
            at = brace;
        else if (length > 0 || strchr("._-", *at) == NULL)
            stanza->name[length++] = *at;
    }
    while (length > 0 && strchr("._-", stanza->name[length - 1]) != NULL)
        length--;
    stanza->name[length] = '\0';
}

/* Whether `units` is written well; sets first and count. */
static bool read_units(struct settings *settings, struct stanza *stanza,
                       const config_setting_t *units)
{
    struct units_file file = { .first = 1 };
    if (!strict_group(units, units_keys, &file, settings->problems))
        return false;
    if (file.last < file.first || file.last - file.first >= UNITS_MOST) {
        problems_at(settings->problems, units,
                    "units %d to %d, expected the first one first, and %d at most", file.first,
                    file.last, UNITS_MOST);
        return false;
    }
    stanza->first = file.first;
    stanza->count = (size_t)(file.last - file.first) + 1;
    return true;
}

struct stanza stanza_begin(struct settings *settings, config_setting_t *group)
{
    struct stanza stanza = { .group = group, .count = 1 };
    const config_setting_t *units = strict_member(group, "units");
    if (units == NULL || !config_setting_is_group(units))
        return stanza;
    stanza.many = true;
    stanza.count = 0;
    read_name(&stanza);
    if (!read_units(settings, &stanza, units) || !collect(settings, &stanza, group))
        stanza.count = 0;
    return stanza;
}

int stanza_unit(const struct stanza *stanza, size_t index)
{
    return stanza->many ? stanza->first + (int)index : 0;
}

void stanza_turn(struct settings *settings, const struct stanza *stanza, size_t index)
{
    for (size_t i = 0; i < stanza->text_count; i++)
        turn_text(settings, &stanza->text[i], stanza_unit(stanza, index), index);
    for (size_t i = 0; i < stanza->input_count; i++) {
        const struct unit_input *input = &stanza->input[i];
        int turn = input->wrap > 0 ? (int)index % input->wrap : (int)index;
        config_setting_set_int(input->at, input->first + turn * input->step);
    }
}

void stanza_end(struct stanza *stanza)
{
    for (size_t i = 0; i < stanza->text_count; i++) {
        config_setting_set_string(stanza->text[i].at, stanza->text[i].written);
        free(stanza->text[i].written);
    }
    free(stanza->text);
    free(stanza->input);
    *stanza = (struct stanza) { 0 };
}

void settings_print_unit_keys(FILE *out)
{
    fprintf(out, "units of a point, {unit} in its texts:\n");
    strict_print_keys(out, units_keys);
    fprintf(out, "input of a point with units, instead of a number:\n");
    strict_print_keys(out, input_keys);
}
