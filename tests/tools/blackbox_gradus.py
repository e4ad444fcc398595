# SPDX-License-Identifier: GPL-3.0-or-later
"""The gradus command from outside: what it prints, asks, and ends with."""

import csv
import io
import json
import math
import os
import pty
import signal
import subprocess
import tempfile
import threading
import unittest

from fake_daemon import Error, FakeDaemon, Raw

PROGRAM = os.environ["GRADUS"]
LIMIT_S = 300.0

POINTS = [
    {"name": "rail_5v", "quantity": "dc voltage", "unit": "V", "instrument": "meter_a",
     "input": 1, "probe": "direct", "expected": 5.0,
     "limits": {"low": 4.75, "high": 5.25, "decision": "guarded"}},
    {"name": "coil", "quantity": "resistance", "unit": "Ω", "instrument": "meter_b",
     "input": 2, "probe": "direct"},
    {"name": "bias", "quantity": "dc voltage", "unit": "V", "instrument": "meter_a",
     "input": 3, "probe": "direct", "caution": "mains nearby"},
]


def reading(point, value=5.0132, unit="V", verdict="pass", **more):
    result = {"point": point, "quantity": "dc voltage", "value": value, "unit": unit,
              "uncertainty": 0.0041, "standard_uncertainty": 0.00205, "coverage_factor": 2.0,
              "time": "2026-01-31T12:00:00.123Z", "sequence": 7,
              "instrument": {"name": "meter_a", "identity": "TARNWERK,BENCH METER,1,1.4"},
              "probe": {"name": "direct", "factor": 1.0, "unit": "V"}, "input": 1,
              "range": {"full_scale": 20.0, "at_tip": 20.0, "resolution": 1e-4},
              "raw": value, "repeats": 1, "verdict": verdict, "budget": [], "steps": [],
              "warnings": []}
    result.update(more)
    return result


def bench(**measures):
    """Methods of a daemon with POINTS; `measures` maps a point to its reading or Error."""

    def measure(call):
        outcome = measures[call.params["point"]]
        if isinstance(outcome, Error):
            raise outcome
        return outcome

    return {"points": lambda call: POINTS, "measure": measure}


OVER_RANGE = Error(-32001, "over range", reason="over range", where='meter_a ":READ?"',
                   what="the 1000 V range is overloaded", expected="at most 1000 V",
                   point="coil")


def environment(**more):
    kept = {name: os.environ[name] for name in ("PATH", "ASAN_OPTIONS") if name in os.environ}
    return {**kept, "LC_ALL": "C.UTF-8", **more}


class Case(unittest.TestCase):
    def run_gradus(self, daemon, *words, env=None, stdin=subprocess.DEVNULL):
        place = [] if daemon is None else ["--socket", daemon.address]
        return subprocess.run([PROGRAM, *place, *words], stdin=stdin, capture_output=True,
                              env=env or environment(), timeout=LIMIT_S, check=False)

    def ask(self, methods, *words, status=0, env=None):
        with FakeDaemon(methods) as daemon:
            done = self.run_gradus(daemon, *words, env=env)
            self.requests = daemon.requests
        self.assertEqual(done.returncode, status, done)
        return done.stdout.decode(), done.stderr.decode()


class Usage(Case):
    def refuse(self, *words, says):
        done = self.run_gradus(None, *words)
        self.assertEqual(done.returncode, 2, done)
        self.assertEqual(done.stdout, b"")
        self.assertIn(says, done.stderr.decode())

    def test_mistakes_are_named(self):
        self.refuse(says="no subcommand")
        self.refuse("mesure", "x", says='did you mean "measure"')
        self.refuse("xyzzy", says="see gradus help")
        self.refuse("measure", says="too few arguments")
        self.refuse("measure", "x", "--all", says="--all")
        self.refuse("explain", "x", "y", says="too many arguments")
        self.refuse("measure", "x", "--digits", "3", says="from 1 to 2")
        self.refuse("measure", "x", "--digits", "1.5", says="whole number")
        self.refuse("measure", "x", "--repeat", "0x10", says="--repeat")
        self.refuse("measure", "x", "--deadline", "nan", says="--deadline")
        self.refuse("measure", "x", "--deadline", says="needs a value")
        self.refuse("measure", "x", "--json=1", says="takes no value")
        self.refuse("measure", "x", "--samples", "9", says='does not go with "measure"')
        self.refuse("measure", "x", "--frobnicate", says="no such option")
        self.refuse("measure", "x", "--json", "--csv", says="exclude each other")
        self.refuse("--socket", "here", "measure", "x", says="unix:/PATH")
        self.refuse("--socket", "tcp:host:70000", "measure", "x", says="unix:/PATH")

    def test_help_lists_every_subcommand_and_each_explains_itself(self):
        done = self.run_gradus(None, "help")
        self.assertEqual(done.returncode, 0)
        for name in ("measure", "read", "jobs", "explain", "capture", "points", "instruments", "follow", "readings",
                     "check", "learn", "try", "health", "talk", "agree", "unload", "compensate", "zero",
                     "help"):
            self.assertIn("\n  " + name, done.stdout.decode())
            one = self.run_gradus(None, "help", name)
            self.assertEqual(one.returncode, 0)
            self.assertTrue(one.stdout.decode().startswith("usage: gradus " + name), one.stdout)
        self.assertIn("2, 3, 1, 4, 0", done.stdout.decode())

    def test_no_daemon_is_said_with_what_was_tried_and_what_to_do(self):
        with tempfile.TemporaryDirectory() as folder:
            place = "unix:%s/none.sock" % folder
            for words, env in ((["--socket", place, "points"], environment()),
                               (["points"], environment(GRADUS_SOCKET=place))):
                done = self.run_gradus(None, *words, env=env)
                self.assertEqual(done.returncode, 3)
                self.assertEqual(done.stdout, b"")
                self.assertIn("tried " + place, done.stderr.decode())
                self.assertIn("start it", done.stderr.decode())

    def test_output_that_cannot_be_written_is_no_success(self):
        with open("/dev/full", "wb") as full:
            done = subprocess.run([PROGRAM, "help"], stdout=full, stderr=subprocess.PIPE,
                                  env=environment(), timeout=LIMIT_S, check=False)
        self.assertEqual(done.returncode, 3)
        self.assertIn(b"standard output", done.stderr)


class Measure(Case):
    def test_failures_are_rows_and_are_explained(self):
        out, err = self.ask(bench(coil=OVER_RANGE, rail_5v=reading("rail_5v")), "measure", "coil",
                            "rail_5v", status=3)
        rows = out.splitlines()
        self.assertIn("over range", rows[1])
        self.assertTrue(rows[2].startswith("rail_5v"))
        self.assertEqual(err, 'gradus: coil: over range: the 1000 V range is overloaded, expected '
                              'at most 1000 V (meter_a ":READ?")\n')

    def test_what_is_no_reading_is_never_shown_as_one(self):
        for wrong in ({}, [], 5, reading("rail_5v", value="5"), reading("rail_5v", unit=None),
                      reading("rail_5v", verdict="good"), reading("coil"),
                      reading("rail_5v", value=None)):
            out, err = self.ask(bench(rail_5v=wrong), "measure", "rail_5v", status=3)
            self.assertNotIn("5.0132", out)
            self.assertIn("unexpected answer", err)

    def test_a_row_has_value_and_uncertainty_to_the_same_place(self):
        out, err = self.ask(bench(rail_5v=reading("rail_5v", limits=POINTS[0]["limits"],
                                                  warnings=["warmed up for 3 min only"])),
                            "measure", "rail_5v")
        heading, row, warning = out.splitlines()
        self.assertEqual(heading.split(), ["point", "value", "uncertainty", "k", "verdict",
                                           "limits", "range", "instrument"])
        self.assertEqual(row, "rail_5v  5.0132 V  ± 0.0041 V   2.00  pass     "
                              "4.75 to 5.25 V   20 V  meter_a")
        self.assertEqual(warning, "rail_5v: warning: warmed up for 3 min only")
        self.assertEqual(err, "")

    def test_a_narrow_terminal_gets_fewer_columns(self):
        out, err = self.ask(bench(rail_5v=reading("rail_5v", limits=POINTS[0]["limits"])),
                            "measure", "rail_5v", env=environment(COLUMNS="64"))
        self.assertEqual(out, "point       value  uncertainty     k  verdict  limits\n"
                              "rail_5v  5.0132 V  ± 0.0041 V   2.00  pass     4.75 to 5.25 V\n")
        self.assertEqual(err, "gradus: left out to fit 64 columns: range, instrument\n")
        for nonsense in ("", "0", "x", "-1", "99999999999999999999"):
            out, err = self.ask(bench(rail_5v=reading("rail_5v")), "measure", "rail_5v",
                                env=environment(COLUMNS=nonsense))
            self.assertIn("meter_a", out)
            self.assertEqual(err, "")

    def test_digits(self):
        out, _ = self.ask(bench(rail_5v=reading("rail_5v")), "measure", "--digits=1", "rail_5v")
        self.assertIn("5.013 V  ± 0.004 V", out)

    def test_columns_line_up_whatever_the_script(self):
        measures = {"rail_5v": reading("rail_5v"),
                    "coil": reading("coil", 162.3, "Ω", uncertainty=0.5),
                    "bias": reading("bias", 2.5e-6, uncertainty=1e-8)}
        out, _ = self.ask(bench(**measures), "measure", "rail_5v", "coil", "bias")
        rows = out.splitlines()[1:]
        self.assertIn("2.500 µV", rows[2])
        self.assertIn("162.30 Ω", rows[1])
        self.assertEqual(len({row.index("±") for row in rows}), 1)
        self.assertEqual(len({row.index("pass") for row in rows}), 1)

    def test_plain_ascii_where_the_locale_has_no_more(self):
        out, _ = self.ask(bench(coil=reading("coil", 162.3, "Ω")), "measure", "coil",
                          env=environment(LC_ALL="C"))
        self.assertTrue(out.isascii())
        self.assertIn("162.3000 Ohm  +/- 0.0041 Ohm", out)

    def test_text_from_instruments_cannot_steer_the_terminal(self):
        out, err = self.ask(bench(rail_5v=reading("rail_5v", warnings=["\x1b[2Jx\x07\u009b"]),
                                  coil=Error(-32012, "unexpected reply", what="\x1b]0;x\x07")),
                            "measure", "rail_5v", "coil", status=3)
        for text in (out, err):
            self.assertNotIn("\x1b", text)
            self.assertNotIn("\x07", text)
        self.assertIn("\\x1B[2Jx\\x07\\xC2\\x9B", out)

    def test_exit_status_is_the_worst_of_all(self):
        statuses = {"pass": 0, "none": 0, "fail": 1, "conditional pass": 4, "conditional fail": 4}
        for verdict, status in statuses.items():
            self.ask(bench(rail_5v=reading("rail_5v", verdict=verdict)), "measure", "rail_5v",
                     status=status)
        unknown = Error(-32030, "unknown point", reason="unknown point")
        order = [(reading("x", verdict="pass"), 0), (reading("x", verdict="conditional pass"), 4),
                 (reading("x", verdict="fail"), 1), (OVER_RANGE, 3), (unknown, 2)]
        for index, (worse, status) in enumerate(order):
            for better, _ in order[:index + 1]:
                measures = {}
                for name, outcome in (("rail_5v", worse), ("coil", better)):
                    measures[name] = (dict(outcome, point=name) if isinstance(outcome, dict)
                                      else outcome)
                self.ask(bench(**measures), "measure", "rail_5v", "coil", status=status)
                self.ask(bench(**measures), "measure", "coil", "rail_5v", status=status)

    def test_limits_without_a_verdict_are_undecided(self):
        refused = reading("rail_5v", verdict="none", limits={"low": 4.9, "high": 5.1})
        self.ask(bench(rail_5v=refused), "measure", "rail_5v", status=4)

    def test_comparison_is_shown(self):
        compared = reading("rail_5v", limits={"low": 0.99, "high": 1.01, "judge": "ratio"},
                           comparison={"judge": "ratio", "reference": 5.0, "value": 1.00264,
                                       "uncertainty": 0.0012})
        out, _ = self.ask(bench(rail_5v=compared), "measure", "rail_5v")
        self.assertIn("rail_5v: judged by its ratio: 1.0026 ± 0.0012", out)
        self.assertIn("0.99 to 1.01  ", out)
        self.assertNotIn("1.01 V", out)

    def test_json_is_what_the_daemon_wrote(self):
        text = json.dumps(reading("rail_5v")).replace("5.0132", "5.01320000000000000001")
        text = text.replace('"raw"', '"a\\"}": [{"result": 1}], "raw"')
        out, _ = self.ask(bench(rail_5v=Raw(text), coil=OVER_RANGE), "--json", "measure",
                          "rail_5v", "coil", status=3)
        first, second = out.splitlines()
        self.assertEqual(first, text)
        self.assertEqual(json.loads(second), {"point": "coil", "error": OVER_RANGE.object})

    def test_csv_gives_every_digit_back(self):
        value = 0.1 + 0.2
        warnings = ['a "b", c', "d\nе"]
        out, _ = self.ask(bench(rail_5v=reading("rail_5v", value, warnings=warnings),
                                coil=OVER_RANGE), "measure", "rail_5v", "coil", "--csv", status=3)
        self.assertEqual(out.count("\r\n"), 3)
        rows = list(csv.DictReader(io.StringIO(out, newline="")))
        self.assertEqual(float(rows[0]["value"]), value)
        self.assertEqual(rows[0]["unit"], "V")
        self.assertEqual(rows[0]["warnings"], "; ".join(warnings))
        self.assertEqual(rows[0]["uncertainty"], "0.0041")
        self.assertEqual((rows[1]["value"], rows[1]["reason"]), ("", "over range"))

    def test_quiet_leaves_the_status_and_the_explanation(self):
        out, err = self.ask(bench(rail_5v=reading("rail_5v", verdict="fail"), coil=OVER_RANGE,
                                  bias=reading("bias")),
                            "--quiet", "measure", "rail_5v", "coil", "bias", status=3)
        self.assertEqual(out, "")
        self.assertEqual(err.count("\n"), 1)

    def test_all_measures_every_point_and_tells_cautions(self):
        out, err = self.ask(bench(**{p["name"]: reading(p["name"]) for p in POINTS}), "measure",
                            "--all", "--repeat", "3", "--deadline", "2500")
        self.assertEqual([row.split()[0] for row in out.splitlines()[1:]],
                         ["rail_5v", "coil", "bias"])
        self.assertEqual(err, "gradus: bias: caution: mains nearby\n")
        self.assertIn(("measure", {"point": "bias", "repeat": 3, "deadline_ms": 2500}),
                      self.requests)

    def test_no_points_at_all(self):
        self.ask({"points": lambda call: []}, "measure", "--all", status=2)

    def test_instruments_work_at_the_same_time_and_the_order_is_kept(self):
        waiting = {}

        def measure(call):
            # meter_a's first point is answered only once meter_b's has been asked for.
            waiting[call.params["point"]] = call
            if set(waiting) == {"rail_5v", "coil"}:
                waiting["coil"].result(reading("coil"))
                waiting["rail_5v"].result(reading("rail_5v"))
            elif "bias" in waiting:
                call.result(reading("bias"))

        out, _ = self.ask({"points": lambda call: POINTS, "measure": measure}, "measure",
                          "rail_5v", "bias", "coil")
        self.assertEqual([row.split()[0] for row in out.splitlines()[1:]],
                         ["rail_5v", "bias", "coil"])
        # One point after the other on meter_a.
        self.assertEqual([params.get("point") for _, params in self.requests],
                         [None, "rail_5v", "coil", "bias"])

    def test_a_lost_connection_fails_what_is_left(self):
        def measure(call):
            if call.params["point"] == "rail_5v":
                return reading("rail_5v")
            call.hang_up()
            return None

        out, err = self.ask({"points": lambda call: POINTS, "measure": measure}, "measure",
                            "rail_5v", "bias", status=3)
        self.assertIn("5.0132 V", out)
        self.assertIn("connection lost", out)
        self.assertIn("bias: connection lost: the daemon closed it", err)

    def test_a_silent_daemon_ends_it_in_time(self):
        out, err = self.ask({"points": lambda call: POINTS, "measure": lambda call: None},
                            "measure", "rail_5v", "--deadline", "1", status=3)
        self.assertIn("does not answer", out)
        self.assertIn("nothing came within 2 s", err)

    def test_an_answer_that_is_no_json_ends_it(self):
        _, err = self.ask({"points": lambda call: call.line("nonsense")}, "measure", "rail_5v",
                          status=3)
        self.assertIn("unexpected answer", err)

    def test_answers_to_other_questions_are_not_taken(self):
        def measure(call):
            right = call.id
            call.id = right + 100
            call.result(reading("rail_5v", 99.0))
            call.id = right
            return reading("rail_5v")

        out, _ = self.ask({"points": lambda call: POINTS, "measure": measure}, "measure",
                          "rail_5v")
        self.assertNotIn("99", out)

    def test_interrupted(self):
        asked = threading.Event()
        with FakeDaemon({"points": lambda call: POINTS,
                         "measure": lambda call: asked.set()}) as daemon:
            with subprocess.Popen([PROGRAM, "--socket", daemon.address, "measure", "rail_5v"],
                                  stdout=subprocess.PIPE, stderr=subprocess.PIPE,
                                  env=environment()) as process:
                self.assertTrue(asked.wait(LIMIT_S))
                process.send_signal(signal.SIGINT)
                out, err = process.communicate(timeout=LIMIT_S)
        self.assertEqual(process.returncode, 3)
        self.assertIn(b"interrupted", out)
        self.assertIn(b"interrupted", err)

    def test_over_tcp(self):
        with FakeDaemon(bench(rail_5v=reading("rail_5v")), tcp=True) as daemon:
            done = self.run_gradus(daemon, "measure", "rail_5v")
        self.assertEqual(done.returncode, 0, done)


class Terminal(Case):
    def look(self, *words, env):
        """Runs with standard output and error on a terminal; returns what it shows."""
        methods = bench(rail_5v=reading("rail_5v", verdict="fail"))
        ours, theirs = pty.openpty()
        with FakeDaemon(methods) as daemon:
            done = subprocess.run([PROGRAM, "--socket", daemon.address, *words], stdout=theirs,
                                  stderr=theirs, stdin=subprocess.DEVNULL, env=env,
                                  timeout=LIMIT_S, check=False)
        os.close(theirs)
        text = b""
        try:
            while chunk := os.read(ours, 65536):
                text += chunk
        except OSError:
            pass  # The other end is closed: that is all there was.
        os.close(ours)
        self.assertEqual(done.returncode, 1)
        return text.decode()

    def test_colour_and_progress_are_for_terminals(self):
        text = self.look("measure", "rail_5v", env=environment(TERM="xterm"))
        self.assertIn("\x1b[1;31mfail\x1b[0m", text)
        self.assertIn("measuring: 0 of 1 done", text)

    def test_no_color_is_heeded(self):
        text = self.look("measure", "rail_5v", env=environment(TERM="xterm", NO_COLOR="1"))
        self.assertNotIn("\x1b[1;31m", text)

    def test_quiet_shows_no_progress(self):
        self.assertEqual(self.look("--quiet", "measure", "rail_5v",
                                   env=environment(TERM="xterm")), "")


class Follow(Case):
    def test_a_line_a_reading_until_finished(self):
        def follow(call):
            call.result({"subscription": 4})
            call.notify("reading", subscription=4, point="rail_5v", reading=reading("rail_5v"))
            call.notify("reading", subscription=4, point="coil", error=OVER_RANGE.object)
            call.notify("reading", subscription=4, point="rail_5v", missed=3,
                        reading=reading("rail_5v", verdict="fail"))
            call.notify("finished", subscription=4)

        methods = {"points": lambda call: POINTS, "follow": follow}
        out, err = self.ask(methods, "follow", "rail_5v", "coil", "--every", "250", "--count",
                            "2", status=3)
        lines = out.splitlines()
        self.assertEqual(len(lines), 3)
        self.assertEqual(lines[0].split(), ["2026-01-31T12:00:00.123Z", "rail_5v", "5.0132", "V",
                                            "±", "0.0041", "V", "pass"])
        self.assertTrue(lines[1].endswith("coil     -                           over range"),
                        lines[1])
        self.assertIn("3 readings were skipped", err)
        self.assertEqual(self.requests[-1],
                         ("follow", {"points": ["rail_5v", "coil"], "every_ms": 250,
                                     "readings": 2, "deadline_ms": 10000}))
        out, _ = self.ask(methods, "follow", "rail_5v", "coil", "--json", status=3)
        self.assertEqual([json.loads(line).get("error") for line in out.splitlines()],
                         [None, OVER_RANGE.object, None])
        out, _ = self.ask(methods, "follow", "rail_5v", "coil", "--csv", status=3)
        rows = list(csv.DictReader(io.StringIO(out, newline="")))
        self.assertEqual([row["verdict"] for row in rows], ["pass", "", "fail"])

    def test_refused(self):
        def follow(call):
            raise Error(-32030, "unknown point", reason="unknown point", expected="rail_5v")

        _, err = self.ask({"points": lambda call: POINTS, "follow": follow}, "follow", "rail_v",
                          status=2)
        self.assertIn("unknown point: expected rail_5v", err)

    def follow_until(self, end):
        """Starts a stream that never ends, reads one line of it, and has `end` end it."""

        def follow(call):
            call.result({"subscription": 1})
            call.notify("reading", subscription=1, reading=reading("rail_5v", verdict="fail"))

        with FakeDaemon({"points": lambda call: POINTS, "follow": follow}) as daemon:
            with subprocess.Popen([PROGRAM, "--socket", daemon.address, "follow", "rail_5v"],
                                  stdout=subprocess.PIPE, stderr=subprocess.PIPE,
                                  env=environment()) as process:
                # The line is there although the stream goes on: it was flushed.
                self.assertIn(b"rail_5v", process.stdout.readline())
                end(process)
                _, err = process.communicate(timeout=LIMIT_S)
        self.assertEqual(err, b"")
        return process.returncode

    def test_interrupt_ends_it_cleanly(self):
        self.assertEqual(self.follow_until(lambda process: process.send_signal(signal.SIGINT)), 1)
        self.assertEqual(self.follow_until(lambda process: process.terminate()), 1)

    def test_a_reader_that_leaves_ends_it(self):
        def follow(call):
            call.result({"subscription": 1})
            try:
                while True:
                    call.notify("reading", subscription=1, reading=reading("rail_5v"))
            except OSError:
                pass  # The command has gone, as it should.

        with FakeDaemon({"points": lambda call: POINTS, "follow": follow}) as daemon:
            with subprocess.Popen([PROGRAM, "--socket", daemon.address, "follow", "rail_5v"],
                                  stdout=subprocess.PIPE, stderr=subprocess.PIPE,
                                  env=environment()) as process:
                process.stdout.readline()
                process.stdout.close()
                self.assertEqual(process.wait(LIMIT_S), 3)
                self.assertEqual(process.stderr.read(), b"")


CAPTURE = {
    "point": "sensor", "unit": "V", "time": "2026-01-31T12:00:00.123Z", "sequence": 9,
    "instrument": {"name": "scope_a"}, "probe": {"name": "x10", "factor": 10, "unit": "V"},
    "range": {"full_scale": 0.8, "at_tip": 8.0, "resolution": 0.003125,
              "volts_per_division": 0.1, "offset": 0.0, "coupling": "dc"},
    "interval": 2e-05, "count": 1000,
    "samples": [3 * math.sin(2 * math.pi * i / 500) for i in range(999)] + [3.9],
    "parameters": {"mean": 0.4, "rms": 2.15, "ac_rms": 2.12, "maximum": 3.9, "minimum": -3.0,
                   "peak_to_peak": 6.9, "noise": 0.005, "frequency": 100.0, "periods": 2},
    "steps": [], "warnings": ["one sample stands out"],
}


class Capture(Case):
    def capture(self, result, *words, status=0, env=None):
        return self.ask({"capture": lambda call: result}, "capture", "sensor", *words,
                        status=status, env=env)

    def test_what_is_no_waveform_is_refused(self):
        for change in ({"samples": [1]}, {"samples": [1, "2"]}, {"samples": None},
                       {"interval": 0}, {"unit": None}):
            _, err = self.capture({**CAPTURE, **change}, status=3)
            self.assertIn("unexpected answer", err)

    def test_a_plot_with_its_scale(self):
        out, _ = self.capture(CAPTURE)
        self.assertIn("sensor: V at the tip, 1000 samples, 20 µs apart", out)
        self.assertIn("2 V ┤", out)
        self.assertIn("0 V ┤", out)
        self.assertIn("10 ms", out)
        self.assertIn("1 V/div at the tip, coupling dc", out)
        self.assertIn("frequency          100.0 Hz", out)
        self.assertIn("sensor: warning: one sample stands out", out)
        self.assertTrue(any("\u2801" <= letter <= "\u28ff" for letter in out))
        self.assertLessEqual(max(len(line) for line in out.splitlines()), 80)
        self.assertEqual(self.requests, [("capture", {"point": "sensor", "samples": 2000000,
                                                      "deadline_ms": 10000})])

    def test_what_is_zero_or_not_known_is_left_out(self):
        out, _ = self.capture(CAPTURE)
        self.assertIn("coupling dc\n", out)
        self.assertIn("noise of a sample  5.000 mV", out)
        quiet = {**CAPTURE, "parameters": {"mean": 1.0, "noise": 1e-16, "periods": 0}}
        quiet["range"] = {**CAPTURE["range"], "offset": 0.5, "position": -0.2}
        quiet["recorded"] = 5000
        out, _ = self.capture(quiet)
        self.assertNotIn("noise", out)
        self.assertNotIn("periods", out)
        self.assertIn("1000 of 5000 samples", out)
        self.assertIn(", offset 500 mV at the input, zero trace 200 mV below the centre "
                      "at the input\n", out)

    def test_ascii(self):
        for words, env in ((("--ascii",), environment()), ((), environment(LC_ALL="C"))):
            out, _ = self.capture(CAPTURE, *words, env=env)
            plot = [line for line in out.splitlines() if " |" in line or " +" in line]
            self.assertGreater(len(plot), 10)
            self.assertTrue("".join(plot).isascii())
            self.assertIn("#", "".join(plot))

    def test_csv_has_time_and_value_of_every_sample(self):
        out, _ = self.capture(CAPTURE, "--csv")
        rows = list(csv.reader(io.StringIO(out, newline="")))
        self.assertEqual(rows[0], ["time", "value", "time_unit", "unit"])
        self.assertEqual([float(row[1]) for row in rows[1:]], CAPTURE["samples"])
        self.assertEqual(rows[3][2:], ["s", "V"])
        self.assertEqual(float(rows[3][0]), 2 * 2e-05)

    def test_a_waveform_whose_reading_failed_says_so(self):
        _, err = self.capture({**CAPTURE, "failure": {"reason": "over range", "what": "clipped"}},
                              status=3)
        self.assertEqual(err, "gradus: sensor: over range: clipped\n")

    def test_options_travel(self):
        self.capture(CAPTURE, "--duration", "0.02", "--samples=500", "--deadline", "4000")
        self.assertEqual(self.requests[0][1], {"point": "sensor", "samples": 500,
                                               "duration": 0.02, "deadline_ms": 4000})


EXPLANATION = {
    "point": "bias", "quantity": "dc voltage", "unit": "V",
    "signal": {"value": 2.5, "source": "expected"}, "chosen": 1,
    "candidates": [
        {"full_scale": 2, "at_tip": 2.0, "resolution": 1e-5, "fits": False,
         "input_resistance": 1e10, "loading_error": -2.5e-6, "note": "too small"},
        {"full_scale": 20, "at_tip": 20.0, "resolution": 1e-4, "fits": True,
         "uncertainty": 0.0016, "input_resistance": 1e7, "loading_error": -2.5e-3}],
    "text": ["The 20 V range is the smallest that holds 2.5 V."],
}


class Others(Case):
    def test_explain(self):
        methods = {"explain": lambda call: EXPLANATION}
        out, _ = self.ask(methods, "explain", "bias")
        lines = out.splitlines()
        self.assertEqual(lines[0], "bias, dc voltage. Signal: 2.500 V (expected).")
        self.assertTrue(lines[4].startswith("*   20 V"), lines[4])
        self.assertIn("± 1.6 mV", lines[4])
        self.assertIn("10 MΩ", lines[4])
        self.assertIn("too small", lines[3])
        self.assertEqual(lines[-1], EXPLANATION["text"][0])
        out, _ = self.ask(methods, "explain", "bias", "--csv")
        rows = list(csv.DictReader(io.StringIO(out, newline="")))
        self.assertEqual([row["chosen"] for row in rows], ["false", "true"])
        self.assertEqual(rows[1]["uncertainty"], "0.0016")
        self.ask({"explain": lambda call: {}}, "explain", "bias", status=3)

    def test_errors_as_json(self):
        def explain(call):
            raise Error(-32030, "unknown point", reason="unknown point")

        out, err = self.ask({"explain": explain}, "--json", "explain", "x", status=2)
        self.assertEqual(json.loads(out)["error"]["data"], {"reason": "unknown point"})
        self.assertEqual(err, "gradus: x: unknown point\n")

    def test_rpc_errors_of_usage(self):
        for code, status in ((-32601, 2), (-32602, 2), (-32603, 3), (-32600, 3)):
            def health(call, code=code):
                raise Error(code, "said plainly")

            _, err = self.ask({"health": health}, "health", status=status)
            self.assertIn("said plainly", err)

    def test_points(self):
        out, _ = self.ask({"points": lambda call: POINTS}, "points")
        rows = out.splitlines()
        self.assertIn("4.75 to 5.25 V", rows[1])
        self.assertEqual(rows[-1], "bias: caution: mains nearby")
        out, _ = self.ask({"points": lambda call: POINTS}, "--csv", "points")
        self.assertEqual(list(csv.DictReader(io.StringIO(out)))[0]["limit_high"], "5.25")
        out, _ = self.ask({"points": lambda call: POINTS}, "--json", "points")
        self.assertEqual(json.loads(out), POINTS)
        self.ask({"points": lambda call: {"no": "list"}}, "points", status=3)

    def test_instruments(self):
        listed = [{"name": "meter_a", "kind": "meter", "profile": "p", "link": "tcp:h:1",
                   "state": "idle", "identity": "TARNWERK,BENCH METER,1,1.4", "last_heard_s": 250.0,
                   "queue": 2, "counters": {"queries": 12, "timeouts": 1},
                   "note": "it could be faster"},
                  {"name": "scope_a", "kind": "scope", "link": "tcp:h:2", "state": "down",
                   "queue": 0, "failure": {"reason": "link down", "what": "refused"}}]
        out, _ = self.ask({"instruments": lambda call: listed}, "instruments")
        rows = out.splitlines()
        self.assertIn("4 min ago", rows[1])
        self.assertIn("never", rows[2])
        self.assertEqual(rows[3:], ["meter_a: it could be faster", "scope_a: link down: refused"])
        out, _ = self.ask({"instruments": lambda call: listed}, "instruments", "--csv")
        rows = list(csv.DictReader(io.StringIO(out)))
        self.assertEqual((rows[0]["timeouts"], rows[1]["reason"]), ("1", "link down"))
        self.assertEqual((rows[0]["note"], rows[1]["note"]), ("it could be faster", ""))

    def test_health(self):
        state = {"version": "0.1.0", "uptime_s": 12.5, "stopping": False,
                 "states": {"meter_a": "idle", "meter_b": "down"},
                 "queues": {"meter_a": 0, "meter_b": 3}}
        out, _ = self.ask({"health": lambda call: state}, "health")
        self.assertIn("uptime    00:00:12\n", out)
        self.assertIn("states    meter_a idle, meter_b down", out)
        self.assertIn("queues    meter_a 0, meter_b 3", out)
        out, _ = self.ask({"health": lambda call: state}, "--csv", "health")
        self.assertEqual(dict(csv.reader(io.StringIO(out)))["queues"], "meter_a 0, meter_b 3")
        self.ask({"health": lambda call: 1}, "health", status=3)

    def test_talk(self):
        methods = {"talk": lambda call: {"reply": "a\x00\x1bb"}}
        out, _ = self.ask(methods, "talk", "meter_a", "*IDN?")
        self.assertEqual(out, "a\\x00\\x1Bb\n")
        self.assertEqual(self.requests[0][1], {"instrument": "meter_a", "command": "*IDN?",
                                               "deadline_ms": 10000})
        self.assertEqual(self.ask({"talk": lambda call: {}}, "talk", "a", "*CLS")[0], "")


class OtherProgram(Case):
    def test_check_and_try_run_the_daemons_program_beside_this_one(self):
        with tempfile.TemporaryDirectory() as folder:
            os.makedirs(folder + "/bin")
            os.makedirs(folder + "/sbin")
            beside = folder + "/bin/gradus"
            with open(PROGRAM, "rb") as source, open(beside, "wb") as copy:
                copy.write(source.read())
            with open(folder + "/sbin/gradusd", "w", encoding="ascii") as script:
                script.write('#!/bin/sh\nprintf "<%s>" "$@"\nexit 7\n')
            os.chmod(beside, 0o755)
            os.chmod(folder + "/sbin/gradusd", 0o755)
            for words, said in ((["check", "a b"], "<--check><a b>"),
                                (["try", "p", "tcp:h:1", "--yes", "--help", "--"],
                                 "<--try><p><tcp:h:1><--yes><--help><-->")):
                done = subprocess.run([beside, *words], capture_output=True, env=environment(),
                                      timeout=LIMIT_S, check=False)
                self.assertEqual((done.returncode, done.stdout.decode()), (7, said), done)
            os.remove(folder + "/sbin/gradusd")
            done = subprocess.run([beside, "check", "x"], capture_output=True,
                                  env=environment(PATH=folder), timeout=LIMIT_S, check=False)
            self.assertEqual(done.returncode, 2)
            self.assertIn(b"looked for it beside gradus", done.stderr)


if __name__ == "__main__":
    unittest.main()
