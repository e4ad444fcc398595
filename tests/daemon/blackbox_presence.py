# SPDX-License-Identifier: GPL-3.0-or-later
"""Instruments that go and come back while nobody asks anything of them."""

import os
import socket
import time
import unittest

from daemon_case import BENCH, METER_BENCH, DaemonCase
from gradusd import LIMIT_S
from standin import StandIn


class Presence(DaemonCase):
    def state(self, name="meter"):
        return self.instrument(name)["state"]

    def leave(self):
        """The meter goes while the daemon is idle, which finds out by itself."""
        self.bench.stop()
        self.until(lambda: self.state() == "down")

    def said(self):
        return [line for line in self.daemon.log_lines if line.startswith("meter: ")]

    def test_it_is_noticed_and_brought_back_unasked(self):
        self.client.call("measure", "rail")
        self.leave()
        meter = self.instrument()
        self.assertEqual(meter["failure"]["reason"], "link down")
        self.assertEqual(meter["failure"]["where"], "meter")
        self.assertEqual(self.client.call("health")["states"]["meter"], "down")
        self.assertEqual(self.client.call("health")["failures"], 0)
        self.daemon.wait_log("^meter: link down: the other side has closed the connection")
        self.assertEqual(len(self.said()), 1, self.said())
        self.start_meter()
        self.until(lambda: self.state() == "idle")
        meter = self.instrument()
        self.assertNotIn("failure", meter)
        self.assertEqual(meter["counters"]["opened"], 2)
        self.assertTrue(meter["identity"].startswith("TARNWERK,BENCH METER,"))
        self.assertIn("*CLS", self.bench.commands("meter"))
        self.daemon.wait_log("^meter: works again")
        self.assertEqual(len(self.said()), 2, self.said())
        self.assertAlmostEqual(self.client.call("measure", "rail")["value"], 5.0, places=3)
        self.assertEqual(self.instrument()["counters"]["opened"], 2)

    def test_what_is_asked_meanwhile_says_why_not(self):
        self.client.call("measure", "rail")
        self.leave()
        for point in ("rail", "weak"):
            error = self.refused(self.client.call, "measure", point)
            self.assertEqual((error.code, error.message), (-32011, "link down"))
            self.assertTrue(error.data["what"].startswith("unix:/"), error.data)
        error = self.refused(self.client.call, "talk", "meter", "*IDN?")
        self.assertEqual(error.code, -32011)
        self.start_meter()
        self.assertAlmostEqual(self.client.call("measure", "rail")["value"], 5.0, places=3)
        self.assertEqual(self.state(), "idle")

    def test_others_are_not_disturbed(self):
        for point in ("rail", "second_rail", "scope_rail"):
            self.client.call("measure", point)
        self.leave()
        self.assertEqual(self.client.call("measure", "second_rail")["point"], "second_rail")
        for name, state in (("second", "idle"), ("scope", "idle"), ("plain", "new")):
            self.assertEqual(self.state(name), state)
        self.assertEqual(self.instrument("second")["counters"]["opened"], 1)
        self.assertEqual(self.others.counters("second")["connections"], 1)
        self.assertEqual(self.others.counters("plain")["connections"], 0)

    def test_one_that_was_never_there_is_looked_for_once_it_was_asked(self):
        self.bench.stop()
        self.assertEqual(self.state(), "new")
        self.assertEqual(self.refused(self.client.call, "measure", "rail").code, -32011)
        self.start_meter()
        self.until(lambda: self.state() == "idle")
        self.assertEqual(self.bench.counters("meter")["connections"], 1)

    def test_a_broken_connection_is_made_anew_unasked(self):
        self.client.call("measure", "rail")
        self.bench.fault("meter", "restart")
        self.until(lambda: self.instrument()["counters"]["opened"] == 2)
        self.until(lambda: self.state() == "idle")
        self.assertAlmostEqual(self.client.call("measure", "rail")["value"], 5.0, places=3)

    def test_another_instrument_in_its_place_is_not_believed(self):
        self.client.call("measure", "rail")
        self.leave()
        other = StandIn(BENCH, METER_BENCH.format(folder=self.folder).replace("tarnwerk-meter", "tarnwerk-scope"),
                         own_sockets=False)
        self.addCleanup(other.stop)
        self.until(lambda: self.instrument()["failure"]["reason"] == "wrong instrument")
        self.assertEqual(self.state(), "down")
        self.assertEqual(self.refused(self.client.call, "measure", "rail").code, -32014)
        other.stop()
        self.start_meter()
        self.until(lambda: self.state() == "idle")

    def test_followers_are_told(self):
        self.client.call("follow", ["rail"], 20)
        self.assertIn("reading", self.client.notification()["params"])
        self.bench.stop()
        told = self.client.notification()["params"]
        while "error" not in told:
            told = self.client.notification()["params"]
        self.assertEqual(told["error"]["code"], -32011)
        self.start_meter()
        while "error" in told:
            told = self.client.notification()["params"]
        self.assertAlmostEqual(told["reading"]["value"], 5.0, places=3)


class Silence(DaemonCase):
    """In the meter's place there is something that takes connections and says nothing."""

    def mute(self, backlog):
        self.client.call("measure", "rail")
        self.bench.stop()
        listener = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        self.addCleanup(listener.close)
        listener.bind(os.path.join(self.folder, "meter.sock"))
        listener.listen(backlog)
        return listener

    def test_the_end_does_not_wait_for_it(self):
        listener = self.mute(8)
        listener.settimeout(LIMIT_S)
        connection, _ = listener.accept()  # The daemon tries to bring it back.
        self.addCleanup(connection.close)
        self.assertEqual(self.daemon.terminate(), 0)

    def test_a_reload_does_not_wait_for_it(self):
        listener = self.mute(8)
        listener.settimeout(LIMIT_S)
        connection, _ = listener.accept()
        connection.close()
        listener.close()
        os.unlink(os.path.join(self.folder, "meter.sock"))
        self.daemon.reload(self.settings(ambient=40.0))
        self.start_meter()
        self.assertAlmostEqual(self.client.call("measure", "rail")["value"], 5.0, places=3)

    def test_each_try_goes_for_all_who_wait(self):
        """A place nobody lets in costs each try its time: not one try for each of many requests."""
        self.mute(0)
        held = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        self.addCleanup(held.close)
        held.connect(os.path.join(self.folder, "meter.sock"))  # The queue is full now.
        self.until(lambda: self.instrument()["state"] == "down")
        self.until(lambda: self.instrument()["failure"]["reason"] == "no reply in time")
        end = time.monotonic() + LIMIT_S
        numbers = [self.client.send("measure", point="rail", deadline_ms=600000)
                   for _ in range(500)]
        for number in numbers:
            self.assertIn(self.refused(self.client.wait, number).code, (-32010, -32011))
            self.assertLess(time.monotonic(), end)


if __name__ == "__main__":
    unittest.main()
