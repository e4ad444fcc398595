/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "try_steps.h"

#include "drivers/dialogue/response.h"

#include <math.h>
#include <string.h>

/* A self-test may take long; everything else is answered in the profile's reply time. */
static const double self_test_ms = 60000;
static const double patience_ms = 10000;

/* A command, or a query and the bounds of the number it has to answer. */
struct standard_row {
    const char *text;
    double minimum;
    double maximum;
};

/* Registers of 8 bits (IEEE 488.2) and of 15 (SCPI-1999, which leaves bit 15 alone). */
enum { BYTE_MOST = 255, REGISTER_MOST = 32767 };

/*
 * The common commands that IEEE 488.2 makes mandatory and the queries that
 * SCPI-1999 4.2.1 does. *IDN? and the error queue are asked elsewhere: the one
 * identifies, the other is read after every row. *RST comes late, so that it
 * does not undo what is asked about, *TST? last.
 */
static const struct standard_row rows[] = {
    { "*CLS", 0, 0 },
    { "*ESE 0", 0, 0 },
    { "*ESE?", 0, 0 },
    { "*ESR?", 0, BYTE_MOST },
    { "*SRE 0", 0, 0 },
    { "*SRE?", 0, 0 },
    { "*STB?", 0, BYTE_MOST },
    { "*OPC", 0, 0 },
    { "*OPC?", 1, 1 },
    { "*WAI", 0, 0 },
    { ":SYSTem:VERSion?", 1990, 9999 },
    { ":STATus:PRESet", 0, 0 },
    { ":STATus:OPERation:EVENt?", 0, REGISTER_MOST },
    { ":STATus:OPERation:CONDition?", 0, REGISTER_MOST },
    { ":STATus:OPERation:ENABle 0", 0, 0 },
    { ":STATus:OPERation:ENABle?", 0, 0 },
    { ":STATus:QUEStionable:EVENt?", 0, REGISTER_MOST },
    { ":STATus:QUEStionable:CONDition?", 0, REGISTER_MOST },
    { ":STATus:QUEStionable:ENABle 0", 0, 0 },
    { ":STATus:QUEStionable:ENABle?", 0, 0 },
    { "*RST", 0, 0 },
    { "*TST?", 0, 0 },
};

static bool read_number(const struct reply *reply, void *out, struct failure *failure)
{
    double *const number = out;
    enum number_special special;
    if (!response_number(reply->bytes, reply->count, number, &special, failure))
        return false;
    if (special != SPECIAL_NONE)
        *number = NAN;
    return true;
}

static void ask(const struct trial *trial, const struct standard_row *row)
{
    struct failure failure = { 0 };
    struct dialogue *const dialogue = instrument_dialogue(trial->instrument);
    const double extra = strcmp(row->text, "*TST?") == 0 ? self_test_ms : 0;
    double number;
    if (!dialogue_query(dialogue, row->text, extra, read_number, &number,
                        deadline_in(extra + patience_ms), &failure)) {
        report_failure(trial->report, &failure);
        return;
    }
    if (!(number >= row->minimum && number <= row->maximum)) {
        report_problem(trial->report, "%s answered %g, expected a number from %g to %g", row->text,
                       number, row->minimum, row->maximum);
    }
}

static void tell(const struct trial *trial, const struct standard_row *row)
{
    struct failure failure = { 0 };
    if (!dialogue_command(instrument_dialogue(trial->instrument), row->text,
                          deadline_in(patience_ms), &failure))
        report_failure(trial->report, &failure);
}

/* A row that failed leaves the dialogue suspect; the error queue needs it in step again. */
static bool bring_in_step(const struct trial *trial)
{
    struct failure failure = { 0 };
    if (dialogue_ready(instrument_dialogue(trial->instrument), deadline_in(patience_ms), &failure))
        return true;
    report_failure(trial->report, &failure);
    report_problem(trial->report, "the rest of the standard commands was not tried");
    return false;
}

void try_standard(const struct trial *trial)
{
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        const struct standard_row *const row = &rows[i];
        const bool query = strchr(row->text, '?') != NULL;
        if (!report_begin(trial->report, "standard: %s", row->text))
            return;
        if (query)
            ask(trial, row);
        else
            tell(trial, row);
        if (!bring_in_step(trial))
            return;
        try_error_queue(trial);
    }
    dialogue_suspect(instrument_dialogue(trial->instrument));
}
