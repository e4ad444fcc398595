/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "talk.h"

#include <stdlib.h>
#include <string.h>

/* Time beyond the usual for a reply: a raw query may start a conversion or a long acquisition. */
static const double patience_ms = 10000;

static bool keep_reply(const struct reply *reply, void *out, struct failure *failure)
{
    struct job *job = out;
    job->reply = malloc(reply->count + 1);
    if (job->reply == NULL)
        return failure_set(failure, FAILURE_NO_MEMORY, NULL, NULL, "a reply of %zu bytes",
                           reply->count);
    memcpy(job->reply, reply->bytes, reply->count);
    job->reply[reply->count] = '\0';
    job->reply_length = reply->count;
    return true;
}

static bool exchange(struct dialogue *dialogue, struct job *job, struct failure *failure)
{
    if (!job->wants_reply)
        return dialogue_command(dialogue, job->command, job->deadline, failure);
    return dialogue_query(dialogue, job->command, patience_ms, keep_reply, job, job->deadline,
                          failure);
}

void talk(struct instrument *instrument, struct job *job)
{
    struct dialogue *dialogue = instrument_dialogue(instrument);
    struct failure failure = { 0 };
    if (!instrument_ready(instrument, job->deadline, &failure) ||
        !exchange(dialogue, job, &failure))
        reading_fail(&job->capture.reading, &failure);
    dialogue_suspect(dialogue);
}
