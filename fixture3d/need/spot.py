"""Where a piece is to be held: the face that looks to the asked side, the point on it, and what is known of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from fixture3d import frame
from fixture3d.errors import FixtureError, nearest_name, one_line
from fixture3d.frame import Array
from fixture3d.job import Body, Job
from fixture3d.job.clamping import asked_point
from fixture3d.job.inventory import table_pattern
from fixture3d.locating.features import Flat, Rod, Standing
from fixture3d.locating.read_features import features_of, standing
from fixture3d.scene.schema import Clamp
from fixture3d.solid.relate import Placed

SIDES: Final = {
    "below": (0.0, 0.0, -1.0),
    "left": (-1.0, 0.0, 0.0),
    "right": (1.0, 0.0, 0.0),
    "front": (0.0, -1.0, 0.0),
    "back": (0.0, 1.0, 0.0),
}
"""Where a block stands, seen from the piece; the table as on the sheet: front is the row of A1."""
_SAME: Final = 0.9999  # cosine; a face that looks to that side: blocks have no other faces for it
_LEVEL: Final = 1e-3  # of the axis of a round face, square to the side
_ASLANT: Final = {side: 0.4999 if side == "below" else 0.707 for side in SIDES}
"""Cosine: as far aside a face may look for which there still are blocks: tilt blocks, and stops at 45 degrees."""
_ROUND: Final = 91.0  # degrees; the corner of a tube is no round to lie on
_NEAR: Final = 5.0  # mm; a face this far beside the asked place is still there: a hollow end, a corner radius

_Found = tuple[Array, Array, float, Array | None]
"""Point and direction of a face, (3,) each, and diameter and axis where it is round."""


class NotPossible(Exception):
    """What is asked for cannot be made; ``str()`` says which measure, why, and the nearest thing that would work."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Spot:
    """A place of a piece.

    Attributes:
        piece: its name.
        side: such as ``"below"``.
        point: (3,) on the face, world, mm.
        out: (3,) unit, out of the piece, towards the block.
        along: (3,) unit along the piece, the way in which ``at`` grows; None for a piece without an axis.
        at: mm along the piece.
        length: mm, of the piece along its axis; 0 without one.
        diameter: of a round face, mm; 0 for a flat one.
        axis: (3,) unit of a round face; None for a flat one.
        corner: outer radius of the stock's corners as drawn, mm; 0 for sharp ones.
        sharpest: the smallest that its standard allows, mm.
    """

    piece: str
    side: str
    point: Array
    out: Array
    along: Array | None
    at: float
    length: float
    diameter: float
    axis: Array | None
    corner: float
    sharpest: float

    @property
    def centre(self) -> Array:
        """Of a round face the point on its axis, (3,) mm; else the point itself."""
        return self.point - self.out * self.diameter / 2.0


def read_sides(text: str) -> tuple[str, ...]:
    """The sides of ``below``, ``left`` or ``below,left``.

    Raises:
        FixtureError: there is no such side, or not these two at once.
    """
    words = [word.strip().casefold() for word in text.replace("+", ",").split(",")]
    for word in words:
        if word == "above":
            raise FixtureError("--from above: a block holds from below or from a side; from above a clamp presses")
        if word not in SIDES:
            near = nearest_name(word, SIDES)
            raise FixtureError(
                f'--from "{one_line(word)}": expected one of {", ".join(SIDES)}, or two for a corner, as in below,left '
                "or left,front" + (f"; nearest: {near}" if near else "")
            )
    sides = sorted(set(words), key=list(SIDES).index)
    level = [side for side in sides if side != "below"]
    if len(sides) > 2 or sorted(level) in (["left", "right"], ["back", "front"]):
        raise FixtureError(
            f"--from {','.join(sides)}: one block holds from one side, from below and one side, or in a corner such as "
            "left,front"
        )
    return tuple(sides)


def body_of(job: Job, name: str) -> Body:
    """The piece of that name.

    Raises:
        FixtureError: there is none.
    """
    names = {body.name: body for body in job.pieces()}
    if name in names:
        return names[name]
    if not names:
        raise FixtureError(f'--hold "{one_line(name)}": the scene has no work; expected a scene with pieces')
    near = nearest_name(name, names) or next(iter(names))
    raise FixtureError(f'--hold "{one_line(name)}": there is no piece of that name; nearest: {near}')


def spot_of(job: Job, name: str, side: str, at: float | None) -> Spot:
    """The place of a piece that is asked for.

    Args:
        job: the setup.
        name: of the piece.
        side: one of `SIDES`.
        at: mm along the piece from its first end; None for its middle.

    Raises:
        FixtureError: there is no such piece, or ``at`` is beyond it.
        NotPossible: no face of it looks there.
    """
    body = body_of(job, name)
    way = np.array(SIDES[side])
    middle, along, station, length, (corner, sharpest) = _on_axis(job, body, at)
    there = standing(name, Placed(name, body.shape, body.body_to_world))
    found = _face(there, way, middle, along) or _face(there, way, middle, along, _ASLANT[side])
    if found is None:
        shows = [one for one in SIDES if one != side and _shows(body, one, middle, along)]
        near = f"; nearest: --from {shows[0]}" if shows else ""
        where = f" at {table_pattern(job.scene).show(station)} along it" if at is not None else ""
        raise NotPossible(f"{name} has no flat or round face that looks {_looks(side)}{where}, to be held there{near}")
    point, out, diameter, axis = found
    return Spot(
        piece=name,
        side=side,
        point=point,
        out=out,
        along=along,
        at=station,
        length=length,
        diameter=diameter,
        axis=axis,
        corner=corner,
        sharpest=sharpest,
    )


def _looks(side: str) -> str:
    return "down" if side == "below" else f"to the {side}"


def _shows(body: Body, side: str, middle: Array, along: Array | None) -> bool:
    there = standing(body.name, Placed(body.name, body.shape, body.body_to_world))
    return _face(there, np.array(SIDES[side]), middle, along) is not None


def _on_axis(job: Job, body: Body, at: float | None) -> tuple[Array, Array | None, float, float, tuple[float, float]]:
    """The asked point inside a piece, the way along it, how far that is of which length, and the corners' radii."""
    weldment = job.weldment
    piece = weldment.piece(body.name) if weldment is not None else None
    if weldment is None or piece is None or piece.section is None:
        if at is not None:
            raise FixtureError(f"--at: {body.name} is no member and has no axis to measure along; leave --at out")
        centroid = features_of(body.shape).centroid  # of a clipped plate the middle of its box may lie beside it
        return frame.points(body.body_to_world, centroid), None, 0.0, 0.0, (0.0, 0.0)
    station = piece.length / 2.0 if at is None else at
    pattern = table_pattern(job.scene)
    points = []
    try:
        for s in (station, min(station + 1.0, piece.length), max(station - 1.0, 0.0)):
            asked = Clamp.model_construct(name="", model="", presses=body.name, at=s)
            points.append(asked_point(asked, pattern, weldment))
    except ValueError as error:
        raise FixtureError(f"--{error}".replace("--at = ", "--at ")) from error
    first, ahead, behind = (np.asarray(point) for point in points)
    drawn = piece.section.outer_radius if piece.section.wall or piece.section.flange else 0.0
    return first, frame.unit(ahead - behind), station, piece.length, (drawn, min(piece.section.radius_least, drawn))


def _face(there: Standing, way: Array, middle: Array, along: Array | None, least: float = _SAME) -> _Found | None:
    """The outermost face at the place that looks there, or not more than so much aside (a cosine)."""
    found: list[tuple[float, float, _Found]] = []
    anywhere = along is None or abs(float(along @ way)) > _SAME
    for one, pose in zip(there.features.all, there.frames, strict=True):
        axis = pose[:3, 2]
        if isinstance(one, Flat) and float(axis @ way) > least and _can_be_met(axis, way):
            found += _flat(one, pose, way, middle, anywhere)
        elif isinstance(one, Rod) and one.solid and one.radius > 0.0:
            aside = abs(float(axis @ way))
            if aside < _LEVEL or (least < _SAME and aside < np.sqrt(1.0 - least**2)):
                out = way if aside < _LEVEL else frame.unit(way - float(axis @ way) * axis)
                found += _rod(one, pose, out, middle, along is None) if _can_be_met(out, way) else []
    return min(found, key=lambda one: one[:2])[2] if found else None


def _can_be_met(out: Array, way: Array) -> bool:
    """Faces that are held from a side are upright."""
    return way[2] < 0.0 or abs(float(out[2])) < _LEVEL


def _flat(flat: Flat, pose: Array, way: Array, middle: Array, anywhere: bool) -> Sequence[tuple[float, float, _Found]]:
    from shapely import Point
    from shapely.ops import nearest_points

    here = frame.points(frame.inverse(pose), middle)
    near, _ = nearest_points(flat.outline, Point(float(here[0]), float(here[1])))
    beside = float(np.hypot(near.x - here[0], near.y - here[1]))
    if beside > _NEAR and not anywhere:
        return []
    point = frame.points(pose, (near.x, near.y, 0.0))
    return [
        (round(beside, 3), -float(point @ way), (point, pose[:3, 2] if pose[:3, 2] @ way < _SAME else way, 0.0, None))
    ]


def _rod(rod: Rod, pose: Array, out: Array, middle: Array, anywhere: bool) -> Sequence[tuple[float, float, _Found]]:
    if 2.0 * rod.radius < _NEAR or rod.sector < _ROUND:  # a corner of stock or a broken edge is no round to lie on
        return []
    inverse = frame.inverse(pose)
    z = float(frame.points(inverse, middle)[2])
    spans = rod.along(frame.directions(inverse, out), 0.0)
    gaps = [(max(low - z, z - high, 0.0), min(max(z, low), high)) for low, high in spans]
    if not gaps or (min(gaps)[0] > _NEAR and not anywhere):
        return []
    gap, z = min(gaps)
    point = frame.points(pose, (0.0, 0.0, z)) + out * rod.radius
    return [(round(gap, 3), -float(point @ out), (point, out, 2.0 * rod.radius, pose[:3, 2]))]
