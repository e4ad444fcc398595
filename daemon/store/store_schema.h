/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What the database holds, and its version. Readings and events share one
 * count of ids, in which each has its place in the chain of digests; what
 * many readings have in common is written once.
 */
#ifndef GRADUS_DAEMON_STORE_SCHEMA_H
#define GRADUS_DAEMON_STORE_SCHEMA_H

enum {
    STORE_APPLICATION = 0x47726164, /* "Grad", in the header of the file */
    STORE_VERSION = 2               /* of the tables; counts up with each change */
};

/* The statements that make the tables. */
extern const char store_schema[];

/*
 * The statements that make these tables of those of version 1, which knew no jobs. What is there
 * stays as it is, and so does its chain: job and serial stand in a reading's text, which the chain
 * covers, and in columns only to find it by.
 */
extern const char store_from_1[];

#endif
