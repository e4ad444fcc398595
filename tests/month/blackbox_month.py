# SPDX-License-Identifier: GPL-3.0-or-later
"""A month of burn-in in minutes: the daemon's own code in a time that is moved (virtual/clock.h), 64
units with eight points each, and everything that may go wrong in a month. What was planted must be
found, with its size and its round; nothing may be found that was not planted; what was
acknowledged must be there once.

GRADUS_MONTH_ROUNDS: how many rounds the month has, GRADUS_MONTH_KILLS: how often the daemon is
killed, GRADUS_MONTH_SEED: of the kills and of the noise."""

import json
import os
import random
import shutil
import signal
import sqlite3
import tempfile
import time
import unittest

import rack
from gradusd import Gradusd, GradusdError
from standin import StandIn

PROGRAM = os.environ["MONTH_GRADUSD"]
BENCH = os.environ["STANDIN"]
ROUNDS = int(os.environ.get("GRADUS_MONTH_ROUNDS", "360"))
KILLS = int(os.environ.get("GRADUS_MONTH_KILLS", "200"))
SEED = int(os.environ.get("GRADUS_MONTH_SEED", "20261126"))
MONTH_S = 30 * 86400
EVERY_S = MONTH_S // ROUNDS
LIMIT_S = 600.0

# Rounds of what is planted, as shares of the month. In its calm second part the daemon lives on.
CALM = 0.62  # no kills from here on
SHARE = {"set": 0.12, "asleep": 0.25, "trip": 0.42, "cut": 0.46, "step": 0.55, "forward": 0.65,
         "back": 0.67, "away": (0.70, 0.74), "full": 0.77, "moved": 0.80, "again": 0.9}
# By how much the wall clock is set then, seconds; "asleep" is while the daemon is dead.
CLOCK = {"set": 3600, "asleep": -1800, "forward": 3600, "back": -7200, "again": 3600}
# Rounds that nobody holds because the power is cut; the next one is late by half an interval.
DARK = 2
AT_REST, AT_BIRTH = 0.1, 0.1  # shares of the kills: between two rounds, and again right after
DRIFTING, STEPPED, LOOSE, FAILING, MOVED = (7, 3), (21, 5), (42, 2), (50, 1), (33, 4)
DRIFT_SHARE = 0.012  # of its level over the month
STEP_SHARE = 0.015
LOOSE_ROUNDS = [round(ROUNDS * share) for share in (0.2, 0.35, 0.5, 0.64, 0.79, 0.88, 0.95)]


def at(name):
    return round(ROUNDS * SHARE[name])


class Month(unittest.TestCase):
    maxDiff = None

    @classmethod
    def setUpClass(cls):
        cls.random = random.Random(SEED)
        cls.folder = tempfile.mkdtemp(prefix="month-")
        cls.addClassCleanup(shutil.rmtree, cls.folder)
        rack.quick_profile(cls.folder)
        cls.page = rack.Page(os.path.join(cls.folder, "page"))
        cls.addClassCleanup(cls.page.close)
        os.environ["GRADUS_MONTH_PAGE"] = os.path.join(cls.folder, "page")
        others = [meter for meter in range(1, rack.METERS + 1) if meter != rack.AWAY]
        cls.bench = StandIn(BENCH, rack.bench_text(cls.folder, others), seed=SEED, own_sockets=False)
        cls.addClassCleanup(cls.bench.stop)
        cls.start_away()
        cls.acknowledged, cls.answered, cls.gone = {}, {}, 0
        cls.kills, cls.births, cls.cut_short = 0, 0, set()
        cls.memory, cls.full_seen, cls.held_most = [], False, 0
        cls.start_daemon()
        cls.run_name = cls.client.call("burnin.start", "rack")["run"]
        begun = cls.page.since_start()
        cls.live()
        cls.lived = cls.page.since_start() - begun

    @classmethod
    def start_away(cls):
        cls.away = StandIn(BENCH, rack.bench_text(cls.folder, [rack.AWAY]), seed=SEED + 1,
                            own_sockets=False)
        cls.addClassCleanup(cls.away.stop)

    @classmethod
    def start_daemon(cls):
        cls.daemon = Gradusd(PROGRAM, rack.settings_text(cls.folder, EVERY_S, ROUNDS), cls.folder)
        cls.addClassCleanup(cls.daemon.stop)
        cls.client = cls.daemon.client()

    # What goes wrong.

    @classmethod
    def plant(cls, number):
        """Changes the rack for a round."""
        def level(place, share):
            cls.bench.set_source(rack.source(*place),
                                 level=rack.LEVELS[place[1] - 1] * (1 + share))
        level(DRIFTING, DRIFT_SHARE * number / ROUNDS)
        level(STEPPED, STEP_SHARE if number >= at("step") else 0)
        level(LOOSE, -0.4 if number in LOOSE_ROUNDS else 0)
        level(FAILING, 0.1 if number >= at("trip") else 0)
        level(MOVED, 0.03 if number >= at("moved") else 0)
        first, last = (round(ROUNDS * share) for share in SHARE["away"])
        if number == first:
            cls.away.stop()
        elif number == last:
            cls.start_away()
        if number % 17 == 0:
            cls.bench.fault(f"m{cls.random.randint(8, rack.METERS):02}", "disconnect")
        for name in ("set", "forward", "back", "again"):
            if number == at(name):
                cls.page.set_wall(CLOCK[name])
        cls.page.disk(rack.Page.FULL if number == at("full") else 0)

    # Living through it.

    @classmethod
    def status(cls):
        return cls.client.call("burnin.status")["runs"][-1]

    @classmethod
    def store(cls):
        return cls.client.call("health")["store"]

    @classmethod
    def until(cls, condition):
        """Asks the daemon until it is so."""
        end = time.monotonic() + LIMIT_S
        while not condition():
            if time.monotonic() > end:
                raise AssertionError(f"in round {cls.status()['round']} it did not come to pass\n"
                                     f"{cls.store()}\n{cls.daemon.log[-2000:]}")

    @classmethod
    def see(cls):
        """Takes in all that is new in the store: it is acknowledged now."""
        more = True
        while more:
            page = cls.client.call("readings", after=cls.gone, limit=1000, run=cls.run_name)
            more = page["more"]
            for item in page["readings"]:
                outcome = item["reading"]["value"] if "reading" in item else item["error"]["message"]
                cls.acknowledged[item["id"]] = (item["point"], item["round"], outcome)
                cls.gone = item["id"]

    @classmethod
    def kill(cls, meanwhile=lambda: None):
        """Kills the daemon while it answers a client; `meanwhile` is done to the dead one."""
        cls.see()
        asker = cls.daemon.client()
        for _ in range(4):
            asker.send("measure", rack.source(cls.random.randint(1, 12), 1))
        answers = [asker.read() for _ in range(cls.random.randint(0, 3))]
        cls.daemon.send_signal(signal.SIGKILL)
        for answer in [*answers, *cls.rest(asker)]:
            if "result" in answer and answer["result"]["stored"]:
                cls.answered[answer["result"]["id"]] = (answer["result"]["point"], None,
                                                        answer["result"]["value"])
        cls.bury()
        meanwhile()
        cls.start_daemon()

    @staticmethod
    def rest(client):
        """What still arrives of a dead daemon's answers; the last may have been cut."""
        try:
            while (line := client.read_line()) is not None:
                yield json.loads(line)
        except (GradusdError, ConnectionResetError):
            pass

    @classmethod
    def bury(cls):
        cls.daemon.wait()
        cls.daemon.stop()
        cls.kills += 1

    @classmethod
    def kill_at_birth(cls):
        """Kills it once more, while it takes up the run again."""
        cls.daemon.send_signal(signal.SIGKILL)
        cls.bury()
        cls.births += 1
        cls.start_daemon()

    @classmethod
    def cut_power(cls, number):
        """Kills the daemon in a round; the machine is started anew in the middle of a later one."""
        def dark():
            cls.page.ahead((DARK + 1.5) * EVERY_S)
            cls.page.boot()
            cls.plant(number + DARK + 1)
        cls.kill(dark)
        cls.finish_round(number + DARK + 1)

    @classmethod
    def meet_doom(cls, number, written, active):
        """Kills the daemon in a round, or right after it."""
        cls.cut_short.add(number)
        if cls.random.random() < AT_REST:
            cls.finish_round(number)
        share = cls.random.random() * active
        if number == at("cut"):
            share = max(share, 3)  # more than the events a round may begin with: a reading is kept
        cls.until(lambda: cls.store()["written"] - written >= share or cls.is_over(number))
        if number == at("cut"):
            cls.cut_power(number)
        elif number == at("asleep"):
            cls.kill(lambda: cls.page.set_wall(CLOCK["asleep"]))
        else:
            cls.kill()
            if cls.random.random() < AT_BIRTH:
                cls.kill_at_birth()

    @classmethod
    def is_over(cls, number):
        """Whether a round has ended; the status is long, so it is asked for once nobody is busy."""
        if "busy" in cls.client.call("health")["states"].values():
            return False
        status = cls.status()
        return status["state"] == "ended" or \
            status["round"] >= number and status["measuring"] == 0

    @classmethod
    def finish_round(cls, number):
        cls.until(lambda: cls.is_over(number))
        store = cls.store()
        if number == at("full"):
            cls.full_seen = store["state"] == "full"
            cls.held_most = store["held"]
            cls.page.disk(0)
        cls.until(lambda: cls.store()["held"] == 0)

    @classmethod
    def at_rest(cls):
        """The status once nothing is measured or due: time that was moved amid a measurement would
        end it, and a round that was killed before its first reading was kept is held again."""
        status = None

        def rests():
            nonlocal status
            status = cls.status()
            return status["state"] == "ended" or \
                status["measuring"] == 0 and status.get("next_s", status["left_s"]) > 0
        cls.until(rests)
        return status

    @classmethod
    def live(cls):
        dark = range(at("cut") + 1, at("cut") + DARK + 2)
        certain = {at("set"), at("asleep"), at("cut")}
        mortal = [number for number in range(3, round(ROUNDS * CALM))
                  if number not in dark and number not in certain]
        count = min(max(0, KILLS - len(certain)), len(mortal))
        doomed = certain.union(cls.random.sample(mortal, count))
        while (status := cls.at_rest())["state"] != "ended":
            number = status["round"] + 1
            active = sum(point["state"] not in ("tripped", "stopped") for point in status["points"])
            cls.plant(number)
            written = cls.store()["written"]
            cls.page.ahead(status.get("next_s", status["left_s"]))
            if number in doomed:
                cls.meet_doom(number, written, active)
                continue
            cls.finish_round(number)
            cls.see()
            if number > ROUNDS * CALM:
                cls.memory.append((cls.page.heap(), cls.resident()))

    @classmethod
    def resident(cls):
        """Resident memory of the daemon, MiB."""
        with open(f"/proc/{cls.daemon.pid}/status", encoding="ascii") as file:
            return next(int(line.split()[1]) for line in file if line.startswith("VmRSS")) / 1024

    # What must be true then.

    def events(self, *kinds):
        found, after, more = [], 0, True
        while more:
            page = self.client.call("burnin.events", run=self.run_name, after=after)
            found += page["events"]
            after, more = page["events"][-1]["id"] if page["events"] else 0, page["more"]
        return [event["body"] for event in found if event["kind"] in kinds]

    def study(self, place):
        return self.client.call("burnin.study", run=self.run_name, point=rack.source(*place),
                                buckets=10)

    def rows(self):
        with sqlite3.connect(f"file:{self.folder}/month.db?mode=ro", uri=True) as database:
            return database.execute("SELECT id, point, round, value, reason FROM readings"
                                    " WHERE run = ?", (self.run_name,)).fetchall()

    def others(self):
        """Readings that were no part of the run, by their id."""
        with sqlite3.connect(f"file:{self.folder}/month.db?mode=ro", uri=True) as database:
            rows = database.execute("SELECT id, point, value FROM readings WHERE run IS NULL")
            return {number: (point, None, value) for number, point, value in rows}

    def test_what_was_acknowledged_is_there_once(self):
        rows = self.rows()
        there = {number: (point, round_, reason if value is None else value)
                 for number, point, round_, value, reason in rows}
        self.assertEqual(len(there), len(rows))
        self.assertEqual({number: there.get(number) for number in self.acknowledged},
                         self.acknowledged)
        others = self.others()
        self.assertEqual({number: others.get(number) for number in self.answered}, self.answered)
        verified = self.client.call("verify")
        self.assertTrue(verified["intact"], verified)
        self.assertEqual(verified["readings"], len(rows) + len(others))
        print(f"seed {SEED}: {ROUNDS} rounds, {len(rows)} readings, {len(self.acknowledged)} seen "
              f"acknowledged, {len(self.answered)} answered to a client before a kill, "
              f"{self.kills} kills")

    def test_each_point_has_each_round_once(self):
        """But for those rounds that were cut short, and what had tripped or was away."""
        places = [(point, round_) for _, point, round_, _, _ in self.rows()]
        self.assertEqual(len(set(places)), len(places))
        dark = range(at("cut") + 1, at("cut") + DARK + 1)
        self.assertFalse({round_ for _, round_ in places} & set(dark))
        whole = set(range(1, ROUNDS + 1)) - self.cut_short - set(dark)
        excused = self.excused()
        due = {(rack.source(unit, point), round_) for round_ in whole
               for unit in range(1, rack.UNITS + 1) for point in range(1, rack.POINTS + 1)
               if round_ not in excused.get(unit, ())}
        self.assertEqual(due - set(places), set())

    def excused(self):
        """Rounds without readings because of what was planted, by unit."""
        first, last = (round(ROUNDS * share) for share in SHARE["away"])
        rounds = {unit: range(first, last) for unit in (2 * rack.AWAY - 1, 2 * rack.AWAY)}
        for place in (FAILING, MOVED):
            rounds[place[0]] = range(self.study(place)["trip"]["round"], ROUNDS + 1)
        return rounds

    def test_the_plan_did_not_move(self):
        """Over kills, clocks that were set, and a boot after them."""
        began, = self.events("run began")
        self.assertEqual(began["first_ns"] % (EVERY_S * 10**9), 0)
        self.assertEqual((self.status()["why"], self.status()["round"]), ("completed", ROUNDS))
        wait = (began["first_ns"] - began["origin_wall_ns"]) / 1e9
        self.assertAlmostEqual(self.lived, wait + ROUNDS * EVERY_S, delta=60)

    def test_gaps_and_rounds_that_nobody_held_are_on_record(self):
        gaps = self.events("gap")
        self.assertGreaterEqual(self.kills, KILLS)
        self.assertTrue(self.kills - self.births <= len(gaps) <= self.kills)
        self.assertEqual([gap["last_round"] for gap in gaps if not gap["same_boot"]], [at("cut")])
        after = at("cut") + DARK + 1
        self.assertEqual([(missed["first"], missed["last"]) for missed in
                          self.events("rounds missed")], [(at("cut") + 1, after - 1)])
        # A machine that is busy may be late by itself, but not by this much.
        late = [late for late in self.events("late round") if late["late_s"] > 60]
        self.assertEqual([body["round"] for body in late], [after])
        self.assertAlmostEqual(late[0]["late_s"], EVERY_S / 2, delta=60)

    def test_clocks_that_were_set_are_on_record(self):
        jumps = [body["by_s"] for body in self.events("clock jumped")]
        self.assertEqual([round(jump) for jump in jumps], list(CLOCK.values()))

    def test_a_full_disk_was_loud_and_lost_nothing(self):
        self.assertTrue(self.full_seen)
        self.assertGreater(self.held_most, 100)
        kept = sum(round_ == at("full") for _, _, round_, _, _ in self.rows())
        self.assertEqual(kept, (rack.UNITS - 1) * rack.POINTS)  # one unit has tripped by then

    def test_the_instrument_that_was_away(self):
        first, last = (round(ROUNDS * share) for share in SHARE["away"])
        for place in ((13, 1), (14, 8)):
            study = self.study(place)
            self.assertEqual((study["lost"], study["failures"]), (last - first, 0))
            self.assertNotIn("trip", study)
        failed = [(point, round_) for _, point, round_, _, reason in self.rows() if reason]
        self.assertEqual({int(point[1:3]) for point, _ in failed}, {13, 14})
        self.assertEqual({round_ for _, round_ in failed}, set(range(first, last)))
        self.assertEqual(self.events("not measured"), [])

    def test_the_drift_and_when_it_will_meet_its_limit(self):
        study = self.study(DRIFTING)
        level = rack.LEVELS[DRIFTING[1] - 1]
        self.assertEqual(study["finding"]["kind"], "drift")
        slope = DRIFT_SHARE * level / (MONTH_S / 3600)
        self.assertAlmostEqual(study["trend"]["per_hour"] / slope, 1, delta=0.05)
        self.assertEqual(study["trend"]["meets"]["limit"], "high")
        status = next(point for point in self.status()["points"]
                      if point["point"] == rack.source(*DRIFTING))
        self.assertEqual(status["trend"]["meets"]["limit"], "high")

    def test_the_step(self):
        study = self.study(STEPPED)
        step = study["finding"]["step"]
        self.assertEqual(study["finding"]["kind"], "step")
        self.assertAlmostEqual(step["value"] / rack.LEVELS[STEPPED[1] - 1], STEP_SHARE, delta=1e-4)
        after = {round_ for _, point, round_, _, _ in self.rows()
                 if point == rack.source(*STEPPED) and round_ >= at("step")}
        self.assertEqual(step["round"], min(after))

    def test_the_loose_joint(self):
        """Of all excursions that were measured: a kill may have hidden one."""
        seen = sorted(round_ for _, point, round_, _, _ in self.rows()
                      if point == rack.source(*LOOSE) and round_ in LOOSE_ROUNDS)
        study = self.study(LOOSE)
        found = study["finding"]["excursions"]
        self.assertGreaterEqual(len(seen), 3)
        self.assertEqual((found["count"], found["round"], found["last_round"]),
                         (len(seen), seen[0], seen[-1]))
        self.assertEqual((study["finding"]["kind"], study["failures"]), ("steady", len(seen)))
        self.assertNotIn("trip", study)

    def test_trips_are_those_that_were_planted(self):
        trips = {(body["point"], body["cause"]) for body in self.events("trip")}
        self.assertEqual(trips, {(rack.source(*FAILING), "limit"), (rack.source(*MOVED), "drift")})
        self.assertEqual(len(self.events("trip")), 2)
        for place, name in ((FAILING, "trip"), (MOVED, "moved")):
            failed = sorted(round_ for _, point, round_, _, _ in self.rows()
                            if point == rack.source(*place) and round_ >= at(name))
            trip = self.study(place)["trip"]
            self.assertEqual((trip["round"], failed), (failed[2], failed[:3]))

    def test_nothing_else_is_found(self):
        planted = {DRIFTING, STEPPED, LOOSE, FAILING, MOVED}
        invented = {}
        for unit in range(1, rack.UNITS + 1):
            for point in range(1, rack.POINTS + 1):
                study = self.study((unit, point))
                finding = study["finding"]
                if (unit, point) not in planted and (
                        finding["kind"] != "steady" or "excursions" in finding or study["failures"]
                        or study["altered"] or study["verdict"] != "pass"
                        or study["lost"] and (unit + 1) // 2 != rack.AWAY):
                    invented[unit, point] = (finding, study["verdict"], study["failures"],
                                             study["lost"])
        self.assertEqual(invented, {})

    def test_memory_is_flat(self):
        """Resident memory is what counts, but a sanitizer's grows by itself: so what is allocated."""
        tenth = max(1, len(self.memory) // 10)
        parts = [[max(values) for values in zip(*part)]
                 for part in (self.memory[:tenth], self.memory[-tenth:])]
        (heap, resident), (heap_after, resident_after) = parts
        print(f"over {len(self.memory)} rounds in one life, first tenth and last: {heap:.2f} and "
              f"{heap_after:.2f} MiB allocated, {resident:.1f} and {resident_after:.1f} MiB resident")
        self.assertLess(heap_after, heap * 1.1)


if __name__ == "__main__":
    unittest.main()
