/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What instruments there are, and the profiles and settings that say so. */
#include "rack_priv.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define DIALOGUE                                                                                   \
    "dialogue = { command_terminator = \"\\n\"; reply_terminator = \"\\n\"; framing = \"488\";\n"  \
    " reply_ms = 20000.0; quiet_ms = 1.0; reply_limit = 16384; identity_query = \"*IDN?\";\n"      \
    " identity = \"^NOBODY,\"; error_query = \"ERR?\"; error_none = \"^0,\"; };\n"                 \
    "setup = [ \"*CLS\" ]; inputs = 1;\n"

/* Stated of source, probe and inputs, per cent. */
static const double source_tolerance = 10, probe_tolerance = 1, resistance_tolerance = 1;

/* 1, 2, 5, 10 ... from a decade on. */
static double one_two_five(size_t i, int decade)
{
    static const double mantissas[] = { 1, 2, 5 };
    for (; i >= 3; i -= 3)
        decade++;
    return mantissas[i] * pow(10, decade);
}

static double about(struct rack *rack, double value, double percent)
{
    return value * (1 + percent / 100 * rack_even(rack, -1, 1));
}

static void draw_scope(struct rack *rack)
{
    static const int bits[] = { 8, 8, 10, 12 };
    static const size_t points[] = { 500, 1000, 2500 };
    static const double gains[] = { 0.002, 0.015, 0.03 };
    struct rack_scope *scope = &rack->scope;
    scope->bits = bits[(size_t)rack_even(rack, 0, 4)];
    scope->points = points[(size_t)rack_even(rack, 0, 3)];
    scope->gain = gains[(size_t)rack_even(rack, 0, 3)];
    scope->baseline = rack_even(rack, 0.02, 0.2);
    scope->offset_error = 0.01;
    scope->has_offset = rack_even(rack, 0, 1) < 0.5;
    scope->count = RACK_RANGES;
    scope->offset_off = rack_even(rack, -1, 1);
    scope->resistance = about(rack, 1e6, resistance_tolerance);
    for (size_t i = 0; i < RACK_RANGES; i++) {
        scope->scales[i] = one_two_five(i, -3);
        scope->gains[i] = rack_even(rack, -1, 1);
        scope->baselines[i] = rack_even(rack, -1, 1);
    }
    snprintf(scope->coupling, sizeof scope->coupling, "DC");
    scope->scale = 1;
    scope->span = 1e-3;
}

static void draw_meter(struct rack *rack)
{
    struct rack_meter *meter = &rack->meter;
    static const double starts[] = { 0.2, 0.3, 0.5, 0.4 };
    static const double digits[] = { 2e3, 4e3, 5e4, 2e5 };
    size_t kind = (size_t)rack_even(rack, 0, 4);
    meter->digits = digits[kind];
    meter->count = (size_t)rack_even(rack, 2, 6);
    meter->resistance = about(rack, 10e6, resistance_tolerance);
    for (int f = 0; f < RACK_FUNCTIONS; f++) {
        meter->reading[f] = rack_even(rack, 1, 5) * (f ? 10 : 1) / meter->digits;
        meter->range[f] = rack_even(rack, 0, 3) / meter->digits;
    }
    for (size_t i = 0; i < meter->count; i++) {
        meter->full_scales[i] = starts[kind] * pow(10, (double)i);
        for (int f = 0; f < RACK_FUNCTIONS; f++) {
            meter->readings[f][i] = rack_even(rack, -1, 1);
            meter->ranges[f][i] = rack_even(rack, -1, 1);
        }
    }
    meter->full_scale = meter->full_scales[0];
}

static bool write_scope(const struct rack *rack, FILE *out)
{
    const struct rack_scope *scope = &rack->scope;
    double most = exp2(scope->bits - 1);
    fprintf(out, "description = \"drawn\"; kind = \"scope\";\n" DIALOGUE
                 "max_input = 1000.0; divisions = 8.0; time_divisions = 10.0; settle_ms = 0.0;\n"
                 "vertical = { command = \"SENS {volts_per_division}\"; query = \"SENS?\";\n"
                 " volts_per_division = [ ");
    for (size_t i = 0; i < scope->count; i++)
        fprintf(out, "%s%.6e", i ? ", " : "", scope->scales[i]);
    fprintf(out,
            " ];\n gain_percent = %.6e; baseline_divisions = %.6e; input_resistance = 1e6;\n"
            " resistance_tolerance_percent = %.6e; };\n",
            100 * scope->gain, scope->baseline, resistance_tolerance);
    if (scope->has_offset)
        fprintf(out,
                "offset = { command = \"OFFS {offset}\"; query = \"OFFS?\"; error_percent = %.6e;\n"
                " spans = ( { up_to = 20e-3; span = 0.5; }, { up_to = 10.0; span = 40.0; } ); };\n",
                100 * scope->offset_error);
    else
        fprintf(out, "position = { command = \"LIFT {position}\"; query = \"LIFT?\";\n"
                     " divisions = 4.0; };\n");
    fprintf(out, "coupling = { dc = \"INLET DC\"; ac = \"INLET AC\"; ground = \"INLET GND\";\n"
                 " query = \"INLET?\"; dc_answer = \"^DC$\"; ac_answer = \"^AC$\";\n"
                 " ground_answer = \"^GND$\"; ac_corner = 10.0; };\n");
    fprintf(out,
            "timebase = { set = [ \"SPAN {duration}\" ]; query = \"SPAN?\"; points = %zu;\n"
            " durations = [ ",
            scope->points);
    for (size_t i = 0; i < 19; i++)
        fprintf(out, "%s%.6e", i ? ", " : "", one_two_five(i, -6));
    fprintf(
        out,
        " ]; };\nacquisition = { start = [ \"GO\" ]; extra_ms = 1000.0; };\n"
        "waveform = { query = \"DATA?\"; encoding = \"block\"; format = \"int16\";\n"
        " byte_order = \"high byte first\"; code_low = %.0f; code_high = %.0f; code_centre = 0;\n"
        " codes_per_division = %.6e; };\n",
        -most, most - 1, most / 4);
    return fclose(out) == 0;
}

static bool write_meter(const struct rack *rack, FILE *out)
{
    const struct rack_meter *meter = &rack->meter;
    fprintf(out, "description = \"drawn\"; kind = \"meter\";\n" DIALOGUE "max_input = 1e5;\n"
                 "functions = (\n");
    for (int f = 0; f < RACK_FUNCTIONS; f++) {
        fprintf(out,
                "{ quantity = \"%s\"; select = [ \"FUNC %d\" ];\n"
                " select_check = { query = \"FUNC?\"; pattern = \"^%d$\"; };\n"
                " range = \"RANG {range}\"; range_query = \"RANG?\"; read = \"READ?\";\n"
                " conversion_ms = 1.0; settle_ms = 0.0;%s\n ranges = (",
                f ? "ac voltage" : "dc voltage", f, f,
                f ? " response = \"true rms\"; crest_factor = 10.0; low_frequency = 3.0; "
                    "high_frequency = 1e6;"
                  : "");
        for (size_t i = 0; i < meter->count; i++)
            fprintf(out,
                    "%s{ full_scale = %.9e; resolution = %.9e; reading_percent = %.9e;\n"
                    " range_percent = %.9e; input_resistance = 10e6;\n"
                    " resistance_tolerance_percent = %.6e; }",
                    i ? ", " : "", meter->full_scales[i], meter->full_scales[i] / meter->digits,
                    100 * meter->reading[f], 100 * meter->range[f], resistance_tolerance);
        fprintf(out, "); }%s\n", f + 1 < RACK_FUNCTIONS ? "," : "");
    }
    fprintf(out, ");\n");
    return fclose(out) == 0;
}

static FILE *file_of(const struct rack *rack, const char *name)
{
    char path[128];
    snprintf(path, sizeof path, "%s/%s", rack->folder, name);
    return fopen(path, "w");
}

static size_t print_point(bool scope, const char *name, const char *quantity, double source,
                          char *text, size_t size)
{
    return (size_t)snprintf(
        text, size,
        "{ name = \"%s_%s\"; instrument = \"%s\"; input = 1; place = \"%s\";\n"
        " probe = \"%s\"; quantity = \"%s\"; source_resistance = %.6e;\n"
        " source_resistance_tolerance_percent = %.6e; loading = \"correct\";%s }",
        scope ? "scope" : "meter", name, scope ? "scope" : "meter", scope ? "s" : "m",
        scope ? "divider" : "direct", quantity, source, source_tolerance,
        !scope && strcmp(name, "ac") == 0 ? " frequency = 1e3; crest_factor = 3.5; dc_level = 0.0;"
                                          : "");
}

static void write_settings(struct rack *rack, double source, double factor)
{
    static const struct {
        const char *name, *quantity;
    } points[] = { { "mean", "dc voltage" },      { "ac", "ac voltage" },
                   { "rms", "rms voltage" },      { "peaks", "peak-to-peak voltage" },
                   { "high", "maximum voltage" }, { "low", "minimum voltage" } };
    char *text = rack->settings;
    size_t room = sizeof rack->settings, used;
    used = (size_t)snprintf(
        text, room,
        "profiles = \".\"; ambient_c = 23.0;\n"
        "instruments = ( { name = \"scope\"; profile = \"scope\"; link = \"unix:%s/scope\"; },\n"
        " { name = \"meter\"; profile = \"meter\"; link = \"unix:%s/meter\"; } );\n"
        "probes = ( { name = \"divider\"; factor = %.6e; tolerance_percent = %.6e;\n"
        " tip_resistance = 10e6; resistance_tolerance_percent = %.6e; } );\npoints = (\n",
        rack->folder, rack->folder, factor, probe_tolerance, resistance_tolerance);
    for (size_t i = 0; i < 2 + sizeof points / sizeof *points; i++) {
        bool scope = i < sizeof points / sizeof *points;
        size_t at = scope ? i : i - sizeof points / sizeof *points;
        used += print_point(scope, points[at].name, points[at].quantity, source, text + used,
                            room - used);
        used += (size_t)snprintf(text + used, room - used, "%s", i < 7 ? "," : "");
    }
    snprintf(text + used, room - used, ");\n");
}

bool rack_draw(struct rack *rack)
{
    double source = pow(10, rack_even(rack, 0, 5));
    double factor = rack_even(rack, 0, 1) < 0.5 ? 1 : 10;
    draw_scope(rack);
    draw_meter(rack);
    rack->source = about(rack, source, source_tolerance);
    rack->divider = about(rack, factor, probe_tolerance);
    rack->tip = about(rack, 10e6, resistance_tolerance);
    write_settings(rack, source, factor);
    FILE *scope = file_of(rack, "scope.cfg"), *meter = file_of(rack, "meter.cfg");
    return scope && meter && write_scope(rack, scope) && write_meter(rack, meter);
}
