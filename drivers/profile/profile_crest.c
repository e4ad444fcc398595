/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What crest factors cost a meter, as its profile says it. */
#include "profile_priv.h"

#include <math.h>

static const struct strict_key crest_keys[] = {
    { .name = "up_to",
      .type = STRICT_NUMBER,
      .required = true,
      .offset = offsetof(struct crest_error, up_to),
      .minimum = 1.0,
      .maximum = 100.0,
      .help = "largest crest factor it holds for" },
    { .name = "reading_percent",
      .type = STRICT_NUMBER,
      .required = true,
      .offset = offsetof(struct crest_error, share),
      .maximum = 100.0,
      .scale = 0.01,
      .unit = "% of the reading",
      .help = "accuracy, added" },
    { .name = NULL },
};

static void check_order(const config_setting_t *group, const struct crest_error *errors, size_t i,
                        struct problems *problems)
{
    if (i > 0 &&
        !(errors[i].up_to > errors[i - 1].up_to && errors[i].share >= errors[i - 1].share)) {
        problems_at(problems, group,
                    "up_to %g costs %g %% after %g with %g %%, expected ascending ones",
                    errors[i].up_to, 100.0 * errors[i].share, errors[i - 1].up_to,
                    100.0 * errors[i - 1].share);
    }
}

void profile_read_crest_errors(struct function *function, const config_setting_t *group,
                               struct problems *problems)
{
    const config_setting_t *list = strict_list(group, "crest_errors");
    int count = list != NULL ? config_setting_length(list) : 0;

    if (count > SUITABILITY_CREST_ERRORS) {
        problems_at(problems, list, "%d crest_errors, expected at most %d", count,
                    SUITABILITY_CREST_ERRORS);
        return;
    }
    /* A crest_factor without true RMS is refused by itself. */
    if (count > 0 && isnan(function->crest_factor))
        profile_missing(group, "crest_factor", "with crest_errors", problems);
    for (int i = 0; i < count; i++) {
        const config_setting_t *member = config_setting_get_elem(list, (unsigned)i);
        if (!strict_group(member, crest_keys, &function->crest_errors[i], problems))
            return;
        check_order(member, function->crest_errors, (size_t)i, problems);
        function->crest_error_count = (size_t)i + 1;
    }
}

void profile_print_crest_keys(FILE *out)
{
    fprintf(out, "crest_errors, each:\n");
    strict_print_keys(out, crest_keys);
}
