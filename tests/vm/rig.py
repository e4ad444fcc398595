# SPDX-License-Identifier: GPL-3.0-or-later
"""One simulated bench with a daemon before it, over TCP, a bare UART and something on USB."""

import os
import pathlib
import re
import shutil
import tempfile
import unittest

import lab
from bridge import Bridge
from gadget import ACM_PRODUCT, CONTROLLERS, TMC_PRODUCT, VENDOR, Gadget
from gradusd import Gradusd, RpcError
from machine import ADAPTER_SERIAL, ADAPTER_USB
from standin import StandIn

SOURCE = os.environ["GRADUS_SOURCE"]
BY_USB = f"serial:usb:{ADAPTER_USB}:{ADAPTER_SERIAL}"
# Two true values in one range: what comes late from before the change is a wrong number after it.
LEVELS = (1.25, 0.75)

BENCH = """
instruments = (
    {{ name = "net"; type = "tarnwerk-meter"; listen = "tcp:127.0.0.1:0"; conversion_ms = 0;
       error_fraction = 0; }},
    {{ name = "uart"; type = "tarnwerk-meter"; listen = "unix:{folder}/uart.sock"; conversion_ms = 0;
       error_fraction = 0; }},
    {{ name = "adapter"; type = "{adapter}"; listen = "{listen}"; conversion_ms = 0;
       error_fraction = 0; }},
    {{ name = "net_scope"; type = "tarnwerk-scope"; listen = "tcp:127.0.0.1:0"; error_fraction = 0; }}
);
sources = ( {{ name = "rail"; kind = "dc"; level = 1.25; }} );
connections = (
    {{ instrument = "net"; input = 1; source = "rail"; }},
    {{ instrument = "uart"; input = 1; source = "rail"; }},
    {{ instrument = "adapter"; input = 1; source = "rail"; }},
    {{ instrument = "net_scope"; input = 1; source = "rail"; }}
);
"""

SETTINGS = """
server = {{ talk = true; }};
profiles = "profiles";
instruments = (
    {{ name = "net"; profile = "tarnwerk-meter"; link = "{net}"; }},
    {{ name = "uart"; profile = "tarnwerk-meter"; link = "{uart}"; serial = {{ {line} }}; }},
    {{ name = "adapter"; profile = "{adapter_type}"; link = "{adapter}";
       {adapter_line} }},
    {{ name = "net_scope"; profile = "tarnwerk-scope"; link = "{net_scope}"; }}
);
points = (
    {{ name = "net"; instrument = "net"; input = 1; probe = "direct"; expected = 1.25;
       quantity = "dc voltage"; }},
    {{ name = "uart"; instrument = "uart"; input = 1; probe = "direct"; expected = 1.25;
       quantity = "dc voltage"; }},
    {{ name = "adapter"; instrument = "adapter"; input = 1; probe = "direct"; expected = 1.25;
       quantity = "dc voltage"; }},
    {{ name = "net_scope"; instrument = "net_scope"; input = 1; probe = "direct"; expected = 1.25;
       quantity = "dc voltage"; }}
);
"""

# Instruments that are USB devices themselves: the product and serial number of each face.
FACES = {"acm": (ACM_PRODUCT, "LARK0002"), "usb": (TMC_PRODUCT, "LARK0003")}
LISTEN = '{face}:{mount}"; gadget = "{folder}"; udc = "{controller}'


def link_of(face):
    """The link that finds the rig's instrument "adapter" on USB."""
    if face is None:
        return BY_USB
    product, serial = FACES[face]
    return f"{'serial:' if face == 'acm' else ''}usb:{VENDOR:04x}:{product:04x}:{serial}"


class Rig:
    """Everything that a class of tests needs. Times to answer are short: faults cost little.

    adapter  type of the instrument "adapter", which is on USB
    face     how: "acm" and "usb", it is a serial or a USBTMC device; None, behind a serial adapter
    patience_ms  times to answer
    """

    def __init__(self, adapter="tarnwerk-meter", face=None, patience_ms=400.0):
        self.folder = tempfile.mkdtemp(prefix="rig-")
        self._type, self._face, self._patience_ms = adapter, face, patience_ms
        self._open = []
        self.daemon = None
        try:
            self.control = self._keep(lab.Control())
            listen = self._device() if face else f"unix:{self.folder}/adapter.sock"
            self.bench = StandIn(os.environ["STANDIN"],
                                  BENCH.format(folder=self.folder, adapter=adapter, listen=listen),
                                  own_sockets=False)
            self._open.append(self.bench.stop)
            self.uart = self._keep(Bridge(lab.line("uart_far"), f"{self.folder}/uart.sock"))
            if not face:
                self._keep(Bridge(lab.line("adapter_far"), f"{self.folder}/adapter.sock"))
            self._write_profiles()
            self.wait_plugged()
        except BaseException:
            self.close()
            raise

    def _device(self):
        product, serial = FACES[self._face]
        device = self._keep(Gadget(self._face, product, serial))
        return LISTEN.format(face=self._face, mount=device.mount, folder=device.folder,
                             controller=CONTROLLERS[0])

    def port(self):
        """Bus and port of the device of the bench's own, as the kernel names it; None: not there."""
        return lab.usb_port(VENDOR, FACES[self._face][0])

    def wait_plugged(self):
        """Returns once the kernel has a device of the bench's own ready."""
        if self._face:
            lab.until(self.port, "the device")
        if self._face == "acm":
            lab.until(lambda: os.path.exists("/dev/ttyACM0"), "the device's node")

    def unplug(self):
        """Pulls the instrument on USB and returns when the kernel has noticed."""
        if not self._face:
            self.control.unplug()
            return
        self.bench.unplug("adapter")
        lab.until(lambda: self.port() is None, "the device's end")

    def plug(self, controller=None):
        """Plugs it in, into another controller when one is named, and waits for the kernel."""
        if not self._face:
            self.control.plug()
            return
        self.bench.plug("adapter", controller)
        self.wait_plugged()

    def is_plugged(self):
        return bool(self.port() if self._face else lab.adapters())

    def _keep(self, thing):
        self._open.append(thing.close)
        return thing

    def _write_profiles(self):
        for path in pathlib.Path(SOURCE, "config", "profiles").glob("*.cfg"):
            text = re.sub(r"(reply_ms|extra_ms) = [0-9.]+", rf"\g<1> = {self._patience_ms}",
                          path.read_text())
            text = re.sub(r"quiet_ms = [0-9.]+", "quiet_ms = 30.0", text)
            pathlib.Path(self.folder, path.name).write_text(text)

    def start(self, line='flow = "xon/xoff";', **links):
        """Starts the daemon, or starts it anew, with other links or line settings."""
        self.end_daemon()
        places = {name: self.bench.address(name) for name in ("net", "net_scope")}
        places |= {"uart": "serial:" + lab.line("uart_near"), "adapter": link_of(self._face)}
        places |= links
        adapter_line = "" if places["adapter"].startswith("usb:") else f"serial = {{ {line} }};"
        self.daemon = Gradusd(os.environ["GRADUSD"],
                              SETTINGS.format(line=line, adapter_line=adapter_line,
                                              adapter_type=self._type, **places),
                              self.folder)
        return self.daemon.client()

    def end_daemon(self):
        if self.daemon is not None:
            daemon, self.daemon = self.daemon, None
            status = daemon.stop()
            if status != 0:
                raise AssertionError(f"gradusd ended with status {status}\n{daemon.log}")

    def close(self):
        try:
            self.end_daemon()
        finally:
            for end in reversed(self._open):
                end()
            shutil.rmtree(self.folder)


class RigCase(unittest.TestCase):
    """Tests on one rig; each begins with all plugged in, no fault and the first level."""

    RIG = {}  # the rig's arguments

    @classmethod
    def setUpClass(cls):
        cls.rig = Rig(**cls.RIG)
        cls.addClassCleanup(cls.rig.close)
        cls.bench, cls.control = cls.rig.bench, cls.rig.control

    def setUp(self):
        self.bench.clear()
        self.set_level(LEVELS[0])

    def set_level(self, level):
        self.level = level
        self.bench.set_source("rail", level=level)

    def assert_right(self, reading):
        self.assertLessEqual(abs(reading["value"] - self.level), reading["uncertainty"], reading)

    def refused(self, client, point, **parameters):
        with self.assertRaises(RpcError) as caught:
            client.call("measure", point=point, **parameters)
        return caught.exception
