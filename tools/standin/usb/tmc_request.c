/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "tmc_request.h"

#include "ffs.h"

#include <linux/usb/ch9.h>
#include <linux/usb/tmc.h>
#include <string.h>

/* Subclass USB488, table 11: the status byte cannot be told now. */
enum { INTERRUPT_BUSY = 0x20 };
/* Capability bits of both specifications. */
enum { CAN_PULSE = 4, CAN_TERM_CHAR = 1, IS_488_2 = 4, CAN_REMOTE = 2 };
enum { IS_SCPI = 8, IS_SR1 = 4, IS_RL1 = 2 };
enum { TO_INTERFACE = USB_DIR_IN | USB_TYPE_CLASS | USB_RECIP_INTERFACE };
enum { TO_ENDPOINT = USB_DIR_IN | USB_TYPE_CLASS | USB_RECIP_ENDPOINT };
enum { OUT_INDEX = FFS_OUT + 1, IN_INDEX = FFS_IN + 1 };

bool tmc_checks_clear(const struct gadget_setup *setup)
{
    return setup->type == TO_INTERFACE && setup->request == USBTMC_REQUEST_CHECK_CLEAR_STATUS;
}

static int capabilities(const struct tmc_view *view, uint8_t *reply)
{
    reply[3] = 1; /* version 1.00 of the class, and of the subclass */
    reply[4] = CAN_PULSE;
    reply[5] = CAN_TERM_CHAR;
    reply[13] = 1;
    reply[14] = IS_488_2 | CAN_REMOTE;
    reply[15] = (uint8_t)((view->scpi ? IS_SCPI : 0) | IS_SR1 | IS_RL1);
    return TMC_REPLY;
}

static int status_byte(const struct tmc_view *view, const struct gadget_setup *setup,
                       uint8_t *reply, enum tmc_order *order)
{
    reply[1] = (uint8_t)setup->value;
    if (setup->value < 2 || setup->value > 127)
        reply[0] = USBTMC_STATUS_FAILED;
    else if (view->notice_waits)
        reply[0] = INTERRUPT_BUSY;
    else
        *order = TMC_TELL_STATUS;
    return 3;
}

static int to_interface(const struct tmc_view *view, const struct gadget_setup *setup,
                        uint8_t *reply, enum tmc_order *order)
{
    switch (setup->request) {
    case USBTMC_REQUEST_GET_CAPABILITIES:
        return capabilities(view, reply);
    case USBTMC_REQUEST_INITIATE_CLEAR:
        *order = TMC_CLEAR;
        return 1;
    case USBTMC_REQUEST_CHECK_CLEAR_STATUS:
        reply[0] = view->unread ? USBTMC_STATUS_PENDING : USBTMC_STATUS_SUCCESS;
        reply[1] = view->unread;
        return 2;
    case USBTMC_REQUEST_INDICATOR_PULSE:
        *order = TMC_PULSE;
        return 1;
    case USBTMC488_REQUEST_READ_STATUS_BYTE:
        return status_byte(view, setup, reply, order);
    case USBTMC488_REQUEST_REN_CONTROL:
        *order = (setup->value & 0xff) != 0 ? TMC_REMOTE_ENABLE : TMC_REMOTE_DISABLE;
        return 1;
    case USBTMC488_REQUEST_GOTO_LOCAL:
        *order = TMC_GO_TO_LOCAL;
        return 1;
    case USBTMC488_REQUEST_LOCAL_LOCKOUT:
        *order = TMC_LOCK_OUT;
        return 1;
    default:
        return -1;
    }
}

/* Starts to abort a transfer if it is the one that is named. */
static int abort_transfer(bool open, uint8_t tag, const struct gadget_setup *setup, uint8_t *reply,
                          enum tmc_order wanted, enum tmc_order *order)
{
    reply[1] = tag;
    if (!open)
        reply[0] = USBTMC_STATUS_FAILED;
    else if (tag != (setup->value & 0xff))
        reply[0] = USBTMC_STATUS_TRANSFER_NOT_IN_PROGRESS;
    else
        *order = wanted;
    return 2;
}

static int aborted(bool pending, uint32_t bytes, uint8_t *reply)
{
    reply[0] = pending ? USBTMC_STATUS_PENDING : USBTMC_STATUS_SUCCESS;
    reply[1] = pending;
    for (int i = 0; i < 4; i++)
        reply[4 + i] = (uint8_t)(bytes >> (8 * i));
    return 8;
}

static int to_endpoint(const struct tmc_view *view, const struct gadget_setup *setup,
                       uint8_t *reply, enum tmc_order *order)
{
    if (setup->index == OUT_INDEX && setup->request == USBTMC_REQUEST_INITIATE_ABORT_BULK_OUT)
        return abort_transfer(view->out_open, view->out_tag, setup, reply, TMC_ABORT_OUT, order);
    if (setup->index == OUT_INDEX && setup->request == USBTMC_REQUEST_CHECK_ABORT_BULK_OUT_STATUS)
        return aborted(false, view->out_received, reply);
    if (setup->index == IN_INDEX && setup->request == USBTMC_REQUEST_INITIATE_ABORT_BULK_IN)
        return abort_transfer(view->in_open, view->in_tag, setup, reply, TMC_ABORT_IN, order);
    if (setup->index == IN_INDEX && setup->request == USBTMC_REQUEST_CHECK_ABORT_BULK_IN_STATUS)
        return aborted(view->closing, view->in_sent, reply);
    return -1;
}

int tmc_request(const struct tmc_view *view, const struct gadget_setup *setup,
                uint8_t reply[TMC_REPLY], enum tmc_order *order)
{
    *order = TMC_NOTHING;
    memset(reply, 0, TMC_REPLY);
    reply[0] = USBTMC_STATUS_SUCCESS;
    if (setup->type == TO_INTERFACE)
        return to_interface(view, setup, reply, order);
    return setup->type == TO_ENDPOINT ? to_endpoint(view, setup, reply, order) : -1;
}
