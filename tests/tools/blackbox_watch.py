# SPDX-License-Identifier: GPL-3.0-or-later
"""What is drawn in place: `gradus burnin status --watch` and `gradus follow` on a terminal."""

import json
import os
import re
import signal
import subprocess
import threading
import unittest

from blackbox_gradus import OVER_RANGE, POINTS, PROGRAM, Case, environment, reading
from fake_daemon import Error, FakeDaemon
from terminal import LIMIT_S, Terminal


def run(count=1, name="rack-1", **more):
    """A run of so many units with two points each."""
    points = [{"point": f"out_{unit}_{point}", "unit_number": unit, "state": "within limits",
               "margin": 0.8, "worst_margin": 0.75, "value_unit": "V"}
              for unit in range(1, count + 1) for point in (1, 2)]
    return {"run": name, "plan": "rack", "state": "running", "phase": "soak", "warm_up": False,
            "round": 1, "rounds": 100, "late": 0, "missed": 0, "gaps": 0, "clock_jumps": 0,
            "left_s": 60.0, "next_s": 0.5, "points": points, **more}


class Bench:
    """A daemon with one run, whose rounds count the times it was asked."""

    def __init__(self, count=1):
        self.run = run(count)
        self.methods = {"burnin.status": self.status}

    def status(self, _):
        self.run["round"] += 1
        return {"plans": ["rack"], "runs": [self.run]}

    def trip(self):
        self.run["points"][0].update(state="tripped", cause="limit", trip_round=7,
                                     trip_time="2026-01-31T12:00:00.000Z")


def on_terminal(daemon, *words, columns=80, rows=24, **env):
    return Terminal([PROGRAM, "--socket", daemon.address, *words], columns, rows,
                    environment(TERM="xterm", **env))


def drawn(terminal):
    """The round that is shown; 0: none yet."""
    found = re.search(r"round (\d+) of", terminal.text)
    return int(found[1]) if found else 0


WATCH = ("burnin", "status", "--watch", "--every", "100")


class Watching(Case):
    def test_it_is_drawn_anew_until_control_c(self):
        bench = Bench()
        with FakeDaemon(bench.methods) as daemon, on_terminal(daemon, *WATCH) as terminal:
            terminal.until(lambda: drawn(terminal) >= 3)
            self.assertIsNotNone(terminal.screen.own)
            self.assertFalse(terminal.screen.cursor)
            self.assertEqual(terminal.text.count("phase soak"), 1)
            bench.trip()
            terminal.until(lambda: "TRIP" in terminal.text and "out_1_1\n" in terminal.text)
            self.assertIn("2026-01-31T12:00:00Z  round 7        limit       out_1_1",
                          terminal.text)
            terminal.type("\x03")
            self.assertEqual(terminal.end(), 1)
            self.assertIsNone(terminal.screen.own)
            self.assertTrue(terminal.screen.cursor)
            # The last picture stays, below what was there before.
            self.assertIn("rack-1  phase soak", terminal.text)
            self.assertIn("1 TRIP", terminal.text)
            self.assertNotIn("Ctrl-C", terminal.text)

    def test_suspending_gives_the_terminal_back(self):
        bench = Bench()
        with FakeDaemon(bench.methods) as daemon, on_terminal(daemon, *WATCH) as terminal:
            terminal.until(lambda: drawn(terminal) >= 3)
            terminal.suspend()
            terminal.until(lambda: terminal.screen.own is None)
            self.assertTrue(terminal.screen.cursor)
            terminal.go_on()
            terminal.until(lambda: terminal.screen.own is not None and "phase" in terminal.text)
            self.assertFalse(terminal.screen.cursor)
            terminal.process.terminate()
            self.assertEqual(terminal.end(), 0)
            self.assertTrue(terminal.screen.cursor)

    def test_a_terminal_that_hangs_up_ends_it_in_order(self):
        with FakeDaemon(Bench().methods) as daemon, on_terminal(daemon, *WATCH) as terminal:
            terminal.until(lambda: "phase" in terminal.text)
            terminal.process.send_signal(signal.SIGHUP)
            self.assertEqual(terminal.end(), -signal.SIGHUP)
            self.assertIsNone(terminal.screen.own)
            self.assertTrue(terminal.screen.cursor)

    def test_a_lost_daemon_leaves_the_last_status_and_says_that_it_is_old(self):
        bench = Bench()
        silent = threading.Event()

        def status(call):
            if silent.is_set():
                call.hang_up()
                return None
            return bench.status(call)

        with FakeDaemon({"burnin.status": status}) as daemon, \
                on_terminal(daemon, *WATCH) as terminal:
            terminal.until(lambda: drawn(terminal) >= 3)
            silent.set()
            terminal.until(lambda: "NO CONTACT NOW: connection lost" in terminal.text)
            self.assertRegex(terminal.text, r"\Aas of 20\d\d-\d\d-\d\d \d\d:\d\d:\d\d UTC, NO")
            self.assertIn("rack-1  phase soak", terminal.text)
            silent.clear()
            terminal.until(lambda: "NO CONTACT" not in terminal.text)
            terminal.type("\x03")
            self.assertEqual(terminal.end(), 0)

    def test_a_run_that_is_not_there_ends_it_at_once(self):
        def status(call):
            raise Error(-32030, "settings", reason="settings", what="there is no run x")

        with FakeDaemon({"burnin.status": status}) as daemon, \
                on_terminal(daemon, *WATCH, "x") as terminal:
            self.assertNotEqual(terminal.end(), 0)
            self.assertIn("there is no run x", terminal.text)
            self.assertTrue(terminal.screen.cursor)

    def test_a_changed_size_is_heeded(self):
        with FakeDaemon(Bench(64).methods) as daemon, on_terminal(daemon, *WATCH) as terminal:
            terminal.until(lambda: "64   75" in terminal.text)
            self.assertLessEqual(max(map(len, terminal.text.split("\n"))), 80)
            terminal.screen.rows, terminal.screen.lines = 10, terminal.screen.lines[:10]
            terminal.resize(80, 10)
            terminal.until(lambda: "more do not fit" in terminal.text)
            terminal.type("\x03")
            terminal.end()

    def test_colours_only_where_they_are_welcome(self):
        for more, coloured in (({}, True), ({"NO_COLOR": "1"}, False)):
            bench = Bench()
            bench.trip()
            with FakeDaemon(bench.methods) as daemon, \
                    on_terminal(daemon, *WATCH, **more) as terminal:
                terminal.until(lambda terminal=terminal: "TRIP" in terminal.text)
                terminal.type("\x03")
                terminal.end()
                self.assertEqual("1;31" in terminal.screen.styles, coloured)
                self.assertIn("TRIP", terminal.text)

    def piped(self, *words):
        """The first two pictures that go into a pipe, with the run having tripped."""
        bench = Bench()
        bench.trip()
        with FakeDaemon(bench.methods) as daemon:
            with subprocess.Popen([PROGRAM, "--socket", daemon.address, *words],
                                  stdout=subprocess.PIPE, env=environment(TERM="xterm")) as process:
                lines = []
                while "".join(lines).count("rack-1") < 2:
                    lines.append(process.stdout.readline().decode())
                process.send_signal(signal.SIGINT)
                process.stdout.read()
                self.assertEqual(process.wait(LIMIT_S), 0 if "--json" in words else 1)
        return "".join(lines)

    def test_into_a_pipe_one_status_goes_after_the_other(self):
        text = self.piped(*WATCH)
        self.assertNotIn("\x1b", text)
        self.assertRegex(text, r"\A20\S+ \S+ UTC, Ctrl-C ends\nrack-1  phase soak\n")
        for line in self.piped(*WATCH, "--json").splitlines():
            self.assertEqual(json.loads(line)["runs"][0]["run"], "rack-1")

    def test_what_goes_with_which_word(self):
        for words in (("start", "rack", "--watch"), ("stop", "rack", "--every", "5"), ("status",
                      "a", "b"), ("start",), ("begin", "rack")):
            with FakeDaemon({}) as daemon:
                done = self.run_gradus(daemon, "burnin", *words)
            self.assertEqual(done.returncode, 2, done)


class Once(Case):
    def look(self, bench, *words, **options):
        with FakeDaemon(bench.methods) as daemon, \
                on_terminal(daemon, *words, **options) as terminal:
            status = terminal.end()
        return status, terminal.text

    def test_sixty_four_units_fit_one_screen(self):
        bench = Bench(64)
        bench.trip()
        status, text = self.look(bench, "burnin", "status")
        self.assertEqual(status, 1)
        self.assertTrue(text.startswith("rack-1  phase soak\n"), text)
        self.assertIn("64   75", text)
        self.assertNotIn("do not fit", text)

    def test_what_does_not_fit_is_said(self):
        _, text = self.look(Bench(400), "burnin", "status")
        self.assertTrue(text.startswith("rack-1  phase soak\n"), text)
        self.assertRegex(text, r"\d+ more do not fit, the worst of them at 75 %")


class Following(Case):
    def follow(self, told, count=None):
        """Methods of a daemon that tells these and then, after `count`, that it has finished."""

        def follow(call):
            call.result({"subscription": 1, "warnings": ["bias: too slow for its signal"]})
            for one in told:
                call.notify("reading", subscription=1, **one)
            if count is not None:
                call.notify("finished", subscription=1)

        return {"points": lambda call: POINTS, "follow": follow}

    RISING = [{"point": "rail_5v", "reading": reading("rail_5v", value=5 + step / 10,
                                                      verdict="pass")} for step in range(8)]

    def test_each_point_has_one_line_with_its_course(self):
        told = self.RISING + [{"point": "coil", "error": OVER_RANGE.object}]
        with FakeDaemon(self.follow(told)) as daemon, \
                on_terminal(daemon, "follow", "rail_5v", "coil", "bias") as terminal:
            terminal.until(lambda: "overloaded" in terminal.text)
            lines = terminal.text.split("\n")
            self.assertEqual(lines[0], "3 points, times UTC, Ctrl-C ends")
            self.assertEqual(lines[1], "bias: too slow for its signal")
            self.assertEqual(lines[2], "12:00:00  rail_5v  5.7000 V ± 0.0041 V  pass        "
                                       "▁▂▃▄▅▆▇█")
            self.assertRegex(lines[3], r"^\d\d:\d\d:\d\d  coil     - +over range  x$")
            self.assertEqual(lines[4].strip(), "bias")
            self.assertEqual(lines[5], "bias: caution: mains nearby")
            self.assertIn("coil: the 1000 V range is overloaded, expected at most 1000 V", lines[6])
            terminal.type("\x03")
            self.assertEqual(terminal.end(), 3)
            self.assertTrue(terminal.screen.cursor)
            self.assertIn("▁▂▃▄▅▆▇█", terminal.text)

    def test_plain_ascii_where_the_locale_has_no_more(self):
        with FakeDaemon(self.follow(self.RISING, 8)) as daemon, \
                on_terminal(daemon, "follow", "rail_5v", LC_ALL="C") as terminal:
            self.assertEqual(terminal.end(), 0)
            self.assertIn("5.7000 V +/- 0.0041 V  pass  __..--''", terminal.text)
            self.assertTrue(terminal.text.isascii())

    def test_a_narrow_terminal_keeps_the_numbers(self):
        told = [{"point": "rail_5v", "reading": reading("rail_5v", verdict="conditional pass")}]
        with FakeDaemon(self.follow(told, 1)) as daemon, \
                on_terminal(daemon, "follow", "rail_5v", columns=46) as terminal:
            self.assertEqual(terminal.end(), 4)
            self.assertRegex(terminal.text, r"(?m)^rail_5v  5\.0132 V ± 0\.0041 V  conditional pas…$")

    def test_points_that_fail_are_never_left_out(self):
        many = [dict(POINTS[0], name=f"p{number}") for number in range(30)]
        told = [{"point": point["name"], "reading": reading(point["name"], verdict="fail" if
                 point["name"] == "p29" else "pass")} for point in many]
        methods = {**self.follow(told, 1), "points": lambda call: many}
        with FakeDaemon(methods) as daemon, \
                on_terminal(daemon, "follow", "--all", rows=12) as terminal:
            self.assertEqual(terminal.end(), 1)
            self.assertIn("p29 ", terminal.text)
            self.assertIn("21 more points do not fit", terminal.text)

    def test_machine_readable_forms_are_as_they_were(self):
        with FakeDaemon(self.follow(self.RISING, 8)) as daemon, \
                on_terminal(daemon, "follow", "rail_5v", "--csv", columns=1000) as terminal:
            self.assertEqual(terminal.end(), 0)
            self.assertEqual(len(re.findall(r"(?m)^rail_5v,", terminal.text)), 8)
            self.assertIsNone(terminal.screen.own)


if __name__ == "__main__":
    unittest.main()
