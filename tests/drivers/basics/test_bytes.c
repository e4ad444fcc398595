/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Bytes, deadlines, digests: what every driver stands on. */
#include "drivers/basics/buffer.h"
#include "drivers/basics/deadline.h"
#include "drivers/basics/digest.h"
#include "drivers/basics/printable.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <stdlib.h>
#include <string.h>

/* NIST, Secure Hash Standard examples (csrc.nist.gov), SHA-256 of "abc" and of 448 bits. */
static void digests_are_those_of_the_standard(void **state)
{
    (void)state;
    static const char *const long_one = "abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq";
    char digest[DIGEST_SIZE];
    assert_string_equal(digest_bytes("abc", 3, digest),
                        "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
    assert_string_equal(digest_bytes(long_one, strlen(long_one), digest),
                        "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1");
}

/* Own derivation, from what the header promises. */
static void bytes_are_shown_whatever_they_are(void **state)
{
    (void)state;
    char text[32];
    assert_string_equal(printable("a\\b\r\n\t\x01\xff", 8, text, sizeof text),
                        "a\\\\b\\r\\n\\t\\x01\\xFF");
    assert_string_equal(printable("", 0, text, sizeof text), "");
    assert_string_equal(printable("0123456789", 10, text, 8), "0123...");
}

static void a_buffer_grows_and_keeps_what_is_there(void **state)
{
    (void)state;
    struct buffer buffer = { 0 };
    struct failure failure = { 0 };
    assert_true(buffer_reserve(&buffer, 4, &failure));
    memcpy(buffer.bytes, "abcd", 4);
    buffer.count = 4;
    assert_true(buffer_reserve(&buffer, 4096, &failure));
    assert_true(buffer.capacity >= 4096);
    assert_memory_equal(buffer.bytes, "abcd", 4);
    buffer.bytes[4096] = '\0';
    free(buffer.bytes);
}

static void the_sooner_deadline_counts(void **state)
{
    (void)state;
    const struct deadline past = deadline_in(-5), hour = deadline_in(3.6e6), far = deadline_in(1e9);
    assert_true(deadline_passed(past));
    assert_int_equal(deadline_poll_ms(past), 0);
    assert_false(deadline_passed(hour));
    assert_int_equal(deadline_poll_ms(far), 3600000);
    assert_true(deadline_left_ms(far) > deadline_left_ms(hour));
    assert_int_equal(deadline_sooner(hour, far).at.ns, hour.at.ns);
    assert_int_equal(deadline_sooner(far, hour).at.ns, hour.at.ns);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(digests_are_those_of_the_standard),
        cmocka_unit_test(bytes_are_shown_whatever_they_are),
        cmocka_unit_test(a_buffer_grows_and_keeps_what_is_there),
        cmocka_unit_test(the_sooner_deadline_counts),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
