/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Whether the commands of burn-in plans can be run, and as whom. */
#include "check_commands.h"

#include <errno.h>
#include <grp.h>
#include <pwd.h>
#include <stdio.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>

/* In a process of its own, which becomes the user: what comes of access(2) there, as an errno. */
static int access_as(const struct passwd *user, const char *path)
{
    int status = 0;
    pid_t child = fork();
    if (child == 0) {
        bool become =
            setgroups(0, NULL) == 0 && setgid(user->pw_gid) == 0 && setuid(user->pw_uid) == 0;
        _exit(become && access(path, X_OK) == 0 ? 0 : errno);
    }
    while (child > 0 && waitpid(child, &status, 0) < 0 && errno == EINTR)
        continue;
    return child > 0 && WIFEXITED(status) ? WEXITSTATUS(status) : ECHILD;
}

/* The daemon runs it as the plan says when it is root, else as itself: so is it looked at. */
static bool check_command(const struct bench *bench, const struct bench_burnin *plan)
{
    const struct passwd *user = geteuid() == 0 ? getpwnam(plan->command_user) : getpwuid(geteuid());
    const char *path = plan->command[0];
    if (user == NULL || (geteuid() == 0 && user->pw_uid == 0)) {
        fprintf(stderr,
                "%s: burn-in \"%s\": its command would not be run as \"%s\", expected a user "
                "of this machine that is not root\n",
                bench->path, plan->name, plan->command_user);
        return false;
    }
    int error = geteuid() == 0 ? access_as(user, path) : access(path, X_OK) == 0 ? 0 : errno;
    if (error != 0) {
        fprintf(stderr, "%s: burn-in \"%s\": its command %s cannot be run as %s: %s\n", bench->path,
                plan->name, path, user->pw_name, strerror(error));
        return false;
    }
    printf("%s: burn-in \"%s\" runs %s as %s when a point trips\n", bench->path, plan->name, path,
           user->pw_name);
    return true;
}

bool check_commands(const struct bench *bench)
{
    bool good = true;
    for (size_t i = 0; i < bench->burnin_count; i++)
        if (bench->burnins[i].command[0] != NULL && !check_command(bench, &bench->burnins[i]))
            good = false;
    return good;
}
