"""Random pairing cases solved by scipy.optimize.linear_sum_assignment.

Objective (the one of src/timeline/pairing.rs): a pair inside the window costs
|lag|, an event left alone costs half the window's wider side. As an assignment
problem: moments x marks hold |lag| (a prohibitive cost outside the window), and
each event has its own dummy partner at the cost of being left alone.

Run: python3 tests/reference/pairing.py > tests/reference/pairing.json
"""

import json

import numpy as np
import scipy
from scipy.optimize import linear_sum_assignment

PROHIBITIVE = 1e9


def solve(moments, marks, before, after):
    n, m = len(moments), len(marks)
    alone = max(before, after) / 2
    lag = (marks[None, :] - moments[:, None]) * 1000.0
    cost = np.full((n + m, n + m), PROHIBITIVE)
    cost[:n, :m] = np.where((lag >= -before) & (lag <= after), np.abs(lag), PROHIBITIVE)
    cost[:n, m:][np.diag_indices(n)] = alone
    cost[n:, :m][np.diag_indices(m)] = alone
    cost[n:, m:] = 0.0
    rows, cols = linear_sum_assignment(cost)
    pairs = sorted((int(r), int(c)) for r, c in zip(rows, cols) if r < n and c < m)
    # Crossing pairs of equal cost are exchanged: same cost, no crossing.
    used_marks = sorted(c for _, c in pairs)
    pairs = [[r, c] for (r, _), c in zip(pairs, used_marks)]
    return float(cost[rows, cols].sum()), pairs


def main():
    rng = np.random.default_rng(20240611)
    cases = []
    for _ in range(150):
        n, m = rng.integers(0, 25, 2)
        span = float(rng.choice([2.0, 10.0, 40.0]))
        before, after = (float(x) for x in rng.choice([0, 150, 400, 800, 1500, 3000], 2))
        moments = np.sort(np.round(rng.uniform(0, span, n), 6))
        if rng.random() < 0.5 and n and m:
            marks = moments[rng.integers(0, n, m)] + rng.normal(0.2, 0.15, m)
        else:
            marks = rng.uniform(0, span, m)
        marks = np.sort(np.round(marks, 6))
        total, pairs = solve(moments, marks, before, after)
        cases.append(
            dict(
                moments_s=moments.tolist(),
                marks_s=marks.tolist(),
                before_ms=before,
                after_ms=after,
                cost_ms=round(total, 6),
                pairs=pairs,
            )
        )
    versions = dict(numpy=np.__version__, scipy=scipy.__version__)
    print(json.dumps(dict(made_with=versions, cases=cases), separators=(",", ":")))


main()
