/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "check.h"

#include "drivers/cfg/strict.h"
#include "drivers/profile/profile.h"
#include "settings.h"

#include <stdio.h>

/* Prints the problems, and empties the list. */
static void print_problems(const char *path, struct problems *problems)
{
    for (size_t i = 0; i < problems->count; i++)
        fprintf(stderr, "%s\n", problems->lines[i]);
    if (problems->total > problems->count)
        fprintf(stderr, "%s: and %zu more\n", path, problems->total - problems->count);
    problems_free(problems);
}

struct bench *check_load(const char *path)
{
    struct problems problems = { 0 };
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
        printf("%s: no mistakes: a profile of a %s\n", path,
               profile->kind == PROFILE_METER ? "meter" : "scope");
    }
    profile_free(profile);
    return good;
}

static bool check_settings(const char *path, void (*look)(struct bench *bench))
{
    struct bench *bench = check_load(path);
    const bool good = bench != NULL;

    if (good) {
        look(bench);
        printf("%s: no mistakes: %zu instruments, %zu points\n", path, bench->instrument_count,
               bench->point_count);
    }
    bench_unref(bench);
    return good;
}

bool check_file(const char *path, void (*look)(struct bench *bench))
{
    return is_profile(path) ? check_profile(path) : check_settings(path, look);
}
