/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "spark.h"

#include <math.h>
#include <string.h>

static const char *const blocks[] = { "▁", "▂", "▃", "▄", "▅", "▆", "▇", "█" };
static const char *const plain[] = { "_", ".", "-", "'" };

enum { BLOCKS = sizeof blocks / sizeof blocks[0], PLAIN = sizeof plain / sizeof plain[0] };

void spark_add(struct spark *spark, double value)
{
    spark->values[spark->next] = isfinite(value) ? value : (double)NAN;
    spark->next = (spark->next + 1) % SPARK_MOST;
    if (spark->count < SPARK_MOST)
        spark->count++;
}

/* The value that came `back` values before the last one. */
static double value_at(const struct spark *spark, size_t back)
{
    return spark->values[(spark->next + SPARK_MOST - 1 - back) % SPARK_MOST];
}

/* The level of a value that lies in the given share of the height. */
static size_t level_of(double share, size_t levels)
{
    const double level = floor(share * (double)levels);
    return (size_t)fmin(fmax(level, 0), (double)(levels - 1));
}

size_t spark_draw(const struct spark *spark, size_t columns, double span, bool ascii,
                  char text[SPARK_TEXT])
{
    const char *const *const bars = ascii ? plain : blocks;
    const size_t levels = ascii ? PLAIN : BLOCKS;
    size_t count = columns < SPARK_MOST ? columns : SPARK_MOST;
    count = count < spark->count ? count : spark->count;
    double low = (double)NAN;
    double high = (double)NAN;
    for (size_t i = 0; i < count; i++) {
        low = fmin(low, value_at(spark, i));
        high = fmax(high, value_at(spark, i));
    }
    const double middle = low / 2 + high / 2;
    const double height = fmax(high - low, span);
    char *end = text;
    *end = '\0';
    for (size_t i = count; i-- > 0;) {
        const double value = value_at(spark, i);
        const double share = height > 0 ? (value - middle) / height + 0.5 : 0.5;
        end = stpcpy(end, isnan(value) ? "x" : bars[level_of(share, levels)]);
    }
    return count;
}
