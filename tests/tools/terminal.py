# SPDX-License-Identifier: GPL-3.0-or-later
"""A terminal for programs that draw on it: a pseudo-terminal with a command in it, and the screen
that a person would see. It knows what the command may use (ECMA-48: cursor to the top left, erase to
the end of line and page, styles; and the private modes for a screen of its own and for hiding the
cursor) and takes anything else for a mistake.

    with Terminal(["gradus", "burnin", "status", "--watch"], 80, 24, env) as terminal:
        terminal.until(lambda: "phase" in terminal.text)
        terminal.type("\\x03")
        status = terminal.end()
"""

import fcntl
import os
import pty
import re
import select
import signal
import struct
import subprocess
import termios
import time
import unicodedata

LIMIT_S = 300.0

# What a key that ends a command has cut off of its output ends where the next sequence begins.
PIECE = re.compile(r"\x1b\[(\??)([0-9;]*)([A-Za-z])|(\x1b(?:\[\??[0-9;]*)?)(?=\x1b)|.",
                   re.DOTALL)


def width_of(letter):
    if unicodedata.combining(letter):
        return 0
    return 2 if unicodedata.east_asian_width(letter) in "WF" else 1


class Screen:
    """What is to be seen; `mistakes` is what a terminal could not make sense of."""

    def __init__(self, columns, rows):
        self.columns, self.rows = columns, rows
        self.lines, self.row, self.column = [""] * rows, 0, 0
        self.own = None  # the lines of the shell while the command has a screen of its own
        self.cursor = True
        self.mistakes = []
        self.styles = set()

    def feed(self, text):
        for match in PIECE.finditer(text):
            if match[3]:
                self._control(match[1] + match[2], match[3])
            elif not match[4]:
                self._letter(match[0])

    def _letter(self, letter):
        if letter == "\r":
            self.column = 0
        elif letter == "\n":
            self._down()
        elif letter == "\x1b" or ord(letter) < 0x20:
            self.mistakes.append(letter)
        else:
            self._put(letter)

    def _put(self, letter):
        if self.column + width_of(letter) > self.columns:
            self.mistakes.append(f"a line is too long: {self.lines[self.row]!r}")
            self.column = 0
            self._down()
        line = self.lines[self.row]
        kept = ""
        while line and sum(map(width_of, kept)) < self.column:
            kept, line = kept + line[0], line[1:]
        rest = line[width_of(letter):] if width_of(letter) else line
        self.lines[self.row] = kept + letter + rest
        self.column += width_of(letter)

    def _down(self):
        self.row += 1
        if self.row == self.rows:
            self.row -= 1
            self.lines = self.lines[1:] + [""]

    def _control(self, parameters, final):
        known = {("", "H"): self._home, ("", "K"): self._erase_line, ("", "J"): self._erase_page,
                 ("?1049", "h"): self._take, ("?1049", "l"): self._give_back}
        if final == "m":
            self.styles.add(parameters)
        elif parameters == "?25" and final in "hl":
            self.cursor = final == "h"
        elif (parameters, final) in known:
            known[parameters, final]()
        else:
            self.mistakes.append(f"ESC [ {parameters} {final}")

    def _home(self):
        self.row = self.column = 0

    def _erase_line(self):
        line = ""
        for letter in self.lines[self.row]:
            if sum(map(width_of, line)) >= self.column:
                break
            line += letter
        self.lines[self.row] = line

    def _erase_page(self):
        self._erase_line()
        self.lines[self.row + 1:] = [""] * (self.rows - self.row - 1)

    def _take(self):
        self.own = (self.lines, self.row, self.column)
        self.lines = [""] * self.rows

    def _give_back(self):
        self.lines, self.row, self.column = self.own
        self.own = None


class Terminal:
    """A command on a terminal of that size."""

    def __init__(self, words, columns, rows, env):
        self.screen = Screen(columns, rows)
        self._left = b""
        self._ours, theirs = pty.openpty()
        self.resize(columns, rows)
        # What is typed is not written where the command draws, so that only the command is judged.
        attributes = termios.tcgetattr(theirs)
        attributes[3] &= ~termios.ECHO
        termios.tcsetattr(theirs, termios.TCSANOW, attributes)
        self.process = subprocess.Popen(
            words, stdin=theirs, stdout=theirs, stderr=theirs, env=env, start_new_session=True,
            preexec_fn=lambda: fcntl.ioctl(0, termios.TIOCSCTTY, 0))
        os.close(theirs)

    def __enter__(self):
        return self

    def __exit__(self, kind, *_):
        self.process.kill()
        self.process.wait()
        os.close(self._ours)
        if kind is None and self.screen.mistakes:
            raise AssertionError(self.screen.mistakes)

    @property
    def text(self):
        return "\n".join(line.rstrip() for line in self.screen.lines)

    def resize(self, columns, rows):
        fcntl.ioctl(self._ours, termios.TIOCSWINSZ, struct.pack("HHHH", rows, columns, 0, 0))

    def type(self, keys):
        os.write(self._ours, keys.encode())

    def _read(self, limit_s):
        """Takes in what comes next; False when nothing does, or the command has left."""
        if not select.select([self._ours], [], [], limit_s)[0]:
            return False
        try:
            chunk = os.read(self._ours, 65536)
        except OSError:
            return False
        taken = self._left + chunk
        # A letter or a control sequence may be cut.
        end = len(taken)
        while end > 0 and end > len(taken) - 12:
            tail = taken[:end]
            try:
                text = tail.decode()
            except UnicodeDecodeError:
                end -= 1
                continue
            if re.search(r"\x1b(\[[?0-9;]*)?$", text):
                end -= 1
                continue
            break
        self.screen.feed(taken[:end].decode(errors="replace"))
        self._left = taken[end:]
        return True

    def until(self, condition):
        """Reads until the screen is as wanted."""
        end = time.monotonic() + LIMIT_S
        while not condition():
            if not self._read(max(0, end - time.monotonic())):
                raise AssertionError("the screen does not come:\n" + self.text)

    def suspend(self):
        """As the terminal's key for it would, and waits until the command has stopped."""
        os.kill(self.process.pid, signal.SIGTSTP)
        _, status = os.waitpid(self.process.pid, os.WUNTRACED)
        if not os.WIFSTOPPED(status):
            raise AssertionError("it was not suspended")

    def go_on(self):
        os.kill(self.process.pid, signal.SIGCONT)

    def end(self):
        """Waits until the command has ended; returns its exit status."""
        while self._read(LIMIT_S):
            pass
        return self.process.wait(LIMIT_S)
