/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The test points of a settings file. */
#include "../core/chain.h"
#include "../drivers/nearest.h"
#include "../drivers/utf8.h"
#include "settings_priv.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum loading_choice { LOADING_CORRECT, LOADING_REPORT, LOADING_DEFAULT };

/* A point as it is written. */
struct point_file {
    struct bench_point point;
    char instrument[BENCH_NAME];
    char probe[BENCH_NAME];
    enum loading_choice loading;
};

#define FIELD(name) offsetof(struct point_file, name)

static const char *const loadings[] = {
    [LOADING_CORRECT] = "correct",
    [LOADING_REPORT] = "report",
    NULL,
};

static const struct strict_key point_keys[] = {
    { .name = "name",
      .type = STRICT_TEXT,
      .required = true,
      .offset = FIELD(point.name),
      .size = BENCH_NAME,
      .help = "what clients call it" },
    { .name = "instrument",
      .type = STRICT_TEXT,
      .required = true,
      .offset = FIELD(instrument),
      .size = BENCH_NAME,
      .help = "which instrument it is connected to" },
    { .name = "input",
      .type = STRICT_INTEGER,
      .offset = FIELD(point.input),
      .minimum = 1,
      .maximum = 64,
      .help = "which input of it; default 1" },
    { .name = "probe",
      .type = STRICT_TEXT,
      .required = true,
      .offset = FIELD(probe),
      .size = BENCH_NAME,
      .help = "what is between point and input; \"direct\" for a plain connection" },
    { .name = "quantity",
      .type = STRICT_CHOICE,
      .required = true,
      .offset = FIELD(point.quantity),
      .choices = profile_quantities,
      .help = "what is measured, at the tip" },
    { .name = "expected",
      .type = STRICT_NUMBER,
      .offset = FIELD(point.expected),
      .unit = "the unit at the tip",
      .help = "the value that is to be expected" },
    { .name = "dc_level",
      .type = STRICT_NUMBER,
      .offset = FIELD(point.dc_level),
      .unit = "the unit at the tip",
      .help = "what an ac or peak-to-peak quantity rides on; 0 where that is nothing" },
    { .name = "frequency",
      .type = STRICT_NUMBER,
      .offset = FIELD(point.frequency),
      .minimum = 1e-6,
      .maximum = 1e12,
      .unit = "Hz",
      .help = "of the signal" },
    { .name = "crest_factor",
      .type = STRICT_NUMBER,
      .offset = FIELD(point.crest_factor),
      .minimum = 1.0,
      .maximum = 1000.0,
      .help = "peak over RMS of the signal, without its dc level" },
    { .name = "record",
      .type = STRICT_NUMBER,
      .offset = FIELD(point.record),
      .minimum = 1e-12,
      .maximum = 1e6,
      .unit = "s",
      .help = "how long a scope looks; default: some periods of frequency" },
    { .name = "source_resistance",
      .type = STRICT_NUMBER,
      .offset = FIELD(point.source.resistance),
      .maximum = 1e15,
      .unit = "ohm",
      .help = "of the circuit behind the point" },
    { .name = "source_resistance_tolerance_percent",
      .type = STRICT_NUMBER,
      .offset = FIELD(point.source.tolerance),
      .maximum = 100.0,
      .scale = 0.01,
      .unit = "%",
      .help = "bound on source_resistance" },
    { .name = "loading",
      .type = STRICT_CHOICE,
      .offset = FIELD(loading),
      .choices = loadings,
      .help = "what to do about the loading of the circuit; default \"correct\" where "
              "source_resistance is there and the input's resistance known" },
    { .name = "limits", .type = STRICT_GROUP, .help = "between which the value must be" },
    { .name = "caution",
      .type = STRICT_TEXT,
      .offset = FIELD(point.caution),
      .size = BENCH_TEXT,
      .help = "shown before and with the reading" },
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

static bool find_probe(const struct settings *settings, const config_setting_t *at,
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

/* The largest at the tip of a probe that inverts is the smallest at the input. */
static enum aspect inverted(enum aspect aspect)
{
    if (aspect == ASPECT_MAXIMUM)
        return ASPECT_MINIMUM;
    return aspect == ASPECT_MINIMUM ? ASPECT_MAXIMUM : aspect;
}

/*
 * What has to be measured at the input, so that the probe makes the wanted
 * quantity of it. A plain connection leaves everything as it is; behind any
 * other probe there is a voltage, of the same aspect.
 */
static bool derive(const struct probe *probe, bool direct, struct bench_point *point)
{
    enum dimension dimension = quantity_dimension(point->quantity);
    enum aspect aspect = quantity_aspect(point->quantity);

    if (direct) {
        point->at_input = point->quantity;
        snprintf(point->unit, sizeof point->unit, "%s", dimension_unit(dimension));
        return dimension != DIMENSION_SIGNAL;
    }
    snprintf(point->unit, sizeof point->unit, "%s", probe->unit);
    return dimension == probe->dimension &&
           quantity_of(probe->factor < 0 ? inverted(aspect) : aspect, DIMENSION_VOLTAGE,
                       &point->at_input);
}

/* The RMS of x + c is no function of the RMS of x. */
static bool squares_well(struct settings *settings, const config_setting_t *group,
                         const struct probe *probe, const struct bench_point *point)
{
    if (quantity_aspect(point->quantity) != ASPECT_RMS || probe->offset == 0) {
        return true;
    }
    problems_at(settings->problems, strict_member(group, "quantity"),
                "\"quantity\" is \"%s\" through probe \"%s\", which has an offset, "
                "expected a dc, ac or peak quantity",
                quantity_name(point->quantity), probe->name);
    return false;
}

static bool take_quantity(struct settings *settings, const config_setting_t *group,
                          struct bench_point *point)
{
    const struct probe *probe = &settings->bench->probes[point->probe];
    enum quantity example = QUANTITY_DC_VOLTAGE;

    if (derive(probe, point->probe == 0, point)) {
        return squares_well(settings, group, probe, point);
    }
    quantity_of(ASPECT_DC, probe->dimension, &example);
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

    if (profile == NULL) {
        return;
    }
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

static struct point_file point_default(void)
{
    struct point_file file = {
        .loading = LOADING_DEFAULT,
        .point = { .input = 1,
                   .expected = NAN,
                   .dc_level = NAN,
                   .frequency = NAN,
                   .crest_factor = NAN,
                   .record = NAN,
                   .reference = BENCH_NO_POINT,
                   .source = { .resistance = NAN, .tolerance = 0.0 } },
    };

    return file;
}

/* Whether the resistance that loads the point is known on every range. */
static bool load_known(const struct bench *bench, const struct bench_point *point)
{
    const struct profile *profile = bench->instruments[point->instrument].profile;
    const struct front_end *input =
        profile != NULL ? profile_front_end(profile, point->at_input) : NULL;
    bool known = input != NULL;

    if (!isnan(bench->probes[point->probe].tip_resistance)) {
        return true;
    }
    for (size_t i = 0; known && i < input->count; i++) {
        known = !isnan(input->ranges[i].input_resistance);
    }
    return known;
}

static void take_loading(struct settings *settings, const config_setting_t *group,
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

/* Names, and what can be said without instrument and probe. */
static void check_alone(struct settings *settings, const config_setting_t *group,
                        const struct bench_point *point)
{
    settings_name(group, "name", settings->problems);
    if (!utf8_printable(point->caution)) {
        problems_at(settings->problems, strict_member(group, "caution"),
                    "\"caution\" holds control characters, expected printable text");
    }
}

static void take_point(struct settings *settings, const config_setting_t *group,
                       struct bench_point *point)
{
    struct point_file file = point_default();
    bool good = strict_group(group, point_keys, &file, settings->problems);

    *point = file.point;
    check_alone(settings, group, point);
    settings_take_limits(settings, group, &point->limits);
    bool found =
        file.instrument[0] != '\0' && find_instrument(settings, strict_member(group, "instrument"),
                                                      file.instrument, &point->instrument);
    found = file.probe[0] != '\0' &&
            find_probe(settings, strict_member(group, "probe"), file.probe, &point->probe) && found;
    if (good && found && take_quantity(settings, group, point)) {
        take_loading(settings, group, file.loading, point);
        check(settings, group, point);
    }
}

static void check_others(const struct settings *settings, const config_setting_t *list,
                         size_t index)
{
    const struct bench_point *points = settings->bench->points;

    for (size_t i = 0; i < index; i++) {
        if (points[index].name[0] != '\0' && strcmp(points[i].name, points[index].name) == 0) {
            settings_duplicate(config_setting_get_elem(list, (unsigned)index), "point",
                               points[i].name, config_setting_get_elem(list, (unsigned)i),
                               settings->problems);
            return;
        }
    }
}

void settings_take_points(struct settings *settings)
{
    const config_setting_t *list = strict_list(settings->root, "points");
    size_t count = list != NULL ? (size_t)config_setting_length(list) : 0;

    if (list == NULL || settings->bench->probes == NULL) {
        return;
    }
    if (count == 0) {
        problems_at(settings->problems, list, "no points, expected one at least");
        return;
    }
    settings->bench->points = calloc(count, sizeof *settings->bench->points);
    if (settings->bench->points == NULL) {
        problems_at(settings->problems, list, "no memory");
        return;
    }
    settings->bench->point_count = count;
    for (size_t i = 0; i < count; i++) {
        take_point(settings, config_setting_get_elem(list, (unsigned)i),
                   &settings->bench->points[i]);
        check_others(settings, list, i);
    }
    for (size_t i = 0; i < count; i++) {
        settings_take_reference(settings, config_setting_get_elem(list, (unsigned)i),
                                &settings->bench->points[i]);
    }
}

void settings_print_point_keys(FILE *out)
{
    fprintf(out, "points, each:\n");
    strict_print_keys(out, point_keys);
    settings_print_limits_keys(out);
}
