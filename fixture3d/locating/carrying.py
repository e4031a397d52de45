"""Whether contact forces carry a weight, and the motion by which it falls where they do not: two sides of one duality.

A contact without friction pushes along its normal, or leant a little, for no normal is known exactly. Rows are wrenches
of unit forces in the piece's scaled frame (`motions`), a weight is a row of the same kind.
"""

from __future__ import annotations

import numpy as np

from fixture3d.frame import Array
from fixture3d.tolerance import LOCATING

__all__ = ["carried", "deepest"]


def deepest(goal: Array, rows: Array) -> Array | None:
    """The motion that presses into no row (k, 6) and falls most, or None where none falls."""
    from scipy.optimize import linprog

    found = linprog(-goal, A_ub=-rows, b_ub=np.zeros(len(rows)), bounds=(-1.0, 1.0), method="highs")
    if found.status != 0 or -float(found.fun) <= 1e-6:
        return None
    fell: Array = np.where(np.abs(found.x) < 1e-9, 0.0, found.x)
    return fell


def carried(rows: Array, leant: Array, weight: Array) -> bool:
    """Whether forces >= 0 along rows (k, 6) balance a weight, with few along the leant ones (m, 6).

    Without a bound on these, two faces that squeeze would carry any weight between them. Where the weight is carried
    only by leant ones, the least sum of their forces decides.
    """
    from scipy.optimize import linprog

    left = _left_over(rows, weight)
    if left is not None and left <= LOCATING.grip:
        return True
    every = np.vstack([rows, leant])
    left = _left_over(every, weight)
    if left is not None and left > LOCATING.grip:
        return False

    cost = np.repeat((0.0, 1.0), (len(rows), len(leant)))
    within = np.concatenate([LOCATING.grip - weight, LOCATING.grip + weight])
    found = linprog(cost, A_ub=np.vstack([every.T, -every.T]), b_ub=within, method="highs")
    return found.status == 0 and float(found.fun) <= LOCATING.squeeze


def _left_over(rows: Array, weight: Array) -> float | None:
    """How much of a weight forces >= 0 along rows (k, 6) leave; None where that did not come out in time."""
    from scipy.optimize import nnls

    try:
        return float(nnls(rows.T, -weight)[1])
    except RuntimeError:
        return None  # the linear programme will tell
