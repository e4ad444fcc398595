/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The job that readings belong to, as the options say it. */
#ifndef GRADUS_TOOLS_JOB_OPTION_H
#define GRADUS_TOOLS_JOB_OPTION_H

#include "command.h"

#include <jansson.h>

/*
 * Puts what --job, --serial and --stage say into `params`, as its member "job"; nothing where they
 * were not given. False, and it has been said why, when they cannot be used.
 */
bool job_option(const struct session *session, json_t *params);

/* Puts the lines that --serials names into the "job" of `params`; otherwise as job_option(). */
bool job_serials(const struct session *session, json_t *params);

/* Appends the lines that --serials names to a list. False, and it has been said why, when it cannot be read. */
bool job_serials_read(const struct session *session, json_t *list);

#endif
