# SPDX-License-Identifier: GPL-3.0-or-later
"""Somebody turns the knobs of a scope while it is being read: coupling, scale, time base, offset or
position, at a moment drawn at random; and records come in another form than the profile's. A
reading is right, or there is none and it says why.

GRADUS_KNOB_TURNS is how many turns each scope sees, 150 when it is not set."""

import os
import pathlib
import re
import tempfile
import unittest

from gradusd import Gradusd, RpcError
from standin import StandIn

PROGRAM = os.environ["GRADUSD"]
BENCH = os.environ["STANDIN"]
SOURCE = os.environ["GRADUS_SOURCE"]
TURNS = int(os.environ.get("GRADUS_KNOB_TURNS", "150"))

RACK = """
instruments = (
    { name = "digitiser"; type = "tarnwerk-scope"; listen = "tcp:127.0.0.1:0"; conversion_ms = 0;
      error_fraction = 0; },
    { name = "old"; type = "oldmere-scope"; listen = "tcp:127.0.0.1:0"; conversion_ms = 0;
      error_fraction = 0; }
);
sources = (
    { name = "rail"; kind = "dc"; level = 5.0; },
    { name = "wave"; kind = "sine"; amplitude = 2.0; level = 1.0; frequency = 1000.0; }
);
connections = (
    { instrument = "digitiser"; input = 1; source = "rail"; },
    { instrument = "digitiser"; input = 2; source = "wave"; },
    { instrument = "old"; input = 1; source = "rail"; },
    { instrument = "old"; input = 2; source = "wave"; }
);
"""

SETTINGS = """
server = {{ }};
profiles = "profiles";
instruments = (
    {{ name = "digitiser"; profile = "{digital}"; link = "{digitiser}"; }},
    {{ name = "old"; profile = "{plain}"; link = "{old}"; }}
);
points = (
    {{ name = "digitiser_level"; instrument = "digitiser"; input = 1; probe = "direct";
       quantity = "dc voltage"; }},
    {{ name = "digitiser_wave"; instrument = "digitiser"; input = 2; probe = "direct";
       quantity = "rms voltage"; }},
    {{ name = "old_level"; instrument = "old"; input = 1; probe = "direct";
       quantity = "dc voltage"; }},
    {{ name = "old_wave"; instrument = "old"; input = 2; probe = "direct";
       quantity = "peak-to-peak voltage"; }}
);
"""

ASPECTS = {"dc": "dc", "rms": "rms", "peak-to-peak": "peak_to_peak"}
TOLD = ("settings changed at the instrument", "instrument reported an error")


class Knobs(unittest.TestCase):
    def start(self, mute=()):
        """Both scopes; those that are `mute` cannot be asked for anything that is set."""
        self.bench = StandIn(BENCH, RACK)
        self.addCleanup(self.bench.stop)
        folder = tempfile.TemporaryDirectory(prefix="profiles-")
        self.addCleanup(folder.cleanup)
        names = {"digital": "tarnwerk-scope", "plain": "oldmere-scope"}
        for name in names.values():
            text = pathlib.Path(SOURCE, "config", "profiles", name + ".cfg").read_text()
            text = re.sub(r"quiet_ms = [0-9.]+", "quiet_ms = 5.0", text)
            if name in mute:
                text = self.without_queries(text)
            pathlib.Path(folder.name, name + ".cfg").write_text(text)
        places = {name: self.bench.address(name) for name in ("digitiser", "old")}
        self.daemon = Gradusd(PROGRAM, SETTINGS.format(**places, **names), folder.name)
        self.addCleanup(self.daemon.stop)
        self.client = self.daemon.client()

    @staticmethod
    def without_queries(text):
        text = re.sub(r'\n +(query = "(HEIGHT|LIFT|INLET|PACE)\?|(dc|ac|ground)_answer)[^\n]*', "", text)
        return text + 'cannot_tell = [ "vertical", "position", "coupling", "timebase" ];\n'

    def check(self, point, reading):
        name, input_ = point.split("_")[0], reading["input"]
        truth = self.bench.truth_at(name, input_)[ASPECTS[reading["quantity"].split(" ")[0]]]
        self.assertLessEqual(abs(reading["value"] - truth), reading["uncertainty"], reading)
        if point.endswith("wave"):
            self.assertAlmostEqual(reading["frequency"], 1000.0, delta=20.0)

    def turned(self, name):
        return self.bench.counters(name)["knobs"]

    def test_no_wrong_value(self):
        self.start()
        for name in ("digitiser", "old"):
            values, told, retaken = 0, 0, 0
            while self.turned(name) < TURNS:
                for point in (f"{name}_level", f"{name}_wave"):
                    before = self.turned(name)
                    self.bench.fault(name, "knob", count=1, probability=0.05)
                    try:
                        reading = self.client.call("measure", point)
                    except RpcError as error:
                        self.assertIn(error.data["reason"], TOLD)
                        told += 1
                        continue
                    self.check(point, reading)
                    values += 1
                    retaken += self.turned(name) > before
            print(f"{name}: {self.turned(name)} turns, {values} values, {retaken} of them in spite "
                  f"of a turn, {told} refused")
            # One turn is mended by taking the record anew.
            self.assertLessEqual(told, 0.02 * (values + told))

    def test_a_knob_that_is_turned_and_turned_back(self):
        """Nothing that is asked for before and behind the record differs."""
        self.start()
        for name in ("digitiser", "old"):
            values, told = 0, 0
            while self.turned(name) < TURNS:
                for point in (f"{name}_level", f"{name}_wave"):
                    self.bench.fault(name, "there_and_back", count=2, probability=0.2)
                    try:
                        self.check(point, self.client.call("measure", point))
                        values += 1
                    except RpcError as error:
                        self.assertIn(error.data["reason"], TOLD)
                        told += 1
            print(f"{name}: {self.turned(name) // 2} turns there and back, {values} values, "
                  f"{told} refused")
            self.assertLessEqual(told, 0.05 * (values + told))

    def test_records_of_another_form_are_refused(self):
        """Taken for what they are not, they would show half the frequency or another value."""
        self.start()
        for name, faults in (("digitiser", ("one_less", "twice")),
                             ("old", ("one_less", "twice", "pairs"))):
            for fault in faults:
                self.bench.fault(name, fault, count=1)
                self.check(f"{name}_wave", self.client.call("measure", f"{name}_wave"))
                self.bench.fault(name, fault, count=1000)
                with self.assertRaises(RpcError) as caught:
                    self.client.call("measure", f"{name}_wave")
                self.assertEqual(caught.exception.data["reason"], "unexpected reply", fault)
                self.assertIn("expected", caught.exception.data)
                self.bench.clear(name)

    def test_a_ground_coupling_that_does_nothing(self):
        """Any level less itself is 0 V, which would be a value."""
        self.start()
        for name in ("digitiser", "old"):
            for level in (5.0, -0.7, 0.3, 40.0):
                self.bench.set_source("rail", level=level)
                self.check(f"{name}_level", self.client.call("measure", f"{name}_level"))
                self.bench.fault(name, "dead_ground")
                self.bench.fault(name, "knob_off", on=True)  # the zero trace is taken anew
                with self.assertRaises(RpcError):
                    self.client.call("measure", f"{name}_level")
                self.bench.fault(name, "knob_off", on=False)
                with self.assertRaises(RpcError) as caught:
                    self.client.call("measure", f"{name}_level")
                self.assertIn(caught.exception.data["reason"],
                              ("operating mistake", "vertical scale not calibrated"))
                self.bench.fault(name, "dead_ground", on=False)
            self.bench.fault(name, "dead_ground", input=2)
            if name == "digitiser":
                with self.assertRaises(RpcError) as caught:
                    self.client.call("measure", "digitiser_wave")
                self.assertEqual(caught.exception.data["reason"], "operating mistake")
            # A rail that is dead is no mistake at the scope.
            self.bench.set_source("rail", level=0.0)
            self.check(f"{name}_level", self.client.call("measure", f"{name}_level"))

    def test_a_knob_that_never_rests_is_told(self):
        self.start()
        self.bench.fault("old", "knob", probability=0.5)
        refused = 0
        for _ in range(20):
            try:
                self.check("old_level", self.client.call("measure", "old_level"))
            except RpcError as error:
                self.assertIn(error.data["reason"], TOLD)
                refused += 1
        self.assertGreater(refused, 0)
        self.bench.clear("old")
        self.check("old_level", self.client.call("measure", "old_level"))

    def test_what_cannot_be_asked_is_warned_of(self):
        self.start(mute=("oldmere-scope",))
        reading = self.client.call("measure", "old_level")
        self.assertTrue(any("cannot be asked for its vertical, position, coupling, timebase" in text
                            for text in reading["warnings"]), reading)
        self.assertFalse(any("cannot be asked" in text for text in
                             self.client.call("measure", "digitiser_level").get("warnings", [])))
        # Turned between two readings it does no harm: what cannot be asked is set each time.
        for _ in range(10):
            self.bench.fault("old", "knob", count=1)
            self.check("old_level", self.client.call("measure", "old_level"))


if __name__ == "__main__":
    unittest.main()
