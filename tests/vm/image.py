# SPDX-License-Identifier: GPL-3.0-or-later
"""Makes the guest's kernel and first file system. Usage: image.py FOLDER

FOLDER gets `vmlinux`, `initramfs` and `udev` (the words that start udevd). The file system holds a
busybox, kernel modules and the script `init`; all else the guest takes from the machine's own
files. Nothing is made again while what it is made of is the same.
"""

import hashlib
import json
import lzma
import os
import stat
import sys
from pathlib import Path

from machine import ADAPTER_USB
from packages import Packages

HERE = Path(__file__).resolve().parent
# Modules with parameters; what they depend on is loaded before them. The UARTs are built in, and
# the driver of the USB serial adapter is the one that claims its numbers.
MODULES = (
    ("virtio_pci", ""), ("9pnet_virtio", ""), ("9p", ""),
    ("xhci_pci", ""), ("cdc_acm", ""), ("usbtmc", ""),
    ("libcomposite", ""), ("usb_f_fs", ""), ("dummy_hcd", "num=3"),
)
FOLDERS = ("bin", "dev", "proc", "sys", "run", "modules", "host")
XZ = b"\xfd7zXZ\0"


def newc(entries):
    """An uncompressed archive in the kernel's initramfs format, of (name, mode, data, device)."""
    pieces = []
    for number, (name, mode, data, device) in enumerate([*entries, ("TRAILER!!!", 0, b"", 0)], 1):
        words = (number, mode, 0, 0, 1, 0, len(data), 0, 0, os.major(device), os.minor(device),
                 len(name) + 1, 0)
        head = b"070701" + b"".join(b"%08x" % word for word in words) + name.encode() + b"\0"
        for piece in (head, data):
            pieces += [piece, b"\0" * (-len(piece) % 4)]
    return b"".join(pieces)


def uncompressed(kernel):
    """The ELF image inside a bzImage: it starts in a third of the time under emulation."""
    start = kernel.find(XZ)
    if start < 0:
        return kernel
    image = lzma.LZMADecompressor().decompress(kernel[start:])
    return image if image.startswith(b"\x7fELF") else kernel


class Modules:
    """The modules of a kernel, in an order in which they can be loaded."""

    def __init__(self, folder):
        self._paths = {path.name.split(".")[0].replace("-", "_"): path
                       for path in folder.rglob("*.ko*")}
        self.loaded = {}  # name: bytes, in order

    def that_drives(self, usb):
        """The module for a USB serial adapter VVVV:PPPP, by the aliases of which `modules.alias`
        is made (when a kernel is installed, which this one is not)."""
        alias = "alias=usb:v{}p{}d".format(*usb.upper().split(":")).encode()
        return next(name for name, path in self._paths.items()
                    if path.parent.match("drivers/usb/serial") and alias in self._read(path))

    def add(self, name):
        """Takes in a module after those it needs; one that is built in has no file."""
        if name in self.loaded or name not in self._paths:
            return
        data = self._read(self._paths[name])
        needs = data.split(b"\0depends=", 1)[1].split(b"\0", 1)[0].decode()
        for need in filter(None, needs.split(",")):
            self.add(need.replace("-", "_"))
        self.loaded[name] = data

    @staticmethod
    def _read(path):
        data = path.read_bytes()
        return lzma.decompress(data) if data.startswith(XZ) else data


def initramfs(modules, busybox, init, folders, parameters):
    """The archive: folders, console, busybox, init, modules and the order to load them in.

    modules     {name: bytes}, in that order
    init        the script that is the first process
    parameters  {name: words} of the modules that have any
    """
    order = "".join(f"{name} {parameters.get(name, '')}\n" for name in modules)
    entries = [(name, stat.S_IFDIR | 0o755, b"", 0) for name in folders]
    entries += [
        ("dev/console", stat.S_IFCHR | 0o600, b"", os.makedev(5, 1)),
        ("bin/busybox", stat.S_IFREG | 0o755, busybox, 0),
        ("init", stat.S_IFREG | 0o755, init.read_bytes(), 0),
        ("modules/order", stat.S_IFREG | 0o644, order.encode(), 0),
    ]
    entries += [(f"modules/{name}.ko", stat.S_IFREG | 0o644, data, 0)
                for name, data in modules.items()]
    return newc(entries)


def udev_words(packages):
    """How udevd is started in the guest: its program, libraries and rules, wherever they are."""
    root, kmod = packages.root("udev"), packages.root("libkmod2")
    libraries = "" if kmod == Path("/") else str(next(kmod.rglob("libkmod.so.2")).parent)
    return {"program": str((root / "bin/udevadm").resolve()), "libraries": libraries,
            "rules": str((root / "lib/udev/rules.d").resolve())}


def make(folder):
    folder.mkdir(parents=True, exist_ok=True)
    packages = Packages(folder)
    name = packages.dependency("linux-image-amd64", r"linux-image-[0-9][-.+~a-z0-9]*amd64")
    release = name.removeprefix("linux-image-")
    kernel_root = packages.root(name)
    kernel = kernel_root / "boot" / f"vmlinuz-{release}"
    busybox = packages.root("busybox-static") / "bin/busybox"
    udev = udev_words(packages)
    sources = (kernel, busybox, HERE / "init", HERE / "image.py")
    stamp = hashlib.sha256("".join(f"{path} {path.stat().st_mtime_ns}\n"
                                   for path in sources).encode()).hexdigest()
    made = folder / "made"
    if made.exists() and made.read_text() == stamp:
        return
    modules = Modules(kernel_root / "lib/modules" / release)
    for module in (*dict(MODULES), modules.that_drives(ADAPTER_USB)):
        modules.add(module)
    (folder / "vmlinux").write_bytes(uncompressed(kernel.read_bytes()))
    archive = initramfs(modules.loaded, busybox.read_bytes(), HERE / "init", FOLDERS, dict(MODULES))
    (folder / "initramfs").write_bytes(archive)
    (folder / "udev").write_text(json.dumps(udev))
    made.write_text(stamp)


if __name__ == "__main__":
    make(Path(sys.argv[1]).resolve())
