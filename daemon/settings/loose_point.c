/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "loose_point.h"

#include "settings_priv.h"

#include <limits.h>
#include <stdlib.h>
#include <string.h>

/* Groups in groups: as deep as limits go, and one to spare. */
enum { DEEPEST = 3 };

static bool add_value(config_setting_t *group, const char *name, json_t *value, int depth);

static bool add_members(config_setting_t *group, json_t *object, int depth)
{
    const char *name;
    json_t *value;
    json_object_foreach(object, name, value)
    {
        if (!add_value(group, name, value, depth))
            return false;
    }
    return true;
}

static bool add_text(config_setting_t *group, const char *name, const char *text)
{
    config_setting_t *made = config_setting_add(group, name, CONFIG_TYPE_STRING);
    return made != NULL && config_setting_set_string(made, text) == CONFIG_TRUE;
}

static bool add_integer(config_setting_t *group, const char *name, json_int_t value)
{
    bool narrow = value >= INT_MIN && value <= INT_MAX;
    config_setting_t *made =
        config_setting_add(group, name, narrow ? CONFIG_TYPE_INT : CONFIG_TYPE_INT64);
    return made != NULL && (narrow ? config_setting_set_int(made, (int)value)
                                   : config_setting_set_int64(made, value)) == CONFIG_TRUE;
}

/* Puts a JSON value into the tree as the settings would have it. */
static bool add_value(config_setting_t *group, const char *name, json_t *value, int depth)
{
    config_setting_t *made;
    switch (json_typeof(value)) {
    case JSON_STRING:
        return add_text(group, name, json_string_value(value));
    case JSON_REAL:
        made = config_setting_add(group, name, CONFIG_TYPE_FLOAT);
        return made != NULL &&
               config_setting_set_float(made, json_real_value(value)) == CONFIG_TRUE;
    case JSON_INTEGER:
        return add_integer(group, name, json_integer_value(value));
    case JSON_TRUE:
    case JSON_FALSE:
        made = config_setting_add(group, name, CONFIG_TYPE_BOOL);
        return made != NULL && config_setting_set_bool(made, json_is_true(value)) == CONFIG_TRUE;
    case JSON_OBJECT:
        made = depth > 0 ? config_setting_add(group, name, CONFIG_TYPE_GROUP) : NULL;
        return made != NULL && add_members(made, value, depth - 1);
    default:
        return false;
    }
}

/* The first thing that is wrong, as a failure: "what, expected what". */
static bool wrong(const struct problems *problems, struct failure *failure)
{
    static const char between[] = ", expected ";
    const char *text = problems->count > 0 ? problems->lines[0] : "no memory";
    const char *expected = strstr(text, between);
    int length = expected != NULL ? (int)(expected - text) : (int)strlen(text);

    return failure_set(failure, FAILURE_SETTINGS, NULL,
                       expected != NULL ? expected + sizeof between - 1 : NULL, "%.*s", length,
                       text);
}

/* Keys that make sense in a file only. */
static bool stands_alone(const json_t *keys, struct failure *failure)
{
    static const char *const others[] = { "name", "units", "ways" };

    for (size_t i = 0; i < sizeof others / sizeof *others; i++)
        if (json_object_get(keys, others[i]) != NULL)
            return failure_set(failure, FAILURE_SETTINGS, NULL, "a point in the settings for that",
                               "a reading at once has no \"%s\"", others[i]);
    return true;
}

static bool give_name(const struct bench *bench, struct bench_point *point, struct failure *failure)
{
    const char *instrument = bench->instruments[point->instrument].name;
    int length = snprintf(point->name, sizeof point->name, "%s/%d/%s", instrument, point->input,
                          quantity_name(point->quantity));

    return (length > 0 && (size_t)length < sizeof point->name) ||
           failure_set(failure, FAILURE_SETTINGS, instrument, "a shorter one",
                       "the instrument's name is too long for a reading at once");
}

static bool read_tree(struct bench *bench, config_t *config, struct bench_point *point,
                      struct failure *failure)
{
    struct problems problems = { 0 };
    struct settings settings = { .root = config_root_setting(config),
                                 .bench = bench,
                                 .problems = &problems };

    settings_read_point(&settings, settings.root, point);
    bool good = problems.total == 0 || wrong(&problems, failure);
    problems_free(&problems);
    if (good && point->limits.judged != JUDGED_VALUE)
        good =
            failure_set(failure, FAILURE_SETTINGS, NULL, "limits of the value itself",
                        "a reading at once has limits of a %s", judged_name(point->limits.judged));
    point->index = BENCH_NO_POINT;
    return good && give_name(bench, point, failure);
}

struct bench_point *loose_point(struct bench *bench, json_t *keys, struct failure *failure)
{
    struct bench_point *point = calloc(1, sizeof *point);
    config_t config;

    if (point == NULL) {
        failure_no_memory(failure, "a point");
        return NULL;
    }
    config_init(&config);
    config_setting_t *root = config_root_setting(&config);
    bool good = stands_alone(keys, failure) &&
                ((add_text(root, "name", "read") && add_members(root, keys, DEEPEST)) ||
                 failure_set(failure, FAILURE_SETTINGS, NULL, "names and values as in the settings",
                             "the keys of the point cannot be read")) &&
                read_tree(bench, &config, point, failure);
    config_destroy(&config);
    if (good)
        return point;
    free(point);
    return NULL;
}
