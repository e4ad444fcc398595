/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Instruments that speak USBTMC: a session on a device that it owns. */
#include "link_usb.h"

#include "usb_device.h"
#include "usbtmc.h"

#include <stdlib.h>

struct usb_link {
    struct usb_device *device;
    struct usbtmc *session;
};

static void usb_close(void *self)
{
    struct usb_link *link = self;

    usbtmc_close(link->session);
    usb_device_close(link->device);
    free(link);
}

static void *usb_open(const struct link_spec *spec, struct deadline deadline,
                      struct failure *failure)
{
    struct usb_link *link = calloc(1, sizeof *link);
    struct usb_pipe pipe;

    if (!link) {
        failure_no_memory(failure, "a link");
        return NULL;
    }
    link->device = usb_device_open(spec, deadline, failure);
    if (link->device) {
        pipe = usb_device_pipe(link->device);
        link->session = usbtmc_open(&pipe, deadline, failure);
    }
    if (link->session && spec->has_end_byte)
        usbtmc_end_at(link->session, spec->end_byte);
    if (link->session)
        return link;
    usb_close(link);
    return NULL;
}

static bool usb_write(void *self, const char *bytes, size_t count, struct deadline deadline,
                      struct failure *failure)
{
    const struct usb_link *link = self;

    return usbtmc_write(link->session, bytes, count, deadline, failure);
}

static enum link_result usb_read(void *self, char *bytes, size_t capacity, size_t *count, bool *end,
                                 struct deadline deadline, struct failure *failure)
{
    const struct usb_link *link = self;

    return usbtmc_read(link->session, bytes, capacity, count, end, deadline, failure);
}

static bool usb_clear(void *self, struct deadline deadline, struct failure *failure)
{
    const struct usb_link *link = self;

    return usbtmc_clear(link->session, deadline, failure);
}

static bool usb_present(void *self, struct failure *failure)
{
    const struct usb_link *link = self;

    return usbtmc_present(link->session, failure);
}

const struct link_ops link_usb_ops = {
    .name = "usb",
    .marks_end = true,
    .open = usb_open,
    .write = usb_write,
    .read = usb_read,
    .clear = usb_clear,
    .present = usb_present,
    .close = usb_close,
};
