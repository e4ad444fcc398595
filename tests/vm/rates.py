# SPDX-License-Identifier: GPL-3.0-or-later
"""Inside the guest: what the driver keeps of a bare loop's speed on USB and on serial lines."""

import contextlib
import os
import re
import subprocess
import sys

import lab
from gadget import CONTROLLERS, TMC_PRODUCT, VENDOR, Gadget
from gradusd import Gradusd
from guest import MARK
from rig import LISTEN, SOURCE
from standin import StandIn

POINTS = 1000000
ROUNDS = 3
USB_BENCH = """
instruments = ( {{ name = "scope"; type = "tarnwerk-scope"; listen = "{usb}"; }} );
sources = ( {{ name = "rail"; kind = "dc"; level = 5.0; }} );
connections = ( {{ instrument = "scope"; input = 1; source = "rail"; }} );
"""
LINE_BENCH = """
instruments = ( {{ name = "uart"; type = "tarnwerk-meter"; listen = "tty:{far}"; baud = 115200;
                  conversion_ms = {conversion}; }} );
sources = ( {{ name = "rail"; kind = "dc"; level = 5.0; }} );
connections = ( {{ instrument = "uart"; input = 1; source = "rail"; }} );
"""
SETTINGS = """
profiles = "{profiles}";
instruments = ( {{ name = "uart"; profile = "tarnwerk-meter"; link = "serial:{near}";
                  serial = {{ baud = 115200; }}; }} );
points = ( {{ name = "uart"; instrument = "uart"; input = 1; probe = "direct"; expected = 5.0;
             quantity = "dc voltage"; }} );
"""


def run(*words):
    return subprocess.run([os.environ["BENCHMARK"], *words], capture_output=True, text=True,
                          check=False)


def benchmark(*words):
    seen = run(*words)
    for line in (seen.stdout + seen.stderr).splitlines():
        print(MARK + line, flush=True)
    return seen.returncode == 0


def lines(name, node, settings):
    """Rounds in turns, so that neither side has the quieter machine; a daemon keeps the line, so
    that each round has one of its own."""
    through = bare = 0.0
    for _ in range(ROUNDS):
        with Gradusd(os.environ["GRADUSD"], settings) as daemon:
            seen = run("line", name, node, daemon.unix, "uart", ":READ?;*OPC?")
        found = re.search(r"\(([0-9.]+) over ([0-9.]+)\)", seen.stdout)
        if not found:
            print(MARK + seen.stdout + seen.stderr, flush=True)
            return False
        through += float(found.group(1)) / ROUNDS
        bare += float(found.group(2)) / ROUNDS
    print(f"{MARK}{name}: readings/s over a bare libserialport loop, repeating: "
          f"{through / bare:.3f} ({through:.0f} over {bare:.0f})", flush=True)
    return True


def usb_block(bench_text):
    bench = StandIn(os.environ["STANDIN"], bench_text, own_sockets=False)
    try:
        lab.until(lambda: lab.usb_port(VENDOR, TMC_PRODUCT), "the device")
        return benchmark("block", f"usb:{VENDOR:04x}:{TMC_PRODUCT:04x}",
                         f":FORMat:DATA INTeger,8;:SENSe:SWEep:POINts {POINTS};"
                         ":INITiate:IMMediate\n", ":TRACe:DATA? CH1\n")
    finally:
        bench.stop()


def serial_line(conversion):
    text = LINE_BENCH.format(far=lab.line("uart_far"), conversion=conversion)
    bench = StandIn(os.environ["STANDIN"], text, own_sockets=False)
    near = lab.line("uart_near")
    try:
        settings = SETTINGS.format(profiles=os.path.join(SOURCE, "config", "profiles"), near=near)
        return lines(f"serial, UART, {conversion} ms conversion", near, settings)
    finally:
        bench.stop()


def main():
    device = Gadget("usb", TMC_PRODUCT, "LARK0003")
    with contextlib.closing(device):
        usb = LISTEN.format(face="usb", mount=device.mount, folder=device.folder,
                            controller=CONTROLLERS[0])
        good = usb_block(USB_BENCH.format(usb=usb))
    for conversion in (1, 0):
        good &= serial_line(conversion)
    return 42 if good else 1


if __name__ == "__main__":
    sys.exit(main())
