/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "digest.h"

#include <nettle/sha2.h>
#include <stdio.h>

char *digest_bytes(const void *bytes, size_t count, char digest[DIGEST_SIZE])
{
    struct sha256_ctx context;
    uint8_t sum[SHA256_DIGEST_SIZE];

    sha256_init(&context);
    sha256_update(&context, count, bytes);
    sha256_digest(&context, sizeof sum, sum);
    for (size_t i = 0; i < sizeof sum; i++)
        snprintf(digest + 2 * i, 3, "%02x", sum[i]);
    return digest;
}
