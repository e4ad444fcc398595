/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What the terminal can do and is wanted to do: width, UTF-8, colour, and
 * whether anybody is there to look at progress. Asked once, at the start.
 */
#ifndef GRADUS_TOOLS_TERMINAL_H
#define GRADUS_TOOLS_TERMINAL_H

#include <stdbool.h>
#include <stdio.h>

struct terminal {
    bool ascii;    /* nothing beyond ASCII on standard output and error */
    bool colour;   /* standard output is a terminal and NO_COLOR is not set */
    bool progress; /* standard error is a terminal */
    int columns;   /* COLUMNS, else of standard output; 80 where neither tells */
    bool bounded;  /* somebody looks at lines of that many columns */
    int rows;      /* 24 where it is no terminal */
};

/* How a piece of text is to look. Colour only ever repeats what a word says. */
enum style { STYLE_PLAIN, STYLE_HEADING, STYLE_GOOD, STYLE_DOUBT, STYLE_BAD, STYLE_FAINT };

/* Looks at standard output, standard error and the environment. */
struct terminal terminal_look(void);

/* The style a verdict is shown in. NULL counts as no verdict. */
enum style terminal_verdict_style(const char *verdict);

/* Starts and ends a style; nothing where there is no colour. */
void terminal_style(const struct terminal *terminal, FILE *stream, enum style style);

/* Writes text made printable. */
void terminal_put(const struct terminal *terminal, FILE *stream, const char *text);

/* printf to a stream, made printable; the format's own newlines are kept. */
void terminal_print(const struct terminal *terminal, FILE *stream, const char *format, ...)
    __attribute__((format(printf, 3, 4)));

/* One line on standard error, "gradus: " before it. Clears a progress line first. */
void terminal_complain(const struct terminal *terminal, const char *format, ...)
    __attribute__((format(printf, 2, 3)));

/* Replaces the progress line on standard error; NULL clears it. Nothing without a terminal. */
void terminal_progress(const struct terminal *terminal, const char *text);

#endif
