# SPDX-License-Identifier: GPL-3.0-or-later
"""`gradus burnin report` on the true daemon: every form of it, and what is left when one cannot be
written. PDF text is read by pdftotext (poppler-utils)."""

import csv
import html.parser
import io
import json
import os
import pathlib
import subprocess
import unittest

from daemon_case import DaemonCase
from gradusd import LIMIT_S

COMMAND = os.environ["GRADUS"]

# Fontconfig keeps what it has read of fonts until the process ends, and cannot always let it go.
LEAKS = "leak:libfontconfig\n"

PLAN = """
store = {{ path = "{folder}/readings.db"; }};
burnin = ( {{ name = "rack"; points = ( "rail", "weak", "-1.2e5" ); every_s = 0.1; duration_s = 60;
              trip_after = 2; stops = "point"; }} );
"""

# A spreadsheet would take such a name for a formula.
FORMULA = """,
    {{ name = "-1.2e5"; instrument = "meter"; input = 1; probe = "direct"; quantity = "dc voltage"; }}"""


class Page(html.parser.HTMLParser):
    """The text of a page, its elements counted, and whether they are closed in order."""

    VOID = {"meta", "br", "line", "rect", "polyline"}

    def __init__(self, text):
        super().__init__()
        self.words, self.count, self.open = [], {}, []
        self.feed(text)
        self.close()

    def handle_starttag(self, tag, attributes):
        self.count[tag] = self.count.get(tag, 0) + 1
        for name, value in attributes:
            assert name not in ("src", "href", "onload", "onclick"), (tag, name, value)
        if tag not in self.VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attributes):
        self.handle_starttag(tag, attributes)
        assert tag in self.VOID, tag

    def handle_endtag(self, tag):
        assert self.open.pop() == tag, tag

    def handle_data(self, data):
        self.words.append(data)

    @property
    def text(self):
        return " ".join(" ".join(self.words).split())


class Report(DaemonCase):
    def settings(self, **options):
        return PLAN.format(folder=self.folder) + super().settings(more=FORMULA.format(), **options)

    def setUp(self):
        super().setUp()
        self.leaks = os.path.join(self.folder, "leaks")
        pathlib.Path(self.leaks).write_text(LEAKS)
        self.run_name = self.client.call("burnin.start", "rack")["run"]
        self.until(lambda: self.status()["round"] >= 5)
        self.bench.set_source("rail", level=6.0)
        self.until(lambda: self.point("rail")["state"] == "tripped")
        self.client.call("burnin.stop", "rack")
        self.until(lambda: self.status()["measuring"] == 0 and
                   self.client.call("health")["store"]["held"] == 0)

    def status(self):
        return self.client.call("burnin.status")["runs"][-1]

    def point(self, name):
        return next(point for point in self.status()["points"] if point["point"] == name)

    def report(self, *words, status=1):
        done = subprocess.run([COMMAND, "--socket", f"unix:{self.daemon.unix}", "burnin", "report",
                               *words], capture_output=True, timeout=LIMIT_S, check=False,
                              stdin=subprocess.DEVNULL,
                              env={**os.environ, "LC_ALL": "C.UTF-8",
                                   "LSAN_OPTIONS": f"suppressions={self.leaks}:print_suppressions=0"})
        self.assertNotIn(b"Sanitizer", done.stderr)
        self.assertEqual(done.returncode, status, done)
        return done.stdout, done.stderr.decode()

    def kept(self):
        return self.client.call("readings", run=self.run_name, after=0, limit=1000)["readings"]

    def test_a_summary_for_people(self):
        text = self.report("rack")[0].decode()
        self.assertIn(f"{self.run_name}\n1 of 3 units failed", text)
        self.assertIn("The run ended before its time: stopped.", text)
        self.assertRegex(text, r"rail: failed\. It tripped on \S+ \S+, in round \d+ \(limit\)")
        self.assertIn("no safety device", text)

    def test_a_page_that_needs_nothing_else(self):
        path = pathlib.Path(self.folder, "report.html")
        path.write_text("what was there before")
        self.assertEqual(self.report(self.run_name, "--html", str(path)), (b"", ""))
        page = Page(path.read_text(encoding="utf-8"))
        self.assertEqual(page.open, [])
        self.assertNotIn("script", page.count)
        self.assertEqual(page.count["svg"], 3)
        for words in (self.run_name, "1 of 3 units failed", "Points that failed", "meter",
                      "TARNWERK,TM55", "direct", "calibration due", "run began", "trip",
                      "no safety device", "4.5 V to 5.5 V"):
            self.assertIn(words, page.text)
        self.assertEqual(self.report("rack", "--html", "-")[0].count(b"<svg"), 3)

    def test_a_pdf(self):
        path = pathlib.Path(self.folder, "report.pdf")
        self.report("rack", "--pdf", str(path))
        self.assertEqual(path.read_bytes()[:5], b"%PDF-")
        text = subprocess.run(["pdftotext", "-layout", str(path), "-"], capture_output=True,
                              check=True).stdout.decode()
        for words in (self.run_name, "Points that failed", "rail", "It tripped on", "page 1",
                      "TARNWERK,TM55", "What happened", "run ended"):
            self.assertIn(words, text)

    def test_csv_has_every_reading_and_no_formula(self):
        rows = list(csv.DictReader(io.StringIO(self.report("rack", "--csv")[0].decode("utf-8"),
                                               newline="")))
        kept = self.kept()
        self.assertEqual([int(row["id"]) for row in rows], [item["id"] for item in kept])
        self.assertEqual([float(row["value"]) for row in rows],
                         [item["reading"]["value"] for item in kept])
        self.assertEqual({row["point"] for row in rows}, {"rail", "weak", "'-1.2e5"})

    def test_json_has_the_studies(self):
        whole = json.loads(self.report("rack", "--json")[0])
        self.assertEqual(whole["run"], self.run_name)
        self.assertEqual(whole["events"][0]["kind"], "run began")
        self.assertEqual([point["point"] for point in whole["points"]], ["rail", "weak", "-1.2e5"])
        self.assertEqual(whole["points"][0],
                         self.client.call("burnin.study", run="rack", point="rail", buckets=240))

    def test_what_cannot_be_written_leaves_nothing(self):
        before = sorted(os.listdir(self.folder))
        for option in ("--html", "--pdf"):
            _, error = self.report("rack", option, f"{self.folder}/no/where", status=2)
            self.assertIn("No such file or directory", error)
            _, error = self.report("rack", option, self.folder, status=2)
        self.assertEqual(sorted(os.listdir(self.folder)), before)
        if os.path.exists("/dev/full"):
            self.report("rack", "--html", "/dev/full", status=2)

    def test_a_run_that_is_not_there(self):
        _, error = self.report("nowhere", status=2)
        self.assertIn("there is no run nowhere on record", error)


if __name__ == "__main__":
    unittest.main()
