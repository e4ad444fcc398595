# SPDX-License-Identifier: GPL-3.0-or-later
"""The files for udev and systemd: that they are written well and open no more than is said."""

import os
import pathlib
import re
import subprocess
import tempfile
import unittest

CONFIG = pathlib.Path(os.environ["GRADUS_SOURCE"], "config")
LIMIT_S = 300.0

# One condition or assignment of a rule, as udev(7) has it.
TOKEN = re.compile(r'([A-Z]+)(?:\{([^}]+)\})?(==|!=|\+=|:=|=)"([^"]*)"')


def rules():
    """The rules as lists of (key, attribute, operator, value)."""
    for line in (CONFIG / "60-gradus.rules").read_text().split("\n"):
        if line and not line.startswith("#"):
            tokens = [TOKEN.fullmatch(part) for part in line.split(", ")]
            if not all(tokens):
                raise AssertionError(f"not of the form of a rule: {line}")
            yield [token.groups() for token in tokens]


class Udev(unittest.TestCase):
    def test_keys_are_known_and_labels_there(self):
        labels, jumps = set(), set()
        for rule in rules():
            for key, attribute, operator, value in rule:
                self.assertIn(key, ("ACTION", "SUBSYSTEM", "ENV", "ATTR", "GROUP", "MODE", "GOTO",
                                    "LABEL"))
                self.assertEqual(key in ("ENV", "ATTR"), attribute is not None)
                if key in ("ACTION", "SUBSYSTEM"):
                    self.assertIn(operator, ("==", "!="))
                if key == "LABEL":
                    labels.add(value)
                if key == "GOTO":
                    jumps.add(value)
        self.assertEqual(labels, jumps)

    def test_no_device_is_everybodys(self):
        modes = [value for rule in rules() for key, _, _, value in rule if key == "MODE"]
        self.assertEqual(modes, ["0660"])

    def test_matches_by_class_and_attribute_never_by_maker(self):
        conditions = [(key, attribute) for rule in rules() for key, attribute, operator, _ in rule
                      if operator == "=="]
        for key, attribute in conditions:
            self.assertNotIn(attribute, ("idVendor", "idProduct", "ID_VENDOR_ID", "ID_MODEL_ID"))
        self.assertIn(("ENV", "ID_USB_INTERFACES"), conditions)
        self.assertIn(("ATTR", "latency_timer"), conditions)


class Systemd(unittest.TestCase):
    def settings(self):
        found = {}
        for line in (CONFIG / "gradusd.service").read_text().split("\n"):
            if "=" in line and not line.startswith("#"):
                key, value = line.split("=", 1)
                found.setdefault(key, []).append(value)
        return found

    def test_what_the_daemon_needs_is_open(self):
        settings = self.settings()
        families = settings["RestrictAddressFamilies"][0].split()
        for family in ("AF_UNIX", "AF_INET", "AF_INET6", "AF_NETLINK"):
            self.assertIn(family, families)
        self.assertEqual(settings["DevicePolicy"], ["closed"])
        self.assertEqual(settings["DeviceAllow"],
                         [f"char-{major} rw" for major in (4, 166, 188, 189)])
        self.assertNotIn("RuntimeDirectory", settings, "it would take the socket's folder away")
        self.assertEqual(settings["StateDirectory"], ["gradus"])
        self.assertIn("-HUP $MAINPID", settings["ExecReload"][0])

    def analyse(self, *words):
        """The units in a folder of their own, as systemd-analyze takes them."""
        with tempfile.TemporaryDirectory() as folder:
            for name in ("gradusd.service", "gradusd.socket", "gradusd-tcp.socket"):
                text = (CONFIG / name).read_text().replace("=gradusd ", f"={os.environ['GRADUSD']} ")
                pathlib.Path(folder, name).write_text(text)
            return subprocess.run(["systemd-analyze", *words], timeout=LIMIT_S, text=True, cwd=folder,
                                  stdout=subprocess.PIPE, stderr=subprocess.STDOUT)

    def test_systemd_has_nothing_to_say(self):
        for name in ("gradusd.service", "gradusd.socket", "gradusd-tcp.socket"):
            run = self.analyse("verify", "--man=no", f"./{name}")
            self.assertEqual((run.returncode, run.stdout), (0, ""))

    def test_exposure_is_at_most_1_3(self):
        run = self.analyse("security", "--offline=yes", "--threshold=13", "--no-pager",
                           "./gradusd.service")
        self.assertEqual(run.returncode, 0, run.stdout)


if __name__ == "__main__":
    unittest.main()
