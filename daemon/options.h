/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The command line of gradusd. */
#ifndef GRADUS_DAEMON_OPTIONS_H
#define GRADUS_DAEMON_OPTIONS_H

#include "daemon/basics/service_manager.h"

#include <stdbool.h>
#include <stdio.h>

enum options_task {
    TASK_SERVE,
    TASK_CHECK,   /* look for mistakes in the settings and open nothing */
    TASK_TRY,     /* run a profile against an instrument */
    TASK_SCAN,    /* list what is plugged in */
    TASK_TOKEN,   /* make a token */
    TASK_KEYS,    /* list the keys of settings and profiles */
    TASK_METHODS, /* list the methods of the socket */
    TASK_VERSION,
    TASK_HELP,
    TASK_USAGE /* the command line is wrong; it has been said why */
};

struct options {
    enum options_task task;
    const char *settings;  /* path */
    const char *unix_path; /* NULL: as the settings say */
    char tcp_address[64];  /* empty: as the settings say */
    int tcp_port;
    int ready_fd;                   /* -1: nobody waits */
    struct service_manager manager; /* as the environment says */
    int rest_argc;                  /* TASK_TRY, TASK_SCAN, TASK_TOKEN: what follows it */
    char **rest_argv;
};

/*
 * Reads the command line, from which texts are borrowed, and what the environment says of a service
 * manager. Mistakes are said on `errors`.
 */
struct options options_read(int argc, char **argv, FILE *errors);

/* Writes what the options are. */
void options_help(FILE *out);

#endif
