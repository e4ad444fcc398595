/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What a point is measured with: one instrument, or the best of several
 * ways. One that cannot see the signal is refused and its reason kept;
 * a point that none can measure is a mistake.
 */
#include "core/basics/nearest.h"
#include "core/input/chain.h"
#include "foresee.h"
#include "settings_priv.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* A way as it is written. */
struct way_file {
    char instrument[BENCH_NAME];
    char probe[BENCH_NAME];
    int input;
};

#define FIELD(name) offsetof(struct way_file, name)

static const struct strict_key way_keys[] = {
    { .name = "instrument",
      .type = STRICT_TEXT,
      .required = true,
      .offset = FIELD(instrument),
      .size = BENCH_NAME,
      .help = "which instrument the point is connected to as well" },
    { .name = "input",
      .type = STRICT_INTEGER,
      .offset = FIELD(input),
      .minimum = 1,
      .maximum = PROFILE_INPUTS,
      .help = "which input of it; default 1" },
    { .name = "probe",
      .type = STRICT_TEXT,
      .offset = FIELD(probe),
      .size = BENCH_NAME,
      .help = "what is between point and this input; default \"direct\"" },
    { .name = NULL },
};

/* Finds an instrument by name; false with the nearest name suggested. */
static bool find_instrument(const struct settings *settings, const config_setting_t *at,
                            const char *name, size_t *index)
{
    const struct bench *bench = settings->bench;
    struct nearest nearest = { 0 };

    for (size_t i = 0; i < bench->instrument_count; i++) {
        if (strcmp(bench->instruments[i].name, name) == 0) {
            *index = i;
            return true;
        }
        nearest_offer(&nearest, name, bench->instruments[i].name);
    }
    problems_at(settings->problems, at, "no instrument \"%s\", expected %s%s%s", name,
                nearest.word != NULL ? "perhaps \"" : "one of those above",
                nearest.word != NULL ? nearest.word : "", nearest.word != NULL ? "\"" : "");
    return false;
}

bool settings_find_probe(const struct settings *settings, const config_setting_t *at,
                         const char *name, size_t *index)
{
    const struct bench *bench = settings->bench;
    struct nearest nearest = { 0 };

    for (size_t i = 0; i < bench->probe_count; i++) {
        if (strcmp(bench->probes[i].name, name) == 0) {
            *index = i;
            return true;
        }
        nearest_offer(&nearest, name, bench->probes[i].name);
    }
    problems_at(settings->problems, at, "no probe \"%s\", expected %s%s%s", name,
                nearest.word != NULL ? "perhaps \"" : "one of those above, or \"direct",
                nearest.word != NULL ? nearest.word : "", "\"");
    return false;
}

/*
 * What has to be measured at the input, so that the probe makes the wanted
 * quantity of it. A plain connection leaves everything as it is; leads in ohms
 * carry a resistance, measured with two wires; behind any other probe there is
 * a voltage, of the same aspect.
 */
static bool derive(const struct bench *bench, struct bench_point *point)
{
    const struct probe *probe = &bench->probes[point->probe];
    bool direct = point->probe == 0;
    enum dimension dimension = quantity_dimension(point->quantity);
    enum aspect aspect = quantity_aspect(point->quantity);

    if (bench_of_shape(bench, point) && aspect == ASPECT_WHOLE) {
        point->at_input = QUANTITY_PEAK_TO_PEAK_VOLTAGE;
        snprintf(point->unit, sizeof point->unit, "%s", dimension_unit(dimension));
        return probe->dimension != DIMENSION_RESISTANCE;
    }
    if (direct) {
        point->at_input =
            bench_of_shape(bench, point) ? QUANTITY_PEAK_TO_PEAK_VOLTAGE : point->quantity;
        snprintf(point->unit, sizeof point->unit, "%s", dimension_unit(dimension));
        return dimension != DIMENSION_SIGNAL &&
               (!bench_of_shape(bench, point) || dimension == DIMENSION_VOLTAGE);
    }
    snprintf(point->unit, sizeof point->unit, "%s", probe->unit);
    if (probe->dimension == DIMENSION_RESISTANCE) {
        point->at_input = QUANTITY_RESISTANCE;
        return point->quantity == QUANTITY_RESISTANCE;
    }
    return dimension == probe->dimension &&
           quantity_of(probe->factor < 0 ? aspect_inverted(aspect) : aspect, DIMENSION_VOLTAGE,
                       &point->at_input);
}

/* The RMS of x + c is no function of the RMS of x. */
static bool squares_well(struct settings *settings, const config_setting_t *group,
                         const struct probe *probe, const struct bench_point *point)
{
    if (quantity_aspect(point->quantity) != ASPECT_RMS || probe->offset == 0)
        return true;
    problems_at(settings->problems, strict_member(group, "quantity"),
                "\"quantity\" is \"%s\" through probe \"%s\", which has an offset, "
                "expected a dc, ac or peak quantity",
                quantity_name(point->quantity), probe->name);
    return false;
}

static bool read_quantity(struct settings *settings, const config_setting_t *group,
                          struct bench_point *point)
{
    const struct probe *probe = &settings->bench->probes[point->probe];
    enum quantity example = QUANTITY_DC_VOLTAGE;

    if (derive(settings->bench, point))
        return squares_well(settings, group, probe, point);
    if (!quantity_of(ASPECT_DC, probe->dimension, &example))
        example = QUANTITY_RESISTANCE;
    problems_at(settings->problems, strict_member(group, "quantity"),
                "\"quantity\" is \"%s\" through probe \"%s\" with %s at its tip, expected one like "
                "\"%s\"",
                quantity_name(point->quantity), probe->name, probe->unit, quantity_name(example));
    return false;
}

static void check(const struct settings *settings, const config_setting_t *group,
                  const struct bench_point *point)
{
    const struct bench_instrument *instrument = &settings->bench->instruments[point->instrument];
    const struct profile *profile = instrument->profile;

    if (profile == NULL)
        return;
    struct point_check check = {
        .group = group,
        .point = point,
        .instrument = instrument,
        .probe = &settings->bench->probes[point->probe],
        .input = profile_front_end(profile, point->at_input),
        .function = profile_function(profile, point->at_input),
        .problems = settings->problems,
    };
    settings_check_point(&check);
}

/* Whether the resistance that loads the point is known on every range. */
static bool load_known(const struct bench *bench, const struct bench_point *point)
{
    const struct profile *profile = bench->instruments[point->instrument].profile;
    const struct front_end *input =
        profile != NULL ? profile_front_end(profile, point->at_input) : NULL;
    bool known = input != NULL;

    if (!isnan(bench->probes[point->probe].tip_resistance))
        return true;
    for (size_t i = 0; known && i < input->count; i++)
        known = !isnan(input->ranges[i].input_resistance);
    return known;
}

static void read_loading(struct settings *settings, const config_setting_t *group,
                         enum loading_choice choice, struct bench_point *point)
{
    struct problems *problems = settings->problems;
    bool voltage = quantity_dimension(point->quantity) == DIMENSION_VOLTAGE;
    bool has_source = strict_member(group, "source_resistance") != NULL;
    bool has_tolerance = strict_member(group, "source_resistance_tolerance_percent") != NULL;
    bool known = voltage && has_source && load_known(settings->bench, point);

    if (has_source != has_tolerance) {
        problems_at(problems, group, "missing key \"%s\", expected it with \"%s\"",
                    has_source ? "source_resistance_tolerance_percent" : "source_resistance",
                    has_source ? "source_resistance" : "source_resistance_tolerance_percent");
    }
    if (has_source && !voltage) {
        problems_at(problems, strict_member(group, "source_resistance"),
                    "source_resistance with %s, expected it with a voltage only",
                    quantity_name(point->quantity));
    } else if (choice == LOADING_CORRECT && !known) {
        problems_at(problems, strict_member(group, "loading"),
                    "loading cannot be corrected, expected a source_resistance, and a known "
                    "resistance of probe or input");
    }
    point->correct_loading = choice != LOADING_REPORT && known;
}

/* Names of instrument and probe to places in the bench. */
static bool find_both(struct settings *settings, const config_setting_t *group,
                      const char *instrument, const char *probe, struct bench_point *point)
{
    bool found =
        instrument[0] != '\0' && find_instrument(settings, strict_member(group, "instrument"),
                                                 instrument, &point->instrument);

    return probe[0] != '\0' &&
           settings_find_probe(settings, strict_member(group, "probe"), probe, &point->probe) &&
           found;
}

/* Whether the point can be measured with the instrument and probe that it now has. */
static void judge(struct settings *settings, const config_setting_t *group,
                  enum loading_choice loading, struct bench_point *point)
{
    if (read_quantity(settings, group, point)) {
        read_loading(settings, group, loading, point);
        check(settings, group, point);
    }
}

static struct bench_way way_of(const struct bench_point *point)
{
    struct bench_way way = { .instrument = point->instrument,
                             .input = point->input,
                             .probe = point->probe,
                             .at_input = point->at_input,
                             .correct_loading = point->correct_loading,
                             .standard = NAN };

    memcpy(way.unit, point->unit, sizeof way.unit);
    return way;
}

/* The first problem as a reason: what stands behind its place in the file. */
static void keep_reason(const struct problems *problems, char reason[BENCH_TEXT])
{
    const char *text = problems->count > 0 ? problems->lines[0] : "no memory";
    const char *place = strstr(text, ": ");

    snprintf(reason, BENCH_TEXT, "%s", place != NULL ? place + 2 : text);
}

/* Judges a way by itself: what speaks against it is no mistake of the file's. */
static void judge_way(struct settings *settings, const config_setting_t *group,
                      enum loading_choice loading, struct bench_point *point, size_t index)
{
    struct problems own = { 0 };
    struct problems *all = settings->problems;

    settings->problems = &own;
    judge(settings, group, loading, point);
    settings->problems = all;
    struct bench_way *way = &point->ways[index];
    *way = way_of(point);
    if (own.total > 0)
        keep_reason(&own, way->refusal);
    else if (!foresee(settings->bench, point, &way->standard))
        snprintf(way->refusal, sizeof way->refusal, "no setting of it holds what is expected");
    problems_free(&own);
}

/* The way with the smallest predicted uncertainty; the first where nothing is expected. */
static bool best_way(const struct bench_point *point, size_t *best)
{
    bool found = false;

    for (size_t i = 0; i < point->way_count; i++) {
        const struct bench_way *way = &point->ways[i];
        if (way->refusal[0] == '\0' && (!found || way->standard < point->ways[*best].standard)) {
            *best = i;
            found = true;
        }
    }
    return found;
}

static void choose(struct settings *settings, const config_setting_t *list,
                   struct bench_point *point)
{
    size_t best = 0;

    if (best_way(point, &best)) {
        bench_use_way(point, best);
        return;
    }
    for (size_t i = 0; i < point->way_count; i++) {
        problems_at(settings->problems, config_setting_get_elem(list, (unsigned)i),
                    "none of the ways can measure the point, this one because: %s",
                    point->ways[i].refusal);
    }
}

static bool read_way(struct settings *settings, const config_setting_t *group,
                     struct bench_point *point)
{
    struct way_file file = { .input = 1, .probe = "direct" };
    bool good = strict_group(group, way_keys, &file, settings->problems);

    point->input = file.input;
    return find_both(settings, group, file.instrument, file.probe, point) && good;
}

static void read_several(struct settings *settings, const config_setting_t *group,
                         const config_setting_t *list, struct point_file *file, bool good)
{
    struct bench_point *point = &file->point;
    size_t count = (size_t)config_setting_length(list);

    if (count < 2 || count > BENCH_WAYS) {
        problems_at(settings->problems, list, "%zu ways, expected 2 to %d", count, BENCH_WAYS);
        return;
    }
    for (size_t i = 0; i < count; i++) {
        struct bench_point one = *point;
        good = read_way(settings, config_setting_get_elem(list, (unsigned)i), &one) && good;
        if (good) {
            judge_way(settings, group, file->loading, &one, i);
            point->ways[i] = one.ways[i];
        }
    }
    if (good) {
        point->way_count = count;
        choose(settings, list, point);
    }
}

void settings_read_ways(struct settings *settings, const config_setting_t *group,
                        struct point_file *file, bool good)
{
    const config_setting_t *list = strict_list(group, "ways");

    if (list != NULL)
        read_several(settings, group, list, file, good);
    else if (find_both(settings, group, file->instrument, file->probe, &file->point) && good)
        judge(settings, group, file->loading, &file->point);
}

void settings_print_way_keys(FILE *out)
{
    fprintf(out, "ways, each:\n");
    strict_print_keys(out, way_keys);
}
