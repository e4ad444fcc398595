# SPDX-License-Identifier: GPL-3.0-or-later
"""The part of daemon/server/README.md that lists the methods is what `gradusd --methods` prints.
Usage: methods_page.py GRADUSD [--write]"""

import subprocess
import sys
from pathlib import Path

PAGE = Path(__file__).resolve().parents[2] / "daemon/server/README.md"
BEGIN = "<!-- methods: made by gradusd --methods, checked by tests/house -->\n"
END = "<!-- end of methods -->\n"


def main():
    printed = subprocess.run([sys.argv[1], "--methods"], capture_output=True, text=True,
                             check=True).stdout.lstrip("\n") + "\n"
    before, rest = PAGE.read_text().split(BEGIN)
    listed, after = rest.split(END)
    if "--write" in sys.argv:
        PAGE.write_text(before + BEGIN + "\n" + printed + END + after)
    elif listed.strip() != printed.strip():
        print(f"{PAGE}: its methods are not those of gradusd; make them anew with --write")
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
