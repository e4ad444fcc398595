/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A course in few places: what goes in comes out as means, in order, with nothing lost. */
#include "daemon/burnin/track.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

enum { MOST = 64 };

static void what_fits_is_kept_as_it_is(void **state)
{
    (void)state;
    struct track track = track_begin(MOST);
    for (int i = 0; i < MOST; i++)
        assert_true(track_add(&track, i, i * i));
    assert_int_equal(track.count, MOST);
    assert_int_equal(track.stride, 1);
    for (int i = 0; i < MOST; i++)
        assert_true(track.times[i] == i && track.values[i] == i * i);
    track_end(&track);
    assert_int_equal(track.count, 0);
}

/* A line stays that line through any number of joinings. */
static void a_line_stays_a_line(void **state)
{
    (void)state;
    for (int length = 1; length < 3000; length += 37) {
        struct track track = track_begin(MOST);
        for (int i = 0; i < length; i++)
            assert_true(track_add(&track, i, 3.0 * i - 7));
        assert_true(track.count <= MOST);
        assert_int_equal(track.count * track.stride + track.gathered, length);
        for (size_t i = 0; i < track.count; i++) {
            assert_true(fabs(track.values[i] - (3 * track.times[i] - 7)) < 1e-9);
            assert_true(i == 0 || track.times[i] > track.times[i - 1]);
        }
        track_end(&track);
    }
}

static void the_smallest_change_is_the_quantum(void **state)
{
    (void)state;
    static const double shown[] = { 5.0, 5.0, 5.5, 5.25, 5.25, 6.25 };
    struct track track = track_begin(MOST);
    assert_true(track_add(&track, 0, shown[0]) && track_add(&track, 1, shown[1]));
    assert_true(track.quantum == 0);
    for (int i = 2; i < 6; i++)
        assert_true(track_add(&track, i, shown[i]));
    assert_true(track.quantum == 0.25);
    track_end(&track);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_fits_is_kept_as_it_is),
        cmocka_unit_test(a_line_stays_a_line),
        cmocka_unit_test(the_smallest_change_is_the_quantum),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
