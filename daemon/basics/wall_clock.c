/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "wall_clock.h"

#include <ctype.h>
#include <sys/timex.h>
#include <time.h>
#include <unistd.h>

enum { YEAR_FIRST = 1970, YEAR_LAST = 2261 };

struct wall_time wall_time_now(void)
{
    struct timespec now;
    clock_gettime(CLOCK_REALTIME, &now);
    return wall_time_of(now);
}

bool wall_clock_is_synchronised(void)
{
    struct timex state = { 0 };
    int code = adjtimex(&state);
    if (code >= 0)
        return code != TIME_ERROR && (state.status & STA_UNSYNC) == 0;
    /* A service that may not touch the clock may not ask either: systemd-timesyncd says it here too. */
    return access("/run/systemd/timesync/synchronized", F_OK) == 0;
}

struct duration machine_up(void)
{
    struct timespec up;
    clock_gettime(CLOCK_BOOTTIME, &up);
    return (struct duration) { wall_time_of(up).ns };
}

/* Reads exactly `count` digits that come to `least` to `most`; moves on. */
static bool parse_digits(const char **text, int count, int least, int most, int *number)
{
    *number = 0;
    for (int i = 0; i < count; i++, (*text)++) {
        if (!isdigit((unsigned char)**text))
            return false;
        *number = 10 * *number + (**text - '0');
    }
    return *number >= least && *number <= most;
}

static bool parse_mark(const char **text, char mark)
{
    bool there = **text == mark;
    *text += there ? 1 : 0;
    return there;
}

static bool parse_day(const char **text, struct tm *parts)
{
    bool taken = parse_digits(text, 4, YEAR_FIRST, YEAR_LAST, &parts->tm_year) &&
                 parse_mark(text, '-') && parse_digits(text, 2, 1, 12, &parts->tm_mon) &&
                 parse_mark(text, '-') && parse_digits(text, 2, 1, 31, &parts->tm_mday);
    parts->tm_year -= 1900;
    parts->tm_mon -= 1;
    return taken;
}

/* Reads what stands behind the point: 1 to 9 digits. */
static bool parse_fraction(const char **text, struct duration *fraction)
{
    int64_t place = 100000000;
    const char *first = *text;
    fraction->ns = 0;
    for (; isdigit((unsigned char)**text) && place > 0; (*text)++, place /= 10)
        fraction->ns += (**text - '0') * place;
    return *text > first;
}

static bool parse_time(const char **text, struct tm *parts, struct duration *fraction)
{
    if (!parse_digits(text, 2, 0, 23, &parts->tm_hour) || !parse_mark(text, ':') ||
        !parse_digits(text, 2, 0, 59, &parts->tm_min))
        return false;
    if (!parse_mark(text, ':'))
        return true;
    if (!parse_digits(text, 2, 0, 59, &parts->tm_sec))
        return false;
    return !parse_mark(text, '.') || parse_fraction(text, fraction);
}

bool wall_time_read(const char *text, struct wall_time *time)
{
    struct tm parts = { 0 };
    struct duration fraction = { 0 };
    if (!parse_day(&text, &parts) ||
        (parse_mark(&text, 'T') && !parse_time(&text, &parts, &fraction)))
        return false;
    parse_mark(&text, 'Z');
    int day = parts.tm_mday;
    time_t seconds = timegm(&parts);
    if (*text != '\0' || parts.tm_mday != day) /* a day that does not exist becomes another one */
        return false;
    *time = wall_time_plus(wall_time_of((struct timespec) { .tv_sec = seconds }), fraction);
    return true;
}
