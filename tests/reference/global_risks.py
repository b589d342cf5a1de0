"""Global risks for a normal prior and a normal measurement (JCGM 106:2012, 9.5), for src/decision/given_limits.rs.

    python tests/reference/global_risks.py > tests/reference/global_risks.json

Each row: mean and standard deviation of the prior, standard uncertainty, tolerance limits, acceptance limits, and both
risks: with mpmath, in 30 digits, and checked to 1e-8 against the bivariate normal of scipy.
"""

import json

import mpmath
from scipy.stats import multivariate_normal

mpmath.mp.dps = 30

CASES = [
    (1500, 0.12, 0.04, 1499.8, 1500.2, 1499.8, 1500.2),
    (1500, 0.12, 0.04, 1499.8, 1500.2, 1499.84, 1500.16),
    (1500, 0.12, 0.04, 1499.8, 1500.2, 1499.72, 1500.28),
    (0.3, 1.0, 1.0, -1, 1, -0.5, 0.7),
    (0, 1, 0.001, -1, 1, -1, 1),
    (0, 0.001, 1, -1, 1, -0.5, 0.5),
    (3, 1, 0.5, -1, 1, -1, 1),
    (0, 0.2, 0.1, -1, 1, -0.9, 0.9),
]


def risks(mean, sd, u, low, high, accept_low, accept_high):
    normal = lambda x, m, s: mpmath.npdf(x, m, s)
    phi = lambda z: mpmath.erfc(-z / mpmath.sqrt(2)) / 2
    accepts = lambda x: phi((accept_high - x) / mpmath.mpf(u)) - phi((accept_low - x) / mpmath.mpf(u))
    cuts = {low, high} | {a + k * u for a in (accept_low, accept_high) for k in (-9, -3, 0, 3, 9)}
    cuts |= {mean + k * sd for k in (-14, -8, -4, -2, 0, 2, 4, 8, 14)}
    cuts = sorted(mpmath.mpf(repr(c)) for c in cuts if mean - 14 * sd <= c <= mean + 14 * sd)
    over = lambda f, inside: sum(
        mpmath.quad(f, [a, b])
        for a, b in zip(cuts, cuts[1:])
        if (low <= (a + b) / 2 <= high) == inside
    )
    consumers = over(lambda x: normal(x, mean, sd) * accepts(x), False)
    producers = over(lambda x: normal(x, mean, sd) * (1 - accepts(x)), True)
    return float(consumers), float(producers)


def by_scipy(mean, sd, u, low, high, accept_low, accept_high):
    joint = dict(mean=[0, 0], cov=[[sd * sd, sd * sd], [sd * sd, sd * sd + u * u]], abseps=1e-11, releps=1e-11)
    at = lambda x, y: multivariate_normal.cdf([x - mean, y - mean], **joint)
    box = lambda a, b, c, d: sum(
        s * at(x, y) for s, x, y in ((1, b, d), (-1, a, d), (-1, b, c), (1, a, c))
    )
    far = 40 * (sd + u)
    good = box(low, high, accept_low, accept_high)
    accepted = box(mean - far, mean + far, accept_low, accept_high)
    conforming = box(low, high, mean - far, mean + far)
    return accepted - good, conforming - good


if __name__ == "__main__":
    rows = []
    for case in CASES:
        found = risks(*case)
        for ours, theirs in zip(found, by_scipy(*case)):
            assert abs(ours - theirs) < 1e-8, (case, ours, theirs)
        rows.append([*case, *found])
    print("[\n " + ",\n ".join(json.dumps(row) for row in rows) + "\n]")
