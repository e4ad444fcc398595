# SPDX-License-Identifier: GPL-3.0-or-later
"""The parameters of a waveform by numpy, timed beside the house's own.

Usage: waveform_baseline.py BENCHMARK WORK-FOLDER. Makes records of ten million 16-bit codes, has
both measure them on one thread, fails where they disagree, and prints ratios, one a line.
"""

import os

for variable in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ[variable] = "1"

import subprocess
import sys
import time

import numpy as np

SAMPLES = 10_000_000
RUNS = 5
SEED = 20240613


def signals():
    """Codes of a 12-bit converter on a 16-bit scale of its own, with noise of two codes."""
    random = np.random.default_rng(SEED)
    i = np.arange(SAMPLES)
    noise = random.normal(0, 2, SAMPLES)
    for name, period in (("sine, 1000 samples a period", 1000.3), ("sine, 20 samples a period", 20.3)):
        yield name, np.rint(1800 * np.sin(2 * np.pi * i / period) + 50 + noise).astype(np.int16)
    phase = i / 1000.3 % 1
    edge = 0.01
    square = np.interp(phase, [0, edge, 0.4, 0.4 + edge, 1], [-1500, 1500, 1500, -1500, -1500])
    yield "pulses, 1000 samples a period", np.rint(square + noise).astype(np.int16)


def crossings(x, level, low, high):
    """Instants at which the record passes `level` for good, up and down, and whether each is up."""
    beyond = (x > high).view(np.int8) - (x < low).view(np.int8)
    marks = np.flatnonzero(beyond)
    side = beyond[marks]
    change = np.flatnonzero(side[1:] != side[:-1])
    starts, ends, up = marks[change], marks[change + 1], side[change + 1] > 0
    at = np.flatnonzero((x[1:] >= level) != (x[:-1] >= level)) + 1
    last = at[np.searchsorted(at, ends, side="right") - 1]
    before = x[last - 1].astype(float)
    instants = last - 1 + (level - before) / (x[last].astype(float) - before)
    return instants, up, starts, ends


def noise_of(x):
    wide = x.astype(np.int32)
    bend = np.abs(wide[:-2] - 2 * wide[1:-1] + wide[2:])
    tally = np.cumsum(np.bincount(bend))
    return np.searchsorted(tally, len(bend) // 2, side="right") / (0.67448975019608174 * 6 ** 0.5)


def averages(x, begin, end):
    """Trapezoids from instant to instant."""
    first, last = int(begin), int(end)
    part = x[first + 1:last + 1].astype(float)

    def mean(function):
        lead, tail = begin - first, end - last
        values = function(part)
        here, after = function(x[first:first + 2].astype(float))
        at, beyond = function(x[last:last + 2].astype(float))
        at_begin, at_end = here + lead * (after - here), at + tail * (beyond - at)
        return (values.sum() + (1 - lead) * (at_begin + after) / 2 - after / 2 +
                tail * (at + at_end) / 2 - at / 2) / (end - begin)
    centre = mean(lambda v: v)
    return centre, np.sqrt(mean(lambda v: (v - centre) ** 2)), mean(np.abs)


def levels_of(x, minimum, maximum):
    tally = np.bincount(x.astype(np.int32) - minimum)
    split = (maximum - minimum + 1) // 2
    return minimum + np.argmax(tally[:split]), minimum + split + np.argmax(tally[split:]), tally


def pulse_figures(x, figures, frequency):
    low, high, tally = levels_of(x, int(figures["minimum"]), int(figures["maximum"]))
    base = int(figures["minimum"])
    amplitude = high - low
    mid = low + amplitude / 2
    upper = tally[int(mid) - base:]
    if upper[:int(0.3 * amplitude)].sum() > 0.25 * upper.sum():
        return
    r10, r90 = low + 0.1 * amplitude, low + 0.9 * amplitude
    at_50, up, starts, ends = crossings(x, mid, r10, r90)

    def instant(index, level):
        before = x[index - 1].astype(float)
        return index - 1 + (level - before) / (x[index].astype(float) - before)
    durations = instant(ends, np.where(up, r90, r10)) - instant(starts + 1, np.where(up, r10, r90))
    figures["low"], figures["high"] = low, high
    figures["rise"], figures["fall"] = durations[up].mean(), durations[~up].mean()
    begin = 0 if up[0] else 1
    rises, falls = at_50[begin::2], at_50[begin + 1::2]
    count = min(len(rises), len(falls))
    figures["duty"] = (falls[:count] - rises[:count]).mean() * frequency
    figures["overshoot"] = (figures["maximum"] - high) / amplitude


def measure(x):
    figures = {"minimum": float(x.min()), "maximum": float(x.max())}
    height = figures["maximum"] - figures["minimum"]
    figures["peak_to_peak"] = height
    figures["noise"] = noise_of(x)
    level = figures["minimum"] + height / 2
    half = min(max(0.1 * height, 4 * figures["noise"]), 0.3 * height)
    instants, up, _, _ = crossings(x, level, level - half, level + half)
    like = max(instants[up], instants[~up], key=len)
    periods = np.diff(like)
    if periods.max() - periods.min() > 0.1 * periods.mean():
        raise SystemExit("not periodic")
    figures["frequency"] = len(periods) / (like[-1] - like[0])
    figures["mean"], figures["ac_rms"], figures["rectified"] = averages(x, like[0], like[-1])
    figures["rms"] = np.hypot(figures["mean"], figures["ac_rms"])
    pulse_figures(x, figures, figures["frequency"])
    return figures


def agree(name, ours, theirs):
    """The same numbers within what levels to the whole code and ties may differ."""
    for key, value in theirs.items():
        bound = 1.0 if key in ("low", "high") else 2e-3 * abs(value) + 1e-3
        if not abs(ours[key] - value) <= bound:
            raise SystemExit(f"{name}: {key} is {ours[key]} here and {value} by numpy")


def main(benchmark, work):
    path = os.path.join(work, "codes")
    for name, x in signals():
        x.tofile(path)
        printed = subprocess.run([benchmark, "waveform", path], check=True, capture_output=True,
                                 text=True).stdout
        ours = {key: float(value) for key, value in map(str.split, printed.splitlines())}
        seconds = []
        for _ in range(RUNS):
            begin = time.perf_counter()
            theirs = measure(x)
            seconds.append(time.perf_counter() - begin)
        agree(name, ours, theirs)
        numpy_seconds = min(seconds)
        print(f"{name}: full parameter set, samples/s over numpy: {numpy_seconds / ours['full']:.1f} "
              f"({SAMPLES / ours['full'] / 1e6:.0f} M over {SAMPLES / numpy_seconds / 1e6:.1f} M)")
        print(f"{name}: full parameter set, time over one plain pass: "
              f"{ours['full'] / ours['plain']:.1f} ({ours['full'] * 1e3:.1f} ms over "
              f"{ours['plain'] * 1e3:.2f} ms)", flush=True)
    os.unlink(path)


if __name__ == "__main__":
    main(*sys.argv[1:])
