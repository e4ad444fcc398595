/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The tuned circuit at a point: two of frequency, inductance and capacitance give the third. */
#include "core/input/tuned_circuit.h"
#include "settings_priv.h"

#include <math.h>

/* As it is written. NAN: not there. */
struct tuned_file {
    double frequency;
    double inductance;
    double capacitance;
};

#define FIELD(name) offsetof(struct tuned_file, name)

static const struct strict_key tuned_keys[] = {
    { .name = "frequency",
      .type = STRICT_NUMBER,
      .offset = FIELD(frequency),
      .minimum = 1e-3,
      .maximum = 1e12,
      .unit = "Hz",
      .help = "of resonance, without a probe" },
    { .name = "inductance",
      .type = STRICT_NUMBER,
      .offset = FIELD(inductance),
      .minimum = 1e-15,
      .maximum = 1e6,
      .unit = "H",
      .help = "of the circuit; two of these three are given" },
    { .name = "capacitance",
      .type = STRICT_NUMBER,
      .offset = FIELD(capacitance),
      .minimum = 1e-18,
      .maximum = 1.0,
      .unit = "F",
      .help = "of the circuit, without a probe" },
    { .name = NULL },
};

/* Makes the third of the two that are there. */
static void complete(const struct tuned_file *file, struct bench_point *point)
{
    point->tuned_frequency = isnan(file->frequency)
                                 ? tuned_frequency(file->inductance, file->capacitance)
                                 : file->frequency;
    point->tuned_capacitance = isnan(file->capacitance)
                                   ? tuned_capacitance(file->inductance, file->frequency)
                                   : file->capacitance;
}

void settings_read_tuned(struct settings *settings, const config_setting_t *group,
                         struct bench_point *point)
{
    const config_setting_t *member = strict_member(group, "tuned");
    struct tuned_file file = { NAN, NAN, NAN };

    point->tuned_frequency = point->tuned_capacitance = NAN;
    if (member == NULL || config_setting_type(member) != CONFIG_TYPE_GROUP ||
        !strict_group(member, tuned_keys, &file, settings->problems))
        return;
    int given = !isnan(file.frequency) + !isnan(file.inductance) + !isnan(file.capacitance);
    if (given != 2) {
        problems_at(settings->problems, member,
                    "\"tuned\" has %d of frequency, inductance and capacitance, expected two",
                    given);
    } else if (quantity_dimension(point->quantity) != DIMENSION_VOLTAGE) {
        problems_at(settings->problems, member,
                    "\"tuned\" with %s, expected it with a voltage only",
                    quantity_name(point->quantity));
    } else {
        complete(&file, point);
    }
}

void settings_print_tuned_keys(FILE *out)
{
    fprintf(out, "tuned of a point:\n");
    strict_print_keys(out, tuned_keys);
}
