"""Reference values for the least-squares reduction of the eight lines of the union-jack layout.

A network of height differences, or of heights over straight lines, is set up here from its definition alone and solved by
numpy.linalg.lstsq, a general-purpose solver (minimum norm by singular values), with weights. Readings are pseudo-random numbers:
any will do, since closures need not be small for the least-squares solution to be defined.

Run: python3 eight_lines.py > eight_lines.json
"""

import json

import numpy as np

SURFACE = [[25.4, 889.0], [25.4, 584.2]]
BASE = 100.0
rng = np.random.default_rng(20261125)


def layout():
    (left, right), (front, back) = SURFACE
    mx, my = (left + right) / 2, (front + back) / 2
    ends = [
        ((left, front), (right, front)), ((left, back), (right, back)),
        ((left, front), (left, back)), ((right, front), (right, back)),
        ((left, front), (right, back)), ((left, back), (right, front)),
        ((left, my), (right, my)), ((mx, front), (mx, back)),
    ]
    nodes, lines = {}, []
    for a, b in ends:
        a, b = np.array(a), np.array(b)
        length = np.hypot(*(b - a))
        n = 2 * max(1, round(length / (2 * BASE)))
        line = []
        for i in range(n + 1):
            key = tuple(np.round(a + (b - a) * i / n, 6))
            line.append(nodes.setdefault(key, len(nodes)))
        lines.append((line, length / n))
    return list(nodes), lines


def case(kind):
    nodes, lines = layout()
    n_nodes = len(nodes)
    rows = []
    own = {"level": 1, "direction": 8, "straightedge": 16}[kind]
    for k, (line, step) in enumerate(lines):
        if kind == "straightedge":
            for i, node in enumerate(line):
                row = np.zeros(n_nodes + own)
                row[node] = 1
                row[n_nodes + 2 * k] = 1
                row[n_nodes + 2 * k + 1] = i * step / 1000
                rows.append(row)
        else:
            for a, b in zip(line, line[1:]):
                row = np.zeros(n_nodes + own)
                row[b], row[a] = 1, -1
                row[n_nodes + (0 if kind == "level" else k)] = step / 1000
                rows.append(row)
    design = np.array(rows)
    readings = rng.normal(0, 2, len(rows)).round(3)
    u = rng.uniform(0.5, 2, len(rows)).round(3)
    solution, _, rank, _ = np.linalg.lstsq(design / u[:, None], readings / u, rcond=1e-10)
    residuals = (readings - design @ solution) / u
    xy = np.array(nodes)
    plane = np.column_stack([np.ones(n_nodes), xy])
    heights = solution[:n_nodes]
    heights = heights - plane @ np.linalg.lstsq(plane, heights, rcond=None)[0]
    return {
        "readings": readings.tolist(),
        "u": u.tolist(),
        "degrees_of_freedom": len(rows) - int(rank),
        "closure": float(residuals @ residuals),
        "nodes": [[x, y, z] for (x, y), z in zip(nodes, heights.tolist())],
    }


print(json.dumps({
    "source": f"eight_lines.py beside this file, numpy {np.__version__} linalg.lstsq",
    "surface": SURFACE,
    "base": BASE,
    "cases": {kind: case(kind) for kind in ("level", "direction", "straightedge")},
}, indent=1))
