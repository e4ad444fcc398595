# SPDX-License-Identifier: GPL-3.0-or-later
"""gradus diagnose: the faulty block of a simulated board, found by measuring where it says."""

import json
import os
import subprocess
import time
import unittest

from gradusd import Gradusd, RpcError
from standin import StandIn

GRADUS = os.environ["GRADUS"]
LIMIT_S = 300.0
GOOD_V = 5.0

# A row of eight blocks, each output on an input of its own of one of two meters.
BLOCKS = 8
INPUTS = 4


def input_of(block):
    return f"m{block // INPUTS}", block % INPUTS + 1


def bench(levels):
    sources = ",\n".join(f'{{ name = "s{i}"; kind = "dc"; level = {level}; }}'
                         for i, level in enumerate(levels))
    connections = ",\n".join('{{ instrument = "{}"; input = {}; source = "s{}"; }}'
                             .format(*input_of(i), i) for i in range(BLOCKS))
    instruments = ",\n".join(f'{{ name = "m{i}"; type = "tarnwerk-meter"; conversion_ms = 0; '
                             'listen = "tcp:127.0.0.1:0"; error_fraction = 0; }' for i in range(2))
    return (f"instruments = ( {instruments} );\nsources = ( {sources} );\n"
            f"connections = ( {connections} );")


def settings(simulated):
    instruments = ",\n".join(
        f'{{ name = "m{i}"; profile = "tarnwerk-meter"; link = "{simulated.address(f"m{i}")}"; }}'
        for i in range(2))
    points = ",\n".join(
        '{{ name = "p{}"; instrument = "{}"; input = {}; quantity = "dc voltage"; '
        'limits = {{ low = 4.9; high = 5.1; }}; }}'.format(i, *input_of(i)) for i in range(BLOCKS))
    places = ",\n".join(f'{{ point = "p{i}"; place = "TP{i}"; }}' for i in range(BLOCKS))
    blocks = ",\n".join(
        f'{{ name = "stage {i}"; point = "p{i}"; ' +
        (f'fed_by = [ "stage {i - 1}" ]; ' if i > 0 else "") + "}"
        for i in range(BLOCKS)).replace("stage ", "stage_")
    return f"""
server = {{ }};
profiles = "profiles";
instruments = ( {instruments} );
points = ( {points} );
sheets = ( {{ name = "row"; points = ( {places} ); blocks = ( {blocks} ); }},
           {{ name = "plain"; points = ( {{ point = "p0"; place = "TP0"; }} ); }} );
"""


class Diagnose(unittest.TestCase):
    def serve(self, levels):
        simulated = StandIn(os.environ["STANDIN"], bench(levels))
        self.addCleanup(simulated.__exit__, None, None, None)
        simulated.__enter__()
        daemon = Gradusd(os.environ["GRADUSD"], settings(simulated))
        self.addCleanup(daemon.__exit__, None, None, None)
        return daemon.__enter__()

    def gradus(self, daemon, *words, said=""):
        return subprocess.run([GRADUS, "--socket", "unix:" + daemon.unix, "diagnose", *words],
                              input=said, text=True, capture_output=True, timeout=LIMIT_S)

    def levels(self, fault):
        return [GOOD_V if i < fault else 0.3 for i in range(BLOCKS)]

    def test_each_fault_is_found_in_three_readings(self):
        for fault in range(0, BLOCKS, 3):
            daemon = self.serve(self.levels(fault))
            run = self.gradus(daemon, "row", f"p{BLOCKS - 1}=bad", said="\n" * 3)
            self.assertEqual(run.returncode, 0, run.stdout + run.stderr)
            self.assertEqual(run.stdout.count("Next: "), 3, run.stdout)
            self.assertIn(f"Suspect: stage_{fault}.", run.stdout)

    def test_a_reading_within_its_uncertainty_of_a_limit_tells_nothing(self):
        levels = self.levels(6)
        levels[3] = 5.1
        daemon = self.serve(levels)
        run = self.gradus(daemon, "row", "p7=bad", said="\n" * BLOCKS)
        self.assertIn("it tells nothing", run.stdout)
        self.assertIn("Suspect: stage_6.", run.stdout)
        self.assertIn("p3 unsure", run.stdout)

    def test_what_ends_early_says_what_is_left(self):
        daemon = self.serve(self.levels(2))
        run = self.gradus(daemon, "row", "p7=bad", said="\n")
        self.assertEqual(run.returncode, 4, run.stderr)
        self.assertIn("Not finished. What may be faulty:", run.stdout)
        self.assertIn("stage_0", run.stdout)
        self.assertNotIn("stage_5", run.stdout.split("Not finished")[1])

    def test_a_contradiction_is_no_finding(self):
        daemon = self.serve(self.levels(2))
        run = self.gradus(daemon, "row", "p3=good", "p1=bad")
        self.assertEqual(run.returncode, 4)
        self.assertIn("does not go together: p1 is bad", run.stdout)

    def test_all_good_is_nothing_found(self):
        daemon = self.serve([GOOD_V] * BLOCKS)
        run = self.gradus(daemon, "row", said="\n" * BLOCKS)
        self.assertEqual(run.returncode, 4)
        self.assertIn("Nothing found", run.stdout)

    def test_a_place_without_a_reading_is_asked_for_again(self):
        daemon = self.serve(self.levels(4))
        run = self.gradus(daemon, "row", "p7=bad", "--deadline", "1", said="\nx\ng\n")
        self.assertIn("p3: ", run.stderr)
        self.assertIn("p3 good", run.stdout)
        self.assertEqual(run.returncode, 4)

    def test_as_json_it_asks_nobody(self):
        daemon = self.serve(self.levels(4))
        run = self.gradus(daemon, "row", "p7=bad", "--json")
        found = json.loads(run.stdout)
        self.assertEqual(found["state"], "go on")
        self.assertEqual(found["next"]["point"], "p3")
        self.assertEqual(len(found["suspects"]), BLOCKS)
        self.assertAlmostEqual(found["next"]["probability_bad"], 0.5, delta=0.05)

    def test_mistakes_are_told(self):
        daemon = self.serve(self.levels(4))
        for words, said in ((("nowhere",), "no sheet"), (("plain",), "no blocks"),
                            (("row", "p9=bad"), "p9"), (("row", "p1=worse"), "good, bad or unsure"),
                            (("row", "p1"), "POINT=good")):
            run = self.gradus(daemon, *words)
            self.assertEqual(run.returncode, 2, run.stderr)
            self.assertIn(said, run.stderr)
        with daemon.client() as client, self.assertRaises(RpcError):
            client.call("diagnose", sheet="row", outcomes={"p1": 3})


def bench_of_a_hand(levels):
    sources = ",\n".join(f'{{ name = "s{i}"; kind = "dc"; level = {level}; source_resistance = 0.1; }}'
                         for i, level in enumerate(levels))
    return ('instruments = ( { name = "m0"; type = "tarnwerk-meter"; conversion_ms = 5; '
            f'listen = "tcp:127.0.0.1:0"; error_fraction = 0; }} );\nsources = ( {sources} );')


def settings_of_a_hand(simulated, count):
    points = ",\n".join(
        f'{{ name = "p{i}"; instrument = "m0"; input = 1; quantity = "dc voltage"; expected = 5.0; '
        'limits = { low = 4.9; high = 5.1; }; }' for i in range(count))
    places = ",\n".join(f'{{ point = "p{i}"; place = "TP{i}"; }}' for i in range(count))
    blocks = ",\n".join(f'{{ name = "stage_{i}"; point = "p{i}"; ' +
                        (f'fed_by = [ "stage_{i - 1}" ]; ' if i > 0 else "") + "}"
                        for i in range(count))
    return f"""
profiles = "profiles";
instruments = ( {{ name = "m0"; profile = "tarnwerk-meter"; link = "{simulated.address("m0")}"; }} );
points = ( {points} );
sheets = ( {{ name = "row"; points = ( {places} ); blocks = ( {blocks} ); }} );
"""


class WithOneProbe(unittest.TestCase):
    """Both hands at the board: no key is pressed."""

    def setUp(self):
        self.bench = StandIn(os.environ["STANDIN"], bench_of_a_hand([5.0, 5.0, 3.0, 3.0]))
        self.addCleanup(self.bench.stop)
        self.daemon = Gradusd(os.environ["GRADUSD"], settings_of_a_hand(self.bench, 4))
        self.addCleanup(self.daemon.stop)
        self.bench.hand("m0", 1, "lift")

    def until(self, stream, words):
        for line in stream:
            if words in line:
                return line
        self.fail(f"no line with {words!r}")

    def wait_lifted(self):
        """Until the lifted probe has been looked at some dozens of times."""
        before = self.bench.counters("m0")["readings"]
        end = time.monotonic() + LIMIT_S
        while self.bench.counters("m0")["readings"] < before + 40:
            self.assertLess(time.monotonic(), end)

    def test_the_probe_goes_where_it_is_told_and_nothing_is_pressed(self):
        command = [GRADUS, "--socket", "unix:" + self.daemon.unix, "diagnose", "row", "p3=bad"]
        with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE,
                              stderr=subprocess.DEVNULL, text=True) as search:
            for place, source, outcome in ((1, "s1", "good"), (2, "s2", "bad")):
                self.until(search.stdout, f"Next: TP{place} ")
                self.wait_lifted()
                self.bench.hand("m0", 1, "touch", source)
                self.assertIn(outcome, self.until(search.stdout, " V ± "))
                self.bench.hand("m0", 1, "lift")
            self.assertIn("Suspect: stage_2.", search.stdout.read())
            self.assertEqual(search.wait(LIMIT_S), 0)

    def test_a_slip_is_told_and_counts_for_nothing(self):
        command = [GRADUS, "--socket", "unix:" + self.daemon.unix, "diagnose", "row", "p3=bad"]
        with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE,
                              stderr=subprocess.DEVNULL, text=True) as search:
            self.until(search.stdout, "Next: TP1 ")
            self.wait_lifted()
            self.bench.hand("m0", 1, "touch", "s1")
            self.assertIn("good", self.until(search.stdout, " V ± "))
            self.until(search.stdout, "Next: TP2 ")
            self.bench.hand("m0", 1, "slip", "s2")
            self.until(search.stdout, "The probe moved. Lift it")
            search.stdin.write("q\n")
            search.stdin.close()
            rest = search.stdout.read()
            self.assertIn("Not finished", rest)
            self.assertIn("p1 good.", rest)
            self.assertEqual(search.wait(LIMIT_S), 4)


if __name__ == "__main__":
    unittest.main()
