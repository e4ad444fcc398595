/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What people write for a key that is called something else here. */
#ifndef GRADUS_DRIVERS_KEY_WORDS_H
#define GRADUS_DRIVERS_KEY_WORDS_H

#include "strict.h"

/* The key among these that a word of the trade stands for; NULL: none that is known. */
const char *key_words_meant(const struct strict_key *keys, const char *word);

#endif
