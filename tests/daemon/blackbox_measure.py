# SPDX-License-Identifier: GPL-3.0-or-later
"""The main job from outside: points of the simulated rack, measured through the daemon's socket
and held against what the simulated bench says is true."""

import concurrent.futures
import itertools
import math
import os
import pathlib
import re
import tempfile
import threading
import unittest

from gradusd import Gradusd, RpcError
from standin import StandIn

PROGRAM = os.environ["GRADUSD"]
BENCH = os.environ["STANDIN"]
SOURCE = os.environ["GRADUS_SOURCE"]
RACK = os.path.join(SOURCE, "tools", "standin", "larkrise.cfg")
SEEDS = range(1, 13)

# Which of the bench's true values a quantity is.
ASPECTS = {"dc": "dc", "ac": "ac", "rms": "rms", "peak-to-peak": "peak_to_peak",
           "maximum": "maximum", "minimum": "minimum", "resistance": "resistance",
           "frequency": "frequency"}
# Faults of a link; an instrument that babbles does so until it is told to stop.
FAULTS = ("late", "silent", "half", "split", "glued", "joined", "garbage", "disconnect_mid",
          "wrong_identity", "babble")


def demo_settings(bench):
    """config/demo.cfg with its instruments where this bench has them, and no TCP socket."""
    with open(os.path.join(SOURCE, "config", "demo.cfg"), encoding="utf-8") as file:
        text = file.read()
    text = re.sub(r"server = \{.*?\n\};", "server = { };", text, flags=re.DOTALL)
    places = iter(("meter_a", "meter_b", "scope_a", "scope_b"))
    return re.sub(r'link = "tcp:[^"]*"', lambda _: f'link = "{bench.address(next(places))}"', text)


def true_value(bench, reading):
    truth = bench.truth_at(reading["instrument"]["name"], reading["input"])
    return truth[ASPECTS[reading["quantity"].split(" ")[0]]]


class Rack(unittest.TestCase):
    """The whole rack, once for each seed of its instruments' errors."""

    def test_every_point_holds_the_truth(self):
        readings, outside = 0, []
        for seed in SEEDS:
            with StandIn(BENCH, RACK, seed=seed) as bench, \
                    Gradusd(PROGRAM, demo_settings(bench)) as daemon:
                client = daemon.client()
                for point in client.call("points"):
                    reading = client.call("measure", point["name"])
                    truth = true_value(bench, reading)
                    readings += 1
                    if abs(reading["value"] - truth) > reading["uncertainty"]:
                        outside.append((seed, point["name"], reading["value"], truth))
                    self.assertEqual(reading["unit"], point["unit"])
                    self.assertEqual(reading["steps"][-1]["outcome"], "settled")
        print(f"{readings} readings, {len(outside)} outside their interval: {outside}")
        self.assertLessEqual(len(outside), 0.05 * readings)


class Points(unittest.TestCase):
    """Single points on instruments without errors of their own."""

    BENCH = """
    instruments = (
        { name = "fine"; type = "tarnwerk-meter"; listen = "tcp:127.0.0.1:0"; conversion_ms = 0;
          error_fraction = 0; },
        { name = "plain"; type = "oldmere-meter"; listen = "tcp:127.0.0.1:0"; conversion_ms = 0;
          error_fraction = 0; },
        { name = "digitiser"; type = "tarnwerk-scope"; listen = "tcp:127.0.0.1:0"; error_fraction = 0; },
        { name = "old"; type = "oldmere-scope"; listen = "tcp:127.0.0.1:0"; error_fraction = 0; }
    );
    sources = (
        { name = "rail"; kind = "dc"; level = 5.0; },
        { name = "weak"; kind = "dc"; level = 5.0; source_resistance = 10e3; },
        { name = "wave"; kind = "sine"; amplitude = 2.0; level = 1.0; frequency = 1000.0; }
    );
    connections = (
        { instrument = "fine"; input = 1; source = "rail"; },
        { instrument = "fine"; input = 2; source = "weak"; },
        { instrument = "plain"; input = 1; source = "rail"; },
        { instrument = "digitiser"; input = 1; source = "rail"; },
        { instrument = "digitiser"; input = 2; source = "wave"; factor = 10.0;
          tip_resistance = 10e6; load_resistance = 1e6; },
        { instrument = "old"; input = 1; source = "rail"; },
        { instrument = "old"; input = 2; source = "rail"; factor = 10.0; tip_resistance = 10e6;
          load_resistance = 1e6; }
    );
    """
    SETTINGS = """
    server = {{ }};
    profiles = "profiles";
    instruments = (
        {{ name = "fine"; profile = "tarnwerk-meter"; link = "{fine}";
           switched_inputs = [ 1 ]; }},
        {{ name = "plain"; profile = "oldmere-meter"; link = "{plain}";
           calibration_due = "2020-01-31"; }},
        {{ name = "digitiser"; profile = "tarnwerk-scope"; link = "{digitiser}"; }},
        {{ name = "old"; profile = "oldmere-scope"; link = "{old}"; }}
    );
    probes = (
        {{ name = "x10"; factor = 10.0; tolerance_percent = 1.0; tip_resistance = 10e6;
           resistance_tolerance_percent = 1.0; load_resistance = 1e6; }}
    );
    points = (
        {{ name = "cold"; instrument = "fine"; input = 1; probe = "direct";
           quantity = "dc voltage"; limits = {{ low = 4.5; high = 5.5; }}; }},
        {{ name = "same"; instrument = "fine"; input = 1; probe = "direct";
           quantity = "dc voltage"; limits = {{ low = -0.01; high = 0.01; judge = "difference";
           reference_point = "cold"; correlation = 1.0; }}; }},
        {{ name = "ratio"; instrument = "fine"; input = 1; probe = "direct";
           quantity = "dc voltage"; limits = {{ nominal = 0.5; tolerance_percent = 1.0;
           judge = "ratio"; reference_value = 10.0; reference_uncertainty = 0.001; }}; }},
        {{ name = "hopeless"; instrument = "fine"; input = 1; probe = "direct";
           quantity = "dc voltage"; limits = {{ nominal = 5.0; tolerance = 1e-5; }}; }},
        {{ name = "corrected"; instrument = "fine"; input = 2; probe = "direct";
           quantity = "dc voltage"; expected = 5.0; source_resistance = 10e3;
           source_resistance_tolerance_percent = 5.0; loading = "correct"; }},
        {{ name = "reported"; instrument = "fine"; input = 2; probe = "direct";
           quantity = "dc voltage"; expected = 5.0; source_resistance = 10e3;
           source_resistance_tolerance_percent = 5.0; loading = "report"; }},
        {{ name = "plain"; instrument = "plain"; input = 1; probe = "direct";
           quantity = "dc voltage"; }},
        {{ name = "level"; instrument = "digitiser"; input = 1; probe = "direct";
           quantity = "dc voltage"; }},
        {{ name = "sine"; instrument = "digitiser"; input = 2; probe = "x10";
           quantity = "rms voltage"; }},
        {{ name = "ripple"; instrument = "digitiser"; input = 1; probe = "direct";
           quantity = "peak-to-peak voltage"; }},
        {{ name = "screen"; instrument = "old"; input = 1; probe = "direct";
           quantity = "dc voltage"; }},
        {{ name = "screen_x10"; instrument = "old"; input = 2; probe = "x10";
           quantity = "dc voltage"; }}
    );
    """

    def setUp(self):
        self.bench = StandIn(BENCH, self.BENCH)
        self.addCleanup(self.bench.stop)
        places = {name: self.bench.address(name) for name in ("fine", "plain", "digitiser", "old")}
        self.daemon = Gradusd(PROGRAM, self.SETTINGS.format(**places), self.impatient_profiles())
        self.addCleanup(self.daemon.stop)
        self.client = self.daemon.client()

    def impatient_profiles(self):
        """The shipped profiles, but with short times to answer, so that faults cost little."""
        folder = tempfile.TemporaryDirectory(prefix="profiles-")
        self.addCleanup(folder.cleanup)
        for path in pathlib.Path(SOURCE, "config", "profiles").glob("*.cfg"):
            text = re.sub(r"(reply_ms|extra_ms) = [0-9.]+", r"\1 = 250.0", path.read_text())
            text = re.sub(r"quiet_ms = [0-9.]+", "quiet_ms = 30.0", text)
            pathlib.Path(folder.name, path.name).write_text(text)
        return folder.name

    def measure(self, point, **parameters):
        return self.client.call("measure", point=point, **parameters)

    def refused(self, point, **parameters):
        with self.assertRaises(RpcError) as caught:
            self.measure(point, **parameters)
        return caught.exception

    def assert_true_value(self, reading):
        truth = true_value(self.bench, reading)
        self.assertLessEqual(abs(reading["value"] - truth), reading["uncertainty"], reading)

    def test_limits_of_comparisons(self):
        self.bench.set_source("rail", level=5.0)
        plain, same, ratio = self.measure("cold"), self.measure("same"), self.measure("ratio")
        self.assertNotIn("comparison", plain)
        self.assertEqual(same["comparison"]["point"], "cold")
        self.assertLessEqual(abs(same["comparison"]["value"]), same["comparison"]["uncertainty"])
        # What the two readings have in common goes, the resolution stays.
        self.assertLess(same["comparison"]["uncertainty"], 0.5 * same["uncertainty"])
        self.assertEqual(same["verdict"], "pass")
        self.assertAlmostEqual(ratio["comparison"]["value"], ratio["value"] / 10, delta=1e-12)
        self.assertEqual(ratio["verdict"], "pass")
        self.assertGreater(ratio["conformity_probability"], 0.999)
        self.bench.set_source("rail", level=5.2)
        self.assertEqual(self.measure("ratio")["verdict"], "fail")

    def test_no_reference_no_reading(self):
        self.bench.set_source("rail", level=1500.0)
        error = self.refused("same")
        self.assertEqual(error.data["reason"], "over range")
        self.assertIn("reference point cold", error.data["what"])

    def test_no_verdict_where_none_is_possible(self):
        self.bench.set_source("rail", level=5.0)
        reading = self.measure("hopeless")
        self.assertEqual(reading["verdict"], "none")
        self.assertLess(reading["test_uncertainty_ratio"], 1)
        self.assertEqual(reading["coverage_method"], "convolution")
        self.assertTrue(any("a verdict needs" in text for text in reading["warnings"]))
        self.bench.set_source("rail", level=6.0)
        self.assertEqual(self.measure("hopeless")["verdict"], "fail")

    def test_over_range_is_no_value(self):
        self.bench.set_source("rail", level=1500.0)
        for point in ("cold", "plain", "level", "screen"):
            error = self.refused(point)
            self.assertEqual(error.data["reason"], "over range")
            self.assertNotIn("value", error.data)
            self.assertEqual(error.data["steps"][-1]["outcome"], "overload")

    def test_variable_control_off_its_stop(self):
        self.measure("level")
        for name, point in (("digitiser", "level"), ("old", "screen")):
            self.bench.fault(name, "knob_off")
            self.assertEqual(self.refused(point).data["reason"], "vertical scale not calibrated")
            self.bench.clear(name)
            self.assert_true_value(self.measure(point))

    def test_from_cold_and_again(self):
        first = self.measure("cold")
        self.assertEqual([step["full_scale"] for step in first["steps"]], [1000, 20])
        self.assertEqual([step["outcome"] for step in first["steps"]],
                         ["poor resolution", "settled"])
        self.assertEqual(first["verdict"], "pass")
        again = self.measure("cold")
        self.assertEqual(len(again["steps"]), 1)
        self.assertGreater(again["sequence"], first["sequence"])

    def test_jumps_down_and_up_with_the_signal(self):
        for level in (0.0123, 180.0, 0.5, 900.0, 1.5):
            self.bench.set_source("rail", level=level)
            self.assert_true_value(self.measure("cold"))
            self.assert_true_value(self.measure("level") if level < 90 else self.measure("plain"))

    def test_loading(self):
        corrected, reported = self.measure("corrected"), self.measure("reported")
        self.assert_true_value(corrected)
        self.assertTrue(corrected["loading"]["corrected"])
        # 10 kohm into 10 megohm: 1/1001 of the unloaded voltage is missing (own derivation: Rs / (Rs + Rin)).
        self.assertAlmostEqual(corrected["value"], 5.0, places=3)
        self.assertAlmostEqual(reported["value"], 5.0 * 1000 / 1001, places=3)
        self.assertFalse(reported["loading"]["corrected"])
        self.assertAlmostEqual(reported["loading"]["error"], -5.0 / 1001, places=4)
        self.assertTrue(any("loading" in text for text in reported["warnings"]), reported)

    def test_repeats(self):
        self.bench.set_source("rail", noise=0.1)
        reading = self.measure("level", repeat=20)
        self.assertEqual(reading["repeats"], 20)
        terms = {term["source"]: term for term in reading["budget"]}
        self.assertEqual(terms["repeatability"]["degrees_of_freedom"], 19)
        self.assertGreater(terms["repeatability"]["standard"], 0)
        self.assertIn("degrees_of_freedom", reading)

    def test_finest_setting_that_shows_the_level(self):
        """Common practice, no source: 15 V stands on 2 V/div, 9 V through 10x on 0.2 V/div."""
        self.bench.set_source("rail", level=15.0)
        reading = self.measure("screen")
        self.assertEqual(reading["range"]["volts_per_division"], 2.0)
        self.assertAlmostEqual(reading["range"]["deflection_divisions"], 7.5, delta=0.05)
        self.assert_true_value(reading)
        self.bench.set_source("rail", level=9.0)
        reading = self.measure("screen_x10")
        self.assertEqual(reading["range"]["volts_per_division"], 0.2)
        self.assertAlmostEqual(reading["range"]["deflection_divisions"], 4.5, delta=0.05)
        self.assertAlmostEqual(reading["raw"], 0.9, delta=0.01)
        self.assertEqual(reading["unit"], "V")
        self.assertEqual(reading["probe"]["factor"], 10)
        self.assert_true_value(reading)

    def test_ripple_on_a_rail(self):
        self.bench.set_source("rail", kind="ripple", level=48.0, ripple=0.02, frequency=1000.0)
        reading = self.measure("ripple")
        self.assert_true_value(reading)
        self.assertEqual(reading["range"]["coupling"], "ac")
        self.assertGreater(0.02 / reading["range"]["resolution"], 50)

    def test_explain_names_the_best(self):
        before = self.client.call("explain", point="level")
        self.assertEqual(before["signal"]["source"], "none")
        reading = self.measure("level")
        after = self.client.call("explain", point="level")
        self.assertEqual(after["signal"]["source"], "last reading")
        chosen = after["candidates"][after["chosen"]]
        best = min(c["standard_uncertainty"] for c in after["candidates"] if c["fits"])
        self.assertLessEqual(chosen["standard_uncertainty"], best * 1.01)
        self.assertAlmostEqual(chosen["uncertainty"] / reading["uncertainty"], 1, delta=0.05)
        self.assertEqual(chosen["volts_per_division"], reading["range"]["volts_per_division"])

    def test_capture_is_at_the_tip(self):
        capture = self.client.call("capture", point="sine", samples=2000)
        parameters = capture["parameters"]
        self.assertAlmostEqual(parameters["frequency"], 1000.0, delta=5.0)
        self.assertAlmostEqual(parameters["maximum"], 3.0, delta=0.1)
        self.assertAlmostEqual(parameters["minimum"], -1.0, delta=0.1)
        self.assertAlmostEqual(parameters["ac_rms"], math.sqrt(2), delta=0.05)
        self.assertLess(parameters["frequency_standard_uncertainty"], 5.0)
        self.assertEqual(parameters["pulse"], {"reason": "does not rest at two levels"})
        sine = parameters["sine"]
        self.assertAlmostEqual(sine["frequency"], 1000.0, delta=5.0)
        self.assertAlmostEqual(sine["amplitude"], 2.0, delta=0.05)
        self.assertAlmostEqual(sine["offset"], 1.0, delta=0.05)
        self.assertEqual(len(capture["samples"]), capture["count"])
        self.assertAlmostEqual(max(capture["samples"]), parameters["maximum"], places=9)
        error = None
        try:
            self.client.call("capture", point="cold")
        except RpcError as caught:
            error = caught
        self.assertEqual(error.data["reason"], "instrument cannot measure this")

    def test_calibration_that_is_overdue_is_told(self):
        self.assertTrue(any("2020-01-31" in text for text in self.measure("plain")["warnings"]))
        self.assertFalse(self.measure("cold")["warnings"])

    def suffer(self, name, point, bench_lock):
        """Every fault at one instrument, at the first to third reply: counts values and failures."""
        values = failures = 0
        client = self.daemon.client()
        with bench_lock:
            truth = self.bench.truth("rail")["dc"]

        def holds_true(deadline_ms):
            reading = client.call("measure", point=point, deadline_ms=deadline_ms)
            self.assertLessEqual(abs(reading["value"] - truth), reading["uncertainty"], reading)

        for kind, count in itertools.product(FAULTS, (1, 2, 3)):
            with bench_lock:
                self.bench.fault(name, kind, count=count, delay_ms=400 if kind == "late" else 1)
            try:
                holds_true(2000 if kind == "babble" else 8000)
                values += 1
            except RpcError as error:
                self.assertLess(error.code, -32000)
                failures += 1
            with bench_lock:
                self.bench.clear(name)
            holds_true(20000)
        return values, failures

    def test_no_fault_makes_a_wrong_number(self):
        """Each fault at each instrument, whatever exchange it hits: right, or no value."""
        points = {"fine": "cold", "plain": "plain", "digitiser": "level", "old": "screen"}
        lock = threading.Lock()
        with concurrent.futures.ThreadPoolExecutor(len(points)) as pool:
            counts = list(pool.map(lambda item: self.suffer(*item, lock), points.items()))
        values, failures = map(sum, zip(*counts))
        print(f"{values} readings in spite of a fault, {failures} failures, no wrong number")
        self.assertGreater(values, 0)
        self.assertGreater(failures, 0)

    def test_power_failure_sets_everything_again(self):
        for name, point in (("fine", "cold"), ("old", "screen")):
            self.measure(point)
            self.bench.fault(name, "restart")
            self.assert_true_value(self.measure(point))

    def test_error_queue_is_told(self):
        self.measure("cold")
        self.bench.fault("fine", "error_queue")
        error = self.refused("corrected")
        self.assertEqual(error.data["reason"], "instrument reported an error")
        self.assert_true_value(self.measure("corrected"))


if __name__ == "__main__":
    unittest.main()
