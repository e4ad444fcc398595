# SPDX-License-Identifier: GPL-3.0-or-later
"""The rack of the simulated month: 64 units under test with eight points each, two units to a meter
with a 16-channel scanner, on two simulated benches so that one meter can be away by itself."""

import mmap
import os
import pathlib
import re
import struct
import time

UNITS, POINTS, METERS = 64, 8, 32
AWAY = 7  # the meter with a bench of its own, of units 13 and 14
LEVELS = (5.0, 3.3, 12.0, 1.8, 2.5, 15.0, 9.0, 6.0)
SPREAD = 4e-5  # of a reading, standard deviation, over its level
MEAN_OF = (2 * 100e3 * 0.02) ** 0.5  # what a simulated meter's aperture makes of a source's noise
TOLERANCE = 0.05
DRIFT = 0.02

PLAN = """
burnin = ( {{ name = "rack"; points = ( {points} ); every_s = {every_s}; deadline_s = 30;
    warm_up_s = {warm_s}; trip_after = 3; stops = "unit";
    phases = ( {{ name = "settle"; duration_s = {settle_s}; }}, {{ name = "soak"; duration_s = {soak_s}; }} );
    drift = ( {drifts} ); }} );
"""


def source(unit, point):
    return f"u{unit:02}_p{point}"


def bench_text(folder, meters):
    """A bench with these meters, each on a socket of its own in the folder."""
    instruments, sources, connections = [], [], []
    for meter in meters:
        instruments.append(f'{{ name = "m{meter:02}"; type = "tarnwerk-meter"; conversion_ms = 0; '
                           f'listen = "unix:{folder}/m{meter:02}.sock"; serial = "{meter}"; }}')
        for channel in range(16):
            unit, point = 2 * meter - 1 + channel // 8, channel % 8 + 1
            level = LEVELS[point - 1]
            sources.append(f'{{ name = "{source(unit, point)}"; kind = "dc"; level = {level}; '
                           f'noise = {SPREAD * level * MEAN_OF}; }}')
            connections.append(f'{{ instrument = "m{meter:02}"; input = {channel + 1}; '
                               f'source = "{source(unit, point)}"; }}')
    return "\n".join(f"{name} = (\n{chr(44).join(rows)}\n);" for name, rows in
                     (("instruments", instruments), ("sources", sources),
                      ("connections", connections)))


def settings_text(folder, every_s, rounds):
    instruments = ", ".join(f'{{ name = "m{meter:02}"; profile = "tarnwerk-meter"; '
                            f'link = "unix:{folder}/m{meter:02}.sock"; }}'
                            for meter in range(1, METERS + 1))
    points = ", ".join(
        f'{{ name = "u{{unit:02}}_p{point}"; units = {{ last = {UNITS}; }}; '
        f'instrument = "m{{unit/2:02}}"; input = {{ first = {point}; step = 8; wrap = 2; }}; '
        f'probe = "direct"; quantity = "dc voltage"; expected = {level}; '
        f'limits = {{ low = {level * (1 - TOLERANCE)}; high = {level * (1 + TOLERANCE)}; }}; }}'
        for point, level in enumerate(LEVELS, 1))
    names = [f"u_p{point}" for point in range(1, POINTS + 1)]
    soak = (rounds - 20) * every_s
    return (f'profiles = "profiles";\nstore = {{ path = "{folder}/month.db"; hold = 4000; }};\n'
            f"instruments = ( {instruments} );\npoints = ( {points} );\n" +
            PLAN.format(points=", ".join(f'"{name}"' for name in names), every_s=every_s,
                        warm_s=2 * every_s, settle_s=20 * every_s, soak_s=soak,
                        drifts=", ".join(f'{{ point = "{name}"; percent = {100 * DRIFT}; }}'
                                         for name in names)))


def quick_profile(folder):
    """The meter's profile without the pause after a change: the simulated scanner needs none."""
    path = pathlib.Path(os.environ["GRADUS_SOURCE"], "config", "profiles", "tarnwerk-meter.cfg")
    text = re.sub(r"\bsettle_ms = [0-9.]+", "settle_ms = 0.0", path.read_text(encoding="utf-8"))
    pathlib.Path(folder, path.name).write_text(text, encoding="utf-8")


class Page:
    """Time and disk of a month_gradusd; see virtual/clock.h."""

    FULL = 13  # SQLITE_FULL
    UP_S = 40  # from power on to the daemon

    def __init__(self, path):
        with open(path, "wb") as out:
            out.write(bytes(mmap.PAGESIZE))
        with open(path, "r+b") as file:
            self._map = mmap.mmap(file.fileno(), mmap.PAGESIZE)

    def _add(self, at, nanoseconds):
        now, = struct.unpack_from("<q", self._map, at)
        struct.pack_into("<q", self._map, at, now + nanoseconds)

    def ahead(self, seconds):
        self._add(0, round(seconds * 1e9))

    def set_wall(self, seconds):
        """Somebody sets the wall clock by so much."""
        self._add(8, round(seconds * 1e9))

    def since_start(self):
        """What the daemon's steady clock would show without any boot, seconds."""
        ahead, = struct.unpack_from("<q", self._map, 0)
        return time.clock_gettime(time.CLOCK_BOOTTIME) + ahead / 1e9

    def boot(self):
        """The machine was started anew, a while ago; nothing may use the page now."""
        struct.pack_into("<q", self._map, 32, round((self.since_start() - Page.UP_S) * 1e9))
        self._add(40, 1)

    def disk(self, code):
        struct.pack_into("<q", self._map, 16, code)

    def heap(self):
        """MiB that the daemon has allocated."""
        return struct.unpack_from("<q", self._map, 24)[0] / 2**20

    def close(self):
        self._map.close()
