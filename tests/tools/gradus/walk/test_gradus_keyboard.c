/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Keys of somebody who holds a probe, in lines and one by one; own derivation. */
#include "tools/gradus/walk/keyboard.h"

#include <string.h>
#include <unistd.h>

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

/* A keyboard that has read the text; its terminal is none. */
static struct keyboard pressed_on(bool single, const char *text)
{
    struct keyboard keyboard = { .single = single };
    int ends[2];
    assert_int_equal(pipe(ends), 0);
    assert_int_equal(write(ends[1], text, strlen(text)), (ssize_t)strlen(text));
    close(ends[1]);
    keyboard.descriptor = ends[0];
    while (keyboard_read(&keyboard))
        continue;
    assert_int_equal(keyboard.descriptor, -1);
    close(ends[0]);
    return keyboard;
}

static void a_line_is_a_key_and_perhaps_a_note(void **state)
{
    (void)state;
    struct keyboard keyboard = pressed_on(false, "\nb\nx\nn\nn  R7 is brown \nq\ns");
    assert_int_equal(keyboard_next(&keyboard), PRESSED_ON);
    assert_int_equal(keyboard_next(&keyboard), PRESSED_BACK);
    assert_int_equal(keyboard_next(&keyboard), PRESSED_UNKNOWN);
    assert_int_equal(keyboard_next(&keyboard), PRESSED_UNKNOWN); /* a note that says nothing */
    assert_int_equal(keyboard_next(&keyboard), PRESSED_NOTE);
    assert_string_equal(keyboard.note, "R7 is brown ");
    assert_int_equal(keyboard_next(&keyboard), PRESSED_LEAVE);
    assert_int_equal(keyboard_next(&keyboard), PRESSED_NOTHING); /* the line is not at its end */
}

static void a_note_is_typed_letter_by_letter(void **state)
{
    (void)state;
    struct keyboard keyboard = pressed_on(true, "na\xC2\xB5\177b\n \033");
    for (int i = 0; i < 5; i++)
        assert_int_equal(keyboard_next(&keyboard), PRESSED_TYPING);
    assert_string_equal(keyboard.note, "a"); /* a letter of two bytes went whole */
    assert_int_equal(keyboard_next(&keyboard), PRESSED_TYPING);
    assert_int_equal(keyboard_next(&keyboard), PRESSED_NOTE);
    assert_string_equal(keyboard.note, "ab");
    assert_int_equal(keyboard_next(&keyboard), PRESSED_ON);
}

static void an_escaped_note_is_none(void **state)
{
    (void)state;
    struct keyboard keyboard = pressed_on(true, "nab\033a");
    for (int i = 0; i < 4; i++)
        assert_int_equal(keyboard_next(&keyboard), PRESSED_TYPING);
    assert_string_equal(keyboard.note, "");
    assert_int_equal(keyboard_next(&keyboard), PRESSED_AGAIN);
}

/* What is too long for a line is taken in parts, and never beyond the note's end. */
static void a_long_note_is_cut(void **state)
{
    (void)state;
    char text[300];
    memset(text, 'x', sizeof text);
    text[0] = 'n';
    text[sizeof text - 1] = '\0';
    struct keyboard keyboard = pressed_on(true, "");
    size_t typed = 0;
    for (; text[typed] != '\0'; typed++) {
        keyboard.bytes[0] = text[typed];
        keyboard.used = 1;
        assert_int_equal(keyboard_next(&keyboard), PRESSED_TYPING);
    }
    assert_int_equal(strlen(keyboard.note), KEYBOARD_NOTE - 1);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_line_is_a_key_and_perhaps_a_note),
        cmocka_unit_test(a_note_is_typed_letter_by_letter),
        cmocka_unit_test(an_escaped_note_is_none),
        cmocka_unit_test(a_long_note_is_cut),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
