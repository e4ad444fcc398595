/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The discrete Fourier transform for lengths that are products of 2, 3 and 5,
 * in memory that the caller gives (the library's own transform allocates).
 */
#ifndef GRADUS_CORE_FFT_H
#define GRADUS_CORE_FFT_H

#include <complex.h>
#include <stddef.h>

/* The largest product of 2, 3 and 5 that is not above `most`; 0 for 0. */
size_t fft_length(size_t most);

/* Complex numbers of workspace that a transform of n takes: 2 n. */
size_t fft_workspace(size_t n);

/*
 * X[k] = sum over i of x[i] exp(-2 pi j i k / n), in place.
 *
 * x          n of them; n a product of 2, 3 and 5, > 0
 * workspace  fft_workspace(n) of them
 */
void fft(double complex *x, size_t n, double complex *workspace);

#endif
