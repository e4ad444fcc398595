/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A scope's answer to the waveform query becomes volts at the input, or is refused. */
#include "drivers/instrument/samples.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <inttypes.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { POINTS = 10 };

/* A scope of one range, 2 V a division, whose screen shows -7.75 V to +7.75 V. */
struct bench {
    struct range range;
    struct scope scope;
    struct record record;
    struct setup setup;
    struct samples samples;
};

static struct bench *bench_new(enum encoding encoding, enum sample_format format)
{
    struct bench *bench = calloc(1, sizeof *bench);

    assert_non_null(bench);
    bench->range = (struct range) { .full_scale = 16,
                                    .low = -7.75,
                                    .high = 7.75,
                                    .resolution = 2.0 / 32,
                                    .volts_per_division = 2 };
    bench->scope.points = POINTS;
    bench->scope.front_end =
        (struct front_end) { .count = 1, .ranges = &bench->range, .vertical = true };
    bench->scope.waveform = (struct waveform_coding) { .encoding = encoding,
                                                       .format = format,
                                                       .codes = format < SAMPLE_REAL32,
                                                       .code_low = 0,
                                                       .code_high = 255,
                                                       .code_centre = 128,
                                                       .codes_per_division = 32,
                                                       .codes_per_step = 1 };
    bench->samples = (struct samples) { .scope = &bench->scope,
                                        .setup = &bench->setup,
                                        .record = &bench->record };
    return bench;
}

static void bench_free(struct bench *bench)
{
    free(bench->record.volts);
    free(bench);
}

/* The reply is handed over in memory of just its size, so that reading past it shows. */
static bool read_bytes(struct bench *bench, const char *bytes, size_t count,
                       struct failure *failure)
{
    char *exact = malloc(count + 1);
    struct reply reply = { exact, count };
    bool done;

    assert_non_null(exact);
    memcpy(exact, bytes, count);
    exact[count] = '\0';
    failure_clear(failure);
    done = samples_read(&reply, &bench->samples, failure);
    free(exact);
    return done;
}

static void refused(struct bench *bench, const char *bytes, size_t count)
{
    struct failure failure;

    if (read_bytes(bench, bytes, count, &failure))
        fail_msg("%zu bytes '%s' were taken for a record", count, bytes);
    assert_int_equal(failure.code, FAILURE_UNEXPECTED_REPLY);
    assert_string_not_equal(failure.what, "");
}

static void accepted(struct bench *bench, const char *bytes, size_t count)
{
    struct failure failure;
    char text[512];

    if (!read_bytes(bench, bytes, count, &failure))
        fail_msg("refused: %s", failure_text(&failure, text, sizeof text));
}

static void bad_lists_are_refused(void **state)
{
    static const char *const lists[] = {
        "",
        ",",
        "128",
        "128,128,128,128,128,128,128,128",         /* eight of ten */
        "128,128,128,128,128,128,128,128,128,",    /* an empty field at the end */
        "128,,128,128,128,128,128,128,128,128",    /* in the middle */
        "128,128,128,128,128,128,128,128,128,x",   /* no number */
        "128,128,128,128,128,128,128,128,128,0x1", /* not decimal */
        "128,128,128,128,128,128,128,128,128,nan",
        "128,128,128,128,128,128,128,128,128 128,128", /* a comma lost */
        "128,128,128,128,128,128,128,128,128,128128",  /* the same without trace */
        "128,128,128,128,128,128,128,128,128,-1",      /* below the converter */
        "128,128,128,128,128,128,128,128,128,256",     /* above it */
        "128,128,128,128,128,128,128,128,128,127.5",   /* between two codes */
        "128;128;128;128;128;128;128;128;128;128",
        "#210abcdefghij",
        "1,2,3,4,5,6,7,8,9,0,1",                   /* one too many */
        "1,2,3,4,5,6,7,8,9",                       /* one too few */
        "0,1,1,2,2,1,3,2,4,1,5,2,6,1,7,2,8,1,9,2", /* pairs */
    };
    struct bench *bench = bench_new(ENCODING_LIST, SAMPLE_UINT8);

    (void)state;
    for (size_t i = 0; i < sizeof lists / sizeof *lists; i++)
        refused(bench, lists[i], strlen(lists[i]));
    bench_free(bench);
}

static void bad_blocks_are_refused(void **state)
{
    static const struct {
        const char *bytes;
        size_t count;
    } blocks[] = {
        { "", 0 },
        { "#", 1 },
        { "#10", 3 },
        { "#18abcdefgh", 11 },             /* eight samples of ten */
        { "#220abcdefghij", 14 },          /* shorter than announced */
        { "#210abcdefghijk", 15 },         /* longer than announced */
        { "#210abcdefghij,1", 16 },        /* something behind it */
        { "#18abcdefgh,#18abcdefgh", 23 }, /* two blocks */
        { "1,2,3,4,5,6,7,8,9,10", 20 },    /* a list */
        { "\"abcdefghij\"", 12 },          /* a string */
        { "#19abcdefghi", 12 },            /* one too few */
        { "#211abcdefghijk", 15 },         /* one too many */
        { "#220aaaaaaaaaaaaaaaaaaaa", 24 } /* twice as many */
    };
    struct bench *bench = bench_new(ENCODING_BLOCK, SAMPLE_UINT8);

    (void)state;
    for (size_t i = 0; i < sizeof blocks / sizeof *blocks; i++)
        refused(bench, blocks[i].bytes, blocks[i].count);
    bench_free(bench);
}

static size_t size_of(enum sample_format format)
{
    static const size_t sizes[] = { 1, 1, 2, 2, 4, 8 };

    return sizes[format];
}

/* As many whole samples as were asked for, and a part of another. */
static void half_a_sample_is_refused(void **state)
{
    static const enum sample_format formats[] = { SAMPLE_INT16, SAMPLE_UINT16, SAMPLE_REAL32,
                                                  SAMPLE_REAL64 };

    (void)state;
    for (size_t i = 0; i < sizeof formats / sizeof *formats; i++) {
        struct bench *bench = bench_new(ENCODING_BLOCK, formats[i]);
        size_t whole = POINTS * size_of(formats[i]);
        char block[4 + 8 * (POINTS + 1)] = "";

        snprintf(block, sizeof block, "#2%02zu", whole + 1);
        refused(bench, block, 4 + whole + 1);
        snprintf(block, sizeof block, "#2%02zu", whole);
        accepted(bench, block, 4 + whole);
        bench_free(bench);
    }
}

/* Four samples are the fewest that can be measured, whatever was asked for. */
static void three_samples_are_no_record(void **state)
{
    struct bench *bench = bench_new(ENCODING_LIST, SAMPLE_UINT8);

    (void)state;
    bench->scope.points = 3;
    refused(bench, "128,128,128", 11);
    bench->scope.points = 4;
    accepted(bench, "128,128,128,128", 15);
    bench_free(bench);
}

static void codes_become_volts(void **state)
{
    struct bench *bench = bench_new(ENCODING_LIST, SAMPLE_UINT8);
    static const double wanted[] = { 0, 2, -2, 0.0625, -0.0625, 7.875, -7.9375, 0, 0, 0 };

    (void)state;
    accepted(bench, "128,160,96,129,127,254,1,128,+128,128.0", 39);
    assert_int_equal(bench->samples.count, 10);
    for (size_t i = 0; i < 10; i++)
        assert_true(bench->record.volts[i] == wanted[i]);
    assert_false(bench->samples.clipped_high || bench->samples.clipped_low);
    bench_free(bench);
}

/* The middle of the screen stands for the offset; a trace moved up stands for less. */
static void offset_and_position_are_reckoned_with(void **state)
{
    struct bench *bench = bench_new(ENCODING_LIST, SAMPLE_UINT8);

    (void)state;
    bench->setup.offset = 5;
    accepted(bench, "128,160,128,128,128,128,128,128,128,128", 39);
    assert_true(bench->record.volts[0] == 5 && bench->record.volts[1] == 7);
    bench->setup.offset = 0;
    bench->setup.position = 3;
    accepted(bench, "128,160,128,128,128,128,128,128,128,128", 39);
    assert_true(bench->record.volts[0] == -3 && bench->record.volts[1] == -1);
    bench_free(bench);
}

static void clipping_tells_its_side(void **state)
{
    static const struct {
        const char *list;
        bool high;
        bool low;
    } rows[] = {
        { "128,128,128,128,128,128,128,128,128,254", false, false },
        { "1,128,128,128,128,128,128,128,128,128", false, false },
        { "128,128,128,128,128,128,128,128,128,255", true, false },
        { "0,128,128,128,128,128,128,128,128,128", false, true },
        { "0,128,128,128,128,128,128,128,128,255", true, true },
        { "128,128,128,128,128,128,128,128,128,128", false, false }, /* forgets the last record */
    };
    struct bench *bench = bench_new(ENCODING_LIST, SAMPLE_UINT8);

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        accepted(bench, rows[i].list, strlen(rows[i].list));
        assert_int_equal(bench->samples.clipped_high, rows[i].high);
        assert_int_equal(bench->samples.clipped_low, rows[i].low);
    }
    bench_free(bench);
}

static void signed_bytes_clip_at_both_ends(void **state)
{
    struct bench *bench = bench_new(ENCODING_BLOCK, SAMPLE_INT8);
    struct waveform_coding *coding = &bench->scope.waveform;

    (void)state;
    coding->code_low = -128;
    coding->code_high = 127;
    coding->code_centre = 0;
    accepted(bench, "#210\x00\x01\xff\x20\xe0\x7e\x81\x0a\x0d\x00", 14);
    assert_true(bench->record.volts[1] == 0.0625 && bench->record.volts[2] == -0.0625);
    assert_true(bench->record.volts[3] == 2 && bench->record.volts[4] == -2);
    assert_true(bench->record.volts[5] == 126.0 / 16 && bench->record.volts[6] == -127.0 / 16);
    assert_false(bench->samples.clipped_high || bench->samples.clipped_low);
    accepted(bench, "#210\x00\x00\x00\x00\x00\x00\x00\x00\x00\x7f", 14);
    assert_true(bench->samples.clipped_high && !bench->samples.clipped_low);
    accepted(bench, "#210\x80\x00\x00\x00\x00\x00\x00\x00\x00\x00", 14);
    assert_true(!bench->samples.clipped_high && bench->samples.clipped_low);
    bench_free(bench);
}

/* xorshift64*: the generator is our own so that a seed gives the same numbers everywhere. */
static uint64_t draw(uint64_t *state)
{
    *state ^= *state >> 12;
    *state ^= *state << 25;
    *state ^= *state >> 27;
    return *state * UINT64_C(2685821657736338717);
}

/* A sample's bits, least significant first, and the number they stand for. */
static double sample_of(enum sample_format format, uint64_t random, uint64_t *bits)
{
    int8_t int8 = (int8_t)(random % 255 - 127);
    int16_t int16 = (int16_t)(random % 65535 - 32767);
    float real32 = (float)int16 / 7;
    double real64 = (double)int16 / 7;
    uint32_t narrow;

    memcpy(&narrow, &real32, sizeof narrow);
    switch (format) {
    case SAMPLE_INT8:
        *bits = (uint8_t)int8;
        return int8;
    case SAMPLE_INT16:
        *bits = (uint16_t)int16;
        return int16;
    case SAMPLE_REAL32:
        *bits = narrow;
        return (double)real32;
    case SAMPLE_REAL64:
        memcpy(bits, &real64, sizeof real64);
        return real64;
    default:
        *bits = format == SAMPLE_UINT8 ? random % 256 : random % 65536;
        return (double)*bits;
    }
}

/* Writes a block of samples, and the volts they stand for at 1 V a code. */
static size_t write_block(char *block, enum sample_format format, enum byte_order order,
                          double *wanted, uint64_t *seed)
{
    size_t size = size_of(format);
    char *bytes = block + sprintf(block, "#2%02zu", POINTS * size);

    for (size_t i = 0; i < POINTS; i++) {
        uint64_t bits;

        wanted[i] = sample_of(format, draw(seed), &bits);
        for (size_t j = 0; j < size; j++)
            bytes[order == ORDER_LSB_FIRST ? j : size - 1 - j] = (char)(bits >> 8 * j);
        bytes += size;
    }
    return (size_t)(bytes - block);
}

/* Byte order is the profile's, and each format is read back as it was written. */
static void every_format_reads_back(void **state)
{
    uint64_t seed = 0x9e3779b97f4a7c15;

    (void)state;
    print_message("seed %" PRIu64 "\n", seed);
    for (unsigned turn = 0; turn < 6 * 2 * 200; turn++) {
        enum sample_format format = (enum sample_format)(turn % 6);
        struct bench *bench = bench_new(ENCODING_BLOCK, format);
        struct waveform_coding *coding = &bench->scope.waveform;
        char block[5 + POINTS * sizeof(double)];
        double wanted[POINTS];

        coding->order = turn / 6 % 2 ? ORDER_LSB_FIRST : ORDER_MSB_FIRST;
        coding->code_low = -1e9;
        coding->code_high = 1e9;
        coding->code_centre = 0;
        coding->codes_per_division = 2;
        bench->range.low = -1e9;
        bench->range.high = 1e9;
        accepted(bench, block, write_block(block, format, coding->order, wanted, &seed));
        assert_int_equal(bench->samples.count, POINTS);
        for (size_t i = 0; i < POINTS; i++)
            assert_true(bench->record.volts[i] == wanted[i]);
        assert_false(bench->samples.clipped_high || bench->samples.clipped_low);
        bench_free(bench);
    }
}

/* Volts that leave the screen are clipped, and so are the marks for no value (SCPI-1999 7.2.1). */
static void volts_beyond_the_screen_are_clipped(void **state)
{
    static const struct {
        uint32_t bits; /* IEEE 754, single precision */
        bool high;
        bool low;
    } rows[] = {
        { 0x40f00000, false, false }, /* 7.5 */
        { 0xc0f00000, false, false }, /* -7.5 */
        { 0x40f80000, true, false },  /* 7.75, the end of the screen */
        { 0xc0f80000, false, true },  /* -7.75 */
        { 0x7e94f56a, true, false },  /* 9.9E37 */
        { 0xfe94f56a, false, true },  /* -9.9E37 */
        { 0x7e951bee, true, false },  /* 9.91E37 */
        { 0x7f800000, true, false },  /* infinity */
        { 0x7fc00000, true, false },  /* not a number */
    };
    struct bench *bench = bench_new(ENCODING_BLOCK, SAMPLE_REAL32);

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        char block[4 + 4 * POINTS] = "#240";

        for (size_t j = 0; j < 4; j++)
            block[4 + j] = (char)(rows[i].bits >> (24 - 8 * j));
        accepted(bench, block, sizeof block);
        assert_int_equal(bench->samples.clipped_high, rows[i].high);
        assert_int_equal(bench->samples.clipped_low, rows[i].low);
        assert_true(isfinite(bench->record.volts[0]));
    }
    bench_free(bench);
}

/* A flat top within the vertical accuracy of the end is cut off; one well inside is not. */
static void a_flat_top_in_volts_near_the_end_is_clipped(void **state)
{
    static const struct {
        const char *list;
        bool high;
        bool low;
    } rows[] = {
        { "0,7.6,7.6,7.6,0,0,0,0,0,0.5", true, false },
        { "0,-7.6,-7.6,-7.6,0,0,0,0,0,0.5", false, true },
        { "0,7.6,7.5,7.6,0,0,0,0,0,0.5", false, false }, /* twice is no flat top */
        { "0,7,7,7,0,0,0,0,0,0", false, false },         /* further than 3 % of 8 V and a step */
    };
    struct bench *bench = bench_new(ENCODING_LIST, SAMPLE_REAL64);

    (void)state;
    bench->range.accuracy.reading = 0.03;
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        accepted(bench, rows[i].list, strlen(rows[i].list));
        assert_int_equal(bench->samples.clipped_high, rows[i].high);
        assert_int_equal(bench->samples.clipped_low, rows[i].low);
    }
    bench_free(bench);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(bad_lists_are_refused),
        cmocka_unit_test(bad_blocks_are_refused),
        cmocka_unit_test(half_a_sample_is_refused),
        cmocka_unit_test(three_samples_are_no_record),
        cmocka_unit_test(codes_become_volts),
        cmocka_unit_test(offset_and_position_are_reckoned_with),
        cmocka_unit_test(clipping_tells_its_side),
        cmocka_unit_test(signed_bytes_clip_at_both_ends),
        cmocka_unit_test(every_format_reads_back),
        cmocka_unit_test(volts_beyond_the_screen_are_clipped),
        cmocka_unit_test(a_flat_top_in_volts_near_the_end_is_clipped),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
