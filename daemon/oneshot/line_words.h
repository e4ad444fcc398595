/* SPDX-License-Identifier: GPL-3.0-or-later */
/* How the settings of a serial line are written on a command line. */
#ifndef GRADUS_DAEMON_LINE_WORDS_H
#define GRADUS_DAEMON_LINE_WORDS_H

#include "drivers/link/link.h"

/* Reads a speed, 300 to 921600 baud. False, and the line is as it was, for anything else. */
bool line_read_baud(const char *text, struct serial_line *line);

/* Reads "none", "rts/cts" or "xon/xoff". False, and the line is as it was, for anything else. */
bool line_read_flow(const char *text, struct serial_line *line);

/* The word of a flow control. */
const char *line_flow_word(enum flow_control flow);

/*
 * Reads "115200", "115200 8N1" or "115200 8N1 rts/cts"; what is not mentioned
 * stays. False, and the line is as it was, for anything else.
 */
bool line_read(const char *text, struct serial_line *line);

#endif
