/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "benchfile.h"

#include <string.h>

/* Puts one entry of a list onto the bench. */
typedef bool add_entry(struct bench *bench, json_t *fields, struct problem *problem);

static json_t *to_json(const config_setting_t *setting);

static json_t *group_to_json(const config_setting_t *group)
{
    json_t *object = json_object();

    for (int i = 0; i < config_setting_length(group); i++) {
        const config_setting_t *member = config_setting_get_elem(group, (unsigned)i);

        json_object_set_new(object, config_setting_name(member), to_json(member));
    }
    return object;
}

static json_t *list_to_json(const config_setting_t *list)
{
    json_t *array = json_array();

    for (int i = 0; i < config_setting_length(list); i++)
        json_array_append_new(array, to_json(config_setting_get_elem(list, (unsigned)i)));
    return array;
}

/* NULL for what JSON cannot say: infinity, or text that is no UTF-8. */
static json_t *plain_json(const config_setting_t *setting)
{
    switch (config_setting_type(setting)) {
    case CONFIG_TYPE_GROUP:
        return group_to_json(setting);
    case CONFIG_TYPE_LIST:
    case CONFIG_TYPE_ARRAY:
        return list_to_json(setting);
    case CONFIG_TYPE_INT:
        return json_integer(config_setting_get_int(setting));
    case CONFIG_TYPE_INT64:
        return json_integer(config_setting_get_int64(setting));
    case CONFIG_TYPE_FLOAT:
        return json_real(config_setting_get_float(setting));
    case CONFIG_TYPE_BOOL:
        return json_boolean(config_setting_get_bool(setting));
    case CONFIG_TYPE_STRING:
        return json_string(config_setting_get_string(setting));
    default:
        return NULL;
    }
}

static json_t *to_json(const config_setting_t *setting)
{
    json_t *value = plain_json(setting);

    /* A null is of no field's type, so it is refused by name later. */
    return value != NULL ? value : json_null();
}

bool benchfile_read(config_t *file, const char *path, struct problem *problem)
{
    config_init(file);
    if (config_read_file(file, path) == CONFIG_TRUE)
        return true;
    return problem_tell(problem, "%s:%d: %s", path, config_error_line(file),
                        config_error_text(file));
}

static bool line_problem(const config_setting_t *setting, struct problem *problem)
{
    struct problem cause = *problem;
    const char *path = config_setting_source_file(setting);

    return problem_tell(problem, "%s:%u: %.160s", path != NULL ? path : "bench file",
                        (unsigned)config_setting_source_line(setting), cause.text);
}

bool benchfile_seed(const config_t *file, uint64_t *seed, struct problem *problem)
{
    const config_setting_t *setting = config_lookup(file, "seed");
    long long value = setting != NULL ? config_setting_get_int64(setting) : 1;

    if (setting != NULL && config_setting_type(setting) != CONFIG_TYPE_INT &&
        config_setting_type(setting) != CONFIG_TYPE_INT64) {
        problem_tell(problem, "seed: expected a whole number");
        return line_problem(setting, problem);
    }
    *seed = (uint64_t)value;
    return true;
}

static bool set_source(struct bench *bench, json_t *fields, struct problem *problem)
{
    const char *name = json_string_value(json_object_get(fields, "name"));

    for (size_t i = 0; name != NULL && i < bench->source_count; i++)
        if (strcmp(bench->sources[i]->name, name) == 0)
            return problem_tell(problem, "source \"%s\" is there already", name);
    return bench_set_source(bench, fields, "name", problem);
}

static bool apply_list(const config_setting_t *list, add_entry *add, struct bench *bench,
                       struct problem *problem)
{
    for (int i = 0; i < config_setting_length(list); i++) {
        const config_setting_t *entry = config_setting_get_elem(list, (unsigned)i);
        json_t *fields = to_json(entry);
        bool added = json_is_object(fields) ? add(bench, fields, problem)
                                            : problem_tell(problem, "expected a group in braces");

        json_decref(fields);
        if (!added)
            return line_problem(entry, problem);
    }
    return true;
}

static bool apply_named(const config_t *file, const char *name, add_entry *add, struct bench *bench,
                        struct problem *problem)
{
    const config_setting_t *list = config_lookup(file, name);

    if (list == NULL)
        return true;
    if (config_setting_type(list) != CONFIG_TYPE_LIST) {
        problem_tell(problem, "%s: expected a list in parentheses", name);
        return line_problem(list, problem);
    }
    return apply_list(list, add, bench, problem);
}

static bool known_only(const config_t *file, struct problem *problem)
{
    static const char *const known[] = { "seed", "instruments", "sources", "connections" };
    const config_setting_t *root = config_root_setting(file);

    for (int i = 0; i < config_setting_length(root); i++) {
        const config_setting_t *member = config_setting_get_elem(root, (unsigned)i);
        bool found = false;

        for (size_t k = 0; k < sizeof known / sizeof known[0]; k++)
            found = found || strcmp(config_setting_name(member), known[k]) == 0;
        if (!found) {
            problem_tell(problem, "unknown setting \"%.60s\"", config_setting_name(member));
            return line_problem(member, problem);
        }
    }
    return true;
}

bool benchfile_apply(const config_t *file, struct bench *bench, struct problem *problem)
{
    return known_only(file, problem) &&
           apply_named(file, "instruments", bench_add_instrument, bench, problem) &&
           apply_named(file, "sources", set_source, bench, problem) &&
           apply_named(file, "connections", bench_connect, bench, problem);
}
