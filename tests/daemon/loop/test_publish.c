/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What is published reaches whoever joined, in the order of joining; kinds of events as on record. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "daemon/loop/publish.h"
#include "daemon/work/job.h"

/* Writes down who was told of what. */
static char told[64];

static void keep_reading(void *context, struct job *job)
{
    assert_null(job->record);
    strcat(strcat(told, context), "r ");
}

static void keep_event(void *context, struct happening *event)
{
    assert_true(event->time.ns != 0);
    event->record = (struct record *)(void *)told; /* as the store does that has taken it */
    strcat(strcat(told, context), "e ");
}

static void hear_event(void *context, struct happening *event)
{
    assert_non_null(event->record);
    strcat(strcat(told, context), "e ");
}

static void test_in_the_order_of_joining(void **state)
{
    struct publish publish = { 0 };
    struct job job = { 0 };
    struct happening event = { .kind = EVENT_INSTRUMENT_DOWN, .subject = "meter", .plan = "" };
    char store[] = "store ", run[] = "run ";
    (void)state;
    publish_join(&publish, &(struct subscriber) { store, keep_reading, keep_event });
    publish_join(&publish, &(struct subscriber) { .context = run, .event = hear_event });
    publish_reading(&publish, &job);
    publish_event(&publish, &event);
    assert_string_equal(told, "store r store e run e ");
}

static void test_kinds_are_found_by_what_is_on_record(void **state)
{
    (void)state;
    for (enum event_kind kind = 0; kind < EVENT_KINDS; kind++)
        assert_int_equal(event_kind_of(event_kind_text(kind)), kind);
    assert_int_equal(event_kind_of("no such thing"), EVENT_KINDS);
    assert_true(event_kind_kept(EVENT_TRIP));
    assert_false(event_kind_kept(EVENT_INSTRUMENT_DOWN));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_in_the_order_of_joining),
        cmocka_unit_test(test_kinds_are_found_by_what_is_on_record),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
