/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Random numbers that depend on a seed and a name only, so that the errors of
 * one instrument stay the same when another one is added to the bench.
 */
#ifndef STANDIN_SPREAD_H
#define STANDIN_SPREAD_H

#include <gsl/gsl_rng.h>
#include <stdint.h>

/* A generator for a seed and a name. Free with gsl_rng_free(). */
gsl_rng *spread_new(uint64_t seed, const char *name);

/* Uniform in -bound ... bound. */
double spread_within(gsl_rng *rng, double bound);

/* Uniform in 0 ... 1, 1 excluded. */
double spread_unit(gsl_rng *rng);

/* Gaussian about zero; draws nothing when sigma is 0. */
double spread_gauss(gsl_rng *rng, double sigma);

#endif
