"""Writes the files of `src/validation/examples/` whose print could not be read: every expected number is recomputed here
from the stated inputs, by a closed form or by quadrature with scipy; no engine of ours takes part.

    python tests/reference/worked_examples.py

Inputs and the few printed figures are from memory, as each file says; a figure stands as published only where it is known
for certain and the recomputation rounds to it.
"""

import json
import math
import pathlib

import numpy as np
from scipy import integrate, optimize, stats

FOLDER = pathlib.Path(__file__).parents[2] / "src/validation/examples"
TRIALS = 1_000_000


def write(name, id, document, where, statement, provenance, model, expected, settings=None):
    rows = []
    for label, at, unit, recomputed, more in expected:
        value = recomputed if isinstance(recomputed, str) else float(f"{recomputed:.10g}")
        rows.append({"name": label, "at": at, "unit": unit, "recomputed": value, **more})
    example = {
        "id": id,
        "source": {"document": document, "where": where},
        "statement": statement,
        "provenance": provenance,
        "settings": settings or {},
        "model": model,
        "expected": rows,
    }
    (FOLDER / f"{name}.json").write_text(json.dumps(example, indent=2, ensure_ascii=False) + "\n")


# JCGM 101:2008, 9.4.3: comparison loss, its two quantities correlated. In coordinates along and across the diagonal they
# are independent, and the sum of squares is a circle's worth of a two-dimensional normal.
S1 = "JCGM 101:2008 (GUM Supplement 1)"
for x1, printed in ((0.0, {"u": "67", "low": "0", "high": "185"}), (0.01, {"u": "121"}), (0.05, {"u": "505"})):
    s, r = 0.005, 0.9
    along, across, middle = s * math.sqrt(1 + r), s * math.sqrt(1 - r), x1 / math.sqrt(2)

    def below(y):
        q = math.sqrt(max(y, 0))
        at = lambda t: (
            stats.norm.pdf(q * math.sin(t), middle, across)
            * q * math.cos(t)
            * (stats.norm.cdf(q * math.cos(t), middle, along) - stats.norm.cdf(-q * math.cos(t), middle, along))
        )
        return integrate.quad(at, -math.pi / 2, math.pi / 2, limit=2000, epsabs=1e-13, epsrel=1e-12)[0] if q else 0

    quantile = lambda p: optimize.brentq(lambda y: below(y) - p, 1e-14, 0.02, xtol=1e-16) if p > 0 else 0.0
    width = lambda p: quantile(p + 0.95) - quantile(p)
    best = optimize.minimize_scalar(width, bounds=(0, 0.0499), method="bounded", options={"xatol": 1e-8})
    tail = 0.0 if width(0) <= best.fun else best.x
    ends = [1e6 * quantile(tail), 1e6 * quantile(tail + 0.95)]
    mean = x1 * x1 + 2 * s * s
    u = math.sqrt(2 * (along**4 + across**4) + 4 * middle**2 * (along**2 + across**2))
    first = 2 * x1 * s
    in_millionths = {"times": 1e6}
    print_of = lambda key: {"published": printed[key]} if key in printed else {}
    expected = [
        ("dY, framework", "/estimate", "1e-6", 1e6 * x1 * x1, in_millionths),
        ("u, first order", "/combined_standard_uncertainty", "1e-6", 1e6 * first, in_millionths),
        ("dY, Monte Carlo", "/monte_carlo/mean", "1e-6", 1e6 * mean, {**in_millionths, "tolerance": 4e3 * u}),
        # The standard deviation of a standard deviation; these sums of squares have kurtoses of up to 12.
        ("u, Monte Carlo", "/monte_carlo/standard_uncertainty", "1e-6", 1e6 * u,
         {**in_millionths, "tolerance": 4e3 * u * math.sqrt(11 / 4), **print_of("u")}),
        ("low, Monte Carlo shortest", "/monte_carlo/interval_shortest/0", "1e-6", ends[0],
         {**in_millionths, "tolerance": 0.03e6 * u, **print_of("low")}),
        ("high, Monte Carlo shortest", "/monte_carlo/interval_shortest/1", "1e-6", ends[1],
         {**in_millionths, "tolerance": 0.03e6 * u, **print_of("high")}),
    ]
    write(
        f"s1-9.4.3-{x1:.3f}", f"JCGM-101-9.4.3-x1={x1:.3f}", S1, "9.4.3, table 9",
        "Comparison loss of a microwave power meter: sum of squares of two jointly normal quantities, both with u = 0.005 and "
        "correlated with r = 0.9; shortest 95 percent interval. Results in 1e-6.",
        "inputs and printed figures from memory; every value recomputed from the stated inputs by quadrature",
        {
            "title": f"Loss in the comparison of power meters, correlated, x1 = {x1:.3f}",
            "measurands": [{"name": "Y", "unit": "1", "formula": "X1^2 + X2^2"}],
            "inputs": [
                {"name": "X1", "unit": "1", "estimate": x1, "standard_uncertainty": s},
                {"name": "X2", "unit": "1", "estimate": 0, "standard_uncertainty": s},
            ],
            "correlations": [{"between": ["X1", "X2"], "coefficient": r}],
        },
        expected, {"interval": "shortest"},
    )

# JCGM 102:2011, 9.2: two sums with a term in common; three standard normal quantities.
S2 = "JCGM 102:2011 (GUM Supplement 2)"
inside = lambda k: integrate.quad(
    lambda x: stats.norm.pdf(x) * (stats.norm.cdf((k - x / 2) / math.sqrt(0.75)) - stats.norm.cdf((-k - x / 2) / math.sqrt(0.75))),
    -k, k, epsabs=1e-13)[0]
k_box = optimize.brentq(lambda k: inside(k) - 0.95, 1, 4, xtol=1e-13)
k_ellipse = math.sqrt(stats.chi2.ppf(0.95, 2))
write(
    "s2-9.2.2", "JCGM-102-9.2.2", S2, "9.2.2",
    "Two sums with a term in common, of three standard normal quantities: covariances, and the factors of the 95 percent "
    "ellipse and rectangle.",
    "inputs from memory; every value recomputed from them in closed form, the rectangle's factor by quadrature",
    {
        "title": "Two sums with a term in common",
        "measurands": [
            {"name": "Y1", "unit": "1", "formula": "X1 + X3"},
            {"name": "Y2", "unit": "1", "formula": "X2 + X3"},
        ],
        "inputs": [{"name": f"X{k}", "unit": "1", "estimate": 0, "standard_uncertainty": 1} for k in (1, 2, 3)],
    },
    [
        ("u(y1)", "/measurands/0/combined_standard_uncertainty", "1", math.sqrt(2), {}),
        ("covariance", "/covariance/0/1", "1", 1, {}),
        ("correlation coefficient", "/correlation/0/1", "1", 0.5, {}),
        ("k_p, ellipse, framework", "/regions/elliptical_factor", "1", k_ellipse, {}),
        ("k_q, rectangle, framework", "/regions/rectangular_factor", "1", stats.norm.ppf(1 - 0.05 / 4), {}),
        ("covariance, Monte Carlo", "/monte_carlo/covariance/0/1", "1", 1, {"tolerance": 4e-3 * math.sqrt(5)}),
        ("correlation coefficient, Monte Carlo", "/monte_carlo/correlation/0/1", "1", 0.5, {"tolerance": 4e-3 * 0.75}),
        ("k_p, ellipse, Monte Carlo", "/monte_carlo/regions/elliptical_factor", "1", k_ellipse,
         {"tolerance": 4 * math.sqrt(0.95 * 0.05 / TRIALS) / (k_ellipse * 0.05)}),
        ("k_q, rectangle, Monte Carlo", "/monte_carlo/regions/rectangular_factor", "1", k_box,
         {"tolerance": 4 * math.sqrt(0.95 * 0.05 / TRIALS) / ((inside(k_box + 1e-4) - inside(k_box - 1e-4)) / 2e-4)}),
    ],
)

# JCGM 102:2011, 9.3: a point in polar coordinates. The radius is Rice's where nothing is correlated; else both by quadrature
# over the plane.
for x1 in (0.001, 0.01, 0.1):
    for r in (0.0, 0.9):
        s = 0.01
        inverse = np.linalg.inv([[1, r], [r, 1]]) / s**2
        norm = 1 / (2 * math.pi * s**2 * math.sqrt(1 - r * r))
        # Trapezia converge exponentially round a circle; Gauss along the radius.
        angles = np.linspace(-math.pi, math.pi, 4001)[:-1]
        nodes, weights = np.polynomial.legendre.leggauss(600)
        reach = x1 + 10 * s * math.sqrt(1 + r)
        radii, weights = reach * (nodes + 1) / 2, weights * reach / 2
        dx = radii[:, None] * np.cos(angles) - x1
        dy = radii[:, None] * np.sin(angles)
        density = norm * np.exp(-(inverse[0, 0] * dx**2 + 2 * inverse[0, 1] * dx * dy + inverse[1, 1] * dy**2) / 2)
        mass = density * radii[:, None] * weights[:, None] * (2 * math.pi / 4000)
        assert abs(mass.sum() - 1) < 1e-10, mass.sum()
        radius = (mass.sum(1) * radii).sum()
        u_radius = math.sqrt((mass.sum(1) * (radii - radius) ** 2).sum())
        # The angle jumps by a turn at the end of the circle: Gauss there.
        nodes, of_angles = np.polynomial.legendre.leggauss(2000)
        at, of_angles = math.pi * nodes, math.pi * of_angles
        dx = radii[:, None] * np.cos(at) - x1
        dy = radii[:, None] * np.sin(at)
        density = norm * np.exp(-(inverse[0, 0] * dx**2 + 2 * inverse[0, 1] * dx * dy + inverse[1, 1] * dy**2) / 2)
        of_angle = (density * radii[:, None] * weights[:, None]).sum(0) * of_angles
        angle = (of_angle * at).sum()
        u_angle = math.sqrt((of_angle * (at - angle) ** 2).sum())
        if r == 0:
            rice = stats.rice(x1 / s, scale=s)
            assert abs(rice.mean() - radius) < 1e-12 and abs(rice.std() - u_radius) < 1e-12
        write(
            f"s2-9.3-{x1:.3f}-{r:.1f}", f"JCGM-102-9.3-x1={x1:.3f}-r={r:.1f}", S2, "9.3.2" if r == 0 else "9.3.3",
            "A point of the plane in polar coordinates: its distance and its direction, both coordinates normal with u = 0.010, "
            f"x2 = 0, correlated with r = {r:.1f}.",
            "inputs from memory; every value recomputed from them by quadrature over the plane, where r = 0 also by Rice's "
            "distribution",
            {
                "title": f"Polar coordinates of a point, x1 = {x1:.3f}, r = {r:.1f}",
                "measurands": [
                    {"name": "Y1", "unit": "1", "formula": "sqrt(X1^2 + X2^2)"},
                    {"name": "Y2", "unit": "1", "formula": "atan2(X2, X1)"},
                ],
                "inputs": [
                    {"name": "X1", "unit": "1", "estimate": x1, "standard_uncertainty": s},
                    {"name": "X2", "unit": "1", "estimate": 0, "standard_uncertainty": s},
                ],
                "correlations": [{"between": ["X1", "X2"], "coefficient": r}] if r else [],
            },
            [
                ("y1, framework", "/measurands/0/estimate", "1", x1, {}),
                ("u(y1), framework", "/measurands/0/combined_standard_uncertainty", "1", s, {}),
                ("u(y2), framework", "/measurands/1/combined_standard_uncertainty", "1", s / x1, {}),
                ("r(y1, y2), framework", "/correlation/0/1", "1", r, {}),
                ("y1, Monte Carlo", "/measurands/0/monte_carlo/mean", "1", radius, {"tolerance": 4e-3 * u_radius}),
                ("u(y1), Monte Carlo", "/measurands/0/monte_carlo/standard_uncertainty", "1", u_radius,
                 {"tolerance": 4e-3 * u_radius}),
                ("y2, Monte Carlo", "/measurands/1/monte_carlo/mean", "1", angle, {"tolerance": 4e-3 * u_angle}),
                ("u(y2), Monte Carlo", "/measurands/1/monte_carlo/standard_uncertainty", "1", u_angle,
                 {"tolerance": 4e-3 * u_angle}),
            ],
        )

# JCGM 106:2012: probabilities of conformity of normal quantities, and risks.
S6 = "JCGM 106:2012"


def conforming(name, id, where, statement, unit, y, u, limits, more, printed=None, provenance=None):
    low, high = limits.get("lower"), limits.get("upper")
    p = (stats.norm.cdf((high - y) / u) if high is not None else 1) - (stats.norm.cdf((low - y) / u) if low is not None else 0)
    write(
        name, id, S6, where, statement,
        provenance or "inputs and printed figure from memory; recomputed from the inputs by the normal distribution",
        {
            "title": statement.split(":")[0],
            "measurands": [{"name": "Y", "unit": unit, "formula": "X", "limits": limits}],
            "inputs": [{"name": "X", "unit": unit, "estimate": y, "standard_uncertainty": u}],
        },
        [
            ("conformance probability", "/conformity/probability", "1", p, {"published": printed} if printed else {}),
            ("specific consumer's risk", "/conformity/specific_consumers_risk", "1", 1 - p, {}),
            *more,
        ],
    )


conforming("s6-7.3-zener", "JCGM-106-7.3-zener", "7.3, example 1",
           "Breakdown voltage of a Zener diode: one upper limit, -5.40 V.", "V", -5.47, 0.05, {"upper": -5.40}, [], "0.92")
conforming("s6-7.3-container", "JCGM-106-7.3-container", "7.3, example 2",
           "Burst pressure of a container: one lower limit, 490 kPa.", "kPa", 509.7, 8.6, {"lower": 490}, [], "0.99")
conforming("s6-7.4-oil", "JCGM-106-7.4-oil", "7.4, example",
           "Kinematic viscosity of a motor oil at 100 degC: limits 12.5 and 16.3 mm^2/s.", "mm²/s", 13.6, 1.8,
           {"lower": 12.5, "upper": 16.3}, [], "0.66")

z = stats.norm.ppf(0.999)
conforming("s6-8.3-speed", "JCGM-106-8.3-speed", "8.3.3, example",
           "Speed of a car by radar: above 100 km/h with 99.9 percent, with a relative standard uncertainty of 2 percent, from a "
           "measured 107 km/h on.",
           "km/h", 107, 2.14, {"lower": 100, "kept_with": 0.999},
           [("guard band at that speed", "/conformity/guard_band", "km/h", 2.14 * z, {}),
            ("verdict", "/conformity/verdict", "1", "conforms", {})],
           provenance="inputs from memory; recomputed from them by the normal distribution")

from global_risks import risks, by_scipy  # noqa: E402

r_c, r_p = risks(1500, 0.12, 0.04, 1499.8, 1500.2, 1499.8, 1500.2)
assert np.allclose(by_scipy(1500, 0.12, 0.04, 1499.8, 1500.2, 1499.8, 1500.2), (r_c, r_p), atol=1e-9)
before = stats.norm.cdf(0.2 / 0.12) - stats.norm.cdf(-0.2 / 0.12)
conforming("s6-9.5-resistors", "JCGM-106-9.5-resistors", "9.5, example of precision resistors",
           "Precision resistors of 1500 ohm: limits 0.2 ohm either way, made with a standard deviation of 0.12 ohm, measured "
           "with u = 0.04 ohm, and accepted up to the limits.",
           "Ω", 1500, 0.04,
           {"lower": 1499.8, "upper": 1500.2, "acceptance": {"lower": 1499.8, "upper": 1500.2},
            "prior": {"normal": {"mean": 1500, "standard_deviation": 0.12}}},
           [("conforming before measurement", "/conformity/global_risks/conforming_before_measuring", "1", before, {}),
            ("global consumer's risk", "/conformity/global_risks/global_consumers_risk", "1", r_c, {}),
            ("global producer's risk", "/conformity/global_risks/global_producers_risk", "1", r_p, {})],
           provenance="inputs from memory; the risks recomputed from them as probabilities of a bivariate normal")
