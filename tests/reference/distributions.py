"""Expected moments, densities, cumulatives and quantiles for tests/draws.rs, from scipy.

    python tests/reference/distributions.py > tests/reference/distributions.json

Each family comes from scipy.stats, but for the rectangular distribution with inexact limits, which
scipy does not have: it is integrated numerically over its random half-width.
"""

import json
import sys

import numpy
import scipy
from scipy import integrate, optimize, stats

PROBABILITIES = [1e-6, 1e-3, 0.025, 0.1, 0.3, 0.5, 0.8, 0.975, 0.999, 1 - 1e-6]


class InexactRectangular:
    """X uniform within W of the midpoint, W uniform on half-width +- d."""

    def __init__(self, low, high, d):
        self.centre, self.half, self.d = (low + high) / 2, (high - low) / 2, d

    def over_half_widths(self, f, corner):
        a, b = self.half - self.d, self.half + self.d
        parts = [a] + [corner] * (a < corner < b) + [b]
        pieces = [integrate.quad(f, p, q, epsabs=0, epsrel=1e-13)[0] for p, q in zip(parts, parts[1:])]
        return sum(pieces) / (2 * self.d)

    def pdf(self, x):
        y = abs(x - self.centre)
        return self.over_half_widths(lambda w: 0.5 / w if y < w else 0.0, y)

    def cdf(self, x):
        y = x - self.centre
        return self.over_half_widths(lambda w: min(max((y + w) / (2 * w), 0.0), 1.0), abs(y))

    def ppf(self, p):
        end = self.half + self.d
        return optimize.brentq(
            lambda x: self.cdf(x) - p, self.centre - end, self.centre + end, xtol=1e-15, rtol=1e-14
        )

    def stats(self, moments):
        def moment(k):
            # The even central moments of a rectangle of half-width w are w^k / (k + 1).
            return self.over_half_widths(lambda w: w**k / (k + 1), -1.0)

        return self.centre, moment(2), 0.0, moment(4) / moment(2) ** 2 - 3


CASES = [
    ("rectangular", [-0.3, 1.2], stats.uniform(-0.3, 1.5)),
    ("rectangular", [1000.0, 1000.001], stats.uniform(1000.0, 1000.001 - 1000.0)),
    ("inexact_rectangular", [9.9, 10.1, 0.05], InexactRectangular(9.9, 10.1, 0.05)),
    ("inexact_rectangular", [-1.0, 1.0, 0.1], InexactRectangular(-1.0, 1.0, 0.1)),
    ("inexact_rectangular", [0.0, 2.0, 0.999], InexactRectangular(0.0, 2.0, 0.999)),
    ("trapezoidal", [-1.0, 2.0, 0.4], stats.trapezoid(0.3, 0.7, -1.0, 3.0)),
    ("trapezoidal", [0.0, 1.0, 0.95], stats.trapezoid(0.025, 0.975, 0.0, 1.0)),
    ("triangular", [96.0, 104.0], stats.triang(0.5, 96.0, 8.0)),
    ("arc_sine", [-0.5, 0.5], stats.arcsine(-0.5, 1.0)),
    ("normal", [-3.0, 0.25], stats.norm(-3.0, 0.25)),
    ("normal", [0.0, 1.0], stats.norm()),
    ("student_t", [0.0, 1.0, 1.0], stats.t(1.0)),
    ("student_t", [5.0, 2.0, 1.5], stats.t(1.5, 5.0, 2.0)),
    ("student_t", [0.0, 1.0, 4.0], stats.t(4.0)),
    ("student_t", [10.0, 0.1, 9.0], stats.t(9.0, 10.0, 0.1)),
    ("student_t", [-1.0, 3.0, 55.5], stats.t(55.5, -1.0, 3.0)),
    ("student_t", [0.0, 1.0, 999.0], stats.t(999.0)),
    ("student_t", [0.0, 1.0, 1001.0], stats.t(1001.0)),
    ("student_t", [0.0, 1.0, 250000.0], stats.t(250000.0)),
    ("exponential", [2.5], stats.expon(0.0, 2.5)),
    ("gamma", [0.5, 2.0], stats.gamma(0.5, 0.0, 2.0)),
    ("gamma", [1.0, 3.0], stats.gamma(1.0, 0.0, 3.0)),
    ("gamma", [3.0, 1.0], stats.gamma(3.0)),
    ("gamma", [40.5, 0.1], stats.gamma(40.5, 0.0, 0.1)),
    ("lognormal", [2.0, 0.7], stats.lognorm(0.7, 0.0, 2.0)),
    ("lognormal", [0.01, 0.05], stats.lognorm(0.05, 0.0, 0.01)),
]


def number(value):
    """JSON has no infinity and no NaN."""
    return float(value) if numpy.isfinite(value) else None


def case(family, parameters, law):
    mean, variance, _, excess = law.stats(moments="mvsk")
    points = []
    for p in PROBABILITIES:
        x = law.ppf(p)
        points.append({"p": p, "quantile": x, "density": law.pdf(x), "cumulative": law.cdf(x)})
    return {
        "family": family,
        "parameters": parameters,
        "mean": number(mean),
        "standard_uncertainty": number(numpy.sqrt(variance)),
        "excess_kurtosis": number(excess),
        "points": points,
    }


json.dump(
    {
        "source": f"scipy {scipy.__version__}, tests/reference/distributions.py",
        "note": "null: does not exist or is infinite",
        "cases": [case(*c) for c in CASES],
    },
    sys.stdout,
    indent=1,
    default=float,
)
print()
