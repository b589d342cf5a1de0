"""Closed-form conditioning of a Gaussian process on the readings of a parked stand.

Writes gaussian_process.csv beside this file. Made with scikit-learn 1.9.1 (the kernel), scipy 1.17.1
(Cholesky solves, the multivariate normal density) and numpy 2.4.6:

    python gaussian_process.py

The surface is a field of squared-exponential correlation alone, of known standard deviation and
correlation length. Eight spots are read from one corner against the first of them, with normal noise
on every reading including the zero's. Heights count from the least-squares plane through the nodes.
"""

from pathlib import Path

import numpy as np
from scipy.linalg import cho_factor, cho_solve
from scipy.stats import multivariate_normal
from sklearn.gaussian_process.kernels import RBF

SD, LENGTH, NOISE = 1.5, 260.0, 0.4
L, W, MARGIN, EDGE = 914.4, 609.6, 25.4, 50.0
FEET = np.array([[40.0, 35.0], [40.0, -35.0], [-50.0, 0.0]])
AT, HEADING = np.array([90.0, 90.0]), np.radians(33.0)
TARGETS = np.array([
    [EDGE, W - EDGE], [L / 2, W - EDGE], [L - EDGE, W - EDGE], [L - EDGE, W / 2],
    [L - EDGE, EDGE], [L / 2, EDGE], [L / 2, W / 2],
])
# Readings in micrometres; the zero is not among them.
READINGS = np.array([1.4, -0.6, 0.9, 2.2, 0.3, -1.1])


def nodes(low, high, count):
    u = np.arange(count) / (count - 1)
    return low + (high - low) * (u - 0.35 * np.sin(2 * np.pi * u) / (2 * np.pi))


def counts():
    a, b = L - 2 * MARGIN, W - 2 * MARGIN
    odd = lambda side, other: 2 * max(int(np.sqrt(247 * side / other) / 2), 1) + 1
    return odd(a, b), odd(b, a)


n_x, n_y = counts()
grid = np.array([[x, y] for y in nodes(MARGIN, W - MARGIN, n_y) for x in nodes(MARGIN, L - MARGIN, n_x)])
turn = np.array([[np.cos(HEADING), -np.sin(HEADING)], [np.sin(HEADING), np.cos(HEADING)]])
feet = AT + FEET @ turn.T
# Weights of the feet in the height of their plane at each target.
system = np.vstack([feet.T, np.ones(3)])
weights = np.array([np.linalg.solve(system, [*t, 1.0]) for t in TARGETS])
rows = np.hstack([np.eye(len(TARGETS)), -weights])
rows = rows[1:] - rows[0]
places = np.vstack([TARGETS, feet])

kernel = SD**2 * RBF(LENGTH)
noise = NOISE**2 * (np.eye(len(READINGS)) + 1.0)
covariance = rows @ kernel(places) @ rows.T + noise
cross = kernel(grid, places) @ rows.T
factor = cho_factor(covariance)
mean = cross @ cho_solve(factor, READINGS)
posterior = kernel(grid) - cross @ cho_solve(factor, cross.T)
plane = np.column_stack([np.ones(len(grid)), grid])
level = np.eye(len(grid)) - plane @ np.linalg.pinv(plane)
mean, posterior = level @ mean, level @ posterior @ level.T
density = multivariate_normal(np.zeros(len(READINGS)), covariance).logpdf(READINGS)

with open(Path(__file__).with_name("gaussian_process.csv"), "w") as out:
    out.write(f"# {' '.join(__doc__.split())}\n# n_x {n_x} n_y {n_y}; node, height, standard deviation in µm\n")
    out.write(f"log density,{density:.9f},0\n")
    for i in range(0, len(grid), 7):
        out.write(f"{i},{mean[i]:.9f},{np.sqrt(posterior[i, i]):.9f}\n")
