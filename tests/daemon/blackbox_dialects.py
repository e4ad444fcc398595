# SPDX-License-Identifier: GPL-3.0-or-later
"""Meters and scopes of no known make, each with a dialect drawn at random: how it writes numbers,
marks an overload, ends a line, answers twice, late or by halves, rounds a setting to another, takes
it or does not, and what stands in its error queue. A reading is right within its uncertainty, or
there is none.

GRADUS_DIALECTS is how many of each, 16 when it is not set; GRADUS_SEED the first one's seed."""

import collections
import math
import os
import random
import socket
import struct
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


class Dialect:
    """One instrument on a socket of its own, with faults of the line and of its panel."""

    FAULTS = ("twice", "again", "half", "lost", "late", "deaf", "neighbour", "error", "swap", "touch")

    def __init__(self, seed):
        self.rng = random.Random(seed)
        rng = self.rng
        self.strange = rng.random() < 0.4
        self.form = rng.choice(sorted(STRANGE if self.strange and rng.random() < 0.7 else FORMS))
        self.write = (STRANGE | FORMS)[self.form]
        self.end = rng.choice(["\n", "\r\n"])
        self.faults = {name: rng.choice([0.0, 0.0, 0.01, 0.05]) for name in self.FAULTS}
        self.counts = collections.Counter()
        self.register = 0
        self.events = 0
        self.errors = []
        self.last = b""
        self.delayed = []
        self.words = {"*IDN?": self.do_identity, "*CLS": self.do_clear, "*ESE": self.do_set_register,
                      "*ESE?": self.do_tell_register, "*ESR?": self.do_tell_events,
                      "SYST:ERR?": self.do_tell_error, "*OPC?": lambda _: "1"}
        self.folder = tempfile.TemporaryDirectory(prefix="dialect-")
        self.path = os.path.join(self.folder.name, "instrument")
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
                told = [self.obey(unit) for unit in line.decode().split(";")]
                if b"?" in line:
                    answer = b";".join(text if isinstance(text, bytes) else text.encode()
                                       for text in told if text is not None)
                    self.send(here, answer + self.end.encode())

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
        return self.words[word](argument)

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


class Meter(Dialect):
    """Volts in four ranges."""

    def __init__(self, seed):
        super().__init__(seed)
        self.overload = self.rng.choice(STRANGE_OVERLOADS if self.strange else OVERLOADS)
        self.level = 0.0
        self.range = RANGES[-1]
        self.function = "VOLT"
        self.words |= {"FUNC": self.do_set_function, "FUNC?": self.do_tell_function,
                       "RANG": self.do_set_range, "RANG?": self.do_tell_range, "READ?": self.do_read}

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


class Scope(Dialect):
    """Two inputs of 8 bits; what it says of its settings is rounded and written as it likes."""

    FAULTS = Dialect.FAULTS + ("one_less", "bytes_swapped")
    STEPS = (0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0)
    POINTS = 1000

    def __init__(self, seed, coding):
        super().__init__(seed)
        # A reading takes dozens of messages: a fault of the line in each tenth would leave none.
        self.faults = {name: rate / 10 for name, rate in self.faults.items()}
        self.coding = coding
        self.amplitude = self.level = 0.0
        self.knobs = {"PTP": 40.0, "OFFS": 0.0, "COUP": "DC", "TIME": 0.02}
        self.record = None
        self.words |= {"INIT": self.do_initiate, "TRAC?": self.do_trace,
                       "TINT?": lambda _: self.tell(self.knobs["TIME"] / (self.POINTS - 1))}
        for name in self.knobs:
            self.words[name] = lambda argument, name=name: self.turn(name, argument)
            self.words[name + "?"] = lambda _, name=name: self.tell(self.knobs[name])

    def tell(self, value):
        return value if isinstance(value, str) else self.write_setting(value)

    def write_setting(self, value):
        """Settings are told with digits enough; a strange form is none that could be misread."""
        return f"{value:+.9E}" if self.form in FORMS else self.write(value)

    def rounded(self, name, argument):
        if name == "COUP":
            return argument
        value = float(argument)
        if name == "PTP":
            steps = [8 * step for step in self.STEPS]
            place = steps.index(min(steps, key=lambda step: abs(step - value)))
            place += self.rng.choice([-1, 1]) if self.hits("neighbour") else 0
            return steps[min(max(place, 0), len(steps) - 1)]
        if name == "TIME":
            return value * (2 if self.hits("neighbour") else 1)
        quarter = self.knobs["PTP"] / 8 / 32 / 4
        return round(value / quarter) * quarter + (20 * quarter if self.hits("neighbour") else 0)

    def turn(self, name, argument):
        if self.hits("error"):
            self.errors.append('-222,"Data out of range"')
        elif not self.hits("deaf"):
            self.knobs[name] = self.rounded(name, argument)

    def do_initiate(self, _):
        kept = dict(self.knobs)
        touched = self.hits("touch")
        if touched:
            self.knobs[self.rng.choice(["PTP", "OFFS"])] *= 2
            self.knobs["COUP"] = self.rng.choice(["DC", "AC", "GND"])
            self.events |= 64
        grounded, ac = self.knobs["COUP"] == "GND", self.knobs["COUP"] == "AC"
        step = self.knobs["PTP"] / 256
        phase = self.rng.uniform(0, 7)
        self.record = []
        for i in range(self.POINTS):
            wave = math.sin(2 * math.pi * 1000 * i * self.knobs["TIME"] / (self.POINTS - 1) + phase)
            volts = 0.0 if grounded else self.amplitude * wave + (0.0 if ac else self.level)
            code = round((volts - self.knobs["OFFS"]) / step)
            self.record.append(min(max(code, -128), 127))
        if touched:
            self.knobs = kept
            self.events |= 64

    def do_trace(self, _):
        codes = self.record[:-1] if self.hits("one_less") else self.record
        swapped = self.hits("bytes_swapped")
        if self.coding == "int8":
            body = struct.pack(f"{len(codes)}b", *codes)
        elif self.coding == "int16":
            body = struct.pack(("<" if swapped else ">") + f"{len(codes)}h",
                               *(256 * code for code in codes))
        else:
            step = self.knobs["PTP"] / 256
            volts = [code * step + self.knobs["OFFS"] for code in codes]
            body = struct.pack(("<" if swapped else ">") + f"{len(codes)}f", *volts)
        return f"#{len(str(len(body)))}{len(body)}".encode() + body


SCOPE_PROFILE = """
description = "a dialect"; kind = "scope";
dialogue = {{ command_terminator = "\\n"; reply_terminator = "\\n"; framing = "488"; reply_ms = 150.0;
    quiet_ms = 3.0; reply_limit = 65536; identity_query = "*IDN?"; identity = "^MAKER,METER,";
    error_query = ":SYST:ERR?"; error_none = "^[+]?0,";
    closing_query = ";*ESE {{number}};*ESE?"; closing_reply = ";{{number}}"; }};
setup = [ "*CLS" ];
max_input = 300.0; bandwidth = 1e5; divisions = 8.0; time_divisions = 10.0; settle_ms = 0.0;
proof = "{proof}";
touched = {{ query = "*ESR?"; mask = 192; }};
vertical = {{ command = ":PTP {{full_scale}}"; query = ":PTP?";
    volts_per_division = [ 0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0 ]; gain_percent = 1.0;
    baseline_divisions = 0.1; }};
offset = {{ command = ":OFFS {{offset}}"; query = ":OFFS?"; error_percent = 0.1;
    spans = ( {{ up_to = 5.0; span = 40.0; }} ); }};
coupling = {{ dc = ":COUP DC"; ac = ":COUP AC"; ground = ":COUP GND"; query = ":COUP?";
    dc_answer = "^DC$"; ac_answer = "^AC$"; ground_answer = "^GND$"; ac_corner = 1.0; }};
timebase = {{ set = [ ":TIME {{duration}}" ]; query = ":TIME?"; interval_query = ":TINT?";
    accuracy_ppm = 50.0; points = 1000;
    durations = [ 1e-4, 1e-3, 2e-3, 5e-3, 10e-3, 20e-3, 50e-3, 0.1 ]; }};
acquisition = {{ start = [ ":INIT" ]; done = {{ query = "*OPC?"; pattern = "^1$"; }};
    extra_ms = 100.0; }};
waveform = {{ query = ":TRAC?"; encoding = "block"; {coding} }};
"""

CODINGS = {
    "int8": 'format = "int8"; code_low = -128; code_high = 127; code_centre = 0; '
            "codes_per_division = 32.0;",
    "int16": 'format = "int16"; byte_order = "high byte first"; code_low = -32768; '
             "code_high = 32512; code_centre = 0; codes_per_division = 8192.0; codes_per_step = 256.0;",
    "real32": 'format = "real32"; byte_order = "high byte first"; codes = false; '
              "codes_per_division = 32.0;",
}

SCOPE_SETTINGS = """
server = {{ }};
profiles = "profiles";
instruments = ( {{ name = "scope"; profile = "dialect"; link = "unix:{path}"; }} );
points = (
    {{ name = "mean"; instrument = "scope"; input = 1; probe = "direct"; quantity = "dc voltage"; }},
    {{ name = "rms"; instrument = "scope"; input = 1; probe = "direct"; quantity = "rms voltage"; }},
    {{ name = "pp"; instrument = "scope"; input = 1; probe = "direct";
       quantity = "peak-to-peak voltage"; }}
);
"""

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

    def meet_scope(self, seed):
        """One scope's readings, as of a meter."""
        rng = random.Random(-seed)
        coding = rng.choice(sorted(CODINGS))
        scope = Scope(seed, coding)
        good, reasons = 0, collections.Counter()
        with tempfile.TemporaryDirectory(prefix="profiles-") as profiles:
            with open(os.path.join(profiles, "dialect.cfg"), "w", encoding="utf-8") as file:
                file.write(SCOPE_PROFILE.format(coding=CODINGS[coding], proof=rng.choice(
                    ["same message", "before and after"])))
            with Gradusd(PROGRAM, SCOPE_SETTINGS.format(path=scope.path), profiles) as daemon:
                client = daemon.client()
                for _ in range(READINGS):
                    scope.level = rng.choice([0.0, 0.3, -2.0, 5.0, 12.0])
                    scope.amplitude = rng.choice([0.0, 0.02, 0.5, 2.0, 7.0])
                    point = rng.choice(["mean", "rms", "pp"])
                    truth = {"mean": scope.level, "pp": 2 * scope.amplitude,
                             "rms": math.hypot(scope.level, scope.amplitude / math.sqrt(2))}[point]
                    try:
                        reading = client.call("measure", point=point)
                    except RpcError as error:
                        reasons[error.data["reason"]] += 1
                        continue
                    good += 1
                    self.assertLessEqual(abs(reading["value"] - truth), reading["uncertainty"],
                                         (seed, coding, scope.form, scope.faults, truth,
                                          scope.level, scope.amplitude, reading))
        scope.stop()
        return scope, good, reasons

    def test_no_scope_gives_a_wrong_value(self):
        values = looks = 0
        faults, reasons, codings = (collections.Counter() for _ in range(3))
        for seed in range(SEED, SEED + COUNT):
            scope, good, why = self.meet_scope(seed)
            values += good
            looks += READINGS
            faults += scope.counts
            reasons += why
            codings[scope.coding] += good
        print(f"seeds {SEED} to {SEED + COUNT - 1}: {values} values of {looks} looks; "
              f"faults {dict(faults)}; refused {dict(reasons)}; values by coding {dict(codings)}")
        self.assertGreater(values, looks / 5)

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
