/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The test points of a settings file. */
#include "core/basics/utf8.h"
#include "core/input/chain.h"
#include "settings_priv.h"
#include "settings_units.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define FIELD(name) offsetof(struct point_file, name)

enum { POINT_KEYS = 40 };

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
    { .name = "units",
      .type = STRICT_GROUP,
      .help = "the stanza stands for so many points, one a unit under test" },
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
      .maximum = PROFILE_INPUTS,
      .help = "which input of it; default 1" },
    { .name = "probe",
      .type = STRICT_TEXT,
      .offset = FIELD(probe),
      .size = BENCH_NAME,
      .help = "what is between point and input; default \"direct\", a plain connection" },
    { .name = "ways",
      .type = STRICT_LIST,
      .help = "instead of instrument, input and probe: groups of these three, of which the one "
              "with the smallest uncertainty for the expected signal is used" },
    { .name = "reference_input",
      .type = STRICT_INTEGER,
      .offset = FIELD(point.reference_input),
      .minimum = 1,
      .maximum = PROFILE_INPUTS,
      .help =
          "of quantities \"delay\" and \"phase\": the input of the same scope that they are to; "
          "positive is later than there" },
    { .name = "reference_probe",
      .type = STRICT_TEXT,
      .offset = FIELD(reference_probe),
      .size = BENCH_NAME,
      .help = "what is between that input and its place; default: the same as probe" },
    { .name = "skew",
      .type = STRICT_NUMBER,
      .offset = FIELD(point.skew),
      .maximum = 1.0,
      .unit = "s",
      .help = "bound on how much later one of the two leads and probes brings its signal than the "
              "other; default 5e-9, a metre of cable" },
    { .name = "quantity",
      .type = STRICT_CHOICE,
      .required = true,
      .offset = FIELD(point.quantity),
      .choices = profile_quantities,
      .guess = quantity_guess,
      .help = "what is measured, at the tip" },
    { .name = "expected",
      .type = STRICT_NUMBER,
      .offset = FIELD(point.expected),
      .unit = "the unit at the tip",
      .help = "the value that is to be expected" },
    { .name = "expected_tolerance_percent",
      .type = STRICT_NUMBER,
      .offset = FIELD(point.tolerance),
      .maximum = 100.0,
      .scale = 0.01,
      .unit = "%",
      .help = "how far a good reading may be from expected, for telling mistakes; default 10" },
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
    { .name = "waveform",
      .type = STRICT_CHOICE,
      .offset = FIELD(point.shape.kind),
      .choices = waveshape_names,
      .help = "shape of the signal; default \"unknown\"" },
    { .name = "duty_percent",
      .type = STRICT_NUMBER,
      .offset = FIELD(point.shape.duty),
      .minimum = 0.001,
      .maximum = 99.999,
      .scale = 0.01,
      .unit = "% of the period",
      .help = "of waveform \"pulse\": the time it is at its upper level" },
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
    { .name = "source_capacitance",
      .type = STRICT_NUMBER,
      .offset = FIELD(point.source.capacitance),
      .maximum = 1.0,
      .unit = "F",
      .help = "of the circuit, across the point; default 0" },
    { .name = "source_capacitance_tolerance_percent",
      .type = STRICT_NUMBER,
      .offset = FIELD(point.source.capacitance_tolerance),
      .maximum = 100.0,
      .scale = 0.01,
      .unit = "%",
      .help = "bound on source_capacitance" },
    { .name = "mains_referenced",
      .type = STRICT_BOOL,
      .offset = FIELD(point.mains_referenced),
      .help = "whether the circuit is tied to the mains, so that a ground clip is a short "
              "circuit; default false" },
    { .name = "loading",
      .type = STRICT_CHOICE,
      .offset = FIELD(loading),
      .choices = loadings,
      .help = "what to do about the loading of the circuit; default \"correct\" where "
              "source_resistance is there and the input's resistance known" },
    { .name = "tuned",
      .type = STRICT_GROUP,
      .help = "the tuned circuit at the point, so that a probe's shift of it is reported" },
    { .name = "limits", .type = STRICT_GROUP, .help = "between which the value must be" },
    { .name = "place",
      .type = STRICT_TEXT,
      .offset = FIELD(point.place),
      .size = BENCH_NAME,
      .help =
          "where it is: points on one input are measured one after the other only if they have "
          "the same place and probe, or the instrument says switched_inputs; default not said" },
    { .name = "caution",
      .type = STRICT_TEXT,
      .offset = FIELD(point.caution),
      .size = BENCH_TEXT,
      .help = "shown before and with the reading" },
    { .name = NULL },
};

static struct point_file point_default(void)
{
    struct point_file file = {
        .probe = "direct",
        .loading = LOADING_DEFAULT,
        .point = { .input = 1,
                   .expected = NAN,
                   .tolerance = 0.1,
                   .dc_level = NAN,
                   .frequency = NAN,
                   .crest_factor = NAN,
                   .record = NAN,
                   .reference = BENCH_NO_POINT,
                   .skew = 5e-9,
                   .source = { .resistance = NAN, .tolerance = 0.0 } },
    };

    return file;
}

/* Names, and what can be said without instrument and probe. */
static void check_alone(struct settings *settings, const config_setting_t *group,
                        const struct bench_point *point)
{
    settings_name(group, "name", settings->problems);
    if (!utf8_printable(point->place)) {
        problems_at(settings->problems, strict_member(group, "place"),
                    "\"place\" holds control characters, expected printable text");
    }
    if (!utf8_printable(point->caution)) {
        problems_at(settings->problems, strict_member(group, "caution"),
                    "\"caution\" holds control characters, expected printable text");
    }
}

/* How far a stated crest factor may be from that of the stated shape. */
static const double crest_tolerance = 0.1;

/* Shape, duty and crest factor must not contradict each other; a shape tells the crest factor. */
static void read_shape(struct settings *settings, const config_setting_t *group,
                       struct bench_point *point)
{
    bool pulse = point->shape.kind == WAVESHAPE_PULSE;
    bool swings = aspect_is_rms(quantity_aspect(point->quantity));
    double crest = waveshape_crest(point->shape);

    if (pulse != (strict_member(group, "duty_percent") != NULL)) {
        problems_at(settings->problems, group,
                    "%s \"duty_percent\" with waveform \"%s\", "
                    "expected it with \"pulse\" and only there",
                    pulse ? "no" : "a", waveshape_names[point->shape.kind]);
    } else if (fabs(point->crest_factor - crest) > crest_tolerance * crest) {
        problems_at(settings->problems, strict_member(group, "crest_factor"),
                    "\"crest_factor\" is %g, expected %.4g, that of waveform \"%s\"",
                    point->crest_factor, crest, waveshape_names[point->shape.kind]);
    } else if (swings && isnan(point->crest_factor)) {
        point->crest_factor = crest;
    }
}

/* Instrument, input and probe are asked for, unless there are several ways. */
static bool read_keys(struct settings *settings, const config_setting_t *group,
                      struct point_file *file)
{
    static const char *const in_ways[] = { "instrument", "input", "probe" };
    struct strict_key keys[POINT_KEYS];
    bool several = strict_list(group, "ways") != NULL;

    strict_keys_join(keys, POINT_KEYS, point_keys,
                     &point_keys[sizeof point_keys / sizeof *point_keys - 1]);
    for (size_t i = 0; several && keys[i].name != NULL; i++) {
        for (size_t j = 0; j < sizeof in_ways / sizeof *in_ways; j++)
            if (strcmp(keys[i].name, in_ways[j]) == 0)
                keys[i].required = false;
    }
    for (size_t j = 0; several && j < sizeof in_ways / sizeof *in_ways; j++) {
        if (strict_member(group, in_ways[j]) != NULL) {
            problems_at(settings->problems, strict_member(group, in_ways[j]),
                        "\"%s\" beside \"ways\", expected it in each of them only", in_ways[j]);
        }
    }
    return strict_group(group, keys, file, settings->problems);
}

void settings_read_point(struct settings *settings, const config_setting_t *group,
                         struct bench_point *point)
{
    struct point_file file = point_default();
    bool good = read_keys(settings, group, &file);

    if (good)
        read_shape(settings, group, &file.point);
    settings_read_limits(settings, group, &file.point.limits);
    settings_read_tuned(settings, group, &file.point);
    check_alone(settings, group, &file.point);
    settings_read_ways(settings, group, &file, good);
    if (good)
        settings_read_pair(settings, group, &file);
    *point = file.point;
}

/* The points there are so far, and the stanza of each. */
struct taken {
    struct stanza *stanzas; /* in the order they are written */
    size_t stanza_count;
};

/* Notes a name that another point has already, once a stanza. */
static void check_others(const struct settings *settings, const struct taken *taken, size_t index)
{
    const struct bench_point *points = settings->bench->points;
    size_t before = 0;

    for (size_t s = 0; s < taken->stanza_count && before < index; s++) {
        size_t end = before + taken->stanzas[s].count;
        for (size_t i = before; i < end && i < index; i++) {
            if (points[index].name[0] != '\0' && strcmp(points[i].name, points[index].name) == 0) {
                settings_duplicate(taken->stanzas[taken->stanza_count - 1].group, "point",
                                   points[i].name, taken->stanzas[s].group, settings->problems);
                return;
            }
        }
        before = end;
    }
}

/* The points of one stanza. What is wrong with one unit is said once, not for all that follow. */
static void read_stanza(struct settings *settings, const struct taken *taken, size_t first)
{
    struct stanza *stanza = &taken->stanzas[taken->stanza_count - 1];
    size_t before = settings->problems->total;

    for (size_t i = 0; i < stanza->count && !stanza->wrong; i++) {
        struct bench_point *point = &settings->bench->points[first + i];
        stanza_turn(settings, stanza, i);
        if (settings->problems->total > before) {
            stanza->wrong = true;
            return;
        }
        settings_read_point(settings, stanza->group, point);
        point->index = first + i;
        point->unit_number = stanza_unit(stanza, i);
        memcpy(point->template_name, stanza->name, sizeof point->template_name);
        check_others(settings, taken, first + i);
        stanza->wrong = settings->problems->total > before;
    }
}

/* Once all points are there: the ones that limits refer to. */
static void read_references(struct settings *settings, const struct taken *taken)
{
    size_t index = 0;

    for (size_t s = 0; s < taken->stanza_count; s++) {
        const struct stanza *stanza = &taken->stanzas[s];
        size_t before = settings->problems->total;
        bool turns = !stanza->many || !stanza->wrong;
        for (size_t i = 0; i < stanza->count; i++, index++) {
            if (turns && settings->problems->total == before) {
                stanza_turn(settings, stanza, i);
                settings_read_reference(settings, stanza->group, &settings->bench->points[index]);
            }
        }
    }
}

static void read_list(struct settings *settings, const config_setting_t *list, struct taken *taken,
                      size_t count)
{
    struct bench *bench = settings->bench;

    for (size_t i = 0; i < count; i++) {
        config_setting_t *group = config_setting_get_elem(list, (unsigned)i);
        struct stanza *stanza = &taken->stanzas[taken->stanza_count++];
        *stanza = stanza_begin(settings, group);
        struct bench_point *points =
            realloc(bench->points, (bench->point_count + stanza->count + 1) * sizeof *points);
        if (points == NULL) {
            problems_at(settings->problems, list, "no memory");
            return;
        }
        bench->points = points;
        size_t first = bench->point_count;
        memset(points + first, 0, stanza->count * sizeof *points);
        bench->point_count += stanza->count;
        read_stanza(settings, taken, first);
    }
    read_references(settings, taken);
}

void settings_read_points(struct settings *settings)
{
    const config_setting_t *list = strict_list(settings->root, "points");
    size_t count = list != NULL ? (size_t)config_setting_length(list) : 0;

    if (count == 0 || settings->bench->probes == NULL)
        return;
    struct taken taken = { .stanzas = calloc(count, sizeof *taken.stanzas) };
    if (taken.stanzas == NULL) {
        problems_at(settings->problems, list, "no memory");
        return;
    }
    read_list(settings, list, &taken, count);
    for (size_t i = 0; i < taken.stanza_count; i++)
        stanza_end(&taken.stanzas[i]);
    free(taken.stanzas);
}

void settings_print_point_keys(FILE *out)
{
    fprintf(out, "points, each:\n");
    strict_print_keys(out, point_keys);
    settings_print_unit_keys(out);
    settings_print_way_keys(out);
    settings_print_limits_keys(out);
    settings_print_tuned_keys(out);
}
