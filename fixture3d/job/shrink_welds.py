"""The welds of a job as the rules of shrinkage need them: walls, openings, and the way in which each joint closes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from fixture3d import frame
from fixture3d.frame import Array
from fixture3d.shrinkage.effect import Effect, ShrinkWeld, across_joint
from fixture3d.tolerance import SHRINKING

if TYPE_CHECKING:
    from fixture3d.access.welds import Weld
    from fixture3d.job.job import Body, Job
    from fixture3d.job.weldment import Piece
    from fixture3d.welding.surface import Surface

__all__ = ["Shrunk", "shrink_welds"]

_ONE_JOINT = 0.8  # cosine; welds between two pieces that close this nearly one way are of one joint
_ALIKE = 0.9998  # cosine of 1 degree; parts of a weld that close this nearly one way are one
_LONG = 2.0  # times its second side: a piece that has a length
_ASKEW = 0.1  # length of the difference of two normals below which they show no corner


@dataclass(frozen=True, eq=False)
class Shrunk:
    """What the welds of a job, or of one stage of it, do to the work; world frame, mm.

    Attributes:
        effect: of the welds that are run now; those of the stages before join, and draw no more.
        so_far: of these welds and those of the stages before together: what a cut length has to allow for.
        round: names of welds that run round to where they start and draw nothing one way more than another.
        unread: names of welds for which a wall could not be measured, or whose pieces are not named.
    """

    effect: Effect
    so_far: Effect
    round: tuple[str, ...]
    unread: tuple[str, ...]


def shrink_welds(job: Job) -> Shrunk:
    """The welds that a job runs, and those that stages before it ran, as they shrink.

    Sizes not given are those that the weld has by default, the thinner wall; a root gap counts where it was found
    between the pieces.
    """
    pieces = {body.name: body for body in job.pieces()}
    middles = {name: _middle(body) for name, body in pieces.items()}
    axes = {name: axis for name, body in pieces.items() if (axis := _long(body)) is not None}
    walls = _Walls(job, pieces)
    ways = _ways(job, [*job.done, *job.welds], middles)
    made: dict[str, ShrinkWeld] = {}
    unread: list[str] = []
    for weld in (*job.done, *job.welds):
        thickness = walls.of(weld) if set(weld.joins) <= set(pieces) else None
        way = ways.get(weld.name)
        if thickness is None:
            unread.append(weld.name)
        elif way is not None:
            found = job.found.welds.get(weld.name) if job.found is not None else None
            made[weld.name] = ShrinkWeld(
                name=weld.name,
                type=weld.type,
                joins=weld.joins,
                path=np.asarray(weld.path, dtype=np.float64),
                thickness=thickness,
                across=way,
                leg=weld.size,
                opening=found.root_gap if found is not None and weld.type == "butt" else 0.0,
                passes=weld.passes,
            )
    before = [made[weld.name] for weld in job.done if weld.name in made]
    now = [made[weld.name] for weld in job.welds if weld.name in made]
    here = {weld.name for weld in job.welds}
    return Shrunk(
        Effect([*(_left(weld, before) for weld in now), *_drawn(before, now)], middles, axes=axes),
        Effect([*before, *now], middles, axes=axes),
        tuple(weld.name for weld in job.welds if weld.name not in made and weld.name not in unread),
        tuple(name for name in unread if name in here),
    )


def _left(weld: ShrinkWeld, before: Sequence[ShrinkWeld]) -> ShrinkWeld:
    """The weld, told that its joint is drawn together already where an earlier stage ran a weld of it."""
    return replace(weld, drawn=any(_of_one_joint(weld, one) for one in before))


def _drawn(before: Sequence[ShrinkWeld], now: Sequence[ShrinkWeld]) -> list[ShrinkWeld]:
    """Welds of earlier stages, which hold the pieces together and do nothing more, but for joints welded again now."""
    return [replace(one, fraction=0.0) for one in before if not any(_of_one_joint(one, weld) for weld in now)]


def _of_one_joint(one: ShrinkWeld, other: ShrinkWeld) -> bool:
    return set(one.joins) == set(other.joins) and abs(float(one.way @ other.way)) > _ONE_JOINT


def _middle(body: Body) -> Array:
    """Of the box round a piece in its own frame, so that it turns with the work; world, (3,)."""
    low, high = body.shape.box
    middle: Array = frame.points(body.body_to_world, (np.asarray(low) + np.asarray(high)) / 2.0)
    return middle


def _long(body: Body) -> Array | None:
    """The way in which a piece is long, world, (3,) unit; None where it is not much longer than wide."""
    low, high = body.shape.box
    size = np.asarray(high) - np.asarray(low)
    longest = int(np.argmax(size))
    if float(size[longest]) < _LONG * float(np.sort(size)[1]):
        return None
    axis: Array = frame.directions(body.body_to_world, np.eye(3)[longest])
    return axis


def _ways(job: Job, welds: Sequence[Weld], middles: Mapping[str, Array]) -> dict[str, Array]:
    """For each weld the way in which its joint closes, (3,) unit; none for one whose parts cancel out.

    The faces at a flare have turned away from the joint: it closes as another weld of the same pieces does, if that
    is nearly its own way.
    """
    found = job.found.welds if job.found is not None else {}
    out: dict[str, Array] = {}
    for weld in welds:
        if set(weld.joins) <= set(middles):
            mitre = weld.name in found and not found[weld.name].through
            way = _across(weld, middles, mitre)
            if way is not None:
                out[weld.name] = way
    for weld in welds:
        if weld.type == "flare" and weld.name in out:
            same = [out[w.name] for w in welds if w.type != "flare" and w.joins == weld.joins and w.name in out]
            nearest = max(same, key=lambda way: float(way @ out[weld.name]), default=None)
            if nearest is not None and float(nearest @ out[weld.name]) > _ONE_JOINT:
                out[weld.name] = nearest
    return out


def _across(weld: Weld, middles: Mapping[str, Array], mitre: bool) -> Array | None:
    """The way in which the joint closes: that of most of the weld, or else the mean over its parts."""
    parts = np.diff(weld.path, axis=0)
    sizes = np.linalg.norm(parts, axis=1)
    sides = np.broadcast_to(np.asarray(weld.sides, dtype=np.float64), (len(parts), 2, 3))
    hint = middles[weld.joins[1]] - middles[weld.joins[0]]
    ways = np.zeros((len(parts), 3))
    for k, (part, size, (first, second)) in enumerate(zip(parts, sizes, sides, strict=True)):
        if weld.type == "fillet" and mitre and float(np.linalg.norm(first - second)) > _ASKEW:
            # In the inside corner of a mitre neither piece runs through: it closes as the mitre does.
            ways[k] = (first - second) / np.linalg.norm(first - second)
            continue
        try:
            ways[k] = across_joint(weld.type, (first, second), part / max(float(size), 1e-9), hint)
        except ValueError:
            continue
    mean: Array = sizes @ ways / max(float(sizes.sum()), 1e-9)
    length = float(np.linalg.norm(mean))
    if length < SHRINKING.one_way:
        return None
    # A corner's radius at the ends of a weld turns its faces, not the joint.
    alike = (ways @ ways.T > _ALIKE) @ sizes
    most = int(np.argmax(np.round(alike, 6)))
    chosen: Array = ways[most] if alike[most] > 0.5 * sizes.sum() else mean / length
    return chosen


class _Walls:
    """How thick the pieces are at a weld: by their stock and plate, or measured on the solid of a file."""

    def __init__(self, job: Job, bodies: Mapping[str, Body]) -> None:
        weldment = job.weldment
        self._pieces: dict[str, Piece] = {p.name: p for p in weldment.pieces} if weldment is not None else {}
        self._bodies = bodies
        self._surfaces: dict[str, Surface] = {}

    def of(self, weld: Weld) -> tuple[float, float] | None:
        """Of both pieces, mm; None where one is not known."""
        first, second = (self._known(name) for name in weld.joins)
        if first is None or second is None:
            measured = self._measured(weld)
            if measured is None:
                return None
            first, second = first or measured[0], second or measured[1]
        return first, second

    def _known(self, name: str) -> float | None:
        piece = self._pieces.get(name)
        if piece is None:
            return None
        if piece.section is not None:
            return piece.section.wall or min(piece.section.width, piece.section.height)
        return piece.plate.thickness if piece.plate is not None else None

    def _measured(self, weld: Weld) -> tuple[float, float] | None:
        """By rays beside the root, as for the default size of a found weld."""
        from fixture3d.welding.found import FoundWeld
        from fixture3d.welding.leg_size import walls_at

        one, other = (self._surface(name) for name in weld.joins)
        parts = np.diff(weld.path, axis=0)
        sides = np.broadcast_to(np.asarray(weld.sides, dtype=np.float64), (len(parts), 2, 3))
        middle = sides.sum(axis=1)
        # Faces that look at each other have no middle between them.
        size = np.linalg.norm(middle, axis=1, keepdims=True)
        middle = np.where(size > 0.1, middle / np.maximum(size, 0.1), sides[:, 0])
        cosine = float(np.clip(sides[0, 0] @ sides[0, 1], -1.0, 1.0))
        opening = 180.0 - float(np.rad2deg(np.arccos(cosine)))
        seen = FoundWeld(
            joins=weld.joins,
            type="fillet",
            opening=opening,
            openings=(opening, opening),
            length=weld.length,
            path=np.asarray(weld.path, dtype=np.float64),
            normals=sides,
            bisector=middle,
            root_gap=0.0,
            state="open",
        )
        walls = walls_at(seen, (one, other))
        return walls if np.isfinite(walls).all() else None

    def _surface(self, name: str) -> Surface:
        from fixture3d.welding.surface import Surface

        if name not in self._surfaces:
            body = self._bodies[name]
            mesh = body.shape.mesh
            corners = body.triangles
            square = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
            normals = square / np.maximum(np.linalg.norm(square, axis=1, keepdims=True), 1e-12)
            faces = np.asarray(mesh.faces, dtype=np.int64)
            nothing = np.zeros(len(faces), dtype=np.int64)
            # Rays need its triangles only.
            self._surfaces[name] = Surface(corners, normals, nothing, {}, {}, (), frozenset(), faces)
        return self._surfaces[name]
