/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the files of `gradus walk` share. */
#ifndef GRADUS_TOOLS_WALKER_H
#define GRADUS_TOOLS_WALKER_H

#include "core/basics/notation.h"
#include "keyboard.h"
#include "sound.h"
#include "tools/gradus/answers/command.h"
#include "tools/gradus/wire/client.h"

#include <jansson.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdio.h>

enum { WALKER_LINE = 320 };

/* What became of a place, as the daemon tells it. */
struct stop {
    const json_t *place;       /* of the daemon's answer; borrowed */
    const char *state;         /* "open", "read", "no reading", "skipped" */
    json_t *reading;           /* the whole reading, where it was taken just now; NULL */
    char value[NOTATION_SIZE]; /* as it is shown, without its uncertainty; "" */
    char verdict[32];          /* or why there is none; "" */
    int status;                /* enum status; STATUS_PASS while nothing is known */
};

struct walker {
    const struct session *session;
    struct terminal terminal;
    struct client *client;
    struct keyboard keyboard;
    struct sound sound;
    bool live;      /* drawn in place; else line by line */
    json_t *answer; /* of walk.start */
    json_int_t number;
    struct stop *stops;
    size_t count;
    size_t at;              /* whose turn it is; count: all are done */
    size_t last;            /* that had an outcome last; count: none */
    char probe[32];         /* what the probe does, the daemon's word */
    char news[WALKER_LINE]; /* what was to be said last */
    bool bad_news;
    bool ended;
    bool finished; /* all places are done */
    char *screen;  /* as it was drawn last */
};

/* The part of the place that fits into big characters: what stands before the first comma. */
void walker_short_place(const struct walker *walker, size_t index, char *text, size_t size);

/* What the person is to do, from what the probe does. "" where that needs no word. */
const char *walker_advice(const struct walker *walker);

/* The same, from the daemon's word for what the probe does. */
const char *walk_advice(const char *probe);

/* Looks for what plays tones and speaks, as far as the options want it; says what is missing. */
void walker_sound(struct sound *sound, const struct session *session);

/* Draws the screen, in as many lines as the terminal has. */
void walker_draw(struct walker *walker, FILE *stream);

/* Says where the probe goes next, in lines. */
void walker_print_next(const struct walker *walker, FILE *stream);

/* The list of what was measured, at the end. */
void walker_print_summary(const struct walker *walker, FILE *stream);

/* "5 V, 4.75 to 5.25 V": what is expected at a place and its limits; "" where there is nothing. */
char *walker_expected(const struct walker *walker, size_t index, char *text, size_t size);

#endif
