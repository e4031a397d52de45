"""The order in which the pieces of a job go in and its clamps are shut. Lengths in mm."""

from __future__ import annotations

import dataclasses
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np

from fixture3d.frame import Array, identity
from fixture3d.job import Body, Job
from fixture3d.job.loose import Loose, loose_pieces
from fixture3d.job.table_body import plates, relate_stored
from fixture3d.locating.leaving import placed_bodies
from fixture3d.locating.lie import Lie
from fixture3d.locating.order_in import ClampBodies, Order, Step, order_in
from fixture3d.solid.mesh import Mesh
from fixture3d.solid.relate import Placed, relate_all
from fixture3d.solid.shape import Shape
from fixture3d.tolerance import LEAVING

__all__ = [
    "GoesIn",
    "Loading",
    "StaysOut",
    "going_in",
    "order_of",
    "plate_bodies",
    "standing_about",
    "sunk_pairs",
    "three",
    "towards",
    "way_in",
]

Triple = tuple[float, float, float]

_ALONG = float(np.cos(np.deg2rad(5.0)))  # as ways are called elsewhere
_LEVEL = 0.1  # vertical part of a direction that still is level
_BESIDE = float(np.sin(np.deg2rad(5.0)))  # share of an axis below which a direction is not said to go along it


@dataclass(frozen=True, kw_only=True)
class GoesIn:
    """One thing done as the setup is loaded.

    Attributes:
        what: "put in" or "shut".
        name: of the piece, of the first of several that are one, or of the clamp.
        direction: (3,) unit, the way the piece moves as it goes in; None for a clamp.
        words: that way as at the table; "shut" for a clamp.
        after: pieces that must be in before.
    """

    what: str
    name: str
    direction: Triple | None
    words: str
    after: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class StaysOut:
    """A piece that does not go in along a straight way in any order.

    Attributes:
        name: which.
        direction: (3,) unit, the way in along which it meets the fewest bodies; None when it is only lain on.
        words: that way as at the table.
        by: names of what it meets there.
    """

    name: str
    direction: Triple | None
    words: str
    by: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class Loading:
    """How a setup is loaded.

    Attributes:
        steps: in their order, from the empty table with open clamps on.
        out: pieces that no order was found for, in file order.
        tried_all: False when orders of opening clamps were left untried.
    """

    steps: tuple[GoesIn, ...] = ()
    out: tuple[StaysOut, ...] = ()
    tried_all: bool = True

    @classmethod
    def of(cls, data: Mapping[str, Any]) -> Loading:
        """From what `dataclasses.asdict` makes of it, lists in place of tuples.

        Raises:
            KeyError: an entry is not there.
            TypeError: likewise.
        """

        def row(one: Mapping[str, Any], *lists: str) -> dict[str, Any]:
            way = one["direction"]
            return {**one, "direction": None if way is None else tuple(way), **{key: tuple(one[key]) for key in lists}}

        return cls(
            steps=tuple(GoesIn(**row(one, "after")) for one in data["steps"]),
            out=tuple(StaysOut(**row(one, "by")) for one in data["out"]),
            tried_all=bool(data["tried_all"]),
        )


def going_in(job: Job, order: Order, lies: Mapping[str, Lie]) -> Loading:
    """An order as plain data, its ways in words.

    Args:
        job: the setup.
        order: from `order_of`.
        lies: each piece's own frame.
    """
    names = {one.name for one in loose_pieces(job)}

    def step(one: Step) -> GoesIn:
        if one.direction is None:
            return GoesIn(what=one.what, name=one.name, direction=None, words="shut", after=one.after)
        words = way_in(one.direction, lies[one.name])
        return GoesIn(what=one.what, name=one.name, direction=three(one.direction), words=words, after=one.after)

    out = []
    for held in order.held:
        if held.name in names:
            way = None if held.direction is None else -held.direction
            words = "" if way is None else way_in(way, lies[held.name])
            direction = None if way is None else three(way)
            out.append(StaysOut(name=held.name, direction=direction, words=words, by=held.by))
    return Loading(steps=tuple(step(one) for one in order.steps), out=tuple(out), tried_all=order.tried_all)


def order_of(
    job: Job,
    wanted: Sequence[Loose],
    rests: Mapping[str, Collection[str]],
    without: Collection[str] = (),
) -> Order:
    """An order of loading: first with every clamp open until all is in; where that fails, clamps shut in between.

    Bodies that reach into a piece say nothing about its way in and are left out for it: that is interference.

    Args:
        job: the setup.
        wanted: what goes in, in the order that is kept to where it can be.
        rests: for a piece, the pieces that carry it.
        without: blocks and clamps that are not there yet.
    """
    pieces = [body for one in wanted for body in one.placed]
    names = {one.name for one in wanted}
    fixed = [*standing_about(job, without, clamps=False), *plate_bodies(job)]
    clamps = [c for c in clamp_bodies(job, wanted) if c.name not in without]
    ajar = [body for clamp in clamps for body in placed_bodies(clamp.open, clamp.name)]
    lain = {name: [on for on in by if on in names] for name, by in rests.items() if name in names}
    found = order_in(pieces, [*fixed, *ajar], rests=lain)
    if found.found:
        return _shut(found, clamps)
    sunk = sunk_pairs(job, wanted)
    if any(held.name in pair for held in found.held for pair in sunk):
        again = order_in(pieces, [*fixed, *ajar], rests=lain, sunk=sunk)
        if again.found:
            return _shut(again, clamps)
        found = again
    if not any(set(held.by) & {clamp.name for clamp in clamps} for held in found.held):
        return _shut(found, clamps)  # shut they are no less in the way
    other = order_in(pieces, fixed, clamps, rests=lain, sunk=sunk)
    return other if len(other.held) < len(found.held) else _shut(found, clamps)


def _shut(order: Order, clamps: Sequence[ClampBodies]) -> Order:
    shut = [Step("shut", clamp.name, None, after=clamp.presses) for clamp in clamps] if order.found else []
    return dataclasses.replace(order, steps=(*order.steps, *shut))


def standing_about(
    job: Job, without: Collection[str] = (), clamps: bool = True, roles: Collection[str] = ("block", "shim")
) -> list[Placed]:
    """Blocks with their shims, and the clamps as they stand open, each body under its item's name."""
    return [
        Placed(body.item, body.shape, opened(body))
        for body in job.bodies
        if (body.role in roles or (clamps and body.role == "clamp")) and body.item not in without
    ]


def plate_bodies(job: Job) -> list[Placed]:
    """The table and other plates without their holes: nothing of the work goes out through one."""
    out = []
    taken = {body.item for body in job.bodies}
    for plate in plates(job.table):
        name = plate.name if plate.name not in taken else f"{plate.name} (plate)"
        vertices, faces = plate.box()
        out.append(Placed(name, _plate_shape(vertices.tobytes(), faces.tobytes()), identity()))
    return out


@cache
def _plate_shape(vertices: bytes, faces: bytes) -> Shape:
    corners = np.frombuffer(vertices, dtype=np.float64).reshape(-1, 3)
    turns = np.frombuffer(faces, dtype=np.int64).reshape(-1, 3).astype(np.int32)
    return Shape.of(Mesh(corners, turns, planar=True, chord=0.0))


def clamp_bodies(job: Job, wanted: Sequence[Loose]) -> list[ClampBodies]:
    """Every clamp shut and open. What it sweeps is judged where all pieces lie in place, so it always opens here."""
    of = {name: one.name for one in wanted for name in one.pieces}
    out = []
    for seat in job.seats.values():
        bodies = [body for body in job.of_item(seat.name) if body.role == "clamp"]
        if not seat.clamp or not bodies:
            continue
        presses = of.get(getattr(seat.place, "presses", None) or "")
        out.append(
            ClampBodies(
                seat.name,
                shut=[Placed(seat.name, body.shape, body.body_to_world) for body in bodies],
                open=[Placed(seat.name, body.shape, opened(body)) for body in bodies],
                presses=() if presses is None else (presses,),
            )
        )
    return out


def opened(body: Body) -> Array:
    """Where a body is when every clamp is open, (4, 4)."""
    return body.body_to_world if body.open_to_world is None else body.open_to_world


def sunk_pairs(job: Job, wanted: Sequence[Loose]) -> frozenset[frozenset[str]]:
    """Pieces and what reaches into them by more than touching can, by name: block, clamp, plate or other piece.

    A clamp that is drawn into the work is not among them: it is open then.
    """
    of = {name: one.name for one in wanted for name in one.pieces}
    owner = {body.name: of.get(body.name, body.item) for body in job.bodies}
    solids = [body for body in job.bodies if body.role in ("block", "shim") or body.name in of]
    placed = [Placed(body.name, body.shape, body.body_to_world) for body in solids]

    def skip(a: str, b: str) -> bool:
        return (a not in of and b not in of) or owner[a] == owner[b]

    found = {
        frozenset((owner[a], owner[b]))
        for a, b, relation in relate_all(placed, skip=skip, store=job.store)
        if relation.kind == "overlapping" and relation.depth > LEAVING.sunk
    }
    under = dict(zip((plate.name for plate in plates(job.table)), plate_bodies(job), strict=True))
    for plate in plates(job.table):
        for body in solids:
            if body.name in of:
                on = relate_stored(plate, body.shape, body.body_to_world, job.store)
                if on is not None and on.kind == "overlapping" and on.depth > LEAVING.sunk:
                    found.add(frozenset((of[body.name], under[plate.name].name)))
    return frozenset(found)


def way_in(way: Array, lie: Lie | None) -> str:
    """A way in as at the table: "from above", "slid in along its length (+X)"; without ``lie`` nothing of a length."""
    sign, up = towards(way), float(way[2])
    if up <= -_ALONG:
        return "from above"
    if up >= _ALONG:
        return "from below"
    if abs(up) > _LEVEL:
        return f"at a slant from {'above' if up < 0.0 else 'below'} ({sign})"
    if lie is None:
        return f"slid in level ({sign})"
    along = lie.long and abs(float(way @ lie.axes[0])) >= _ALONG
    return f"slid in {'along its length' if along else 'sideways' if lie.long else 'level'} ({sign})"


def towards(way: Array) -> str:
    """The level part of a direction by the axes that it goes along most: "+X", "+X and -Y"."""
    flat = np.array([float(way[0]), float(way[1])])
    size = max(float(np.linalg.norm(flat)), 1e-9)
    return " and ".join(f"{'+' if v > 0.0 else '-'}{'XY'[k]}" for k, v in enumerate(flat / size) if abs(v) > _BESIDE)


def three(way: Array) -> Triple:
    """A vector as plain numbers."""
    x, y, z = (round(float(v), 9) + 0.0 for v in way)
    return x, y, z
