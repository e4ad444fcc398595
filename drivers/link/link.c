/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "link.h"

#include "link_kinds.h"

#include <stdlib.h>

struct link {
    const struct link_ops *ops;
    void *self;
};

static const struct link_ops *const kinds[] = {
    [LINK_TCP] = &link_tcp_ops,
    [LINK_UNIX] = &link_unix_ops,
    [LINK_SERIAL] = &link_serial_ops,
    [LINK_USB] = &link_usb_ops,
};

struct link *link_wrap(const struct link_ops *ops, void *self, struct failure *failure)
{
    struct link *link = malloc(sizeof *link);

    if (!link) {
        ops->close(self);
        failure_set(failure, FAILURE_NO_MEMORY, NULL, NULL, "no memory for a link");
        return NULL;
    }
    *link = (struct link) { .ops = ops, .self = self };
    return link;
}

struct link *link_open(const struct link_spec *spec, struct deadline deadline,
                       struct failure *failure)
{
    const struct link_ops *ops = kinds[spec->kind];
    void *self = ops->open(spec, deadline, failure);

    return self ? link_wrap(ops, self, failure) : NULL;
}

bool link_write(struct link *link, const char *bytes, size_t count, struct deadline deadline,
                struct failure *failure)
{
    return link->ops->write(link->self, bytes, count, deadline, failure);
}

enum link_result link_read(struct link *link, char *bytes, size_t capacity, size_t *count,
                           bool *end, struct deadline deadline, struct failure *failure)
{
    return link->ops->read(link->self, bytes, capacity, count, end, deadline, failure);
}

bool link_clear(struct link *link, struct deadline deadline, struct failure *failure)
{
    return link->ops->clear && link->ops->clear(link->self, deadline, failure);
}

bool link_damaged(struct link *link)
{
    return link->ops->damaged && link->ops->damaged(link->self);
}

bool link_present(struct link *link, struct failure *failure)
{
    return !link->ops->present || link->ops->present(link->self, failure);
}

const char *link_note(struct link *link)
{
    return link->ops->note ? link->ops->note(link->self) : "";
}

bool link_status(struct link *link, unsigned char *byte, struct deadline deadline,
                 struct failure *failure)
{
    return link->ops->status && link->ops->status(link->self, byte, deadline, failure);
}

bool link_marks_end(const struct link *link)
{
    return link->ops->marks_end;
}

void link_close(struct link *link)
{
    if (!link)
        return;
    link->ops->close(link->self);
    free(link);
}
