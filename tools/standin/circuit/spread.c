/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "spread.h"

#include "tools/standin/basics/alloc.h"

#include <gsl/gsl_randist.h>

/* Folds seed and name into 32 bits: the multiply-xor hash of 64 bits, then its halves joined. */
static unsigned long fold(uint64_t seed, const char *name)
{
    uint64_t hash = 0xcbf29ce484222325u ^ (seed * 0x9e3779b97f4a7c15u);

    for (const char *c = name; *c != '\0'; c++)
        hash = (hash ^ (unsigned char)*c) * 0x100000001b3u;
    return (unsigned long)((hash ^ (hash >> 32)) & 0xffffffffu);
}

gsl_rng *spread_new(uint64_t seed, const char *name)
{
    gsl_rng *rng = alloc_checked(gsl_rng_alloc(gsl_rng_mt19937));

    gsl_rng_set(rng, fold(seed, name));
    return rng;
}

double spread_within(gsl_rng *rng, double bound)
{
    return gsl_ran_flat(rng, -1.0, 1.0) * bound;
}

double spread_unit(gsl_rng *rng)
{
    return gsl_rng_uniform(rng);
}

double spread_gauss(gsl_rng *rng, double sigma)
{
    return sigma > 0.0 ? gsl_ran_gaussian_ziggurat(rng, sigma) : 0.0;
}
