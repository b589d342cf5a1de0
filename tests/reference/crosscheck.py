"""Expected results for tests/crosscheck.rs, from general-purpose libraries.

    python tests/reference/crosscheck.py > tests/reference/crosscheck.json

* values, gradients and first-order uncertainties with correlation: `uncertainties`;
* second and third derivatives: `mpmath`, by differences in 60 digits;
* estimate, standard deviation and quantiles of non-linear models: quadrature with `scipy` where a
  closed form or an integral exists, else `numpy` with 40 million draws, whose own scatter is recorded.
"""

import json
import sys

import mpmath
import numpy
import scipy
import uncertainties
from scipy import integrate, optimize, stats
from uncertainties import umath

mpmath.mp.dps = 60

# formula, values, standard uncertainties, correlated pairs
MODELS = [
    ("a*b/c", dict(a=3.2, b=-1.7, c=0.8), dict(a=0.02, b=0.05, c=0.01), [("a", "b", 0.4)]),
    ("a^2*sqrt(b) - c^3", dict(a=1.2, b=2.5, c=0.7), dict(a=0.1, b=0.3, c=0.05), [("a", "b", -0.3), ("b", "c", 0.8)]),
    ("sin(a)*cos(b) + tan(c)", dict(a=0.4, b=1.1, c=0.3), dict(a=0.01, b=0.02, c=0.03), []),
    ("atan2(a, b) + atan(c)", dict(a=-0.4, b=-1.1, c=2.3), dict(a=0.01, b=0.02, c=0.03), [("a", "b", 1.0)]),
    ("asin(a) - acos(b)*c", dict(a=0.4, b=-0.8, c=1.5), dict(a=0.01, b=0.02, c=0.03), []),
    ("exp(-a*b)/(1 + c^2)", dict(a=0.4, b=1.1, c=0.3), dict(a=0.1, b=0.2, c=0.3), [("a", "c", -1.0)]),
    ("ln(a + b) * log10(c)", dict(a=4.0, b=1.5, c=30.0), dict(a=0.1, b=0.2, c=3.0), []),
    ("sinh(a) + cosh(b)*tanh(c)", dict(a=0.4, b=1.1, c=0.3), dict(a=0.1, b=0.2, c=0.3), [("b", "c", 0.5)]),
    ("a^b + b^-c", dict(a=1.4, b=2.1, c=1.3), dict(a=0.1, b=0.2, c=0.3), []),
    ("((a + b)^5 - (a - b)^4)/c^7", dict(a=1.4, b=-0.6, c=1.1), dict(a=0.01, b=0.02, c=0.01), [("a", "b", 0.9)]),
    ("2*pi*sqrt(a/b)*(1 + c^2/16 + 11*c^4/3072)", dict(a=1.0, b=9.81, c=0.2), dict(a=1e-3, b=2e-3, c=1e-2), []),
    ("a*(1 - exp(-b/c))^2.5", dict(a=12.0, b=3.0, c=2.0), dict(a=0.5, b=0.1, c=0.1), [("a", "b", -0.2)]),
]


def in_python(formula, functions):
    """The formula as a Python function of keyword arguments."""
    code = compile(formula.replace("^", "**"), formula, "eval")
    return lambda **values: eval(code, dict(functions), values)


def of(module, **extra):
    names = "sin cos tan asin acos atan atan2 sinh cosh tanh exp sqrt log10".split()
    found = {name: getattr(module, name) for name in names if hasattr(module, name)}
    return {**found, "ln": module.log, "pi": mpmath.pi if module is mpmath else float(mpmath.pi), **extra}


def model(formula, values, u, pairs):
    names = list(values)
    correlation = numpy.eye(len(names))
    for first, second, r in pairs:
        i, j = names.index(first), names.index(second)
        correlation[i, j] = correlation[j, i] = r
    plain = {name: uncertainties.ufloat(values[name], u[name]) for name in names}
    y = in_python(formula, of(umath))(**plain)
    gradient = [float(y.derivatives[plain[name]]) for name in names]
    together = uncertainties.correlated_values_norm([(values[name], u[name]) for name in names], correlation)
    u_y = in_python(formula, of(umath))(**dict(zip(names, together))).std_dev

    exact = in_python(formula, of(mpmath))
    point = [mpmath.mpf(repr(values[name])) for name in names]
    f = lambda *x: exact(**dict(zip(names, x)))

    def derivative(*places):
        order = [places.count(k) for k in range(len(names))]
        return float(mpmath.diff(f, tuple(point), tuple(order)))

    n = range(len(names))
    first = [derivative(i) for i in n]
    second = [[derivative(i, j) for j in n] for i in n]
    third = [[derivative(i, j, j) for j in n] for i in n]
    more = sum(
        (second[i][j] ** 2 / 2 + first[i] * third[i][j]) * u[names[i]] ** 2 * u[names[j]] ** 2 for i in n for j in n
    )
    assert numpy.allclose(first, gradient, rtol=1e-12), formula
    variance = sum((first[i] * u[names[i]]) ** 2 for i in n) + more
    return dict(
        formula=formula,
        inputs=[dict(name=name, estimate=values[name], u=u[name]) for name in names],
        correlations=[list(pair) for pair in pairs],
        value=float(f(*point)),
        gradient=gradient,
        u=float(u_y),
        second=second,
        third=third,
        u_second_order=float(variance**0.5) if variance > 0 else None,
    )


def from_density(formula, inputs, density, low, high, note):
    """Mean, standard deviation, and the ends of both 95 % intervals of a density on (low, high)."""
    moment = lambda k, c=0.0: integrate.quad(lambda y: (y - c) ** k * density(y), low, high, epsabs=1e-13, limit=500)[0]
    mean = moment(1)
    cumulative = lambda y: integrate.quad(density, low, y, epsabs=1e-13, limit=500)[0]
    root = lambda p: optimize.brentq(lambda y: cumulative(y) - p, low, high, xtol=1e-12)
    quantile = lambda p: low if p <= 0 else high if p >= 1 else root(p)
    length = lambda p: quantile(p + 0.95) - quantile(p)
    inside = optimize.minimize_scalar(length, bounds=(1e-6, 0.05 - 1e-6), method="bounded").fun
    return dict(
        formula=formula,
        inputs=inputs,
        mean=mean,
        standard_deviation=moment(2, mean) ** 0.5,
        symmetric=[quantile(0.025), quantile(0.975)],
        shortest_length=min(inside, length(0.0), length(0.05)),
        kurtosis=moment(4, mean) / moment(2, mean) ** 2,
        route=note,
        # What an order statistic's scatter depends on.
        end_densities=[density(quantile(0.025)), density(quantile(0.975))],
        n_draws=None,
    )


def from_draws(formula, inputs, draw, n=40_000_000):
    rng = numpy.random.Generator(numpy.random.SFC64(20))
    y = numpy.sort(numpy.concatenate([draw(rng, n // 20) for _ in range(20)]))
    q = int(0.95 * n)
    length = float(numpy.min(y[q:] - y[:-q]))
    ends = [float(y[int(p * n)]) for p in (0.025, 0.975)]
    h = n // 400
    densities = [float(2 * h / n / (y[int(p * n) + h] - y[int(p * n) - h])) for p in (0.025, 0.975)]
    return dict(
        formula=formula,
        inputs=inputs,
        mean=float(y.mean()),
        standard_deviation=float(y.std(ddof=1)),
        symmetric=ends,
        shortest_length=length,
        kurtosis=float(((y - y.mean()) ** 4).mean() / y.var() ** 2),
        route=f"numpy, {n} draws",
        end_densities=densities,
        n_draws=n,
    )


def distributions():
    normal = lambda name, m, s: dict(name=name, normal=[m, s])
    phi = stats.norm.pdf
    yield from_density(
        "exp(x)", [normal("x", 0.2, 0.4)], stats.lognorm(0.4, scale=numpy.exp(0.2)).pdf, 0, 40, "lognormal density"
    )
    yield from_density(
        "x^2", [normal("x", 0.0, 1.0)], stats.chi2(1).pdf, 1e-14, 60, "chi-squared density, 1 degree of freedom"
    )
    yield from_density(
        "1/x", [dict(name="x", rectangular=[1.0, 3.0])], lambda y: 0.5 / y**2, 1 / 3, 1, "density 1/(2 y^2)"
    )
    # A ratio of a normal and a rectangle: the density is an integral over the divisor.
    ratio = lambda y: integrate.quad(lambda b: b * phi((y * b - 2.0) / 0.3) / 0.3 / 0.8, 0.8, 1.6, epsabs=1e-13)[0]
    yield from_density(
        "a/b", [normal("a", 2.0, 0.3), dict(name="b", rectangular=[0.8, 1.6])], ratio, 0.1, 6, "integral over b"
    )
    yield from_density(
        "sin(x)",
        [dict(name="x", rectangular=[-1.5, 1.5])],
        lambda y: 1 / 3 / (1 - y * y) ** 0.5,
        -numpy.sin(1.5),
        numpy.sin(1.5),
        "density 1/(3 sqrt(1 - y^2))",
    )
    yield from_draws(
        "a*b*exp(-c) + max(a, b)",
        [dict(name="a", t=[1.0, 0.2, 7]), dict(name="b", triangular=[0.0, 2.0]), dict(name="c", arc_sine=[0.0, 1.0])],
        lambda g, n: (lambda a, b, c: a * b * numpy.exp(-c) + numpy.maximum(a, b))(
            1 + 0.2 * g.standard_t(7, n), g.random(n) + g.random(n), 0.5 + 0.5 * numpy.cos(numpy.pi * g.random(n))
        ),
    )
    # Two correlated normals: drawn by their sum and difference.
    yield dict(
        from_draws(
            "a*b",
            [normal("a", 1.0, 0.5), normal("b", 2.0, 0.5)],
            lambda g, n: (lambda s, d: (1.0 + 0.5 * (s + d)) * (2.0 + 0.5 * (s - d)))(
                (0.5 * 1.7) ** 0.5 * g.standard_normal(n), (0.5 * 0.3) ** 0.5 * g.standard_normal(n)
            ),
        ),
        correlations=[["a", "b", 0.7]],
    )


libraries = {m.__name__: m.__version__ for m in (mpmath, numpy, scipy, uncertainties)}
json.dump(
    dict(what=__doc__.strip(), libraries=libraries, models=[model(*m) for m in MODELS], distributions=list(distributions())),
    sys.stdout,
    indent=1,
)
print()
