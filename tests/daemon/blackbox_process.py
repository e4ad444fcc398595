# SPDX-License-Identifier: GPL-3.0-or-later
"""The daemon as a process: start, settings with mistakes, reload, end, and what it leaves behind."""

import os
import re
import select
import signal
import subprocess
import unittest

from daemon_case import PROGRAM, DaemonCase
from gradusd import LIMIT_S, Client, Gradusd, GradusdError

MISTAKES = """
server = { unix = "/tmp/x"; clents = 3; };
profiles = "profiles";
instruments = ( { name = "meter"; profile = "tarnwerk-meter"; link = "unix:/tmp/y"; } );
points = (
    { name = "rail"; instrument = "metr"; input = 1; probe = "direct"; quantity = "dc voltage"; },
    { name = "weak"; instrument = "meter"; input = 99; probe = "x10"; quantity = "dc voltage";
      limits = { low = 2.0; high = 1.0; }; }
);
"""


class Start(DaemonCase):
    def run_gradusd(self, *words):
        done = subprocess.run([PROGRAM, *words], stdin=subprocess.DEVNULL, capture_output=True,
                              timeout=LIMIT_S, check=False, text=True)
        return done.returncode, done.stdout, done.stderr

    def settings_file(self, text):
        path = os.path.join(self.daemon.folder, "other.cfg")
        with open(path, "w", encoding="utf-8") as out:
            out.write(text)
        return path

    def test_signals_that_mean_nothing(self):
        for number in (signal.SIGUSR1, signal.SIGUSR2, signal.SIGALRM, signal.SIGPIPE, signal.SIGTTOU,
                       signal.SIGTTIN, signal.SIGVTALRM, signal.SIGPROF, signal.SIGIO, signal.SIGPWR,
                       signal.SIGURG, signal.SIGWINCH, signal.SIGRTMIN, signal.SIGRTMAX):
            self.daemon.send_signal(number)
            self.assertEqual(self.client.call("measure", "rail")["point"], "rail", number)

    def test_check_lists_all_mistakes(self):
        path = self.settings_file(MISTAKES)
        for words in (["--check", path], [f"--check={path}"], ["--settings", path, "--check"],
                      ["--settings", path]):
            status, out, errors = self.run_gradusd(*words)
            self.assertEqual((status, out), (2, ""), words)
            lines = errors.splitlines()
            self.assertGreaterEqual(len(lines), 4, errors)
            for line in lines:
                self.assertRegex(line, r"^\S*other\.cfg:\d+: ")
            for says in ("clents", "metr", "99", "x10"):
                self.assertIn(says, errors)

    def test_check_without_mistakes(self):
        status, out, errors = self.run_gradusd("--check", self.daemon.settings_path)
        self.assertEqual((status, errors), (0, ""))
        self.assertIn("5 instruments, 6 points", out)

    def test_check_of_a_profile_by_itself(self):
        profiles = os.path.join(os.environ["GRADUS_SOURCE"], "config", "profiles")
        for name, kind in (("oldmere-meter", "meter"), ("tarnwerk-scope", "scope")):
            path = os.path.join(profiles, name + ".cfg")
            status, out, errors = self.run_gradusd("--check", path)
            self.assertEqual((status, errors), (0, ""))
            self.assertEqual(out, f"{path}: no mistakes: a profile of a {kind}\n")
        path = self.settings_file('kind = "meter";\nmax_inputs = 5;\n')
        status, out, errors = self.run_gradusd("--check", path)
        self.assertEqual((status, out), (2, ""))
        self.assertIn(':2: unknown key "max_inputs", expected perhaps "max_input"', errors)

    def test_settings_that_are_not_there(self):
        for words in (["--check", "/no/where.cfg"], ["--settings", "/no/where.cfg"]):
            status, _, errors = self.run_gradusd(*words)
            self.assertEqual(status, 2)
            self.assertIn("/no/where.cfg", errors)

    def test_wrong_words(self):
        for words in (["--frob"], ["extra"], ["--settings"], ["--tcp", "x"], ["--tcp", "h:70000"],
                      ["--ready-fd", "x"], ["--check", "a", "b"]):
            status, out, errors = self.run_gradusd(*words)
            self.assertEqual((status, out), (2, ""), words)
            self.assertTrue(errors, words)
        status, out, _ = self.run_gradusd("--version")
        self.assertEqual(status, 0)
        self.assertRegex(out, r"^gradusd \d+\.\d+\.\d+\n$")
        self.assertEqual(self.run_gradusd("--help")[0], 0)

    def another(self, **options):
        """A second daemon with the same settings."""
        return Gradusd(PROGRAM, self.settings(), self.folder, **options)

    def test_second_daemon_at_the_same_socket(self):
        with self.assertRaisesRegex(GradusdError, "(?s)status 1.*another process listens there"):
            self.another(unix=self.daemon.unix)
        self.assertTrue(self.client.call("health"))
        self.assertTrue(self.daemon.client().call("health"))

    def test_second_daemon_at_the_same_port(self):
        address, port = self.daemon.tcp
        with self.assertRaisesRegex(GradusdError, "status 1"):
            self.another(words=["--tcp", f"{address}:{port}"])
        self.assertTrue(self.daemon.client(tcp=True).call("health"))

    def test_stale_socket_is_replaced(self):
        self.daemon.send_signal(signal.SIGKILL)
        self.daemon.wait()
        self.assertTrue(os.path.exists(self.daemon.unix))
        with self.another(unix=self.daemon.unix) as again:
            self.assertTrue(again.client().call("health"))
        self.assertFalse(os.path.exists(self.daemon.unix))

    def test_what_is_no_socket_is_left_alone(self):
        path = self.settings_file("precious")
        with self.assertRaisesRegex(GradusdError, "status 1"):
            self.another(unix=path)
        with open(path, encoding="utf-8") as file:
            self.assertEqual(file.read(), "precious")

    def test_who_may_connect(self):
        self.assertEqual(os.stat(self.daemon.unix).st_mode & 0o777, 0o660)

    def test_a_log_that_nobody_reads(self):
        """Standard error is a full pipe: lines are lost, but nobody waits."""
        self.bench.stop()
        reading, full = os.pipe()
        ready, say = os.pipe()
        self.addCleanup(os.close, reading)
        os.set_blocking(full, False)
        try:
            while True:
                os.write(full, b"x" * 65536)
        except BlockingIOError:
            os.set_blocking(full, True)
        path = os.path.join(self.folder, "full.sock")
        daemon = subprocess.Popen([PROGRAM, "--settings", self.daemon.settings_path, "--unix", path,
                                   "--ready-fd", str(say)], pass_fds=[say], stderr=full)
        self.addCleanup(daemon.wait)
        self.addCleanup(daemon.kill)
        os.close(full)
        os.close(say)
        with os.fdopen(ready, "rb") as said:
            self.assertTrue(select.select([said], [], [], LIMIT_S)[0])
        with Client(path) as client:
            self.assertEqual(self.refused(client.call, "measure", "rail").code, -32011)
            self.assertTrue(client.call("health"))
        daemon.terminate()
        self.assertEqual(daemon.wait(LIMIT_S), 0)


class End(DaemonCase):
    def test_what_is_under_way_is_finished(self):
        waiting, following = self.daemon.client(), self.daemon.client()
        following.call("follow", ["second_rail"], 60000)
        following.notification()
        with self.frozen():
            pending = self.begin(self.client, "rail")
            queued = waiting.send("measure", "weak")
            self.until(lambda: self.instrument()["queue"] == 1)
            self.daemon.send_signal(signal.SIGTERM)
            error = self.refused(waiting.wait, queued)
            self.assertEqual((error.code, error.message), (-32022, "daemon is stopping"))
            told = following.notification()
            self.assertEqual(told["method"], "finished")
            self.assertEqual(told["params"]["error"]["code"], -32022)
            for method, params in (("measure", ["second_rail"]), ("hold", ["meter"]),
                                   ("follow", [["rail"]]), ("talk", ["meter", "x"])):
                self.assertEqual(self.refused(waiting.call, method, *params).code, -32022)
            self.assertTrue(waiting.call("health")["stopping"])
            self.assertFalse(os.path.exists(self.daemon.unix))
            with self.assertRaises(OSError):
                self.daemon.client(tcp=True)
        self.assertEqual(self.client.wait(pending)["point"], "rail")
        self.assertIsNone(self.client.read_line())
        self.assertEqual(self.daemon.wait(), 0)

    def test_instruments_are_left_in_local(self):
        for point in ("rail", "second_rail", "plain_rail", "scope_rail", "old_rail"):
            self.client.call("measure", point)
        self.assertEqual(self.daemon.terminate(signal.SIGINT), 0)
        for bench, name, local in ((self.bench, "meter", ":SYSTem:KLOCk OFF"),
                                   (self.others, "second", ":SYSTem:KLOCk OFF"),
                                   (self.others, "plain", "HANDS"),
                                   (self.others, "scope", ":SYSTem:KLOCk OFF"),
                                   (self.others, "old", "HANDS")):
            commands = [text.strip() for text in bench.commands(name, 2)]
            self.assertIn(local, commands, name)

    def test_an_instrument_never_used_is_left_alone(self):
        self.assertEqual(self.daemon.terminate(), 0)
        self.assertEqual(self.bench.counters("meter")["connections"], 0)

    def test_an_instrument_that_does_not_answer_holds_nothing_up_for_ever(self):
        with self.frozen():
            pending = self.client.send("measure", point="rail", deadline_ms=300)
            self.until(lambda: self.client.call("health")["requests"] > 1)
            self.assertEqual(self.daemon.terminate(), 0)
            # It may be in flight when the daemon is told to end, or wait still.
            self.assertIn(self.refused(self.client.wait, pending).code, (-32010, -32020, -32022))

    def test_second_signal_ends_at_once(self):
        with self.frozen():
            self.begin(self.client, point="rail", deadline_ms=600000)
            self.daemon.send_signal(signal.SIGTERM)
            self.daemon.wait_log("stopping once")
            self.assertEqual(self.daemon.terminate(), -signal.SIGTERM)

    def test_a_client_that_does_not_read_holds_nothing_up_for_ever(self):
        slow = self.daemon.client(receive_buffer=4096)
        slow.send_raw(b'{"jsonrpc":"2.0","id":1,"method":"points"}\n' * 3000)
        self.client.call("health")
        self.assertEqual(self.daemon.terminate(), 0)


class Reload(DaemonCase):
    MORE = """,
    { name = "again"; instrument = "second"; input = 1; probe = "direct";
      quantity = "dc voltage"; }"""

    def opened(self, name="meter"):
        return self.instrument(name)["counters"]["opened"]

    def test_a_new_point(self):
        self.client.call("measure", "rail")
        self.client.call("measure", "second_rail")
        digest = self.client.call("health")["settings_digest"]
        self.assertIn("5 instruments, 7 points", self.daemon.reload(self.settings(more=self.MORE))[-1])
        self.assertEqual(self.client.call("measure", "again")["point"], "again")
        self.assertEqual(self.client.call("health")["points"], 7)
        self.assertNotEqual(self.client.call("health")["settings_digest"], digest)
        # Unchanged instruments keep their links.
        self.assertEqual((self.opened(), self.opened("second")), (1, 1))
        self.assertEqual(self.others.counters("second")["connections"], 1)

    def test_mistakes_change_nothing(self):
        self.client.call("measure", "rail")
        before = self.client.call("health")["settings_digest"]
        lines = self.daemon.reload(MISTAKES)
        self.assertGreaterEqual(len(lines), 5)
        for says in ("clents", "metr", "99", "x10"):
            self.assertTrue(any(says in line for line in lines), lines)
        self.assertIn("the old settings stay", lines[-1])
        os.unlink(self.daemon.settings_path)
        self.daemon.send_signal(signal.SIGHUP)
        self.daemon.wait_log("not loaded", len(self.daemon.log_lines) - 1)
        self.assertEqual(self.client.call("health")["settings_digest"], before)
        self.assertEqual(self.client.call("measure", "rail")["sequence"], 2)
        self.assertEqual(self.opened(), 1)

    def test_a_changed_instrument_is_let_go_and_taken_anew(self):
        self.client.call("measure", "rail")
        self.client.call("measure", "second_rail")
        self.daemon.reload(self.settings(ambient=40.0))
        self.assertEqual(self.client.call("measure", "rail")["sequence"], 3)
        self.assertEqual(self.bench.counters("meter")["connections"], 2)
        self.assertIn(":SYSTem:KLOCk OFF", self.bench.commands("meter"))
        self.assertEqual(self.others.counters("second")["connections"], 1)

    def test_an_instrument_and_its_points_go(self):
        self.client.call("measure", "old_rail")
        settings = re.sub(r",\s*\{ name = \"old(_rail)?\"[^}]*\}", "", self.settings())
        self.daemon.reload(settings)
        self.assertEqual(self.client.call("health")["instruments"], 4)
        self.assertEqual(self.refused(self.client.call, "measure", "old_rail").code, -32030)
        self.until(lambda: "HANDS" in self.others.commands("old"))
        self.daemon.reload(self.settings())
        self.assertEqual(self.client.call("measure", "old_rail")["point"], "old_rail")

    def test_work_under_way_is_finished_with_the_old(self):
        """What a changed instrument has in hand is finished; what waits is to be asked again."""
        other = self.daemon.client()
        with self.frozen():
            pending = self.begin(self.client, "rail")
            queued = other.send("measure", "weak")
            self.until(lambda: self.instrument()["queue"] == 1)
            self.daemon.reload(self.settings(ambient=40.0))
            error = self.refused(other.wait, queued)
            self.assertEqual(error.code, -32032)
            number = other.send("measure", "weak")
        self.assertEqual(self.client.wait(pending)["sequence"], 1)
        self.assertEqual(other.wait(number)["sequence"], 2)

    def test_unchanged_instruments_keep_their_queue(self):
        with self.frozen():
            pending = self.begin(self.client, "rail")
            queued = [self.client.send("measure", "weak") for _ in range(5)]
            self.daemon.reload(self.settings(more=self.MORE))
        self.assertEqual(self.sequences(self.client, [pending, *queued]), [1, 2, 3, 4, 5, 6])

    def test_holds_and_subscriptions_stay(self):
        self.client.call("hold", "meter")
        self.client.call("follow", ["rail", "second_rail"], 5)
        self.client.notifications(4)
        self.daemon.reload(self.settings(ambient=40.0))
        self.assertEqual(self.refused(self.daemon.client().call, "measure", "rail").code, -32021)
        self.client.notifications()
        points = set()
        while points != {"rail", "second_rail"}:  # notifications() fails when none comes any more
            points |= {told["params"]["point"] for told in self.client.notifications(40)
                       if "reading" in told["params"]}

    def test_a_followed_point_that_goes(self):
        self.client.call("follow", ["weak"], 5)
        self.client.notifications(2)
        self.daemon.reload(re.sub(r"\s*\{ name = \"weak\"[^}]*\},", "", self.settings()))
        params = self.client.notification()["params"]
        while "reading" in params:
            params = self.client.notification()["params"]
        self.assertEqual(params["error"]["code"], -32030)

    def test_other_limits_of_the_server(self):
        self.daemon.reload(self.settings().replace("line_limit = 65536", "line_limit = 1024"))
        self.client.send_raw(b" " * 2000)
        self.assertEqual(self.client.read()["error"]["code"], -32700)

    def test_many_reloads(self):
        self.client.call("follow", ["rail", "second_rail"], 0)
        for turn in range(12):
            self.daemon.reload(self.settings(ambient=20.0 + turn, more=self.MORE * (turn % 2)))
        self.client.notifications(10)
        self.assertEqual(self.daemon.client().call("measure", "rail")["point"], "rail")


if __name__ == "__main__":
    unittest.main()
