"""Two jobs as a puzzle: which blocks are alike, which places are one, and what stands in whose way. Lengths in mm.

The work is off and clamps are open meanwhile. A block goes straight up from the plane that it stands on and comes down
the same way, dowels and bolts with it, or pulled first; a clamp on the table's edge goes level, away from the table.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from fixture3d import frame
from fixture3d.frame import Array
from fixture3d.job import Body, Job, Seat
from fixture3d.job.going_in import opened
from fixture3d.job.same_block import block_kind
from fixture3d.locating.leaving import Bodies
from fixture3d.part import NORMALS
from fixture3d.solid.itself import is_itself
from fixture3d.solid.relate import Placed
from fixture3d.swap.puzzle import Puzzle
from fixture3d.tolerance import SWAPPING

_Met = Callable[[Sequence[int], int, Array], set[int]]
_ROLES = ("block", "shim", "clamp")
_RATHER = 100.0  # mm of carrying that setting a block otherwise counts for
_NAMED = 1.0  # mm that another name counts for: of two that are as good the one of the same name goes


@dataclass(frozen=True, eq=False)
class Spot:
    """One place of one block in one of the two setups.

    Attributes:
        job: the setup.
        seat: the block in its place.
        at: middle of the block on the table, mm.
        top: its highest point, mm.
    """

    job: Job
    seat: Seat
    at: tuple[float, float]
    top: float

    @property
    def solids(self) -> list[Body]:
        """The block itself, without dowels and shims."""
        return [body for body in self.job.of_item(self.seat.name) if body.role in ("block", "clamp")]

    @property
    def hooked(self) -> bool:
        """It reaches under the plate through a slot: its way in and out is no straight one."""
        return self.seat.holds == "slot"


def marked(seat: Seat) -> str:
    """What is stamped on the very block that the scene wants there; empty where any of its kind will do."""
    return str(getattr(seat.place, "mark", None) or "")


def puzzle_of(before: Job, after: Job) -> tuple[Puzzle, tuple[Spot, ...]]:
    """The puzzle of two jobs on one table, and its spots: those of the first job, then those of the second.

    Raises:
        BadSolid: a block's solid is broken.
    """
    old = [_spot(before, seat) for seat in before.seats.values()]
    new = [_spot(after, seat) for seat in after.seats.values()]
    spots = (*old, *new)
    kinds = [block_kind(spot.seat) for spot in spots]
    first = len(old)
    wanted = {marked(spot.seat) for spot in new} - {""}
    pairs: dict[tuple[int, int], float] = {}
    still: dict[int, int] = {}
    anew: set[int] = set()
    for i, a in enumerate(old):
        for j, b in enumerate(new, start=first):
            mine, asked = marked(a.seat), marked(b.seat)
            if kinds[i] != kinds[j] or (asked and mine != asked) or (mine in wanted and mine != asked):
                continue
            pairs[i, j] = math.dist(a.at, b.at) + (0.0 if a.seat.name == b.seat.name else _NAMED)
            if i not in still and j not in still.values() and _same_place(a, b):
                still[i] = j
                if settings_differ(a.seat, b.seat):
                    anew.add(i)
                    pairs[i, j] += _RATHER
    blocks, hinders = _in_the_way(spots, first, still, anew)
    follows = frozenset(
        (i, j)
        for i, a in enumerate(old)
        for j, b in enumerate(new, start=first)
        if marked(a.seat) and marked(a.seat) == marked(b.seat)
    )
    return (
        Puzzle(
            old=tuple(kinds[:first]),
            new=tuple(kinds[first:]),
            pairs=pairs,
            still=still,
            anew=frozenset(anew),
            blocks=blocks,
            hinders=hinders,
            follows=follows,
        ),
        spots,
    )


def _spot(job: Job, seat: Seat) -> Spot:
    boxes = [body.box for body in job.of_item(seat.name) if body.role in ("block", "clamp")]
    low, high = np.min([b[0] for b in boxes], axis=0), np.max([b[1] for b in boxes], axis=0)
    x, y = ((low + high) / 2.0)[:2]
    return Spot(job, seat, (float(x), float(y)), float(high[2]))


def _same_place(a: Spot, b: Spot) -> bool:
    """Whether a block need not be lifted from the one place to stand in the other, but at most be set otherwise."""
    one, two = a.seat, b.seat
    if one.holds != two.holds or _blind_dowels_differ(one, two):
        return False
    here, there = one.model_to_world, two.model_to_world
    if float(np.abs(here[:3, 3] - there[:3, 3]).max()) <= SWAPPING.same and (
        float(np.abs(here[:3, :3] - there[:3, :3]).max()) <= math.radians(SWAPPING.same)
    ):
        return True
    return abs(one.slide - two.slide) <= SWAPPING.same and _looks_the_same(a, b)


def _looks_the_same(a: Spot, b: Spot) -> bool:
    """Whether a block turned about its middle, by half or however, is seen to stand as before."""
    if math.dist(a.at, b.at) > SWAPPING.same or abs(a.top - b.top) > SWAPPING.same:
        return False
    pairs = zip(a.solids, b.solids, strict=True)
    return all(
        is_itself(frame.chain(frame.inverse(mine.body_to_world), other.body_to_world), mine.shape)
        for mine, other in pairs
    )


def _dowels(seat: Seat) -> dict[str, bool]:
    """Where its loose dowels stand, and whether their bores go through the block, so that they can be pulled."""
    return {
        _at(pin.at): pin.pin.depth >= _thickness(seat) - SWAPPING.same
        for pin in seat.pins
        if pin.state == "seated" and not pin.pin.integral and pin is not seat.bolt
    }


def _thickness(seat: Seat) -> float:
    """Of the block, along the face that is down."""
    low, high = seat.part.box()
    axis = int(np.argmax(np.abs(NORMALS[seat.face])))
    return high[axis] - low[axis]


def _at(point: Array) -> str:
    return ",".join(f"{round(float(v)):d}" for v in point)


def _blind_dowels_differ(one: Seat, two: Seat) -> bool:
    here, there = _dowels(one), _dowels(two)
    return any(not here.get(key, True) or not there.get(key, True) for key in here.keys() ^ there.keys())


def pad_shims(seat: Seat) -> list[tuple[str, tuple[float, ...]]]:
    """Shims on its pads, by pad; those under its seat lift it and belong to its place."""
    found = [(shim.pad, tuple(round(by, 6) for by in shim.by)) for shim in seat.place.shims if shim.pad != "seat"]
    return sorted(found)


def settings_differ(one: Seat, two: Seat) -> bool:
    """Whether a block that stays must be set otherwise: its move, the shims on its pads, its dowels or its bolt."""
    bolts = [None if seat.bolt is None else _at(seat.bolt.at) for seat in (one, two)]
    return (
        abs(one.slide - two.slide) > SWAPPING.same
        or pad_shims(one) != pad_shims(two)
        or _dowels(one).keys() != _dowels(two).keys()
        or bolts[0] != bolts[1]
    )


def _in_the_way(
    spots: Sequence[Spot], first: int, still: dict[int, int], anew: set[int]
) -> tuple[frozenset[tuple[int, int]], dict[int, frozenset[int]]]:
    """What stands in whose way up and down, and in the way of what is set otherwise."""
    placed: list[Placed] = []
    owner: list[int] = []
    own: dict[int, list[int]] = {}
    bodies: dict[int, list[Body]] = {}
    same = {j: i for i, j in still.items() if i not in anew}  # one place, one set of solids
    for k, spot in enumerate(spots):
        if k in same:
            continue
        bodies[k] = [body for body in spot.job.of_item(spot.seat.name) if body.role in _ROLES]
        own[k] = list(range(len(placed), len(placed) + len(bodies[k])))
        placed += [Placed(f"{k} {body.name}", body.shape, opened(body)) for body in bodies[k]]
        owner += [k] * len(bodies[k])
    scene = Bodies(placed)

    def met(moves: Sequence[int], k: int, way: Array) -> set[int]:
        others = [n for n in range(len(owner)) if owner[n] != k]
        return {owner[n] for n in scene.stops(moves, others, np.ascontiguousarray(way + 0.0))}

    names = {k: {k} for k in own}
    for j, i in same.items():
        names[i].add(j)
    blocks: set[tuple[int, int]] = set()
    for k in own:
        blocks |= {(a, b) for other in _ways_met(spots[k], own[k], k, met) for a in names[k] for b in names[other]}
    blocks |= {
        (a, b)
        for carrier, carried in _carried(spots, first)
        for a in names[same.get(carrier, carrier)]
        for b in names[same.get(carried, carried)]
    }
    blocks |= {(a, b) for i, j in still.items() for a, b in ((i, j), (j, i))}
    hinders = {}
    for i in sorted(anew):
        found = _set_met(spots[i], spots[still[i]], (own[i], own[still[i]]), (bodies[i], bodies[still[i]]), i, met)
        hinders[i] = frozenset(one for other in found for one in names[other]) - {i, still[i]}
    return frozenset(blocks), hinders


def _carried(spots: Sequence[Spot], first: int) -> Iterator[tuple[int, int]]:
    """Each block that carries another and that other one, which on an upright face is not met on the way up."""
    number = {(k < first, spot.seat.name): k for k, spot in enumerate(spots)}
    for k, spot in enumerate(spots):
        carrier = number.get((k < first, spot.seat.stands_on)) if spot.seat.stacked else None
        if carrier is not None:
            yield carrier, k


def _ways_met(spot: Spot, own: Sequence[int], k: int, met: _Met) -> set[int]:
    """What is in the way of a block as it goes or comes."""
    seat = spot.seat
    if spot.hooked:  # no straight way: only what stands in its very place, which is met both ways
        up = seat.plane_to_world[:3, 2]
        return met(own, k, up) & met(own, k, -up)
    if seat.holds == "edge":
        return met(own, k, -seat.model_to_world[:3, 0])
    return met(own, k, seat.plane_to_world[:3, 2])


def _set_met(
    old: Spot, new: Spot, own: tuple[list[int], list[int]], bodies: tuple[list[Body], list[Body]], k: int, met: _Met
) -> set[int]:
    """What is in the way of setting a block otherwise in its place.

    What lies between two settings is met from the one going out and from the other going back; so is, now and then,
    what reaches round both, which is on the safe side.
    """
    found: set[int] = set()
    far = new.seat.slide - old.seat.slide
    move = old.seat.part.move()
    if move is not None and abs(far) > SWAPPING.same:
        axis = frame.directions(old.seat.model_to_world, move.axis) * math.copysign(1.0, far)
        out, back = (_moving(one, mine, body) for one, mine, body in zip((old, new), own, bodies, strict=True))
        found |= met(out, k, axis) & met(back, k, -axis)
    up = old.seat.plane_to_world[:3, 2]
    shims = [n for n, body in zip(own[1], bodies[1], strict=True) if body.role == "shim"]
    if pad_shims(old.seat) != pad_shims(new.seat) and shims:
        found |= met(shims, k, up) & met(shims, k, -up)
    return found


def _moving(spot: Spot, own: Sequence[int], bodies: Sequence[Body]) -> list[int]:
    """Those bodies of a block that go with its move, and its shims."""
    seat = spot.seat
    names = {f"{seat.name} {body.name}".strip() for body in seat.part.bodies() if body.moves}
    return [n for n, body in zip(own, bodies, strict=True) if body.name in names or body.role == "shim"]
