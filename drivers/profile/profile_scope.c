/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The part of a profile that says what a scope's inputs can be set to. */
#include "profile_priv.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define FIELD(name) offsetof(struct scope, name)

/* The vertical system as it is written; the commands go straight into the scope. */
struct vertical_file {
    struct range range; /* what all settings have in common; first, see profile_accuracy_keys */
    char command[PROFILE_TEXT];
    char query[PROFILE_TEXT];
    double baseline_divisions;
};

static const struct strict_key vertical_keys[] = {
    { .name = "command",
      .type = STRICT_TEXT,
      .required = true,
      .offset = offsetof(struct vertical_file, command),
      .size = PROFILE_TEXT,
      .help = "sets {volts_per_division} or {full_scale} of {input}" },
    { .name = "query",
      .type = STRICT_TEXT,
      .offset = offsetof(struct vertical_file, query),
      .size = PROFILE_TEXT,
      .help = "reads the same number back" },
    { .name = "calibrated",
      .type = STRICT_GROUP,
      .help = "query and pattern that prove the scale to be in its calibrated position" },
    { .name = "volts_per_division",
      .type = STRICT_LIST,
      .required = true,
      .help = "the settings there are, ascending, in V" },
    { .name = "gain_percent",
      .type = STRICT_NUMBER,
      .required = true,
      .offset = offsetof(struct vertical_file, range.accuracy.reading),
      .maximum = 100.0,
      .scale = 0.01,
      .unit = "% of the deflection",
      .help = "accuracy" },
    { .name = "range_percent",
      .type = STRICT_NUMBER,
      .offset = offsetof(struct vertical_file, range.accuracy.range),
      .maximum = 100.0,
      .scale = 0.01,
      .unit = "% of full scale",
      .help = "accuracy, added" },
    { .name = "fixed",
      .type = STRICT_NUMBER,
      .offset = offsetof(struct vertical_file, range.accuracy.fixed),
      .maximum = 1e6,
      .unit = "V",
      .help = "accuracy, added" },
    { .name = "baseline_divisions",
      .type = STRICT_NUMBER,
      .required = true,
      .offset = offsetof(struct vertical_file, baseline_divisions),
      .maximum = 100.0,
      .unit = "divisions",
      .help = "bound on where the zero trace lies" },
    { .name = NULL },
};

static const struct strict_key offset_keys[] = {
    { .name = "command",
      .type = STRICT_TEXT,
      .required = true,
      .offset = FIELD(offset),
      .size = PROFILE_TEXT,
      .help = "sets the voltage in the middle of the screen, {offset} V" },
    { .name = "query",
      .type = STRICT_TEXT,
      .offset = FIELD(offset_check.query),
      .size = PROFILE_TEXT,
      .help = "reads the same number back" },
    { .name = "error_percent",
      .type = STRICT_NUMBER,
      .required = true,
      .offset = FIELD(front_end.offset_fraction),
      .maximum = 100.0,
      .scale = 0.01,
      .unit = "% of the offset",
      .help = "accuracy of the offset itself" },
    { .name = "spans",
      .type = STRICT_LIST,
      .required = true,
      .help = "groups of \"up_to\" and \"span\", ascending; the first that fits counts" },
    { .name = NULL },
};

/* Up to this many volts per division the offset goes this far. */
struct span_file {
    double up_to;
    double span;
};

static const struct strict_key span_keys[] = {
    { .name = "up_to",
      .type = STRICT_NUMBER,
      .required = true,
      .offset = offsetof(struct span_file, up_to),
      .minimum = 1e-9,
      .maximum = 1e6,
      .unit = "V/division",
      .help = "largest setting the span holds for" },
    { .name = "span",
      .type = STRICT_NUMBER,
      .required = true,
      .offset = offsetof(struct span_file, span),
      .maximum = 1e6,
      .unit = "V",
      .help = "largest offset to either side" },
    { .name = NULL },
};

static const struct strict_key position_keys[] = {
    { .name = "command",
      .type = STRICT_TEXT,
      .required = true,
      .offset = FIELD(position),
      .size = PROFILE_TEXT,
      .help = "moves the zero trace up by {position} divisions or {position_volts} V" },
    { .name = "query",
      .type = STRICT_TEXT,
      .offset = FIELD(position_check.query),
      .size = PROFILE_TEXT,
      .help = "reads the same number back" },
    { .name = "divisions",
      .type = STRICT_NUMBER,
      .required = true,
      .offset = FIELD(front_end.position_divisions),
      .minimum = 0.1,
      .maximum = 100.0,
      .unit = "divisions",
      .help = "how far it can be moved to either side" },
    { .name = NULL },
};

static const struct strict_key coupling_keys[] = {
    { .name = "dc",
      .type = STRICT_TEXT,
      .required = true,
      .offset = FIELD(coupling_dc),
      .size = PROFILE_TEXT,
      .help = "command for dc coupling" },
    { .name = "ac",
      .type = STRICT_TEXT,
      .offset = FIELD(coupling_ac),
      .size = PROFILE_TEXT,
      .help = "command for ac coupling" },
    { .name = "ground",
      .type = STRICT_TEXT,
      .offset = FIELD(coupling_ground),
      .size = PROFILE_TEXT,
      .help = "command that grounds the input, so that the zero trace can be seen" },
    { .name = "query",
      .type = STRICT_TEXT,
      .offset = FIELD(coupling_checks[COUPLING_DC].query),
      .size = PROFILE_TEXT,
      .help = "asks for the coupling" },
    { .name = "dc_answer",
      .type = STRICT_PATTERN,
      .offset = FIELD(coupling_checks[COUPLING_DC].pattern),
      .present = FIELD(coupling_checks[COUPLING_DC].has_pattern),
      .help = "the whole answer to \"query\" in dc coupling" },
    { .name = "ac_answer",
      .type = STRICT_PATTERN,
      .offset = FIELD(coupling_checks[COUPLING_AC].pattern),
      .present = FIELD(coupling_checks[COUPLING_AC].has_pattern),
      .help = "... in ac coupling" },
    { .name = "ground_answer",
      .type = STRICT_PATTERN,
      .offset = FIELD(coupling_checks[COUPLING_GROUND].pattern),
      .present = FIELD(coupling_checks[COUPLING_GROUND].has_pattern),
      .help = "... with the input grounded" },
    { .name = "ac_corner",
      .type = STRICT_NUMBER,
      .offset = FIELD(front_end.ac_corner),
      .minimum = 1e-3,
      .maximum = 1e6,
      .unit = "Hz",
      .help = "-3 dB of the ac coupling" },
    { .name = NULL },
};

static void check_value_command(const struct profile *profile, const config_setting_t *group,
                                const char *text, const char *one, const char *other,
                                struct problems *problems)
{
    const char *const needed[] = { one, other, NULL };

    if (profile_check_input_command(profile, group, "command", text, problems))
        profile_check_command(profile, group, "command", text, CONTEXT_SCOPE, needed, problems);
}

/*
 * The window is from the last code that is not clipped to the first: codes at
 * the ends are no values. Volts have no codes; there it is the screen, less the
 * step at either end that means clipped and a half for where the steps lie.
 */
static const double volts_edge = 1.5;

static void complete_range(const struct scope *scope, double volts_per_division,
                           struct range *range)
{
    const struct waveform_coding *coding = &scope->waveform;
    double code = volts_per_division / coding->codes_per_division;

    range->volts_per_division = volts_per_division;
    range->full_scale = volts_per_division * scope->divisions;
    range->resolution = code * coding->codes_per_step;
    range->high = range->full_scale / 2.0 - volts_edge * range->resolution;
    range->low = -range->high;
    if (coding->codes) {
        range->low = (coding->code_low + coding->codes_per_step - coding->code_centre) * code;
        range->high = (coding->code_high - coding->codes_per_step - coding->code_centre) * code;
    }
}

static void read_steps(struct profile_owner *owner, const struct vertical_file *file,
                       const config_setting_t *list, struct problems *problems)
{
    struct scope *scope = &owner->profile.scope;
    double steps[CHAIN_MAX_RANGES];
    size_t count = profile_read_ascending(list, steps, CHAIN_MAX_RANGES, problems);
    struct range *ranges = calloc(CHAIN_MAX_RANGES, sizeof *ranges);

    owner->ranges[0] = ranges;
    if (ranges == NULL) {
        problems_at(problems, list, "no memory");
        return;
    }
    for (size_t i = 0; i < count; i++) {
        ranges[i] = file->range;
        complete_range(scope, steps[i], &ranges[i]);
    }
    scope->front_end.count = count;
    scope->front_end.ranges = ranges;
}

static void read_vertical(struct profile_owner *owner, const config_setting_t *root,
                          struct problems *problems)
{
    struct scope *scope = &owner->profile.scope;
    const config_setting_t *group = strict_member(root, "vertical");
    struct vertical_file file = { .range = profile_range_unknown() };
    struct strict_key keys[PROFILE_KEYS];

    strict_keys_join(keys, PROFILE_KEYS, vertical_keys, profile_accuracy_keys);
    if (group == NULL || !strict_group(group, keys, &file, problems))
        return;
    memcpy(scope->vertical, file.command, sizeof scope->vertical);
    memcpy(scope->vertical_check.query, file.query, sizeof scope->vertical_check.query);
    scope->front_end.baseline_divisions = file.baseline_divisions;
    check_value_command(&owner->profile, group, file.command, "{volts_per_division}",
                        "{full_scale}", problems);
    profile_check_input_command(&owner->profile, group, "query", file.query, problems);
    profile_parse_check(&owner->profile, group, "calibrated", &scope->calibrated, problems);
    profile_check_range(group, &file.range, problems);
    read_steps(owner, &file, strict_member(group, "volts_per_division"), problems);
}

/* Applies one span to the settings it holds for and no smaller one did; returns its up_to. */
static double apply_span(struct profile_owner *owner, const config_setting_t *group, double after,
                         struct problems *problems)
{
    struct span_file file = { 0 };

    if (!strict_group(group, span_keys, &file, problems))
        return after;
    if (file.up_to <= after) {
        problems_at(problems, group, "\"up_to\" is %g after %g, expected ascending ones",
                    file.up_to, after);
    }
    for (size_t i = 0; i < owner->profile.scope.front_end.count; i++) {
        struct range *range = &owner->ranges[0][i];
        if (range->volts_per_division > after * (1.0 + 1e-9) &&
            range->volts_per_division <= file.up_to * (1.0 + 1e-9))
            range->offset_span = file.span;
    }
    return file.up_to;
}

static void read_offset(struct profile_owner *owner, const config_setting_t *root,
                        struct problems *problems)
{
    const config_setting_t *group;
    double after = 0.0;

    if (!profile_read_group(&owner->profile.scope, root, "offset", offset_keys, &group, problems))
        return;
    check_value_command(&owner->profile, group, owner->profile.scope.offset, "{offset}", NULL,
                        problems);
    profile_check_input_command(&owner->profile, group, "query",
                                owner->profile.scope.offset_check.query, problems);
    const config_setting_t *spans = strict_list(group, "spans");
    for (int i = 0; spans != NULL && i < config_setting_length(spans); i++)
        after = apply_span(owner, config_setting_get_elem(spans, (unsigned)i), after, problems);
}

static void read_position(struct profile_owner *owner, const config_setting_t *root,
                          struct problems *problems)
{
    const config_setting_t *group;

    if (profile_read_group(&owner->profile.scope, root, "position", position_keys, &group,
                           problems)) {
        check_value_command(&owner->profile, group, owner->profile.scope.position, "{position}",
                            "{position_volts}", problems);
        profile_check_input_command(&owner->profile, group, "query",
                                    owner->profile.scope.position_check.query, problems);
    }
}

/* The query goes with an answer for each coupling that there is a command for. */
static void read_coupling_query(struct profile_owner *owner, const config_setting_t *group,
                                struct problems *problems)
{
    struct scope *scope = &owner->profile.scope;
    static const char *const answers[] = { [COUPLING_DC] = "dc_answer",
                                           [COUPLING_AC] = "ac_answer",
                                           [COUPLING_GROUND] = "ground_answer" };
    const char *const commands[] = { [COUPLING_DC] = scope->coupling_dc,
                                     [COUPLING_AC] = scope->coupling_ac,
                                     [COUPLING_GROUND] = scope->coupling_ground };
    const char *query = scope->coupling_checks[COUPLING_DC].query;

    profile_check_input_command(&owner->profile, group, "query", query, problems);
    for (size_t i = 0; i < sizeof answers / sizeof *answers; i++) {
        struct check *check = &scope->coupling_checks[i];
        bool wanted = query[0] != '\0' && commands[i][0] != '\0';
        if (wanted != check->has_pattern) {
            problems_at(problems, group, "\"%s\" is %s, expected it with a query and its command",
                        answers[i], check->has_pattern ? "there" : "missing");
        }
        profile_check_anchors(group, answers[i], true, problems);
        if (i != COUPLING_DC)
            memcpy(check->query, query, sizeof check->query);
    }
}

static void read_coupling(struct profile_owner *owner, const config_setting_t *root,
                          struct problems *problems)
{
    struct scope *scope = &owner->profile.scope;
    const config_setting_t *group;

    scope->front_end.ac_corner = NAN;
    if (!profile_read_group(scope, root, "coupling", coupling_keys, &group, problems))
        return;
    profile_check_input_command(&owner->profile, group, "dc", scope->coupling_dc, problems);
    profile_check_input_command(&owner->profile, group, "ac", scope->coupling_ac, problems);
    profile_check_input_command(&owner->profile, group, "ground", scope->coupling_ground, problems);
    read_coupling_query(owner, group, problems);
    scope->front_end.ac_coupling = scope->coupling_ac[0] != '\0';
    scope->front_end.ground_reference = scope->coupling_ground[0] != '\0';
    if (scope->front_end.ac_coupling && strict_member(group, "ac_corner") == NULL)
        profile_missing(group, "ac_corner", "where there is ac coupling", problems);
}

void profile_read_scope(struct profile_owner *owner, const config_setting_t *root,
                        struct problems *problems)
{
    struct scope *scope = &owner->profile.scope;

    scope->inputs = owner->profile.inputs;
    scope->max_input = owner->profile.max_input;
    scope->front_end.vertical = true;
    scope->front_end.divisions = scope->divisions;
    profile_read_waveform(owner, root, problems);
    read_vertical(owner, root, problems);
    read_offset(owner, root, problems);
    read_position(owner, root, problems);
    read_coupling(owner, root, problems);
    profile_read_record(owner, root, problems);
    profile_read_trigger(owner, root, problems);
    profile_read_proofs(owner, root, problems);
}

void profile_print_scope_keys(FILE *out)
{
    static const struct {
        const char *name;
        const struct strict_key *keys;
    } groups[] = {
        { "vertical", vertical_keys }, { "vertical, besides", profile_accuracy_keys },
        { "offset", offset_keys },     { "offset.spans, each", span_keys },
        { "position", position_keys }, { "coupling", coupling_keys },
    };

    for (size_t i = 0; i < sizeof groups / sizeof *groups; i++) {
        fprintf(out, "%s:\n", groups[i].name);
        strict_print_keys(out, groups[i].keys);
    }
    profile_print_record_keys(out);
    profile_print_trigger_keys(out);
}
