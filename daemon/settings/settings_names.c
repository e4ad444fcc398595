/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Names and dates in settings. */
#include "settings_priv.h"

#include <ctype.h>
#include <string.h>

static bool is_name(const char *text)
{
    size_t length = strlen(text);

    for (size_t i = 0; i < length; i++) {
        char byte = text[i];
        bool letter = (byte >= 'a' && byte <= 'z') || (byte >= 'A' && byte <= 'Z');
        if (!letter && !(byte >= '0' && byte <= '9') && strchr("_.-", byte) == NULL)
            return false;
    }
    return length > 0;
}

bool settings_name(const config_setting_t *group, const char *key, struct problems *problems)
{
    const config_setting_t *member = strict_member(group, key);
    const char *text = member != NULL ? config_setting_get_string(member) : NULL;

    if (text == NULL || strlen(text) >= BENCH_NAME)
        return false;
    if (is_name(text))
        return true;
    problems_at(problems, member,
                "\"%s\" is \"%s\", expected 1 to %d of the characters A-Z a-z 0-9 _ . -", key, text,
                BENCH_NAME - 1);
    return false;
}

void settings_duplicate(const config_setting_t *group, const char *kind, const char *name,
                        const config_setting_t *first, struct problems *problems)
{
    problems_at(problems, group,
                "a second %s \"%s\", expected another name (the first is on line %d)", kind, name,
                strict_line(first));
}

static bool has_date_form(const char *text)
{
    static const char form[] = "dddd-dd-dd";

    if (strlen(text) != sizeof form - 1)
        return false;
    for (size_t i = 0; i < sizeof form - 1; i++)
        if (form[i] == 'd' ? !isdigit((unsigned char)text[i]) : text[i] != form[i])
            return false;
    return true;
}

/* Days of the months in the Gregorian calendar (ISO 8601). */
static int days_in(int year, int month)
{
    static const int days[] = { 31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31 };
    bool leap = (year % 4 == 0 && year % 100 != 0) || year % 400 == 0;

    return days[month - 1] + (month == 2 && leap ? 1 : 0);
}

/* The number that `count` digits spell. */
static int digits(const char *text, int count)
{
    int number = 0;

    for (int i = 0; i < count; i++)
        number = 10 * number + (text[i] - '0');
    return number;
}

bool settings_is_date(const char *text)
{
    if (!has_date_form(text))
        return false;
    int year = digits(text, 4);
    int month = digits(text + 5, 2);
    int day = digits(text + 8, 2);

    return year >= 1970 && month >= 1 && month <= 12 && day >= 1 && day <= days_in(year, month);
}
