/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The part of a profile that says what a meter can do: its functions and their ranges. */
#include "drivers/cfg/pattern_edges.h"
#include "profile_priv.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const char *const responses[] = {
    [RESPONSE_DC] = "dc",
    [RESPONSE_AVERAGE] = "average",
    [RESPONSE_TRUE_RMS] = "true rms",
    NULL,
};

static const struct strict_key function_keys[] = {
    { .name = "quantity",
      .type = STRICT_CHOICE,
      .required = true,
      .offset = offsetof(struct function, quantity),
      .choices = profile_quantities,
      .help = "what the function measures" },
    { .name = "select",
      .type = STRICT_TEXTS,
      .required = true,
      .help = "commands that enter the function" },
    { .name = "select_check",
      .type = STRICT_GROUP,
      .help = "query and pattern that prove the function to be the one entered" },
    { .name = "auto_check",
      .type = STRICT_GROUP,
      .help = "query and pattern that prove that the instrument does not choose its range" },
    { .name = "range",
      .type = STRICT_TEXT,
      .offset = offsetof(struct function, range_command),
      .size = PROFILE_TEXT,
      .help = "command that selects a range, with {range} for its full scale; or \"select\" in "
              "every range" },
    { .name = "range_query",
      .type = STRICT_TEXT,
      .offset = offsetof(struct function, range_check.query),
      .size = PROFILE_TEXT,
      .help = "asks for the range; the answer must be its full scale" },
    { .name = "read",
      .type = STRICT_TEXT,
      .required = true,
      .offset = offsetof(struct function, read),
      .size = PROFILE_TEXT,
      .help = "command that makes one reading and answers with it" },
    { .name = "answer",
      .type = STRICT_PATTERN,
      .offset = offsetof(struct function, answer.pattern),
      .present = offsetof(struct function, answer.has_pattern),
      .help = "the whole answer, its number in the first brackets; default: a bare number as "
              "IEEE 488.2 writes it" },
    { .name = "overload",
      .type = STRICT_PATTERN,
      .offset = offsetof(struct function, answer.overload),
      .present = offsetof(struct function, answer.has_overload),
      .help = "the whole answer on overload; 9.8E37 and more always means overload" },
    { .name = "conversion_ms",
      .type = STRICT_NUMBER,
      .required = true,
      .offset = offsetof(struct function, conversion_ms),
      .maximum = 600e3,
      .unit = "ms",
      .help = "longest time from the read command to its answer" },
    { .name = "settle_ms",
      .type = STRICT_NUMBER,
      .required = true,
      .offset = offsetof(struct function, settle_ms),
      .maximum = 60e3,
      .unit = "ms",
      .help = "wait after a change of function, range or input" },
    { .name = "response",
      .type = STRICT_CHOICE,
      .offset = offsetof(struct function, response),
      .choices = responses,
      .help = "how an ac function responds to what is not a sine; default \"dc\"" },
    { .name = "crest_factor",
      .type = STRICT_NUMBER,
      .offset = offsetof(struct function, crest_factor),
      .minimum = 1.0,
      .maximum = 100.0,
      .help = "largest crest factor at full scale of a true RMS function" },
    { .name = "low_frequency",
      .type = STRICT_NUMBER,
      .offset = offsetof(struct function, low_frequency),
      .minimum = 1e-6,
      .maximum = 1e12,
      .unit = "Hz",
      .help = "lower end of the band in which the accuracy holds" },
    { .name = "high_frequency",
      .type = STRICT_NUMBER,
      .offset = offsetof(struct function, high_frequency),
      .minimum = 1e-6,
      .maximum = 1e12,
      .unit = "Hz",
      .help = "upper end of the band in which the accuracy holds" },
    { .name = "crest_errors",
      .type = STRICT_LIST,
      .help = "groups of \"up_to\" and \"reading_percent\", ascending: what crest factors cost a "
              "true RMS function besides" },
    { .name = "every_range",
      .type = STRICT_GROUP,
      .help = "what all ranges have in common, by the keys of a range" },
    { .name = "ranges",
      .type = STRICT_LIST,
      .required = true,
      .help = "one group a range, from the smallest to the largest" },
    { .name = NULL },
};

/* A range as it is written. */
struct range_file {
    struct range range; /* first, see profile_accuracy_keys */
    double limit;
    char select[PROFILE_TEXT];
    char shows[PROFILE_FORM];
    bool sound; /* read without a mistake */
};

static const struct strict_key range_keys[] = {
    { .name = "full_scale",
      .type = STRICT_NUMBER,
      .offset = offsetof(struct range_file, range.full_scale),
      .minimum = 1e-15,
      .maximum = 1e15,
      .unit = "the quantity's unit",
      .help = "nominal full scale" },
    { .name = "limit",
      .type = STRICT_NUMBER,
      .offset = offsetof(struct range_file, limit),
      .minimum = 1e-15,
      .maximum = 1e15,
      .unit = "the quantity's unit",
      .help = "what it still shows before it says overload; default full_scale" },
    { .name = "resolution",
      .type = STRICT_NUMBER,
      .offset = offsetof(struct range_file, range.resolution),
      .minimum = 1e-18,
      .maximum = 1e15,
      .unit = "the quantity's unit",
      .help = "one count" },
    { .name = "select",
      .type = STRICT_TEXT,
      .offset = offsetof(struct range_file, select),
      .size = PROFILE_TEXT,
      .help = "command that selects this range, where there is no \"range\"" },
    { .name = "shows",
      .type = STRICT_TEXT,
      .offset = offsetof(struct range_file, shows),
      .size = PROFILE_FORM,
      .help = "form of the number in this range, 0 for each digit: \"00.000\", or \".000\" where "
              "zeros in front are left out" },
    { .name = "reading_percent",
      .type = STRICT_NUMBER,
      .offset = offsetof(struct range_file, range.accuracy.reading),
      .maximum = 100.0,
      .scale = 0.01,
      .unit = "% of the reading",
      .help = "accuracy" },
    { .name = "range_percent",
      .type = STRICT_NUMBER,
      .offset = offsetof(struct range_file, range.accuracy.range),
      .maximum = 100.0,
      .scale = 0.01,
      .unit = "% of full scale",
      .help = "accuracy, added" },
    { .name = "counts",
      .type = STRICT_NUMBER,
      .offset = offsetof(struct range_file, range.accuracy.counts),
      .maximum = 1e6,
      .unit = "counts",
      .help = "accuracy, added" },
    { .name = "fixed",
      .type = STRICT_NUMBER,
      .offset = offsetof(struct range_file, range.accuracy.fixed),
      .maximum = 1e15,
      .unit = "the quantity's unit",
      .help = "accuracy, added" },
    { .name = NULL },
};

static void read_range(const config_setting_t *group, struct range_file *file,
                       struct problems *problems)
{
    struct strict_key keys[PROFILE_KEYS];

    strict_keys_join(keys, PROFILE_KEYS, range_keys, profile_accuracy_keys);
    file->sound = strict_group(group, keys, file, problems) && file->sound;
}

/* Whether a function shows negative values too. */
static bool is_bipolar(enum quantity quantity)
{
    return quantity_aspect(quantity) == ASPECT_DC;
}

static void complete_range(const struct function *function, struct range_file *file)
{
    struct range *range = &file->range;

    range->high = isnan(file->limit) ? range->full_scale : file->limit;
    range->low = is_bipolar(function->quantity) ? -range->high : 0.0;
    if (function->response == RESPONSE_TRUE_RMS && !isnan(function->crest_factor))
        range->peak = function->crest_factor * range->full_scale;
}

static void check_range(const config_setting_t *group, const struct range_file *file,
                        const struct range *smaller, struct problems *problems)
{
    const struct range *range = &file->range;

    if (isnan(range->full_scale))
        profile_missing(group, "full_scale", "in every range", problems);
    if (isnan(range->resolution))
        profile_missing(group, "resolution", "in every range", problems);
    if (isnan(range->accuracy.reading))
        profile_missing(group, "reading_percent", "in every range", problems);
    if (range->resolution > range->full_scale) {
        problems_at(problems, group, "\"resolution\" is %g, expected at most full scale, %g",
                    range->resolution, range->full_scale);
    }
    if (file->limit < range->full_scale / 2.0) {
        problems_at(problems, group, "\"limit\" is %g, expected about full scale, %g or more",
                    file->limit, range->full_scale);
    }
    if (smaller != NULL && range->full_scale <= smaller->full_scale) {
        problems_at(problems, group, "\"full_scale\" is %g after %g, expected ascending ranges",
                    range->full_scale, smaller->full_scale);
    }
    profile_check_range(group, range, problems);
}

/* Keeps the command that selects a range; ranges without one leave the list short. */
static bool keep_select(struct commands *selects, const char *text)
{
    if (text[0] == '\0')
        return true;
    char *copy = strdup(text);
    if (copy == NULL)
        return false;
    selects->texts[selects->count++] = copy;
    return true;
}

static void parse_range(const struct profile *profile, struct function *function,
                        const struct range_file *common, const config_setting_t *group,
                        struct range *range, const struct range *smaller, struct problems *problems)
{
    struct range_file file = *common;

    read_range(group, &file, problems);
    if (file.sound)
        check_range(group, &file, smaller, problems);
    profile_check_command(profile, group, "select", file.select, CONTEXT_METER, NULL, problems);
    complete_range(function, &file);
    *range = file.range;
    profile_read_form(function, (size_t)(range - function->front_end.ranges), file.shows, group,
                      problems);
    if (!keep_select(&function->range_selects, file.select))
        problems_at(problems, group, "no memory");
}

static void check_selection(const struct function *function, const config_setting_t *group,
                            struct problems *problems)
{
    size_t count = function->front_end.count;
    size_t selects = function->range_selects.count;
    bool command = function->range_command[0] != '\0';

    if (command ? selects > 0 : selects != count && (selects > 0 || count > 1)) {
        problems_at(problems, strict_member(group, "ranges"),
                    "%zu of %zu ranges have \"select\", and \"range\" is %s, expected one or the "
                    "other for all ranges",
                    selects, count, command ? "there too" : "not there");
    }
}

static void read_ranges(struct profile_owner *owner, size_t index, const config_setting_t *group,
                        const struct range_file *common, struct problems *problems)
{
    struct function *function = &owner->profile.functions[index];
    const config_setting_t *list = strict_member(group, "ranges");
    size_t count = (size_t)config_setting_length(list);

    if (count == 0 || count > CHAIN_MAX_RANGES) {
        problems_at(problems, list, "%zu ranges, expected 1 to %d", count, CHAIN_MAX_RANGES);
        return;
    }
    struct range *ranges = calloc(count, sizeof *ranges);
    owner->ranges[index] = ranges;
    function->range_selects.texts = calloc(count, sizeof *function->range_selects.texts);
    if (ranges == NULL || function->range_selects.texts == NULL) {
        problems_at(problems, list, "no memory");
        return;
    }
    function->front_end = (struct front_end) { .count = count, .ranges = ranges };
    for (size_t i = 0; i < count; i++) {
        parse_range(&owner->profile, function, common, config_setting_get_elem(list, (unsigned)i),
                    &ranges[i], i > 0 ? &ranges[i - 1] : NULL, problems);
    }
    check_selection(function, group, problems);
}

static bool is_meters(enum quantity quantity)
{
    return quantity_dimension(quantity) != DIMENSION_SIGNAL && !quantity_is_pair(quantity) &&
           !aspect_is_extreme(quantity_aspect(quantity));
}

static void check_response(const struct function *function, const config_setting_t *group,
                           struct problems *problems)
{
    bool ac = aspect_is_rms(quantity_aspect(function->quantity));

    if (ac != (function->response != RESPONSE_DC)) {
        problems_at(problems, group, "\"response\" is \"%s\" for %s, expected %s",
                    responses[function->response], quantity_name(function->quantity),
                    ac ? "\"average\" or \"true rms\"" : "\"dc\"");
    }
    if (!isnan(function->crest_factor) && function->response != RESPONSE_TRUE_RMS) {
        problems_at(problems, strict_member(group, "crest_factor"),
                    "a crest_factor belongs to response = \"true rms\"");
    }
    if (isnan(function->low_frequency) != isnan(function->high_frequency) ||
        function->low_frequency >= function->high_frequency) {
        problems_at(problems, group,
                    "low_frequency is %g and high_frequency %g, expected both, the low one less",
                    function->low_frequency, function->high_frequency);
    }
}

static bool cuts_number(const config_setting_t *group)
{
    const config_setting_t *member = strict_member(group, "answer");
    return member != NULL && pattern_cuts_number(config_setting_get_string(member));
}

static void check_function(const struct profile *profile, size_t index,
                           const config_setting_t *group, struct problems *problems)
{
    static const char *const range[] = { "{range}", NULL };
    const struct function *function = &profile->functions[index];

    for (size_t i = 0; i < index; i++) {
        if (profile->functions[i].quantity == function->quantity) {
            problems_at(problems, group, "a second function for %s, expected one a quantity",
                        quantity_name(function->quantity));
        }
    }
    if (!is_meters(function->quantity)) {
        problems_at(problems, group,
                    "\"quantity\" is \"%s\", expected a dc, ac or rms quantity, "
                    "resistance or frequency",
                    quantity_name(function->quantity));
    }
    check_response(function, group, problems);
    profile_check_command(profile, group, "range", function->range_command, CONTEXT_METER, range,
                          problems);
    profile_check_command(profile, group, "range_query", function->range_check.query, CONTEXT_METER,
                          NULL, problems);
    profile_check_command(profile, group, "read", function->read, CONTEXT_BARE, NULL, problems);
    profile_check_anchors(group, "answer", true, problems);
    profile_check_anchors(group, "overload", true, problems);
    if (function->answer.has_pattern && function->answer.pattern.re_nsub < 1) {
        problems_at(problems, strict_member(group, "answer"),
                    "\"answer\" has no brackets, expected the number in the first ones");
    } else if (function->answer.has_pattern && cuts_number(group)) {
        problems_at(problems, strict_member(group, "answer"),
                    "\"answer\" lets a sign, digit or point stand beside its first brackets, "
                    "expected the whole number in them");
    }
}

static void read_function(struct profile_owner *owner, size_t index, const config_setting_t *group,
                          struct problems *problems)
{
    struct function *function = &owner->profile.functions[index];
    struct range_file common = { .range = profile_range_unknown(), .limit = NAN, .sound = true };

    function->crest_factor = NAN;
    function->low_frequency = NAN;
    function->high_frequency = NAN;
    owner->profile.function_count = index + 1;
    if (strict_group(group, function_keys, function, problems))
        check_function(&owner->profile, index, group, problems);
    profile_read_crest_errors(function, group, problems);
    profile_read_commands(&owner->profile, group, "select", CONTEXT_METER, &function->select,
                          problems);
    profile_parse_check(&owner->profile, group, "select_check", &function->select_check, problems);
    profile_parse_check(&owner->profile, group, "auto_check", &function->auto_check, problems);
    const config_setting_t *every = strict_member(group, "every_range");
    if (every != NULL)
        read_range(every, &common, problems);
    if (strict_list(group, "ranges") != NULL)
        read_ranges(owner, index, group, &common, problems);
}

static void check_route(const struct profile *profile, const config_setting_t *root,
                        struct problems *problems)
{
    static const char *const input[] = { "{input}", NULL };

    profile_check_command(profile, root, "route", profile->route, CONTEXT_METER, input, problems);
    profile_check_command(profile, root, "route_query", profile->route_query, CONTEXT_METER, NULL,
                          problems);
    profile_check_command(profile, root, "route_answer", profile->route_answer, CONTEXT_METER,
                          input, problems);
    if (profile->inputs > 1 && profile->route[0] == '\0')
        profile_missing(root, "route", "where there is more than one input", problems);
    if ((profile->route_query[0] != '\0') != (profile->route_answer[0] != '\0'))
        problems_at(problems, root, "expected both of \"route_query\" and \"route_answer\"");
}

void profile_read_meter(struct profile_owner *owner, const config_setting_t *root,
                        struct problems *problems)
{
    const config_setting_t *list = strict_list(root, "functions");

    check_route(&owner->profile, root, problems);
    if (list == NULL)
        return;
    int count = config_setting_length(list);
    if (count == 0 || count > PROFILE_MAX_FUNCTIONS) {
        problems_at(problems, list, "%d functions, expected 1 to %d", count, PROFILE_MAX_FUNCTIONS);
        return;
    }
    for (int i = 0; i < count; i++)
        read_function(owner, (size_t)i, config_setting_get_elem(list, (unsigned)i), problems);
    profile_check_proof(&owner->profile, root, problems);
}

void profile_print_meter_keys(FILE *out)
{
    fprintf(out, "functions, each:\n");
    strict_print_keys(out, function_keys);
    profile_print_crest_keys(out);
    fprintf(out, "ranges, each, and every_range:\n");
    strict_print_keys(out, range_keys);
    strict_print_keys(out, profile_accuracy_keys);
}
