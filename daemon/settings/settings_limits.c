/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The limits of a point: low and high, or a nominal value with a tolerance;
 * of the value itself, or of its difference to or ratio over a reference.
 */
#include "core/basics/nearest.h"
#include "settings_priv.h"

#include <math.h>
#include <string.h>

/* Limits as they are written. NAN: not there. */
struct limits_file {
    struct limits limits;
    double nominal;
    double tolerance;
    double tolerance_percent;
    double plus;
    double plus_percent;
    double minus;
    double minus_percent;
    char reference_point[BENCH_NAME];
    struct bench_stored stored;
    double stored_id; /* NAN: not there */
};

#define FIELD(name) offsetof(struct limits_file, name)

static const char *const decisions[] = {
    [DECISION_GUARDED] = "guarded",
    [DECISION_SIMPLE] = "simple",
    [DECISION_RISK] = "risk",
    NULL,
};

static const char *const judged[] = {
    [JUDGED_VALUE] = "value",
    [JUDGED_DIFFERENCE] = "difference",
    [JUDGED_RATIO] = "ratio",
    NULL,
};

static const struct strict_key limits_keys[] = {
    { .name = "low",
      .type = STRICT_NUMBER,
      .offset = FIELD(limits.low),
      .unit = "the unit of what is judged",
      .help = "lower limit; default none" },
    { .name = "high",
      .type = STRICT_NUMBER,
      .offset = FIELD(limits.high),
      .unit = "the unit of what is judged",
      .help = "upper limit; default none" },
    { .name = "nominal",
      .type = STRICT_NUMBER,
      .offset = FIELD(nominal),
      .unit = "the unit of what is judged",
      .help = "what the tolerance is around, in place of low and high" },
    { .name = "tolerance",
      .type = STRICT_NUMBER,
      .offset = FIELD(tolerance),
      .maximum = 1e300,
      .unit = "the unit of what is judged",
      .help = "on both sides of nominal" },
    { .name = "tolerance_percent",
      .type = STRICT_NUMBER,
      .offset = FIELD(tolerance_percent),
      .maximum = 1e6,
      .unit = "%",
      .help = "on both sides of nominal, of nominal" },
    { .name = "plus",
      .type = STRICT_NUMBER,
      .offset = FIELD(plus),
      .maximum = 1e300,
      .unit = "the unit of what is judged",
      .help = "above nominal; without a minus there is no lower limit" },
    { .name = "plus_percent",
      .type = STRICT_NUMBER,
      .offset = FIELD(plus_percent),
      .maximum = 1e6,
      .unit = "%",
      .help = "above nominal, of nominal" },
    { .name = "minus",
      .type = STRICT_NUMBER,
      .offset = FIELD(minus),
      .maximum = 1e300,
      .unit = "the unit of what is judged",
      .help = "below nominal; without a plus there is no upper limit" },
    { .name = "minus_percent",
      .type = STRICT_NUMBER,
      .offset = FIELD(minus_percent),
      .maximum = 1e6,
      .unit = "%",
      .help = "below nominal, of nominal" },
    { .name = "decision",
      .type = STRICT_CHOICE,
      .offset = FIELD(limits.decision),
      .choices = decisions,
      .help = "\"guarded\" by the uncertainty (default), \"simple\", or \"risk\"" },
    { .name = "guard",
      .type = STRICT_NUMBER,
      .offset = FIELD(limits.guard),
      .maximum = 10.0,
      .help = "with \"guarded\": guard band in expanded uncertainties; default 1" },
    { .name = "risk_percent",
      .type = STRICT_NUMBER,
      .offset = FIELD(limits.risk),
      .minimum = 1e-7,
      .maximum = 50.0,
      .scale = 0.01,
      .unit = "%",
      .help = "with \"risk\": of passing what lies on the limit" },
    { .name = "least_ratio",
      .type = STRICT_NUMBER,
      .offset = FIELD(limits.least_ratio),
      .maximum = 1000.0,
      .help = "no verdict but a clear fail where half the width between the limits is less than "
              "so many expanded uncertainties; default 1" },
    { .name = "judge",
      .type = STRICT_CHOICE,
      .offset = FIELD(limits.judged),
      .choices = judged,
      .help = "what the limits hold for: the \"value\" (default), its \"difference\" to the "
              "reference, or its \"ratio\" over it" },
    { .name = "reference_value",
      .type = STRICT_NUMBER,
      .offset = FIELD(limits.reference),
      .unit = "the unit at the tip",
      .help = "the reference" },
    { .name = "reference_uncertainty",
      .type = STRICT_NUMBER,
      .offset = FIELD(limits.reference_uncertainty),
      .maximum = 1e300,
      .unit = "the unit at the tip",
      .help = "expanded uncertainty (k = 2) of reference_value" },
    { .name = "reference_point",
      .type = STRICT_TEXT,
      .offset = FIELD(reference_point),
      .size = BENCH_NAME,
      .help = "the reference is that point, on the same instrument and measured just before" },
    { .name = "reference_stored",
      .type = STRICT_TEXT,
      .offset = FIELD(stored.point),
      .size = BENCH_NAME,
      .help = "the reference is a reading of that point out of the store, a reference unit's say" },
    { .name = "reference_id",
      .type = STRICT_NUMBER,
      .offset = FIELD(stored_id),
      .minimum = 1,
      .maximum = 9e15,
      .help = "with \"reference_stored\": the number of the reading; default the newest one that "
              "passed when the "
              "settings take effect" },
    { .name = "correlation",
      .type = STRICT_NUMBER,
      .offset = FIELD(limits.correlation),
      .maximum = 1.0,
      .help = "between the instrument's errors at both points, where input and probe are the same "
              "and the values have one sign; default 0" },
    { .name = NULL },
};

/* Takes one side of the tolerance; a second one for the same side is a mistake. */
static void read_side(struct settings *settings, const config_setting_t *group, const char *key,
                      double width, double nominal, double sign, double *limit)
{
    if (isnan(width))
        return;
    if (isfinite(*limit)) {
        problems_at(settings->problems, strict_member(group, key),
                    "\"%s\" besides another %s limit, expected one of them", key,
                    sign < 0.0 ? "lower" : "upper");
        return;
    }
    *limit = nominal + sign * width;
}

/* Low and high from nominal and tolerance. */
static void read_tolerance(struct settings *settings, const config_setting_t *group,
                           const struct limits_file *file, struct limits *limits)
{
    double percent = fabs(file->nominal) / 100.0;
    const struct {
        const char *key;
        double width;
        bool below;
        bool above;
    } rows[] = {
        { "tolerance", file->tolerance, true, true },
        { "tolerance_percent", file->tolerance_percent * percent, true, true },
        { "plus", file->plus, false, true },
        { "plus_percent", file->plus_percent * percent, false, true },
        { "minus", file->minus, true, false },
        { "minus_percent", file->minus_percent * percent, true, false },
    };
    bool any = false;

    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        bool there = strict_member(group, rows[i].key) != NULL;
        any = any || there;
        if (there && isnan(file->nominal)) {
            problems_at(settings->problems, strict_member(group, rows[i].key),
                        "\"%s\" without \"nominal\", expected both", rows[i].key);
            return;
        }
        if (rows[i].below) {
            read_side(settings, group, rows[i].key, rows[i].width, file->nominal, -1.0,
                      &limits->low);
        }
        if (rows[i].above) {
            read_side(settings, group, rows[i].key, rows[i].width, file->nominal, 1.0,
                      &limits->high);
        }
    }
    if (!any && !isnan(file->nominal)) {
        problems_at(settings->problems, strict_member(group, "nominal"),
                    "\"nominal\" without a tolerance, expected \"tolerance\", "
                    "\"tolerance_percent\", \"plus\" or \"minus\"");
    }
}

/* Notes a key that means nothing beside what else is there, or one that is missing. */
static void check_pair(struct settings *settings, const config_setting_t *group, const char *key,
                       bool wanted, bool required, const char *beside)
{
    const config_setting_t *member = strict_member(group, key);

    if (member != NULL && !wanted) {
        problems_at(settings->problems, member, "\"%s\" has no use here, expected it with %s only",
                    key, beside);
    } else if (member == NULL && required) {
        problems_at(settings->problems, group, "missing key \"%s\", expected it with %s", key,
                    beside);
    }
}

static void check_keys(struct settings *settings, const config_setting_t *group,
                       const struct limits *limits)
{
    bool compared = limits->judged != JUDGED_VALUE;
    bool value = strict_member(group, "reference_value") != NULL;
    bool point = strict_member(group, "reference_point") != NULL;
    bool stored = strict_member(group, "reference_stored") != NULL;
    int references = value + point + stored;
    static const char against[] = "judge = \"difference\" or \"ratio\"";
    bool risk = limits->decision == DECISION_RISK;

    check_pair(settings, group, "guard", limits->decision == DECISION_GUARDED, false,
               "decision = \"guarded\"");
    check_pair(settings, group, "risk_percent", risk, risk, "decision = \"risk\"");
    check_pair(settings, group, "reference_value", compared, false, against);
    check_pair(settings, group, "reference_point", compared, false, against);
    check_pair(settings, group, "reference_stored", compared, false, against);
    check_pair(settings, group, "reference_id", stored, false, "\"reference_stored\"");
    check_pair(settings, group, "reference_uncertainty", value, value, "\"reference_value\"");
    check_pair(settings, group, "correlation", point, false, "\"reference_point\"");
    if (compared && references != 1) {
        problems_at(settings->problems, group,
                    "judge is \"%s\" with %s, expected one of \"reference_value\", "
                    "\"reference_point\" and \"reference_stored\"",
                    judged_name(limits->judged),
                    references > 1 ? "several references" : "no reference");
    }
    if (limits->judged == JUDGED_RATIO && value && limits->reference == 0.0) {
        problems_at(settings->problems, strict_member(group, "reference_value"),
                    "a ratio over a reference of 0, expected another reference");
    }
}

void settings_read_limits(struct settings *settings, const config_setting_t *group,
                          struct limits *limits)
{
    const config_setting_t *member = strict_member(group, "limits");
    struct limits_file file = { .limits = limits_none(),
                                .nominal = NAN,
                                .tolerance = NAN,
                                .tolerance_percent = NAN,
                                .plus = NAN,
                                .plus_percent = NAN,
                                .minus = NAN,
                                .minus_percent = NAN,
                                .stored_id = NAN };

    *limits = limits_none();
    if (member == NULL || !config_setting_is_group(member) ||
        !strict_group(member, limits_keys, &file, settings->problems))
        return;
    *limits = file.limits;
    read_tolerance(settings, member, &file, limits);
    check_keys(settings, member, limits);
    if (!limits_present(limits)) {
        problems_at(settings->problems, member,
                    "limits without a limit, expected \"low\" or "
                    "\"high\" or both");
    } else if (!(limits->low < limits->high)) {
        problems_at(settings->problems, member,
                    "limits are upside down, low %g and high %g, expected low below high",
                    limits->low, limits->high);
    }
}

/* The index of a point by name; point_count with the nearest name suggested. */
static size_t find_point(const struct settings *settings, const config_setting_t *at,
                         const char *name)
{
    const struct bench *bench = settings->bench;
    struct nearest nearest = { 0 };

    for (size_t i = 0; i < bench->point_count; i++) {
        if (strcmp(bench->points[i].name, name) == 0)
            return i;
        nearest_offer(&nearest, name, bench->points[i].name);
    }
    problems_at(settings->problems, at, "no point \"%s\", expected %s%s%s", name,
                nearest.word != NULL ? "perhaps \"" : "one of the points",
                nearest.word != NULL ? nearest.word : "", nearest.word != NULL ? "\"" : "");
    return bench->point_count;
}

/* Notes which reading of the store is meant; without its number the point must be of this bench. */
static void read_stored(struct settings *settings, const config_setting_t *limits,
                        struct bench_point *point)
{
    const config_setting_t *at = strict_member(limits, "reference_stored");
    const config_setting_t *id = strict_member(limits, "reference_id");
    const char *name = at != NULL ? config_setting_get_string(at) : NULL;

    if (name == NULL)
        return;
    if (strict_member(settings->root, "store") == NULL) {
        problems_at(settings->problems, at,
                    "\"reference_stored\" without \"store\", expected where readings are kept");
    }
    snprintf(point->stored.point, sizeof point->stored.point, "%s", name);
    if (id != NULL && config_setting_type(id) == CONFIG_TYPE_FLOAT) {
        problems_at(settings->problems, id,
                    "\"reference_id\" has a fraction, expected the number "
                    "that gradus readings shows");
    } else if (id != NULL) {
        point->stored.id = config_setting_get_int64(id);
    } else {
        find_point(settings, at, name);
    }
}

void settings_read_reference(struct settings *settings, const config_setting_t *group,
                             struct bench_point *point)
{
    const config_setting_t *limits = strict_member(group, "limits");

    if (limits != NULL)
        read_stored(settings, limits, point);
    const config_setting_t *at = limits != NULL ? strict_member(limits, "reference_point") : NULL;
    const char *name = at != NULL ? config_setting_get_string(at) : NULL;

    if (name == NULL)
        return;
    size_t index = find_point(settings, at, name);
    if (index == settings->bench->point_count)
        return;
    const struct bench_point *other = &settings->bench->points[index];
    if (other == point) {
        problems_at(settings->problems, at,
                    "\"reference_point\" is the point itself, expected "
                    "another one");
    } else if (other->instrument != point->instrument) {
        problems_at(settings->problems, at,
                    "\"reference_point\" is on instrument \"%s\", expected a point on \"%s\"",
                    settings->bench->instruments[other->instrument].name,
                    settings->bench->instruments[point->instrument].name);
    } else if (bench_hand_between(settings->bench, other, point)) {
        problems_at(
            settings->problems, at,
            "\"reference_point\" shares input %d with \"%s\" and is read just before it, with "
            "nobody to move the lead, expected an input of its own, the same \"place\" and "
            "probe, or \"switched_inputs\" of the instrument",
            point->input, point->name);
    } else if (strcmp(other->unit, point->unit) != 0) {
        problems_at(settings->problems, at, "\"reference_point\" is in %s, expected a point in %s",
                    other->unit, point->unit);
    } else {
        point->reference = index;
    }
}

void settings_print_limits_keys(FILE *out)
{
    fprintf(out, "limits:\n");
    strict_print_keys(out, limits_keys);
}
