/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "key_words.h"

#include <string.h>
#include <strings.h>

/*
 * What beginners write for a key, and what it is called here; common practice, no source. A word
 * may stand for several, each in groups of its own.
 */
static const struct {
    const char *word;
    const char *key;
} synonyms[] = {
    { "min", "low" },
    { "minimum", "low" },
    { "max", "high" },
    { "maximum", "high" },
    { "upper", "high" },
    { "lower", "low" },
    { "tolerance", "limits" },
    { "tol", "limits" },
    { "percent", "tolerance_percent" },
    { "channel", "input" },
    { "ch", "input" },
    { "chan", "input" },
    { "attenuation", "factor" },
    { "ratio", "factor" },
    { "gain", "factor" },
    { "meter", "instrument" },
    { "device", "instrument" },
    { "value", "expected" },
    { "type", "quantity" },
    { "measure", "quantity" },
    { "function", "quantity" },
    { "type", "profile" },
    { "model", "profile" },
    { "driver", "profile" },
    { "address", "link" },
    { "port", "link" },
    { "resource", "link" },
    { "interval", "every_s" },
    { "duration", "duration_s" },
    { "time", "duration_s" },
    { "file", "path" },
    { "warmup", "warm_up_s" },
    { "script", "command" },
};

static bool is_key(const struct strict_key *keys, const char *name)
{
    while (keys->name != NULL && strcmp(keys->name, name) != 0)
        keys++;
    return keys->name != NULL;
}

const char *key_words_meant(const struct strict_key *keys, const char *word)
{
    for (size_t i = 0; i < sizeof synonyms / sizeof *synonyms; i++)
        if (strcasecmp(word, synonyms[i].word) == 0 && is_key(keys, synonyms[i].key))
            return synonyms[i].key;
    return NULL;
}
