# SPDX-License-Identifier: GPL-3.0-or-later
"""Starts the daemon and talks to its sockets.

    with Gradusd(program, settings) as daemon:
        client = daemon.client()
        client.call("measure", point="rail")["value"]      # or raises RpcError
        client.call("measure", "rail", 3)                   # positional parameters
        daemon.reload(other_settings)
        daemon.terminate()                                  # exit status

Nothing here sleeps: the daemon says on a descriptor when its sockets listen,
its log is awaited line by line, and every wait has a limit.
"""

import collections
import contextlib
import itertools
import json
import os
import re
import select
import shutil
import signal
import socket
import subprocess
import tempfile
import threading

# A hang ends here; a busy machine is slow for long and must not look like one.
LIMIT_S = 300.0


class GradusdError(Exception):
    """The daemon did not start, did not end, or ended in an unexpected way."""


class RpcError(Exception):
    """The daemon answered a call with an error; `data` is {} when there is none."""

    def __init__(self, code, message, data=None):
        super().__init__(f"{code} {message} {data}")
        self.code = code
        self.message = message
        self.data = {} if data is None else data


class Client:
    """A connection: calls, notifications, and raw bytes.

    receive_buffer  bytes the kernel keeps for a client that does not read
    tls             an ssl.SSLContext; None: bytes go as they are
    """

    def __init__(self, address, receive_buffer=None, tls=None):
        family = socket.AF_UNIX if isinstance(address, str) else socket.AF_INET
        self.socket = socket.socket(family, socket.SOCK_STREAM)
        if receive_buffer is not None:
            self.socket.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, receive_buffer)
        self.socket.settimeout(LIMIT_S)
        try:
            self.socket.connect(address)
        except OSError:
            self.socket.close()
            raise
        if tls is not None:
            self.socket = tls.wrap_socket(self.socket, server_hostname=address[0])
        self._reader = self.socket.makefile("rb")
        self._numbers = itertools.count(1)
        self._replies = {}
        self._notifications = collections.deque()
        self._waits_for_name = False

    def authenticate(self, token):
        """Says who one is; the answer is waited for with the next line, and swallowed."""
        with contextlib.suppress(ConnectionError):
            self.send_raw(json.dumps({"jsonrpc": "2.0", "id": "name", "method": "authenticate",
                                      "params": [token]}).encode() + b"\n")
        self._waits_for_name = True

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.close()

    def close(self):
        self._reader.close()
        self.socket.close()

    def finish_sending(self):
        """Ends the stream towards the daemon; what it sends can still be read."""
        self.socket.shutdown(socket.SHUT_WR)

    def send_raw(self, data):
        self.socket.sendall(data)

    def read_line(self):
        """The next line without its newline, or None at the end of the stream."""
        line = self._reader.readline()
        if self._waits_for_name and b'"id":"name"' in line:
            self._waits_for_name = False
            line = self._reader.readline()
        if not line:
            return None
        if not line.endswith(b"\n"):
            raise GradusdError(f"half a line at the end of the stream: {line!r}")
        return line[:-1]

    def read(self):
        """The next JSON text, whatever it is; notifications kept aside are not looked at."""
        line = self.read_line()
        if line is None:
            raise GradusdError("the daemon has closed the connection")
        return json.loads(line)

    def send(self, method, /, *arguments, **parameters):
        """Sends a call without waiting for its answer; returns its id."""
        if arguments and parameters:
            raise TypeError("parameters are all by position or all by name")
        number = next(self._numbers)
        request = {"jsonrpc": "2.0", "id": number, "method": method}
        if arguments and parameters:
            raise GradusdError("parameters go by position or by name, not both")
        if arguments or parameters:
            request["params"] = list(arguments) or parameters
        self.send_raw(json.dumps(request).encode() + b"\n")
        return number

    def wait(self, number):
        """The result of the call with that id; notifications before it are kept."""
        while number not in self._replies:
            self._take(self.read())
        reply = self._replies.pop(number)
        if "error" in reply:
            raise RpcError(**reply["error"])
        return reply["result"]

    def has(self, number):
        """Whether the call with that id has been answered already; waits for nothing."""
        while select.select([self.socket], [], [], 0)[0] and number not in self._replies:
            self._take(self.read())
        return number in self._replies

    def call(self, method, /, *arguments, **parameters):
        return self.wait(self.send(method, *arguments, **parameters))

    def _take(self, message):
        if "method" in message:
            self._notifications.append(message)
        elif message["id"] in self._replies:
            raise GradusdError(f"answered twice: {message}")
        else:
            self._replies[message["id"]] = message

    def notification(self):
        """The next notification; waits for one when none was kept."""
        while not self._notifications:
            self._take(self.read())
        return self._notifications.popleft()

    def notifications(self, count=None):
        """The next `count` notifications, or those that are here already."""
        if count is None:
            count = len(self._notifications)
        return [self.notification() for _ in range(count)]

    def until(self, method):
        """All notifications up to and with the first of that method."""
        taken = [self.notification()]
        while taken[-1]["method"] != method:
            taken.append(self.notification())
        return taken


class Gradusd:
    """A running gradusd in a folder of its own.

    program   path of the program
    settings  text of the settings; `profiles` beside it is the folder given
    profiles  folder of the profiles; by default the source's config/profiles
    tcp       listen at a free port of 127.0.0.1 as well
    words     further words of the command line
    """

    def __init__(self, program, settings, profiles=None, tcp=False, words=(), unix=None):
        self.folder = tempfile.mkdtemp(prefix="gradusd-")
        self.settings_path = os.path.join(self.folder, "gradus.cfg")
        self._token = self._make_token(program) if tcp else None
        self.unix = os.path.join(self.folder, "gradus.sock") if unix is None else unix
        self.status = None
        self._clients = []
        self._lines = []
        self._news = threading.Condition()
        self._process = None
        self._reader = None
        try:
            self._prepare(settings, profiles)
            self._start(program, tcp, words)
        except BaseException:
            self.stop()
            raise

    def _prepare(self, settings, profiles):
        if profiles is None:
            profiles = os.path.join(os.environ["GRADUS_SOURCE"], "config", "profiles")
        os.symlink(os.path.abspath(profiles), os.path.join(self.folder, "profiles"))
        self.write_settings(settings)

    def _start(self, program, tcp, words):
        ready, writing = os.pipe()
        line = [program, "--settings", self.settings_path, "--unix", self.unix,
                "--ready-fd", str(writing), *words]
        if tcp:
            line += ["--tcp", "127.0.0.1:0"]
        try:
            self._process = subprocess.Popen(line, pass_fds=[writing], stdin=subprocess.DEVNULL,
                                             stderr=subprocess.PIPE)
        finally:
            os.close(writing)
        self._reader = threading.Thread(target=self._read_log, daemon=True)
        self._reader.start()
        with os.fdopen(ready, "rb") as said:
            if not select.select([said], [], [], LIMIT_S)[0]:
                raise GradusdError("gradusd does not get ready\n" + self.log)
            if said.readline() != b"ready\n":
                self._ended()
                raise GradusdError(f"gradusd ended with status {self.status}\n{self.log}")

    def _read_log(self):
        for line in self._process.stderr:
            with self._news:
                self._lines.append(line.decode("utf-8", "replace").rstrip("\n"))
                self._news.notify_all()

    def _make_token(self, program):
        """A token that may everything, for who comes over TCP."""
        return subprocess.run([program, "--token", os.path.join(self.folder, "tokens"), "test",
                               "administer"], capture_output=True, text=True,
                              check=True).stdout.strip()

    def write_settings(self, settings):
        if self._token is not None and "tokens = " not in settings:
            tokens = f'tokens = "{self.folder}/tokens";'
            settings = (settings.replace("access = {", "access = { " + tokens)
                        if "access = {" in settings else f"{settings}\naccess = {{ {tokens} }};\n")
        with open(self.settings_path, "w", encoding="utf-8") as out:
            out.write(settings)

    @property
    def log(self):
        """What the daemon wrote to standard error so far."""
        with self._news:
            return "\n".join(self._lines)

    @property
    def log_lines(self):
        with self._news:
            return list(self._lines)

    def wait_log(self, pattern, start=0):
        """Waits for a log line from index `start` on in which the pattern is; returns its index."""
        def found():
            for index in range(start, len(self._lines)):
                if re.search(pattern, self._lines[index]):
                    return index + 1
            return 0
        with self._news:
            index = self._news.wait_for(found, LIMIT_S)
            if not index:
                raise GradusdError(f"no {pattern!r} in the log:\n" + "\n".join(self._lines))
            return index - 1

    @property
    def pid(self):
        return self._process.pid

    @property
    def tcp(self):
        """Address and port of the TCP socket; its line may come later than "ready"."""
        pattern = r"^listening at (\S+) port (\d+)$"
        index = self.wait_log(pattern)
        found = re.match(pattern, self.log_lines[index])
        return found.group(1), int(found.group(2))

    def client(self, tcp=False, **options):
        """A new connection, closed with the daemon at the latest."""
        client = Client(self.tcp if tcp else self.unix, **options)
        self._clients.append(client)
        if tcp and self._token is not None:
            client.authenticate(self._token)
        return client

    def reload(self, settings=None):
        """Loads (new) settings; returns the log lines of it once it is done or refused."""
        if settings is not None:
            self.write_settings(settings)
        start = len(self.log_lines)
        self.send_signal(signal.SIGHUP)
        end = self.wait_log(r"loaded, ", start)
        return self.log_lines[start:end + 1]

    def send_signal(self, number):
        self._process.send_signal(number)

    def _ended(self):
        """Waits for the end of the process; sets and returns its exit status."""
        try:
            self.status = self._process.wait(LIMIT_S)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()
            raise GradusdError("gradusd does not end\n" + self.log) from None
        self._reader.join(LIMIT_S)
        return self.status

    def terminate(self, number=signal.SIGTERM):
        """Asks the daemon to end and waits until it has; returns its exit status."""
        if self.status is None:
            self.send_signal(number)
            self._ended()
        return self.status

    def wait(self):
        """Waits until the daemon has ended by itself; returns its exit status."""
        return self.status if self.status is not None else self._ended()

    def stop(self):
        """Ends the daemon if it still runs and removes its folder; returns its exit status."""
        try:
            for client in self._clients:
                client.close()
            if self._process is not None:
                self.terminate()
                self._process.stderr.close()
            return self.status
        finally:
            shutil.rmtree(self.folder, ignore_errors=True)

    def __enter__(self):
        return self

    def __exit__(self, kind, *_):
        status = self.stop()
        if kind is None and status != 0:
            raise GradusdError(f"gradusd ended with status {status}\n{self.log}")
