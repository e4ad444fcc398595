# SPDX-License-Identifier: GPL-3.0-or-later
"""A burn-in as the daemon tells of it, made up: events, studies and readings of a rack that never
was, for the fake daemon. Everything that a report has a word for happens in it."""

import datetime
import math
import random

START = datetime.datetime(2026, 3, 1, 8, 0, tzinfo=datetime.timezone.utc)
LEVELS = (5.0, 3.3, 12.0, 1.8, 2.5, 15.0, 0.048, 6.0)
GAP = (0.55, 0.62)  # shares of the run between which nothing was measured


def moment(seconds):
    return (START + datetime.timedelta(seconds=seconds)).strftime("%Y-%m-%dT%H:%M:%S.%fZ")


def nanoseconds(seconds):
    return int((START.timestamp() + seconds) * 1e9)


class Course:
    """What a point's values do, beside their noise: a function of the share of the run."""

    def __init__(self, slope=0.0, step=0.0, spike=0.0, lost=False, drifted=False, standard=False,
                 phased=False):
        self.slope, self.step, self.spike, self.lost = slope, step, spike, lost
        self.drifted = drifted    # it failed by its drift bound, within its limits, and was stopped
        self.standard = standard  # it is a check standard with a control chart
        self.phased = phased      # its limits differ by phase

    def at(self, share):
        value = self.slope * share + (self.step if share > 0.4 else 0)
        return value + (self.spike if 0.7 < share < 0.705 else 0)


class Rack:
    """`units` x `points`; `courses` maps (unit, point) to a Course. Values are fractions of the
    level; limits are 5 % away from it."""

    def __init__(self, units=4, points=2, rounds=4000, every=600, courses=None, name="u{:02}_p{}",
                 identity="TARNWERK,BENCH METER,{},1.4", ended="completed", uncertainty=4.123e-4, seed=1):
        self.run, self.plan = "rack-20260301-080000", "rack"
        self.rounds, self.every, self.ended = rounds, every, ended
        self.name, self.identity = name, identity
        self.places = [(unit, point) for unit in range(1, units + 1)
                       for point in range(1, points + 1)]
        self.uncertainty = uncertainty
        self.courses = courses or {}
        self.random = random.Random(seed)
        self.phases = (("settle", 0.1), ("soak", 1.0))

    @property
    def length(self):
        return self.rounds * self.every

    def point(self, place):
        return self.name.format(*place)

    def methods(self):
        return {"burnin.events": self.tell_events, "burnin.study": self.tell_study,
                "readings": self.tell_readings}

    def tell_events(self, call):
        kept = [event for event in self.events() if event["id"] > call.params.get("after", 0)]
        return {"run": self.run, "events": kept[:5], "more": len(kept) > 5}

    def tell_study(self, call):
        place, = [place for place in self.places if self.point(place) == call.params["point"]]
        return self.study(place, call.params.get("buckets", 200))

    def tell_readings(self, call):
        rows = [self.reading(number) for number in range(1, 2501)
                if number > call.params.get("after", 0)]
        limit = call.params["limit"]
        return {"readings": rows[:limit], "more": len(rows) > limit}

    def events(self):
        told = [(0, "run began", self.began())]
        for (place, course) in self.courses.items():
            if course.at(0.99) < -0.05:
                told.append((0.9 * self.length, "trip", {
                    "point": self.point(place), "round": round(0.9 * self.rounds), "phase": "soak",
                    "cause": "limit", "value": LEVELS[place[1] - 1] * (1 + course.at(0.9)),
                    "value_unit": "V"}))
        gap = [share * self.length for share in GAP]
        told += [(gap[1], "gap", {"from": moment(gap[0]), "to": moment(gap[1]), "same_boot": False,
                                  "last_round": round(GAP[0] * self.rounds)}),
                 (gap[1], "rounds missed", {"first": round(GAP[0] * self.rounds) + 1,
                                            "last": round(GAP[1] * self.rounds)}),
                 (0.3 * self.length, "late round", {"round": round(0.3 * self.rounds),
                                                    "late_s": 2.5}),
                 (0.8 * self.length, "clock jumped", {"by_s": -3600.0,
                                                      "plan_time": moment(0.8 * self.length)})]
        told.sort(key=lambda event: event[0])
        if self.ended:
            told.append((self.length, "run ended", {"why": self.ended, "last_round": self.rounds}))
        return [{"id": number, "time": moment(time), "kind": kind,
                 "body": {"run": self.run, "plan": self.plan, **body}}
                for number, (time, kind, body) in enumerate(told, 1)]

    def began(self):
        return {"first_ns": nanoseconds(0), "every_ns": int(self.every * 1e9),
                "warm_until_ns": nanoseconds(0.04 * self.length), "rounds": self.rounds,
                "end_ns": nanoseconds(self.length),
                "phases": [{"phase": name, "end_ns": nanoseconds(end * self.length)}
                           for name, end in self.phases],
                "points": [{"point": self.point(place), "unit_number": place[0]}
                           for place in self.places]}

    def bucket(self, place, share, width):
        level, course = LEVELS[place[1] - 1], self.courses.get(place, Course())
        values = [level * (1 + course.at(share + width * i / 8) + self.random.gauss(0, 2e-4))
                  for i in range(8)]
        bucket = {"time": moment(share * self.length),
                  "to": moment((share + width) * self.length - self.every),
                  "minimum": min(values), "maximum": max(values), "mean": sum(values) / 8,
                  "count": round(width * self.rounds), "failures": 0, "lost": 0}
        bucket["failures"] = sum(abs(value / level - 1) > 0.05 for value in values)
        if course.lost and 0.2 < share < 0.25:
            bucket["lost"] = bucket.pop("count")
            bucket["count"] = 0
            for key in ("minimum", "maximum", "mean"):
                del bucket[key]
        return bucket

    def study(self, place, buckets):
        level, course = LEVELS[place[1] - 1], self.courses.get(place, Course())
        buckets = min(buckets, self.rounds)
        history = [self.bucket(place, i / buckets, 1 / buckets) for i in range(buckets)
                   if not GAP[0] <= i / buckets < GAP[1]]
        judged = [bucket for bucket in history[buckets // 25:] if bucket["count"] > 0]
        low, high = min(b["minimum"] for b in judged), max(b["maximum"] for b in judged)
        worst = min(low / level - 0.95, 1.05 - high / level) / 0.05
        failures = sum(b["failures"] for b in judged)
        mark = {"time": judged[-1]["time"], "round": self.rounds}
        study = {
            "run": self.run, "plan": self.plan, "point": self.point(place),
            "unit_number": place[0], "quantity": "dc voltage", "unit": "V",
            "readings": sum(b["count"] for b in judged), "warm_up": self.rounds // 25,
            "failures": failures, "lost": sum(b["lost"] for b in history), "altered": 0,
            "minimum": {"value": low, **mark}, "maximum": {"value": high, **mark},
            "first": {"value": judged[0]["mean"], "time": judged[0]["time"], "round": 161},
            "last": {"value": judged[-1]["mean"], "uncertainty": level * self.uncertainty, **mark},
            "mean": sum(b["mean"] for b in judged) / len(judged),
            "standard_deviation": level * 2e-4, "uncertainty": level * self.uncertainty,
            "drift": {"value": judged[-1]["mean"] - judged[0]["mean"], "bound": 0.02 * level},
            "verdicts": {"pass": 3800, "conditional pass": 0, "conditional fail": 0,
                         "fail": failures, "none": 0},
            "verdict": "fail" if failures else "pass", "worst_margin": {"value": worst, **mark},
            "limits": [{"phase": name, "low": 0.95 * level, "high": 1.05 * level,
                        "decision": "guarded", "guard": level * self.uncertainty,
                        "from": moment(begin * self.length), "to": moment(end * self.length)}
                       for name, begin, end in (("settle", 0.04, 0.1), ("soak", 0.1, 1.0))],
            "trend": {"per_hour": 0.0, "standard_uncertainty": level * 1e-8, "significant": False},
            "finding": {"kind": "steady", "noise": level * 2e-4},
            "history": history,
            "instruments": [{"name": "meter_%d" % (place[0] % 4), "readings": 3840,
                             "identity": self.identity.format(place[0] % 4),
                             "calibration_due": "2026-03-10" if place[0] % 4 == 1
                             else "2027-01-31"}],
            "probes": [{"name": "direct", "factor": 1, "readings": 3840}],
            "settings_digests": ["5f" * 32], "versions": ["0.1.0"]}
        self.find(study, course, level)
        return study

    def find(self, study, course, level):
        """Adds what became of the planted course."""
        study["causes"] = {"limit": study["failures"]} if study["failures"] else {}
        study["reasons"] = {"timeout": study["lost"] - 7, "link lost": 7} if study["lost"] else {}
        study["drift"].update(low=0.98 * level, high=1.02 * level)
        if course.step <= -0.99:
            study["dead"] = True
        if course.phased:
            study["limits"][0].update(low=0.9 * level, high=1.1 * level)
        if course.drifted:
            study.update(failures=3, causes={"drift": 3}, history=study["history"][:140],
                         trip={"time": study["history"][139]["to"], "round": 2420, "cause": "drift"})
            study["worst_margin"]["value"] = -0.11
        if course.standard:
            study["chart"] = {"window": 20, "centre": level, "limit": 6e-4 * level,
                              "average": level, "average_limit": 2e-4 * level, "out_of_control": 2}
            average = level
            for bucket in study["history"]:
                if bucket["count"] > 0:
                    average = bucket["average"] = 0.8 * average + 0.2 * bucket["mean"]
        hours = self.length / 3600
        finding = study["finding"]
        if course.slope:
            finding["kind"] = "drift"
            study["trend"].update(per_hour=course.slope * level / hours, significant=True)
            left = ((0.05 - abs(course.at(1))) / abs(course.slope)) * self.length
            if left > 0:
                study["trend"]["meets"] = {
                    "limit": "high" if course.slope > 0 else "low",
                    "level": level * (1 + math.copysign(0.05, course.slope)),
                    "earliest": moment(self.length + 0.9 * left),
                    "expected": moment(self.length + left),
                    "latest": moment(self.length + 1.15 * left)}
        if course.step:
            finding["kind"] = "drift and step" if course.slope else "step"
            finding["step"] = {"value": course.step * level, "round": round(0.4 * self.rounds),
                               "standard_uncertainty": 1e-5 * level,
                               "time": moment(0.4 * self.length)}
        if course.spike:
            finding["excursions"] = {
                "count": 3, "value": course.spike * level, "time": moment(0.7 * self.length),
                "round": round(0.7 * self.rounds), "last_time": moment(0.705 * self.length),
                "last_round": round(0.705 * self.rounds)}
        if study["failures"] and course.at(0.99) < -0.05:
            study["trip"] = {"time": moment(0.9 * self.length), "round": round(0.9 * self.rounds),
                             "cause": "limit"}

    def reading(self, number):
        place = self.places[number % len(self.places)]
        level = LEVELS[place[1] - 1]
        item = {"id": number, "run": self.run, "round": number // len(self.places) + 1,
                "time": moment(number), "point": self.point(place), "settings_digest": "5f" * 32,
                "version": "0.1.0"}
        if number % 1000 == 7:
            item["error"] = {"code": -32001, "message": "over range",
                             "data": {"reason": "over range", "what": "+9.9E37, the range is 20 V"}}
        else:
            item["reading"] = {
                "point": self.point(place), "quantity": "dc voltage", "value": level + number * 1e-9,
                "uncertainty": level * 4e-4, "unit": "V", "verdict": "pass", "time": moment(number),
                "warnings": ["=1+1", "second"],
                "instrument": {"name": "meter_1", "identity": self.identity.format(1)}}
        return item


def eventful():
    """64 units of eight points: what fails, drifts, steps and is intermittent, the rest is well."""
    return {(7, 3): Course(slope=-0.055), (12, 1): Course(step=-0.07),
            (3, 2): Course(slope=0.041), (20, 5): Course(slope=-0.01),
            (33, 7): Course(step=0.012), (41, 8): Course(spike=0.02), (50, 4): Course(lost=True)}
