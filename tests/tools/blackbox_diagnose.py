# SPDX-License-Identifier: GPL-3.0-or-later
"""gradus diagnose: the faulty block of a simulated board, found by measuring where it says."""

import json
import os
import subprocess
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


if __name__ == "__main__":
    unittest.main()
