/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "scpi.h"

#include <stdio.h>
#include <string.h>

/* Numbers and texts of SCPI-1999 volume 2, 21.8. */
static const char *standard_text(int number)
{
    static const struct scpi_error texts[] = {
        { -101, "Invalid character" },
        { -104, "Data type error" },
        { -108, "Parameter not allowed" },
        { -109, "Missing parameter" },
        { -113, "Undefined header" },
        { -114, "Header suffix out of range" },
        { -138, "Suffix not allowed" },
        { -151, "Invalid string data" },
        { -213, "Init ignored" },
        { -222, "Data out of range" },
        { -224, "Illegal parameter value" },
        { -230, "Data corrupt or stale" },
        { -310, "System error" },
        { -350, "Queue overflow" },
        { -363, "Input buffer overrun" },
        { -440, "Query UNTERMINATED after indefinite response" },
    };

    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++)
        if (texts[i].number == number)
            return texts[i].text;
    return "Device-specific error";
}

static unsigned class_bit(int number)
{
    switch (-number / 100) {
    case 1:
        return SCPI_ESR_COMMAND;
    case 2:
        return SCPI_ESR_EXECUTION;
    case 4:
        return SCPI_ESR_QUERY;
    default:
        return SCPI_ESR_DEVICE;
    }
}

void scpi_reset(struct scpi *scpi)
{
    *scpi = (struct scpi) { .esr = SCPI_ESR_POWER_ON };
}

void scpi_clear(struct scpi *scpi)
{
    *scpi = (struct scpi) { .enable = scpi->enable };
}

void scpi_report(struct scpi *scpi, int number, const char *text)
{
    struct scpi_error error = { .number = number };

    snprintf(error.text, sizeof error.text, "%s", text != NULL ? text : standard_text(number));
    scpi->esr |= class_bit(number);
    if (scpi->count == SCPI_QUEUE) {
        /* An overflow takes the place of the newest entry. */
        error = (struct scpi_error) { .number = -350 };
        snprintf(error.text, sizeof error.text, "%s", standard_text(-350));
        scpi->count--;
    }
    scpi->errors[scpi->count++] = error;
}

void scpi_read_error(struct scpi *scpi, struct text *answer)
{
    if (scpi->count == 0) {
        text_print(answer, "0,\"No error\"");
        return;
    }
    text_print(answer, "%d,\"%s\"", scpi->errors[0].number, scpi->errors[0].text);
    scpi->count--;
    memmove(&scpi->errors[0], &scpi->errors[1], scpi->count * sizeof scpi->errors[0]);
}
