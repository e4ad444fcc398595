# SPDX-License-Identifier: GPL-3.0-or-later
"""What can go wrong between daemon and instrument, and what is promised of each: one table.

A row is a fault, a column a kind of link. guest_faults.py drives each cell in the guest and holds
the daemon to it; FAULTS.md is written from it (faults_page.py). Whatever the cell says, the call
ends within its deadline and a second, no value it gives is wrong, and when the fault is over the
same point reads right again.
"""

from dataclasses import dataclass, field

LINKS = ("tcp", "serial", "usb")

# Outcomes: the right value, or the reason of core/basics/failure.h for which there is none.
VALUE = "right value"
NO_REPLY = "no reply in time"
DEADLINE = "deadline passed"
DOWN = "link down"
UNEXPECTED = "unexpected reply"
BABBLE = "instrument will not stop sending"
WRONG = "wrong instrument"
DAMAGED = "line errors during the exchange"


@dataclass(frozen=True)
class Cell:
    """once: outcomes when the fault comes and goes; lasting: when it stays (empty: not driven)."""

    once: tuple = ()
    lasting: tuple = ()
    deadline_s: float = 4.0


def pulled(once):
    """A cell of a call that a plug is pulled of: the plug has to be what ends it."""
    return Cell(once, deadline_s=60.0)


@dataclass(frozen=True)
class Never:
    """A fault that this kind of link cannot have, and why where it is not plain."""

    why: str


@dataclass(frozen=True)
class Fault:
    """act: the method of guest_faults.py that drives it; arm: what it arms at the simulated bench.

    A link that is not in `cells` cannot have the fault.
    """

    name: str
    what: str
    act: str
    cells: dict
    arm: dict = field(default_factory=dict)


def reply_fault(name, what, lasting, **arm):
    """A fault of replies: hit by one, the daemon asks anew; hit by all, it gives a reason."""
    cell = Cell((VALUE,), lasting)
    return Fault(name, what, "hit_replies", {"tcp": cell, "serial": cell, "usb": cell}, arm)


def line_fault(name, what, **arm):
    """Where even the identity comes damaged each time, that is what there is to tell."""
    cell = Cell((VALUE,), (DAMAGED, WRONG, UNEXPECTED))
    return Fault(name, what, "tell_line_errors", {"serial": cell}, arm)


def device_fault(name, what, lasting, **arm):
    return Fault(name, what, "hit_replies", {"usb": Cell((VALUE,), lasting)}, arm)


TABLE = (
    reply_fault("no reply", "The query is taken and nothing comes back.",
                (NO_REPLY,), kind="silent"),
    reply_fault("late reply", "The reply comes when it is no longer waited for.",
                (NO_REPLY, UNEXPECTED, DEADLINE), kind="late", delay_ms=700),
    reply_fault("half a reply", "Half the reply, then silence.",
                (NO_REPLY, UNEXPECTED), kind="half"),
    reply_fault("single bytes", "The reply comes byte by byte: slow, and right.",
                (VALUE,), kind="split", delay_ms=2),
    reply_fault("two replies glued", "The whole reply twice in one piece.",
                (UNEXPECTED, NO_REPLY), kind="glued"),
    reply_fault("two replies joined", "The reply twice, no end between the two.",
                (UNEXPECTED, NO_REPLY), kind="joined"),
    reply_fault("garbage before", "Bytes of no meaning before the reply.",
                (UNEXPECTED, NO_REPLY, WRONG), kind="garbage"),
    Fault("endless babble", "Replies without end that nobody asked for, each a plausible number.",
          "hit_replies",
          {"tcp": Cell((), (BABBLE, UNEXPECTED, NO_REPLY)),
           "serial": Cell((), (BABBLE, UNEXPECTED, NO_REPLY)),
           "usb": Cell((), (BABBLE, UNEXPECTED, NO_REPLY, WRONG))},
          {"kind": "babble"}),
    Fault("wrong identity after return", "The link comes back with another instrument at it.",
          "return_as_another",
          {"tcp": Cell((WRONG,)), "serial": Cell((WRONG,)), "usb": Cell((WRONG,))},
          {"kind": "wrong_identity"}),
    Fault("unplug when idle", "The plug is pulled between two measurements.", "unplug_idle",
          {"tcp": Cell((VALUE,)), "serial": Cell((DOWN,)), "usb": Cell((DOWN,))}),
    Fault("unplug during write", "The plug is pulled while a command is held back on its way out.",
          "unplug_during_write",
          {"tcp": Never("a connection holds more than any command"),
           "serial": pulled((DOWN,)), "usb": pulled((DOWN,))}),
    Fault("unplug during read", "The plug is pulled while the reply is awaited.",
          "unplug_during_read",
          {"tcp": pulled((VALUE, DOWN)), "serial": pulled((DOWN,)), "usb": pulled((DOWN,))}),
    Fault("unplug during a block", "The plug is pulled in the middle of a waveform.",
          "unplug_during_block",
          {"tcp": pulled((VALUE, DOWN)), "serial": pulled((DOWN,)), "usb": pulled((DOWN,))}),
    Fault("return under another name", "Pulled and plugged in again, with another node.",
          "return_renamed", {"serial": Cell((VALUE,))}),
    Fault("return on another port", "Pulled and plugged in again somewhere else.",
          "return_elsewhere", {"usb": Cell((VALUE,))}),
    line_fault("framing error", "A byte of the reply is wrong, and the line says so.",
               kind="framing"),
    line_fault("parity error", "A bit of the reply is wrong, and the line says so.",
               kind="parity"),
    line_fault("overrun", "A byte of the reply is lost, and the line says so.", kind="overrun"),
    line_fault("break amid a reply", "The device tells of a break while a reply comes.",
               kind="break"),
    Fault("break", "The line is broken off while a reply comes.", "break_line",
          {"serial": Cell((VALUE, DAMAGED))}),
    Fault("stuck flow control", "The instrument says stop and never go.",
          "stop_flow", {"serial": Cell((NO_REPLY, DEADLINE))}),
    device_fault("halted endpoint", "The device halts an endpoint, and the reply is lost.",
                 (UNEXPECTED, NO_REPLY), kind="halted"),
    device_fault("wrong bTag", "A reply carries the tag of another request.",
                 (UNEXPECTED,), kind="wrong_tag"),
    device_fault("wrong message id", "A message that is no answer comes in place of one.",
                 (UNEXPECTED,), kind="wrong_message"),
    device_fault("oversize TransferSize", "A header announces more than it sends.",
                 (UNEXPECTED,), kind="size_larger"),
    device_fault("undersize TransferSize", "A header announces less than it sends.",
                 (UNEXPECTED,), kind="size_smaller"),
    device_fault("truncated header", "The transfer ends within its header.",
                 (UNEXPECTED,), kind="short_header"),
    device_fault("no end", "The reply has no end of message.",
                 (UNEXPECTED, NO_REPLY, DEADLINE), kind="no_end"),
)
