/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The probes of a settings file. */
#include "core/basics/utf8.h"
#include "settings_priv.h"

#include <ctype.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

/* A probe as it is written. */
struct probe_file {
    struct probe probe;
    double sensitivity; /* input units per tip unit: 1 / factor */
    double lead_resistance;
    double lead_tolerance;
};

#define FIELD(name) offsetof(struct probe_file, probe.name)

static const struct strict_key probe_keys[] = {
    { .name = "name",
      .type = STRICT_TEXT,
      .required = true,
      .offset = FIELD(name),
      .size = sizeof((struct probe *)NULL)->name,
      .help = "what points call it" },
    { .name = "unit",
      .type = STRICT_TEXT,
      .offset = FIELD(unit),
      .size = sizeof((struct probe *)NULL)->unit,
      .help = "at the tip; default \"V\"" },
    { .name = "factor",
      .type = STRICT_NUMBER,
      .offset = FIELD(factor),
      .minimum = -1e12,
      .maximum = 1e12,
      .unit = "tip units per V at the input",
      .help = "10 for a 10x divider; or sensitivity" },
    { .name = "sensitivity",
      .type = STRICT_NUMBER,
      .offset = offsetof(struct probe_file, sensitivity),
      .minimum = -1e12,
      .maximum = 1e12,
      .unit = "V at the input per tip unit",
      .help = "0.1 for a shunt of 0.1 ohm; or factor" },
    { .name = "tolerance_percent",
      .type = STRICT_NUMBER,
      .offset = FIELD(tolerance),
      .maximum = 50.0,
      .scale = 0.01,
      .unit = "%",
      .help = "bound on factor or sensitivity; needed with them" },
    { .name = "lead_resistance",
      .type = STRICT_NUMBER,
      .offset = offsetof(struct probe_file, lead_resistance),
      .maximum = 1e3,
      .unit = "ohm",
      .help = "of both leads and their contacts, taken off a resistance; instead of factor" },
    { .name = "lead_tolerance",
      .type = STRICT_NUMBER,
      .offset = offsetof(struct probe_file, lead_tolerance),
      .maximum = 1e3,
      .unit = "ohm",
      .help = "bound on lead_resistance" },
    { .name = "offset",
      .type = STRICT_NUMBER,
      .offset = FIELD(offset),
      .minimum = -1e12,
      .maximum = 1e12,
      .unit = "tip units",
      .help = "at the tip when there is 0 V at the input; default 0" },
    { .name = "offset_tolerance",
      .type = STRICT_NUMBER,
      .offset = FIELD(offset_tolerance),
      .maximum = 1e12,
      .unit = "tip units",
      .help = "bound on offset" },
    { .name = "tip_resistance",
      .type = STRICT_NUMBER,
      .offset = FIELD(tip_resistance),
      .minimum = 1e-3,
      .maximum = 1e15,
      .unit = "ohm",
      .help = "that it loads the point with; default the instrument's" },
    { .name = "resistance_tolerance_percent",
      .type = STRICT_NUMBER,
      .offset = FIELD(resistance_tolerance),
      .maximum = 50.0,
      .scale = 0.01,
      .unit = "%",
      .help = "bound on tip_resistance" },
    { .name = "tip_capacitance",
      .type = STRICT_NUMBER,
      .offset = FIELD(tip_capacitance),
      .maximum = 1.0,
      .unit = "F",
      .help = "that it loads the point with" },
    { .name = "cable_capacitance",
      .type = STRICT_NUMBER,
      .offset = FIELD(cable_capacitance),
      .maximum = 1.0,
      .unit = "F",
      .help = "of the cable of a plain connection, beside the input's own; or tip_capacitance" },
    { .name = "capacitance_tolerance_percent",
      .type = STRICT_NUMBER,
      .offset = FIELD(capacitance_tolerance),
      .maximum = 100.0,
      .scale = 0.01,
      .unit = "%",
      .help = "bound on tip_capacitance or cable_capacitance; without it loading by them is "
              "not corrected" },
    { .name = "load_resistance",
      .type = STRICT_NUMBER,
      .offset = FIELD(load_resistance),
      .minimum = 1e-3,
      .maximum = 1e15,
      .unit = "ohm",
      .help = "input resistance it is made for; left out where any will do" },
    { .name = "bandwidth",
      .type = STRICT_NUMBER,
      .offset = FIELD(bandwidth),
      .minimum = 1e-3,
      .maximum = 1e12,
      .unit = "Hz",
      .help = "-3 dB; left out where it is not limited here" },
    { .name = "rating",
      .type = STRICT_NUMBER,
      .offset = FIELD(rating),
      .minimum = 1e-6,
      .maximum = 1e9,
      .unit = "tip units, peak",
      .help = "largest value that may stand at the tip" },
    { .name = "rating_corner",
      .type = STRICT_NUMBER,
      .offset = FIELD(rating_corner),
      .minimum = 1e-3,
      .maximum = 1e12,
      .unit = "Hz",
      .help = "above it the rating falls by 20 dB a decade" },
    { .name = "isolated",
      .type = STRICT_BOOL,
      .offset = FIELD(isolated),
      .help = "whether it isolates the point from the instrument's ground; default false" },
    { .name = NULL },
};

static enum dimension dimension_of(const char *unit)
{
    if (strcmp(unit, "V") == 0)
        return DIMENSION_VOLTAGE;
    if (strcmp(unit, dimension_unit(DIMENSION_RESISTANCE)) == 0)
        return DIMENSION_RESISTANCE;
    return strcmp(unit, "A") == 0 ? DIMENSION_CURRENT : DIMENSION_SIGNAL;
}

/* Leads for resistance: what is at the input is theirs and that of what is at their tips. */
static void read_leads(struct probe_file *file, const config_setting_t *group,
                       struct problems *problems)
{
    static const char *const others[] = { "unit",      "factor",         "sensitivity",
                                          "offset",    "tip_resistance", "tolerance_percent",
                                          "bandwidth", "load_resistance" };

    for (size_t i = 0; i < sizeof others / sizeof *others; i++) {
        if (strict_member(group, others[i]) != NULL) {
            problems_at(problems, strict_member(group, others[i]),
                        "\"%s\" beside \"lead_resistance\", which is all there is of leads",
                        others[i]);
        }
    }
    snprintf(file->probe.unit, sizeof file->probe.unit, "%s", dimension_unit(DIMENSION_RESISTANCE));
    file->probe.offset = -file->lead_resistance;
    file->probe.offset_tolerance = file->lead_tolerance;
}

/* Exactly one of factor and sensitivity, not zero. */
static void read_factor(struct probe_file *file, const config_setting_t *group,
                        struct problems *problems)
{
    bool has_factor = strict_member(group, "factor") != NULL;
    bool has_sensitivity = strict_member(group, "sensitivity") != NULL;
    double given = has_factor ? file->probe.factor : file->sensitivity;

    if (has_factor == has_sensitivity) {
        problems_at(problems, group, "%s, expected one of them",
                    has_factor ? "both \"factor\" and \"sensitivity\""
                               : "neither \"factor\" nor \"sensitivity\"");
    } else if (fabs(given) < 1e-12) {
        problems_at(problems, group, "\"%s\" is %g, expected a magnitude of 1e-12 or more",
                    has_factor ? "factor" : "sensitivity", given);
    } else {
        file->probe.factor = has_factor ? given : 1.0 / given;
    }
}

/* The number that a name like "x10", "10x" or "probe_1:10" says; 0: it says none. */
static double named_ratio(const char *name)
{
    for (const char *at = name; *at != '\0'; at++) {
        bool first = at == name || !isalnum((unsigned char)at[-1]);
        if (first && (*at == 'x' || *at == 'X') && isdigit((unsigned char)at[1]))
            return strtod(at + 1, NULL);
        if (first && isdigit((unsigned char)*at)) {
            char *end;
            double number = strtod(at, &end);
            if (*end == 'x' || *end == 'X')
                return number;
        }
    }
    return 0;
}

/* A divider by ten has the factor 10, not 0.1: a hundred times the value would come of that. */
static void check_ratio(const config_setting_t *group, const struct probe *probe,
                        struct problems *problems)
{
    double ratio = named_ratio(probe->name);

    if (ratio > 1 && fabs(probe->factor * ratio - 1) < 1e-6)
        problems_at(
            problems, group,
            "probe \"%s\" has a factor of %g, expected %g: the value at the tip over that at "
            "the input",
            probe->name, probe->factor, ratio);
}

/* A number without its tolerance would make the uncertainty too small. */
static void check_pairs(const config_setting_t *group, struct problems *problems)
{
    static const char *const pairs[][2] = {
        { "factor", "tolerance_percent" },
        { "sensitivity", "tolerance_percent" },
        { "lead_resistance", "lead_tolerance" },
        { "lead_tolerance", "lead_resistance" },
        { "offset", "offset_tolerance" },
        { "tip_resistance", "resistance_tolerance_percent" },
        { "resistance_tolerance_percent", "tip_resistance" },
        { "rating_corner", "rating" },
    };
    const config_setting_t *cable = strict_member(group, "cable_capacitance");

    for (size_t i = 0; i < sizeof pairs / sizeof *pairs; i++) {
        if (strict_member(group, pairs[i][0]) != NULL &&
            strict_member(group, pairs[i][1]) == NULL) {
            problems_at(problems, group, "missing key \"%s\", expected it with \"%s\"", pairs[i][1],
                        pairs[i][0]);
        }
    }
    if (cable != NULL && strict_member(group, "tip_capacitance") != NULL) {
        problems_at(problems, cable,
                    "\"cable_capacitance\" beside \"tip_capacitance\", which is "
                    "all there is, expected one of them");
    }
}

/*
 * The unit may be any, since a transducer can stand for anything; but with
 * "mA" for a unit, values and limits would be taken for other than they are.
 */
static void check_unit(const config_setting_t *group, const char *unit, struct problems *problems)
{
    static const char *const prefixes[] = { "n", "u", "µ", "m", "k", "M", "G" };
    static const char *const bases[] = { "V", "A", "Hz" };
    char prefixed[16];

    if (unit[0] == '\0' || !utf8_printable(unit)) {
        problems_at(problems, group,
                    "\"unit\" is empty or cannot be printed, expected as in \"V\"");
    }
    for (size_t i = 0; i < sizeof prefixes / sizeof *prefixes; i++) {
        for (size_t j = 0; j < sizeof bases / sizeof *bases; j++) {
            snprintf(prefixed, sizeof prefixed, "%s%s", prefixes[i], bases[j]);
            if (strcmp(unit, prefixed) == 0) {
                problems_at(problems, group, "\"unit\" is \"%s\", expected \"%s\" without a prefix",
                            unit, bases[j]);
            }
        }
    }
}

static void read_probe(struct settings *settings, const config_setting_t *group,
                       struct probe *probe)
{
    struct probe_file file = { .probe = probe_direct(), .sensitivity = 1.0 };
    struct problems *problems = settings->problems;

    file.probe.name[0] = '\0';
    strict_group(group, probe_keys, &file, problems);
    if (strict_member(group, "lead_resistance") != NULL)
        read_leads(&file, group, problems);
    else
        read_factor(&file, group, problems);
    check_pairs(group, problems);
    check_ratio(group, &file.probe, problems);
    settings_name(group, "name", problems);
    check_unit(group, file.probe.unit, problems);
    file.probe.dimension = dimension_of(file.probe.unit);
    *probe = file.probe;
}

/* Names must differ from the built-in one and those of all probes before. */
static void check_others(const struct settings *settings, const config_setting_t *list,
                         size_t index)
{
    const struct probe *probes = settings->bench->probes;
    const config_setting_t *group = config_setting_get_elem(list, (unsigned)index - 1);

    if (strcmp(probes[index].name, probes[0].name) == 0) {
        problems_at(settings->problems, group, "probe \"%s\" is built in, expected another name",
                    probes[0].name);
    }
    for (size_t i = 1; i < index; i++) {
        if (probes[index].name[0] != '\0' && strcmp(probes[i].name, probes[index].name) == 0) {
            settings_duplicate(group, "probe", probes[i].name,
                               config_setting_get_elem(list, (unsigned)i - 1), settings->problems);
        }
    }
}

void settings_read_probes(struct settings *settings)
{
    const config_setting_t *list = strict_list(settings->root, "probes");
    size_t count = list != NULL ? (size_t)config_setting_length(list) : 0;
    struct probe *probes = calloc(count + 1, sizeof *probes);

    if (probes == NULL) {
        problems_at(settings->problems, settings->root, "no memory");
        return;
    }
    settings->bench->probes = probes;
    settings->bench->probe_count = count + 1;
    probes[0] = probe_direct();
    for (size_t i = 1; i <= count; i++) {
        read_probe(settings, config_setting_get_elem(list, (unsigned)i - 1), &probes[i]);
        check_others(settings, list, i);
    }
}

void settings_print_probe_keys(FILE *out)
{
    fprintf(out, "probes, each:\n");
    strict_print_keys(out, probe_keys);
}
