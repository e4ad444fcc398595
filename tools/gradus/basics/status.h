/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The exit status of the command. With several readings the worst counts, in
 * the order of STATUS_ORDER: what keeps the answer from meaning anything comes
 * before a limit that failed, and a clear failure before a doubt.
 */
#ifndef GRADUS_TOOLS_STATUS_H
#define GRADUS_TOOLS_STATUS_H

enum status {
    STATUS_PASS = 0,       /* all pass, or there is no limit */
    STATUS_FAIL = 1,       /* a limit failed beyond the uncertainty */
    STATUS_USAGE = 2,      /* usage or settings */
    STATUS_NO_READING = 3, /* a reading could not be had */
    STATUS_UNDECIDED = 4   /* within the uncertainty of a limit: not decidable */
};

/* Worst first: 2, 3, 1, 4, 0. */
#define STATUS_ORDER                                                                               \
    {                                                                                              \
        STATUS_USAGE, STATUS_NO_READING, STATUS_FAIL, STATUS_UNDECIDED, STATUS_PASS                \
    }

/* The worse of two by STATUS_ORDER; a number that is no status is worst. */
int status_worse(int a, int b);

/*
 * The status of a verdict as it stands on the wire: "pass" and "none" 0,
 * "fail" 1, "conditional pass" and "conditional fail" 4. STATUS_NO_READING
 * for NULL and for a word that is no verdict.
 */
int status_of_verdict(const char *verdict);

#endif
