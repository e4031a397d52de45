r"""Rounds that lie along a flat or along another round: welds without an edge.

::

       ___                    The root is the line on which a cylinder touches the plane, or comes nearest to it. Each
      /   \                   side on which the round turns away far enough, over a flat that reaches far enough, is a
     |     |                  place for a flare weld. Where the flat ends before the gap has grown past the limit its
    __\___/____   <- both     own edge is the root instead, and is found as an edge.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from fixture3d.frame import Array
from fixture3d.tolerance import JOINTS
from fixture3d.welding.section import axes, cut
from fixture3d.welding.surface import Round, Surface

_BESIDE = 0.5  # mm beside the root at which both faces must be there, or a quarter of the radius
_TURNED = 45.0  # degrees at which the opening of a flare is told
_LONG = 6.0  # a contact so many times as long as the flat is wide beside it lies along the round; else it stands on it
Interval = tuple[float, float]


@dataclass(frozen=True, eq=False)
class Flare:
    """One side of one line of contact.

    Attributes:
        faces: of the first and the second piece.
        gap: mm at the root; negative where the two overlap.
        path: (2, 3) mm.
        normals: (2, 3) outward normals where each round has turned 45 degrees; of a flat its own.
        bisector: unit vector into the open space.
        opening: degrees between those.
        fillet: the round is smaller than the gap limit: for the weld it is a sharp edge.
        mouth: from the root to the middle between the faces where each round has turned 45 degrees, (3,) mm.
        slot: the flat ends before the round has turned away: a slot under an end face, and no place for a weld.
    """

    faces: tuple[int, int]
    gap: float
    path: Array
    normals: Array
    bisector: Array
    opening: float
    fillet: bool
    mouth: Array
    slot: bool = False

    @property
    def counts(self) -> bool:
        """Whether it is long enough for a weld, and one that can be laid."""
        return not self.slot and self.length >= JOINTS.flare

    @property
    def length(self) -> float:
        """Mm."""
        return float(np.linalg.norm(self.path[1] - self.path[0]))


def flares(first: Surface, second: Surface, limit: float, reach: float) -> list[Flare]:
    """All flares between two pieces, up to a root gap of ``reach``; ``limit`` is that of a weld, mm."""
    out: list[Flare] = []
    for swapped, a, b in ((False, first, second), (True, second, first)):
        for face, round_ in a.rounds.items():
            if not round_.solid:
                continue
            for flat, (normal, distance) in b.flats.items():
                found = _on_flat(a, face, round_, b, flat, normal, distance, limit, reach)
                out += [_swapped(one) if swapped else one for one in found]
            if not swapped:
                for other, second_round in b.rounds.items():
                    if second_round.solid:
                        out += _on_round(a, face, round_, b, other, second_round, limit, reach)
    return out


def _swapped(one: Flare) -> Flare:
    return replace(one, faces=one.faces[::-1], normals=one.normals[::-1])


def _turn(radius: float, rise: float) -> float:
    """Radians that a round must turn until it has risen so far, at most 60 degrees."""
    return float(np.arccos(max(1.0 - rise / radius, 0.5)))


def _on_flat(
    a: Surface,
    face: int,
    round_: Round,
    b: Surface,
    flat: int,
    normal: Array,
    distance: float,
    limit: float,
    reach: float,
) -> list[Flare]:
    """Both sides of a cylinder on a plane."""
    if abs(float(round_.axis @ normal)) > np.sin(np.deg2rad(JOINTS.flare_parallel)):
        return []
    gap = float(round_.point @ normal) - distance - round_.radius
    if not -JOINTS.flush <= gap <= reach:
        return []
    axis = round_.axis - normal * float(round_.axis @ normal)
    axis = axis / float(np.linalg.norm(axis))
    out = []
    for lateral in (np.cross(normal, axis), np.cross(axis, normal)):
        intervals: list[Interval] | None = None
        for turn in (_beside(round_.radius), _turn(round_.radius, limit)):
            across = np.sin(turn) * round_.radius
            down = -normal * np.cos(turn) + lateral * np.sin(turn)
            mine = _along_round(a, face, round_, axis, down)
            theirs = _along_flat(b, flat, round_.point + lateral * across, lateral, axis, round_.point)
            both = _common(mine, theirs)
            intervals = both if intervals is None else _common(intervals, both)
        for start, end in intervals or []:
            root = round_.point - normal * (round_.radius + gap / 2.0)
            leaving = np.deg2rad(_TURNED)
            middle = lateral * np.cos(leaving / 2.0) + normal * np.sin(leaving / 2.0)
            side = lateral * np.sin(leaving) - normal * np.cos(leaving)
            mouth = lateral * np.sin(leaving) + normal * (1.0 - np.cos(leaving)) / 2.0
            out.append(
                Flare(
                    (face, flat),
                    gap,
                    np.stack([root + axis * start, root + axis * end]),
                    np.stack([side, normal]),
                    middle,
                    _TURNED,
                    round_.radius <= limit,
                    round_.radius * mouth,
                    _is_slot(b, flat, root + axis * (start + end) / 2.0, axis, lateral, round_.radius, end - start),
                )
            )
    return out


def _is_slot(
    surface: Surface, flat: int, root: Array, axis: Array, lateral: Array, radius: float, length: float
) -> bool:
    """Whether a flat ends beside the root before a round of ``radius`` has turned away from it."""
    spans = _intervals(surface, np.flatnonzero(surface.face == flat), root, axis, lateral, root, None)
    wide = max((end for start, end in spans if start <= _BESIDE), default=0.0)
    if wide >= radius * np.sin(np.deg2rad(_TURNED - 1.0)):
        return False
    rise = radius - float(np.sqrt(radius**2 - wide**2))
    return rise < JOINTS.slot or length < _LONG * wide


def _on_round(
    a: Surface, face: int, first: Round, b: Surface, other: int, second: Round, limit: float, reach: float
) -> list[Flare]:
    """Both sides of two cylinders side by side."""
    axis = first.axis
    if float(np.linalg.norm(np.cross(axis, second.axis))) > np.sin(np.deg2rad(JOINTS.flare_parallel)):
        return []
    apart = second.point - first.point
    apart = apart - axis * float(apart @ axis)
    distance = float(np.linalg.norm(apart))
    gap = distance - first.radius - second.radius
    if not -JOINTS.flush <= gap <= reach or distance == 0.0:
        return []
    facing = apart / distance
    out = []
    for lateral in (np.cross(axis, facing), np.cross(facing, axis)):
        intervals: list[Interval] | None = None
        for far in (False, True):
            both: list[Interval] | None = None
            for surface, number, round_, toward in ((a, face, first, facing), (b, other, second, -facing)):
                turn = _turn(round_.radius, limit / 2.0) if far else _beside(round_.radius)
                down = toward * np.cos(turn) + lateral * np.sin(turn)
                mine = _along_round(surface, number, round_, axis, down, first.point)
                both = mine if both is None else _common(both, mine)
            intervals = both if intervals is None else _common(intervals, both or [])
        for start, end in intervals or []:
            root = first.point + facing * (first.radius + gap / 2.0)
            turned = np.deg2rad(_TURNED)
            sides = np.stack([s * facing * np.cos(turned) + lateral * np.sin(turned) for s in (1.0, -1.0)])
            out.append(
                Flare(
                    (face, other),
                    gap,
                    np.stack([root + axis * start, root + axis * end]),
                    sides,
                    lateral,
                    2.0 * _TURNED,
                    max(first.radius, second.radius) <= limit,
                    lateral * min(first.radius, second.radius) * float(np.sin(turned)),
                )
            )
    return out


def _beside(radius: float) -> float:
    return float(np.arcsin(min(_BESIDE / radius, 0.25)))


def _along_round(
    surface: Surface, face: int, round_: Round, axis: Array, down: Array, origin: Array | None = None
) -> list[Interval]:
    """Where along ``axis`` from ``origin`` a cylinder's face is there, on the line that ``down`` points to."""
    chosen = np.flatnonzero(surface.face == face)
    plane = np.cross(axis, down)
    plane = plane / float(np.linalg.norm(plane))
    return _intervals(surface, chosen, round_.point, plane, axis, origin if origin is not None else round_.point, down)


def _along_flat(
    surface: Surface, face: int, point: Array, lateral: Array, axis: Array, origin: Array
) -> list[Interval]:
    """Where along ``axis`` from ``origin`` a flat face is there, on a line through ``point``."""
    return _intervals(surface, np.flatnonzero(surface.face == face), point, lateral, axis, origin, None)


def _intervals(
    surface: Surface,
    chosen: np.ndarray[tuple[int, ...], np.dtype[np.int64]],
    point: Array,
    plane: Array,
    axis: Array,
    origin: Array,
    down: Array | None,
) -> list[Interval]:
    tangent = plane[None, :]
    found = cut(surface, chosen, point[None, :], tangent, None)
    if not len(found.plane):
        return []
    u, w = axes(tangent)
    ends = [point + flat[:, :1] * u + flat[:, 1:] * w for flat in (found.a, found.b)]
    if down is not None:
        keep = ((ends[0] + ends[1]) / 2.0 - point) @ down > 0.0
        ends = [e[keep] for e in ends]
    spots = np.sort(np.stack([(e - origin) @ axis for e in ends], axis=1), axis=1)
    out: list[Interval] = []
    for start, end in spots[np.argsort(spots[:, 0], kind="stable")].tolist():
        if out and start <= out[-1][1] + 0.01:
            out[-1] = (out[-1][0], max(out[-1][1], end))
        else:
            out.append((start, end))
    return out


def _common(a: list[Interval], b: list[Interval]) -> list[Interval]:
    """Where both are there."""
    found = [(max(p[0], q[0]), min(p[1], q[1])) for p in a for q in b]
    return sorted((start, end) for start, end in found if end - start > 0.01)
