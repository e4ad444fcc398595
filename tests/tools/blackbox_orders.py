# SPDX-License-Identifier: GPL-3.0-or-later
"""Readings belong to a customer's job: kept with it, found again by it, handed over as a report."""

import csv
import io
import json
import os
import shutil
import sqlite3
import subprocess
import tempfile
import unittest

from gradusd import Gradusd, RpcError
from standin import StandIn

GRADUS = os.environ["GRADUS"]
PROGRAM = os.environ["GRADUSD"]
LIMIT_S = 300.0

BENCH = """
instruments = ( { name = "meter"; type = "tarnwerk-meter"; listen = "tcp:127.0.0.1:0"; conversion_ms = 0;
                  error_fraction = 0; } );
sources = ( { name = "rail"; kind = "dc"; level = 4.5; } );
connections = ( { instrument = "meter"; input = 1; source = "rail"; } );
"""

SETTINGS = """
server = {{ }};
shop = {{ name = "Larkrise Repairs"; address = "1 Mill Lane\\nLarkrise"; logo = "{folder}/logo.png"; }};
store = {{ path = "{folder}/readings.db"; }};
profiles = "profiles";
instruments = ( {{ name = "meter"; profile = "tarnwerk-meter"; link = "{meter}";
                   certificate = "C-2026-0042"; calibration_due = "2099-01-31"; }} );
points = (
    {{ name = "rail"; instrument = "meter"; input = 1; quantity = "dc voltage";
       limits = {{ low = 4.75; high = 5.25; }}; }},
    {{ name = "u{{unit}}"; units = {{ first = 7; last = 8; }}; instrument = "meter"; input = 1;
       place = "jig"; quantity = "dc voltage"; }},
    {{ name = "coil"; instrument = "meter"; input = 2; quantity = "dc current"; expected = 0.001; }}
);
burnin = ( {{ name = "rack"; points = ( "u" ); every_s = 0.2; duration_s = 600; }} );
"""

JOB = {"name": "R-1001", "serial": "SN 17", "unit": "supply <A&B>", "customer": "Ms Candle",
       "measured_by": "FT", "remarks": "hums", "fields": {"rack": "7"}}


class Jobs(unittest.TestCase):
    def setUp(self):
        self.bench = StandIn(os.environ["STANDIN"], BENCH)
        self.addCleanup(self.bench.stop)
        self.folder = tempfile.mkdtemp(prefix="orders-")
        self.addCleanup(shutil.rmtree, self.folder)
        with open(os.path.join(self.folder, "logo.png"), "wb") as file:
            file.write(b"\x89PNG not really")
        self.start()

    def start(self):
        self.daemon = Gradusd(PROGRAM, SETTINGS.format(folder=self.folder,
                                                       meter=self.bench.address("meter")))
        self.addCleanup(self.daemon.stop)
        self.client = self.daemon.client()

    def gradus(self, *words, status=0):
        leaks = os.path.join(self.folder, "leaks")
        with open(leaks, "w", encoding="utf-8") as file:
            file.write("leak:libfontconfig\n")  # kept by the library until the process ends
        run = subprocess.run([GRADUS, "--socket", "unix:" + self.daemon.unix, *words], text=True,
                             stdin=subprocess.DEVNULL, capture_output=True, timeout=LIMIT_S,
                             env={**os.environ, "LSAN_OPTIONS":
                                  f"suppressions={leaks}:print_suppressions=0"})
        self.assertEqual(run.returncode, status, run)
        return run.stdout

    def complaint(self, *words):
        """What the command says of something wrong, in one line."""
        run = subprocess.run([GRADUS, "--socket", "unix:" + self.daemon.unix, *words], text=True,
                             stdin=subprocess.DEVNULL, capture_output=True, timeout=LIMIT_S)
        self.assertEqual(run.returncode, 2, run)
        return " ".join(run.stderr.split())

    def test_a_capture_belongs_to_a_job_like_a_reading(self):
        job = {"name": "R-3", "serial": "SN 5"}
        with self.assertRaises(RpcError):    # a meter has no waveform; that is on record as well
            self.client.call("capture", point="rail", job={"serial": "1"})
        with self.assertRaises(RpcError):
            self.client.call("capture", point="rail", job=job)
        self.gradus("capture", "rail", "--serial", "SN 5", status=2)

    def file(self, name, text):
        path = os.path.join(self.folder, name)
        with open(path, "w", encoding="utf-8") as file:
            file.write(text)
        return path

    def test_before_and_after_are_found_again_and_handed_over(self):
        path = self.file("job.json", json.dumps(JOB))
        self.gradus("measure", "rail", "--job", path, "--stage", "before", status=1)
        self.client.call("measure", "rail")
        self.bench.set_source("rail", level=5.0)
        reading = json.loads(self.gradus("measure", "rail", "--job", "R-1001", "--serial", "SN 17",
                                         "--stage", "after", "--json"))
        self.assertEqual(reading["job"], {"name": "R-1001", "serial": "SN 17", "stage": "after"})
        self.gradus("read", "meter", "1", "dc voltage", "--job", "R-1002", "--serial", "SN 18")
        with self.assertRaises(RpcError):    # nothing is on that input: no reading, but on record
            self.client.call("measure", point="coil", job={"name": "R-1002"}, deadline_ms=1)
        rows = self.client.call("readings", job="R-1001")["readings"]
        self.assertEqual([row["reading"]["verdict"] for row in rows], ["fail", "pass"])
        self.assertEqual(len(self.client.call("readings", serial="SN 17")["readings"]), 2)
        self.assertEqual(len(self.client.call("readings", serial="SN 18")["readings"]), 1)
        self.assertEqual(self.client.call("readings", job="nobody")["readings"], [])
        self.assertIn("SN 17", self.gradus("readings", "--serial", "SN 17", "--json"))
        table = list(csv.DictReader(io.StringIO(self.gradus("readings", "--job", "R-1001", "--csv"))))
        self.assertEqual([(row["job"], row["serial"], row["stage"], row["certificate"])
                          for row in table], [("R-1001", "SN 17", "before", "C-2026-0042"),
                                              ("R-1001", "SN 17", "after", "C-2026-0042")])
        listed = self.client.call("jobs")
        self.assertEqual([(job["job"]["name"], job["readings"], job["failed"])
                          for job in listed["jobs"]][0], ("R-1001", 2, 1))
        self.assertEqual(listed["shop"]["name"], "Larkrise Repairs")
        self.assertIn("R-1001", self.gradus("jobs"))
        sheet = self.gradus("jobs", "R-1001")
        self.assertRegex(sheet, r"rail +SN 17 +4.75 to 5.25 V +4.500\d+ V .* fail +5.000\d+ V .* pass")
        page = os.path.join(self.folder, "report.html")
        self.gradus("jobs", "R-1001", "--html", page)
        with open(page, encoding="utf-8") as file:
            text = file.read()
        for words in ("Larkrise Repairs", "1 Mill Lane", "data:image/png;base64,", "R-1001",
                      "SN 17", "supply &lt;A&amp;B&gt;", "Ms Candle", "hums", "rack", "C-2026-0042",
                      "2099-01-31", "Signature", " class=fail>fail</td>", ">pass</td>"):
            self.assertIn(words, text)
        paper = os.path.join(self.folder, "report.pdf")
        row, = csv.DictReader(io.StringIO(self.gradus("jobs", "R-1001", "--pdf", paper, "--csv")))
        self.assertEqual((row["point"], row["serial"], row["low"], row["before_verdict"],
                          row["after_verdict"], row["certificate"]),
                         ("rail", "SN 17", "4.75", "fail", "pass", "C-2026-0042"))
        self.assertAlmostEqual(float(row["after"]) - float(row["before"]), 0.5, delta=0.01)
        text = " ".join(subprocess.run(["pdftotext", "-layout", paper, "-"], text=True, check=True,
                                       capture_output=True, timeout=LIMIT_S).stdout.split())
        for words in ("Larkrise Repairs 1 Mill Lane", "Test report: R-1001", "supply <A&B>",
                      "Remarks hums", "4.75 to 5.25 V 4.50", "C-2026-0042 2099-01-31", "Signature",
                      "page 1 of 1"):
            self.assertIn(words, text)
        self.gradus("jobs", "--pdf", paper, status=2)
        whole = json.loads(self.gradus("jobs", "R-1001", "--json"))
        self.assertEqual((whole["job"]["customer"], len(whole["readings"])), ("Ms Candle", 2))
        self.gradus("jobs", "R-9", status=2)
        for words, says in ((("--job", "R-1101"), 'of a job "R-1101" is kept, expected perhaps R-1'),
                            (("--serial", "SN17"), "expected perhaps SN 1"),
                            (("--run", "rack-1"), 'no reading of a run "rack-1" is kept')):
            self.assertIn(says, self.complaint("readings", *words))
        self.assertIn("no run of the plan rack has begun", self.complaint("burnin", "status", "rack"))
        self.assertIn("there is no run rak, expected perhaps rack",
                      self.complaint("burnin", "status", "rak"))
        self.assertTrue(self.client.call("verify")["intact"])

    def serials_seen(self, count):
        seen = {}
        while len(seen) < 2 or count > 0:
            rows = self.client.call("readings", job="B-1", limit=1000)["readings"]
            seen = {row["point"]: row["reading"]["job"]["serial"] for row in rows}
            self.assertTrue(all("serials" not in row["reading"]["job"] for row in rows))
            count = 0 if len(rows) >= count else count
        return seen

    def test_units_of_a_burn_in_have_their_serial_numbers_and_keep_them(self):
        def start(lines):
            return subprocess.run([GRADUS, "--socket", "unix:" + self.daemon.unix, "burnin", "start",
                                   "rack", "--job", "B-1", "--serials", "-"], input=lines, text=True,
                                  capture_output=True, timeout=LIMIT_S)
        for lines, says in (("A1\n", "1 serial numbers"), ("A1\nA1\n", "twice"),
                            ("A1\nA2\nA3\n", "3 serial numbers")):
            wrong = start(lines)
            self.assertEqual(wrong.returncode, 2, wrong)
            self.assertIn(says, wrong.stderr)
        self.assertEqual(self.client.call("burnin.status")["runs"], [])
        begun = start("A1 \r\n\nA2\n")
        self.assertEqual(begun.returncode, 0, begun)
        expected = {"u7": "A1", "u8": "A2"}
        self.assertEqual(self.serials_seen(2), expected)
        before = len(self.client.call("readings", job="B-1", limit=1000)["readings"])
        self.daemon.stop()
        self.start()
        self.assertEqual(self.serials_seen(before + 4), expected)
        self.assertGreaterEqual(len(self.client.call("readings", serial="A2")["readings"]), 1)
        self.client.call("burnin.stop", "rack")

    def test_what_is_no_job_is_refused(self):
        for job in ({}, {"serial": "1"}, {"name": ""}, {"name": "x" * 64}, {"name": 5},
                    {"name": "a\tb"}, {"name": "a", "stage": "during"}, {"name": "a", "colour": "red"},
                    {"name": "a", "fields": {"x": 1}}, {"name": "a", "fields": "x"}):
            with self.assertRaises(RpcError, msg=job):
                self.client.call("measure", point="rail", job=job)
        self.assertEqual(self.client.call("readings")["readings"], [])
        self.gradus("measure", "rail", "--serial", "5", status=2)
        self.gradus("measure", "rail", "--job", self.file("bad.json", "[1]"), status=2)
        self.gradus("measure", "rail", "--job", "/no/such.json", status=2)

    def test_a_store_of_before_gains_jobs_and_keeps_its_chain(self):
        """A store of version 1, as it was made before there were jobs."""
        self.client.call("measure", point="rail")
        self.daemon.stop()
        path = os.path.join(self.folder, "readings.db")
        with sqlite3.connect(path) as old:
            old.execute("DROP INDEX readings_job")
            old.execute("DROP INDEX readings_serial")
            old.execute("ALTER TABLE readings DROP COLUMN job")
            old.execute("ALTER TABLE readings DROP COLUMN serial")
            old.execute("PRAGMA user_version = 1")
        old.close()
        self.start()
        self.client.call("measure", point="rail", job={"name": "R-1", "serial": "S"})
        self.assertEqual(len(self.client.call("readings", job="R-1")["readings"]), 1)
        self.assertEqual(len(self.client.call("readings")["readings"]), 2)
        self.assertTrue(self.client.call("verify")["intact"])
        with sqlite3.connect(f"file:{path}?mode=ro", uri=True) as now:
            plan = str(list(now.execute("EXPLAIN QUERY PLAN SELECT id FROM readings WHERE "
                                        "job = 'R-1'")))
            self.assertEqual(list(now.execute("PRAGMA user_version")), [(2,)])
        now.close()
        self.assertIn("readings_job", plan)


if __name__ == "__main__":
    unittest.main()
