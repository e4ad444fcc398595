# SPDX-License-Identifier: GPL-3.0-or-later
"""Time bases and aliases through the daemon's socket: signals below, near and far above half the
sample rate of the record that a scope would look with, held against what the simulated bench says."""

import math
import os
import random
import unittest

from gradusd import Gradusd, RpcError
from standin import StandIn

PROGRAM = os.environ["GRADUSD"]
BENCH = os.environ["STANDIN"]
PROFILES = os.path.join(os.environ["GRADUS_SOURCE"], "config", "profiles")

RACK = """
instruments = (
    { name = "digitiser"; type = "tarnwerk-scope"; listen = "tcp:127.0.0.1:0"; error_fraction = 0; },
    { name = "old"; type = "oldmere-scope"; listen = "tcp:127.0.0.1:0"; error_fraction = 0; }
);
sources = (
    { name = "wave"; kind = "sine"; amplitude = 2.0; frequency = 1e3; }
);
connections = (
    { instrument = "digitiser"; input = 1; source = "wave"; },
    { instrument = "old"; input = 1; source = "wave"; }
);
"""

SETTINGS = """
server = {{ }};
profiles = "{profiles}";
instruments = (
    {{ name = "digitiser"; profile = "tarnwerk-scope"; link = "{digitiser}"; }},
    {{ name = "old"; profile = "oldmere-scope"; link = "{old}"; }}
);
probes = ( {{ name = "slow"; factor = 1.0; tolerance_percent = 0.0; bandwidth = 10e3; }} );
points = (
    {{ name = "free"; instrument = "digitiser"; probe = "direct"; quantity = "rms voltage"; }},
    {{ name = "swing"; instrument = "digitiser"; probe = "direct";
       quantity = "peak-to-peak voltage"; }},
    {{ name = "told"; instrument = "digitiser"; probe = "direct"; quantity = "rms voltage";
       frequency = 1e6; }},
    {{ name = "fixed"; instrument = "digitiser"; probe = "direct"; quantity = "rms voltage";
       record = 20e-3; }},
    {{ name = "behind"; instrument = "digitiser"; probe = "slow"; quantity = "rms voltage"; }},
    {{ name = "aged"; instrument = "old"; probe = "direct"; quantity = "rms voltage"; }},
    {{ name = "level"; instrument = "digitiser"; probe = "direct"; quantity = "dc voltage"; }},
    {{ name = "aged_level"; instrument = "old"; probe = "direct"; quantity = "dc voltage"; }},
    {{ name = "fixed_level"; instrument = "digitiser"; probe = "direct"; quantity = "dc voltage";
       record = 20e-3; }}
);
"""


class Aliases(unittest.TestCase):
    def setUp(self):
        self.bench = StandIn(BENCH, RACK)
        self.addCleanup(self.bench.stop)
        places = {name: self.bench.address(name) for name in ("digitiser", "old")}
        daemon = Gradusd(PROGRAM, SETTINGS.format(profiles=PROFILES, **places))
        self.addCleanup(daemon.stop)
        self.client = daemon.client()

    def at(self, frequency):
        self.bench.set_source("wave", frequency=frequency)

    def measure(self, point):
        return self.client.call("measure", point=point)

    def assert_true(self, reading, frequency, truth=math.sqrt(2)):
        """The value holds, and so does the frequency."""
        self.assertLessEqual(abs(reading["value"] - truth), reading["uncertainty"], reading)
        self.assertIn("frequency", reading, reading["warnings"])
        self.assertAlmostEqual(reading["frequency"] / frequency, 1, delta=0.01)

    def test_the_frequency_is_the_true_one(self):
        """From far below half the rate of 20 ms to the end of the bandwidth, in any order."""
        draw = random.Random(5)
        for _ in range(30):
            frequency = 10 ** draw.uniform(2.5, 7.5)
            with self.subTest(frequency=frequency):
                self.at(frequency)
                self.assert_true(self.measure("free"), frequency)

    def test_multiples_of_the_sample_rate_do_not_hide(self):
        """Sampled at 100 kHz, at 20 MHz and at 2 GHz each of these looks like a kilohertz."""
        for base in (100e3, 200e3, 5e6, 20e6, 40e6):
            for sign in (-1, 1):
                frequency = base + sign * 1e3
                with self.subTest(frequency=frequency):
                    self.at(1e3)
                    self.measure("free")  # so that its record is the one of a kilohertz
                    self.at(frequency)
                    self.assert_true(self.measure("free"), frequency)

    def test_a_given_record_is_kept_and_what_it_shows_not_believed(self):
        self.at(100e3 + 730)
        reading = self.measure("fixed")
        self.assert_true(reading, 100e3 + 730)
        self.assertTrue(any("alias" in text for text in reading["warnings"]), reading["warnings"])
        self.at(730)
        reading = self.measure("fixed")
        self.assert_true(reading, 730)
        self.assertEqual(reading["warnings"], [])

    def test_a_capture_names_no_alias(self):
        self.at(100e3 + 730)
        shown = self.client.call("capture", point="free", duration=20e-3)["parameters"]
        self.assertNotIn("frequency", shown)
        for part in (shown, shown["pulse"], shown["sine"], shown["distortion"]):
            self.assertIn("alias", part["reason"])
            self.assertNotIn("frequency", part)
        self.assertAlmostEqual(shown["rms"], math.sqrt(2), delta=0.02)
        shown = self.client.call("capture", point="free")["parameters"]
        self.assertAlmostEqual(shown["frequency"], 100e3 + 730, delta=100)
        self.assertAlmostEqual(shown["sine"]["frequency"], 100e3 + 730, delta=100)

    def test_the_record_holds_the_periods_that_are_needed(self):
        for frequency, point, periods, samples in ((300.0, "free", 10, 20), (3e3, "swing", 3, 70),
                                                   (2.2e6, "swing", 3, 70), (30e3, "free", 10, 20)):
            with self.subTest(frequency=frequency):
                self.at(frequency)
                shown = self.client.call("capture", point=point)
                seen = shown["parameters"]["periods"]
                self.assertGreaterEqual(seen, periods - 1)
                self.assertGreaterEqual(shown["recorded"] / (seen + 1), 0.9 * samples)

    def looks(self, point):
        """At how many other rates a second measurement of a kilohertz looked."""
        self.at(1e3)
        self.measure(point)
        self.measure(point)
        first = self.records()
        self.measure(point)
        both = self.records()
        self.assertEqual(both[:len(first)], first)  # nothing has left the log
        return len(set(both[len(first) - 1:])) - 1

    def test_no_second_look_where_nothing_faster_comes_through(self):
        """Behind 10 kHz of probe 200 kS/s show all there is."""
        self.assertEqual(self.looks("behind"), 0)

    def test_looks_at_faster_rates(self):
        self.assertEqual(self.looks("free"), 2)

    def records(self):
        """How long each record was to last that was set so far."""
        return [line for line in self.bench.commands("digitiser") if "TIME " in line]

    def test_what_cannot_be_told_apart_has_no_frequency(self):
        """At its fastest, 50 MS/s, 15.3 MHz may be 34.7 MHz, and 20 MHz of bandwidth let both through."""
        self.at(15.3137e6)
        reading = self.measure("aged")
        self.assertNotIn("frequency", reading)
        self.assertTrue(any("may be an alias" in text for text in reading["warnings"]),
                        reading["warnings"])
        self.at(2.0137e6)
        self.assertAlmostEqual(self.measure("aged")["frequency"] / 2.0137e6, 1, delta=0.01)

    # In 20 ms the digitiser takes 2000 samples, 1999 intervals, and the old one 500.
    RATES = {"level": 1999 / 20e-3, "swing": 1999 / 20e-3, "aged_level": 500 / 20e-3}

    def test_a_clock_that_repeats_with_the_samples_is_no_level(self):
        """Of each sample rate multiples from one to what the input lets through."""
        square = {"kind": "square", "low": 0.0, "high": 3.3}
        sine = {"kind": "sine", "amplitude": 2.0}
        for shape, mean, swing in (square, 1.65, 3.3), (sine, 0.0, 4.0):
            for point, rate in self.RATES.items():
                for multiple in (1, 2, 10, 40, 100, 200, 400, 500):
                    if point == "aged_level" and multiple > 200:
                        continue
                    with self.subTest(point=point, multiple=multiple, **shape):
                        self.bench.set_source("wave", frequency=multiple * rate, **shape)
                        self.holds_or_is_refused(point, swing if point == "swing" else mean)

    def holds_or_is_refused(self, point, truth):
        """The value holds, or each record was flat at another level and the signal is called unstable."""
        try:
            reading = self.measure(point)
        except RpcError as error:
            self.assertEqual(error.data["reason"], "unstable signal", error.data)
        else:
            self.assertLessEqual(abs(reading["value"] - truth), reading["uncertainty"], reading)

    def test_a_stated_record_in_which_a_clock_is_flat_has_no_value(self):
        self.bench.set_source("wave", kind="square", low=0.0, high=3.3,
                              frequency=100 * self.RATES["level"])
        with self.assertRaisesRegex(RpcError, "repeats with the samples|unstable signal"):
            self.measure("fixed_level")

    def test_what_a_second_look_at_a_level_costs(self):
        """One more record at 2000 samples and 100 MHz; none where nothing so fast comes through."""
        self.bench.set_source("wave", kind="dc", level=1.0)
        for point, looks in ("level", 1), ("behind", 0), ("aged_level", 2):
            name = "old" if point == "aged_level" else "digitiser"
            with self.subTest(point=point):
                self.measure(point)
                before = self.acquired(name)
                reading = self.measure(point)
                self.assertEqual(self.acquired(name) - before, len(reading["steps"]) + looks)

    def acquired(self, name):
        return self.bench.counters(name)["readings"]

    def test_what_is_slower_than_the_record_is_looked_at_for_longer(self):
        for frequency in 30.0, 12.0:
            self.bench.set_source("wave", kind="sine", amplitude=2.0, frequency=frequency)
            with self.subTest(frequency=frequency):
                self.assert_true(self.measure("free"), frequency)
                self.assert_true(self.measure("swing"), frequency, 4.0)
        self.bench.set_source("wave", kind="sine", amplitude=2.0, frequency=0.1)
        for point in "free", "swing", "level":
            with self.subTest(point=point):
                try:
                    warnings = self.measure(point)["warnings"]
                except RpcError as error:
                    self.assertEqual(error.data["reason"], "unstable signal")
                else:
                    self.assertTrue(any("this record only" in text for text in warnings), warnings)

    def test_a_square_wave_keeps_its_frequency(self):
        for frequency in (120.0, 1e3, 47e3):
            with self.subTest(frequency=frequency):
                self.bench.set_source("wave", kind="square", low=-1.0, high=1.0,
                                      frequency=frequency)
                self.assert_true(self.measure("free"), frequency, 1.0)


if __name__ == "__main__":
    unittest.main()
