/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The phases of a burn-in plan, and limits that hold in one of them only. */
#include "settings_priv.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define PHASE(name) offsetof(struct phase_file, name)
#define LIMIT(name) offsetof(struct limit_file, name)

struct phase_file {
    char name[BENCH_NAME];
    double duration_s;
    double command_s;
};

struct limit_file {
    char point[BENCH_NAME];
    double low; /* NAN: as it is */
    double high;
};

static const struct strict_key phase_keys[] = {
    { .name = "name",
      .type = STRICT_TEXT,
      .required = true,
      .offset = PHASE(name),
      .size = BENCH_NAME,
      .help = "what it is called" },
    { .name = "duration_s",
      .type = STRICT_NUMBER,
      .required = true,
      .offset = PHASE(duration_s),
      .minimum = 0.1,
      .maximum = SETTINGS_LONGEST_S,
      .unit = "s",
      .help = "how long it lasts" },
    { .name = "begins",
      .type = STRICT_TEXTS,
      .help = "program and arguments run when it begins, by the rules of \"command\"; measuring "
              "waits for it, and it is run again after a restart of the daemon; default none" },
    { .name = "ends", .type = STRICT_TEXTS, .help = "the same when it ends; default none" },
    { .name = "command_s",
      .type = STRICT_NUMBER,
      .offset = PHASE(command_s),
      .minimum = 0.1,
      .maximum = 86400,
      .unit = "s",
      .help = "after which they are killed, which is a failure; default the plan's" },
    { .name = "limits",
      .type = STRICT_LIST,
      .help = "limits that differ from those of the points" },
    { .name = NULL },
};

static const struct strict_key limit_keys[] = {
    { .name = "point",
      .type = STRICT_TEXT,
      .required = true,
      .offset = LIMIT(point),
      .size = BENCH_NAME,
      .help = "which point, or stanza with units" },
    { .name = "low",
      .type = STRICT_NUMBER,
      .offset = LIMIT(low),
      .unit = "the unit of what is judged",
      .help = "lower limit in this phase; default the point's" },
    { .name = "high",
      .type = STRICT_NUMBER,
      .offset = LIMIT(high),
      .unit = "the unit of what is judged",
      .help = "upper limit in this phase; default the point's" },
    { .name = NULL },
};

bool settings_means(const char *name, const struct bench_point *point)
{
    return strcmp(name, point->name) == 0 ||
           (point->template_name[0] != '\0' && strcmp(name, point->template_name) == 0);
}

/* The same point with other limits; NULL when memory is short. */
static const struct bench_point *vary(struct settings *settings, const struct bench_point *point,
                                      const struct limit_file *file)
{
    struct bench *bench = settings->bench;
    struct bench_point **more =
        realloc(bench->variants, (bench->variant_count + 1) * sizeof *bench->variants);
    struct bench_point *variant = malloc(sizeof *variant);
    if (more != NULL)
        bench->variants = more;
    if (more == NULL || variant == NULL) {
        free(variant);
        return NULL;
    }
    *variant = *point;
    if (!isnan(file->low))
        variant->limits.low = file->low;
    if (!isnan(file->high))
        variant->limits.high = file->high;
    bench->variants[bench->variant_count++] = variant;
    return variant;
}

static void read_limit(struct settings *settings, const config_setting_t *group,
                       const struct bench_burnin *plan, struct bench_phase *phase)
{
    struct limit_file file = { .low = NAN, .high = NAN };
    bool found = false;
    if (!strict_group(group, limit_keys, &file, settings->problems))
        return;
    for (size_t i = 0; i < plan->point_count; i++) {
        if (!settings_means(file.point, phase->points[i]))
            continue;
        found = true;
        const struct bench_point *variant = vary(settings, phase->points[i], &file);
        if (variant == NULL) {
            problems_at(settings->problems, group, "no memory");
            return;
        }
        phase->points[i] = variant;
        if (!limits_present(&variant->limits) || !(variant->limits.low < variant->limits.high)) {
            problems_at(settings->problems, group,
                        "limits of \"%s\" are %g to %g here, expected low below high",
                        variant->name, variant->limits.low, variant->limits.high);
            return;
        }
    }
    if (!found)
        problems_at(settings->problems, group, "\"%s\" is not a point of this plan", file.point);
}

/* Each phase begins with the points as they are, in a part of one block. */
static void share_points(const struct settings *settings, struct bench_burnin *plan, size_t count)
{
    const struct bench_point **points = plan->phases[0].points;
    size_t room = settings->bench->point_count;
    for (plan->phase_count = 1; plan->phase_count < count; plan->phase_count++) {
        plan->phases[plan->phase_count].points = points + plan->phase_count * room;
        memcpy(plan->phases[plan->phase_count].points, points, room * sizeof *points);
    }
}

static void read_phase(struct settings *settings, const config_setting_t *group,
                       struct bench_burnin *plan, size_t index)
{
    struct bench_phase *phase = &plan->phases[index];
    struct phase_file file = { .command_s = plan->command_s };
    const config_setting_t *limits = strict_list(group, "limits");
    strict_group(group, phase_keys, &file, settings->problems);
    settings_name(group, "name", settings->problems);
    memcpy(phase->name, file.name, sizeof phase->name);
    phase->duration_s = file.duration_s;
    phase->command_s = file.command_s;
    settings_read_command(settings, group, "begins", phase->begins);
    settings_read_command(settings, group, "ends", phase->ends);
    for (int i = 0; limits != NULL && i < config_setting_length(limits); i++)
        read_limit(settings, config_setting_get_elem(limits, (unsigned)i), plan, phase);
}

void settings_read_phases(struct settings *settings, const config_setting_t *group,
                          double duration_s, struct bench_burnin *plan)
{
    const config_setting_t *list = strict_list(group, "phases");
    size_t count = list != NULL ? (size_t)config_setting_length(list) : 0;
    plan->phase_count = 1;
    if ((list != NULL) != isnan(duration_s)) {
        problems_at(settings->problems, group, "\"duration_s\" %s \"phases\", expected one of them",
                    list != NULL ? "beside" : "is not there, nor are");
        return;
    }
    plan->phases[0].duration_s = duration_s;
    snprintf(plan->phases[0].name, sizeof plan->phases[0].name, "run");
    if (list == NULL || plan->phases[0].points == NULL)
        return;
    if (count == 0 || count > BURNIN_PHASES) {
        problems_at(settings->problems, list, "%zu phases, expected 1 to %d", count, BURNIN_PHASES);
        return;
    }
    share_points(settings, plan, count);
    for (size_t i = 0; i < count; i++)
        read_phase(settings, config_setting_get_elem(list, (unsigned)i), plan, i);
}

void settings_print_phase_keys(FILE *out)
{
    fprintf(out, "burnin.phases, each:\n");
    strict_print_keys(out, phase_keys);
    fprintf(out, "burnin.phases.limits, each:\n");
    strict_print_keys(out, limit_keys);
}
