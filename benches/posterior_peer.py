"""Effective samples per second of the same method written with NumPy, for comparison with
`cargo bench --bench posterior`; one thread, one run: python benches/posterior_peer.py

A parked stand in one corner, seven targets, the plate family of tests/common/mod.rs: a dish, front-edge
wear, three dips that are there or not, twist, long and short waves with uncertain scales. Tempered
sequential Monte Carlo with systematic resampling, then the same kinds of moves, vectorised over the
particles: normal scores drawn anew or part of the way, one block after the other, and steps along the
difference of two particles. Gaussian parts are integrated out; roundings enter as a variance and
grains are left out, which makes it easier than what the program does. Plates are completed on the
same grid of 247 nodes; the flatness is the range about the least-squares plane (the exact minimum
zone would cost more).
"""

import time

import numpy as np
from scipy.special import log_ndtr, ndtr

rng = np.random.default_rng(1)
N = 1000
L, W = 914.4, 609.6
D = np.hypot(L, W)
FEET = np.array([[40.0, 35.0], [40.0, -35.0], [-50.0, 0.0]])
AT, HEADING = np.array([90.0, 90.0]), np.radians(33.0)
E = 50.0
TARGETS = np.array([[E, W - E], [L / 2, W - E], [L - E, W - E], [L - E, W / 2], [L - E, E], [L / 2, E], [L / 2, W / 2], [E, W - E]])
READINGS = np.array([0.508, -1.016, 1.524, 1.016, 0.508, -1.016, 0.0])
n = len(READINGS)

turn = np.array([[np.cos(HEADING), -np.sin(HEADING)], [np.sin(HEADING), np.cos(HEADING)]])
places = np.vstack([TARGETS, AT + FEET @ turn.T])
system = np.vstack([places[-3:].T, np.ones(3)])
weights = np.array([np.linalg.solve(system, [*t, 1.0]) for t in TARGETS])
M = np.hstack([np.eye(len(TARGETS)), -weights])
M = M[1:] - M[0]


def nodes(low, high, count):
    u = np.arange(count) / (count - 1)
    return low + (high - low) * (u - 0.35 * np.sin(2 * np.pi * u) / (2 * np.pi))


grid = np.array([[x, y] for y in nodes(25.4, W - 25.4, 13) for x in nodes(25.4, L - 25.4, 19)])
everywhere = np.vstack([places, grid])
plane = np.column_stack([np.ones(len(grid)), grid])
level = np.eye(len(grid)) - plane @ np.linalg.pinv(plane)


def basis(low, high):
    pad = 1.5 * high
    ex, ey = L + 2 * pad, W + 2 * pad
    top = np.sqrt(-4 * np.log(0.05)) / low
    p = np.pi * np.arange(int(top * ex / np.pi) + 1) / ex
    q = np.pi * np.arange(int(top * ey / np.pi) + 1) / ey
    modes = np.array([(a, b) for b in q for a in p if np.hypot(a, b) <= top])
    values = np.cos(np.outer(everywhere[:, 0] + pad, modes[:, 0])) * np.cos(np.outer(everywhere[:, 1] + pad, modes[:, 1]))
    def variances(length):
        s = lambda k, e: 2 * np.sqrt(2 * np.pi) * length[:, None] / e * np.exp(-0.5 * (length[:, None] * k) ** 2) * np.where(k == 0, 0.5, 1)
        return s(modes[:, 0], ex) * s(modes[:, 1], ey)
    return values, variances


fields = [basis(0.15 * D, 0.65 * D), basis(0.14 * W, 0.22 * W)]
effects = [M @ values[: len(places)] for values, _ in fields]
twist_shape = 4 * (everywhere[:, 0] / L - 0.5) * (everywhere[:, 1] / W - 0.5)
bow_shape = -0.5 * ((everywhere - [L / 2, W / 2]) ** 2).sum(1)
twist_effect, bow_effect = M @ twist_shape[: len(places)], M @ bow_shape[: len(places)]
bow_sd, twist_sd = 0.2 * 6.5e-6 / 152.4 * 1e3, 0.58
one = np.eye(n) + 1.0
film = 0.5**2 * (one + (weights[1:] - weights[0]) @ (weights[1:] - weights[0]).T)
fixed = film + one * (0.508**2 + 0.508**2 / 12 + 0.16**2 / 12 + 0.06) + twist_sd**2 * np.outer(twist_effect, twist_effect) + bow_sd**2 * np.outer(bow_effect, bow_effect)

uniform = lambda z, a, b: a + (b - a) * ndtr(z)
exponential = lambda z, mean: -mean * log_ndtr(-z)
lognormal = lambda z, median, spread: median * np.exp(spread * z)
BLOCKS = [slice(0, 5), slice(5, 9), slice(9, 15), slice(15, 21), slice(21, 27), slice(27, 31)]
DIMENSION = 31


def bumps(z):
    yield exponential(z[:, 0], 2.0), L / 2 + 0.08 * L * z[:, 1], 0.45 * W + 0.08 * W * z[:, 2], uniform(z[:, 3], 0.15 * L, 0.35 * L), uniform(z[:, 4], 0.15 * W, 0.35 * W)
    yield exponential(z[:, 5], 1.2), L / 2 + 0.1 * L * z[:, 6], 0 * z[:, 6], uniform(z[:, 7], 0.15 * L, 0.4 * L), uniform(z[:, 8], 0.05 * W, 0.18 * W)
    for k in (9, 15, 21):
        there, corner = ndtr(z[:, k]) < 0.4, np.floor(4 * ndtr(z[:, k + 5])).astype(int)
        radius, x, y = (uniform(z[:, k + i], 0.05 * W, h * W) for i, h in ((2, 0.15), (3, 0.18), (4, 0.18)))
        yield there * exponential(z[:, k + 1], 1.6), np.where(corner % 2, L - x, x), np.where(corner // 2, W - y, y), radius, radius


def form(z, at):
    total = np.zeros((len(z), len(at)))
    for depth, x, y, sx, sy in bumps(z):
        u, v = (at[:, 0] - x[:, None]) / sx[:, None], (at[:, 1] - y[:, None]) / sy[:, None]
        total -= depth[:, None] * np.exp(-0.5 * (u * u + v * v))
    return total


def scales(z):
    return (lognormal(z[:, 27], 0.6, 0.8) ** 2, uniform(z[:, 28], 0.15 * D, 0.65 * D)), (lognormal(z[:, 29], 0.17, 0.5) ** 2, uniform(z[:, 30], 0.14 * W, 0.22 * W))


def judge(z, factor):
    white = np.linalg.solve(factor, (READINGS - form(z, places) @ M.T)[:, :, None])[:, :, 0]
    return -0.5 * (white**2).sum(1) - np.log(np.diagonal(factor, axis1=1, axis2=2)).sum(1), white


def work_out(z):
    mode_variances = [variance[:, None] * variances(length) for (variance, length), (_, variances) in zip(scales(z), fields)]
    s = fixed + sum(np.einsum("im,km,jm->kij", e, v, e, optimize=True) for e, v in zip(effects, mode_variances))
    factor = np.linalg.cholesky(s)
    logs, white = judge(z, factor)
    return logs, mode_variances, factor, white


def sweep(z, logs, power):
    factor = work_out(z)[2]
    # The scales come last: until then the covariance stays as it is.
    for block in BLOCKS:
        for kind in range(3):
            proposal, ratio = z.copy(), 0.0
            width = block.stop - block.start
            if kind < 2:
                share = 1.0 if kind == 0 else rng.choice([0.15, 0.5], (N, 1))
                proposal[:, block] = np.sqrt(1 - share**2) * z[:, block] + share * rng.standard_normal((N, width))
            else:
                a, b = rng.integers(0, N, (2, N))
                proposal[:, block] += 2.38 / np.sqrt(2 * width) * (z[a, block] - z[b, block])
                ratio = 0.5 * (z[:, block] ** 2 - proposal[:, block] ** 2).sum(1)
            new = work_out(proposal)[0] if block.start == 27 else judge(proposal, factor)[0]
            accept = np.log(rng.random(N)) < power * (new - logs) + ratio
            z[accept], logs[accept] = proposal[accept], new[accept]


def complete(z):
    _, mode_variances, factor, white = work_out(z)
    coefficients = [np.sqrt(v) * rng.standard_normal(v.shape) for v in mode_variances]
    twist, bow = twist_sd * rng.standard_normal(N), bow_sd * rng.standard_normal(N)
    rest = np.linalg.cholesky(fixed - twist_sd**2 * np.outer(twist_effect, twist_effect) - bow_sd**2 * np.outer(bow_effect, bow_effect))
    missed = sum(c @ e.T for c, e in zip(coefficients, effects)) + np.outer(twist, twist_effect) + np.outer(bow, bow_effect) + rng.standard_normal((N, n)) @ rest.T
    misfit = white - np.linalg.solve(factor, missed[:, :, None])[:, :, 0]
    pull = np.linalg.solve(factor.transpose(0, 2, 1), misfit[:, :, None])[:, :, 0]
    heights = form(z, grid) + np.outer(twist + twist_sd**2 * pull @ twist_effect, twist_shape[len(places):])
    for c, v, e, (values, _) in zip(coefficients, mode_variances, effects, fields):
        heights += (c + v * (pull @ e)) @ values[len(places):].T
    return np.ptp(heights @ level.T, axis=1)


start = time.perf_counter()
z = rng.standard_normal((N, DIMENSION))
ancestor, power, stages = np.arange(N), 0.0, 0
logs = work_out(z)[0]
while power < 1:
    low, high = 0.0, 1 - power
    weight = lambda step: np.exp(step * (logs - logs.max()))
    size = lambda step: weight(step).sum() ** 2 / (weight(step) ** 2).sum()
    if size(high) < N / 2:
        for _ in range(40):
            middle = (low + high) / 2
            low, high = (low, middle) if size(middle) < N / 2 else (middle, high)
        high = low
    w = weight(high)
    chosen = np.searchsorted(np.cumsum(w) / w.sum(), (np.arange(N) + rng.random()) / N).clip(0, N - 1)
    z, logs, ancestor = z[chosen], logs[chosen], ancestor[chosen]
    power, stages = power + high, stages + 1
    sweep(z, logs, min(power, 1.0))
    if power > 1 - 1e-12:
        break
rounds = [complete(z)]
for _ in range(3):
    sweep(z, logs, 1.0)
    rounds.append(complete(z))
seconds = time.perf_counter() - start
sample = np.concatenate(rounds)
deviations = np.array(rounds) - sample.mean()
groups = np.zeros(N)
np.add.at(groups, ancestor, deviations.sum(0))
effective = min(len(sample) * (deviations**2).sum() / (groups**2).sum(), len(sample))
print(f"{len(sample)} plates, {stages} stages, mean {sample.mean():.2f} µm, standard uncertainty {sample.std():.2f} µm")
print(f"effective size {effective:.0f} in {seconds:.2f} s: {effective / seconds:.0f} a second")
