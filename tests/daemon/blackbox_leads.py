# SPDX-License-Identifier: GPL-3.0-or-later
"""Resistance through leads, on two wires and on four, zeroed or not; a signal that moves while it
is read. The resistance of leads in series with what they go to is common practice, no source."""

import math
import os
import signal
import subprocess
import tempfile
import unittest

from gradusd import LIMIT_S, Gradusd, RpcError
from standin import StandIn

PROGRAM = os.environ["GRADUSD"]
COMMAND = os.environ["GRADUS"]
BENCH = os.environ["STANDIN"]
SOURCE = os.environ["GRADUS_SOURCE"]
SEED = 20261130
OHMS, LEADS, STATED, BOUND = 1.0, 0.25, 0.24, 0.02

BENCH_TEXT = f"""
instruments = ( {{ name = "fine"; type = "tarnwerk-meter"; listen = "tcp:127.0.0.1:0";
                   conversion_ms = 0; error_fraction = 0; }} );
sources = ( {{ name = "part"; kind = "resistance"; resistance = {OHMS}; }},
            {{ name = "short"; kind = "resistance"; resistance = 0.0; }},
            {{ name = "shaky"; kind = "dc"; level = 5.0; wander = 0.01; }},
            {{ name = "calm"; kind = "dc"; level = 5.0; }} );
connections = (
    {{ instrument = "fine"; input = 1; source = "part"; lead_resistance = {LEADS}; }},
    {{ instrument = "fine"; input = 2; source = "shaky"; }},
    {{ instrument = "fine"; input = 3; source = "calm"; }} );
"""

POINTS = """
    { name = "bare"; instrument = "fine"; input = 1; probe = "direct"; quantity = "resistance"; },
    { name = "corrected"; instrument = "fine"; input = 1; probe = "leads";
      quantity = "resistance"; },
    { name = "four"; instrument = "fine"; input = 1; probe = "direct";
      quantity = "resistance 4-wire"; },
    { name = "shaky"; instrument = "fine"; input = 2; probe = "direct"; quantity = "dc voltage"; },
    { name = "calm"; instrument = "fine"; input = 3; probe = "direct"; quantity = "dc voltage"; }
"""


def settings(link, probe, points):
    return f"""
server = {{ }};
profiles = "{SOURCE}/config/profiles";
instruments = ( {{ name = "fine"; profile = "tarnwerk-meter"; link = "{link}";
                   switched_inputs = [ 1 ]; }} );
probes = ( {probe} );
points = ( {points} );
"""


LEADS_PROBE = f'{{ name = "leads"; lead_resistance = {STATED}; lead_tolerance = {BOUND}; }}'


def term(reading, source):
    return next((line for line in reading["budget"] if line["source"] == source), None)


class Leads(unittest.TestCase):
    def measure(self, *points):
        with StandIn(BENCH, BENCH_TEXT, seed=SEED) as bench, \
                Gradusd(PROGRAM, settings(bench.address("fine"), LEADS_PROBE, POINTS)) as daemon:
            client = daemon.client()
            return [client.call("measure", point) for point in points]

    def test_leads_are_taken_off_with_their_bound(self):
        bare, corrected, four = self.measure("bare", "corrected", "four")
        self.assertGreater(bare["value"] - OHMS, bare["uncertainty"])
        self.assertLess(abs(corrected["value"] - OHMS), corrected["uncertainty"])
        self.assertAlmostEqual(bare["value"] - corrected["value"], STATED, 9)
        # A bound without more knowledge is a rectangle: JCGM 100:2008, 4.3.7, a / sqrt 3.
        line = term(corrected, "lead resistance")
        self.assertAlmostEqual(line["standard"] * abs(line["sensitivity"]), BOUND / math.sqrt(3), 9)
        self.assertEqual((corrected["unit"], four["unit"]), ("Ω", "Ω"))
        self.assertLess(abs(four["value"] - OHMS), four["uncertainty"])
        self.assertLess(four["uncertainty"], corrected["uncertainty"])
        self.assertIsNone(term(four, "lead resistance"))

    def test_a_signal_that_moves_has_that_in_its_budget(self):
        shaky, calm = self.measure("shaky", "calm")
        moving = term(shaky, "moving while it was measured")
        self.assertIsNotNone(moving)
        self.assertGreater(moving["standard"], 1e-4)
        self.assertIsNone(term(calm, "moving while it was measured"))

    def test_leads_with_the_keys_of_another_probe_are_a_mistake(self):
        rows = (("lead_tolerance", f'{{ name = "leads"; lead_resistance = {STATED}; }}', "bare"),
                ("factor", LEADS_PROBE.replace(" }", " factor = 1.0; }"), "bare"),
                ("tolerance_percent", '{ name = "leads"; factor = 1.0; }', "bare"),
                ("resistance", LEADS_PROBE, "dc voltage"),
                ("resistance", LEADS_PROBE, "resistance 4-wire"))
        for says, probe, quantity in rows:
            point = POINTS.split("},")[1] + "}"
            if quantity != "bare":
                point = point.replace('"resistance"', f'"{quantity}"')
            with self.subTest(says=says, quantity=quantity):
                with self.assertRaises(Exception) as caught:
                    with Gradusd(PROGRAM, settings("tcp:127.0.0.1:1", probe, point)):
                        pass
                self.assertIn(says, str(caught.exception))


LIMITED = """
    { name = "bare"; instrument = "fine"; input = 1; probe = "direct"; quantity = "resistance";
      expected = 1.0; limits = { low = 0.9; high = 1.1; }; },
    { name = "corrected"; instrument = "fine"; input = 1; probe = "leads";
      quantity = "resistance"; limits = { low = 0.9; high = 1.1; }; },
    { name = "difference"; instrument = "fine"; input = 1; probe = "direct"; quantity = "resistance";
      limits = { judge = "difference"; reference_point = "bare"; low = -0.2; high = 0.2; }; },
    { name = "beside"; instrument = "fine"; input = 2; probe = "direct"; quantity = "resistance"; },
    { name = "four"; instrument = "fine"; input = 1; probe = "direct";
      quantity = "resistance 4-wire"; },
    { name = "calm"; instrument = "fine"; input = 3; probe = "direct"; quantity = "dc voltage"; }
"""


class Zero(unittest.TestCase):
    """Leads that are shorted at their tips, and what is read through them then."""

    def setUp(self):
        self.bench = StandIn(BENCH, BENCH_TEXT, seed=SEED)
        self.addCleanup(self.bench.stop)
        folder = tempfile.TemporaryDirectory()
        self.addCleanup(folder.cleanup)
        self.kept = f'store = {{ path = "{folder.name}/readings.db"; }};'
        self.start(self.settings())

    def settings(self, more="", probe=LEADS_PROBE):
        return settings(self.bench.address("fine"), probe, LIMITED) + self.kept + more

    def start(self, text):
        self.daemon = Gradusd(PROGRAM, text)
        self.addCleanup(self.daemon.stop)
        self.client = self.daemon.client()

    def tie(self, source, leads=LEADS):
        self.bench.connect("fine", 1, source, lead_resistance=leads)

    def zero(self, point="bare", source="short", leads=LEADS):
        self.tie(source, leads)
        try:
            return self.client.call("zero", point)
        finally:
            self.tie("part")

    def refused(self, *arguments, **ways):
        with self.assertRaises(RpcError) as caught:
            self.zero(*arguments, **ways)
        return caught.exception.data["what"]

    def test_one_ohm_passes_through_leads_that_are_zeroed(self):
        before = self.client.call("measure", "bare")
        self.assertEqual(before["verdict"], "fail")
        zero = self.zero()
        self.assertLess(abs(zero["value"] - LEADS), zero["uncertainty"])
        self.assertEqual((zero["probe"], zero["instrument"], zero["input"], zero["unit"]),
                         ("direct", "fine", 1, "Ω"))
        after = self.client.call("measure", "bare")
        self.assertEqual(after["verdict"], "pass")
        self.assertLess(abs(after["value"] - OHMS), after["uncertainty"])
        self.assertAlmostEqual(before["value"] - after["value"], zero["value"], 3)
        line = term(after, "zero of the leads")
        self.assertAlmostEqual(line["standard"] * abs(line["sensitivity"]),
                               zero["standard_uncertainty"], 12)
        # Independent errors add in squares: JCGM 100:2008, 5.1.2.
        self.assertGreater(after["standard_uncertainty"],
                           math.hypot(before["standard_uncertainty"],
                                      zero["standard_uncertainty"]) * 0.99)

    def predicted(self, point):
        explained = self.client.call("explain", point)
        return explained["candidates"][explained["chosen"]]["standard_uncertainty"]

    def test_explain_reckons_with_the_zero(self):
        self.client.call("measure", "bare")
        before = self.predicted("bare")
        zero = self.zero()
        # Independent errors add in squares: JCGM 100:2008, 5.1.2.
        self.assertAlmostEqual(self.predicted("bare"),
                               math.hypot(before, zero["standard_uncertainty"]), 4)

    def test_a_zero_is_for_its_probe_and_input_on_two_wires(self):
        self.zero()
        self.bench.connect("fine", 2, "part", lead_resistance=LEADS)
        for point in ("beside", "four", "corrected"):
            self.assertIsNone(term(self.client.call("measure", point), "zero of the leads"), point)
        difference = self.client.call("measure", "difference")
        self.assertLess(abs(difference["value"] - OHMS), difference["uncertainty"])
        self.assertLess(abs(difference["comparison"]["reference"] - OHMS), difference["uncertainty"])

    def test_a_zero_takes_the_place_of_what_is_stated(self):
        zero = self.zero("corrected")
        reading = self.client.call("measure", "corrected")
        self.assertAlmostEqual(zero["value"], LEADS, 2)
        self.assertAlmostEqual(reading["value"], OHMS, 2)
        self.assertIsNone(term(reading, "lead resistance"))
        self.assertIsNotNone(term(reading, "zero of the leads"))
        other = '{ name = "leads"; lead_resistance = 0.9; lead_tolerance = 0.01; }'
        self.daemon.reload(self.settings(probe=other))  # other leads: not theirs
        self.assertIsNone(term(self.client.call("measure", "corrected"), "zero of the leads"))

    def test_what_is_no_zero_is_refused_and_changes_nothing(self):
        first = self.zero()["value"]
        self.assertIn("more than probe direct", self.refused(leads=6.0))
        self.assertIn("more than probe leads", self.refused("corrected", source="part"))
        self.assertIn("less than probe leads", self.refused("corrected", leads=0.0))
        self.assertIn("the leads are open", self.refused(source=None))
        self.assertIn("below zero", self.refused(leads=-0.5))
        self.assertIn("four wires", self.refused("four"))
        self.assertIn("dc voltage", self.refused("calm"))
        reading = self.client.call("measure", "bare")
        self.assertAlmostEqual(reading["raw"] - reading["value"], first, 9)
        self.assertIsNone(term(self.client.call("measure", "corrected"), "zero of the leads"))

    def test_a_zero_is_remembered_over_a_restart_and_is_no_reading(self):
        zero = self.zero()
        self.client.call("measure", "calm")  # is answered when all before it is kept
        self.daemon.send_signal(signal.SIGKILL)
        self.daemon.wait()
        self.daemon.stop()
        self.start(self.settings())
        self.assertEqual(self.client.call("readings", point="bare")["readings"], [])
        reading = self.client.call("measure", "bare")
        self.assertEqual(reading["verdict"], "pass")
        self.assertAlmostEqual(reading["raw"] - reading["value"], zero["value"], 9)

    def test_a_zero_that_is_too_old_warns_or_blocks(self):
        self.zero()
        self.daemon.reload(self.settings("lead_zero_s = 0.0;"))
        reading = self.client.call("measure", "bare")
        self.assertEqual(reading["verdict"], "fail")
        self.assertIsNone(term(reading, "zero of the leads"))
        self.assertIn("the zero is not used", " ".join(reading["warnings"]))
        self.daemon.reload(self.settings('lead_zero_s = 0.0; policy = { lead_zero = "block"; };'))
        with self.assertRaises(RpcError) as caught:
            self.client.call("measure", "bare")
        self.assertIn("the zero is not used", caught.exception.data["what"])
        self.zero()  # the old one does not stand in the way of a new one

    def test_the_command(self):
        for source, status, says in (("short", 0, "the leads have 250"), ("part", 0, "have 1.2"),
                                     (None, 3, "the leads are open")):
            self.tie(source)
            done = subprocess.run([COMMAND, "--socket", f"unix:{self.daemon.unix}", "zero", "bare"],
                                  stdin=subprocess.DEVNULL, capture_output=True, timeout=LIMIT_S,
                                  check=False, env={**os.environ, "LC_ALL": "C.UTF-8"})
            self.assertEqual(done.returncode, status, done)
            self.assertIn(says, (done.stdout + done.stderr).decode())


if __name__ == "__main__":
    unittest.main(verbosity=2)
