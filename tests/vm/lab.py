# SPDX-License-Identifier: GPL-3.0-or-later
"""What the tests in the guest share: its lines, the plugs pulled from outside, and waits."""

import contextlib
import fcntl
import glob
import json
import os
import re
import struct
import termios
import threading
import time
import tty
from pathlib import Path

from machine import CARD

TIOCGICOUNT = 0x545D
BREAKS = 9
LIMIT_S = 300.0
TURN_S = 0.02


def until(condition, what):
    """Polls until the condition is true and returns what it gave."""
    end = time.monotonic() + LIMIT_S
    pause = threading.Event()
    while not (found := condition()):
        if time.monotonic() > end:
            raise AssertionError(f"does not come: {what}")
        pause.wait(TURN_S)
    return found


def open_raw(path):
    """A terminal as a plain stream of bytes, at once, whatever its modem lines say."""
    descriptor = os.open(path, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
    tty.setraw(descriptor)
    modes = termios.tcgetattr(descriptor)
    modes[2] |= termios.CLOCAL
    termios.tcsetattr(descriptor, termios.TCSANOW, modes)
    return descriptor


def line(name):
    """The node of a UART of the card by what hangs on it (machine.CARD), for example /dev/ttyS4."""
    ports = [path for path in glob.glob("/sys/class/tty/ttyS*")
             if "/pci" in os.path.realpath(path)]
    ports.sort(key=lambda path: int(re.sub(r"\D", "", os.path.basename(path))))
    if len(ports) != len(CARD):
        raise AssertionError(f"UARTs of the card: {ports}")
    return "/dev/" + os.path.basename(ports[CARD.index(name)])


def adapters():
    """The nodes of the USB serial adapters that are plugged in."""
    return sorted(glob.glob("/dev/ttyUSB*"))


def breaks(node):
    """How many breaks the kernel has counted on a line (struct serial_icounter_struct)."""
    descriptor = os.open(node, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
    try:
        counters = fcntl.ioctl(descriptor, TIOCGICOUNT, bytes(20 * 4))
        return struct.unpack("20i", counters)[BREAKS]
    finally:
        os.close(descriptor)


class Control:
    """Asks the side outside to do what only a hand on the machine can."""

    def __init__(self):
        self._file = os.fdopen(open_raw(line("control")), "r+b", buffering=0)
        os.set_blocking(self._file.fileno(), True)

    def close(self):
        self._file.close()

    def ask(self, action, name):
        self._file.write(json.dumps({"action": action, "name": name}).encode() + b"\n")
        answer = json.loads(self._file.readline())
        if "error" in answer:
            raise AssertionError(f"{action} {name}: {answer['error']}")

    def unplug(self):
        """Pulls the adapter and returns when the kernel has noticed."""
        before = set(adapters())
        self.ask("unplug", "adapter")
        until(lambda: not any(map(is_live, before)), f"end of {before}")

    def plug(self):
        """Plugs the adapter in again; returns its node when the links to it are there."""
        self.ask("plug", "adapter")
        by_id = until(lambda: glob.glob("/dev/serial/by-id/*"), "a name of the adapter by its id")
        return until(lambda: os.path.exists(by_id[0]) and os.path.realpath(by_id[0]), by_id[0])

    def send_break(self, name):
        self.ask("break", name)


def is_live(node):
    """Whether a terminal's device is still plugged in."""
    return Path("/sys/class/tty", os.path.basename(node)).exists()


def usb_port(vendor, product):
    """Bus and ports of the first device of that kind which is configured, "3-1"; None: no such."""
    for path in glob.glob("/sys/bus/usb/devices/*/idProduct"):
        folder = Path(path).parent
        with contextlib.suppress(OSError):  # it may go at any moment
            if (int((folder / "idVendor").read_text(), 16) == vendor and
                    int((folder / "idProduct").read_text(), 16) == product and
                    glob.glob(f"{folder}/*:*.*")):
                return folder.name
    return None
