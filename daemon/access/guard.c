/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "guard.h"

#include <netinet/in.h>
#include <string.h>

static const struct duration window = { 60 * SECOND_NS };

uint64_t guard_key(const struct sockaddr_storage *address)
{
    uint64_t key = 0;
    if (address->ss_family == AF_INET)
        key = UINT64_C(1) << 32 |
              ((const struct sockaddr_in *)(const void *)address)->sin_addr.s_addr;
    else if (address->ss_family == AF_INET6)
        memcpy(&key, &((const struct sockaddr_in6 *)(const void *)address)->sin6_addr, sizeof key);
    return key != 0 ? key : 1;
}

/* Fibonacci hashing: Knuth, The Art of Computer Programming, vol. 3, 6.4. */
static size_t place_of(uint64_t key)
{
    return (size_t)((key * UINT64_C(0x9E3779B97F4A7C15)) >> 54);
}

_Static_assert(GUARD_ADDRESSES == 1 << (64 - 54), "the upper ten bits of the product");

/* Whether the minute of an entry's first failure is over, or it has none. */
static bool is_over(const struct guard_entry *entry, struct moment now)
{
    return entry->key == 0 || !duration_shorter(moment_since(now, entry->began), window);
}

struct duration guard_wait(const struct guard *guard, uint64_t key, struct moment now)
{
    const struct guard_entry *entry = &guard->entries[place_of(key)];
    if (is_over(entry, now) || entry->failures < GUARD_TRIES)
        return (struct duration) { 0 };
    return moment_since(moment_plus(entry->began, window), now);
}

bool guard_failed(struct guard *guard, uint64_t key, struct moment now)
{
    struct guard_entry *entry = &guard->entries[place_of(key)];
    if (is_over(entry, now))
        *entry = (struct guard_entry) { .key = key, .began = now };
    entry->failures++;
    return entry->failures == 1 || entry->failures == GUARD_TRIES;
}
