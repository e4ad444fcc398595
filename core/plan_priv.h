/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Shared by the planner's two halves: weighing setups, and deciding what to do next. */
#ifndef GRADUS_CORE_PLAN_PRIV_H
#define GRADUS_CORE_PLAN_PRIV_H

#include "plan.h"

/*
 * The setup with the smallest uncertainty of all that hold the extremes, and
 * that `plan` (or NULL) does not rule out. False when none does.
 */
bool plan_best(const struct chain *chain, const struct signal *signal,
               const struct extremes *extremes, const struct plan *plan, struct candidate *best);

/* Whether the plan's history does not speak against a setup. */
bool plan_allows(const struct plan *plan, const struct setup *setup);

/*
 * The setup of a range, dc coupled, whose middle is as near to `centre` as
 * offset or position can bring it.
 */
struct setup setup_centred(const struct front_end *input, size_t range, double centre);

#endif
