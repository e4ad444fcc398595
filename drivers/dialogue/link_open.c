/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "link_open.h"

#include "drivers/link/link_kinds.h"
#include "drivers/usb/link_usb.h"

static const struct link_ops *const kinds[] = {
    [LINK_TCP] = &link_tcp_ops,
    [LINK_UNIX] = &link_unix_ops,
    [LINK_SERIAL] = &link_serial_ops,
    [LINK_USB] = &link_usb_ops,
};

struct link *link_open(const struct link_spec *spec, struct deadline deadline,
                       struct failure *failure)
{
    const struct link_ops *ops = kinds[spec->kind];
    void *self = ops->open(spec, deadline, failure);

    return self ? link_wrap(ops, self, failure) : NULL;
}
