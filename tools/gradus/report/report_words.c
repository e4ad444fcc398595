/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "report_words.h"

#include "tools/gradus/answers/reading.h"
#include "tools/gradus/basics/field.h"
#include "tools/gradus/basics/margin.h"
#include "tools/gradus/basics/span.h"

#include "core/basics/notation.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>
#include <time.h>

const char report_caution[] =
    "This report is information, and what made it is no safety device: nothing in it may be all "
    "that keeps people or equipment from harm.";

const char report_margin_note[] =
    "The margin is the least distance of any reading of the unit from a limit or from the drift "
    "allowed: 100 % in the middle, 0 % at the limit, below 0 % beyond it; far outside below "
    "−100 %.";

const char report_uncertainty_note[] =
    "Times are UTC. The interval given by ± holds the true value with a probability of at least "
    "95 %: for a reading it is the widest of the run, for a step or a drift twice the standard "
    "uncertainty. All figures leave out the warm-up.";

const char report_chart_note[] =
    "Control chart: readings (blue) with limits at three standard deviations (brown), and their "
    "exponentially weighted average (green) with its limits (violet).";

const char *report_class_name(enum report_class class)
{
    static const char *const names[] = { [REPORT_FAILED] = "failed",
                                         [REPORT_WATCH] = "to look at",
                                         [REPORT_UNKNOWN] = "not measured",
                                         [REPORT_WELL] = "within limits" };
    return names[class];
}

void report_say(char text[WORDS_SIZE], const char *format, ...)
{
    char sentence[WORDS_SIZE];
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(sentence, sizeof sentence, format, arguments);
    va_end(arguments);
    size_t length = strlen(text), more = strlen(sentence);
    if (length + more + 2 > WORDS_SIZE)
        return;
    if (length > 0)
        text[length++] = ' ';
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
    long whole = lround(seconds);
    if (seconds < 60) {
        snprintf(text, WORDS_SIZE, "%.3g s", seconds);
        return text;
    }
    return span_text(whole, text, WORDS_SIZE);
}

char *report_times(double count, char text[WORDS_SIZE])
{
    snprintf(text, WORDS_SIZE, count == 1 ? "once" : "%.0f times", count);
    return text;
}

char *report_outcome(const struct report *report, char text[WORDS_SIZE])
{
    const char *why = field_text_or_empty(report->ended, "why");
    text[0] = '\0';
    report_say(
        text, "%zu of %zu units failed, %zu to look at, %zu not measured, %zu within limits.",
        report_units(report, REPORT_FAILED), report->unit_count, report_units(report, REPORT_WATCH),
        report_units(report, REPORT_UNKNOWN), report_units(report, REPORT_WELL));
    if (report->ended == NULL)
        report_say(text, "The run is still going: this is how it stands.");
    else if (strcmp(why, "completed") == 0)
        report_say(text, "The run completed as planned.");
    else
        report_say(text, "The run ended early: %.200s.", why);
    return text;
}

/* "2026-01-31 23:59". */
static const char *to_minute(double moment, char text[WORDS_SIZE])
{
    report_moment(moment, text);
    if (strlen(text) > 16)
        text[16] = '\0';
    return text;
}

static const char *minute(const json_t *object, const char *path, char text[WORDS_SIZE])
{
    return to_minute(report_time(field_text(object, path)), text);
}

char *report_phases(const struct report *report, char text[WORDS_SIZE])
{
    char until[WORDS_SIZE];
    size_t index;
    json_t *phase;
    text[0] = '\0';
    if (report->warm_until > report->first)
        report_say(text, "warm-up until %s;", to_minute(report->warm_until, until));
    json_array_foreach(field_at(report->began, "phases"), index, phase)
    {
        bool last = index + 1 == json_array_size(field_at(report->began, "phases"));
        report_say(text, "%.80s until %s%s", field_text_or_empty(phase, "phase"),
                   to_minute(field_number(phase, "end_ns") * 1e-9, until), last ? "" : ",");
    }
    return text;
}

char *report_subject(const struct report_point *point, char text[WORDS_SIZE])
{
    double number = field_number(point->study, "unit_number");
    const char *quantity = field_text_or_empty(point->study, "quantity");
    snprintf(text, WORDS_SIZE, "%.100s", quantity);
    if (number > 0)
        snprintf(text, WORDS_SIZE, "unit %.0f, %.100s", number, quantity);
    return text;
}

/* "timeout (3 times), link lost (once)", of an object of counts. Returns text. */
static const char *counted(json_t *counts, char text[WORDS_SIZE])
{
    const char *name;
    json_t *count;
    char times[WORDS_SIZE];
    text[0] = '\0';
    json_object_foreach(counts, name, count)
    {
        size_t length = strlen(text);
        snprintf(text + length, WORDS_SIZE - length, "%s%.60s (%.40s)", length > 0 ? ", " : "",
                 name, report_times(json_number_value(count), times));
    }
    return text;
}

/* How often it failed, and by what. */
static void say_failures(const json_t *study, char *text)
{
    double failures = field_number(study, "failures");
    json_t *causes = json_object_get(study, "causes");
    char times[WORDS_SIZE], by[WORDS_SIZE];
    if (!(failures > 0))
        return;
    report_times(failures, times);
    if (json_object_size(causes) == 0)
        report_say(text, "It failed %.40s.", times);
    else if (json_object_size(causes) > 1)
        report_say(text, "It failed %.40s: %.200s.", times, counted(causes, by));
    else if (json_object_get(causes, "limit") != NULL)
        report_say(text, "It failed %.40s, beyond its limits.", times);
    else
        report_say(text, "It failed %.40s, by %.60s.", times,
                   json_object_iter_key(json_object_iter(causes)));
}

static void say_dead(const struct report_point *point, char *text)
{
    char value[NOTATION_SIZE];
    if (!point->dead)
        return;
    notation_value(value, sizeof value, field_number(point->study, "last.value"), 2,
                   field_text_or_empty(point->study, "unit"));
    report_say(text, "It reads next to nothing, %s: the unit is dead or not there.", value);
}

/* What a check standard's chart came to. */
static void say_chart(const json_t *study, const char *unit, char *text)
{
    char centre[NOTATION_SIZE], limit[NOTATION_SIZE], times[WORDS_SIZE];
    double out = field_number(study, "chart.out_of_control");
    if (field_at(study, "chart") == NULL)
        return;
    notation_value(centre, sizeof centre, field_number(study, "chart.centre"), 6, unit);
    notation_value(limit, sizeof limit, field_number(study, "chart.limit"), 2, unit);
    report_say(text, "As check standard it was %s about %s, with limits %s to each side.",
               out > 0 ? "watched" : "in control", centre, limit);
    if (out > 0)
        report_say(text, "Its instrument was out of control %s.", report_times(out, times));
}

static void say_trip(const json_t *study, char *text)
{
    char when[WORDS_SIZE];
    if (field_at(study, "trip") != NULL) {
        report_say(text, "It tripped on %s, in round %.0f (%.40s).",
                   minute(study, "trip.time", when), field_number(study, "trip.round"),
                   field_text_or_empty(study, "trip.cause"));
    }
}

/* Runs that are shorter are spoken of in hours. */
static const double two_days = 172800;

/* Seconds from the first to the last reading. */
static double span_of(const json_t *study)
{
    return report_time(field_text(study, "last.time")) -
           report_time(field_text(study, "first.time"));
}

static void say_drift(const json_t *study, const char *unit, char *text)
{
    char slope[NOTATION_SIZE];
    bool slow = span_of(study) >= two_days;
    double hours = slow ? 24 : 1;
    notation_result(slope, sizeof slope, hours * field_number(study, "trend.per_hour"),
                    2 * hours * field_number(study, "trend.standard_uncertainty"), 1, unit);
    report_say(text, "It drifts by %s %s.", slope, slow ? "a day" : "an hour");
}

static void say_settling(const json_t *study, const char *unit, char *text)
{
    char level[NOTATION_SIZE];
    const json_t *settles = field_at(study, "trend.settles");
    if (settles == NULL) {
        report_say(text, "It is settling; where that will end cannot be told yet.");
        return;
    }
    notation_result(level, sizeof level, field_number(settles, "value"),
                    field_number(settles, "uncertainty"), 1, unit);
    report_say(text, "It is settling, %s %s.",
               json_is_true(field_at(settles, "stays")) ? "and will stay within its limits, at"
                                                        : "towards",
               level);
}

static void say_meeting(const json_t *study, const char *unit, char *text)
{
    char level[READING_TEXT];
    char expected[WORDS_SIZE], earliest[WORDS_SIZE], latest[WORDS_SIZE];
    const json_t *meets = field_at(study, "trend.meets");
    if (meets == NULL || field_text(meets, "expected") == NULL)
        return;
    reading_setting(field_number(meets, "level"), unit, level);
    report_say(text, "At that rate it will reach the %s limit, %s, on %s,",
               field_text_or_empty(meets, "limit"), level, minute(meets, "expected", expected));
    if (field_text(meets, "latest") != NULL) {
        minute(meets, "earliest", earliest);
        minute(meets, "latest", latest);
        if (strcmp(earliest, latest) == 0) {
            report_moment(report_time(field_text(meets, "earliest")), earliest);
            report_moment(report_time(field_text(meets, "latest")), latest);
        }
        if (strcmp(earliest, latest) == 0)
            report_say(text, "to the second (95 %%).");
        else
            report_say(text, "between %s and %s (95 %%).", earliest, latest);
    } else {
        report_say(text, "not before %s (95 %%).", minute(meets, "earliest", earliest));
    }
}

static void say_step(const json_t *study, const char *unit, char *text)
{
    char height[NOTATION_SIZE], when[WORDS_SIZE];
    const json_t *step = field_at(study, "finding.step");
    if (step != NULL) {
        notation_result(height, sizeof height, field_number(step, "value"),
                        2 * field_number(step, "standard_uncertainty"), 1, unit);
        report_say(text, "It stepped by %s on %s, in round %.0f, and stayed there.", height,
                   minute(step, "time", when), field_number(step, "round"));
    }
}

static void say_excursions(const json_t *study, const char *unit, char *text)
{
    char height[NOTATION_SIZE], when[WORDS_SIZE], last[WORDS_SIZE], times[WORDS_SIZE];
    const json_t *excursions = field_at(study, "finding.excursions");
    if (excursions == NULL)
        return;
    notation_value(height, sizeof height, field_number(excursions, "value"), 3, unit);
    report_say(text, "It jumped and came back %s, by up to %s, first on %s (round %.0f),",
               report_times(field_number(excursions, "count"), times), height,
               minute(excursions, "time", when), field_number(excursions, "round"));
    report_say(text, "last on %s (round %.0f): typical of an intermittent contact.",
               minute(excursions, "last_time", last), field_number(excursions, "last_round"));
    if (field_number(excursions, "longest") > 1) {
        report_say(text, "It was away for up to %.0f readings.",
                   field_number(excursions, "longest"));
    }
}

static void say_losses(const struct report_point *point, char *text)
{
    double lost = field_number(point->study, "lost");
    double altered = field_number(point->study, "altered");
    char why[WORDS_SIZE];
    counted(json_object_get(point->study, "reasons"), why);
    if (lost > 0)
        report_say(text, "%.0f measurement%s gave no reading%s%.300s.", lost, lost == 1 ? "" : "s",
                   why[0] != '\0' ? ": " : "", why);
    if (altered > 0) {
        report_say(text, "%.0f stored reading%s altered afterwards and left out.", altered,
                   altered == 1 ? " was" : "s were");
    }
    if (point->undecided) {
        report_say(text, "Readings lie within their uncertainty of a limit: whether it was kept "
                         "cannot be decided.");
    }
}

char *report_title(const struct report_point *point, char text[WORDS_SIZE])
{
    double number = field_number(point->study, "unit_number");
    snprintf(text, WORDS_SIZE, "%.300s", point->name);
    if (number > 0)
        snprintf(text, WORDS_SIZE, "unit %.0f, %.300s", number, point->name);
    return text;
}

char *report_brief(const struct report_point *point, char text[WORDS_SIZE])
{
    const json_t *study = point->study;
    text[0] = '\0';
    say_dead(point, text);
    say_failures(study, text);
    say_trip(study, text);
    return text;
}

char *report_course(const struct report_point *point, char text[WORDS_SIZE])
{
    const json_t *study = point->study;
    const char *unit = field_text_or_empty(study, "unit");
    const char *kind = field_text_or_empty(study, "finding.kind");
    text[0] = '\0';
    say_dead(point, text);
    say_failures(study, text);
    say_trip(study, text);
    if (strncmp(kind, "drift", 5) == 0)
        say_drift(study, unit, text);
    else if (strncmp(kind, "settling", 8) == 0)
        say_settling(study, unit, text);
    say_meeting(study, unit, text);
    if (point->shared != NULL)
        report_say(text, "So does what else is measured with %.100s.", point->shared);
    say_step(study, unit, text);
    say_excursions(study, unit, text);
    say_chart(study, unit, text);
    say_losses(point, text);
    if (point->class == REPORT_UNKNOWN && text[0] == '\0')
        report_say(text, "Not measured.");
    else if (point->class != REPORT_UNKNOWN && kind[0] == '\0')
        report_say(text, "Too few readings to tell a drift from noise.");
    else if (text[0] == '\0')
        report_say(text, "Steady.");
    return text;
}

static void figure(struct report_figure *figures, size_t *count, const char *name, double value,
                   double uncertainty, const struct report_point *point)
{
    if (isfinite(value)) {
        figures[*count].name = name;
        notation_result(figures[*count].text, sizeof figures[*count].text, value, uncertainty,
                        point->digits, field_text_or_empty(point->study, "unit"));
        ++*count;
    }
}

/* How far it may go from its first reading; false when nothing is said of that. */
static bool figure_allowed(struct report_figure *figure, const json_t *study)
{
    const char *unit = field_text_or_empty(study, "unit");
    double relative = field_number(study, "drift.relative");
    figure->name = "drift allowed";
    reading_setting(field_number(study, "drift.bound"), unit, figure->text);
    if (figure->text[0] == '\0' && isfinite(relative))
        snprintf(figure->text, sizeof figure->text, "%.7g %%", 100 * relative);
    return figure->text[0] != '\0';
}

/* Rounded up where rounding would lose much of it, which only beside a value is done. */
static void figure_uncertainty(struct report_figure *figure, const struct report_point *point,
                               double uncertainty)
{
    static const char sign[] = "± ";
    char text[NOTATION_SIZE];
    notation_result(text, sizeof text, uncertainty, uncertainty, point->digits,
                    field_text_or_empty(point->study, "unit"));
    const char *behind = strstr(text, sign);
    figure->name = "uncertainty";
    snprintf(figure->text, sizeof figure->text, "%s",
             behind == NULL ? text : behind + strlen(sign));
}

/* What the readings came to; a failure that no limit knows of is one all the same. */
static void figure_verdict(struct report_figure *figure, const struct report_point *point)
{
    const char *verdict = field_text_or_empty(point->study, "verdict");
    const char *name;
    json_t *count;
    figure->name = "worst verdict";
    snprintf(figure->text, sizeof figure->text, "%.60s",
             point->class == REPORT_FAILED && strstr(verdict, "fail") == NULL ? "fail" : verdict);
    json_object_foreach(json_object_get(point->study, "causes"), name, count)
    {
        size_t length = strlen(figure->text);
        if (strcmp(name, "limit") != 0)
            snprintf(figure->text + length, sizeof figure->text - length, "%s%.40s",
                     strchr(figure->text, ':') == NULL ? ": " : ", ", name);
    }
}

size_t report_figures(const struct report_point *point,
                      struct report_figure figures[REPORT_FIGURES])
{
    const json_t *study = point->study;
    double uncertainty = field_number(study, "uncertainty");
    size_t count = 0;
    figure_verdict(&figures[count++], point);
    if (isfinite(point->worst)) {
        figures[count].name = "worst margin";
        margin_text(point->worst, figures[count++].text);
    }
    figure(figures, &count, "minimum", field_number(study, "minimum.value"), uncertainty, point);
    figure(figures, &count, "mean", field_number(study, "mean"), uncertainty, point);
    figure(figures, &count, "maximum", field_number(study, "maximum.value"), uncertainty, point);
    if (isfinite(field_number(study, "drift.value"))) {
        figures[count].name = "last − first";
        notation_value(figures[count].text, sizeof figures[count].text,
                       field_number(study, "drift.value"), 3, field_text_or_empty(study, "unit"));
        count++;
    }
    count += figure_allowed(&figures[count], study);
    if (uncertainty > 0)
        figure_uncertainty(&figures[count++], point, uncertainty);
    figures[count].name = "readings";
    snprintf(figures[count].text, sizeof figures[count].text, "%.0f + %.0f in warm-up",
             field_number(study, "readings"), field_number(study, "warm_up"));
    return count + 1;
}

const char *report_figure(const struct report_figure *figures, size_t count, const char *name)
{
    for (size_t i = 0; i < count; i++)
        if (strcmp(figures[i].name, name) == 0)
            return figures[i].text;
    return "";
}

char *report_short(const char *result, char text[WORDS_SIZE])
{
    const char *end = strstr(result, " ±");
    int length = end != NULL ? (int)(end - result) : (int)strlen(result);
    snprintf(text, WORDS_SIZE, "%.*s", length, result);
    return text;
}
