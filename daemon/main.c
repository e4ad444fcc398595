/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * gradusd: measures test points and serves the readings. Exit status: 0 when
 * it was asked to end, 1 when it could not serve, 2 for mistakes in the
 * command line or the settings.
 */
#include "daemon.h"
#include "daemon/access/tokens.h"
#include "daemon/basics/log.h"
#include "daemon/calls/methods_page.h"
#include "daemon/loop/references.h"
#include "daemon/oneshot/scan_run.h"
#include "daemon/oneshot/try.h"
#include "daemon/settings/check.h"
#include "daemon/settings/settings.h"
#include "options.h"

#include <gsl/gsl_errno.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

enum { STATUS_USAGE = 2 };

/* Tells who waits for it that all sockets listen. */
static void say_ready(int descriptor)
{
    if (descriptor < 0)
        return;
    if (write(descriptor, "ready\n", 6) != 6)
        log_line(LOG_PRIORITY_WARNING, "descriptor %d takes no \"ready\"", descriptor);
    if (descriptor > STDERR_FILENO)
        close(descriptor);
}

static int serve(const struct options *options)
{
    /* Whatever is made here is the daemon's own; the socket's mode is set where that is made. */
    umask(S_IRWXG | S_IRWXO);
    struct bench *bench = check_load(options->settings, check_is_service());
    if (bench == NULL)
        return STATUS_USAGE;
    struct failure failure = { 0 };
    struct daemon *daemon = daemon_new(options, bench, &failure);
    bench_unref(bench);
    if (daemon == NULL) {
        char text[600];
        log_line(LOG_PRIORITY_ERROR, "%s", failure_text(&failure, text, sizeof text));
        return EXIT_FAILURE;
    }
    say_ready(options->ready_fd);
    daemon_run(daemon);
    daemon_free(daemon);
    return EXIT_SUCCESS;
}

/* FILE NAME ROLE [DAYS]: the token on standard output, and nowhere else. */
static int make_token(int count, char **words)
{
    enum { YEAR = 365, LONGEST = 3650 };
    struct failure failure = { 0 };
    char text[600];
    enum role role = ROLE_NONE;
    long days = count == 4 ? strtol(words[3], NULL, 10) : YEAR;
    if (count < 3 || count > 4 || !tokens_is_name(words[1]) || !role_of(words[2], &role) ||
        role == ROLE_NONE || days < 1 || days > LONGEST) {
        fprintf(stderr, "gradusd --token FILE NAME ROLE [DAYS]: a name of letters, digits, _ . -, "
                        "one of the roles look, measure, run, administer, and 1 to 3650 days "
                        "(365)\n");
        return STATUS_USAGE;
    }
    if (tokens_make(words[0], words[1], role, (int)days, stdout, &failure))
        return EXIT_SUCCESS;
    fprintf(stderr, "%s\n", failure_text(&failure, text, sizeof text));
    return failure_exit_status(failure.code);
}

int main(int argc, char **argv)
{
    /* What the numerical library cannot work out is no number then; else it would end the daemon. */
    gsl_set_error_handler_off();
    const struct options options = options_read(argc, argv, stderr);
    switch (options.task) {
    case TASK_SERVE:
        return serve(&options);
    case TASK_CHECK:
        return check_file(options.settings, references_find) ? EXIT_SUCCESS : STATUS_USAGE;
    case TASK_TRY:
        return try_run(options.rest_argc, options.rest_argv);
    case TASK_SCAN:
        return scan_run(options.rest_argc, options.rest_argv);
    case TASK_TOKEN:
        return make_token(options.rest_argc, options.rest_argv);
    case TASK_KEYS:
        settings_print_keys(stdout);
        profile_print_keys(stdout);
        return EXIT_SUCCESS;
    case TASK_METHODS:
        methods_print(stdout);
        return EXIT_SUCCESS;
    case TASK_VERSION:
        printf("gradusd %s\n", GRADUS_VERSION);
        return EXIT_SUCCESS;
    case TASK_HELP:
        options_help(stdout);
        return EXIT_SUCCESS;
    case TASK_USAGE:
        break;
    }
    return STATUS_USAGE;
}
