/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "program.h"

#include "tools/gradus/basics/memory.h"
#include "tools/gradus/basics/status.h"

#include <errno.h>
#include <limits.h>
#include <signal.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static const char name[] = "gradusd";

/* The folder this program was started from; false when the system does not tell. */
static bool own_folder(char folder[PATH_MAX])
{
    const ssize_t length = readlink("/proc/self/exe", folder, PATH_MAX - 1);
    if (length <= 0)
        return false;
    folder[length] = '\0';
    char *const slash = strrchr(folder, '/');
    if (slash == NULL)
        return false;
    *slash = '\0';
    return true;
}

static void try_nearby(char **words)
{
    static const char *const places[] = { "", "/../sbin", "/../libexec" };
    char folder[PATH_MAX];
    if (!own_folder(folder))
        return;
    for (size_t i = 0; i < sizeof places / sizeof places[0]; i++) {
        char path[PATH_MAX + 32];
        snprintf(path, sizeof path, "%s%s/%s", folder, places[i], name);
        if (access(path, X_OK) == 0)
            execv(path, words);
    }
}

int program_become(const struct session *session, const char *option)
{
    return program_become_with(session, option, session->operands);
}

int program_become_with(const struct session *session, const char *option, char *const *rest)
{
    size_t count = 0;
    while (rest[count] != NULL)
        count++;
    char **const words = memory_zeroed(count + 3, sizeof *words);
    words[0] = memory_text(name);
    words[1] = memory_text(option);
    for (size_t i = 0; i < count; i++)
        words[i + 2] = rest[i];
    signal(SIGPIPE, SIG_DFL);
    fflush(stdout);
    try_nearby(words);
    execvp(name, words);
    terminal_complain(session->terminal,
                      "%s: %s; looked for it beside gradus, in ../sbin, ../libexec and PATH", name,
                      strerror(errno));
    free(words[0]);
    free(words[1]);
    free(words);
    return STATUS_USAGE;
}
