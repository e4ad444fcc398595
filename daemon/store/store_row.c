/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "store_row.h"

void store_row_digest(const struct store_row *row, const uint8_t before[SEAL_SIZE],
                      uint8_t digest[SEAL_SIZE])
{
    struct seal seal;
    seal_begin(&seal, before, "reading");
    seal_integer(&seal, row->id);
    seal_text(&seal, row->point);
    seal_text(&seal, row->time);
    seal_integer(&seal, row->time_ns);
    seal_integer(&seal, row->sequence);
    seal_real(&seal, row->value);
    seal_real(&seal, row->uncertainty);
    seal_text(&seal, row->unit);
    seal_text(&seal, row->verdict);
    seal_text(&seal, row->reason);
    seal_text(&seal, row->run);
    seal_integer(&seal, row->round);
    seal_text(&seal, row->body);
    seal_text(&seal, row->settings_digest);
    seal_text(&seal, row->instrument);
    seal_text(&seal, row->identity);
    seal_text(&seal, row->calibration_due);
    seal_text(&seal, row->version);
    seal_end(&seal, digest);
}

void store_event_digest(const struct store_event *event, const uint8_t before[SEAL_SIZE],
                        uint8_t digest[SEAL_SIZE])
{
    struct seal seal;
    seal_begin(&seal, before, "event");
    seal_integer(&seal, event->id);
    seal_text(&seal, event->time);
    seal_integer(&seal, event->time_ns);
    seal_text(&seal, event->kind);
    seal_text(&seal, event->subject);
    seal_integer(&seal, event->first);
    seal_integer(&seal, event->last);
    seal_bytes(&seal, event->after, SEAL_SIZE);
    seal_text(&seal, event->body);
    seal_end(&seal, digest);
}

void store_origin_digest(const struct store_origin *origin, uint8_t digest[SEAL_SIZE])
{
    struct seal seal;
    seal_begin(&seal, NULL, "origin");
    seal_text(&seal, origin->time);
    seal_text(&seal, origin->follows);
    seal_end(&seal, digest);
}
