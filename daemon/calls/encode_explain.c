/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "daemon/encode/encode.h"
#include "explain.h"

#include <math.h>

static const char *const source_names[] = {
    [SIGNAL_NONE] = "none",
    [SIGNAL_EXPECTED] = "expected",
    [SIGNAL_LAST] = "last reading",
};

static void encode_explained(struct text *text, const struct front_end *input,
                             const struct explained_setup *explained)
{
    text_open(text, '{');
    encode_setup(text, input, &explained->setup);
    text_member_number(text, "at_tip", explained->full_scale);
    text_member_number(text, "resolution", explained->resolution);
    text_member_bool(text, "fits", explained->fits);
    if (explained->fits) {
        text_member_number(text, "uncertainty", explained->uncertainty);
        text_member_number(text, "standard_uncertainty", explained->standard);
    }
    text_member_number(text, "input_resistance", explained->input_resistance);
    text_member_number(text, "loading_error", explained->loading_error);
    text_member_string(text, "note", explained->note);
    text_close(text, '}');
}

static void encode_signal(struct text *text, const struct explanation *explanation)
{
    text_member_open(text, "signal", '{');
    text_member_number(text, "value", explanation->value);
    text_member_string(text, "source", source_names[explanation->source]);
    text_close(text, '}');
}

/* The instruments that were weighed against each other, where there are several. */
static void encode_ways(struct text *text, const struct explanation *explanation)
{
    const struct bench_point *point = explanation->point;
    if (point->way_count == 0)
        return;
    text_member_open(text, "ways", '[');
    for (size_t i = 0; i < point->way_count; i++) {
        const struct bench_way *way = &point->ways[i];
        text_open(text, '{');
        text_member_string(text, "instrument",
                           explanation->bench->instruments[way->instrument].name);
        text_member_integer(text, "input", way->input);
        text_member_string(text, "probe", explanation->bench->probes[way->probe].name);
        text_member_bool(text, "used", i == point->way_used);
        text_member_number(text, "uncertainty", explain_coverage * way->standard);
        text_member_string(text, "refused", way->refusal);
        text_close(text, '}');
    }
    text_close(text, ']');
}

void encode_explanation(struct text *text, const struct explanation *explanation)
{
    text_open(text, '{');
    text_member_string(text, "point", explanation->point->name);
    text_member_string(text, "quantity", quantity_name(explanation->point->quantity));
    text_member_string(text, "unit", bench_signal_unit(explanation->bench, explanation->point));
    encode_ways(text, explanation);
    encode_signal(text, explanation);
    encode_resonance(text, explanation->bench, explanation->point, &explanation->first);
    if (explanation->chosen < explanation->count)
        text_member_integer(text, "chosen", (int64_t)explanation->chosen);
    text_member_open(text, "candidates", '[');
    for (size_t i = 0; i < explanation->count; i++)
        encode_explained(text, explanation->chain.input, &explanation->setups[i]);
    text_close(text, ']');
    text_member_open(text, "text", '[');
    for (size_t i = 0; i < explanation->line_count; i++)
        text_string(text, explanation->lines[i]);
    text_close(text, ']');
    text_close(text, '}');
}
