/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "options.h"

#include <getopt.h>
#include <stdlib.h>
#include <string.h>

static const char default_settings[] = "/etc/gradus/gradus.cfg";

enum {
    OPTION_SETTINGS = 1,
    OPTION_CHECK,
    OPTION_UNIX,
    OPTION_TCP,
    OPTION_READY,
    OPTION_TRY,
    OPTION_SCAN,
    OPTION_TOKEN,
    OPTION_KEYS,
    OPTION_METHODS,
    OPTION_VERSION,
    OPTION_HELP
};

/* Every option once: the parser and the help are made from this. */
static const struct {
    struct option option;
    const char *argument;
    const char *help;
} table[] = {
    { { "settings", required_argument, NULL, OPTION_SETTINGS },
      " FILE",
      "read these settings instead of /etc/gradus/gradus.cfg" },
    { { "check", optional_argument, NULL, OPTION_CHECK },
      " [FILE]",
      "look for mistakes in the settings, open nothing" },
    { { "unix", required_argument, NULL, OPTION_UNIX },
      " PATH",
      "listen at this Unix socket instead of the settings' one" },
    { { "tcp", required_argument, NULL, OPTION_TCP },
      " ADDRESS:PORT",
      "listen at this TCP address instead of the settings' one" },
    { { "ready-fd", required_argument, NULL, OPTION_READY },
      " N",
      "write the line \"ready\" to descriptor N once all sockets listen" },
    { { "try", no_argument, NULL, OPTION_TRY },
      " PROFILE LINK ...",
      "run a profile against an instrument and show each exchange" },
    { { "scan", no_argument, NULL, OPTION_SCAN },
      " ...",
      "list what is plugged in, for the settings; --scan --help says more" },
    { { "token", no_argument, NULL, OPTION_TOKEN },
      " FILE NAME ROLE [DAYS]",
      "make a token, put its line into the file, and say it once" },
    { { "keys", no_argument, NULL, OPTION_KEYS },
      "",
      "list every key of settings and profiles with type, unit and default" },
    { { "methods", no_argument, NULL, OPTION_METHODS },
      "",
      "list the methods of the socket with their parameters" },
    { { "version", no_argument, NULL, OPTION_VERSION }, "", "say the version" },
    { { "help", no_argument, NULL, OPTION_HELP }, "", "say this" },
};

enum { OPTION_COUNT = sizeof table / sizeof table[0] };

void options_help(FILE *out)
{
    fprintf(out, "gradusd measures test points and serves the readings.\n\nOptions:\n");
    for (size_t i = 0; i < OPTION_COUNT; i++) {
        char text[64];
        snprintf(text, sizeof text, "--%s%s", table[i].option.name, table[i].argument);
        fprintf(out, "  %-30s %s\n", text, table[i].help);
    }
    fprintf(out, "\nSIGHUP loads the settings again, SIGTERM and SIGINT end the daemon.\n");
}

/* Reads a decimal number from 0 to `most`, all of the text. */
static bool read_number(const char *text, long most, int *number)
{
    char *end;
    if (*text < '0' || *text > '9')
        return false;
    long value = strtol(text, &end, 10);
    if (*end != '\0' || value > most)
        return false;
    *number = (int)value;
    return true;
}

/* Reads ADDRESS:PORT or [ADDRESS]:PORT. */
static bool read_tcp(const char *text, struct options *options)
{
    const char *colon = strrchr(text, ':');
    if (colon == NULL || !read_number(colon + 1, 65535, &options->tcp_port))
        return false;
    size_t length = (size_t)(colon - text);
    if (length >= 2 && text[0] == '[' && colon[-1] == ']') {
        text++;
        length -= 2;
    }
    if (length == 0 || length >= sizeof options->tcp_address)
        return false;
    memcpy(options->tcp_address, text, length);
    options->tcp_address[length] = '\0';
    return true;
}

static bool wrong(FILE *errors, const char *option, const char *text, const char *expected)
{
    fprintf(errors, "gradusd: --%s: \"%s\" is not usable, expected %s\n", option, text, expected);
    return false;
}

static bool take(int option, struct options *options, FILE *errors)
{
    switch (option) {
    case OPTION_SETTINGS:
        options->settings = optarg;
        return true;
    case OPTION_CHECK:
        options->task = TASK_CHECK;
        if (optarg != NULL)
            options->settings = optarg;
        return true;
    case OPTION_UNIX:
        options->unix_path = optarg;
        return true;
    case OPTION_TCP:
        return read_tcp(optarg, options) || wrong(errors, "tcp", optarg, "ADDRESS:PORT");
    case OPTION_READY:
        return read_number(optarg, 1 << 20, &options->ready_fd) ||
               wrong(errors, "ready-fd", optarg, "the number of an open descriptor");
    case OPTION_KEYS:
        options->task = TASK_KEYS;
        return true;
    case OPTION_METHODS:
        options->task = TASK_METHODS;
        return true;
    case OPTION_VERSION:
        options->task = TASK_VERSION;
        return true;
    case OPTION_HELP:
        options->task = TASK_HELP;
        return true;
    default:
        return false; /* getopt_long has said why */
    }
}

/* What follows the options: the file that --check looks at, or nothing. */
static bool read_rest(int argc, char **argv, struct options *options, FILE *errors)
{
    if (options->task == TASK_CHECK && optind < argc)
        options->settings = argv[optind++];
    if (optind < argc)
        fprintf(errors, "gradusd: \"%s\" is not expected here, see --help\n", argv[optind]);
    return optind == argc;
}

struct options options_read(int argc, char **argv, FILE *errors)
{
    struct option longs[OPTION_COUNT + 1] = { 0 };
    struct options options = { .settings = default_settings,
                               .ready_fd = -1,
                               .manager = service_manager_read() };
    int option;
    for (size_t i = 0; i < OPTION_COUNT; i++)
        longs[i] = table[i].option;
    optind = 0;
    while ((option = getopt_long(argc, argv, "", longs, NULL)) != -1) {
        if (option == OPTION_TRY || option == OPTION_SCAN || option == OPTION_TOKEN) {
            options.task = option == OPTION_TRY    ? TASK_TRY
                           : option == OPTION_SCAN ? TASK_SCAN
                                                   : TASK_TOKEN;
            options.rest_argc = argc - optind;
            options.rest_argv = argv + optind;
            return options;
        }
        if (!take(option, &options, errors)) {
            options.task = TASK_USAGE;
            return options;
        }
    }
    if (!read_rest(argc, argv, &options, errors))
        options.task = TASK_USAGE;
    return options;
}
