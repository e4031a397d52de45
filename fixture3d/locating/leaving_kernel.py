"""The compiled part of unloading: facets seen along a direction, and where one side lies above the other.

One module on purpose, as ``access/kernel.py`` is: numba's disk cache notices an edit of this file only. Importing it
costs numba's import, so only ``leaving`` does, inside its functions.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numba
import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Longs = NDArray[np.int64]

MOST = 10  # corners of a clipped triangle: three, one more by each of four cuts, and room
_THIN = 1e-7  # mm; facets seen so edge-on add nothing to a region, and their slope is noise


def _jit(function: Callable[..., Any]) -> Callable[..., Any]:
    """``numba.njit`` with the disk cache, or without it where no folder for the cache can be written."""
    try:
        compiled: Callable[..., Any] = numba.njit(cache=True, nogil=True)(function)
    except RuntimeError:
        compiled = numba.njit(nogil=True)(function)
    return compiled


@_jit
def extents(points: Array, starts: Longs, rows: Array) -> Array:
    """Least and greatest coordinate of each body along three axes.

    Args:
        points: (n, 3) mm, the bodies' corners one body after the other.
        starts: (k + 1,) where each body begins.
        rows: (3, 3), the axes.

    Returns:
        (k, 3, 2) mm.
    """
    count = len(starts) - 1
    out = np.zeros((count, 3, 2))
    for body in range(count):
        for axis in range(3):
            low, high = np.inf, -np.inf
            for i in range(starts[body], starts[body + 1]):
                x = points[i, 0] * rows[axis, 0] + points[i, 1] * rows[axis, 1] + points[i, 2] * rows[axis, 2]
                low, high = min(low, x), max(high, x)
            out[body, axis, 0], out[body, axis, 1] = low, high
    return out


@_jit
def facing(triangles: Array, rows: Array, upper: bool) -> tuple[Array, Array]:
    """The facets that look along the third axis (``upper``) or against it, in the frame of ``rows``.

    Returns:
        (m, 3, 3) corners, counter-clockwise seen from the axis' tip, by their least first coordinate; and (m,), how
        squarely each faces the axis, 0 to 1.
    """
    count = len(triangles)
    kept = np.zeros((count, 3, 3))
    square = np.zeros(count)
    least = np.zeros(count)
    n = 0
    p = np.zeros((3, 3))
    for t in range(count):
        for corner in range(3):
            for axis in range(3):
                p[corner, axis] = (
                    triangles[t, corner, 0] * rows[axis, 0]
                    + triangles[t, corner, 1] * rows[axis, 1]
                    + triangles[t, corner, 2] * rows[axis, 2]
                )
        ux, uy, uz = p[1, 0] - p[0, 0], p[1, 1] - p[0, 1], p[1, 2] - p[0, 2]
        vx, vy, vz = p[2, 0] - p[0, 0], p[2, 1] - p[0, 1], p[2, 2] - p[0, 2]
        nx, ny, nz = uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx
        if (nz > 0.0) != upper or nz == 0.0:
            continue
        wx, wy = vx - ux, vy - uy
        longest = np.sqrt(max(ux * ux + uy * uy, vx * vx + vy * vy, wx * wx + wy * wy))
        if abs(nz) <= _THIN * longest:
            continue
        second, third = (1, 2) if upper else (2, 1)
        for axis in range(3):
            kept[n, 0, axis], kept[n, 1, axis], kept[n, 2, axis] = p[0, axis], p[second, axis], p[third, axis]
        square[n] = abs(nz) / np.sqrt(nx * nx + ny * ny + nz * nz)
        least[n] = min(p[0, 0], p[1, 0], p[2, 0])
        n += 1
    order = np.argsort(least[:n])
    return kept[:n][order], square[:n][order]


@_jit
def _cut(poly: Array, size: int, a: float, b: float, c: float, out: Array) -> int:
    """The part of a convex polygon where a x + b y + c >= 0; how many corners it has."""
    n = 0
    for i in range(size):
        x0, y0 = poly[i, 0], poly[i, 1]
        j = i + 1 if i + 1 < size else 0
        x1, y1 = poly[j, 0], poly[j, 1]
        f0, f1 = a * x0 + b * y0 + c, a * x1 + b * y1 + c
        if f0 >= 0.0:
            out[n, 0], out[n, 1] = x0, y0
            n += 1
        if (f0 > 0.0 and f1 < 0.0) or (f0 < 0.0 and f1 > 0.0):
            s = f0 / (f0 - f1)
            out[n, 0], out[n, 1] = x0 + s * (x1 - x0), y0 + s * (y1 - y0)
            n += 1
    return n


@_jit
def _plane(t: Array) -> tuple[float, float, float]:
    """Height of a facet as a x + b y + c."""
    ux, uy, uz = t[1, 0] - t[0, 0], t[1, 1] - t[0, 1], t[1, 2] - t[0, 2]
    vx, vy, vz = t[2, 0] - t[0, 0], t[2, 1] - t[0, 1], t[2, 2] - t[0, 2]
    area = ux * vy - uy * vx
    a = (uz * vy - uy * vz) / area
    b = (ux * vz - uz * vx) / area
    return a, b, t[0, 2] - a * t[0, 0] - b * t[0, 1]


@_jit
def _room(poly: Array, size: int) -> tuple[float, float]:
    """Area of a convex polygon, and how far its middle lies from its nearest side."""
    area, mx, my = 0.0, 0.0, 0.0
    x0, y0 = poly[0, 0], poly[0, 1]
    for i in range(1, size - 1):
        ux, uy, vx, vy = poly[i, 0] - x0, poly[i, 1] - y0, poly[i + 1, 0] - x0, poly[i + 1, 1] - y0
        part = (ux * vy - uy * vx) / 2.0
        area += part
        mx += part * (ux + vx) / 3.0
        my += part * (uy + vy) / 3.0
    if area <= 0.0:
        return 0.0, 0.0
    mx, my = x0 + mx / area, y0 + my / area
    room = np.inf
    for i in range(size):
        j = i + 1 if i + 1 < size else 0
        ex, ey = poly[j, 0] - poly[i, 0], poly[j, 1] - poly[i, 1]
        length = np.sqrt(ex * ex + ey * ey)
        if length > 1e-12:
            room = min(room, (ex * (my - poly[i, 1]) - ey * (mx - poly[i, 0])) / length)
    return area, room


@_jit
def _boxes(facets: Array) -> Array:
    """Least and greatest of each facet along the three axes, (m, 6)."""
    out = np.zeros((len(facets), 6))
    for i in range(len(facets)):
        for axis in range(3):
            a, b, c = facets[i, 0, axis], facets[i, 1, axis], facets[i, 2, axis]
            out[i, 2 * axis] = min(a, b, c)
            out[i, 2 * axis + 1] = max(a, b, c)
    return out


@_jit
def _may_meet(mine: Array, others: Array, upper: bool) -> Longs:
    """Facets whose box meets the box round all the others, with the height that counts for them."""
    x0, x1, y0, y1, bottom, top = np.inf, -np.inf, np.inf, -np.inf, np.inf, -np.inf
    for i in range(len(others)):
        x0, x1 = min(x0, others[i, 0]), max(x1, others[i, 1])
        y0, y1 = min(y0, others[i, 2]), max(y1, others[i, 3])
        bottom, top = min(bottom, others[i, 4]), max(top, others[i, 5])
    out = np.zeros(len(mine), dtype=np.int64)
    n = 0
    for i in range(len(mine)):
        if mine[i, 0] >= x1 or mine[i, 1] <= x0 or mine[i, 2] >= y1 or mine[i, 3] <= y0:
            continue
        if (mine[i, 5] > bottom) if upper else (mine[i, 4] < top):
            out[n] = i
            n += 1
    return out[:n]


@_jit
def above(
    lower: Array, lower_square: Array, upper: Array, upper_square: Array, sunk: float, erode: float
) -> tuple[bool, Array, Longs, float]:
    """Where the fixed body's upper side lies above the piece's lower side.

    Args:
        lower: (m, 3, 3) facets of the piece, from `facing`.
        lower_square: (m,), likewise.
        upper: (n, 3, 3) facets of the fixed body.
        upper_square: (n,), likewise.
        sunk: mm; how far, square to the faces, they may reach into each other and still only touch.
        erode: mm; one part of the region that holds a circle of this radius settles it.

    Returns:
        True where it is settled that the region survives. Else False and the region as convex polygons that
        overlap or abut: corners (k, 2) one polygon after the other, how many each has, and the sum of their areas.
    """
    corners = np.zeros((64, 2))
    sizes = np.zeros(16, dtype=np.int64)
    used, count = 0, 0
    total = 0.0
    one, two = np.zeros((MOST, 2)), np.zeros((MOST, 2))
    low, high = _boxes(lower), _boxes(upper)
    kept = _may_meet(low, high, False)
    low, lower, lower_square = low[kept], lower[kept], lower_square[kept]
    kept = _may_meet(high, low, True)
    high, upper, upper_square = high[kept], upper[kept], upper_square[kept]
    planes = np.zeros((len(upper), 3))
    for j in range(len(upper)):
        planes[j, 0], planes[j, 1], planes[j, 2] = _plane(upper[j])
    # Wide facets first: one of them mostly settles it.
    for i in np.argsort(-(low[:, 1] - low[:, 0]) * (low[:, 3] - low[:, 2])):
        t = lower[i]
        x0, x1, y0, y1, bottom = low[i, 0], low[i, 1], low[i, 2], low[i, 3], low[i, 4]
        la, lb, lc = _plane(t)
        tx0, ty0, tx1, ty1, tx2, ty2 = t[0, 0], t[0, 1], t[1, 0], t[1, 1], t[2, 0], t[2, 1]
        for j in range(len(upper)):
            if high[j, 0] >= x1:
                break
            if high[j, 5] <= bottom or high[j, 1] <= x0 or high[j, 2] >= y1 or high[j, 3] <= y0:
                continue
            # How far one plane lies above the other is linear: nowhere more than at a corner of either facet.
            ua, ub, uc = planes[j, 0], planes[j, 1], planes[j, 2]
            allowed = sunk / max(lower_square[i], upper_square[j])
            a, b, c = ua - la, ub - lb, uc - lc - allowed
            if a * tx0 + b * ty0 + c <= 0.0 and a * tx1 + b * ty1 + c <= 0.0 and a * tx2 + b * ty2 + c <= 0.0:
                continue
            f = upper[j]
            if (
                a * f[0, 0] + b * f[0, 1] + c <= 0.0
                and a * f[1, 0] + b * f[1, 1] + c <= 0.0
                and a * f[2, 0] + b * f[2, 1] + c <= 0.0
            ):
                continue
            size = 3
            for k in range(3):
                one[k, 0], one[k, 1] = t[k, 0], t[k, 1]
            for k in range(3):
                p, q = f[k], f[(k + 1) % 3]
                ex, ey = q[0] - p[0], q[1] - p[1]
                size = _cut(one, size, -ey, ex, ey * p[0] - ex * p[1], two)
                one, two = two, one
                if size < 3:
                    break
            if size < 3:
                continue
            size = _cut(one, size, a, b, c, two)
            one, two = two, one
            if size < 3:
                continue
            area, room = _room(one, size)
            # The circle's own area is asked for first: the middle of a sliver is noise.
            if area > np.pi * erode * erode and room > erode:
                return True, corners[:0], sizes[:0], area
            if area <= _THIN * _THIN:
                continue
            total += area
            if used + size > len(corners):
                more = np.zeros((2 * len(corners), 2))
                more[:used] = corners[:used]
                corners = more
            if count == len(sizes):
                longer = np.zeros(2 * len(sizes), dtype=np.int64)
                longer[:count] = sizes
                sizes = longer
            corners[used : used + size] = one[:size]
            sizes[count] = size
            used += size
            count += 1
    return False, corners[:used], sizes[:count], total
