# SPDX-License-Identifier: GPL-3.0-or-later
"""USB devices of the simulated bench: gadgets whose function is a program behind a FunctionFS.

The guest's dummy controllers are both ends of a cable each, so what is bound to one of them is
found by the same kernel as a device that somebody plugged in.
"""

import contextlib
import os
import subprocess
from pathlib import Path

CONFIGFS = Path("/sys/kernel/config/usb_gadget")
CONTROLLERS = ("dummy_udc.0", "dummy_udc.1", "dummy_udc.2")
# Invented, from the numbers that an open registry keeps for tests.
VENDOR = 0x1209
TMC_PRODUCT, ACM_PRODUCT = 0x0001, 0x0002


class Gadget:
    """A gadget ready for a program to write its descriptors into `mount`/ep0.

    folder  the configfs folder, where it is plugged in and out
    mount   the FunctionFS
    """

    def __init__(self, name, product, serial):
        self.folder, self.mount = CONFIGFS / name, Path("/run") / name
        self._function = self.folder / "functions" / f"ffs.{name}"
        self._config = self.folder / "configs" / "c.1"
        strings = self.folder / "strings" / "0x409"
        for place in (self._function, self._config, strings, self.mount):
            place.mkdir(parents=True)
        for path, text in ((self.folder / "idVendor", hex(VENDOR)),
                           (self.folder / "idProduct", hex(product)),
                           (self.folder / "bcdUSB", "0x0200"),
                           (strings / "manufacturer", "Larkrise"),
                           (strings / "product", name),
                           (strings / "serialnumber", serial)):
            path.write_text(text)
        os.symlink(self._function, self._config / self._function.name)
        subprocess.run(["mount", "-t", "functionfs", name, self.mount], check=True)

    def close(self):
        """Takes it apart; the program must have closed its files."""
        with contextlib.suppress(OSError):  # it may be plugged in nowhere
            (self.folder / "UDC").write_text("\n")
        subprocess.run(["umount", self.mount], check=True)
        (self._config / self._function.name).unlink()
        for place in (self._config, self._function, self.folder / "strings" / "0x409", self.folder,
                      self.mount):
            place.rmdir()
