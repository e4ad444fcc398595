/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Bringing a dialogue in step; called by dialogue.c. */
#ifndef GRADUS_DRIVERS_DIALOGUE_SYNC_H
#define GRADUS_DRIVERS_DIALOGUE_SYNC_H

#include "exchange.h"

/*
 * Brings an open link in step. False with the failure set; the link is closed
 * when it is broken or does not fall silent.
 */
bool dialogue_synchronise(struct dialogue *dialogue, struct deadline deadline,
                          struct failure *failure);

#endif
