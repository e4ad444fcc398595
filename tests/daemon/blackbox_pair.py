# SPDX-License-Identifier: GPL-3.0-or-later
"""Delay and phase between two inputs of a scope that are recorded together, held against what the
simulated bench was told to play. What is proved is proved of both inputs."""

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
    { name = "in"; kind = "sine"; amplitude = 2.0; frequency = 1e3; noise = 2e-3; },
    { name = "out"; kind = "sine"; amplitude = 0.3; level = 1.0; frequency = 1e3; noise = 2e-3; }
);
connections = (
    { instrument = "digitiser"; input = 1; source = "out"; },
    { instrument = "digitiser"; input = 2; source = "in"; },
    { instrument = "old"; input = 1; source = "out"; },
    { instrument = "old"; input = 2; source = "in"; }
);
"""

POINT = """
    {{ name = "{name}"; instrument = "{instrument}"; probe = "direct"; quantity = "{quantity}";
       reference_input = 2; {more} }}"""

SETTINGS = """
server = {{ }};
profiles = "{profiles}";
instruments = (
    {{ name = "digitiser"; profile = "tarnwerk-scope"; link = "{digitiser}"; }},
    {{ name = "old"; profile = "oldmere-scope"; link = "{old}"; }}
);
probes = ( {{ name = "inverting"; factor = -1.0; tolerance_percent = 0.0; }} );
points = ({points}
);
"""


def settings(places, *more):
    points = [POINT.format(name=f"{i}_{q}", instrument=i, quantity=q, more="")
              for i in ("digitiser", "old") for q in ("delay", "phase")]
    points += [POINT.format(name=f"more_{n}", instrument="digitiser", quantity=q, more=keys)
               for n, (q, keys) in enumerate(more)]
    return SETTINGS.format(profiles=PROFILES, points=",".join(points), **places)


class Pairs(unittest.TestCase):
    def setUp(self):
        self.bench = StandIn(BENCH, RACK)
        self.addCleanup(self.bench.stop)
        places = {name: self.bench.address(name) for name in ("digitiser", "old")}
        self.places = places
        daemon = Gradusd(PROGRAM, settings(
            places, ("phase", 'reference_probe = "inverting";'),
            ("phase", "expected = 170.0; limits = { nominal = 175.0; tolerance = 20.0; };"),
            ("delay", "skew = 1e-6;")))
        self.addCleanup(daemon.stop)
        self.client = daemon.client()

    def measure(self, point, **more):
        return self.client.call("measure", point=point, **more)

    def assert_true(self, reading, truth, unit, most):
        self.assertEqual(reading["unit"], unit)
        self.assertLessEqual(abs(reading["value"] - truth), reading["uncertainty"], reading)
        self.assertLess(reading["uncertainty"], most, reading)

    def assert_no_value(self, point, words):
        with self.assertRaises(RpcError) as caught:
            self.measure(point)
        self.assertIn(words, str(caught.exception))

    def test_sines(self):
        draw = random.Random(3)
        for instrument in ("digitiser", "old"):
            for _ in range(5):
                frequency = 10 ** draw.uniform(2, 5)
                turn = draw.uniform(-0.45, 0.45)
                self.bench.set_source("in", frequency=frequency)
                self.bench.set_source("out", frequency=frequency, delay=turn / frequency)
                with self.subTest(instrument=instrument, frequency=frequency, turn=turn):
                    self.assert_true(self.measure(f"{instrument}_delay"), turn / frequency, "s",
                                     0.01 / frequency)
                    self.assert_true(self.measure(f"{instrument}_phase"), 360 * turn, "°", 3.6)

    def test_edges(self):
        """Slow edges, and such as fall between two samples."""
        for rise in (0, 30e-6):
            for name, delay in (("in", 0), ("out", 120e-6)):
                self.bench.set_source(name, kind="square", low=0, high=3, frequency=1234.5, duty=0.4,
                                      rise=rise, delay=delay, noise=2e-3)
            with self.subTest(rise=rise):
                self.assert_true(self.measure("digitiser_delay"), 120e-6, "s", 8e-6)

    def test_a_sine_against_a_square(self):
        """Both rise through their middle; of the square that is half an edge behind its beginning."""
        self.bench.set_source("in", kind="square", low=-1, high=1, frequency=1e3, duty=0.5,
                              rise=16e-6)
        self.bench.set_source("out", frequency=1e3, delay=110e-6)
        self.assert_true(self.measure("digitiser_delay"), 100e-6, "s", 6e-6)

    def test_averaged(self):
        self.bench.set_source("out", delay=50e-6)
        reading = self.measure("digitiser_delay", repeat=5)
        self.assert_true(reading, 50e-6, "s", 5e-6)
        self.assertEqual(reading["repeats"], 5)
        self.assertIn("repeatability", [term["source"] for term in reading["budget"]])

    def test_the_turn_is_the_one_that_is_expected(self):
        self.bench.set_source("out", delay=-0.5e-3 + 5e-6)
        self.assert_true(self.measure("digitiser_phase"), -178.2, "°", 3.6)
        reading = self.measure("more_1")
        self.assert_true(reading, 181.8, "°", 3.6)
        self.assertEqual(reading["verdict"], "pass")

    def test_a_probe_that_inverts_turns_by_half(self):
        self.bench.set_source("out", delay=-0.25e-3)
        self.assert_true(self.measure("more_0"), 90, "°", 3.6)

    def test_leads_count(self):
        self.assertGreater(self.measure("more_2")["uncertainty"], 0.9e-6)

    def test_two_frequencies_have_no_phase(self):
        self.bench.set_source("out", frequency=1.1e3)
        self.assert_no_value("digitiser_phase", "one frequency")

    def test_nothing_on_the_reference(self):
        self.bench.set_source("in", kind="dc", level=1)
        self.assert_no_value("digitiser_delay", "the reference input")

    def test_both_inputs_are_proved_on_both_sides_of_the_record(self):
        """Between the start of the record that counts and the samples of either input lies no setting; what each
        input is set to is asked for before that start and behind the samples."""
        self.measure("digitiser_phase")
        commands = self.bench.commands("digitiser")
        starts = [i for i, text in enumerate(commands) if text.startswith(":INITiate")]
        fetched = [i for i, text in enumerate(commands) if text.startswith(":TRACe:DATA? CH2")]
        both = max(i for i in starts if i < fetched[-1])
        self.assertTrue(any(text.startswith(":TRACe:DATA? CH1") for text in commands[both:]))
        # The record before was the reference input's own, which is proved behind it too.
        last = max(i for i in range(both) if commands[i].startswith(":TRACe:DATA?"))
        before, behind = commands[last:both], commands[fetched[-1]:]
        for number in (1, 2):
            for query in (f":INPut{number}:COUPling?", f":SENSe{number}:VOLTage:RANGe:PTPeak?",
                          f":SENSe{number}:VOLTage:RANGe:OFFSet?"):
                with self.subTest(query=query):
                    asked = sum(text.count(query) for text in before)
                    self.assertGreaterEqual(asked, number, before)
                    self.assertTrue(any(query in text for text in behind), behind)


class Refusals(unittest.TestCase):
    def told(self, quantity, keys):
        point = ('{ name = "p"; instrument = "digitiser"; probe = "direct"; '
                 f'quantity = "{quantity}"; {keys} }}')
        text = SETTINGS.format(profiles=PROFILES, digitiser="tcp:127.0.0.1:1",
                               old="tcp:127.0.0.1:2", points=point)
        with tempfile.NamedTemporaryFile("w", suffix=".cfg") as file:
            file.write(text)
            file.flush()
            told = subprocess.run([PROGRAM, "--check", file.name], capture_output=True, text=True,
                                  check=False)
        return told.stdout + told.stderr

    def test_settings(self):
        for quantity, keys, words in (
                ("delay", "", 'missing key "reference_input"'),
                ("delay", "reference_input = 1;", "the point's own"),
                ("phase", "reference_input = 3;", "expected 1 to 2"),
                ("phase", 'reference_input = 2; reference_probe = "invert";', "no probe"),
                ("rise time", "reference_input = 2;", "expected it with delay and phase only")):
            with self.subTest(quantity=quantity, keys=keys):
                self.assertIn(words, self.told(quantity, keys))


if __name__ == "__main__":
    unittest.main()
