# SPDX-License-Identifier: GPL-3.0-or-later
"""Nothing that was acknowledged is lost or doubled when the daemon is killed; kills.py tries more."""

import random
import unittest

import kills

KILLS = 30


class KilledOften(unittest.TestCase):
    def test_what_was_acknowledged_is_kept(self):
        seed = random.randrange(1 << 30)
        figures = kills.run(KILLS, seed)
        print(figures)
        self.assertGreater(figures["acknowledged"], 0, figures)
        self.assertEqual((figures["lost"], figures["doubled"]), ([], 0), figures)
        self.assertIs(figures["verify"]["intact"], True, figures)


if __name__ == "__main__":
    unittest.main()
