/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "reply.h"

#include "tools/standin/circuit/spread.h"

#include <string.h>

enum { GARBAGE_BYTES = 7 };

#define SPLIT_MS 1.0

/* What comes: the reply once or twice, perhaps with garbage before it. */
static void spoil(struct instrument *instrument, const struct text *reply, struct text *spoilt)
{
    size_t end = strlen(instrument->language->reply_end);

    if (faults_take(&instrument->faults, FAULT_GARBAGE, instrument->rng)) {
        for (int i = 0; i < GARBAGE_BYTES; i++) {
            /* From `!` on, and into the upper half: no byte that could end a reply. */
            char byte = (char)(33 + (int)(spread_unit(instrument->rng) * 222.0));

            text_add(spoilt, &byte, 1);
        }
    }
    if (faults_take(&instrument->faults, FAULT_GLUED, instrument->rng))
        text_add(spoilt, reply->bytes, reply->count);
    if (faults_take(&instrument->faults, FAULT_JOINED, instrument->rng))
        text_add(spoilt, reply->bytes, reply->count - end);
    text_add(spoilt, reply->bytes, reply->count);
}

/* What is done to the reply beneath its bytes, where the kind of link allows it. */
static enum fault_kind link_damage(struct instrument *instrument)
{
    for (int kind = FAULT_WRONG_TAG; kind <= FAULT_BREAK; kind++)
        if (faults_take(&instrument->faults, (enum fault_kind)kind, instrument->rng))
            return (enum fault_kind)kind;
    return FAULT_ARMED_KINDS;
}

static bool send_split(struct outbox *outbox, const struct text *reply, double first_ms,
                       double each_ms)
{
    for (size_t i = 0; i < reply->count; i++) {
        const struct piece piece = { .bytes = reply->bytes + i,
                                     .count = 1,
                                     .delay_ms = i == 0 ? first_ms : each_ms,
                                     .stray = first_ms > 0.0,
                                     .open = i + 1 < reply->count,
                                     .damage = FAULT_ARMED_KINDS };

        if (!outbox_send(outbox, &piece))
            return false;
    }
    return true;
}

/* A number that looks like an answer, again and again. */
static void babble(const struct instrument *instrument, struct outbox *outbox)
{
    outbox_babble(outbox, strcmp(instrument->language->reply_end, "\n") == 0
                              ? "+1.00000E+00\n"
                              : "STEADY VOLTS +01.000\r\n");
}

/* Half of the reply, and no more of it. */
static bool send_half(struct outbox *outbox, const struct text *reply, double late_ms, bool last)
{
    const struct piece piece = { .bytes = reply->bytes,
                                 .count = (reply->count + 1) / 2,
                                 .delay_ms = late_ms,
                                 .stray = late_ms > 0.0,
                                 .last = last,
                                 .open = true,
                                 .damage = last ? FAULT_DISCONNECT_MID : FAULT_ARMED_KINDS };

    return outbox_send(outbox, &piece);
}

static bool send_whole(struct outbox *outbox, const struct text *reply, double late_ms,
                       enum fault_kind damage)
{
    const struct piece piece = { .bytes = reply->bytes,
                                 .count = reply->count,
                                 .delay_ms = late_ms,
                                 .stray = late_ms > 0.0,
                                 .damage = damage };

    return outbox_send(outbox, &piece);
}

static bool send_spoilt(struct instrument *instrument, struct outbox *outbox,
                        const struct text *reply)
{
    struct faults *faults = &instrument->faults;
    gsl_rng *rng = instrument->rng;
    double late_ms =
        faults_take(faults, FAULT_LATE, rng) ? faults->armed[FAULT_LATE].delay_ms : 0.0;

    if (faults_take(faults, FAULT_SILENT, rng))
        return true;
    if (faults_take(faults, FAULT_BABBLE, rng)) {
        babble(instrument, outbox);
        return true;
    }
    if (faults_take(faults, FAULT_HALF, rng))
        return send_half(outbox, reply, late_ms, false);
    if (faults_take(faults, FAULT_DISCONNECT_MID, rng))
        return send_half(outbox, reply, late_ms, true);
    if (faults_take(faults, FAULT_SPLIT, rng)) {
        double each_ms = faults->armed[FAULT_SPLIT].delay_ms;

        return send_split(outbox, reply, late_ms, each_ms > 0.0 ? each_ms : SPLIT_MS);
    }
    return send_whole(outbox, reply, late_ms, link_damage(instrument));
}

bool reply_send(struct instrument *instrument, struct outbox *outbox, const struct text *reply)
{
    struct text spoilt = { 0 };
    bool connected;

    if (!faults_any(&instrument->faults))
        return send_whole(outbox, reply, 0.0, FAULT_ARMED_KINDS);
    spoil(instrument, reply, &spoilt);
    connected = send_spoilt(instrument, outbox, &spoilt);
    text_clear(&spoilt);
    return connected;
}
