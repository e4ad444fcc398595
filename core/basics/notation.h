/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Writing values for people: SI prefixes and rounding after the SI Brochure
 * and JCGM 100 7.2.6. Value and uncertainty share the last decimal place.
 * The sign is a hyphen; micro is U+00B5; one space before the unit.
 *
 * Prefixes go from p to G. A unit that is not known to take one ("°C", "%", "",
 * "mm") gets none. Where neither can write a number readably (beyond 15 digits
 * before the point, or 6 zeros after it), a power of ten is written: "1.5e-30 V".
 * A unit is at most 15 bytes long, as in struct probe.
 */
#ifndef GRADUS_CORE_NOTATION_H
#define GRADUS_CORE_NOTATION_H

#include <stddef.h>

enum { NOTATION_SIZE = 96 };

/*
 * Writes `value` with `digits` significant digits and the SI prefix that leaves
 * 1 to 999 before the point, rounding before the prefix is chosen: 999.96 V is
 * "1.000 kV" (own rule; the SI Brochure, 9th edition, 3, has the prefixes and
 * not when to use which). Below the smallest prefix the smallest is kept, with
 * digits - 1 places after the point. NAN gives "-", an infinity "inf" or
 * "-inf".
 *
 * text    at least NOTATION_SIZE bytes
 * digits  1 to 15
 * Returns text.
 */
char *notation_value(char *text, size_t size, double value, int digits, const char *unit);

/*
 * Writes "5.013 V ± 0.004 V": the uncertainty rounded to `digits` (1 or 2)
 * significant digits, rounded up where rounding would lose more than 5 % of it
 * (EA-4/02 6.3), the value to the same decimal place, one prefix for both (JCGM
 * 100:2008 7.2.6). The prefix follows the larger of the two, and goes one up
 * where zeros that mean nothing would stand before the point: 0.10 V ± 0.05 V.
 * An uncertainty below the last digit of a double grows to that digit. A value
 * without a usable uncertainty (NAN, zero, negative or infinite) is written
 * with six digits and no "±". Returns text.
 *
 * size    at least NOTATION_SIZE
 */
char *notation_result(char *text, size_t size, double value, double uncertainty, int digits,
                      const char *unit);

/*
 * Writes a setting or limit as a person would: as few digits as give back
 * the number, with prefix: 0.2 -> "200 mV", 40 -> "40 V", 4.75 -> "4.75 V". A limit
 * that was computed (12 V + 5 %) gives back its first 15 digits, as many as any
 * decimal keeps in a double, and not the rounding behind them.
 */
char *notation_plain(char *text, size_t size, double value, const char *unit);

#endif
