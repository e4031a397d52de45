"""Whether a setup in which one block was changed still stands, holds and is clear: for remedies that are tried.

Only what was changed is looked at again, and only what is worse than before counts: a remedy for one finding need not
mend the others.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, field

import numpy as np

from fixture3d.checks.finished_beads import bead_hits
from fixture3d.checks.opening import open_hits
from fixture3d.checks.seat_remedies import LEAST_OVERHANG, has_nut, with_it
from fixture3d.frame import Array
from fixture3d.job import Body, Job, Seat, seat
from fixture3d.job.clamping import placed_tip, way_to_point, way_to_support
from fixture3d.job.contact import contact_sizes, stops_ahead, touching_pads
from fixture3d.job.inventory import shortages
from fixture3d.job.keepout import bead_distance
from fixture3d.job.resolve import dowel_fit
from fixture3d.job.support import round_about_pin, support
from fixture3d.job.table_body import Plate, plates, relate_stored
from fixture3d.solid.relate import Placed, plainly_overlap, relate_all
from fixture3d.tolerance import NUMERIC, SHOP

_SAME = 0.999  # cosine; a face looks the same way as before
_KEPT = 0.5  # of what lies on a block now: with less of a piece on it, it holds and locates it worse than was meant


@dataclass(frozen=True, kw_only=True)
class _Meets:
    """What some items meet.

    Attributes:
        depths: name of a body, and of the body, plate, bead or open clamp that it is in: how deep, mm.
        pieces: item and piece that touch.
        rooms: item and weld whose bead wants more room: the distance, mm.
    """

    depths: Mapping[tuple[str, str], float]
    pieces: frozenset[tuple[str, str]]
    rooms: Mapping[tuple[str, str], float]


@dataclass
class Trial:
    """A setup, against which changed ones are held.

    Attributes:
        job: the setup.
    """

    job: Job
    _plates: tuple[Plate, ...] = field(init=False)
    _met: dict[frozenset[str], _Meets] = field(default_factory=dict)
    _touch: dict[frozenset[str], tuple[tuple[str, Array], ...]] = field(default_factory=dict)
    _sizes: dict[frozenset[str], dict[tuple[str, str], float]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self._plates = plates(self.job.table)

    def stands(self, after: Job, name: str) -> bool:
        """Whether the setup with one block changed is no worse than this one.

        The block and all that is stacked on it must stand in open holes of their own with the dowels that they have
        now, lie on something, run into nothing new, leave the beads their room, and touch every face of the work that
        they touch now from the same side and with half of what lies on them or more, so that what they locate stays
        located. None may come to stop short of a piece. Clamps must press where they do.

        Args:
            after: the changed setup.
            name: of the block or clamp that was changed.
        """
        return self.holds(after, name) and self.clear(after, name)

    def holds(self, after: Job, name: str) -> bool:
        """The part of ``stands`` that compares no solids: seats, clamps, inventory, faces that locate the work."""
        if not self.seated(after, name):
            return False
        moving = frozenset(with_it(self.job, name))
        if not all(_presses(self.job, after, clamp) for clamp in after.seats.values() if _concerns(clamp, moving)):
            return False
        if after.seats[name].part != self.job.seats[name].part and self._short(after) > self._short(self.job):
            return False
        faces = tuple(_faces(after, moving))
        return all(_among(face, faces) for face in self._faces_now(moving)) and self._keeps(after, moving)

    def _keeps(self, after: Job, moving: frozenset[str]) -> bool:
        """Whether at least half of what lies on each block now still does."""
        if moving not in self._sizes:
            self._sizes[moving] = contact_sizes(self.job, moving)
        now = self._sizes[moving]
        then = contact_sizes(after, moving) if now else {}
        return all(then.get(pair, 0.0) >= _KEPT * size - NUMERIC.merge for pair, size in now.items())

    def clear(self, after: Job, name: str) -> bool:
        """The part of ``stands`` that compares solids: it runs into nothing new, and touches all that it touched."""
        moving = frozenset(with_it(self.job, name))
        before = self.meets(moving)
        # The first that is new ends it: nothing else is compared any more.
        if any(depth > before.depths.get(pair, -np.inf) + SHOP.contact for pair, depth in self._depths(after, moving)):
            return False
        touched = self._touched(after, moving)
        if not before.pieces <= touched or self._stops_short(after, moving, touched):
            return False
        rooms = _rooms(after, [body for body in after.bodies if body.item in moving])
        return not any(far < before.rooms.get(pair, np.inf) - SHOP.contact for pair, far in rooms.items())

    def _stops_short(self, after: Job, moving: frozenset[str], touched: frozenset[tuple[str, str]]) -> bool:
        """Whether a block that touches no piece comes to face one nearby, as a stop too far off does."""
        carriers = {seat.stands_on for seat in after.seats.values() if seat.stacked}
        for name in sorted(moving - carriers - {item for item, _ in touched}):
            if not after.seats[name].clamp and stops_ahead(after, name) and not stops_ahead(self.job, name):
                return True
        return False

    def takes(self, after: Job, name: str) -> bool:
        """Whether a block that is new stands in open holes of its own, on something, and runs into nothing.

        Args:
            after: the setup with it.
            name: of the new block.
        """
        item = after.seats[name]
        open_ = item.complaint == "" and not any(p.state in ("off", "off table", "blocked") for p in item.pins)
        if not open_ or set(item.holes) & _used(after, name) or not _held(after, item):
            return False
        found = support(after, item)
        if found is None or found.gap > SHOP.contact or found.on.area <= 0.0 or found.out > LEAST_OVERHANG:
            return False
        moving = frozenset({name})
        near = self._near(after, list(after.of_item(name)), moving)
        if any(plainly_overlap(_placed(mine), _placed(other)) for mine, other in near):  # saves asking how deep
            return False
        if any(depth > SHOP.contact for _, depth in self._depths(after, moving)):
            return False
        return not _rooms(after, list(after.of_item(name)))

    def seated(self, after: Job, name: str) -> bool:
        """Whether the block that was changed, and all that is stacked on it, stand as well as now: the quick part."""
        return all(_seated(self.job, after, item) for item in sorted(with_it(self.job, name)))

    def _short(self, job: Job) -> int:
        """Blocks that the inventory lacks."""
        return sum(short.needed - short.owned for short in shortages(job))

    def carries(self, name: str) -> bool:
        """Whether a piece of the work lies against a block."""
        return bool(self.meets(frozenset({name})).pieces)

    def meets(self, moving: frozenset[str]) -> _Meets:
        """What some items meet as the setup is now."""
        if moving not in self._met:
            self._met[moving] = self._meets(self.job, moving)
        return self._met[moving]

    def _faces_now(self, moving: frozenset[str]) -> tuple[tuple[str, Array], ...]:
        """Every piece that a pad of some items touches as the setup is now, with the way that the pad looks."""
        if moving not in self._touch:
            self._touch[moving] = tuple(_faces(self.job, moving))
        return self._touch[moving]

    def _meets(self, job: Job, moving: frozenset[str]) -> _Meets:
        own = [body for body in job.bodies if body.item in moving]
        return _Meets(
            depths=dict(self._depths(job, moving)),
            pieces=self._touched(job, moving),
            rooms=_rooms(job, own),
        )

    def _touched(self, job: Job, moving: frozenset[str]) -> frozenset[tuple[str, str]]:
        """Item and piece that touch or overlap."""
        own = [body for body in job.bodies if body.item in moving]
        return frozenset(
            (a.item, b.name)
            for a, b, _, _ in self._pairs(job, own, moving, ("piece",))
            if b.role == "piece" and a.role != "sweep"
        )

    def _depths(self, job: Job, moving: frozenset[str]) -> Iterator[tuple[tuple[str, str], float]]:
        """What some items run into, and how deep, mm: as they stand, then open clamps, plates and beads."""
        own = [body for body in job.bodies if body.item in moving]
        for a, b, kind, depth in self._pairs(job, own, moving):
            if kind == "overlapping":
                yield (a.name, b.name), depth
        for body in own:
            for plate in self._plates:
                stands_in = _stands_in(job, body) == plate.name
                found = None if stands_in else relate_stored(plate, body.shape, body.body_to_world, job.store)
                if found is not None and found.kind == "overlapping":
                    yield (body.name, plate.name), found.depth
        for met in bead_hits(job, self._plates) if job.done else ():
            if isinstance(met.other, Body) and met.other.item in moving:
                yield (met.other.name, met.bead.name), met.depth
        for hit in open_hits(job, self._plates, moving):
            yield (f"{hit.body.name}, open", hit.other), hit.depth

    def _pairs(
        self, job: Job, own: list[Body], moving: frozenset[str], roles: Collection[str] = ()
    ) -> Iterator[tuple[Body, Body, str, float]]:
        """Touching and overlapping pairs of a body that moves and one near it that does not; of some roles, or all."""
        for mine, other in self._near(job, own, moving, roles):
            for _, _, found in relate_all(
                [_placed(mine), _placed(other)], reach=0.0, store=job.store, want_way_out=False
            ):
                if found.kind != "clear":
                    yield mine, other, found.kind, found.depth

    def _near(
        self, job: Job, own: list[Body], moving: frozenset[str], roles: Collection[str] = ()
    ) -> Iterator[tuple[Body, Body]]:
        """Pairs of a body that moves and one that does not, whose boxes meet and which are compared."""
        for mine in own:
            low, high = mine.box[0] - SHOP.contact, mine.box[1] + SHOP.contact
            for other in job.bodies:
                if other.item in moving or (roles and other.role not in roles) or skipped(job, mine, other):
                    continue
                if not ((other.box[0] > high).any() or (other.box[1] < low).any()):
                    yield mine, other


def _placed(body: Body) -> Placed:
    return Placed(body.name, body.shape, body.body_to_world)


def skipped(job: Job, a: Body, b: Body) -> bool:
    """Whether two bodies are not compared: made to fit, or both only swept."""
    if a.item == b.item or (a.role == "sweep" and b.role == "sweep"):
        return True
    return any(
        one.role == "pin"
        and one.item in job.seats
        and job.seats[one.item].stacked
        and job.seats[one.item].stands_on == other.item
        for one, other in ((a, b), (b, a))
    )


def _stands_in(job: Job, body: Body) -> str | None:
    """The plate in whose hole a dowel stands."""
    item = job.seats.get(body.item)
    return None if body.role != "pin" or item is None or item.stacked else item.stands_on or "table"


def _faces(job: Job, moving: frozenset[str]) -> Iterator[tuple[str, Array]]:
    """Every piece that a pad of these items touches, with the way that the pad looks."""
    pads = {(pad.item, pad.pad.name): pad.normal for pad in job.pads() if pad.item in moving}
    alone = dataclasses.replace(job, seats={name: job.seats[name] for name in moving}, bodies=job.pieces())
    for touch in touching_pads(alone):
        yield touch.piece, pads[touch.item, touch.pad]


def _among(face: tuple[str, Array], faces: tuple[tuple[str, Array], ...]) -> bool:
    return any(piece == face[0] and float(way @ face[1]) >= _SAME for piece, way in faces)


def _rooms(job: Job, own: list[Body]) -> dict[tuple[str, str], float]:
    """Distance of these bodies' items from the beads that they crowd."""
    out: dict[tuple[str, str], float] = {}
    limit = SHOP.bead_keep_out
    for weld in job.welds:
        low, high = weld.path.min(axis=0) - limit, weld.path.max(axis=0) + limit
        for body in own:
            if body.role == "sweep" or (body.box[0] > high).any() or (body.box[1] < low).any():
                continue
            found = bead_distance(weld, body.triangles, limit)
            if found is not None:
                out[body.item, weld.name] = min(found[0], out.get((body.item, weld.name), np.inf))
    return out


# --- seats -----------------------------------------------------------------------------------------------------------


def _seated(before: Job, after: Job, name: str) -> bool:
    """Whether one item stands no worse than before."""
    old, new = before.seats[name], after.seats[name]
    if new.complaint and not old.complaint:
        return False
    dowels = {p.pin.name for p in old.pins if p.state == "seated"}
    if not dowels <= {p.pin.name for p in new.pins if p.state == "seated"}:
        return False
    bad = [sum(p.state in ("off", "off table", "blocked") for p in item.pins) for item in (old, new)]
    shared = [set(item.holes) & _used(job, name) for job, item in ((before, old), (after, new))]
    if bad[1] > bad[0] or not shared[1] <= shared[0] or (has_nut(before, old) and not has_nut(after, new)):
        return False
    return (_held(after, new) or not _held(before, old)) and _lies(before, after, old, new)


def _used(job: Job, name: str) -> set[str]:
    """Holes in which all others stand."""
    return {hole for other in job.seats.values() if other.name != name for hole in other.holes}


def _held(job: Job, item: Seat) -> bool:
    """Whether its dowels keep it from shifting and turning."""
    if item.holds != "pins":
        return True
    play = seat.play(item.pins, dowel_fit(job, item))
    return play.shift is not None and (play.turn is not None or item.bolted or round_about_pin(item))


def _lies(before: Job, after: Job, old: Seat, new: Seat) -> bool:
    """Whether it lies on something with all of its foot, or with as much of it as before."""
    found, was = support(after, new), support(before, old)
    if found is None:
        return True
    lay = was is None or (was.gap <= SHOP.contact and was.on.area > 0.0)
    if found.gap > SHOP.contact or found.on.area <= 0.0:
        return not lay
    return found.out <= max(LEAST_OVERHANG, was.out if was is not None else 0.0)


def _concerns(item: Seat, moving: frozenset[str]) -> bool:
    return item.part.tip() is not None and (item.name in moving or getattr(item.place, "toward", None) in moving)


def _presses(before: Job, after: Job, clamp: Seat) -> bool:
    """Whether a clamp presses where it is asked to, over the block that takes its push, or no further off."""
    old = _misses(before, before.seats[clamp.name])
    return all(now <= max(limit, was) for (now, limit), (was, _) in zip(_misses(after, clamp), old, strict=True))


def _misses(job: Job, clamp: Seat) -> list[tuple[float, float]]:
    """How far its push is beside the block, and beside the point, each with what it may be, mm."""
    tip = clamp.part.tip()
    if tip is None:
        return []
    at, way = placed_tip(clamp, tip)
    toward = job.seats.get(getattr(clamp.place, "toward", None) or "")
    beside = 0.0 if toward is None else float(np.linalg.norm(way_to_support(at, way, toward)))
    miss = way_to_point(clamp, job.weldment) if job.weldment is not None else None
    return [(beside, SHOP.contact), (0.0 if miss is None else float(np.linalg.norm(miss)), tip.radius)]
