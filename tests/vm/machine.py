# SPDX-License-Identifier: GPL-3.0-or-later
"""The guest as a machine: QEMU, what is plugged into it, its console and its control line.

    uart_near, uart_far    two UARTs whose lines are crossed: a null modem
    adapter                a USB serial adapter, its line crossed with the UART adapter_far
    control                a UART on which a test asks this side to pull plugs
"""

import json
import socket
import subprocess
import threading

# QEMU's exit status after init has left with 42; a panic is 0 and a kill is negative.
SUCCESS = 2 * 42 + 1
# What QEMU's own USB serial adapter says it is, and the number this one is given.
ADAPTER_USB = "0403:6001"
ADAPTER_SERIAL = "LARK0001"
KERNEL_WORDS = ("console=ttyS0 quiet panic=-1 nokaslr tsc=reliable no_timer_check "
                "cryptomgr.notests mitigations=off 8250.nr_uarts=8")
# The ports of the card, in order: what hangs on each of its four UARTs.
CARD = ("uart_near", "uart_far", "adapter_far", "control")


class Monitor:
    """QEMU's control protocol over a socket."""

    def __init__(self, line):
        self._file = line.makefile("rw")
        self._file.readline()  # greeting
        self.ask("qmp_capabilities")

    def _wait(self, wanted):
        while True:
            line = self._file.readline()
            if not line:
                raise OSError("QEMU has gone")
            message = json.loads(line)
            if wanted(message):
                return message

    def ask(self, command, **arguments):
        self._file.write(json.dumps({"execute": command, "arguments": arguments}) + "\n")
        self._file.flush()
        reply = self._wait(lambda message: "return" in message or "error" in message)
        if "error" in reply:
            raise OSError(reply["error"]["desc"])

    def wait_gone(self, device):
        """Waits until an unplugged device has left: its name and line are free again."""
        self._wait(lambda message: message.get("event") == "DEVICE_DELETED" and
                   message["data"].get("device") == device)


class Machine:
    """A guest that boots as soon as it is made.

    image   folder with vmlinux and initramfs
    share   folder that the guest may write to
    limit   seconds after which it is killed
    on_line called with each line of the console, without its end
    """

    def __init__(self, image, share, limit, on_line):
        self._kept = []
        self._ours = []
        monitor, control = self._ends(), self._ends()
        words = self._words(image, share, monitor, control)
        self._process = subprocess.Popen(words, pass_fds=[end.fileno() for end in self._kept],
                                         stdin=subprocess.DEVNULL, stdout=subprocess.PIPE,
                                         stderr=subprocess.STDOUT)
        for end in self._kept:
            end.close()
        self._killer = threading.Timer(limit, self._process.kill)
        self._killer.start()
        self._console = threading.Thread(target=self._read, args=(on_line,))
        self._console.start()
        self._control = threading.Thread(target=self._serve, daemon=True)
        self._control.start()

    def _ends(self):
        """A line to QEMU: our end is remembered, the number of its end is returned."""
        ours, theirs = socket.socketpair()
        self._ours.append(ours)
        self._kept.append(theirs)
        return theirs.fileno()

    def _crossed(self):
        """A line from QEMU to itself."""
        pair = socket.socketpair()
        self._kept += pair
        return [end.fileno() for end in pair]

    def _words(self, image, share, monitor, control):
        lines = dict(zip(("uart_near", "uart_far"), self._crossed()))
        lines |= dict(zip(("adapter", "adapter_far"), self._crossed()))
        lines |= {"control": control, "monitor": monitor}
        shares = "security_model=none,multidevs=remap"
        words = ["qemu-system-x86_64", "-accel", "tcg", "-M", "pc", "-cpu", "qemu64", "-smp", "2",
                 "-m", "768", "-nodefaults", "-no-user-config", "-display", "none", "-no-reboot",
                 "-kernel", f"{image}/vmlinux", "-initrd", f"{image}/initramfs",
                 "-append", KERNEL_WORDS, "-device", "isa-debug-exit", "-serial", "stdio",
                 "-virtfs", f"local,path=/,mount_tag=root,readonly=on,{shares}",
                 "-virtfs", f"local,path={share},mount_tag=share,{shares}",
                 "-device", "qemu-xhci,id=usb"]
        for name, number in lines.items():
            words += ["-chardev", f"socket,id={name},fd={number}"]
        card = ",".join(f"chardev{n}={name}" for n, name in enumerate(CARD, 1))
        return words + ["-device", f"pci-serial-4x,{card}", "-mon", "chardev=monitor,mode=control",
                        "-device", "usb-serial,id=adapter,chardev=adapter,bus=usb.0,"
                        f"serial={ADAPTER_SERIAL}"]

    def _read(self, on_line):
        for line in self._process.stdout:
            on_line(line.decode(errors="replace").rstrip())

    def _serve(self):
        """Does what the guest asks for on the control line, one line of JSON after another."""
        monitor_line, control_line = self._ours
        try:
            monitor = Monitor(monitor_line)
            for line in control_line.makefile("rb"):
                answer = {"done": True}
                try:
                    self._do(monitor, **json.loads(line))
                except (OSError, ValueError, TypeError) as error:
                    answer = {"error": str(error)}
                control_line.sendall(json.dumps(answer).encode() + b"\n")
        except OSError:
            pass  # QEMU has ended

    @staticmethod
    def _do(monitor, action, name):
        if action == "unplug":
            monitor.ask("device_del", id=name)
            monitor.wait_gone(name)
        elif action == "plug":
            monitor.ask("device_add", driver="usb-serial", id=name, chardev=name, bus="usb.0",
                        serial=ADAPTER_SERIAL)
        elif action == "break":
            monitor.ask("chardev-send-break", id=name)
        else:
            raise ValueError(f"no action {action}")

    def wait(self):
        """Waits for the end of the guest; returns QEMU's exit status."""
        status = self._process.wait()
        self._killer.cancel()
        self._console.join()
        for end in self._ours:
            end.close()
        return status
