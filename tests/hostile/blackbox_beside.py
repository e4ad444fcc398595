# SPDX-License-Identifier: GPL-3.0-or-later
"""An honest client and a burn-in beside a crowd.

What is held to is counted, not timed, so that a busy machine changes nothing: how many turns of the
loop thread an honest call waits (`health` tells), which may be three times as many as with nobody
else; how much memory there is more; and that the burn-in's readings go on coming while the crowd is at it. Times are
printed beside it.
"""

import contextlib
import os
import pathlib
import subprocess
import sys
import time
import unittest

sys.path.insert(0, str(pathlib.Path(__file__).parent.parent / "daemon"))

# What a sanitizer keeps of what was freed would look like growth.
os.environ["ASAN_OPTIONS"] = os.environ.get("ASAN_OPTIONS", "") + ":quarantine_size_mb=8"

from blackbox_burnin import BurninCase  # noqa: E402
from gradusd import LIMIT_S  # noqa: E402

CROWD = pathlib.Path(__file__).with_name("crowd.py")
CALLS, MORE_ROUNDS = 200, 3
GROWTH_KB = 100000  # what waits for eight who do not read, and a batch's answers for each


def at_share(values, share):
    return sorted(values)[min(len(values) - 1, int(share * len(values)))]


class Beside(BurninCase):
    def settings(self, **options):
        return super().settings(**options).replace(
            "clients = 12;", "clients = 64;").replace("connections = 64;", "connections = 16;")

    def memory(self):
        status = pathlib.Path(f"/proc/{self.daemon.pid}/status").read_text()
        return int(status.split("VmRSS:")[1].split()[0])

    @contextlib.contextmanager
    def crowd(self, kind):
        host, port = self.daemon.tcp
        run = subprocess.Popen([sys.executable, str(CROWD), kind, host, str(port),
                                self.daemon._token], stdin=subprocess.PIPE,
                               stdout=subprocess.PIPE, text=True)
        try:
            self.assertEqual(run.stdout.readline(), "ready\n", kind)
            yield
            self.assertIsNone(run.poll(), f"{kind}: the crowd has ended by itself")
        finally:
            with contextlib.suppress(OSError):
                run.stdin.close()
            self.done = int(run.stdout.readline() or 0)
            run.stdout.close()
            run.wait(LIMIT_S)

    def honest(self):
        """Turns of the loop that an honest call waits, and milliseconds: the slowest in a hundred."""
        turns, times = [], []
        for _ in range(CALLS):
            begun = time.monotonic()
            turns.append(self.client.call("health")["loop"]["waited_turns"])
            times.append(1e3 * (time.monotonic() - begun))
        return at_share(turns, 0.99), at_share(times, 0.99)

    def look(self, kind):
        quiet, quiet_ms = self.honest()
        loop = self.client.call("health")["loop"]
        with self.crowd(kind):
            rounds = self.point("weak")["readings"]
            before = self.memory()
            during, during_ms = self.honest()
            self.assertAlmostEqual(self.client.call("measure", "second_rail")["value"], 5.0,
                                   places=3)
            self.assertAlmostEqual(self.client.call("measure", "rail", 1, 200000)["value"], 5.0,
                                   places=3)
            self.readings("weak", rounds + MORE_ROUNDS)
            grown = self.memory() - before
        after = self.client.call("health")["loop"]
        mean_ms = (1e3 * (after["worked_s"] - loop["worked_s"]) /
                   (after["stretches"] - loop["stretches"]))
        print(f"{kind}: {self.done} done; an honest call waits {during} turns of the loop "
              f"(quiet {quiet}), {during_ms:.2f} ms (quiet {quiet_ms:.2f}); a stretch "
              f"{mean_ms:.2f} ms, longest so far {after['longest_ms']:.1f} ms; "
              f"{grown} kB more", file=sys.stderr)
        self.assertLessEqual(during, 3 * quiet, kind)
        self.assertLess(grown, GROWTH_KB, kind)

    def test_beside_a_crowd(self):
        self.client.call("burnin.start", "rack")
        self.readings("weak", 1)
        for kind in ("idle", "unknown", "points", "verify", "repeats", "followers", "deaf",
                     "guesses"):
            with self.subTest(kind):
                self.look(kind)
        self.assertEqual(self.status()["state"], "running", self.status())


if __name__ == "__main__":
    unittest.main()
