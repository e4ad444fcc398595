# SPDX-License-Identifier: GPL-3.0-or-later
"""The manual pages: made from the programs' own words, complete, and without a complaint of mandoc."""

import os
import pathlib
import re
import subprocess
import tempfile
import unittest

SOURCE, GRADUS, GRADUSD = (os.environ[name] for name in ("GRADUS_SOURCE", "GRADUS", "GRADUSD"))
PAGES = ("gradus.1", "gradusd.8", "gradus.cfg.5", "gradus-profile.5")


def output(*words):
    return subprocess.run(words, capture_output=True, text=True, check=True).stdout


class Manual(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        with tempfile.TemporaryDirectory() as folder:
            subprocess.run(["sh", f"{SOURCE}/tools/manual/make", GRADUS, GRADUSD,
                            f"{SOURCE}/tools/debian/changelog", folder], check=True)
            cls.lint = {name: subprocess.run(["mandoc", "-T", "lint", "-W", "warning", name],
                                             cwd=folder, capture_output=True, text=True).stdout
                        for name in PAGES}
            cls.pages = {name: pathlib.Path(folder, name).read_text() for name in PAGES}

    def test_mandoc_has_nothing_to_say(self):
        self.assertEqual(self.lint, {name: "" for name in PAGES})

    def test_every_subcommand_with_its_options(self):
        names = re.findall(r"^  ([a-z]+)  ", output(GRADUS, "help"), re.MULTILINE)
        self.assertGreater(len(names), 20)
        for name in names:
            part = self.pages["gradus.1"].split(f"\n.Ss {name}\n", 1)[1].split("\n.S", 1)[0]
            own = output(GRADUS, "help", name).split("Options of every subcommand:", 1)[0]
            self.assertEqual(re.findall(r"^\.It Fl .-([a-z-]+)", part, re.MULTILINE),
                             re.findall(r"^  --([a-z-]+)", own, re.MULTILINE), name)

    def test_every_option_of_the_daemon(self):
        for name in re.findall(r"^  --([a-z-]+)", output(GRADUSD, "--help"), re.MULTILINE):
            self.assertIn(f".It Fl \\-{name}", self.pages["gradusd.8"])

    def test_every_key(self):
        keys = output(GRADUSD, "--keys")
        both = self.pages["gradus.cfg.5"] + self.pages["gradus-profile.5"]
        written = re.findall(r"^    ([a-z]\S*)", keys, re.MULTILINE)
        self.assertEqual(re.findall(r"^\.It Ic (\S+)", both, re.MULTILINE), written)


if __name__ == "__main__":
    unittest.main()
