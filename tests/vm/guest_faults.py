# SPDX-License-Identifier: GPL-3.0-or-later
"""The fault table, driven: one test for each cell (faults.py says what is promised)."""

import os
import time

import faults
import lab
from bridge import XOFF, XON
from gadget import CONTROLLERS
from gradusd import RpcError
from rig import LEVELS, RigCase

# Which instrument of the rig has a link of that kind; what needs a plug is at the adapter.
METERS = {"tcp": "net", "serial": "uart", "usb": "adapter"}
PLUGGED = {"tcp": "net", "serial": "adapter", "usb": "adapter"}
SCOPES = {"tcp": "net_scope", "serial": "adapter", "usb": "adapter"}
# More replies than any measurement has.
LASTING = 1000
# How much later than its deadline a call may be seen to end, on a machine as busy as it likes.
GRACE_S = 60.0
# Times to answer of instruments whose plug is pulled: so long the plug is what ends a call.
PATIENCE_MS = 60000.0
# The same for a block that comes byte by byte. What is lost after the plug is in again is waited
# for as long, perhaps more than once.
BLOCK_PATIENCE_MS = 10000.0


class Driver(RigCase):
    """What the rows' `act` names, and what every cell is held to."""

    @classmethod
    def setUpClass(cls):
        super().setUpClass()
        cls.client = cls.rig.start()

    def setUp(self):
        super().setUp()
        self.addCleanup(self.mend)

    def mend(self):
        """After a test that failed half way the next one still finds all in order."""
        self.bench.clear()
        if not self.rig.is_plugged():
            self.rig.plug()

    def begin(self, point, cell, method="measure"):
        """Sends the call under test and remembers when."""
        self.begun = time.monotonic()
        return self.client.send(method, point=point, deadline_ms=int(cell.deadline_s * 1000))

    def end(self, number, cell, outcomes):
        """The call comes to one of the outcomes, in time, and to no wrong value."""
        try:
            reading = self.client.wait(number)
            self.assert_right(reading)
            outcome = faults.VALUE
        except RpcError as error:
            self.assertNotIn("value", error.data)
            outcome = error.data["reason"]
        taken = time.monotonic() - self.begun
        self.assertIn(outcome, outcomes)
        self.assertLessEqual(taken, cell.deadline_s + GRACE_S)

    def call(self, point, cell, outcomes):
        self.end(self.begin(point, cell), cell, outcomes)

    def right_again(self, point):
        """The fault is over and the true value another: a reply from before would be wrong."""
        self.bench.clear()
        self.set_level(LEVELS[1] if self.level == LEVELS[0] else LEVELS[0])
        self.assert_right(self.client.call("measure", point=point, deadline_ms=120000))

    def answers(self, point):
        """Whether it is heard again. A request gives a link that is down one second to be mended,
        which on a busy machine is too short: then another one has to come."""
        try:
            self.client.call("measure", point=point, deadline_ms=120000)
            return True
        except RpcError as error:
            self.assertIn(error.data["reason"], (faults.DOWN, faults.NO_REPLY))
            return False

    def mended(self, point):
        """The plug is in again."""
        lab.until(lambda: self.answers(point), "the instrument")
        self.right_again(point)

    def hit_replies(self, fault, link, cell, point=None):
        point = point or METERS[link]
        for count, outcomes in ((1, cell.once), (LASTING, cell.lasting)):
            if outcomes:
                with self.subTest(count=count):
                    self.right_again(point)
                    self.bench.fault(point, count=count, **fault.arm)
                    self.call(point, cell, outcomes)
                    self.right_again(point)

    def break_link(self, link):
        """The plug is out and in again, or the connection closed."""
        self.pull(PLUGGED[link], link)
        self.put_back(link)

    def pull(self, instrument, link):
        if link == "tcp":
            self.bench.fault(instrument, "disconnect")
        else:
            self.rig.unplug()

    def put_back(self, link):
        if link != "tcp":
            self.rig.plug()

    def return_as_another(self, fault, link, cell):
        point = PLUGGED[link]
        self.right_again(point)
        self.bench.fault(point, count=LASTING, **fault.arm)
        self.break_link(link)
        self.call(point, cell, cell.once)
        self.right_again(point)

    def unplug_idle(self, _, link, cell):
        point = PLUGGED[link]
        self.right_again(point)
        self.pull(point, link)
        self.call(point, cell, cell.once)
        self.put_back(link)
        self.mended(point)

    def pull_amid(self, point, link, cell, is_time):
        """Pulls the plug of a call in hand when the time has come for it."""
        number = self.begin(point, cell)
        lab.until(is_time, "the moment to pull the plug")
        self.bench.clear()  # what is on its way stays as it is
        self.pull(point, link)
        self.end(number, cell, cell.once)
        self.put_back(link)
        self.mended(point)

    def asked(self, instrument):
        """A condition: one more query has reached the instrument."""
        before = self.bench.counters(instrument)["queries"]
        return lambda: self.bench.counters(instrument)["queries"] > before

    def unplug_during_read(self, _, link, cell):
        point = PLUGGED[link]
        self.right_again(point)
        self.bench.fault(point, "silent", count=1)
        self.pull_amid(point, link, cell, self.asked(point))

    def return_renamed(self, _, link, cell):
        """Another program keeps the old node, so the adapter comes back under a new one."""
        point = PLUGGED[link]
        self.right_again(point)
        before, heard = lab.adapters()[0], self.heard(point)
        holder = os.open(before, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
        try:
            self.control.unplug()
            after = self.control.plug()
        finally:
            os.close(holder)
        self.assertNotEqual(after, before)
        self.call(point, cell, cell.once)
        self.assert_identified(point, heard)
        self.right_again(point)

    def heard(self, point):
        """How many commands the instrument has received."""
        return self.bench.counters(point)["commands"]

    def assert_identified(self, point, heard):
        """After so many commands the instrument was asked who it is before it was read."""
        commands = self.bench.commands(point)[heard - self.heard(point):]
        read = next(n for n, command in enumerate(commands) if ":READ?" in command)
        self.assertIn("*IDN?", commands[:read])

    def return_elsewhere(self, _, link, cell):
        point = PLUGGED[link]
        self.right_again(point)
        before, heard = self.rig.port(), self.heard(point)
        self.rig.unplug()
        self.rig.plug(CONTROLLERS[2])
        self.assertNotEqual(self.rig.port(), before)
        self.call(point, cell, cell.once)
        self.assert_identified(point, heard)
        self.right_again(point)

    def hold_flow(self, point, bridge):
        """Says stop, and returns once a call shows that the kernel has heard it."""
        bridge.send(XOFF)

        def is_held():
            try:
                self.client.call("measure", point=point, deadline_ms=200)
                return False
            except RpcError:
                return True

        lab.until(is_held, "the line to be held")

    def stop_flow(self, _, link, cell):
        point = METERS[link]
        self.right_again(point)
        self.hold_flow(point, self.rig.uart)
        self.call(point, cell, cell.once)
        self.rig.uart.send(XON)
        self.right_again(point)

    def break_line(self, _, link, cell):
        point = METERS[link]
        self.right_again(point)
        self.bench.fault(point, "split", count=1, delay_ms=20)
        asked, before = self.asked(point), lab.breaks(lab.line("uart_near"))
        number = self.begin(point, cell)
        lab.until(asked, "the query")
        self.control.send_break("uart_near")
        self.end(number, cell, cell.once)
        self.assertGreater(lab.breaks(lab.line("uart_near")), before)
        self.right_again(point)


class Replies(Driver):
    """Meters: all rows but those with a class of their own."""


class Blocks(Driver):
    """Scopes, whose waveforms are long."""

    RIG = {"adapter": "tarnwerk-scope", "patience_ms": BLOCK_PATIENCE_MS}

    def unplug_during_block(self, _, link, cell):
        """Byte by byte a waveform takes two seconds; the plug is pulled once it was asked for."""
        point = SCOPES[link]
        self.right_again(point)
        self.bench.fault(point, "split", count=LASTING, delay_ms=1)
        asked = self.asked(point)

        def is_sending():
            return asked() and self.bench.commands(point)[-1].startswith(":TRACe:DATA?")

        self.pull_amid(point, link, cell, is_sending)


class Stuck(Driver):
    """A device of the bench's own can refuse to take anything."""

    def is_full(self, point):
        """Sends text until the kernel has no room for more."""
        try:
            self.client.call("talk", instrument=point, command="X" * 4096, reply=False,
                             deadline_ms=300)
            return False
        except RpcError as error:
            self.assertIn(error.data.get("reason"), (faults.NO_REPLY, faults.DEADLINE))
            return True

    def unplug_during_write(self, _, link, cell):
        point = PLUGGED[link]
        self.right_again(point)
        self.bench.fault(point, "stuck")
        lab.until(lambda: self.is_full(point), "a full line")
        number = self.begin(point, cell)
        with self.rig.daemon.client() as watcher:
            lab.until(lambda: self.state(watcher, point) == "busy", "the call to begin")
        self.rig.unplug()
        self.end(number, cell, cell.once)
        self.bench.clear()
        self.rig.plug()
        self.mended(point)

    @staticmethod
    def state(client, name):
        return next(entry["state"] for entry in client.call("instruments")
                    if entry["name"] == name)


class Devices(Stuck):
    """A USB serial device of the bench's own, which tells of line errors."""

    RIG = {"face": "acm"}

    def tell_line_errors(self, fault, link, cell):
        self.hit_replies(fault, link, cell, PLUGGED[link])


class Usb(Stuck):
    """A USBTMC meter."""

    RIG = {"face": "usb"}


class Pulled(Driver):
    """A meter whose plug is pulled amid an exchange."""

    RIG = {"patience_ms": PATIENCE_MS}


class PulledUsb(Stuck):
    """The same, on USBTMC."""

    RIG = {"face": "usb", "patience_ms": PATIENCE_MS}


class UsbBlocks(Blocks):
    """A USBTMC scope."""

    RIG = {"adapter": "tarnwerk-scope", "face": "usb", "patience_ms": BLOCK_PATIENCE_MS}


# Rows that need a rig of their own; all others are driven with meters.
CASES = {"unplug_during_block": {"usb": UsbBlocks, "serial": Blocks, "tcp": Blocks},
         "unplug_during_read": {"usb": PulledUsb, "serial": Pulled, "tcp": Pulled},
         "unplug_during_write": {"usb": PulledUsb, "serial": Devices},
         "tell_line_errors": {"serial": Devices}}


def case_of(act, link):
    return CASES.get(act, {}).get(link, Usb if link == "usb" else Replies)


def add(case, fault, link, cell):
    """A test for one cell."""
    def test(self):
        getattr(self, fault.act)(fault, link, cell)

    name = f"test_{fault.name}_{link}".replace(" ", "_").lower()
    test.__doc__ = f"{fault.name} ({link}): {fault.what}"
    setattr(case, name, test)


for row in faults.TABLE:
    for kind, promised in row.cells.items():
        if isinstance(promised, faults.Cell):
            add(case_of(row.act, kind), row, kind, promised)
