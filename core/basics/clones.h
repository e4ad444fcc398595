/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * CLONES before a function has it compiled twice, for any x86-64 and for one
 * with 256-bit vectors; the loader takes the one that fits the machine. Both
 * give the same numbers, for neither may fuse a product with a sum. Nothing
 * elsewhere, nor under sanitizers, whose start-up comes after the loader's choice.
 */
#ifndef GRADUS_CORE_CLONES_H
#define GRADUS_CORE_CLONES_H

#include <limits.h> /* for __GLIBC__, where it is */

#if defined(__x86_64__) && defined(__GLIBC__) && defined(__GNUC__) && !defined(__clang__) &&       \
    !defined(__SANITIZE_ADDRESS__) && !defined(__SANITIZE_THREAD__)
#define CLONES __attribute__((target_clones("avx2", "default")))
#else
#define CLONES
#endif

#endif
