/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "samples.h"

#include "drivers/dialogue/response.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* A record may be a little longer or shorter than was asked for; a stump is no record. */
static const double fewest_share = 0.9;

static size_t sample_size(enum sample_format format)
{
    static const size_t sizes[] = { 1, 1, 2, 2, 4, 8 };
    return sizes[format];
}

static bool reserve(struct record *record, size_t count, struct failure *failure)
{
    if (count <= record->capacity)
        return true;
    double *volts = realloc(record->volts, count * sizeof *volts);
    if (!volts)
        return failure_set(failure, FAILURE_NO_MEMORY, NULL, NULL, "%zu samples", count);
    record->volts = volts;
    record->capacity = count;
    return true;
}

/* The bytes of one sample as an unsigned number, most significant first. */
static uint64_t gather(const unsigned char *bytes, size_t size, enum byte_order order)
{
    uint64_t raw = 0;
    for (size_t i = 0; i < size; i++)
        raw = raw << 8 | bytes[order == ORDER_MSB_FIRST ? i : size - 1 - i];
    return raw;
}

static double decode(const unsigned char *bytes, const struct waveform_coding *coding)
{
    uint64_t raw = gather(bytes, sample_size(coding->format), coding->order);
    uint32_t narrow = (uint32_t)raw;
    float real32;
    double real64;
    switch (coding->format) {
    case SAMPLE_INT8:
        return (int8_t)(uint8_t)raw;
    case SAMPLE_INT16:
        return (int16_t)(uint16_t)raw;
    case SAMPLE_REAL32:
        memcpy(&real32, &narrow, sizeof real32);
        return real32;
    case SAMPLE_REAL64:
        memcpy(&real64, &raw, sizeof real64);
        return real64;
    default:
        return (double)raw;
    }
}

/* One sample to volts; notes when it stands at an end of the scale. */
static double to_volts(struct samples *samples, const struct waveform_coding *coding, double sample)
{
    const struct front_end *input = &samples->scope->front_end;
    const struct setup *setup = samples->setup;
    if (coding->codes) {
        samples->clipped_high |= sample >= coding->code_high;
        samples->clipped_low |= sample <= coding->code_low;
        double divisions = (sample - coding->code_centre) / coding->codes_per_division;
        return divisions * input->ranges[setup->range].volts_per_division + setup->offset -
               setup->position;
    }
    double low, high;
    setup_window(input, setup, &low, &high);
    samples->clipped_high |= !(sample < high);
    samples->clipped_low |= sample <= low;
    return isfinite(sample) ? sample : high;
}

/* Whether a number can be a code of the converter; if not, characters were lost or damaged. */
static bool is_code(const struct waveform_coding *coding, double number)
{
    switch (coding->format) {
    case SAMPLE_INT8:
        return number >= INT8_MIN && number <= INT8_MAX && number == rint(number);
    case SAMPLE_UINT8:
        return number >= 0 && number <= UINT8_MAX && number == rint(number);
    case SAMPLE_INT16:
        return number >= INT16_MIN && number <= INT16_MAX && number == rint(number);
    case SAMPLE_UINT16:
        return number >= 0 && number <= UINT16_MAX && number == rint(number);
    default:
        return true;
    }
}

static bool enough(const struct samples *samples, size_t count, struct failure *failure)
{
    size_t asked = samples->scope->points;
    if ((double)count >= fewest_share * (double)asked && count <= 2 * asked && count >= 4)
        return true;
    return failure_set(failure, FAILURE_UNEXPECTED_REPLY, NULL, NULL,
                       "%zu samples came, %zu were asked for", count, asked);
}

static bool read_block(const struct reply *reply, struct samples *samples,
                       const struct waveform_coding *coding, struct failure *failure)
{
    struct element block;
    size_t elements;
    if (!response_parse(reply->bytes, reply->count, &block, 1, &elements, failure))
        return false;
    size_t size = sample_size(coding->format);
    if (elements != 1 || block.type != ELEMENT_BLOCK || block.count % size != 0)
        return failure_set(failure, FAILURE_UNEXPECTED_REPLY, NULL, "one block of whole samples",
                           "%zu bytes of something else", reply->count);
    samples->count = block.count / size;
    if (!enough(samples, samples->count, failure) ||
        !reserve(samples->record, samples->count, failure))
        return false;
    const unsigned char *bytes = (const unsigned char *)block.bytes;
    for (size_t i = 0; i < samples->count; i++)
        samples->record->volts[i] = to_volts(samples, coding, decode(bytes + i * size, coding));
    return true;
}

static bool read_list(const struct reply *reply, struct samples *samples,
                      const struct waveform_coding *coding, struct failure *failure)
{
    size_t most = samples->scope->points * 2;
    if (!reserve(samples->record, most, failure))
        return false;
    const char *field = reply->bytes;
    const char *end = reply->bytes + reply->count;
    samples->count = 0;
    while (field <= end) {
        const char *comma = memchr(field, ',', (size_t)(end - field));
        const char *stop = comma ? comma : end;
        double code;
        if (samples->count == most || !decimal_parse(field, (size_t)(stop - field), &code) ||
            (coding->codes && !is_code(coding, code)))
            return failure_set(failure, FAILURE_UNEXPECTED_REPLY, NULL,
                               "decimal codes separated by commas", "%.*s as code %zu",
                               (int)(stop - field < 32 ? stop - field : 32), field,
                               samples->count + 1);
        samples->record->volts[samples->count++] = to_volts(samples, coding, code);
        field = stop + 1;
    }
    return enough(samples, samples->count, failure);
}

bool samples_read(const struct reply *reply, void *out, struct failure *failure)
{
    struct samples *samples = out;
    const struct waveform_coding *coding = &samples->scope->waveform;
    samples->clipped_high = samples->clipped_low = false;
    return coding->encoding == ENCODING_BLOCK ? read_block(reply, samples, coding, failure)
                                              : read_list(reply, samples, coding, failure);
}
