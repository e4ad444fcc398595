/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "encode_analysis.h"

#include "core/uncertainty/expand.h"

/* Opens a set of figures; false, and closed again with the reason, when it does not apply. */
static bool open_set(struct text *text, const char *key, enum wave_reason lack)
{
    text_member_open(text, key, '{');
    if (lack == WAVE_NONE)
        return true;
    text_member_string(text, "reason", wave_reason_text(lack));
    text_close(text, '}');
    return false;
}

static void encode_waveform(struct text *text, const struct waveform *waveform)
{
    text_member_number(text, "mean", waveform->mean);
    text_member_number(text, "rms", waveform->rms);
    text_member_number(text, "ac_rms", waveform->ac_rms);
    text_member_number(text, "rectified", waveform->rectified);
    text_member_number(text, "maximum", waveform->maximum);
    text_member_number(text, "minimum", waveform->minimum);
    text_member_number(text, "peak_to_peak", waveform->peak_to_peak);
    text_member_number(text, "crest_factor", waveform->crest_factor);
    text_member_number(text, "form_factor", waveform->form_factor);
    text_member_number(text, "noise", waveform->noise);
    text_member_number(text, "frequency", waveform->frequency);
    text_member_number(text, "frequency_standard_uncertainty", waveform->frequency_uncertainty);
    text_member_number(text, "periods", waveform->periods);
}

static void encode_transitions(struct text *text, const char *key,
                               const struct transitions *transitions)
{
    if (transitions->count == 0)
        return;
    text_member_open(text, key, '{');
    text_member_integer(text, "count", (int64_t)transitions->count);
    text_member_number(text, "duration", transitions->duration);
    text_member_number(text, "aberration_before", transitions->before);
    text_member_number(text, "aberration_after", transitions->after);
    text_close(text, '}');
}

static void encode_pulse(struct text *text, const struct pulse *pulse)
{
    text_member_number(text, "low", pulse->low);
    text_member_number(text, "high", pulse->high);
    text_member_number(text, "amplitude", pulse->amplitude);
    text_member_number(text, "high_duration", pulse->high_duration);
    text_member_number(text, "low_duration", pulse->low_duration);
    text_member_number(text, "duty", pulse->duty);
    encode_transitions(text, "rise", &pulse->rise);
    encode_transitions(text, "fall", &pulse->fall);
    text_close(text, '}');
}

static void encode_sine(struct text *text, const struct sine_fit *sine)
{
    text_member_number(text, "frequency", sine->frequency);
    text_member_number(text, "frequency_standard_uncertainty", sine->frequency_uncertainty);
    text_member_number(text, "amplitude", sine->amplitude);
    text_member_number(text, "phase", sine->phase);
    text_member_number(text, "offset", sine->offset);
    text_member_number(text, "residual", sine->residual);
    text_member_number(text, "sinad_db", sine_fit_sinad(sine));
    text_close(text, '}');
}

static void encode_distortion(struct text *text, const struct distortion *distortion)
{
    text_member_number(text, "frequency", distortion->frequency);
    text_member_integer(text, "harmonics", (int64_t)distortion->harmonics);
    text_member_number(text, "thd_f", distortion->thd_f);
    text_member_number(text, "thd_r", distortion->thd_r);
    text_member_number(text, "snr", distortion->snr);
    text_member_number(text, "sinad", distortion->sinad);
    text_member_number(text, "sfdr", distortion->sfdr);
    text_close(text, '}');
}

/* A figure with its uncertainty, or why there is none; of an edge also what it was before the own one. */
static void encode_shape(struct text *text, const struct shape_figure *shape,
                         enum quantity quantity, const char *unit)
{
    char words[200];
    text_member_open(text, quantity_name(quantity), '{');
    if (shape->lack == WAVE_NONE) {
        const struct expanded expanded = budget_expand(&shape->budget);
        text_member_number(text, "value", shape->value);
        text_member_number(text, "uncertainty", expanded.uncertainty);
        text_member_number(text, "standard_uncertainty", expanded.standard);
        text_member_string(text, "unit", unit);
        text_member_number(text, "seen", shape->seen);
        text_member_number(text, "own", shape->own);
    } else {
        text_member_string(text, "reason", shape_lack_text(shape, words, sizeof words));
        text_member_number(text, "at_most", shape->at_most);
    }
    text_close(text, '}');
}

void encode_shapes(struct text *text, const struct shape_figures *shapes, const char *unit)
{
    text_member_open(text, "figures", '{');
    for (int i = 0; i < FIGURE_COUNT; i++) {
        const enum quantity quantity = shape_quantity((enum figure_kind)i);
        const bool level = quantity_aspect(quantity) != ASPECT_WHOLE;
        encode_shape(text, &shapes->of[i], quantity,
                     level ? unit : dimension_unit(quantity_dimension(quantity)));
    }
    text_close(text, '}');
}

void encode_analysis(struct text *text, const struct analysis *analysis)
{
    text_member_open(text, "parameters", '{');
    encode_waveform(text, &analysis->waveform);
    if (analysis->periodic != WAVE_NONE)
        text_member_string(text, "reason", wave_reason_text(analysis->periodic));
    if (open_set(text, "pulse", analysis->pulse_lack))
        encode_pulse(text, &analysis->pulse);
    if (open_set(text, "sine", analysis->sine_lack))
        encode_sine(text, &analysis->sine);
    if (open_set(text, "distortion", analysis->distortion_lack))
        encode_distortion(text, &analysis->distortion);
    text_close(text, '}');
}
