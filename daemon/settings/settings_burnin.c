/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Burn-in plans: which points, when, for how long, and what is done when one trips. */
#include "core/basics/nearest.h"
#include "settings_priv.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define PLAN(name)  offsetof(struct plan_file, name)
#define DRIFT(name) offsetof(struct drift_file, name)

struct plan_file {
    struct bench_burnin plan;
    double duration_s;               /* NAN: the phases say it */
    char check_standard[BENCH_NAME]; /* "": there is none */
};

/* First readings that a drift is from, unless it is said, and that a control chart is from. */
enum { DRIFT_WINDOW = 10, CHART_WINDOW = 20 };

enum against { AGAINST_FIRST, AGAINST_REFERENCE };

struct drift_file {
    char point[BENCH_NAME];
    struct bench_drift drift;
    enum against against;
};

static const char *const stops[] = {
    [BURNIN_STOPS_NOTHING] = "nothing",
    [BURNIN_STOPS_POINT] = "point",
    [BURNIN_STOPS_UNIT] = "unit",
    [BURNIN_STOPS_RUN] = "run",
    NULL,
};

static const char *const fails[] = {
    [BURNIN_FAILS_END] = "end",
    [BURNIN_FAILS_HOLD] = "hold",
    NULL,
};

static const char *const againsts[] = {
    [AGAINST_FIRST] = "first",
    [AGAINST_REFERENCE] = "reference",
    NULL,
};

static const struct strict_key plan_keys[] = {
    { .name = "name",
      .type = STRICT_TEXT,
      .required = true,
      .offset = PLAN(plan.name),
      .size = BENCH_NAME - 24, /* the run's name has the time behind it */
      .help = "what clients call the plan" },
    { .name = "points",
      .type = STRICT_TEXTS,
      .required = true,
      .help = "names of points, and of stanzas with units (without what is in braces)" },
    { .name = "every_s",
      .type = STRICT_NUMBER,
      .required = true,
      .offset = PLAN(plan.every_s),
      .minimum = 0.1,
      .maximum = 86400,
      .unit = "s",
      .help = "from round to round; rounds begin at whole multiples of it, UTC" },
    { .name = "duration_s",
      .type = STRICT_NUMBER,
      .offset = PLAN(duration_s),
      .minimum = 0.1,
      .maximum = SETTINGS_LONGEST_S,
      .unit = "s",
      .help = "of the run; instead of phases" },
    { .name = "phases", .type = STRICT_LIST, .help = "parts of the run, one after the other" },
    { .name = "warm_up_s",
      .type = STRICT_NUMBER,
      .offset = PLAN(plan.warm_up_s),
      .maximum = SETTINGS_LONGEST_S,
      .unit = "s",
      .help = "from the start: measured, but nothing trips; default 0" },
    { .name = "deadline_s",
      .type = STRICT_NUMBER,
      .offset = PLAN(plan.deadline_ms),
      .minimum = 0.1,
      .maximum = 3600,
      .scale = 1e3,
      .unit = "s",
      .help = "longest time for each reading; default 10" },
    { .name = "drift", .type = STRICT_LIST, .help = "how far points may move; default any" },
    { .name = "probe_checks_s",
      .type = STRICT_NUMBER,
      .offset = PLAN(plan.probe_checks_s),
      .minimum = 1,
      .maximum = SETTINGS_LONGEST_S,
      .unit = "s",
      .help = "a run begins only if each probe was found compensated at its input (gradus "
              "compensate) so recently; default not asked" },
    { .name = "trip_after",
      .type = STRICT_INTEGER,
      .offset = PLAN(plan.rules.trip_after),
      .minimum = 1,
      .maximum = 1000,
      .help = "failures in a row that make a trip; default 1" },
    { .name = "lost_after",
      .type = STRICT_INTEGER,
      .offset = PLAN(plan.rules.lost_after),
      .minimum = 0,
      .maximum = 100000,
      .help = "measurements in a row without a reading that make a trip too; default 0, never" },
    { .name = "stops",
      .type = STRICT_CHOICE,
      .offset = PLAN(plan.stops),
      .choices = stops,
      .help = "what is not measured any more after a trip; default \"point\"" },
    { .name = "check_standard",
      .type = STRICT_TEXT,
      .offset = PLAN(check_standard),
      .size = BENCH_NAME,
      .help = "a point of the plan on a known reference that stands still: what moves there is the "
              "instrument, and trips by a control chart from its first 20 readings; default none" },
    { .name = "check_standard_stops",
      .type = STRICT_CHOICE,
      .offset = PLAN(plan.check_standard_stops),
      .choices = stops,
      .help = "what is not measured any more when the check standard trips; default \"nothing\"" },
    { .name = "command",
      .type = STRICT_TEXTS,
      .help = "program and arguments run at a trip, without a shell; default none" },
    { .name = "command_s",
      .type = STRICT_NUMBER,
      .offset = PLAN(plan.command_s),
      .minimum = 0.1,
      .maximum = 3600,
      .unit = "s",
      .help = "after which the command is killed; default 10" },
    { .name = "command_user",
      .type = STRICT_TEXT,
      .offset = PLAN(plan.command_user),
      .size = BENCH_NAME,
      .help = "who runs the commands when the daemon is root; default \"nobody\"" },
    { .name = "command_fails",
      .type = STRICT_CHOICE,
      .offset = PLAN(plan.command_fails),
      .choices = fails,
      .help = "what becomes of the run when the command of a phase fails: \"end\" (default), or "
              "\"hold\" until gradus burnin continue runs it again" },
    { .name = "ends_when_stopped",
      .type = STRICT_BOOL,
      .offset = PLAN(plan.ends_when_stopped),
      .help =
          "whether the phase's end command is run, too, when the run is stopped, all has tripped "
          "or a command failed; default false" },
    { .name = NULL },
};

static const struct strict_key drift_keys[] = {
    { .name = "point",
      .type = STRICT_TEXT,
      .required = true,
      .offset = DRIFT(point),
      .size = BENCH_NAME,
      .help = "which point, or stanza with units" },
    { .name = "absolute",
      .type = STRICT_NUMBER,
      .offset = DRIFT(drift.bound),
      .minimum = 0,
      .maximum = 1e300,
      .unit = "the unit at the tip",
      .help = "how far it may move" },
    { .name = "percent",
      .type = STRICT_NUMBER,
      .offset = DRIFT(drift.relative),
      .minimum = 0,
      .maximum = 1e6,
      .scale = 0.01,
      .unit = "% of what it is compared with",
      .help = "how far it may move; the wider one holds where both are given" },
    { .name = "against",
      .type = STRICT_CHOICE,
      .offset = DRIFT(against),
      .choices = againsts,
      .help = "the \"first\" readings after warm-up (default), or a stated \"reference\"" },
    { .name = "window",
      .type = STRICT_INTEGER,
      .offset = DRIFT(drift.window),
      .minimum = 1,
      .maximum = 10000,
      .help = "how many first readings: their mean is what is compared with, what scatter leaves "
              "open makes the verdict conditional; default 10" },
    { .name = "reference",
      .type = STRICT_NUMBER,
      .offset = DRIFT(drift.reference),
      .unit = "the unit at the tip",
      .help = "the reference reading" },
    { .name = NULL },
};

static bool no_memory(struct settings *settings, const config_setting_t *at)
{
    problems_at(settings->problems, at, "no memory");
    return false;
}

void settings_no_point(struct settings *settings, const config_setting_t *at, const char *name)
{
    const struct bench *bench = settings->bench;
    struct nearest nearest = { 0 };
    for (size_t i = 0; i < bench->point_count; i++) {
        nearest_offer(&nearest, name, bench->points[i].name);
        nearest_offer(&nearest, name, bench->points[i].template_name);
    }
    problems_at(settings->problems, at, "no point \"%s\", expected %s%s%s", name,
                nearest.word != NULL ? "perhaps \"" : "one of the points",
                nearest.word != NULL ? nearest.word : "", nearest.word != NULL ? "\"" : "");
}

/* Takes the points in that a name means; noted when there is none or one is there already. */
static void read_name(struct settings *settings, const config_setting_t *at, const char *name,
                      struct bench_burnin *plan, const struct bench_point **points)
{
    const struct bench *bench = settings->bench;
    bool found = false;
    for (size_t i = 0; i < bench->point_count; i++) {
        if (!settings_means(name, &bench->points[i]))
            continue;
        found = true;
        for (size_t j = 0; j < plan->point_count; j++) {
            if (points[j] == &bench->points[i]) {
                problems_at(settings->problems, at, "\"%s\" is named twice, expected it once",
                            bench->points[i].name);
                return;
            }
        }
        points[plan->point_count++] = &bench->points[i];
    }
    if (!found)
        settings_no_point(settings, at, name);
}

static void read_names(struct settings *settings, const config_setting_t *group,
                       struct bench_burnin *plan)
{
    const config_setting_t *list = strict_list(group, "points");
    char **names = NULL;
    size_t count = 0;
    if (list == NULL || !strict_texts(list, &names, &count, settings->problems))
        return;
    const struct bench_point **points =
        calloc(BURNIN_PHASES * settings->bench->point_count + 1, sizeof(struct bench_point *));
    plan->phases[0].points = points;
    for (size_t i = 0; points != NULL && i < count; i++)
        read_name(settings, config_setting_get_elem(list, (unsigned)i), names[i], plan, points);
    if (count == 0)
        problems_at(settings->problems, list, "no points, expected one at least");
    strict_texts_free(names, count);
    plan->drifts = calloc(plan->point_count + 1, sizeof *plan->drifts);
    if (points == NULL || plan->drifts == NULL)
        no_memory(settings, list);
    for (size_t i = 0; plan->drifts != NULL && i < plan->point_count; i++)
        plan->drifts[i] = (struct bench_drift) { NAN, NAN, NAN, 1, 0 };
}

static void read_drift(struct settings *settings, const config_setting_t *group,
                       struct bench_burnin *plan)
{
    struct drift_file file = { .drift = { NAN, NAN, NAN, DRIFT_WINDOW, 0 } };
    bool found = false;
    if (!strict_group(group, drift_keys, &file, settings->problems))
        return;
    if (isnan(file.drift.bound) && isnan(file.drift.relative))
        problems_at(settings->problems, group,
                    "no \"absolute\" and no \"percent\", "
                    "expected one of them at least");
    if ((file.against == AGAINST_REFERENCE) == isnan(file.drift.reference))
        problems_at(settings->problems, group,
                    "\"reference\" goes with against = \"reference\", expected both or neither");
    for (size_t i = 0; plan->phases[0].points != NULL && i < plan->point_count; i++) {
        if (settings_means(file.point, plan->phases[0].points[i])) {
            plan->drifts[i] = file.drift;
            found = true;
        }
    }
    if (!found)
        problems_at(settings->problems, group, "\"%s\" is not a point of this plan", file.point);
}

/* The point that is the check standard has a chart; behind read_drift(), which writes the same place. */
static void read_check_standard(struct settings *settings, const config_setting_t *group,
                                const char *name, struct bench_burnin *plan)
{
    size_t found = 0;
    for (size_t i = 0; plan->phases[0].points != NULL && i < plan->point_count; i++) {
        if (plan->drifts != NULL && strcmp(plan->phases[0].points[i]->name, name) == 0) {
            plan->drifts[i].chart = CHART_WINDOW;
            found++;
        }
    }
    if (name[0] != '\0' && found == 0)
        problems_at(settings->problems, group,
                    "check_standard \"%s\" is not a point of this plan, expected the name of one",
                    name);
}

void settings_read_command(struct settings *settings, const config_setting_t *group,
                           const char *key, char *command[BURNIN_WORDS + 1])
{
    const config_setting_t *list = strict_list(group, key);
    char **words = NULL;
    size_t count = 0;
    if (list == NULL || !strict_texts(list, &words, &count, settings->problems))
        return;
    if (count == 0 || count > BURNIN_WORDS || words[0][0] != '/')
        problems_at(settings->problems, list,
                    "\"%s\" is not a program with at most %d arguments, expected its path from "
                    "the root first, /...",
                    key, BURNIN_WORDS - 1);
    for (size_t i = 0; i < count && i < BURNIN_WORDS; i++)
        if ((command[i] = strdup(words[i])) == NULL)
            no_memory(settings, list);
    strict_texts_free(words, count);
}

/* A reference that the next reading of its point would move is none for a run. */
static void check_references(struct settings *settings, const config_setting_t *group,
                             const struct bench_burnin *plan)
{
    for (size_t i = 0; plan->phases[0].points != NULL && i < plan->point_count; i++) {
        const struct bench_point *point = plan->phases[0].points[i];
        if (point->stored.point[0] != '\0' && point->stored.id == 0)
            problems_at(settings->problems, group,
                        "limits of \"%s\" refer to the newest reading of \"%s\", expected "
                        "\"reference_id\" with it",
                        point->name, point->stored.point);
    }
}

/* Nobody is there to move a lead from round to round. */
static void check_hands(struct settings *settings, const config_setting_t *group,
                        const struct bench_burnin *plan)
{
    const struct bench_point **points = plan->phases[0].points;
    for (size_t i = 0; points != NULL && i < plan->point_count; i++) {
        for (size_t j = 0; j < i; j++) {
            if (!bench_hand_between(settings->bench, points[i], points[j]))
                continue;
            problems_at(
                settings->problems, group,
                "\"%s\" and \"%s\" share input %d of \"%s\" and somebody would have to move "
                "the lead, expected inputs of their own, the same \"place\" and probe, or "
                "\"switched_inputs\" where a scanner does it",
                points[j]->name, points[i]->name, points[i]->input,
                settings->bench->instruments[points[i]->instrument].name);
            return;
        }
    }
}

static void read_plan(struct settings *settings, const config_setting_t *group,
                      struct bench_burnin *plan)
{
    struct plan_file file = { .plan = { .deadline_ms = 10000,
                                        .rules = { .trip_after = 1 },
                                        .stops = BURNIN_STOPS_POINT,
                                        .check_standard_stops = BURNIN_STOPS_NOTHING,
                                        .command_s = 10,
                                        .command_user = "nobody" },
                              .duration_s = NAN };
    const config_setting_t *drift = strict_list(group, "drift");
    strict_group(group, plan_keys, &file, settings->problems);
    settings_name(group, "name", settings->problems);
    read_names(settings, group, &file.plan);
    settings_read_phases(settings, group, file.duration_s, &file.plan);
    for (int i = 0; drift != NULL && i < config_setting_length(drift); i++)
        read_drift(settings, config_setting_get_elem(drift, (unsigned)i), &file.plan);
    read_check_standard(settings, group, file.check_standard, &file.plan);
    settings_read_command(settings, group, "command", file.plan.command);
    check_references(settings, group, &file.plan);
    check_hands(settings, group, &file.plan);
    *plan = file.plan;
}

static void check_name(const struct settings *settings, const config_setting_t *list, size_t index)
{
    const struct bench_burnin *plans = settings->bench->burnins;
    for (size_t i = 0; i < index; i++)
        if (plans[index].name[0] != '\0' && strcmp(plans[i].name, plans[index].name) == 0)
            settings_duplicate(config_setting_get_elem(list, (unsigned)index), "burn-in",
                               plans[i].name, config_setting_get_elem(list, (unsigned)i),
                               settings->problems);
}

void settings_read_burnins(struct settings *settings)
{
    const config_setting_t *list = strict_list(settings->root, "burnin");
    size_t count = list != NULL ? (size_t)config_setting_length(list) : 0;
    if (count == 0 || settings->bench->points == NULL)
        return;
    if (strict_member(settings->root, "store") == NULL)
        problems_at(settings->problems, list,
                    "\"burnin\" without \"store\", expected somewhere to keep what is measured");
    settings->bench->burnins = calloc(count, sizeof *settings->bench->burnins);
    if (settings->bench->burnins == NULL) {
        no_memory(settings, list);
        return;
    }
    settings->bench->burnin_count = count;
    for (size_t i = 0; i < count; i++) {
        read_plan(settings, config_setting_get_elem(list, (unsigned)i),
                  &settings->bench->burnins[i]);
        check_name(settings, list, i);
    }
}

void settings_print_burnin_keys(FILE *out)
{
    fprintf(out, "burnin, each:\n");
    strict_print_keys(out, plan_keys);
    settings_print_phase_keys(out);
    fprintf(out, "burnin.drift, each:\n");
    strict_print_keys(out, drift_keys);
}
