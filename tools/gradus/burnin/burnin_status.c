/* SPDX-License-Identifier: GPL-3.0-or-later */
/* gradus burnin status, once. */
#include "burnin_priv.h"
#include "tools/gradus/answers/ask.h"
#include "tools/gradus/basics/status.h"
#include "tools/gradus/screen/frame.h"

#include <stdlib.h>

/* On a terminal all of it stays in sight, and no line is longer than the screen is wide. */
static int show(const struct session *session, json_t *result)
{
    if (!frame_possible())
        return burnin_draw_status(session->terminal, stdout, result, 0);
    char *text = NULL;
    size_t size = 0;
    FILE *const stream = open_memstream(&text, &size);
    if (stream == NULL) {
        terminal_complain(session->terminal, "no memory for a screen");
        return STATUS_NO_READING;
    }
    /* The last line of the screen is where the next command is typed. */
    const int status =
        burnin_draw_status(session->terminal, stream, result, (size_t)session->terminal->rows - 1);
    fclose(stream);
    frame_put_lines(session->terminal, stdout, text);
    free(text);
    return status;
}

int burnin_status(const struct session *session)
{
    const char *const run = session->operand_count > 1 ? session->operands[1] : NULL;
    if (session->options->watch)
        return burnin_watch(session, run);
    return ask(session, run, "burnin.status",
               run != NULL ? json_pack("{s:s}", "run", run) : json_object(), ASK_PLAIN_MS, show);
}
