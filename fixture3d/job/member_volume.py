"""How much metal a member has, from its section, its end cuts, its slots, notches and holes. No geometry kernel.

On each line along the member the metal is known exactly; what remains is an integral over the section, taken in strips
between all the lines at which something begins or ends. Within a strip most is smooth but for square roots at its
borders, which the change of variable takes away, so that few points are as good as exact; where that is not so, it is
halved until it is.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import lru_cache
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from fixture3d.frame import Array
from fixture3d.job.endcut import EndCut, HoleCut, Line
from fixture3d.stock.section import Edge, Loop, Section
from fixture3d.tolerance import NUMERIC

Longs = NDArray[np.int64]

_ACROSS, _ALONG = 20, 16  # points a strip, and a stretch of a chord
_NEAR = 1e-8  # of the whole, by which a strip and its halves may differ; a hundredth of that along a chord
_HALVINGS = 30  # what is left then is a thousand-millionth as wide as its strip, and weighs nothing


class Taken(Protocol):
    """Something that takes metal away."""

    def taken(self, y: Array, z: Array) -> tuple[Array, Array]:
        """Least and greatest X that is taken away on each line."""

    def lines(self) -> Sequence[Line]:
        """Where in the section it changes."""


def volume(section: Section, ends: tuple[EndCut, EndCut], holes: Sequence[HoleCut] = ()) -> float:
    """Volume of a member, mm3.

    Plane cuts alone are exact: the section's area times the length through its centre of gravity.
    """
    first, last = ends
    if not holes and not any(end.saddle or end.openings for end in ends):
        y, z = (np.array([v]) for v in section.centroid)
        return section.area * float((last.x(y, z) - first.x(y, z))[0])
    parts = [*first.openings, *last.openings, *holes]
    lines = [*first.lines(), *last.lines(), *(line for hole in holes for line in hole.lines())]

    def metal(y: Array, z: Array) -> Array:
        low, high = first.x(y, z), last.x(y, z)
        return high - low - _covered(low, high, [part.taken(y, z) for part in parts])

    coped = next((end.saddle for end in ends if end.saddle is not None), None)
    return integral(section.outline(), lines, metal, (1.0, 0.0) if coped is None else coped.across)


def _covered(low: Array, high: Array, taken: Sequence[tuple[Array, Array]]) -> Array:
    """How much of each stretch low to high the intervals cover together."""
    out = np.zeros_like(low)
    if not taken:
        return out
    starts = np.stack([np.clip(a, low, high) for a, _ in taken])
    stops = np.stack([np.clip(b, low, high) for _, b in taken])
    order = np.argsort(starts, axis=0)
    starts, stops = np.take_along_axis(starts, order, 0), np.take_along_axis(stops, order, 0)
    reached = np.full_like(low, -np.inf)
    for a, b in zip(starts, stops, strict=True):
        out += np.maximum(b - np.maximum(a, reached), 0.0)
        reached = np.maximum(reached, b)
    return out


def integral(
    loops: tuple[Loop, ...], lines: Sequence[Line], height: Height, across: tuple[float, float] = (1.0, 0.0)
) -> float:
    """The integral of ``height(y, z)`` over the area inside an outline with holes.

    Args:
        loops: of lines and arcs, (y, z) mm.
        lines: across which the height may bend or jump.
        height: arrays of any one shape to an array of that shape.
        across: unit direction, (y, z), square to the strips; best where the height varies least along them.
    """
    if across != (1.0, 0.0):
        c, s = across
        return integral(
            tuple(tuple(_turned(edge, c, s) for edge in loop) for loop in loops),
            [(a * c + b * s, b * c - a * s, at) for a, b, at in lines],
            lambda u, v: height(c * u - s * v, s * u + c * v),
        )
    borders = _strips(loops, lines)

    def strips(low: Array, high: Array, _: Longs) -> Array:
        u, w = _nodes(_ACROSS)
        y = low[:, None] + (high - low)[:, None] * u
        return (_chords(loops, lines, height, y.ravel()).reshape(y.shape) @ w) * (high - low)

    return float(_halved(strips, borders[:-1], borders[1:], np.zeros(borders.size - 1, dtype=np.int64), 1, _NEAR)[0])


def _chords(loops: tuple[Loop, ...], lines: Sequence[Line], height: Height, y: Array) -> Array:
    """The integral of the height along the line of each y, inside the outline; (n,)."""
    crossings = _crossings(loops, y)
    slanted = [(a, b, c) for a, b, c in lines if abs(b) > 1e-12]
    bends = np.stack([(c - a * y) / b for a, b, c in slanted], axis=1) if slanted else np.zeros((y.size, 0))
    least, most = np.nanmin(crossings, axis=1), np.nanmax(crossings, axis=1)
    stops = np.sort(np.concatenate([crossings, np.clip(bends, least[:, None], most[:, None])], axis=1), axis=1)
    low, high = stops[:, :-1], stops[:, 1:]
    middle = (low + high) / 2.0
    inside = (crossings[:, None, :] < middle[:, :, None]).sum(axis=2) % 2 == 1
    which = inside & (high - low > NUMERIC.zero)

    def stretches(start: Array, stop: Array, line: Longs) -> Array:
        u, w = _nodes(_ALONG)
        z = start[:, None] + (stop - start)[:, None] * u
        return (np.asarray(height(np.broadcast_to(y[line][:, None], z.shape), z)) @ w) * (stop - start)

    return _halved(stretches, low[which], high[which], np.nonzero(which)[0], y.size, _NEAR / 100.0)


def _halved(
    part: Callable[[Array, Array, Longs], Array], low: Array, high: Array, owner: Longs, count: int, near: float
) -> Array:
    """Integrals over stretches, summed by owner; each stretch is halved until its halves say what the whole said.

    Where a cut's face runs through the bottom of a slot or the wall of a hole the height bends along a curve
    that no line of the section tells; only the stretches that it crosses are halved further.
    """
    out = np.zeros(count)
    whole = part(low, high, owner)
    allowed = near * max(float(np.abs(np.bincount(owner, whole, count)).max(initial=0.0)), 1.0)
    for _ in range(_HALVINGS):
        middle = (low + high) / 2.0
        left, right = part(low, middle, owner), part(middle, high, owner)
        rough = np.abs(left + right - whole) > allowed
        out += np.bincount(owner[~rough], (left + right)[~rough], count)
        low, high = np.concatenate([low[rough], middle[rough]]), np.concatenate([middle[rough], high[rough]])
        whole, owner = np.concatenate([left[rough], right[rough]]), np.tile(owner[rough], 2)
        if not low.size:
            break
    return out + np.bincount(owner, whole, count)


def _turned(edge: Edge, c: float, s: float) -> Edge:
    def turn(p: tuple[float, float]) -> tuple[float, float]:
        return c * p[0] + s * p[1], c * p[1] - s * p[0]

    return Edge(turn(edge.start), turn(edge.end), turn(edge.centre) if edge.centre else None, edge.left)


class Height(Protocol):
    """A height over the section."""

    def __call__(self, y: Array, z: Array) -> Array:
        """The height at points (y, z)."""


@lru_cache(maxsize=4)
def _nodes(count: int) -> tuple[Array, Array]:
    """Points and weights on 0 to 1 that are exact also for square roots at both borders."""
    x, w = np.polynomial.legendre.leggauss(count)
    angle = (x + 1.0) * np.pi / 2.0
    return (1.0 - np.cos(angle)) / 2.0, w * np.pi / 4.0 * np.sin(angle)


def _strips(loops: tuple[Loop, ...], lines: Sequence[Line]) -> Array:
    """Borders along Y of strips between all that the lines tell."""
    marks: list[float] = []
    for edge in (e for loop in loops for e in loop):
        marks += [edge.start[0], edge.end[0]]
        if edge.centre is not None:
            marks += [edge.centre[0] - edge.radius, edge.centre[0] + edge.radius]
    reached = [p[0] for p in _corners(loops)]
    low, high = min(reached), max(reached)
    marks += [c / a for a, b, c in lines if abs(b) <= 1e-12 and abs(a) > 1e-12]
    for k, one in enumerate(lines):
        marks += [at for other in lines[:k] if (at := _meet(one, other)) is not None]
        marks += _on_outline(loops, one)
    # A strip thinner than rounding may miss the outline, and holds nothing.
    within = sorted(m for m in marks if low + NUMERIC.merge < m < high - NUMERIC.merge)
    apart = [m for k, m in enumerate(within) if k == 0 or m - within[k - 1] > NUMERIC.zero]
    return np.array([low, *apart, high])


def _corners(loops: tuple[Loop, ...]) -> list[tuple[float, float]]:
    out = []
    for edge in loops[0]:
        out.append(edge.start)
        if edge.centre is not None:
            points, _ = edge.at(np.array([t for t in _level(edge) if 0.0 <= t <= 1.0]))
            out += [(float(p[0]), float(p[1])) for p in points]
    return out


def _level(edge: Edge) -> list[float]:
    """Where on an arc its y is greatest or least, as shares of its sweep."""
    assert edge.centre is not None
    first = np.arctan2(edge.start[1] - edge.centre[1], edge.start[0] - edge.centre[0])
    return [float((k * np.pi - first) / edge.sweep) for k in range(-4, 5)]


def _meet(one: Line, other: Line) -> float | None:
    det = one[0] * other[1] - one[1] * other[0]
    return None if abs(det) < 1e-9 else (one[2] * other[1] - one[1] * other[2]) / det


def _on_outline(loops: tuple[Loop, ...], line: Line) -> list[float]:
    """Y of the points where a line crosses the outline's lines and circles."""
    a, b, c = line
    size = float(np.hypot(a, b))
    out: list[float] = []
    for edge in (e for loop in loops for e in loop):
        if edge.centre is None:
            (y0, z0), (y1, z1) = edge.start, edge.end
            run = a * (y1 - y0) + b * (z1 - z0)
            if abs(run) > 1e-12:
                out.append(y0 + (y1 - y0) * (c - a * y0 - b * z0) / run)
            continue
        away = (c - a * edge.centre[0] - b * edge.centre[1]) / size
        if abs(away) < edge.radius:
            half = float(np.sqrt(edge.radius**2 - away**2))
            foot = edge.centre[0] + away * a / size
            out += [foot - half * b / size, foot + half * b / size]
    return out


def _crossings(loops: tuple[Loop, ...], y: Array) -> Array:
    """Z at which the line of each y crosses the outline, sorted, nan where there are fewer; (n, m)."""
    found: list[Array] = []
    for edge in (e for loop in loops for e in loop):
        low, high = sorted((edge.start[0], edge.end[0]))
        if edge.centre is None:
            if high - low > 1e-12:
                (y0, z0), (y1, z1) = edge.start, edge.end
                found.append(np.where((y > low) & (y < high), z0 + (y - y0) * (z1 - z0) / (y1 - y0), np.nan))
            continue
        under = edge.radius**2 - (y - edge.centre[0]) ** 2
        half = np.sqrt(np.where(under > 0.0, under, np.nan))
        for sign in (-1.0, 1.0):
            z = edge.centre[1] + sign * half
            found.append(np.where(_on_arc(edge, y, z), z, np.nan))
    crossings: Array = np.sort(np.stack(found, axis=1), axis=1)
    most = int((~np.isnan(crossings)).sum(axis=1).max())
    return crossings[:, :most]


def _on_arc(edge: Edge, y: Array, z: Array) -> NDArray[np.bool_]:
    """Whether points of an arc's circle lie on the arc."""
    assert edge.centre is not None
    first = np.arctan2(edge.start[1] - edge.centre[1], edge.start[0] - edge.centre[0])
    angle = np.arctan2(z - edge.centre[1], y - edge.centre[0])
    ahead = np.mod(angle - first if edge.left else first - angle, 2.0 * np.pi)
    found: NDArray[np.bool_] = ahead < abs(edge.sweep)
    return found
