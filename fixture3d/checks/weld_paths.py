"""Whether the path of a weld lies on the pieces that it joins, and suits its technique."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Sequence
from typing import Final

import numpy as np

from fixture3d import frame
from fixture3d.access.torch import Technique
from fixture3d.access.welds import Weld
from fixture3d.checks.base import Finding, Point, neat, point
from fixture3d.checks.torch_question import middles
from fixture3d.frame import Array
from fixture3d.job import Body, Job
from fixture3d.job.weldplace import place_in_words, round_corner
from fixture3d.solid.bvh import point_triangle, winding
from fixture3d.tolerance import JOINTS, NUMERIC

OFF_WORK: Final = 0.5  # mm; a root gap that is still a joint
_NEAR: Final = 5.0  # mm; distances up to this are found among the triangles round the weld alone
_MOST: Final = 100_000  # pairs of point and triangle that are looked at in one go

Make = Callable[..., Finding]


def suits(weld: Weld, technique: Technique, make: Make) -> Iterator[Finding]:
    """A technique whose work angle is far from the middle of the joint."""
    path = np.asarray(weld.path)
    nominal, allowed = technique.work
    # Along a saddle the opening changes.
    offs = [(abs(nominal - middle), k) for middle, _, k in middles(weld)]
    away, worst = max(offs, key=lambda off: (round(off[0], 6), -off[1]))
    if away > allowed + NUMERIC.angle:
        yield make(
            "technique-angle",
            [weld.name],
            f'the work angle of "{technique.name}" is far from the middle of the joint of {weld.name}',
            measured=neat(away),
            limit=allowed,
            unit="deg",
            at=point((path[worst] + path[worst + 1]) / 2.0),
            remedy="name a technique with a work angle nearer to the middle of the joint",
        )


def runs_past(job: Job, weld: Weld, points: Array, make: Make) -> Iterator[Finding]:
    """An end of a path that runs past a piece, or over its round corner; points (k, 3) lie along the path.

    Its faces were found, so most of it lies on the work.
    """
    gap, at, piece = _worst_gap(job, weld, points)
    if gap > OFF_WORK:
        yield make(
            "weld-off-work",
            [weld.name, piece],
            f"the path of {weld.name} does not lie on {piece} all the way",
            level="warn",
            measured=neat(gap),
            limit=OFF_WORK,
            unit="mm",
            at=at,
            remedy=f"end the path where {piece} ends, or move {piece}: {_nearest(job, piece, at)}",
        )


def _worst_gap(job: Job, weld: Weld, points: Array) -> tuple[float, Point | None, str]:
    """The largest distance of the weld's points from one of its pieces, where, and which piece."""
    worst: tuple[float, Point | None, str] = (0.0, None, "")
    for body in job.pieces():
        if body.name in weld.joins:
            gaps = _distances(points, body)
            at = int(gaps.argmax())
            if gaps[at] > worst[0]:
                worst = (float(gaps[at]), point(points[at]), body.name)
    return worst


def buried(job: Job, weld: Weld, points: Array, on: Collection[str], make: Make) -> Iterator[Finding]:
    """A path, or part of it, in the material of a piece, a block or a clamp, whoever the weld belongs to.

    Args:
        job: the setup.
        weld: one of its welds.
        points: (k, 3) along its path.
        on: names of the bodies on whose faces the path was found, so that it does not lie in them.
        make: makes the finding.
    """
    limit = JOINTS.flush
    for body in job.bodies:
        if body.role == "sweep" or body.name in on:
            continue
        low, high = body.box[0] + limit, body.box[1] - limit
        near = np.flatnonzero(((points >= low) & (points <= high)).all(axis=1))
        if not len(near):
            continue
        triangles = body.triangles
        depths = _least(points[near], triangles)
        deep = np.flatnonzero(depths > limit)
        deep = deep[np.abs(winding(points[near[deep]], triangles)) > 0.5]
        if not len(deep):
            continue
        worst = int(deep[depths[deep].argmax()])
        spot = points[near[worst]]
        piece = any(body is one for one in job.pieces())
        mend = f"move {body.item}, or correct the path"
        if piece:
            mend = f"correct the path so that it runs along the root, on a face: {_nearest(job, body.name, spot)}"
        part = "part of " if len(deep) < len(points) else ""
        yield make(
            "weld-off-work",
            [weld.name, body.name],
            f"{part}the path of {weld.name} lies inside {body.name}",
            level="warn" if part else "fail",
            measured=neat(depths[worst]),
            limit=limit,
            unit="mm",
            at=point(spot),
            remedy=mend,
        )


def off_work(job: Job, name: str, why: str, make: Make) -> Finding:
    """A weld whose faces could not be read: with the figure by which it misses a piece, if that is the fault."""
    declared = next(weld for weld in job.scene.welds if weld.name == name)
    to_world = job.weldment.weldment_to_world if job.weldment is not None else frame.identity()
    path = frame.points(to_world, declared.path or ((0.0, 0.0, 0.0), (0.0, 0.0, 0.0)))
    middles = (path[:-1] + path[1:]) / 2.0
    worst: tuple[float, Array, str] = (0.0, middles[0], "")
    for body in job.pieces():
        if body.name in (declared.joins or ()):
            gaps = _distances(middles, body)
            at = int(gaps.argmax())
            if gaps[at] > worst[0]:
                worst = (float(gaps[at]), middles[at], body.name)
    gap, spot, piece = worst
    off = gap > OFF_WORK
    where = _nearest(job, piece, spot) if off else _round(job, declared.joins or (), spot)
    return make(
        "weld-off-work",
        [name, *([piece] if off else declared.joins or ())],
        f"the path of {name} does not lie on {piece}" if off else f"{name}: {why}",
        measured=neat(gap) if off else None,
        limit=OFF_WORK if off else None,
        unit="mm" if off else "",
        at=point(spot),
        remedy="correct the path so that it runs along the root, where the two pieces meet"
        + (f": {where}" if where else ""),
    )


def _distances(points: Array, body: Body) -> Array:
    """Distances (k,) of points (k, 3) from a body's surface; near ones from the few triangles that can matter."""
    triangles = body.triangles
    low, high = triangles.min(axis=1), triangles.max(axis=1)
    near = ((low <= points.max(axis=0) + _NEAR) & (high >= points.min(axis=0) - _NEAR)).all(axis=1)
    out = _least(points, triangles[near])
    far = np.flatnonzero(out > _NEAR)
    out[far] = _least(points[far], triangles)
    return out


def _least(points: Array, triangles: Array) -> Array:
    """Distance (k,) of each of the points (k, 3) from the nearest of the triangles; infinite when there are none."""
    out = np.full(len(points), np.inf)
    if not len(triangles):
        return out
    step = max(1, _MOST // len(triangles))
    for first in range(0, len(points), step):
        some = points[first : first + step]
        each = point_triangle(np.repeat(some, len(triangles), axis=0), np.tile(triangles, (len(some), 1, 1)))
        out[first : first + step] = each.reshape(len(some), -1).min(axis=1)
    return out


def _nearest(job: Job, piece: str, spot: Array | Point | None) -> str:
    """The nearest point of a piece, as a path has it, and why it is not at the spot."""
    body = next((b for b in job.pieces() if b.name == piece), None)
    return "" if body is None or spot is None else place_in_words(job, body, np.asarray(spot, dtype=np.float64))


def _round(job: Job, joins: Sequence[str], spot: Array) -> str:
    """The first of the pieces that is round where the path is, in words."""
    return next((_nearest(job, name, spot) for name in joins if round_corner(job, name, spot) is not None), "")
