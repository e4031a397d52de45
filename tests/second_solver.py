"""A second solver for linear and cone programmes: clarabel, an interior-point method. The project uses a simplex."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def solve(
    cost: Array,
    equal: tuple[Array, Array] | None = None,
    below: tuple[Array, Array] | None = None,
    cones: Sequence[tuple[Array, Array]] = (),
) -> tuple[float, Array] | None:
    """Least ``cost @ x`` and x, or None when nothing satisfies the conditions.

    Args:
        cost: (n,).
        equal: A x = b.
        below: A x <= b.
        cones: of each, A x + b lies in a second-order cone: its first row is at least the length of the others.
    """
    import clarabel
    from scipy.sparse import csc_matrix

    n = len(cost)
    rows, right, kinds = [], [], []
    for pair, kind in ((equal, clarabel.ZeroConeT), (below, clarabel.NonnegativeConeT)):
        if pair is not None:
            rows.append(pair[0])
            right.append(pair[1])
            kinds.append(kind(len(pair[1])))
    for a, b in cones:
        rows.append(-a)
        right.append(b)
        kinds.append(clarabel.SecondOrderConeT(len(b)))
    settings = clarabel.DefaultSettings()
    settings.verbose = False
    zero = csc_matrix((n, n))
    matrix = csc_matrix(np.vstack(rows))
    found = clarabel.DefaultSolver(zero, cost, matrix, np.concatenate(right), kinds, settings).solve()
    status = str(found.status)
    if "Infeasible" in status:
        return None
    assert status in ("Solved", "AlmostSolved"), status
    return float(found.obj_val), np.array(found.x)
