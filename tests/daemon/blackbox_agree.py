# SPDX-License-Identifier: GPL-3.0-or-later
"""A place through two instruments, unloaded, and its probe: the daemon on a simulated bench, asked
over its socket and by the command."""

import json
import math
import os
import signal
import subprocess
import tempfile
import unittest

from gradusd import Gradusd, RpcError
from standin import StandIn

PROGRAM = os.environ["GRADUSD"]
COMMAND = os.environ["GRADUS"]
BENCH = os.environ["STANDIN"]
PROFILES = os.path.join(os.environ["GRADUS_SOURCE"], "config", "profiles")
LIMIT_S = 300.0

RACK = """
instruments = (
    { name = "fine"; type = "tarnwerk-meter"; listen = "tcp:127.0.0.1:0"; conversion_ms = 0;
      error_fraction = 0; },
    { name = "plain"; type = "oldmere-meter"; listen = "tcp:127.0.0.1:0"; conversion_ms = 0;
      error_fraction = 0; },
    { name = "digitiser"; type = "tarnwerk-scope"; listen = "tcp:127.0.0.1:0"; error_fraction = 0; },
    { name = "wrong"; type = "oldmere-scope"; listen = "tcp:127.0.0.1:0"; error_fraction = 0; }
);
sources = (
    { name = "rail"; kind = "dc"; level = 5.0; source_resistance = 1.0; },
    { name = "other"; kind = "dc"; level = 6.0; },
    { name = "tank"; kind = "sine"; amplitude = 2.0; frequency = 1e6; },
    { name = "edges"; kind = "square"; low = -1.0; high = 1.0; frequency = 1e3; }
);
connections = (
    { instrument = "fine"; input = 1; source = "rail"; },
    { instrument = "fine"; input = 2; source = "rail"; tip_resistance = 100e3; },
    { instrument = "plain"; input = 1; source = "rail"; },
    { instrument = "digitiser"; input = 1; source = "rail"; },
    { instrument = "digitiser"; input = 2; source = "edges"; factor = 10.0;
      tip_resistance = 10e6; load_resistance = 1e6; edge_ratio = 1.0; edge_tau = 1.0; },
    { instrument = "wrong"; input = 2; source = "tank"; factor = 10.0; tip_resistance = 10e6;
      load_resistance = 1e6; },
    { instrument = "wrong"; input = 1; source = "other"; }
);
"""

SETTINGS = """
server = {{ }};
profiles = "{profiles}";
store = {{ path = "{folder}/store.db"; }};
instruments = (
    {{ name = "fine"; profile = "tarnwerk-meter"; link = "{fine}"; }},
    {{ name = "plain"; profile = "oldmere-meter"; link = "{plain}"; }},
    {{ name = "digitiser"; profile = "tarnwerk-scope"; link = "{digitiser}"; }},
    {{ name = "wrong"; profile = "oldmere-scope"; link = "{wrong}"; }}
);
probes = (
    {{ name = "terminated"; factor = 1.0; tolerance_percent = 0.0; tip_resistance = 100e3;
       resistance_tolerance_percent = 0.1; }},
    {{ name = "shunted"; factor = 1.0; tolerance_percent = 2.0; tip_resistance = 10e6;
       resistance_tolerance_percent = 1.0; }},
    {{ name = "x10"; factor = 10.0; tolerance_percent = 1.0; tip_resistance = 10e6;
       resistance_tolerance_percent = 1.0; load_resistance = 1e6; }},
    {{ name = "x10c"; factor = 10.0; tolerance_percent = 1.0; tip_resistance = 10e6;
       resistance_tolerance_percent = 1.0; load_resistance = 1e6; tip_capacitance = 10e-12;
       capacitance_tolerance_percent = 10.0; }}
);
points = (
    {{ name = "rail"; quantity = "dc voltage"; expected = 4.9; limits = {{ high = 4.95; }};
       ways = ( {{ instrument = "digitiser"; probe = "direct"; }},
                      {{ instrument = "plain"; probe = "direct"; }},
                      {{ instrument = "fine"; probe = "direct"; }},
                      {{ instrument = "wrong"; probe = "direct"; }} ); }},
    {{ name = "alone"; instrument = "fine"; probe = "direct"; quantity = "dc voltage"; }},
    {{ name = "rail_since"; quantity = "dc voltage"; expected = 5.0;
       limits = {{ judge = "difference"; reference_stored = "beside"; low = -1.0; high = 1.0; }};
       ways = ( {{ instrument = "plain"; probe = "direct"; }},
                      {{ instrument = "fine"; probe = "direct"; }} ); }},
    {{ name = "alone_since"; instrument = "fine"; probe = "direct"; quantity = "dc voltage";
       limits = {{ judge = "difference"; reference_stored = "beside"; low = -1.0; high = 1.0; }}; }},
    {{ name = "again"; instrument = "fine"; input = 1; probe = "direct"; quantity = "dc voltage"; }},
    {{ name = "beside"; instrument = "plain"; probe = "direct"; quantity = "dc voltage"; }},
    {{ name = "swing"; instrument = "digitiser"; probe = "direct";
       quantity = "peak-to-peak voltage"; }},
    {{ name = "loaded"; instrument = "fine"; input = 2; probe = "terminated";
       quantity = "dc voltage"; }},
    {{ name = "one"; instrument = "fine"; probe = "shunted"; quantity = "dc voltage"; }},
    {{ name = "two"; instrument = "plain"; probe = "shunted"; quantity = "dc voltage"; }},
    {{ name = "tank"; instrument = "wrong"; input = 2; probe = "x10c";
       quantity = "ac voltage"; frequency = 1e6;
       tuned = {{ frequency = 1e6; inductance = 253.303e-6; }}; }},
    {{ name = "slow"; instrument = "plain"; probe = "direct"; quantity = "dc voltage";
       frequency = 0.8; }},
    {{ name = "square"; instrument = "digitiser"; input = 2; probe = "x10";
       quantity = "rms voltage"; frequency = 1e3; record = 2e-3; waveform = "square"; }}
);
burnin = (
    {{ name = "edges"; points = ( "square" ); every_s = 1; duration_s = 60; probe_checks_s = 60; }},
    {{ name = "rail"; points = ( "alone" ); every_s = 1; duration_s = 60; probe_checks_s = 60; }}
);
"""


class Case(unittest.TestCase):
    def setUp(self):
        self.bench = StandIn(BENCH, RACK)
        self.addCleanup(self.bench.stop)
        places = {name: self.bench.address(name)
                  for name in ("fine", "plain", "digitiser", "wrong")}
        folder = tempfile.TemporaryDirectory()
        self.addCleanup(folder.cleanup)
        self.settings = SETTINGS.format(profiles=PROFILES, folder=folder.name, **places)
        self.start()

    def start(self):
        self.daemon = Gradusd(PROGRAM, self.settings)
        self.addCleanup(self.daemon.stop)
        self.client = self.daemon.client()

    def agree(self, **what):
        return self.client.call("agree", **what)

    def refused(self, **what):
        with self.assertRaises(RpcError) as caught:
            self.agree(**what)
        return caught.exception.data

    def command(self, *words, status=0):
        done = subprocess.run([COMMAND, "--socket", f"unix:{self.daemon.unix}", *words],
                              stdin=subprocess.DEVNULL, capture_output=True, timeout=LIMIT_S,
                              check=False, env={**os.environ, "LC_ALL": "C.UTF-8"})
        self.assertEqual(done.returncode, status, done)
        return done.stdout.decode()


class ProbeChecks(Case):
    """A burn-in that wants its probes checked."""

    def connect(self, ratio):
        self.bench.connect("digitiser", 2, "edges", factor=10.0, tip_resistance=10e6,
                           load_resistance=1e6, edge_ratio=ratio, edge_tau=120e-6)

    def refusal(self):
        with self.assertRaises(RpcError) as caught:
            self.client.call("burnin.start", "edges")
        return caught.exception.data["what"]

    def test_no_run_without_a_good_check(self):
        self.assertIn("no check of probe x10", self.refusal())
        self.connect(1.3)
        self.client.call("compensate", point="square")
        self.assertIn("probe x10 is over-compensated", self.refusal())
        self.connect(1.0)
        self.client.call("compensate", point="square")
        self.client.call("burnin.start", "edges")
        self.client.call("burnin.start", "rail")  # nothing to compensate there

    def test_a_check_is_remembered_over_a_restart(self):
        self.connect(1.0)
        self.client.call("compensate", point="square")
        self.client.call("measure", point="alone")  # is answered when all before it is kept
        self.daemon.send_signal(signal.SIGKILL)
        self.daemon.wait()
        self.daemon.stop()
        self.start()
        self.client.call("burnin.start", "edges")


class Agree(Case):
    def test_the_two_best_of_a_point(self):
        result = self.agree(point="rail")
        names = [reading["instrument"]["name"] for reading in result["readings"]]
        self.assertEqual(names[0], "fine")
        self.assertIn(names[1], ("plain", "digitiser"))
        self.assertTrue(result["agree"])
        a, b = result["readings"]
        self.assertAlmostEqual(
            result["en"], (a["value"] - b["value"]) / math.hypot(a["uncertainty"],
                                                                 b["uncertainty"]), places=9)
        self.assertAlmostEqual(result["difference"]["value"], a["value"] - b["value"], places=12)
        # The point itself is measured as before, and with its limits.
        reading = self.client.call("measure", point="rail")
        self.assertEqual(reading["instrument"]["name"], "fine")
        self.assertEqual(reading["verdict"], "fail")

    def test_two_that_are_named_and_do_not_agree(self):
        result = self.agree(point="rail", instruments=["wrong", "plain"])
        self.assertEqual([reading["instrument"]["name"] for reading in result["readings"]],
                         ["wrong", "plain"])
        self.assertFalse(result["agree"])
        self.assertGreater(result["en"], 1)

    def test_two_points_with_one_probe(self):
        """A 2 % probe moved from one meter to the other cannot part them."""
        apart = self.agree(first="alone", second="beside")
        shared = self.agree(first="one", second="two")
        self.assertAlmostEqual(apart["correlation"], 0, places=12)
        self.assertGreater(shared["correlation"], 0.99)
        self.assertTrue(apart["agree"] and shared["agree"])
        for result in (apart, shared):
            self.assertLess(result["difference"]["uncertainty"], 0.05)
        self.assertGreater(shared["readings"][0]["uncertainty"], 0.05)

    def test_a_missing_reference_matters_to_limits_only(self):
        """What the limits refer to is not in the store; two readings compare all the same."""
        with self.assertRaises(RpcError) as caught:
            self.client.call("measure", point="rail_since")
        self.assertIn("not in the store", caught.exception.data["what"])
        self.assertTrue(self.agree(point="rail_since")["agree"])
        self.assertTrue(self.agree(first="alone_since", second="beside")["agree"])

    def test_both_readings_are_kept(self):
        self.agree(point="rail", instruments=["digitiser", "plain"])
        self.client.call("measure", point="alone")  # is answered when all before it is kept
        kept = self.client.call("readings", point="rail")["readings"]
        self.assertEqual({row["reading"]["instrument"]["name"] for row in kept},
                         {"digitiser", "plain"})

    def test_what_cannot_be_compared_is_refused(self):
        self.assertIn("what is to be compared", self.refused()["what"])
        self.assertIn("what is to be compared", self.refused(point="rail", first="alone")["what"])
        self.assertIn("what is to be compared", self.refused(first="alone")["what"])
        self.assertIn("no second instrument", self.refused(point="alone")["what"])
        self.assertIn("not measured with instrument nobody",
                      self.refused(point="rail", instruments=["fine", "nobody"])["what"])
        self.assertIn("same one", self.refused(point="rail", instruments=["fine", "fine"])["what"])
        self.assertIn("1 instruments", self.refused(point="rail", instruments=["fine"])["what"])
        self.assertIn("same one", self.refused(first="alone", second="again")["what"])
        self.assertIn("peak-to-peak", self.refused(first="alone", second="swing")["what"])
        self.assertEqual(self.refused(point="nowhere")["reason"], "unknown point")
        self.bench.set_source("rail", level=2000.0)
        failure = self.refused(first="alone", second="beside")
        self.assertEqual(failure["reason"], "over range")
        self.assertEqual(self.client.call("health")["clients"], 1)  # and it is well

    def test_the_command(self):
        text = self.command("agree", "rail")
        self.assertIn("they agree", text)
        self.assertIn("Difference", text)
        self.assertIn("do not agree", self.command("agree", "rail", "wrong", "fine", status=1))
        result = json.loads(self.command("agree", "--json", "alone", "beside"))
        self.assertTrue(result["agree"])
        self.assertFalse(json.loads(self.command("agree", "--json", "rail", "wrong", "fine",
                                                 status=1))["agree"])
        self.assertEqual(self.command("agree", "--csv", "alone", "beside").splitlines()[0],
                         "en,agree,correlation,difference,difference_uncertainty,unit")
        self.command("agree", "alone", status=3)


class Probing(Case):
    def test_unload(self):
        self.bench.set_source("rail", source_resistance=47e3)
        text = self.command("unload", "beside", "loaded")
        self.assertRegex(text, r"Unloaded [45]\.\d+ V ± .*, behind 4\d\.\d+ kΩ")
        result = json.loads(self.command("unload", "--json", "beside", "loaded"))
        self.assertLessEqual(abs(result["value"] - 5), result["uncertainty"])
        self.assertEqual(self.command("unload", "--csv", "beside", "loaded").split(",")[0], "value")
        self.command("unload", "beside", "beside", status=3)

    def test_the_shift_of_a_tuned_circuit(self):
        """253.303 uH and 100 pF resonate at 1 MHz, with 10 pF more at 1 / sqrt(1.1) of it."""
        told = self.client.call("explain", point="tank")
        for resonance in (self.client.call("measure", point="tank")["resonance"],
                          told["resonance"]):
            self.assertEqual(resonance["frequency"], 1e6)
            self.assertAlmostEqual(resonance["added_capacitance"], 10e-12, places=18)
            self.assertAlmostEqual(resonance["loaded"], 1e6 / math.sqrt(1.1), delta=10)
            self.assertAlmostEqual(resonance["shift"], 1e6 / math.sqrt(1.1) - 1e6, delta=10)
        self.assertTrue(any("lower the resonance from 1.0000 MHz to 953.46 kHz" in line
                            for line in told["text"]), told["text"])
        self.assertNotIn("resonance", self.client.call("measure", point="alone"))

    def test_readings_too_slow_for_their_signal(self):
        """0.8 Hz needs more than 1.6 readings a second."""
        for every, warned in ((2000, True), (100, False), (0, False)):
            begun = self.client.call("follow", points=["slow", "alone"], every_ms=every,
                                     readings=1)
            self.assertEqual(len(begun["warnings"]), int(warned), begun)
            self.client.until("finished")
        begun = self.client.call("follow", points=["slow"], every_ms=2000, readings=1)
        self.assertIn("slow: ", begun["warnings"][0])

    def test_compensate(self):
        self.assertIn("probe x10 is compensated", self.command("compensate", "square"))
        self.bench.connect("digitiser", 2, "edges", factor=10.0, tip_resistance=10e6,
                           load_resistance=1e6, edge_ratio=1.3, edge_tau=120e-6)
        self.assertIn("over-compensated", self.command("compensate", "square", status=1))
        self.assertEqual(json.loads(self.command("compensate", "--json", "square", status=1))
                         ["state"], "over-compensated")
        self.client.call("measure", point="alone")  # is answered when all before it is kept
        self.assertEqual(self.client.call("verify")["events"], 3)
        self.assertTrue(self.client.call("verify")["intact"])


if __name__ == "__main__":
    unittest.main()
