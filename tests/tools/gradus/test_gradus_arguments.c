/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "tools/gradus/arguments.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "tools/gradus/basics/status.h"
#include "tools/gradus/commands.h"

enum { MOST_WORDS = 16 };

/* A command line that can be written to, as main() has it. */
struct line {
    char copies[MOST_WORDS][64];
    char *words[MOST_WORDS + 1];
    struct arguments arguments;
    char problem[256];
};

static bool parse(struct line *line, const char *const *words)
{
    int count = 1;
    line->words[0] = strcpy(line->copies[0], "gradus");
    for (; words[count - 1] != NULL; count++)
        line->words[count] = strcpy(line->copies[count], words[count - 1]);
    line->words[count] = NULL;
    return arguments_parse(count, line->words, &line->arguments, line->problem,
                           sizeof line->problem);
}

#define PARSE(line, ...) parse((line), (const char *const[]) { __VA_ARGS__, NULL })

static void check_refused(struct line *line, bool parsed, const char *says)
{
    assert_false(parsed);
    assert_non_null(strstr(line->problem, says));
}

static void mistakes_are_refused(void **state)
{
    (void)state;
    struct line line;
    check_refused(&line, PARSE(&line, "mesure"), "\"measure\"");
    check_refused(&line, PARSE(&line, "measure"), "too few");
    check_refused(&line, PARSE(&line, "points", "x"), "too many");
    check_refused(&line, PARSE(&line, "measure", "x", "--all"), "--all");
    check_refused(&line, PARSE(&line, "measure", "x", "--count", "3"), "does not go with");
    check_refused(&line, PARSE(&line, "measure", "x", "--csv", "--json"), "exclude");
    check_refused(&line, PARSE(&line, "measure", "x", "--no"), "no such option");
    check_refused(&line, PARSE(&line, "measure", "x", "--digit", "1"), "no such option");
    check_refused(&line, PARSE(&line, "measure", "x", "--quiet=yes"), "takes no value");
    check_refused(&line, PARSE(&line, "measure", "x", "--repeat"), "needs a value");
}

static void numbers_are_checked(void **state)
{
    (void)state;
    static const char *const wrong[] = { "",   "0",  "10001", "1.5", "1e99", "0x10", "nan",
                                         "-1", "1 ", " 1",    "1,5", "ten",  "inf",  "1e400" };
    struct line line;
    for (size_t i = 0; i < sizeof wrong / sizeof wrong[0]; i++)
        check_refused(&line, PARSE(&line, "measure", "x", "--repeat", wrong[i]), "--repeat");
    assert_true(PARSE(&line, "measure", "x", "--repeat", "10000", "--deadline", "2.5e2"));
    assert_int_equal(line.arguments.options.repeat, 10000);
    assert_true(line.arguments.options.deadline_ms == 250);
}

static void options_stand_before_and_after(void **state)
{
    (void)state;
    struct line line;
    assert_true(
        PARSE(&line, "--json", "--digits=1", "measure", "--repeat", "3", "a", "--quiet", "b"));
    assert_ptr_equal(line.arguments.command, &command_measure);
    assert_true(line.arguments.options.json && line.arguments.options.quiet);
    assert_int_equal(line.arguments.options.digits, 1);
    assert_int_equal(line.arguments.operand_count, 2);
    assert_string_equal(line.arguments.operands[0], "a");
    assert_string_equal(line.arguments.operands[1], "b");
    assert_null(line.arguments.operands[2]);
}

static void two_dashes_end_the_options(void **state)
{
    (void)state;
    struct line line;
    assert_true(PARSE(&line, "talk", "meter", "--", "--help"));
    assert_false(line.arguments.options.help);
    assert_string_equal(line.arguments.operands[1], "--help");
}

static void what_is_for_the_other_program_passes_untouched(void **state)
{
    (void)state;
    struct line line;
    assert_true(PARSE(&line, "try", "p", "l", "--yes", "--", "--json"));
    assert_int_equal(line.arguments.operand_count, 5);
    assert_string_equal(line.arguments.operands[3], "--");
    assert_false(line.arguments.options.json);
}

static void help_asks_for_no_operands(void **state)
{
    (void)state;
    struct line line;
    assert_true(PARSE(&line, "capture", "-h"));
    assert_true(line.arguments.options.help);
    assert_true(PARSE(&line, "--version"));
    assert_null(line.arguments.command);
}

static void the_socket_comes_from_the_environment_unless_given(void **state)
{
    (void)state;
    struct line line;
    unsetenv("GRADUS_SOCKET");
    assert_true(PARSE(&line, "points"));
    assert_string_equal(line.arguments.options.socket, "unix:/run/gradus/gradus.sock");
    setenv("GRADUS_SOCKET", "unix:/x", 1);
    assert_true(PARSE(&line, "points"));
    assert_string_equal(line.arguments.options.socket, "unix:/x");
    assert_true(PARSE(&line, "points", "--socket", "tcp:h:1"));
    assert_string_equal(line.arguments.options.socket, "tcp:h:1");
    unsetenv("GRADUS_SOCKET");
}

/* --json and --csv have no value, but behind "burnin report" they name a file. */
static void forms_of_a_report_name_files(void **state)
{
    (void)state;
    struct line line;
    const struct options *options = &line.arguments.options;
    assert_true(PARSE(&line, "burnin", "report", "rack", "--csv", "a.csv", "--json=b.json"));
    assert_string_equal(options->csv_file, "a.csv");
    assert_string_equal(options->json_file, "b.json");
    assert_false(options->csv || options->json);
    assert_int_equal(line.arguments.operand_count, 2);
    assert_true(PARSE(&line, "burnin", "report", "rack", "--csv", "--html", "c.html"));
    assert_string_equal(options->csv_file, "-");
    assert_string_equal(options->html, "c.html");
    assert_true(PARSE(&line, "burnin", "report", "rack", "--json"));
    assert_string_equal(options->json_file, "-");
    assert_true(PARSE(&line, "--json", "burnin", "report", "rack"));
    assert_true(options->json && options->json_file == NULL);
    check_refused(&line, PARSE(&line, "burnin", "report", "rack", "--csv="), "--csv needs a file");
    assert_true(PARSE(&line, "burnin", "status", "rack", "--json"));
    assert_true(options->json && options->json_file == NULL);
    check_refused(&line, PARSE(&line, "burnin", "status", "--json=x"), "takes no value");
    check_refused(&line, PARSE(&line, "points", "--pdf", "x"), "does not go with");
}

static void every_subcommand_is_described(void **state)
{
    (void)state;
    for (const struct command *const *at = command_list(); *at != NULL; at++) {
        const struct command *const command = *at;
        assert_ptr_equal(command_find(command_list(), command->name), command);
        assert_non_null(command->arguments);
        assert_true(strlen(command->summary) > 0 && strlen(command->summary) < 60);
        assert_int_equal(command->usage[strlen(command->usage) - 1], '\n');
        assert_non_null(command->run);
    }
    assert_null(command_find(command_list(), "Measure"));
    assert_null(command_nearest("xyzzy"));
}

static void the_worst_status_wins(void **state)
{
    (void)state;
    static const int order[] = STATUS_ORDER;
    assert_int_equal(order[0], 2);
    for (size_t i = 0; i < sizeof order / sizeof order[0]; i++) {
        for (size_t j = i; j < sizeof order / sizeof order[0]; j++) {
            assert_int_equal(status_worse(order[i], order[j]), order[i]);
            assert_int_equal(status_worse(order[j], order[i]), order[i]);
        }
    }
    assert_int_equal(status_worse(0, 77), 77);
    assert_int_equal(status_of_verdict(NULL), STATUS_NO_READING);
    assert_int_equal(status_of_verdict("Pass"), STATUS_NO_READING);
    assert_int_equal(status_of_verdict("conditional fail"), STATUS_UNDECIDED);
    assert_int_equal(status_of_verdict("fail"), STATUS_FAIL);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(mistakes_are_refused),
        cmocka_unit_test(numbers_are_checked),
        cmocka_unit_test(options_stand_before_and_after),
        cmocka_unit_test(two_dashes_end_the_options),
        cmocka_unit_test(what_is_for_the_other_program_passes_untouched),
        cmocka_unit_test(help_asks_for_no_operands),
        cmocka_unit_test(the_socket_comes_from_the_environment_unless_given),
        cmocka_unit_test(forms_of_a_report_name_files),
        cmocka_unit_test(every_subcommand_is_described),
        cmocka_unit_test(the_worst_status_wins),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
