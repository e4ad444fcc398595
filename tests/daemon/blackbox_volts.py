# SPDX-License-Identifier: GPL-3.0-or-later
"""A scope that hands out volts of single precision instead of codes, and whose amplifier or converter
ends where no code says so: a step inside of the edge, just at it, or amid the screen. A value is
right, or there is none."""

import os
import re
import struct
import unittest

from gradusd import Gradusd, RpcError
from relay import Relay
from standin import StandIn

PROGRAM = os.environ["GRADUSD"]
BENCH = os.environ["STANDIN"]

RACK = """
instruments = (
    { name = "one"; type = "tarnwerk-scope"; listen = "tcp:127.0.0.1:0"; conversion_ms = 0;
      error_fraction = 0; }
);
sources = (
    { name = "rail"; kind = "dc"; level = 5.0; },
    { name = "wave"; kind = "sine"; amplitude = 2.0; level = 0.0; frequency = 1000.0; }
);
connections = (
    { instrument = "one"; input = 1; source = "rail"; },
    { instrument = "one"; input = 2; source = "wave"; }
);
"""

SETTINGS = """
server = {{ }};
profiles = "profiles";
instruments = ( {{ name = "one"; profile = "tarnwerk-scope-volts"; link = "{link}"; }} );
points = (
    {{ name = "rail"; instrument = "one"; input = 1; probe = "direct"; quantity = "dc voltage"; }},
    {{ name = "rms"; instrument = "one"; input = 2; probe = "direct"; quantity = "rms voltage";
       frequency = 1000.0; }},
    {{ name = "pp"; instrument = "one"; input = 2; probe = "direct";
       quantity = "peak-to-peak voltage"; frequency = 1000.0; }},
    {{ name = "mean"; instrument = "one"; input = 2; probe = "direct"; quantity = "dc voltage";
       frequency = 1000.0; }}
);
"""

STEP = 1 / 32  # of a division
EDGE = 4.0  # divisions from the middle to the edge of the screen
ASPECTS = {"rail": "dc", "rms": "rms", "pp": "peak_to_peak", "mean": "dc"}


class Ending(Relay):
    """The last stage of a scope that ends at `divisions` from the middle of the screen."""

    def __init__(self, address):
        self.divisions = EDGE
        self.scale = {}
        self.offset = {}
        self.cut = 0
        super().__init__("tarnwerk-scope", address)

    def heard(self, line):
        for key, table in ((b"PTPeak", self.scale), (b"OFFSet", self.offset)):
            found = re.fullmatch(rb":SENSe([12]):VOLTage:RANGe:" + key + rb" (\S+)", line)
            if found:
                table[found[1]] = float(found[2])

    def answer(self, line, true):
        asked = re.match(rb":TRACe:DATA\? CH([12])", line)
        if not asked or not true.startswith(b"#"):
            return true
        digits = int(true[1:2])
        begin, size = 2 + digits, int(true[2:2 + digits])
        middle = self.offset.get(asked[1], 0.0)
        reach = self.scale[asked[1]] / 8 * self.divisions
        # struct rounds to single precision, as the instrument does.
        low, high = struct.unpack(">2f", struct.pack(">2f", middle - reach, middle + reach))
        volts = struct.unpack(f">{size // 4}f", true[begin:begin + size])
        held = [min(max(volt, low), high) for volt in volts]
        self.cut += held != list(volts)
        return true[:begin] + struct.pack(f">{len(held)}f", *held) + true[begin + size:]


class Volts(unittest.TestCase):
    def setUp(self):
        self.bench = StandIn(BENCH, RACK)
        self.addCleanup(self.bench.stop)
        self.relay = Ending(self.bench.address("one"))
        self.addCleanup(self.relay.stop)
        self.daemon = Gradusd(PROGRAM, SETTINGS.format(link=f"unix:{self.relay.path}"))
        self.addCleanup(self.daemon.stop)
        self.client = self.daemon.client()

    def check(self, point):
        """Whether there was a value; if so it is right."""
        try:
            reading = self.client.call("measure", point)
        except RpcError as error:
            self.assertIn(error.data["reason"], ("over range", "unstable"), error)
            return False
        truth = self.bench.truth("rail" if point == "rail" else "wave")[ASPECTS[point]]
        self.assertLessEqual(abs(reading["value"] - truth), reading["uncertainty"],
                             (point, self.relay.divisions, truth, reading))
        return True

    def test_values_in_volts(self):
        for level in (0.0, 0.02, -0.4, 5.0, 30.0, -38.0):
            self.bench.set_source("rail", level=level)
            self.assertTrue(self.check("rail"), level)
        for amplitude in (0.003, 0.1, 2.0, 20.0):
            self.bench.set_source("wave", amplitude=amplitude, level=amplitude / 4)
            for point in ("rms", "pp", "mean"):
                self.assertTrue(self.check(point), (point, amplitude))

    def run_ends(self, divisions, noise=0.0):
        """Amplitudes across a range, so that crests lie just inside of its end and just beyond."""
        values = looks = 0
        for place in divisions:
            self.relay.divisions = place
            for k in range(12):
                amplitude = 1.0 + 0.1 * k
                self.bench.set_source("wave", amplitude=amplitude, level=0.0,
                                      noise=noise * amplitude)
                for point in ("pp", "rms"):
                    values += self.check(point)
                    looks += 1
        print(f"{values} values of {looks} looks, {self.relay.cut} records cut off")
        self.assertGreater(self.relay.cut, 0)
        self.assertGreater(values, 0.9 * looks)

    def test_ends_a_step_inside_of_the_edge(self):
        self.run_ends([EDGE - STEP, EDGE - 2 * STEP, EDGE - 3 * STEP])

    def test_ends_that_single_precision_rounds(self):
        """Steps and a half, whose volts are no numbers of single precision at most scales."""
        self.run_ends([EDGE - k * STEP / 2 for k in range(1, 5)])

    def test_a_flat_top_amid_the_screen(self):
        """Noise that the rest of the record has, and the top has not."""
        self.run_ends([3.0, 3.4], noise=0.03)


if __name__ == "__main__":
    unittest.main(verbosity=2)
