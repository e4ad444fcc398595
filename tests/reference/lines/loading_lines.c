/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Answers lines of numbers with what core/ makes of them, for comparing it
 * with an independent computation:
 *     at   Rs tolerance Cs tolerance Rl tolerance Cl tolerance frequency
 *          -> ratio factor uncertainty
 *     two  V1 u1 R1 tolerance V2 u2 R2 tolerance
 *          -> value standard resistance standard, or "refused"
 */
#include "core/input/loading.h"
#include "core/input/two_load.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static void answer_at(const double *n)
{
    struct source source = { n[0], n[1], n[2], n[3] };
    struct load load = { n[4], n[5], n[6], n[7] };
    struct loading loading = loading_at(&source, &load, n[8]);
    printf("%.17g %.17g %.17g\n", loading.ratio, loading.factor, loading.uncertainty);
}

static void answer_two(const double *n)
{
    struct loaded_reading one = { n[0], n[1], { .resistance = n[2], .tolerance = n[3] } };
    struct loaded_reading other = { n[4], n[5], { .resistance = n[6], .tolerance = n[7] } };
    struct unloaded result;
    if (two_load_solve(&one, &other, &result, NULL))
        printf("%.17g %.17g %.17g %.17g\n", result.value, result.standard, result.resistance,
               result.resistance_standard);
    else
        printf("refused\n");
}

/* Reads the numbers behind a word; returns how many there are, at most 9. */
static int numbers(const char *text, double *n)
{
    int count = 0;
    while (count < 9) {
        char *end;
        n[count] = strtod(text, &end);
        if (end == text)
            return count;
        text = end;
        count++;
    }
    return count;
}

int main(void)
{
    char line[512];
    while (fgets(line, sizeof line, stdin) != NULL) {
        double n[9] = { 0 };
        char *space = strchr(line, ' ');
        int count = space != NULL ? numbers(space, n) : 0;
        if (count == 9 && strncmp(line, "at ", 3) == 0)
            answer_at(n);
        else if (count == 8 && strncmp(line, "two ", 4) == 0)
            answer_two(n);
        else
            return 1;
    }
    return 0;
}
