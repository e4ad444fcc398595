/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Who is at the other end of a connection, and what that somebody may do. */
#ifndef GRADUS_DAEMON_PRINCIPAL_H
#define GRADUS_DAEMON_PRINCIPAL_H

#include "role.h"

#include <stddef.h>
#include <sys/types.h>

enum { PRINCIPAL_NAME = 128, ACCESS_NAME = 64, ACCESS_GROUPS = 32 };

struct principal {
    /* As on record: "anna (uid 1000)", "token bench-4", "certificate CN=rack-7"; always said. */
    char name[PRINCIPAL_NAME];
    enum role role;
    bool local; /* came over the Unix socket */
};

/* A group of this machine, and what its members may. */
struct access_group {
    char name[ACCESS_NAME];
    enum role role;
    gid_t gid;
};

/* What people on the machine may, by the groups they are in. */
struct access_people {
    size_t group_count;
    struct access_group groups[ACCESS_GROUPS];
    enum role others; /* what somebody may who is in none of them */
};

/*
 * Tells who is at the other end of a connected Unix socket, as of its connect(2). What they may
 * is the most that any of their groups may; root and the daemon's own user may everything. Who
 * cannot be told is nobody, and may nothing. Names come from /etc/passwd only, since nothing
 * else is sure to answer at once; where it has none the number stands alone.
 */
struct principal principal_of_peer(int descriptor, const struct access_people *people);

/* Somebody who has not said who they are yet, over TCP. */
struct principal principal_stranger(void);

#endif
