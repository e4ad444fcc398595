/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What is written to a stream, as text, for tests. */
#ifndef GRADUS_TESTS_TOOLS_CAPTURE_STREAM_H
#define GRADUS_TESTS_TOOLS_CAPTURE_STREAM_H

#include <stdio.h>

/* Start with {0}, write to the stream that capture_begin() returns, free `text` with free(). */
struct capture_stream {
    FILE *stream;
    char *text;
    size_t size;
};

static inline FILE *capture_begin(struct capture_stream *capture)
{
    capture->stream = open_memstream(&capture->text, &capture->size);
    return capture->stream;
}

static inline char *capture_end(struct capture_stream *capture)
{
    fclose(capture->stream);
    return capture->text;
}

#endif
