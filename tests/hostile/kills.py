#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Kills the daemon again and again at random moments, under load, and counts what was lost.

    kills.py COUNT [SEED]

GRADUSD, STANDIN and GRADUS_SOURCE say what is run, as for the tests. A reading whose answer said
`stored` must be in the store under its number, once and as it was answered, after all kills; the
chain of the store must hold. The last line tells the figures; the exit status is 1 if any is wrong.
"""

import contextlib
import json
import os
import pathlib
import random
import shutil
import signal
import sqlite3
import sys
import tempfile
import threading

sys.path.insert(0, str(pathlib.Path(__file__).parent.parent / "tools"))

from daemon_case import METER_BENCH  # noqa: E402
from gradusd import Gradusd, GradusdError, RpcError  # noqa: E402
from standin import StandIn  # noqa: E402

ASKERS, LONGEST_S = 3, 0.5
GONE = (OSError, ValueError, GradusdError, RpcError)

SETTINGS = """
server = {{ talk = false; }};
store = {{ path = "{folder}/readings.db"; }};
profiles = "profiles";
instruments = ( {{ name = "meter"; profile = "tarnwerk-meter"; link = "unix:{folder}/meter.sock"; }} );
points = (
    {{ name = "rail"; instrument = "meter"; input = 1; probe = "direct"; expected = 5.0;
       quantity = "dc voltage"; }}
);
"""


class Kills:
    def __init__(self, folder, seed):
        self.folder = folder
        self.random = random.Random(seed)
        self.acknowledged = {}  # number in the store: reading as it was answered
        self.doubled = 0
        self.lock = threading.Lock()

    def settings(self):
        return SETTINGS.format(folder=self.folder)

    def ask(self, daemon):
        """Measures until the daemon is gone; takes down what it has acknowledged."""
        with contextlib.suppress(*GONE):
            client = daemon.client()
            while True:
                reading = client.call("measure", "rail", 1, 60000)
                if reading["stored"]:
                    with self.lock:
                        self.doubled += reading["id"] in self.acknowledged
                        self.acknowledged[reading["id"]] = reading

    def kill_once(self):
        daemon = Gradusd(os.environ["GRADUSD"], self.settings())
        askers = [threading.Thread(target=self.ask, args=(daemon,), daemon=True) for _ in range(ASKERS)]
        for asker in askers:
            asker.start()
        threading.Event().wait(self.random.uniform(0, LONGEST_S))  # the moment is what is tried
        daemon.terminate(signal.SIGKILL)
        for asker in askers:
            asker.join()
        daemon.stop()

    def lost(self):
        """Those that are not in the store as they were answered."""
        lost = []
        with contextlib.closing(sqlite3.connect(f"{self.folder}/readings.db")) as database:
            for number, reading in self.acknowledged.items():
                rows = database.execute("SELECT body FROM readings WHERE id = ?",
                                        (number,)).fetchall()
                kept = json.loads(rows[0][0]) if len(rows) == 1 else {}
                if (kept.get("value"), kept.get("time")) != (reading["value"], reading["time"]):
                    lost.append(number)
        return lost

    def chain(self):
        with Gradusd(os.environ["GRADUSD"], self.settings()) as daemon:
            return daemon.client().call("verify")


def run(count, seed):
    """The figures of so many kills."""
    folder = tempfile.mkdtemp(prefix="kills-")
    bench = StandIn(os.environ["STANDIN"], METER_BENCH.format(folder=folder), own_sockets=False)
    try:
        kills = Kills(folder, seed)
        for _ in range(count):
            kills.kill_once()
        return {"kills": count, "seed": seed, "acknowledged": len(kills.acknowledged),
                "lost": kills.lost(), "doubled": kills.doubled, "verify": kills.chain()}
    finally:
        bench.stop()
        shutil.rmtree(folder, ignore_errors=True)


def main(count, seed="1"):
    figures = run(int(count), int(seed))
    print(json.dumps(figures))
    good = not figures["lost"] and not figures["doubled"] and figures["verify"]["intact"]
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
