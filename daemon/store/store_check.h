/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The question whether the store is as it was written. */
#ifndef GRADUS_DAEMON_STORE_CHECK_H
#define GRADUS_DAEMON_STORE_CHECK_H

#include "store_anchor.h"
#include "store_query.h"

/*
 * Asks for the whole chain; others have their turn between stretches of it. `key` is that of the
 * anchors, borrowed until the answer. NULL: no memory.
 */
struct store_query *store_check_new(const struct anchor_key *key);

#endif
