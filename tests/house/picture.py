# SPDX-License-Identifier: GPL-3.0-or-later
"""Prints the house as it is built: the folders of each room by floor, a folder standing above all
that it includes from its own room, with what it includes. Fails if an arrow would run up, which
tools/directions forbids."""

import re
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
ROOMS = ("tools/benchmark", "tools/standin", "tools/gradus", "daemon", "drivers", "core")


def folders():
    """In the order of the table, from the ground up."""
    lines = (ROOT / "tools/directions").read_text().splitlines()
    return [line.split(":")[0] for line in lines if re.match(r"[a-z]", line)]


def included(folder):
    found = set()
    for path in (ROOT / folder).glob("*.[ch]"):
        for name in re.findall(r'^#include "([^"\n]+)/[^/"]+"', path.read_text(), re.MULTILINE):
            found.add(name)
    return found


def room_of(folder):
    return next(room for room in ROOMS if folder == room or folder.startswith(room + "/"))


def main():
    order = folders()
    arrows = {folder: included(folder) for folder in order}
    floors = {}
    upward = []
    for folder in order:
        own = [target for target in arrows[folder] if room_of(target) == room_of(folder)]
        upward += [f"{folder} -> {target}" for target in arrows[folder]
                   if order.index(target) >= order.index(folder)]
        floors[folder] = 1 + max((floors.get(target, 0) for target in own), default=0)
    for room in ROOMS:
        print(f"\n{room}/")
        inside = [folder for folder in order if room_of(folder) == room]
        for floor in sorted({floors[folder] for folder in inside}, reverse=True):
            for folder in (f for f in inside if floors[f] == floor):
                name = folder.removeprefix(room).lstrip("/") or "(top)"
                own = sorted(t.removeprefix(room + "/") for t in arrows[folder] if room_of(t) == room)
                others = sorted(t for t in arrows[folder] if room_of(t) != room)
                print(f"  {floor}  {name:12} {' '.join(own):60} {' '.join(others)}".rstrip())
    print(f"\n{len(order)} folders, {sum(map(len, arrows.values()))} arrows, "
          f"{len(upward)} of them upward, no circle of folders" if not upward else "\n".join(upward))
    return 1 if upward else 0


if __name__ == "__main__":
    sys.exit(main())
