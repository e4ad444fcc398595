/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A report's order, words, drawing and escaping, out of studies as the daemon sends them. */
#include "tools/gradus/report/report_form.h"
#include "tools/gradus/report/report_limits.h"
#include "tools/gradus/report/report_plot.h"
#include "tools/gradus/report/report_shared.h"
#include "tools/gradus/report/report_tables.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

/* Round 1 at 2026-01-01T00:00:00Z, one an hour, 10 of them, one warm-up. */
static const char began[] =
    "[{'id':1,'time':'2026-01-01T00:00:00.000Z','kind':'run began','body':{'run':'soak-1','plan':"
    "'soak','first_ns':1767225600000000000,'every_ns':3600000000000,'warm_until_ns':"
    "1767229200000000000,'rounds':10,'phases':[{'phase':'all','end_ns':1767261600000000000}],"
    "'points':[{'point':'a'},{'point':'b'},{'point':'c'},{'point':'d'}]}},"
    "{'id':2,'time':'2026-01-01T05:00:00.000Z','kind':'gap','body':{'from':"
    "'2026-01-01T04:00:00.000Z','to':'2026-01-01T06:30:00.000Z','last_round':5,'same_boot':true}}]";

static json_t *read_json(const char *text)
{
    char *copy = strdup(text);
    for (char *at = copy; *at != '\0'; at++)
        *at = *at == '\'' ? '"' : *at;
    json_error_t error;
    json_t *json = json_loads(copy, 0, &error);
    if (json == NULL)
        fail_msg("%s: %s", error.text, text);
    free(copy);
    return json;
}

/* A study with a history of hours 0 to 9 but 4 and 5; `more` begins with a comma. */
static json_t *study(const char *point, const char *more)
{
    char text[4096];
    size_t length = (size_t)snprintf(text, sizeof text,
                                     "{'point':'%s','unit':'V','readings':7,'warm_up':1,'failures':"
                                     "0,'lost':0,'altered':0,'verdict':'pass'%s,'history':[",
                                     point, more);
    for (int hour = 0; hour < 10; hour++) {
        if (hour == 4 || hour == 5)
            continue;
        length += (size_t)snprintf(text + length, sizeof text - length,
                                   "%s{'time':'2026-01-01T%02d:00:00.000Z','to':"
                                   "'2026-01-01T%02d:00:00.000Z','minimum':5,'maximum':5.001,"
                                   "'mean':5.0005,'count':1,'failures':0,'lost':0}",
                                   hour > 0 ? "," : "", hour, hour);
    }
    snprintf(text + length, sizeof text - length, "]}");
    return read_json(text);
}

static void begin(struct report *report)
{
    assert_true(report_begin(report, read_json(began), 2));
}

static void failures_come_first(void **state)
{
    (void)state;
    struct report report;
    begin(&report);
    assert_true(report_add(&report, study("a", ",'unit_number':1,'worst_margin':{'value':0.9}")));
    assert_true(report_add(&report, study("b", ",'unit_number':1,'worst_margin':{'value':0.1}")));
    assert_true(report_add(&report, study("c", ",'unit_number':2,'worst_margin':{'value':0.5}")));
    json_t *failed = study("d", ",'worst_margin':{'value':-0.5}");
    json_object_set_new(failed, "failures", json_integer(2));
    assert_true(report_add(&report, failed));
    assert_false(report_add(&report, study("e", ""))); /* the run has four */
    report_sort(&report);
    assert_string_equal(report.points[0].name, "d");
    assert_string_equal(report.points[1].name, "b");
    assert_string_equal(report.points[2].name, "a"); /* by unit, not by margin */
    assert_int_equal(report.points[0].class, REPORT_FAILED);
    assert_int_equal(report.points[1].class, REPORT_WATCH);
    assert_int_equal(report.points[2].class, REPORT_WELL);
    assert_int_equal(report.unit_count, 3);
    assert_int_equal(report.units[0].class, REPORT_WATCH);
    assert_true(report.units[0].worst == 0.1);
    assert_string_equal(report.units[2].label, "d");
    report_end(&report);
}

static void add_sentence(void *context, const char *sentence)
{
    report_say(context, "%s", sentence);
}

static void words_say_what_was_found(void **state)
{
    (void)state;
    struct report report;
    char text[WORDS_SIZE];
    begin(&report);
    assert_true(report_add(
        &report,
        study("a", ",'first':{'time':'2026-01-01T01:00:00.000Z'},'last':{'time':"
                   "'2026-01-03T01:00:00.000Z'},'finding':{'kind':'drift','noise':1e-4},'trend':{'"
                   "per_hour':1e-3,"
                   "'standard_uncertainty':1e-5,'significant':true,'meets':{'limit':'high','level':"
                   "5.25,'earliest':'2026-01-09T00:00:00.000Z','expected':"
                   "'2026-01-10T12:30:00.000Z','latest':'2026-01-12T00:00:00.000Z'}}")));
    assert_true(report_add(
        &report, study("b", ",'finding':{'kind':'steady','noise':1e-4,'excursions':{'count':1,"
                            "'value':-1.25,'time':'2026-01-01T03:00:00.000Z','round':4,'last_time':"
                            "'2026-01-01T03:00:00.000Z','last_round':4}}")));
    assert_true(report_add(&report, study("c", ",'finding':{'kind':'drift','noise':1e-4},'trend':{"
                                               "'per_hour':1e-3,'standard_uncertainty':1e-5,"
                                               "'significant':true},'first':{'time':"
                                               "'2026-01-01T01:00:00.000Z'},'last':{'time':"
                                               "'2026-01-03T00:00:00.000Z'}")));
    assert_string_equal(report_course(&report.points[2], text),
                        "It drifts by 1.00 mV ± 0.02 mV an hour.");
    assert_string_equal(report_course(&report.points[0], text),
                        "It drifts by 24.0 mV ± 0.5 mV a day. At that rate it will reach the high "
                        "limit, 5.25 V, on 2026-01-10 12:30, between 2026-01-09 00:00 and "
                        "2026-01-12 00:00 (95 %).");
    assert_string_equal(report_course(&report.points[1], text),
                        "It jumped and came back once, by up to -1.25 V, first on "
                        "2026-01-01 03:00 (round 4), last on 2026-01-01 03:00 (round 4): typical "
                        "of an intermittent contact.");
    text[0] = '\0';
    report_warnings(&report, add_sentence, text);
    assert_string_equal(text, "The run was resumed after a restart once; nothing was measured for "
                              "02:30:00 in all, 02:30:00 at most.");
    assert_non_null(strstr(report_outcome(&report, text), "The run is still going"));
    report_end(&report);
}

/* A run of eight points, four to a meter; those of the first move by the same share of their levels. */
static void begin_two_meters(struct report *report, double other_per_hour)
{
    json_t *events = read_json(began);
    json_t *points = json_object_get(json_object_get(json_array_get(events, 0), "body"), "points");
    for (int i = 0; i < 4; i++)
        json_array_append_new(points, json_pack("{s:s}", "point", "more"));
    assert_true(report_begin(report, events, 2));
    for (int i = 0; i < 8; i++) {
        char name[16], more[400];
        double level = 1 + i, per_hour = i < 4 ? 1e-5 * level : other_per_hour * level;
        snprintf(name, sizeof name, "p%d", i);
        snprintf(more, sizeof more,
                 ",'mean':%g,'unit_number':%d,'finding':{'kind':'%s','noise':1e-6},'trend':{"
                 "'per_hour':%g,'standard_uncertainty':1e-8},'instruments':[{'name':'meter_%d'}],"
                 "'probes':[{'name':'direct'}]",
                 level, i + 1, per_hour != 0 ? "drift" : "steady", per_hour, i / 4);
        assert_true(report_add(report, study(name, more)));
    }
    report_sort(report);
    report_share(report);
}

static void a_drifting_meter_is_one_finding(void **state)
{
    (void)state;
    struct report report;
    char text[WORDS_SIZE] = "";
    size_t shared = 0;
    begin_two_meters(&report, 0);
    report_warnings(&report, add_sentence, text);
    assert_non_null(strstr(text, "The instrument meter_0 drifts: 4 of the points measured with it "
                                 "move alike, by +10 ppm of their level an hour"));
    for (size_t i = 0; i < report.point_count; i++)
        shared += report.points[i].shared != NULL;
    assert_int_equal(shared, 4);
    report_end(&report);
}

/* What all units do, whatever they are measured with, is theirs; so is what goes another way. */
static void units_that_all_drift_are_not_the_meter(void **state)
{
    (void)state;
    struct report report;
    char text[WORDS_SIZE] = "";
    begin_two_meters(&report, 1e-5);
    report_warnings(&report, add_sentence, text);
    assert_null(strstr(text, "drifts"));
    report_end(&report);
}

/* One meter, four points on each of two input cards: what the points of one do is the card's. */
static void a_drifting_card_is_one_finding(void **state)
{
    (void)state;
    struct report report;
    char text[WORDS_SIZE] = "";
    json_t *events = read_json(began);
    json_t *points = json_object_get(json_object_get(json_array_get(events, 0), "body"), "points");
    json_array_clear(points);
    for (int i = 0; i < 8; i++) {
        char name[16], card[64];
        snprintf(name, sizeof name, "p%d", i);
        snprintf(card, sizeof card, "meter inputs %d to %d", i / 4 * 4 + 1, i / 4 * 4 + 4);
        json_array_append_new(points, json_pack("{s:s, s:s}", "point", name, "card", card));
    }
    assert_true(report_begin(&report, events, 2));
    for (int i = 0; i < 8; i++) {
        char name[16], more[400];
        snprintf(name, sizeof name, "p%d", i);
        snprintf(more, sizeof more,
                 ",'mean':5,'unit_number':%d,'finding':{'kind':'%s','noise':1e-6},'trend':{"
                 "'per_hour':%g,'standard_uncertainty':1e-8},'instruments':[{'name':'meter'}]",
                 i + 1, i >= 4 ? "drift" : "steady", i >= 4 ? 5e-5 : 0);
        assert_true(report_add(&report, study(name, more)));
    }
    report_sort(&report);
    report_share(&report);
    report_warnings(&report, add_sentence, text);
    assert_non_null(strstr(text, "The input card meter inputs 5 to 8 drifts: 4 of the points "
                                 "measured with it move alike"));
    assert_null(strstr(text, "The instrument"));
    report_end(&report);
}

/* A pen that counts. */
struct counted {
    size_t paths;
    size_t points;
    size_t areas;
};

static void count_line(void *context, enum ink ink, double width, double x1, double y1, double x2,
                       double y2)
{
    (void)context, (void)ink, (void)width;
    assert_true(isfinite(x1) && isfinite(y1) && isfinite(x2) && isfinite(y2));
}

static void count_area(void *context, enum ink ink, double x, double y, double width, double height)
{
    struct counted *counted = context;
    (void)ink;
    counted->areas++;
    assert_true(isfinite(x) && isfinite(y) && width >= 0 && height >= 0);
}

static void count_path(void *context, enum ink ink, double width, const double *points,
                       size_t count)
{
    struct counted *counted = context;
    (void)ink, (void)width;
    counted->paths++;
    counted->points += count;
    for (size_t i = 0; i < 2 * count; i++)
        assert_true(isfinite(points[i]) && points[i] >= 0 && points[i] <= 500);
}

static void count_bars(void *context, enum ink ink, double width, const struct bar *bars,
                       size_t count)
{
    (void)context, (void)ink;
    assert_true(width > 0);
    for (size_t i = 0; i < count; i++)
        assert_true(isfinite(bars[i].x) && bars[i].top <= bars[i].bottom);
}

static void count_text(void *context, enum ink ink, double size, enum anchor anchor, double x,
                       double y, const char *text)
{
    (void)context, (void)ink, (void)size, (void)anchor;
    assert_true(isfinite(x) && isfinite(y) && text[0] != '\0');
}

static void a_gap_stays_a_gap(void **state)
{
    (void)state;
    struct report report;
    struct counted counted = { 0 };
    const struct pen pen = {
        &counted, 7, count_line, count_area, count_path, count_bars, count_text
    };
    begin(&report);
    assert_true(report_add(
        &report, study("a", ",'limits':[{'phase':'all','low':4.75,'high':5.25,'guard':0.01,'from':"
                            "'2026-01-01T00:00:00.000Z','to':'2026-01-01T09:00:00.000Z'}]")));
    report_plot(&report, &report.points[0], &pen, (struct plot_box) { 0, 0, 500, 200 });
    assert_int_equal(counted.paths, 2);
    assert_int_equal(counted.points, 8);
    assert_int_equal(counted.areas, 4); /* warm-up, the gap and two guard bands */
    report_plot_small(&report, &report.points[0], &pen, (struct plot_box) { 0, 0, 100, 20 });
    assert_int_equal(counted.paths, 4);
    assert_int_equal(counted.areas, 8);
    report_end(&report);
}

/* A drift that failed looks like one: its band and the trip are in the plot, and what came behind. */
static void a_drift_failure_shows_in_the_plot(void **state)
{
    (void)state;
    struct report report;
    struct counted plain = { 0 }, counted = { 0 };
    struct pen pen = { &plain, 7, count_line, count_area, count_path, count_bars, count_text };
    begin(&report);
    assert_true(report_add(&report, study("a", "")));
    assert_true(report_add(
        &report, study("b", ",'drift':{'low':4.99,'high':5.01,'value':0.02},'trip':{'time':"
                            "'2026-01-01T08:00:00.000Z','round':9,'cause':'drift'}")));
    report_plot(&report, &report.points[0], &pen, (struct plot_box) { 0, 0, 500, 200 });
    pen.context = &counted;
    report.points[1].bucket_count -= 2; /* hours 8 and 9: it was measured no more */
    report_plot(&report, &report.points[1], &pen, (struct plot_box) { 0, 0, 500, 200 });
    assert_int_equal(counted.areas, plain.areas + 1);
    assert_int_equal(counted.points, plain.points - 2);
    report_end(&report);
}

/* The words for what a reader must not take for a pass, or for a riddle. */
static void failures_are_told_with_their_causes(void **state)
{
    (void)state;
    struct report report;
    struct report_figure figures[REPORT_FIGURES];
    char text[WORDS_SIZE];
    begin(&report);
    json_t *drifted = study("a", ",'causes':{'drift':2},'worst_margin':{'value':-99.5}");
    json_object_set_new(drifted, "failures", json_integer(2));
    assert_true(report_add(&report, drifted));
    json_t *dead = study("b", ",'dead':true,'last':{'value':0.003},'causes':{'limit':1,'over "
                              "range':3}");
    json_object_set_new(dead, "failures", json_integer(4));
    assert_true(report_add(&report, dead));
    json_t *lost = study("c", ",'reasons':{'timeout':2,'link lost':1}");
    json_object_set_new(lost, "lost", json_integer(3));
    assert_true(report_add(&report, lost));
    size_t count = report_figures(&report.points[0], figures);
    assert_string_equal(report_figure(figures, count, "worst verdict"), "fail: drift");
    assert_string_equal(report_figure(figures, count, "worst margin"), "far outside");
    assert_string_equal(report_brief(&report.points[0], text), "It failed 2 times, by drift.");
    assert_string_equal(report_brief(&report.points[1], text),
                        "It reads next to nothing, 3.0 mV: the unit is dead or not there. It "
                        "failed 4 times: limit (once), over range (3 times).");
    report_course(&report.points[2], text);
    assert_non_null(
        strstr(text, "3 measurements gave no reading: timeout (2 times), link lost (once)."));
    assert_true(report.units[1].dead && !report.units[0].dead);
    report_end(&report);
}

/* An interval shorter than a minute is not told as from a minute to itself. */
static void a_short_interval_is_told_to_the_second(void **state)
{
    (void)state;
    struct report report;
    char text[WORDS_SIZE];
    begin(&report);
    assert_true(report_add(
        &report, study("a", ",'finding':{'kind':'drift','noise':1e-4},'trend':{'per_hour':1e-3,"
                            "'standard_uncertainty':1e-5,'significant':true,'meets':{'limit':"
                            "'high','level':5.25,'earliest':'2026-01-10T16:12:03.000Z','expected':"
                            "'2026-01-10T16:12:30.000Z','latest':'2026-01-10T16:12:51.000Z'}}")));
    report_course(&report.points[0], text);
    assert_non_null(strstr(text, "between 2026-01-10 16:12:03 and 2026-01-10 16:12:51 (95 %)."));
    report_end(&report);
}

static void times_are_divided_as_people_do(void **state)
{
    (void)state;
    assert_true(report_time_step(3600, 6) == 600);
    assert_true(report_time_step(86400, 6) == 21600);
    assert_true(report_time_step(30 * 86400.0, 6) == 604800);
    assert_true(report_time_step(1, 6) == 1);
    assert_true(4e9 / report_time_step(4e9, 6) <= 6);
    assert_true(report_time("2026-01-01T00:00:01.500Z") == 1767225601.5);
    assert_true(isnan(report_time("yesterday")) && isnan(report_time(NULL)));
}

/* Whether a limit was kept is not known: neither well nor failed. */
static void what_is_undecided_is_looked_at(void **state)
{
    (void)state;
    struct report report;
    begin(&report);
    assert_true(report_add(&report, study("a", ",'verdicts':{'pass':6,'conditional pass':1}")));
    assert_true(report_add(&report, study("b", ",'verdicts':{'none':7}"))); /* no limits */
    assert_true(report_add(&report, study("c", ",'verdicts':{'pass':7},'limits':[{'low':1}]")));
    report_sort(&report);
    assert_string_equal(report.points[0].name, "a");
    assert_int_equal(report.points[0].class, REPORT_WATCH);
    assert_int_equal(report_points(&report, REPORT_WELL), 2);
    assert_int_equal(report_status(&report), 4);
    json_t *lost = study("d", "");
    json_object_set_new(lost, "readings", json_integer(0));
    json_object_set_new(lost, "warm_up", json_integer(0));
    assert_true(report_add(&report, lost));
    assert_int_equal(report_status(&report), 3); /* the worse of the two */
    report_end(&report);
}

/* A number and a point that is called as that number are two units. */
static void units_are_told_apart(void **state)
{
    (void)state;
    struct report report;
    begin(&report);
    assert_true(report_add(&report, study("a", ",'unit_number':7,'worst_margin':{'value':0.9}")));
    assert_true(report_add(&report, study("7", ",'worst_margin':{'value':0.1}")));
    assert_true(report_add(&report, study("c", ",'unit_number':7,'worst_margin':{'value':0.5}")));
    report_sort(&report);
    assert_int_equal(report.unit_count, 2);
    assert_string_equal(report.points[report_worst_of(&report, 0)].name, "c");
    assert_string_equal(report.points[report_worst_of(&report, 1)].name, "7");
    report_end(&report);
}

static void stretches_are_joined_but_not_over_gaps(void **state)
{
    (void)state;
    struct report_bucket buckets[] = { { 0, 9, 1, 3, 2, 10, false, false, NAN },
                                       { 10, 19, 0, 9, 5, 30, true, false, NAN },
                                       { 20, 29, NAN, NAN, NAN, 0, false, true, NAN },
                                       { 50, 59, 4, 4, 4, 1, false, false, NAN },
                                       { 60, 69, 6, 6, 6, 1, false, false, NAN } };
    assert_int_equal(report_coarsen(buckets, 5, 5, 1.5), 5);
    assert_int_equal(report_coarsen(buckets, 5, 3, 1.5), 3);
    assert_true(buckets[0].from == 0 && buckets[0].to == 19);
    assert_true(buckets[0].minimum == 0 && buckets[0].maximum == 9 && buckets[0].failed);
    assert_true(buckets[0].mean == (2 * 10 + 5 * 30) / 40.0); /* each reading counts the same */
    assert_true(isnan(buckets[1].mean) && buckets[1].lost);
    assert_int_equal(report_coarsen(buckets, 3, 1, 1.5), 2); /* the gap stays */
    assert_true(buckets[0].to == 29 && buckets[0].mean == 4.25);
    assert_true(buckets[1].from == 50 && buckets[1].mean == 5);
}

/* What spreadsheets take for the beginning of a formula: common practice, no source. */
static void no_text_is_a_formula(void **state)
{
    (void)state;
    json_t *item = read_json("{'a':'=1+1','b':{'c':'+x','d':'-1'},'e':['@y','fine'],'f':'\\tz',"
                             "'g':'5 - 3','h':-2.5,'i':''}");
    json_t *expected = read_json("{'a':'~=1+1','b':{'c':'~+x','d':'~-1'},'e':['~@y','fine'],"
                                 "'f':'~\\tz','g':'5 - 3','h':-2.5,'i':''}");
    report_csv_disarm(item);
    char *text = json_dumps(item, JSON_SORT_KEYS), *wanted = json_dumps(expected, JSON_SORT_KEYS);
    for (char *at = wanted; *at != '\0'; at++)
        *at = *at == '~' ? '\'' : *at;
    assert_string_equal(text, wanted);
    free(text);
    free(wanted);
    json_decref(item);
    json_decref(expected);
}

static void limits_are_told_by_phase_where_they_differ(void **state)
{
    (void)state;
    struct report report;
    char text[WORDS_SIZE];
    begin(&report);
    assert_true(report_add(&report, study("a", ",'limits':[{'phase':'settle','low':4.75,'high':"
                                               "5.25},{'phase':'soak','low':4.75,'high':5.25}]")));
    assert_true(report_add(&report, study("b", ",'limits':[{'phase':'settle','high':5.25},"
                                               "{'phase':'soak','low':0.99,'high':1.01,"
                                               "'judge':'ratio'}]")));
    assert_true(report_add(&report, study("c", "")));
    assert_string_equal(report_limits(&report.points[0], text), "4.75 to 5.25 V");
    assert_string_equal(report_limits(&report.points[1], text),
                        "settle ≤ 5.25 V; soak 0.99 to 1.01 (ratio)");
    assert_string_equal(report_limits(&report.points[2], text), "no limits");
    report_number_limits(&report);
    assert_string_equal(report_limits_short(&report.points[0], text), "4.75 to 5.25 V");
    assert_string_equal(report_limits_short(&report.points[1], text), "by phase, set 1");
    report_end(&report);
}

/* Names and identities come from outside, and must not become markup. */
static void nothing_from_outside_becomes_markup(void **state)
{
    (void)state;
    struct report report;
    char *page = NULL;
    size_t size = 0;
    begin(&report);
    json_t *hostile =
        study("a", ",'instruments':[{'name':'<i>&','identity':"
                   "'<script>alert(1)</script>\xE2\x80\xAE','calibration_due':'2025-12-31'}]");
    json_object_set_new(hostile, "point", json_string("<img src=x onerror=\"y\">"));
    json_object_set_new(hostile, "failures", json_integer(1));
    assert_true(report_add(&report, hostile));
    FILE *out = open_memstream(&page, &size);
    report_html(&report, out);
    fclose(out);
    assert_null(strstr(page, "<script"));
    assert_null(strstr(page, "<img"));
    assert_null(strstr(page, "<i>&"));
    assert_null(strstr(page, "\xE2\x80\xAE")); /* U+202E */
    assert_non_null(strstr(page, "&lt;script&gt;alert(1)&lt;/script&gt;"));
    assert_non_null(strstr(page, "&lt;img src=x onerror=&quot;y&quot;&gt;"));
    assert_non_null(strstr(page, "2025-12-31: EXPIRED"));
    free(page);
    report_end(&report);
}

static void events_that_are_no_run_are_refused(void **state)
{
    (void)state;
    struct report report;
    assert_false(report_begin(&report, json_array(), 2));
    report_end(&report);
    assert_false(report_begin(&report, read_json("[{'kind':'run began','body':{'run':'x'}}]"), 2));
    report_end(&report);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(failures_come_first),
        cmocka_unit_test(words_say_what_was_found),
        cmocka_unit_test(a_drifting_meter_is_one_finding),
        cmocka_unit_test(units_that_all_drift_are_not_the_meter),
        cmocka_unit_test(a_drifting_card_is_one_finding),
        cmocka_unit_test(a_gap_stays_a_gap),
        cmocka_unit_test(a_drift_failure_shows_in_the_plot),
        cmocka_unit_test(failures_are_told_with_their_causes),
        cmocka_unit_test(a_short_interval_is_told_to_the_second),
        cmocka_unit_test(times_are_divided_as_people_do),
        cmocka_unit_test(what_is_undecided_is_looked_at),
        cmocka_unit_test(units_are_told_apart),
        cmocka_unit_test(stretches_are_joined_but_not_over_gaps),
        cmocka_unit_test(no_text_is_a_formula),
        cmocka_unit_test(limits_are_told_by_phase_where_they_differ),
        cmocka_unit_test(nothing_from_outside_becomes_markup),
        cmocka_unit_test(events_that_are_no_run_are_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
