# SPDX-License-Identifier: GPL-3.0-or-later
"""Stands between the daemon and a simulated instrument, for tests that change what is said."""

import os
import re
import socket
import tempfile
import threading

# What of each type's language asks for nothing and has no answer.
SILENT = {"tarnwerk-meter": lambda line: b"?" not in line,
          "tarnwerk-scope": lambda line: b"?" not in line,
          "oldmere-meter": lambda line: line.split()[0] not in (b"LOOK", b"WHO", b"WHICH"),
          "oldmere-scope": lambda line: False}


class Relay:
    """Listens for the daemon and passes its messages on to an instrument of the bench.

    path    where it listens, for the daemon's settings
    answer  to be overridden: what is sent for the instrument's answer to a message
    """

    def __init__(self, kind, address):
        self.kind = kind
        self.address = address
        self.end = b"\r" if kind == "oldmere-meter" else b"\n"
        self.folder = tempfile.TemporaryDirectory(prefix="relay-")
        self.path = os.path.join(self.folder.name, "one")
        self.listener = socket.socket(socket.AF_UNIX)
        self.listener.bind(self.path)
        self.listener.listen()
        self.thread = threading.Thread(target=self.serve, daemon=True)
        self.thread.start()

    def stop(self):
        self.listener.shutdown(socket.SHUT_RDWR)
        self.thread.join()
        self.listener.close()
        self.folder.cleanup()

    def serve(self):
        while True:
            try:
                here = self.listener.accept()[0]
            except OSError:
                return
            there = socket.socket(socket.AF_UNIX)
            there.connect(self.address.removeprefix("unix:"))
            self.connected()
            with here, there, there.makefile("rb") as answers:
                try:
                    self.pass_on(here, there, answers)
                except OSError:
                    pass

    def connected(self):
        """The daemon has come; nothing of before is on its way any more."""

    def heard(self, line):
        """A message of the daemon's, with an answer or without."""

    def answer(self, line, true):
        return true

    def pass_on(self, here, there, answers):
        buffer = b""
        while data := here.recv(65536):
            buffer += data
            while self.end in buffer:
                line, buffer = buffer.split(self.end, 1)
                there.sendall(line + self.end)
                self.heard(line)
                if line and not SILENT[self.kind](line):
                    here.sendall(self.answer(line, self.read(answers)))

    def read(self, answers):
        text = answers.readline()
        block = re.match(rb"#([1-9])", text)
        if block:
            digits = int(block[1])
            whole = 2 + digits + int(text[2:2 + digits])
            while len(text) <= whole or not text.endswith(b"\n"):
                text += answers.readline()
        return text
