#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Boots the guest and prints what rates.py measures in it: bench.py IMAGE."""

import sys
import tempfile
from pathlib import Path

import guest
from machine import SUCCESS, Machine
from run import environment

LIMIT_S = 300.0


def main():
    image = Path(sys.argv[1]).resolve()
    lines = []

    def on_line(line):
        lines.append(line)
        if line.startswith(guest.MARK):
            print(line.removeprefix(guest.MARK), flush=True)

    with tempfile.TemporaryDirectory(prefix="gradus-vm-") as folder:
        share = Path(folder)
        (share / "environment").write_text(environment(image, PROGRAM="rates.py"))
        status = Machine(image, share, LIMIT_S, on_line).wait()
    if status != SUCCESS:
        print("\n".join(lines), file=sys.stderr)
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
