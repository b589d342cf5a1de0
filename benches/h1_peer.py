"""GUM H.1 by Monte Carlo (JCGM 101:2008, 9.5), a million and ten million trials with mean, standard deviation and both
95 % intervals: NumPy as most would write it, NumPy at its best, a fused Numba loop, and howflat, in one run.

    pip install numpy numba
    python benches/h1_peer.py

Times are medians of several runs on all cores; run it on a quiet machine.
"""

import re
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor

import numba
import numpy as np

CORES = numba.config.NUMBA_NUM_THREADS


def deviation(l_s, d, alpha_s, theta, delta_alpha, delta_theta):
    """Equation 36 of 9.5: length less the nominal 50 mm, in nm."""
    return (l_s * (1 + alpha_s * (theta - delta_theta)) + d) / (1 + (alpha_s + delta_alpha) * theta) - 50e6


# -- as most would write it: one call a distribution, one sort ----------------------------------------


def inexact_rectangle(rng, n, half_width, inexactness):
    half_widths = half_width + inexactness * rng.uniform(-1, 1, n)
    return half_widths * rng.uniform(-1, 1, n)


def draw_numpy(rng, n):
    l_s = 50000623 + 25 * rng.standard_t(18, n)
    d = 215 + 6 * rng.standard_t(24, n) + 4 * rng.standard_t(5, n) + 7 * rng.standard_t(8, n)
    alpha_s = rng.uniform(9.5e-6, 13.5e-6, n)
    theta = rng.normal(-0.1, 0.2, n) + 0.5 * np.cos(np.pi * rng.random(n))
    return deviation(
        l_s, d, alpha_s, theta, inexact_rectangle(rng, n, 1e-6, 1e-7), inexact_rectangle(rng, n, 0.05, 0.025)
    )


def intervals_sorted(y):
    y = np.sort(y)
    return intervals(y, y, len(y))


def intervals(low, high, n, p=0.95):
    """Both intervals, of the lowest and the highest values, each sorted (JCGM 101 7.7.2)."""
    q = int(p * n + 0.5)
    left = n - q
    low, high = low[:left], high[len(high) - left :]
    shortest = np.argmin(high - low)
    middle = (left + 1) // 2 - 1
    return (low[middle], high[middle]), (low[shortest], high[shortest])


def numpy_plain(n):
    y = draw_numpy(np.random.Generator(np.random.SFC64(1)), n)
    return y.mean(), y.std(ddof=1), *intervals_sorted(y)


# -- at its best: blocks that stay in the cache, threads, Bailey's t, selection ------------------------


def t_bailey(rng, n, nu):
    """Bailey, Mathematics of Computation 62, 1994, 779-781, with the cosine of a random angle."""
    return np.sqrt(nu * (rng.random(n) ** (-2 / nu) - 1)) * np.cos(2 * np.pi * rng.random(n))


def draw_blocks(seed, y, block=16384):
    rng = np.random.Generator(np.random.SFC64(seed))
    for start in range(0, len(y), block):
        n = min(block, len(y) - start)
        l_s = 50000623 + 25 * t_bailey(rng, n, 18)
        d = 215 + 6 * t_bailey(rng, n, 24) + 4 * t_bailey(rng, n, 5) + 7 * t_bailey(rng, n, 8)
        theta = -0.1 + 0.2 * rng.standard_normal(n) + 0.5 * np.cos(np.pi * rng.random(n))
        inexact = [inexact_rectangle(rng, n, *w) for w in ((1e-6, 1e-7), (0.05, 0.025))]
        y[start : start + n] = deviation(l_s, d, 9.5e-6 + 4e-6 * rng.random(n), theta, *inexact)


def intervals_selected(y):
    n = len(y)
    left = n - int(0.95 * n + 0.5)
    parted = np.partition(y, (left, n - left - 1))
    return intervals(np.sort(parted[:left]), np.sort(parted[n - left :]), n)


def numpy_best(n):
    y = np.empty(n)
    parts = np.array_split(y, CORES)
    with ThreadPoolExecutor(CORES) as threads:
        list(threads.map(draw_blocks, np.random.SeedSequence(1).spawn(CORES), parts))
    return y.mean(), y.std(ddof=1), *intervals_selected(y)


# -- Numba: one loop over the trials --------------------------------------------------------------------


@numba.njit(inline="always")
def t_numba(nu):
    return np.sqrt(nu * (np.random.random() ** (-2 / nu) - 1)) * np.cos(2 * np.pi * np.random.random())


@numba.njit(inline="always")
def inexact_numba(half_width, inexactness):
    half_width += inexactness * (2 * np.random.random() - 1)
    return half_width * (2 * np.random.random() - 1)


@numba.njit(parallel=True, fastmath=True, error_model="numpy")
def draw_numba(y):
    for i in numba.prange(len(y)):
        l_s = 50000623 + 25 * t_numba(18)
        d = 215 + 6 * t_numba(24) + 4 * t_numba(5) + 7 * t_numba(8)
        alpha_s = 9.5e-6 + 4e-6 * np.random.random()
        theta = -0.1 + 0.2 * np.random.standard_normal() + 0.5 * np.cos(np.pi * np.random.random())
        delta_alpha, delta_theta = inexact_numba(1e-6, 1e-7), inexact_numba(0.05, 0.025)
        scale = l_s * (1 + alpha_s * (theta - delta_theta)) + d
        y[i] = scale / (1 + (alpha_s + delta_alpha) * theta) - 50e6


def numba_fused(n):
    y = np.empty(n)
    draw_numba(y)
    return y.mean(), y.std(ddof=1), *intervals_selected(y)


# -- all of them ------------------------------------------------------------------------------------------


def median_time(job, n, runs):
    job(n // 100)  # compiles, and warms up
    times = []
    for _ in range(runs):
        start = time.perf_counter()
        mean, u, symmetric, _ = job(n)
        times.append(time.perf_counter() - start)
    # JCGM 101 table 11: 838 nm and 36 nm.
    assert abs(mean - 838) < 0.5 and abs(u - 35.8) < 0.5 and abs(symmetric[1] - symmetric[0] - 140.8) < 2
    return float(np.median(times))


def howflat():
    """Seconds by number of trials, from the bench beside this file."""
    command = ["cargo", "bench", "--quiet", "--bench", "monte_carlo", "--", "h1_whole"]
    output = subprocess.run(command, check=True, capture_output=True, text=True).stdout
    unit = {"s": 1, "ms": 1e-3, "µs": 1e-6}
    rows = re.findall(r"[├╰]─ (\d+) +(.*)", output)
    median = lambda row: re.findall(r"([\d.]+) (\w+)", row.split("│")[2])[0]
    return {int(n): float(median(row)[0]) * unit[median(row)[1]] for n, row in rows}


ours = howflat()
for n, runs in ((10**6, 9), (10**7, 3)):
    print(f"{n} trials, {CORES} cores")
    print(f"  howflat          {1e3 * ours[n]:8.1f} ms")
    for name, job in (("NumPy", numpy_plain), ("NumPy, best", numpy_best), ("Numba", numba_fused)):
        seconds = median_time(job, n, runs)
        print(f"  {name:<16} {1e3 * seconds:8.1f} ms  {seconds / ours[n]:5.1f} times ours")
    sys.stdout.flush()
