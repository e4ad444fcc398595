# SPDX-License-Identifier: GPL-3.0-or-later
"""The runner's own judgement, without a guest: silence must never pass for success."""

import contextlib
import io
import unittest

import image
import run
from machine import SUCCESS

OK = {"outcome": "ok", "text": ""}


class Judgement(unittest.TestCase):

    def judge(self, names, found, status=SUCCESS):
        with contextlib.redirect_stdout(io.StringIO()) as said:
            counts = run.judge(names, found, status, "console")
        self.said = said.getvalue()
        return counts

    def test_all_ran_well(self):
        self.assertEqual(self.judge(["a", "b"], {"a": OK, "b": OK}), (2, 0))
        self.assertEqual(self.said, "")

    def test_one_that_did_not_run_has_failed(self):
        self.assertEqual(self.judge(["a", "b"], {"a": OK}), (1, 1))
        self.assertIn("b: did not run", self.said)

    def test_one_that_was_skipped_has_failed(self):
        self.assertEqual(self.judge(["a"], {"a": {"outcome": "skipped", "text": "why"}}), (0, 1))

    def test_a_guest_that_ended_badly_has_failed(self):
        for status in (0, -9, 1, 3):  # panic, killed, QEMU's own failure, init's
            self.assertEqual(self.judge(["a"], {"a": OK}, status), (1, 1))
            self.assertIn("console", self.said)


class Archive(unittest.TestCase):

    def test_newc(self):
        """Each header and each file begins at a multiple of four, names end in NUL."""
        data = image.newc([("abc", 0o100644, b"12345", 0)])
        self.assertEqual(data[:6], b"070701")
        self.assertEqual(int(data[54:62], 16), 5)  # size
        self.assertEqual(int(data[94:102], 16), 4)  # length of the name
        self.assertEqual(data[110:114], b"abc\0")
        self.assertEqual(data[116:121], b"12345")
        self.assertEqual(data[124:130], b"070701")
        self.assertIn(b"TRAILER!!!\0", data)
        self.assertEqual(len(data) % 4, 0)


if __name__ == "__main__":
    unittest.main()
