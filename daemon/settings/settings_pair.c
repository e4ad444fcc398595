/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The second input of a point: what its delay or phase is to. */
#include "settings_priv.h"

#include <math.h>

/* Keys that mean nothing without a second input would be lost in silence. */
static void check_useless(struct settings *settings, const config_setting_t *group,
                          const struct bench_point *point)
{
    static const char *const keys[] = { "reference_input", "reference_probe", "skew" };

    for (size_t i = 0; i < sizeof keys / sizeof *keys; i++) {
        if (strict_member(group, keys[i]) != NULL)
            problems_at(settings->problems, strict_member(group, keys[i]),
                        "\"%s\" with %s, expected it with delay and phase only", keys[i],
                        quantity_name(point->quantity));
    }
}

static void check_input(struct settings *settings, const config_setting_t *group,
                        const struct bench_point *point)
{
    const struct bench_instrument *instrument = &settings->bench->instruments[point->instrument];
    const struct profile *profile = instrument->profile;
    const config_setting_t *at = strict_member(group, "reference_input");

    if (at == NULL) {
        problems_at(settings->problems, group,
                    "missing key \"reference_input\", expected the input that the %s is to",
                    quantity_name(point->quantity));
    } else if (point->reference_input == point->input) {
        problems_at(settings->problems, at,
                    "\"reference_input\" is %d, the point's own, expected another one",
                    point->reference_input);
    } else if (profile != NULL && point->reference_input > profile_inputs(profile)) {
        problems_at(settings->problems, at,
                    "\"reference_input\" is %d, expected 1 to %d: instrument \"%s\" has no more",
                    point->reference_input, profile_inputs(profile), instrument->name);
    }
    if (profile != NULL && profile->kind == PROFILE_SCOPE && isnan(profile->scope.skew)) {
        problems_at(settings->problems, strict_member(group, "quantity"),
                    "\"quantity\" is \"%s\" on instrument \"%s\", expected one that records its "
                    "inputs together: \"skew\" in the time base of its profile",
                    quantity_name(point->quantity), instrument->name);
    }
}

void settings_read_pair(struct settings *settings, const config_setting_t *group,
                        struct point_file *file)
{
    struct bench_point *point = &file->point;
    const config_setting_t *at = strict_member(group, "reference_probe");

    if (!quantity_is_pair(point->quantity)) {
        check_useless(settings, group, point);
        return;
    }
    if (strict_list(group, "ways") != NULL) {
        problems_at(settings->problems, strict_list(group, "ways"),
                    "\"ways\" with %s, expected one instrument", quantity_name(point->quantity));
        return;
    }
    check_input(settings, group, point);
    point->reference_probe = point->probe;
    if (at != NULL &&
        settings_find_probe(settings, at, file->reference_probe, &point->reference_probe) &&
        settings->bench->probes[point->reference_probe].dimension == DIMENSION_RESISTANCE) {
        problems_at(settings->problems, at,
                    "\"reference_probe\" is \"%s\", leads for resistance, expected a probe for a "
                    "signal",
                    file->reference_probe);
    }
}
