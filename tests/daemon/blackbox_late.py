# SPDX-License-Identifier: GPL-3.0-or-later
"""Answers that are another question's: between the daemon and each simulated instrument stands a
relay that hands out an older answer in place of one, for every pair of an answer and a later
question. The true one is lost, or comes a question later. A value is right, or there is none.

GRADUS_LATE_PAIRS is how far back answers are taken from; by default less where a reading takes
many questions."""

import os
import pathlib
import tempfile
import unittest

from gradusd import Gradusd, RpcError
from relay import Relay
from standin import StandIn

PROGRAM = os.environ["GRADUSD"]
BENCH = os.environ["STANDIN"]
SOURCE = os.environ["GRADUS_SOURCE"]
BACK = int(os.environ.get("GRADUS_LATE_PAIRS", "0"))

RACK = """
instruments = (
    {{ name = "one"; type = "{kind}"; listen = "tcp:127.0.0.1:0"; conversion_ms = 0;
       error_fraction = 0; }}
);
sources = (
    {{ name = "rail"; kind = "dc"; level = 5.0; }},
    {{ name = "low"; kind = "dc"; level = 0.5; }}
);
connections = (
    {{ instrument = "one"; input = 1; source = "rail"; }},
    {{ instrument = "one"; input = 2; source = "low"; }}
);
"""

SETTINGS = """
server = {{ }};
profiles = "profiles";
instruments = ( {{ name = "one"; profile = "{kind}"; link = "{link}"; }} );
points = (
    {{ name = "rail"; instrument = "one"; input = 1; probe = "direct"; quantity = "dc voltage"; }},
    {{ name = "low"; instrument = "one"; input = 2; probe = "direct"; quantity = "dc voltage"; }}
);
"""

# Where each answer bears its question's number an answer may get lost besides.
NUMBERED = ("tarnwerk-meter", "tarnwerk-scope")


class Confusing(Relay):
    """Hands out an older answer in the place of one when told to."""

    def __init__(self, kind, address):
        self.history = []
        self.pending = []
        self.plan = None  # (messages still to let through, how far back, whether the true one comes)
        self.confused = 0
        super().__init__(kind, address)

    def connected(self):
        self.pending = []

    def answer(self, line, true):
        """What is sent for `true`; each answer waits its turn once one stands before it."""
        if line in (b"*IDN?", b"WHO"):
            late, self.pending = b"".join(self.pending), []
            return late + true
        self.history.append(true)
        sent = true
        if self.pending:
            self.pending.append(true)
            sent = self.pending.pop(0)
        if self.plan is None:
            return sent
        wait, back, comes = self.plan
        self.plan = (wait - 1, back, comes) if wait > 0 else None
        if wait > 0 or len(self.history) <= back:
            return sent
        self.confused += 1
        if comes:
            self.pending.append(sent)
        return self.history[-1 - back]


class Late(unittest.TestCase):
    def start(self, kind, changes=()):
        self.bench = StandIn(BENCH, RACK.format(kind=kind))
        self.addCleanup(self.bench.stop)
        self.relay = Confusing(kind, self.bench.address("one"))
        self.addCleanup(self.relay.stop)
        folder = tempfile.TemporaryDirectory(prefix="profiles-")
        self.addCleanup(folder.cleanup)
        text = pathlib.Path(SOURCE, "config", "profiles", kind + ".cfg").read_text()
        for old, new in (("quiet_ms = 60.0", "quiet_ms = 3.0"), *changes):
            self.assertIn(old, text)
            text = text.replace(old, new)
        pathlib.Path(folder.name, kind + ".cfg").write_text(text)
        daemon = Gradusd(PROGRAM, SETTINGS.format(kind=kind, link=f"unix:{self.relay.path}"),
                         folder.name)
        self.addCleanup(daemon.stop)
        self.client = daemon.client()

    def look(self, point, counts):
        try:
            reading = self.client.call("measure", point)
        except RpcError as error:
            self.assertIn("reason", error.data)
            counts["refused"] += 1
            return
        truth = self.bench.truth({"rail": "rail", "low": "low"}[point])["dc"]
        self.assertLessEqual(abs(reading["value"] - truth), reading["uncertainty"],
                             (reading, self.relay.history[-8:]))
        counts["values"] += 1

    def messages_of_a_reading(self):
        before = len(self.relay.history)
        self.client.call("measure", "rail")
        self.client.call("measure", "low")
        return len(self.relay.history) - before

    def run_pairs(self, kind, furthest, changes=()):
        """A fresh level before each look: an old reading is a wrong one."""
        self.start(kind, changes)
        furthest = BACK or furthest
        counts = {"values": 0, "refused": 0}
        self.messages_of_a_reading()
        questions = self.messages_of_a_reading()
        for back in range(1, furthest + 1):
            for wait in range(questions):
                for comes in (True, False) if kind in NUMBERED else (True,):
                    high = (back + wait) % 2
                    self.bench.set_source("rail", level=6.0 if high else 4.0)
                    self.bench.set_source("low", level=0.6 if high else 0.4)
                    self.relay.plan = (wait, back, comes)
                    self.look("rail", counts)
                    self.look("low", counts)
        print(f"{kind}: {questions} questions in two readings, {self.relay.confused} answers of "
              f"another question, {counts['values']} values, {counts['refused']} refused")
        self.assertGreater(self.relay.confused, furthest * questions / 2)
        self.assertGreater(counts["values"], counts["refused"])

    def test_tarnwerk_meter(self):
        self.run_pairs("tarnwerk-meter", 12)

    def test_tarnwerk_meter_in_messages_of_their_own(self):
        self.run_pairs("tarnwerk-meter", 6, [('"same message"', '"before and after"')])

    def test_tarnwerk_scope(self):
        self.run_pairs("tarnwerk-scope", 3)

    def test_tarnwerk_scope_in_messages_of_their_own(self):
        self.run_pairs("tarnwerk-scope", 1, [('"same message"', '"before and after"')])

    def test_oldmere_meter(self):
        self.run_pairs("oldmere-meter", 12)

    def test_oldmere_scope(self):
        self.run_pairs("oldmere-scope", 1)


if __name__ == "__main__":
    unittest.main(verbosity=2)
