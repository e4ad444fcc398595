/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Any bytes as settings: they give a bench or reasons, never both and never
 * neither. Run it in the root of the source, where it finds the profiles.
 * Seeds: corpus_settings and the files in config.
 */
#include "daemon/settings/settings.h"
#include "library_leaks.h"

#include <stdint.h>
#include <stdlib.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct problems problems = { 0 };
    struct bench *bench = settings_read((const char *)data, size, "config/fuzz.cfg", &problems);

    if ((bench == NULL) != (problems.total > 0))
        abort();
    bench_unref(bench);
    problems_free(&problems);
    return 0;
}
