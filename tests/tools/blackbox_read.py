# SPDX-License-Identifier: GPL-3.0-or-later
"""gradus read: what hangs on an input, without a point in the settings."""

import json
import os
import shutil
import subprocess
import tempfile
import unittest

from gradusd import Gradusd, RpcError
from standin import StandIn

GRADUS = os.environ["GRADUS"]
PROGRAM = os.environ["GRADUSD"]
LIMIT_S = 300.0

BENCH = """
instruments = (
    { name = "meter"; type = "tarnwerk-meter"; listen = "tcp:127.0.0.1:0"; conversion_ms = 0;
      error_fraction = 0; },
    { name = "scope"; type = "tarnwerk-scope"; listen = "tcp:127.0.0.1:0"; error_fraction = 0; }
);
sources = (
    { name = "rail"; kind = "dc"; level = 5.0; },
    { name = "high"; kind = "dc"; level = 60.0; }
);
connections = (
    { instrument = "meter"; input = 1; source = "rail"; },
    { instrument = "scope"; input = 1; source = "high"; factor = 10.0; tip_resistance = 10e6;
      load_resistance = 1e6; }
);
"""

SETTINGS = """
server = {{ }};
store = {{ path = "{folder}/readings.db"; }};
profiles = "profiles";
instruments = (
    {{ name = "meter"; profile = "tarnwerk-meter"; link = "{meter}"; }},
    {{ name = "scope"; profile = "tarnwerk-scope"; link = "{scope}"; }}
);
probes = (
    {{ name = "x10"; factor = 10.0; tolerance_percent = 1.0; tip_resistance = 10e6;
       resistance_tolerance_percent = 1.0; load_resistance = 1e6; rating = 300.0; }}
);
points = (
    {{ name = "rail"; instrument = "meter"; input = 1; probe = "direct"; quantity = "dc voltage"; }}
);
"""


SHARED = """
server = {{ }};
profiles = "profiles";
instruments = ( {{ name = "meter"; profile = "tarnwerk-meter"; link = "{meter}"; {more} }} );
points = (
    {{ name = "rail"; instrument = "meter"; input = 1; probe = "direct"; quantity = "dc voltage"; }},
    {{ name = "bias"; instrument = "meter"; input = 1; probe = "direct"; quantity = "dc voltage"; }},
    {{ name = "same"; instrument = "meter"; input = 2; probe = "direct"; place = "TP4";
       quantity = "dc voltage"; }},
    {{ name = "ripple"; instrument = "meter"; input = 2; probe = "direct"; place = "TP4";
       frequency = 100.0; quantity = "ac voltage"; }}
);
"""


class SharedInput(unittest.TestCase):
    """Points on one input are read one after the other only where nobody has to move a lead."""

    def gradus(self, daemon, *words):
        return subprocess.run([GRADUS, "--socket", "unix:" + daemon.unix, *words], text=True,
                              stdin=subprocess.DEVNULL, capture_output=True, timeout=LIMIT_S)

    def test_a_hand_is_asked_for_before_anything_is_measured(self):
        with StandIn(os.environ["STANDIN"], BENCH) as bench, \
                Gradusd(PROGRAM, SHARED.format(meter=bench.address("meter"), more="")) as daemon:
            for words in (("measure", "rail", "same", "bias"), ("measure", "--all"),
                          ("follow", "rail", "bias", "--count", "1")):
                run = self.gradus(daemon, *words)
                self.assertEqual(run.returncode, 2, words)
                self.assertIn("gradus walk", run.stderr)
                self.assertIn("share an input", run.stderr)
                self.assertEqual(run.stdout, "")
            with self.assertRaises(RpcError) as caught:
                daemon.client().call("follow", points=["rail", "bias"])
            self.assertIn("move the lead", caught.exception.data["what"])
            by_hand = [point.get("by_hand") for point in daemon.client().call("points")]
            self.assertEqual(by_hand, [True] * 4)
            self.assertNotIn(":READ?", "".join(bench.commands("meter")))
            for words in (("measure", "rail"), ("measure", "same", "ripple", "rail")):
                self.assertIn(self.gradus(daemon, *words).returncode, (0, 3), words)

    def test_a_scanner_needs_no_hand(self):
        with StandIn(os.environ["STANDIN"], BENCH) as bench, \
                Gradusd(PROGRAM, SHARED.format(meter=bench.address("meter"),
                                               more="switched_inputs = [ 1 ];")) as daemon:
            by_hand = [point.get("by_hand") for point in daemon.client().call("points")]
            self.assertEqual(by_hand, [None, None, True, True])
            run = self.gradus(daemon, "measure", "rail", "bias")
            self.assertEqual(run.returncode, 0, run.stderr)


class Read(unittest.TestCase):
    def setUp(self):
        self.bench = StandIn(os.environ["STANDIN"], BENCH)
        self.addCleanup(self.bench.stop)
        folder = tempfile.mkdtemp(prefix="read-")
        self.addCleanup(shutil.rmtree, folder)
        places = {name: self.bench.address(name) for name in ("meter", "scope")}
        self.daemon = Gradusd(PROGRAM, SETTINGS.format(folder=folder, **places))
        self.addCleanup(self.daemon.stop)
        self.client = self.daemon.client()

    def gradus(self, *words, status=0):
        run = subprocess.run([GRADUS, "--socket", "unix:" + self.daemon.unix, *words],
                             stdin=subprocess.DEVNULL, capture_output=True, text=True,
                             timeout=LIMIT_S)
        self.assertEqual(run.returncode, status, run)
        return run.stdout, run.stderr

    def refused(self, *arguments, **parameters):
        with self.assertRaises(RpcError) as caught:
            self.client.call("read", *arguments, **parameters)
        return caught.exception

    def test_a_reading_is_that_of_a_point_and_is_kept(self):
        point = self.client.call("measure", "rail")
        loose = self.client.call("read", "meter", 1, "dc voltage")
        self.assertEqual(loose["point"], "meter/1/dc voltage")
        self.assertTrue(loose["stored"])
        for member in ("quantity", "unit", "range", "budget", "probe", "instrument"):
            self.assertEqual(loose[member], point[member], member)
        self.assertAlmostEqual(loose["value"], 5.0, delta=loose["uncertainty"])
        kept = self.client.call("readings", point="meter/1/dc voltage")["readings"]
        self.assertEqual([row["id"] for row in kept], [loose["id"]])

    def test_readings_of_a_name_that_nothing_has_are_refused(self):
        out, err = self.gradus("readings", "rial", status=2)
        self.assertEqual(out.strip(), "")
        self.assertIn("perhaps rail", err)
        self.gradus("readings", "meter/1/dc voltage", status=2)
        self.assertEqual(self.client.call("readings", point="rail")["readings"], [])
        self.gradus("read", "meter", "1", "dc voltage")
        out, _ = self.gradus("readings", "meter/1/dc voltage", "--csv")
        self.assertEqual(len(out.splitlines()), 2)

    def test_probe_expectation_and_limits_hold_as_for_a_point(self):
        reading = self.client.call("read", instrument="scope", input=1, quantity="dc voltage",
                                   probe="x10", more={"expected": 60.0, "limits": {"low": 50,
                                                                                   "high": 70.0}})
        self.assertAlmostEqual(reading["value"], 60.0, delta=reading["uncertainty"])
        self.assertEqual((reading["probe"]["factor"], reading["verdict"]), (10.0, "pass"))
        out, _ = self.gradus("read", "scope", "1", "dc voltage", "--probe", "x10", "--limits",
                             ":40", status=1)
        self.assertIn("fail", out)
        out, _ = self.gradus("read", "meter", "1", "dc voltage", "--expect", "5", "--limits", "5%",
                             "--with", "source_resistance=10", "--with",
                             "source_resistance_tolerance_percent=5", "--json")
        reading = json.loads(out)
        self.assertEqual((reading["limits"]["low"], reading["limits"]["high"]), (4.75, 5.25))
        self.assertEqual(reading["verdict"], "pass")
        self.assertTrue(reading["loading"]["corrected"])

    def test_what_a_point_may_not_be_is_refused_before_the_instrument_hears_of_it(self):
        before = self.bench.commands("scope"), self.bench.commands("meter")
        error = self.refused("scope", 1, "dc voltage", "x10", {"expected": 400.0})
        self.assertEqual(error.data["reason"], "settings")
        self.assertIn("rating of probe", error.data["expected"])
        self.assertIn('"meter"', self.refused("metre", 1, "dc voltage").data["expected"])
        self.assertIn('"x10"', self.refused("scope", 1, "dc voltage", "x01").data["expected"])
        self.assertIn("expected it with scopes",
                      "expected " + self.refused("meter", 1, "dc voltage", "direct",
                                                 {"record": 1.0}).data["expected"])
        for more in ({"name": "rail"}, {"units": {"last": 4}}, {"ways": []},
                     {"limits": {"low": 2.0, "high": 1.0}}, {"limts": {"low": 1.0}},
                     {"limits": {"low": -1, "judge": "difference", "reference_value": 5,
                                 "reference_uncertainty": 0}},
                     {"expected": None}, {"expected": "5"}, {"a b": 1}, {"": 1}):
            self.assertEqual(self.refused("meter", 1, "dc voltage", "direct", more).data["reason"],
                             "settings", more)
        self.refused("meter", 99, "dc voltage")
        self.refused("meter", 0, "dc voltage")
        self.refused("meter", 1, "dc volts")
        self.refused("meter", 1, "dc voltage", "direct", "more")
        self.assertEqual((self.bench.commands("scope"), self.bench.commands("meter")), before)

    def test_it_is_followed_like_a_point(self):
        out, _ = self.gradus("read", "meter", "1", "dc voltage", "--follow", "--count", "3",
                             "--every", "0", "--limits", "4:6")
        lines = out.splitlines()
        self.assertEqual(len(lines), 3)
        for line in lines:
            self.assertIn("meter/1/dc voltage", line)
            self.assertTrue(line.endswith("pass"), line)
        _, err = self.gradus("read", "meter", "1", "dc volts", "--follow", status=2)
        self.assertIn("dc volts", err)
        with self.assertRaises(RpcError):
            self.client.call("follow", every_ms=0)

    def test_words_that_mean_nothing_are_named(self):
        for words, says in ((("meter", "one", "dc voltage"), '"one" is not an input'),
                            (("meter", "1.5", "dc voltage"), '"1.5" is not an input'),
                            (("meter", "1", "dc voltage", "--limits", "5"), "LOW:HIGH"),
                            (("meter", "1", "dc voltage", "--limits", ":"), "LOW:HIGH"),
                            (("meter", "1", "dc voltage", "--limits", "nan:1"), "LOW:HIGH"),
                            (("meter", "1", "dc voltage", "--limits", "5%"), "--expect"),
                            (("meter", "1", "dc voltage", "--with", "x"), "KEY=VALUE"),
                            (("meter", "1", "dc voltage", "--with", "frequncy=1"),
                             'perhaps "frequency"'),
                            (("meter", "1"), "too few")):
            _, err = self.gradus("read", *words, status=2)
            self.assertIn(says, err)


if __name__ == "__main__":
    unittest.main()
