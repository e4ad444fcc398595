# SPDX-License-Identifier: GPL-3.0-or-later
"""Watching a burn-in over the daemon's restart."""

import os
import unittest

from blackbox_burnin import COMMAND, PROGRAM, BurninCase
from gradusd import Gradusd
from terminal import Terminal


class Restarted(BurninCase):
    def start(self, unix):
        self.daemon = Gradusd(PROGRAM, self.settings(), self.folder, unix=unix)
        self.addCleanup(self.end_daemon)
        self.client = self.daemon.client()

    def test_watching_goes_on(self):
        unix = os.path.join(self.folder, "gradus.sock")
        self.daemon.stop()
        self.start(unix)
        run = self.client.call("burnin.start", "rack")["run"]
        words = [COMMAND, "--socket", f"unix:{unix}", "burnin", "status", run, "--watch",
                 "--every", "100"]
        env = {**os.environ, "TERM": "xterm", "LC_ALL": "C.UTF-8"}
        env.pop("COLUMNS", None)
        with Terminal(words, 80, 24, env) as terminal:
            terminal.until(lambda: f"{run}  phase run\n" in terminal.text)
            self.assertEqual(self.daemon.stop(), 0)
            terminal.until(lambda: "NO CONTACT NOW: no daemon" in terminal.text)
            self.assertIn(f"{run}  phase run\n", terminal.text)
            self.start(unix)
            terminal.until(lambda: f"{run}  phase run, resumed after a restart\n" in terminal.text)
            self.assertNotIn("NO CONTACT", terminal.text)
            self.bench.set_source("rail", level=6.0)
            terminal.until(lambda: "TRIP" in terminal.text)
            terminal.type("\x03")
            self.assertEqual(terminal.end(), 1)
            self.assertTrue(terminal.screen.cursor)


if __name__ == "__main__":
    unittest.main()
