/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Profiles: mistakes put into the shipped ones, one at a time, must each be
 * found; and the shipped ones must come to what they say.
 */
#include "drivers/profile/profile.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#define FOLDER GRADUS_SOURCE "/config/profiles/"

enum { TEXT = 32768 };

static void load_text(const char *name, char text[TEXT])
{
    char path[512];

    snprintf(path, sizeof path, FOLDER "%s.cfg", name);
    FILE *file = fopen(path, "r");
    assert_non_null(file);
    size_t length = fread(text, 1, TEXT - 1, file);
    fclose(file);
    assert_in_range(length, 1, TEXT - 2);
    text[length] = '\0';
}

/* Puts `to` in the place of the first `from` in the text. */
static void replace(char text[TEXT], const char *from, const char *to)
{
    char *at = strstr(text, from);

    if (at == NULL) {
        fail_msg("the profile has no %s", from);
        return;
    }
    size_t rest = strlen(at + strlen(from)) + 1;
    assert_true((size_t)(at - text) + strlen(to) + rest <= TEXT);
    memmove(at + strlen(to), at + strlen(from), rest);
    for (size_t i = 0; to[i] != '\0'; i++)
        at[i] = to[i];
}

struct mistake {
    const char *from;
    const char *to;
    const char *says; /* a part of the first message */
    size_t count;     /* of messages */
};

static void check_mistakes(const char *name, const struct mistake *mistakes, size_t count)
{
    static char text[TEXT];

    for (size_t i = 0; i < count; i++) {
        struct problems problems = { 0 };
        load_text(name, text);
        replace(text, mistakes[i].from, mistakes[i].to);
        assert_null(profile_read(text, strlen(text), "p.cfg", &problems));
        size_t expected = mistakes[i].count;
        if (problems.total != expected || strstr(problems.lines[0], mistakes[i].says) == NULL ||
            strncmp(problems.lines[0], "p.cfg", 5) != 0) {
            fail_msg("%s -> %s: %zu messages, the first: %s", mistakes[i].from, mistakes[i].to,
                     problems.total, problems.count > 0 ? problems.lines[0] : "none");
        }
        problems_free(&problems);
    }
}

static void test_meter_mistakes(void **state)
{
    (void)state;
    static const struct mistake mistakes[] = {
        { "kind = \"meter\"", "kind = \"clock\"",
          "\"kind\" is \"clock\", expected \"meter\" or \"scope\"", 1 },
        { "kind = \"meter\";", "", "expected a key \"kind\"", 1 },
        { "description", "descriptoin", "expected perhaps \"description\"", 2 },
        { "identity = \"^TARN", "identity = \"TARN", "begin with ^", 1 },
        { "identity = \"^TARN", "identity = \"^OTHER|TARN", "alternatives in brackets", 1 },
        { "error_none = \"^[+]?0,\"", "error_none = \"^[+]?0,|none\"", "begin with ^", 1 },
        { "identity = \"^TARNWERK,BENCH METER,\"", "identity = \"^(TARN\"",
          "not a regular expression", 1 },
        { "framing = \"488\"", "framing = \"8N1\"", "expected one of \"488\", \"line\"", 1 },
        { "command_terminator = \"\\n\"", "command_terminator = \"\"", "expected at least a byte",
          1 },
        { "error_none = \"^[+]?0,\";", "", "missing key \"error_none\"", 1 },
        { "reply_ms = 1000.0", "reply_ms = 0", "\"reply_ms\" is 0", 1 },
        { "setup = [ \"*CLS\"", "setup = [ \"*CLS\\n*RST\"", "the end of a line", 1 },
        { "setup = [ \"*CLS\"", "setup = [ \"\"", "a command is empty", 1 },
        { "identity_query = \"*IDN?\"", "identity_query = \"*IDN?\\r\"", "the end of a line", 1 },
        { "setup = [ \"*CLS\"", "setup = [ \"*CLS {range}\"", "{range}", 1 },
        { "inputs = 16", "inputs = 0", "\"inputs\" is 0", 1 },
        { "up_to = 2.7", "up_to = 1.5", "expected ascending", 1 },
        { "up_to = 1.8", "up_to = 0.5", "\"up_to\" is 0.5", 1 },
        { "crest_factor = 3.0;", "", "missing key \"crest_factor\"", 1 },
        { "route = \":ROUTe:CLOSe (@{input})\"", "route = \":ROUTe:CLOSe (@1)\"", "{input}", 1 },
        { "route = \":ROUTe:CLOSe (@{input})\";", "", "missing key \"route\"", 1 },
        { "route_answer = \"(@{input})\";", "", "both of \"route_query\" and \"route_answer\"", 1 },
        { "VOLTage:DC:RANGe {range}", "VOLTage:DC:RANGe {rang}", "{rang}", 1 },
        { "VOLTage:DC:RANGe {range}", "VOLTage:DC:RANGe 20", "{range}", 1 },
        { "quantity = \"ac voltage\"", "quantity = \"dc voltage\"", "a second function", 2 },
        { "quantity = \"frequency\"", "quantity = \"peak-to-peak voltage\"", "dc, ac or rms", 1 },
        { "response = \"true rms\"", "response = \"average\"", "belongs to response", 1 },
        { "high_frequency = 20e3", "high_frequency = 20.0", "the low one less", 1 },
        { "high_frequency = 20e3;", "", "expected both", 1 },
        { "{ full_scale = 2.0; ", "{ full_scale = 0.2; ", "expected ascending ranges", 1 },
        { "full_scale = 0.2; ", "", "missing key \"full_scale\"", 1 },
        { "resolution = 1e-6; reading_percent = 0.008;", "resolution = 1e-6;",
          "missing key \"reading_percent\"", 1 },
        { "resolution = 1e-6; ", "", "missing key \"resolution\"", 1 },
        { "resolution = 1e-6; ", "resolution = 1.0;", "at most full scale", 1 },
        { "resolution = 1e-6; ", "resolution = 1e-6; limit = 0.02;", "\"limit\" is 0.02", 1 },
        { "reading_percent = 0.008", "reading_percent = -0.008", "from 0 to 100 %", 1 },
        { "input_resistance = 10e9; resistance_tolerance_percent = 10.0", "input_resistance = 10e9",
          "missing key \"resistance_tolerance_percent\"", 1 },
        { "temperature_high = 28.0;", "",
          "missing key \"temperature_low\" and \"temperature_high\"", 5 },
        { "temperature_low = 18.0", "temperature_low = 28.0", "expected less than 28", 5 },
        { "select = [ \":SENSe:FUNCtion \\\"VOLTage:DC\\\"\" ];", "select = [ 5 ];",
          "an element of \"select\" is an integer", 1 },
        { "inputs = 16", "inputs = 99999999999", "does not fit", 1 },
        { "mask = 192", "mask = 0", "\"mask\" is 0", 1 },
        { "query = \"*ESR?\"; ", "", "missing key \"query\"", 1 },
        { "closing_reply = \";{number}\"", "closing_reply = \";1\"", "once in both or in neither",
          1 },
        { "*ESE {number};*ESE?\"", "*ESE {number};*ESE {number};*ESE?\"", "{number} 2 times", 1 },
        { "closing_query = \";*ESE {number};*ESE?\";", "", "missing key \"closing_query\"", 1 },
    };

    check_mistakes("tarnwerk-meter", mistakes, sizeof mistakes / sizeof *mistakes);
}

static void test_plain_meter_mistakes(void **state)
{
    (void)state;
    static const struct mistake mistakes[] = {
        { "answer = \"^STEADY VOLTS ([-+]", "answer = \"STEADY VOLTS ([-+]",
          "begin with ^ and end with $", 1 },
        { "[.][0-9]+)$\"; ", "[.][0-9]+)\"; ", "begin with ^ and end with $", 1 },
        { "\"^STEADY VOLTS ([-+][0-9]+[.][0-9]+)$\"", "\"^STEADY VOLTS [-+][0-9]+[.][0-9]+$\"",
          "no brackets", 1 },
        { "\"^STEADY VOLTS ([-+][0-9]+[.][0-9]+)$\"", "\"^OFF|STEADY VOLTS ([-+][0-9.]+)$\"",
          "and alternatives in brackets, ^(a|b)$", 1 },
        { "\"^STEADY VOLTS ([-+][0-9]+[.][0-9]+)$\"", "\"^STEADY VOLTS [-+]?([0-9]+[.][0-9]+)$\"",
          "lets a sign, digit or point stand beside its first brackets", 1 },
        { "overload = \"^STEADY VOLTS TOO MUCH$\"", "overload = \"^TOO MUCH|OVER$\"",
          "\"overload\" is \"^TOO MUCH|OVER$\", expected it to begin with ^ and end with $", 1 },
        { "{ select = \"STEP 1\"; ", "{ ", "4 of 5 ranges have \"select\"", 1 },
        { "select = [ \"BE VOLTMETER\" ];", "select = [ \"BE VOLTMETER\" ]; range = \"R{range}\";",
          "5 of 5 ranges have \"select\", and \"range\" is there too", 1 },
        { "response = \"average\";", "", "expected \"average\" or \"true rms\"", 1 },
        { "refusal = \"^PARDON$\"", "refusal = 5", "\"refusal\" is an integer", 1 },
        { "framing = \"8N1\"", "framing = \"8X1\"", "as in \"8N1\"", 1 },
        { "conversion_ms = 400.0;", "", "missing key \"conversion_ms\"", 1 },
    };

    check_mistakes("oldmere-meter", mistakes, sizeof mistakes / sizeof *mistakes);
}

/* A query of 150 bytes. */
#define TEN        "ABCDEFGHIJ"
#define FIFTY      TEN TEN TEN TEN TEN
#define LONG_CHECK "{ query = \":" FIFTY FIFTY FIFTY "\"; pattern = \"^1$\"; }"

static void test_scope_mistakes(void **state)
{
    (void)state;
    static const struct mistake mistakes[] = {
        { "divisions = 8.0", "divisions = 0.0", "\"divisions\" is 0", 1 },
        { "PTPeak {full_scale}\"", "PTPeak {range}\"", "{range}", 1 },
        { "PTPeak {full_scale}\"", "PTPeak 5\"", "{volts_per_division}", 1 },
        { ":SENSe{input}:VOLTage:RANGe:PTPeak {", ":SENSe1:VOLTage:RANGe:PTPeak {", "{input}", 1 },
        { "[ 1e-3, 2e-3,", "[ 2e-3, 1e-3,", "expected more than 0.002", 1 },
        { "[ 1e-3, 2e-3,", "[ 0.0, 2e-3,", "expected more than 0", 1 },
        { "pattern = \"^[+]?0$\"", "pattern = \"0\"", "begin with ^ and end with $", 1 },
        { "query = \":TARNwerk:KNOB{input}?\"; ", "", "missing key \"query\"", 1 },
        { "gain_percent = 3.0;", "", "missing key \"gain_percent\"", 1 },
        { "{ up_to = 200e-3; ", "{ up_to = 20e-3; ", "expected ascending ones", 1 },
        { "{ up_to = 200e-3; ", "{ up_too = 200e-3; up_to = 200e-3; ", "unknown key \"up_too\"",
          1 },
        { "ac_corner = 5.0;", "", "missing key \"ac_corner\"", 1 },
        { "points = 2000;", "points = 2000.0;", "\"points\" is a decimal number", 1 },
        { "set = [ \":SENSe:SWEep:POINts {points}\"", "set = [ \":SENSe:SWEep:POINts {range}\"",
          "{range}", 1 },
        { "code_high = 127;", "", "expected all three", 1 },
        { "code_high = 127;", "code_high = -200;", "expected all three", 1 },
        { "format = \"int8\"", "format = \"real32\"", "real samples are volts", 2 },
        { "format = \"int8\"", "format = \"int16\"", "missing key \"byte_order\"", 1 },
        { "query = \":TRACe:DATA? CH{input}\"", "query = \":TRACe:DATA? CH1\"", "{input}", 1 },
        { "settle_ms = 5.0;", "", "missing key \"settle_ms\"", 1 },
        { "query = \":INPut{input}:COUPling?\";", "", "\"dc_answer\" is there", 4 },
        { "dc_answer = \"^DC$\";", "", "\"dc_answer\" is missing", 1 },
        { "dc_answer = \"^DC$\";", "dc_answer = \"DC\";", "begin with ^ and end with $", 1 },
        { "query = \":SENSe{input}:VOLTage:RANGe:OFFSet?\";", "", "\"offset\" has no query", 1 },
        { "query = \":SENSe{input}:VOLTage:RANGe:OFFSet?\";", "query = \"OFFSET?\";", "{input}",
          1 },
        { "inputs = 2;", "inputs = 2; cannot_tell = [ \"offset\" ];", "has a query and cannot tell",
          1 },
        { "inputs = 2;", "inputs = 2; cannot_tell = [ \"position\" ];",
          "\"position\" is not there and cannot tell", 1 },
        { "inputs = 2;", "inputs = 2; cannot_tell = [ \"knobs\" ];", "expected vertical, offset",
          1 },
        { "inputs = 2;", "inputs = 2; record_checks = ( { query = \"INV?\"; } );",
          "missing key \"pattern\"", 1 },
        { "inputs = 2;", "inputs = 2; record_checks = ( 5 );", "integer", 1 },
        { "waveform = {", "waveforms = {", "expected perhaps \"waveform\"", 2 },
        { "framing = \"488\"", "framing = \"line\"", "which needs framing", 1 },
        { "proof = \"same message\"", "proof = \"answer\"", "\"before and after\"", 1 },
        { "inputs = 2;",
          "inputs = 2; record_checks = (" LONG_CHECK "," LONG_CHECK "," LONG_CHECK "," LONG_CHECK
          "," LONG_CHECK "," LONG_CHECK ");",
          "in the \"same message\"", 1 },
    };

    check_mistakes("tarnwerk-scope", mistakes, sizeof mistakes / sizeof *mistakes);
}

static struct profile *load(const char *name)
{
    struct problems problems = { 0 };
    char path[512];

    snprintf(path, sizeof path, FOLDER "%s.cfg", name);
    struct profile *profile = profile_load(path, &problems);
    for (size_t i = 0; i < problems.count; i++)
        print_message("%s\n", problems.lines[i]);
    assert_non_null(profile);
    assert_int_equal(problems.total, 0);
    assert_string_equal(profile->name, name);
    assert_string_equal(profile->path, path);
    assert_int_equal(strlen(profile->digest), 64);
    return profile;
}

static void test_no_file(void **state)
{
    (void)state;
    struct problems problems = { 0 };

    assert_null(profile_load("/nonexistent/p.cfg", &problems));
    assert_int_equal(problems.total, 1);
    problems_free(&problems);
    profile_free(NULL);
}

static void test_all_shipped(void **state)
{
    (void)state;
    static const char *const names[] = { "tarnwerk-meter",    "oldmere-meter",
                                         "tarnwerk-scope",    "tarnwerk-scope-volts",
                                         "oldmere-scope",     "generic-scpi-meter",
                                         "generic-scpi-scope" };

    for (size_t i = 0; i < sizeof names / sizeof *names; i++)
        profile_free(load(names[i]));
}

/* Figures of the invented instrument's data sheet, see its profile. */
static void test_meter_values(void **state)
{
    (void)state;
    struct profile *profile = load("tarnwerk-meter");
    const struct function *dc = profile_function(profile, QUANTITY_DC_VOLTAGE);
    const struct function *ac = profile_function(profile, QUANTITY_AC_VOLTAGE);

    assert_int_equal(profile->kind, PROFILE_METER);
    assert_int_equal(profile_inputs(profile), 16);
    assert_string_equal(profile->route_answer, "(@{input})");
    assert_int_equal(profile->protocol.framing, FRAMING_488);
    assert_string_equal(profile->protocol.command_terminator, "\n");
    assert_int_equal(regexec(&profile->protocol.identity, "TARNWERK,BENCH METER,1,1.4", 0, NULL, 0),
                     0);
    assert_int_not_equal(
        regexec(&profile->protocol.identity, "OLDMERE,BENCH METER,1,1", 0, NULL, 0), 0);
    assert_non_null(dc);
    assert_int_equal(dc->front_end.count, 5);
    assert_ptr_equal(profile_front_end(profile, QUANTITY_DC_VOLTAGE), &dc->front_end);
    const struct range *range = &dc->front_end.ranges[2];
    assert_true(range->full_scale == 20.0 && range->low == -20.0 && range->high == 20.0);
    assert_true(range->resolution == 100e-6 && isnan(range->peak));
    assert_true(fabs(range->accuracy.reading - 0.00008) < 1e-18);
    assert_true(fabs(range->accuracy.range - 0.00001) < 1e-18);
    assert_true(fabs(range->accuracy.temperature_reading - 0.000008) < 1e-18);
    assert_true(range->accuracy.temperature_low == 18.0);
    assert_true(range->input_resistance == 10e6 &&
                dc->front_end.ranges[1].input_resistance == 10e9);
    assert_true(fabs(range->resistance_tolerance - 0.01) < 1e-15);
    assert_non_null(ac);
    assert_int_equal(ac->response, RESPONSE_TRUE_RMS);
    assert_true(ac->front_end.ranges[4].low == 0.0 && ac->front_end.ranges[4].high == 750.0);
    assert_true(ac->front_end.ranges[2].peak == 60.0); /* crest factor 3 at full scale */
    assert_true(ac->low_frequency == 45.0 && ac->high_frequency == 20e3);
    assert_null(profile_function(profile, QUANTITY_RMS_VOLTAGE));
    assert_null(profile_front_end(profile, QUANTITY_PEAK_TO_PEAK_VOLTAGE));
    profile_free(profile);
}

static void test_plain_meter_values(void **state)
{
    (void)state;
    struct profile *profile = load("oldmere-meter");
    const struct function *dc = profile_function(profile, QUANTITY_DC_VOLTAGE);
    regmatch_t groups[2];

    assert_int_equal(profile->protocol.framing, FRAMING_LINE);
    assert_string_equal(profile->protocol.command_terminator, "\r");
    assert_string_equal(profile->protocol.reply_terminator, "\r\n");
    assert_false(profile->protocol.acknowledges);
    assert_int_equal(dc->range_selects.count, 5);
    assert_string_equal(dc->range_selects.texts[4], "STEP 5");
    assert_int_equal(regexec(&dc->answer.pattern, "STEADY VOLTS +05.013", 2, groups, 0), 0);
    assert_int_equal(groups[1].rm_so, 13);
    assert_int_equal(groups[1].rm_eo, 20);
    assert_int_not_equal(regexec(&dc->answer.pattern, "ALTERNATING VOLTS +05.013", 2, groups, 0),
                         0);
    assert_int_equal(regexec(&dc->answer.overload, "STEADY VOLTS TOO MUCH", 0, NULL, 0), 0);
    assert_true(dc->front_end.ranges[2].accuracy.counts == 2.0);
    assert_int_equal(profile_function(profile, QUANTITY_AC_VOLTAGE)->response, RESPONSE_AVERAGE);
    profile_free(profile);
}

static void test_scope_values(void **state)
{
    (void)state;
    struct profile *profile = load("tarnwerk-scope");
    const struct front_end *input = profile_front_end(profile, QUANTITY_PEAK_TO_PEAK_VOLTAGE);
    const struct range *volt = &input->ranges[9];

    assert_int_equal(profile->kind, PROFILE_SCOPE);
    assert_int_equal(profile_inputs(profile), 2);
    assert_null(profile_front_end(profile, QUANTITY_RESISTANCE));
    assert_int_equal(input->count, 13);
    assert_true(input->vertical && input->ac_coupling && input->ground_reference);
    assert_true(input->ac_corner == 5.0 && input->divisions == 8.0);
    assert_true(input->position_divisions == 0.0);
    assert_true(fabs(input->offset_fraction - 0.01) < 1e-15);
    assert_true(volt->volts_per_division == 1.0 && volt->full_scale == 8.0);
    /* Codes -127 to 126 of 32 a division are values; -128 and 127 are clipped. */
    assert_true(volt->low == -127.0 / 32.0 && volt->high == 126.0 / 32.0);
    assert_true(volt->resolution == 1.0 / 32.0);
    assert_true(input->ranges[4].offset_span == 0.8);  /* 20 mV/div */
    assert_true(input->ranges[5].offset_span == 6.0);  /* 50 mV/div */
    assert_true(input->ranges[9].offset_span == 80.0); /* 1 V/div */
    assert_true(profile->scope.max_input == 300.0 && profile->max_input == 300.0);
    assert_int_equal(profile->scope.points, 2000);
    assert_int_equal(profile->scope.duration_count, 22);
    assert_true(profile->scope.calibrated.has_pattern && profile->scope.done.has_pattern);
    profile_free(profile);
}

static void test_plain_scope_values(void **state)
{
    (void)state;
    struct profile *profile = load("oldmere-scope");
    const struct front_end *input = &profile->scope.front_end;

    assert_true(profile->protocol.acknowledges && profile->protocol.has_refusal);
    assert_int_equal(input->count, 12);
    assert_true(input->position_divisions == 4.0);
    assert_true(input->ranges[11].offset_span == 0.0);
    /* Codes 1 to 254 around 128. */
    assert_true(input->ranges[7].low == -127.0 / 32.0 && input->ranges[7].high == 126.0 / 32.0);
    assert_true(profile->scope.durations[0] == 10e-6 && profile->scope.durations[17] == 5.0);
    assert_int_equal(profile->scope.waveform.encoding, ENCODING_LIST);
    profile_free(profile);
}

/* An 8-bit converter whose codes are shifted up resolves 8 bits, not 16. */
static void test_shifted_codes(void **state)
{
    (void)state;
    struct profile *profile = load("generic-scpi-scope");
    const struct range *range = &profile->scope.front_end.ranges[6];

    assert_true(range->volts_per_division == 1.0);
    assert_true(fabs(range->resolution - 1.0 / 32.0) < 1e-15);
    assert_true(fabs(range->low + 127.0 / 32.0) < 1e-12);
    assert_true(fabs(range->high - 126.0 / 32.0) < 1e-12);
    profile_free(profile);
}

/* Volts do not say where the converter ends: the last step and a half of the screen are no values. */
static void test_volts_have_their_window(void **state)
{
    (void)state;
    struct problems problems = { 0 };
    static const char text[] =
        "description = \"s\"; kind = \"scope\"; divisions = 8.0; time_divisions = 10.0; settle_ms "
        "= 0.0;"
        "dialogue = { command_terminator = \"\\n\"; reply_terminator = \"\\n\"; framing = \"488\";"
        " reply_ms = 1.0; quiet_ms = 1.0; identity_query = \"*IDN?\"; identity = \"^M\"; };"
        "vertical = { command = \"V {volts_per_division}\"; query = \"V?\";"
        " volts_per_division = [ 1.0 ]; gain_percent = 3.0; baseline_divisions = 0.1; };"
        "coupling = { dc = \"DC\"; };"
        "timebase = { set = [ \"T {duration}\" ]; query = \"T?\"; points = 500; durations = [ 1.0 "
        "]; };"
        "acquisition = { start = [ \"S\" ]; extra_ms = 1.0; };"
        "waveform = { query = \"W?\"; encoding = \"block\"; format = \"real32\"; codes = false;"
        " byte_order = \"low byte first\"; codes_per_division = 32.0; };"
        "cannot_tell = [ \"coupling\" ];";
    struct profile *profile = profile_read(text, strlen(text), "s.cfg", &problems);

    for (size_t i = 0; i < problems.count; i++)
        print_message("%s\n", problems.lines[i]);
    assert_non_null(profile);
    const struct range *range = &profile->scope.front_end.ranges[0];
    assert_true(range->high == 4.0 - 1.5 / 32.0 && range->low == -range->high);
    assert_true(profile->scope.cannot_tell[SCOPE_COUPLING] &&
                !profile->scope.cannot_tell[SCOPE_VERTICAL]);
    assert_true(isnan(profile->scope.timebase_error));
    profile_free(profile);
}

static void test_keys_are_printed(void **state)
{
    (void)state;
    char *text = NULL;
    size_t size = 0;
    FILE *out = open_memstream(&text, &size);

    assert_non_null(out);
    profile_print_keys(out);
    fclose(out);
    assert_non_null(strstr(text, "volts_per_division"));
    assert_non_null(strstr(text, "reading_percent"));
    free(text);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_meter_mistakes),     cmocka_unit_test(test_plain_meter_mistakes),
        cmocka_unit_test(test_scope_mistakes),     cmocka_unit_test(test_no_file),
        cmocka_unit_test(test_all_shipped),        cmocka_unit_test(test_meter_values),
        cmocka_unit_test(test_plain_meter_values), cmocka_unit_test(test_scope_values),
        cmocka_unit_test(test_plain_scope_values), cmocka_unit_test(test_shifted_codes),
        cmocka_unit_test(test_keys_are_printed),   cmocka_unit_test(test_volts_have_their_window),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
