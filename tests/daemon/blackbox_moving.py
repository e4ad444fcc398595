# SPDX-License-Identifier: GPL-3.0-or-later
"""A level that moves while it is measured: what it moved by from the first acquisition that counts to
the last is in the interval, or the reading is refused. A step between two readings is too little
for most of these ramps to show; over all of them it is not."""

import os
import unittest

from gradusd import Gradusd, RpcError
from standin import StandIn

PROGRAM = os.environ["GRADUSD"]
BENCH = os.environ["STANDIN"]
# Each instrument of the bench with what its profile asks a reading by.
KINDS = {"fine": ("tarnwerk-meter", ":READ?"), "plain": ("oldmere-meter", "LOOK"),
         "digitiser": ("tarnwerk-scope", ":INIT"), "old": ("oldmere-scope", "ONCE")}
RAMPS = (0.0, 0.001, 0.01, 0.03, 0.1, 0.5, 3.0)  # V/s


def rows(form):
    return ",\n".join(form.format(name=name, kind=kind) for name, (kind, _) in KINDS.items())


RACK = f"""
instruments = ( {rows('{{ name = "{name}"; type = "{kind}"; listen = "tcp:127.0.0.1:0"; '
                      'conversion_ms = 5; error_fraction = 0; }}')} );
sources = ( {{ name = "rail"; kind = "dc"; level = 5.0; }} );
connections = ( {rows('{{ instrument = "{name}"; input = 1; source = "rail"; }}')} );
"""


class Moving(unittest.TestCase):
    def setUp(self):
        self.bench = StandIn(BENCH, RACK)
        self.addCleanup(self.bench.stop)
        links = {name: self.bench.address(name) for name in KINDS}
        settings = "server = {};\nprofiles = \"profiles\";\n"
        settings += "instruments = (" + ",".join(
            f'{{ name = "{name}"; profile = "{KINDS[name][0]}"; link = "{link}"; }}'
            for name, link in links.items()) + ");\n"
        settings += "points = (" + ",".join(
            f'{{ name = "{name}"; instrument = "{name}"; input = 1; probe = "direct"; '
            f'quantity = "dc voltage"; }}' for name in KINDS) + ");\n"
        self.daemon = Gradusd(PROGRAM, settings)
        self.addCleanup(self.daemon.stop)
        self.client = self.daemon.client()

    def look(self, name, repeat, ramp, noise):
        """What the reading says of its width over what the level moved; None: refused."""
        self.bench.set_source("rail", level=5.0, drift=0.0, noise=noise)
        self.client.call("measure", point=name)
        self.bench.set_source("rail", level=5.0, drift=ramp, noise=noise)
        before = self.bench.truth("rail")["dc"]
        try:
            reading = self.client.call("measure", point=name, repeat=repeat)
        except RpcError as error:
            self.assertEqual(error.data["reason"], "unstable signal")
            return None
        after = self.bench.truth("rail")["dc"]
        self.assertLessEqual(reading["value"] - reading["uncertainty"], after, reading)
        self.assertGreaterEqual(reading["value"] + reading["uncertainty"], before, reading)
        times = [entry["time"] for entry in self.bench.log(name, 400)
                 if KINDS[name][1] in entry["command"]][-repeat:]
        moved = ramp * (times[-1] - times[0])
        return reading["uncertainty"] / (moved / 2) if moved > 0 else float("inf")

    def test_what_moved_is_in_the_interval(self):
        narrow, looks, refused = [], 0, 0
        for noise in (0.0, 2e-4):
            for ramp in RAMPS:
                for name, repeat in [("fine", 1), ("fine", 2), ("fine", 4), ("fine", 8),
                                     ("fine", 20), ("plain", 1), ("plain", 3), ("plain", 8),
                                     ("digitiser", 1), ("digitiser", 8), ("old", 1), ("old", 8)]:
                    width = self.look(name, repeat, ramp, noise)
                    looks += 1
                    refused += width is None
                    if width is not None and width < 1:
                        narrow.append((name, repeat, ramp, noise, width))
        print(f"{looks} looks, {refused} refused, {len(narrow)} too narrow: {narrow}")
        # On a machine that is busy a reading may wait, and lie off its line.
        self.assertLessEqual(len(narrow), looks // 50, narrow)

    def looks(self, name, since):
        """When it was asked for a reading after a moment."""
        return [entry["time"] for entry in self.bench.log(name, 512)
                if KINDS[name][1] in entry["command"] and entry["time"] > since]

    def test_a_ramp_too_slow_for_two_readings_is_seen_over_many(self):
        """It moves by less than the error bound from one reading to the next, and is looked at twice
        as often as it has moved by that bound; what stands still is not."""
        for ramp, least, most in ((0.0, 30, 32), (0.02, 33, 60)):
            self.bench.set_source("rail", level=5.0, drift=0.0)
            self.client.call("measure", point="fine")
            self.client.call("measure", point="fine")
            self.bench.set_source("rail", level=5.0, drift=ramp)
            before, steps, last = self.looks("fine", -1)[-1], [], None
            for _ in range(30):
                reading = self.client.call("measure", point="fine")
                steps.append(abs(reading["value"] - last) if last is not None else 0)
                last = reading["value"]
            taken = len(self.looks("fine", before))
            print(f"{ramp} V/s: {taken} looks for 30 readings, steps up to {max(steps):.2g} V")
            self.assertTrue(least <= taken <= most, taken)


if __name__ == "__main__":
    unittest.main(verbosity=2)
