/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "margin.h"

#include <math.h>
#include <stdio.h>

bool margin_is_far(double margin)
{
    return margin < -1;
}

char *margin_text(double margin, char text[MARGIN_TEXT])
{
    if (isnan(margin))
        snprintf(text, MARGIN_TEXT, "-");
    else if (margin_is_far(margin))
        snprintf(text, MARGIN_TEXT, "far outside");
    else
        snprintf(text, MARGIN_TEXT, "%.0f %%", floor(100 * margin));
    return text;
}
