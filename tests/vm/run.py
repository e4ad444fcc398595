# SPDX-License-Identifier: GPL-3.0-or-later
"""Boots the guest once and runs all its tests in it. Usage: run.py IMAGE-FOLDER [PATTERN]

Prints each test with its outcome and `N passed, N failed` at the end. A test that must run and did
not report has failed. PATTERN picks tests by a part of their names. The guest's console is kept in
the image's folder.
"""

import json
import os
import shlex
import signal
import sys
import tempfile
import time
from pathlib import Path

import guest
from machine import SUCCESS, Machine

HERE = Path(__file__).resolve().parent
LIMIT_S = 1500.0
# QEMU has been seen to crash before the guest's kernel said a word; a new one is then started.
ATTEMPTS = 3
PASSED_ON = ("GRADUSD", "GRADUS", "STANDIN", "BENCHMARK", "GRADUS_SOURCE", "PYTHONPATH",
             "ASAN_OPTIONS", "UBSAN_OPTIONS")


def environment(image, **more):
    """What the guest's shell reads before anything else; `more` is added to it."""
    udev = json.loads((image / "udev").read_text())
    values = {"UDEV_" + name.upper(): value for name, value in udev.items()}
    values |= {"PYTHON": sys.executable, "TESTS": str(HERE),
               "PATH": os.environ["PATH"], "PYTHONDONTWRITEBYTECODE": "1"}
    values |= more
    values |= {name: os.environ[name] for name in PASSED_ON if name in os.environ}
    return "".join(f"export {name}={shlex.quote(value)}\n" for name, value in values.items())


def reports(share):
    """What each test that ended in the guest reported, by its name."""
    path = share / "report"
    lines = path.read_text().splitlines() if path.exists() else []
    return {entry["test"]: entry for entry in map(json.loads, lines)}


def judge(names, found, status, console):
    """Prints what has failed and why; returns how many tests passed and how many did not."""
    failed = 0
    for name in names:
        entry = found.get(name, {"outcome": "did not run", "text": ""})
        if entry["outcome"] != "ok":
            failed += 1
            print(f"--- {name}: {entry['outcome']}\n{entry['text']}")
    if status != SUCCESS:
        failed += 1
        print(f"--- the guest did not end well: QEMU's exit status is {status}")
    if failed:
        print("--- console of the guest\n" + console)
    return len(names) - sum(found.get(n, {}).get("outcome") != "ok" for n in names), failed


def emulator_crashed(status):
    """Whether the emulator fell over by itself: nothing that runs in a guest can end it so.

    Ours end with SUCCESS or another number, panics with 0, and what hangs is killed."""
    return status < 0 and status != -signal.SIGKILL


def boot(image, console, limit, take=lambda share: None, **more):
    """Runs a guest to its end; returns QEMU's exit status and what `take` made of the share.

    console  file for all that the guest says; lines with guest.MARK are printed too
    more     added to the guest's environment"""
    begin = time.monotonic()

    def on_line(line):
        with console.open("a") as log:
            log.write(f"{time.monotonic() - begin:7.2f} {line}\n")
        if line.startswith(guest.MARK):
            print(line.removeprefix(guest.MARK), flush=True)

    for attempt in range(ATTEMPTS):
        console.write_text("")
        with tempfile.TemporaryDirectory(prefix="gradus-vm-") as folder:
            share = Path(folder)
            (share / "environment").write_text(environment(image, **more))
            status = Machine(image, share, limit, on_line).wait()
            taken = take(share)
        if not emulator_crashed(status):
            break
        print(f"QEMU itself was ended by signal {-status}, attempt {attempt + 1} of {ATTEMPTS}",
              flush=True)
    return status, taken


def main():
    image = Path(sys.argv[1]).resolve()
    pattern = sys.argv[2] if len(sys.argv) > 2 else ""
    names = guest.names(pattern)
    begin = time.monotonic()
    console = image / "console"
    status, found = boot(image, console, LIMIT_S, reports, PATTERN=pattern)
    passed, failed = judge(names, found, status, console.read_text())
    print(f"{time.monotonic() - begin:.0f} s")
    print(f"{passed} passed, {failed} failed")
    return 1 if failed or not passed else 0


if __name__ == "__main__":
    sys.exit(main())
