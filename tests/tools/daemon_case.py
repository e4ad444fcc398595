# SPDX-License-Identifier: GPL-3.0-or-later
"""What the black-box tests of the daemon share: two simulated benches, so that one can be frozen
while the other works, settings for both, and waits that poll the daemon itself."""

import contextlib
import os
import pathlib
import re
import shutil
import signal
import tempfile
import time
import unittest

from gradusd import LIMIT_S, Gradusd, RpcError
from standin import StandIn

PROGRAM = os.environ["GRADUSD"]
BENCH = os.environ["STANDIN"]
SOURCE = os.environ["GRADUS_SOURCE"]

# The bench with the meter that tests freeze or stop, at a place that outlives it.
METER_BENCH = """
instruments = (
    {{ name = "meter"; type = "tarnwerk-meter"; listen = "unix:{folder}/meter.sock"; conversion_ms = 0;
       error_fraction = 0; }}
);
sources = (
    {{ name = "rail"; kind = "dc"; level = 5.0; }},
    {{ name = "weak"; kind = "dc"; level = 3.0; }}
);
connections = (
    {{ instrument = "meter"; input = 1; source = "rail"; }},
    {{ instrument = "meter"; input = 2; source = "weak"; }}
);
"""

# All other kinds.
OTHER_BENCH = """
instruments = (
    { name = "second"; type = "tarnwerk-meter"; listen = "tcp:127.0.0.1:0"; conversion_ms = 0;
      error_fraction = 0; },
    { name = "plain"; type = "oldmere-meter"; listen = "tcp:127.0.0.1:0"; conversion_ms = 0;
      error_fraction = 0; },
    { name = "scope"; type = "tarnwerk-scope"; listen = "tcp:127.0.0.1:0"; conversion_ms = 0;
      error_fraction = 0; },
    { name = "old"; type = "oldmere-scope"; listen = "tcp:127.0.0.1:0"; conversion_ms = 0;
      error_fraction = 0; }
);
sources = ( { name = "rail"; kind = "dc"; level = 5.0; } );
connections = (
    { instrument = "second"; input = 1; source = "rail"; },
    { instrument = "plain"; input = 1; source = "rail"; },
    { instrument = "scope"; input = 1; source = "rail"; },
    { instrument = "old"; input = 1; source = "rail"; }
);
"""

SETTINGS = """
server = {{ line_limit = 65536; clients = 12; talk = true; quotas = {{ connections = 64; }}; }};
profiles = "profiles";
instruments = (
    {{ name = "meter"; profile = "tarnwerk-meter"; link = "{meter}"; ambient_c = {ambient};
       switched_inputs = [ 1, 2 ]; }},
    {{ name = "second"; profile = "tarnwerk-meter"; link = "{second}"; }},
    {{ name = "plain"; profile = "oldmere-meter"; link = "{plain}"; }},
    {{ name = "scope"; profile = "tarnwerk-scope"; link = "{scope}"; }},
    {{ name = "old"; profile = "oldmere-scope"; link = "{old}"; }}
);
points = (
    {{ name = "rail"; instrument = "meter"; input = 1; probe = "direct"; expected = 5.0;
       quantity = "dc voltage"; limits = {{ low = 4.5; high = 5.5; }}; }},
    {{ name = "weak"; instrument = "meter"; input = 2; probe = "direct"; expected = 3.0;
       quantity = "dc voltage"; }},
    {{ name = "second_rail"; instrument = "second"; input = 1; probe = "direct"; expected = 5.0;
       quantity = "dc voltage"; }},
    {{ name = "plain_rail"; instrument = "plain"; input = 1; probe = "direct"; expected = 5.0;
       quantity = "dc voltage"; }},
    {{ name = "scope_rail"; instrument = "scope"; input = 1; probe = "direct"; expected = 5.0;
       quantity = "dc voltage"; }},
    {{ name = "old_rail"; instrument = "old"; input = 1; probe = "direct"; expected = 5.0;
       quantity = "dc voltage"; caution = "hot"; }}{more}
);
"""


class DaemonCase(unittest.TestCase):
    """A daemon with five instruments on two simulated benches; `self.client` is connected."""

    def setUp(self):
        self.folder = tempfile.mkdtemp(prefix="daemon-case-")
        self.addCleanup(shutil.rmtree, self.folder)
        self.start_meter()
        self.others = StandIn(BENCH, OTHER_BENCH)
        self.addCleanup(self.others.stop)
        self.daemon = Gradusd(PROGRAM, self.settings(), self.patient_profiles(), tcp=True)
        self.addCleanup(self.end_daemon)
        self.client = self.daemon.client()

    def end_daemon(self):
        """A test that has not ended the daemon itself wants it to end well."""
        running = self.daemon.status is None
        status = self.daemon.stop()
        if running and status != 0:
            self.fail(f"gradusd ended with status {status}\n{self.daemon.log}")

    def start_meter(self):
        self.bench = StandIn(BENCH, METER_BENCH.format(folder=self.folder), own_sockets=False)
        self.addCleanup(self.bench.stop)

    def patient_profiles(self):
        """The shipped profiles with long times to answer: a frozen bench is slow, not silent."""
        for path in pathlib.Path(SOURCE, "config", "profiles").glob("*.cfg"):
            text = re.sub(r"\breply_ms = [0-9.]+", "reply_ms = 60000.0", path.read_text())
            text = re.sub(r"\bquiet_ms = [0-9.]+", "quiet_ms = 20.0", text)
            pathlib.Path(self.folder, path.name).write_text(text)
        return self.folder

    def settings(self, ambient=23.0, more=""):
        """The settings; `more` is what follows the last point."""
        places = {name: self.others.address(name) for name in ("second", "plain", "scope", "old")}
        return SETTINGS.format(meter=f"unix:{self.folder}/meter.sock", ambient=ambient, more=more,
                               **places)

    @contextlib.contextmanager
    def frozen(self):
        """The bench with the meter answers nothing in here."""
        os.kill(self.bench.pid, signal.SIGSTOP)
        try:
            yield
        finally:
            os.kill(self.bench.pid, signal.SIGCONT)

    def refused(self, call, *arguments, **parameters):
        """The error that a call must come to."""
        with self.assertRaises(RpcError) as caught:
            call(*arguments, **parameters)
        return caught.exception

    def instrument(self, name="meter"):
        """What the daemon says of an instrument."""
        client = self.client
        return next(entry for entry in client.call("instruments") if entry["name"] == name)

    def until(self, condition):
        """Asks again and again until the condition holds; each turn waits for the daemon."""
        end = time.monotonic() + LIMIT_S
        while not condition():
            self.assertLess(time.monotonic(), end, "the condition does not come\n" +
                            self.daemon.log)

    def begin(self, client, *arguments, **parameters):
        """Sends a measure and waits until the meter, which is frozen, has it in hand."""
        number = client.send("measure", *arguments, **parameters)
        self.until(lambda: self.instrument()["state"] == "busy")
        return number

    def sequences(self, client, numbers):
        return [client.wait(number)["sequence"] for number in numbers]
