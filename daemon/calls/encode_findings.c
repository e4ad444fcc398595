/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "encode_findings.h"

#include <math.h>

static void encode_difference(struct text *text, const struct agreement_finding *finding)
{
    const struct comparison *difference = &finding->difference;
    text_member_open(text, "difference", '{');
    text_member_number(text, "value", difference->value);
    text_member_string(text, "unit", finding->unit);
    text_member_number(text, "uncertainty", difference->expanded.uncertainty);
    text_member_number(text, "standard_uncertainty", difference->expanded.standard);
    text_member_number(text, "coverage_factor", difference->expanded.coverage);
    text_close(text, '}');
}

void encode_agreement(struct text *text, const struct agreement_finding *finding)
{
    text_open(text, '{');
    text_member_number(text, "en", finding->en);
    text_member_bool(text, "agree", finding->agree);
    text_member_number(text, "correlation", finding->correlation);
    encode_difference(text, finding);
    text_member_open(text, "readings", '[');
    for (size_t i = 0; i < 2; i++) {
        const struct text *reading = finding->readings[i];
        text_json(text, reading->bytes, reading->length);
        text->failed = text->failed || reading->failed;
    }
    text_close(text, ']');
    text_close(text, '}');
}

void encode_unloaded(struct text *text, const struct unload_finding *finding)
{
    const struct unloaded *unloaded = &finding->unloaded;
    text_open(text, '{');
    text_member_number(text, "value", unloaded->value);
    text_member_string(text, "unit", "V");
    text_member_number(text, "uncertainty", finding->uncertainty);
    text_member_number(text, "standard_uncertainty", unloaded->standard);
    text_member_number(text, "coverage_factor", finding->coverage);
    text_member_number(text, "source_resistance", unloaded->resistance);
    text_member_number(text, "source_resistance_uncertainty", finding->resistance_uncertainty);
    text_member_open(text, "loads", '[');
    for (size_t i = 0; i < 2; i++) {
        text_open(text, '{');
        text_member_number(text, "resistance", finding->loads[i].load.resistance);
        text_member_number(text, "value", finding->loads[i].value);
        text_close(text, '}');
    }
    text_close(text, ']');
    text_close(text, '}');
}

void encode_compensation(struct text *text, const struct compensation_finding *finding)
{
    const struct compensation *found = &finding->found;
    text_open(text, '{');
    text_member_string(text, "point", finding->point);
    text_member_string(text, "probe", finding->probe);
    text_member_string(text, "state", compensation_name(found->kind));
    if (found->lack != NULL)
        text_member_string(text, "reason", found->lack);
    text_member_number(text, "ratio", found->ratio);
    text_member_number(text, "ratio_uncertainty", finding->ratio_uncertainty);
    text_member_number(text, "time_constant", found->tau);
    if (!isnan(finding->frequency)) {
        text_member_number(text, "frequency", finding->frequency);
        text_member_number(text, "amplitude_error", finding->amplitude_error);
    }
    text_close(text, '}');
}

void encode_zero(struct text *text, const struct zero_finding *finding)
{
    text_open(text, '{');
    text_member_string(text, "point", finding->point);
    text_member_string(text, "probe", finding->probe);
    text_member_string(text, "instrument", finding->instrument);
    text_member_integer(text, "input", finding->input);
    text_member_number(text, "value", finding->value);
    text_member_string(text, "unit", finding->unit);
    text_member_number(text, "uncertainty", finding->uncertainty);
    text_member_number(text, "standard_uncertainty", finding->standard);
    text_member_number(text, "coverage_factor", finding->coverage);
    text_member_number(text, "holds_s", finding->holds_s);
    text_close(text, '}');
}

static void encode_place(struct text *text, const struct board_finding *finding)
{
    bool goes_on = finding->state == DIAGNOSIS_GO_ON;
    text_member_open(text, goes_on ? "next" : "contradicted", '{');
    text_member_string(text, "point", finding->point);
    text_member_string(text, "block", finding->block);
    text_member_string(text, "place", finding->place->place);
    text_member_string(text, "picture", finding->place->picture);
    text_member_string(text, "caution", finding->place->caution);
    if (goes_on)
        text_member_number(text, "probability_bad", finding->probability_bad);
    text_close(text, '}');
}

void encode_board(struct text *text, const struct board_finding *finding)
{
    static const char *const words[] = { [DIAGNOSIS_GO_ON] = "go on",
                                         [DIAGNOSIS_FOUND] = "found",
                                         [DIAGNOSIS_NARROWED] = "narrowed down",
                                         [DIAGNOSIS_NOTHING] = "nothing found",
                                         [DIAGNOSIS_CONFLICT] = "contradiction" };
    text_open(text, '{');
    text_member_string(text, "sheet", finding->sheet->name);
    text_member_string(text, "title", finding->sheet->title);
    text_member_string(text, "state", words[finding->state]);
    if (finding->place != NULL)
        encode_place(text, finding);
    text_member_open(text, "suspects", '[');
    for (size_t i = 0; i < finding->suspects; i++) {
        text_open(text, '{');
        text_member_string(text, "block", finding->suspect[i]);
        text_member_number(text, "probability", finding->probability[i]);
        text_close(text, '}');
    }
    text_close(text, ']');
    text_close(text, '}');
}
