/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Expands budgets for blackbox_budgets.py: each line of standard input is a
 * JSON array of terms {shape, standard, sensitivity, freedom or null}, each
 * line of output {standard, freedom or null, coverage, method}.
 */
#include "core/uncertainty/budget.h"
#include "core/uncertainty/expand.h"

#include <jansson.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static enum shape shape_of(const char *name)
{
    int shape = SHAPE_NORMAL;
    while (shape < SHAPE_BIAS && strcmp(shape_name((enum shape)shape), name) != 0)
        shape++;
    return (enum shape)shape;
}

static bool add(struct budget *budget, json_t *term)
{
    const char *shape;
    double standard;
    double sensitivity;
    json_t *freedom;
    return json_unpack(term, "{s:s, s:F, s:F, s:o}", "shape", &shape, "standard", &standard,
                       "sensitivity", &sensitivity, "freedom", &freedom) == 0 &&
           budget_add(budget, shape, shape_of(shape), standard, sensitivity,
                      json_is_number(freedom) ? json_number_value(freedom) : INFINITY);
}

static void answer(const struct budget *budget)
{
    struct expanded expanded = budget_expand(budget);
    printf("{\"standard\": %.17g, ", expanded.standard);
    if (isfinite(expanded.freedom))
        printf("\"freedom\": %.17g, ", expanded.freedom);
    printf("\"coverage\": %.17g, \"method\": \"%s\"}\n", expanded.coverage,
           coverage_method_name(expanded.method));
}

int main(void)
{
    char line[8192];
    while (fgets(line, sizeof line, stdin) != NULL) {
        struct budget budget = { .count = 0 };
        json_t *terms = json_loads(line, 0, NULL);
        bool good = json_is_array(terms);
        for (size_t i = 0; good && i < json_array_size(terms); i++)
            good = add(&budget, json_array_get(terms, i));
        json_decref(terms);
        if (!good)
            return EXIT_FAILURE;
        answer(&budget);
    }
    return EXIT_SUCCESS;
}
