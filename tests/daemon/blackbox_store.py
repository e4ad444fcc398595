# SPDX-License-Identifier: GPL-3.0-or-later
"""The store from outside: every acknowledged reading survives kill -9 and is there once; trouble
with the database is said and survived; what was kept can be listed and verified."""

import csv
import io
import json
import os
import random
import signal
import sqlite3
import subprocess
import unittest

from daemon_case import PROGRAM, DaemonCase
from gradusd import LIMIT_S, Gradusd, GradusdError, RpcError

COMMAND = os.environ["GRADUS"]
ROUNDS = int(os.environ.get("GRADUS_KILL_ROUNDS", "20"))


class StoreCase(DaemonCase):
    """A daemon with a store that outlives it."""

    policy = ""

    @property
    def path(self):
        return os.path.join(self.folder, "readings.db")

    def settings(self, **options):
        return f'store = {{ path = "{self.path}"; {self.policy} }};\n' + super().settings(**options)

    def start(self):
        return Gradusd(PROGRAM, self.settings(), self.folder)

    def all_readings(self, client, **parameters):
        """Everything there is, page by page."""
        found, more = [], True
        while more:
            after = found[-1]["id"] if found else 0
            page = client.call("readings", after=after, limit=100, **parameters)
            found += page["readings"]
            more = page["more"]
        return found

    def gradus(self, *words, status=0):
        done = subprocess.run([COMMAND, "--socket", f"unix:{self.daemon.unix}", *words],
                              capture_output=True, timeout=LIMIT_S, check=False,
                              stdin=subprocess.DEVNULL, env={**os.environ, "LC_ALL": "C.UTF-8"})
        self.assertEqual(done.returncode, status, done)
        return done.stdout.decode(), done.stderr.decode()


class Kept(StoreCase):
    def test_a_reading_is_kept_as_it_was_answered(self):
        answers = [self.client.call("measure", point) for point in ("rail", "scope_rail", "rail")]
        kept = self.all_readings(self.client)
        digest = self.client.call("health")["settings_digest"]
        version = self.client.call("health")["version"]
        for answer, item in zip(answers, kept, strict=True):
            self.assertIs(answer.pop("stored"), True)
            self.assertEqual(answer.pop("id"), item["id"])
            self.assertEqual(item["reading"], answer)
            self.assertEqual(item["settings_digest"], digest)
            self.assertEqual(item["version"], version)
        only = self.client.call("readings", point="scope_rail")["readings"]
        self.assertEqual([item["reading"]["point"] for item in only], ["scope_rail"])

    def test_settings_can_be_found_by_their_digest(self):
        self.client.call("measure", "rail")
        with sqlite3.connect(f"file:{self.path}?mode=ro", uri=True) as database:
            digest, text = database.execute("SELECT digest, text FROM settings").fetchone()
        self.assertEqual(digest, self.client.call("health")["settings_digest"])
        self.assertIn('name = "scope_rail"', text)
        self.assertIn("# profile tarnwerk-meter", text)

    def test_failures_are_kept_too(self):
        self.bench.set_source("rail", level=5000.0)
        error = self.refused(self.client.call, "measure", "rail")
        self.until(lambda: self.client.call("health")["store"]["written"] == 1)
        (item,) = self.all_readings(self.client)
        self.assertNotIn("reading", item)
        self.assertEqual(item["error"],
                         {"code": error.code, "message": error.message, "data": error.data})

    def test_what_is_followed_is_kept(self):
        self.client.call("follow", points=["rail"], every_ms=0, readings=50)
        told = [note["params"]["reading"] for note in self.client.until("finished")[:-1]]
        self.until(lambda: self.client.call("health")["store"]["written"] == 50)
        self.assertEqual([item["reading"] for item in self.all_readings(self.client)], told)

    def test_parameters_that_are_wrong(self):
        for wrong in ({"since": "yesterday"}, {"until": "2026-02-30"}, {"limit": 0},
                      {"limit": 1001}, {"point": "x" * 64}, {"after": -1}):
            with self.assertRaises(RpcError) as caught:
                self.client.call("readings", **wrong)
            self.assertEqual(caught.exception.code, -32602, wrong)

    def test_a_client_that_goes_while_it_waits(self):
        def clients():
            return self.client.call("health")["clients"]

        for _ in range(20):
            # Those that have gone count until they are noticed; past server.clients none is taken.
            self.until(lambda: clients() < 12)
            other = self.daemon.client()
            other.send("measure", "rail")
            other.send("readings")
            other.send("verify")
            other.close()
        self.until(lambda: clients() == 1)

    def test_a_client_that_has_ended_its_side_gets_its_answers(self):
        other = self.daemon.client()
        numbers = [other.send("measure", "rail"), other.send("verify")]
        other.finish_sending()
        self.assertIs(other.wait(numbers[0])["stored"], True)
        self.assertIs(other.wait(numbers[1])["intact"], True)
        self.assertIsNone(other.read_line())

    def test_stopping_writes_what_is_left(self):
        self.client.call("follow", points=["rail"], every_ms=0)
        self.client.notifications(30)
        self.assertEqual(self.daemon.terminate(), 0)
        with self.start() as again:
            kept = self.all_readings(again.client())
            self.assertGreaterEqual(len(kept), 30)
            self.assertIs(again.client().call("verify")["intact"], True)

    def test_one_daemon_a_store(self):
        with self.assertRaisesRegex(GradusdError, "another process writes this store"):
            self.start()


class Files(StoreCase):
    """The database is its owner's alone, and no second name gets a second daemon at it."""

    def test_private_whatever_the_umask(self):
        before = os.umask(0o022)
        self.addCleanup(os.umask, before)
        self.daemon.terminate()
        os.remove(self.path)
        with self.start() as daemon:
            daemon.client().call("measure", "rail")
            for name in (self.path, self.path + "-wal", self.path + "-shm", self.path + ".lock"):
                self.assertEqual(os.stat(name).st_mode & 0o777, 0o600, name)

    def test_a_lock_goes_by_the_file(self):
        other = os.path.join(self.folder, "other.db")
        os.link(self.path, other)
        settings = self.settings().replace(self.path, other)
        with self.assertRaisesRegex(GradusdError, "another process writes this store"):
            Gradusd(PROGRAM, settings, self.folder)
        os.remove(other)
        os.symlink(self.path, other)
        with self.assertRaisesRegex(GradusdError, "it is a link"):
            Gradusd(PROGRAM, settings, self.folder)
        os.remove(other)
        os.mkfifo(other)
        with self.assertRaisesRegex(GradusdError, "regular file"):
            Gradusd(PROGRAM, settings, self.folder)

    @unittest.skipUnless(os.geteuid() == 0, "only root and services mind")
    def test_settings_that_others_can_write(self):
        start = len(self.daemon.log_lines)
        os.chmod(self.daemon.settings_path, 0o666)
        self.daemon.send_signal(signal.SIGHUP)
        self.daemon.wait_log("others can write .*gradus.cfg", start)
        self.daemon.wait_log("the old settings stay", start)
        os.chmod(self.daemon.settings_path, 0o644)
        self.daemon.send_signal(signal.SIGHUP)
        self.daemon.wait_log("loaded, 5 instruments", start)


class Without(DaemonCase):
    def test_no_store(self):
        self.assertNotIn("stored", self.client.call("measure", "rail"))
        self.assertNotIn("store", self.client.call("health"))
        for method in ("readings", "verify"):
            self.assertIn("not kept", self.refused(self.client.call, method).data["what"])


class Command(StoreCase):
    def test_table_csv_json(self):
        for _ in range(5):
            self.client.call("measure", "rail")
        self.client.call("measure", "plain_rail")
        out, _ = self.gradus("readings")
        rows = out.splitlines()
        self.assertEqual(rows[0].split(), ["id", "time", "point", "result", "verdict", "instrument"])
        self.assertEqual([row.split()[0] for row in rows[1:]], ["1", "2", "3", "4", "5", "6"])
        out, _ = self.gradus("readings", "rail", "--csv", "--limit", "2")
        rows = list(csv.DictReader(io.StringIO(out, newline="")))
        self.assertEqual([row["id"] for row in rows], ["4", "5"])
        self.assertEqual({row["unit"] for row in rows}, {"V"})
        self.assertTrue(all(row["identity"] and row["settings_digest"] for row in rows))
        out, _ = self.gradus("readings", "--since", "2020-01-01", "--json")
        self.assertEqual([json.loads(line)["id"] for line in out.splitlines()], list(range(1, 7)))
        out, _ = self.gradus("readings", "--until", "2020-01-01", "--json")
        self.assertEqual(out, "")
        _, err = self.gradus("readings", "--since", "soon", status=2)
        self.assertIn("2026-01-31", err)

    def test_verify(self):
        for _ in range(5):
            self.client.call("measure", "rail")
        out, _ = self.gradus("readings", "--verify")
        self.assertIn("5 readings intact", out)
        self.assertIn("intact up to row 5", out)
        with sqlite3.connect(self.path, timeout=LIMIT_S) as database:
            database.execute("UPDATE readings SET value = 5.5 WHERE id = 3")
        out, err = self.gradus("readings", "--verify", status=1)
        self.assertIn("2 readings intact", out)
        self.assertIn("row 3: the row was altered", err)
        out, _ = self.gradus("--json", "readings", "--verify", status=1)
        self.assertEqual(json.loads(out)["first_bad"], 3)
        out, _ = self.gradus("readings")
        self.assertIn("system error", out.splitlines()[3])


class Trouble(StoreCase):
    policy = "hold = 5;"

    def test_a_database_that_is_locked(self):
        self.client.call("measure", "rail")
        other = sqlite3.connect(self.path, isolation_level=None, timeout=LIMIT_S)
        self.addCleanup(other.close)
        other.execute("BEGIN IMMEDIATE")
        answers = [self.client.call("measure", "rail") for _ in range(7)]
        self.assertTrue(all(answer["stored"] is False for answer in answers))
        self.assertIn("the database is locked", answers[0]["warnings"][-1])
        self.assertIn("as many readings as it may", answers[-1]["warnings"][-1])
        self.assertEqual(len({answer["value"] for answer in answers}), 1)
        health = self.client.call("health")["store"]
        self.assertEqual((health["state"], health["held"], health["refused"]), ("locked", 5, 2))
        self.daemon.wait_log("store: .*locked")
        self.daemon.wait_log("store.hold: .*5 readings are held")
        other.execute("ROLLBACK")
        self.until(lambda: self.client.call("health")["store"]["state"] == "well")
        self.daemon.wait_log("store: works again")
        kept = [item["reading"]["sequence"] for item in self.all_readings(self.client)]
        self.assertEqual(kept, [1, 2, 3, 4, 5, 6])
        self.assertIs(self.client.call("measure", "rail")["stored"], True)
        self.assertIs(self.client.call("verify")["intact"], True)

    def test_a_newer_version_is_refused(self):
        self.client.call("measure", "rail")
        self.daemon.terminate()
        with sqlite3.connect(self.path) as database:
            database.execute("PRAGMA user_version = 99")
        with self.assertRaisesRegex(GradusdError, "(?s)status 1.*version 99"):
            self.start()


class Retention(StoreCase):
    """Nothing goes by a clock that nobody vouches for, nor a large share at once by itself."""

    policy = "retention_days = 30; trust_clock = true;"

    def aged(self):
        """A daemon over readings of which all but the newest are forty days old."""
        for _ in range(5):
            self.client.call("measure", "rail")
        self.assertEqual(self.daemon.terminate(), 0)
        with sqlite3.connect(self.path) as database:
            database.execute("UPDATE readings SET time_ns = time_ns - 40 * 86400 * 1000000000"
                             " WHERE id < 5")
        database.close()
        self.daemon = self.start()
        self.client = self.daemon.client()

    def allowed(self):
        with sqlite3.connect(f"file:{self.path}?mode=ro", uri=True) as database:
            return database.execute("SELECT body FROM events WHERE kind = 'removal allowed'").fetchall()

    def test_a_large_share_waits_for_an_administrator(self):
        self.aged()
        self.daemon.wait_log("store: removal by policy: .*4 rows from before .* gradus prune 20")
        waiting = self.client.call("health")["store"]["waiting"]
        self.assertEqual((waiting["rows"], waiting["for"]), (4, "administrator"))
        out, _ = self.gradus("prune")
        self.assertIn(f"gradus prune {waiting['before']}", out)
        self.assertEqual(len(self.all_readings(self.client)), 5)
        _, err = self.gradus("prune", "2200-01-01", status=2)
        self.assertIn("later than what waits", err)
        _, err = self.gradus("prune", "soon", status=2)
        self.assertIn("not a time", err)
        out, _ = self.gradus("prune", waiting["before"])
        self.assertIn("being removed", out)
        self.until(lambda: self.client.call("health")["store"]["removed"] == 4)
        self.until(lambda: [item["id"] for item in self.all_readings(self.client)] == [5])
        self.until(self.allowed)
        (body,), = self.allowed()
        self.assertEqual(json.loads(body)["before"], waiting["before"])
        self.assertTrue(json.loads(body)["by"])

    def test_nothing_waits(self):
        self.client.call("measure", "rail")
        out, _ = self.gradus("prune")
        self.assertIn("Nothing waits", out)
        _, err = self.gradus("prune", "2026-01-01", status=2)
        self.assertIn("nothing waits", err)
        self.assertNotIn("waiting", self.client.call("health")["store"])


class Kill(StoreCase):
    """kill -9 at random moments; what was acknowledged by then must be there afterwards, once, and
    nothing looks as if it had been taken away."""

    policy = "anchor_s = 0.0;"

    def acknowledged(self, daemon, chance):
        """Asks until the daemon is killed; what it has acknowledged till then."""
        clients = [daemon.client() for _ in range(3)]
        for client in clients:
            for _ in range(chance.randrange(1, 40)):
                client.send("measure", chance.choice(("rail", "weak", "second_rail")))
        answers = []
        for client in clients:
            for _ in range(chance.randrange(0, 10)):
                line = client.read_line()
                answers.append(json.loads(line))
                client.send("measure", "rail")
        daemon.send_signal(signal.SIGKILL)
        for client in clients:
            answers += self.rest(client)
        self.assertEqual(daemon.wait(), -signal.SIGKILL)
        self.assertNotRegex(daemon.log, "were there at|not the one|it is not there")
        daemon.stop()
        return [answer["result"] for answer in answers if answer["result"]["stored"]]

    def rest(self, client):
        """What still arrives of a client's answers; the last may have been cut."""
        try:
            while (line := client.read_line()) is not None:
                yield json.loads(line)
        except (GradusdError, ConnectionResetError):
            pass

    def check(self, acknowledged):
        with self.start() as daemon:
            client = daemon.client()
            self.assertIs(client.call("verify")["intact"], True, client.call("verify"))
            self.assertNotIn("missing", client.call("health")["store"])
            self.assertNotRegex(daemon.log, "were there at|not the one")
            kept = self.all_readings(client)
            ids = [item["id"] for item in kept]
            self.assertEqual(len(ids), len(set(ids)))
            by_id = {item["id"]: item["reading"] for item in kept}
            for answer in acknowledged:
                bare = {key: value for key, value in answer.items() if key not in ("stored", "id")}
                self.assertEqual(by_id[answer["id"]], bare)
            times = [(item["reading"]["time"], item["reading"]["sequence"]) for item in kept]
            self.assertEqual(len(times), len(set(times)), "a reading is there twice")

    def test_nothing_acknowledged_is_lost(self):
        self.daemon.terminate()
        seed = random.randrange(1 << 32)
        chance = random.Random(seed)
        acknowledged = []
        with self.subTest(seed=seed):
            for _ in range(ROUNDS):
                acknowledged += self.acknowledged(self.start(), chance)
            self.assertGreater(len(acknowledged), ROUNDS)
            self.assertEqual(len({answer["id"] for answer in acknowledged}), len(acknowledged))
            self.check(acknowledged)


if __name__ == "__main__":
    unittest.main()
