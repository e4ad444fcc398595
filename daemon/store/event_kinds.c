/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "event_kinds.h"

#include <stdbool.h>
#include <string.h>

static const struct {
    const char *text;
    bool kept;
} kinds[EVENT_KINDS] = {
#define X(name, text, kept) [EVENT_##name] = { text, kept },
    EVENT_KIND_TABLE(X)
#undef X
};

const char *event_kind_text(enum event_kind kind)
{
    return kinds[kind].text;
}

bool event_kind_kept(enum event_kind kind)
{
    return kinds[kind].kept;
}

enum event_kind event_kind_of(const char *text)
{
    enum event_kind kind = 0;
    while (kind < EVENT_KINDS && strcmp(kinds[kind].text, text) != 0)
        kind++;
    return kind;
}
