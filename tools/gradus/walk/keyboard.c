/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "keyboard.h"

#include <errno.h>
#include <string.h>
#include <unistd.h>

void keyboard_begin(struct keyboard *keyboard, bool single)
{
    *keyboard = (struct keyboard) { .descriptor = STDIN_FILENO };
    if (!single || !isatty(STDIN_FILENO) || tcgetattr(STDIN_FILENO, &keyboard->before) != 0)
        return;
    struct termios raw = keyboard->before;
    raw.c_lflag &= ~(tcflag_t)(ICANON | ECHO);
    raw.c_cc[VMIN] = 1;
    raw.c_cc[VTIME] = 0;
    keyboard->changed = tcsetattr(STDIN_FILENO, TCSANOW, &raw) == 0;
    keyboard->single = keyboard->changed;
}

void keyboard_end(struct keyboard *keyboard)
{
    if (keyboard->changed)
        tcsetattr(STDIN_FILENO, TCSANOW, &keyboard->before);
    keyboard->changed = false;
}

bool keyboard_read(struct keyboard *keyboard)
{
    const ssize_t count = read(keyboard->descriptor, keyboard->bytes + keyboard->used,
                               sizeof keyboard->bytes - keyboard->used);
    if (count > 0)
        keyboard->used += (size_t)count;
    if (count > 0 || (count < 0 && errno == EINTR))
        return true;
    keyboard->descriptor = -1;
    return false;
}

static void pop_front(struct keyboard *keyboard, size_t count)
{
    keyboard->used -= count;
    memmove(keyboard->bytes, keyboard->bytes + count, keyboard->used);
}

static enum pressed key_of(char key)
{
    switch (key) {
    case '\n':
    case '\r':
    case ' ':
        return PRESSED_ON;
    case 'b':
        return PRESSED_BACK;
    case 'a':
        return PRESSED_AGAIN;
    case 's':
        return PRESSED_SKIP;
    case 'g':
        return PRESSED_GOOD;
    case 'n':
        return PRESSED_NOTE;
    case 'e':
    case 'q':
    case '\004':
        return PRESSED_LEAVE;
    default:
        return PRESSED_UNKNOWN;
    }
}

/* One key while a note is typed. */
static enum pressed type(struct keyboard *keyboard, char key)
{
    if (key == '\n' || key == '\r' || key == '\033') {
        keyboard->typing = false;
        keyboard->note[key == '\033' ? 0 : keyboard->length] = '\0';
        return keyboard->note[0] != '\0' ? PRESSED_NOTE : PRESSED_TYPING;
    }
    if (key == '\177' || key == '\b') {
        /* A letter of several bytes goes whole. */
        while (keyboard->length > 0 &&
               ((unsigned char)keyboard->note[--keyboard->length] & 0xC0) == 0x80)
            continue;
    } else if (keyboard->length + 1 < sizeof keyboard->note && (unsigned char)key >= ' ') {
        keyboard->note[keyboard->length++] = key;
    }
    keyboard->note[keyboard->length] = '\0';
    return PRESSED_TYPING;
}

static enum pressed next_single(struct keyboard *keyboard)
{
    const char key = keyboard->bytes[0];
    pop_front(keyboard, 1);
    if (keyboard->typing)
        return type(keyboard, key);
    const enum pressed pressed = key_of(key);
    if (pressed != PRESSED_NOTE)
        return pressed;
    keyboard->typing = true;
    keyboard->length = 0;
    keyboard->note[0] = '\0';
    return PRESSED_TYPING;
}

/* A line: its first letter is the key, and what follows an n the note. */
static enum pressed next_line(struct keyboard *keyboard)
{
    const char *const end = memchr(keyboard->bytes, '\n', keyboard->used);
    const bool cut = end == NULL && keyboard->used == sizeof keyboard->bytes;
    if (end == NULL && !cut)
        return PRESSED_NOTHING;
    size_t length = end != NULL ? (size_t)(end - keyboard->bytes) : keyboard->used;
    const enum pressed pressed = length == 0 ? PRESSED_ON : key_of(keyboard->bytes[0]);
    size_t from = 1;
    while (from < length && keyboard->bytes[from] == ' ')
        from++;
    size_t count = length > from ? length - from : 0;
    count = count < sizeof keyboard->note ? count : sizeof keyboard->note - 1;
    memcpy(keyboard->note, keyboard->bytes + from, count);
    keyboard->note[count] = '\0';
    pop_front(keyboard, end != NULL ? length + 1 : length);
    return pressed == PRESSED_NOTE && count == 0 ? PRESSED_UNKNOWN : pressed;
}

enum pressed keyboard_next(struct keyboard *keyboard)
{
    if (keyboard->used == 0)
        return PRESSED_NOTHING;
    return keyboard->single ? next_single(keyboard) : next_line(keyboard);
}
