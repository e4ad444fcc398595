# SPDX-License-Identifier: GPL-3.0-or-later
"""Writes FAULTS.md from the fault table. Usage: faults_page.py [--check]

With --check it writes nothing and fails when the page is not what the table says.
"""

import sys
from pathlib import Path

import faults

PAGE = Path(__file__).resolve().parent / "FAULTS.md"
HEAD = """# What goes wrong, and what comes of it

Written by `tests/vm/faults_page.py` from `tests/vm/faults.py`; each cell is driven against the
kernel's own stacks by `tools/test -R vm`. Whatever the cell says: the call ends within its deadline
and a second, no value it gives is wrong, and when the fault is over the same point reads right
again. "Once" is a fault that comes and goes, "lasting" one that stays. A dash: this kind of link
cannot have the fault.
"""


def cell_text(cell):
    if cell is None:
        return "-"
    if isinstance(cell, faults.Never):
        return f"cannot happen, because {cell.why}"
    parts = [f"{when}: {' or '.join(outcomes)}"
             for when, outcomes in (("once", cell.once), ("lasting", cell.lasting)) if outcomes]
    return f"{'; '.join(parts)} ({cell.deadline_s:g} s)"


def page():
    lines = [HEAD, "| fault | what happens | " + " | ".join(faults.LINKS) + " |",
             "| --- " * (2 + len(faults.LINKS)) + "|"]
    for fault in faults.TABLE:
        cells = [cell_text(fault.cells.get(link)) for link in faults.LINKS]
        lines.append(f"| {' | '.join([fault.name, fault.what, *cells])} |")
    return "\n".join(lines) + "\n"


def main():
    if "--check" not in sys.argv:
        PAGE.write_text(page())
        return 0
    if PAGE.exists() and PAGE.read_text() == page():
        return 0
    print(f"{PAGE.name} is not what the table says: run tests/vm/faults_page.py")
    return 1


if __name__ == "__main__":
    sys.exit(main())
