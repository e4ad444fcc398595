/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "record.h"

#include "tools/standin/basics/alloc.h"

#include <stdlib.h>
#include <sys/ioctl.h>

bool record_fill_any(struct record *record, const struct worker *worker, int stream)
{
    while (record->marked < sizeof record->mark) {
        ssize_t got = worker_read(worker, stream, (char *)&record->mark + record->marked,
                                  sizeof record->mark - record->marked);

        if (got <= 0)
            return false;
        record->marked += (size_t)got;
    }
    if (record->bytes == NULL)
        record->bytes = alloc_new(record->mark.count + 1, 1);
    while (record->count < record->mark.count) {
        ssize_t got = worker_read(worker, stream, record->bytes + record->count,
                                  record->mark.count - record->count);

        if (got <= 0)
            return false;
        record->count += (size_t)got;
    }
    return true;
}

bool record_fill(struct record *record, const struct worker *worker, int stream)
{
    while (record_fill_any(record, worker, stream)) {
        if (!record->dropped && record->mark.command > record->void_to)
            return true;
        record_clear(record);
    }
    return false;
}

void record_clear(struct record *record)
{
    free(record->bytes);
    record->bytes = NULL;
    record->marked = 0;
    record->count = 0;
    record->sent = 0;
    record->dropped = false;
}

bool record_waits(const struct record *record, int stream)
{
    int count = 0;

    return record->marked > 0 || (ioctl(stream, FIONREAD, &count) == 0 && count > 0);
}
