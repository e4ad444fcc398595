/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "shapes.h"

#include "background.h"

#include <math.h>
#include <string.h>

/*
 * How probable each course is before anything is known. These, and those of
 * the backgrounds, were chosen by what came out of tests/core/course/test_backgrounds.c:
 * a line that goes on for ever is claimed rather too seldom than too often.
 */
static const double priors[SHAPE_COURSES] = { 0.36, 0.36, 0.13, 0.15 };

/* The same of a daily cycle. */
static const double breathing = 0.15;

/* The same of each place where a step may be: where it fits best is chosen from many. */
static const double stepping = 0.005;

/* Time constants of settling that are tried, in spans of the course. */
static const double constants[] = { 0.02, 0.05, 0.1, 0.2, 0.4, 0.7, 1, 1.5, 2.5, 4, 7, 12, 20 };
enum { CONSTANTS = sizeof constants / sizeof *constants };

/* Slower settling cannot be told from the line that it is to settle onto. */
static const double slowest_onto_line = 0.5;

/* Slower settling does not show its time constant. */
static const double slowest_shown = 1.2;

/* A cycle must be seen whole, and so often a day. */
static const double day_most = 1.02, day_places = 2.2;

enum column {
    VALUE,
    CONSTANT,
    LINE,
    COSINE,
    SINE,
    FIRST_STEP,
    SECOND_STEP,
    SHOWN,        /* settling with the time constant that fits best */
    SHOWN_CHANGE, /* its derivative to the logarithm of that constant */
    SHOWN_LINE,   /* the same, onto a line */
    SHOWN_LINE_CHANGE,
    SETTLING
};

_Static_assert(SETTLING + CONSTANTS <= SHAPE_COLUMNS, "room for all columns");
_Static_assert((int)SHAPE_COLUMNS <= (int)BACKGROUND_COLUMNS, "the filter takes them");

static double settling(double moment, double constant)
{
    return exp(-moment / constant);
}

static double settling_change(double moment, double constant)
{
    return isinf(moment) ? 0 : moment / constant * exp(-moment / constant);
}

/* The share of a place's values that lie behind a step. */
static double stepped(const struct places *places, size_t place, size_t step)
{
    size_t from = places->first[place];
    double n = places->weight[place] * (double)places->size;
    return step <= from ? 1 : fmin(1, fmax(0, 1 - (double)(step - from) / n));
}

static void fill(const struct places *places, double day, const size_t step[2],
                 struct shapes *shapes)
{
    for (size_t i = 0; i < places->count; i++) {
        double *row = shapes->column + i * SHAPE_COLUMNS;
        double moment = places->time[i];
        memset(row, 0, SHAPE_COLUMNS * sizeof *row);
        row[VALUE] = places->value[i];
        row[CONSTANT] = 1;
        row[LINE] = moment;
        row[COSINE] = cos(2 * M_PI * moment / day);
        row[SINE] = sin(2 * M_PI * moment / day);
        row[FIRST_STEP] = stepped(places, i, step[0]);
        row[SECOND_STEP] = stepped(places, i, step[1]);
        for (size_t k = 0; k < CONSTANTS; k++)
            row[SETTLING + k] = settling(moment, constants[k]);
    }
}

static void fill_shown(const struct places *places, double constant, enum column at,
                       struct shapes *shapes)
{
    for (size_t i = 0; i < places->count; i++) {
        double *row = shapes->column + i * SHAPE_COLUMNS + at;
        row[0] = settling(places->time[i], constant);
        row[1] = settling_change(places->time[i], constant);
    }
}

/* Sum of squares that `shape` and settling with a time constant leave over, among white noise. */
static double left_by(const struct places *places, const struct shapes *shapes,
                      const struct course_shape *shape, double constant)
{
    static const size_t order[] = { 1, 2, 3, 4, 5 };
    enum { MOST = 1 + sizeof order / sizeof *order };
    double normal[MOST * MOST] = { 0 }, part[MOST];
    struct least_squares fit;
    size_t parts = shape->count + 2;
    for (size_t i = 0; i < places->count; i++) {
        const double *row = shapes->column + i * SHAPE_COLUMNS;
        part[0] = row[VALUE];
        for (size_t k = 0; k < shape->count; k++)
            part[1 + k] = row[shape->column[k]];
        part[parts - 1] = settling(places->time[i], constant);
        for (size_t a = 0; a < parts; a++)
            for (size_t b = 0; b <= a; b++)
                normal[a * parts + b] += places->weight[i] * part[a] * part[b];
    }
    return least_squares_fit(normal, parts, order, parts - 1, &fit) ? fit.left : (double)INFINITY;
}

/* The time constant that fits best: over all decades, then by golden section between neighbours. */
static double best_constant(const struct places *places, const struct shapes *shapes,
                            const struct course_shape *shape, double slowest)
{
    enum { STEPS = 16, SECTIONS = 14 };
    const double fastest = 0.01, golden = 0.61803398874989485;
    double ratio = pow(slowest / fastest, 1.0 / STEPS);
    double best = fastest, least = INFINITY;
    for (int i = 0; i <= STEPS; i++) {
        double constant = fastest * pow(ratio, i);
        double left = left_by(places, shapes, shape, constant);
        if (left < least) {
            least = left;
            best = constant;
        }
    }
    double low = log(best / ratio), high = log(best * ratio);
    for (int i = 0; i < SECTIONS; i++) {
        double a = high - golden * (high - low), b = low + golden * (high - low);
        if (left_by(places, shapes, shape, exp(a)) < left_by(places, shapes, shape, exp(b)))
            high = b;
        else
            low = a;
    }
    return fmin(slowest, exp((low + high) / 2));
}

static void put(struct course_shape *shape, enum column column)
{
    shape->column[shape->count++] = column;
    shape->parameters++;
}

/* A course without day and step. */
static struct course_shape base(enum shape_course course, double constant, double prior)
{
    struct course_shape shape = { .course = course, .constant = constant, .prior = prior };
    put(&shape, CONSTANT);
    if (course == SHAPE_LINE || course == SHAPE_SETTLING_LINE)
        put(&shape, LINE);
    return shape;
}

/* With and without each of the day and the steps. */
static void add(struct shapes *shapes, const struct course_shape *shape, bool day,
                const size_t step[2])
{
    int steps = (step[0] > 0) + (step[1] > 0 && step[1] != step[0]);
    for (int with_day = 0; with_day <= day; with_day++) {
        for (int with_step = 0; with_step <= 2; with_step++) {
            if (with_step > 0 && (step[with_step - 1] == 0 || with_step > steps))
                continue;
            struct course_shape *each = &shapes->list[shapes->count++];
            *each = *shape;
            each->day = with_day;
            each->step = with_step;
            each->prior *= (!day       ? 1
                            : with_day ? breathing
                                       : 1 - breathing) *
                           (with_step > 0 ? stepping : 1 - steps * stepping);
            if (with_day) {
                put(each, COSINE);
                put(each, SINE);
            }
            if (with_step > 0) {
                put(each, FIRST_STEP + (enum column)(with_step - 1));
                each->parameters++; /* where it is */
            }
        }
    }
}

/* Settling whose time constant is a parameter; false: it does not show. */
static bool add_shown(struct shapes *shapes, const struct places *places, struct course_shape shape,
                      enum column at, double slowest, bool day, const size_t step[2])
{
    struct course_shape trial = shape;
    if (day) {
        put(&trial, COSINE);
        put(&trial, SINE);
    }
    shape.constant = best_constant(places, shapes, &trial, slowest);
    fill_shown(places, shape.constant, at, shapes);
    if (!(shape.constant < slowest_shown))
        return false;
    put(&shape, at);
    put(&shape, at + 1);
    add(shapes, &shape, day, step);
    return true;
}

static void add_settling(struct shapes *shapes, const struct places *places,
                         enum shape_course course, enum column at, double slowest, bool day,
                         const size_t step[2])
{
    double prior = priors[course];
    size_t grid = 0;
    while (grid < CONSTANTS && constants[grid] <= slowest)
        grid++;
    bool shown = add_shown(shapes, places, base(course, 0, prior / 2), at, slowest, day, step);
    for (size_t k = 0; k < grid; k++) {
        struct course_shape shape =
            base(course, constants[k], prior / (shown ? 2 : 1) / (double)grid);
        put(&shape, SETTLING + (enum column)k);
        add(shapes, &shape, day, step);
    }
}

void shapes_lay_out(const struct places *places, double day, const size_t step[2],
                    struct shapes *shapes)
{
    bool seen = day <= day_most && (double)places->count * day > day_places;
    shapes->count = 0;
    fill(places, day, step, shapes);
    const struct course_shape constant = base(SHAPE_CONSTANT, 0, priors[SHAPE_CONSTANT]);
    const struct course_shape line = base(SHAPE_LINE, 0, priors[SHAPE_LINE]);
    add(shapes, &constant, seen, step);
    add(shapes, &line, seen, step);
    add_settling(shapes, places, SHAPE_SETTLING, SHOWN, constants[CONSTANTS - 1], seen, step);
    add_settling(shapes, places, SHAPE_SETTLING_LINE, SHOWN_LINE, slowest_onto_line, seen, step);
}

void shape_row(const struct course_shape *shape, double moment, double row[LEAST_SQUARES_COLUMNS])
{
    for (size_t i = 0; i < shape->count; i++) {
        size_t column = shape->column[i];
        row[i] = 1;
        if (column == LINE)
            row[i] = moment;
        else if (column == COSINE || column == SINE)
            row[i] = 0;
        else if (column == SHOWN_CHANGE || column == SHOWN_LINE_CHANGE)
            row[i] = settling_change(moment, shape->constant);
        else if (column == SHOWN || column == SHOWN_LINE || column >= SETTLING)
            row[i] = settling(moment, shape->constant);
    }
}

void shape_slope_row(const struct course_shape *shape, double moment,
                     double row[LEAST_SQUARES_COLUMNS])
{
    double rate = 1 / shape->constant;
    for (size_t i = 0; i < shape->count; i++) {
        size_t column = shape->column[i];
        row[i] = column == LINE;
        if (column == SHOWN_CHANGE || column == SHOWN_LINE_CHANGE)
            row[i] = rate * (1 - moment * rate) * exp(-moment * rate);
        else if (column == SHOWN || column == SHOWN_LINE || column >= SETTLING)
            row[i] = -rate * exp(-moment * rate);
    }
}
