/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "tmc.h"

#include <string.h>

/* Bits of the attributes byte. */
enum { END_OF_MESSAGE = 1, TERM_CHAR = 2 };
enum { NO_ANSWER_KIND = 3, SURPLUS = 16, CUT_HEADER = 8 };

static uint32_t read_size(const uint8_t *bytes)
{
    return (uint32_t)bytes[0] | (uint32_t)bytes[1] << 8 | (uint32_t)bytes[2] << 16 |
           (uint32_t)bytes[3] << 24;
}

static void write_size(uint8_t *bytes, uint32_t size)
{
    for (int i = 0; i < 4; i++)
        bytes[i] = (uint8_t)(size >> (8 * i));
}

size_t tmc_transfer_size(size_t count)
{
    return (TMC_HEADER + count + 3) & ~(size_t)3;
}

size_t tmc_wanted(const struct tmc_out *out, size_t most)
{
    if (!out->open)
        return out->packet;
    uint64_t left = out->whole - out->received;
    uint64_t packets = (left + out->packet - 1) / out->packet * out->packet;
    return packets < most ? (size_t)packets : most / out->packet * out->packet;
}

static enum tmc_step refuse(struct tmc_out *out)
{
    out->open = false;
    out->unended = false;
    return TMC_REFUSED;
}

/* Whether header fields that every message has are right. */
static bool header_good(const uint8_t *bytes, size_t got)
{
    return got >= TMC_HEADER && bytes[1] != 0 && (bytes[1] ^ bytes[2]) == 0xff && bytes[3] == 0;
}

/* Message bytes of a read that began at byte `from` of the transfer. */
static enum tmc_step read_part(struct tmc_out *out, const uint8_t *bytes, size_t got, uint64_t from,
                               const uint8_t **data, size_t *count)
{
    uint64_t skip = from < TMC_HEADER ? TMC_HEADER - from : 0;
    uint64_t end = (uint64_t)TMC_HEADER + out->size;
    uint64_t message_left = from + skip < end ? end - from - skip : 0;

    *data = bytes + skip;
    *count = got - skip < message_left ? got - (size_t)skip : (size_t)message_left;
    out->received += got;
    if (out->received > out->whole)
        return refuse(out);
    if (out->received < out->whole) {
        /* Alignment bytes that are left out are forgiven, message bytes are not. */
        bool over = got % out->packet != 0;

        if (over && out->received < end)
            return refuse(out);
        if (!over)
            return TMC_GOES_ON;
    }
    out->open = false;
    out->unended = !out->ends;
    return out->ends ? TMC_ENDED : TMC_TAKEN;
}

static enum tmc_step begin_data(struct tmc_out *out, const uint8_t *bytes, size_t got,
                                const uint8_t **data, size_t *count)
{
    out->size = read_size(bytes + 4);
    if (out->size == 0)
        return refuse(out);
    out->ends = (bytes[8] & END_OF_MESSAGE) != 0;
    out->whole = ((uint64_t)TMC_HEADER + out->size + 3) & ~(uint64_t)3;
    out->received = 0;
    out->open = true;
    return read_part(out, bytes, got, 0, data, count);
}

static enum tmc_step begin_request(struct tmc_out *out, const uint8_t *bytes, size_t got)
{
    out->asked = (struct tmc_request) {
        .tag = bytes[1],
        .size = read_size(bytes + 4),
        .uses_term = (bytes[8] & TERM_CHAR) != 0,
        .term = bytes[9],
    };
    return got != TMC_HEADER || out->asked.size == 0 ? refuse(out) : TMC_ASKED;
}

enum tmc_step tmc_take(struct tmc_out *out, const uint8_t *bytes, size_t got, const uint8_t **data,
                       size_t *count)
{
    *data = bytes;
    *count = 0;
    if (out->open)
        return read_part(out, bytes, got, out->received, data, count);
    if (!header_good(bytes, got))
        return refuse(out);
    out->tag = bytes[1];
    switch (bytes[0]) {
    case TMC_DATA_OUT:
        return begin_data(out, bytes, got, data, count);
    case TMC_DATA_IN:
        return begin_request(out, bytes, got);
    default:
        return refuse(out);
    }
}

size_t tmc_fitting(const struct tmc_request *request, const uint8_t *bytes, size_t count)
{
    size_t fits = count < request->size ? count : request->size;
    const uint8_t *term = request->uses_term ? memchr(bytes, request->term, fits) : NULL;

    return term != NULL ? (size_t)(term - bytes) + 1 : fits;
}

static uint32_t announced_size(size_t count, enum fault_kind damage)
{
    if (damage == FAULT_SIZE_LARGER)
        return (uint32_t)count + SURPLUS;
    return damage == FAULT_SIZE_SMALLER ? (uint32_t)(count + 1) / 2 : (uint32_t)count;
}

size_t tmc_answer(const struct tmc_request *request, const uint8_t *bytes, size_t count, bool end,
                  enum fault_kind damage, uint8_t *transfer)
{
    size_t whole = tmc_transfer_size(count);
    uint8_t next = request->tag == UINT8_MAX ? 1 : (uint8_t)(request->tag + 1);
    uint8_t tag = damage == FAULT_WRONG_TAG ? next : request->tag;
    bool term = request->uses_term && count > 0 && bytes[count - 1] == request->term;

    memset(transfer, 0, TMC_HEADER);
    memset(transfer + TMC_HEADER + count, 0, whole - TMC_HEADER - count);
    transfer[0] = damage == FAULT_WRONG_MESSAGE ? NO_ANSWER_KIND : TMC_DATA_IN;
    transfer[1] = tag;
    transfer[2] = (uint8_t)~tag;
    write_size(transfer + 4, announced_size(count, damage));
    transfer[8] =
        (uint8_t)((end && damage != FAULT_NO_END ? END_OF_MESSAGE : 0) | (term ? TERM_CHAR : 0));
    memcpy(transfer + TMC_HEADER, bytes, count);
    return damage == FAULT_SHORT_HEADER ? CUT_HEADER : whole;
}
