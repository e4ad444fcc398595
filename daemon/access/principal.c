/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "principal.h"

#include <errno.h>
#include <pwd.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <unistd.h>

struct principal principal_stranger(void)
{
    return (struct principal) { .name = "somebody over TCP", .role = ROLE_NONE };
}

static enum role role_in(const struct access_people *people, gid_t gid, enum role before)
{
    for (size_t i = 0; i < people->group_count; i++)
        if (people->groups[i].gid == gid && !role_may(before, people->groups[i].role))
            before = people->groups[i].role;
    return before;
}

/* The peer's supplementary groups, to be freed; NULL and 0 where they cannot be told. */
static gid_t *peer_groups(int descriptor, size_t *count)
{
    socklen_t size = 0;
    gid_t *groups = NULL;
    *count = 0;
    /* With no room it fails and tells the size that is needed (socket(7)). */
    if (getsockopt(descriptor, SOL_SOCKET, SO_PEERGROUPS, NULL, &size) != 0 && errno == ERANGE)
        groups = malloc(size);
    if (groups != NULL && getsockopt(descriptor, SOL_SOCKET, SO_PEERGROUPS, groups, &size) == 0)
        *count = size / sizeof *groups;
    return groups;
}

static enum role role_of_peer(int descriptor, const struct ucred *peer,
                              const struct access_people *people)
{
    if (peer->uid == 0 || peer->uid == geteuid())
        return ROLE_ADMINISTER;
    size_t count;
    gid_t *groups = peer_groups(descriptor, &count);
    enum role role = role_in(people, peer->gid, people->others);
    for (size_t i = 0; i < count; i++)
        role = role_in(people, groups[i], role);
    free(groups);
    return role;
}

static void name_peer(char name[PRINCIPAL_NAME], uid_t uid)
{
    FILE *file = fopen("/etc/passwd", "re");
    const struct passwd *entry = NULL;
    while (file != NULL && (entry = fgetpwent(file)) != NULL && entry->pw_uid != uid)
        continue;
    if (entry != NULL)
        snprintf(name, PRINCIPAL_NAME, "%.*s (uid %u)", ACCESS_NAME, entry->pw_name, (unsigned)uid);
    else
        snprintf(name, PRINCIPAL_NAME, "uid %u", (unsigned)uid);
    if (file != NULL)
        fclose(file);
}

struct principal principal_of_peer(int descriptor, const struct access_people *people)
{
    struct principal who = { .name = "nobody known", .role = ROLE_NONE, .local = true };
    struct ucred peer = { .uid = (uid_t)-1, .gid = (gid_t)-1 };
    socklen_t size = sizeof peer;
    if (getsockopt(descriptor, SOL_SOCKET, SO_PEERCRED, &peer, &size) != 0 || peer.uid == (uid_t)-1)
        return who;
    name_peer(who.name, peer.uid);
    who.role = role_of_peer(descriptor, &peer, people);
    return who;
}
