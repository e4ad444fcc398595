# SPDX-License-Identifier: GPL-3.0-or-later
"""Who is curious, careless or hostile beside an honest client: nobody who asks decently is refused,
and nothing that was asked is answered wrong. Loopback only, and every load has an end."""

import contextlib
import json
import os
import pathlib
import unittest

from daemon_case import DaemonCase
from gradusd import Client, GradusdError

IDLE, UNKNOWN, FOLLOWERS, REPEATS = 300, 2000, 200, 20


def line(method, number, *parameters):
    return json.dumps({"jsonrpc": "2.0", "id": number, "method": method,
                       "params": list(parameters)}).encode() + b"\n"


class Hostile(DaemonCase):
    def settings(self, ambient=23.0, more=""):
        return super().settings(ambient, more).replace("clients = 12;", "clients = 64;")

    def honest(self):
        """The client that was here before is answered, and rightly."""
        self.assertAlmostEqual(self.client.call("measure", "rail")["value"], 5.0, places=3)

    def memory(self):
        status = pathlib.Path(f"/proc/{self.daemon.pid}/status").read_text()
        return int(status.split("VmRSS:")[1].split()[0])

    def test_idle_connections(self):
        """All of TCP's places are taken by who says nothing: people on the machine get in."""
        crowd = []
        for _ in range(IDLE):
            with contextlib.suppress(OSError):
                crowd.append(Client(self.daemon.tcp))
        self.honest()
        self.assertTrue(self.daemon.client().call("health"))
        for each in crowd:
            each.close()
        self.until(lambda: self.client.call("health")["clients"] <= 2)

    def test_unknown_names(self):
        crowd = [self.daemon.client() for _ in range(4)]
        for client in crowd:
            client.send_raw(line("measure", 1, "x" * 63) * UNKNOWN)
        self.honest()
        for client in crowd:
            for _ in range(UNKNOWN):
                self.assertEqual(client.read()["error"]["code"], -32030)

    def test_followers_that_come_and_go(self):
        for turn in range(FOLLOWERS):
            with self.daemon.client() as client:
                client.call("follow", ["rail"], 0)
            if turn == FOLLOWERS // 2:
                before = self.memory()
        self.honest()
        self.until(lambda: self.client.call("health")["clients"] == 1)
        self.assertLess(self.memory(), before + 50000)

    def test_repeats(self):
        for _ in range(REPEATS):
            with self.daemon.client() as client:
                client.send("measure", "rail", 10000, 3600000)
        self.honest()
        self.assertLess(self.instrument()["counters"]["queries"], 10000)

    def test_wrong_tokens(self):
        for _ in range(30):
            with Client(self.daemon.tcp) as client:
                client.send_raw(line("authenticate", 1, "guess") + line("hold", 2, "meter"))
                self.assertEqual([client.read()["error"]["code"] for _ in range(2)], [-32024] * 2)
        self.assertFalse(self.instrument()["held"])
        self.assertLessEqual(self.daemon.log.count("a wrong token came"), 2)
        self.honest()

    def test_rubbish(self):
        for text in (b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03\n", b"GET / HTTP/1.1\r\n\r\n",
                     b"\x00" * 70000, b"[" * 60000 + b"\n", os.urandom(5000).replace(b"\n", b"")):
            for tcp in (False, True):
                client = Client(self.daemon.tcp if tcp else self.daemon.unix)
                with client, contextlib.suppress(OSError, GradusdError):
                    client.send_raw(text + b"\n")
                    while client.read_line() is not None:
                        pass
        self.honest()


if __name__ == "__main__":
    unittest.main()
