/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "shop_command.h"

#include "core/basics/utf8.h"
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
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

/* Most bytes of its output that are logged, and most that run at a time. */
enum { OUTPUT_MOST = 4096, RUNNING_MOST = 32, WAITING_MOST = 8192, WORDS_MOST = 16 };
enum { EXIT_CANNOT = 127 };

struct shop_command {
    struct shop_commands *all;
    char kind[24];
    char name[128];
    void (*done)(void *owner, const struct shop_outcome *outcome);
    void *owner;
    pid_t pid;
    int pidfd;
    int output;
    struct event *ended;
    struct event *printed;
    struct event *alarm;
    const char *killed; /* why it was; NULL: it was not */
    size_t length;
    char text[OUTPUT_MOST + 1];
    LIST_ENTRY(shop_command) entry;
};

/* One that is to run when another has ended; all in it is its own, as settings may change by then. */
struct waiting_command {
    struct shop_order order;
    char kind[24];
    char *words[WORDS_MOST + 1];
    char user[64];
    char *input;
    STAILQ_ENTRY(waiting_command) entry;
};

struct shop_commands {
    struct event_base *base;
    STAILQ_HEAD(, waiting_command) waiting;
    size_t waiting_count;
    LIST_HEAD(, shop_command) running;
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

struct shop_commands *shop_commands_new(struct event_base *base)
{
    struct shop_commands *commands = calloc(1, sizeof *commands);
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

static void command_free(struct shop_command *command)
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
static int reap(struct shop_command *command)
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
static struct waiting_command *next_waiting(struct shop_commands *commands)
{
    struct waiting_command *first = STAILQ_FIRST(&commands->waiting);
    if (first != NULL) {
        STAILQ_REMOVE_HEAD(&commands->waiting, entry);
        commands->waiting_count--;
    }
    return first;
}

/* What nobody will be told any more is at least in the log. */
static void give_up_waiting(struct shop_commands *commands)
{
    struct waiting_command *waiting;
    while ((waiting = next_waiting(commands)) != NULL) {
        log_line(LOG_PRIORITY_ERROR,
                 "%s %s: not run, the daemon is stopping: it was to be told %.400s", waiting->kind,
                 waiting->words[0], waiting->input);
        waiting_free(waiting);
    }
}

void shop_commands_free(struct shop_commands *commands)
{
    if (commands == NULL)
        return;
    give_up_waiting(commands);
    while (!LIST_EMPTY(&commands->running)) {
        struct shop_command *command = LIST_FIRST(&commands->running);
        LIST_REMOVE(command, entry);
        kill(command->pid, SIGKILL);
        reap(command);
        log_line(LOG_PRIORITY_WARNING, "%s %s: killed: the daemon is stopping", command->kind,
                 command->name);
        command_free(command);
    }
    orphans_end();
    free(commands);
}

/* Takes in what there is to read; what exceeds the bound is read and dropped. */
static bool read_output(struct shop_command *command)
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
    struct shop_command *command = context;
    (void)unused;
    (void)what;
    if (!read_output(command))
        event_del(command->printed);
}

static void log_output(const struct shop_command *command)
{
    char text[OUTPUT_MOST + 1];
    char *rest = memcpy(text, command->text, sizeof text);
    for (char *line = strsep(&rest, "\n"); line != NULL; line = strsep(&rest, "\n"))
        if (line[0] != '\0')
            log_line(LOG_PRIORITY_NOTICE, "%s %s: %s", command->kind, command->name, line);
}

/* What came of it, in words; true when it did what it should. */
static bool end_in_words(const struct shop_command *command, int status, char *words, size_t size)
{
    bool good = command->killed == NULL && WIFEXITED(status) && WEXITSTATUS(status) == 0;
    if (command->killed != NULL)
        snprintf(words, size, "killed: %s", command->killed);
    else if (WIFSIGNALED(status))
        snprintf(words, size, "ended by signal %d", WTERMSIG(status));
    else if (good)
        snprintf(words, size, "done");
    else if (WEXITSTATUS(status) == EXIT_CANNOT)
        snprintf(words, size, "exit status %d, as when it cannot be run", EXIT_CANNOT);
    else
        snprintf(words, size, "exit status %d", WEXITSTATUS(status));
    return good;
}

/* Makes one line of what it printed. */
static void join_lines(char *text)
{
    for (char *end = strchr(text, '\n'); end != NULL; end = strchr(end, '\n'))
        *end = ' ';
    utf8_tame(text);
}

/* It is over: says so in the log, and to whom wants to know. */
static void tell_end(struct shop_command *command, int status)
{
    char words[80];
    command->text[command->length] = '\0';
    log_output(command);
    bool good = end_in_words(command, status, words, sizeof words);
    log_line(good ? LOG_PRIORITY_NOTICE : LOG_PRIORITY_ERROR, "%s %s: %s", command->kind,
             command->name, words);
    join_lines(command->text);
    if (command->done != NULL)
        command->done(command->owner, &(struct shop_outcome) { good, words, command->text });
}

static void start_waiting(struct shop_commands *commands);

static void on_ended(evutil_socket_t unused, short what, void *context)
{
    struct shop_command *command = context;
    (void)unused;
    (void)what;
    int status = reap(command);
    while (command->length < OUTPUT_MOST && read_output(command))
        continue;
    struct shop_commands *commands = command->all;
    LIST_REMOVE(command, entry);
    commands->count--;
    tell_end(command, status);
    command_free(command);
    if (commands->count == 0 && commands->waiting_count == 0)
        orphans_end();
    start_waiting(commands);
}

static void kill_it(struct shop_command *command, const char *why)
{
    command->killed = why;
    kill(-command->pid, SIGKILL);
    kill(command->pid, SIGKILL);
}

static void on_alarm(evutil_socket_t unused, short what, void *context)
{
    (void)unused;
    (void)what;
    kill_it(context, "it took too long");
}

void shop_command_kill(struct shop_commands *commands, const void *owner)
{
    struct shop_command *command;
    LIST_FOREACH(command, &commands->running, entry)
    if (command->owner == owner && command->done != NULL)
        kill_it(command, "the run is over");
}

/* In the child; only what is safe after fork() in a program with threads. */
static _Noreturn void become(const struct start *start)
{
    static char path[] = "PATH=/usr/local/bin:/usr/bin:/bin";
    static char locale[] = "LC_ALL=C.UTF-8";
    char *environment[] = { path, locale, NULL };
    sigset_t none;
    setpgid(0, 0);
    umask(S_IWGRP | S_IWOTH);
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

static bool fork_it(struct shop_command *command, struct start *start, const char *input,
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

static bool watch(struct shop_command *command, double limit_s)
{
    struct event_base *base = command->all->base;
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

static bool start_now(struct shop_commands *commands, const struct shop_order *order,
                      struct failure *failure)
{
    struct start start = { .words = order->words };
    const char *name = order->words[0];
    if (!find_user(&start, order->user, failure))
        return false;
    struct shop_command *command = calloc(1, sizeof *command);
    if (command == NULL)
        return failure_set(failure, FAILURE_NO_MEMORY, name, NULL, "no memory for a command");
    command->all = commands;
    command->output = -1;
    command->pidfd = -1;
    command->done = order->done;
    command->owner = order->owner;
    snprintf(command->kind, sizeof command->kind, "%s", order->kind);
    snprintf(command->name, sizeof command->name, "%s", name);
    if (!fork_it(command, &start, order->input, order->length)) {
        command_free(command);
        return failure_set(failure, FAILURE_SYSTEM, name, NULL, "it cannot be started: %s",
                           strerror(errno));
    }
    if (!watch(command, order->limit_s)) {
        kill(command->pid, SIGKILL);
        reap(command);
        command_free(command);
        return failure_set(failure, FAILURE_SYSTEM, name, NULL, "it cannot be watched");
    }
    LIST_INSERT_HEAD(&commands->running, command, entry);
    commands->count++;
    return true;
}

/* A copy of all that a command needs; NULL when memory is short. */
static struct waiting_command *waiting_new(const struct shop_order *order)
{
    struct waiting_command *waiting = calloc(1, sizeof *waiting);
    if (waiting == NULL)
        return NULL;
    bool copied = (waiting->input = malloc(order->length + 1)) != NULL;
    for (size_t i = 0; copied && i < WORDS_MOST && order->words[i] != NULL; i++)
        copied = (waiting->words[i] = strdup(order->words[i])) != NULL;
    if (!copied) {
        waiting_free(waiting);
        return NULL;
    }
    memcpy(waiting->input, order->input, order->length);
    waiting->input[order->length] = '\0';
    snprintf(waiting->user, sizeof waiting->user, "%s", order->user);
    snprintf(waiting->kind, sizeof waiting->kind, "%s", order->kind);
    waiting->order = *order;
    waiting->order.words = waiting->words;
    waiting->order.user = waiting->user;
    waiting->order.kind = waiting->kind;
    waiting->order.input = waiting->input;
    return waiting;
}

/* One whose turn has come cannot be run. */
static void tell_not_run(const struct waiting_command *waiting, const struct failure *failure)
{
    char text[600];
    failure_text(failure, text, sizeof text);
    log_line(LOG_PRIORITY_ERROR, "%s: %s; it was to be told %.300s", waiting->kind, text,
             waiting->input);
    if (waiting->order.done != NULL)
        waiting->order.done(waiting->order.owner, &(struct shop_outcome) { false, text, "" });
}

/* Runs those that wait, the first first, as far as there is room. */
static void start_waiting(struct shop_commands *commands)
{
    while (commands->count < RUNNING_MOST && commands->waiting_count > 0) {
        struct waiting_command *waiting = next_waiting(commands);
        struct failure failure = { 0 };
        if (!start_now(commands, &waiting->order, &failure))
            tell_not_run(waiting, &failure);
        waiting_free(waiting);
    }
}

bool shop_command_start(struct shop_commands *commands, const struct shop_order *order,
                        struct failure *failure)
{
    const char *name = order->words[0];
    if (commands->count < RUNNING_MOST)
        return start_now(commands, order, failure);
    if (commands->waiting_count >= WAITING_MOST)
        return failure_set(failure, FAILURE_OVERLOADED, name, NULL, "%zu commands wait already",
                           commands->waiting_count);
    struct waiting_command *waiting = waiting_new(order);
    if (waiting == NULL)
        return failure_set(failure, FAILURE_NO_MEMORY, name, NULL, "no memory for a command");
    STAILQ_INSERT_TAIL(&commands->waiting, waiting, entry);
    commands->waiting_count++;
    return true;
}
