# SPDX-License-Identifier: GPL-3.0-or-later
"""Who may do what at the Unix socket, and that it is on record who did it."""

import grp
import json
import os
import pathlib
import pwd
import re
import subprocess
import unittest

from daemon_case import PROGRAM, SOURCE, DaemonCase
from gradusd import LIMIT_S

ROLES = ("none", "look", "measure", "run", "administer")

# What each method is asked with here; the others take nothing.
PARAMETERS = {"measure": ["no"], "explain": ["no"], "read": ["no", 1, "dc voltage"], "capture": ["no"], "zero": ["no"],
              "unload": ["no", "no"], "agree": ["no"], "compensate": ["no"], "hold": ["no"],
              "follow": [["no"]], "unfollow": [1], "burnin.start": ["no"], "burnin.stop": ["no"],
              "burnin.continue": ["no"],
              "burnin.events": ["no"], "burnin.study": ["no", "no"], "release": ["no"],
              "talk": ["no", "x"], "authenticate": ["x"],
              "diagnose": ["no"], "prune": ["no"]}

BURNIN = """
store = {{ path = "{folder}/store.db"; }};
burnin = ( {{ name = "soak"; points = ( "rail" ); every_s = 60; duration_s = 3600; }} );
"""

# Of root and daemon alike nothing is known but that every Debian has them (base-passwd).
OTHER = pwd.getpwnam("daemon")


def as_other(groups, path, lines):
    """The answers that the user "daemon" gets, in a process of its own with these groups."""
    ask = ("import socket,sys\n"
           "lines=sys.stdin.buffer.readlines()\n"
           "s=socket.socket(socket.AF_UNIX);s.connect(sys.argv[1]);s.sendall(b''.join(lines))\n"
           "answers=s.makefile('rb')\n"
           "for _ in lines: sys.stdout.buffer.write(answers.readline())\n")
    asked = subprocess.run(["/usr/bin/python3", "-c", ask, path], input=lines, check=True,
                           capture_output=True, user=OTHER.pw_uid, group=OTHER.pw_gid,
                           extra_groups=groups, timeout=LIMIT_S)
    return sorted(map(json.loads, asked.stdout.splitlines()), key=lambda answer: answer["id"])


def call_lines(*calls):
    return b"".join(json.dumps({"jsonrpc": "2.0", "id": number, "method": method,
                                "params": parameters}).encode() + b"\n"
                    for number, (method, parameters) in enumerate(calls))


@unittest.skipUnless(os.geteuid() == 0, "who may be another user is root alone")
class Roles(DaemonCase):
    """Every method tried by every role; the role that each needs is written down here again."""

    NEEDED = {"authenticate": "none", "points": "look", "instruments": "look", "explain": "look", "unfollow": "look",
              "readings": "look", "verify": "look", "burnin.status": "look",
              "burnin.follow": "look", "burnin.runs": "look", "burnin.events": "look",
              "burnin.study": "look", "health": "look", "methods": "look", "jobs": "look",
              "diagnose": "look", "learn": "look",
              "walk.start": "measure", "walk.key": "measure",
              "walk.go": "measure", "walk.note": "measure", "walk.stop": "measure",
              "measure": "measure", "read": "measure", "capture": "measure", "unload": "measure", "agree": "measure",
              "compensate": "measure", "zero": "measure", "follow": "measure",
              "burnin.start": "run", "burnin.stop": "run", "burnin.continue": "run",
              "hold": "run", "release": "run",
              "talk": "administer", "prune": "administer"}

    def setUp(self):
        super().setUp()
        os.chmod(self.daemon.folder, 0o755)
        os.chmod(self.daemon.unix, 0o666)

    def codes(self, groups):
        answers = as_other(groups, self.daemon.unix, call_lines(
            *((method, PARAMETERS.get(method, [])) for method in self.NEEDED)))
        return {method: answers[number].get("error", {}).get("code")
                for number, method in enumerate(self.NEEDED)}, answers

    def check_role(self, role, groups=()):
        codes, answers = self.codes(groups)
        for method, needed in self.NEEDED.items():
            may = ROLES.index(role) >= ROLES.index(needed)
            if method != "authenticate":
                self.assertEqual(codes[method] != -32024, may, (role, method, codes[method]))
        return answers

    def test_every_method_by_every_role(self):
        self.assertEqual(set(self.NEEDED), {each["method"] for each in self.client.call("methods")})
        self.assertEqual(self.NEEDED, {each["method"]: each["role"]
                                       for each in self.client.call("methods")})
        for role in ROLES:
            self.daemon.reload(self.settings() + f'access = {{ others = "{role}"; }};\n')
            self.check_role(role)
        self.daemon.reload(self.settings())
        self.check_role("administer")

    def test_groups(self):
        """The most that any group may, the primary one included; who is in none is the others."""
        tty, disk, other = (grp.getgrnam(name) for name in ("tty", "disk", "daemon"))
        rule = lambda *pairs: "access = { groups = (" + ", ".join(
            f'{{ group = "{group.gr_name}"; role = "{role}"; }}' for group, role in pairs) + "); };\n"
        self.daemon.reload(self.settings() + rule((tty, "run"), (disk, "look")))
        for groups, role in (([], "none"), ([tty.gr_gid], "run"), ([disk.gr_gid], "look"),
                             ([disk.gr_gid, tty.gr_gid], "run"), (list(range(3000, 3100)), "none")):
            self.check_role(role, groups)
        self.daemon.reload(self.settings() + rule((tty, "none"), (other, "measure")))
        self.check_role("measure", [tty.gr_gid])

    def test_a_refusal_says_what_is_missing(self):
        self.daemon.reload(self.settings() + 'access = { others = "look"; };\n')
        error = self.check_role("look")[list(self.NEEDED).index("talk")]["error"]
        self.assertEqual(error["message"], "not allowed")
        self.assertEqual(error["data"]["expected"], "the role administer")
        self.assertIn(f"daemon (uid {OTHER.pw_uid}) has the role look", error["data"]["what"])

    def test_who_holds_an_instrument_is_told(self):
        self.client.call("hold", "meter")
        self.assertIn("(uid 0)", self.instrument()["held_by"])
        answer = as_other([], self.daemon.unix, call_lines(("measure", ["rail"])))[0]
        self.assertIn("(uid 0)", answer["error"]["data"]["what"])
        self.daemon.wait_log(r'hold \["meter"\] by root \(uid 0\)')


class OnRecord(DaemonCase):
    """Who began a run and who ended it stands in its events."""

    def settings(self, ambient=23.0, more=""):
        return super().settings(ambient, more) + BURNIN.format(folder=self.folder)

    def test_runs(self):
        by = pwd.getpwuid(os.getuid()).pw_name + f" (uid {os.getuid()})"
        run = self.client.call("burnin.start", "soak")
        self.assertEqual(run["by"], by)
        self.client.call("burnin.stop", "soak")
        events = self.client.call("burnin.events", run["run"])["events"]
        said = {event["kind"]: event["body"].get("by") for event in events}
        self.assertEqual((said["run began"], said["run ended"]), (by, by))
        for method in ("start", "stop"):
            self.daemon.wait_log(r'burnin\.' + method + r' \["soak"\] by ' + re.escape(by))


class Commands(DaemonCase):
    """`check` says as whom the command of a trip is run, or that it cannot be."""

    def check(self, command, more=""):
        path = os.path.join(self.folder, "try.cfg")
        plan = BURNIN.format(folder=self.folder).replace(
            "duration_s = 3600;", f'duration_s = 3600; command = ( "{command}" ); {more}')
        pathlib.Path(path).write_text(self.settings().replace('"profiles"', '"."') + plan)
        return subprocess.run([PROGRAM, "--check", path], capture_output=True, text=True)

    def test_commands(self):
        user = "nobody" if os.geteuid() == 0 else pwd.getpwuid(os.geteuid()).pw_name
        done = self.check("/bin/true")
        self.assertEqual(done.returncode, 0, done)
        self.assertIn(f'burn-in "soak" runs /bin/true as {user} when a point trips', done.stdout)
        hidden = pathlib.Path(self.folder, "hidden")
        hidden.write_text("#!/bin/sh\n")
        for command, says in (("/nowhere/trip", "No such file"), (str(hidden), "Permission denied"),
                              ("/etc/passwd", "Permission denied")):
            done = self.check(command)
            self.assertEqual(done.returncode, 2, done)
            self.assertIn(f"cannot be run as {user}: {says}", done.stderr)

    @unittest.skipUnless(os.geteuid() == 0, "who may be another user is root alone")
    def test_users(self):
        for user in ("root", "no-such-user"):
            done = self.check("/bin/true", f'command_user = "{user}";')
            self.assertEqual(done.returncode, 2, done)
            self.assertIn(f'would not be run as "{user}"', done.stderr)


class Table(unittest.TestCase):
    def test_a_method_without_a_role_does_not_compile(self):
        text = pathlib.Path(SOURCE, "daemon/calls/methods.c").read_text()
        self.assertIn("{ \"points\", ROLE_LOOK, none", text)
        command = ["gcc", "-std=gnu17", "-Werror=int-conversion", "-fsyntax-only", "-I", SOURCE, "-x", "c", "-"]
        for source, fails in ((text, False), (text.replace("\"points\", ROLE_LOOK,", "\"points\","),
                                              True)):
            source = re.sub(r'#include "(methods|calls)\.h"', r'#include "daemon/calls/\1.h"', source)
            done = subprocess.run(command, input=source, text=True, capture_output=True)
            self.assertEqual(done.returncode != 0, fails, done.stderr)


if __name__ == "__main__":
    unittest.main()
