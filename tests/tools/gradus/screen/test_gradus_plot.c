/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "tools/gradus/screen/plot.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "tools/gradus/basics/terminal_text.h"
#include "tools/gradus/screen/scale.h"

enum { WIDTH = 72, HEIGHT = 16, SEED = 125, ROUNDS = 20000 };

static struct plot plot_of(const double *samples, size_t count)
{
    return (struct plot) { .samples = samples,
                           .count = count,
                           .interval = 1e-3,
                           .unit = "V",
                           .width = WIDTH,
                           .height = HEIGHT,
                           .ascii = true };
}

/* The lines of a drawing, taken apart in place. */
struct lines {
    char *text;
    char *line[64];
    size_t count;
};

static struct lines draw(const struct plot *plot)
{
    struct lines lines = { .text = plot_draw(plot) };
    assert_non_null(lines.text);
    char *rest = lines.text;
    while (lines.count < 64 && *rest != '\0')
        lines.line[lines.count++] = strsep(&rest, "\n");
    return lines;
}

static int count_of(const struct lines *lines, const char *what)
{
    int count = 0;
    for (size_t i = 0; i < lines->count; i++)
        for (const char *at = lines->line[i]; (at = strstr(at, what)) != NULL; at++)
            count++;
    return count;
}

static void what_cannot_be_drawn_is_refused(void **state)
{
    (void)state;
    const double samples[] = { 0, 1, (double)NAN };
    const double wild[] = { -1.7e308, 1.7e308 };
    struct plot plot = plot_of(samples, 3);
    assert_null(plot_draw(&plot));
    plot = plot_of(samples, 1);
    assert_null(plot_draw(&plot));
    plot = plot_of(samples, 2);
    plot.interval = 0;
    assert_null(plot_draw(&plot));
    plot.interval = (double)NAN;
    assert_null(plot_draw(&plot));
    plot = plot_of(wild, 2);
    assert_null(plot_draw(&plot));
}

static void a_spike_of_one_sample_shows(void **state)
{
    (void)state;
    enum { COUNT = 50000 };
    double *const samples = calloc(COUNT, sizeof *samples);
    samples[33333] = 8.0;
    const struct plot plot = plot_of(samples, COUNT);
    struct lines lines = draw(&plot);
    /* From the line of 0 V to that of 8 V, in one column and in every row. */
    assert_non_null(strstr(lines.line[0], "8 V +"));
    const char *const spike = strchr(lines.line[1], '#');
    assert_non_null(spike);
    const ptrdiff_t column = spike - lines.line[1];
    for (size_t row = 0; row < HEIGHT; row++) {
        if (strstr(lines.line[row], "0 V +") == NULL || row == 0) {
            assert_int_equal(lines.line[row][column], '#');
            assert_ptr_equal(strchr(lines.line[row], '#'), lines.line[row] + column);
        }
    }
    free(lines.text);
    free(samples);
}

static void a_step_is_joined(void **state)
{
    (void)state;
    double samples[200] = { 0 };
    for (size_t i = 100; i < 200; i++)
        samples[i] = 1.0;
    const struct plot plot = plot_of(samples, 200);
    struct lines lines = draw(&plot);
    for (size_t row = 0; row < HEIGHT; row++)
        assert_non_null(strchr(lines.line[row], '#'));
    free(lines.text);
}

static void few_samples_make_a_whole_line(void **state)
{
    (void)state;
    const double samples[] = { 0, 1 };
    const struct plot plot = plot_of(samples, 2);
    struct lines lines = draw(&plot);
    const size_t width =
        strlen(lines.line[0]) - (size_t)(strchr(lines.line[0], '+') + 1 - lines.line[0]);
    assert_true(count_of(&lines, "#") >= (int)width);
    free(lines.text);
}

static void axes_carry_engineering_notation(void **state)
{
    (void)state;
    double samples[101];
    for (size_t i = 0; i < 101; i++)
        samples[i] = 0.3 * sin(2 * M_PI * (double)i / 100);
    struct plot plot = plot_of(samples, 101);
    struct lines lines = draw(&plot);
    assert_int_equal(count_of(&lines, "-200 mV +"), 1);
    assert_int_equal(count_of(&lines, " 0 V +"), 1);
    assert_int_equal(count_of(&lines, " 20 ms"), 1);
    assert_int_equal(count_of(&lines, "0000"), 0);
    assert_int_equal(lines.count, HEIGHT + 2);
    free(lines.text);
    plot.ascii = false;
    lines = draw(&plot);
    for (size_t i = 0; i < HEIGHT; i++)
        assert_int_equal(text_width(lines.line[i]), WIDTH);
    free(lines.text);
}

/* A flat trace with a known step is drawn in the middle of a few steps. */
static void a_flat_trace_is_not_blown_up(void **state)
{
    (void)state;
    const double samples[] = { 5, 5, 5 };
    struct plot plot = plot_of(samples, 3);
    plot.resolution = 0.01;
    struct lines lines = draw(&plot);
    assert_null(strstr(lines.line[0], "5 V +#"));
    assert_int_equal(count_of(&lines, "5.02 V"), 1);
    free(lines.text);
    plot.resolution = (double)NAN;
    lines = draw(&plot);
    assert_true(count_of(&lines, "#") > 0);
    free(lines.text);
}

static void a_small_terminal_is_survived(void **state)
{
    (void)state;
    const double samples[] = { -123456.789, 1, 2 };
    struct plot plot = plot_of(samples, 3);
    plot.width = 1;
    plot.height = 0;
    struct lines lines = draw(&plot);
    assert_int_equal(lines.count, PLOT_LEAST_HEIGHT + 2);
    free(lines.text);
}

static void scales_without_an_extent_are_refused(void **state)
{
    (void)state;
    struct scale scale;
    assert_false(scale_fit(1, 1, 5, true, &scale));
    assert_false(scale_fit(2, 1, 5, true, &scale));
    assert_false(scale_fit(0, (double)NAN, 5, true, &scale));
    assert_false(scale_fit(-(double)INFINITY, 0, 5, true, &scale));
    assert_false(scale_fit(0, 1, 0, true, &scale));
    assert_false(scale_fit(1, 1 + 1e-12, 5, true, &scale));
}

static void lines_have_clean_values(void **state)
{
    (void)state;
    struct scale scale;
    assert_true(scale_fit(0, 0.5, 5, true, &scale));
    assert_int_equal(scale.mantissa, 1);
    assert_true(scale_line(&scale, 3) == 0.3);
    assert_true(scale_fit(-3, 4, 5, true, &scale));
    assert_true(scale_line(&scale, scale.first) == -4 && scale_line(&scale, scale.last) == 4);
    assert_true(scale_fit(0, 0.999, 6, false, &scale));
    assert_true(scale_line(&scale, scale.last) == 0.8);
}

static double random_number(uint64_t *state)
{
    *state = *state * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
    return ldexp((double)(*state >> 11), -53);
}

/* Whatever the extent: 1, 2 or 5, lines at or outside both ends, not too many, none to spare. */
static void every_scale_keeps_its_promise(void **state)
{
    (void)state;
    uint64_t random = SEED;
    print_message("seed %d\n", SEED);
    for (int i = 0; i < ROUNDS; i++) {
        const double extent = pow(10, 24 * random_number(&random) - 12);
        const double low = (random_number(&random) - 0.5) * extent * 100;
        const int intervals = 1 + (int)(random_number(&random) * 12);
        struct scale scale;
        assert_true(scale_fit(low, low + extent, intervals, true, &scale));
        const double step = scale_line(&scale, 1);
        assert_true(scale.mantissa == 1 || scale.mantissa == 2 || scale.mantissa == 5);
        assert_true(step >= extent / intervals * (1 - 1e-8));
        assert_true(step <= extent / intervals * 2.5 * (1 + 1e-8));
        assert_true(scale_line(&scale, scale.first) <= low + 1e-8 * step);
        assert_true(scale_line(&scale, scale.last) >= low + extent - 1e-8 * step);
        assert_true(scale.last - scale.first <= intervals + 1);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_cannot_be_drawn_is_refused),
        cmocka_unit_test(scales_without_an_extent_are_refused),
        cmocka_unit_test(a_small_terminal_is_survived),
        cmocka_unit_test(a_flat_trace_is_not_blown_up),
        cmocka_unit_test(a_spike_of_one_sample_shows),
        cmocka_unit_test(a_step_is_joined),
        cmocka_unit_test(few_samples_make_a_whole_line),
        cmocka_unit_test(axes_carry_engineering_notation),
        cmocka_unit_test(lines_have_clean_values),
        cmocka_unit_test(every_scale_keeps_its_promise),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
