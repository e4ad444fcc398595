# SPDX-License-Identifier: GPL-3.0-or-later
"""A burn-in comes first: whoever measures, follows, captures or holds gives way to its rounds."""

import os
import signal
import unittest

from blackbox_burnin import BurninCase
from daemon_case import BENCH, METER_BENCH
from standin import StandIn

LONG = ("rail", 10000, 3600000)


class First(BurninCase):
    """The meter takes its time: 10,000 readings are most of a minute."""

    def start_meter(self):
        slow = METER_BENCH.replace("conversion_ms = 0", "conversion_ms = 5")
        self.bench = StandIn(BENCH, slow.format(folder=self.folder), own_sockets=False)
        self.addCleanup(self.bench.stop)

    def test_amid_long_repeats(self):
        """The meter is in one measurement all the time, and the burn-in reads through it."""
        self.client.call("burnin.start", "rack")
        with self.daemon.client() as other:
            number = other.send("measure", *LONG)
            self.until(lambda: self.instrument()["state"] == "busy")
            self.readings("weak", 5 + self.point("weak").get("readings", 0))
            self.assertAlmostEqual(self.point("weak")["last"], 3.0, places=3)
            self.assertFalse(other.has(number))
        self.stop_run()
        self.until(lambda: self.instrument()["state"] == "idle")
        self.assertLess(self.instrument()["counters"]["queries"], 2 * LONG[1])

    def test_repeats_that_were_interrupted_are_right(self):
        """Nothing of the burn-in's point, 3 V, gets into the mean."""
        self.client.call("burnin.start", "rack")
        before = self.point("weak").get("readings", 0)
        reading = self.client.call("measure", "rail", 300, 200000)
        self.assertGreater(self.point("weak")["readings"], before)
        self.assertAlmostEqual(reading["value"], 5.0, places=4)
        spread = [item["standard"] for item in reading["budget"] if item["source"] == "repeatability"]
        self.assertLess(sum(spread), 1e-3)

    def test_a_hold_leaves_it_alone(self):
        with self.daemon.client() as other:
            other.call("hold", "meter")
            self.client.call("burnin.start", "rack")
            self.readings("weak", 2)
            self.assertEqual(self.refused(self.client.call, "measure", "rail").code, -32021)
            self.assertFalse(self.instrument()["held_alone"])
            other.call("hold", "meter", True)
            self.assertTrue(self.instrument()["held_alone"])
            lost = self.point("weak").get("failures", 0)
            self.until(lambda: self.point("weak").get("failures", 0) > lost or
                       self.point("weak").get("lost", 0) > 0)
        self.readings("weak", 1 + self.point("weak")["readings"])

    def test_the_end_does_not_wait_for_long_repeats(self):
        number = self.client.send("measure", *LONG)
        with self.daemon.client() as other:
            self.until(lambda: other.call("health")["states"]["meter"] == "busy")
        os.kill(self.daemon.pid, signal.SIGTERM)
        self.assertEqual(self.refused(self.client.wait, number).code, -32022)
        self.assertEqual(self.daemon.wait(), 0)


if __name__ == "__main__":
    unittest.main()
