# SPDX-License-Identifier: GPL-3.0-or-later
"""Burn-ins: rounds, trips and the shop's command, stopping, and going on after kill -9."""

import json
import os
import pathlib
import signal
import sqlite3
import subprocess
import time
import unittest

from daemon_case import PROGRAM, DaemonCase
from gradusd import LIMIT_S, Gradusd

COMMAND = os.environ["GRADUS"]

PLANS = """
burnin = (
    {{ name = "rack"; points = ( "out", "weak" ); every_s = 0.1; {length}
       trip_after = 2; stops = "{stops}"; {more}
       command = ( "{folder}/trip", "--from", "burn-in; rm -rf $HOME" ); command_s = 20; }}
);
"""

UNITS = """,
    {{ name = "out_{{unit:02}}"; units = {{ last = 2; }}; instrument = "meter";
       input = {{ first = 1; step = 0; }}; probe = "direct"; expected = 5.0;
       quantity = "dc voltage"; limits = {{ low = 4.5; high = 5.5; }}; }}"""


class BurninCase(DaemonCase):
    length = "duration_s = 600;"
    stops = "unit"
    more = ""

    @property
    def path(self):
        return os.path.join(self.folder, "readings.db")

    def settings(self, **options):
        plans = PLANS.format(length=self.length, stops=self.stops, more=self.more,
                             folder=self.folder)
        return (f'store = {{ path = "{self.path}"; }};\n' + plans +
                super().settings(more=UNITS.format(), **options))

    def setUp(self):
        super().setUp()
        self.said = os.path.join(self.folder, "said")
        script = pathlib.Path(self.folder, "trip")
        script.write_text(f"#!/bin/sh\ncat >{self.said}.$$\n"
                          f"printf '\\n%s' \"$2\" >>{self.said}.$$\n"
                          f"id -u >{self.said}.user\n"
                          f"echo told the shop\nmv {self.said}.$$ {self.said}\n")
        script.chmod(0o755)
        os.chmod(self.folder, 0o1777)

    def status(self):
        return self.client.call("burnin.status")["runs"][-1]

    def point(self, name):
        return next(point for point in self.status()["points"] if point["point"] == name)

    def rounds(self, count):
        """Waits until so many more rounds have been begun."""
        begun = self.status()["round"]
        self.until(lambda: self.status()["round"] >= begun + count)

    def readings(self, point, count):
        """Waits until a point has so many readings; a busy machine misses rounds."""
        self.until(lambda: self.point(point).get("readings", 0) >= count)

    def stop_run(self):
        """Ends the run, and waits until all that was under way is kept."""
        self.client.call("burnin.stop", "rack")
        self.until(lambda: self.status()["measuring"] == 0 and
                   self.client.call("health")["store"]["held"] == 0)

    def events(self, *kinds):
        """Events on record, oldest first: (kind, body)."""
        with sqlite3.connect(f"file:{self.path}?mode=ro", uri=True) as database:
            rows = database.execute("SELECT kind, body FROM events ORDER BY id").fetchall()
        return [(kind, json.loads(body)) for kind, body in rows if not kinds or kind in kinds]

    def gradus(self, *words, status=0):
        done = subprocess.run([COMMAND, "--socket", f"unix:{self.daemon.unix}", *words],
                              capture_output=True, timeout=LIMIT_S, check=False,
                              stdin=subprocess.DEVNULL,
                              env={**os.environ, "LC_ALL": "C.UTF-8", "COLUMNS": "80"})
        self.assertEqual(done.returncode, status, done)
        return done.stdout.decode()


class Running(BurninCase):
    def test_readings_carry_run_and_round(self):
        begun = self.client.call("burnin.start", "rack")
        self.assertIs(begun["stored"], True)
        self.until(lambda: self.status()["round"] >= 3)
        self.client.call("burnin.stop", begun["run"])
        kept = self.client.call("readings", run=begun["run"])["readings"]
        self.assertEqual({item["point"] for item in kept}, {"out_01", "out_02", "weak"})
        self.assertEqual({item["run"] for item in kept}, {begun["run"]})
        rounds = [item["round"] for item in kept]
        self.assertEqual(rounds, sorted(rounds))
        self.assertEqual(self.events("run ended")[0][1]["why"], "stopped")

    def test_what_cannot_be_started_or_stopped(self):
        self.assertEqual(self.refused(self.client.call, "burnin.start", "rak").data["expected"],
                         "perhaps rack")
        self.refused(self.client.call, "burnin.stop", "rack")
        run = self.client.call("burnin.start", "rack")["run"]
        self.assertIn(run, self.refused(self.client.call, "burnin.start", "rack").data["what"])
        self.client.call("burnin.stop", "rack")
        self.refused(self.client.call, "burnin.stop", "rack")

    def test_measuring_goes_on_beside_it(self):
        self.client.call("burnin.start", "rack")
        self.assertEqual(self.client.call("measure", "rail")["verdict"], "pass")
        self.assertEqual([item.get("run") for item in
                          self.client.call("readings", point="rail")["readings"]], [None])

    def test_a_reload_with_the_same_plan_goes_on(self):
        self.client.call("burnin.start", "rack")
        self.rounds(1)
        self.daemon.reload(self.settings(ambient=24.0))
        self.rounds(2)
        self.assertEqual(self.status()["state"], "running")
        self.daemon.reload(self.settings().replace("every_s = 0.1", "every_s = 0.2"))
        self.assertEqual(self.status()["why"], "the plan has changed in the settings")


class Over(BurninCase):
    length = 'phases = ( { name = "settle"; duration_s = 1.0; }, { name = "soak"; ' \
             'duration_s = 3.0; limits = ( { point = "weak"; high = 2.9; } ); } );'

    def test_a_phase_has_limits_of_its_own_and_the_run_ends(self):
        run = self.client.call("burnin.start", "rack")["run"]
        self.until(lambda: self.events("run ended"))
        kept = self.client.call("readings", run=run, point="weak")["readings"]
        verdicts = {item["round"]: item["reading"]["verdict"] for item in kept}
        self.assertEqual({verdict for round_, verdict in verdicts.items() if round_ <= 10}, {"none"})
        self.assertEqual({verdict for round_, verdict in verdicts.items() if round_ > 10}, {"fail"})
        (_, trip), = self.events("trip")
        self.assertEqual((trip["point"], trip["phase"], trip["cause"]), ("weak", "soak", "limit"))
        self.assertEqual(self.events("run ended")[0][1]["why"], "completed")


class Trips(BurninCase):
    def test_a_trip_is_recorded_announced_and_told_to_the_shop(self):
        run = self.client.call("burnin.start", "rack")["run"]
        self.rounds(2)
        self.assertEqual(self.events("trip"), [])
        self.bench.set_source("rail", level=6.0)
        self.daemon.wait_log("trip command .*: told the shop")
        self.daemon.wait_log("trip command .*: done")
        told, _, argument = pathlib.Path(self.said).read_text().split("\n")
        told = json.loads(told)
        self.assertEqual(told["reading"]["value"], told["value"])
        self.assertEqual(told["reading"]["verdict"], "fail")
        self.assertEqual(argument, "burn-in; rm -rf $HOME")
        self.assertEqual((told["run"], told["cause"], told["value_unit"]), (run, "limit", "V"))
        self.assertAlmostEqual(told["value"], 6.0, delta=0.01)
        self.assertEqual(told["failed_in_row"], 2)
        self.assertNotEqual(pathlib.Path(self.said + ".user").read_text(), "0\n")
        self.until(lambda: len(self.events("trip")) == 2)
        for kind, body in self.events("trip"):
            self.assertEqual((kind, body["run"]), ("trip", run))
        before = len(self.client.call("readings", run=run, point="out_01")["readings"])
        self.rounds(2)
        self.assertEqual(self.point("weak")["state"], "within limits")
        after = self.client.call("readings", run=run, point="out_01")["readings"]
        self.assertEqual(len(after), before)

    def test_an_instrument_that_is_away_trips_nothing(self):
        self.client.call("burnin.start", "rack")
        self.rounds(1)
        self.bench.stop()
        self.until(lambda: self.point("weak")["lost"] >= 3)
        self.start_meter()
        lost = self.point("weak")["readings"]
        self.until(lambda: self.point("weak")["readings"] > lost + 1)
        self.assertEqual(self.events("trip"), [])

    def test_a_command_that_does_not_end_is_killed(self):
        pathlib.Path(self.folder, "trip").write_text("#!/bin/sh\necho waits\nread x </dev/zero\n")
        self.daemon.reload(self.settings().replace("command_s = 20", "command_s = 0.2"))
        self.client.call("burnin.start", "rack")
        self.bench.set_source("rail", level=6.0)
        self.daemon.wait_log("trip command .*: waits")
        self.daemon.wait_log("trip command .*: killed: it took too long")

    def test_the_status_fits_on_a_terminal(self):
        self.assertEqual(self.gradus("burnin", "status"), "no run; plans:\n  rack\n")
        run = self.gradus("burnin", "start", "rack").strip()
        self.rounds(2)
        shown = self.gradus("burnin", "status")
        self.assertIn(run + "  phase run\n", shown)
        self.assertRegex(shown, r"\[[#.]{44}\] +0 %  round \d+ of 6000\n")
        self.assertRegex(shown, r"00:\d\d:\d\d left, next round in 00:00:0[01]\n")
        self.assertRegex(shown, r"(?m)^   1 +\d+ +2 +\d+  weak +-")
        self.bench.set_source("rail", level=6.0)
        self.until(lambda: self.point("out_02")["state"] == "tripped")
        shown = self.gradus("burnin", "status", "rack", status=1)
        self.assertRegex(shown, r"(?m)^   1 TRIP +2 TRIP +weak +-")
        self.assertRegex(shown, r"(?m)^  20\S+Z  round \d+ +limit +out_01$")
        self.assertLessEqual(max(map(len, shown.split("\n"))), 80)
        self.gradus("burnin", "stop", "rack")
        self.assertIn(run + "  ended: stopped", self.gradus("burnin", "status", run, status=1))
        self.gradus("burnin", "stop", "rack", status=2)
        self.gradus("burnin", "begin", "rack", status=2)


class Drifts(BurninCase):
    more = 'drift = ( { point = "out"; percent = 2.0; } );'
    stops = "run"

    def test_drift_within_the_limits_stops_the_run(self):
        self.client.call("burnin.start", "rack")
        self.until(lambda: "first" in self.point("out_02"))
        self.bench.set_source("rail", level=5.3)
        self.until(lambda: self.events("run ended"))
        self.assertEqual(self.status()["why"], "tripped")
        self.assertEqual(self.events("trip")[0][1]["cause"], "drift")
        tripped = self.events("trip")[0][1]["point"]
        study = self.client.call("burnin.study", run="rack", point=tripped)
        self.assertEqual(study["causes"], {"drift": study["failures"]})
        drift = study["drift"]
        self.assertTrue(drift["low"] < study["first"]["value"] < drift["high"] <
                        study["last"]["value"], study)
        self.assertNotIn("dead", study)


class CheckStandards(BurninCase):
    more = 'check_standard = "out_02"; check_standard_stops = "run";'

    def test_what_moves_the_check_standard_stops_the_run(self):
        """By much less than its limits allow, once its chart has its 20 readings."""
        self.client.call("burnin.start", "rack")
        self.readings("out_02", 22)
        self.assertEqual(self.events("trip"), [])
        self.bench.set_source("rail", level=5.02)
        self.until(lambda: self.events("run ended"))
        trip = self.events("trip")[0][1]
        self.assertEqual((trip["point"], trip["cause"]), ("out_02", "check standard"))
        study = self.client.call("burnin.study", run="rack", point="out_02")
        chart = study["chart"]
        self.assertEqual(study["causes"], {"check standard": chart["out_of_control"]})
        self.assertEqual(chart["window"], 20)
        self.assertAlmostEqual(chart["average_limit"], chart["limit"] / 3, places=12)  # L = 3, 0.2
        self.assertGreater(abs(chart["average"] - chart["centre"]), chart["average_limit"])
        self.assertEqual(study["history"][-1]["average"], chart["average"])
        self.assertNotIn("chart", self.client.call("burnin.study", run="rack", point="out_01"))


class InputCards(BurninCase):
    cards = 4

    def settings(self, **options):
        return super().settings(**options).replace('name = "meter";',
                                                   f'name = "meter"; inputs_per_card = {self.cards};')

    def test_which_card_a_point_is_on_is_on_record(self):
        self.client.call("burnin.start", "rack")
        self.until(lambda: self.events("run began"))
        cards = {point["point"]: point.get("card")
                 for point in self.events("run began")[0][1]["points"]}
        self.assertEqual(cards["out_01"], "meter inputs 1 to 4")
        done = self.check()
        self.assertEqual(done.returncode, 0, done)
        self.assertIn("meter: input cards of 4 inputs each", done.stdout)

    def test_a_card_has_no_more_inputs_than_the_instrument(self):
        self.cards = 17
        done = self.check()
        self.assertEqual(done.returncode, 2, done)
        self.assertIn('"inputs_per_card" is 17, expected 1 to 16: instrument "meter" has no more',
                      done.stderr)

    def check(self):
        path = pathlib.Path(self.folder, "cards.cfg")
        path.write_text(self.settings().replace('profiles = "', 'profiles = "' + os.path.join(
            os.environ["GRADUS_SOURCE"], "config/")))
        return subprocess.run([os.environ["GRADUSD"], "--check", str(path)], capture_output=True,
                              text=True, check=False, timeout=LIMIT_S)


class Studies(BurninCase):
    more = "warm_up_s = 0.2;"

    def study(self, point, **parameters):
        return self.client.call("burnin.study", run="rack", point=point, **parameters)

    def test_a_study_says_what_the_readings_say(self):
        run = self.client.call("burnin.start", "rack")["run"]
        self.readings("out_02", 26)
        self.stop_run()
        study = self.study("out_02", buckets=5)
        kept = [(item["round"], item["reading"]) for item in
                self.client.call("readings", run=run, point="out_02", limit=1000)["readings"]]
        values = [reading["value"] for round_, reading in kept if round_ > 2]
        self.assertEqual((study["run"], study["unit_number"], study["unit"], study["quantity"]),
                         (run, 2, "V", "dc voltage"))
        self.assertEqual((study["readings"], study["warm_up"]),
                         (len(values), len(kept) - len(values)))
        self.assertEqual(study["minimum"]["value"], min(values))
        self.assertEqual(study["maximum"]["value"], max(values))
        self.assertAlmostEqual(study["mean"], sum(values) / len(values), places=12)
        self.assertEqual((study["first"]["value"], study["last"]["value"]), (values[0], values[-1]))
        self.assertEqual(study["drift"]["value"], values[-1] - values[0])
        self.assertEqual(study["verdicts"]["pass"], len(values))
        self.assertEqual((study["verdict"], study["failures"], study["lost"], study["altered"]),
                         ("pass", 0, 0, 0))
        limits, = study["limits"]
        self.assertEqual((limits["low"], limits["high"], limits["phase"]), (4.5, 5.5, "run"))
        self.assertAlmostEqual(limits["guard"], kept[-1][1]["uncertainty"], places=9)
        # A busy machine misses rounds; a stretch in which there was none is not there.
        rounds = [round_ for round_, _ in kept]
        self.assertEqual(len(study["history"]),
                         len({(round_ - 1) * 5 // rounds[-1] for round_ in rounds}))
        self.assertEqual(sum(bucket["count"] for bucket in study["history"]), len(kept))
        self.assertEqual(study["finding"]["kind"], "steady")
        instrument, = study["instruments"]
        self.assertEqual((instrument["name"], instrument["readings"]), ("meter", len(kept)))
        self.assertEqual(study["probes"][0]["factor"], 1)
        self.assertEqual(study["settings_digests"],
                         [self.client.call("readings", run=run)["readings"][0]["settings_digest"]])

    def test_a_step_and_its_failures_are_found(self):
        self.client.call("burnin.start", "rack")
        self.rounds(15)
        self.bench.set_source("rail", level=5.9)
        self.until(lambda: "trip" in self.study("out_01"))  # what is judged is kept soon after
        study = self.study("out_01")
        self.assertEqual((study["failures"], study["trip"]["cause"]), (2, "limit"))
        self.assertEqual(study["causes"], {"limit": 2})
        self.assertEqual(study["verdicts"]["fail"], 2)
        self.assertLess(study["worst_margin"]["value"], 0)
        self.assertEqual(sum(bucket["failures"] for bucket in study["history"]), 2)

    def test_what_could_not_be_measured_is_lost_and_no_failure(self):
        self.client.call("burnin.start", "rack")
        self.rounds(3)
        self.bench.stop()
        self.until(lambda: self.point("weak")["lost"] >= 3)
        self.stop_run()
        study = self.study("weak")
        self.assertEqual((study["failures"], study["lost"]), (0, self.point("weak")["lost"]))
        self.assertEqual(sum(study["reasons"].values()), study["lost"])
        self.assertEqual(study["causes"], {})
        self.assertEqual(sum(bucket["lost"] for bucket in study["history"]), study["lost"])

    def test_a_dead_unit_is_called_so(self):
        self.client.call("burnin.start", "rack")
        self.until(lambda: "first" in self.point("out_01"))
        self.bench.set_source("rail", level=0.001)
        self.until(lambda: self.point("out_01").get("dead"))
        self.until(lambda: self.study("out_01").get("dead"))
        self.assertNotIn("dead", self.point("weak"))

    def test_an_altered_row_is_in_no_figure(self):
        self.client.call("burnin.start", "rack")
        self.readings("weak", 6)
        self.stop_run()
        before = self.study("weak")
        self.assertEqual(self.daemon.stop(), 0)
        with sqlite3.connect(self.path) as database:
            database.execute("UPDATE readings SET value = 99.0 WHERE id ="
                             " (SELECT max(id) FROM readings WHERE point = 'weak')")
        database.close()
        self.daemon = Gradusd(PROGRAM, self.settings(), self.folder)
        self.addCleanup(self.end_daemon)
        self.client = self.daemon.client()
        after = self.study("weak")
        self.assertEqual((after["altered"], after["readings"]), (1, before["readings"] - 1))
        self.assertLess(after["maximum"]["value"], 99)

    def test_what_was_removed_by_policy_is_said(self):
        self.client.call("burnin.start", "rack")
        self.rounds(4)
        self.stop_run()
        self.assertIs(self.study("weak")["removed"], False)
        self.assertEqual(self.daemon.stop(), 0)
        with sqlite3.connect(self.path) as database:
            (began,), = database.execute("SELECT min(id) FROM events WHERE kind = 'run began'")
            database.execute("INSERT INTO events (id, time, time_ns, kind, first, last, digest)"
                             " VALUES (100000, '', 0, 'pruned', ?, ?, x'00')", (began + 1, began + 1))
        database.close()
        self.daemon = Gradusd(PROGRAM, self.settings(), self.folder)
        self.addCleanup(self.end_daemon)
        self.client = self.daemon.client()
        self.assertIs(self.study("weak")["removed"], True)
        told = subprocess.run([COMMAND, "--socket", f"unix:{self.daemon.unix}", "burnin", "report",
                               "rack"], capture_output=True, timeout=LIMIT_S, check=False)
        self.assertIn(b"removed by the store's retention", told.stdout)

    def test_runs_and_their_events_are_listed(self):
        self.assertEqual(self.client.call("burnin.runs"), {"runs": []})
        first = self.client.call("burnin.start", "rack")["run"]
        self.client.call("burnin.stop", "rack")
        second = self.client.call("burnin.start", "rack")["run"]
        listed = self.client.call("burnin.runs")["runs"]
        self.assertEqual([run["run"] for run in listed], [first, second])
        self.assertEqual((listed[0]["why"], listed[0]["plan"]), ("stopped", "rack"))
        self.assertNotIn("ended", listed[1])
        events = self.client.call("burnin.events", first)["events"]
        self.assertEqual([event["kind"] for event in events], ["run began", "run ended"])
        self.assertEqual([point["point"] for point in events[0]["body"]["points"]],
                         [point["point"] for point in self.status()["points"]])
        page = self.client.call("burnin.events", run=first, limit=1)
        self.assertEqual((len(page["events"]), page["more"]), (1, True))
        rest = self.client.call("burnin.events", run=first,
                                after=page["events"][0]["id"])
        self.assertEqual((rest["events"], rest["more"]), (events[1:], False))
        self.assertEqual(self.client.call("burnin.events", "rack")["run"], second)

    def test_what_is_not_there_is_said(self):
        self.assertIn("no run nowhere", self.refused(self.client.call, "burnin.events",
                                                     "nowhere").data["what"])
        self.client.call("burnin.start", "rack")
        self.assertIn("no point nothing", self.refused(self.study, "nothing").data["what"])

    def test_a_drift_is_seen_while_it_goes_on(self):
        self.client.call("burnin.start", "rack")
        begun = time.monotonic()
        # Even in time, however many rounds a busy machine misses.
        while (level := 5.0 + 0.02 * (time.monotonic() - begun)) < 5.3:
            self.bench.set_source("rail", level=level)
            self.rounds(1)
        trend = self.point("out_01")["trend"]
        self.assertTrue(trend["significant"])
        self.assertGreater(trend["per_hour"], 0)
        self.assertEqual((trend["meets"]["limit"], trend["meets"]["level"]), ("high", 5.5))
        self.assertLessEqual(trend["meets"]["earliest"], trend["meets"]["expected"])


class Restart(BurninCase):
    def crash(self):
        self.daemon.send_signal(signal.SIGKILL)
        self.daemon.wait()
        self.daemon.stop()

    def start(self, settings=None):
        self.daemon = Gradusd(PROGRAM, settings or self.settings(), self.folder)
        self.addCleanup(self.end_daemon)
        self.client = self.daemon.client()

    def test_it_goes_on_after_a_kill_with_the_gap_on_record(self):
        run = self.client.call("burnin.start", "rack")["run"]
        self.rounds(2)
        first = self.point("out_01")["first"]
        before = self.status()["round"]
        self.crash()
        self.start()
        self.rounds(2)
        self.assertEqual(self.status()["run"], run)
        self.assertGreater(self.status()["round"], before)
        self.assertEqual(self.point("out_01")["first"], first)
        self.until(lambda: self.events("gap"))  # its commit may take longer than two rounds
        (_, gap), = self.events("gap")
        self.assertEqual(gap["same_boot"], True)
        self.assertGreaterEqual(gap["last_round"], before - 1)
        self.assertLess(gap["from"], gap["to"])
        self.assertTrue(self.client.call("verify")["intact"])

    def test_a_trip_is_told_once_over_a_restart(self):
        self.client.call("burnin.start", "rack")
        self.rounds(1)
        self.bench.set_source("rail", level=6.0)
        self.until(lambda: len(self.events("trip")) == 2)
        self.crash()
        self.start()
        self.rounds(2)
        self.assertEqual(self.point("out_01")["state"], "tripped")
        self.assertEqual(len(self.events("trip")), 2)

    def test_a_plan_that_is_another_one_does_not_go_on(self):
        self.client.call("burnin.start", "rack")
        self.rounds(1)
        self.crash()
        self.start(self.settings().replace("every_s = 0.1", "every_s = 0.3"))
        self.until(lambda: self.events("run ended"))
        self.assertEqual(self.status()["why"], "the plan has changed in the settings")
        self.client.call("burnin.start", "rack")
        self.rounds(1)
        self.crash()
        self.start(self.settings().replace('name = "rack"', 'name = "other"'))
        self.until(lambda: len(self.events("run ended")) == 2)
        self.assertEqual(self.client.call("burnin.status")["runs"], [])

    def test_it_goes_on_after_an_orderly_end(self):
        self.client.call("burnin.start", "rack")
        self.rounds(1)
        self.assertEqual(self.daemon.stop(), 0)
        self.assertEqual(self.events("run ended"), [])
        self.start()
        self.rounds(1)
        self.assertEqual(self.status()["gaps"], 1)


if __name__ == "__main__":
    unittest.main()
