# SPDX-License-Identifier: GPL-3.0-or-later
"""The anchors of the store: a database that was cut short, emptied, removed or replaced by an older
copy is told, for ever; who has no key can make no anchor; and no kill makes a false alarm
(blackbox_store kills)."""

import hmac
import os
import shutil
import sqlite3
import unittest

from blackbox_store import StoreCase
from gradusd import GradusdError


class Anchored(StoreCase):
    policy = "anchor_s = 0.0;"

    @property
    def anchors(self):
        return self.path + ".anchors"

    def lines(self):
        with open(self.anchors, encoding="ascii") as file:
            return file.read().splitlines()

    def measure(self, count):
        for _ in range(count):
            self.client.call("measure", "rail")

    def stop(self):
        self.assertEqual(self.daemon.terminate(), 0)

    def again(self):
        self.daemon = self.start()
        self.addCleanup(self.daemon.stop)
        self.client = self.daemon.client()

    def change(self, statements):
        with sqlite3.connect(self.path) as database:
            database.executescript(statements)
        database.close()

    def missing(self, first, last):
        """What is told of rows that are gone."""
        self.daemon.wait_log(f"rows {first} to {last} were there at .* and are missing")
        self.assertEqual(self.client.call("health")["store"]["missing"], last - first + 1)
        self.measure(1)
        self.assertGreater(self.all_readings(self.client)[-1]["id"], last + 1)
        told = self.client.call("verify")
        self.assertEqual((told["intact"], told["first_bad"], told["missing"]),
                         (False, first, last - first + 1))
        self.assertIn(f"rows {first} to {last} are missing since", told["what"])
        out, err = self.gradus("readings", "--verify", status=1)
        self.assertIn(f"{last - first + 1} rows were lost", out)
        self.assertIn(f"row {first}: rows {first} to {last} are missing", err)


class Cut(Anchored):
    def test_each_commit_is_anchored(self):
        self.measure(3)
        self.stop()
        self.daemon.wait_log("readings.db: row 1, digest [0-9a-f]{64}")
        with sqlite3.connect(self.path) as database:
            digests = dict(database.execute("SELECT id, hex(digest) FROM readings"))
        for line in self.lines():
            word, number, digest, _ = line.split(" ")
            self.assertEqual((word, digest), ("row", digests[int(number)].lower()))
        self.assertEqual(os.stat(self.anchors).st_mode & 0o777, 0o600)
        self.again()
        self.assertIs(self.client.call("verify")["intact"], True)

    def test_a_tail_that_was_cut(self):
        self.measure(5)
        self.stop()
        self.change("DELETE FROM readings WHERE id > 3; UPDATE head SET last = 3,"
                    " digest = (SELECT digest FROM readings WHERE id = 3);")
        self.again()
        self.missing(4, 5)
        self.stop()
        self.again()
        self.assertNotIn("were there at", self.daemon.log)
        self.assertEqual(self.client.call("health")["store"]["missing"], 2)

    def test_a_database_that_was_emptied(self):
        self.measure(3)
        self.stop()
        self.change("DELETE FROM readings; DELETE FROM events; UPDATE head SET last = 0;")
        self.again()
        self.daemon.wait_log("rows 1 to 3 were there at .* and are missing")

    def test_a_database_that_was_removed(self):
        self.measure(3)
        self.stop()
        os.remove(self.path)
        self.again()
        self.missing(1, 3)

    def test_an_older_copy(self):
        self.measure(2)
        self.stop()
        shutil.copy(self.path, self.path + ".copy")
        self.again()
        self.measure(4)
        self.stop()
        os.replace(self.path + ".copy", self.path)
        self.again()
        self.missing(3, 6)

    def test_another_database(self):
        self.measure(3)
        self.stop()
        os.rename(self.anchors, self.path + ".kept")
        os.remove(self.path)
        self.again()
        self.measure(6)
        self.stop()
        os.rename(self.path + ".kept", self.anchors)
        self.again()
        self.daemon.wait_log("row 3 is not the one that was there at")
        told = self.client.call("verify")
        self.assertEqual((told["intact"], told["first_bad"]), (False, 1))
        self.assertIn("not the one that was there at", told["what"])

    def test_a_cut_under_the_running_daemon(self):
        self.measure(5)
        with sqlite3.connect(self.path, timeout=60) as database:
            database.executescript("DELETE FROM readings WHERE id > 3; UPDATE head SET last = 3,"
                                   " digest = (SELECT digest FROM readings WHERE id = 3);")
        told = self.client.call("verify")
        self.assertEqual((told["intact"], told["first_bad"]), (False, 4))
        self.assertIn("rows up to 5 were there at", told["what"])

    def test_anchors_that_were_not_there(self):
        self.measure(3)
        self.stop()
        os.remove(self.anchors)
        self.again()
        self.daemon.wait_log("anchors: it is not there, although the database has 3 rows")
        self.measure(1)
        self.assertIs(self.client.call("verify")["intact"], True)

    def test_half_a_line(self):
        self.measure(2)
        self.stop()
        with open(self.anchors, "a", encoding="ascii") as file:
            file.write("row 3 ab")
        self.again()
        self.measure(1)
        self.assertIs(self.client.call("verify")["intact"], True)
        self.assertEqual(self.lines()[-1].split(" ")[:2], ["row", "3"])
        self.assertNotIn("missing", self.daemon.log)

    def test_a_link_or_a_pipe_in_its_place(self):
        self.stop()
        target = os.path.join(self.folder, "target")
        for make in (lambda: os.symlink(target, self.anchors), lambda: os.mkfifo(self.anchors)):
            if os.path.lexists(self.anchors):
                os.remove(self.anchors)
            make()
            self.again()
            self.assertIs(self.client.call("measure", "rail")["stored"], True)
            self.daemon.wait_log("store: anchors: ")
            self.stop()
        self.assertFalse(os.path.exists(target))


class Keyed(Anchored):
    KEY = b"a key of a shop, kept by whoever checks"

    @property
    def policy(self):
        key = os.path.join(self.folder, "key")
        if not os.path.exists(key):
            with open(key, "wb", opener=lambda path, flags: os.open(path, flags, 0o600)) as file:
                file.write(self.KEY)
        return f'anchor_s = 0.0; anchor_key = "{key}";'

    def test_each_line_has_the_hmac_of_all_before(self):
        """RFC 2104, as Python's library computes it."""
        self.measure(3)
        self.stop()
        before = bytes(32)
        for line in self.lines():
            text, mac = line.rsplit(" ", 1)
            before = hmac.digest(self.KEY, before + text.encode(), "sha256")
            self.assertEqual(mac, before.hex())
        self.assertEqual(len(self.lines()), 3)

    def test_a_line_without_the_key(self):
        self.measure(3)
        self.stop()
        lines = self.lines()
        with open(self.anchors, "w", encoding="ascii") as file:
            file.write("\n".join(lines[:1] + lines[2:]) + "\n")
        self.again()
        self.daemon.wait_log("last line was not written with the key")
        told = self.client.call("verify")
        self.assertIs(told["intact"], False)
        self.assertIn("line 2 of the anchors was not written with the key", told["what"])

    def test_a_key_that_others_can_read(self):
        self.stop()
        os.chmod(os.path.join(self.folder, "key"), 0o644)
        with self.assertRaisesRegex(GradusdError, "others cannot read"):
            self.start()


if __name__ == "__main__":
    unittest.main()
