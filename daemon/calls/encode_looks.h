/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What looks.h has found, as JSON. */
#ifndef GRADUS_DAEMON_ENCODE_LOOKS_H
#define GRADUS_DAEMON_ENCODE_LOOKS_H

#include "looks.h"

/* One element of `instruments`. */
void encode_instrument(struct text *text, const struct instrument_look *look);

/* The result of `health`. `instruments` are all of the look's bench, in its order. */
void encode_health(struct text *text, const struct health_look *look,
                   const struct instrument_look *instruments);

#endif
