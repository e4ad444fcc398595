/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Whether the commands of burn-in plans can be run, and as whom. */
#include "check_commands.h"

#include "check_say.h"

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

/*
 * The daemon runs it as the plan says when it is root, else as itself: so is it looked at. `when`
 * it is run, in words.
 */
static bool check_command(const struct bench *bench, const struct bench_burnin *plan,
                          const char *path, const char *when)
{
    const struct passwd *user = geteuid() == 0 ? getpwnam(plan->command_user) : getpwuid(geteuid());
    if (user == NULL || (geteuid() == 0 && user->pw_uid == 0)) {
        check_say(stderr,
                  "%s: burn-in \"%s\": its command would not be run as \"%s\", expected a user "
                  "of this machine that is not root",
                  bench->path, plan->name, plan->command_user);
        return false;
    }
    int error = geteuid() == 0 ? access_as(user, path) : access(path, X_OK) == 0 ? 0 : errno;
    if (error != 0) {
        check_say(stderr, "%s: burn-in \"%s\": its command %s cannot be run as %s: %s", bench->path,
                  plan->name, path, user->pw_name, strerror(error));
        return false;
    }
    check_say(stdout, "%s: burn-in \"%s\" runs %s as %s when %s", bench->path, plan->name, path,
              user->pw_name, when);
    return true;
}

/* The commands of the phases, in their order. */
static bool check_phases(const struct bench *bench, const struct bench_burnin *plan)
{
    bool good = true;
    char when[BENCH_NAME + 32];
    for (size_t i = 0; i < plan->phase_count; i++) {
        const struct bench_phase *phase = &plan->phases[i];
        snprintf(when, sizeof when, "phase \"%s\" begins", phase->name);
        if (phase->begins[0] != NULL && !check_command(bench, plan, phase->begins[0], when))
            good = false;
        snprintf(when, sizeof when, "phase \"%s\" ends", phase->name);
        if (phase->ends[0] != NULL && !check_command(bench, plan, phase->ends[0], when))
            good = false;
    }
    return good;
}

bool check_commands(const struct bench *bench)
{
    bool good = true;
    for (size_t i = 0; i < bench->burnin_count; i++) {
        const struct bench_burnin *plan = &bench->burnins[i];
        if (plan->command[0] != NULL &&
            !check_command(bench, plan, plan->command[0], "a point trips"))
            good = false;
        good = check_phases(bench, plan) && good;
    }
    return good;
}
