/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "bench.h"

#include <assert.h>
#include <math.h>
#include <stdatomic.h>
#include <stdlib.h>
#include <string.h>

/* How long a scope looks at a point that names neither record nor frequency, seconds. */
static const double default_record = 0.02;

/* Periods that a record should hold when the point names a frequency. */
static const double record_periods = 10;

struct bench *bench_ref(struct bench *bench)
{
    atomic_fetch_add_explicit(&bench->references, 1, memory_order_relaxed);
    return bench;
}

static void free_words(char **words)
{
    for (size_t i = 0; words[i] != NULL; i++)
        free(words[i]);
}

static void free_burnin(struct bench_burnin *burnin)
{
    free(burnin->phases[0].points);
    free_words(burnin->command);
    for (size_t i = 0; i < BURNIN_PHASES; i++) {
        free_words(burnin->phases[i].begins);
        free_words(burnin->phases[i].ends);
    }
    free(burnin->drifts);
}

static void sheet_clear(struct bench_sheet *sheet)
{
    free(sheet->places);
    free(sheet->blocks);
}

static void free_bench(struct bench *bench)
{
    for (size_t i = 0; i < bench->burnin_count; i++)
        free_burnin(&bench->burnins[i]);
    for (size_t i = 0; i < bench->variant_count; i++)
        free(bench->variants[i]);
    for (size_t i = 0; i < bench->sheet_count; i++)
        sheet_clear(&bench->sheets[i]);
    free(bench->sheets);
    free(bench->burnins);
    free(bench->variants);
    for (size_t i = 0; i < bench->profile_count; i++)
        profile_free(bench->profiles[i]);
    free(bench->profiles);
    free(bench->instruments);
    free(bench->probes);
    free(bench->points);
    free(bench->name_table);
    free(bench->text);
    free(bench);
}

void bench_unref(struct bench *bench)
{
    if (bench == NULL)
        return;
    unsigned before = atomic_fetch_sub_explicit(&bench->references, 1, memory_order_acq_rel);
    assert(before > 0);
    if (before == 1)
        free_bench(bench);
}

/* FNV-1a, "The FNV Non-Cryptographic Hash Algorithm", draft-eastlake-fnv: 64 bits. */
static size_t hash_of(const char *name)
{
    uint64_t hash = 0xcbf29ce484222325U;
    for (; *name != '\0'; name++)
        hash = (hash ^ (unsigned char)*name) * 0x100000001b3U;
    return (size_t)(hash ^ hash >> 32);
}

/* The place of a name in the table, or the free one where it would be. */
static size_t *slot_of(const struct bench *bench, const char *name)
{
    size_t at = hash_of(name) & (bench->name_slots - 1);
    while (bench->name_table[at] != 0 &&
           strcmp(bench->points[bench->name_table[at] - 1].name, name) != 0)
        at = (at + 1) & (bench->name_slots - 1);
    return &bench->name_table[at];
}

bool bench_index(struct bench *bench)
{
    size_t slots = 16;
    while (slots < 2 * bench->point_count)
        slots *= 2;
    size_t *table = calloc(slots, sizeof *table);
    if (table == NULL)
        return false;
    free(bench->name_table);
    bench->name_table = table;
    bench->name_slots = slots;
    for (size_t i = 0; i < bench->point_count; i++) {
        size_t *slot = slot_of(bench, bench->points[i].name);
        if (*slot == 0)
            *slot = i + 1;
    }
    return true;
}

const struct bench_point *bench_point(const struct bench *bench, const char *name)
{
    if (bench->name_slots > 0) {
        size_t found = *slot_of(bench, name);
        return found > 0 ? &bench->points[found - 1] : NULL;
    }
    for (size_t i = 0; i < bench->point_count; i++)
        if (strcmp(bench->points[i].name, name) == 0)
            return &bench->points[i];
    return NULL;
}

bool bench_by_hand(const struct bench *bench, const struct bench_point *point)
{
    return point->input >= 1 &&
           (bench->instruments[point->instrument].switched >> (point->input - 1) & 1) == 0;
}

bool bench_hand_between(const struct bench *bench, const struct bench_point *a,
                        const struct bench_point *b)
{
    if (a == b || !bench_by_hand(bench, a) || a->instrument != b->instrument ||
        a->input != b->input || (a->index == b->index && a->index != BENCH_NO_POINT))
        return false;
    bool one_place = a->place[0] != '\0' && strcmp(a->place, b->place) == 0 && a->probe == b->probe;
    return !one_place;
}

const struct bench_instrument *bench_instrument(const struct bench *bench, const char *name)
{
    for (size_t i = 0; i < bench->instrument_count; i++)
        if (strcmp(bench->instruments[i].name, name) == 0)
            return &bench->instruments[i];
    return NULL;
}

void bench_use_way(struct bench_point *point, size_t index)
{
    const struct bench_way *way = &point->ways[index];

    point->instrument = way->instrument;
    point->input = way->input;
    point->probe = way->probe;
    point->at_input = way->at_input;
    point->correct_loading = way->correct_loading;
    memcpy(point->unit, way->unit, sizeof point->unit);
    point->way_used = index;
}

void bench_drop_limits(struct bench_point *point)
{
    point->limits = limits_none();
    point->reference = BENCH_NO_POINT;
    point->stored = (struct bench_stored) { 0 };
}

const struct bench_burnin *bench_burnin(const struct bench *bench, const char *name)
{
    for (size_t i = 0; i < bench->burnin_count; i++)
        if (strcmp(bench->burnins[i].name, name) == 0)
            return &bench->burnins[i];
    return NULL;
}

const struct bench_sheet *bench_sheet(const struct bench *bench, const char *name)
{
    for (size_t i = 0; i < bench->sheet_count; i++)
        if (strcmp(bench->sheets[i].name, name) == 0)
            return &bench->sheets[i];
    return NULL;
}

bool bench_of_shape(const struct bench *bench, const struct bench_point *point)
{
    const struct profile *profile = bench->instruments[point->instrument].profile;
    return profile != NULL && profile->kind == PROFILE_SCOPE && quantity_is_shape(point->quantity);
}

const char *bench_signal_unit(const struct bench *bench, const struct bench_point *point)
{
    if (!bench_of_shape(bench, point))
        return point->unit;
    return point->probe == 0 ? dimension_unit(DIMENSION_VOLTAGE) : bench->probes[point->probe].unit;
}

double bench_record(const struct bench_point *point)
{
    if (!isnan(point->record))
        return point->record;
    return isnan(point->frequency) ? default_record : record_periods / point->frequency;
}

bool bench_card(const struct bench *bench, const struct bench_point *point, char text[BENCH_CARD])
{
    const struct bench_instrument *instrument = &bench->instruments[point->instrument];
    int size = instrument->inputs_per_card, inputs = profile_inputs(instrument->profile);
    if (size == 0)
        return false;
    int first = (point->input - 1) / size * size + 1;
    int last = first + size - 1 < inputs ? first + size - 1 : inputs;
    snprintf(text, BENCH_CARD, "%s inputs %d to %d", instrument->name, first, last);
    return true;
}
