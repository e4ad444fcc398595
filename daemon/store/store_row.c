/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "store_row.h"

void store_row_digest(const struct store_row *row, const uint8_t before[CHAIN_SIZE],
                      uint8_t digest[CHAIN_SIZE])
{
    struct chain_link link;
    chain_begin(&link, before, "reading");
    chain_integer(&link, row->id);
    chain_text(&link, row->point);
    chain_text(&link, row->time);
    chain_integer(&link, row->at.ns);
    chain_integer(&link, row->sequence);
    chain_real(&link, row->value);
    chain_real(&link, row->uncertainty);
    chain_text(&link, row->unit);
    chain_text(&link, row->verdict);
    chain_text(&link, row->reason);
    chain_text(&link, row->run);
    chain_integer(&link, row->round);
    chain_text(&link, row->body);
    chain_text(&link, row->settings_digest);
    chain_text(&link, row->instrument);
    chain_text(&link, row->identity);
    chain_text(&link, row->calibration_due);
    chain_text(&link, row->version);
    chain_end(&link, digest);
}

void store_event_digest(const struct store_event *event, const uint8_t before[CHAIN_SIZE],
                        uint8_t digest[CHAIN_SIZE])
{
    struct chain_link link;
    chain_begin(&link, before, "event");
    chain_integer(&link, event->id);
    chain_text(&link, event->time);
    chain_integer(&link, event->at.ns);
    chain_text(&link, event->kind);
    chain_text(&link, event->subject);
    chain_integer(&link, event->first);
    chain_integer(&link, event->last);
    chain_bytes(&link, event->after, CHAIN_SIZE);
    chain_text(&link, event->body);
    chain_end(&link, digest);
}

void store_origin_digest(const struct store_origin *origin, uint8_t digest[CHAIN_SIZE])
{
    struct chain_link link;
    chain_begin(&link, NULL, "origin");
    chain_text(&link, origin->time);
    chain_text(&link, origin->follows);
    chain_end(&link, digest);
}
