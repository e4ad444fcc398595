# SPDX-License-Identifier: GPL-3.0-or-later
"""Starts the simulated bench and talks to its control socket.

    with StandIn(program, "bench.cfg") as bench:
        bench.set_source("rail", level=5.2)
        bench.fault("meter_a", "late", delay_ms=300)
        bench.truth("rail")["dc"]
        bench.address("meter_a")        # "unix:/.../meter_a.sock"

Nothing here sleeps: the bench says on a descriptor when all its sockets
listen, and every control call is answered.
"""

import itertools
import json
import os
import select
import shutil
import socket
import subprocess
import tempfile

READY_LIMIT_S = 300.0
ANSWER_LIMIT_S = 300.0


class StandInError(Exception):
    """The bench refused a call, or did not start."""


class StandIn:
    """A running standin process and its control connection.

    program   path of the standin program
    config    path of a bench file, or its text when it holds a newline
    seed      instead of the file's
    own_sockets  put every instrument on a Unix socket in a private folder
                 (else it listens where the bench file says)
    """

    def __init__(self, program, config, seed=None, own_sockets=True):
        self._folder = tempfile.mkdtemp(prefix="standin-")
        self._numbers = itertools.count(1)
        self._process = None
        self._socket = None
        self._replies = None
        try:
            self._start(program, self._file(config), seed, own_sockets)
            self._connect()
        except BaseException:
            self.stop()
            raise

    def _file(self, config):
        if "\n" not in config:
            return config
        path = os.path.join(self._folder, "bench.cfg")
        with open(path, "w", encoding="utf-8") as out:
            out.write(config)
        return path

    def _start(self, program, config, seed, own_sockets):
        reading, writing = os.pipe()
        words = [program, config, "--control", self.control_path, "--ready-fd", str(writing)]
        if own_sockets:
            words += ["--listen-dir", self._folder]
        if seed is not None:
            words += ["--seed", str(seed)]
        try:
            self._process = subprocess.Popen(words, pass_fds=[writing], stderr=subprocess.PIPE)
        finally:
            os.close(writing)
        with os.fdopen(reading, "rb") as ready:
            if not select.select([ready], [], [], READY_LIMIT_S)[0]:
                raise StandInError("standin does not get ready")
            if ready.read() != b"ready\n":
                raise StandInError(self._process.stderr.read().decode().strip())

    def _connect(self):
        self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        self._socket.settimeout(ANSWER_LIMIT_S)
        self._socket.connect(self.control_path)
        self._replies = self._socket.makefile("rb")

    @property
    def control_path(self):
        return os.path.join(self._folder, "control.sock")

    @property
    def pid(self):
        return self._process.pid

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.stop()

    def stop(self):
        """Ends the process and removes its sockets; returns its exit status."""
        if self._replies is not None:
            self._replies.close()
            self._replies = None
        if self._socket is not None:
            self._socket.close()
            self._socket = None
        status = None
        if self._process is not None:
            self._process.terminate()
            status = self._process.wait()
            self._process.stderr.close()
            self._process = None
        shutil.rmtree(self._folder, ignore_errors=True)
        return status

    def call(self, method, **params):
        """One control call; raises StandInError with the bench's reason when refused."""
        number = next(self._numbers)
        request = {"jsonrpc": "2.0", "id": number, "method": method, "params": params}
        self._socket.sendall(json.dumps(request).encode() + b"\n")
        line = self._replies.readline()
        if not line:
            raise StandInError("standin has gone")
        reply = json.loads(line)
        if "error" in reply:
            raise StandInError(reply["error"]["message"])
        if reply["id"] != number:
            raise StandInError(f"answer to another call: {reply}")
        return reply["result"]

    def set_source(self, source, **fields):
        return self.call("set_source", source=source, **fields)

    def connect(self, instrument, input, source=None, **probe):
        """Ties an input to a source; without one it is left open."""
        if source is not None:
            probe["source"] = source
        return self.call("connect", instrument=instrument, input=input, **probe)

    def hand(self, instrument, input, move, source=None, **fields):
        """Moves the hand at an input: touch (a source), lift, slip (to a source or off), bounce."""
        if source is not None:
            fields["source"] = source
        return self.call("hand", instrument=instrument, input=input, move=move, **fields)

    def fault(self, instrument, kind, **fields):
        return self.call("fault", instrument=instrument, kind=kind, **fields)

    def clear(self, instrument=None):
        """Disarms all faults, of one instrument or of all."""
        return self.call("clear", **({} if instrument is None else {"instrument": instrument}))

    def truth(self, source):
        """The true unloaded values of a source, as a dictionary."""
        return self.call("truth", source=source)

    def truth_at(self, instrument, input):
        """The true unloaded values of whatever an input is tied to."""
        return self.call("truth", instrument=instrument, input=input)

    def log(self, instrument, count=512):
        """The last commands received, oldest first: [{"time": s, "command": text}]."""
        return self.call("log", instrument=instrument, count=count)

    def commands(self, instrument, count=512):
        """The texts of log()."""
        return [entry["command"] for entry in self.log(instrument, count)]

    def counters(self, instrument):
        """Commands, queries, readings, knobs turned, relay_changes and connections so far."""
        return self.call("counters", instrument=instrument)

    def instruments(self):
        """Name, type, serial and address of every instrument."""
        return self.call("instruments")

    def address(self, instrument):
        """Where an instrument listens: "unix:/PATH" or "tcp:ADDRESS:PORT"."""
        for entry in self.instruments():
            if entry["name"] == instrument:
                return entry["address"]
        raise StandInError(f"no instrument {instrument}")

    def unplug(self, instrument):
        """Takes a USB instrument out; hosts notice later."""
        return self.call("unplug", instrument=instrument)

    def plug(self, instrument, udc=None):
        """Puts it in again, into another controller when one is named."""
        return self.call("plug", instrument=instrument, **({} if udc is None else {"udc": udc}))

    def replug(self, instrument, udc=None):
        """Out and in."""
        return self.call("replug", instrument=instrument, **({} if udc is None else {"udc": udc}))

    def device(self, instrument):
        """What a USB instrument knows of itself and its host."""
        return self.call("device", instrument=instrument)

    def quit(self):
        """Asks the bench to end and waits until it has."""
        result = self.call("quit")
        self._process.wait(ANSWER_LIMIT_S)
        return result
