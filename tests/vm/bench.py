#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Boots the guest and prints what rates.py measures in it: bench.py IMAGE."""

import sys
from pathlib import Path

from machine import SUCCESS
from run import boot

LIMIT_S = 300.0


def main():
    image = Path(sys.argv[1]).resolve()
    console = image / "console-bench"
    status, _ = boot(image, console, LIMIT_S, PROGRAM="rates.py")
    if status != SUCCESS:
        print(console.read_text(), file=sys.stderr)
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
