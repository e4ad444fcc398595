# SPDX-License-Identifier: GPL-3.0-or-later
"""Meters of no known make, each with a dialect drawn at random: how it writes numbers, marks an
overload, ends a line, answers twice, late or by halves, rounds a range to another, takes a setting
or does not, and what stands in its error queue. A reading is right within its uncertainty, or
there is none.

GRADUS_DIALECTS is how many meters, 16 when it is not set; GRADUS_SEED the first one's seed."""

import collections
import os
import random
import socket
import tempfile
import threading
import unittest

from gradusd import Gradusd, RpcError

PROGRAM = os.environ["GRADUSD"]
COUNT = int(os.environ.get("GRADUS_DIALECTS", "16"))
SEED = int(os.environ.get("GRADUS_SEED", "20261130"))
READINGS = 24
RANGES = (0.2, 2.0, 20.0, 200.0)
TOLERANCE = 1e-3  # of the reading: what the profile states, and the meter keeps to a tenth of
LEVELS = (0.0, 0.013, -0.15, 1.2, -1.9, 5.0, 12.5, -48.0, 190.0, 250.0)


def plain(value):
    return f"{value:.6f}"


# How a number is written. Those of STRANGE are no numbers of any standard: they are refused, or
# mean what they say.
FORMS = {
    "exponent": lambda value: f"{value:+.6E}",
    "short exponent": lambda value: f"{value:.5e}",
    "plain": plain,
    "sign": lambda value: f"{value:+.5f}",
    "no zero": lambda value: plain(value).replace("0.", ".", 1) if abs(value) < 1 else plain(value),
    "many digits": lambda value: f"{value:.15E}",
    "point at the end": lambda value: f"{round(value)}." if value == round(value) else plain(value),
    "leading blanks": lambda value: "  " + plain(value),
    "trailing blanks": lambda value: plain(value) + " ",
}
STRANGE = {
    "unit": lambda value: plain(value) + " V",
    "unit at once": lambda value: f"{value:.6E}V",
    "millivolts": lambda value: f"{value * 1000:.3f} mV",
    "decimal comma": lambda value: plain(value).replace(".", ","),
    "semicolon": lambda value: plain(value) + ";",
    "two numbers": lambda value: f"{plain(value)},{plain(value)}",
    "blank sign": lambda value: f"- {plain(-value)}" if value < 0 else plain(value),
    "grouped digits": lambda value: f"{value * 1e3:,.0f}e-3",
    "header": lambda value: ":READ " + plain(value),
    "quotes": lambda value: f'"{plain(value)}"',
    "hexadecimal": lambda value: float(value).hex(),
}
OVERLOADS = ("9.9E37", "+9.90000000E+37", "9.91E37", "9.9E+37", "-9.9E37", "1E38")
STRANGE_OVERLOADS = ("NAN", "OVLD", "INF", "", "----")


class Meter:
    """One meter on a socket of its own, with faults."""

    def __init__(self, seed):
        self.rng = random.Random(seed)
        rng = self.rng
        self.strange = rng.random() < 0.4
        self.form = rng.choice(sorted(STRANGE if self.strange and rng.random() < 0.7 else FORMS))
        self.write = (STRANGE | FORMS)[self.form]
        self.overload = rng.choice(STRANGE_OVERLOADS if self.strange else OVERLOADS)
        self.end = rng.choice(["\n", "\r\n"])
        self.faults = {name: rng.choice([0.0, 0.0, 0.01, 0.05]) for name in
                       ("twice", "again", "half", "lost", "late", "deaf", "neighbour", "error",
                        "swap", "touch")}
        self.counts = collections.Counter()
        self.level = 0.0
        self.range = RANGES[-1]
        self.function = "VOLT"
        self.register = 0
        self.events = 0
        self.errors = []
        self.last = b""
        self.delayed = []
        self.folder = tempfile.TemporaryDirectory(prefix="meter-")
        self.path = os.path.join(self.folder.name, "meter")
        self.listener = socket.socket(socket.AF_UNIX)
        self.listener.bind(self.path)
        self.listener.listen()
        self.thread = threading.Thread(target=self.serve, daemon=True)
        self.thread.start()

    def stop(self):
        self.listener.shutdown(socket.SHUT_RDWR)
        self.thread.join()
        self.listener.close()
        self.folder.cleanup()

    def hits(self, fault):
        hit = self.rng.random() < self.faults[fault]
        self.counts[fault] += hit
        return hit

    def serve(self):
        while True:
            try:
                here = self.listener.accept()[0]
            except OSError:
                return
            self.delayed = []
            with here:
                try:
                    self.talk(here)
                except OSError:
                    pass

    def talk(self, here):
        buffer = b""
        while data := here.recv(65536):
            buffer += data
            while b"\n" in buffer:
                line, buffer = buffer.split(b"\n", 1)
                answer = ";".join(text for text in map(self.obey, line.decode().split(";"))
                                  if text is not None)
                if "?" in line.decode():
                    self.send(here, (answer + self.end).encode())

    def send(self, here, answer):
        """Late answers come in their order, before that of the next question."""
        before, self.delayed = b"".join(self.delayed), []
        last, self.last = self.last, answer
        if before:
            here.sendall(before)
        if answer.startswith(b"MAKER"):
            here.sendall(answer)
        elif self.hits("lost"):
            return
        elif self.hits("half"):
            here.sendall(answer[:len(answer) // 2])
        elif self.hits("late"):
            self.delayed = [answer]
        elif self.hits("again"):
            here.sendall(last)
            self.delayed = [answer]
        elif self.hits("swap"):
            here.sendall(last)
        elif self.hits("twice"):
            here.sendall(answer + answer)
        else:
            here.sendall(answer)

    def obey(self, unit):
        word, _, argument = unit.strip().lstrip(":").partition(" ")
        return getattr(self, "do_" + {"*IDN?": "identity", "*CLS": "clear", "*ESE": "set_register",
                                      "*ESE?": "tell_register", "*ESR?": "tell_events",
                                      "SYST:ERR?": "tell_error", "FUNC": "set_function",
                                      "FUNC?": "tell_function", "RANG": "set_range",
                                      "RANG?": "tell_range", "READ?": "read"}[word])(argument)

    def do_identity(self, _):
        return "MAKER,METER,7,1.0"

    def do_clear(self, _):
        self.errors, self.events = [], 0

    def do_set_register(self, argument):
        self.register = int(argument)

    def do_tell_register(self, _):
        return str(self.register)

    def do_tell_events(self, _):
        told, self.events = self.events, 0
        return str(told)

    def do_tell_error(self, _):
        return self.errors.pop(0) if self.errors else '0,"No error"'

    def do_set_function(self, argument):
        if not self.hits("deaf"):
            self.function = argument

    def do_tell_function(self, _):
        return self.function

    def do_set_range(self, argument):
        if self.hits("error"):
            self.errors.append('-222,"Data out of range"')
            return
        if not self.hits("deaf"):
            wanted = min(RANGES, key=lambda value: abs(value - float(argument)))
            place = RANGES.index(wanted) + (self.rng.choice([-1, 1]) if self.hits("neighbour") else 0)
            self.range = RANGES[min(max(place, 0), len(RANGES) - 1)]

    def do_tell_range(self, _):
        return f"{self.range:g}"

    def do_read(self, _):
        touched = self.hits("touch")
        kept = self.range, self.function
        if touched:
            self.range, self.function = self.rng.choice(RANGES), self.rng.choice(["VOLT", "CURR"])
            self.events |= 64
        value = self.level * (1 + self.rng.uniform(-1, 1) * TOLERANCE / 10)
        if self.function != "VOLT":
            value = self.rng.uniform(-3, 3)
        digit = self.range / 200000
        text = self.overload if abs(value) > self.range else self.write(round(value / digit) * digit)
        if touched:
            self.range, self.function = kept
            self.events |= 64
        return text


PROFILE = """
description = "a dialect"; kind = "meter";
dialogue = {{ command_terminator = "\\n"; reply_terminator = "\\n"; framing = "488"; reply_ms = 150.0;
    quiet_ms = 3.0; reply_limit = 4096; identity_query = "*IDN?"; identity = "^MAKER,METER,";
    error_query = ":SYST:ERR?"; error_none = "^[+]?0,"; errors_always = {always};
    closing_query = ";*ESE {{number}};*ESE?"; closing_reply = ";{{number}}"; }};
setup = [ "*CLS" ];
max_input = 300.0;
proof = "{proof}";
touched = {{ query = "*ESR?"; mask = 192; }};
functions = ( {{
    quantity = "dc voltage"; select = [ ":FUNC VOLT" ];
    select_check = {{ query = ":FUNC?"; pattern = "^VOLT$"; }};
    range = ":RANG {{range}}"; range_query = ":RANG?"; read = ":READ?";
    conversion_ms = 10.0; settle_ms = 0.0;
    every_range = {{ reading_percent = 0.1; counts = 2.0; input_resistance = 10e9;
                     resistance_tolerance_percent = 10.0; }};
    ranges = ( {{ full_scale = 0.2; resolution = 1e-6; }}, {{ full_scale = 2.0; resolution = 1e-5; }},
               {{ full_scale = 20.0; resolution = 1e-4; }}, {{ full_scale = 200.0; resolution = 1e-3; }} );
}} );
"""

SETTINGS = """
server = {{ }};
profiles = "profiles";
instruments = ( {{ name = "meter"; profile = "dialect"; link = "unix:{path}"; }} );
points = ( {{ name = "rail"; instrument = "meter"; input = 1; probe = "direct";
             quantity = "dc voltage"; }} );
"""


class Dialects(unittest.TestCase):
    def meet(self, seed):
        """One meter's readings: how many had a value, and the reasons of the others."""
        meter = Meter(seed)
        rng = random.Random(-seed)
        good, reasons = 0, collections.Counter()
        with tempfile.TemporaryDirectory(prefix="profiles-") as profiles:
            with open(os.path.join(profiles, "dialect.cfg"), "w", encoding="utf-8") as file:
                file.write(PROFILE.format(always=rng.choice(["true", "false"]),
                                          proof=rng.choice(["same message", "before and after"])))
            with Gradusd(PROGRAM, SETTINGS.format(path=meter.path), profiles) as daemon:
                client = daemon.client()
                for _ in range(READINGS):
                    meter.level = rng.choice(LEVELS)
                    try:
                        reading = client.call("measure", point="rail", repeat=rng.choice([1, 1, 3]))
                    except RpcError as error:
                        reasons[error.data["reason"]] += 1
                        continue
                    good += 1
                    self.assertLessEqual(abs(reading["value"] - meter.level), reading["uncertainty"],
                                         (seed, meter.form, meter.overload, meter.faults, reading))
                    self.assertLess(reading["uncertainty"], 2e-3 * abs(meter.level) + 0.01,
                                    (seed, meter.form, meter.faults, reading))
        meter.stop()
        return meter, good, reasons

    def test_no_dialect_gives_a_wrong_value(self):
        values = looks = 0
        faults, reasons, forms = (collections.Counter() for _ in range(3))
        for seed in range(SEED, SEED + COUNT):
            meter, good, why = self.meet(seed)
            values += good
            looks += READINGS
            faults += meter.counts
            reasons += why
            forms[meter.form] += good
        print(f"seeds {SEED} to {SEED + COUNT - 1}: {values} values of {looks} looks; "
              f"faults {dict(faults)}; refused {dict(reasons)}; values by form {dict(forms)}")
        self.assertGreater(values, looks / 4)


if __name__ == "__main__":
    unittest.main(verbosity=2)
