/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The range planner against walking the ladder of ranges one by one, and
 * against trying every setup. It plans on the front ends of real profiles,
 * for which this program reads profiles and asks core/: the one tool that does.
 */
#ifndef GRADUS_TOOLS_BENCHMARK_PLANNING_H
#define GRADUS_TOOLS_BENCHMARK_PLANNING_H

/* Prints its lines for the profile at `path`. */
void benchmark_planning(const char *path);

#endif
