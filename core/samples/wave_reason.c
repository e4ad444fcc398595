/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "wave_reason.h"

const char *wave_reason_text(enum wave_reason reason)
{
    static const char *const words[] = {
#define X(name, words) words,
        WAVE_REASON_TABLE(X)
#undef X
    };
    return words[reason];
}
