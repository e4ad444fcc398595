/* SPDX-License-Identifier: GPL-3.0-or-later */
/* SHA-256 of texts: tells whether settings or a profile are still the ones a reading was made with. */
#ifndef GRADUS_DRIVERS_DIGEST_H
#define GRADUS_DRIVERS_DIGEST_H

#include <stddef.h>

enum { DIGEST_SIZE = 65 };

/* Writes the SHA-256 (FIPS 180-4) of `count` bytes in lower-case hexadecimal. Returns `digest`. */
char *digest_bytes(const void *bytes, size_t count, char digest[DIGEST_SIZE]);

#endif
