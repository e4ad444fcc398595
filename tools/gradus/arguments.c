/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "arguments.h"

#include "commands.h"

#include <stdio.h>
#include <string.h>

/* Where reading stands. */
struct reader {
    struct arguments *arguments;
    char **argv;
    int argc;
    int next;  /* word to be read */
    int kept;  /* operands so far, moved to the front of argv */
    bool only; /* "--" was seen: the rest are no options */
    char *problem;
    unsigned long problem_size;
};

static bool fail(struct reader *reader, const char *text, const char *word)
{
    snprintf(reader->problem, reader->problem_size, "%s%s", word, text);
    return false;
}

static bool fail_option(struct reader *reader, const char *word, const char *nearest)
{
    snprintf(reader->problem, reader->problem_size, "%s: no such option; %s%s%s", word,
             nearest == NULL ? "see gradus help" : "did you mean ", nearest == NULL ? "" : nearest,
             nearest == NULL ? "" : "?");
    return false;
}

/* Whether an option that has no value elsewhere names a file here. */
static bool names_file(const struct reader *reader, const struct option_row *row)
{
    const struct command *command = reader->arguments->command;
    return command != NULL && (command->files & row->bit) != 0 && reader->kept > 0 &&
           strcmp(reader->argv[0], command->filing) == 0;
}

static bool is_option(const char *word)
{
    return word[0] == '-' && word[1] != '\0';
}

/* The file may be left out where nothing or an option follows. */
static bool read_file(struct reader *reader, const struct option_row *row, const char *file)
{
    if (file == NULL && reader->next < reader->argc && !is_option(reader->argv[reader->next]))
        file = reader->argv[reader->next++];
    if (file != NULL && file[0] == '\0')
        return fail(reader, " needs a file", row->name);
    options_read_file(&reader->arguments->options, row, file);
    return true;
}

static bool read_option(struct reader *reader, const char *word)
{
    char name[32];
    const char *const equals = strchr(word, '=');
    const size_t length = equals == NULL ? strlen(word) : (size_t)(equals - word);
    snprintf(name, sizeof name, "%.*s", (int)length, word);
    const struct option_row *const row = length < sizeof name ? options_find(name) : NULL;
    if (row == NULL)
        return fail_option(reader, word, length < sizeof name ? options_nearest(name) : NULL);
    const char *value = equals == NULL ? NULL : equals + 1;
    if (names_file(reader, row))
        return read_file(reader, row, value);
    if (value == NULL && row->argument != NULL && reader->next < reader->argc)
        value = reader->argv[reader->next++];
    return options_take(&reader->arguments->options, row, value, reader->problem,
                        reader->problem_size);
}

static bool read_command(struct reader *reader, const char *word)
{
    reader->arguments->command = command_find(command_list(), word);
    if (reader->arguments->command == NULL) {
        const char *const nearest = command_nearest(word);
        snprintf(reader->problem, reader->problem_size, "\"%s\" is not a subcommand; %s%s%s", word,
                 nearest == NULL ? "see gradus help" : "did you mean \"",
                 nearest == NULL ? "" : nearest, nearest == NULL ? "" : "\"?");
        return false;
    }
    return true;
}

static bool read_word(struct reader *reader, char *word)
{
    const struct command *const command = reader->arguments->command;
    const bool verbatim = reader->only || (command != NULL && command->passes_on);
    if (!verbatim && strcmp(word, "--") == 0) {
        reader->only = true;
        return true;
    }
    if (!verbatim && is_option(word))
        return read_option(reader, word);
    if (command == NULL)
        return read_command(reader, word);
    reader->argv[reader->kept++] = word;
    return true;
}

/* Whether each option that was given goes with the subcommand. */
static bool check_options(struct reader *reader)
{
    const struct arguments *const arguments = reader->arguments;
    const uint64_t allowed = OPTIONS_GLOBAL | arguments->command->options;
    for (const struct option_row *row = options_table(); row->name != NULL; row++) {
        if ((arguments->options.given & row->bit & ~allowed) != 0) {
            snprintf(reader->problem, reader->problem_size,
                     "%s does not go with \"%s\"; see gradus help %s", row->name,
                     arguments->command->name, arguments->command->name);
            return false;
        }
    }
    if (arguments->options.json && arguments->options.csv)
        return fail(reader, "--json and --csv exclude each other", "");
    return true;
}

static bool check_words(struct reader *reader)
{
    for (int i = 0; i < reader->kept; i++)
        if (reader->argv[i][0] == '\0')
            return fail(reader, "an argument is empty", "");
    return true;
}

static bool check_operands(struct reader *reader)
{
    const struct command *const command = reader->arguments->command;
    const bool few = reader->kept < command->least && !reader->arguments->options.all;
    const bool many = command->most >= 0 && reader->kept > command->most;
    if (few || many) {
        snprintf(reader->problem, reader->problem_size, "too %s arguments; usage: gradus %s%s%s",
                 few ? "few" : "many", command->name, command->arguments[0] == '\0' ? "" : " ",
                 command->arguments);
    } else if (reader->arguments->options.all && reader->kept > 0) {
        return fail(reader, ": --all means every point; name none beside it", reader->argv[0]);
    }
    return !few && !many;
}

bool arguments_parse(int argc, char **argv, struct arguments *arguments, char *problem,
                     unsigned long problem_size)
{
    struct reader reader = { .arguments = arguments,
                             .argv = argv,
                             .argc = argc,
                             .next = 1,
                             .problem = problem,
                             .problem_size = problem_size };
    *arguments = (struct arguments) { .options = options_default() };
    while (reader.next < argc) {
        char *const word = argv[reader.next++];
        if (!read_word(&reader, word))
            return false;
    }
    argv[reader.kept] = NULL;
    arguments->operands = argv;
    arguments->operand_count = reader.kept;
    if (arguments->command == NULL || arguments->options.help || arguments->options.version)
        return true;
    return check_options(&reader) && check_words(&reader) && check_operands(&reader);
}
