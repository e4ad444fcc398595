/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Runs drawn on screens of several sizes: what is shown, and what is said to be left out. */
#include "tools/gradus/basics/status.h"
#include "tools/gradus/basics/terminal_text.h"
#include "tools/gradus/burnin/burnin_priv.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <stdlib.h>
#include <string.h>

#include "tests/tools/gradus/capture_stream.h"

static const struct terminal screen = { .columns = 80, .rows = 24, .bounded = true };

static json_t *make_run(const char *name, int units, int points)
{
    json_t *const run = json_pack(
        "{s:s, s:s, s:s, s:s, s:b, s:i, s:i, s:i, s:i, s:i, s:i, s:f, s:f}", "run", name, "plan",
        "rack", "state", "running", "phase", "soak", "warm_up", 0, "round", 50, "rounds", 200,
        "late", 1, "missed", 2, "gaps", 0, "clock_jumps", 3, "left_s", 273906.2, "next_s", 12.5);
    json_t *const list = json_array();
    for (int i = 0; i < units * points; i++) {
        char point[32];
        snprintf(point, sizeof point, "out_%d_%d", i / points + 1, i % points + 1);
        json_array_append_new(list,
                              json_pack("{s:s, s:i, s:s, s:f, s:f, s:s}", "point", point,
                                        "unit_number", i / points + 1, "state", "within limits",
                                        "margin", 0.8, "worst_margin", 0.75, "value_unit", "V"));
    }
    json_object_set_new(run, "points", list);
    return run;
}

static json_t *point_at(json_t *run, size_t index)
{
    return json_array_get(json_object_get(run, "points"), index);
}

static void trip(json_t *run, size_t index, const char *time)
{
    json_t *const more = json_pack("{s:s, s:s, s:s, s:i}", "state", "tripped", "cause", "limit",
                                   "trip_time", time, "trip_round", 17);
    json_object_update(point_at(run, index), more);
    json_decref(more);
}

static void drift(json_t *run, size_t index, const char *expected)
{
    json_object_set_new(point_at(run, index), "trend",
                        json_pack("{s:f, s:{s:s, s:f, s:s, s:s}}", "per_hour", 0.01, "meets",
                                  "limit", "high", "level", 5.25, "earliest",
                                  "2026-02-01T08:00:00.000Z", "expected", expected));
}

/* The text of a picture, whose lines must all fit the screen. Free it. */
static char *draw(const json_t *run, const struct terminal *terminal, size_t lines)
{
    struct capture_stream capture = { 0 };
    burnin_draw(terminal, capture_begin(&capture), run, lines);
    return capture_end(&capture);
}

static size_t count_lines(const char *text, size_t columns)
{
    size_t lines = 0;
    while (*text != '\0') {
        char line[512];
        const size_t length = strcspn(text, "\n");
        snprintf(line, sizeof line, "%.*s", (int)length, text);
        assert_true(text_width(line) <= columns);
        lines++;
        text += length + 1;
    }
    return lines;
}

static void a_run_says_how_far_it_is(void **state)
{
    (void)state;
    json_t *const run = make_run("rack-1", 2, 3);
    char *const text = draw(run, &screen, 0);
    assert_string_equal(
        text, "rack-1  phase soak\n"
              "[###########.................................]  25 %  round 50 of 200\n"
              "3 d 04:05:07 left, next round in 00:00:13\n"
              "rounds late 1, missed 2; restarts 0; clock set 3 times\n"
              "units: 2 within limits\n"
              "worst margin in % (100 amid limits, 0 at one, far < -100); ? to check, > drift\n"
              "1   75  2   75 \n");
    free(text);
    json_decref(run);
}

static void units_show_their_worst_point(void **state)
{
    (void)state;
    json_t *const run = make_run("rack-1", 4, 2);
    trip(run, 1, "2026-01-31T12:00:00.000Z");
    json_object_set_new(point_at(run, 2), "state", json_string("failing"));
    json_object_set_new(point_at(run, 3), "worst_margin", json_real(-0.031));
    drift(run, 5, "2026-02-03T09:30:00.000Z");
    json_object_del(point_at(run, 6), "worst_margin");
    json_object_del(point_at(run, 7), "worst_margin");
    char *const text = draw(run, &screen, 0);
    assert_non_null(strstr(text, "units: 1 within limits, 1 tripped, 1 to check, 1 drifting\n"));
    assert_non_null(strstr(text, "1 TRIP  2   -4? 3   75> 4    - \n"));
    assert_non_null(
        strstr(text, "tripped\n  2026-01-31T12:00:00Z  round 17       limit       out_1_2\n"));
    assert_non_null(strstr(text,
                           "drifting; a limit will be reached at\n  2026-02-03T09:30Z  earliest "
                           "2026-02-01T08:00Z  high 5.25 V     out_3_2\n"));
    assert_non_null(
        strstr(text, "failing or not measured now\n  failing       margin   80 %  out_2_1\n"));
    free(text);
    json_decref(run);
}

/* A figure beyond all bounds helps nobody: what is dead is called so, what is far outside too. */
static void what_is_dead_or_far_outside_is_told_in_a_word(void **state)
{
    (void)state;
    json_t *const run = make_run("rack-1", 3, 1);
    for (size_t i = 0; i < 3; i++)
        json_object_set_new(point_at(run, i), "state", json_string("failing"));
    json_object_set_new(point_at(run, 0), "worst_margin", json_real(-99));
    json_object_set_new(point_at(run, 0), "margin", json_real(-99));
    json_object_set_new(point_at(run, 0), "dead", json_true());
    json_object_set_new(point_at(run, 1), "worst_margin", json_real(-4.05));
    json_object_set_new(point_at(run, 1), "margin", json_real(-4.05));
    json_object_set_new(point_at(run, 2), "worst_margin", json_real(-1));
    char *const text = draw(run, &screen, 0);
    assert_non_null(strstr(text, "1 dead? 2  far? 3 -100?\n"));
    assert_non_null(strstr(text, "  failing       margin   dead  out_1_1\n"));
    assert_non_null(strstr(text, "  failing       margin    far  out_2_1\n"));
    assert_null(strstr(text, "405"));
    free(text);
    json_decref(run);
}

static void sixty_four_units_fit_one_screen(void **state)
{
    (void)state;
    json_t *const run = make_run("rack-1", 64, 8);
    trip(run, 9, "2026-01-31T12:00:00.000Z");
    trip(run, 100, "2026-01-31T13:00:00.000Z");
    drift(run, 300, "2026-02-03T09:30:00.000Z");
    char *const text = draw(run, &screen, 23);
    assert_true(count_lines(text, 80) <= 23);
    assert_null(strstr(text, "do not fit"));
    assert_non_null(strstr(text, "64   75"));
    assert_non_null(strstr(text, "out_2_2\n"));
    free(text);
    json_decref(run);
}

static void what_has_no_room_is_said(void **state)
{
    (void)state;
    json_t *const run = make_run("rack-1", 256, 4);
    for (size_t i = 0; i < 100; i++)
        trip(run, 8 * i, i == 40 ? "2026-01-31T23:00:00.000Z" : "2026-01-31T13:00:00.000Z");
    json_object_set_new(point_at(run, 1021), "worst_margin", json_real(0.05));
    char *const text = draw(run, &screen, 23);
    assert_int_equal(count_lines(text, 80), 23);
    assert_non_null(strstr(text, "worst first; 192 more do not fit, 36 of them tripped, "));
    assert_non_null(strstr(text, "tripped: 100, the newest 7 of them are\n  2026-01-31T23:00:00Z"));
    free(text);
    char *const small = draw(run, &screen, 10);
    assert_int_equal(count_lines(small, 80), 10);
    assert_non_null(strstr(small, "tripped: 100, the newest 1 of them are\n"));
    free(small);
    drift(run, 1, "2026-02-03T09:30:00.000Z");
    char *const tiny = draw(run, &screen, 8);
    assert_int_equal(count_lines(tiny, 80), 8);
    assert_non_null(strstr(tiny, "points, not listed here: 100 tripped, 1 drifting\n"));
    free(tiny);
    json_decref(run);
}

static void the_grid_keeps_to_narrow_and_wide_screens(void **state)
{
    (void)state;
    static const int columns[] = { 60, 80, 132, 200 };
    json_t *const run = make_run("rack-1", 64, 8);
    trip(run, 9, "2026-01-31T12:00:00.000Z");
    drift(run, 300, "2026-02-03T09:30:00.000Z");
    json_object_set_new(point_at(run, 9), "point",
                        json_string("漢字の電源レール出力一番左側の測定点漢字の電源レール"));
    for (size_t i = 0; i < sizeof columns / sizeof columns[0]; i++) {
        const struct terminal terminal = { .columns = columns[i], .rows = 24, .bounded = true };
        char *const text = draw(run, &terminal, 23);
        assert_true(count_lines(text, (size_t)columns[i]) <= 23);
        assert_non_null(strstr(text, "64   75"));
        free(text);
    }
    json_decref(run);
}

static void points_without_a_unit_stand_by_their_names(void **state)
{
    (void)state;
    json_t *const run = make_run("rack-1", 3, 1);
    static const char *const names[] = { "漢字", "a", "a_name_of_more_columns_than_a_cell_has" };
    for (size_t i = 0; i < 3; i++) {
        json_object_del(point_at(run, i), "unit_number");
        json_object_set_new(point_at(run, i), "point", json_string(names[i]));
    }
    char *const text = draw(run, &screen, 0);
    assert_non_null(strstr(text, "                    漢字   75                         a   75 \n"
                                 "a_name_of_mo…_a_cell_has   75 \n"));
    free(text);
    json_decref(run);
}

static void trips_come_newest_first_and_meetings_next_first(void **state)
{
    (void)state;
    json_t *const run = make_run("rack-1", 1, 6);
    trip(run, 0, "2026-01-31T12:00:00.000Z");
    trip(run, 1, "2026-01-31T14:00:00.000Z");
    drift(run, 2, "2026-03-03T09:30:00.000Z");
    drift(run, 3, "2026-02-03T09:30:00.000Z");
    drift(run, 4, "2026-02-05T09:30:00.000Z");
    json_object_del(json_object_get(json_object_get(point_at(run, 2), "trend"), "meets"),
                    "expected");
    char *const text = draw(run, &screen, 0);
    const char *at = text;
    static const char *const order[] = { "out_1_2\n", "out_1_1\n", "out_1_4\n", "out_1_5\n",
                                         "out_1_3\n" };
    for (size_t i = 0; i < sizeof order / sizeof order[0]; i++) {
        at = strstr(at, order[i]);
        assert_non_null(at);
    }
    free(text);
    json_decref(run);
}

static char *draw_all(json_t *runs, size_t lines, int *status)
{
    struct capture_stream capture = { 0 };
    json_t *const result = json_pack("{s:[s], s:o}", "plans", "rack", "runs", runs);
    *status = burnin_draw_status(&screen, capture_begin(&capture), result, lines);
    json_decref(result);
    return capture_end(&capture);
}

static json_t *ended(const char *name)
{
    json_t *const run = make_run(name, 2, 1);
    json_object_set_new(run, "state", json_string("ended"));
    json_object_set_new(run, "why", json_string("stopped"));
    return run;
}

static void several_runs_share_the_screen(void **state)
{
    (void)state;
    int status;
    json_t *const runs =
        json_pack("[o, o, o, o, o]", ended("old-1"), ended("old-2"), ended("old-3"),
                  make_run("first", 64, 8), make_run("second", 4, 2));
    trip(json_array_get(runs, 0), 0, "2026-01-31T12:00:00.000Z");
    char *const text = draw_all(runs, 29, &status);
    assert_int_equal(status, STATUS_FAIL);
    assert_true(count_lines(text, 80) <= 29);
    assert_non_null(strstr(text, "first  phase soak\n"));
    assert_non_null(strstr(text, "64   75"));
    assert_non_null(strstr(text, "\nsecond  phase soak\n"));
    assert_non_null(
        strstr(text, "\nold-3  ended: stopped  round 50 of 200; units: 2 within limits\n"));
    assert_non_null(strstr(text, "units: 1 within limits, 1 tripped\n"));
    free(text);
}

static void runs_without_room_have_a_line_each(void **state)
{
    (void)state;
    int status;
    json_t *const runs =
        json_pack("[o, o, o, o, o, o]", make_run("r-1", 64, 8), make_run("r-2", 64, 8),
                  make_run("r-3", 64, 8), ended("old-1"), ended("old-2"), ended("old-3"));
    char *const text = draw_all(runs, 20, &status);
    assert_int_equal(status, STATUS_PASS);
    assert_true(count_lines(text, 80) <= 20);
    assert_non_null(strstr(text, "r-3  phase soak\n["));
    assert_non_null(
        strstr(text, "\n\nr-1  phase soak  round 50 of 200; units: 64 within limits\nold-3  "));
    assert_non_null(strstr(text, "\n2 more do not fit; see gradus burnin status RUN\n"));
    free(text);
}

static void only_ended_runs_leave_the_newest_whole(void **state)
{
    (void)state;
    int status;
    char *const text = draw_all(json_pack("[o, o]", ended("old-1"), ended("old-2")), 0, &status);
    assert_non_null(strstr(text, "old-2  ended: stopped\n["));
    assert_null(strstr(text, " left"));
    assert_non_null(strstr(text, "\n\nold-1  ended: stopped  round"));
    free(text);
    char *const none = draw_all(json_array(), 0, &status);
    assert_string_equal(none, "no run; plans:\n  rack\n");
    free(none);
}

static void names_cannot_steer_the_terminal(void **state)
{
    (void)state;
    json_t *const run = make_run("rack\033[2J", 1, 1);
    json_object_set_new(run, "phase", json_string("\033]0;x"));
    json_object_set_new(point_at(run, 0), "point", json_string("evil\033[31m"));
    json_object_del(point_at(run, 0), "unit_number");
    trip(run, 0, "2026-01-31\033[0mT12:00:00Z");
    json_object_set_new(point_at(run, 0), "cause", json_string("\033[7m"));
    char *const text = draw(run, &screen, 0);
    assert_null(strchr(text, '\033'));
    free(text);
    json_decref(run);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_run_says_how_far_it_is),
        cmocka_unit_test(units_show_their_worst_point),
        cmocka_unit_test(what_is_dead_or_far_outside_is_told_in_a_word),
        cmocka_unit_test(sixty_four_units_fit_one_screen),
        cmocka_unit_test(what_has_no_room_is_said),
        cmocka_unit_test(the_grid_keeps_to_narrow_and_wide_screens),
        cmocka_unit_test(points_without_a_unit_stand_by_their_names),
        cmocka_unit_test(trips_come_newest_first_and_meetings_next_first),
        cmocka_unit_test(several_runs_share_the_screen),
        cmocka_unit_test(runs_without_room_have_a_line_each),
        cmocka_unit_test(only_ended_runs_leave_the_newest_whole),
        cmocka_unit_test(names_cannot_steer_the_terminal),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
