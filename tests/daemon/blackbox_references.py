# SPDX-License-Identifier: GPL-3.0-or-later
"""Limits against a reference unit's reading out of the store: which reading it is, what it makes of
a verdict, and what happens when it is not there."""

import os
import sqlite3
import subprocess
import unittest

from daemon_case import PROGRAM, DaemonCase
from gradusd import LIMIT_S, Gradusd


class ReferenceCase(DaemonCase):
    point = ""

    @property
    def path(self):
        return os.path.join(self.folder, "readings.db")

    def settings(self, reference='reference_stored = "rail";', judge="ratio", low=0.9, high=1.1,
                 quantity="dc voltage", plan="", **options):
        more = f""",
    {{ name = "unit"; instrument = "meter"; input = 2; probe = "direct"; quantity = "{quantity}";
       expected = 5.0; limits = {{ low = {low}; high = {high}; judge = "{judge}"; {reference} }}; }}"""
        return (f'store = {{ path = "{self.path}"; }};\n{plan}' +
                super().settings(more=more, **options))

    def restart(self, **options):
        self.end_daemon()
        self.daemon = Gradusd(PROGRAM, self.settings(**options), self.folder)
        self.addCleanup(self.end_daemon)
        self.client = self.daemon.client()


class References(ReferenceCase):
    def test_without_the_reading_there_is_no_value(self):
        error = self.refused(self.client.call, "measure", "unit")
        self.assertIn("reference reading of rail is not in the store", error.data["what"])
        self.assertEqual(error.data["expected"],
                         "a reading of it that passed, or the number of one as reference_id, and a reload")

    def test_the_newest_one_at_a_reload_is_taken(self):
        golden = self.client.call("measure", "rail")
        self.daemon.reload(self.settings())
        self.bench.set_source("weak", level=4.0)
        low = self.client.call("measure", "unit")
        comparison = low["comparison"]
        self.assertEqual((comparison["point"], comparison["reference_id"], comparison["judge"]),
                         ("rail", golden["id"], "ratio"))
        self.assertEqual(comparison["reference"], golden["value"])
        self.assertAlmostEqual(comparison["value"], low["value"] / golden["value"], places=12)
        self.assertEqual(low["verdict"], "fail")
        # GUM 5.1.6: the relative variances of a quotient of independent quantities add up.
        relative = ((low["standard_uncertainty"] / low["value"]) ** 2 +
                    (golden["standard_uncertainty"] / golden["value"]) ** 2) ** 0.5
        self.assertAlmostEqual(comparison["standard_uncertainty"] / comparison["value"], relative,
                               delta=1e-3 * relative)
        self.bench.set_source("weak", level=5.0)
        self.assertEqual(self.client.call("measure", "unit")["verdict"], "pass")

    def test_it_stays_until_the_next_reload(self):
        golden = self.client.call("measure", "rail")
        self.daemon.reload(self.settings(judge="difference", low=-0.5, high=0.5))
        self.bench.set_source("rail", level=5.2)
        newer = self.client.call("measure", "rail")
        self.assertEqual(self.client.call("measure", "unit")["comparison"]["reference_id"],
                         golden["id"])
        self.daemon.reload(self.settings(judge="difference", low=-0.5, high=0.5))
        comparison = self.client.call("measure", "unit")["comparison"]
        self.assertEqual((comparison["reference_id"], comparison["reference"]),
                         (newer["id"], newer["value"]))

    def test_a_numbered_one_holds_over_a_restart(self):
        golden = self.client.call("measure", "rail")
        self.client.call("measure", "rail")
        self.restart(reference=f'reference_stored = "rail"; reference_id = {golden["id"]};')
        self.daemon.wait_log(f"its reference is reading {golden['id']} of rail")
        self.assertEqual(self.client.call("measure", "unit")["comparison"]["reference_id"],
                         golden["id"])
        other = self.client.call("measure", "weak")["id"]
        self.daemon.reload(self.settings(reference=f'reference_stored = "rail"; '
                                                   f'reference_id = {other};'))
        self.refused(self.client.call, "measure", "unit")

    def test_one_that_failed_is_none_unless_it_is_named(self):
        good = self.client.call("measure", "rail")
        self.bench.set_source("rail", level=6.0)
        bad = self.client.call("measure", "rail")
        self.assertEqual((good["verdict"], bad["verdict"]), ("pass", "fail"))
        self.daemon.reload(self.settings())
        self.bench.set_source("weak", level=5.0)
        self.assertEqual(self.client.call("measure", "unit")["comparison"]["reference_id"],
                         good["id"])
        self.daemon.reload(self.settings(reference=f'reference_stored = "rail"; '
                                                   f'reference_id = {bad["id"]};'))
        self.assertEqual(self.client.call("measure", "unit")["comparison"]["reference_id"],
                         bad["id"])
        self.daemon.wait_log("verdict fail")

    def test_one_without_limits_did_not_pass(self):
        self.client.call("measure", "weak")
        self.daemon.reload(self.settings(reference='reference_stored = "weak";'))
        self.daemon.wait_log("no reading of weak that passed is in the store")
        self.refused(self.client.call, "measure", "unit")

    def test_points_and_check_say_which_and_how_old(self):
        unknown = next(point for point in self.client.call("points") if point["name"] == "unit")
        self.assertEqual(unknown["reference"], {"point": "rail"})
        golden = self.client.call("measure", "rail")
        self.daemon.reload(self.settings())
        known = next(point for point in self.client.call("points") if point["name"] == "unit")
        reference = known["reference"]
        self.assertEqual((reference["id"], reference["value"], reference["verdict"]),
                         (golden["id"], golden["value"], "pass"))
        self.assertEqual(reference["time"][:19], golden["time"][:19])
        self.assertGreaterEqual(reference["age_s"], 0)
        said = subprocess.run([PROGRAM, "--check", self.daemon.settings_path], check=True,
                              capture_output=True, text=True, timeout=LIMIT_S)
        self.assertRegex(said.stderr, f"unit: its reference is reading {golden['id']} of rail, .* "
                                      "old, verdict pass")
        self.assertIn("no mistakes", said.stdout)

    def test_an_altered_one_is_none(self):
        self.client.call("measure", "rail")
        self.end_daemon()
        with sqlite3.connect(self.path) as database:
            database.execute("UPDATE readings SET value = 4.0")
        database.close()
        self.restart()
        self.daemon.wait_log("cannot be a reference: it is not as it was written")
        self.refused(self.client.call, "measure", "unit")

    def test_another_quantity_is_none(self):
        self.client.call("measure", "rail")
        self.restart(quantity='ac voltage"; dc_level = 0.0; frequency = 1000.0; waveform = "sine')
        self.daemon.wait_log("cannot be a reference: it is another quantity")

    def test_a_run_wants_a_numbered_one(self):
        plan = 'burnin = ( { name = "rack"; points = ( "unit" ); every_s = 1; duration_s = 60; } );\n'
        golden = self.client.call("measure", "rail")["id"]
        self.daemon.reload(self.settings(plan=plan))
        self.daemon.wait_log('refer to the newest reading of "rail", expected "reference_id"')
        self.daemon.reload(self.settings(
            plan=plan, reference=f'reference_stored = "rail"; reference_id = {golden};'))
        self.client.call("burnin.start", "rack")


if __name__ == "__main__":
    unittest.main()
