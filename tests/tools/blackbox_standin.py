# SPDX-License-Identifier: GPL-3.0-or-later
"""The simulated bench from outside: its languages, its faults, its control socket."""

import json
import os
import select
import socket
import termios
import time
import unittest

from standin import StandIn, StandInError

PROGRAM = os.environ["STANDIN"]
LIMIT_S = 300.0
BENCH = """
instruments = (
    { name = "fine"; type = "tarnwerk-meter"; listen = "tcp:127.0.0.1:0"; serial = "42";
      conversion_ms = 0; error_fraction = 0; },
    { name = "plain"; type = "oldmere-meter"; listen = "tcp:127.0.0.1:0"; conversion_ms = 0;
      error_fraction = 0; },
    { name = "digitiser"; type = "tarnwerk-scope"; listen = "tcp:127.0.0.1:0"; conversion_ms = 0;
      error_fraction = 0; },
    { name = "old"; type = "oldmere-scope"; listen = "tcp:127.0.0.1:0"; conversion_ms = 0;
      error_fraction = 0; }
);
sources = (
    { name = "rail"; kind = "dc"; level = 5.013; },
    { name = "sine"; kind = "sine"; amplitude = 2.0; frequency = 1000.0; }
);
connections = (
    { instrument = "fine"; input = 1; source = "rail"; },
    { instrument = "plain"; input = 2; source = "rail"; },
    { instrument = "digitiser"; input = 1; source = "sine"; },
    { instrument = "old"; input = 2; source = "sine"; }
);
"""


class Link:
    """A client of one instrument."""

    def __init__(self, bench, name, end="\n"):
        kind, where = bench.address(name).split(":", 1)
        if kind == "tcp":
            host, port = where.rsplit(":", 1)
            self.socket = socket.create_connection((host, int(port)), LIMIT_S)
        else:
            self.socket = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
            self.socket.settimeout(LIMIT_S)
            self.socket.connect(where)
        self.reader = self.socket.makefile("rb")
        self.end = end.encode()

    def send(self, text):
        self.socket.sendall(text.encode() + self.end)

    def line(self):
        return self.reader.readline()

    def ask(self, text):
        self.send(text)
        return self.line().decode("latin-1").rstrip("\r\n")

    def close(self):
        self.reader.close()
        self.socket.close()


class StandInTest(unittest.TestCase):
    own_sockets = True

    def setUp(self):
        self.bench = StandIn(PROGRAM, BENCH, own_sockets=self.own_sockets)
        self.addCleanup(self.bench.stop)

    def link(self, name, end="\n"):
        link = Link(self.bench, name, end)
        self.addCleanup(link.close)
        return link


class Strictness(StandInTest):
    def test_scpi_errors_go_to_the_queue_and_are_not_answered(self):
        fine = self.link("fine")
        for command in ["FOO?", ":SENS:VOLT:DC:RANG 1e9", ":SENS:FUNC VOLT:DC", ":READ? 1",
                        ":ROUT:CLOS (@17)", ":ROUT:CLOS (@1,2)", ":SENS:FUNC \"POWer\""]:
            fine.send(command)
        numbers = [fine.ask("SYST:ERR?").split(",")[0] for _ in range(8)]
        self.assertEqual(numbers, ["-113", "-222", "-104", "-108", "-222", "-224", "-224", "0"])

    def test_the_keys_are_locked_as_the_standard_says(self):
        fine = self.link("fine")
        for command, state in [("KLOC ON", "1"), ("KLOC OFF", "0"), ("KLOCK 1", "1"),
                               ("KLOC PERHAPS", "1"), ("KLOC 0", "0")]:
            fine.send(":SYST:" + command)
            self.assertEqual(fine.ask(":SYST:KLOC?"), state)
        fine.send(":SYST:KLOC ON;*RST")
        self.assertEqual(fine.ask(":SYST:KLOC?;:SYST:ERR?").split(",")[0], "0;-104")

    def test_plain_languages_refuse(self):
        plain = self.link("plain", "\r")
        for word in ["X", "who", "STEP 6", "STEP 0", "STEP", "STEP  1", "PLUG 0", "PLUG 17",
                     "BE", "BE KETTLE", "LOOK ", "\nLOOK"]:
            self.assertEqual(plain.ask(word), "PARDON")
        old = self.link("old")
        for word in ["who", "HEIGHT 1 3", "HEIGHT 3 1", "HEIGHT 1", "LIFT 1 4.5", "INLET 1 EARTH",
                     "PACE 3e-3", "CODES? 1", "WHO 1", "HEIGHT 1 0x1", "HEIGHT 1 nan"]:
            self.assertEqual(old.ask(word), "BAD")

    def test_too_long_a_command_is_an_error(self):
        fine = self.link("fine")
        fine.send("A" * 10000)
        self.assertEqual(fine.ask("SYST:ERR?").split(",")[0], "-363")

    def test_a_record_is_void_after_a_change(self):
        scope = self.link("digitiser")
        scope.send(":INIT:IMM;:SENS1:VOLT:RANG:PTP 8;:TRAC:DATA? CH1")
        self.assertEqual(scope.ask("SYST:ERR?").split(",")[0], "-230")

    def test_bench_files_are_checked(self):
        for text, reason in [("instruments = (", "syntax error"),
                             ('instruments = ( { name = "a"; type = "x"; } );\n', "bench.cfg:1"),
                             ('sources = ( { name = "a"; kind = "dc"; volts = 1; } );\n', "volts"),
                             ('sources = ( { name = "a"; kind = "dc"; level = 1e999; } );\n',
                              "level"),
                             ("sorces = ();\n", "sorces")]:
            with self.assertRaisesRegex(StandInError, reason):
                StandIn(PROGRAM, text + "\n").stop()


class Measuring(StandInTest):
    own_sockets = False

    def test_a_meter_reads_what_is_tied_to_its_input(self):
        fine = self.link("fine")
        self.assertEqual(fine.ask("*IDN?"), "TARNWERK,BENCH METER,42,1.4")
        fine.send(":SENSe:VOLTage:DC:RANGe 20")
        self.assertEqual(fine.ask(":ROUT:CLOS:STAT?;:READ?"), "(@);+0.00000E+00")
        self.assertEqual(fine.ask(":ROUT:CLOS (@1);CLOS:STAT?;:READ?"), "(@1);+5.01300E+00")
        self.bench.set_source("rail", level=21.0)
        self.assertEqual(fine.ask("READ?"), "+9.90000000E+37")
        self.bench.connect("fine", 1)
        self.assertEqual(fine.ask("READ?"), "+0.00000E+00")

    def test_a_hand_touches_lifts_and_slips(self):
        fine = self.link("fine")
        for word in [":SENSe:VOLTage:DC:RANGe 20", ":ROUT:CLOS (@1)"]:
            fine.send(word)
        self.bench.set_source("rail", level=5.013)
        self.bench.hand("fine", 1, "lift")
        in_the_air = [float(fine.ask("READ?")) for _ in range(8)]
        self.assertLess(max(map(abs, in_the_air)), 0.05)
        self.assertGreater(len(set(in_the_air)), 1)
        self.bench.hand("fine", 1, "touch", "rail")
        self.until_reads(fine, 5.013)
        self.bench.hand("fine", 1, "bounce", bounce_s=30)
        self.until_reads(fine, 2.5, 2.4)
        self.until_reads(fine, 5.013)
        self.bench.set_source("other", kind="dc", level=3.0)
        self.bench.hand("fine", 1, "slip", "other", bounce_s=0)
        self.until_reads(fine, 3.0)
        self.bench.hand("fine", 1, "slip")
        self.until_reads(fine, 0.0, 0.05)

    def until_reads(self, fine, value, within=0.001):
        """Asks until the meter, whose looks last, shows a value."""
        end = time.monotonic() + 100
        while abs(float(fine.ask("READ?")) - value) > within:
            self.assertLess(time.monotonic(), end)

    def test_the_plain_meter_shows_fixed_digits(self):
        plain = self.link("plain", "\r")
        for word in ["BE VOLTMETER", "STEP 3", "PLUG 2"]:
            plain.send(word)
        self.assertEqual(plain.ask("LOOK"), "STEADY VOLTS +05.013")
        plain.send("STEP 2")
        self.assertEqual(plain.ask("LOOK"), "STEADY VOLTS TOO MUCH")
        plain.send("STEP 5")
        self.assertEqual(plain.ask("LOOK"), "STEADY VOLTS +0005.0")

    def test_the_digitiser_gives_a_block_of_codes(self):
        scope = self.link("digitiser")
        scope.send(":SENS1:VOLT:RANG:PTP 8;:SENS:SWE:POIN 1001;TIME 0.01")
        self.assertEqual(scope.ask(":INIT:IMM;*OPC?;:SENS:SWE:TINT?"), "1;+1.000000000E-05")
        scope.send(":TRAC:DATA? CH1")
        self.assertEqual(scope.reader.read(6), b"#41001")
        codes = memoryview(scope.reader.read(1001)).cast("b")
        self.assertEqual(scope.reader.read(1), b"\n")
        self.assertIn(max(codes), (63, 64))
        self.assertIn(min(codes), (-64, -63))

    def test_the_old_scope_gives_decimal_codes(self):
        scope = self.link("old")
        for command in ["HEIGHT 2 1", "LIFT 2 1", "INLET 2 GROUND", "PACE 1e-3", "ONCE"]:
            self.assertEqual(scope.ask(command), "OK")
        self.assertEqual(scope.ask("OVER?"), "YES")
        self.assertEqual(scope.ask("CODES? 2"), ",".join(["160"] * 500))

    def test_truth_is_that_of_the_source(self):
        truth = self.bench.truth("sine")
        self.assertAlmostEqual(truth["rms"], 2.0 ** 0.5, places=12)
        self.assertEqual(truth["peak_to_peak"], 4.0)
        self.assertEqual(self.bench.truth_at("digitiser", 1), truth)

    def test_log_and_counters(self):
        fine = self.link("fine")
        fine.ask(":ROUT:CLOS (@1);:READ?")
        fine.send(":SENS:VOLT:DC:RANG 20")
        fine.ask("*ESR?")
        self.assertEqual(self.bench.commands("fine", 2), [":SENS:VOLT:DC:RANG 20", "*ESR?"])
        self.assertEqual(self.bench.counters("fine"),
                         {"connections": 1, "commands": 3, "queries": 2, "readings": 1,
                          "knobs": 0, "relay_changes": 2})


class Faults(StandInTest):
    WHO = b"OLDMERE BENCH SCOPE REV C"

    def reply(self, kind, name="old", **fields):
        """The first line after a fault was armed."""
        link = self.link(name)
        self.bench.fault(name, kind, **fields)
        link.send("WHO")
        return link, link.line()

    def test_replies_are_doubled_joined_or_spoilt(self):
        link, line = self.reply("glued")
        self.assertEqual([line, link.line()], [self.WHO + b"\n"] * 2)
        self.assertEqual(self.reply("joined")[1], self.WHO * 2 + b"\n")
        self.assertEqual(self.reply("split")[1], self.WHO + b"\n")
        line = self.reply("garbage")[1]
        self.assertTrue(line.endswith(self.WHO + b"\n") and len(line) > len(self.WHO) + 1)

    def test_a_late_reply_keeps_its_place(self):
        link = self.link("old")
        self.bench.fault("old", "late", delay_ms=50)
        link.send("WHO")
        link.send("OVER?")
        self.assertEqual([link.line(), link.line()], [self.WHO + b"\n", b"YES\n"])

    def test_a_silent_or_half_reply_is_followed_by_the_next(self):
        link = self.link("old")
        self.bench.fault("old", "silent", count=2)
        link.send("WHO")
        link.send("WHO")
        self.assertEqual(link.ask("OVER?"), "YES")
        self.bench.fault("old", "half")
        link.send("WHO")
        self.assertEqual(link.ask("OVER?"), "OLDMERE BENCHYES")

    def test_babble_ends_when_cleared(self):
        link = self.reply("babble")[0]
        for _ in range(20):
            self.assertEqual(link.line(), b"+1.00000E+00\n")
        self.bench.clear("old")
        link.send("WHO")
        while (line := link.line()) == b"+1.00000E+00\n":
            pass
        self.assertEqual(line, self.WHO + b"\n")

    def test_connections_break(self):
        link, line = self.reply("disconnect_mid")
        self.assertEqual((line, link.line()), (b"OLDMERE BENCH", b""))
        link = self.link("old")
        self.assertEqual(link.ask("HEIGHT 1 2"), "OK")
        self.bench.fault("old", "disconnect")
        self.assertEqual(link.line(), b"")
        link = self.link("old")
        self.assertEqual(link.ask("HEIGHT? 1"), "2")
        self.bench.fault("old", "restart")
        self.assertEqual(link.line(), b"")
        self.assertEqual(self.link("old").ask("HEIGHT? 1"), "20")

    def test_a_new_client_takes_the_place_of_the_old(self):
        first = self.link("old")
        first.ask("WHO")
        self.assertEqual(self.link("old").ask("OVER?"), "YES")
        self.assertEqual(first.line(), b"")

    def test_a_stuck_instrument_takes_nothing_until_cleared(self):
        link = self.link("fine")
        self.bench.fault("fine", "stuck")
        link.send("SYST:VERS?")
        self.assertEqual(self.bench.counters("fine")["commands"], 0)
        self.bench.clear("fine")
        self.assertEqual(link.line(), b"1999.0\n")

    def test_identity_overload_knob_and_queue(self):
        link, line = self.reply("wrong_identity")
        self.assertEqual(line, b"OLDMERE FIELD SCOPE REV A\n")
        self.assertEqual(link.ask("WHO").encode(), self.WHO)
        self.bench.fault("old", "knob_off", input=2)
        self.assertEqual([link.ask("TURNED? 1"), link.ask("TURNED? 2")], ["NO", "YES"])
        self.bench.clear()
        self.assertEqual(link.ask("TURNED? 2"), "NO")
        fine = self.link("fine")
        self.bench.fault("fine", "overload")
        self.assertEqual([fine.ask("READ?"), fine.ask("READ?")],
                         ["+9.90000000E+37", "+0.00000E+00"])
        self.bench.fault("fine", "error_queue", code=-222)
        self.assertEqual(fine.ask("SYST:ERR?"), '-222,"Data out of range"')

    def test_a_probability_hits_some(self):
        link = self.link("old")
        self.bench.fault("old", "glued", probability=0.5)
        for _ in range(200):
            link.send("WHO")
        self.bench.clear()
        link.send("OVER?")
        count = 0
        while link.line() != b"YES\n":
            count += 1
        self.assertTrue(220 < count < 380, count)


class Control(StandInTest):
    def test_what_cannot_be_done_is_refused(self):
        for method, params in [("nonsense", {}), ("truth", {"source": "none"}),
                               ("truth", {"instrument": "fine", "input": 9}),
                               ("set_source", {"source": "rail", "volts": 1}),
                               ("set_source", {"source": "rail", "amplitude": 1}),
                               ("set_source", {"source": "new"}),
                               ("set_source", {"source": "rail", "unit": "A"}),
                               ("connect", {"instrument": "old", "input": 3, "source": "rail"}),
                               ("hand", {"instrument": "old", "input": 3, "move": "lift"}),
                               ("hand", {"instrument": "old", "input": 1}),
                               ("hand", {"instrument": "old", "input": 1, "move": "touch"}),
                               ("hand", {"instrument": "old", "input": 1, "move": "lift",
                                         "source": "rail"}),
                               ("hand", {"instrument": "old", "input": 1, "move": "slip",
                                         "source": "nowhere"}),
                               ("hand", {"instrument": "old", "input": 1, "move": "lift",
                                         "after_s": -1}),
                               ("connect", {"instrument": "old", "input": 1, "source": "rail",
                                            "shunt": 0.1}),
                               ("fault", {"instrument": "old", "kind": "rust"}),
                               ("fault", {"instrument": "old", "kind": "error_queue"}),
                               ("fault", {"instrument": "fine", "kind": "knob_off"}),
                               ("fault", {"instrument": "fine", "kind": "wrong_tag"}),
                               ("fault", {"instrument": "fine", "kind": "framing"}),
                               ("unplug", {"instrument": "fine"}),
                               ("device", {"instrument": "fine"}),
                               ("log", {"instrument": "old", "count": 0}),
                               ("quit", {"now": True})]:
            with self.assertRaises(StandInError, msg=f"{method} {params}"):
                self.bench.call(method, **params)

    def test_the_rules_of_the_protocol_are_kept(self):
        raw = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        self.addCleanup(raw.close)
        raw.settimeout(LIMIT_S)
        raw.connect(self.bench.control_path)
        raw.sendall(b'{]\n{"method":"instruments","id":1}\n'
                    b'{"jsonrpc":"2.0","method":"clear"}\n'
                    b'{"jsonrpc":"2.0","method":"instruments","id":"x","params":[1]}\n')
        with raw.makefile("rb") as replies:
            codes = [json.loads(replies.readline())["error"]["code"] for _ in range(3)]
        self.assertEqual(codes, [-32700, -32600, -32602])

    def test_it_ends_when_told(self):
        self.assertTrue(self.bench.quit())
        self.assertEqual(self.bench.stop(), 0)


class TerminalTest(unittest.TestCase):
    """An instrument on a terminal: the bench has the one end, the test the other."""

    def setUp(self):
        self.near, self.far = os.openpty()
        self.addCleanup(os.close, self.near)
        self.bench = StandIn(PROGRAM, f"""
            instruments = ( {{ name = "fine"; type = "tarnwerk-meter"; conversion_ms = 0;
                              listen = "tty:{os.ttyname(self.far)}"; baud = 19200; }} );
        """, own_sockets=False)
        self.addCleanup(self.bench.stop)

    def ask(self, text):
        os.write(self.near, text.encode() + b"\n")
        reply = b""
        while not reply.endswith(b"\n"):
            self.assertTrue(select.select([self.near], [], [], LIMIT_S)[0])
            reply += os.read(self.near, 256)
        return reply

    def test_it_answers_on_a_raw_terminal(self):
        settings = termios.tcgetattr(self.far)
        os.close(self.far)
        self.assertEqual(settings[4], termios.B19200)
        self.assertEqual(settings[3] & (termios.ICANON | termios.ECHO), 0)
        self.assertEqual(self.ask("SYST:VERS?"), b"1999.0\n")
        self.bench.fault("fine", "split")
        self.assertEqual(self.ask("SYST:VERS?"), b"1999.0\n")

    def test_it_opens_again_after_a_disconnect(self):
        self.assertEqual(self.ask("SYST:VERS?"), b"1999.0\n")
        self.bench.fault("fine", "disconnect")
        while self.bench.counters("fine")["connections"] < 2:
            pass
        self.assertEqual(self.ask("SYST:VERS?"), b"1999.0\n")
        os.close(self.far)

    def test_what_is_no_terminal_is_refused(self):
        os.close(self.far)
        for where in ("tty:/dev/null", "tty:/nowhere", "usb:/nowhere", "acm:/nowhere"):
            with self.assertRaises(StandInError, msg=where):
                StandIn(PROGRAM, f"""
                    instruments = ( {{ name = "x"; type = "tarnwerk-meter"; listen = "{where}"; }} );
                """, own_sockets=False)


if __name__ == "__main__":
    unittest.main()
