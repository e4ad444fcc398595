/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Keys of somebody who has one finger free: single keys on a terminal, or
 * lines where the command talks in lines. A note is typed behind its key.
 */
#ifndef GRADUS_TOOLS_KEYBOARD_H
#define GRADUS_TOOLS_KEYBOARD_H

#include <stdbool.h>
#include <stddef.h>
#include <termios.h>

enum { KEYBOARD_NOTE = 200 };

enum pressed {
    PRESSED_NOTHING,
    PRESSED_ON,
    PRESSED_BACK,
    PRESSED_AGAIN,
    PRESSED_SKIP,
    PRESSED_GOOD,
    PRESSED_NOTE,   /* a note is complete, in `note` */
    PRESSED_TYPING, /* what is typed of a note has changed */
    PRESSED_LEAVE,
    PRESSED_UNKNOWN
};

struct keyboard {
    int descriptor; /* -1: there are no keys, or no more */
    bool single;    /* keys one by one; else lines */
    bool typing;    /* a note is being typed */
    size_t length;
    char note[KEYBOARD_NOTE];
    char bytes[256];
    size_t used;
    bool changed; /* the terminal is to be put back as it was */
    struct termios before;
};

/* Takes standard input. `single`: key by key, where it is a terminal. */
void keyboard_begin(struct keyboard *keyboard, bool single);

/* Reads what is there; the next key is had by keyboard_next(). False at the end of the input. */
bool keyboard_read(struct keyboard *keyboard);

/* The next key among those read. */
enum pressed keyboard_next(struct keyboard *keyboard);

/* Puts the terminal back as it was. */
void keyboard_end(struct keyboard *keyboard);

#endif
