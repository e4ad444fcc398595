/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What a run has to tell of single points: trips, limits that will be met, troubles. */
#include "burnin_priv.h"

#include "tools/gradus/basics/field.h"
#include "tools/gradus/basics/margin.h"
#include "tools/gradus/basics/memory.h"
#include "tools/gradus/screen/fit.h"

#include "core/basics/notation.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { NAME_LEAST = 8, WIDE = 100, MINUTES = 16, SECONDS = 19 };

static const char *time_of(const json_t *point, int kind)
{
    return field_text_or_empty(point,
                               kind == FINDINGS_TRIPS ? "trip_time" : "trend.meets.expected");
}

/* Times are all of one form, so that text sorts as they do; one that is too far away has none. */
static int newest_first(const void *a, const void *b)
{
    return strcmp(time_of(*(const json_t *const *)b, FINDINGS_TRIPS),
                  time_of(*(const json_t *const *)a, FINDINGS_TRIPS));
}

static int next_first(const void *a, const void *b)
{
    const char *const x = time_of(*(const json_t *const *)a, FINDINGS_MEETINGS);
    const char *const y = time_of(*(const json_t *const *)b, FINDINGS_MEETINGS);
    const bool never = *x == '\0' || *y == '\0';
    return never ? (*x == '\0') - (*y == '\0') : strcmp(x, y);
}

static bool has(const json_t *point, int kind)
{
    const char *const state = field_text_or_empty(point, "state");
    if (kind == FINDINGS_TRIPS)
        return field_text(point, "trip_time") != NULL;
    if (kind == FINDINGS_MEETINGS)
        return field_at(point, "trend.meets") != NULL && strcmp(state, "tripped") != 0;
    return strcmp(state, "failing") == 0 || strcmp(state, "not measured") == 0;
}

struct findings findings_of(const json_t *points)
{
    struct findings findings = { .count = { 0 } };
    for (int kind = 0; kind < FINDINGS; kind++) {
        size_t index;
        const json_t *point;
        findings.points[kind] =
            memory_zeroed(json_array_size(points) + 1, sizeof *findings.points[kind]);
        json_array_foreach(points, index, point)
        {
            if (has(point, kind))
                findings.points[kind][findings.count[kind]++] = point;
        }
    }
    qsort(findings.points[FINDINGS_TRIPS], findings.count[FINDINGS_TRIPS],
          sizeof *findings.points[0], newest_first);
    qsort(findings.points[FINDINGS_MEETINGS], findings.count[FINDINGS_MEETINGS],
          sizeof *findings.points[0], next_first);
    return findings;
}

void findings_free(struct findings *findings)
{
    for (int kind = 0; kind < FINDINGS; kind++) {
        free(findings->points[kind]);
        findings->points[kind] = NULL;
    }
}

size_t findings_lines(const struct findings *findings)
{
    size_t lines = 0;
    for (int kind = 0; kind < FINDINGS; kind++)
        lines += findings->count[kind] > 0 ? findings->count[kind] + 1 : 0;
    return lines;
}

/* "2026-01-31T12:00Z", or what stands for a time that is not known. */
static const char *short_time(const char *time, int length, char text[32])
{
    const bool known = time != NULL && strspn(time, "0123456789-:T") >= (size_t)length;
    if (known)
        snprintf(text, 32, "%.*sZ", length, time);
    else
        snprintf(text, 32, "%*s", length + 1, "-");
    return text;
}

static int put_trip(const struct terminal *terminal, FILE *stream, const json_t *point)
{
    enum { CAUSE = 10 };
    char time[32];
    short_time(time_of(point, FINDINGS_TRIPS), SECONDS, time);
    const int taken =
        fprintf(stream, "  %s  round %-7.0f  ", time, field_number(point, "trip_round"));
    fit_put(terminal, stream, field_text_or_empty(point, "cause"), CAUSE);
    return taken + CAUSE + fprintf(stream, "  ");
}

static int put_moment(FILE *stream, const char *what, const json_t *point, const char *path)
{
    char time[32];
    return fprintf(stream, "%s %s  ", what, short_time(field_text(point, path), MINUTES, time));
}

static int put_meeting(const struct terminal *terminal, FILE *stream, const json_t *point)
{
    enum { LEVEL = 14 };
    char level[NOTATION_SIZE];
    char text[NOTATION_SIZE + 8];
    int taken = put_moment(stream, " ", point, "trend.meets.expected");
    if (terminal->columns >= 80)
        taken += put_moment(stream, "earliest", point, "trend.meets.earliest");
    if (terminal->columns >= WIDE)
        taken += put_moment(stream, "latest", point, "trend.meets.latest");
    notation_plain(level, sizeof level, field_number(point, "trend.meets.level"),
                   field_text_or_empty(point, "value_unit"));
    snprintf(text, sizeof text, "%s %s", field_text_or_empty(point, "trend.meets.limit"), level);
    fit_put(terminal, stream, text, LEVEL);
    return taken + LEVEL + fprintf(stream, "  ");
}

static int put_trouble(const struct terminal *terminal, FILE *stream, const json_t *point)
{
    char margin[MARGIN_TEXT];
    const double share = field_number(point, "margin");
    if (field_true(point, "dead"))
        snprintf(margin, sizeof margin, "dead");
    else if (margin_is_far(share))
        snprintf(margin, sizeof margin, "far");
    else
        margin_text(share, margin);
    fputs("  ", stream);
    fit_put(terminal, stream, field_text_or_empty(point, "state"), 12);
    return 2 + 12 + fprintf(stream, "  margin %6s  ", margin);
}

static void draw_point(const struct terminal *terminal, FILE *stream, int kind, const json_t *point)
{
    static int (*const put[FINDINGS])(const struct terminal *, FILE *,
                                      const json_t *) = { put_trip, put_meeting, put_trouble };
    const int taken = put[kind](terminal, stream, point);
    const int left = terminal->bounded ? terminal->columns - taken : BURNIN_LABEL;
    char *const name = fit_printable(terminal, field_text_or_empty(point, "point"),
                                     (size_t)(left > NAME_LEAST ? left : NAME_LEAST));
    fprintf(stream, "%s\n", name);
    free(name);
}

/* What each list is called. */
static const struct {
    const char *heading;
    enum style style;
    const char *shown;
    const char *counted;
} lists[FINDINGS] = { { "tripped", STYLE_BAD, "newest", "tripped" },
                      { "drifting; a limit will be reached at", STYLE_DOUBT, "next", "drifting" },
                      { "failing or not measured now", STYLE_DOUBT, "first", "to check" } };

static void draw_list(const struct terminal *terminal, FILE *stream,
                      const struct findings *findings, int kind, size_t lines)
{
    const size_t count = findings->count[kind];
    const size_t shown = lines - 1;
    terminal_style(terminal, stream, lists[kind].style);
    fputs(lists[kind].heading, stream);
    terminal_style(terminal, stream, STYLE_PLAIN);
    if (shown == 0)
        fprintf(stream, ": %zu, too many to list here", count);
    else if (shown < count)
        fprintf(stream, ": %zu, the %s %zu of them are", count, lists[kind].shown, shown);
    fputc('\n', stream);
    for (size_t i = 0; i < shown && i < count; i++)
        draw_point(terminal, stream, kind, findings->points[kind][i]);
}

/* No list has room: how long they are. */
static void draw_counts(FILE *stream, const struct findings *findings)
{
    const char *between = "points, not listed here: ";
    for (int kind = 0; kind < FINDINGS; kind++) {
        if (findings->count[kind] > 0) {
            fprintf(stream, "%s%zu %s", between, findings->count[kind], lists[kind].counted);
            between = ", ";
        }
    }
    fputc('\n', stream);
}

void findings_draw(const struct terminal *terminal, FILE *stream, const struct findings *findings,
                   size_t lines)
{
    size_t wanted[FINDINGS];
    size_t given[FINDINGS];
    size_t kinds = 0;
    for (int kind = 0; kind < FINDINGS; kind++) {
        wanted[kind] = findings->count[kind] > 0 ? findings->count[kind] + 1 : 0;
        kinds += findings->count[kind] > 0;
    }
    if (lines < kinds) {
        draw_counts(stream, findings);
        return;
    }
    fit_lines(lines, wanted, FINDINGS, given);
    for (int kind = 0; kind < FINDINGS; kind++)
        if (given[kind] > 0)
            draw_list(terminal, stream, findings, kind, given[kind]);
}
