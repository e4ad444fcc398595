# SPDX-License-Identifier: GPL-3.0-or-later
"""The shop's commands at the begin and the end of a phase: measuring waits, outcomes are on record,
a failure ends or holds the run, and a restart amid a command runs it again."""

import json
import os
import pathlib
import signal
import subprocess
import unittest

from blackbox_burnin import COMMAND, PROGRAM, BurninCase
from gradusd import LIMIT_S, Gradusd

SCRIPT = """#!/bin/sh
cd {folder}
cat >>told
echo "$1" >>said
id -u >user
printf 'set to\\033[2J %s\\n' "$1"
[ -p "gate.$1" ] && read x <"gate.$1"
[ -e "fails.$1" ] && exit 3
exit 0
"""


class PhaseCase(BurninCase):
    words = ""
    first_s = 0.5
    second_s = 600

    @property
    def length(self):
        command = f'"{self.folder}/switch"'
        return (f'{self.words} phases = ( {{ name = "cold"; duration_s = {self.first_s}; '
                f'begins = ( {command}, "cold; rm -rf $HOME" ); ends = ( {command}, "away" ); }}, '
                f'{{ name = "hot"; duration_s = {self.second_s}; begins = ( {command}, "hot" ); '
                f'ends = ( {command}, "off" ); command_s = 120; }} );')

    def setUp(self):
        super().setUp()
        script = pathlib.Path(self.folder, "switch")
        script.write_text(SCRIPT.format(folder=self.folder))
        script.chmod(0o755)
        self.daemon.reload(self.settings())

    def said_words(self):
        """What was switched so far."""
        path = pathlib.Path(self.folder, "said")
        return path.read_text().split("\n")[:-1] if path.exists() else []

    def outcomes(self):
        return [(body["phase"], body["when"], body["outcome"])
                for _, body in self.events("phase command")]

    def gate(self, name):
        """A command of that argument waits until the gate is opened."""
        path = os.path.join(self.folder, f"gate.{name}")
        os.mkfifo(path)
        os.chmod(path, 0o666)
        self.addCleanup(self.open_gate, name)

    def open_gate(self, name):
        path = os.path.join(self.folder, f"gate.{name}")
        if os.path.exists(path):
            end = os.open(path, os.O_RDWR | os.O_NONBLOCK)
            os.unlink(path)
            os.write(end, b"go\n" * 8)  # one that a killed daemon left behind waits, too
            self.addCleanup(os.close, end)

    def crash(self):
        self.daemon.send_signal(signal.SIGKILL)
        self.daemon.wait()
        self.daemon.stop()
        self.daemon = Gradusd(PROGRAM, self.settings(), self.folder)
        self.addCleanup(self.end_daemon)
        self.client = self.daemon.client()


class Around(PhaseCase):
    second_s = 1.5

    def test_a_phase_is_switched_before_it_is_measured_and_after(self):
        run = self.client.call("burnin.start", plan="rack", job={"name": "R-7"})["run"]
        self.until(lambda: len(self.outcomes()) == 8)
        self.assertEqual(self.said_words(), ["cold; rm -rf $HOME", "away", "hot", "off"])
        self.assertEqual(self.outcomes(), [
            (phase, when, outcome) for phase, when in (
                ("cold", "begins"), ("cold", "ends"), ("hot", "begins"), ("hot", "ends"))
            for outcome in ("begun", "done")])
        done = [body for _, body in self.events("phase command") if body["outcome"] == "done"]
        self.assertEqual({body["output"].split(" cold")[0] for body in done[:1]}, {"set to?[2J"})
        self.assertEqual(done[-1]["run_ended"], "completed")
        self.assertNotEqual(pathlib.Path(self.folder, "user").read_text(), "0\n")
        told = [json.loads(line) for line in
                pathlib.Path(self.folder, "told").read_text().splitlines()]
        self.assertEqual([(line["run"], line["phase"], line["when"]) for line in told],
                         [(run, "cold", "begins"), (run, "cold", "ends"), (run, "hot", "begins"),
                          (run, "hot", "ends")])
        self.assertEqual({line["job"]["name"] for line in told}, {"R-7"})
        report = self.gradus("burnin", "report", "rack", "--html", "-")
        self.assertIn("begin command of phase hot: done; it said: set to?[2J hot", report)


class Waiting(PhaseCase):
    def test_measuring_waits_and_what_was_missed_is_told(self):
        self.gate("hot")
        self.client.call("burnin.start", "rack")
        self.until(lambda: self.said_words()[-1:] == ["hot"])
        status = self.status()
        self.assertEqual({key: status["command"][key] for key in ("phase", "when", "state")},
                         {"phase": "hot", "when": "begins", "state": "running"})
        self.assertIn("the begin command of phase hot runs\n", self.gradus("burnin", "status"))
        measured = self.status()["round"]
        self.assertLessEqual(measured, 5)
        self.assertEqual(self.status()["round"], measured)
        self.open_gate("hot")
        self.until(lambda: self.status()["round"] > measured)
        self.assertNotIn("command", self.status())


class Failing(PhaseCase):
    def test_a_failure_ends_the_run(self):
        pathlib.Path(self.folder, "fails.hot").touch()
        self.client.call("burnin.start", "rack")
        self.until(lambda: self.events("run ended"))
        self.until(lambda: self.outcomes()[-1:] == [("hot", "begins", "failed")])
        failed = self.events("phase command")[-1][1]
        self.assertEqual((failed["reason"], failed["then"]), ("exit status 3", "ended"))
        self.assertEqual(self.status()["why"], "a phase's command failed")
        self.assertEqual(self.said_words()[-1], "hot")
        # A busy machine may have measured nothing in half a second.
        status = 0 if all(self.point(name).get("readings", 0) for name in
                          ("out_01", "out_02", "weak")) else 3
        report = self.gradus("burnin", "report", "rack", status=status)
        self.assertIn("The command of a phase failed once; what it was to switch may not have been "
                      "switched.", " ".join(report.split()))

    def test_one_that_takes_too_long_has_failed(self):
        self.gate("hot")
        self.daemon.reload(self.settings().replace("command_s = 120", "command_s = 0.3"))
        self.client.call("burnin.start", "rack")
        self.until(lambda: self.events("run ended"))
        self.until(lambda: self.outcomes()[-1:] == [("hot", "begins", "failed")])
        self.assertEqual(self.events("phase command")[-1][1]["reason"], "killed: it took too long")

    def test_one_that_cannot_be_run_has_failed(self):
        os.unlink(os.path.join(self.folder, "switch"))
        self.client.call("burnin.start", "rack")
        self.until(lambda: self.events("run ended"))
        self.until(lambda: len(self.events("phase command")) == 2)
        self.assertEqual(self.events("phase command")[-1][1]["outcome"], "failed")
        self.assertEqual(self.client.call("readings")["readings"], [])


class Holding(PhaseCase):
    words = 'command_fails = "hold"; ends_when_stopped = true;'

    def test_a_failure_holds_the_run_until_it_is_continued_over_a_restart_too(self):
        pathlib.Path(self.folder, "fails.hot").touch()
        self.client.call("burnin.start", "rack")
        self.until(lambda: self.status()["state"] == "held")
        self.assertIn("held: the begin command of phase hot failed; gradus burnin continue runs it "
                      "again\n", self.gradus("burnin", "status", status=1))
        measured = self.status()["round"]
        self.crash()
        self.assertEqual(self.status()["state"], "held")
        self.gradus("burnin", "continue", "rack")
        self.until(lambda: self.outcomes().count(("hot", "begins", "failed")) == 2)
        self.until(lambda: self.status()["state"] == "held")
        os.unlink(os.path.join(self.folder, "fails.hot"))
        self.gradus("burnin", "continue", "rack")
        self.until(lambda: self.status()["state"] == "running" and
                   self.status()["round"] > measured)
        self.assertEqual(self.said_words(), ["cold; rm -rf $HOME", "away", "hot", "hot", "hot"])
        self.assertIs(self.events("phase command")[-1][1].get("after_restart"), True)
        self.assertEqual(len(self.events("run continued")), 2)
        self.assertIn("it is not held", self.refused(self.client.call, "burnin.continue",
                                                     "rack").data["what"])

    def test_the_end_command_is_run_when_the_run_is_stopped(self):
        self.client.call("burnin.start", "rack")
        self.until(lambda: self.outcomes()[-1:] == [("hot", "begins", "done")])
        stopped = self.client.call("burnin.stop", "rack")
        self.assertEqual((stopped["why"], stopped["ends_phase"]), ("stopped", "hot"))
        self.until(lambda: self.outcomes()[-1:] == [("hot", "ends", "done")])
        self.assertEqual(self.events("phase command")[-1][1]["run_ended"], "stopped")

    def test_the_end_command_is_run_when_all_has_tripped(self):
        self.daemon.reload(self.settings().replace('stops = "unit"', 'stops = "run"'))
        self.client.call("burnin.start", "rack")
        self.until(lambda: self.outcomes()[-1:] == [("hot", "begins", "done")])
        self.bench.set_source("rail", level=6.0)
        self.until(lambda: self.outcomes()[-1:] == [("hot", "ends", "done")])
        self.assertEqual(self.events("phase command")[-1][1]["run_ended"], "tripped")

    def test_a_stop_kills_the_begin_command(self):
        self.gate("hot")
        self.client.call("burnin.start", "rack")
        self.until(lambda: self.said_words()[-1:] == ["hot"])
        self.client.call("burnin.stop", "rack")
        self.until(lambda: self.outcomes()[-1:] == [("hot", "ends", "done")])
        failed = [body for _, body in self.events("phase command") if body["outcome"] == "failed"]
        self.assertEqual([(body["reason"], body["then"]) for body in failed],
                         [("killed: the run is over", "nothing")])


class Restart(PhaseCase):
    words = "ends_when_stopped = true;"

    def test_the_begin_is_run_again_amid_its_phase_and_amid_itself(self):
        self.gate("hot")
        run = self.client.call("burnin.start", "rack")["run"]
        self.until(lambda: self.said_words()[-1:] == ["hot"])
        self.crash()
        self.until(lambda: self.said_words()[-2:] == ["hot", "hot"])
        self.open_gate("hot")
        self.until(lambda: self.outcomes()[-1:] == [("hot", "begins", "done")])
        self.rounds(2)
        self.crash()
        self.rounds(2)
        self.assertEqual(self.status()["run"], run)
        self.assertEqual(self.said_words(), ["cold; rm -rf $HOME", "away", "hot", "hot", "hot"])
        again = [body.get("after_restart") for _, body in self.events("phase command")
                 if body["outcome"] == "begun"]
        self.assertEqual(again, [None, None, None, True, True])

    def test_the_end_command_of_a_run_that_has_ended_is_made_up_for(self):
        self.gate("off")
        self.client.call("burnin.start", "rack")
        self.until(lambda: self.outcomes()[-1:] == [("hot", "begins", "done")])
        self.client.call("burnin.stop", "rack")
        self.until(lambda: self.said_words()[-1:] == ["off"])
        self.crash()
        self.until(lambda: self.said_words()[-2:] == ["off", "off"])
        self.open_gate("off")
        self.until(lambda: self.outcomes()[-1:] == [("hot", "ends", "done")])
        self.assertEqual(self.status()["why"], "stopped")
        self.crash()
        self.client.call("burnin.start", "rack")
        self.until(lambda: self.outcomes()[-1:] == [("hot", "begins", "done")])
        self.assertEqual(self.said_words().count("off"), 2)


class Checked(PhaseCase):
    def check(self):
        path = pathlib.Path(self.folder, "checked.cfg")
        path.write_text(self.settings().replace('profiles = "', 'profiles = "' + os.path.join(
            os.environ["GRADUS_SOURCE"], "config/")))
        pathlib.Path(self.folder, "trip").chmod(0o755)
        return subprocess.run([COMMAND, "check", str(path)], capture_output=True, text=True,
                              check=False, timeout=LIMIT_S)

    def test_check_proves_each_command(self):
        done = self.check()
        self.assertEqual(done.returncode, 0, done)
        for when in ('phase "cold" begins', 'phase "cold" ends', 'phase "hot" begins',
                     'phase "hot" ends'):
            self.assertRegex(done.stdout, rf"burn-in \"rack\" runs .*/switch as \S+ when {when}\n")
        os.chmod(os.path.join(self.folder, "switch"), 0o644)
        done = self.check()
        self.assertEqual(done.returncode, 2, done)
        self.assertEqual(done.stderr.count("cannot be run as"), 4, done.stderr)


if __name__ == "__main__":
    unittest.main()
