# SPDX-License-Identifier: GPL-3.0-or-later
"""USB as a user meets it: instruments that come and go, another host, a long block, a scan."""

import os
import re
import subprocess
import tempfile
import threading
import time
import unittest
from pathlib import Path

import lab
from gadget import ACM_PRODUCT, CONTROLLERS, TMC_PRODUCT, VENDOR, Gadget
from gradusd import Gradusd, RpcError
from machine import ADAPTER_USB
from rig import LISTEN, SOURCE, RigCase, link_of
from standin import StandIn

KERNEL_NODE = "/dev/usbtmc0"
PROFILES = os.path.join(SOURCE, "config", "profiles")


def kernel_query(text, size=4096):
    """Asks through the kernel's own USBTMC driver, a host that shares no line of code with ours."""
    node = lab.until(lambda: os.path.exists(KERNEL_NODE) and KERNEL_NODE, "the kernel's node")
    descriptor = os.open(node, os.O_RDWR)
    try:
        os.write(descriptor, text.encode())
        return os.read(descriptor, size)
    finally:
        os.close(descriptor)


def gradus(*words):
    return subprocess.run([os.environ["GRADUS"], *words], capture_output=True, text=True,
                          check=False)


class Device(RigCase):
    """The meter of the rig as a USBTMC device."""

    RIG = {"face": "usb"}

    def setUp(self):
        super().setUp()
        self.client = self.rig.start()
        self.addCleanup(self.plug_again)

    def plug_again(self):
        self.rig.end_daemon()
        if not self.rig.is_plugged():
            self.rig.plug()

    def state(self, name="adapter"):
        return next(entry for entry in self.client.call("instruments") if entry["name"] == name)

    def until_state(self, wanted):
        lab.until(lambda: self.state()["state"] == wanted, f"state {wanted}")

    def test_another_host_understands_it(self):
        """So that our driver and our device are not wrong together."""
        self.rig.end_daemon()
        self.assertRegex(kernel_query("*IDN?\n"), rb"^TARNWERK,BENCH METER,\d+,[^,\n]+\n$")
        value = float(kernel_query(':ROUTe:CLOSe (@1);:SENSe:FUNCtion "VOLTage:DC";'
                                   ":SENSe:VOLTage:DC:RANGe 2;:READ?\n"))
        self.assertLess(abs(value - self.level), 0.01)

    def test_the_kernels_driver_gets_it_back(self):
        lab.until(lambda: os.path.exists(KERNEL_NODE), "the kernel's node")
        self.assert_right(self.client.call("measure", "adapter"))
        self.assertFalse(os.path.exists(KERNEL_NODE))
        self.rig.end_daemon()
        self.assertTrue(kernel_query("*IDN?\n").startswith(b"TARNWERK,BENCH METER,"))

    def test_it_goes_and_comes_back_somewhere_else(self):
        self.assert_right(self.client.call("measure", "adapter"))
        self.rig.unplug()
        begun = time.monotonic()
        self.until_state("down")
        self.assertLessEqual(time.monotonic() - begun, 1.0)
        self.assertEqual(self.state()["failure"]["reason"], "link down")
        self.assert_right(self.client.call("measure", "net"))
        self.assertEqual(self.refused(self.client, "adapter").data["reason"], "link down")
        self.assertEqual(self.state("net")["state"], "idle")

        self.set_level(0.75)
        seen = self.bench.counters("adapter")["commands"]
        self.rig.plug(CONTROLLERS[2])
        self.until_state("idle")
        told = self.bench.commands("adapter", self.bench.counters("adapter")["commands"] - seen)
        told = [text.strip() for text in told]
        self.assertEqual(told[0], "*IDN?")
        self.assertIn("*CLS", told)
        self.assertFalse([text for text in told if "READ" in text])
        seen += len(told)
        self.assert_right(self.client.call("measure", "adapter"))
        told = " ".join(self.bench.commands("adapter",
                                            self.bench.counters("adapter")["commands"] - seen))
        for setting in (":ROUTe:CLOSe", ":SENSe:FUNCtion", "RANGe"):
            self.assertIn(setting, told)

    def test_requests_that_wait_end_with_a_reason(self):
        self.assert_right(self.client.call("measure", "adapter"))
        self.bench.fault("adapter", "silent", count=1000)
        waiting = [self.client.send("measure", point="adapter", deadline_ms=20000)
                   for _ in range(4)]
        lab.until(lambda: self.state()["state"] == "busy", "the first at work")
        self.rig.unplug()
        self.assertEqual([self.reason_of(number) for number in waiting], ["link down"] * 4)

    def reason_of(self, number):
        with self.assertRaises(Exception) as caught:
            self.client.wait(number)
        return caught.exception.data["reason"]

    def test_another_serial_number_is_not_ours(self):
        client = self.rig.start(adapter=f"usb:{VENDOR:04x}:{TMC_PRODUCT:04x}:LARK0099")
        self.assertEqual(self.refused(client, "adapter").data["reason"], "link down")

    def test_found_by_its_serial_number_alone(self):
        client = self.rig.start(adapter="usb:serial:LARK0003")
        self.assert_right(client.call("measure", "adapter"))

    def test_a_scan_prints_what_can_be_pasted(self):
        self.rig.end_daemon()
        link = link_of("usb")
        seen = gradus("instruments", "--scan", "--identify", link, "--profiles", PROFILES)
        self.assertEqual(seen.returncode, 0, seen.stderr)
        self.assertIn("Larkrise", seen.stdout)
        self.assertIn(f"serial:usb:{ADAPTER_USB}:", seen.stdout)
        self.assertIn("serial:" + lab.line("uart_near"), seen.stdout)
        stanzas = re.findall(r'\{ name = "[^{}]*\};?', seen.stdout, re.S)
        stanza = next(text for text in stanzas if link in text)
        self.assertIn('profile = "tarnwerk-meter"', stanza)
        name = re.search(r'name = "([^"]+)"', stanza).group(1)
        settings = f"""
profiles = "{PROFILES}";
instruments = ( {stanza.rstrip(';')} );
points = ( {{ name = "rail"; instrument = "{name}"; input = 1; probe = "direct";
              quantity = "dc voltage"; expected = 1.25; }} );
"""
        with Gradusd(os.environ["GRADUSD"], settings, self.rig.folder) as daemon:
            self.assert_right(daemon.client().call("measure", "rail"))


class CutBlock(RigCase):
    """A scope that may take a minute for an answer, and whose block stops in the middle."""

    RIG = {"adapter": "tarnwerk-scope", "face": "usb", "patience_ms": 60000.0}
    DEADLINE_MS = 3000
    # What a machine that is busy may add; a minute's wait is beyond both together.
    LATE_S = 57.0

    @classmethod
    def setUpClass(cls):
        super().setUpClass()
        path = Path(cls.rig.folder, "tarnwerk-scope.cfg")
        text = path.read_text(encoding="utf-8").replace("points = 2000;", "points = 200000;")
        text = text.replace("bandwidth = 100e6;", "bandwidth = 1e6;")
        path.write_text(text.replace("reply_limit = 65536;", "reply_limit = 1000000;"),
                        encoding="utf-8")

    def run_cut(self, fault):
        client = self.rig.start()
        self.assert_right(client.call("measure", point="adapter", deadline_ms=60000))
        for chance in (0.3, 0.5):
            # One of the record's answers: the first ones are short, the block comes behind them.
            self.bench.fault("adapter", fault, count=1, probability=chance)
            begun = time.monotonic()
            try:
                self.assert_right(client.call("measure", point="adapter",
                                              deadline_ms=self.DEADLINE_MS))
            except RpcError as error:
                self.assertIn(error.data["reason"],
                              ("deadline passed", "no reply in time", "unexpected reply",
                               "link down"))
            self.assertLess(time.monotonic() - begun, self.DEADLINE_MS / 1000 + self.LATE_S)
            self.bench.clear("adapter")
            begun = time.monotonic()
            self.assert_right(client.call("measure", point="adapter", deadline_ms=20000))
            self.assertLess(time.monotonic() - begun, 20 + self.LATE_S)

    def test_half_a_block_ends_by_the_deadline(self):
        self.run_cut("half")

    def test_a_block_without_an_end(self):
        self.run_cut("no_end")

    def test_nothing_at_all(self):
        self.run_cut("silent")


class Listing(RigCase):
    """Ports that go and come while they are listed."""

    RIG = {"face": "acm"}
    SCANS = 6

    def test_a_port_that_vanishes_costs_nothing_but_itself(self):
        self.rig.end_daemon()
        stop = threading.Event()
        seen = []

        def scan():
            while not stop.is_set():
                seen.append(gradus("instruments", "--scan"))

        scanning = threading.Thread(target=scan)
        scanning.start()
        try:
            while len(seen) < self.SCANS:
                self.rig.unplug()
                self.rig.plug()
        finally:
            stop.set()
            scanning.join()
        for result in seen:
            self.assertEqual(result.returncode, 0, result.stderr)
            self.assertIn("serial:" + lab.line("uart_near"), result.stdout)


class Rules(RigCase):
    """config/60-gradus.rules under the real udevd; a number stands for the group, which is not here."""

    RIG = {"face": "usb"}
    GROUP = 20
    PLACE = Path("/run/udev/rules.d/60-gradus.rules")

    @staticmethod
    def udevadm(*words):
        environment = dict(os.environ, LD_LIBRARY_PATH=os.environ["UDEV_LIBRARIES"],
                           SYSTEMD_IGNORE_CHROOT="1")
        return subprocess.run(["/run/program/udevadm", *words], env=environment, check=True,
                              capture_output=True, text=True)

    def reload(self):
        """Has the rules read anew; the answer to a ping says that this was heard."""
        self.udevadm("control", "--reload")
        self.udevadm("control", "--ping")

    def remove(self):
        self.PLACE.unlink()
        self.reload()

    def node(self):
        folder = Path("/sys/bus/usb/devices", self.rig.port())
        return "/dev/bus/usb/{:03}/{:03}".format(*(int((folder / name).read_text())
                                                   for name in ("busnum", "devnum")))

    def test_the_group_may_and_nobody_else(self):
        text = Path(SOURCE, "config", "60-gradus.rules").read_text(encoding="utf-8")
        self.PLACE.write_text(text.replace('GROUP="gradus"', f'GROUP="{self.GROUP}"'),
                              encoding="utf-8")
        self.addCleanup(self.remove)
        self.reload()
        self.rig.unplug()
        self.rig.plug()
        lab.until(lambda: os.stat(self.node()).st_gid == self.GROUP, "the group")
        self.assertEqual(os.stat(self.node()).st_mode & 0o777, 0o660)
        self.rig.control.unplug()
        self.rig.control.plug()
        timer = Path("/sys/bus/usb-serial/devices", os.path.basename(lab.adapters()[0]),
                     "latency_timer")
        lab.until(lambda: timer.read_text().strip() == "1", "a latency timer of 1 ms")


class Demonstration(unittest.TestCase):
    """Every point of the demonstration's rack with one meter and one scope on USB or serial."""

    def place(self, instruments):
        """The rack's two files with these instruments on faces of their own: {name: face}."""
        bench = Path(SOURCE, "tools", "standin", "larkrise.cfg").read_text(encoding="utf-8")
        settings = Path(SOURCE, "config", "demo.cfg").read_text(encoding="utf-8")
        bench = re.sub(r"tcp:127\.0\.0\.1:\d+", "tcp:127.0.0.1:0", bench)
        for controller, (name, face) in zip(CONTROLLERS, instruments.items()):
            product, serial = {"usb": (TMC_PRODUCT, "LARK0003"),
                               "acm": (ACM_PRODUCT, "LARK0002")}[face]
            device = Gadget(face, product, serial)
            self.addCleanup(device.close)
            listen = LISTEN.format(face=face, mount=device.mount, folder=device.folder,
                                   controller=controller)
            bench = re.sub(rf'(name = "{name}"; type = "[^"]+"; listen = ")[^"]*', rf"\g<1>{listen}",
                           bench)
            settings = re.sub(rf'(name = "{name}";\s+profile = "[^"]+";\s+link = ")[^"]*',
                              rf"\g<1>{link_of(face)}", settings)
        return bench, settings

    def measure_all(self, instruments):
        text, settings = self.place(instruments)
        bench = StandIn(os.environ["STANDIN"], text, own_sockets=False)
        self.addCleanup(bench.stop)
        for name in set(("meter_a", "meter_b", "scope_a", "scope_b")) - set(instruments):
            settings = re.sub(rf'(name = "{name}";\s+profile = "[^"]+";\s+link = ")[^"]*',
                              rf"\g<1>{bench.address(name)}", settings)
        for face in instruments.values():
            product = TMC_PRODUCT if face == "usb" else ACM_PRODUCT
            lab.until(lambda product=product: lab.usb_port(VENDOR, product), "the device")
        settings = re.sub(r"server = \{.*?\};\n\};", "", settings, flags=re.S)
        settings = settings.replace('profiles = "profiles"', f'profiles = "{PROFILES}"')
        with Gradusd(os.environ["GRADUSD"], settings) as daemon:
            seen = gradus("measure", "--all", "--json", "--socket", "unix:" + daemon.unix,
                          "--deadline", "30000")
            self.assertEqual(seen.returncode, 0, seen.stdout + seen.stderr + daemon.log)
            self.assertEqual(daemon.stop(), 0)

    def test_meter_on_usb_scope_on_a_serial_line(self):
        self.measure_all({"meter_a": "usb", "scope_a": "acm"})

    def test_scope_on_usb_meter_on_a_serial_line(self):
        self.measure_all({"scope_a": "usb", "meter_a": "acm"})


class Block(unittest.TestCase):
    """A record of a million bytes, compared with what the kernel's driver reads of it."""

    POINTS = 1000000
    BENCH = """
instruments = ( {{ name = "scope"; type = "tarnwerk-scope"; listen = "{listen}"; }} );
sources = ( {{ name = "hum"; kind = "sine"; amplitude = 1.0; frequency = 60.0; noise = 0.02; }} );
connections = ( {{ instrument = "scope"; input = 1; source = "hum"; }} );
"""
    SETTINGS = """
profiles = "profiles";
instruments = ( {{ name = "scope"; profile = "tarnwerk-scope"; link = "{link}"; }} );
points = ( {{ name = "hum"; instrument = "scope"; input = 1; probe = "direct";
             quantity = "peak-to-peak voltage"; expected = 2.0; dc_level = 0.0; frequency = 60.0;
             record = 0.1; }} );
"""

    def test_a_megabyte_byte_for_byte(self):
        device = Gadget("usb", TMC_PRODUCT, "LARK0003")
        self.addCleanup(device.close)
        listen = LISTEN.format(face="usb", mount=device.mount, folder=device.folder,
                               controller=CONTROLLERS[0])
        bench = StandIn(os.environ["STANDIN"], self.BENCH.format(listen=listen),
                         own_sockets=False)
        self.addCleanup(bench.stop)
        lab.until(lambda: lab.usb_port(VENDOR, TMC_PRODUCT), "the device")
        folder = self.enterContext(tempfile.TemporaryDirectory(prefix="block-"))
        profile = Path(PROFILES, "tarnwerk-scope.cfg").read_text(encoding="utf-8")
        profile = profile.replace("points = 2000;", f"points = {self.POINTS};")
        profile = profile.replace("reply_limit = 65536;", "reply_limit = 2000000;")
        # So slow an input lets no alias through: one look is enough, and the device still holds it.
        profile = profile.replace("bandwidth = 100e6;", "bandwidth = 1e6;")
        profile = re.sub(r"(reply_ms|extra_ms) = [0-9.]+", r"\1 = 120000.0", profile)
        Path(folder, "tarnwerk-scope.cfg").write_text(profile, encoding="utf-8")
        with Gradusd(os.environ["GRADUSD"], self.SETTINGS.format(link=link_of("usb")),
                     folder) as daemon:
            seen = daemon.client().call("capture", point="hum", samples=self.POINTS,
                                        deadline_ms=280000)
            self.assertEqual(daemon.stop(), 0)
        block = kernel_query(":TRACe:DATA? CH1\n", 2 * self.POINTS)
        self.assertEqual(block[:9], b"#71000000")
        theirs = block[9:9 + self.POINTS]
        step = seen["range"]["volts_per_division"] / 32
        samples = seen["samples"]
        self.assertEqual(len(samples), self.POINTS)
        first = samples[0]
        signed = theirs[0] - 256 if theirs[0] > 127 else theirs[0]
        ours = bytes((round((volts - first) / step) + signed) & 0xff for volts in samples)
        self.assertGreater(len(set(ours)), 50)
        self.assertEqual(ours == theirs, True)
        self.assertEqual(block[9 + self.POINTS:], b"\n")
