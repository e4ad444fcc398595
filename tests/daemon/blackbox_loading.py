# SPDX-License-Identifier: GPL-3.0-or-later
"""Loading at a frequency, what an instrument can see, several ways to measure a point, and mistakes
at the bench: through the daemon's socket, held against what the simulated bench says is true."""

import math
import os
import random
import unittest

from gradusd import Gradusd, RpcError
from standin import StandIn

PROGRAM = os.environ["GRADUSD"]
BENCH = os.environ["STANDIN"]
SOURCE = os.environ["GRADUS_SOURCE"]
PROFILES = os.path.join(SOURCE, "config", "profiles")

RACK = """
instruments = (
    { name = "fine"; type = "tarnwerk-meter"; listen = "tcp:127.0.0.1:0"; conversion_ms = 0;
      error_fraction = 0; },
    { name = "plain"; type = "oldmere-meter"; listen = "tcp:127.0.0.1:0"; conversion_ms = 0;
      error_fraction = 0; },
    { name = "digitiser"; type = "tarnwerk-scope"; listen = "tcp:127.0.0.1:0"; error_fraction = 0; },
    { name = "drifted"; type = "oldmere-scope"; listen = "tcp:127.0.0.1:0"; error_fraction = 3; seed = 2; }
);
sources = (
    { name = "rail"; kind = "dc"; level = 5.0; source_resistance = 50.0; },
    { name = "weak"; kind = "sine"; amplitude = 2.0; frequency = 10e3;
      source_resistance = 100e3; },
    { name = "wave"; kind = "sine"; amplitude = 2.0; frequency = 10e3; }
);
connections = (
    { instrument = "fine"; input = 1; source = "weak"; tip_capacitance = 85e-12; },
    { instrument = "fine"; input = 2; source = "rail"; },
    { instrument = "plain"; input = 1; source = "rail"; },
    { instrument = "digitiser"; input = 1; source = "rail"; },
    { instrument = "digitiser"; input = 2; source = "weak"; factor = 10.0; tip_resistance = 10e6;
      load_resistance = 1e6; tip_capacitance = 12e-12; },
    { instrument = "drifted"; input = 1; source = "rail"; },
    { instrument = "drifted"; input = 2; source = "wave"; }
);
"""

SETTINGS = """
server = {{ }};
profiles = "{profiles}";
{policy}
instruments = (
    {{ name = "fine"; profile = "tarnwerk-meter"; link = "{fine}"; }},
    {{ name = "plain"; profile = "oldmere-meter"; link = "{plain}"; }},
    {{ name = "digitiser"; profile = "tarnwerk-scope"; link = "{digitiser}";
       calibration_due = "2020-01-31"; }},
    {{ name = "drifted"; profile = "oldmere-scope"; link = "{drifted}"; }}
);
probes = (
    {{ name = "terminated"; factor = 1.0; tolerance_percent = 0.0; tip_resistance = 100e3;
       resistance_tolerance_percent = 0.1; }},
    {{ name = "x1"; factor = 1.0; tolerance_percent = 0.0; cable_capacitance = 80e-12;
       capacitance_tolerance_percent = 20.0; bandwidth = 20e3; }},
    {{ name = "x10"; factor = 10.0; tolerance_percent = 1.0; tip_resistance = 10e6;
       resistance_tolerance_percent = 1.0; tip_capacitance = 12e-12;
       capacitance_tolerance_percent = 10.0; load_resistance = 1e6; rating = 100.0;
       rating_corner = 5e3; }}
);
points = (
    {{ name = "weak_ac"; instrument = "fine"; input = 1; probe = "direct";
       quantity = "ac voltage"; expected = 1.4; dc_level = 0; frequency = 10e3;
       waveform = "sine"; source_resistance = 100e3; source_resistance_tolerance_percent = 5; }},
    {{ name = "weak_told"; instrument = "fine"; input = 1; probe = "direct"; loading = "report";
       quantity = "ac voltage"; expected = 1.4; dc_level = 0; frequency = 10e3;
       waveform = "sine"; source_resistance = 100e3; source_resistance_tolerance_percent = 5; }},
    {{ name = "weak_blind"; instrument = "fine"; input = 1; probe = "direct";
       quantity = "ac voltage"; expected = 1.4; dc_level = 0; frequency = 10e3;
       source_resistance = 100e3; source_resistance_tolerance_percent = 5; }},
    {{ name = "weak_swing"; instrument = "digitiser"; input = 2; probe = "x10";
       quantity = "peak-to-peak voltage"; expected = 4.0; dc_level = 0; frequency = 10e3;
       waveform = "sine"; source_resistance = 100e3; source_resistance_tolerance_percent = 5; }},
    {{ name = "weak_bare"; instrument = "digitiser"; input = 2; probe = "direct";
       quantity = "peak-to-peak voltage"; expected = 4.0; dc_level = 0; frequency = 10e3;
       waveform = "sine"; source_resistance = 100e3; source_resistance_tolerance_percent = 5; }},
    {{ name = "slow_probe"; instrument = "drifted"; input = 2; probe = "x1";
       quantity = "rms voltage"; frequency = 10e3; waveform = "sine"; }},
    {{ name = "rail"; instrument = "digitiser"; input = 1; probe = "direct";
       quantity = "dc voltage"; expected = 5.0; }},
    {{ name = "rail_x10"; instrument = "digitiser"; input = 1; probe = "x10";
       quantity = "dc voltage"; expected = 5.0; }},
    {{ name = "rail_limited"; instrument = "digitiser"; input = 1; probe = "x10";
       quantity = "dc voltage"; limits = {{ low = 4.75; high = 5.25; }}; }},
    {{ name = "rail_at_most"; instrument = "digitiser"; input = 1; probe = "x10";
       quantity = "dc voltage"; limits = {{ high = 6.0; }}; }},
    {{ name = "rail_10M"; instrument = "plain"; input = 2; probe = "direct";
       quantity = "dc voltage"; }},
    {{ name = "rail_100k"; instrument = "fine"; input = 4; probe = "terminated";
       quantity = "dc voltage"; }},
    {{ name = "square"; instrument = "digitiser"; input = 2; probe = "x10";
       quantity = "rms voltage"; frequency = 1e3; record = 2e-3; waveform = "square"; }},
    {{ name = "mains_rail"; instrument = "digitiser"; input = 1; probe = "direct";
       quantity = "dc voltage"; mains_referenced = true; }},
    {{ name = "drifted_rail"; instrument = "drifted"; input = 1; probe = "direct";
       quantity = "dc voltage"; }},
    {{ name = "unforeseen"; quantity = "dc voltage";
       ways = ( {{ instrument = "digitiser"; input = 1; probe = "direct"; }},
                      {{ instrument = "fine"; input = 2; probe = "direct"; }} ); }},
    {{ name = "best"; quantity = "dc voltage"; expected = 5.0;
       ways = ( {{ instrument = "digitiser"; input = 1; probe = "direct"; }},
                      {{ instrument = "plain"; probe = "direct"; }},
                      {{ instrument = "fine"; input = 2; probe = "direct"; }},
                      {{ instrument = "fine"; input = 3; probe = "x10"; }} ); }}
);
"""


class Circuit(unittest.TestCase):
    """One daemon on one bench; a test may want another policy."""

    def setUp(self):
        self.bench = StandIn(BENCH, RACK)
        self.addCleanup(self.bench.stop)
        self.start()

    daemon = None

    def start(self, policy=""):
        places = {name: self.bench.address(name)
                  for name in ("fine", "plain", "digitiser", "drifted")}
        # One that still runs would take its instruments back from the new one.
        if self.daemon is not None:
            self.daemon.stop()
        daemon = Gradusd(PROGRAM, SETTINGS.format(profiles=PROFILES, policy=policy, **places))
        self.daemon = daemon
        self.addCleanup(daemon.stop)
        self.client = daemon.client()
        return daemon

    def measure(self, point):
        return self.client.call("measure", point=point)

    def refused(self, point):
        with self.assertRaises(RpcError) as caught:
            self.measure(point)
        return caught.exception.data

    def told(self, point, words):
        """A reading with a value and a warning that holds these words."""
        reading = self.measure(point)
        self.assertTrue(any(words in text for text in reading["warnings"]), reading["warnings"])
        return reading

    def assert_holds(self, reading, truth):
        self.assertLessEqual(abs(reading["value"] - truth), reading["uncertainty"], reading)


class Loading(Circuit):
    def test_it_is_corrected_at_the_frequency(self):
        """
        Sources and capacitances drawn within what the settings say of them: of 80 readings with
        two bounds in their budget some 4 % lie outside two sigma, and none far outside.
        """
        draw, outside = random.Random(11), 0
        for _ in range(40):
            self.bench.set_source("weak", source_resistance=draw.uniform(95e3, 105e3))
            self.bench.connect("fine", 1, "weak", tip_capacitance=draw.uniform(68e-12, 102e-12))
            self.bench.connect("digitiser", 2, "weak", factor=10.0, tip_resistance=10e6,
                               load_resistance=1e6,
                               tip_capacitance=draw.uniform(10.8e-12, 13.2e-12))
            truth = self.bench.truth("weak")
            for point, aspect in (("weak_ac", "ac"), ("weak_swing", "peak_to_peak")):
                reading = self.measure(point)
                share = abs(reading["value"] - truth[aspect]) / reading["uncertainty"]
                self.assertLess(share, 1.4, reading)
                outside += share > 1
                self.assertTrue(reading["loading"]["corrected"])
                self.assertEqual(reading["loading"]["frequency"], 10e3)
        self.assertLessEqual(outside, 8)

    def test_it_is_reported(self):
        """100 kohm into 1 megohm and 85 pF at 10 kHz, computed here."""
        ratio = 1 / abs(1 + 100e3 * (1 / 1e6 + 2j * math.pi * 10e3 * 85e-12))
        reading = self.told("weak_told", "loading by the input lowers this reading by 18")
        self.assertAlmostEqual(reading["value"], math.sqrt(2) * ratio, places=3)
        self.assertFalse(reading["loading"]["corrected"])
        self.assertAlmostEqual(reading["loading"]["error"], reading["value"] * (1 - 1 / ratio),
                               places=6)

    def test_an_unknown_waveform_has_it_in_its_uncertainty(self):
        reading = self.measure("weak_blind")
        self.assert_holds(reading, math.sqrt(2))
        self.assertNotIn("frequency", reading["loading"])
        self.assertIn("capacitive loading", [term["source"] for term in reading["budget"]])

    def test_a_better_probe_is_named(self):
        self.bench.connect("digitiser", 2, "weak", tip_capacitance=20e-12)
        self.told("weak_bare", 'probe "x10" would load it less')


class Seeing(Circuit):
    def test_roll_off_is_in_the_uncertainty(self):
        self.bench.connect("drifted", 2, "wave", bandwidth=20e3)
        reading = self.measure("slow_probe")
        self.assertIn("bandwidth", [term["source"] for term in reading["budget"]])
        self.assertGreater(reading["uncertainty"], 0.1 * reading["value"])
        self.assertLess(reading["value"], 0.97 * math.sqrt(2))
        self.assert_holds(reading, math.sqrt(2))

    def test_a_signal_beyond_the_bandwidth_has_no_value(self):
        self.bench.set_source("wave", frequency=30e3)
        failure = self.refused("slow_probe")
        self.assertEqual(failure["reason"], "instrument cannot measure this")
        self.assertIn("20000 Hz", failure["what"])


class Probing(Circuit):
    def test_the_unloaded_value_from_two_loads(self):
        """The same 5 V behind 47 kohm, loaded by 10 megohm and by 100 kohm."""
        self.bench.set_source("rail", source_resistance=47e3)
        self.bench.connect("plain", 2, "rail")
        self.bench.connect("fine", 4, "rail", tip_resistance=100e3)
        result = self.client.call("unload", first="rail_10M", second="rail_100k")
        self.assertLessEqual(abs(result["value"] - 5.0), result["uncertainty"])
        self.assertLess(result["uncertainty"], 0.02)
        self.assertLessEqual(abs(result["source_resistance"] - 47e3),
                             result["source_resistance_uncertainty"])
        self.assertEqual([load["resistance"] for load in result["loads"]], [10e6, 100e3])

    def test_what_cannot_be_unloaded_is_refused(self):
        def refused(first, second):
            with self.assertRaises(RpcError) as caught:
                self.client.call("unload", first=first, second=second)
            return caught.exception.data
        self.bench.connect("plain", 2, "rail")
        self.assertIn("too alike", refused("rail_10M", "rail_10M")["what"])
        self.assertIn("ac voltage", refused("rail", "weak_ac")["what"])
        self.assertEqual(refused("rail", "nowhere")["reason"], "unknown point")
        self.bench.set_source("rail", level=2000.0)
        self.assertEqual(refused("rail_10M", "rail")["reason"], "over range")

    def test_a_probe_is_compensated_or_not(self):
        """9 Mohm with 10, 13.3 and 18 pF into 1 Mohm with 120 pF, a square wave of 1 kHz. Own
        derivation: ratio 10 C1 / (C1 + C2), tau = (R1 || R2)(C1 + C2)."""
        self.bench.set_source("wave", kind="square", low=-1.0, high=1.0, frequency=1e3)
        for ratio, tau, state in ((0.769, 117e-6, "under-compensated"), (1.0, 1.0, "compensated"),
                                  (1.304, 124e-6, "over-compensated")):
            self.bench.connect("digitiser", 2, "wave", factor=10.0, tip_resistance=10e6,
                               load_resistance=1e6, edge_ratio=ratio, edge_tau=tau)
            result = self.client.call("compensate", point="square", frequency=1e6)
            self.assertEqual(result["state"], state, result)
            self.assertAlmostEqual(result["ratio"], ratio, delta=0.02)
            if state != "compensated":
                self.assertAlmostEqual(result["time_constant"], tau, delta=0.05 * tau)
                self.assertAlmostEqual(result["amplitude_error"], ratio - 1, delta=0.02)
        # A divider of 0.8 on other square waves than the one that shows it is not called good.
        for frequency, fields in ((1e5, {}), (3e3, {}), (20.0, {}), (1e3, {"duty": 0.3})):
            self.bench.set_source("wave", kind="square", low=-1.0, high=1.0,
                                  frequency=frequency, **fields)
            self.bench.connect("digitiser", 2, "wave", factor=10.0, tip_resistance=10e6,
                               load_resistance=1e6, edge_ratio=0.8, edge_tau=120e-6)
            try:
                result = self.client.call("compensate", point="square")
            except RpcError as error:
                self.assertIn(error.data["reason"], ("instrument has no value", "unstable signal"))
                continue
            if result["state"] != "under-compensated":
                self.assertEqual(result["state"], "not decidable", result)
                self.assertIn("reason", result)
            elif abs(result["ratio"] - 0.8) > 0.02:
                self.fail(result)
        self.bench.connect("digitiser", 2, "rail")
        with self.assertRaises(RpcError) as caught:
            self.client.call("compensate", point="square")
        self.assertEqual(caught.exception.data["reason"], "instrument has no value")


class Ways(Circuit):
    def test_the_least_uncertain_is_used(self):
        ways = self.client.call("explain", point="best")
        self.assertEqual([way["used"] for way in ways["ways"]], [False, False, True, False])
        self.assertIn("made for an input of 1 MΩ", ways["ways"][3]["refused"])
        self.assertNotIn("uncertainty", ways["ways"][3])
        self.assertEqual(min(way["uncertainty"] for way in ways["ways"][:3]),
                         ways["ways"][2]["uncertainty"])
        self.assertTrue(any("smallest" in line for line in ways["text"]))
        reading = self.measure("best")
        self.assertEqual(reading["instrument"]["name"], "fine")
        self.assertEqual(reading["input"], 2)
        self.assertLessEqual(reading["uncertainty"], 1.1 * ways["ways"][2]["uncertainty"])

    def test_the_first_is_used_where_nothing_is_expected(self):
        ways = self.client.call("explain", point="unforeseen")
        self.assertEqual([way["used"] for way in ways["ways"]], [True, False])
        self.assertTrue(any("nothing is expected" in line for line in ways["text"]))
        self.assertEqual(self.measure("unforeseen")["instrument"]["name"], "digitiser")


class Mistakes(Circuit):
    def provoke(self, kind):
        """Makes a mistake; returns the point where it shows, and words that tell it."""
        if kind == "probe_switch":
            self.bench.connect("digitiser", 1, "rail")
            return "rail_x10", "probe switch"
        if kind == "termination":
            self.bench.connect("digitiser", 1, "rail", termination=50.0)
            return "rail", "50 ohm"
        if kind == "ac_coupling":
            self.bench.connect("digitiser", 1, "rail", blocks_dc=True)
            return "rail", "ac coupling"
        if kind == "rating":
            self.bench.connect("digitiser", 1, "rail", factor=10.0, tip_resistance=10e6,
                               load_resistance=1e6)
            self.bench.set_source("rail", level=150.0)
            return "rail_x10", "rating of 100 V"
        return {"ground_clip": ("mains_rail", "ground clip"),
                "ground_reference": ("drifted_rail", "zero trace"),
                "calibration": ("mains_rail", "2020-01-31")}[kind]

    KINDS = ("probe_switch", "termination", "ac_coupling", "rating", "ground_clip",
             "ground_reference", "calibration")

    def test_each_warns(self):
        self.start("policy = { rating = \"warn\"; ground_clip = \"warn\"; };")
        for kind in self.KINDS:
            with self.subTest(kind):
                self.told(*self.provoke(kind))

    def test_each_blocks(self):
        for kind in self.KINDS:
            with self.subTest(kind):
                others = "" if kind == "ground_clip" else 'ground_clip = "warn"; '
                self.start(f'policy = {{ {others}{kind} = "block"; }};')
                point, words = self.provoke(kind)
                failure = self.refused(point)
                self.assertEqual(failure["reason"], "rating exceeded" if kind == "rating"
                                 else "operating mistake")
                self.assertIn(words, failure["what"])
                self.assertNotIn("value", failure)

    def test_what_is_dangerous_blocks_by_default(self):
        for kind in ("ground_clip", "rating"):
            with self.subTest(kind):
                point, words = self.provoke(kind)
                self.assertIn(words, self.refused(point)["what"])

    def test_limits_tell_of_the_probe_switch_where_nothing_is_expected(self):
        self.bench.connect("digitiser", 1, "rail")
        for point in "rail_limited", "rail_at_most":
            self.told(point, "ten times what its limits allow: probe switch")
        self.start('policy = { probe_switch = "block"; };')
        self.bench.connect("digitiser", 1, "rail")
        for point in "rail_limited", "rail_at_most":
            self.assertIn("probe switch", self.refused(point)["what"])

    def test_no_mistake_is_seen_where_there_is_none(self):
        warnings = self.measure("rail")["warnings"]
        self.assertEqual([text for text in warnings if "calibration" not in text], [])


if __name__ == "__main__":
    unittest.main()
