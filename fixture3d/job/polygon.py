"""Plate outlines: whether a closed polygon with round holes can be cut from plate at all."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from fixture3d.tolerance import NUMERIC

Array = NDArray[np.float64]
Hole = tuple[float, float, float]


def signed_area(outline: Array) -> float:
    """Area of a closed polygon (n, 2), mm2, positive when it runs counter-clockwise."""
    x, y = outline[:, 0] - outline[0, 0], outline[:, 1] - outline[0, 1]
    return float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y) / 2)


def tidy(points: Sequence[Sequence[float]]) -> Array:
    """The outline as (n, 2) mm, counter-clockwise, without a closing or repeated point."""
    p = np.asarray(points, dtype=np.float64).reshape(-1, 2)
    keep = np.linalg.norm(p - np.roll(p, 1, axis=0), axis=1) > NUMERIC.merge
    p = p[keep]
    ordered: Array = p[::-1].copy() if len(p) > 2 and signed_area(p) < 0.0 else p
    return ordered


def fault(outline: Array, holes: Sequence[Hole] = ()) -> str:
    """What is wrong with a tidied outline and its holes (x, y, diameter) in words; empty when nothing is."""
    if len(outline) < 3:
        return "its outline has fewer than 3 different points"
    size = float(np.ptp(outline, axis=0).max())
    if abs(signed_area(outline)) < 1e-6 * size * size:
        return "its outline encloses nothing"
    crossing = _crossing(outline)
    if crossing is not None:
        i, j = crossing
        return f"its outline crosses itself: side {i + 1} meets side {j + 1}"
    for k, (x, y, diameter) in enumerate(holes):
        if not _inside(outline, x, y) or _distance(outline, x, y) <= diameter / 2:
            return f"hole {k + 1} does not lie inside the outline"
        for m, (x2, y2, d2) in enumerate(holes[:k]):
            if math.hypot(x - x2, y - y2) <= (diameter + d2) / 2:
                return f"hole {k + 1} runs into hole {m + 1}"
    return ""


def _crossing(p: Array) -> tuple[int, int] | None:
    """The first two sides that touch without being neighbours, or neighbours that fold back."""
    n = len(p)
    q = np.roll(p, -1, axis=0)
    d = q - p
    for i in range(n):
        following = (i + 1) % n
        turn = d[i, 0] * d[following, 1] - d[i, 1] * d[following, 0]
        scale = float(np.linalg.norm(d[i]) * np.linalg.norm(d[following]))
        if abs(turn) <= 1e-12 * scale and float(d[i] @ d[following]) < 0.0:
            return i, following
        js = np.arange(i + 2, n if i else n - 1)
        if len(js):
            hit = _meet(p[i], q[i], p[js], q[js])
            if hit.any():
                return i, int(js[int(np.argmax(hit))])
    return None


def _meet(a: Array, b: Array, c: Array, d: Array) -> NDArray[np.bool_]:
    """Whether segment ab (2,) touches each of the segments cd (m, 2)."""

    def side(o: Array, u: Array, v: Array) -> Array:
        w: Array = (u[..., 0] - o[..., 0]) * (v[..., 1] - o[..., 1]) - (u[..., 1] - o[..., 1]) * (v[..., 0] - o[..., 0])
        return w

    s1, s2 = side(a, b, c), side(a, b, d)
    s3, s4 = side(c, d, np.broadcast_to(a, c.shape)), side(c, d, np.broadcast_to(b, c.shape))
    low, high = np.minimum(a, b), np.maximum(a, b)
    boxes = np.all((np.minimum(c, d) <= high) & (np.maximum(c, d) >= low), axis=1)
    found: NDArray[np.bool_] = boxes & (s1 * s2 <= 0.0) & (s3 * s4 <= 0.0)
    return found


def _inside(p: Array, x: float, y: float) -> bool:
    q = np.roll(p, -1, axis=0)
    straddles = (p[:, 1] > y) != (q[:, 1] > y)
    with np.errstate(divide="ignore", invalid="ignore"):
        at = p[:, 0] + (y - p[:, 1]) / (q[:, 1] - p[:, 1]) * (q[:, 0] - p[:, 0])
    return bool(np.count_nonzero(straddles & (at > x)) % 2)


def _distance(p: Array, x: float, y: float) -> float:
    d = np.roll(p, -1, axis=0) - p
    w = np.array([x, y]) - p
    t = np.clip(np.einsum("ij,ij->i", w, d) / np.einsum("ij,ij->i", d, d), 0.0, 1.0)
    return float(np.linalg.norm(w - t[:, None] * d, axis=1).min())
