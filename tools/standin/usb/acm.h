/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The class requests and notifications of a serial device on USB, without any
 * input or output. USB Class Definitions for Communications Devices 1.2, with
 * the subclass for PSTN devices 1.2, 6.3 and 6.5.
 */
#ifndef STANDIN_ACM_H
#define STANDIN_ACM_H

#include "gadget.h"
#include "tools/standin/instrument/fault.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum { ACM_LINE_CODING = 7, ACM_NOTICE = 10 };

/* What the host has set; `coding` as it is on the wire. */
struct acm_line {
    uint8_t coding[ACM_LINE_CODING];
    bool dtr;
    bool rts;
    unsigned breaks; /* begun by the host */
};

/* 9600 baud, 8 bits, no parity, 1 stop bit. */
struct acm_line acm_default(void);

/* Whether a request to the device is known. */
bool acm_takes(const struct gadget_setup *setup);

/* Carries out a request; the length of the reply, or -1 to stall it. */
int acm_request(struct acm_line *line, const struct gadget_setup *setup, uint8_t *bytes);

/* The rate of the line coding. */
uint32_t acm_baud(const struct acm_line *line);

/* Writes the notification SERIAL_STATE: carrier and data set ready, and what a fault sets. */
void acm_notice(enum fault_kind damage, uint8_t notice[ACM_NOTICE]);

/*
 * Damages a reply: `bytes` from `*count` on are as if they had not come. Returns
 * where the notification belongs, behind so many bytes.
 */
size_t acm_damage(enum fault_kind damage, uint8_t *bytes, size_t *count);

#endif
