/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "report_words.h"

#include "field.h"

#include "../../core/notation.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>
#include <time.h>

const char report_caution[] =
    "This report is information, and what made it is no safety device: nothing in it may be what "
    "keeps people or equipment from harm.";

const char *report_class_name(enum report_class class)
{
    static const char *const names[] = { [REPORT_FAILED] = "failed",
                                         [REPORT_WATCH] = "to look at",
                                         [REPORT_UNKNOWN] = "no reading",
                                         [REPORT_WELL] = "well" };
    return names[class];
}

/* Puts a sentence behind what is there; one that does not fit is left out whole. */
__attribute__((format(printf, 2, 3))) static void add(char *text, const char *format, ...)
{
    char sentence[WORDS_SIZE];
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(sentence, sizeof sentence, format, arguments);
    va_end(arguments);
    size_t length = strlen(text), more = strlen(sentence);
    if (length + more + 2 > WORDS_SIZE) {
        return;
    }
    if (length > 0) {
        text[length++] = ' ';
    }
    memcpy(text + length, sentence, more + 1);
}

char *report_moment(double moment, char text[WORDS_SIZE])
{
    time_t seconds = isfinite(moment) ? (time_t)floor(moment) : 0;
    struct tm parts;
    gmtime_r(&seconds, &parts);
    strftime(text, WORDS_SIZE, isfinite(moment) ? "%Y-%m-%d %H:%M:%S" : "-", &parts);
    return text;
}

char *report_span(double seconds, char text[WORDS_SIZE])
{
    if (seconds < 60) {
        snprintf(text, WORDS_SIZE, "%.1f s", seconds);
        return text;
    }
    long whole = lround(seconds);
    int length = whole >= 86400 ? snprintf(text, WORDS_SIZE, "%ld d ", whole / 86400) : 0;
    snprintf(text + length, WORDS_SIZE - (size_t)length, "%02ld:%02ld:%02ld", whole % 86400 / 3600,
             whole % 3600 / 60, whole % 60);
    return text;
}

char *report_outcome(const struct report *report, char text[WORDS_SIZE])
{
    size_t failed = report_units(report, REPORT_FAILED);
    size_t watch = report_units(report, REPORT_WATCH);
    const char *why = field_text_or_empty(report->ended, "why");
    text[0] = '\0';
    add(text, "%zu of %zu units failed, %zu to look at, %zu without a reading, %zu well.", failed,
        report->unit_count, watch, report_units(report, REPORT_UNKNOWN),
        report_units(report, REPORT_WELL));
    if (report->ended == NULL) {
        add(text, "The run goes on: this is how it stands.");
    } else if (strcmp(why, "over") == 0) {
        add(text, "The run came to its end as planned.");
    } else {
        add(text, "The run ended before its time: %s.", why);
    }
    return text;
}

/* What is being counted about events. */
struct tally {
    size_t count;
    double sum;
    double largest;
};

static void count_gap(void *context, const char *time, const json_t *body)
{
    struct tally *tally = context;
    double length = report_time(field_text(body, "to")) - report_time(field_text(body, "from"));
    (void)time;
    tally->count++;
    tally->sum += length;
    tally->largest = fmax(tally->largest, length);
}

static void count_late(void *context, const char *time, const json_t *body)
{
    struct tally *tally = context;
    (void)time;
    tally->count++;
    tally->largest = fmax(tally->largest, field_number(body, "late_s"));
}

static void count_missed(void *context, const char *time, const json_t *body)
{
    struct tally *tally = context;
    (void)time;
    tally->sum += field_number(body, "last") - field_number(body, "first") + 1;
}

static void count_jump(void *context, const char *time, const json_t *body)
{
    struct tally *tally = context;
    (void)time;
    tally->count++;
    tally->largest = fmax(tally->largest, fabs(field_number(body, "by_s")));
}

/* "once", "7 times". */
static const char *times(size_t count, char text[32])
{
    if (count == 1) {
        return "once";
    }
    snprintf(text, 32, "%zu times", count);
    return text;
}

char *report_disturbances(const struct report *report, char text[WORDS_SIZE])
{
    char span[WORDS_SIZE], number[32];
    struct tally gaps = { 0 }, late = { 0 }, missed = { 0 }, jumps = { 0 };
    report_each(report, "gap", count_gap, &gaps);
    report_each(report, "late round", count_late, &late);
    report_each(report, "rounds missed", count_missed, &missed);
    report_each(report, "clock jumped", count_jump, &jumps);
    text[0] = '\0';
    if (gaps.count > 0) {
        add(text, "The daemon was away %s, for %s at most.", times(gaps.count, number),
            report_span(gaps.largest, span));
    }
    if (missed.sum > 0) {
        add(text, "%.0f rounds were not held.", missed.sum);
    }
    if (late.count > 0) {
        add(text, "%zu rounds began late, by %.3g s at most.", late.count, late.largest);
    }
    if (jumps.count > 0) {
        add(text, "The wall clock was set %s, by up to %.0f s; the plan did not move.",
            times(jumps.count, number), jumps.largest);
    }
    return text;
}

/* "2026-01-31 23:59", of the member at a path. */
static const char *minute(const json_t *object, const char *path, char text[WORDS_SIZE])
{
    report_moment(report_time(field_text(object, path)), text);
    if (strlen(text) > 16) {
        text[16] = '\0';
    }
    return text;
}

static void add_drift(const json_t *study, const char *unit, char *text)
{
    char slope[NOTATION_SIZE], level[NOTATION_SIZE];
    char expected[WORDS_SIZE], earliest[WORDS_SIZE], latest[WORDS_SIZE];
    const json_t *meets = field_at(study, "trend.meets");
    notation_result(slope, sizeof slope, 24 * field_number(study, "trend.per_hour"),
                    2 * 24 * field_number(study, "trend.standard_uncertainty"), 1, unit);
    add(text, "It drifts by %s a day.", slope);
    if (meets == NULL || field_text(meets, "expected") == NULL) {
        return;
    }
    notation_plain(level, sizeof level, field_number(meets, "level"), unit);
    if (field_text(meets, "latest") != NULL) {
        add(text,
            "If that goes on it will meet the %s limit, %s, on %s, between %s and %s (95 %%).",
            field_text_or_empty(meets, "limit"), level, minute(meets, "expected", expected),
            minute(meets, "earliest", earliest), minute(meets, "latest", latest));
    } else {
        add(text, "If that goes on it will meet the %s limit, %s, on %s, not before %s (95 %%).",
            field_text_or_empty(meets, "limit"), level, minute(meets, "expected", expected),
            minute(meets, "earliest", earliest));
    }
}

static void add_findings(const json_t *study, const char *unit, char *text)
{
    char height[NOTATION_SIZE], when[WORDS_SIZE], last[WORDS_SIZE], number[32];
    const json_t *step = field_at(study, "finding.step");
    const json_t *excursions = field_at(study, "finding.excursions");
    if (step != NULL) {
        notation_result(height, sizeof height, field_number(step, "value"),
                        2 * field_number(step, "standard_uncertainty"), 1, unit);
        add(text, "It stepped by %s on %s, in round %.0f, and stayed there.", height,
            minute(step, "time", when), field_number(step, "round"));
    }
    if (excursions != NULL) {
        notation_value(height, sizeof height, field_number(excursions, "value"), 3, unit);
        add(text,
            "It left its level and came back %s, by %s at most, from %s (round %.0f) to "
            "%s: "
            "as an intermittent contact does.",
            times((size_t)field_number(excursions, "count"), number), height,
            minute(excursions, "time", when), field_number(excursions, "round"),
            minute(excursions, "last_time", last));
    }
}

char *report_course(const struct report_point *point, char text[WORDS_SIZE])
{
    const json_t *study = point->study;
    const char *unit = field_text_or_empty(study, "unit");
    const char *kind = field_text_or_empty(study, "finding.kind");
    char when[WORDS_SIZE];
    text[0] = '\0';
    if (field_at(study, "trip") != NULL) {
        add(text, "It tripped on %s, in round %.0f (%s).", minute(study, "trip.time", when),
            field_number(study, "trip.round"), field_text_or_empty(study, "trip.cause"));
    }
    if (strncmp(kind, "drift", 5) == 0) {
        add_drift(study, unit, text);
    }
    add_findings(study, unit, text);
    if (field_number(study, "lost") > 0) {
        add(text, "%.0f measurements came to no reading.", field_number(study, "lost"));
    }
    if (field_number(study, "altered") > 0) {
        add(text, "%.0f rows of the store were altered and are in no figure.",
            field_number(study, "altered"));
    }
    if (text[0] == '\0') {
        add(text, "%s",
            strcmp(kind, "steady") == 0      ? "Steady."
            : point->class == REPORT_UNKNOWN ? "There is no reading."
                                             : "Too few readings to tell a drift from noise.");
    }
    return text;
}

static void figure(struct report_figure *figures, size_t *count, const char *name, double value,
                   double uncertainty, const char *unit)
{
    if (isfinite(value)) {
        figures[*count].name = name;
        notation_result(figures[*count].text, sizeof figures[*count].text, value, uncertainty, 2,
                        unit);
        ++*count;
    }
}

size_t report_figures(const struct report_point *point,
                      struct report_figure figures[REPORT_FIGURES])
{
    const json_t *study = point->study;
    const char *unit = field_text_or_empty(study, "unit");
    double uncertainty = field_number(study, "uncertainty");
    char limits[WORDS_SIZE];
    size_t count = 0;
    if (report_limits(point, limits)[0] != '\0') {
        figures[count].name = "limits";
        snprintf(figures[count++].text, sizeof figures[0].text, "%.127s", limits);
    }
    figure(figures, &count, "minimum", field_number(study, "minimum.value"), uncertainty, unit);
    figure(figures, &count, "maximum", field_number(study, "maximum.value"), uncertainty, unit);
    figure(figures, &count, "mean", field_number(study, "mean"), uncertainty, unit);
    if (isfinite(field_number(study, "drift.value"))) {
        figures[count].name = "last − first";
        notation_value(figures[count].text, sizeof figures[count].text,
                       field_number(study, "drift.value"), 3, unit);
        count++;
    }
    if (uncertainty > 0) {
        figures[count].name = "uncertainty";
        notation_value(figures[count].text, sizeof figures[count].text, uncertainty, 2, unit);
        count++;
    }
    if (isfinite(point->worst)) {
        figures[count].name = "worst margin";
        snprintf(figures[count].text, sizeof figures[count].text, "%.0f %%",
                 floor(100 * point->worst));
        count++;
    }
    figures[count].name = "verdict";
    snprintf(figures[count].text, sizeof figures[count].text, "%s",
             field_text_or_empty(study, "verdict"));
    count++;
    figures[count].name = "readings";
    snprintf(figures[count].text, sizeof figures[count].text, "%.0f, %.0f failed",
             field_number(study, "readings"), field_number(study, "failures"));
    return count + 1;
}

char *report_limits(const struct report_point *point, char text[WORDS_SIZE])
{
    const json_t *limits = field_at(point->study, "limits");
    const json_t *last = json_array_get(limits, json_array_size(limits) - 1);
    const char *unit = field_text_or_empty(point->study, "unit");
    const char *judge = field_text_or_empty(last, "judge");
    char low[NOTATION_SIZE], high[NOTATION_SIZE];
    text[0] = '\0';
    unit = strcmp(judge, "ratio") == 0 ? "" : unit;
    notation_plain(low, sizeof low, field_number(last, "low"), unit);
    notation_plain(high, sizeof high, field_number(last, "high"), unit);
    if (isfinite(field_number(last, "low")) && isfinite(field_number(last, "high"))) {
        add(text, "%s to %s", low, high);
    } else if (isfinite(field_number(last, "low"))) {
        add(text, "%s or more", low);
    } else if (isfinite(field_number(last, "high"))) {
        add(text, "%s or less", high);
    }
    if (text[0] != '\0' && judge[0] != '\0') {
        add(text, "(%s)", judge);
    }
    return text;
}
