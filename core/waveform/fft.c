/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "fft.h"

#include <math.h>
#include <stdbool.h>
#include <string.h>

enum { RADICES = 3, LARGEST_RADIX = 5 };

static const size_t radices[RADICES] = { 2, 3, 5 };

static const double two_pi = 6.2831853071795865;

static bool smooth(size_t n)
{
    for (size_t i = 0; i < RADICES; i++) {
        while (n % radices[i] == 0) {
            n /= radices[i];
        }
    }
    return n == 1;
}

size_t fft_length(size_t most)
{
    while (most > 0 && !smooth(most)) {
        most--;
    }
    return most;
}

size_t fft_workspace(size_t n)
{
    return 2 * n;
}

/* A number of two parts, as C lays it out; not every compiler has CMPLX in this mode. */
static double complex number(double real, double imaginary)
{
    const double parts[2] = { real, imaginary };
    double complex z;
    memcpy(&z, parts, sizeof z);
    return z;
}

/* Complex product without the rules for infinities that the operator has to follow. */
static double complex product(double complex a, double complex b)
{
    return number(creal(a) * creal(b) - cimag(a) * cimag(b),
                  creal(a) * cimag(b) + cimag(a) * creal(b));
}

/* One stage of a transform: `lines` of them are done, of which each has n / lines points left. */
struct stage {
    size_t n;
    size_t radix;
    size_t lines;                /* product of the radices before */
    const double complex *roots; /* exp(-2 pi j k / n) */
};

/*
 * Stockham's autosort form (from memory; the tests compare it with the library's): each
 * stage reads `radix` points that are n / radix apart and writes them next to each other.
 */
static void run_stage(const struct stage *stage, const double complex *in, double complex *out)
{
    size_t radix = stage->radix, lines = stage->lines;
    size_t rest = stage->n / (radix * lines);
    for (size_t p = 0; p < rest; p++) {
        for (size_t q = 0; q < lines; q++) {
            double complex points[LARGEST_RADIX];
            for (size_t j = 0; j < radix; j++) {
                points[j] = in[q + lines * (p + rest * j)];
            }
            for (size_t k = 0; k < radix; k++) {
                double complex sum = points[0];
                for (size_t j = 1; j < radix; j++) {
                    size_t root = j * k % radix * (stage->n / radix);
                    sum += product(points[j], stage->roots[root]);
                }
                out[q + lines * (radix * p + k)] = product(sum, stage->roots[p * k * lines]);
            }
        }
    }
}

void fft(double complex *x, size_t n, double complex *workspace)
{
    double complex *roots = workspace, *other = workspace + n;
    for (size_t k = 0; k < n; k++) {
        double angle = two_pi * (double)k / (double)n;
        roots[k] = number(cos(angle), -sin(angle));
    }
    double complex *in = x, *out = other;
    struct stage stage = { n, 0, 1, roots };
    for (size_t i = 0; i < RADICES; i++) {
        stage.radix = radices[i];
        while (n / stage.lines % stage.radix == 0) {
            run_stage(&stage, in, out);
            double complex *done = out;
            out = in;
            in = done;
            stage.lines *= stage.radix;
        }
    }
    if (in != x) {
        memcpy(x, in, n * sizeof *x);
    }
}
