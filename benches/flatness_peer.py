"""The exact minimum zone of the worn plates of benches/flatness.rs, as a Python programmer would find it: by linear
programming (SciPy, HiGHS) and from the convex hull (SciPy, NumPy), with howflat beside them in one run.

    pip install numpy scipy
    python benches/flatness_peer.py

Times are per set of heights on one core, each the fastest of several runs: the one least disturbed.
"""

import re
import subprocess
import time

import numpy as np
from scipy.optimize import linprog
from scipy.spatial import ConvexHull

LENGTH, WIDTH = 914.4, 609.6
GRIDS = {9: (3, 3), 49: (7, 7), 247: (19, 13), 1000: (40, 25)}


# -- plates: as in benches/flatness.rs ----------------------------------------------------------------


def grid(n_points):
    n_columns, n_rows = GRIDS[n_points]
    x, y = np.meshgrid(np.linspace(25, LENGTH - 25, n_columns), np.linspace(25, WIDTH - 25, n_rows))
    return x.ravel(), y.ravel()


def heights(plate, x, y):
    def part(purpose):
        return (plate + 1) * np.sqrt(2.0 * purpose + 3.1) % 1.0

    def depth(purpose):
        return -np.log(max(part(purpose), 1e-3))

    def bell(x, y):
        return np.exp(-(x * x + y * y) / 2)

    middle, front, dip = 2 * depth(0), depth(1), depth(2)
    twist, bow = 2 * part(3) - 1, 3 * part(4) - 1.5
    centre = LENGTH * (0.4 + 0.2 * part(5)), WIDTH * (0.4 + 0.2 * part(6))
    reach = 30 + 60 * part(7)
    corner = 30 + 80 * part(8), 30 + 80 * part(9)
    u, v = 2 * x / LENGTH - 1, 2 * y / WIDTH - 1
    z = twist * u * v + bow * (u * u + v * v) / 2
    z -= middle * bell((x - centre[0]) / (0.22 * LENGTH), (y - centre[1]) / (0.22 * WIDTH))
    z -= front * bell(u / 0.6, 0) * np.exp(-y / 60)
    z -= dip * bell((x - corner[0]) / reach, (y - corner[1]) / reach)
    for k in range(12):
        kx, ky, phase = 0.02 * part(10 + 3 * k) - 0.01, 0.02 * part(11 + 3 * k) - 0.01, 2 * np.pi * part(12 + 3 * k)
        z += 0.1 * np.cos(kx * x + ky * y + phase)
    return z


# -- two ways to the minimum zone ---------------------------------------------------------------------


def by_linear_programme(x, y, z):
    """Least t with |z - a - b x - c y| <= t, times two."""
    plane = np.c_[np.ones_like(x), x / 1000, y / 1000]
    half = np.full((len(x), 1), -1.0)
    solution = linprog(
        [0, 0, 0, 1],
        A_ub=np.block([[plane, half], [-plane, half]]),
        b_ub=np.r_[z, -z],
        bounds=[(None, None)] * 3 + [(0, None)],
        method="highs",
        options={"primal_feasibility_tolerance": 1e-10, "dual_feasibility_tolerance": 1e-10},
    )
    return 2 * solution.x[3]


def by_convex_hull(x, y, z):
    """The best tilt is that of a face of the hull, or is parallel to an edge above and an edge below."""
    points = np.c_[x / 1000, y / 1000, z]
    hull = ConvexHull(points)
    upward = hull.equations[:, 2]
    faces = hull.equations[np.abs(upward) > 1e-9]
    tilts = [-faces[:, :2] / faces[:, 2:3]]

    def edges(simplices):
        pairs = np.sort(np.r_[simplices[:, [0, 1]], simplices[:, [1, 2]], simplices[:, [0, 2]]], axis=1)
        first, second = np.unique(pairs, axis=0).T
        return points[second] - points[first]

    above, below = edges(hull.simplices[upward > 1e-9]), edges(hull.simplices[upward < -1e-9])
    normals = np.cross(above[:, None], below[None]).reshape(-1, 3)
    normals = normals[np.abs(normals[:, 2]) > 1e-9]
    tilts.append(-normals[:, :2] / normals[:, 2:3])
    corners = points[hull.vertices]
    widths = [
        np.ptp(corners[:, 2:] - corners[:, :2] @ some.T, axis=0).min()
        for tilt in tilts
        for some in np.array_split(tilt, len(tilt) // 4096 + 1)
    ]
    return min(widths)


# -- in one run ---------------------------------------------------------------------------------------


def howflat():
    """One call in ns by number of points, from the fastest sample, and the mean flatness that the bench prints."""
    out = subprocess.run(
        ["cargo", "bench", "--bench", "flatness", "--", "minimum_zone"], capture_output=True, text=True, check=True
    ).stdout
    units = {"ns": 1.0, "µs": 1e3, "ms": 1e6}
    rows = re.findall(r"[├╰]─ (\d+) +([\d.]+) (\S+)", out)
    mean = float(re.search(r"points: ([\d.]+)", out)[1])
    return {int(n): float(value) * units[unit] for n, value, unit in rows}, mean


def fastest(solve, sets, x, y):
    times = []
    for _ in range(5):
        start = time.perf_counter()
        found = [solve(x, y, z) for z in sets]
        times.append((time.perf_counter() - start) / len(sets))
    return min(times), np.array(found)


def main():
    ours, our_mean = howflat()
    x, y = grid(247)
    mean = np.mean([by_linear_programme(x, y, heights(plate, x, y)) for plate in range(65536 // 247)])
    assert abs(mean - our_mean) < 1e-8, (mean, our_mean)
    print(f"both find a mean flatness of {mean:.8f} µm on {65536 // 247} plates of 247 points")
    print(f"{'points':>6} {'howflat':>10} {'linear programme':>20} {'convex hull':>20}")
    for n_points in GRIDS:
        x, y = grid(n_points)
        sets = [heights(plate, x, y) for plate in range(24)]
        programme, found = fastest(by_linear_programme, sets, x, y)
        hull, found_too = fastest(by_convex_hull, sets, x, y)
        assert np.allclose(found, found_too, rtol=1e-9)
        own = ours[n_points]
        cells = [f"{t * 1e6:9.0f} µs {t * 1e9 / own:6.0f} x" for t in (programme, hull)]
        print(f"{n_points:6} {own:7.0f} ns {cells[0]:>20} {cells[1]:>20}")


if __name__ == "__main__":
    main()
