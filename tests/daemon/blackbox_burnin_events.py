# SPDX-License-Identifier: GPL-3.0-or-later
"""Whoever follows burn-ins is told of what is put on record, at once and in its order."""

import json
import signal
import unittest

from blackbox_burnin import PROGRAM, BurninCase
from gradusd import Gradusd


def told(client, count):
    """The next notifications, but for those that a busy machine adds."""
    taken = []
    while len(taken) < count:
        notification = client.notification()
        if notification["params"].get("kind") not in ("late round", "rounds missed"):
            taken.append(notification)
    return taken


def told_of(notification):
    """What a notification says, without what depends on the moment."""
    params = notification["params"]
    return notification["method"], params["kind"], params["run"], params["plan"]


class Following(BurninCase):
    def follow(self, client, **parameters):
        return client.call("burnin.follow", **parameters)["subscription"]

    def test_a_trip_is_told_as_it_is_put_on_record(self):
        listener = self.daemon.client()
        number = self.follow(listener)
        run = self.client.call("burnin.start", "rack")["run"]
        every = [listener.notification()]
        self.assertEqual(told_of(every[0]), ("burnin", "run began", run, "rack"))
        self.rounds(2)
        self.bench.set_source("rail", level=6.0)
        while len(trips := [one["params"] for one in every
                            if one["params"]["kind"] == "trip"]) < 2:
            every.append(listener.notification())
        self.until(lambda: len(self.events()) >= len(every))
        kept = self.client.call("burnin.events", run)["events"]
        for one, event in zip(every, kept):
            self.assertEqual(told_of(one), ("burnin", event["kind"], run, "rack"))
            self.assertEqual(one["params"]["subscription"], number)
            self.assertEqual(one["params"]["time"], event["time"])
            self.assertEqual(one["params"]["body"], event["body"])
            self.assertEqual(set(one["params"]),
                             {"subscription", "kind", "run", "plan", "time", "body"})
        self.assertEqual({trip["body"]["unit_number"] for trip in trips}, {1, 2})
        for trip in trips:
            self.assertEqual(trip["body"]["cause"], "limit")
            self.assertAlmostEqual(trip["body"]["value"], 6.0, delta=0.01)

    def test_a_run_ends_what_follows_it_alone(self):
        plan, single = self.daemon.client(), self.daemon.client()
        self.follow(plan, run="rack")
        run = self.client.call("burnin.start", "rack")["run"]
        number = self.follow(single, run=run)
        self.client.call("burnin.stop", run)
        ended, finished = told(single, 2)
        self.assertEqual(told_of(ended), ("burnin", "run ended", run, "rack"))
        self.assertEqual((finished["method"], finished["params"]),
                         ("finished", {"subscription": number}))
        self.assertEqual(self.refused(single.call, "unfollow", number).code, -32602)
        again = self.client.call("burnin.start", "rack")["run"]
        self.assertEqual([one["params"]["run"] for one in told(plan, 3)],
                         [run, run, again])

    def test_only_what_was_asked_for_is_told(self):
        self.daemon.reload(self.settings().replace(
            "burnin = (", 'burnin = ( { name = "other"; points = ( "weak" ); every_s = 0.1; '
                          'duration_s = 600; },'))
        listener = self.daemon.client()
        self.follow(listener, run="other")
        self.client.call("burnin.start", "rack")
        other = self.client.call("burnin.start", "other")["run"]
        self.client.call("burnin.stop", "rack")
        self.client.call("burnin.stop", "other")
        self.assertEqual([told_of(one) for one in told(listener, 2)],
                         [("burnin", "run began", other, "other"),
                          ("burnin", "run ended", other, "other")])
        listener.call("health")
        self.assertEqual(listener.notifications(), [])

    def test_what_cannot_be_followed(self):
        refusal = self.refused(self.client.call, "burnin.follow", "rak")
        self.assertEqual(refusal.data["expected"], "perhaps rack")
        run = self.client.call("burnin.start", "rack")["run"]
        self.client.call("burnin.stop", run)
        self.assertIn("stopped", self.refused(self.client.call, "burnin.follow", run).data["what"])
        for _ in range(64):
            self.follow(self.client)
        self.assertEqual(self.refused(self.client.call, "burnin.follow").code, -32023)

    def test_unfollow(self):
        readings = self.client.call("follow", points=["second_rail"], every_ms=60000)
        number = self.follow(self.client)
        self.assertNotEqual(number, readings["subscription"])
        stranger = self.daemon.client()
        self.assertEqual(self.refused(stranger.call, "unfollow", number).code, -32602)
        self.assertIs(self.client.call("unfollow", number), True)
        self.client.call("burnin.start", "rack")
        self.assertNotIn("burnin", [one["method"] for one in self.client.notifications()])
        self.assertIs(self.client.call("unfollow", readings["subscription"]), True)

    def test_a_follower_that_goes_leaves_the_others_alone(self):
        gone, stays = self.daemon.client(), self.daemon.client()
        self.follow(gone)
        self.follow(stays)
        gone.close()
        run = self.client.call("burnin.start", "rack")["run"]
        self.assertEqual(told_of(stays.notification()), ("burnin", "run began", run, "rack"))

    def test_a_client_that_ended_its_stream_is_told_still(self):
        listener = self.daemon.client()
        self.follow(listener)
        listener.finish_sending()
        run = self.client.call("burnin.start", "rack")["run"]
        self.client.call("burnin.stop", run)
        self.assertEqual([one["params"]["kind"] for one in told(listener, 2)],
                         ["run began", "run ended"])

    def test_the_end_of_the_daemon_is_told(self):
        number = self.follow(self.client)
        self.daemon.send_signal(signal.SIGTERM)
        last = self.client.notification()
        self.assertEqual((last["method"], last["params"]["subscription"]), ("finished", number))
        self.assertEqual(last["params"]["error"]["data"]["reason"], "daemon is stopping")
        self.assertEqual(self.daemon.wait(), 0)


class Restarted(BurninCase):
    def test_the_gap_and_what_was_found_in_it_come_first(self):
        run = self.client.call("burnin.start", "rack")["run"]
        self.rounds(2)
        self.daemon.send_signal(signal.SIGKILL)
        self.daemon.wait()
        self.daemon.stop()
        self.daemon = Gradusd(PROGRAM, self.settings(), self.folder)
        self.addCleanup(self.end_daemon)
        self.client = self.daemon.client()
        listener = self.daemon.client()
        listener.call("burnin.follow", run)
        gap = listener.notification()
        self.assertEqual(told_of(gap), ("burnin", "gap", run, "rack"))
        self.assertIs(gap["params"]["earlier"], True)
        self.until(lambda: self.events("gap"))
        (_, body), = self.events("gap")
        self.assertEqual(gap["params"]["body"], body)
        self.client.call("burnin.stop", run)
        ended, = (one for one in told(listener, 2) if one["params"].get("kind") == "run ended")
        self.assertEqual((ended["params"]["kind"], "earlier" in ended["params"]),
                         ("run ended", False))


class Slow(BurninCase):
    def test_a_slow_follower_misses_and_is_told_so(self):
        """Its backlog is bounded, it is told how much it missed, and all others are served."""
        slow = self.daemon.client(receive_buffer=4096)
        for _ in range(64):
            slow.call("burnin.follow")
        while self.client.call("health")["dropped_notifications"] == 0:
            self.client.call("burnin.start", "rack")
            self.client.call("burnin.stop", "rack")
        # Its requests are read again once half of its backlog is gone, and answered behind that.
        number = slow.send("health")
        size = 0
        while (line := slow.read_line()) is not None and json.loads(line).get("id") != number:
            size += len(line)
        self.client.call("burnin.start", "rack")
        began = slow.notifications(64)
        self.assertEqual({one["params"]["kind"] for one in began}, {"run began"})
        self.assertGreater(sum(one["params"].get("missed", 0) for one in began), 0)
        # The backlog of 4 MiB, and what the kernel holds besides.
        self.assertLess(size, 5 * 2 ** 20)
        self.assertGreater(size, 4 * 2 ** 20)


if __name__ == "__main__":
    unittest.main()
