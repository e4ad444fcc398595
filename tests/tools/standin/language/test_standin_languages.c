/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Each type of instrument speaks one language, and its own; own derivation. */
#include "tools/standin/language/languages.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

static void a_type_has_its_own_language(void **state)
{
    (void)state;
    static const struct language *const languages[] = { &language_tarnwerk_meter,
                                                        &language_oldmere_meter,
                                                        &language_tarnwerk_scope,
                                                        &language_oldmere_scope };
    for (size_t i = 0; i < sizeof languages / sizeof *languages; i++)
        assert_ptr_equal(language_of(languages[i]->type), languages[i]);
    assert_null(language_of("tarnwerk"));
    assert_null(language_of(""));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_type_has_its_own_language),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
