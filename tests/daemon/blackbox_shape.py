# SPDX-License-Identifier: GPL-3.0-or-later
"""Figures of a record's shape through the daemon's socket, held against what the simulated bench was
told to play: frequency, period, duty factor, pulse width, rise and fall time, overshoot, amplitude between
states, harmonic distortion. A triangle has 12.115 % of that: sqrt(pi^4 / 96 - 1), textbook series of odd
harmonics 1/n^2 (own derivation)."""

import math
import os
import random
import subprocess
import tempfile
import unittest

from gradusd import Gradusd, RpcError
from standin import StandIn

PROGRAM = os.environ["GRADUSD"]
BENCH = os.environ["STANDIN"]
PROFILES = os.path.join(os.environ["GRADUS_SOURCE"], "config", "profiles")

RACK = """
instruments = (
    { name = "digitiser"; type = "tarnwerk-scope"; listen = "tcp:127.0.0.1:0"; },
    { name = "old"; type = "oldmere-scope"; listen = "tcp:127.0.0.1:0"; }
);
sources = (
    { name = "clock"; kind = "square"; low = 0.2; high = 3.3; frequency = 1e3; duty = 0.3;
      rise = 20e-6; noise = 5e-3; },
    { name = "flat"; kind = "dc"; level = 1.0; }
);
connections = (
    { instrument = "digitiser"; input = 1; source = "clock"; },
    { instrument = "digitiser"; input = 2; source = "flat"; },
    { instrument = "old"; input = 1; source = "clock"; }
);
"""

QUANTITIES = ("frequency", "period", "duty factor", "pulse width", "rise time", "fall time",
              "overshoot", "amplitude voltage", "harmonic distortion")

SETTINGS = """
server = {{ }};
profiles = "{profiles}";
instruments = (
    {{ name = "digitiser"; profile = "tarnwerk-scope"; link = "{digitiser}"; }},
    {{ name = "old"; profile = "oldmere-scope"; link = "{old}"; }}
);
probes = (
    {{ name = "inverting"; factor = -1.0; tolerance_percent = 0.0; }},
    {{ name = "slow"; factor = 1.0; tolerance_percent = 0.0; bandwidth = 100e3; }}
);
points = (
{points}
    {{ name = "no_swing"; instrument = "digitiser"; input = 2; probe = "direct";
       quantity = "rise time"; }},
    {{ name = "inverted"; instrument = "digitiser"; probe = "inverting";
       quantity = "duty factor"; }},
    {{ name = "through"; instrument = "digitiser"; probe = "slow"; quantity = "rise time"; }},
    {{ name = "judged"; instrument = "digitiser"; probe = "direct"; quantity = "duty factor";
       expected = 30.0; limits = {{ nominal = 30.0; tolerance = 5.0; }}; }},
    {{ name = "too_slow"; instrument = "digitiser"; probe = "direct"; quantity = "rise time";
       limits = {{ high = 10e-6; }}; }}
);
"""


def named(instrument, quantity):
    return f"{instrument}_{quantity}".replace(" ", "_")


def settings(places):
    points = "".join(
        f'    {{ name = "{named(i, q)}"; instrument = "{i}"; probe = "direct"; quantity = "{q}"; }},\n'
        for i in places for q in QUANTITIES)
    return SETTINGS.format(profiles=PROFILES, points=points, **places)


class Shapes(unittest.TestCase):
    def setUp(self):
        self.bench = StandIn(BENCH, RACK)
        self.addCleanup(self.bench.stop)
        places = {name: self.bench.address(name) for name in ("digitiser", "old")}
        daemon = Gradusd(PROGRAM, settings(places))
        self.addCleanup(daemon.stop)
        self.client = daemon.client()

    def measure(self, point):
        return self.client.call("measure", point=point)

    def assert_true(self, reading, truth, unit, most=None):
        """The value holds, in its unit, and is not as wide as to say nothing."""
        self.assertEqual(reading["unit"], unit)
        self.assertLessEqual(abs(reading["value"] - truth), reading["uncertainty"], reading)
        if most is not None:
            self.assertLess(reading["uncertainty"], most * truth, reading)

    def assert_no_value(self, point, words):
        with self.assertRaises(RpcError) as caught:
            self.measure(point)
        self.assertIn(words, str(caught.exception))

    def test_a_pulse_train(self):
        """Frequencies, widths and edges drawn anew, on a scope of 2000 points and one of 500."""
        draw = random.Random(7)
        for instrument, finest in (("digitiser", 0.005), ("old", 0.03)):
            for _ in range(4):
                frequency = 10 ** draw.uniform(2, 5)
                duty = draw.uniform(0.3, 0.7)
                rise = draw.uniform(2 * finest, 0.08) / frequency
                self.bench.set_source("clock", frequency=frequency, duty=duty, rise=rise)
                truths = {"frequency": (frequency, "Hz", 2e-3), "period": (1 / frequency, "s", 2e-3),
                          "duty factor": (100 * duty, "%", 0.02),
                          "pulse width": (duty / frequency, "s", 0.02),
                          "rise time": (rise, "s", 0.5), "fall time": (rise, "s", 0.5),
                          "amplitude voltage": (3.1, "V", 0.1)}
                for quantity, (truth, unit, most) in truths.items():
                    with self.subTest(instrument=instrument, quantity=quantity,
                                      frequency=frequency, duty=duty, rise=rise):
                        self.assert_true(self.measure(named(instrument, quantity)), truth, unit,
                                         most)

    def test_overshoot(self):
        for over in (0.0, 0.05, 0.2):
            with self.subTest(over=over):
                self.bench.set_source("clock", overshoot=over, tail=60e-6)
                reading = self.measure(named("digitiser", "overshoot"))
                self.assert_true(reading, 100 * over, "%")
                self.assertLess(reading["uncertainty"], 2.5)

    def test_distortion(self):
        triangle = 100 * math.sqrt(math.pi ** 4 / 96 - 1)
        for instrument in ("digitiser", "old"):
            self.bench.set_source("clock", kind="ripple", level=0, ripple=4, frequency=1e3,
                            shape="triangle")
            reading = self.measure(named(instrument, "harmonic distortion"))
            self.assert_true(reading, triangle, "%", 0.1)
            self.bench.set_source("clock", kind="sine", amplitude=2, frequency=1e3)
            reading = self.measure(named(instrument, "harmonic distortion"))
            self.assert_true(reading, 0, "%")
            self.assertLess(reading["uncertainty"], 0.6)

    def test_what_a_record_cannot_have(self):
        """Every reason is told, and none of it comes with a value."""
        self.assert_no_value("no_swing", "flat")
        self.bench.set_source("clock", rise=0)
        self.assert_no_value(named("digitiser", "rise time"), "no more than")
        self.assert_no_value(named("digitiser", "overshoot"), "too few samples")
        self.assert_no_value(named("digitiser", "harmonic distortion"), "not a sine")
        self.bench.set_source("clock", kind="sine", amplitude=2, frequency=1e3)
        self.assert_no_value(named("digitiser", "amplitude voltage"), "two levels")
        self.assert_no_value(named("digitiser", "duty factor"), "two levels")

    def test_steep_edges_have_their_place(self):
        self.bench.set_source("clock", rise=0, duty=0.2345, frequency=1234.5)
        self.assert_true(self.measure(named("digitiser", "duty factor")), 23.45, "%", 0.02)
        self.assert_true(self.measure(named("digitiser", "pulse width")), 0.2345 / 1234.5, "s", 0.02)

    def test_upside_down(self):
        self.assert_true(self.measure("inverted"), 70, "%", 0.02)

    def test_the_own_rise_time_is_taken_off(self):
        """A probe of 100 kHz makes 3.5 us of its own; what is seen is longer than what is there."""
        self.bench.connect("digitiser", 1, "clock",
                           bandwidth=100e3)
        self.bench.set_source("clock", frequency=20e3, duty=0.5, rise=8e-6)
        reading = self.measure("through")
        self.assert_true(reading, 8e-6, "s", 0.4)
        sources = [term["source"] for term in reading["budget"]]
        self.assertTrue(any(source.startswith("own rise time 3.5") for source in sources), sources)
        self.bench.set_source("clock", rise=2e-6)
        self.assert_no_value("through", "own rise time; it is no more than")

    def test_judged(self):
        self.assertEqual(self.measure("judged")["verdict"], "pass")
        self.bench.set_source("clock", duty=0.4)
        self.assertEqual(self.measure("judged")["verdict"], "fail")
        self.assertEqual(self.measure("too_slow")["verdict"], "fail")

    def test_explain_speaks_of_volts(self):
        self.measure("judged")
        told = self.client.call("explain", point="judged")
        self.assertEqual(told["unit"], "V")
        self.assertTrue(any("duty factor comes from the shape" in line for line in told["text"]))

    def test_a_capture_has_them_all(self):
        self.bench.set_source("clock", overshoot=0.1, tail=60e-6)
        shown = self.client.call("capture", point=named("digitiser", "rise time"))
        self.assertEqual(shown["unit"], "V")
        figures = shown["figures"]
        self.assertEqual(sorted(figures), sorted(QUANTITIES))
        for quantity, truth in (("rise time", 20e-6), ("overshoot", 10), ("duty factor", 30)):
            self.assertLessEqual(abs(figures[quantity]["value"] - truth),
                                 figures[quantity]["uncertainty"], figures)
        self.assertEqual(figures["harmonic distortion"], {"reason": "not a sine"})
        self.bench.set_source("clock", rise=0, overshoot=0)
        shown = self.client.call("capture", point=named("digitiser", "rise time"))
        self.assertIn("no more than", shown["failure"]["what"])
        self.assertGreater(shown["figures"]["rise time"]["at_most"], 0)


class Refusals(unittest.TestCase):
    def test_settings_that_make_no_sense(self):
        for limits, words in (("low = -1.0;", "expected 0 to 100 %"), ("high = 120.0;", "0 to 100 %")):
            point = ('{ name = "p"; instrument = "digitiser"; probe = "direct"; '
                     f'quantity = "duty factor"; limits = {{ {limits} }}; }},')
            text = SETTINGS.format(profiles=PROFILES, digitiser="tcp:127.0.0.1:1",
                                   old="tcp:127.0.0.1:2", points=point)
            with tempfile.NamedTemporaryFile("w", suffix=".cfg") as file:
                file.write(text)
                file.flush()
                told = subprocess.run([PROGRAM, "--check", file.name], capture_output=True,
                                      text=True, check=False)
            self.assertEqual(told.returncode, 2)
            self.assertIn(words, told.stdout + told.stderr)


if __name__ == "__main__":
    unittest.main()
