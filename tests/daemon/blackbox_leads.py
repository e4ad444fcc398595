# SPDX-License-Identifier: GPL-3.0-or-later
"""Resistance through leads, on two wires and on four; a signal that moves while it is read. The
resistance of leads in series with what they go to is common practice, no source."""

import math
import os
import unittest

from gradusd import Gradusd
from standin import StandIn

PROGRAM = os.environ["GRADUSD"]
BENCH = os.environ["STANDIN"]
SOURCE = os.environ["GRADUS_SOURCE"]
SEED = 20261130
OHMS, LEADS, STATED, BOUND = 1.0, 0.25, 0.24, 0.02

BENCH_TEXT = f"""
instruments = ( {{ name = "fine"; type = "tarnwerk-meter"; listen = "tcp:127.0.0.1:0";
                   conversion_ms = 0; error_fraction = 0; }} );
sources = ( {{ name = "part"; kind = "resistance"; resistance = {OHMS}; }},
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
instruments = ( {{ name = "fine"; profile = "tarnwerk-meter"; link = "{link}"; }} );
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


if __name__ == "__main__":
    unittest.main(verbosity=2)
