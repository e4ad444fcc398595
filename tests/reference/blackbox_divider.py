# SPDX-License-Identifier: GPL-3.0-or-later
"""Loading at a frequency and the two-load method on random circuits, against Python's complex
numbers: the divider by its impedances, uncertainties by moving each input (JCGM 100 5.1.3, note 2)
and by drawing all of them at random (JCGM 101)."""

import cmath
import math
import os
import random
import statistics
import subprocess
import unittest

PROGRAM = os.environ["LOADING_LINES"]
CASES = 2000


def ask(lines):
    text = "\n".join(" ".join([word] + [repr(number) for number in numbers])
                     for word, numbers in lines) + "\n"
    done = subprocess.run([PROGRAM], input=text, capture_output=True, text=True, check=True)
    return [line.split() for line in done.stdout.splitlines()]


def impedance(resistance, capacitance, frequency):
    return 1 / (1 / resistance + 2j * cmath.pi * frequency * capacitance)


def factor(rs, cs, rl, cl, frequency):
    """Unloaded over loaded: the open voltage through Rs, with the source's own capacitance at the
    point, without and with the load there."""
    own = impedance(math.inf, cs, frequency) if cs > 0 and frequency > 0 else math.inf
    load = impedance(rl, cl, frequency)

    def shown(across):
        return 1 if across == math.inf else across / (rs + across)

    both = load if own == math.inf else own * load / (own + load)
    return abs(shown(own) / shown(both))


def unloaded(v1, r1, v2, r2):
    """Two equations V (1 + Rs/R) = E, by Cramer's rule."""
    d = v1 / r1 - v2 / r2
    rs = (v2 - v1) / d
    return v1 * (1 + rs / r1), rs


def draw_circuit(draw):
    return [10 ** draw.uniform(0, 6), draw.uniform(0.001, 0.05), 10 ** draw.uniform(-13, -9),
            draw.uniform(0, 0.05), 10 ** draw.uniform(3, 8), draw.uniform(0.001, 0.05),
            10 ** draw.uniform(-13, -9), draw.uniform(0, 0.1), 10 ** draw.uniform(1, 8)]


class Divider(unittest.TestCase):
    def setUp(self):
        self.draw = random.Random(5)
        self.cases = [draw_circuit(self.draw) for _ in range(CASES)]
        self.answers = [[float(word) for word in words]
                        for words in ask([("at", case) for case in self.cases])]

    def test_the_ratio(self):
        for case, (ratio, told, _) in zip(self.cases, self.answers):
            wanted = factor(case[0], case[2], case[4], case[6], case[8])
            self.assertAlmostEqual(told / wanted, 1, delta=1e-9, msg=case)
            self.assertAlmostEqual(ratio * told, 1, delta=1e-12)

    def test_the_uncertainty_by_small_changes(self):
        for case, (_, told, uncertainty) in zip(self.cases, self.answers):
            values = [case[0], case[2], case[4], case[6]]
            parts = []
            for i, tolerance in enumerate((case[1], case[3], case[5], case[7])):
                up, down = list(values), list(values)
                up[i] *= 1 + 1e-4
                down[i] *= 1 - 1e-4
                slope = (factor(*up, case[8]) - factor(*down, case[8])) / 2e-4
                parts.append(slope / told * tolerance / math.sqrt(3))
            self.assertAlmostEqual(uncertainty, math.hypot(*parts), delta=1e-6 + 1e-4 * uncertainty,
                                   msg=case)

    def test_the_uncertainty_by_drawing(self):
        for case, (_, told, uncertainty) in list(zip(self.cases, self.answers))[:40]:
            drawn = []
            for _ in range(2000):
                moved = [case[i] * (1 + case[i + 1] * self.draw.uniform(-1, 1))
                         for i in (0, 2, 4, 6)]
                drawn.append(factor(*moved, case[8]) / told)
            self.assertAlmostEqual(uncertainty, statistics.stdev(drawn),
                                   delta=0.1 * uncertainty + 1e-9, msg=case)


class TwoLoads(unittest.TestCase):
    def test_value_and_resistance(self):
        draw = random.Random(6)
        cases, truths = [], []
        for _ in range(CASES):
            value, rs = draw.uniform(-100, 100), 10 ** draw.uniform(0, 5)
            r1, r2 = 10 ** draw.uniform(3, 5), 10 ** draw.uniform(6, 8)
            loads = [(value * r / (rs + r), r) for r in (r1, r2)]
            u = abs(value) * 1e-5
            cases.append([loads[0][0], u, r1, 1e-4, loads[1][0], u, r2, 1e-4])
            truths.append((value, rs))
        answers = ask([("two", case) for case in cases])
        for case, truth, words in zip(cases, truths, answers):
            value, standard, resistance, resistance_standard = map(float, words)
            self.assertAlmostEqual(value / truth[0], 1, delta=1e-9)
            self.assertAlmostEqual(resistance, truth[1], delta=1e-7 * (truth[1] + case[2]))
            parts = [self.moved(case, i) for i in range(4)]
            self.assertAlmostEqual(standard, math.hypot(*(p[0] for p in parts)),
                                   delta=1e-3 * standard)
            self.assertAlmostEqual(resistance_standard, math.hypot(*(p[1] for p in parts)),
                                   delta=1e-3 * resistance_standard)

    @staticmethod
    def moved(case, i):
        """How far the results move when one input moves by its standard uncertainty."""
        steps = (case[1], case[2] * case[3] / math.sqrt(3), case[5],
                 case[6] * case[7] / math.sqrt(3))
        ends = []
        for sign in (1, -1):
            inputs = [case[0], case[2], case[4], case[6]]
            inputs[i] += sign * steps[i] / 100
            ends.append(unloaded(*inputs))
        return tuple(50 * (a - b) for a, b in zip(*ends))


if __name__ == "__main__":
    unittest.main()
