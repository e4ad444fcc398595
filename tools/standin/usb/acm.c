/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "acm.h"

#include <linux/usb/cdc.h>
#include <linux/usb/ch9.h>
#include <string.h>

/* Bits of SERIAL_STATE (PSTN 6.5.4) and of SET_CONTROL_LINE_STATE (6.3.12). */
enum { CARRIER = 1, READY = 2, BREAK_SEEN = 4, BAD_FRAME = 16, BAD_PARITY = 32, LOST = 64 };
enum { LINE_DTR = 1, LINE_RTS = 2 };
enum { TO_DEVICE = USB_DIR_OUT | USB_TYPE_CLASS | USB_RECIP_INTERFACE };
enum { TO_HOST = USB_DIR_IN | USB_TYPE_CLASS | USB_RECIP_INTERFACE };

struct acm_line acm_default(void)
{
    return (struct acm_line) { .coding = { 0x80, 0x25, 0, 0, 0, 0, 8 } };
}

bool acm_takes(const struct gadget_setup *setup)
{
    return setup->type == TO_DEVICE &&
           ((setup->request == USB_CDC_REQ_SET_LINE_CODING && setup->length == ACM_LINE_CODING) ||
            setup->request == USB_CDC_REQ_SET_CONTROL_LINE_STATE ||
            setup->request == USB_CDC_REQ_SEND_BREAK);
}

int acm_request(struct acm_line *line, const struct gadget_setup *setup, uint8_t *bytes)
{
    if (setup->type == TO_HOST && setup->request == USB_CDC_REQ_GET_LINE_CODING) {
        memcpy(bytes, line->coding, ACM_LINE_CODING);
        return ACM_LINE_CODING;
    }
    if (!acm_takes(setup))
        return -1;
    if (setup->request == USB_CDC_REQ_SET_LINE_CODING) {
        memcpy(line->coding, bytes, ACM_LINE_CODING);
    } else if (setup->request == USB_CDC_REQ_SET_CONTROL_LINE_STATE) {
        line->dtr = (setup->value & LINE_DTR) != 0;
        line->rts = (setup->value & LINE_RTS) != 0;
    } else {
        /* A value of 0 ends a break. */
        line->breaks += setup->value != 0;
    }
    return 0;
}

uint32_t acm_baud(const struct acm_line *line)
{
    return (uint32_t)line->coding[0] | (uint32_t)line->coding[1] << 8 |
           (uint32_t)line->coding[2] << 16 | (uint32_t)line->coding[3] << 24;
}

static uint8_t error_bit(enum fault_kind damage)
{
    switch (damage) {
    case FAULT_FRAMING:
        return BAD_FRAME;
    case FAULT_PARITY:
        return BAD_PARITY;
    case FAULT_OVERRUN:
        return LOST;
    case FAULT_BREAK:
        return BREAK_SEEN;
    default:
        return 0;
    }
}

void acm_notice(enum fault_kind damage, uint8_t notice[ACM_NOTICE])
{
    const uint8_t bytes[ACM_NOTICE] = {
        TO_HOST, USB_CDC_NOTIFY_SERIAL_STATE, 0, 0, 0, 0, 2, 0, CARRIER | READY | error_bit(damage),
    };

    memcpy(notice, bytes, sizeof bytes);
}

size_t acm_damage(enum fault_kind damage, uint8_t *bytes, size_t *count)
{
    size_t middle = *count / 2;

    if (*count == 0)
        return 0;
    if (damage == FAULT_FRAMING) {
        /* The stop bit was low: the bits came late by one. */
        bytes[middle] = (uint8_t)(bytes[middle] << 1);
    } else if (damage == FAULT_PARITY) {
        bytes[middle] ^= 1;
    } else if (damage == FAULT_OVERRUN) {
        memmove(bytes + middle, bytes + middle + 1, *count - middle - 1);
        --*count;
    }
    return middle;
}
