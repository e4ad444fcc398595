# SPDX-License-Identifier: GPL-3.0-or-later
"""Serial lines of a real kernel: every way to name one, to set one, and to have it alone."""

import contextlib
import fcntl
import glob
import os
import re
import termios
import unittest
from pathlib import Path

import lab
from bridge import Bridge
from gradusd import Gradusd
from machine import ADAPTER_USB
from rig import BY_USB, SOURCE, RigCase
from standin import StandIn


class Lines(RigCase):

    def reads_right(self, point, **links):
        client = self.rig.start(**links)
        self.assert_right(client.call("measure", point))
        return client

    def test_uart_by_path(self):
        self.reads_right("uart")

    def test_adapter_by_path(self):
        self.reads_right("adapter", adapter="serial:" + lab.adapters()[0])

    def test_adapter_by_id(self):
        names = lab.until(lambda: glob.glob("/dev/serial/by-id/*"), "a name by id")
        self.assertEqual(len(names), 1)
        self.reads_right("adapter", adapter="serial:" + names[0])

    def test_adapter_by_usb(self):
        self.reads_right("adapter", adapter=BY_USB)

    def test_adapter_by_usb_without_a_serial_number(self):
        self.reads_right("adapter", adapter=BY_USB.rpartition(":")[0])

    def test_adapter_that_is_not_there(self):
        client = self.rig.start(adapter=f"serial:usb:{ADAPTER_USB}:LARK0002")
        self.assertEqual(self.refused(client, "adapter").data["reason"], "link down")

    def test_a_line_is_had_alone(self):
        """A second daemon is refused, and so is a program that takes the usual lock."""
        self.reads_right("uart")
        node = lab.line("uart_near")
        with open(node, "rb+", buffering=0) as other, self.assertRaises(BlockingIOError):
            fcntl.flock(other, fcntl.LOCK_EX | fcntl.LOCK_NB)
        text = open(self.rig.daemon.settings_path, encoding="utf-8").read()
        with Gradusd(os.environ["GRADUSD"], text, self.rig.folder) as second:
            error = self.refused(second.client(), "uart")
        self.assertEqual(error.data["reason"], "link down")
        self.assertIn("in use", error.data["what"])

    def settings_reach_the_kernel(self, baud, speed):
        client = self.reads_right("uart", line=f"baud = {baud};")
        self.assert_right(client.call("measure", "adapter"))
        for node in (lab.line("uart_near"), lab.adapters()[0]):
            descriptor = os.open(node, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
            self.assertEqual(termios.tcgetattr(descriptor)[4:6], [speed, speed], node)
            os.close(descriptor)

    def test_300_baud(self):
        self.settings_reach_the_kernel(300, termios.B300)

    def test_115200_baud(self):
        self.settings_reach_the_kernel(115200, termios.B115200)

    def test_921600_baud(self):
        """The card's clock ends below it and it says so; the adapter can."""
        client = self.rig.start(line="baud = 921600;")
        self.assert_right(client.call("measure", "adapter"))
        self.assertEqual(self.refused(client, "uart").data["reason"], "settings")

    def test_echo(self):
        """A terminal-minded instrument, which sends back what it is sent."""
        self.rig.uart.echo = True
        self.addCleanup(setattr, self.rig.uart, "echo", False)
        path = Path(self.rig.folder, "tarnwerk-meter.cfg")
        plain = path.read_text()
        self.addCleanup(path.write_text, plain)
        path.write_text(plain.replace('framing = "488";', 'framing = "488"; echo = true;'))
        client = self.rig.start()
        for _ in range(2):
            self.assert_right(client.call("measure", "uart"))
        path.write_text(plain)
        unforeseen = self.refused(self.rig.start(), "uart", deadline_ms=3000)
        self.assertIn(unforeseen.data["reason"], ("unexpected reply", "no reply in time"))

    def test_rts_cts(self):
        client = self.reads_right("uart", line='flow = "rts/cts";')
        self.assert_right(client.call("measure", "adapter"))

    def test_xon_xoff(self):
        client = self.reads_right("uart", line='flow = "xon/xoff";')
        self.assert_right(client.call("measure", "adapter"))



class Demo(unittest.TestCase):
    """The demonstration's first meter, on a line instead of a network port."""

    def reads_right(self, far, link):
        rack = os.path.join(SOURCE, "tools", "standin", "larkrise.cfg")
        with open(os.path.join(SOURCE, "config", "demo.cfg"), encoding="utf-8") as file:
            text = re.sub(r"server = \{.*?\n\};", "server = { };", file.read(), flags=re.DOTALL)
        with contextlib.ExitStack() as stack:
            bench = stack.enter_context(StandIn(os.environ["STANDIN"], rack))
            place = bench.address("meter_a").removeprefix("unix:")
            stack.enter_context(contextlib.closing(Bridge(lab.line(far), place)))
            daemon = stack.enter_context(Gradusd(os.environ["GRADUSD"],
                                                 text.replace("tcp:127.0.0.1:7501", link)))
            reading = daemon.client().call("measure", "rail_5v")
            truth = bench.truth("rail_5v")["dc"]
            self.assertLessEqual(abs(reading["value"] - truth), reading["uncertainty"], reading)
            self.assertEqual(reading["verdict"], "pass")

    def test_over_the_uart(self):
        self.reads_right("uart_far", "serial:" + lab.line("uart_near"))

    def test_over_the_adapter(self):
        self.reads_right("adapter_far", BY_USB)
