# SPDX-License-Identifier: GPL-3.0-or-later
"""gradusd --try against an instrument that does what a test tells it to.

The instrument is strict: a command it does not know goes to its error queue,
and one that changes a setting before --yes was given is noted by the test.
"""

import os
import socket
import subprocess
import tempfile
import threading
import unittest

PROGRAM = os.environ["GRADUSD"]
LIMIT_S = 300.0
IDENTITY = "TARNWERK,TM1,7,1.0"

PROFILE = r"""
description = "a meter of two functions";
kind = "meter";
dialogue = {
    command_terminator = "\n";
    reply_terminator = "\n";
    framing = "488";
    reply_ms = 300.0;
    quiet_ms = 10.0;
    identity_query = "*IDN?";
    identity = "^TARNWERK,TM1,";
    error_query = ":SYSTem:ERRor?";
    error_none = "^0,";
};
setup = [ "*CLS" ];
local = [ ":SYSTem:KLOCk OFF" ];
functions = (
    { quantity = "dc voltage";
      select = [ ":SENSe:FUNCtion \"VOLTage:DC\"" ];
      range = ":SENSe:VOLTage:DC:RANGe {range}";
      range_query = ":SENSe:VOLTage:DC:RANGe?";
      read = ":READ?";
      conversion_ms = 20.0;
      settle_ms = 0.0;
      every_range = { reading_percent = 0.1; input_resistance = 10e6;
                      resistance_tolerance_percent = 1.0; };
      ranges = ( { full_scale = 2.0; resolution = 1e-4; },
                 { full_scale = 20.0; resolution = 1e-3; } ); },
    { quantity = "resistance";
      select = [ ":SENSe:FUNCtion \"RESistance\"" ];
      range = ":SENSe:RESistance:RANGe {range}";
      read = ":READ?";
      conversion_ms = 20.0;
      settle_ms = 0.0;
      every_range = { reading_percent = 0.1; };
      ranges = ( { full_scale = 200.0; resolution = 1e-2; } ); }
);
"""

STANDARD = {"*ESE?": "0", "*ESR?": "0", "*SRE?": "0", "*STB?": "0", "*OPC?": "1", "*TST?": "0",
            ":SYSTem:VERSion?": "1999.0", ":STATus:OPERation:EVENt?": "0",
            ":STATus:OPERation:CONDition?": "0", ":STATus:OPERation:ENABle?": "0",
            ":STATus:QUEStionable:EVENt?": "0", ":STATus:QUEStionable:CONDition?": "0",
            ":STATus:QUEStionable:ENABle?": "0", "*CLS": None, "*ESE 0": None, "*SRE 0": None,
            "*OPC": None, "*WAI": None, ":STATus:PRESet": None, "*RST": None,
            ":STATus:OPERation:ENABle 0": None, ":STATus:QUEStionable:ENABle 0": None}


class Meter:
    """Serves one connection after the other on a Unix socket.

    `answers` maps a command to its reply, None for no reply; it goes before
    what the meter does by itself. A reply of b"" hangs up.
    """

    def __init__(self, answers=None):
        self.answers = answers or {}
        self.received = []
        self.errors = []
        self.range = "0"
        self.folder = tempfile.TemporaryDirectory()
        path = os.path.join(self.folder.name, "meter.sock")
        self.link = "unix:" + path
        self.listener = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        self.listener.bind(path)
        self.listener.listen()
        self.thread = threading.Thread(target=self._serve, daemon=True)
        self.thread.start()

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.listener.shutdown(socket.SHUT_RDWR)
        self.listener.close()
        self.thread.join(LIMIT_S)
        self.folder.cleanup()

    def _serve(self):
        while True:
            try:
                connection, _ = self.listener.accept()
            except OSError:
                return
            with connection, connection.makefile("rb") as lines:
                for line in lines:
                    command = line.decode("ascii").rstrip("\n")
                    self.received.append(command)
                    reply = self._obey(command)
                    if reply == b"":
                        break
                    if reply is not None:
                        connection.sendall(reply.encode() + b"\n")

    def _obey(self, command):
        if command in self.answers:
            return self.answers[command]
        if command == "*IDN?":
            return IDENTITY
        if command == ":SYSTem:ERRor?":
            return self.errors.pop(0) if self.errors else '0,"No error"'
        if command.startswith((":SENSe:VOLTage:DC:RANGe ", ":SENSe:RESistance:RANGe ")):
            self.range = command.split()[1]
            return None
        if command == ":SENSe:VOLTage:DC:RANGe?":
            return self.range
        if command == ":READ?":
            return "+1.5E+00"
        if command.startswith(":SENSe:FUNCtion ") or command in ("*CLS", ":SYSTem:KLOCk OFF"):
            return None
        self.errors.append('-113,"Undefined header"')
        return None


class Try(unittest.TestCase):
    def run_try(self, *words, profile=PROFILE):
        with tempfile.TemporaryDirectory() as folder:
            path = folder + "/meter.cfg"
            with open(path, "w", encoding="utf-8") as file:
                file.write(profile)
            words = [path if word == "PROFILE" else word for word in words]
            return subprocess.run([PROGRAM, "--try", *words], stdin=subprocess.DEVNULL,
                                  capture_output=True, timeout=LIMIT_S, check=False, text=True)

    def try_meter(self, meter, *words, status):
        with meter:
            done = self.run_try("PROFILE", meter.link, *words)
        self.assertEqual(done.returncode, status, done.stdout + done.stderr)
        return done.stdout

    def test_mistakes_of_usage_and_profile(self):
        for words, says in ((["PROFILE"], "LINK"), ([], "PROFILE"),
                            (["PROFILE", "tcp:h"], "tcp:HOST:PORT"),
                            (["PROFILE", "usb:1209"], "usb:VVVV:PPPP[:SERIAL]"),
                            (["PROFILE", "usb:serial:"], "no serial number"),
                            (["PROFILE", "unix:/x", "y"], "one word too many"),
                            (["PROFILE", "unix:/x", "--frob"], "no such option"),
                            (["PROFILE", "unix:/x", "--baud"], "needs a value"),
                            (["PROFILE", "serial:/dev/x", "--baud", "12a"], "300 to 921600"),
                            (["PROFILE", "serial:/dev/x", "--flow", "maybe"], "rts/cts"),
                            (["PROFILE", "serial:/dev/x", "--framing", "9N1"], "8N1"),
                            (["PROFILE", "unix:/x", "--standard"], "--yes"),
                            (["/nowhere.cfg", "unix:/x"], "/nowhere.cfg")):
            done = self.run_try(*words)
            self.assertEqual(done.returncode, 2, done)
            self.assertIn(says, done.stderr)
        done = self.run_try("PROFILE", "unix:/x", profile=PROFILE.replace("settle_ms", "settel"))
        self.assertEqual(done.returncode, 2)
        self.assertIn("meter.cfg:", done.stderr)

    def test_no_instrument(self):
        done = self.run_try("PROFILE", "unix:/nowhere/meter.sock")
        self.assertEqual(done.returncode, 3, done)
        self.try_meter(Meter({"*IDN?": None}), status=3)

    def test_another_instrument_is_a_problem(self):
        out = self.try_meter(Meter({"*IDN?": "OLDMERE,X,1,1"}), "--yes", status=1)
        self.assertIn("wrong instrument", out)

    def test_without_yes_nothing_is_set(self):
        meter = Meter()
        out = self.try_meter(meter, status=0)
        self.assertEqual(set(meter.received), {"*IDN?", ":SYSTem:ERRor?"})
        self.assertIn("CAUTION", out)
        self.assertIn("--yes", out)
        self.assertIn("it is " + IDENTITY, out)
        self.assertTrue(out.endswith("exchanges, 0 problems\n"), out)

    def test_what_waits_in_the_error_queue_is_a_problem(self):
        meter = Meter()
        meter.errors.append('-350,"Queue overflow"')
        out = self.try_meter(meter, status=1)
        self.assertIn("Queue overflow", out)

    def test_every_function_and_range_is_read_once(self):
        meter = Meter()
        out = self.try_meter(meter, "--yes", status=0)
        self.assertEqual(meter.received.count(":READ?"), 3)
        self.assertIn("dc voltage, range 2 V, input 1: reads 1.50000 V", out)
        self.assertIn("resistance, range 200 Ω, input 1: reads 1.50000 Ω", out)
        self.assertRegex(out, r"\d+\.\d ms  :READ\?  ->  \+1\.5E\+00\n")
        self.assertEqual(meter.received[-1], ":SYSTem:KLOCk OFF")
        self.assertTrue(out.endswith(" 0 problems\n"), out)
        exchanges = int(out.splitlines()[-1].split()[0])
        self.assertEqual(exchanges, len(meter.received))

    def test_what_the_profile_gets_wrong_is_listed(self):
        for answers, says in (({":READ?": "1,5"}, "unexpected reply"),
                              ({":READ?": "+2.5E+01"}, "without a mark of overload"),
                              ({":READ?": None}, "no reply in time"),
                              ({":SENSe:VOLTage:DC:RANGe?": "99"}, "range that was set")):
            out = self.try_meter(Meter(answers), "--yes", status=1)
            self.assertIn("PROBLEM: ", out)
            self.assertIn("\nproblems\n", out)
            self.assertIn(says, out.split("\nproblems\n")[1])
        wrong = PROFILE.replace(':SENSe:RESistance:RANGe {range}', ':SENS:OHMS {range}')
        with Meter() as meter:
            done = self.run_try("PROFILE", meter.link, "--yes", profile=wrong)
        self.assertEqual(done.returncode, 1)
        self.assertIn("Undefined header", done.stdout.split("\nproblems\n")[1])

    def test_overload_is_no_problem(self):
        out = self.try_meter(Meter({":READ?": "+9.90000000E+37"}), "--yes", status=0)
        self.assertIn("range 2 V, input 1: overload", out)

    def test_an_instrument_that_goes_away_ends_it(self):
        meter = Meter({":READ?": b""})
        meter.answers["*IDN?"] = IDENTITY
        out = self.try_meter(meter, "--yes", status=1)
        self.assertIn("link down", out)

    def test_standard_commands(self):
        meter = Meter(dict(STANDARD))
        out = self.try_meter(meter, "--yes", "--standard", status=0)
        for command in STANDARD:
            self.assertIn(command, meter.received)
        self.assertIn("standard: *TST?", out)
        lacking = dict(STANDARD, **{"*TST?": "3"})
        del lacking["*WAI"]
        out = self.try_meter(Meter(lacking), "--yes", "--standard", status=1)
        problems = out.split("\nproblems\n")[1]
        self.assertIn("*TST? answered 3", problems)
        self.assertIn('*WAI: instrument: instrument reported an error: -113', problems)
        self.assertTrue(out.endswith(" 2 problems\n"), out)


if __name__ == "__main__":
    unittest.main()
