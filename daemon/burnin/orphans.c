/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "orphans.h"

#include <dirent.h>
#include <errno.h>
#include <signal.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <sys/prctl.h>
#include <sys/wait.h>

/* One that has children of its own hands them over with each round. */
enum { ROUNDS_MOST = 64 };

void orphans_adopt(void)
{
    prctl(PR_SET_CHILD_SUBREAPER, 1, 0, 0, 0);
}

/* Kills one, and takes its status. False when it is none of ours. */
static bool end_orphan(long pid)
{
    if (pid <= 0 || kill((pid_t)pid, SIGKILL) != 0)
        return false;
    while (waitpid((pid_t)pid, NULL, 0) < 0 && errno == EINTR)
        continue;
    return true;
}

/* Ends what this process is the parent of in one of its threads. Whether there was anything. */
static bool end_children_of(const char *thread)
{
    char path[64], text[4096] = "";
    snprintf(path, sizeof path, "/proc/self/task/%.20s/children", thread);
    FILE *file = fopen(path, "re");
    bool any = false;
    if (file == NULL)
        return false;
    const char *line = fgets(text, sizeof text, file);
    fclose(file);
    for (char *end = text; line != NULL && *line != '\0'; line = end) {
        any = end_orphan(strtol(line, &end, 10)) || any;
        if (end == line)
            break;
    }
    return any;
}

void orphans_end(void)
{
    bool any = true;
    for (int round = 0; any && round < ROUNDS_MOST; round++) {
        DIR *threads = opendir("/proc/self/task");
        const struct dirent *each;
        any = false;
        while (threads != NULL && (each = readdir(threads)) != NULL)
            any = end_children_of(each->d_name) || any;
        if (threads != NULL)
            closedir(threads);
    }
}
