/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "trip_command.h"

#include "daemon/basics/log.h"
#include "orphans.h"

#include <errno.h>
#include <event2/event.h>
#include <fcntl.h>
#include <grp.h>
#include <math.h>
#include <pwd.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/pidfd.h>
#include <sys/prctl.h>
#include <sys/queue.h>
#include <sys/wait.h>
#include <unistd.h>

/* Most bytes of its output that are logged, and most that run at a time. */
enum { OUTPUT_MOST = 4096, RUNNING_MOST = 32, WAITING_MOST = 8192, WORDS_MOST = 16 };
enum { EXIT_CANNOT = 127 };

struct trip_command {
    struct trip_commands *owner;
    char name[128];
    pid_t pid;
    int pidfd;
    int output;
    struct event *ended;
    struct event *printed;
    struct event *alarm;
    bool timed_out;
    size_t length;
    char text[OUTPUT_MOST + 1];
    LIST_ENTRY(trip_command) entry;
};

/* One that is to run when another has ended; all in it is its own, as settings may change by then. */
struct waiting_command {
    char *words[WORDS_MOST + 1];
    char user[64];
    double limit_s;
    char *input;
    size_t length;
    STAILQ_ENTRY(waiting_command) entry;
};

struct trip_commands {
    struct event_base *base;
    STAILQ_HEAD(, waiting_command) waiting;
    size_t waiting_count;
    LIST_HEAD(, trip_command) running;
    size_t count;
};

/* What the child needs, made ready before it is forked: it may call little. */
struct start {
    char *const *words;
    bool change; /* to the user below */
    uid_t uid;
    gid_t gid;
    int input;
    int output;
};

struct trip_commands *trip_commands_new(struct event_base *base)
{
    struct trip_commands *commands = calloc(1, sizeof *commands);
    if (commands == NULL)
        return NULL;
    commands->base = base;
    orphans_adopt();
    STAILQ_INIT(&commands->waiting);
    return commands;
}

static void free_event(struct event *event)
{
    if (event != NULL)
        event_free(event);
}

static void command_free(struct trip_command *command)
{
    free_event(command->ended);
    free_event(command->printed);
    free_event(command->alarm);
    if (command->pidfd >= 0)
        close(command->pidfd);
    if (command->output >= 0)
        close(command->output);
    free(command);
}

/* Kills the command and all it started that is still in its group, and takes its status. */
static int reap(struct trip_command *command)
{
    int status = 0;
    kill(-command->pid, SIGKILL);
    while (waitpid(command->pid, &status, 0) < 0 && errno == EINTR)
        continue;
    return status;
}

static void waiting_free(struct waiting_command *waiting)
{
    for (size_t i = 0; waiting->words[i] != NULL; i++)
        free(waiting->words[i]);
    free(waiting->input);
    free(waiting);
}

/* Takes the first of those that wait; NULL: none does. */
static struct waiting_command *next_waiting(struct trip_commands *commands)
{
    struct waiting_command *first = STAILQ_FIRST(&commands->waiting);
    if (first != NULL) {
        STAILQ_REMOVE_HEAD(&commands->waiting, entry);
        commands->waiting_count--;
    }
    return first;
}

/* What nobody will be told any more is at least in the log. */
static void give_up_waiting(struct trip_commands *commands)
{
    struct waiting_command *waiting;
    while ((waiting = next_waiting(commands)) != NULL) {
        log_line(LOG_PRIORITY_ERROR,
                 "trip command %s: not run, the daemon is stopping: it was to be told %.400s",
                 waiting->words[0], waiting->input);
        waiting_free(waiting);
    }
}

void trip_commands_free(struct trip_commands *commands)
{
    if (commands == NULL)
        return;
    give_up_waiting(commands);
    while (!LIST_EMPTY(&commands->running)) {
        struct trip_command *command = LIST_FIRST(&commands->running);
        LIST_REMOVE(command, entry);
        kill(command->pid, SIGKILL);
        reap(command);
        log_line(LOG_PRIORITY_WARNING, "trip command %s: killed: the daemon is stopping",
                 command->name);
        command_free(command);
    }
    orphans_end();
    free(commands);
}

/* Takes in what there is to read; what exceeds the bound is read and dropped. */
static bool read_output(struct trip_command *command)
{
    char bytes[1024];
    ssize_t count = read(command->output, bytes, sizeof bytes);
    if (count <= 0)
        return false;
    size_t room = OUTPUT_MOST - command->length;
    size_t taken = (size_t)count < room ? (size_t)count : room;
    memcpy(command->text + command->length, bytes, taken);
    command->length += taken;
    return true;
}

static void on_printed(evutil_socket_t unused, short what, void *context)
{
    struct trip_command *command = context;
    (void)unused;
    (void)what;
    if (!read_output(command))
        event_del(command->printed);
}

static void log_output(struct trip_command *command)
{
    char *rest = command->text;
    command->text[command->length] = '\0';
    for (char *line = strsep(&rest, "\n"); line != NULL; line = strsep(&rest, "\n"))
        if (line[0] != '\0')
            log_line(LOG_PRIORITY_NOTICE, "trip command %s: %s", command->name, line);
}

static void log_end(const struct trip_command *command, int status)
{
    if (command->timed_out)
        log_line(LOG_PRIORITY_ERROR, "trip command %s: killed: it took too long", command->name);
    else if (WIFSIGNALED(status))
        log_line(LOG_PRIORITY_ERROR, "trip command %s: ended by signal %d", command->name,
                 WTERMSIG(status));
    else if (WEXITSTATUS(status) != 0)
        log_line(LOG_PRIORITY_ERROR, "trip command %s: exit status %d", command->name,
                 WEXITSTATUS(status));
    else
        log_line(LOG_PRIORITY_NOTICE, "trip command %s: done", command->name);
}

static void start_waiting(struct trip_commands *commands);

static void on_ended(evutil_socket_t unused, short what, void *context)
{
    struct trip_command *command = context;
    (void)unused;
    (void)what;
    int status = reap(command);
    while (command->length < OUTPUT_MOST && read_output(command))
        continue;
    log_output(command);
    log_end(command, status);
    struct trip_commands *commands = command->owner;
    LIST_REMOVE(command, entry);
    commands->count--;
    command_free(command);
    if (commands->count == 0 && commands->waiting_count == 0)
        orphans_end();
    start_waiting(commands);
}

static void on_alarm(evutil_socket_t unused, short what, void *context)
{
    struct trip_command *command = context;
    (void)unused;
    (void)what;
    command->timed_out = true;
    kill(-command->pid, SIGKILL);
    kill(command->pid, SIGKILL);
}

/* In the child; only what is safe after fork() in a program with threads. */
static _Noreturn void become(const struct start *start)
{
    static char path[] = "PATH=/usr/local/bin:/usr/bin:/bin";
    static char locale[] = "LC_ALL=C.UTF-8";
    char *environment[] = { path, locale, NULL };
    sigset_t none;
    setpgid(0, 0);
    for (int number = 1; number < NSIG; number++)
        signal(number, SIG_DFL);
    sigemptyset(&none);
    sigprocmask(SIG_SETMASK, &none, NULL);
    bool good = dup2(start->input, STDIN_FILENO) >= 0 && dup2(start->output, STDOUT_FILENO) >= 0 &&
                dup2(start->output, STDERR_FILENO) >= 0 && chdir("/") == 0;
    close_range(STDERR_FILENO + 1, ~0U, 0);
    if (good && start->change)
        good = setgroups(0, NULL) == 0 && setgid(start->gid) == 0 && setuid(start->uid) == 0;
    /* Nothing it starts can become more than it is: no set-user-id program, no sudo. */
    good = good && prctl(PR_SET_NO_NEW_PRIVS, 1, 0, 0, 0) == 0;
    if (good)
        execve(start->words[0], start->words, environment);
    _exit(EXIT_CANNOT);
}

/* Whom it is to run as; false when that is nobody there is, or root. */
static bool find_user(struct start *start, const char *user, struct failure *failure)
{
    if (geteuid() != 0)
        return true;
    const struct passwd *entry = getpwnam(user);
    if (entry == NULL || entry->pw_uid == 0)
        return failure_set(failure, FAILURE_SYSTEM, start->words[0], "an unprivileged user",
                           "it is not run as \"%s\"", user);
    start->change = true;
    start->uid = entry->pw_uid;
    start->gid = entry->pw_gid;
    return true;
}

/* Puts the input where the command will read it; it fits into the pipe, so nothing waits. */
static bool fill_input(int end, const char *input, size_t length)
{
    fcntl(end, F_SETPIPE_SZ, 65536);
    return fcntl(end, F_SETFL, O_NONBLOCK) == 0 && write(end, input, length) == (ssize_t)length;
}

static bool fork_it(struct trip_command *command, struct start *start, const char *input,
                    size_t length)
{
    int in[2];
    int out[2];
    if (pipe2(in, O_CLOEXEC) != 0)
        return false;
    if (pipe2(out, O_CLOEXEC) != 0) {
        close(in[0]);
        close(in[1]);
        return false;
    }
    start->input = in[0];
    start->output = out[1];
    command->output = out[0];
    fcntl(out[0], F_SETFL, O_NONBLOCK);
    command->pid = fill_input(in[1], input, length) ? fork() : -1;
    if (command->pid == 0)
        become(start);
    close(in[0]);
    close(in[1]);
    close(out[1]);
    if (command->pid > 0)
        setpgid(command->pid, command->pid);
    return command->pid > 0;
}

static bool watch(struct trip_command *command, double limit_s)
{
    struct event_base *base = command->owner->base;
    const struct timeval limit = { (time_t)limit_s, (suseconds_t)(fmod(limit_s, 1) * 1e6) };
    command->pidfd = pidfd_open(command->pid, 0);
    if (command->pidfd < 0)
        return false;
    command->ended = event_new(base, command->pidfd, EV_READ, on_ended, command);
    command->printed = event_new(base, command->output, EV_READ | EV_PERSIST, on_printed, command);
    command->alarm = evtimer_new(base, on_alarm, command);
    return command->ended != NULL && command->printed != NULL && command->alarm != NULL &&
           event_add(command->ended, NULL) == 0 && event_add(command->printed, NULL) == 0 &&
           evtimer_add(command->alarm, &limit) == 0;
}

static bool start_now(struct trip_commands *commands, char *const *words, const char *user,
                      double limit_s, const char *input, size_t length, struct failure *failure)
{
    struct start start = { .words = words };
    if (!find_user(&start, user, failure))
        return false;
    struct trip_command *command = calloc(1, sizeof *command);
    if (command == NULL)
        return failure_set(failure, FAILURE_NO_MEMORY, words[0], NULL, "no memory for a command");
    command->owner = commands;
    command->output = -1;
    command->pidfd = -1;
    snprintf(command->name, sizeof command->name, "%s", words[0]);
    if (!fork_it(command, &start, input, length)) {
        command_free(command);
        return failure_set(failure, FAILURE_SYSTEM, words[0], NULL, "it cannot be started: %s",
                           strerror(errno));
    }
    if (!watch(command, limit_s)) {
        kill(command->pid, SIGKILL);
        reap(command);
        command_free(command);
        return failure_set(failure, FAILURE_SYSTEM, words[0], NULL, "it cannot be watched");
    }
    LIST_INSERT_HEAD(&commands->running, command, entry);
    commands->count++;
    return true;
}

/* A copy of all that a command needs; NULL when memory is short. */
static struct waiting_command *waiting_new(char *const *words, const char *user, double limit_s,
                                           const char *input, size_t length)
{
    struct waiting_command *waiting = calloc(1, sizeof *waiting);
    if (waiting == NULL)
        return NULL;
    bool copied = (waiting->input = malloc(length + 1)) != NULL;
    for (size_t i = 0; copied && i < WORDS_MOST && words[i] != NULL; i++)
        copied = (waiting->words[i] = strdup(words[i])) != NULL;
    if (!copied) {
        waiting_free(waiting);
        return NULL;
    }
    memcpy(waiting->input, input, length);
    waiting->input[length] = '\0';
    waiting->length = length;
    waiting->limit_s = limit_s;
    snprintf(waiting->user, sizeof waiting->user, "%s", user);
    return waiting;
}

/* Runs those that wait, the first first, as far as there is room. */
static void start_waiting(struct trip_commands *commands)
{
    while (commands->count < RUNNING_MOST && commands->waiting_count > 0) {
        struct waiting_command *waiting = next_waiting(commands);
        struct failure failure = { 0 };
        char text[600];
        if (!start_now(commands, waiting->words, waiting->user, waiting->limit_s, waiting->input,
                       waiting->length, &failure))
            log_line(LOG_PRIORITY_ERROR, "trip command: %s; it was to be told %.300s",
                     failure_text(&failure, text, sizeof text), waiting->input);
        waiting_free(waiting);
    }
}

bool trip_command_start(struct trip_commands *commands, char *const *words, const char *user,
                        double limit_s, const char *input, size_t length, struct failure *failure)
{
    if (commands->count < RUNNING_MOST)
        return start_now(commands, words, user, limit_s, input, length, failure);
    if (commands->waiting_count >= WAITING_MOST)
        return failure_set(failure, FAILURE_OVERLOADED, words[0], NULL, "%zu commands wait already",
                           commands->waiting_count);
    struct waiting_command *waiting = waiting_new(words, user, limit_s, input, length);
    if (waiting == NULL)
        return failure_set(failure, FAILURE_NO_MEMORY, words[0], NULL, "no memory for a command");
    STAILQ_INSERT_TAIL(&commands->waiting, waiting, entry);
    commands->waiting_count++;
    return true;
}
