/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The plug of a USB gadget: the attribute UDC of its configfs folder holds the
 * name of the device controller that it is bound to, or nothing.
 */
#ifndef STANDIN_UDC_H
#define STANDIN_UDC_H

#include "tools/standin/basics/problem.h"

#include <stdbool.h>

struct udc {
    char file[192]; /* empty: the gadget was not named, it is plugged by others */
    char name[64];  /* the controller it was bound to last, or is to be bound to */
};

/* Unbinds the gadget and remembers where it was; harmless when it is bound to nothing. */
bool udc_unplug(struct udc *udc, struct problem *problem);

/* Binds the gadget to a controller, NULL: the remembered one. */
bool udc_plug(struct udc *udc, const char *name, struct problem *problem);

#endif
