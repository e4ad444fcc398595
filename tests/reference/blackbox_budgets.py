# SPDX-License-Identifier: GPL-3.0-or-later
"""Random uncertainty budgets against another implementation of the same mathematics: numerical
convolution and distributions from scipy (python3-scipy), fed to core/ through a small program that
reads JSON (budget_reader). Without scipy the test fails: a check that is left out checks nothing."""

import json
import os
import random
import subprocess
import unittest

import numpy
from scipy import signal, stats

READER = os.environ["BUDGET_READER"]
SEED, BUDGETS, CELLS = 20261125, 400, 1 << 14
SPECIAL, TWO_SIGMA = -0.4, 0.9544997361036416
EXCESS = {"normal": 0.0, "rectangular": -1.2, "triangular": -0.6, "arcsine": -1.5}
HALF_WIDTH = {"rectangular": 3 ** 0.5, "triangular": 6 ** 0.5, "arcsine": 2 ** 0.5}


def draw(source):
    """A budget of one to eight terms; some of finite freedom, all of those normal."""
    terms = []
    for _ in range(source.randint(1, 8)):
        shape = source.choice(sorted(EXCESS))
        freedom = source.randint(2, 30) if shape == "normal" and source.random() < 0.4 else None
        terms.append({"shape": shape, "standard": 10 ** source.uniform(-1.5, 0),
                      "sensitivity": source.choice((-3.0, 1.0)), "freedom": freedom})
    return terms


def width(term):
    return abs(term["standard"] * term["sensitivity"])


def cumulative(term, x):
    """The law of one term of infinite freedom, from scipy."""
    if term["shape"] == "normal":
        return stats.norm.cdf(x, scale=width(term))
    half = width(term) * HALF_WIDTH[term["shape"]]
    law = {"rectangular": stats.uniform(-half, 2 * half),
           "triangular": stats.triang(0.5, -half, 2 * half),
           "arcsine": stats.arcsine(-half, 2 * half)}
    return law[term["shape"]].cdf(x)


def half_width(terms, step):
    """Half-width for two sigma of the sum, by convolution on a grid; all of infinite freedom."""
    grid = (numpy.arange(CELLS) - CELLS // 2 + 0.5) * step
    total = None
    for term in terms:
        edges = numpy.append(grid - step / 2, grid[-1] + step / 2)
        part = numpy.diff(cumulative(term, edges))
        total = part if total is None else signal.fftconvolve(total, part, "same")
        # Each convolution with "same" moves the middle by half a cell.
    middle = numpy.dot(total, numpy.arange(len(total)))
    order = numpy.argsort(numpy.abs(numpy.arange(len(total)) - middle))
    inside = numpy.cumsum(total[order])
    return (numpy.searchsorted(inside, TWO_SIGMA) + 1) / 2 * step


class Budgets(unittest.TestCase):

    def ask(self, budgets):
        lines = "".join(json.dumps(terms) + "\n" for terms in budgets)
        done = subprocess.run([READER], input=lines, capture_output=True, text=True, check=True,
                              timeout=60)
        return [json.loads(line) for line in done.stdout.splitlines()]

    def test_random_budgets(self):
        source = random.Random(SEED)
        budgets = [draw(source) for _ in range(BUDGETS)]
        methods = {"normal": 0, "student": 0, "convolution": 0}
        for terms, answer in zip(budgets, self.ask(budgets), strict=True):
            combined = sum(width(term) ** 2 for term in terms) ** 0.5
            self.assertAlmostEqual(answer["standard"] / combined, 1, delta=1e-12)
            finite = [term for term in terms if term["freedom"]]
            freedom = combined ** 4 / sum(width(term) ** 4 / term["freedom"] for term in finite) \
                if finite else None
            if finite:
                self.assertAlmostEqual(answer["freedom"] / freedom, 1, delta=1e-12)
            excess = sum(EXCESS[term["shape"]] * width(term) ** 4 for term in terms) / combined ** 4
            methods[answer["method"]] += 1
            if excess > SPECIAL:
                wanted = stats.t.isf((1 - TWO_SIGMA) / 2, int(freedom)) if finite else 2
                self.assertAlmostEqual(answer["coverage"] / wanted, 1, delta=1e-8)
            elif not finite:
                step = 16 * combined / CELLS
                wanted = half_width(terms, step) / combined
                self.assertAlmostEqual(answer["coverage"] / wanted, 1, delta=3e-3, msg=str(terms))
            self.assertEqual(answer["method"], "convolution" if excess < SPECIAL else
                             "student" if finite else "normal")
        print(methods)
        self.assertGreater(min(methods.values()), 20)


if __name__ == "__main__":
    unittest.main()
