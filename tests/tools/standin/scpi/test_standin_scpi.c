/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The SCPI listener of the simulated instruments. */
#include "tools/standin/scpi/scpi.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

static void mnemonics_have_two_forms_only(void **state)
{
    (void)state;
    assert_false(scpi_matches("VOLTage:DC", "VOLTA:DC"));
    assert_false(scpi_matches("VOLTage:DC", "VOL:DC"));
    assert_false(scpi_matches("VOLTage:DC", "VOLT"));
    assert_false(scpi_matches("VOLTage:DC", "VOLT:DC:X"));
    assert_false(scpi_matches("VOLTage:DC", "VOLT1:DC"));
    assert_false(scpi_matches("VOLTage:DC", ""));
    assert_true(scpi_matches("VOLTage:DC", "volt:dc"));
    assert_true(scpi_matches("VOLTage:DC", "VOLTAGE:DC"));
    assert_true(scpi_matches("CH#", "ch2"));
}

static void add_value(struct scpi_call *call)
{
    double value;

    if (scpi_number(call, &value))
        *(double *)call->owner += value * call->suffix[0];
}

static void say_value(struct scpi_call *call)
{
    text_print(call->answer, "%g", *(double *)call->owner);
}

static const struct scpi_row rows[] = {
    { "*IDN", NULL, false, say_value, false, 0, 0 },
    { "SUM:VALue#", add_value, true, say_value, false, 2, 0 },
    { "SUM:TOTal", NULL, false, say_value, false, 0, 0 },
    { NULL, NULL, false, NULL, false, 0, 0 },
};

/* Executes a message and compares the first error number and the answer. */
static void check_message(const char *message, int error, const char *answer)
{
    struct scpi scpi;
    struct text text = { 0 };
    double total = 0.0;

    scpi_clear(&scpi);
    scpi_execute(&scpi, rows, &total, message, &text);
    text_add(&text, "", 1);
    assert_int_equal(scpi.count > 0 ? scpi.errors[0].number : 0, error);
    assert_string_equal(text.bytes, answer);
    text_clear(&text);
}

static void messages_are_understood_or_refused(void **state)
{
    (void)state;
    check_message("SUM:VAL", -109, "");
    check_message("SUM:TOT 1", -113, "");
    check_message("SUM:TOT? 1", -108, "");
    check_message("SUM:VAL3 1", -114, "");
    check_message("SUM:VAL 0x10", -104, "");
    check_message("SUM:VAL inf", -104, "");
    check_message("SUM:VAL 1,2", -104, "");
    check_message("SUM:VAL 1 V", -138, "");
    check_message("SUM:VAL \"1", -151, "");
    check_message("SUM:VAL \x80", -101, "");
    check_message("TOT?", -113, "");
    check_message("SUM:TOT?;:TOT?", -113, "0");
    check_message("*IDN?;SUM:TOT?", -440, "0");
    check_message("", 0, "");
    check_message(" ; ;\r", 0, "");
    check_message(":SUM:VAL 1;VAL2 +2.5E0;*IDN?", 0, "6");
    check_message("sum:value1 4;total?;:SUM:VAL 1;TOT?", 0, "4;5");
}

static void the_error_queue_overflows_at_its_newest(void **state)
{
    struct scpi scpi;
    struct text text = { 0 };

    (void)state;
    scpi_clear(&scpi);
    for (int i = 0; i < SCPI_QUEUE + 3; i++)
        scpi_report(&scpi, i == 0 ? -222 : -113, NULL);
    assert_int_equal(scpi.count, SCPI_QUEUE);
    assert_int_equal(scpi.errors[SCPI_QUEUE - 1].number, -350);
    assert_int_equal(scpi.esr, SCPI_ESR_EXECUTION | SCPI_ESR_COMMAND);
    scpi_read_error(&scpi, &text);
    text_add(&text, "", 1);
    assert_string_equal(text.bytes, "-222,\"Data out of range\"");
    text_clear(&text);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(mnemonics_have_two_forms_only),
        cmocka_unit_test(messages_are_understood_or_refused),
        cmocka_unit_test(the_error_queue_overflows_at_its_newest),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
