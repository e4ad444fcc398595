/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "languages.h"

#include <math.h>
#include <strings.h>

struct instrument *call_instrument(const struct scpi_call *call)
{
    const struct scpi_owner *owner = call->owner;

    return owner->instrument;
}

struct answer *call_answer(const struct scpi_call *call)
{
    const struct scpi_owner *owner = call->owner;

    return owner->answer;
}

bool wrong_identity(struct instrument *instrument)
{
    return faults_take(&instrument->faults, FAULT_WRONG_IDENTITY, instrument->rng);
}

void common_identity(struct scpi_call *call)
{
    const struct scpi_owner *owner = call->owner;

    if (wrong_identity(owner->instrument)) {
        text_print(call->answer, "TARNWERK,LEVEL METER,000000,0.1");
        return;
    }
    text_print(call->answer, "TARNWERK,%s,%s,%s", owner->model, owner->instrument->serial,
               owner->firmware);
}

void common_clear(struct scpi_call *call)
{
    scpi_clear(call->scpi);
}

void common_reset(struct scpi_call *call)
{
    struct instrument *instrument = call_instrument(call);
    struct scpi kept = instrument->scpi;

    /* A reset leaves queue and status registers alone (IEEE 488.2, 10.32). */
    instrument_restart(instrument);
    instrument->scpi = kept;
}

void common_complete(struct scpi_call *call)
{
    struct instrument *instrument = call_instrument(call);
    struct answer *answer = call_answer(call);

    if (instrument_busy(instrument, answer)) {
        answer->delay_ms += (instrument->busy_until - answer->now) * 1e3;
        instrument->busy_until = 0.0;
    }
    text_print(call->answer, "1");
}

void common_events(struct scpi_call *call)
{
    text_print(call->answer, "%u", call->scpi->esr);
    call->scpi->esr = 0;
}

/* 0 to 255, rounded (IEEE 488.2, 10.10). */
void common_enable(struct scpi_call *call)
{
    double number;

    if (!scpi_number(call, &number))
        return;
    if (round(number) >= 0.0 && round(number) <= 255.0)
        call->scpi->enable = (unsigned)round(number);
    else
        scpi_report(call->scpi, -222, NULL);
}

void common_enabled(struct scpi_call *call)
{
    text_print(call->answer, "%u", call->scpi->enable);
}

void common_error(struct scpi_call *call)
{
    scpi_read_error(call->scpi, call->answer);
}

/* A <Boolean>: ON, OFF, or a number, of which 0 is OFF (SCPI-1999, volume 1, 7.3). */
void common_lock(struct scpi_call *call)
{
    struct instrument *instrument = call_instrument(call);
    double number;

    if (strcasecmp(call->argument, "ON") == 0)
        instrument->locked = true;
    else if (strcasecmp(call->argument, "OFF") == 0)
        instrument->locked = false;
    else if (scpi_number(call, &number))
        instrument->locked = round(number) != 0.0;
}

void common_locked(struct scpi_call *call)
{
    text_print(call->answer, "%d", call_instrument(call)->locked);
}

void common_version(struct scpi_call *call)
{
    text_print(call->answer, "1999.0");
}

void common_execute(struct instrument *instrument, const struct scpi_row *rows, const char *model,
                    const char *firmware, const char *command, struct answer *answer)
{
    struct scpi_owner owner = { instrument, answer, model, firmware };

    answer->replies = scpi_execute(&instrument->scpi, rows, &owner, command, &answer->text) > 0;
}

void common_overrun(struct instrument *instrument, struct answer *answer)
{
    (void)answer;
    scpi_report(&instrument->scpi, -363, NULL);
}
