# SPDX-License-Identifier: GPL-3.0-or-later
"""A daemon that says what a test tells it to, and notes everything it is asked.

It is strict: a request that is no JSON-RPC 2.0 request, a method the test did
not expect, or parameters other than the wire contract's make the test fail.
"""

import json
import os
import socket
import tempfile
import threading

LIMIT_S = 30.0

PARAMETERS = {
    "points": set(),
    "instruments": set(),
    "health": set(),
    "measure": {"point", "repeat", "deadline_ms"},
    "explain": {"point"},
    "capture": {"point", "samples", "duration", "deadline_ms"},
    "follow": {"points", "every_ms", "readings", "deadline_ms", "read"},
    "readings": {"run", "after", "limit"},
    "burnin.events": {"run", "after"},
    "burnin.study": {"run", "point", "buckets"},
    "burnin.status": {"run"},
    "talk": {"instrument", "command", "reply", "deadline_ms"},
}


class Error(Exception):
    """Answers with a JSON-RPC error."""

    def __init__(self, code, message, **data):
        super().__init__(message)
        self.object = {"code": code, "message": message}
        if data:
            self.object["data"] = data


class Raw:
    """JSON text that goes out as it stands."""

    def __init__(self, text):
        self.text = text


def text_of(value):
    return value.text if isinstance(value, Raw) else json.dumps(value)


class Call:
    """One request. Answers may come in any order and from any thread."""

    def __init__(self, connection, request):
        self.connection = connection
        self.method = request["method"]
        self.params = request["params"]
        self.id = request["id"]

    def result(self, value):
        self.line('{"jsonrpc":"2.0","id":%d,"result":%s}' % (self.id, text_of(value)))

    def error(self, error):
        self.line('{"jsonrpc":"2.0","id":%d,"error":%s}' % (self.id, json.dumps(error.object)))

    def notify(self, method, **params):
        inside = ",".join('"%s":%s' % (name, text_of(value)) for name, value in params.items())
        self.line('{"jsonrpc":"2.0","method":"%s","params":{%s}}' % (method, inside))

    def line(self, text):
        self.connection.sendall(text.encode() + b"\n")

    def hang_up(self):
        self.connection.shutdown(socket.SHUT_RDWR)


class FakeDaemon:
    """Listens on a Unix socket; `methods` maps a method to a function of its call.

    What the function returns is the result; one that returns None has seen to
    the answer itself, or wants there to be none.
    """

    def __init__(self, methods, tcp=False):
        self.methods = methods
        self.mistakes = []
        self.requests = []
        self.folder = tempfile.TemporaryDirectory()
        if tcp:
            self.listener = socket.create_server(("127.0.0.1", 0))
            self.address = "tcp:127.0.0.1:%d" % self.listener.getsockname()[1]
        else:
            path = os.path.join(self.folder.name, "gradus.sock")
            self.listener = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
            self.listener.bind(path)
            self.listener.listen()
            self.address = "unix:" + path
        self.threads = [threading.Thread(target=self._accept, daemon=True)]
        self.threads[0].start()

    def __enter__(self):
        return self

    def __exit__(self, kind, value, trace):
        # Shutting a listening socket down wakes the thread that waits in accept().
        self.listener.shutdown(socket.SHUT_RDWR)
        self.listener.close()
        for thread in list(self.threads):
            thread.join(LIMIT_S)
            if thread.is_alive():
                self.mistakes.append("a connection was left open")
        self.folder.cleanup()
        if kind is None and self.mistakes:
            raise AssertionError("; ".join(self.mistakes))

    def _accept(self):
        while True:
            try:
                connection, _ = self.listener.accept()
            except OSError:
                return
            thread = threading.Thread(target=self._serve, args=(connection,), daemon=True)
            self.threads.append(thread)
            thread.start()

    def _serve(self, connection):
        with connection, connection.makefile("rb") as lines:
            try:
                for line in lines:
                    self._take(connection, line)
            except OSError:
                pass  # The command went away, as it may.

    def _take(self, connection, line):
        try:
            call = self._check(connection, line)
        except (ValueError, KeyError, TypeError) as wrong:
            self.mistakes.append("request %r: %s" % (line, wrong))
            connection.shutdown(socket.SHUT_RDWR)
            return
        try:
            result = self.methods[call.method](call)
            if result is not None:
                call.result(result)
        except Error as error:
            call.error(error)

    def _check(self, connection, line):
        if not line.endswith(b"\n"):
            raise ValueError("no newline at its end")
        request = json.loads(line)
        if set(request) != {"jsonrpc", "id", "method", "params"} or request["jsonrpc"] != "2.0":
            raise ValueError("no JSON-RPC 2.0 request")
        call = Call(connection, request)
        if call.method not in self.methods:
            raise ValueError("method was not expected")
        unknown = set(call.params) - PARAMETERS[call.method]
        if unknown:
            raise ValueError("parameters %s" % sorted(unknown))
        self.requests.append((call.method, call.params))
        return call
