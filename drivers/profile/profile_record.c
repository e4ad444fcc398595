/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The part of a profile that says how a scope takes a record: time base, acquisition, samples. */
#include "profile_priv.h"

#include <math.h>

#define FIELD(name) offsetof(struct scope, name)

static const struct strict_key timebase_keys[] = {
    { .name = "set",
      .type = STRICT_TEXTS,
      .required = true,
      .help = "commands that set duration and number of points" },
    { .name = "query",
      .type = STRICT_TEXT,
      .offset = FIELD(timebase_check.query),
      .size = PROFILE_TEXT,
      .help = "reads back the {time_per_division}, {duration} or {interval} that is set" },
    { .name = "interval_query",
      .type = STRICT_TEXT,
      .offset = FIELD(interval.query),
      .size = PROFILE_TEXT,
      .help = "asks for the time from sample to sample, in s; default: duration / points" },
    { .name = "accuracy_ppm",
      .type = STRICT_NUMBER,
      .offset = FIELD(timebase_error),
      .maximum = 1e5,
      .scale = 1e-6,
      .unit = "parts in a million",
      .help = "accuracy of its rate; left out where it is not known, which warns of frequencies" },
    { .name = "skew",
      .type = STRICT_NUMBER,
      .offset = FIELD(skew),
      .maximum = 1.0,
      .unit = "s",
      .help =
          "of a scope that records all its inputs with one acquisition: bound on the time between "
          "samples of two of them; left out where it does not, or it is not known, which "
          "leaves no delays and phases" },
    { .name = "points",
      .type = STRICT_SIZE,
      .required = true,
      .offset = FIELD(points),
      .minimum = 16,
      .maximum = 128 * 1024 * 1024,
      .help = "samples in a record" },
    { .name = "durations",
      .type = STRICT_LIST,
      .required = true,
      .help = "how long a record can last, ascending, in s" },
    { .name = NULL },
};

static const struct strict_key acquisition_keys[] = {
    { .name = "start",
      .type = STRICT_TEXTS,
      .required = true,
      .help = "commands that start one acquisition" },
    { .name = "done",
      .type = STRICT_GROUP,
      .help = "query, and pattern that its answer matches when the acquisition is finished" },
    { .name = "extra_ms",
      .type = STRICT_NUMBER,
      .required = true,
      .offset = FIELD(acquire_ms),
      .maximum = 600e3,
      .unit = "ms",
      .help = "longest time of an acquisition besides the record itself" },
    { .name = NULL },
};

static const char *const encodings[] = {
    [ENCODING_BLOCK] = "block", [ENCODING_LIST] = "list", NULL
};
static const char *const formats[] = {
    [SAMPLE_INT8] = "int8",
    [SAMPLE_UINT8] = "uint8",
    [SAMPLE_INT16] = "int16",
    [SAMPLE_UINT16] = "uint16",
    [SAMPLE_REAL32] = "real32",
    [SAMPLE_REAL64] = "real64",
    NULL,
};
static const char *const orders[] = {
    [ORDER_MSB_FIRST] = "high byte first", [ORDER_LSB_FIRST] = "low byte first", NULL
};

static const struct strict_key waveform_keys[] = {
    { .name = "query",
      .type = STRICT_TEXT,
      .required = true,
      .offset = FIELD(waveform.query),
      .size = PROFILE_TEXT,
      .help = "asks for the samples of {input}" },
    { .name = "encoding",
      .type = STRICT_CHOICE,
      .required = true,
      .offset = FIELD(waveform.encoding),
      .choices = encodings,
      .help = "IEEE 488.2 block, or decimal numbers with commas" },
    { .name = "format",
      .type = STRICT_CHOICE,
      .required = true,
      .offset = FIELD(waveform.format),
      .choices = formats,
      .help = "type of a sample" },
    { .name = "byte_order",
      .type = STRICT_CHOICE,
      .offset = FIELD(waveform.order),
      .choices = orders,
      .help = "of samples longer than a byte in a block" },
    { .name = "codes",
      .type = STRICT_BOOL,
      .offset = FIELD(waveform.codes),
      .help = "samples are codes (default true), or volts at the input" },
    { .name = "code_low",
      .type = STRICT_NUMBER,
      .offset = FIELD(waveform.code_low),
      .help = "this code and below are clipped" },
    { .name = "code_high",
      .type = STRICT_NUMBER,
      .offset = FIELD(waveform.code_high),
      .help = "this code and above are clipped" },
    { .name = "code_centre",
      .type = STRICT_NUMBER,
      .offset = FIELD(waveform.code_centre),
      .help = "the code in the middle of the screen" },
    { .name = "codes_per_division",
      .type = STRICT_NUMBER,
      .required = true,
      .offset = FIELD(waveform.codes_per_division),
      .minimum = 1.0,
      .maximum = 1e9,
      .help = "codes in a division; of volts: steps of the converter in a division" },
    { .name = "codes_per_step",
      .type = STRICT_NUMBER,
      .offset = FIELD(waveform.codes_per_step),
      .minimum = 1.0,
      .maximum = 1e9,
      .help = "from one step of the converter to the next, where codes are shifted up; "
              "default 1" },
    { .name = NULL },
};

/* Reads the group at `key` into the scope; false when there is nothing to check in it. */
bool profile_read_group(struct scope *scope, const config_setting_t *root, const char *key,
                        const struct strict_key *keys, const config_setting_t **group,
                        struct problems *problems)
{
    *group = strict_member(root, key);
    if (*group == NULL || !config_setting_is_group(*group))
        return false;
    strict_group(*group, keys, scope, problems);
    return true;
}

/* A command about an input must say which, where there are several. */
bool profile_check_input_command(const struct profile *profile, const config_setting_t *group,
                                 const char *key, const char *text, struct problems *problems)
{
    static const char *const input[] = { "{input}", NULL };

    return profile_check_command(profile, group, key, text, CONTEXT_SCOPE,
                                 profile->inputs > 1 ? input : NULL, problems);
}

static void read_timebase(struct profile_owner *owner, const config_setting_t *root,
                          struct problems *problems)
{
    struct scope *scope = &owner->profile.scope;
    const config_setting_t *group;

    if (!profile_read_group(scope, root, "timebase", timebase_keys, &group, problems))
        return;
    profile_read_commands(&owner->profile, group, "set", CONTEXT_SCOPE, &scope->timebase, problems);
    profile_check_command(&owner->profile, group, "query", scope->timebase_check.query,
                          CONTEXT_SCOPE, NULL, problems);
    profile_check_command(&owner->profile, group, "interval_query", scope->interval.query,
                          CONTEXT_SCOPE, NULL, problems);
    const config_setting_t *durations = strict_list(group, "durations");
    if (durations != NULL) {
        scope->duration_count =
            profile_read_ascending(durations, scope->durations, PROFILE_MAX_DURATIONS, problems);
    }
}

static void read_acquisition(struct profile_owner *owner, const config_setting_t *root,
                             struct problems *problems)
{
    struct scope *scope = &owner->profile.scope;
    const config_setting_t *group;

    if (profile_read_group(scope, root, "acquisition", acquisition_keys, &group, problems)) {
        profile_read_commands(&owner->profile, group, "start", CONTEXT_SCOPE, &scope->acquire,
                              problems);
        profile_parse_check(&owner->profile, group, "done", &scope->done, problems);
    }
}

static void check_codes(const struct waveform_coding *coding, const config_setting_t *group,
                        struct problems *problems)
{
    bool real = coding->format == SAMPLE_REAL32 || coding->format == SAMPLE_REAL64;

    if (coding->codes && real)
        problems_at(problems, group, "real samples are volts, expected \"codes = false\"");
    if (coding->codes &&
        !(coding->code_low < coding->code_centre && coding->code_centre < coding->code_high)) {
        problems_at(problems, group,
                    "code_low, code_centre, code_high are %g, %g, %g, expected all three, "
                    "ascending",
                    coding->code_low, coding->code_centre, coding->code_high);
    }
    double steps = (coding->code_high - coding->code_low) / coding->codes_per_step;
    if (coding->codes && isfinite(steps) && fabs(steps - rint(steps)) > 1e-6) {
        problems_at(problems, group,
                    "code_high is %g steps above code_low, expected a whole number of "
                    "codes_per_step",
                    steps);
    }
    if (coding->encoding == ENCODING_BLOCK && coding->format != SAMPLE_INT8 &&
        coding->format != SAMPLE_UINT8 && strict_member(group, "byte_order") == NULL)
        profile_missing(group, "byte_order", "where samples are longer than a byte", problems);
}

void profile_read_waveform(struct profile_owner *owner, const config_setting_t *root,
                           struct problems *problems)
{
    struct waveform_coding *coding = &owner->profile.scope.waveform;
    const config_setting_t *group;

    *coding = (struct waveform_coding) { .codes = true,
                                         .code_low = NAN,
                                         .code_high = NAN,
                                         .code_centre = NAN,
                                         .codes_per_division = NAN,
                                         .codes_per_step = 1.0 };
    if (profile_read_group(&owner->profile.scope, root, "waveform", waveform_keys, &group,
                           problems)) {
        profile_check_input_command(&owner->profile, group, "query", coding->query, problems);
        check_codes(coding, group, problems);
    }
}

void profile_read_record(struct profile_owner *owner, const config_setting_t *root,
                         struct problems *problems)
{
    read_timebase(owner, root, problems);
    read_acquisition(owner, root, problems);
}

void profile_print_record_keys(FILE *out)
{
    fprintf(out, "timebase:\n");
    strict_print_keys(out, timebase_keys);
    fprintf(out, "acquisition:\n");
    strict_print_keys(out, acquisition_keys);
    fprintf(out, "waveform:\n");
    strict_print_keys(out, waveform_keys);
}
