# SPDX-License-Identifier: GPL-3.0-or-later
"""`gradus walk` with the real daemon and a simulated hand: on terminals of two sizes, in lines, heard
through a player and a speech program that write down what they are given."""

import array
import json
import os
import pathlib
import subprocess
import sys
import time
import unittest

from gradusd import LIMIT_S
from terminal import Terminal

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[1] / "daemon"))
import blackbox_walk  # noqa: E402  (the bench, the settings and the daemon of its cases)

PROGRAM = os.environ["GRADUS"]

# What it is given on standard input, or as its last word, behind what is there already.
PLAYER = "#!/bin/sh\ncat >> {folder}/played.$$\nmv {folder}/played.$$ {folder}/tone.$$\n"
SPEAKER = '#!/bin/sh\nshift\necho "$*" >> {folder}/said\n'


class Walking(blackbox_walk.Walk):
    # The cases of the daemon are told by their own file.
    for name in [name for name in dir(blackbox_walk.Walk) if name.startswith("test_")]:
        locals()[name] = None
    del name

    def setUp(self):
        super().setUp()
        self.path = os.path.join(self.folder, "bin")
        os.mkdir(self.path)
        self.program("aplay", PLAYER)
        self.program("espeak-ng", SPEAKER)
        self.bench.hand("meter", 1, "lift")

    def program(self, name, text):
        path = pathlib.Path(self.path, name)
        path.write_text(text.format(folder=self.folder))
        path.chmod(0o755)

    def environment(self, **more):
        kept = {name: os.environ[name] for name in ("ASAN_OPTIONS",) if name in os.environ}
        return {**kept, "LC_ALL": "C.UTF-8", "TERM": "xterm", "PATH": f"{self.path}:/usr/bin:/bin",
                **more}

    def words(self, *words):
        return [PROGRAM, "--socket", "unix:" + self.daemon.unix, "walk", *words]

    def on_terminal(self, columns, rows, *words, **env):
        return Terminal(self.words("psu", *words), columns, rows, self.environment(**env))

    def until_asked(self, terminal):
        terminal.until(lambda: "Touch the place" in terminal.text)

    def walk_on(self, terminal, source, shown):
        """Touches, waits until that is shown, and lifts."""
        self.until_asked(terminal)
        self.bench.hand("meter", 1, "touch", source)
        terminal.until(lambda: shown in terminal.text)
        self.bench.hand("meter", 1, "lift")

    def check_walk(self, columns, rows, **env):
        with self.on_terminal(columns, rows, **env) as terminal:
            self.until_asked(terminal)
            self.assertIn("TP1, left of the transformer", terminal.text)
            self.assertIn("CAUTION: hot", terminal.text)
            self.assertIn("expected 5 V, 4.75 to 5.25 V", terminal.text)
            self.walk_on(terminal, "five", "place 2 of 3")
            self.assertIn("5.0100", terminal.text)
            self.walk_on(terminal, "three", "is what TP3 should show")
            self.walk_on(terminal, "five_too", "place 3 of 3")
            self.until_asked(terminal)
            self.bench.hand("meter", 1, "touch", "three")
            self.assertEqual(terminal.end(), 0)
            self.assertIsNone(terminal.screen.own)
            self.assertTrue(terminal.screen.cursor)
            for point in ("five", "five_too", "three"):
                self.assertRegex(terminal.text, rf"(?m)^{point} .* V  pass ")
            return terminal.screen

    def test_a_small_terminal(self):
        self.check_walk(80, 24)

    def test_a_large_terminal_without_colour(self):
        screen = self.check_walk(120, 40, NO_COLOR="1", LC_ALL="C")
        self.assertEqual(screen.styles - {"0", ""}, set())

    def test_keys_notes_and_leaving(self):
        with self.on_terminal(80, 24) as terminal:
            self.walk_on(terminal, "five", "place 2 of 3")
            self.until_asked(terminal)
            terminal.type("njoint looks dukl\x7f\x7fll\r")
            terminal.until(lambda: "The note is kept" in terminal.text)
            terminal.type("s")
            terminal.until(lambda: "place 3 of 3" in terminal.text and "skipped" in terminal.text)
            terminal.type("b")
            terminal.until(lambda: "place 2 of 3" in terminal.text)
            terminal.type("x")
            terminal.until(lambda: "Keys:" in terminal.text)
            terminal.type("\x03")
            self.assertEqual(terminal.end(), 3)
            self.assertIn("gradus walk psu goes on where it was", terminal.text)
        with self.on_terminal(80, 24) as terminal:
            terminal.until(lambda: "Going on where this walk was left" in terminal.text)
            self.assertIn("place 2 of 3", terminal.text)
            terminal.type("q")
            self.assertEqual(terminal.end(), 3)
        with self.on_terminal(80, 24, "--anew") as terminal:
            self.until_asked(terminal)
            self.assertIn("place 1 of 3", terminal.text)
            terminal.type("\x03")
            self.assertEqual(terminal.end(), 3)

    def lines(self, *words):
        return subprocess.Popen(self.words("psu", *words), stdin=subprocess.PIPE, text=True,
                                stdout=subprocess.PIPE, stderr=subprocess.PIPE,
                                env=self.environment())

    def read_until(self, stream, words):
        for line in stream:
            if words in line:
                return line
        self.fail(f"no line with {words!r}")

    def test_line_by_line(self):
        self.bench.set_source("five_too", level=5.6)
        with self.lines("--plain") as walk:
            first = self.read_until(walk.stdout, "Next, 1 of 3")
            self.assertEqual(first, "Next, 1 of 3: TP1, left of the transformer. Point five, dc "
                                    "voltage, expected 5 V, 4.75 to 5.25 V.\n")
            self.assertEqual(walk.stdout.readline(), "Caution: hot\n")
            self.wait_lifted()
            self.bench.hand("meter", 1, "touch", "five")
            self.assertRegex(self.read_until(walk.stdout, "five:"),
                             r"^five: 5\.01\d* V ± 0\.\d+ V, pass$")
            self.bench.hand("meter", 1, "lift")
            self.read_until(walk.stdout, "Next, 2 of 3")
            walk.stdin.write("n it hums\n")
            walk.stdin.flush()
            self.read_until(walk.stdout, "The note is kept")
            self.wait_lifted()
            self.bench.hand("meter", 1, "touch", "five_too")
            self.assertIn("fail", self.read_until(walk.stdout, "five_too:"))
            walk.stdin.write("s\n")
            walk.stdin.flush()
            walk.stdin.close()
            rest = walk.stdout.read()
            self.assertIn("three: skipped", rest)
            self.assertEqual(walk.wait(LIMIT_S), 1)

    def wait_lifted(self):
        """Until the lifted probe has been looked at some dozens of times."""
        before = self.bench.counters("meter")["readings"]
        self.until(lambda: self.bench.counters("meter")["readings"] > before + 40)

    def test_for_programs(self):
        with self.lines("--json") as walk:
            walk.stdin.close()
            self.wait_lifted()
            self.bench.hand("meter", 1, "touch", "five")
            reading = json.loads(walk.stdout.readline())
            self.assertEqual((reading["point"], reading["verdict"]), ("five", "pass"))
            walk.terminate()
            self.assertEqual(walk.wait(LIMIT_S), 3)

    def test_what_is_not_there(self):
        with self.lines() as walk:
            walk.kill()
        done = subprocess.run(self.words("pus"), capture_output=True, text=True, check=False,
                              stdin=subprocess.DEVNULL, env=self.environment(), timeout=LIMIT_S)
        self.assertEqual(done.returncode, 2)
        self.assertIn("there is no sheet pus, expected perhaps psu", done.stderr)

    def tones(self):
        """The samples of every tone played so far, by the frequency that crosses zero most."""
        found = []
        for path in pathlib.Path(self.folder).glob("tone.*"):
            samples = array.array("h", path.read_bytes())
            crossings = sum(a < 0 <= b for a, b in zip(samples, samples[1:]))
            loud = sum(sample != 0 for sample in samples)
            found.append(round(crossings / (loud / 16000)))
        return sorted(found)

    def heard(self):
        """Whether there was a failure, 220 Hz, and a pass, 660 Hz for 90 ms and 880 Hz for 140 ms."""
        tones = self.tones()
        return any(abs(tone - 220) < 15 for tone in tones) and \
            any(abs(tone - 794) < 40 for tone in tones)

    def test_it_is_heard(self):
        self.bench.set_source("five_too", level=5.6)
        with self.on_terminal(80, 24, "--aloud") as terminal:
            self.walk_on(terminal, "five", "place 2 of 3")
            self.walk_on(terminal, "five_too", "place 3 of 3")
            terminal.type("s")
            self.assertEqual(terminal.end(), 1)
        end = time.monotonic() + LIMIT_S
        while not self.heard() and time.monotonic() < end:
            self.bench.counters("meter")
        self.assertTrue(self.heard(), self.tones())
        said = pathlib.Path(self.folder, "said").read_text()
        self.assertIn("Next: TP1", said)
        self.assertIn("Next: TP3", said)


if __name__ == "__main__":
    unittest.main()
