# SPDX-License-Identifier: GPL-3.0-or-later
"""Keys pressed at meters while they are being read: another function, range or input, automatic
ranges, and instruments that step to another range on their own. What is read then is the truth
or refused with a reason; the bench's true values are the reference."""

import contextlib
import os
import tempfile
import unittest

from gradusd import Gradusd, RpcError
from standin import StandIn

PROGRAM = os.environ["GRADUSD"]
BENCH = os.environ["STANDIN"]
SOURCE = os.environ["GRADUS_SOURCE"]
PROFILES = os.path.join(SOURCE, "config", "profiles")
ROUNDS = 250
SEED = 20261130
LEVELS = {1: 0.15, 2: 1.5, 3: 5.013, 4: -12.0, 5: 48.0, 6: 150.0}
OHMS = {7: 150.0, 8: 4700.0}
METERS = {"fine": "tarnwerk-meter", "plain": "oldmere-meter"}
# A press in this share of the moments: about one reading in ten is hit.
PRESSES = 0.03


@contextlib.contextmanager
def changed_profile(meter, changes):
    """A folder with the meters' profiles, that of one meter with texts replaced by others."""
    with tempfile.TemporaryDirectory() as folder:
        for name, kind in METERS.items():
            with open(f"{PROFILES}/{kind}.cfg", encoding="utf-8") as file:
                text = file.read()
            for old, new in changes.items() if name == meter else ():
                text = text.replace(old, new)
            with open(f"{folder}/{kind}.cfg", "w", encoding="utf-8") as file:
                file.write(text)
        yield folder


def bench_text():
    meters = ",\n".join(
        f'{{ name = "{name}"; type = "{kind}"; listen = "tcp:127.0.0.1:0"; conversion_ms = 0;'
        f" error_fraction = 0; }}" for name, kind in METERS.items())
    sources = ",\n".join(
        [f'{{ name = "s{n}"; kind = "dc"; level = {level}; }}' for n, level in LEVELS.items()] +
        [f'{{ name = "s{n}"; kind = "resistance"; resistance = {ohms}; }}'
         for n, ohms in OHMS.items()])
    ties = ",\n".join(f'{{ instrument = "{meter}"; input = {n}; source = "s{n}"; }}'
                      for meter in METERS for n in [*LEVELS, *OHMS])
    return f"instruments = (\n{meters}\n);\nsources = (\n{sources}\n);\nconnections = (\n{ties}\n);\n"


def settings_text(bench, profiles):
    meters = ",\n".join(
        f'{{ name = "{name}"; profile = "{kind}"; link = "{bench.address(name)}"; }}'
        for name, kind in METERS.items())
    points = ",\n".join(
        f'{{ name = "{meter}_{n}"; instrument = "{meter}"; input = {n}; probe = "direct";'
        f' quantity = "{"resistance" if n in OHMS else "dc voltage"}"; }}'
        for meter in METERS for n in [*LEVELS, *OHMS])
    return (f'server = {{ }};\nprofiles = "{profiles}";\n'
            f"instruments = (\n{meters}\n);\npoints = (\n{points}\n);\n")


class Keys(unittest.TestCase):
    def read_all(self, client, meter, rounds):
        """Reads every point; returns how many had a value, and those that were refused."""
        good, refused = 0, []
        for k in range(rounds):
            for n, truth in {**LEVELS, **OHMS}.items():
                try:
                    reading = client.call("measure", f"{meter}_{n}")
                except RpcError as error:
                    refused.append(str(error))
                    continue
                good += 1
                self.assertLessEqual(abs(reading["value"] - truth), reading["uncertainty"],
                                     (k, reading))
                # Nothing that was read otherwise is taken for a signal that moves.
                self.assertLess(reading["uncertainty"], 0.01 * abs(truth), (k, reading))
        return good, refused

    def run_keys(self, kind, meter, probability, rounds=ROUNDS, profiles=PROFILES):
        with StandIn(BENCH, bench_text(), seed=SEED) as bench, \
                Gradusd(PROGRAM, settings_text(bench, profiles)) as daemon:
            client = daemon.client()
            bench.fault(meter, kind, probability=probability)
            good, refused = self.read_all(client, meter, rounds)
            bench.clear(meter)
            print(f"seed {SEED}, {kind} at {meter}: {good} readings, {len(refused)} refused")
            self.assertGreater(good, 0.9 * (good + len(refused)), refused)
            self.assertEqual(self.read_all(client, meter, 1), (8, []))

    def test_keys_at_a_meter_that_proves_in_one_message(self):
        self.run_keys("key", "fine", PRESSES)

    def test_keys_at_a_meter_whose_answer_proves(self):
        self.run_keys("key", "plain", PRESSES, ROUNDS // 4)

    def test_keys_at_a_meter_that_is_asked_before_and_after(self):
        with changed_profile("fine", {'"same message"': '"before and after"'}) as profiles:
            self.run_keys("key", "fine", PRESSES / 3, ROUNDS // 4, profiles)

    def test_keys_that_are_pressed_and_pressed_back(self):
        self.run_keys("there_and_back", "fine", PRESSES, ROUNDS // 4)

    def test_what_cannot_be_asked_is_a_warning(self):
        with changed_profile("plain", {"route_query": "#", "route_answer": "#"}) as profiles, \
                StandIn(BENCH, bench_text(), seed=SEED) as bench, \
                Gradusd(PROGRAM, settings_text(bench, profiles)) as daemon:
            reading = daemon.client().call("measure", "plain_3")
            self.assertIn("which input", " ".join(reading["warnings"]))

    def test_ranges_that_step_on_their_own(self):
        self.run_keys("steps_down", "fine", 0.2, ROUNDS // 10)
        self.run_keys("steps_down", "plain", 0.2, ROUNDS // 10)

    def test_a_meter_that_always_steps_is_refused_with_the_reason(self):
        with StandIn(BENCH, bench_text(), seed=SEED) as bench, \
                Gradusd(PROGRAM, settings_text(bench, PROFILES)) as daemon:
            client = daemon.client()
            bench.fault("fine", "steps_down", probability=1.0)
            with self.assertRaises(RpcError) as caught:
                client.call("measure", "fine_2")
            self.assertIn("range that was set", str(caught.exception))


if __name__ == "__main__":
    unittest.main(verbosity=2)
