/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "check.h"

#include "check_commands.h"
#include "check_say.h"
#include "drivers/cfg/strict.h"
#include "drivers/profile/profile.h"
#include "settings.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <unistd.h>

/* Prints the problems, and empties the list. */
static void print_problems(const char *path, struct problems *problems)
{
    for (size_t i = 0; i < problems->count; i++)
        check_say(stderr, "%s", problems->lines[i]);
    if (problems->total > problems->count)
        check_say(stderr, "%s: and %zu more", path, problems->total - problems->count);
    problems_free(problems);
}

bool check_is_service(void)
{
    const char *main_process = getenv("SYSTEMD_EXEC_PID");
    return geteuid() == 0 ||
           (main_process != NULL && strtol(main_process, NULL, 10) == (long)getpid());
}

struct bench *check_load(const char *path, bool guarded)
{
    struct problems problems = { .guarded = guarded };
    struct bench *bench = settings_load(path, &problems);

    print_problems(path, &problems);
    return bench;
}

static bool is_profile(const char *path)
{
    struct problems problems = { 0 };
    config_t config;

    config_init(&config);
    const bool read = strict_read_file(&config, path, &problems);
    const config_setting_t *root = config_root_setting(&config);
    const bool profile =
        read && strict_member(root, "kind") != NULL && strict_member(root, "instruments") == NULL;
    config_destroy(&config);
    problems_free(&problems);
    return profile;
}

static bool check_profile(const char *path)
{
    struct problems problems = { 0 };
    struct profile *profile = profile_load(path, &problems);
    const bool good = profile != NULL;

    print_problems(path, &problems);
    if (good) {
        check_say(stdout, "%s: no mistakes: a profile of a %s", path,
                  profile->kind == PROFILE_METER ? "meter" : "scope");
    }
    profile_free(profile);
    return good;
}

static size_t count_points(const struct bench *bench, bool (*is)(const struct bench_point *))
{
    size_t count = 0;
    for (size_t i = 0; i < bench->point_count; i++)
        count += is(&bench->points[i]) ? 1 : 0;
    return count;
}

static bool is_limited(const struct bench_point *point)
{
    return limits_present(&point->limits);
}

static bool is_expected(const struct bench_point *point)
{
    return !isnan(point->expected);
}

static const char *plural(size_t count)
{
    return count == 1 ? "" : "s";
}

/* What the file means, in three lines: what is measured, with what, and where it goes. */
static void print_meaning(const char *path, const struct bench *bench)
{
    size_t probes = bench->probe_count - 1;

    check_say(stdout, "%s: no mistakes: %zu instrument%s, %zu point%s", path,
              bench->instrument_count, plural(bench->instrument_count), bench->point_count,
              plural(bench->point_count));
    check_say(
        stdout,
        "  limits at %zu of the points, an expected value at %zu; %zu probe%s beside \"direct\", "
        "%zu burn-in%s",
        count_points(bench, is_limited), count_points(bench, is_expected), probes, plural(probes),
        bench->burnin_count, plural(bench->burnin_count));
    check_say(stdout, "  readings are %s%s; clients connect at %s%s%s",
              bench->store.path[0] != '\0' ? "kept in " : "not kept", bench->store.path,
              bench->server.unix_path[0] != '\0' ? bench->server.unix_path : "TCP only",
              bench->server.tcp_address[0] != '\0' ? " and over TCP, at " : "",
              bench->server.tcp_address);
}

/* Which inputs stand and fall together. */
static void print_cards(const struct bench *bench)
{
    for (size_t i = 0; i < bench->instrument_count; i++) {
        const struct bench_instrument *instrument = &bench->instruments[i];
        if (instrument->inputs_per_card > 0)
            check_say(stdout, "%s: input cards of %d inputs each", instrument->name,
                      instrument->inputs_per_card);
    }
}

static bool check_settings(const char *path, void (*look)(struct bench *bench))
{
    struct bench *bench = check_load(path, false);
    const bool good = bench != NULL && check_commands(bench);

    if (good) {
        look(bench);
        print_cards(bench);
        print_meaning(path, bench);
    }
    bench_unref(bench);
    return good;
}

bool check_file(const char *path, void (*look)(struct bench *bench))
{
    return is_profile(path) ? check_profile(path) : check_settings(path, look);
}
