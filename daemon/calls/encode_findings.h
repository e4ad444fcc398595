/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What findings.h has, as JSON: each the whole result of a method. */
#ifndef GRADUS_DAEMON_ENCODE_FINDINGS_H
#define GRADUS_DAEMON_ENCODE_FINDINGS_H

#include "findings.h"

/* The result of `agree`. */
void encode_agreement(struct text *text, const struct agreement_finding *finding);

/* The result of `unload`. */
void encode_unloaded(struct text *text, const struct unload_finding *finding);

/* The result of `compensate`. */
void encode_compensation(struct text *text, const struct compensation_finding *finding);

/* The result of `zero`. */
void encode_zero(struct text *text, const struct zero_finding *finding);

/* The result of `diagnose`. */
void encode_board(struct text *text, const struct board_finding *finding);

#endif
