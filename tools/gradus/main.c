/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The gradus command: asks the daemon over its socket and shows the answer.
 * All knowledge of instruments and settings is the daemon's.
 */
#include "arguments.h"
#include "commands.h"
#include "tools/gradus/basics/status.h"
#include "tools/gradus/commands/own_daemon.h"

#include <errno.h>
#include <poll.h>
#include <signal.h>
#include <string.h>
#include <unistd.h>

/* Whether standard output is a pipe or terminal with nobody at its other end. */
static bool reader_has_left(void)
{
    struct pollfd output = { .fd = STDOUT_FILENO, .events = POLLOUT };
    return poll(&output, 1, 0) == 1 && (output.revents & POLLERR) != 0;
}

/*
 * What was printed is only of use if it arrived. A reader that went away
 * needs no message: it has seen what it wanted.
 */
static int close_output(const struct terminal *terminal, int status)
{
    const bool left = reader_has_left();
    const bool failed_before = ferror(stdout) != 0;
    errno = 0;
    const bool failed_now = fclose(stdout) != 0;
    if (!failed_before && !failed_now)
        return status;
    if (!left && errno != EPIPE) {
        terminal_complain(terminal, "standard output: %s",
                          errno != 0 ? strerror(errno) : "not all of it could be written");
    }
    return status_worse(status, STATUS_NO_READING);
}

static int run_with_own_daemon(const struct command *command, const struct session *session)
{
    struct own_daemon own;
    struct options options = *session->options;
    struct session inner = *session;
    if ((options.given & OPTION_SOCKET) != 0) {
        terminal_complain(session->terminal, "--settings and --socket exclude each other");
        return STATUS_USAGE;
    }
    int status = own_daemon_start(session, &own);
    if (status != STATUS_PASS)
        return status;
    options.socket = own.socket;
    inner.options = &options;
    status = command->run(&inner);
    own_daemon_end(&own);
    return status;
}

static int run_subcommand(const struct arguments *arguments, const struct terminal *terminal)
{
    const struct session session = { .options = &arguments->options,
                                     .commands = command_list(),
                                     .terminal = terminal,
                                     .operands = arguments->operands,
                                     .operand_count = arguments->operand_count };
    if (arguments->options.version) {
        puts("gradus " GRADUS_VERSION);
        return STATUS_PASS;
    }
    if (arguments->command == NULL && !arguments->options.help) {
        terminal_complain(terminal, "no subcommand; see gradus help");
        return STATUS_USAGE;
    }
    if (arguments->options.help && arguments->command != NULL) {
        char name[32];
        snprintf(name, sizeof name, "%s", arguments->command->name);
        char *operands[] = { name, NULL };
        struct session about = session;
        about.operands = operands;
        about.operand_count = 1;
        return command_help.run(&about);
    }
    const struct command *const command =
        arguments->command == NULL ? &command_help : arguments->command;
    return arguments->options.settings != NULL ? run_with_own_daemon(command, &session)
                                               : command->run(&session);
}

int main(int argc, char **argv)
{
    struct terminal terminal = terminal_look();
    struct arguments arguments;
    char problem[512];
    /* A socket or pipe that is gone shows up as an error where it is written. */
    signal(SIGPIPE, SIG_IGN);
    if (!arguments_parse(argc, argv, &arguments, problem, sizeof problem)) {
        terminal_complain(&terminal, "%s", problem);
        return STATUS_USAGE;
    }
    if (arguments.options.quiet) {
        terminal.progress = false;
        if (freopen("/dev/null", "w", stdout) == NULL) {
            terminal_complain(&terminal, "/dev/null: %s", strerror(errno));
            return STATUS_NO_READING;
        }
    }
    return close_output(&terminal, run_subcommand(&arguments, &terminal));
}
