# SPDX-License-Identifier: GPL-3.0-or-later
"""Boots Debian with a real systemd and tries the packages in it as an administrator would. Usage:
run.py FOLDER PACKAGES VM STANDIN, the first three as image.py takes them.

Prints each test with its outcome and `N passed, N failed`; what the guest said is kept in FOLDER/console.
"""

import json
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent / "vm"))

from machine import KERNEL_WORDS  # noqa: E402

LIMIT_S = 1500.0
TRIAL = """
[Unit]
Description=Tries the packages
After=multi-user.target
[Service]
Type=oneshot
Environment=PYTHONDONTWRITEBYTECODE=1
ExecStart=/usr/bin/python3 /share/trial.py
ExecStopPost=/bin/systemctl --no-block poweroff
StandardOutput=file:/share/said
StandardError=file:/share/said
TimeoutStartSec=infinity
"""


def newer(package, share):
    """The same package with a higher version, for an upgrade."""
    with tempfile.TemporaryDirectory() as folder:
        tree = Path(folder, "tree")
        subprocess.run(["dpkg-deb", "--raw-extract", package, tree], check=True)
        control = tree / "DEBIAN/control"
        lines = control.read_text().split("\n")
        control.write_text("\n".join(line + "+next" if line.startswith("Version: ") else line
                                     for line in lines))
        subprocess.run(["dpkg-deb", "--root-owner-group", "--build", tree, share],
                       check=True, stdout=subprocess.DEVNULL)


def furnish(share, packages, standin):
    for path in packages.glob("*.deb"):
        if "dbgsym" not in path.name:
            shutil.copy(path, share)
    newer(next(packages.glob("gradusd_*.deb")), share)
    shutil.copy(standin, share / "standin")
    shutil.copy(HERE / "trial.py", share)
    (share / "trial.service").write_text(TRIAL)


def boot(folder, vm, share, console):
    shares = f"local,path={share},mount_tag=share,security_model=none"
    words = ["qemu-system-x86_64", "-accel", "tcg", "-M", "pc", "-cpu", "qemu64", "-smp", "2", "-m",
             "1024", "-nodefaults", "-no-user-config", "-display", "none", "-no-reboot",
             "-kernel", f"{vm}/vmlinux", "-initrd", f"{folder}/initramfs",
             "-append", f"{KERNEL_WORDS} rw systemd.show_status=false",
             "-serial", "stdio", "-virtfs", shares, "-snapshot",
             "-drive", f"file={folder}/disk,format=raw,if=virtio"]
    with console.open("w") as log:
        subprocess.run(words, stdin=subprocess.DEVNULL, stdout=log, stderr=log, timeout=LIMIT_S,
                       check=False)


def main():
    folder, packages, vm, standin = (Path(word).resolve() for word in sys.argv[1:5])
    console = folder / "console"
    with tempfile.TemporaryDirectory(prefix="gradus-service-") as name:
        share = Path(name)
        furnish(share, packages, standin)
        boot(folder, vm, share, console)
        report = share / "report"
        found = json.loads(report.read_text()) if report.exists() else None
        said = (share / "said").read_text() if (share / "said").exists() else ""
    if found is None:
        print(f"--- the guest did not report\n{said}\n{console.read_text()}")
        return 1
    print(said)
    print(f"{found['passed']} passed, {found['failed']} failed")
    return 1 if found["failed"] or not found["passed"] else 0


if __name__ == "__main__":
    sys.exit(main())
