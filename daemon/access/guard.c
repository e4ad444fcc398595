/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "guard.h"

#include <netinet/in.h>
#include <string.h>

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

int64_t guard_wait(const struct guard *guard, uint64_t key, int64_t now)
{
    const struct guard_entry *entry = &guard->entries[place_of(key)];
    bool over = entry->key == 0 || now - entry->began >= GUARD_WINDOW_S;
    return over || entry->failures < GUARD_TRIES ? 0 : entry->began + GUARD_WINDOW_S - now;
}

bool guard_failed(struct guard *guard, uint64_t key, int64_t now)
{
    struct guard_entry *entry = &guard->entries[place_of(key)];
    if (entry->key == 0 || now - entry->began >= GUARD_WINDOW_S)
        *entry = (struct guard_entry) { .key = key, .began = now };
    entry->failures++;
    return entry->failures == 1 || entry->failures == GUARD_TRIES;
}
