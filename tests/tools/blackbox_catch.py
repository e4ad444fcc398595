# SPDX-License-Identifier: GPL-3.0-or-later
"""gradus catch: a simulated rail that drops out now and then, beside one that moves with it."""

import os
import re
import signal
import subprocess
import unittest

from gradusd import Gradusd
from standin import StandIn

GRADUS = os.environ["GRADUS"]
PROGRAM = os.environ["GRADUSD"]
BENCH = os.environ["STANDIN"]
PROFILES = os.path.join(os.environ["GRADUS_SOURCE"], "config", "profiles")
LIMIT_S = 300.0

RACK = """
instruments = (
    { name = "one"; type = "tarnwerk-meter"; listen = "tcp:127.0.0.1:0"; conversion_ms = 0; },
    { name = "two"; type = "tarnwerk-meter"; listen = "tcp:127.0.0.1:0"; conversion_ms = 0; }
);
sources = (
    { name = "rail"; kind = "dc"; level = 5.0; },
    { name = "other"; kind = "dc"; level = 3.0; }
);
connections = (
    { instrument = "one"; input = 1; source = "rail"; },
    { instrument = "two"; input = 1; source = "other"; }
);
"""

SETTINGS = """
server = {{ }};
profiles = "{profiles}";
instruments = (
    {{ name = "one"; profile = "tarnwerk-meter"; link = "{one}"; }},
    {{ name = "two"; profile = "tarnwerk-meter"; link = "{two}"; }}
);
points = (
    {{ name = "rail"; instrument = "one"; input = 1; probe = "direct"; quantity = "dc voltage";
       limits = {{ low = 4.75; high = 5.25; }}; }},
    {{ name = "other"; instrument = "two"; input = 1; probe = "direct"; quantity = "dc voltage";
       limits = {{ low = 1.0; high = 5.0; }}; }},
    {{ name = "free"; instrument = "two"; input = 1; probe = "direct"; quantity = "dc voltage";
       place = "TP1"; }}
);
"""


class Catch(unittest.TestCase):
    def setUp(self):
        self.bench = StandIn(BENCH, RACK)
        self.addCleanup(self.bench.stop)
        places = {name: self.bench.address(name) for name in ("one", "two")}
        self.daemon = Gradusd(PROGRAM, SETTINGS.format(profiles=PROFILES, **places))
        self.addCleanup(self.daemon.stop)

    def begin(self, *words):
        process = subprocess.Popen(
            [GRADUS, "--socket", "unix:" + self.daemon.unix, "catch", *words],
            stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
        self.addCleanup(process.stderr.close)
        self.addCleanup(process.stdout.close)
        return process

    def test_each_dropout_is_told_and_what_moved_with_it(self):
        catch = self.begin("rail", "other", "--count", "2")
        self.until_looks(6)
        self.bench.set_source("rail", level=0.0)
        self.assertRegex(catch.stdout.readline(), r"rail left its limits: -?[0-9.]+ [mµ]?V")
        self.bench.set_source("other", level=2.0)
        self.until_looks(6)
        self.bench.set_source("rail", level=5.0)
        self.assertIn("rail is back: out for no more than", catch.stdout.readline())
        self.assertRegex(catch.stdout.readline(), r"other moved too: [12]\.\d+ V, was [23]\.\d+ V")
        self.bench.set_source("rail", level=9.0)
        self.assertIn("rail left its limits: 9.", catch.stdout.readline())
        self.until_looks(6)
        self.bench.set_source("rail", level=5.0)
        self.assertIn("seen as far as 9.", catch.stdout.readline())
        self.assertIn("nothing else was seen to move", catch.stdout.readline())
        rest = catch.stdout.read()
        self.assertEqual(catch.wait(LIMIT_S), 1)
        self.assertRegex(rest, r"rail: left its limits 2 times, for [0-9.]+ m?s at most; \d+ looks, "
                               r"what was shorter than [0-9.]+ m?s can have been missed")
        self.assertIn("other: left its limits 0 times; ", rest)

    def until_looks(self, more):
        """Until each meter was read so many times again."""
        for name in ("one", "two"):
            target = self.bench.counters(name)["readings"] + more
            while self.bench.counters(name)["readings"] < target:
                pass

    def test_it_ends_by_time_and_by_hand(self):
        done = self.begin("rail", "--for", "0.5")
        text, _ = done.communicate(timeout=LIMIT_S)
        self.assertEqual(done.returncode, 0)
        looks = int(re.search(r"0 times; (\d+) looks", text).group(1))
        self.assertGreater(looks, 1)
        catch = self.begin("rail")
        self.until_rail()
        catch.send_signal(signal.SIGINT)
        text, _ = catch.communicate(timeout=LIMIT_S)
        self.assertIn("can have been missed", text)
        self.assertEqual(catch.returncode, 0)

    def until_rail(self):
        target = self.bench.counters("one")["readings"] + 6
        while self.bench.counters("one")["readings"] < target:
            pass

    def test_a_lost_instrument_and_a_lost_daemon_are_told(self):
        catch = self.begin("rail")
        self.until_rail()
        self.bench.stop()
        self.assertIn("rail", catch.stderr.readline())
        self.daemon.terminate()
        text, _ = catch.communicate(timeout=LIMIT_S)
        self.assertEqual(catch.returncode, 3)
        self.assertIn("others came to no reading", text)

    def test_without_limits_there_is_nothing_to_leave(self):
        done = self.begin("free")
        _, problem = done.communicate(timeout=LIMIT_S)
        self.assertEqual(done.returncode, 2)
        self.assertIn("free has no limits", problem)


if __name__ == "__main__":
    unittest.main()
