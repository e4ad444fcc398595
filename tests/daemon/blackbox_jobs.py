# SPDX-License-Identifier: GPL-3.0-or-later
"""Work for instruments from outside: queues and whose turn it is, holds, subscriptions, deadlines,
clients that go, instruments that go."""

import json
import unittest

from daemon_case import DaemonCase


def measures(count, point="rail", **parameters):
    """Many requests in one piece, with the ids 1000, 1001 ..."""
    lines = [json.dumps({"jsonrpc": "2.0", "id": 1000 + i, "method": "measure",
                         "params": {"point": point, **parameters}}) for i in range(count)]
    return ("\n".join(lines) + "\n").encode()


class Turns(DaemonCase):
    """Who is served when. A frozen meter gathers a queue; sequence numbers tell the order."""

    def waiting(self, name="meter"):
        return self.instrument(name)["queue"]

    def test_instruments_do_not_wait_for_each_other(self):
        with self.frozen():
            pending = self.begin(self.client, "rail")
            points = ("second_rail", "plain_rail", "scope_rail", "old_rail")
            clients = [self.daemon.client(tcp=tcp) for tcp in (False, True)]
            numbers = [(client, point, client.send("measure", point))
                       for point in points for client in clients]
            for client, point, number in numbers:
                self.assertEqual(client.wait(number)["point"], point)
            self.assertEqual(self.instrument()["state"], "busy")
        self.assertEqual(self.client.wait(pending)["point"], "rail")

    def test_a_long_queue_delays_no_other_client(self):
        greedy, modest = self.daemon.client(), self.daemon.client()
        with self.frozen():
            self.begin(greedy, "rail")
            greedy.send_raw(measures(500, deadline_ms=60000))
            self.until(lambda: self.waiting() == 500)
            numbers = [modest.send("measure", "weak") for _ in range(3)]
            self.until(lambda: self.waiting() == 503)
        # 1 was in hand; then one of each client in turn.
        self.assertEqual(self.sequences(modest, numbers), [3, 5, 7])
        self.assertEqual(self.sequences(greedy, [1, *range(1000, 1003)]), [1, 2, 4, 6])
        last = self.sequences(greedy, range(1003, 1500))
        self.assertEqual(last, list(range(8, 505)))

    def test_a_subscription_delays_no_other_client(self):
        greedy = self.daemon.client()
        greedy.call("follow", points=["rail", "weak"], every_ms=0)
        greedy.notifications(10)
        for _ in range(20):
            before = self.client.call("measure", "rail")["sequence"]
            after = self.client.call("measure", "weak")["sequence"]
            self.assertGreater(after, before)
        greedy.notifications(10)

    def test_a_principal_may_have_only_so_many_open(self):
        with self.frozen():
            self.begin(self.client, "rail")
            self.client.send_raw(measures(1030, deadline_ms=60000))
            for number in range(2023, 2030):
                error = self.refused(self.client.wait, number)
                self.assertEqual((error.code, error.message),
                                 (-32023, "too many requests waiting"))
            self.assertIn("root", error.data["what"])
            self.assertGreater(error.data["retry_ms"], 0)
            self.refused(self.daemon.client().call, "measure", "second_rail")
            other = self.daemon.client(tcp=True)
            self.assertEqual(other.call("measure", "second_rail")["sequence"], 1)
        self.assertEqual(len(self.sequences(self.client, range(1000, 2023))), 1023)

    def test_clients_that_go_take_their_jobs_with_them(self):
        gone = self.daemon.client()
        with self.frozen():
            self.begin(gone, "rail")
            gone.send_raw(measures(20))
            gone.call("hold", "meter")
            gone.call("follow", ["weak"], 0)
            self.until(lambda: self.waiting() == 22)
            gone.close()
            self.until(lambda: self.waiting() == 0)
            self.assertFalse(self.instrument()["held"])
            number = self.client.send("measure", "weak")
            self.until(lambda: self.waiting() == 1)
        self.assertLessEqual(self.client.wait(number)["sequence"], 2)
        self.assertEqual(self.client.call("health")["clients"], 1)

    def test_a_client_that_goes_over_tcp(self):
        """The daemon knows when the first answer cannot be delivered; what it holds is freed."""
        gone = self.daemon.client(tcp=True)
        with self.frozen():
            self.begin(gone, "rail")
            gone.send_raw(measures(500))
            gone.call("hold", "meter")
            gone.call("follow", ["weak"], 0)
            gone.close()
        self.until(lambda: self.client.call("health")["clients"] == 1)
        self.assertLess(self.client.call("measure", "rail")["sequence"], 400)
        self.assertEqual(self.waiting(), 0)

    def test_a_batch_is_answered_when_its_last_call_is(self):
        with self.frozen():
            self.client.send_raw(json.dumps([
                {"jsonrpc": "2.0", "id": 1, "method": "measure", "params": ["rail"]},
                {"jsonrpc": "2.0", "id": 2, "method": "health"},
                {"jsonrpc": "2.0", "id": 3, "method": "measure", "params": ["second_rail"]},
            ]).encode() + b"\n")
            other = self.daemon.client()
            self.until(lambda: other.call("health")["readings"] == 1)
            self.assertEqual(self.client.call("health")["readings"], 1)
        self.assertEqual({reply["id"] for reply in self.client.read()}, {1, 2, 3})


class Holds(DaemonCase):
    def test_held_for_one_client(self):
        other = self.daemon.client()
        self.assertIs(self.client.call("hold", instrument="meter"), True)
        self.assertIs(self.client.call("hold", "meter"), True)
        for method, params in (("measure", ["rail"]), ("hold", ["meter"]), ("release", ["meter"]),
                               ("talk", ["meter", "*IDN?"])):
            error = self.refused(other.call, method, *params)
            self.assertEqual((error.code, error.message), (-32021, "held by another client"))
        other.call("measure", "second_rail")
        self.client.call("measure", "rail")
        self.assertTrue(self.instrument()["held"])
        self.assertIs(self.client.call("release", "meter"), True)
        self.assertIs(other.call("hold", "meter"), True)
        other.close()
        self.until(lambda: not self.instrument()["held"])
        self.client.call("measure", "rail")

    def test_release_of_what_nobody_holds(self):
        self.assertIs(self.client.call("release", "meter"), True)

    def test_a_followed_instrument_that_is_held_says_so(self):
        other = self.daemon.client()
        other.call("hold", "meter")
        self.client.call("follow", ["rail"], 1)
        error = self.client.notification()["params"]["error"]
        self.assertEqual(error["code"], -32021)
        other.call("release", "meter")
        while "error" in self.client.notification()["params"]:
            pass


class Subscriptions(DaemonCase):
    def follow(self, client, points, **parameters):
        return client.call("follow", points=points, **parameters)["subscription"]

    def test_so_many_readings(self):
        for every in (0, 2):
            number = self.follow(self.client, ["rail", "second_rail"], every_ms=every, readings=20)
            seen = self.client.until("finished")
            self.assertEqual(seen.pop()["params"], {"subscription": number})
            self.assertEqual({told["params"]["subscription"] for told in seen}, {number})
            for point in ("rail", "second_rail"):
                readings = [told["params"]["reading"] for told in seen
                            if told["params"]["point"] == point]
                self.assertEqual({reading["point"] for reading in readings}, {point})
                sequences = [reading["sequence"] for reading in readings]
                self.assertEqual(len(sequences), 20)
                self.assertEqual(sequences, sorted(set(sequences)))
            self.assertEqual(self.refused(self.client.call, "unfollow", number).code, -32602)

    def test_unfollow(self):
        number = self.follow(self.client, ["rail"], every_ms=0)
        self.client.notifications(5)
        self.assertIs(self.client.call("unfollow", number), True)
        self.client.notifications()
        self.client.call("measure", "rail")
        self.client.call("health")
        self.assertEqual(self.client.notifications(), [])
        self.assertEqual(self.refused(self.client.call, "unfollow", number).code, -32602)

    def test_of_another_client(self):
        number = self.follow(self.daemon.client(), ["rail"], every_ms=1)
        self.assertEqual(self.refused(self.client.call, "unfollow", number).code, -32602)

    def test_failures_are_told_and_it_goes_on(self):
        self.bench.set_source("rail", level=1900.0)
        self.follow(self.client, ["rail"], every_ms=1)
        params = self.client.notification()["params"]
        self.assertEqual(params["point"], "rail")
        self.assertEqual(params["error"]["code"], -32001)
        self.assertEqual(params["error"]["data"]["steps"][-1]["outcome"], "overload")
        self.bench.set_source("rail", level=5.0)
        while "error" in self.client.notification()["params"]:
            pass

    def test_late_rounds_are_told(self):
        """A reply of 200 ms while a round is due each 20 ms: one is late, several are left out."""
        self.client.call("measure", "rail")
        self.follow(self.client, ["rail"], every_ms=20)
        self.client.notification()
        seen = {}
        for _ in range(20):  # on a busy machine one late reply may fall where nothing was due
            self.bench.fault("meter", "late", delay_ms=200)
            for _ in range(20):
                seen.update(self.client.notification()["params"])
            if "late_ms" in seen and "passed_over" in seen:
                break
        self.assertGreater(seen["late_ms"], 0)
        self.assertGreater(seen["passed_over"], 0)

    def test_only_so_many(self):
        for _ in range(64):
            self.follow(self.client, ["rail"], every_ms=60000)
        error = self.refused(self.client.call, "follow", ["rail"])
        self.assertEqual(error.code, -32023)

    def test_a_slow_reader_harms_only_itself(self):
        """Memory for it stays bounded, it is told what it missed, all others are served."""
        slow = self.daemon.client()
        self.follow(slow, ["rail", "weak", "second_rail"], every_ms=0)
        self.until(lambda: self.client.call("health")["dropped_notifications"] > 100)
        for point in ("rail", "second_rail", "plain_rail"):
            self.assertEqual(self.client.call("measure", point)["point"], point)
        size = missed = 0
        while not missed:
            line = slow.read_line()
            size += len(line)
            missed = json.loads(line).get("params", {}).get("missed", 0)
        self.assertGreater(missed, 100)
        # The backlog of 4 MiB, and what the kernel holds besides.
        self.assertLess(size, 5 * 2 ** 20)
        self.assertGreater(size, 4 * 2 ** 20)
        self.assertTrue(slow.call("health"))


class Deadlines(DaemonCase):
    def test_waiting_in_the_queue(self):
        other = self.daemon.client()
        with self.frozen():
            pending = self.begin(other, "rail")
            error = self.refused(self.client.call, "measure", point="weak", deadline_ms=100)
            self.assertEqual((error.code, error.message), (-32020, "deadline passed"))
            self.assertEqual(error.data["point"], "weak")
            self.assertEqual(self.instrument()["queue"], 0)
        self.assertEqual(other.wait(pending)["sequence"], 1)
        self.assertEqual(self.client.call("measure", "weak")["sequence"], 2)

    def test_in_hand(self):
        """The client is answered in time, and the meter's late reply is nobody's."""
        with self.frozen():
            error = self.refused(self.client.call, "measure", point="rail", deadline_ms=200)
            self.assertIn(error.code, (-32020, -32010))
        for _ in range(5):
            self.assertAlmostEqual(self.client.call("measure", "weak")["value"], 3.0, places=3)
            self.assertAlmostEqual(self.client.call("measure", "rail")["value"], 5.0, places=3)

    def test_of_a_subscription(self):
        with self.frozen():
            self.client.call("follow", points=["rail"], every_ms=0, readings=3, deadline_ms=100)
            told = self.client.until("finished")
        self.assertEqual(len(told), 4)
        for one in told[:3]:
            self.assertIn(one["params"]["error"]["code"], (-32020, -32010))


class Links(DaemonCase):
    def test_an_instrument_that_is_away_and_comes_back(self):
        self.client.call("measure", "rail")
        self.bench.stop()
        for _ in range(3):
            error = self.refused(self.client.call, "measure", point="rail", deadline_ms=2000)
            self.assertEqual((error.code, error.message), (-32011, "link down"))
        meter = self.instrument()
        self.assertEqual(meter["state"], "down")
        self.assertEqual(meter["failure"]["reason"], "link down")
        self.assertEqual(self.client.call("measure", "second_rail")["point"], "second_rail")
        self.start_meter()
        self.assertAlmostEqual(self.client.call("measure", "rail")["value"], 5.0, places=3)
        self.assertEqual(self.instrument()["state"], "idle")
        self.assertNotIn("failure", self.instrument())
        # A trouble is said once, and once that it is over.
        self.daemon.wait_log("^meter: works again")
        said = [line for line in self.daemon.log_lines if line.startswith("meter")]
        self.assertEqual(len(said), 2, said)
        self.assertIn("link down", said[0])

    def test_an_instrument_that_was_never_there(self):
        self.bench.stop()
        self.assertEqual(self.refused(self.client.call, "measure", "rail").code, -32011)
        self.assertTrue(self.client.call("explain", "rail")["candidates"])

    def test_a_broken_connection_is_made_anew(self):
        self.client.call("measure", "rail")
        self.bench.fault("meter", "disconnect")
        self.assertAlmostEqual(self.client.call("measure", "rail")["value"], 5.0, places=3)
        self.assertEqual(self.instrument()["counters"]["opened"], 2)

    def test_following_an_instrument_that_comes_back(self):
        self.bench.stop()
        self.client.call("follow", ["rail"], 10)
        self.assertEqual(self.client.notification()["params"]["error"]["code"], -32011)
        self.start_meter()
        while "error" in self.client.notification()["params"]:
            pass


class Left(DaemonCase):
    def test_repeats_end_when_their_client_has_left(self):
        """10,000 readings that nobody waits for any more do not keep the next one waiting."""
        with self.daemon.client() as gone:
            gone.send("measure", "rail", 10000, 3600000)
            self.until(lambda: self.instrument()["state"] == "busy")
        self.client.call("measure", "rail", 1, 3600000)
        self.assertLess(self.instrument()["counters"]["queries"], 10000)


if __name__ == "__main__":
    unittest.main()
