"""Plate outlines of lines and arcs: whether a closed outline with holes and openings can be cut from plate at all.

A loop is a tuple of edges, each beginning where the one before ends. All tests are exact on lines and arcs; nothing is
broken into short lines.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from fixture3d.stock.section import Edge, Loop, backwards
from fixture3d.tolerance import NUMERIC, SHOP

Array = NDArray[np.float64]
Hole = tuple[float, float, float]
_TURN = 2.0 * math.pi


def tidy(points: Sequence[Sequence[float]]) -> Array:
    """The corners of an outline as (n, 2) mm, counter-clockwise, without a closing or repeated point."""
    p = np.asarray(points, dtype=np.float64).reshape(-1, 2)
    keep = np.linalg.norm(p - np.roll(p, 1, axis=0), axis=1) > NUMERIC.merge
    p = p[keep]
    ordered: Array = p[::-1].copy() if len(p) > 2 and signed_area(lines(p)) < 0.0 else p
    return ordered


def lines(points: Array) -> Loop:
    """The closed loop of straight edges through (n, 2) points."""
    corners = [(float(x), float(y)) for x, y in points]
    return tuple(Edge(a, b) for a, b in pairwise([*corners, *corners[:1]]))


def ring(hole: Hole) -> Loop:
    """The edge of a round hole, which turns right."""
    x, y, diameter = hole
    return (Edge((x + diameter / 2, y), (x + diameter / 2, y), (x, y), left=False),)


def signed_area(loop: Loop) -> float:
    """Area inside a closed loop, mm2, positive when it runs counter-clockwise."""
    x0, y0 = loop[0].start
    total = 0.0
    for e in loop:
        (x1, y1), (x2, y2) = e.start, e.end
        total += ((x1 - x0) * (y2 - y0) - (x2 - x0) * (y1 - y0)) / 2
        if e.centre is not None:  # the piece between the arc and its chord
            total += e.radius**2 * (e.sweep - math.sin(e.sweep)) / 2
    return total


def left_turning(loop: Loop) -> Loop:
    """The loop run counter-clockwise."""
    return loop if signed_area(loop) > 0.0 else backwards(loop)


def box(loop: Loop) -> Array:
    """Least and greatest corner of a loop, (2, 2) mm."""
    found = _boxes(_Edges(loop))
    return np.array([found[0].min(axis=0), found[1].max(axis=0)])


def fault(outline: Loop, holes: Sequence[Hole] = (), openings: Sequence[Loop] = ()) -> str:
    """What is wrong with an outline that runs counter-clockwise, and what is cut out of it; empty when nothing is.

    Args:
        outline: the outer loop; what :func:`tidy` leaves of stated points, or a loop of a file.
        holes: (x, y, diameter) mm.
        openings: other inner loops; they are counted after the holes.
    """
    if len(outline) < (2 if any(e.centre for e in outline) else 3) and not _is_circle(outline):
        return "its outline has fewer than 3 different points"
    size = float(np.ptp(box(outline), axis=0).max())
    if abs(signed_area(outline)) < 1e-6 * size * size:
        return "its outline encloses nothing"
    inner = [*(ring(hole) for hole in holes), *openings]
    met = _crossing([outline, *inner])
    if met is not None:
        (a, i), (b, j) = met
        if a == b:
            return f"{'its outline' if a == 0 else f'hole {a}'} crosses itself: side {i + 1} meets side {j + 1}"
        return f"hole {b} does not lie inside the outline" if a == 0 else f"hole {b} runs into hole {a}"
    for k, loop in enumerate(inner):
        if not inside(outline, loop[0].start):
            return f"hole {k + 1} does not lie inside the outline"
    boxes = np.array([box(loop) for loop in inner]).reshape(-1, 2, 2)
    for k, loop in enumerate(inner):
        # Of loops that do not cross, only those whose boxes meet can lie one in the other.
        meet = (boxes[:k, 0] <= boxes[k, 1]).all(axis=1) & (boxes[k, 0] <= boxes[:k, 1]).all(axis=1)
        for m in np.flatnonzero(meet):
            if inside(inner[m], loop[0].start) or inside(loop, inner[m][0].start):
                return f"hole {k + 1} runs into hole {m + 1}"
    return ""


def inside(loop: Loop, point: tuple[float, float]) -> bool:
    """Whether a point lies inside a closed loop.

    The turns of the chords round the point are counted, and put right for each arc whose bulge holds it.
    """
    turns = 0.0
    for e in halves(loop):
        a, b = (np.subtract(p, point) for p in (e.start, e.end))
        cross = float(a[0] * b[1] - a[1] * b[0])
        turns += math.atan2(cross, float(a @ b)) / _TURN
        if e.centre is not None and math.dist(point, e.centre) < e.radius and (cross < 0.0) == e.left and cross != 0.0:
            turns += 1.0 if e.left else -1.0
    return round(turns) != 0


def halves(loop: Loop) -> Loop:
    """The same loop with every arc of half a turn or more in pieces of a third of a turn at most."""
    out: list[Edge] = []
    for e in loop:
        count = math.ceil(abs(e.sweep) / (_TURN / 3) - 1e-9) if abs(e.sweep) > 0.9 * math.pi else 1
        if count <= 1:
            out.append(e)
            continue
        inner, _ = e.at(np.arange(1, count) / count)
        points = [e.start, *((float(x), float(y)) for x, y in inner), e.end]
        out += [Edge(a, b, e.centre, e.left) for a, b in pairwise(points)]
    return tuple(out)


def _is_circle(loop: Loop) -> bool:
    return len(loop) == 1 and loop[0].centre is not None


class _Edges:
    """Many edges as arrays: start, end (n, 2); centre (n, 2), radius, first angle and signed sweep (n,) of arcs."""

    def __init__(self, edges: Sequence[Edge]) -> None:
        self.start = np.array([e.start for e in edges], dtype=np.float64)
        self.end = np.array([e.end for e in edges], dtype=np.float64)
        self.arc = np.array([e.centre is not None for e in edges])
        self.centre = np.array([e.centre or (math.nan, math.nan) for e in edges], dtype=np.float64)
        self.radius = np.array([e.radius for e in edges])
        self.sweep = np.array([e.sweep for e in edges])
        away = self.start - np.where(self.arc[:, None], self.centre, 0.0)
        self.first = np.arctan2(away[:, 1], away[:, 0])

    def of(self, which: NDArray[np.int64] | slice) -> _Edges:
        """Some of them."""
        out = object.__new__(_Edges)
        for name, values in vars(self).items():
            setattr(out, name, values[which])
        return out


def _boxes(edges: _Edges) -> tuple[Array, Array]:
    """Least and greatest corner of each edge, (n, 2) mm each."""
    low, high = np.minimum(edges.start, edges.end), np.maximum(edges.start, edges.end)
    for k, (x, y) in enumerate(((1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0))):
        within = edges.arc & _within(edges, np.full(len(low), k * math.pi / 2))
        tip = edges.centre + edges.radius[:, None] * np.array([x, y])
        low = np.where(within[:, None], np.minimum(low, tip), low)
        high = np.where(within[:, None], np.maximum(high, tip), high)
    return low, high


def _within(arcs: _Edges, angle: Array) -> NDArray[np.bool_]:
    """Whether each arc passes the direction ``angle`` seen from its centre; nan never."""
    slack = NUMERIC.merge / np.maximum(arcs.radius, NUMERIC.merge)
    ahead = np.mod(np.where(arcs.sweep < 0.0, arcs.first - angle, angle - arcs.first) + slack, _TURN)
    found: NDArray[np.bool_] = ahead <= np.abs(arcs.sweep) + 2.0 * slack
    return found


def _crossing(loops: Sequence[Loop]) -> tuple[tuple[int, int], tuple[int, int]] | None:
    """The first two edges that touch without being neighbours, or neighbours that fold back: loop and side of each."""
    names = [(k, i) for k, loop in enumerate(loops) for i in range(len(loop))]
    flat = [e for loop in loops for e in loop]
    edges = _Edges(flat)
    low, high = _boxes(edges)
    low, high = low - NUMERIC.merge, high + NUMERIC.merge
    starts = np.cumsum([0, *(len(loop) for loop in loops)])
    for i, (k, side) in enumerate(names):
        count = len(loops[k])
        following = int(starts[k]) + (side + 1) % count
        if count > 1 and _folds(flat[i], flat[following]):
            return names[min(i, following)], names[max(i, following)]
        js = np.arange(i + 1, len(flat))
        last = int(starts[k]) + (side - 1) % count
        js = js[(js != following) & (js != last)]
        js = js[np.all((low[js] <= high[i]) & (high[js] >= low[i]), axis=1)]
        if len(js):
            hit = _meet(edges.of(slice(i, i + 1)), edges.of(js))
            if hit.any():
                return names[i], names[int(js[int(np.argmax(hit))])]
    return None


def _folds(one: Edge, following: Edge) -> bool:
    """Whether two neighbours meet anywhere but in the corner that they share, or run back on each other."""
    if one.centre is None and following.centre is None:
        d, f = np.subtract(one.end, one.start), np.subtract(following.end, following.start)
        scale = float(np.linalg.norm(d) * np.linalg.norm(f))
        return abs(float(d[0] * f[1] - d[1] * f[0])) <= 1e-12 * scale and float(d @ f) < 0.0
    a, b = _Edges([one]), _Edges([following])
    shared = [p for p in (one.start, one.end) if p in (following.start, following.end)]
    met = _points(a, b).reshape(-1, 2)
    met = met[~np.isnan(met[:, 0])]
    return any(all(math.dist(p, s) > SHOP.outline for s in shared) for p in met.tolist()) or _same_arc(a, b)


def _same_arc(a: _Edges, b: _Edges) -> bool:
    """Whether two arcs of one circle run back on each other."""
    if not (a.arc[0] and b.arc[0]) or a.sweep[0] * b.sweep[0] > 0.0:
        return False
    apart = math.dist(a.centre[0], b.centre[0])
    return apart + abs(float(a.radius[0] - b.radius[0])) <= NUMERIC.merge


def _meet(one: _Edges, many: _Edges) -> NDArray[np.bool_]:
    """Whether one edge touches each of many that are not its neighbours."""
    n = len(many.radius)
    found = np.zeros(n, dtype=bool)
    straight = ~many.arc & ~one.arc[0]
    if straight.any():
        some = np.flatnonzero(straight)
        found[some] = _lines_meet(one.start[0], one.end[0], many.start[some], many.end[some])
    rest = np.flatnonzero(~straight)
    if len(rest):
        found[rest] = ~np.isnan(_points(one, many.of(rest))[:, :, 0]).all(axis=1)
    return found


def _lines_meet(a: Array, b: Array, c: Array, d: Array) -> NDArray[np.bool_]:
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


def _points(one: _Edges, many: _Edges) -> Array:
    """Where one edge meets each of many, when at least one of the two is an arc: (m, 2, 2) mm, nan where nowhere."""
    n = len(many.radius)
    out = np.full((n, 2, 2), math.nan)
    every = one.of(np.zeros(n, dtype=np.int64))
    for line, arc in ((every, many), (many, every)):
        some = np.flatnonzero(~line.arc & arc.arc)
        if len(some):
            out[some] = _line_and_arc(line.of(some), arc.of(some))
    both = np.flatnonzero(every.arc & many.arc)
    if len(both):
        out[both] = _arc_and_arc(every.of(both), many.of(both))
    return out


def _line_and_arc(line: _Edges, arc: _Edges) -> Array:
    """Both common points of each line and each arc, (m, 2, 2) mm, nan for those that there are not."""
    way = line.end - line.start
    length = np.linalg.norm(way, axis=1)
    unit = way / length[:, None]
    to = arc.centre - line.start
    along = np.einsum("ij,ij->i", to, unit)
    off = to[:, 0] * unit[:, 1] - to[:, 1] * unit[:, 0]
    half = _half_chord(arc.radius, np.abs(off))
    out = np.full((len(half), 2, 2), math.nan)
    for k, sign in enumerate((-1.0, 1.0)):
        t = along + sign * half
        point = line.start + t[:, None] * unit
        ok = (t >= -NUMERIC.merge) & (t <= length + NUMERIC.merge) & _passes(arc, point)
        out[ok, k] = point[ok]
    return out


def _arc_and_arc(a: _Edges, b: _Edges) -> Array:
    """Both common points of each pair of arcs, (m, 2, 2) mm; of arcs of one circle the ends that lie on the other."""
    to = b.centre - a.centre
    apart = np.linalg.norm(to, axis=1)
    out = np.full((len(apart), 2, 2), math.nan)
    one_circle = (apart <= NUMERIC.merge) & (np.abs(a.radius - b.radius) <= NUMERIC.merge)
    far = np.where(apart > NUMERIC.merge, apart, math.nan)
    unit = to / far[:, None]
    along = (far + (a.radius**2 - b.radius**2) / far) / 2.0
    half = _half_chord(a.radius, np.abs(along))
    square = np.stack([-unit[:, 1], unit[:, 0]], axis=1)
    for k, sign in enumerate((-1.0, 1.0)):
        point = a.centre + along[:, None] * unit + sign * half[:, None] * square
        ok = _passes(a, point) & _passes(b, point)
        out[ok, k] = point[ok]
    for k, (this, that) in enumerate(((a, b), (b, a))):
        for end in (this.start, this.end):
            ok = one_circle & _passes(that, end)
            out[ok, k] = end[ok]
    return out


def _half_chord(radius: Array, off: Array) -> Array:
    """Half the chord that a line at distance ``off`` cuts out of a circle; 0 where it just touches, nan beyond."""
    square = radius**2 - off**2
    touching = np.abs(radius - off) <= NUMERIC.merge
    half: Array = np.sqrt(np.where(touching, np.maximum(square, 0.0), np.where(square >= 0.0, square, math.nan)))
    return half


def _passes(arc: _Edges, point: Array) -> NDArray[np.bool_]:
    away = point - arc.centre
    return ~np.isnan(point[:, 0]) & _within(arc, np.arctan2(away[:, 1], away[:, 0]))
