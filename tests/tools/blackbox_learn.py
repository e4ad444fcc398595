# SPDX-License-Identifier: GPL-3.0-or-later
"""`gradus learn`: good units measured at the simulated bench, limits proposed from them, pasted into the
settings, and another unit beside them."""

import json
import math
import os
import pathlib
import re
import shutil
import statistics
import subprocess
import tempfile
import unittest

from daemon_case import BENCH, PROGRAM as GRADUSD
from gradusd import LIMIT_S, Gradusd, RpcError
from standin import StandIn

PROGRAM = os.environ["GRADUS"]

BENCH_TEXT = """
instruments = ( {{ name = "meter"; type = "tarnwerk-meter"; listen = "unix:{folder}/meter.sock";
                   conversion_ms = 1; error_fraction = 0; }} );
sources = ( {{ name = "five"; kind = "dc"; level = 5.0; source_resistance = 0.1; }},
            {{ name = "low"; kind = "dc"; level = 0.1; source_resistance = 0.1; }} );
connections = ( {{ instrument = "meter"; input = 1; source = "five"; }},
          {{ instrument = "meter"; input = 2; source = "low"; }} );
"""

SETTINGS_TEXT = """
profiles = "profiles";
store = {{ path = "{folder}/readings.db"; }};
instruments = ( {{ name = "meter"; profile = "tarnwerk-meter"; link = "unix:{folder}/meter.sock"; }} );
points = (
    {{ name = "five"; instrument = "meter"; input = 1; probe = "direct"; expected = 5.0;
       quantity = "dc voltage"; {five} }},
    {{ name = "ripple"; instrument = "meter"; input = 2; probe = "direct"; expected = 0.1;
       quantity = "dc voltage"; {ripple} }}
);
sheets = ( {{ name = "psu"; points = ( {{ point = "five"; place = "TP1"; }},
                                       {{ point = "ripple"; place = "TP2"; }} ); }} );
"""
WIDE = {"five": "limits = { low = 4.0; high = 6.0; };", "ripple": "limits = { high = 1.0; };"}

# Ten units: what is set is round about normal (quantiles of the normal distribution, 10 mV, 2 mV).
QUANTILES = [statistics.NormalDist().inv_cdf((i + 0.5) / 10) for i in range(10)]
GOOD = {str(101 + i): (5.0 + 0.01 * z, 0.1 + 0.002 * z) for i, z in enumerate(QUANTILES)}

# ISO 16269-6:2014, annex F, two-sided, m = 1, 95 %/95 %, n = 10, as quoted by a public library's tests, and D. C.
# Montgomery and G. C. Runger, Applied Statistics and Probability for Engineers (2018), table XII, one-sided.
TWO_SIDED_10, ONE_SIDED_10 = 3.3935, 2.911


class Learn(unittest.TestCase):
    def setUp(self):
        self.folder = tempfile.mkdtemp(prefix="learn-")
        self.addCleanup(shutil.rmtree, self.folder)
        self.bench = StandIn(BENCH, BENCH_TEXT.format(folder=self.folder), own_sockets=False)
        self.addCleanup(self.bench.stop)
        self.daemon = Gradusd(GRADUSD, SETTINGS_TEXT.format(folder=self.folder, **WIDE))
        self.addCleanup(self.daemon.stop)
        self.client = self.daemon.client()
        self.addCleanup(self.client.close)

    def measure(self, serial, five, ripple, **job):
        self.bench.set_source("five", level=five)
        self.bench.set_source("low", level=ripple)
        job = {"name": "good", "serial": serial, **job}
        return [self.client.call("measure", point=point, job=job) for point in ("five", "ripple")]

    def measure_all(self, units):
        return {serial: self.measure(serial, *values) for serial, values in units.items()}

    def run_learn(self, *words, status=0, text=None):
        done = subprocess.run([PROGRAM, "--socket", "unix:" + self.daemon.unix, "learn", *words],
                              capture_output=True, text=True, check=False, input=text,
                              timeout=LIMIT_S, env={**os.environ, "LC_ALL": "C.UTF-8"})
        self.assertEqual(done.returncode, status, done.stdout + done.stderr)
        return done

    def check(self, **limits):
        path = pathlib.Path(self.daemon.folder, "pasted.cfg")
        path.write_text(SETTINGS_TEXT.format(folder=self.folder, **limits))
        return subprocess.run([PROGRAM, "check", str(path)], capture_output=True,
                              text=True, check=False, timeout=LIMIT_S)

    def test_limits_of_good_units(self):
        read = self.measure_all(GOOD)
        answer = json.loads(self.run_learn("psu", *GOOD, "--json").stdout)
        for index, (point, factor) in enumerate((("five", TWO_SIDED_10), ("ripple", ONE_SIDED_10))):
            told = answer["points"][index]
            values = [readings[index]["value"] for readings in read.values()]
            widest = max(readings[index]["uncertainty"] for readings in read.values())
            self.assertEqual((told["point"], told["kind"], told["units"]), (point, "normal", 10))
            self.assertAlmostEqual(told["factor"], factor, delta=1e-3)
            reach = told["factor"] * statistics.stdev(values) + widest
            self.assertAlmostEqual(told["high"], statistics.mean(values) + reach, delta=1e-9)
            if point == "five":
                self.assertAlmostEqual(told["low"], statistics.mean(values) - reach, delta=1e-9)
            else:
                self.assertNotIn("low", told)
        written = self.run_learn("psu", *GOOD).stdout
        self.assertIn("covers 95 % of such units with a confidence of 95 %", written)
        pasted = re.findall(r"^limits = .*$", written, re.M)
        self.assertEqual(len(pasted), 2)
        for line, told in zip(pasted, answer["points"]):
            for key, value in re.findall(r"(low|high) = (\S+);", line):
                outside = float(value) - told[key] if key == "high" else told[key] - float(value)
                self.assertTrue(-1e-12 <= outside <= told["uncertainty"] / 50, (line, told))
        done = self.check(five=pasted[0], ripple=pasted[1])
        self.assertEqual(done.returncode, 0, done.stdout + done.stderr)
        # With a file nothing is printed, and the file has the same.
        path = os.path.join(self.folder, "psu.limits")
        self.assertEqual(self.run_learn("psu", "--serials", "-", "--write", path,
                                        text="\n".join(GOOD)).stdout, "")
        self.assertEqual(pathlib.Path(path).read_text(), written)
        # Nothing has come into use by it.
        limits = [point["limits"] for point in self.client.call("points") if point["name"] == "five"]
        self.assertEqual((limits[0]["low"], limits[0]["high"]), (4.0, 6.0))

    def test_a_unit_beside_them(self):
        self.measure_all(GOOD)
        self.measure("like", 5.004, 0.1)
        self.measure("unlike", 5.2, 0.1)
        compared = json.loads(self.run_learn("psu", *GOOD, "--compare", "unlike", "--json",
                                             status=1).stdout)["points"][0]["compared"]
        mean, spread = statistics.mean(v[0] for v in GOOD.values()), \
            statistics.stdev(v[0] for v in GOOD.values())
        self.assertAlmostEqual(compared["spreads"], (5.2 - mean) / spread, delta=0.3)
        self.assertGreater(compared["uncertainties"], 10)
        self.assertFalse(compared["inside"])
        lines = self.run_learn("psu", *GOOD, "--compare", "unlike", status=1).stdout.splitlines()
        self.assertRegex(lines[1], r"^five .*\+2\d\.\d +\+\d+\.\d  no$")
        self.assertRegex(lines[2], r"^ripple .* yes$")
        self.assertLessEqual(max(len(line) for line in lines), 80, lines)
        self.run_learn("psu", *GOOD, "--compare", "like")
        done = self.run_learn("psu", *GOOD, "--compare", "999", status=3)
        self.assertIn("no reading", done.stdout)

    def test_too_few_have_no_limits(self):
        few = dict(list(GOOD.items())[:7])
        self.measure_all(few)
        written = self.run_learn("psu", *few, "888", status=4).stdout
        self.assertIn("NO LIMITS: 1 more units are needed, 8 in all", written)
        self.assertNotIn("limits = {", written)

    def test_what_is_not_normal_needs_more(self):
        units = {str(i): (5 + 0.0001 * 2 ** i, 0.1) for i in range(12)}
        self.measure_all(units)
        written = self.run_learn("psu", *units, status=4).stdout
        self.assertIn("unit 11 is furthest out", written)
        self.assertIn("# 81 more units are needed, 93 in all.", written)
        # The other point's readings are alike: as wide as can be measured.
        point = json.loads(self.run_learn("psu", *units, "--json", status=4).stdout)["points"][1]
        self.assertEqual(point["kind"], "normal")
        self.assertGreaterEqual(point["high"] - point["mean"], 0.999999 * point["uncertainty"])

    def test_the_newest_reading_counts_and_none_before_a_repair(self):
        self.measure_all(GOOD)
        first = self.client.call("learn", sheet="psu", good=list(GOOD))["points"][0]
        serial = list(GOOD)[0]
        self.measure(serial, 4.2, 0.1, stage="before")
        self.assertEqual(self.client.call("learn", sheet="psu", good=list(GOOD))["points"][0], first)
        self.measure(serial, 5.001, 0.1, stage="after")
        again = self.client.call("learn", sheet="psu", good=list(GOOD))["points"][0]
        self.assertGreater(again["mean"], first["mean"])
        self.assertEqual(again["units"], 10)

    def test_what_cannot_be(self):
        self.assertIn("which units are good has to be said", self.run_learn("psu", status=2).stderr)
        for words in (["psu", "1", "1"], ["psu", "1", "--compare", "1"], ["pus", "1"],
                      ["psu", "1", "--coverage", "120"], ["psu", "1", "--csv"]):
            self.run_learn(*words, status=2)
        with self.assertRaises(RpcError):
            self.client.call("learn", sheet="psu", good=[])
        nothing = self.client.call("learn", sheet="psu", good=["1"])["points"][0]
        self.assertEqual((nothing["units"], nothing["kind"]), (0, "too few"))
        self.assertTrue(math.isfinite(nothing["needed"]))


if __name__ == "__main__":
    unittest.main()
