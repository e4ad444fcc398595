/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A number as decimal digits, correctly rounded from a double: what
 * notation.c shifts and shortens without ever computing with the digits.
 */
#ifndef GRADUS_CORE_DECIMAL_H
#define GRADUS_CORE_DECIMAL_H

#include <stdbool.h>
#include <stddef.h>

enum { DECIMAL_DIGITS = 18 }; /* 17 tell any two doubles apart, one more by rounding up */

/* (-1)^negative * d[0].d[1]d[2]... * 10^exponent. Zero has no digits. */
struct decimal {
    bool negative;
    int exponent;                /* power of ten of the first digit; 0 for zero */
    int count;                   /* of digits; the first is not '0' */
    char digits[DECIMAL_DIGITS]; /* '0' to '9', not terminated */
};

/* `value` (finite) rounded to 1 to 17 significant digits. Nearest, ties to even. */
struct decimal decimal_round(double value, int digits);

/*
 * `value` (finite) rounded to a multiple of 10^place, which is at least
 * 10^-16 of the value's own power of ten. Nearest, ties to even.
 */
struct decimal decimal_at(double value, int place);

/* As decimal_round(), with the fewest digits that read back as exactly `value`. */
struct decimal decimal_shortest(double value);

/* The double nearest to a decimal. */
double decimal_value(const struct decimal *decimal);

/* One step of 10^place further from zero; every digit stands at `place` or above it. */
struct decimal decimal_step_away(const struct decimal *decimal, int place);

/*
 * Writes a decimal as digits with a point, in units of 10^unit_exponent and
 * with `decimals` (>= 0) digits after the point, which is where the decimal must
 * end. A hyphen stands before it unless it is zero. Always terminated; the text
 * is cut at `size`, so give it room. Returns text.
 */
char *decimal_write(char *text, size_t size, const struct decimal *decimal, int unit_exponent,
                    int decimals);

#endif
