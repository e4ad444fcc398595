/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Why the command could not do what was asked, as a person reads it and as
 * the exit status it leads to. Filled from the daemon's error answers or by
 * the command itself.
 */
#ifndef GRADUS_TOOLS_FAULT_H
#define GRADUS_TOOLS_FAULT_H

#include "tools/gradus/screen/terminal.h"

#include <jansson.h>

/* Text fields are always terminated; too long a text is cut. */
struct fault {
    int status;         /* enum status */
    char reason[96];    /* in a few words, fit for a table */
    char where[160];    /* "" when not known */
    char what[512];     /* what is wrong; "" when the reason says it all */
    char expected[320]; /* "" when that says nothing new */
};

/* Fills a fault with reason and printf text of what is wrong. */
void fault_set(struct fault *fault, int status, const char *reason, const char *format, ...)
    __attribute__((format(printf, 4, 5)));

/*
 * Fills a fault from the error object of a JSON-RPC answer. The status comes
 * from the reason; for the errors that JSON-RPC itself defines, bad
 * parameters and an unknown method are usage.
 */
void fault_from_error(struct fault *fault, const json_t *error);

/* "what, expected X (where)", leaving out what is empty. Returns text. */
char *fault_detail(const struct fault *fault, char *text, size_t size);

/*
 * Explains on standard error: "gradus: SUBJECT: reason: what, expected X
 * (where)". `subject` NULL is left out.
 */
void fault_explain(const struct fault *fault, const char *subject, const struct terminal *terminal);

#endif
