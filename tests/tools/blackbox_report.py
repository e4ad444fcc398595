# SPDX-License-Identifier: GPL-3.0-or-later
"""`gradus burnin report` on the true daemon: every form of it, and what is left when one cannot be
written; and on what a fake daemon tells, where everything happens and names are hostile. PDF text is
read by pdftotext (poppler-utils)."""

import csv
import html.parser
import io
import json
import os
import pathlib
import re
import subprocess
import tempfile
import unittest

from daemon_case import DaemonCase
from fake_daemon import Error, FakeDaemon
from gradusd import LIMIT_S
from told_run import Course, Rack, eventful

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

    VOID = {"meta", "br", "line", "rect", "polyline", "path"}

    def __init__(self, text):
        super().__init__()
        self.words, self.count, self.open, self.ids, self.links = [], {}, [], set(), set()
        self.feed(text)
        self.close()

    def handle_starttag(self, tag, attributes):
        self.count[tag] = self.count.get(tag, 0) + 1
        for name, value in attributes:
            assert name != "src" and not name.startswith("on"), (tag, name, value)
            assert name != "href" or value.startswith("#"), (tag, name, value)
            if name == "href":
                self.links.add(value[1:])
            if name == "id":
                assert value not in self.ids, value
                self.ids.add(value)
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


def run_report(address, *words):
    with tempfile.NamedTemporaryFile("w") as leaks:
        leaks.write(LEAKS)
        leaks.flush()
        return subprocess.run([COMMAND, "--socket", address, "burnin", "report", *words],
                              capture_output=True, timeout=LIMIT_S, check=False,
                              stdin=subprocess.DEVNULL,
                              env={**os.environ, "LC_ALL": "C.UTF-8", "LSAN_OPTIONS":
                                   f"suppressions={leaks.name}:print_suppressions=0"})


def text_of(path, *options):
    return subprocess.run(["pdftotext", *options, str(path), "-"], capture_output=True,
                          check=True).stdout.decode()


class Report(DaemonCase):
    def settings(self, **options):
        return PLAN.format(folder=self.folder) + super().settings(more=FORMULA.format(), **options)

    def setUp(self):
        super().setUp()
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
        done = run_report(f"unix:{self.daemon.unix}", *words)
        self.assertNotIn(b"Sanitizer", done.stderr)
        self.assertEqual(done.returncode, status, done)
        return done.stdout, done.stderr.decode()

    def kept(self):
        return self.client.call("readings", run=self.run_name, after=0, limit=1000)["readings"]

    def test_a_summary_for_people(self):
        text = self.report("rack")[0].decode()
        self.assertIn(f"{self.run_name}\n1 of 3 units failed", text)
        self.assertIn("The run ended early: stopped.", text)
        self.assertRegex(text, r"rail: failed\. It failed (2|3) times, beyond its limits\. It tripped on \S+ \S+, in round \d+ \(limit\)")
        self.assertIn("no safety device", text)

    def test_a_page_that_needs_nothing_else(self):
        path = pathlib.Path(self.folder, "report.html")
        path.write_text("what was there before")
        self.assertEqual(self.report(self.run_name, "--html", str(path)), (b"", ""))
        page = Page(path.read_text(encoding="utf-8"))
        self.assertEqual(page.open, [])
        self.assertNotIn("script", page.count)
        self.assertEqual(page.count["svg"], 4)  # three points, and what is what in the plots
        self.assertEqual(page.links, {"point-0", "point-1", "point-2"})
        self.assertLessEqual(page.links, page.ids)
        for words in (self.run_name, "1 of 3 units failed", "Points that failed", "meter",
                      "TARNWERK,BENCH METER", "direct", "calibration due", "run started", "trip",
                      "no safety device", "4.5 to 5.5 V"):
            self.assertIn(words, page.text)
        self.assertEqual(self.report("rack", "--html", "-")[0].count(b"<svg"), 4)

    def test_a_pdf(self):
        path = pathlib.Path(self.folder, "report.pdf")
        self.report("rack", "--pdf", str(path))
        self.assertEqual(path.read_bytes()[:5], b"%PDF-")
        text = text_of(path, "-layout")
        for words in (self.run_name, "Points that failed", "rail", "It tripped on", "page 1 of 2",
                      "TARNWERK,BENCH METER", "What happened", "run ended"):
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

    def test_all_forms_at_once(self):
        names = {f"--{form}": os.path.join(self.folder, f"report.{form}")
                 for form in ("json", "csv", "html", "pdf")}
        self.assertEqual(self.report("rack", *sum(names.items(), ())), (b"", ""))
        with open(names["--json"], encoding="utf-8") as file:
            summary = json.load(file)["summary"]
        self.assertTrue(summary["outcome"].startswith("1 of 3 units failed"), summary)
        self.assertEqual((summary["points"][0]["point"], summary["points"][0]["class"]),
                         ("rail", "failed"))
        with open(names["--csv"], encoding="utf-8", newline="") as file:
            self.assertEqual(len(list(csv.reader(file))), len(self.kept()) + 1)
        _, error = self.report("rack", "--csv", "--json", "-", status=2)
        self.assertIn("cannot be one file", error)

    def test_what_cannot_be_written_leaves_nothing(self):
        before = sorted(os.listdir(self.folder))
        for option in ("--html", "--pdf", "--json", "--csv"):
            _, error = self.report("rack", option, f"{self.folder}/no/where", status=2)
            self.assertIn("No such file or directory", error)
            _, error = self.report("rack", option, self.folder, status=2)
        self.assertEqual(sorted(os.listdir(self.folder)), before)
        if os.path.exists("/dev/full"):
            self.report("rack", "--html", "/dev/full", status=2)

    def test_a_new_file_is_private_and_an_old_one_keeps_its_rights(self):
        before = os.umask(0)
        self.addCleanup(os.umask, before)
        path = f"{self.folder}/private.html"
        self.report("rack", "--html", path)
        self.assertEqual(os.stat(path).st_mode & 0o777, 0o600)
        os.chmod(path, 0o644)
        self.report("rack", "--html", path)
        self.assertEqual(os.stat(path).st_mode & 0o777, 0o644)

    def test_a_pipe_that_nobody_reads_is_not_waited_for(self):
        os.mkfifo(f"{self.folder}/pipe")
        _, error = self.report("rack", "--html", f"{self.folder}/pipe", status=2)
        self.assertIn("pipe: No such device", error)

    @unittest.skipUnless(os.geteuid() == 0, "only root can give a link to another")
    def test_links_and_pipes_of_others_are_left_alone(self):
        link, pipe, kept = (f"{self.folder}/{name}" for name in ("link", "pipe", "kept"))
        with open(kept, "w", encoding="utf-8") as file:
            file.write("kept")
        os.symlink(kept, link)
        self.report("rack", "--html", link)
        os.mkfifo(pipe)
        with open(kept, "w", encoding="utf-8") as file:
            file.write("kept")
        reader = os.open(pipe, os.O_RDONLY | os.O_NONBLOCK)
        self.addCleanup(os.close, reader)
        for name in (link, pipe):
            os.chown(name, 1, 1, follow_symlinks=False)
            _, error = self.report("rack", "--html", name, status=2)
            self.assertIn("user 1 has put", error)
        with open(kept, encoding="utf-8") as file:
            self.assertEqual(file.read(), "kept")

    def test_a_run_that_is_not_there(self):
        _, error = self.report("nowhere", status=2)
        self.assertIn("there is no run nowhere on record", error)


class Told(unittest.TestCase):
    """A rack that a fake daemon tells of."""

    def setUp(self):
        folder = tempfile.TemporaryDirectory(prefix="report-")
        self.addCleanup(folder.cleanup)
        self.folder = pathlib.Path(folder.name)

    def report(self, rack, *words, status=1, **methods):
        with FakeDaemon({**rack.methods(), **methods}) as daemon:
            done = run_report(daemon.address, "rack", *words)
            self.requests = daemon.requests
        self.assertNotIn(b"Sanitizer", done.stderr)
        self.assertEqual(done.returncode, status, done)
        return done.stdout.decode(), done.stderr.decode()

    def forms(self, rack):
        html, pdf = self.folder / "report.html", self.folder / "report.pdf"
        self.report(rack, "--html", str(html), "--pdf", str(pdf))
        return Page(html.read_text(encoding="utf-8")), " ".join(text_of(pdf).split())

    def test_the_job_and_the_serial_numbers_of_its_units_are_told(self):
        class Ordered(Rack):
            def began(self):
                job = {"name": "B-1", "customer": "Ms <Candle>", "remarks": "hums",
                       "fields": {"shelf": "7"}, "serials": {"1": "SN-0041", "2": "SN <2>"}}
                return {**super().began(), "job": job}
        for told in self.forms(Ordered(2, 2, courses={(1, 1): Course(slope=-0.055)})):
            text = told.text if isinstance(told, Page) else told
            for words in ("B-1", "Ms <Candle>", "hums", "shelf", "1: SN-0041", "2: SN <2>"):
                self.assertIn(words, text)

    def test_everything_that_happened_is_told_in_both_forms(self):
        rack = Rack(8, 8, courses={(7, 3): Course(slope=-0.055), (6, 1): Course(step=-0.07),
                                   (3, 2): Course(slope=0.041), (2, 7): Course(step=0.012),
                                   (4, 8): Course(spike=0.02), (5, 4): Course(lost=True)})
        for told in self.forms(rack):
            text = told.text if isinstance(told, Page) else told
            for words in ("2 of 8 units failed, 4 to look at, 0 not measured, 2 within limits.",
                          "The calibration of meter_1 (TARNWERK,BENCH METER,1,1.4) expired on 2026-03-10",
                          "The run was resumed after a restart once; nothing was measured for 1 d "
                          "22:40:00 in all", "after 1 d 22:40:00 and round",
                          "280 rounds were missed", "1 round started late, by up to 2.5 s.",
                          "The clock was set once, by up to 01:00:00 back",
                          "It tripped on 2026-03-26 08:00, in round 3600 (limit).",
                          "It drifts by 4.871 mV ± 0.002 mV a day. At that rate it will reach the"
                          " high limit, 3.465 V, on 2026-04-04 05:00, between",
                          "It stepped by 576 µV ± 1 µV on 2026-03-12 10:40, in round 1600",
                          "It jumped and came back 3 times, by up to 120 mV",
                          "measurements gave no reading", "EXPIRED", "warm-up until",
                          "soak until 2026-03-29 02:40", "no safety device", "Times are UTC"):
                self.assertIn(words, text)
            order = [text.index(words) for words in ("Points that failed", "u06_p1 unit 6",
                                                     "Points to look at", "u03_p2 unit 3",
                                                     "Points within limits", "Measured with",
                                                     "What happened")]
            self.assertEqual(order, sorted(order))

    def test_no_failure_looks_like_a_pass(self):
        """What failed is told first, with its cause; what is dead or far outside is called so; tiles
        lead somewhere on paper too; long limits stand once."""
        rack = Rack(8, 8, courses={(7, 3): Course(step=-1.0), (8, 2): Course(step=0.5),
                                   (6, 1): Course(slope=0.037, drifted=True),
                                   (8, 1): Course(standard=True), (5, 4): Course(lost=True),
                                   **{(1, p): Course(phased=True) for p in range(1, 9)}})
        for told in self.forms(rack):
            text = told.text if isinstance(told, Page) else told
            for words in ("What failed", "fail: drift", "failed dead", "failed far outside",
                          "It failed 3 times, by drift. It tripped on", "trip", "measured no more",
                          "It reads next to nothing", "the unit is dead or not there",
                          "gave no reading: timeout (180 times), link lost (7 times).",
                          "drift allowed", "Limits that differ by phase",
                          "set 1: settle 4.5 to 5.5 V; soak 4.75 to 5.25 V", "by phase, set 8",
                          "Control chart: readings", "As check standard it was watched about 5.0000"):
                self.assertIn(words, text.replace("set 1 :", "set 1:"))
            self.assertIsNone(re.search(r"-\d{3,} ?%", text))
            briefs = [text.index(f"unit {unit}, u0{unit}_p") for unit in (6, 7, 8)]
            self.assertEqual(briefs, sorted(briefs))
            rows = [text.rindex(name) for name in ("u01_p1", "u01_p2", "u02_p1", "u08_p8")]
            self.assertEqual(rows, sorted(rows))
        summary, _ = self.report(rack)
        self.assertIn("u06_p1: failed. It failed 3 times, by drift.", " ".join(summary.split()))
        self.assertIn("u08_p1: within limits.", summary)
        raw = (self.folder / "report.pdf").read_bytes()
        self.assertGreaterEqual(raw.count(b"/Link"), 8 + 3)

    def test_names_from_outside_stay_names(self):
        name = "u{}</h3><script>alert('\"&{}')</script>_µ_測試_" + "long" * 6
        identity = "=cmd|' /c x'!A1,<img src=x onerror=alert(1)>,{},Größe \u202egnorw"
        rack = Rack(3, 2, name=name, identity=identity, courses={(1, 1): Course(slope=-0.055)})
        page, pdf = self.forms(rack)
        self.assertEqual(page.open, [])
        self.assertNotIn("script", page.count)
        self.assertNotIn("img", page.count)
        for text in (page.text, pdf):
            self.assertNotIn("\u202e", text)
        self.assertIn(name.format(1, 1), page.text)
        self.assertIn(identity.format(1).replace("\u202e", "\ufffd"), page.text)
        self.assertIn(name.format(1, 1).replace(" ", ""), pdf.replace(" ", ""))
        self.assertIn(name.format(2, 1).replace(" ", ""), pdf.replace(" ", ""))
        path = self.folder / "readings.csv"
        self.report(rack, "--csv", str(path))
        with path.open(encoding="utf-8", newline="") as file:
            rows = list(csv.DictReader(file))
        self.assertEqual([int(row["id"]) for row in rows], list(range(1, 2501)))
        self.assertEqual(rows[0]["identity"], "'" + identity.format(1).replace("\u202e", "?"))
        self.assertEqual(rows[0]["warnings"], "'=1+1; second")
        self.assertEqual((rows[6]["reason"], rows[6]["value"]), ("over range", ""))
        self.assertEqual(rows[6]["what"], "'+9.9E37, the range is 20 V")
        asked = [params["after"] for method, params in self.requests if method == "readings"]
        self.assertEqual(asked, [0, 1000, 2000])  # page by page

    def test_a_large_rack_stays_of_use(self):
        page, pdf = self.forms(Rack(64, 8, courses=eventful()))
        self.assertEqual(len(page.ids), 512)
        self.assertEqual(len(page.links), 64)
        self.assertLess((self.folder / "report.html").stat().st_size, 2 << 20)
        pages, = set(re.findall(r"page \d+ of (\d+)", pdf))
        self.assertEqual(re.findall(r"page (\d+) of", pdf),
                         [str(number) for number in range(1, int(pages) + 1)])
        self.assertGreater(pdf.count("point and limits"), 10)  # headings come again on each page
        first = pdf[:pdf.index("page 1 of")]
        self.assertEqual(len(re.findall(r"(?:within limits|failed|to look at) -?\d+ %", first)), 64)

    def test_a_daemon_that_fails_on_the_way_leaves_what_was_there(self):
        def refuse(call):
            raise Error(-32603, "damaged", what="the disk")
        for option, method in (("--json", "burnin.study"), ("--csv", "readings")):
            path = self.folder / "kept"
            path.write_text("before")
            _, error = self.report(Rack(), option, str(path), status=3, **{method: refuse})
            self.assertIn("the disk", error)
            self.assertEqual(path.read_text(), "before")
            self.assertEqual(os.listdir(self.folder), ["kept"])


if __name__ == "__main__":
    unittest.main()
