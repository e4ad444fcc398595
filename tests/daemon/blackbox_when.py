# SPDX-License-Identifier: GPL-3.0-or-later
"""A capture that waits for its signal, on simulated boards whose faults come and go."""

import os
import subprocess
import tempfile
import unittest

from gradusd import Gradusd, RpcError
from standin import StandIn

PROGRAM = os.environ["GRADUSD"]
GRADUS = os.environ["GRADUS"]
BENCH = os.environ["STANDIN"]
PROFILES = os.path.join(os.environ["GRADUS_SOURCE"], "config", "profiles")
LIMIT_S = 120.0

RACK = """
instruments = (
    { name = "digitiser"; type = "tarnwerk-scope"; listen = "tcp:127.0.0.1:0"; },
    { name = "old"; type = "oldmere-scope"; listen = "tcp:127.0.0.1:0"; },
    { name = "meter"; type = "tarnwerk-meter"; listen = "tcp:127.0.0.1:0"; }
);
sources = (
    { name = "rail"; kind = "dc"; level = 5.0; fault_every = 0.3; fault_width = 1e-3;
      fault_change = -5.0; },
    { name = "calm"; kind = "dc"; level = 5.0; },
    { name = "spikes"; kind = "dc"; level = 5.0; fault_every = 0.3; fault_width = 2e-7;
      fault_change = -5.0; },
    { name = "wave"; kind = "sine"; amplitude = 2.0; frequency = 100.0; }
);
connections = (
    { instrument = "digitiser"; input = 1; source = "rail"; factor = 10.0; tip_resistance = 10e6;
      load_resistance = 1e6; },
    { instrument = "digitiser"; input = 2; source = "wave"; factor = -1.0; },
    { instrument = "old"; input = 1; source = "rail"; },
    { instrument = "old"; input = 2; source = "calm"; },
    { instrument = "meter"; input = 1; source = "calm"; }
);
"""

SETTINGS = """
server = {{ }};
profiles = "{profiles}";
instruments = (
    {{ name = "digitiser"; profile = "tarnwerk-scope"; link = "{digitiser}"; }},
    {{ name = "old"; profile = "oldmere-scope"; link = "{old}"; }},
    {{ name = "meter"; profile = "tarnwerk-meter"; link = "{meter}"; }}
);
probes = (
    {{ name = "x10"; factor = 10.0; tolerance_percent = 1.0; tip_resistance = 10e6;
       resistance_tolerance_percent = 1.0; load_resistance = 1e6; rating = 300.0; }},
    {{ name = "inverting"; factor = -1.0; tolerance_percent = 0.0; }}
);
points = (
    {{ name = "rail"; instrument = "digitiser"; input = 1; probe = "x10";
       quantity = "dc voltage"; }},
    {{ name = "upside"; instrument = "digitiser"; input = 2; probe = "inverting";
       quantity = "dc voltage"; }},
    {{ name = "old_rail"; instrument = "old"; input = 1; probe = "direct";
       quantity = "dc voltage"; }},
    {{ name = "calm"; instrument = "old"; input = 2; probe = "direct"; quantity = "dc voltage"; }},
    {{ name = "on_meter"; instrument = "meter"; input = 1; probe = "direct";
       quantity = "dc voltage"; }}
);
"""


class When(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.bench = StandIn(BENCH, RACK)
        cls.addClassCleanup(cls.bench.stop)
        places = {name: cls.bench.address(name) for name in ("digitiser", "old", "meter")}
        cls.daemon = Gradusd(PROGRAM, SETTINGS.format(profiles=PROFILES, **places))
        cls.addClassCleanup(cls.daemon.stop)

    def setUp(self):
        self.client = self.daemon.client()
        self.addCleanup(self.client.close)

    def refused(self, reason, point, **parameters):
        with self.assertRaises(RpcError) as caught:
            self.client.call("capture", point=point, deadline_ms=60000, **parameters)
        self.assertEqual(caught.exception.data["reason"], reason)
        return caught.exception.data["what"]

    def test_a_dropout_is_captured_with_what_was_before(self):
        for point in ("rail", "old_rail"):
            for way in ("falls", "rises"):
                with self.subTest(point=point, way=way):
                    record = self.client.call("capture", point=point, when=f"{way} through 2.5 V",
                                              before=1e-3, after=5e-3, samples=2000000,
                                              deadline_ms=60000)
                    trigger = record["trigger"]
                    self.assertEqual((trigger["way"], trigger["level"]), (way, 2.5))
                    self.assertAlmostEqual(trigger["at"], 1e-3, delta=1e-9)
                    at = round(trigger["at"] / record["interval"])
                    before, behind = record["samples"][:at - 2], record["samples"][at + 2:]
                    width = int(0.9e-3 / record["interval"]) - 4
                    high, low = (before, behind) if way == "falls" else (behind, before)
                    side = slice(width) if way == "falls" else slice(-width, None)
                    self.assertTrue(all(4.0 < volts < 6.0 for volts in high[:width]), high)
                    self.assertTrue(all(-1.0 < volts < 1.0 for volts in low[side]), low)
        self.assertEqual(self.client.call("measure", point="on_meter", deadline_ms=60000)["verdict"],
                         "none")
        value = self.client.call("measure", point="rail", deadline_ms=60000)
        self.assertIn("value", value)

    def test_a_probe_that_inverts_is_turned_round(self):
        for way, sign in (("rises", 1), ("falls", -1)):
            record = self.client.call("capture", point="upside", when=f"{way} through 500 mV",
                                      duration=20e-3, samples=2000000, deadline_ms=60000)
            at = round(record["trigger"]["at"] / record["interval"])
            apart = int(1e-3 / record["interval"])
            samples = record["samples"]
            self.assertAlmostEqual(samples[at], 0.5, delta=0.25)
            self.assertGreater(sign * (samples[at + apart] - samples[at - apart]), 0.5)

    def test_what_does_not_come_is_told_and_leaves_the_scope_idle(self):
        what = self.refused("no trigger", "calm", when="falls through 2.5 V", wait_s=0.3)
        self.assertIn("nothing came within 0.3", what)
        self.assertIn("ENOUGH", self.bench.commands("old", 4))
        value = self.client.call("measure", point="calm", deadline_ms=60000)["value"]
        self.assertAlmostEqual(value, 5.0, delta=0.3)
        self.assertIn("AWAIT NOTHING", self.bench.commands("old"))

    def test_a_spike_between_samples_is_no_record(self):
        self.bench.connect("old", 2, "spikes")
        try:
            what = self.refused("instrument has no value", "calm", when="falls through 2.5 V",
                                duration=50e-3, before=10.05e-3)
            self.assertIn("does not show it", what)
        finally:
            self.bench.connect("old", 2, "calm")

    def test_what_cannot_be_is_refused(self):
        self.refused("instrument cannot measure this", "on_meter", when="rises through 1 V")
        self.refused("settings", "calm", when="rises through 1 A")
        self.refused("settings", "calm", when="leaves 1..2 V")
        self.refused("settings", "calm", before=1.0)
        self.refused("settings", "calm", when="rises through 1 V", duration=1e-3, before=2e-3)
        self.refused("over range", "calm", when="rises through 350 V")
        self.refused("rating exceeded", "rail", when="rises through 400 V")
        self.assertNotIn("LURKING", self.bench.commands("old"))

    def test_a_profile_without_a_trigger_says_so(self):
        with tempfile.TemporaryDirectory() as folder:
            for name in os.listdir(PROFILES):
                with open(os.path.join(PROFILES, name), encoding="utf-8") as file:
                    text = file.read()
                if name == "oldmere-scope.cfg":
                    begin = text.index("trigger = {")
                    text = text[:begin] + text[text.index("};", begin) + 2:]
                with open(os.path.join(folder, name), "w", encoding="utf-8") as file:
                    file.write(text)
            places = {name: self.bench.address(name) for name in ("digitiser", "old", "meter")}
            with Gradusd(PROGRAM, SETTINGS.format(profiles=folder, **places)) as daemon, \
                    daemon.client() as client, self.assertRaises(RpcError) as caught:
                client.call("capture", point="calm", when="rises through 1 V", deadline_ms=60000)
        self.assertIn("does not say how it is triggered", caught.exception.data["what"])

    def test_the_command_draws_it_and_says_where_it_is(self):
        def run(*words):
            return subprocess.run([GRADUS, "--socket", "unix:" + self.daemon.unix, "capture", *words],
                                  capture_output=True, text=True, timeout=LIMIT_S, check=False)

        done = run("rail", "--when", "falls through 2.5 V", "--before", "0.002", "--deadline",
                   "60000")
        self.assertEqual(done.returncode, 0, done.stderr)
        self.assertIn("falls through 2.5 V 2 ms after the first sample", done.stdout)
        done = run("calm", "--when", "falls through 2.5 V", "--wait", "0.2", "--deadline", "60000")
        self.assertEqual(done.returncode, 3)
        self.assertIn("nothing came within", done.stderr)


if __name__ == "__main__":
    unittest.main()
