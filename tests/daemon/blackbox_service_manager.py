# SPDX-License-Identifier: GPL-3.0-or-later
"""The daemon under a service manager, whose part is played here by the words of sd_notify(3) and
sd_listen_fds(3): told ready, reloading, stopping and alive; sockets that are passed by name; and
silence as soon as a thread is stuck."""

import ctypes
import os
import pathlib
import shutil
import signal
import socket
import subprocess
import tempfile
import time
import unittest

from gradusd import LIMIT_S, Client
from standin import StandIn

PROGRAM, BENCH, SOURCE = (os.environ[name] for name in ("GRADUSD", "STANDIN", "GRADUS_SOURCE"))
PTRACE_SEIZE, PTRACE_INTERRUPT = 0x4206, 0x4207

BENCH_SETTINGS = """
instruments = ( { name = "meter"; type = "tarnwerk-meter"; listen = "tcp:127.0.0.1:0";
                  error_fraction = 0; } );
sources = ( { name = "rail"; kind = "dc"; level = 5.0; } );
connections = ( { instrument = "meter"; input = 1; source = "rail"; } );
"""

SETTINGS = """
server = {{ {server} }};
profiles = "{source}/config/profiles";
instruments = ( {{ name = "meter"; profile = "tarnwerk-meter"; link = "{link}"; }} );
points = ( {{ name = "rail"; instrument = "meter"; input = 1; probe = "direct"; expected = 5.0;
              quantity = "dc voltage"; }} );
"""


class Manager:
    """Starts the daemon as a service manager does, and hears what it says.

    sockets  {name: listening socket}, passed in this order
    """

    def __init__(self, folder, settings, sockets=None, watchdog_us=None, variables=None):
        self.address = os.path.join(folder, "notify")
        self.ear = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self.ear.bind(self.address)
        self.ear.settimeout(LIMIT_S)
        self.settings = os.path.join(folder, "gradus.cfg")
        pathlib.Path(self.settings).write_text(settings, encoding="utf-8")
        self.log = open(os.path.join(folder, "log"), "w+", encoding="utf-8")
        environment = dict(os.environ, NOTIFY_SOCKET=self.address)
        if watchdog_us is not None:
            environment["WATCHDOG_USEC"] = str(watchdog_us)
        names, given = [], []
        for name, listening in (sockets or {}).items():
            names.append(name)
            given.append(listening.fileno())
        if names:
            environment.update(LISTEN_FDS=str(len(names)), LISTEN_FDNAMES=":".join(names))
        environment.update(variables or {})
        # The number of the process is known to itself only, before it becomes the daemon; what is
        # passed moves to the descriptors from 3 on there.
        move = " ".join(f"{3 + i}<&{20 + i}" for i in range(len(given)))
        shell = f"exec {move}; export LISTEN_PID=$$; exec {PROGRAM} --settings {self.settings}"
        for i, descriptor in enumerate(given):
            os.dup2(descriptor, 20 + i, inheritable=True)
        self.process = subprocess.Popen(["/bin/bash", "-c", shell], stdin=subprocess.DEVNULL,
                                        stderr=self.log, env=environment,
                                        pass_fds=range(20, 20 + len(given)))
        for i in range(len(given)):
            os.close(20 + i)

    def hear(self):
        """The next thing it says, as a dictionary."""
        lines = self.ear.recv(4096).decode().split("\n")
        return dict(line.split("=", 1) for line in lines)

    def hear_until(self, name):
        """What it says up to and with the first that has `name`."""
        end = time.monotonic() + LIMIT_S
        heard = [self.hear()]
        while name not in heard[-1]:
            if time.monotonic() > end:
                raise TimeoutError(f"{name} does not come, but {heard[-5:]}")
            heard.append(self.hear())
        return heard

    def said(self):
        self.log.seek(0)
        return self.log.read()

    def terminate(self):
        """Asks it to end; the status it ends with."""
        self.process.terminate()
        return self.ended()

    def ended(self):
        """The status with which it ends by itself."""
        status = self.process.wait(LIMIT_S)
        self.ear.close()
        self.log.close()
        os.unlink(self.address)
        return status


class Service(unittest.TestCase):
    def setUp(self):
        self.folder = tempfile.mkdtemp(prefix="gradus-service-")
        self.addCleanup(shutil.rmtree, self.folder)
        self.bench = StandIn(BENCH, BENCH_SETTINGS)
        self.addCleanup(self.bench.stop)
        self.path = os.path.join(self.folder, "gradus.sock")

    def start(self, server=None, **more):
        server = f'unix = "{self.path}";' if server is None else server
        settings = SETTINGS.format(server=server, source=SOURCE, link=self.bench.address("meter"))
        manager = Manager(self.folder, settings, **more)
        self.addCleanup(lambda: manager.process.poll() is None and manager.process.kill())
        return manager

    def listening(self, family, address):
        made = socket.socket(family, socket.SOCK_STREAM)
        made.bind(address)
        made.listen()
        self.addCleanup(made.close)
        return made

    def fails(self, says, **more):
        manager = self.start(**more)
        manager.process.wait(LIMIT_S)
        self.assertIn(says, manager.said())
        self.assertEqual(manager.ended(), 1)

    def test_ready_reloading_stopping(self):
        manager = self.start()
        self.assertEqual(manager.hear(), {"READY": "1",
                                          "STATUS": "serving 1 instruments, 1 points"})
        client = Client(self.path)
        self.assertAlmostEqual(client.call("measure", point="rail")["value"], 5.0, delta=0.01)
        client.close()
        for mistake in (False, True):
            if mistake:
                pathlib.Path(manager.settings).write_text("rubbish = 1;", encoding="utf-8")
            manager.process.send_signal(signal.SIGHUP)
            reloading, ready = manager.hear(), manager.hear()
            self.assertEqual(reloading["RELOADING"], "1")
            self.assertGreater(int(reloading["MONOTONIC_USEC"]), 0)
            self.assertEqual(ready["READY"], "1")
        manager.process.terminate()
        self.assertEqual(manager.hear()["STOPPING"], "1")
        self.assertEqual(manager.ended(), 0)
        self.assertFalse(os.path.exists(self.path))

    def test_alive_as_long_as_its_threads_are(self):
        manager = self.start(watchdog_us=300000)
        manager.hear_until("READY")
        self.assertEqual(manager.hear_until("WATCHDOG")[-1], {"WATCHDOG": "1"})
        client = Client(self.path)
        client.call("measure", point="rail")
        os.kill(self.bench.pid, signal.SIGSTOP)  # so that the worker is in the midst of something
        client.send("measure", point="rail", deadline_ms=1000)
        while client.call("instruments")[0]["state"] != "busy":
            pass
        worker = self.freeze_worker(manager.process.pid)
        heard = manager.hear_until("STATUS")
        self.assertEqual(heard[-1], {"STATUS": "stuck: meter"})
        self.assertIn("meter: its thread is stuck", manager.said())
        self.thaw(worker)
        os.kill(self.bench.pid, signal.SIGCONT)
        manager.hear_until("WATCHDOG")
        client.close()
        self.assertEqual(manager.terminate(), 0)

    def freeze_worker(self, process):
        """Stops the thread of the instrument: with one and no store there is none beside the loop."""
        threads = [int(name) for name in os.listdir(f"/proc/{process}/task")]
        (worker,) = [thread for thread in threads if thread != process]
        self.trace(PTRACE_SEIZE, worker)
        self.trace(PTRACE_INTERRUPT, worker)
        os.waitpid(worker, 0x40000000)  # __WALL
        return worker

    def thaw(self, worker):
        self.trace(17, worker)  # PTRACE_DETACH

    def trace(self, request, thread):
        library = ctypes.CDLL(None, use_errno=True)
        if library.ptrace(request, ctypes.c_long(thread), None, None) != 0:
            raise OSError(ctypes.get_errno(), f"ptrace {request:#x}")

    def test_sockets_by_name_in_any_order(self):
        local = self.listening(socket.AF_UNIX, self.path)
        lan = self.listening(socket.AF_INET, ("127.0.0.1", 0))
        token = subprocess.run([PROGRAM, "--token", os.path.join(self.folder, "tokens"), "shop",
                                "measure"], capture_output=True, check=True, text=True).stdout
        access = f'}}; access = {{ tokens = "{self.folder}/tokens";'
        for order in (("gradus", "gradus-tcp"), ("gradus-tcp", "gradus")):
            given = {"gradus": local, "gradus-tcp": lan}
            manager = self.start(server='unix = "/nowhere/x"; ' + access,
                                 sockets={name: given[name] for name in order})
            manager.hear_until("READY")
            client = Client(self.path)
            self.assertEqual(client.call("points")[0]["name"], "rail")
            client.close()
            client = Client(lan.getsockname())
            client.authenticate(token.split()[0])
            self.assertEqual(client.call("points")[0]["name"], "rail")
            client.close()
            self.assertEqual(manager.terminate(), 0)
            self.assertTrue(os.path.exists(self.path), "the socket is the manager's")

    def test_what_comes_while_nobody_serves_waits(self):
        local = self.listening(socket.AF_UNIX, self.path)
        client = Client(self.path)
        number = client.send("points")
        manager = self.start(server="", sockets={"gradus": local})
        self.assertEqual(client.wait(number)[0]["name"], "rail")
        client.close()
        self.assertEqual(manager.terminate(), 0)

    def test_sockets_that_are_none(self):
        local = self.listening(socket.AF_UNIX, self.path)
        lan = self.listening(socket.AF_INET, ("127.0.0.1", 0))
        deaf = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        self.addCleanup(deaf.close)
        for says, sockets in (('a socket named "web" was passed', {"web": lan}),
                              ("gradus: system error: what was passed is no such", {"gradus": deaf}),
                              ("gradus: system error: what was passed is no such", {"gradus": lan}),
                              ("gradus-tcp: system error: what was passed is no", {"gradus-tcp": local})):
            with self.subTest(says=says):
                self.fails(says, server="", sockets=sockets)
        self.fails("two sockets of this name", server="", sockets={"gradus": local, "again": local},
                   variables={"LISTEN_FDNAMES": "gradus:gradus"})

    def test_what_is_meant_for_another_process(self):
        manager = self.start(variables={"WATCHDOG_USEC": "300000", "WATCHDOG_PID": "1",
                                        "LISTEN_FDS": "1", "LISTEN_FDNAMES": "gradus"})
        # The shell names the daemon in LISTEN_PID: descriptor 3 is no socket.
        self.assertEqual(manager.ended(), 1)
        manager = self.start(variables={"WATCHDOG_USEC": "300000", "WATCHDOG_PID": "1"})
        manager.hear_until("READY")
        manager.process.terminate()
        self.assertEqual(list(manager.hear()), ["STOPPING", "STATUS"])
        self.assertEqual(manager.ended(), 0)


if __name__ == "__main__":
    unittest.main()
