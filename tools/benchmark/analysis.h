/* SPDX-License-Identifier: GPL-3.0-or-later */
/* How fast a record of 16-bit codes is measured; tools/waveform_baseline.py compares. */
#ifndef GRADUS_TOOLS_BENCHMARK_ANALYSIS_H
#define GRADUS_TOOLS_BENCHMARK_ANALYSIS_H

/*
 * Reads the codes at `path` (native byte order), and prints one "name value" a line: seconds of
 * one plain pass over them, of the full parameter set (the best of several
 * runs each, in turn: what else the machine does only adds), and the parameters, in codes and samples.
 */
void benchmark_analysis(const char *path);

#endif
