/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The zero of leads: what a meter shows of two leads that are shorted at their
 * tips, taken off resistances that it reads through them later.
 */
#ifndef GRADUS_CORE_LEAD_ZERO_H
#define GRADUS_CORE_LEAD_ZERO_H

#include "core/basics/failure.h"
#include "core/basics/moment.h"
#include "probe.h"

/* Leads that are said to be as the probe states, were zeroed, or are shorted for that just now. */
enum lead_state { LEADS_STATED, LEADS_ZEROED, LEADS_SHORTED };

/* {0}: there is no zero. */
struct lead_zero {
    enum lead_state state;
    double resistance; /* ohm, of both leads and their contacts */
    double standard;   /* standard uncertainty of that, ohm */
    struct wall_time when;
};

/*
 * The probe with what was measured of its leads in the place of what is stated
 * of them. Leads that are shorted are themselves what is measured: nothing is
 * taken off.
 */
struct probe lead_zero_probe(const struct probe *probe, const struct lead_zero *zero);

/*
 * Whether a resistance can be that of the probe's leads, shorted at their tips:
 * what is stated of them, within its tolerance; where nothing is, no more than
 * 5 ohm; and not below nothing. Each within the uncertainty, but for the 5 ohm.
 * Else false with FAILURE_MISTAKE.
 *
 * resistance   ohm, nothing taken off
 * uncertainty  expanded, ohm
 */
bool lead_zero_fits(const struct probe *probe, double resistance, double uncertainty,
                    struct failure *failure);

#endif
