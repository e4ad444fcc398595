/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The question which jobs there are readings of. */
#ifndef GRADUS_DAEMON_STORE_ORDERS_H
#define GRADUS_DAEMON_STORE_ORDERS_H

#include "daemon/bench/bench.h"
#include "store_query.h"

/*
 * The jobs on record, newest last: what was said of each last, first and last time, how many
 * readings, failures and no readings; and whose they are. NULL when memory is short.
 */
struct store_query *store_orders_new(const struct bench_shop *shop);

#endif
