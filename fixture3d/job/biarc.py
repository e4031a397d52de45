"""Bits of an outline as DXF has them, chord and bulge, and free curves broken into arcs that keep a tolerance.

Two arcs that join smoothly fit any two points with their tangents. Source of the joint: K. M. Bolton, "Biarc curves",
Computer-Aided Design 7 (1975), with equal lengths of tangent on either side.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from typing import NamedTuple

from fixture3d.stock.section import Edge
from fixture3d.tolerance import NUMERIC

Point = tuple[float, float]
Curve = Callable[[float], tuple[Point, Point]]
_DEEPEST = 12  # halvings of a curve; a tolerance that is not met by then is met nowhere
_TRIED = 7  # points between the ends at which the fit is measured


class Bit(NamedTuple):
    """A line or arc: its ends in mm, and its bulge, the tangent of a quarter of its angle, positive to the left."""

    start: Point
    end: Point
    bulge: float

    @property
    def chord(self) -> float:
        """Distance between its ends, mm."""
        return math.dist(self.start, self.end)

    @property
    def centre(self) -> Point | None:
        """Centre of its circle, mm; None of what is as good as straight."""
        if abs(self.bulge) * self.chord / 2 < NUMERIC.merge:
            return None
        (x0, y0), (x1, y1), b = self.start, self.end, self.bulge
        off = (1.0 - b * b) / (4.0 * b)  # of the chord, to its left
        return (x0 + x1) / 2 - off * (y1 - y0), (y0 + y1) / 2 + off * (x1 - x0)

    def edge(self) -> Edge:
        """The same as an edge of a loop."""
        return Edge(self.start, self.end, self.centre, self.bulge > 0.0)

    def halved(self) -> tuple[Bit, ...]:
        """Itself, or two arcs in its place when it is more than half a turn."""
        if abs(self.bulge) <= 1.0:
            return (self,)
        (x0, y0), (x1, y1), b = self.start, self.end, self.bulge
        middle = ((x0 + x1) / 2 + b * (y1 - y0) / 2, (y0 + y1) / 2 - b * (x1 - x0) / 2)
        half = math.copysign(math.tan(math.atan(abs(b)) / 2), b)
        return Bit(self.start, middle, half), Bit(middle, self.end, half)

    def off(self, point: Point) -> float:
        """Distance of a point beside it from its line or circle, mm."""
        centre = self.centre
        if centre is not None:
            return abs(math.dist(point, centre) - math.dist(self.start, centre))
        (x0, y0), (x1, y1) = self.start, self.end
        if self.chord == 0.0:
            return math.dist(point, self.start)
        return abs((x1 - x0) * (point[1] - y0) - (y1 - y0) * (point[0] - x0)) / self.chord


def biarcs(curve: Curve, first: float, last: float, tolerance: float, depth: int = 0) -> Iterator[Bit]:
    """Arcs along a curve between two parameters.

    Args:
        curve: point and derivative at a parameter, mm.
        first: parameter of its start.
        last: of its end.
        tolerance: mm, greatest distance of the curve from the arcs.
        depth: halvings so far.
    """
    pair = _pair(*curve(first), *curve(last))
    tried = [curve(first + (last - first) * k / (_TRIED + 1))[0] for k in range(1, _TRIED + 1)]
    fits = pair is not None and all(min(bit.off(p) for bit in pair) <= tolerance / 2 for p in tried)
    # Far apart in angle, near the arcs' circles does not mean near the arcs.
    gentle = pair is not None and all(abs(bit.bulge) <= math.tan(math.pi / 6) for bit in pair)
    if pair is not None and ((fits and gentle) or depth >= _DEEPEST):
        yield from (bit for bit in pair if bit.chord > NUMERIC.merge)
        return
    if depth >= _DEEPEST:
        yield Bit(curve(first)[0], curve(last)[0], 0.0)
        return
    middle = (first + last) / 2
    yield from biarcs(curve, first, middle, tolerance, depth + 1)
    yield from biarcs(curve, middle, last, tolerance, depth + 1)


def _pair(p: Point, dp: Point, q: Point, dq: Point) -> tuple[Bit, Bit] | None:
    """Two arcs from p to q with the tangents of dp and dq; None where there are none."""
    lp, lq = math.hypot(*dp), math.hypot(*dq)
    if lp == 0.0 or lq == 0.0:
        return None
    s, t = (dp[0] / lp, dp[1] / lp), (dq[0] / lq, dq[1] / lq)
    v = (q[0] - p[0], q[1] - p[1])
    vv, vt = v[0] * v[0] + v[1] * v[1], v[0] * (s[0] + t[0]) + v[1] * (s[1] + t[1])
    k = 2.0 * (1.0 - s[0] * t[0] - s[1] * t[1])
    under = vt * vt + k * vv
    reach = vt + math.sqrt(under)
    if vv == 0.0 or reach <= 1e-9 * math.sqrt(vv):
        return None
    d = vv / reach  # the root that stays whole when both tangents point one way
    m = ((p[0] + q[0] + d * (s[0] - t[0])) / 2, (p[1] + q[1] + d * (s[1] - t[1])) / 2)
    return Bit(p, m, math.tan(_turn(s, (m[0] - p[0], m[1] - p[1])) / 2)), Bit(
        m, q, math.tan(_turn((q[0] - m[0], q[1] - m[1]), t) / 2)
    )


def _turn(a: Point, b: Point) -> float:
    """Angle from one direction to another, radians, left positive."""
    return math.atan2(a[0] * b[1] - a[1] * b[0], a[0] * b[0] + a[1] * b[1])
