/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "drivers/cfg/pattern.h"
#include "drivers/cfg/pattern_edges.h"

#include <stdbool.h>
#include <string.h>

static void refused(const char *text, const char *why)
{
    regex_t pattern;
    char reason[128] = "";

    if (pattern_compile(&pattern, text, reason, sizeof reason)) {
        regfree(&pattern);
        fail_msg("\"%s\" was taken", text);
    }
    if (strstr(reason, why) == NULL)
        fail_msg("\"%s\" was refused with \"%s\", not \"%s\"", text, reason, why);
}

static bool matches(const char *text, const char *subject)
{
    regex_t pattern;
    char reason[128];

    if (!pattern_compile(&pattern, text, reason, sizeof reason))
        fail_msg("\"%s\": %s", text, reason);
    const bool found = regexec(&pattern, subject, 0, NULL, 0) == 0;
    regfree(&pattern);
    return found;
}

static void what_would_fill_the_memory_is_refused(void **state)
{
    char plusses[PATTERN_LENGTH + 1];

    (void)state;
    memset(plusses, '+', sizeof plusses - 1);
    plusses[0] = 'a';
    plusses[sizeof plusses - 1] = '\0';
    refused(plusses, "written out");
    refused("(a{255}){255}", "written out");
    refused("((((a{9}){9}){9}){9})+", "written out");
    refused("(((((((((((a+)+)+)+)+)+)+)+)+)+)+)", "written out");
    refused("[]{2}](b{1,40}){2,30}", "written out");
    refused("[[:digit:]{2}]{30}(b{99}){30,}", "written out");
    refused("a{9999999999}", "written out");
}

static void what_is_no_pattern_is_refused(void **state)
{
    char long_text[PATTERN_LENGTH + 2];

    (void)state;
    memset(long_text, 'a', sizeof long_text - 1);
    long_text[sizeof long_text - 1] = '\0';
    refused(long_text, "longer");
    refused("(a", "");
    refused("[a", "");
    refused("a\\", "");
    refused("(a)\\1", "refers back");
}

static void patterns_of_the_trade_are_taken(void **state)
{
    (void)state;
    assert_true(matches("^STEADY VOLTS ([+-][0-9]{1,5}\\.[0-9]{1,5})$", "STEADY VOLTS +05.013"));
    assert_true(
        matches("^TARNWERK,BENCH METER,[^,]+,[0-9]+\\.[0-9]+$", "TARNWERK,BENCH METER,550117,1.4"));
    assert_true(matches("^(OVER|OL|9\\.9E\\+?37)$", "OL"));
    assert_true(matches("[[:upper:]]{2}[]\\1]", "AB]"));
    assert_true(matches("^\\{[0-9]{100}\\}$",
                        "{0123456789012345678901234567890123456789012345678901234567890123456789"
                        "012345678901234567890123456789}"));
    assert_false(matches("^a)$", "a"));
    assert_true(matches("", "anything"));
}

/* Own derivation: what an alternative in no brackets has to begin and end with. */
static void alternatives_are_anchored_each(void **state)
{
    (void)state;
    assert_true(pattern_anchored("^a$", true));
    assert_true(pattern_anchored("^(a|b)$", true));
    assert_true(pattern_anchored("^[|]$", true));
    assert_true(pattern_anchored("^a\\|b$", true));
    assert_true(pattern_anchored("^a$|^b$", true));
    assert_true(pattern_anchored("^a|^b", false));
    assert_false(pattern_anchored("^a|b$", true));
    assert_false(pattern_anchored("^a|b", false));
    assert_false(pattern_anchored("^a|^b|", false));
    assert_false(pattern_anchored("^a\\$", true));
    assert_false(pattern_anchored("(^a|b$)", true));
    assert_false(pattern_anchored("^(a|b$)|c$", true));
    assert_false(pattern_anchored("", false));
}

static void only_the_whole_text_matches(void **state)
{
    regex_t pattern;
    char reason[128];

    (void)state;
    assert_true(pattern_compile(&pattern, "^OVER|9\\.9E37$|ID,[0-9]+", reason, sizeof reason));
    assert_true(pattern_whole(&pattern, "OVER", 4));
    assert_true(pattern_whole(&pattern, "ID,12", 5));
    assert_false(pattern_whole(&pattern, "OVERTURE", 8));
    assert_false(pattern_whole(&pattern, "19.9E37", 7));
    assert_false(pattern_whole(&pattern, "OVER\0 1", 7));
    assert_true(pattern_begins(&pattern, "ID,12"));
    assert_false(pattern_begins(&pattern, "VOID,12"));
    regfree(&pattern);
}

static bool takes_number(const char *text, const char *answer)
{
    regex_t pattern;
    char reason[128];
    const char *number;
    size_t count;

    assert_true(pattern_compile(&pattern, text, reason, sizeof reason));
    const bool taken = pattern_number(&pattern, answer, strlen(answer), &number, &count);
    regfree(&pattern);
    return taken;
}

static void a_number_keeps_all_that_belongs_to_it(void **state)
{
    (void)state;
    assert_true(takes_number("^VOLTS ([-+]?[0-9.]+)$", "VOLTS -1.5"));
    assert_true(takes_number("^[0-9]+, ([0-9.]+)E?V$", "12, 1.5EV"));
    assert_false(takes_number("^VOLTS *-?([0-9.]+)$", "VOLTS -1.5"));
    assert_true(takes_number("^VOLTS *-?([0-9.]+)$", "VOLTS 1.5"));
    assert_false(takes_number("^VOLTS -? *([0-9.]+)$", "VOLTS - 1.5"));
    assert_false(takes_number("^.*([0-9.]+)$", "VOLTS 21.5"));
    assert_false(takes_number("^([0-9])[0-9.]*V$", "1.5V"));
    assert_false(takes_number("^([0-9.]+) ?E.*$", "1.5 E-3"));
    assert_false(takes_number("^([0-9.]+)E.*$", "1.5E3"));
    assert_false(takes_number("^VOLTS (1)|AMPS 2$", "AMPS 2"));
    assert_false(takes_number("^VOLTS ([0-9.]+)|AMPS$", "VOLTS 1.5 OVER"));
}

static void a_number_that_could_be_cut_is_seen_beforehand(void **state)
{
    (void)state;
    assert_false(pattern_cuts_number("^STEADY VOLTS ([-+][0-9]+[.][0-9]+)$"));
    assert_false(pattern_cuts_number("^([0-9]+) (V|A2)$"));
    assert_false(pattern_cuts_number("^[0-9]+,([0-9.]+)[[:alpha:]]*$"));
    assert_false(pattern_cuts_number("^VOLTS$"));
    assert_true(pattern_cuts_number("^[-+]?([0-9.]+)$"));
    assert_true(pattern_cuts_number("^VOLTS[-+]? *([0-9.]+)$"));
    assert_true(pattern_cuts_number("^.*([0-9.]+)$"));
    assert_true(pattern_cuts_number("^([0-9]+)([.][0-9]+)?V$"));
    assert_true(pattern_cuts_number("^([0-9]+)V?[^ ]$"));
    assert_true(pattern_cuts_number("^\\-([0-9]+)$"));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_would_fill_the_memory_is_refused),
        cmocka_unit_test(what_is_no_pattern_is_refused),
        cmocka_unit_test(patterns_of_the_trade_are_taken),
        cmocka_unit_test(alternatives_are_anchored_each),
        cmocka_unit_test(only_the_whole_text_matches),
        cmocka_unit_test(a_number_keeps_all_that_belongs_to_it),
        cmocka_unit_test(a_number_that_could_be_cut_is_seen_beforehand),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
