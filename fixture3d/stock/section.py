r"""The cross-section of a length of stock: its outline in straight lines and arcs, and what follows from it.

Frame: Y across (the section's width), Z up (its height), the origin in the middle of the box round the section,
also for angles and channels, whose centre of gravity is elsewhere. Seen from the end of the member, Y to the right.

::

    tube            angle           channel
     _______         _               _____
    /  ___  \       | |             |  ___|
    | |   | |       | |             | |
    | |   | |  Z    | |___          | |___
    \_______/  |_Y  |_____|         |_____|
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from functools import cached_property, lru_cache
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Shape2D = Literal["rectangular tube", "round tube", "angle", "channel", "flat", "round bar"]
Point2 = tuple[float, float]

STEEL = 7850.0  # kg/m3, the round figure of EN 1991-1-1 for structural steel


@dataclass(frozen=True)
class Edge:
    """One line or arc of an outline, in mm.

    Attributes:
        start: (y, z).
        end: (y, z); equal to ``start`` for a full circle.
        centre: (y, z) of an arc; None for a line.
        left: the arc turns left (counter-clockwise) going from start to end.
    """

    start: Point2
    end: Point2
    centre: Point2 | None = None
    left: bool = True

    @property
    def radius(self) -> float:
        """Radius of an arc, mm; 0 for a line."""
        return math.dist(self.start, self.centre) if self.centre else 0.0

    @property
    def sweep(self) -> float:
        """Angle that an arc turns through, radians, left positive; 0 for a line."""
        if self.centre is None:
            return 0.0
        a, b = (math.atan2(p[1] - self.centre[1], p[0] - self.centre[0]) for p in (self.start, self.end))
        turn = (b - a if self.left else a - b) % (2 * math.pi)
        turn = turn if turn > 1e-12 else 2 * math.pi
        return turn if self.left else -turn

    def at(self, t: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Points (n, 2) mm and their derivatives (n, 2) at parameters ``t`` (n,) in [0, 1]."""
        if self.centre is None:
            a, b = np.asarray(self.start), np.asarray(self.end)
            return a + t[:, None] * (b - a), np.broadcast_to(b - a, (t.size, 2))
        first = math.atan2(self.start[1] - self.centre[1], self.start[0] - self.centre[0])
        angle = first + t * self.sweep
        unit = np.stack([np.cos(angle), np.sin(angle)], axis=1)
        across = np.stack([-unit[:, 1], unit[:, 0]], axis=1)
        return np.asarray(self.centre) + self.radius * unit, self.radius * self.sweep * across


Loop = tuple[Edge, ...]


@dataclass(frozen=True, kw_only=True)
class Tolerances:
    """What the stock's standard lets it vary. Any figure is None where the standard's value is not at hand.

    Attributes:
        standard: where the figures come from.
        height: plus or minus mm.
        width: plus or minus mm.
        wall: plus or minus mm.
        squareness: plus or minus degrees of a corner.
        bow: straightness as a share of the length.
        twist_first: mm of twist to start with.
        twist_rate: mm of twist a mm of length on top.
        from_memory: some figure has not been checked against a copy of the standard.
    """

    standard: str = ""
    height: float | None = None
    width: float | None = None
    wall: float | None = None
    squareness: float | None = None
    bow: float | None = None
    twist_first: float | None = None
    twist_rate: float | None = None
    from_memory: bool = False

    def straightness(self, length: float) -> float | None:
        """Greatest bow over a length in mm, mm."""
        return None if self.bow is None else self.bow * length

    def twist(self, length: float) -> float | None:
        """Greatest twist over a length in mm, as the rise of one corner off a flat surface, mm."""
        if self.twist_first is None or self.twist_rate is None:
            return None
        return self.twist_first + self.twist_rate * length


@dataclass(frozen=True, kw_only=True)
class Section:
    """One size of stock. Lengths in mm; see the module for the frame.

    Attributes:
        designation: as a drawing has it, ``"SHS 40x40x3"``.
        shape: what kind of outline it has.
        height: along the section's Z.
        width: along the section's Y.
        wall: wall, leg or web thickness; the thickness of a flat; 0 for round and square bar.
        flange: flange thickness of a channel, else 0.
        outer_radius: outer corner radius as drawn; 0 is a sharp corner. Half the diameter of rounds.
        radius_least: smallest outer corner radius that the standard allows.
        radius_most: largest outer corner radius that the standard allows.
        inner_radius: inner corner radius of a tube, root radius of an angle or channel.
        toe_radius: radius at the toes of an angle.
        standard: the standard whose table or rule it follows.
        known: the size is in the shipped table; otherwise its radii are by rule.
        tolerances: what may vary.
        notes: what a reader should know about where the figures come from.
    """

    designation: str
    shape: Shape2D
    height: float
    width: float
    wall: float = 0.0
    flange: float = 0.0
    outer_radius: float = 0.0
    radius_least: float = 0.0
    radius_most: float = 0.0
    inner_radius: float = 0.0
    toe_radius: float = 0.0
    standard: str = ""
    known: bool = False
    tolerances: Tolerances = field(default_factory=Tolerances)
    notes: tuple[str, ...] = ()

    @property
    def half_extents(self) -> Point2:
        """Half the width and half the height, mm: the box round the section, centred on the origin."""
        return self.width / 2, self.height / 2

    @property
    def hollow(self) -> bool:
        """Whether it is a tube."""
        return self.shape in ("rectangular tube", "round tube")

    def outline(self) -> tuple[Loop, ...]:
        """Closed loops of edges: the outer one turns left, then the hole of a tube, which turns right."""
        return self._loops

    @cached_property
    def _loops(self) -> tuple[Loop, ...]:
        return _OUTLINES[self.shape](self)

    @cached_property
    def _moments(self) -> NDArray[np.float64]:
        return _moments(self.outline())

    @property
    def area(self) -> float:
        """Area of the metal, mm2, exact for the drawn outline."""
        return float(self._moments[0])

    @property
    def centroid(self) -> Point2:
        """Centre of gravity (y, z), mm."""
        return float(self._moments[1] / self.area), float(self._moments[2] / self.area)

    @property
    def inertia(self) -> tuple[float, float]:
        """Second moments of area about the axes through the centre of gravity along Y and along Z, mm4.

        The first resists bending in the height (the Ix of most tables), the second in the width.
        """
        y, z = self.centroid
        return float(self._moments[4] - self.area * z * z), float(self._moments[3] - self.area * y * y)

    @property
    def mass_per_length(self) -> float:
        """Mass of steel, kg per mm."""
        return self.area * STEEL * 1e-9

    def for_properties(self) -> Section:
        """The section that strength tables are made for: ASTM A500 tube with 0.93 of its wall and R = 2t.

        Others are returned as they are. Never use it for geometry: the real tube has its nominal outside.
        Source: AISC, Steel Construction Manual, part 1 (design wall thickness of HSS).
        """
        if self.standard != "ASTM A500":
            return self
        wall = 0.93 * self.wall
        if self.shape == "round tube":
            return replace(self, wall=wall)
        return replace(self, wall=wall, outer_radius=2 * wall, inner_radius=wall)

    def reach(self, y: float, z: float) -> float:
        """How far the section extends from its middle along a unit direction (y, z), mm."""
        return support(self.outline()[0], y, z)

    def key(self) -> tuple[str | float, ...]:
        """All that decides the outline, for cache keys."""
        return (
            self.shape,
            self.height,
            self.width,
            self.wall,
            self.flange,
            self.outer_radius,
            self.inner_radius,
            self.toe_radius,
        )


def rounded(corners: list[tuple[float, float, float]]) -> Loop:
    """A closed outline from corners ``(y, z, radius)`` in order, each arc tangent to both its sides."""
    cuts: list[tuple[Point2, Point2, Point2 | None, bool]] = []
    for i, (y, z, radius) in enumerate(corners):
        before, after = corners[i - 1], corners[(i + 1) % len(corners)]
        u = _unit(before[0] - y, before[1] - z)
        v = _unit(after[0] - y, after[1] - z)
        if radius <= 0.0:
            cuts.append(((y, z), (y, z), None, True))
            continue
        half = math.acos(max(-1.0, min(1.0, u[0] * v[0] + u[1] * v[1]))) / 2
        reach, far = radius / math.tan(half), radius / math.sin(half)
        middle = _unit(u[0] + v[0], u[1] + v[1])
        centre = (y + far * middle[0], z + far * middle[1])
        left = u[0] * v[1] - u[1] * v[0] < 0.0
        cuts.append(((y + reach * u[0], z + reach * u[1]), (y + reach * v[0], z + reach * v[1]), centre, left))
    edges: list[Edge] = []
    for i, (start, end, arc, left) in enumerate(cuts):
        if arc is not None:
            edges.append(Edge(start, end, arc, left))
        following = cuts[(i + 1) % len(cuts)][0]
        if math.dist(end, following) > 1e-9:
            edges.append(Edge(end, following))
    return tuple(edges)


def support(loop: Loop, y: float, z: float) -> float:
    """The greatest value of ``y * Y + z * Z`` on an outline, mm times the length of (y, z).

    With a unit direction it is how far the outline reaches that way from the origin.
    """
    best = max(y * e.start[0] + z * e.start[1] for e in loop)
    size = math.hypot(y, z)
    if size == 0.0:
        return 0.0
    for e in loop:
        if e.centre is None:
            continue
        first = math.atan2(e.start[1] - e.centre[1], e.start[0] - e.centre[0])
        ahead = math.atan2(z, y) - first
        within = (ahead if e.left else -ahead) % (2 * math.pi) <= abs(e.sweep)
        if within and e.left:  # the far side of an arc that turns right is inside the outline
            best = max(best, y * e.centre[0] + z * e.centre[1] + e.radius * size)
    return best


def circle(radius: float, *, left: bool = True) -> Loop:
    """A full circle about the origin as one edge."""
    return (Edge((radius, 0.0), (radius, 0.0), (0.0, 0.0), left),)


def backwards(loop: Loop) -> Loop:
    """The same loop run the other way."""
    return tuple(Edge(e.end, e.start, e.centre, not e.left) for e in reversed(loop))


def _box(width: float, height: float, radius: float) -> Loop:
    y, z = width / 2, height / 2
    return rounded([(-y, -z, radius), (y, -z, radius), (y, z, radius), (-y, z, radius)])


def _rectangular_tube(s: Section) -> tuple[Loop, ...]:
    inner = _box(s.width - 2 * s.wall, s.height - 2 * s.wall, s.inner_radius)
    return _box(s.width, s.height, s.outer_radius), backwards(inner)


def _round_tube(s: Section) -> tuple[Loop, ...]:
    return circle(s.height / 2), circle(s.height / 2 - s.wall, left=False)


def _round_bar(s: Section) -> tuple[Loop, ...]:
    return (circle(s.height / 2),)


def _flat(s: Section) -> tuple[Loop, ...]:
    return (_box(s.width, s.height, s.outer_radius),)


def _angle(s: Section) -> tuple[Loop, ...]:
    y, z, t = s.width / 2, s.height / 2, s.wall
    return (
        rounded(
            [
                (-y, -z, s.outer_radius),
                (y, -z, 0.0),
                (y, -z + t, s.toe_radius),
                (-y + t, -z + t, s.inner_radius),
                (-y + t, z, s.toe_radius),
                (-y, z, 0.0),
            ]
        ),
    )


def _channel(s: Section) -> tuple[Loop, ...]:
    y, z, web, flange = s.width / 2, s.height / 2, s.wall, s.flange
    return (
        rounded(
            [
                (-y, -z, s.outer_radius),
                (y, -z, 0.0),
                (y, -z + flange, 0.0),
                (-y + web, -z + flange, s.inner_radius),
                (-y + web, z - flange, s.inner_radius),
                (y, z - flange, 0.0),
                (y, z, 0.0),
                (-y, z, s.outer_radius),
            ]
        ),
    )


_OUTLINES = {
    "rectangular tube": _rectangular_tube,
    "round tube": _round_tube,
    "round bar": _round_bar,
    "flat": _flat,
    "angle": _angle,
    "channel": _channel,
}


@lru_cache(maxsize=1)
def _gauss() -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    nodes, weights = np.polynomial.legendre.leggauss(32)
    return (nodes + 1) / 2, weights / 2


def _moments(loops: tuple[Loop, ...]) -> NDArray[np.float64]:
    """Integrals of 1, y, z, y2, z2, yz over the area, by Green's theorem along the outline.

    The integrands are polynomials on lines and short trigonometric sums on arcs, so that 32 points a piece are
    exact to rounding.
    """
    t, w = _gauss()
    total = np.zeros(6)
    for edge in (e for loop in loops for e in loop):
        p, d = edge.at(t)
        y, z, dz = p[:, 0], p[:, 1], d[:, 1]
        total += [float(w @ (f * dz)) for f in (y, y * y / 2, y * z, y**3 / 3, y * z * z, y * y * z / 2)]
    return total


def _unit(y: float, z: float) -> Point2:
    length = math.hypot(y, z)
    return y / length, z / length
