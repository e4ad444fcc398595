# SPDX-License-Identifier: GPL-3.0-or-later
"""gradus instruments --scan, which is gradusd --scan, against the simulated bench."""

import json
import os
import shutil
import socket
import subprocess
import tempfile
import threading
import unittest

from standin import StandIn

GRADUS = os.environ["GRADUS"]
PROFILES = os.path.join(os.environ["GRADUS_SOURCE"], "config", "profiles")
LIMIT_S = 60.0

BENCH = """
instruments = (
    { name = "meter"; type = "tarnwerk-meter"; listen = "tcp:127.0.0.1:0"; },
    { name = "scope"; type = "tarnwerk-scope"; listen = "tcp:127.0.0.1:0"; }
);
sources = ( { name = "rail"; kind = "dc"; level = 5.0; } );
connections = ( { instrument = "meter"; input = 1; source = "rail"; } );
"""


def scan(*words):
    return subprocess.run([GRADUS, "instruments", "--scan", *words], stdin=subprocess.DEVNULL,
                          capture_output=True, text=True, timeout=LIMIT_S)


def ask(*words):
    return subprocess.run([GRADUS, *words], stdin=subprocess.DEVNULL, capture_output=True,
                          text=True, timeout=LIMIT_S)


class Scan(unittest.TestCase):
    def found(self, *words, status=0):
        run = scan("--json", "--profiles", PROFILES, *words)
        self.assertEqual(run.returncode, status, run.stderr)
        self.assertEqual(run.stdout.count("\n"), 1)
        return {entry["link"]: entry for entry in json.loads(run.stdout)}

    def test_what_is_there_is_listed_and_left_alone(self):
        for entry in self.found().values():
            self.assertIn(entry["kind"], ("serial", "usbtmc"))
            self.assertNotIn("identity", entry)
            self.assertNotIn("failure", entry)
        text = scan()
        self.assertEqual(text.returncode, 0, text.stderr)
        self.assertTrue(text.stdout)

    def test_identities_name_their_profiles(self):
        with StandIn(os.environ["STANDIN"], BENCH) as bench:
            links = [bench.address(name) for name in ("meter", "scope")]
            words = [word for link in links for word in ("--identify", link)]
            found = self.found(*words)
            self.assertEqual([found[link]["profile"] for link in links],
                             ["tarnwerk-meter", "tarnwerk-scope"])
            self.assertTrue(found[links[0]]["identity"].startswith("TARNWERK,BENCH METER,"))
            self.assertEqual([found[link]["name"] for link in links], ["bench_meter", "bench_scope"])
            for name in ("meter", "scope"):
                self.assertEqual([text.strip() for text in bench.commands(name)], ["*IDN?"])
            text = scan("--profiles", PROFILES, *words)
            self.assertEqual(text.returncode, 0)
            self.assertIn('profile = "tarnwerk-meter";\n      link = "%s"; }' % links[0],
                          text.stdout)
            unknown = scan("--profiles", os.path.dirname(PROFILES), "--identify", links[0])
            self.assertIn('profile = "...";\n      link = "%s"; }' % links[0], unknown.stdout)

    def test_who_does_not_answer_is_said_so(self):
        with socket.create_server(("127.0.0.1", 0)) as closed:
            port = closed.getsockname()[1]
        link = f"tcp:127.0.0.1:{port}"
        found = self.found("--identify", link, status=3)
        self.assertEqual(found[link]["failure"]["reason"], "link down")
        self.assertIn("no identity", scan("--identify", link).stdout)

    def test_a_line_that_only_comes_back_is_no_identity(self):
        with socket.create_server(("127.0.0.1", 0)) as listener:
            def echo():
                connection, _ = listener.accept()
                with connection:
                    while data := connection.recv(100):
                        connection.sendall(data)
            thread = threading.Thread(target=echo)
            thread.start()
            link = "tcp:127.0.0.1:%d" % listener.getsockname()[1]
            found = self.found("--identify", link, status=3)
            thread.join(LIMIT_S)
        self.assertNotIn("identity", found[link])

    def test_two_commands_lead_from_nothing_to_a_reading(self):
        with StandIn(os.environ["STANDIN"], BENCH) as bench, \
                tempfile.TemporaryDirectory() as folder:
            links = [bench.address(name) for name in ("meter", "scope")]
            path = os.path.join(folder, "shop.cfg")
            wrote = scan("--profiles", PROFILES, "--write", path,
                         *[word for link in (*links, links[0]) for word in ("--identify", link)])
            self.assertEqual(wrote.returncode, 0, wrote.stderr)
            self.assertIn(f'gradus read --settings {path} bench_meter 1 "dc voltage"', wrote.stdout)
            read = ask("read", "--settings", path, "bench_meter", "1", "dc voltage", "--json")
            self.assertEqual(read.returncode, 0, read.stderr)
            reading = json.loads(read.stdout)
            self.assertAlmostEqual(reading["value"], 5.0, delta=3 * reading["uncertainty"])
            self.assertTrue(reading["stored"])
            kept = ask("readings", "--settings", path, "--csv")
            self.assertIn("bench_meter/1/dc voltage", kept.stdout)
            with open(path, encoding="utf-8") as file:
                text = file.read()
            self.assertIn("said that it is TARNWERK,BENCH METER,", text)
            self.assertEqual(ask("check", path).returncode, 0)
            again = scan("--profiles", PROFILES, "--write", path, "--identify", links[1])
            self.assertEqual(again.returncode, 2)
            self.assertIn("there already", again.stderr)
            with open(path, encoding="utf-8") as file:
                self.assertEqual(file.read(), text)
            self.assertEqual(sorted(os.listdir(folder)),
                             ["shop.cfg", "shop.db", "shop.db.anchors", "shop.db.lock"])

    def test_settings_are_written_of_known_instruments_only(self):
        with StandIn(os.environ["STANDIN"], BENCH) as bench, \
                tempfile.TemporaryDirectory() as folder:
            os.mkdir(os.path.join(folder, "profiles"))
            for name in ("generic-scpi-meter.cfg", "generic-scpi-scope.cfg", "tarnwerk-scope.cfg"):
                shutil.copy(os.path.join(PROFILES, name), os.path.join(folder, "profiles"))
            path = os.path.join(folder, "shop.cfg")
            words = ("--profiles", os.path.join(folder, "profiles"), "--write", path)
            none = scan(*words, "--identify", bench.address("meter"))
            self.assertEqual(none.returncode, 3)
            self.assertIn("nothing to write", none.stderr)
            self.assertFalse(os.path.exists(path))
            one = scan(*words, "--identify", bench.address("meter"), "--identify",
                       bench.address("scope"))
            self.assertEqual(one.returncode, 0, one.stderr)
            with open(path, encoding="utf-8") as file:
                text = file.read()
            self.assertIn("which no profile was made for", text)
            self.assertEqual(text.count("{ name = \"bench_"), 1)
            self.assertEqual(ask("check", path).returncode, 0)
        for wrong in ("/no/such/folder/x.cfg", "/tmp/", 'a"b.cfg'):
            self.assertEqual(scan("--profiles", PROFILES, "--write", wrong).returncode, 2, wrong)

    def test_a_daemon_of_ones_own_says_why_it_does_not_start(self):
        with tempfile.TemporaryDirectory() as folder:
            path = os.path.join(folder, "shop.cfg")
            with open(path, "w", encoding="utf-8") as file:
                file.write("instruments = ( { nam = 1; } );")
            run = ask("points", "--settings", path)
            self.assertEqual(run.returncode, 2)
            self.assertIn('unknown key "nam"', run.stderr)
            self.assertIn("did not start", run.stderr)
            both = ask("--socket", "unix:/x", "points", "--settings", path)
            self.assertEqual(both.returncode, 2)

    def test_mistakes(self):
        for words in (("--identify", "nonsense"), ("--line", "fast"), ("--csv",),
                      ("--profiles", "/no/such/folder"), ("--identify",)):
            run = scan(*words)
            self.assertEqual(run.returncode, 2, words)
            self.assertTrue(run.stderr)
        run = subprocess.run([GRADUS, "instruments", "--identify", "all"], capture_output=True,
                             text=True, timeout=LIMIT_S)
        self.assertEqual(run.returncode, 2)
        self.assertIn("--scan", run.stderr)
        many = [word for _ in range(65) for word in ("--identify", "tcp:127.0.0.1:1")]
        self.assertEqual(scan(*many).returncode, 2)


if __name__ == "__main__":
    unittest.main()
