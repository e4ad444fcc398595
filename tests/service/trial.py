# SPDX-License-Identifier: GPL-3.0-or-later
"""Runs in the guest as root, under its systemd: installs the packages and uses them in order, as an
administrator does from the first day to the last. Each test begins where the one before it ended."""

import grp
import json
import os
import pathlib
import pwd
import re
import signal
import subprocess
import time
import unittest

SHARE = pathlib.Path("/share")
SETTINGS = pathlib.Path("/etc/gradus/gradus.cfg")
LIMIT_S = 400.0

BENCH = """
instruments = ( { name = "meter"; type = "tarnwerk-meter"; listen = "tcp:127.0.0.1:5025"; } );
sources = ( { name = "rail"; kind = "dc"; level = 5.0; } );
connections = ( { instrument = "meter"; input = 1; source = "rail"; } );
"""

BENCH_SETTINGS = """
server = { unix = "/run/gradus/gradus.sock"; };
access = { groups = ( { group = "gradus"; role = "run"; } ); };
store = { path = "/var/lib/gradus/readings.db"; };
instruments = ( { name = "meter"; profile = "tarnwerk-meter"; link = "tcp:127.0.0.1:5025"; } );
points = ( { name = "rail"; instrument = "meter"; input = 1; probe = "direct"; expected = 5.0;
             quantity = "dc voltage"; limits = { low = 4.5; high = 5.5; }; } );
burnin = ( { name = "rack"; points = ( "rail" ); every_s = 1.0; duration_s = 36000;
             stops = "nothing"; } );
"""


def run(*words, status=0, **more):
    """What a command prints; it must end with that status (None: any)."""
    done = subprocess.run(words, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE,
                          stderr=subprocess.STDOUT, text=True, timeout=LIMIT_S, **more)
    if status is not None and done.returncode != status:
        raise AssertionError(f"{' '.join(words)}: status {done.returncode}\n{done.stdout}"
                             f"\n{journal()}")
    return done.stdout


def journal():
    return subprocess.run(["journalctl", "-u", "gradusd", "-n", "40", "--no-pager", "-o", "cat"],
                          capture_output=True, text=True).stdout


def show(what):
    return run("systemctl", "show", "gradusd", "-p", what, "--value").strip()


def until(condition, what):
    """Asks again and again for what the system does by itself; each turn asks a program."""
    end = time.monotonic() + LIMIT_S
    while not condition():
        if time.monotonic() > end:
            raise AssertionError(f"{what} does not come\n{journal()}")


def started_anew(before):
    until(lambda: show("ActiveState") == "active" and show("MainPID") not in ("0", before),
          "another process")


def readings():
    """The readings of the burn-in, oldest first."""
    return [json.loads(line) for line in
            run("gradus", "readings", "rail", "--json", "--limit", "100000").split("\n") if line]


class Life(unittest.TestCase):
    def test_01_installed_and_running_on_an_empty_bench(self):
        run("dpkg", "--install", *map(str, sorted(SHARE.glob("*_0.1.0_*.deb"))))
        self.assertEqual(show("ActiveState"), "active")
        self.assertIn("serving 0 instruments", show("StatusText"))
        self.assertIn("no instruments", run("gradus", "instruments"))
        user = pwd.getpwnam("gradus")
        self.assertIn("gradus", grp.getgrnam("dialout").gr_mem)
        self.assertEqual(show("User"), "gradus")
        socket = os.stat("/run/gradus/gradus.sock")
        self.assertEqual((socket.st_mode & 0o777, socket.st_gid), (0o660, user.pw_gid))
        self.assertEqual(os.stat("/var/lib/gradus").st_uid, user.pw_uid)
        self.assertEqual(run("systemctl", "is-enabled", "gradusd").strip(), "enabled")
        self.assertEqual(run("systemctl", "is-enabled", "gradusd-tcp.socket", status=None).strip(),
                         "disabled")

    def test_02_strangers_have_no_access(self):
        self.assertIn("ermission", run("setpriv", "--reuid=nobody", "--regid=nogroup",
                                       "--clear-groups", "gradus", "points", status=3))

    def test_03_scan_settings_reload_measure(self):
        run("gradus", "instruments", "--scan")
        pathlib.Path("/run/bench.cfg").write_text(BENCH)
        run("systemd-run", "--unit=bench", "/share/standin", "/run/bench.cfg")
        until(lambda: "127.0.0.1:5025" in run("gradus", "instruments", "--scan", "--identify",
                                              "tcp:127.0.0.1:5025", status=None), "the bench")
        SETTINGS.write_text("rubbish")
        run("systemctl", "reload", "gradusd")
        self.assertIn("the old settings stay", journal())
        SETTINGS.write_text(BENCH_SETTINGS)
        run("gradus", "check", str(SETTINGS))
        run("systemctl", "reload", "gradusd")
        until(lambda: "serving 1 instruments" in show("StatusText"), "the new settings")
        self.assertIn("pass", run("gradus", "measure", "rail"))

    def test_04_members_measure(self):
        run("useradd", "--groups", "gradus", "technician")
        self.assertIn("pass", run("setpriv", "--reuid=technician", "--init-groups",
                                  "--regid=technician", "gradus", "measure", "rail"))

    def test_05_a_crash_in_a_burn_in_loses_nothing(self):
        run("gradus", "burnin", "start", "rack")
        until(lambda: len(readings()) > 5, "readings of the burn-in")
        before, known = show("MainPID"), readings()
        os.kill(int(before), signal.SIGKILL)
        # Asked at once: the question waits in the socket while the service comes back.
        self.assertIn("rail", run("gradus", "points"))
        started_anew(before)
        self.keeps(known)

    def keeps(self, known):
        """All that was known is there still, and the burn-in has gone on."""
        until(lambda: len(readings()) > len(known) + 2, "new readings of the burn-in")
        ids = [reading["id"] for reading in readings()]
        self.assertEqual(len(ids), len(set(ids)))
        self.assertLessEqual({reading["id"] for reading in known}, set(ids))
        run("gradus", "readings", "--verify")

    def test_06_the_watchdog_ends_what_stands_still(self):
        before, known = show("MainPID"), readings()
        os.kill(int(before), signal.SIGSTOP)
        started_anew(before)
        self.assertIn("watchdog", run("journalctl", "-u", "gradusd", "--no-pager").lower())
        self.keeps(known)

    def test_07_upgrade_amid_a_burn_in(self):
        before, known = show("MainPID"), readings()
        run("dpkg", "--install", *map(str, SHARE.glob("gradusd_0.1.0+next_*.deb")))
        started_anew(before)
        self.assertEqual(SETTINGS.read_text(), BENCH_SETTINGS)
        self.keeps(known)

    def test_08_a_full_disk_is_survived(self):
        known = readings()
        filler = pathlib.Path("/var/filler")
        run("dd", "if=/dev/zero", f"of={filler}", "bs=1M", status=1)
        until(lambda: "held" in run("gradus", "health", status=None) and
              re.search(r"full|No space", journal()), "the full disk in the journal")
        self.assertIn("pass", run("gradus", "measure", "rail", status=None))
        filler.unlink()
        self.keeps(known)

    def test_09_settings_with_mistakes_do_not_start_again_and_again(self):
        SETTINGS.write_text("rubbish")
        run("systemctl", "restart", "gradusd", status=None)
        until(lambda: show("ActiveState") == "failed", "the refusal")
        self.assertEqual(show("ExecMainStatus"), "2")
        SETTINGS.write_text(BENCH_SETTINGS)
        run("systemctl", "start", "gradusd")

    def test_10_stop_start_remove_purge(self):
        run("gradus", "burnin", "stop", "rack")
        run("systemctl", "stop", "gradusd")
        self.assertEqual(show("Result"), "success")
        run("systemctl", "start", "gradusd.socket")
        self.assertIn("rail", run("gradus", "points"), "the socket starts the service")
        run("dpkg", "--remove", "gradusd")
        self.assertTrue(SETTINGS.exists() and pathlib.Path("/var/lib/gradus").exists())
        self.assertFalse(pathlib.Path("/run/gradus/gradus.sock").exists())
        run("dpkg", "--purge", "gradusd")
        self.assertFalse(SETTINGS.exists())
        self.assertTrue(pathlib.Path("/var/lib/gradus/readings.db").exists(), "readings stay")


class Reporter(unittest.TextTestResult):
    def startTest(self, test):
        with open("/dev/console", "w", encoding="utf-8") as console:
            print(test.id(), file=console)
        super().startTest(test)


def main():
    tests = unittest.defaultTestLoader.loadTestsFromTestCase(Life)
    result = unittest.TextTestRunner(verbosity=2, resultclass=Reporter, failfast=True).run(tests)
    failed = len(result.failures) + len(result.errors)
    report = {"passed": result.testsRun - failed, "failed": failed}
    (SHARE / "report").write_text(json.dumps(report))


if __name__ == "__main__":
    main()
