"""What a capable Python programmer would write for the job of benches/survey.rs: the same plate, wear, stand and
disturbances drawn with NumPy in blocks, the minimum zone by linear programming (SciPy, HiGHS). Prints surveys per second.

    python3 benches/survey_peer.py [n_surveys] [n_for_linear_programming]
"""
import sys
import time

import numpy as np
from scipy.optimize import linprog

IN = 25.4
L, W, T, MARGIN = 36 * IN, 24 * IN, 6 * IN, IN
D = np.hypot(L, W)
N = int(sys.argv[1]) if len(sys.argv) > 1 else 20000
N_LP = int(sys.argv[2]) if len(sys.argv) > 2 else 200
STEP = 0.2 * 2.54
rng = np.random.default_rng(1)

gx, gy = np.meshgrid(np.linspace(MARGIN, L - MARGIN, 19), np.linspace(MARGIN, W - MARGIN, 13))
GRID = np.c_[gx.ravel(), gy.ravel()]
FEET = np.array([[76.2, 63.5], [76.2, -63.5], [-76.2, 0.0]]) + [95.0, 95.0]
TARGETS = np.array([[L - 50, 50], [L - 50, W - 50], [50, W - 50], [L / 2, 50], [L - 50, W / 2], [L / 2, W - 50],
                    [50, W / 2], [L / 2, W / 2]])
PLACES = np.r_[FEET, TARGETS]
POINTS = np.r_[GRID, PLACES]


def field_basis(length):
    """Cosines over a padded plate, as for a Gaussian field of squared-exponential correlation."""
    pad = 1.5 * length
    px, py = (np.pi / (side + 2 * pad) for side in (L, W))
    top = 3.5 / (0.75 * length)
    k = [(i * px, j * py) for i in range(int(top / px) + 1) for j in range(int(top / py) + 1)
         if np.hypot(i * px, j * py) <= top]
    return np.array(k), pad


def draw_fields(n, kx, pad, low_sd, high_sd, low, high):
    sd, length = rng.uniform(low_sd, high_sd, n), rng.uniform(low, high, n)
    phi = np.cos(np.outer(POINTS[:, 0] + pad, kx[:, 0])) * np.cos(np.outer(POINTS[:, 1] + pad, kx[:, 1]))
    amplitude = np.exp(-np.outer(length**2, (kx**2).sum(1)) / 4)
    amplitude *= (sd * 2 * length * np.sqrt(2 * np.pi) / np.sqrt((L + 2 * pad) * (W + 2 * pad)))[:, None]
    return (rng.standard_normal(amplitude.shape) * amplitude) @ phi.T


LONG = field_basis(0.35 * D)
SHORT = field_basis(0.14 * W)


def surfaces(n):
    x, y = POINTS.T

    def bump(depth, cx, cy, sx, sy):
        return -depth[:, None] * np.exp(-((x - cx[:, None]) / sx[:, None])**2 / 2 - ((y - cy[:, None]) / sy[:, None])**2 / 2)

    def dips():
        there = rng.random(n) < 0.4
        corner = rng.integers(0, 4, n)
        dx, dy = rng.uniform(0.05 * W, 0.18 * W, (2, n))
        radius = rng.uniform(0.05 * W, 0.15 * W, n)
        cx, cy = np.where(corner % 2 == 0, dx, L - dx), np.where(corner < 2, dy, W - dy)
        return bump(there * rng.gamma(2, 0.8, n), cx, cy, radius, radius)

    z = bump(rng.gamma(2, 1.0, n), rng.normal(L / 2, 0.08 * L, n), rng.normal(0.45 * W, 0.08 * W, n),
             rng.uniform(0.15 * L, 0.35 * L, n), rng.uniform(0.15 * W, 0.35 * W, n))
    z += bump(rng.gamma(2, 0.6, n), rng.normal(L / 2, 0.1 * L, n), np.zeros(n), rng.uniform(0.15 * L, 0.4 * L, n),
              rng.uniform(0.05 * W, 0.18 * W, n))
    for _ in range(3):
        z += dips()
    z += rng.normal(0, 0.58, n)[:, None] * 4 * (x / L - 0.5) * (y / W - 0.5)
    z += draw_fields(n, *LONG, 0.3, 1.2, 0.35 * D, 0.65 * D)
    z += draw_fields(n, *SHORT, 0.1, 0.3, 0.14 * W, 0.22 * W)
    return z


WEIGHTS = np.linalg.solve(np.vstack([FEET.T, np.ones(3)]), np.vstack([TARGETS.T, np.ones(len(TARGETS))]))


def spreads(z):
    n, m = len(z), len(TARGETS)
    places = z[:, len(GRID):].copy()
    bow = -rng.uniform(4e-6, 9e-6, n) * rng.normal(0, 0.2, n) / T * 1e3
    places += bow[:, None] * ((PLACES - [L / 2, W / 2])**2).sum(1) / 2
    grains = (rng.random((n, 3 + m)) < 0.01) * rng.lognormal(np.log(8), 0.4, (n, 3 + m))
    places += 0.5 * rng.standard_normal((n, 3 + m)) + grains
    reading = places[:, 3:] - places[:, :3] @ WEIGHTS
    reading /= np.cos(np.radians(rng.uniform(0, 20, n)))[:, None]
    swing = (rng.uniform(0, 2.54, n))[:, None] * np.sin(2 * np.pi * reading / 50.8 + rng.uniform(0, 2 * np.pi, (n, 1)))
    side = rng.uniform(0, 0.85, (n, 1)) / 2 * rng.choice([-1, 1], (n, m))
    reading += swing + side + 0.508 * rng.standard_normal((n, m)) + rng.uniform(-0.08, 0.08, (n, m))
    reading -= reading[:, :1] + STEP * rng.uniform(-0.5, 0.5, (n, 1))
    reading = np.round(reading / STEP) * STEP
    reading[:, 0] = 0
    return np.ptp(reading, axis=1)


def minimum_zone(z):
    x = np.c_[GRID / L, np.ones(len(GRID))]
    k = np.full((len(GRID), 1), -1.0)
    bounds = [(None, None)] * 3 + [(0, None)]
    return 2 * linprog([0, 0, 0, 1], A_ub=np.block([[x, k], [-x, k]]), b_ub=np.r_[z, -z], bounds=bounds, method="highs").x[3]


def main():
    surfaces(1000)
    start = time.perf_counter()
    spread, kept = [], None
    for _ in range(0, N, 1000):
        z = surfaces(1000)
        spread.append(spreads(z))
        kept = z
    without = (time.perf_counter() - start) / N
    start = time.perf_counter()
    flatness = [minimum_zone(row[:len(GRID)]) for row in kept[:N_LP]]
    zone = (time.perf_counter() - start) / N_LP
    print(f"drawing and reading {without * 1e6:.1f} µs, minimum zone {zone * 1e6:.0f} µs a survey: "
          f"{1 / (without + zone):.0f} surveys a second; mean spread {np.mean(np.concatenate(spread)):.2f} µm, "
          f"mean flatness {np.mean(flatness):.2f} µm")


if __name__ == "__main__":
    main()
