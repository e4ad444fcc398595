/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "core/basics/quantity.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

static void a_quantity_from_nowhere_still_has_a_text(void **state)
{
    (void)state;
    assert_string_equal(quantity_name(QUANTITY_COUNT), "unknown quantity");
}

static void pairs_that_do_not_exist_are_refused(void **state)
{
    (void)state;
    enum quantity quantity = QUANTITY_FREQUENCY;
    assert_false(quantity_of(ASPECT_WHOLE, DIMENSION_VOLTAGE, &quantity));
    assert_false(quantity_of(ASPECT_DC, DIMENSION_RESISTANCE, &quantity));
    assert_false(quantity_of(ASPECT_RMS, DIMENSION_FREQUENCY, &quantity));
    assert_int_equal(quantity, QUANTITY_FREQUENCY);
}

static void pairs_read_back(void **state)
{
    (void)state;
    for (int i = 0; i < QUANTITY_COUNT; i++) {
        enum quantity quantity = (enum quantity)i;
        enum quantity found = QUANTITY_COUNT;
        assert_true(quantity_of(quantity_aspect(quantity), quantity_dimension(quantity), &found));
        /* Of several with one pair, as resistance on two wires and on four, it is the first's. */
        assert_true(found <= quantity);
        assert_int_equal(quantity_aspect(found), quantity_aspect(quantity));
        assert_int_equal(quantity_dimension(found), quantity_dimension(quantity));
    }
}

/* What a scope has from a record's shape is not what a meter has from a level; own derivation. */
static void figures_of_shape(void **state)
{
    (void)state;
    static const enum quantity shapes[] = {
        QUANTITY_FREQUENCY,
        QUANTITY_PERIOD,
        QUANTITY_DUTY,
        QUANTITY_PULSE_WIDTH,
        QUANTITY_RISE_TIME,
        QUANTITY_FALL_TIME,
        QUANTITY_OVERSHOOT,
        QUANTITY_DISTORTION,
        QUANTITY_DELAY,
        QUANTITY_PHASE,
        QUANTITY_AMPLITUDE_VOLTAGE,
        QUANTITY_AMPLITUDE_CURRENT,
        QUANTITY_AMPLITUDE_SIGNAL,
    };
    for (int i = 0; i < QUANTITY_COUNT; i++) {
        enum quantity quantity = (enum quantity)i;
        bool shape = false;
        for (size_t j = 0; j < sizeof shapes / sizeof *shapes; j++)
            shape = shape || shapes[j] == quantity;
        assert_int_equal(quantity_is_shape(quantity), shape);
        assert_int_equal(quantity_is_pair(quantity),
                         quantity == QUANTITY_DELAY || quantity == QUANTITY_PHASE);
        assert_int_equal(quantity_ignores_slow(quantity), quantity == QUANTITY_FREQUENCY ||
                                                              quantity == QUANTITY_PERIOD ||
                                                              quantity == QUANTITY_DISTORTION);
    }
    assert_string_equal(dimension_unit(quantity_dimension(QUANTITY_DUTY)), "%");
    assert_string_equal(dimension_unit(quantity_dimension(QUANTITY_RISE_TIME)), "s");
}

static void a_few_by_name(void **state)
{
    (void)state;
    enum quantity quantity = QUANTITY_PEAK_TO_PEAK_CURRENT;
    assert_string_equal(quantity_name(quantity), "peak-to-peak current");
    assert_int_equal(quantity_aspect(quantity), ASPECT_PEAK_TO_PEAK);
    assert_int_equal(quantity_dimension(quantity), DIMENSION_CURRENT);
    assert_int_equal(quantity_aspect(QUANTITY_RESISTANCE), ASPECT_WHOLE);
}

/* Of which aspects each trait is true; own derivation, from what each aspect is. */
static void each_aspect_has_its_traits(void **state)
{
    (void)state;
    static const struct {
        enum aspect aspect;
        bool averages, rms, extreme, steady, ignores_mean, has_no_sign;
        int end;
        enum aspect inverted;
    } rows[] = {
        { ASPECT_DC, 1, 0, 0, 1, 0, 0, 0, ASPECT_DC },
        { ASPECT_AC, 1, 1, 0, 0, 1, 1, 0, ASPECT_AC },
        { ASPECT_RMS, 1, 1, 0, 0, 0, 1, 0, ASPECT_RMS },
        { ASPECT_PEAK_TO_PEAK, 0, 0, 1, 0, 1, 1, 0, ASPECT_PEAK_TO_PEAK },
        { ASPECT_MAXIMUM, 0, 0, 1, 0, 0, 0, 1, ASPECT_MINIMUM },
        { ASPECT_MINIMUM, 0, 0, 1, 0, 0, 0, -1, ASPECT_MAXIMUM },
        { ASPECT_WHOLE, 0, 0, 0, 1, 0, 0, 0, ASPECT_WHOLE },
    };
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        assert_int_equal(aspect_averages(rows[i].aspect), rows[i].averages);
        assert_int_equal(aspect_is_rms(rows[i].aspect), rows[i].rms);
        assert_int_equal(aspect_is_extreme(rows[i].aspect), rows[i].extreme);
        assert_int_equal(aspect_is_steady(rows[i].aspect), rows[i].steady);
        assert_int_equal(aspect_ignores_mean(rows[i].aspect), rows[i].ignores_mean);
        assert_int_equal(aspect_has_no_sign(rows[i].aspect), rows[i].has_no_sign);
        assert_int_equal(aspect_end(rows[i].aspect), rows[i].end);
        assert_int_equal(aspect_inverted(rows[i].aspect), rows[i].inverted);
    }
}

/* SI Brochure, 9th edition, Table 4; the ohm is the Greek capital letter (section 5.2). */
static void units_are_those_of_the_si(void **state)
{
    (void)state;
    assert_string_equal(dimension_unit(DIMENSION_VOLTAGE), "V");
    assert_string_equal(dimension_unit(DIMENSION_CURRENT), "A");
    assert_string_equal(dimension_unit(DIMENSION_RESISTANCE), "\xCE\xA9");
    assert_string_equal(dimension_unit(DIMENSION_FREQUENCY), "Hz");
    assert_string_equal(dimension_unit(DIMENSION_SIGNAL), "");
}

/* Common practice, no source. */
static void words_of_the_workshop(void **state)
{
    (void)state;
    assert_string_equal(quantity_guess("ripple"), "peak-to-peak voltage");
    assert_string_equal(quantity_guess("VDC"), "dc voltage");
    assert_string_equal(quantity_guess("THD"), "harmonic distortion");
    assert_string_equal(quantity_guess("duty cycle"), "duty factor");
    assert_null(quantity_guess("dc voltage"));
    assert_null(quantity_guess(""));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(words_of_the_workshop),
        cmocka_unit_test(a_quantity_from_nowhere_still_has_a_text),
        cmocka_unit_test(pairs_that_do_not_exist_are_refused),
        cmocka_unit_test(pairs_read_back),
        cmocka_unit_test(a_few_by_name),
        cmocka_unit_test(figures_of_shape),
        cmocka_unit_test(each_aspect_has_its_traits),
        cmocka_unit_test(units_are_those_of_the_si),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
