/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "core/basics/nearest.h"
#include "core/basics/utf8.h"
#include "key_words.h"
#include "pattern.h"
#include "strict.h"

#include <assert.h>
#include <limits.h>
#include <math.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

enum { PHRASE = 896, NAME = 96 };

/* Doubles hold every integer up to here. */
static const long long exact_integer = 1LL << 53;

__attribute__((format(printf, 2, 3))) static void phrase_add(char phrase[PHRASE],
                                                             const char *format, ...)
{
    size_t used = strlen(phrase);
    va_list arguments;

    va_start(arguments, format);
    vsnprintf(phrase + used, PHRASE - used, format, arguments);
    va_end(arguments);
}

static bool is_number(const struct strict_key *key)
{
    return key->type == STRICT_NUMBER || key->type == STRICT_INTEGER || key->type == STRICT_SIZE;
}

static bool is_bounded(const struct strict_key *key)
{
    return key->minimum != 0.0 || key->maximum != 0.0;
}

static const char *type_phrase(enum strict_type type)
{
    static const char *const phrases[] = {
        [STRICT_NUMBER] = "a number",
        [STRICT_INTEGER] = "an integer",
        [STRICT_SIZE] = "an integer",
        [STRICT_BOOL] = "true or false",
        [STRICT_TEXT] = "a text",
        [STRICT_CHOICE] = "one of",
        [STRICT_PATTERN] = "a text with a regular expression",
        [STRICT_GROUP] = "a group { ... }",
        [STRICT_LIST] = "a list ( ... )",
        [STRICT_TEXTS] = "a list of texts",
    };

    return phrases[type];
}

/* What a key must be, for example "a number from 0 to 100 %". */
static void expect(const struct strict_key *key, char phrase[PHRASE])
{
    phrase[0] = '\0';
    phrase_add(phrase, "%s", type_phrase(key->type));
    if (is_number(key) && is_bounded(key))
        phrase_add(phrase, " from %.10g to %.10g", key->minimum, key->maximum);
    if (is_number(key) && key->unit != NULL)
        phrase_add(phrase, " %s%s", is_bounded(key) ? "" : "in ", key->unit);
    for (size_t i = 0; key->type == STRICT_CHOICE && key->choices[i] != NULL; i++)
        phrase_add(phrase, "%s \"%s\"", i > 0 ? "," : "", key->choices[i]);
}

/* What a setting is, for messages. */
static const char *found(const config_setting_t *setting)
{
    switch (config_setting_type(setting)) {
    case CONFIG_TYPE_INT:
    case CONFIG_TYPE_INT64:
        return "an integer";
    case CONFIG_TYPE_FLOAT:
        return "a decimal number";
    case CONFIG_TYPE_STRING:
        return "a text";
    case CONFIG_TYPE_BOOL:
        return "true or false";
    case CONFIG_TYPE_ARRAY:
        return "an array [ ... ]";
    case CONFIG_TYPE_LIST:
        return "a list ( ... )";
    default:
        return "a group { ... }";
    }
}

/* What to call a setting: "name", or an element of the list with that name. */
static const char *name_of(const config_setting_t *setting, char name[NAME])
{
    const config_setting_t *parent = config_setting_parent(setting);
    const char *own = config_setting_name(setting);

    if (own == NULL && parent != NULL && config_setting_name(parent) != NULL)
        snprintf(name, NAME, "an element of \"%.60s\"", config_setting_name(parent));
    else
        snprintf(name, NAME, "\"%.60s\"", own != NULL ? own : "");
    return name;
}

static bool wrong_type(const struct strict_key *key, const config_setting_t *setting,
                       struct problems *problems)
{
    char phrase[PHRASE];

    expect(key, phrase);
    if (!strict_doubtful(setting)) {
        problems_at(problems, setting, "\"%s\" is %s, expected %s", key->name, found(setting),
                    phrase);
    }
    return false;
}

static bool out_of_bounds(const struct strict_key *key, const config_setting_t *setting,
                          double value, struct problems *problems)
{
    char phrase[PHRASE];

    expect(key, phrase);
    if (!strict_doubtful(setting))
        problems_at(problems, setting, "\"%s\" is %.10g, expected %s", key->name, value, phrase);
    return false;
}

/* Fetches a number of either spelling; false when it is none or not exact. */
static bool fetch_number(const config_setting_t *setting, double *number)
{
    switch (config_setting_type(setting)) {
    case CONFIG_TYPE_FLOAT:
        *number = config_setting_get_float(setting);
        return isfinite(*number);
    case CONFIG_TYPE_INT:
        *number = config_setting_get_int(setting);
        return true;
    case CONFIG_TYPE_INT64: {
        long long value = config_setting_get_int64(setting);
        *number = (double)value;
        return value >= -exact_integer && value <= exact_integer;
    }
    default:
        return false;
    }
}

static bool within(const struct strict_key *key, double value)
{
    return !is_bounded(key) || (value >= key->minimum && value <= key->maximum);
}

static bool read_number(const struct strict_key *key, const config_setting_t *setting, void *field,
                        struct problems *problems)
{
    double value;

    if (!fetch_number(setting, &value))
        return wrong_type(key, setting, problems);
    if (!within(key, value))
        return out_of_bounds(key, setting, value, problems);
    *(double *)field = key->scale != 0.0 ? value * key->scale : value;
    return true;
}

static bool read_integer(const struct strict_key *key, const config_setting_t *setting, void *field,
                         struct problems *problems)
{
    double value;

    if (config_setting_type(setting) == CONFIG_TYPE_FLOAT || !fetch_number(setting, &value))
        return wrong_type(key, setting, problems);
    if (!within(key, value) || value < (key->type == STRICT_SIZE ? 0.0 : (double)INT_MIN) ||
        value > (double)INT_MAX)
        return out_of_bounds(key, setting, value, problems);
    if (key->type == STRICT_SIZE)
        *(size_t *)field = (size_t)value;
    else
        *(int *)field = (int)value;
    return true;
}

static bool read_bool(const struct strict_key *key, const config_setting_t *setting, void *field,
                      struct problems *problems)
{
    if (config_setting_type(setting) != CONFIG_TYPE_BOOL)
        return wrong_type(key, setting, problems);
    *(bool *)field = config_setting_get_bool(setting) != CONFIG_FALSE;
    return true;
}

static bool read_text(const struct strict_key *key, const config_setting_t *setting, void *field,
                      struct problems *problems)
{
    const char *text = config_setting_get_string(setting);

    if (text == NULL)
        return wrong_type(key, setting, problems);
    size_t length = strlen(text);
    if (length >= key->size) {
        problems_at(problems, setting, "\"%s\" is %zu bytes long, expected at most %zu", key->name,
                    length, key->size - 1);
        return false;
    }
    if (utf8_prefix(text, length) != length) {
        problems_at(problems, setting, "\"%s\" is not UTF-8, expected UTF-8", key->name);
        return false;
    }
    memcpy(field, text, length + 1);
    return true;
}

/* The choice that is meant by another word for it, or by one with a slip; NULL: it cannot be told. */
static const char *guess_choice(const struct strict_key *key, const char *text)
{
    struct nearest nearest = { 0 };
    const char *meant = key->guess != NULL ? key->guess(text) : NULL;

    for (size_t i = 0; key->choices[i] != NULL; i++)
        nearest_offer(&nearest, text, key->choices[i]);
    return meant != NULL ? meant : nearest.word;
}

static bool read_choice(const struct strict_key *key, const config_setting_t *setting, void *field,
                        struct problems *problems)
{
    const char *text = config_setting_get_string(setting);
    char phrase[PHRASE];

    if (text == NULL)
        return wrong_type(key, setting, problems);
    for (int i = 0; key->choices[i] != NULL; i++) {
        if (strcmp(text, key->choices[i]) == 0) {
            *(int *)field = i;
            return true;
        }
    }
    const char *meant = guess_choice(key, text);
    if (meant != NULL) {
        problems_at(problems, setting, "\"%s\" is \"%s\", expected perhaps \"%s\"", key->name, text,
                    meant);
        return false;
    }
    expect(key, phrase);
    problems_at(problems, setting, "\"%s\" is \"%s\", expected %s", key->name, text, phrase);
    return false;
}

static bool read_pattern(const struct strict_key *key, const config_setting_t *setting, void *field,
                         bool *present, struct problems *problems)
{
    const char *text = config_setting_get_string(setting);
    char reason[128];

    if (text == NULL)
        return wrong_type(key, setting, problems);
    if (!pattern_compile(field, text, reason, sizeof reason)) {
        problems_at(problems, setting,
                    "\"%s\" is not a regular expression (%s), expected a POSIX extended one",
                    key->name, reason);
        return false;
    }
    *present = true;
    return true;
}

static bool is_aggregate(const struct strict_key *key, const config_setting_t *setting,
                         struct problems *problems)
{
    int type = config_setting_type(setting);
    bool good = key->type == STRICT_GROUP ? type == CONFIG_TYPE_GROUP
                                          : type == CONFIG_TYPE_LIST || type == CONFIG_TYPE_ARRAY;

    return good ? true : wrong_type(key, setting, problems);
}

static bool take(const struct strict_key *key, const config_setting_t *setting, char *target,
                 struct problems *problems)
{
    void *field = target + key->offset;

    switch (key->type) {
    case STRICT_NUMBER:
        return read_number(key, setting, field, problems);
    case STRICT_INTEGER:
    case STRICT_SIZE:
        return read_integer(key, setting, field, problems);
    case STRICT_BOOL:
        return read_bool(key, setting, field, problems);
    case STRICT_TEXT:
        return read_text(key, setting, field, problems);
    case STRICT_CHOICE:
        return read_choice(key, setting, field, problems);
    case STRICT_PATTERN:
        return read_pattern(key, setting, field, (void *)(target + key->present), problems);
    default:
        return is_aggregate(key, setting, problems);
    }
}

static bool is_known(const struct strict_key *keys, const char *name)
{
    for (; keys->name != NULL; keys++)
        if (strcmp(keys->name, name) == 0)
            return true;
    return false;
}

static void unknown_key(const config_setting_t *setting, const struct strict_key *keys,
                        struct problems *problems)
{
    struct nearest nearest = { 0 };
    char phrase[PHRASE] = "";

    for (const struct strict_key *key = keys; key->name != NULL; key++) {
        nearest_offer(&nearest, config_setting_name(setting), key->name);
        phrase_add(phrase, "%s%s", key > keys ? ", " : "", key->name);
    }
    const char *meant = key_words_meant(keys, config_setting_name(setting));
    if (meant != NULL)
        nearest.word = meant;
    if (nearest.word != NULL) {
        problems_at(problems, setting, "unknown key \"%s\", expected perhaps \"%s\"",
                    config_setting_name(setting), nearest.word);
    } else {
        problems_at(problems, setting, "unknown key \"%s\", expected one of: %s",
                    config_setting_name(setting), phrase);
    }
}

static void missing_key(const config_setting_t *group, const struct strict_key *key,
                        struct problems *problems)
{
    char phrase[PHRASE];

    expect(key, phrase);
    problems_at(problems, group, "missing key \"%s\", expected %s: %s", key->name, phrase,
                key->help);
}

bool strict_group(const config_setting_t *group, const struct strict_key *keys, void *target,
                  struct problems *problems)
{
    char name[NAME];
    bool good = true;

    if (!config_setting_is_group(group)) {
        problems_at(problems, group, "%s is %s, expected a group { ... }", name_of(group, name),
                    found(group));
        return false;
    }
    for (int i = 0; i < config_setting_length(group); i++) {
        const config_setting_t *member = config_setting_get_elem(group, (unsigned)i);
        if (!is_known(keys, config_setting_name(member))) {
            unknown_key(member, keys, problems);
            good = false;
        }
    }
    for (const struct strict_key *key = keys; key->name != NULL; key++) {
        const config_setting_t *member = strict_member(group, key->name);
        if (member != NULL) {
            good = take(key, member, target, problems) && good;
        } else if (key->required) {
            missing_key(group, key, problems);
            good = false;
        }
    }
    return good;
}

void strict_keys_join(struct strict_key *keys, size_t capacity, const struct strict_key *first,
                      const struct strict_key *second)
{
    size_t count = 0;

    while (first->name != NULL && count < capacity)
        keys[count++] = *first++;
    while (second->name != NULL && count < capacity)
        keys[count++] = *second++;
    assert(count < capacity);
    keys[count] = (struct strict_key) { .name = NULL };
}

const config_setting_t *strict_member(const config_setting_t *group, const char *name)
{
    return config_setting_is_group(group) ? config_setting_get_member(group, name) : NULL;
}

const config_setting_t *strict_list(const config_setting_t *group, const char *name)
{
    const config_setting_t *member = strict_member(group, name);

    return member != NULL && (config_setting_is_list(member) || config_setting_is_array(member))
               ? member
               : NULL;
}

bool strict_number(const config_setting_t *setting, double *number, struct problems *problems)
{
    char name[NAME];
    double value;

    if (!fetch_number(setting, &value)) {
        problems_at(problems, setting, "%s is %s, expected a number", name_of(setting, name),
                    found(setting));
        return false;
    }
    *number = value;
    return true;
}

void strict_texts_free(char **texts, size_t count)
{
    for (size_t i = 0; i < count; i++)
        free(texts[i]);
    free(texts);
}

static bool copy_texts(const config_setting_t *setting, char **texts, size_t count,
                       struct problems *problems)
{
    for (size_t i = 0; i < count; i++) {
        const config_setting_t *element = config_setting_get_elem(setting, (unsigned)i);
        const char *text = config_setting_get_string(element);
        char name[NAME];
        if (text == NULL) {
            problems_at(problems, element, "%s is %s, expected a text", name_of(element, name),
                        found(element));
            return false;
        }
        texts[i] = strdup(text);
        if (texts[i] == NULL) {
            problems_at(problems, element, "no memory");
            return false;
        }
    }
    return true;
}

bool strict_texts(const config_setting_t *setting, char ***texts, size_t *count,
                  struct problems *problems)
{
    size_t length = (size_t)config_setting_length(setting);
    char **copies = calloc(length + 1, sizeof *copies);

    if (copies == NULL) {
        problems_at(problems, setting, "no memory");
        return false;
    }
    if (!copy_texts(setting, copies, length, problems)) {
        strict_texts_free(copies, length);
        return false;
    }
    *texts = copies;
    *count = length;
    return true;
}

void strict_print_keys(FILE *out, const struct strict_key *keys)
{
    char phrase[PHRASE];

    for (; keys->name != NULL; keys++) {
        expect(keys, phrase);
        fprintf(out, "    %-30s %s%s\n    %-30s   %s\n", keys->name, phrase,
                keys->required ? "; required" : "", "", keys->help);
    }
}
