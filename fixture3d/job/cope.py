r"""The fish-mouth: an end that fits round the outside of another member, in closed form. No geometry kernel.

Looking along the other member, its outline is the same everywhere. ``e`` counts ahead, the way the coped member runs
into it; ``d`` counts across. Every line of the coped member runs at one ``d`` and stops at the ``e`` where the front of
that outline begins::

        e ^            ______
          |          /        \      the other member, from its end
          |         |          |
          |          \_      _/   <- front: e over d
          |            ‾‾‾‾‾‾
          |              ||
          |              ||   the coped member, coming from below
          +------------------------> d

Beyond the widest place of the other member the front stays level: the end never reaches round behind, so that the piece
can be put on from its own side.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fixture3d.frame import Array
from fixture3d.job.cuts import CutImpossible, CutPlane, Run
from fixture3d.stock.section import Edge, Loop, Section, rounded
from fixture3d.tolerance import NUMERIC, SHOP
from fixture3d.units import Units, show

if TYPE_CHECKING:
    from collections.abc import Sequence

LEAST_ANGLE = 15.0  # degrees between two centre lines; flatter copes run out to a feather edge (common practice)
_ROUND = ("round tube", "round bar")
_BOXES = ("rectangular tube", "flat")


@dataclass(frozen=True, kw_only=True)
class Saddle:
    """One coped end in the frame of its piece: where each line along the member ends.

    A line through (y, z) of the section runs at ``d = offset + across . (y, z)`` and ends at
    ``x = at + slope . (y, z) + side * front(d) / sine``.

    Attributes:
        side: 1 at the end of the member, -1 at its start.
        at: X where the centre line crosses the plane through the other member's axis that the front counts from.
        slope: how that plane's X grows with Y and Z.
        across: unit direction in the section that is square to both members, as (y, z).
        offset: how far the two centre lines pass apart, signed along ``across``, mm.
        angle: degrees between the two centre lines, 15 to 90.
        front: lines and arcs of the other's outline, grown by the gap, that face the member, as (d, e); d grows.
    """

    side: int
    at: float
    slope: tuple[float, float]
    across: tuple[float, float]
    offset: float
    angle: float
    front: Loop

    @property
    def sine(self) -> float:
        """Of the angle between the two centre lines."""
        return math.sin(math.radians(self.angle))

    @property
    def reach(self) -> tuple[float, float]:
        """Least and greatest d of the front, mm."""
        return self.front[0].start[0], self.front[-1].end[0]

    def x(self, y: Array, z: Array) -> Array:
        """X in mm at which the lines through points (y, z) of the section end; shapes as given."""
        d = self.offset + self.across[0] * y + self.across[1] * z
        level = self.at + self.slope[0] * y + self.slope[1] * z
        return np.asarray(level + self.side * ahead(self.front, d) / self.sine)

    def round_at(self, theta: Array, radius: float) -> Array:
        """The same on a round surface of the coped member, by the angle from its Y axis toward its Z axis, radians.

        With ``radius`` half the diameter this is the edge on the outside of a tube, with the bore's radius the edge
        inside. ``radius * theta`` over it is the template that is wrapped round.
        """
        return self.x(radius * np.cos(theta), radius * np.sin(theta))

    def breaks(self) -> Iterator[tuple[float, float, float]]:
        """Lines ``a * y + b * z = c`` of the section where the front goes from one piece to the next: (a, b, c)."""
        for d in (self.front[0].start[0], *(edge.end[0] for edge in self.front)):
            yield (*self.across, d - self.offset)

    def plane(self) -> CutPlane:
        """The flat cut at the same angle through the point where the centre line ends."""
        x = float(self.x(np.zeros(1), np.zeros(1))[0])
        normal = np.array([1.0, -self.slope[0], -self.slope[1]]) * self.side
        return CutPlane(
            point=np.array([round(x, 9) + 0.0, 0.0, 0.0]),
            normal=np.asarray(np.round(normal / float(np.linalg.norm(normal)), 12) + 0.0),
        )

    def moved(self, by: float) -> Saddle:
        """The same shifted along the member by so many mm."""
        return Saddle(**{**self.__dict__, "at": round(self.at + by, 9) + 0.0})


def ahead(front: Sequence[Edge], d: Array) -> Array:
    """The front's e at each d, mm; level beyond its ends."""
    d = np.clip(d, front[0].start[0], front[-1].end[0])
    out = np.full(np.shape(d), front[-1].end[1])
    for edge in reversed(front):
        (d0, e0), (d1, e1) = edge.start, edge.end
        if edge.centre is None:
            here = e0 + (d - d0) * ((e1 - e0) / (d1 - d0))
        else:
            here = edge.centre[1] - np.sqrt(np.maximum(edge.radius**2 - (d - edge.centre[0]) ** 2, 0.0))
        out = np.where(d <= d1, here, out)
    return out


def facing(section: Section, gap: float, across: Array, toward: Array) -> Loop:
    """The part of an outline, grown by a gap, that faces a member which comes along ``toward``.

    Args:
        section: round or rectangular stock.
        gap: mm, square to its surface everywhere.
        across: (2,) unit direction in the section's (y, z) along which d counts.
        toward: (2,) unit direction along which e counts; a quarter turn left of ``across``.

    Raises:
        ValueError: the section is of another shape.
    """
    if section.shape in _ROUND:
        radius = section.height / 2.0 + gap
        return (Edge((-radius, 0.0), (radius, 0.0), (0.0, 0.0)),)
    if section.shape not in _BOXES:
        raise ValueError(section.shape)
    y, z, radius = section.width / 2.0 + gap, section.height / 2.0 + gap, section.outer_radius + gap
    loop = rounded([(-y, -z, radius), (y, -z, radius), (y, z, radius), (-y, z, radius)])

    def seen(point: tuple[float, float]) -> tuple[float, float]:
        p = np.array(point)
        return round(float(p @ across), 9) + 0.0, round(float(p @ toward), 9) + 0.0

    turned = [
        Edge(seen(edge.start), seen(edge.end), seen(edge.centre) if edge.centre else None, edge.left) for edge in loop
    ]
    front = [part for edge in turned for part in _lower(edge)]
    return tuple(sorted(front, key=lambda edge: edge.start[0]))


def _lower(edge: Edge) -> Iterator[Edge]:
    """What of an edge of an outline that turns left looks down: d grows along it."""
    if edge.centre is None:
        if edge.end[0] - edge.start[0] > NUMERIC.merge:
            yield edge
        return
    y, z = edge.centre
    first = math.atan2(edge.start[1] - z, edge.start[0] - y) % (2.0 * math.pi)
    for turn in (0.0, 2.0 * math.pi):
        low, high = max(first, math.pi + turn), min(first + edge.sweep, 2.0 * math.pi + turn)
        if edge.radius * (high - low) > NUMERIC.merge:
            ends = [(y + edge.radius * math.cos(a), z + edge.radius * math.sin(a)) for a in (low, high)]
            yield Edge(ends[0], ends[1], edge.centre)


def saddle(run: Run, which: int, other: Run, gap: float, units: Units = "mm") -> tuple[Saddle, list[str]]:
    """The cope of one end of a run round another one, in the run's own frame, and what a reader should know about it.

    Args:
        run: the member that is coped.
        which: end 0 or 1.
        other: the member that it fits; it is taken to run through.
        gap: root gap, mm, square to the other's surface.
        units: for lengths in messages.

    Raises:
        CutImpossible: it cannot be coped there; in words.
    """
    name = f'"{other.name}"'
    if other.section.shape not in _ROUND + _BOXES:
        raise CutImpossible(
            f"it is coped round {name}, which is {'an' if other.section.shape[0] in 'aeiou' else 'a'} "
            f"{other.section.shape}: only round and rectangular stock can be coped round",
            f"against = {name}, a flat cut on its face",
        )
    _, out = run.end(which)
    along = other.run_to_weldment[:3, 0]
    cosine = float(out @ along)
    angle = math.degrees(math.acos(min(abs(cosine), 1.0)))
    if angle < LEAST_ANGLE - NUMERIC.angle:
        raise CutImpossible(
            f"it meets {name} at {angle:.1f} degrees: the cope would run out to a feather edge",
            f"{LEAST_ANGLE:g} degrees or more between the two",
        )
    sine = math.sqrt(1.0 - cosine * cosine)
    toward = (out - cosine * along) / sine
    sideways = np.cross(toward, along)
    axes = run.run_to_weldment[:3, :3]
    lag = run.run_to_weldment[:3, 3] - other.run_to_weldment[:3, 3]
    side = 1 if which else -1
    made = Saddle(
        side=side,
        at=round(-side * float(lag @ toward) / sine, 9) + 0.0,
        slope=_pair(-side * (toward @ axes[:, 1:]) / sine, 12),
        across=_pair(sideways @ axes[:, 1:], 12),
        offset=round(float(lag @ sideways), 9) + 0.0,
        angle=round(angle, 10),
        front=facing(
            other.section,
            gap,
            sideways @ other.run_to_weldment[:3, 1:3],
            toward @ other.run_to_weldment[:3, 1:3],
        ),
    )
    return made, _judged(run, which, other, made, units)


def _pair(values: Array, places: int) -> tuple[float, float]:
    return round(float(values[0]), places) + 0.0, round(float(values[1]), places) + 0.0


def _judged(run: Run, which: int, other: Run, made: Saddle, units: Units) -> list[str]:
    """What a reader should know about a cope.

    Raises:
        CutImpossible: the two do not meet there.
    """
    name = f'"{other.name}"'
    low, high = made.reach
    left = made.offset - run.section.reach(-made.across[0], -made.across[1])
    right = made.offset + run.section.reach(*made.across)
    if right <= low + SHOP.contact or left >= high - SHOP.contact:
        apart = max(low - right, left - high, 0.0)
        raise CutImpossible(
            f"it passes {name} {show(apart, units)} to the side and does not meet it",
            f"centre lines less than {show(high + (right - left) / 2.0, units)} apart",
        )
    end = run.length if which else 0.0
    middle = float(made.x(np.zeros(1), np.zeros(1))[0])
    size = max(run.section.width, run.section.height, other.section.width, other.section.height)
    if abs(middle - end) > size / made.sine:
        raise CutImpossible(
            f"its centre line meets {name} {show(abs(middle - end), units)} away from that end",
            f"an end within {show(size / made.sine, units)} of where the centre lines cross",
        )
    notes = []
    if left < low - SHOP.contact or right > high + SHOP.contact:
        notes.append(f"it is wider than {name}, so that its cope reaches down beside it, to its widest place only")
    notes += _past_end(run, other, made, units)
    return notes


def _past_end(run: Run, other: Run, made: Saddle, units: Units) -> list[str]:
    """Whether the cope lies on the other member along its whole length.

    Raises:
        CutImpossible: it lies beyond it altogether.
    """
    points = np.concatenate([edge.at(np.linspace(0.0, 1.0, 37))[0] for edge in run.section.outline()[0]])
    y, z = points[:, 0], points[:, 1]
    local = np.stack([made.x(y, z), y, z], axis=1)
    placed = local @ run.run_to_weldment[:3, :3].T + run.run_to_weldment[:3, 3]
    along = (placed - other.run_to_weldment[:3, 3]) @ other.run_to_weldment[:3, 0]
    name = f'"{other.name}"'
    beyond = max(-float(along.max()), float(along.min()) - other.length)
    if beyond >= -SHOP.contact:
        raise CutImpossible(
            f"it meets {name} {show(max(beyond, 0.0), units)} beyond its end",
            "a place on the length of the other member",
        )
    past = max(-float(along.min()), float(along.max()) - other.length)
    if past > SHOP.contact:
        return [f"its cope reaches {show(past, units)} past the end of {name}"]
    return []
