#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""One kind of crowd at a daemon's TCP socket, in a process of its own, until its input ends.

    crowd.py KIND HOST PORT TOKEN

It says "ready" once it has begun, and at the end how much it did. Loopback only.
"""

import contextlib
import json
import select
import socket
import sys

HERE = "127.0.0.1"
CONNECTIONS, BATCH = 1000, 500


def call(method, number, *parameters):
    return {"jsonrpc": "2.0", "id": number, "method": method, "params": list(parameters)}


def line(*what):
    return json.dumps(what[0] if len(what) == 1 else what).encode() + b"\n"


class Crowd:
    def __init__(self, address, token):
        self.address, self.token = address, token
        self.done = 0

    def connect(self, token=None):
        one = socket.create_connection(self.address, 60)
        if token is not None:
            one.sendall(line(call("authenticate", "name", token)))
        return one

    def members(self, count):
        return [self.connect(self.token) for _ in range(count)]

    def exchange(self, one, text):
        """Sends, and reads one line; what the daemon closes is opened anew by the caller."""
        one.sendall(text)
        answer = b""
        while not answer.endswith(b"\n"):
            part = one.recv(1 << 20)
            if not part:
                raise ConnectionError("closed")
            answer += part
        self.done += 1

    def idle(self):
        """Connections that say nothing; those that are closed come again."""
        with contextlib.ExitStack() as held:
            for _ in range(CONNECTIONS):
                with contextlib.suppress(OSError):
                    held.enter_context(self.connect())
                    self.done += 1
            yield
            while True:
                with contextlib.suppress(OSError), self.connect():
                    self.done += 1
                yield

    def ask(self, text, count=4, ahead=8):
        """Lines without end, some ahead, all answers read."""
        members = self.members(count)
        for one in members:
            one.sendall(text * ahead)
        while True:
            ready = select.select(members, [], [], 1)[0]
            for one in ready:
                came = one.recv(1 << 20)
                if not came:
                    raise ConnectionError("closed")
                lines = came.count(b"\n")
                self.done += lines
                one.sendall(text * lines)
            yield

    def unknown(self):
        return self.ask(line(*[call("measure", i, "x" * 60 + str(i)) for i in range(BATCH)]), 14, 2)

    def verify(self):
        return self.ask(line(call("verify", 1)))

    def points(self):
        return self.ask(line(*[call("points", i) for i in range(BATCH)]), 14, 2)

    def repeats(self):
        return self.ask(line(call("measure", 1, "rail", 10000, 3600000)), 8, 2)

    def followers(self):
        """They come, follow and go."""
        while True:
            with contextlib.suppress(OSError), self.connect(self.token) as one:
                self.exchange(one, line(call("follow", 1, ["rail", "weak"], 0)))
            yield

    def deaf(self):
        """Everything is asked for, and nothing is read."""
        members = self.members(8)
        text = line(*[call("points", i) for i in range(100)])
        while True:
            for one in members:
                one.setblocking(False)
                with contextlib.suppress(OSError):
                    self.done += one.send(text) == len(text)
            select.select([], members, [], 0.05)
            yield

    def guesses(self):
        while True:
            with contextlib.suppress(OSError), self.connect() as one:
                self.exchange(one, line(call("authenticate", 1, "guess")))
            yield


def main(kind, host, port, token):
    if host != HERE:
        raise SystemExit("crowd.py: only loopback")
    crowd = Crowd((host, int(port)), token)
    begun = False
    for _ in getattr(crowd, kind)():
        if not begun:
            print("ready", flush=True)
            begun = True
        if select.select([sys.stdin], [], [], 0)[0]:
            break
    print(crowd.done, flush=True)


if __name__ == "__main__":
    main(*sys.argv[1:])
