# SPDX-License-Identifier: GPL-3.0-or-later
"""Makes a Debian 12 disk with systemd in which the packages are to be installed. Usage:
image.py FOLDER PACKAGES VM

PACKAGES is the folder of tools/package, VM that of tests/vm/image.py, whose kernel is used. FOLDER
gets `disk` (ext2, holding what the packages depend on and not the packages) and `initramfs`. Nothing
is made again while what it is made of is the same; no privilege is needed.
"""

import hashlib
import os
import re
import subprocess
import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent / "vm"))

from image import Modules, initramfs  # noqa: E402
from packages import Packages, output  # noqa: E402

MODULES = ("virtio_pci", "9pnet_virtio", "9p", "virtio_blk", "crc32c_generic", "ext4", "autofs4")
FOLDERS = ("bin", "dev", "proc", "sys", "modules", "disk")
# A small system as an administrator has it, and Python for the tests.
SYSTEM = ("systemd", "systemd-sysv", "udev", "dbus", "python3")


def dependencies(packages):
    """What the packages depend on beside each other."""
    names = set()
    for path in sorted(packages.glob("*.deb")):
        for group in output("dpkg-deb", "--field", str(path), "Depends").strip().split(","):
            name = re.split(r"[ (|]", group.strip(), maxsplit=1)[0]
            if name and not name.startswith("gradus"):
                names.add(name)
    return sorted(names)


def make_disk(path, names):
    part = path.with_suffix(".part")
    subprocess.run(["mmdebstrap", "--quiet", "--variant=minbase", "--format=ext2",
                    "--include=" + ",".join([*SYSTEM, *names]), "bookworm", part],
                   check=True, stdout=subprocess.DEVNULL)
    os.truncate(part, part.stat().st_size + 300 * 1024 * 1024)
    subprocess.run(["/usr/sbin/e2fsck", "-fy", part], stdout=subprocess.DEVNULL, check=False)
    subprocess.run(["/usr/sbin/resize2fs", part], check=True, stdout=subprocess.DEVNULL,
                   stderr=subprocess.DEVNULL)
    part.rename(path)


def make(folder, packages, vm):
    folder.mkdir(parents=True, exist_ok=True)
    names = dependencies(packages)
    sources = (HERE / "image.py", HERE / "init", HERE.parent / "vm" / "image.py")
    texts = [path.read_bytes() for path in sources]
    stamp = hashlib.sha256(repr((names, SYSTEM, texts)).encode()).hexdigest()
    made = folder / "made"
    if made.exists() and made.read_text() == stamp:
        return
    fetched = Packages(vm)
    name = fetched.dependency("linux-image-amd64", r"linux-image-[0-9][-.+~a-z0-9]*amd64")
    modules = Modules(fetched.root(name) / "lib/modules" / name.removeprefix("linux-image-"))
    for module in MODULES:
        modules.add(module)
    busybox = fetched.root("busybox-static") / "bin/busybox"
    archive = initramfs(modules.loaded, busybox.read_bytes(), HERE / "init", FOLDERS, {})
    (folder / "initramfs").write_bytes(archive)
    make_disk(folder / "disk", names)
    made.write_text(stamp)


if __name__ == "__main__":
    make(*(Path(word).resolve() for word in sys.argv[1:4]))
