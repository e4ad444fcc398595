/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * gradusd: measures test points and serves the readings. Exit status: 0 when
 * it was asked to end, 1 when it could not serve, 2 for mistakes in the
 * command line or the settings.
 */
#include "daemon.h"
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
    struct bench *bench = check_load(options->settings);
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
