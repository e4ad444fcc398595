/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "link.h"

#include <stdlib.h>

struct link {
    const struct link_ops *ops;
    void *self;
};

struct link *link_wrap(const struct link_ops *ops, void *self, struct failure *failure)
{
    struct link *link = malloc(sizeof *link);

    if (!link) {
        ops->close(self);
        failure_no_memory(failure, "a link");
        return NULL;
    }
    *link = (struct link) { .ops = ops, .self = self };
    return link;
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
