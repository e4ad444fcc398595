/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "learn.h"

#include "core/basics/notation.h"
#include "tools/gradus/answers/reading.h"
#include "tools/gradus/basics/field.h"

#include <math.h>
#include <string.h>

/* Decimal places that show a hundredth of the uncertainty: rounding outwards costs no more. */
static int places_of(double uncertainty)
{
    const double exponent = floor(log10(uncertainty)) - 2;
    return exponent < -1 ? (int)-exponent : 1;
}

static double outwards(double bound, int places, bool up)
{
    const double steps = bound * pow(10, places);
    return (up ? ceil(steps - 1e-6) : floor(steps + 1e-6)) / pow(10, places);
}

bool learn_has_limits(const json_t *point)
{
    return isfinite(field_number(point, "low")) || isfinite(field_number(point, "high"));
}

static void write_limits(const json_t *point, FILE *stream)
{
    const double low = field_number(point, "low"), high = field_number(point, "high");
    const int places = places_of(field_number(point, "uncertainty"));
    fputs("limits = {", stream);
    if (isfinite(low))
        fprintf(stream, " low = %.*f;", places, outwards(low, places, false));
    if (isfinite(high))
        fprintf(stream, " high = %.*f;", places, outwards(high, places, true));
    fputs(" };\n", stream);
}

/* How the limits were come by, or why there are none. */
static void write_why(const json_t *point, FILE *stream)
{
    const char *const kind = field_text_or_empty(point, "kind");
    const double needed = field_number(point, "needed"), units = field_number(point, "units");
    if (strcmp(kind, "normal") == 0 && isfinite(field_number(point, "normality")))
        fprintf(stream, "# Normal; middle plus and minus %.4g spreads.\n",
                field_number(point, "factor"));
    else if (strcmp(kind, "normal") == 0)
        fputs("# All alike; as wide as can be measured.\n", stream);
    else if (strcmp(kind, "values") == 0)
        fputs("# Not normal; between two of the values themselves.\n", stream);
    else if (strcmp(kind, "too few") == 0)
        fprintf(stream, "# NO LIMITS: %.0f more units are needed, %.0f in all.\n", needed - units,
                needed);
    else if (strcmp(kind, "not normal") == 0)
        fprintf(stream,
                "# NO LIMITS: the units are not normal (unit %s is furthest out). Without that,\n"
                "# %.0f more units are needed, %.0f in all.\n",
                field_text_or_empty(point, "furthest"), needed - units, needed);
    else
        fputs("# NO LIMITS: this point's are not of the value, but of what it is compared with.\n",
              stream);
}

static void write_point(const json_t *point, FILE *stream)
{
    const char *const unit = field_text_or_empty(point, "unit");
    const double deviation = field_number(point, "deviation");
    char middle[NOTATION_SIZE], spread[NOTATION_SIZE] = "unknown", now[READING_TEXT];
    fprintf(stream, "\n# %s: %.0f units", field_text_or_empty(point, "point"),
            field_number(point, "units"));
    if (field_number(point, "units") > 0) {
        notation_result(middle, sizeof middle, field_number(point, "mean"),
                        field_number(point, "uncertainty"), 2, unit);
        if (deviation > 0)
            notation_value(spread, sizeof spread, deviation, 2, unit);
        else if (deviation <= 0)
            snprintf(spread, sizeof spread, "none");
        fprintf(stream, ", middle %s, spread %s", middle, spread);
    }
    reading_limits_text(field_at(point, "limits"), unit, now);
    fprintf(stream, "\n# Limits now: %s\n", now[0] != '\0' ? now : "none");
    if (field_number(point, "unusable") > 0)
        fprintf(stream, "# Left out: %.0f readings of another quantity, or altered in the store.\n",
                field_number(point, "unusable"));
    write_why(point, stream);
    if (learn_has_limits(point))
        write_limits(point, stream);
}

void learn_write(const json_t *result, const json_t *units, FILE *stream)
{
    const json_t *const points = json_object_get(result, "points");
    fprintf(stream,
            "# Limits proposed for the points of sheet %s; nothing uses them before they stand in\n"
            "# the settings. Each covers %g %% of such units with a confidence of %g %% (ISO "
            "16269-6),\n"
            "# and is moved outwards by the readings' uncertainty: guarded by as much, a reading\n"
            "# passes exactly inside.\n# Good units, %zu:",
            field_text_or_empty(result, "sheet"), 100 * field_number(result, "coverage"),
            100 * field_number(result, "confidence"), json_array_size(units));
    for (size_t i = 0; i < json_array_size(units); i++)
        fprintf(stream, "%s%s", i % 8 == 0 && i > 0 ? "\n#   " : " ",
                json_string_value(json_array_get(units, i)));
    fputc('\n', stream);
    for (size_t i = 0; i < json_array_size(points); i++)
        write_point(json_array_get(points, i), stream);
}
