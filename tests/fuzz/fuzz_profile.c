/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Any bytes as a profile: they give a profile or reasons, never both and
 * never neither. Seeds: corpus_profile and the profiles in config/profiles.
 */
#include "drivers/profile/profile.h"
#include "library_leaks.h"

#include <stdint.h>
#include <stdlib.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct problems problems = { 0 };
    struct profile *profile = profile_read((const char *)data, size, "fuzz.cfg", &problems);

    if ((profile == NULL) != (problems.total > 0))
        abort();
    profile_free(profile);
    problems_free(&problems);
    return 0;
}
