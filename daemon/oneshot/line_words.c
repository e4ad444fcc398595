/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "line_words.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const char *const flow_words[] = {
    [FLOW_NONE] = "none", [FLOW_RTS_CTS] = "rts/cts", [FLOW_XON_XOFF] = "xon/xoff"
};

bool line_read_baud(const char *text, struct serial_line *line)
{
    const size_t digits = strspn(text, "0123456789");
    const long baud = digits > 0 && digits < 8 && text[digits] == '\0' ? strtol(text, NULL, 10) : 0;
    if (baud < 300 || baud > 921600)
        return false;
    line->baud = (int)baud;
    return true;
}

bool line_read_flow(const char *text, struct serial_line *line)
{
    for (size_t i = 0; i < sizeof flow_words / sizeof flow_words[0]; i++) {
        if (strcmp(text, flow_words[i]) == 0) {
            line->flow = (enum flow_control)i;
            return true;
        }
    }
    return false;
}

const char *line_flow_word(enum flow_control flow)
{
    return flow_words[flow];
}

bool line_read(const char *text, struct serial_line *line)
{
    struct serial_line made = *line;
    char baud[16], framing[16], flow[16];
    int end = 0;
    const int words = sscanf(text, "%15s%n %15s%n %15s%n", baud, &end, framing, &end, flow, &end);
    if (words < 1 || text[(size_t)end + strspn(text + end, " ")] != '\0')
        return false;
    if (!line_read_baud(baud, &made) || (words > 1 && !serial_framing_parse(framing, &made)) ||
        (words > 2 && !line_read_flow(flow, &made)))
        return false;
    *line = made;
    return true;
}
