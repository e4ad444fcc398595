# SPDX-License-Identifier: GPL-3.0-or-later
"""Carries bytes between a terminal and an instrument that listens on a Unix socket.

The instrument's side is opened again when it ends, as an instrument on a serial line never goes.
"""

import os
import select
import socket
import threading

import lab

XON, XOFF = b"\x11", b"\x13"


class Bridge:
    """Runs until close().

    echo  the instrument sends back what it is sent, before it answers
    """

    def __init__(self, node, instrument):
        self._tty = lab.open_raw(node)
        self._instrument = instrument
        self._socket = self._connect()
        self._wake, self._woken = os.pipe()
        self.echo = False
        self._thread = threading.Thread(target=self._run)
        self._thread.start()

    def _connect(self):
        line = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        line.connect(self._instrument)
        return line

    def _run(self):
        while True:
            ready = select.select([self._tty, self._socket, self._wake], [], [])[0]
            if self._wake in ready:
                return
            if self._tty in ready:
                self._pass_in()
            if self._socket in ready:
                self._pass_out()

    def _pass_in(self):
        try:
            data = os.read(self._tty, 4096)
            if self.echo:
                self.send(data)
            self._socket.sendall(data)
        except (BlockingIOError, BrokenPipeError, ConnectionResetError):
            pass  # what is lost here is lost on a line

    def _pass_out(self):
        try:
            data = self._socket.recv(4096)
        except ConnectionResetError:
            data = b""
        if not data:
            self._socket.close()
            self._socket = self._connect()
        self.send(data)

    def send(self, data):
        """Sends bytes to the terminal's other end, as if the instrument had."""
        while data:
            select.select([], [self._tty], [], lab.LIMIT_S)
            data = data[os.write(self._tty, data):]

    def close(self):
        os.write(self._woken, b"x")
        self._thread.join()
        self._socket.close()
        for descriptor in (self._tty, self._wake, self._woken):
            os.close(descriptor)
