"""Writes pareto_smoothing.json: smoothed importance weights by ArviZ, for weights that are given by a formula.

    pip install "arviz==0.17.1" "numpy<2" "scipy<1.13" "matplotlib<3.9"
    python pareto_smoothing.py > pareto_smoothing.json
"""
import json

import arviz
import numpy as np

cases = []
for n, shape in [(200, 0.2), (400, 0.6), (1000, 0.9), (1000, 1.4)]:
    # Pareto weights of a known shape in a scattered order: logarithm -shape ln(1 - u).
    u = ((np.arange(n) * 0.6180339887498949) % 1.0) * 0.998 + 0.001
    log_ratios = -shape * np.log1p(-u)
    log_weights, k = arviz.psislw(log_ratios)
    weights = np.exp(np.asarray(log_weights))
    weights /= weights.sum()
    largest = np.sort(weights)[::-1]
    cases.append({"n": n, "shape": shape, "k": float(k), "largest": [float(w) for w in largest[:5]],
                  "squares": float((weights**2).sum())})
print(json.dumps({"source": f"arviz.psislw {arviz.__version__} (general-purpose library for Bayesian models)",
                  "cases": cases}, indent=1))
