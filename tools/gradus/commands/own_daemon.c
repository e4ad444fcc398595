/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "own_daemon.h"

#include "program.h"
#include "tools/gradus/basics/status.h"

#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/pidfd.h>
#include <sys/prctl.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

/* What starting and ending may take; measurements under way are waited for when it ends. */
enum { START_MS = 60000, END_MS = 60000 };

static void place(const struct own_daemon *own, const char *name, char path[128])
{
    snprintf(path, 128, "%s/%s", own->folder, name);
}

/* In the child: becomes gradusd, whose log goes to a file and whose end comes with the parent's. */
__attribute__((noreturn)) static void become(const struct session *session,
                                             const struct own_daemon *own, pid_t parent, int ready)
{
    char log[128];
    char path[128];
    char number[16];
    char unix_word[] = "--unix";
    char ready_word[] = "--ready-fd";
    char *settings = strdup(session->options->settings);
    place(own, "log", log);
    place(own, "socket", path);
    snprintf(number, sizeof number, "%d", ready);
    const int file = open(log, O_WRONLY | O_CREAT | O_CLOEXEC, 0600);
    const int nothing = open("/dev/null", O_RDWR | O_CLOEXEC);
    char *const rest[] = { settings, unix_word, path, ready_word, number, NULL };
    setpgid(0, 0); /* SIGINT at the terminal is for the command, which ends this one in its turn */
    if (settings == NULL || nothing < 0 || prctl(PR_SET_PDEATHSIG, SIGTERM) != 0 ||
        getppid() != parent || dup2(nothing, STDIN_FILENO) < 0 ||
        dup2(nothing, STDOUT_FILENO) < 0 || file < 0)
        _exit(STATUS_NO_READING);
    if (dup2(file, STDERR_FILENO) < 0)
        _exit(STATUS_NO_READING);
    _exit(program_become_with(session, "--settings", rest));
}

/* Shows what it said before it ended. */
static void show_log(const struct own_daemon *own)
{
    char path[128];
    char line[1024];
    place(own, "log", path);
    FILE *const log = fopen(path, "re");
    while (log != NULL && fgets(line, sizeof line, log) != NULL)
        fputs(line, stderr);
    if (log != NULL)
        fclose(log);
}

static bool wait_for(int descriptor, int ms)
{
    struct pollfd look = { .fd = descriptor, .events = POLLIN };
    int count;
    do
        count = poll(&look, 1, ms);
    while (count < 0 && errno == EINTR);
    return count == 1;
}

static bool is_ready(int descriptor)
{
    char word[8];
    return wait_for(descriptor, START_MS) && read(descriptor, word, sizeof word) > 0;
}

/* Waits for its end, and does not for ever. Returns its exit status. */
static int ended(const struct own_daemon *own)
{
    int status = 0;
    if (own->handle < 0 || !wait_for(own->handle, END_MS))
        kill(own->pid, SIGKILL);
    while (waitpid(own->pid, &status, 0) < 0 && errno == EINTR)
        continue;
    return WIFEXITED(status) && WEXITSTATUS(status) != 0 ? WEXITSTATUS(status) : STATUS_NO_READING;
}

static void clean(struct own_daemon *own)
{
    char path[128];
    place(own, "log", path);
    unlink(path);
    place(own, "socket", path);
    unlink(path);
    rmdir(own->folder);
    if (own->handle >= 0)
        close(own->handle);
    *own = (struct own_daemon) { 0 };
}

static bool launch(const struct session *session, struct own_daemon *own, int ends[2])
{
    const pid_t parent = getpid();
    snprintf(own->folder, sizeof own->folder, "/tmp/gradus-XXXXXX");
    if (mkdtemp(own->folder) == NULL || pipe2(ends, 0) != 0)
        return false;
    fcntl(ends[0], F_SETFD, FD_CLOEXEC);
    own->pid = fork();
    if (own->pid == 0)
        become(session, own, parent, ends[1]);
    if (own->pid < 0)
        return false;
    own->handle = pidfd_open(own->pid, 0);
    close(ends[1]);
    return true;
}

int own_daemon_start(const struct session *session, struct own_daemon *own)
{
    int ends[2] = { -1, -1 };
    *own = (struct own_daemon) { .handle = -1 };
    if (!launch(session, own, ends)) {
        terminal_complain(session->terminal, "gradusd cannot be started: %s", strerror(errno));
        return STATUS_NO_READING;
    }
    const bool ready = is_ready(ends[0]);
    close(ends[0]);
    if (ready) {
        snprintf(own->socket, sizeof own->socket, "unix:%s/socket", own->folder);
        return STATUS_PASS;
    }
    kill(own->pid, SIGTERM);
    const int status = ended(own);
    show_log(own);
    terminal_complain(session->terminal, "gradusd did not start with %s",
                      session->options->settings);
    clean(own);
    return status;
}

void own_daemon_end(struct own_daemon *own)
{
    if (own->pid == 0)
        return;
    kill(own->pid, SIGTERM);
    ended(own);
    clean(own);
}
