/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The walk through runs rests between rows: what becomes of a run meanwhile leaves the text whole. */
#include "daemon/burnin/burnin_look.h"
#include "daemon/burnin/burnin_priv.h"
#include "daemon/settings/settings.h"

#include <jansson.h>
#include <setjmp.h>
#include <stdarg.h>
#include <string.h>

#include <cmocka.h>

static const char settings[] =
    "profiles = \"" GRADUS_SOURCE "/config/profiles\";\n"
    "store = { path = \"/tmp/none.db\"; };\n"
    "instruments = ( { name = \"a\"; profile = \"tarnwerk-meter\"; link = \"tcp:a:1\"; } );\n"
    "points = ( { name = \"a_{unit}\"; units = { last = 3; }; instrument = \"a\"; probe = "
    "\"direct\";\n"
    "    input = { first = 1; }; quantity = \"dc voltage\"; } );\n"
    "burnin = ( { name = \"rack\"; points = ( \"a\" ); every_s = 60; duration_s = 600; } );\n";

static struct burnin_clock still(void *context)
{
    (void)context;
    return (struct burnin_clock) { { 1767225600 * SECOND_NS }, { SECOND_NS } };
}

/* Two runs of three points each, neither of which has measured anything. */
struct runs {
    struct bench *bench;
    struct loop loop;
    struct burnin burnin;
    struct burnin_entry entries[2];
};

static void set_up(struct runs *runs)
{
    struct problems problems = { 0 };
    const struct burnin_host host = { .now = still };
    memset(runs, 0, sizeof *runs);
    runs->bench = settings_read(settings, sizeof settings - 1, "test.cfg", &problems);
    assert_non_null(runs->bench);
    runs->loop.bench = runs->bench;
    runs->burnin.loop = &runs->loop;
    TAILQ_INIT(&runs->burnin.entries);
    for (size_t i = 0; i < 2; i++) {
        const char *name = i == 0 ? "rack-1" : "rack-2";
        runs->entries[i].number = i + 1;
        runs->entries[i].run = burnin_run_new(runs->bench, &runs->bench->burnins[0], name, &host);
        assert_non_null(runs->entries[i].run);
        runs->entries[i].run->schedule =
            burnin_schedule(&runs->bench->burnins[0], (struct plan_time) { SECOND_NS });
        TAILQ_INSERT_TAIL(&runs->burnin.entries, &runs->entries[i], entry);
    }
    problems_free(&problems);
}

static void tear_down(struct runs *runs)
{
    for (size_t i = 0; i < 2; i++)
        burnin_run_free(runs->entries[i].run);
    bench_unref(runs->bench);
}

/* The status as text, with the first run gone after so many rows. */
static json_t *status(struct runs *runs, const char *run, size_t gone_after)
{
    struct text text = { 0 };
    struct burnin_walk walk;
    struct burnin_row row;
    struct failure failure = { 0 };
    assert_true(burnin_walk_begin(&runs->burnin, run, &walk, &failure));
    burnin_status_open(&text, runs->bench);
    for (size_t i = 0; burnin_walk_next(&runs->burnin, &walk, &row); i++) {
        burnin_status_row(&text, &row);
        if (i + 1 == gone_after)
            TAILQ_REMOVE(&runs->burnin.entries, &runs->entries[0], entry);
    }
    burnin_status_close(&text);
    assert_false(text.failed);
    json_t *json = json_loadb(text.bytes, text.length, JSON_REJECT_DUPLICATES, NULL);
    assert_non_null(json);
    text_free(&text);
    json_t *found = json_incref(json_object_get(json, "runs"));
    json_decref(json);
    return found;
}

static void check(const json_t *found, size_t index, const char *name, size_t points)
{
    const json_t *run = json_array_get(found, index);
    assert_string_equal(json_string_value(json_object_get(run, "run")), name);
    assert_int_equal(json_array_size(json_object_get(run, "points")), points);
}

static void test_all_and_one(void **state)
{
    struct runs runs;
    struct burnin_walk walk;
    struct failure failure = { 0 };
    (void)state;
    set_up(&runs);
    json_t *found = status(&runs, NULL, 0);
    assert_int_equal(json_array_size(found), 2);
    check(found, 0, "rack-1", 3);
    check(found, 1, "rack-2", 3);
    json_decref(found);
    found = status(&runs, "rack-1", 0);
    assert_int_equal(json_array_size(found), 1);
    check(found, 0, "rack-1", 3);
    json_decref(found);
    found = status(&runs, "rack", 0);
    assert_int_equal(json_array_size(found), 1);
    check(found, 0, "rack-2", 3);
    json_decref(found);
    assert_false(burnin_walk_begin(&runs.burnin, "other", &walk, &failure));
    tear_down(&runs);
}

static void test_a_run_that_goes_meanwhile(void **state)
{
    struct runs runs;
    (void)state;
    for (size_t rows = 1; rows <= 4; rows++) {
        set_up(&runs);
        json_t *found = status(&runs, NULL, rows);
        assert_int_equal(json_array_size(found), 2);
        check(found, 0, "rack-1", rows - 1);
        check(found, 1, "rack-2", 3);
        json_decref(found);
        tear_down(&runs);
        set_up(&runs);
        found = status(&runs, "rack-1", rows);
        assert_int_equal(json_array_size(found), 1);
        check(found, 0, "rack-1", rows - 1);
        json_decref(found);
        tear_down(&runs);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_all_and_one),
        cmocka_unit_test(test_a_run_that_goes_meanwhile),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
