/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Checks and readers that all parts of a profile need. */
#include "command.h"
#include "drivers/cfg/pattern_edges.h"
#include "profile_priv.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const char *const levels[] = {
    [ACCURACY_BOUND] = "bound",
    [ACCURACY_NORMAL_95] = "95 %",
    [ACCURACY_NORMAL_99] = "99 %",
    NULL,
};

const struct strict_key profile_accuracy_keys[] = {
    { .name = "temperature_reading_percent",
      .type = STRICT_NUMBER,
      .offset = offsetof(struct range, accuracy.temperature_reading),
      .maximum = 100.0,
      .scale = 0.01,
      .unit = "% of the reading per °C",
      .help = "added for each degree outside the band" },
    { .name = "temperature_range_percent",
      .type = STRICT_NUMBER,
      .offset = offsetof(struct range, accuracy.temperature_range),
      .maximum = 100.0,
      .scale = 0.01,
      .unit = "% of full scale per °C",
      .help = "added for each degree outside the band" },
    { .name = "temperature_low",
      .type = STRICT_NUMBER,
      .offset = offsetof(struct range, accuracy.temperature_low),
      .minimum = -100.0,
      .maximum = 200.0,
      .unit = "°C",
      .help = "lower end of the band without a coefficient" },
    { .name = "temperature_high",
      .type = STRICT_NUMBER,
      .offset = offsetof(struct range, accuracy.temperature_high),
      .minimum = -100.0,
      .maximum = 200.0,
      .unit = "°C",
      .help = "upper end of the band without a coefficient" },
    { .name = "level",
      .type = STRICT_CHOICE,
      .offset = offsetof(struct range, accuracy.level),
      .choices = levels,
      .help = "what share of units keeps the figures; default \"bound\": all" },
    { .name = "input_resistance",
      .type = STRICT_NUMBER,
      .offset = offsetof(struct range, input_resistance),
      .minimum = 1e-3,
      .maximum = 1e15,
      .unit = "ohm",
      .help = "of the bare input; left out where it is not known" },
    { .name = "resistance_tolerance_percent",
      .type = STRICT_NUMBER,
      .offset = offsetof(struct range, resistance_tolerance),
      .maximum = 100.0,
      .scale = 0.01,
      .unit = "%",
      .help = "bound on input_resistance" },
    { .name = "input_capacitance",
      .type = STRICT_NUMBER,
      .offset = offsetof(struct range, input_capacitance),
      .maximum = 1.0,
      .unit = "F",
      .help = "of the bare input; left out where it is not known" },
    { .name = "capacitance_tolerance_percent",
      .type = STRICT_NUMBER,
      .offset = offsetof(struct range, capacitance_tolerance),
      .maximum = 100.0,
      .scale = 0.01,
      .unit = "%",
      .help = "bound on input_capacitance; without it loading by it is not corrected" },
    { .name = NULL },
};

static const config_setting_t *place(const config_setting_t *group, const char *key)
{
    const config_setting_t *member = strict_member(group, key);

    return member != NULL ? member : group;
}

/* Values of everything that has one in this context, so that filling in fails on the rest. */
static struct command_values context_values(enum command_context context)
{
    struct command_values values = command_values_none();

    if (context == CONTEXT_METER) {
        values.input = 1.0;
        values.range = 1.0;
    } else if (context == CONTEXT_SCOPE || context == CONTEXT_TRIGGER) {
        double none = values.range, trigger = context == CONTEXT_TRIGGER ? 0.0 : none;
        values = (struct command_values) { .input = 1.0,
                                           .range = none,
                                           .trigger_level = trigger,
                                           .trigger_divisions = trigger,
                                           .before = trigger,
                                           .before_divisions = trigger,
                                           .before_share = trigger };
    }
    return values;
}

static bool has_needed(const char *text, const char *const *needed)
{
    for (; needed != NULL && *needed != NULL; needed++)
        if (strstr(text, *needed) != NULL)
            return true;
    return needed == NULL;
}

static bool check_text(const struct profile *profile, const config_setting_t *at, const char *text,
                       enum command_context context, struct problems *problems)
{
    struct command_values values = context_values(context);
    const char *terminator = profile->protocol.command_terminator;
    size_t before = problems->total;
    struct failure failure;
    char filled[COMMAND_SIZE];

    failure_clear(&failure);
    if (!command_fill(text, &values, filled, sizeof filled, &failure)) {
        problems_at(problems, at, "%s, expected a placeholder that has a value there",
                    failure.what);
    }
    if (text[0] == '\0')
        problems_at(problems, at, "a command is empty, expected its text");
    if ((terminator[0] != '\0' && strstr(text, terminator) != NULL) ||
        strpbrk(text, "\r\n") != NULL)
        problems_at(problems, at, "a command holds the end of a line, expected one command");
    return problems->total == before;
}

bool profile_check_command(const struct profile *profile, const config_setting_t *group,
                           const char *key, const char *text, enum command_context context,
                           const char *const *needed, struct problems *problems)
{
    const config_setting_t *at = place(group, key);

    if (text[0] == '\0')
        return true;
    if (!check_text(profile, at, text, context, problems))
        return false;
    if (!has_needed(text, needed)) {
        problems_at(problems, at, "\"%s\" is \"%s\", expected %s in it", key, text, needed[0]);
        return false;
    }
    return true;
}

void profile_read_commands(const struct profile *profile, const config_setting_t *group,
                           const char *key, enum command_context context, struct commands *commands,
                           struct problems *problems)
{
    const config_setting_t *list = strict_list(group, key);

    if (list == NULL || !strict_texts(list, &commands->texts, &commands->count, problems))
        return;
    for (size_t i = 0; i < commands->count; i++)
        check_text(profile, list, commands->texts[i], context, problems);
}

void profile_check_anchors(const config_setting_t *group, const char *key, bool to_the_end,
                           struct problems *problems)
{
    const config_setting_t *member = strict_member(group, key);
    const char *text = member != NULL ? config_setting_get_string(member) : NULL;

    if (text == NULL)
        return;
    if (!pattern_anchored(text, to_the_end)) {
        problems_at(problems, member, "\"%s\" is \"%s\", expected it to %s", key, text,
                    to_the_end ? "begin with ^ and end with $, so that it matches whole answers, "
                                 "and alternatives in brackets, ^(a|b)$"
                               : "begin with ^, so that it matches answers from their start, and "
                                 "alternatives in brackets, ^(a|b)");
    }
}

void profile_read_check(const struct profile *profile, const config_setting_t *group,
                        struct check *check, struct problems *problems)
{
    static const struct strict_key keys[] = {
        { .name = "query",
          .type = STRICT_TEXT,
          .required = true,
          .offset = offsetof(struct check, query),
          .size = PROFILE_TEXT,
          .help = "the question" },
        { .name = "pattern",
          .type = STRICT_PATTERN,
          .required = true,
          .offset = offsetof(struct check, pattern),
          .present = offsetof(struct check, has_pattern),
          .help = "what the answer must match" },
        { .name = NULL },
    };
    strict_group(group, keys, check, problems);
    profile_check_command(profile, group, "query", check->query, CONTEXT_SCOPE, NULL, problems);
    profile_check_anchors(group, "pattern", true, problems);
}

void profile_parse_check(const struct profile *profile, const config_setting_t *group,
                         const char *key, struct check *check, struct problems *problems)
{
    const config_setting_t *member = strict_member(group, key);

    if (member != NULL && config_setting_is_group(member))
        profile_read_check(profile, member, check, problems);
}

void profile_missing(const config_setting_t *group, const char *key, const char *why,
                     struct problems *problems)
{
    problems_at(problems, group, "missing key \"%s\", expected it %s", key, why);
}

struct range profile_range_unknown(void)
{
    struct range range = {
        .full_scale = NAN,
        .low = NAN,
        .high = NAN,
        .peak = NAN,
        .resolution = NAN,
        .input_resistance = NAN,
        .resistance_tolerance = NAN,
        .input_capacitance = NAN,
        .capacitance_tolerance = NAN,
        .accuracy = { .reading = NAN, .temperature_low = NAN, .temperature_high = NAN },
    };
    return range;
}

void profile_check_range(const config_setting_t *group, const struct range *range,
                         struct problems *problems)
{
    const struct accuracy *accuracy = &range->accuracy;
    bool coefficient = accuracy->temperature_reading > 0.0 || accuracy->temperature_range > 0.0;

    if (!isnan(range->input_resistance) && isnan(range->resistance_tolerance)) {
        profile_missing(group, "resistance_tolerance_percent", "with an input_resistance",
                        problems);
    }
    if (coefficient && (isnan(accuracy->temperature_low) || isnan(accuracy->temperature_high))) {
        profile_missing(group, "temperature_low\" and \"temperature_high",
                        "with a temperature coefficient", problems);
    }
    if (accuracy->temperature_low >= accuracy->temperature_high) {
        problems_at(problems, group, "temperature_low is %g, expected less than %g",
                    accuracy->temperature_low, accuracy->temperature_high);
    }
}

size_t profile_read_ascending(const config_setting_t *list, double *numbers, size_t capacity,
                              struct problems *problems)
{
    size_t count = (size_t)config_setting_length(list);

    if (count == 0 || count > capacity) {
        problems_at(problems, list, "\"%s\" has %zu elements, expected 1 to %zu",
                    config_setting_name(list), count, capacity);
        return 0;
    }
    for (size_t i = 0; i < count; i++) {
        const config_setting_t *element = config_setting_get_elem(list, (unsigned)i);
        if (!strict_number(element, &numbers[i], problems))
            return 0;
        if (!(numbers[i] > (i > 0 ? numbers[i - 1] : 0.0))) {
            problems_at(problems, element, "\"%s\" has %g in place %zu, expected more than %g",
                        config_setting_name(list), numbers[i], i + 1, i > 0 ? numbers[i - 1] : 0.0);
            return 0;
        }
    }
    return count;
}
