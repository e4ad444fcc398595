# SPDX-License-Identifier: GPL-3.0-or-later
"""Waveform figures against numpy and scipy, which share no code with core/, over random records."""

import os
import subprocess
import unittest

import numpy as np
from scipy import optimize, signal

ANALYSE = os.environ["ANALYSE"]
SEED = 20240613
ROUNDS = 25
WINDOWS = ["boxcar", "hann", "hamming", "blackmanharris", "flattop"]


def analyse(kind, samples, scale=1.0, offset=0.0, interval=1.0):
    dtype = np.int16 if kind == "codes" else np.float64
    run = subprocess.run([ANALYSE, kind, repr(scale), repr(offset), repr(interval)], check=True,
                         input=np.asarray(samples, dtype).tobytes(), capture_output=True)
    return {name: float(value) for name, value in map(str.split, run.stdout.decode().splitlines())}


def whole_periods(x, level, half):
    """The stretch between the first and the last like passage of the level; clean records only.

    A passage counts that has a sample further than `half` from the level before and after it."""
    best = None
    beyond = np.flatnonzero(np.abs(x - level) > half)
    for up in (True, False):
        y = x if up else -x
        at = np.flatnonzero((y[:-1] < level * (1 if up else -1)) & (y[1:] >= level * (1 if up else -1)))
        at = at[(at >= beyond[0]) & (at < beyond[-1])]
        instants = at + (level - x[at]) / (x[at + 1] - x[at])
        if best is None or len(instants) > len(best):
            best = instants
    return best[0], best[-1], len(best) - 1


def average(function, x, begin, end):
    """Integral of the function's straight connection of samples, over its length."""
    inner = np.arange(int(begin) + 1, int(end) + 1)
    places = np.concatenate(([begin], inner, [end]))
    values = np.interp(places, np.arange(len(x)), function(x))
    return np.trapz(values, places) / (end - begin)


class Analysis(unittest.TestCase):
    def setUp(self):
        self.random = np.random.default_rng(SEED)

    def near(self, name, got, wanted, bound):
        self.assertLessEqual(abs(got - wanted), bound, f"{name}: {got}, wanted {wanted}")

    def check_averages(self, got, x, interval):
        height = x.max() - x.min()
        half = max(0.1 * height, 4 * got["noise"])
        begin, end, periods = whole_periods(x, x.min() + height / 2, half)
        fine = 1e-12 * np.abs(x).max()
        mean = average(lambda v: v, x, begin, end)
        self.assertEqual(got["periods"], periods)
        self.near("frequency", got["frequency"], periods / (end - begin) / interval,
                  1e-12 / interval)
        self.near("mean", got["mean"], mean, fine)
        ac_rms = np.sqrt(average(lambda v: (v - mean) ** 2, x, begin, end))
        self.near("ac_rms", got["ac_rms"], ac_rms, fine)
        self.near("rectified", got["rectified"], average(np.abs, x, begin, end), fine)
        self.near("rms", got["rms"], np.hypot(mean, ac_rms), fine)
        self.near("form", got["form_factor"], np.hypot(mean, ac_rms) / average(np.abs, x, begin, end),
                  1e-10)
        self.near("crest", got["crest_factor"], np.abs(x).max() / np.hypot(mean, ac_rms), 1e-10)
        bend = np.sort(np.abs(np.diff(x, 2)))
        noise = bend[len(bend) // 2] / (0.67448975019608174 * np.sqrt(6))
        self.near("noise", got["noise"], noise, 1e-7 * noise + fine)

    def test_averages_of_doubles(self):
        for _ in range(ROUNDS):
            count = int(self.random.integers(500, 4000))
            t = np.arange(count) / self.random.uniform(30, 160)
            x = np.sin(2 * np.pi * t + self.random.uniform(0, 6)) + 0.2 * np.sin(4 * np.pi * t)
            x = x * self.random.uniform(0.1, 10) + self.random.uniform(-20, 20)
            self.check_averages(analyse("reals", x, interval=1e-3), x, 1e-3)

    def test_averages_of_codes(self):
        for _ in range(ROUNDS):
            count = int(self.random.integers(500, 4000))
            period = self.random.uniform(30, 160)
            wave = np.sin(2 * np.pi * np.arange(count) / period + self.random.uniform(0, 6))
            codes = np.rint(self.random.uniform(2000, 30000) * wave).astype(np.int16)
            scale, offset = self.random.uniform(1e-4, 1e-2), self.random.uniform(-5, 5)
            got = analyse("codes", codes, scale, offset, 1e-3)
            self.check_averages(got, offset + scale * codes.astype(float), 1e-3)

    def test_sine_fit_against_a_general_solver(self):
        for _ in range(ROUNDS):
            count = int(self.random.integers(200, 2000))
            f = self.random.uniform(2.3, count / 20) / count
            t = np.arange(count)
            true = [2.0, f, self.random.uniform(-3, 3), self.random.uniform(-5, 5)]

            def model(p):
                return p[0] * np.cos(2 * np.pi * p[1] * t + p[2]) + p[3]
            y = model(true) + self.random.normal(0, 0.02, count)
            got = analyse("reals", y)
            self.assertEqual(got["fit_reason"], 0)
            best = optimize.least_squares(lambda p: model(p) - y, true, x_scale=[1, 1 / count, 1, 1],
                                          xtol=1e-14, ftol=1e-14, gtol=1e-14).x
            self.near("fit frequency", got["fit_frequency"], best[1], 1e-7 * best[1])
            self.near("fit amplitude", got["fit_amplitude"], best[0], 1e-6)
            self.near("fit offset", got["fit_offset"], best[3], 1e-6)
            self.near("fit phase", np.sin(got["fit_phase"] - best[2]), 0, 1e-6)
            self.near("fit residual", got["fit_residual"], np.sqrt(np.mean((model(best) - y) ** 2)),
                      1e-8)

    def test_spectra(self):
        for count in (64, 97, 360, 1000, 1021):
            x = self.random.normal(0, 1, count) + 1e3
            got = analyse("reals", x)
            used = int(got["used"])
            self.assertLessEqual(used, count)
            for i, name in enumerate(WINDOWS):
                weight = signal.get_window(name, used)
                level = (x.min() + x.max()) / 2
                wanted = np.abs(np.fft.rfft((x[:used] - level) * weight)) / weight.sum()
                wanted[1:(used + 1) // 2] *= 2
                for k in range(1, len(wanted)):
                    self.near(f"{name} {k}", got[f"spectrum_{i}_{k}"], wanted[k], 1e-6)

    def test_what_is_not_finite_is_refused(self):
        for wrong in (np.nan, np.inf, -np.inf):
            self.assertEqual(analyse("reals", [1, 2, 3, wrong, 5, 6, 7, 8]), {"refused": 1})
        self.assertEqual(analyse("reals", [1, 2, 3]), {"refused": 1})


if __name__ == "__main__":
    unittest.main()
