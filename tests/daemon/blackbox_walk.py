# SPDX-License-Identifier: GPL-3.0-or-later
"""Walking a board: the real daemon, a simulated meter on one input, and a hand that moves the probe.

The hand waits for what the daemon says, never for time; so no case depends on how fast anything is."""

import json
import os
import shutil
import sqlite3
import tempfile
import time
import unittest

from daemon_case import BENCH, PROGRAM
from gradusd import LIMIT_S, Gradusd, RpcError
from standin import StandIn

BENCH_TEXT = """
instruments = (
    {{ name = "meter"; type = "tarnwerk-meter"; listen = "unix:{folder}/meter.sock";
       conversion_ms = 5; error_fraction = 0; }},
    {{ name = "scope"; type = "tarnwerk-scope"; listen = "unix:{folder}/scope.sock";
       conversion_ms = 5; error_fraction = 0; }}
);
sources = (
    {{ name = "five"; kind = "dc"; level = 5.01; source_resistance = 0.1; }},
    {{ name = "five_too"; kind = "dc"; level = 5.01; source_resistance = 0.1; }},
    {{ name = "three"; kind = "dc"; level = 3.31; source_resistance = 0.1; }},
    {{ name = "ground"; kind = "dc"; level = 0.0; source_resistance = 0.1; }},
    {{ name = "twelve"; kind = "dc"; level = 12.1; source_resistance = 0.1; }}
);
"""

SETTINGS = """
profiles = "profiles";
{store}
instruments = (
    {{ name = "meter"; profile = "tarnwerk-meter"; link = "unix:{folder}/meter.sock"; }},
    {{ name = "scope"; profile = "tarnwerk-scope"; link = "unix:{folder}/scope.sock"; }}
);
points = (
    {{ name = "five"; instrument = "meter"; input = 1; probe = "direct"; expected = 5.0;
       quantity = "dc voltage"; limits = {{ low = 4.75; high = 5.25; }}; }},
    {{ name = "five_too"; instrument = "meter"; input = 1; probe = "direct"; expected = 5.0;
       quantity = "dc voltage"; limits = {{ low = 4.75; high = 5.25; }}; }},
    {{ name = "three"; instrument = "meter"; input = 1; probe = "direct"; expected = 3.3;
       quantity = "dc voltage"; limits = {{ low = 3.2; high = 3.4; }}; }},
    {{ name = "ground"; instrument = "meter"; input = 1; probe = "direct"; expected = 0.0;
       quantity = "dc voltage"; limits = {{ low = -0.1; high = 0.1; }}; }},
    {{ name = "scope_twelve"; instrument = "scope"; input = 1; probe = "direct"; expected = 12.0;
       quantity = "dc voltage"; limits = {{ low = 11.5; high = 12.5; }}; }},
    {{ name = "scope_ground"; instrument = "scope"; input = 1; probe = "direct"; expected = 0.0;
       quantity = "dc voltage"; limits = {{ low = -0.5; high = 0.5; }}; }}
);
sheets = (
    {{ name = "psu"; title = "the supply"; points = (
        {{ point = "five"; place = "TP1, left of the transformer"; caution = "hot"; }},
        {{ point = "five_too"; place = "TP2"; }},
        {{ point = "three"; place = "TP3"; }} ); }},
    {{ name = "zero"; points = ( {{ point = "ground"; place = "the screw"; }},
                                 {{ point = "five"; place = "TP1"; }} ); }},
    {{ name = "scoped"; points = ( {{ point = "scope_ground"; place = "the clip"; }},
                                   {{ point = "scope_twelve"; place = "TP9"; }} ); }}
);
"""

STORE = """
store = {{ path = "{folder}/readings.db"; }};
burnin = ( {{ name = "rack"; points = ( "five" ); every_s = 3600;
              phases = ( {{ name = "soak"; duration_s = 86400; }} ); }} );
"""


class Walk(unittest.TestCase):
    store = True

    def setUp(self):
        self.folder = tempfile.mkdtemp(prefix="walk-")
        self.addCleanup(shutil.rmtree, self.folder)
        self.begin_bench()
        self.begin_daemon()
        self.addCleanup(lambda: self.daemon.stop())

    def begin_bench(self):
        self.bench = StandIn(BENCH, BENCH_TEXT.format(folder=self.folder), own_sockets=False)
        self.addCleanup(self.bench.stop)

    def begin_daemon(self):
        store = STORE.format(folder=self.folder) if self.store else ""
        self.daemon = Gradusd(PROGRAM, SETTINGS.format(folder=self.folder, store=store))
        self.client = self.daemon.client()

    def start(self, sheet, **options):
        self.bench.hand("meter", 1, "lift")
        self.bench.hand("scope", 1, "lift")
        self.walk = self.client.call("walk.start", sheet=sheet, **options)
        self.number = self.walk["subscription"]
        return self.walk

    def news(self, what, **members):
        """The next notification of that kind and with those members; others are passed over."""
        while True:
            told = self.client.notification()["params"]
            self.assertEqual(told["subscription"], self.number)
            if told["what"] == what and all(told.get(key) == value
                                            for key, value in members.items()):
                return told
            self.assertNotEqual((told["what"], what), ("finished", "outcome"), told)

    def in_the_air(self):
        while not self.news("probe")["probe"].startswith("in the air"):
            continue

    def key(self, key):
        return self.client.call("walk.key", subscription=self.number, key=key)

    def touch(self, source, place, instrument="meter", **fields):
        """Puts the lifted probe on a source and waits for the reading of that place."""
        self.bench.hand(instrument, 1, "touch", source, **fields)
        outcome = self.news("outcome")
        self.assertEqual(outcome["place"], place)
        self.bench.hand(instrument, 1, "lift")
        return outcome

    def readings(self):
        return self.client.call("readings", run=self.walk["walk"])["readings"]

    def kept(self, count):
        """The readings once there are so many: notifications do not wait for the store."""
        self.until(lambda: len(self.readings()) >= count)
        return self.readings()

    def test_a_board_is_walked_by_touching_and_lifting(self):
        walk = self.start("psu")
        self.assertEqual((walk["title"], walk["resumed"], walk["place"]), ("the supply", False, 0))
        self.assertEqual([place["place"] for place in walk["places"]],
                         ["TP1, left of the transformer", "TP2", "TP3"])
        self.assertEqual(walk["places"][0]["caution"], "hot")
        self.in_the_air()
        first = self.touch("five", 0)
        self.assertEqual((first["state"], first["reading"]["verdict"]), ("read", "pass"))
        self.assertAlmostEqual(first["reading"]["value"], 5.01, places=2)
        self.news("place", place=1)
        self.in_the_air()
        self.touch("five_too", 1, bounce_s=0.3)
        self.in_the_air()
        self.assertAlmostEqual(self.touch("three", 2)["reading"]["value"], 3.31, places=2)
        self.assertEqual(self.news("finished")["why"], "all places are done")
        kept = self.kept(3)
        self.assertEqual([reading["point"] for reading in kept], ["five", "five_too", "three"])
        self.assertEqual([reading["reading"]["verdict"] for reading in kept], ["pass"] * 3)
        self.assertTrue(self.client.call("verify")["intact"])
        self.assertFalse(self.start("psu")["resumed"])

    def test_a_probe_that_is_on_a_place_from_the_start_has_to_be_lifted(self):
        self.bench.hand("meter", 1, "touch", "five")
        self.walk = self.client.call("walk.start", sheet="psu")
        self.number = self.walk["subscription"]
        self.assertEqual(self.news("probe")["probe"], "lift")
        self.bench.hand("meter", 1, "lift")
        self.in_the_air()
        self.assertEqual(self.touch("five", 0)["reading"]["verdict"], "pass")

    def test_a_probe_that_stays_is_not_read_twice(self):
        self.start("psu")
        self.in_the_air()
        self.bench.hand("meter", 1, "touch", "five")
        self.news("outcome", place=0)
        readings = self.bench.counters("meter")["readings"]
        self.until(lambda: self.bench.counters("meter")["readings"] > readings + 60)
        self.assertEqual(len(self.kept(1)), 1)
        self.bench.hand("meter", 1, "slip", "five_too")
        self.until(lambda: self.bench.counters("meter")["readings"] > readings + 120)
        self.assertEqual(len(self.kept(1)), 1)

    def until(self, condition):
        end = time.monotonic() + LIMIT_S
        while not condition():
            self.assertLess(time.monotonic(), end, self.daemon.log)
            self.client.call("health")

    def test_a_slip_is_no_reading(self):
        self.start("psu")
        self.in_the_air()
        self.bench.hand("meter", 1, "touch", "five")
        self.news("outcome", place=0)
        self.bench.hand("meter", 1, "slip", "three")
        self.news("probe", probe="slipped")
        readings = self.bench.counters("meter")["readings"]
        self.until(lambda: self.bench.counters("meter")["readings"] > readings + 60)
        self.assertEqual(len(self.kept(1)), 1)
        self.bench.hand("meter", 1, "lift")
        self.in_the_air()
        self.touch("five_too", 1)
        self.assertEqual([reading["point"] for reading in self.kept(2)], ["five", "five_too"])

    def test_hum_is_never_a_reading(self):
        self.start("zero")
        for hum in (0.01, 0.3, 3.0, 0.05):
            self.bench.hand("meter", 1, "lift", hum=hum, leftover=0.05)
            readings = self.bench.counters("meter")["readings"]
            self.until(lambda: self.bench.counters("meter")["readings"] > readings + 100)
        self.assertEqual(self.readings(), [])

    def test_ground_is_walked_without_a_key(self):
        self.start("zero")
        self.in_the_air()
        outcome = self.touch("ground", 0)
        self.assertEqual(outcome["reading"]["verdict"], "pass")
        self.in_the_air()
        self.touch("five", 1)
        self.news("finished")

    def test_a_scope_walks_too(self):
        self.start("scoped")
        self.in_the_air()
        self.touch("ground", 0, "scope")
        self.in_the_air()
        self.touch("twelve", 1, "scope")
        self.news("finished")
        self.assertEqual([reading["reading"]["verdict"] for reading in self.kept(2)],
                         ["pass", "pass"])

    def test_where_there_is_no_hum_a_key_tells(self):
        self.bench.hand("meter", 1, "lift", hum=0, leftover=0)
        self.start("zero")
        self.in_the_air()
        self.bench.hand("meter", 1, "touch", "ground")
        readings = self.bench.counters("meter")["readings"]
        self.until(lambda: self.bench.counters("meter")["readings"] > readings + 40)
        self.assertEqual(self.readings(), [])
        self.key("on")
        self.assertEqual(self.news("outcome")["reading"]["verdict"], "pass")

    def test_the_wrong_place_is_told_before_it_counts(self):
        self.start("psu")
        self.in_the_air()
        self.bench.hand("meter", 1, "touch", "three")
        told = self.news("elsewhere", place=0)
        self.assertEqual(told["like"], 2)
        self.assertEqual(told["reading"]["verdict"], "fail")
        self.assertEqual(self.readings(), [])
        self.bench.hand("meter", 1, "lift")
        self.in_the_air()
        self.assertEqual(self.touch("five", 0)["reading"]["verdict"], "pass")
        # Twice the same is what it is.
        self.in_the_air()
        self.bench.hand("meter", 1, "touch", "three")
        self.news("elsewhere", place=1)
        self.bench.hand("meter", 1, "lift")
        self.in_the_air()
        self.assertEqual(self.touch("three", 1)["reading"]["verdict"], "fail")

    def test_keys(self):
        self.start("psu")
        self.in_the_air()
        self.key("skip")
        self.assertEqual(self.news("outcome", place=0)["state"], "skipped")
        self.news("place", place=1)
        self.touch("five_too", 1)
        self.in_the_air()
        self.key("back")
        self.news("place", place=1)
        self.bench.set_source("five_too", level=5.5)
        self.assertEqual(self.touch("five_too", 1)["reading"]["verdict"], "fail")
        self.bench.set_source("five_too", level=5.1)
        self.in_the_air()
        self.key("again")
        self.assertEqual(self.touch("five_too", 1)["reading"]["verdict"], "pass")
        self.client.call("walk.note", subscription=self.number, note="joint looks dull")
        with self.assertRaises(RpcError):
            self.key("sideways")
        with self.assertRaises(RpcError):
            self.client.call("walk.key", subscription=self.number + 1, key="skip")
        self.assertEqual([reading["reading"]["verdict"] for reading in self.kept(3)],
                         ["pass", "fail", "pass"])

    def test_what_is_under_way_is_not_for_the_next_place(self):
        self.start("psu")
        self.in_the_air()
        self.bench.hand("meter", 1, "touch", "five")
        self.news("probe", probe="touching")
        self.key("skip")
        self.news("place", place=1)
        readings = self.bench.counters("meter")["readings"]
        self.until(lambda: self.bench.counters("meter")["readings"] > readings + 60)
        self.assertEqual(self.readings(), [])
        self.bench.hand("meter", 1, "lift")
        self.in_the_air()
        self.touch("five_too", 1)
        self.assertEqual([reading["point"] for reading in self.kept(1)], ["five_too"])

    def test_its_readings_are_of_its_job(self):
        if not self.store:
            self.skipTest("there is no store to look into")
        job = {"name": "J-1", "serial": "117", "measured_by": "Ann"}
        self.assertEqual(self.start("psu", job=job)["job"], job)
        self.in_the_air()
        self.touch("five", 0)
        self.client.call("walk.stop", subscription=self.number)
        self.daemon.terminate()
        self.begin_daemon()
        with self.assertRaises(RpcError) as caught:
            self.start("psu", job={"name": "J-1", "serial": "118"})
        self.assertIn("another job or unit", caught.exception.data["what"])
        walk = self.start("psu")
        self.assertEqual((walk["resumed"], walk["job"]), (True, job))
        self.in_the_air()
        self.touch("five_too", 1)
        kept = self.kept(2)
        self.assertEqual([reading["reading"]["job"] for reading in kept], [job] * 2)
        self.assertEqual(self.client.call("readings", serial="117")["readings"], kept)
        self.until(lambda: len(self.events()) >= 3)
        events = self.events()
        self.assertEqual([kind for kind, _ in events], ["walk began", "walk place", "walk place"])
        for _, body in events:
            self.assertEqual((body["sheet"], body["job"]), ("psu", job))
            self.assertRegex(body["by"], r"\(uid \d+\)$")
        walk = self.start_again_anew(job={"name": "J-2"})
        self.assertEqual((walk["resumed"], walk["job"]), (False, {"name": "J-2"}))

    def events(self):
        store = sqlite3.connect(f"file:{self.folder}/readings.db?mode=ro", uri=True)
        try:
            return [(kind, json.loads(body)) for kind, body in store.execute(
                "SELECT kind, body FROM events WHERE kind LIKE 'walk%' ORDER BY id")]
        finally:
            store.close()

    def test_one_that_is_led_waits_to_be_told_where(self):
        self.start("psu", led=True)
        self.bench.hand("meter", 1, "touch", "three")
        with self.assertRaises(RpcError):
            self.key("on")
        with self.assertRaises(RpcError):
            self.go("ground")
        self.go("three")
        self.news("probe", probe="lift")
        self.bench.hand("meter", 1, "lift")
        self.in_the_air()
        self.touch("three", 2)
        self.in_the_air()
        # Nobody's turn: what is touched is nothing, and nothing of the place that comes next.
        self.bench.hand("meter", 1, "touch", "five")
        self.news("probe", probe="settled")
        self.go("five")
        self.news("probe", probe="slipped")
        self.bench.hand("meter", 1, "lift")
        self.in_the_air()
        self.touch("five", 0)
        with self.assertRaises(RpcError):
            self.key("back")
        self.assertEqual([reading["point"] for reading in self.kept(2)], ["three", "five"])
        self.client.call("walk.stop", subscription=self.number)
        walk = self.start("psu")
        self.assertEqual((walk["resumed"], walk["place"]), (False, 0))

    def go(self, point):
        return self.client.call("walk.go", subscription=self.number, point=point)

    def test_there_is_one_hand_at_an_input(self):
        self.start("psu")
        with self.assertRaises(RpcError) as caught:
            self.daemon.client().call("walk.start", sheet="zero")
        self.assertIn("sheet psu is being walked by another client at input 1 of meter",
                      caught.exception.data["what"])
        self.daemon.client().call("walk.start", sheet="scoped")

    def test_a_hand_and_a_burn_in_are_not_at_one_input(self):
        if not self.store:
            self.skipTest("a burn-in needs a store")
        run = self.client.call("burnin.start", "rack")["run"]
        with self.assertRaises(RpcError) as caught:
            self.start("psu")
        self.assertEqual(caught.exception.data["what"], f"burn-in {run} measures input 1 of meter")
        self.start("scoped")
        self.client.call("walk.stop", subscription=self.number)
        self.client.call("burnin.stop", run)
        self.start("psu")
        with self.assertRaises(RpcError) as caught:
            self.client.call("burnin.start", "rack")
        self.assertEqual(caught.exception.data["what"],
                         "sheet psu is being walked by hand at input 1 of meter")
        self.client.call("walk.stop", subscription=self.number)
        self.client.call("burnin.start", "rack")

    def test_a_walk_that_was_left_goes_on(self):
        name = self.start("psu")["walk"]
        self.in_the_air()
        self.touch("five", 0)
        with self.assertRaises(RpcError) as caught:
            self.daemon.client().call("walk.start", sheet="psu")
        self.assertIn("another client", caught.exception.data["what"])
        self.client.close()
        self.client = self.daemon.client()
        self.until(lambda: self.client.call("health")["clients"] == 2)
        walk = self.start("psu")
        self.assertEqual((walk["walk"], walk["resumed"], walk["place"]), (name, True, 1))
        self.assertEqual(walk["places"][0]["state"], "read")
        self.in_the_air()
        self.touch("five_too", 1)
        self.client.call("walk.stop", subscription=self.number)
        self.daemon.terminate()
        if not self.store:
            return
        self.begin_daemon()
        walk = self.start("psu")
        self.assertEqual((walk["walk"], walk["resumed"], walk["place"]), (name, True, 2))
        self.assertEqual([place["state"] for place in walk["places"]], ["read", "read", "open"])
        self.assertEqual(walk["places"][0]["verdict"], "pass")
        self.in_the_air()
        self.touch("three", 2)
        self.news("finished")
        self.assertEqual(len(self.kept(3)), 3)
        self.daemon.stop()
        self.begin_daemon()
        self.assertFalse(self.start("psu")["resumed"])
        self.assertFalse(self.start_again_anew()["resumed"])

    def start_again_anew(self, **options):
        self.client.call("walk.stop", subscription=self.number)
        return self.start("psu", anew=True, **options)

    def test_an_instrument_that_goes_in_mid_walk_is_waited_for(self):
        self.start("psu")
        self.in_the_air()
        self.touch("five", 0)
        self.bench.stop()
        self.assertEqual(self.news("away")["error"]["message"], "link down")
        self.begin_bench()
        self.bench.hand("meter", 1, "lift")
        self.in_the_air()
        self.touch("five_too", 1)
        self.assertEqual([reading["point"] for reading in self.kept(2)], ["five", "five_too"])

    def test_a_measurement_in_between_is_served(self):
        self.start("psu")
        self.in_the_air()
        self.bench.hand("meter", 1, "lift", hum=0, leftover=0)  # hum may well be unstable
        other = self.daemon.client()
        self.assertEqual(other.call("measure", "five")["unit"], "V")

    def test_what_is_not_there_is_said(self):
        for sheet, expected in (("pus", "perhaps psu"), ("nothing_like_it", "for instance psu")):
            with self.assertRaises(RpcError) as caught:
                self.client.call("walk.start", sheet=sheet)
            self.assertEqual(caught.exception.data["expected"], expected)

    def test_new_settings_end_it(self):
        self.start("psu")
        self.in_the_air()
        self.touch("five", 0)
        store = STORE.format(folder=self.folder) if self.store else ""
        self.daemon.reload(SETTINGS.format(folder=self.folder, store=store) + "# changed\n")
        self.assertIn("loaded anew", self.news("finished")["why"])
        self.assertTrue(self.start("psu")["resumed"])


class WalkWithoutStore(Walk):
    """The same where nothing is kept: a walk is remembered for as long as the daemon runs."""

    store = False

    def readings(self):
        self.skipTest("there is no store to look into")


if __name__ == "__main__":
    unittest.main()
