# SPDX-License-Identifier: GPL-3.0-or-later
"""The tests that run in the guest: their list, which both sides can make, and their run inside."""

import json
import os
import sys
import time
import unittest
from pathlib import Path

HERE = Path(__file__).resolve().parent
SHARE = Path("/run/share")
# Begins the console lines that are meant for whoever started the run.
MARK = "guest| "


def tests(pattern):
    """Every test of the guest_*.py whose name holds the pattern, in order."""
    found = []
    loader = unittest.TestLoader()

    def walk(suite):
        for entry in suite:
            if isinstance(entry, unittest.TestSuite):
                walk(entry)
            elif pattern in entry.id():
                found.append(entry)

    for path in sorted(HERE.glob("guest_*.py")):
        walk(loader.loadTestsFromName(path.stem))
    if loader.errors:
        raise ImportError("\n".join(loader.errors))
    return found


def names(pattern=""):
    return [test.id() for test in tests(pattern)]


class Report(unittest.TestResult):
    """Writes each test's outcome to the shared folder at once, and its name to the console."""

    def __init__(self):
        super().__init__()
        self._file = open(SHARE / "report", "a", encoding="utf-8")
        self._begin = 0.0
        self._text = ""
        self._bad = ""

    def startTest(self, test):
        super().startTest(test)
        self._begin, self._bad, self._text = time.monotonic(), "", ""

    def _note(self, outcome, text):
        self._bad = self._bad or outcome
        self._text += text

    def addError(self, test, err):
        super().addError(test, err)
        text = self._exc_info_to_string(err, test)
        if isinstance(test, unittest.TestCase):
            self._note("failed", text)
        else:  # setUpClass: none of its tests will start
            print(text, file=sys.stderr)

    def addFailure(self, test, err):
        super().addFailure(test, err)
        self._note("failed", self._exc_info_to_string(err, test))

    def addSkip(self, test, reason):
        super().addSkip(test, reason)
        self._note("skipped", reason)

    def addSubTest(self, test, subtest, err):
        super().addSubTest(test, subtest, err)
        if err is not None:
            self._note("failed", f"{subtest}\n{self._exc_info_to_string(err, test)}")

    def stopTest(self, test):
        super().stopTest(test)
        outcome = self._bad or "ok"
        entry = {"test": test.id(), "outcome": outcome, "text": self._text}
        self._file.write(json.dumps(entry) + "\n")
        self._file.flush()
        print(f"{MARK}{outcome:7} {test.id()} ({time.monotonic() - self._begin:.1f} s)", flush=True)


def run_inside():
    """Runs the tests; the report says how each ended, the status only that all were begun."""
    unittest.TestSuite(tests(os.environ.get("PATTERN", ""))).run(Report())
    return 42


if __name__ == "__main__":
    sys.exit(run_inside())
