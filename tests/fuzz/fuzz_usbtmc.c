/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A USBTMC device that answers every transfer with any bytes: whatever it
 * says, a session gives bytes only under a header that answers its request,
 * never more than asked for, and comes to an end. The decoders alone see the
 * bytes first. Seeds: corpus_usbtmc.
 *
 * The input is a list of answers: how the transfer ends (modulo the results
 * there are), how many bytes follow, the bytes. Behind its end all is silent.
 */
#include "drivers/usb/usbtmc.h"
#include "drivers/usb/usbtmc_message.h"

#include <stdint.h>
#include <stdlib.h>
#include <string.h>

enum { PACKET = 8, MOST_READS = 64 };

/* Far away: only the device's silence ends a wait. */
static const struct deadline never = { INT64_MAX / 2 };

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void require(bool condition)
{
    if (!condition)
        abort();
}

/* What is left of the input, and the last request for an answer. */
struct source {
    const uint8_t *data;
    size_t size;
    unsigned char request[USBTMC_HEADER];
    unsigned char seen[USBTMC_HEADER]; /* first bytes of what came since */
    size_t seen_count;
};

/* Takes the next answer; *count bytes at most fit, and so many come. */
static enum pipe_result take(struct source *source, unsigned char *bytes, size_t *count)
{
    enum pipe_result result;
    size_t there;

    if (source->size < 2) {
        *count = 0;
        return PIPE_TIMEOUT;
    }
    result = (enum pipe_result)(source->data[0] % (PIPE_FAILED + 1));
    there = source->data[1];
    source->data += 2;
    source->size -= 2;
    there = there < source->size ? there : source->size;
    *count = there < *count ? there : *count;
    memcpy(bytes, source->data, *count);
    source->data += *count;
    source->size -= *count;
    return result;
}

static enum pipe_result fuzz_out(void *self, const unsigned char *bytes, size_t count, size_t *sent,
                                 struct deadline deadline)
{
    struct source *source = self;

    (void)deadline;
    require(count >= USBTMC_HEADER && count % USBTMC_ALIGNMENT == 0 && bytes[1] != 0);
    if (bytes[0] == 2) {
        memcpy(source->request, bytes, USBTMC_HEADER);
        source->seen_count = 0;
    }
    *sent = count;
    return PIPE_DONE;
}

static enum pipe_result fuzz_in(void *self, unsigned char *bytes, size_t capacity, size_t *count,
                                struct deadline deadline)
{
    struct source *source = self;
    enum pipe_result result;
    size_t keep;

    (void)deadline;
    require(capacity > 0 && capacity % PACKET == 0);
    *count = capacity;
    result = take(source, bytes, count);
    keep = USBTMC_HEADER - source->seen_count;
    keep = *count < keep ? *count : keep;
    memcpy(source->seen + source->seen_count, bytes, keep);
    source->seen_count += keep;
    return result;
}

static enum pipe_result fuzz_control(void *self, const struct usb_setup *setup,
                                     unsigned char *bytes, size_t *count, struct deadline deadline)
{
    (void)deadline;
    *count = setup->length;
    return take(self, bytes, count);
}

static enum pipe_result fuzz_clear_halt(void *self, uint8_t endpoint, struct deadline deadline)
{
    (void)self;
    (void)endpoint;
    (void)deadline;
    return PIPE_DONE;
}

static void fuzz_pause(void *self, struct deadline deadline)
{
    (void)self;
    (void)deadline;
}

static const struct usb_pipe_ops fuzz_ops = {
    .bulk_out = fuzz_out,
    .bulk_in = fuzz_in,
    .control = fuzz_control,
    .clear_halt = fuzz_clear_halt,
    .pause = fuzz_pause,
};

/* Bytes may be handed out only behind a header with the request's number. */
static void check_header(const struct source *source)
{
    require(source->seen_count == USBTMC_HEADER);
    require(source->seen[0] == 2 && source->seen[1] == source->request[1]);
    require((source->seen[1] ^ source->seen[2]) == 0xff);
}

/* Reads as a caller would who never has enough. */
static void read_all(struct usbtmc *session, const struct source *source)
{
    for (int i = 0; i < MOST_READS; i++) {
        char bytes[100];
        size_t count = 0;
        bool end;
        struct failure failure;
        enum link_result result;

        failure_clear(&failure);
        result = usbtmc_read(session, bytes, sizeof bytes, &count, &end, never, &failure);
        require((result == LINK_BROKEN) == (failure.code != FAILURE_NONE));
        if (result != LINK_BYTES)
            return;
        require(count >= 1 && count <= sizeof bytes);
        check_header(source);
        if (end)
            return;
    }
}

static void live(struct source *source)
{
    const struct usb_pipe pipe = { .ops = &fuzz_ops,
                                   .device = source,
                                   .usb488 = true,
                                   .out = 1,
                                   .in = 0x81,
                                   .in_packet = PACKET };
    struct usbtmc *session = usbtmc_open(&pipe, never, NULL);

    for (int i = 0; session && i < 4; i++) {
        if (usbtmc_write(session, "READ?\n", 6, never, NULL))
            read_all(session, source);
        usbtmc_present(session, NULL);
    }
    usbtmc_close(session);
}

static void decode(const uint8_t *data, size_t size)
{
    struct usbtmc_request request = { .tag = 2, .size = 1024, .term_char = USBTMC_NO_TERM_CHAR };
    struct usbtmc_capabilities capabilities;
    struct usbtmc_answer answer;

    if (usbtmc_in_header(data, size, &request, &answer, NULL))
        require(data[1] == 2 && answer.size >= 1 && answer.size <= 1024);
    usbtmc_read_capabilities(data, size, &capabilities);
    usbtmc_read_progress(USBTMC_CHECK_ABORT_IN, data, size);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct source source = { .data = data, .size = size };

    if (size < 1)
        return 0;
    decode(data, size);
    source.data++; /* what the device answers begins behind it in the inputs on file */
    source.size--;
    live(&source);
    return 0;
}
