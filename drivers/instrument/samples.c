/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "samples.h"

#include "core/waveform/flat_top.h"
#include "drivers/dialogue/response.h"
#include "sample_check.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

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

/* A code to volts; notes when it stands at an end of the converter. */
static double code_to_volts(struct samples *samples, const struct waveform_coding *coding,
                            double code)
{
    const struct setup *setup = samples->setup;
    samples->clipped_high |= code >= coding->code_high;
    samples->clipped_low |= code <= coding->code_low;
    double divisions = (code - coding->code_centre) / coding->codes_per_division;
    return divisions * samples->scope->front_end.ranges[setup->range].volts_per_division +
           setup->offset - setup->position;
}

/*
 * Volts do not say where the converter ends. Beyond the range's window it does in any case; within
 * the vertical accuracy of that, which may have been put right in the volts, a flat top tells.
 */
static void look_for_ends(struct samples *samples)
{
    const struct front_end *input = &samples->scope->front_end;
    const struct range *range = &input->ranges[samples->setup->range];
    double *volts = samples->record->volts;
    struct ends ends = { .step = range->resolution };
    setup_window(input, samples->setup, &ends.low, &ends.high);
    ends.slack = range->resolution + range->accuracy.reading * range->full_scale / 2;
    for (size_t i = 0; i < samples->count; i++) {
        samples->clipped_high |= !(volts[i] < ends.high);
        samples->clipped_low |= volts[i] <= ends.low;
        volts[i] = isfinite(volts[i]) ? volts[i] : ends.high;
    }
    struct flat_top flat = flat_top(volts, samples->count, &ends);
    samples->clipped_high |= flat.high;
    samples->clipped_low |= flat.low;
}

/* What came, which fits what was asked for, becomes volts in place. */
static void to_volts(struct samples *samples, const struct waveform_coding *coding)
{
    double *volts = samples->record->volts;
    if (!coding->codes) {
        look_for_ends(samples);
        return;
    }
    for (size_t i = 0; i < samples->count; i++)
        volts[i] = code_to_volts(samples, coding, volts[i]);
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
    if (!sample_check_count(samples->count, samples->scope->points, failure) ||
        !reserve(samples->record, samples->count, failure))
        return false;
    const unsigned char *bytes = (const unsigned char *)block.bytes;
    for (size_t i = 0; i < samples->count; i++)
        samples->record->volts[i] = decode(bytes + i * size, coding);
    return true;
}

static size_t count_fields(const char *bytes, size_t count)
{
    size_t fields = 1;
    for (size_t i = 0; i < count; i++)
        fields += bytes[i] == ',';
    return fields;
}

static bool read_list(const struct reply *reply, struct samples *samples, struct failure *failure)
{
    const char *field = reply->bytes;
    const char *end = reply->bytes + reply->count;
    samples->count = count_fields(reply->bytes, reply->count);
    if (!sample_check_count(samples->count, samples->scope->points, failure) ||
        !reserve(samples->record, samples->count, failure))
        return false;
    for (size_t i = 0; i < samples->count; i++) {
        const char *comma = memchr(field, ',', (size_t)(end - field));
        const char *stop = comma ? comma : end;
        if (!decimal_parse(field, (size_t)(stop - field), &samples->record->volts[i]))
            return failure_set(failure, FAILURE_UNEXPECTED_REPLY, NULL,
                               "decimal numbers separated by commas", "%.*s as sample %zu",
                               (int)(stop - field < 32 ? stop - field : 32), field, i + 1);
        field = stop + 1;
    }
    return true;
}

bool samples_read(const struct reply *reply, void *out, struct failure *failure)
{
    struct samples *samples = out;
    const struct waveform_coding *coding = &samples->scope->waveform;
    bool block = coding->encoding == ENCODING_BLOCK;
    samples->clipped_high = samples->clipped_low = false;
    if (!(block ? read_block(reply, samples, coding, failure)
                : read_list(reply, samples, failure)) ||
        !sample_check(coding, samples->record->volts, samples->count,
                      samples->scope->front_end.ranges[samples->setup->range].resolution, failure))
        return false;
    to_volts(samples, coding);
    return true;
}
