/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * libconfig 1.5 loses the text it has last read, some bytes, when a syntax error
 * follows it (`o "x" o`). That is not ours to free, so the leak checker is
 * told not to mind. It knows the functions by name where llvm-symbolizer is (package llvm).
 */
#ifndef GRADUS_TESTS_FUZZ_LIBRARY_LEAKS_H
#define GRADUS_TESTS_FUZZ_LIBRARY_LEAKS_H

const char *__lsan_default_suppressions(void);

const char *__lsan_default_suppressions(void)
{
    return "leak:strbuf_append\nleak:libconfig_yylex\n";
}

#endif
