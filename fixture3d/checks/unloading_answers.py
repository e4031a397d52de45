"""Answers on loading and unloading as plain data: worked out once, kept by all that they depend on."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from fixture3d.cache import content_key
from fixture3d.checks.locating_answers import answer as located
from fixture3d.frame import Array
from fixture3d.job import Job
from fixture3d.job.coming_out import Cleared, Off, Out, Setup
from fixture3d.job.going_in import Loading, StaysOut, Triple, order_of, sunk_pairs, three, way_in
from fixture3d.job.loose import Loose, loose_pieces
from fixture3d.job.lots import welded_lots
from fixture3d.job.table_body import plates
from fixture3d.locating.order_in import Order
from fixture3d.tolerance import JOINTS, LEAVING, NUMERIC

__all__ = ["Lot", "Missing", "Unloading", "lots_of", "ways_when", "work_out"]

_KIND = "unloading-6"  # raise the number when the method changes its answers


@dataclass(frozen=True, kw_only=True)
class Lot:
    """What comes off the table as one.

    Attributes:
        pieces: names, in file order.
        ways: free ways out, those along the axes, up first; empty when none is free as all stands.
        cleared: what must go first where none is free; None where nothing has to, and where nothing helps.
        kept_by: names of what stays in the way when nothing helps.
        kept_way: (3,) the way in which that is told; None where a way was found.
        helps: what would free it then, tried; empty where nothing that was tried did.
        sunk: blocks and plates that reach into it, so that they were left out.
        mass: kg of steel; None where it is not known.
        middle: (3,) mm, the middle of its box.
    """

    pieces: tuple[str, ...]
    ways: tuple[Out, ...]
    cleared: Cleared | None
    kept_by: tuple[str, ...]
    kept_way: Triple | None
    helps: str
    sunk: tuple[str, ...]
    mass: float | None
    middle: Triple

    @property
    def way(self) -> Out | None:
        """The way out that is proposed; None where there is none."""
        return self.ways[0] if self.ways else self.cleared.way if self.cleared is not None else None

    @property
    def first_off(self) -> tuple[str, ...]:
        """Names of what is taken off before, in that order."""
        return tuple(one.name for one in self.cleared.off) if self.cleared is not None else ()


@dataclass(frozen=True, kw_only=True)
class Missing:
    """Pieces that do not go in, those that are in each other's way together.

    Attributes:
        pieces: which, each with what it meets.
        helps: what would let them in, tried; empty where nothing that was tried did.
        block: it takes no more than blocks that are set afterwards.
    """

    pieces: tuple[StaysOut, ...]
    helps: str
    block: bool


@dataclass(frozen=True, kw_only=True)
class Unloading:
    """How a setup is loaded, and how the work comes off again.

    Attributes:
        loading: the order in which pieces go in and clamps are shut, and their ways: the one that locating tells.
        missing: pieces that no order was found for.
        lots: what comes off as one, in the order in which it can come off.
    """

    loading: Loading
    missing: tuple[Missing, ...]
    lots: tuple[Lot, ...]

    @property
    def ways(self) -> tuple[Out, ...]:
        """The way out of each lot that has one."""
        return tuple(lot.way for lot in self.lots if lot.way is not None)

    @property
    def first_off(self) -> tuple[str, ...]:
        """Names of everything that is taken off first, for any lot."""
        return tuple(dict.fromkeys(name for lot in self.lots for name in lot.first_off))

    @property
    def way_in(self) -> Mapping[str, Triple]:
        """For each piece that goes in, or the first of several that are one, the way in which it moves."""
        return {step.name: step.direction for step in self.loading.steps if step.direction is not None}


def work_out(job: Job) -> Unloading:
    """How a job is loaded and unloaded: from the cache, or worked out."""
    key = _key(job)
    if job.store is not None:
        kept = _from_dict(job.store.get_json(key, _KIND))
        if kept is not None:
            return kept
    found = _worked_out(job)
    if job.store is not None:
        job.store.put_json(key, _KIND, asdict(found))
    return found


def ways_when(job: Job, pieces: Sequence[str], moved: Mapping[str, Array]) -> tuple[tuple[Out, ...], Cleared | None]:
    """Unloading asked again of work that does not lie as it is drawn, as once it has shrunk.

    Args:
        job: the setup.
        pieces: names of those that move as one.
        moved: before_to_after of each, (4, 4), world.

    Returns:
        The free ways out; and, where there is none, what must go first, None where nothing helps either.
    """
    setup = Setup(job, pieces, moved=moved)
    ways = setup.free()
    return ways, None if ways else setup.fewest()


def _key(job: Job) -> str:
    """Of all that the answer depends on: limits, bodies shut and open, seats, plates, and what is welded."""
    parts: list[str | bytes] = [repr((asdict(LEAVING), JOINTS.gap, job.joined))]
    for body in job.bodies:
        poses = [body.body_to_world] + ([body.open_to_world] if body.open_to_world is not None else [])
        parts += [f"{body.name}\0{body.item}\0{body.role}", body.shape.key]
        parts += [(np.round(pose / NUMERIC.key) * NUMERIC.key + 0.0).tobytes() for pose in poses]
    for weld in (*job.done, *job.welds):
        parts += [repr((weld.name, weld.joins, weld.size)), np.round(weld.path, 6).tobytes()]
    for seat in job.seats.values():
        integral = [pin.pin.integral for pin in seat.pins]
        presses = getattr(seat.place, "presses", "")
        parts.append(repr((seat.name, seat.clamp, seat.holds, seat.stands_on, seat.stacked, integral, presses)))
        parts += [(np.round(pose, 6) + 0.0).tobytes() for pose in (seat.plane_to_world, seat.model_to_world)]
    for plate in plates(job.table):
        parts += [plate.name, plate.box()[0].tobytes()]
    for piece in job.weldment.pieces if job.weldment is not None else ():
        parts.append(repr((piece.name, piece.mass)))
    return content_key(parts)


def _worked_out(job: Job) -> Unloading:
    answer = located(job)
    wanted = [row.name for row in answer.rows]
    missing = tuple(_missing(job, answer.loading, wanted))
    return Unloading(loading=answer.loading, missing=missing, lots=lots_of(job))


def lots_of(job: Job) -> tuple[Lot, ...]:
    """Each lot past those that are still there: free ones first, then those for which least must be taken off."""
    left = list(welded_lots(job))
    out: list[Lot] = []
    known: dict[tuple[str, ...], tuple[Lot, set[str]]] = {}
    while left:
        free = next((one for one in (_lot(job, lot, left, free=True)[0] for lot in left) if one.ways), None)
        if free is None:
            for lot in left:
                if lot not in known:
                    known[lot] = _lot(job, lot, left)
            found = [known[lot][0] for lot in left]
            some = [one for one in found if one.cleared is not None]
            free = min(some, key=lambda one: len(one.first_off), default=None)
            if free is None:
                return (*out, *found)
        out.append(free)
        left.remove(free.pieces)
        # An answer stands as long as nothing that it hangs on is taken away.
        known = {lot: one for lot, one in known.items() if not one[1] & set(free.pieces)}
    return tuple(out)


def _lot(
    job: Job, pieces: tuple[str, ...], lots: Sequence[tuple[str, ...]], free: bool = False
) -> tuple[Lot, set[str]]:
    """How one lot comes out past the others, and all that was in a way of it or of a block.

    With ``free`` nothing more is asked than whether a way is free.
    """
    still = [name for other in lots if other != pieces for name in other]
    setup = Setup(job, pieces, still)
    sunk: tuple[str, ...] = ()
    ways = setup.free()
    if not ways:
        sunk = _sunk(job, pieces)
        if sunk:
            setup = Setup(job, pieces, still, sunk=sunk)
            ways = setup.free()
    cleared = None if ways or free else setup.fewest()
    kept: tuple[str, ...] = ()
    way: Triple | None = None
    helps = ""
    if not ways and cleared is None and not free:
        direction, kept = setup.kept_by()
        way = three(direction)
        helps = _helps(job, pieces, still, sunk, kept)
    known = [p.mass for p in job.weldment.pieces if p.name in pieces] if job.weldment is not None else []
    masses = [mass for mass in known if mass is not None]
    boxes = np.stack([body.box for body in job.pieces() if body.name in pieces])
    lot = Lot(
        pieces=tuple(pieces),
        ways=ways,
        cleared=cleared,
        kept_by=kept,
        kept_way=way,
        helps=helps,
        sunk=sunk,
        mass=sum(masses) if len(masses) == len(pieces) else None,
        middle=three((boxes[:, 0].min(axis=0) + boxes[:, 1].max(axis=0)) / 2.0),
    )
    return lot, setup.seen


def _sunk(job: Job, pieces: Sequence[str]) -> tuple[str, ...]:
    bodies = tuple(body for body in job.pieces() if body.name in pieces)
    pairs = sunk_pairs(job, [Loose(pieces[0], tuple(pieces), bodies)])
    return tuple(sorted(name for pair in pairs for name in pair - {pieces[0]} if name not in pieces))


def _helps(job: Job, pieces: Sequence[str], still: Sequence[str], sunk: Sequence[str], kept: Sequence[str]) -> str:
    """What would let the work out: one piece welded on later, or one block that stays not there; each tried."""
    for piece in pieces if len(pieces) > 1 else ():
        rest = [name for name in pieces if name != piece]
        alone = Setup(job, [piece], [*still, *rest], sunk=sunk).free()
        ways = Setup(job, rest, still, sunk=sunk).free()
        if ways and alone:
            return (
                f"tack {piece} on in a second stage, away from here: tried, without it the rest comes out "
                f"({ways[0].words})"
            )
    for name in kept:
        if name in job.seats:
            ways = Setup(job, pieces, still, without=[name], sunk=sunk).free()
            if ways:
                return f"hold the work without {name}, or set it where it is free: tried, without it {ways[0].words}"
    return ""


def _missing(job: Job, loading: Loading, wanted: Sequence[str]) -> list[Missing]:
    """Pieces that do not go in, by groups that are in each other's way, with what would help."""
    if not loading.out:
        return []
    group = {one.name: one.name for one in loading.out}
    for one in loading.out:
        for other in one.by:
            if other in group and group[other] != group[one.name]:
                old, new = group[other], group[one.name]
                group = {name: new if root == old else root for name, root in group.items()}
    out = []
    for root in dict.fromkeys(group.values()):
        pieces = tuple(one for one in loading.out if group[one.name] == root)
        helps, block = _lets_in(job, pieces, wanted)
        out.append(Missing(pieces=pieces, helps=helps, block=block))
    return out


def _lets_in(job: Job, pieces: Sequence[StaysOut], wanted: Sequence[str]) -> tuple[str, bool]:
    """What would let pieces in that have no way, tried, and whether it takes no more than blocks set afterwards.

    All other pieces can be taken out before these, so that only these are asked again.
    """
    by_name = {one.name: one for one in loose_pieces(job)}
    names = [one.name for one in pieces]

    def order(without: Sequence[str], left_out: str = "") -> Order:
        some = [by_name[name] for name in wanted if name in names and name != left_out]
        return order_of(job, some, {}, without)

    # The way in is the way out turned round: what must be off for it is set after it.
    out = [
        Setup(job, by_name[name].pieces, [n for o in names if o != name for n in by_name[o].pieces]) for name in names
    ]
    sets = [[one.name for one in found.off if not one.backs] for found in (setup.fewest() for setup in out) if found]
    blocks = list(dict.fromkeys(name for one in pieces for name in one.by if name in job.seats))
    for some in (*sets, *([name] for name in blocks), blocks):
        found = order(some) if some else None
        after = Setup(job, [body.name for body in job.pieces()]).can_go(some) if found and found.found else None
        if found is not None and after is not None:
            said = " and ".join(one.name for one in reversed(after))
            ways = ", ".join(f"{s.name} {way_in(s.direction, None)}" for s in found.steps if s.direction is not None)
            return f"set {said} after {' and '.join(names)}: tried, then all goes in ({ways})", True
    for name in names if len(names) > 1 else ():
        if order((), name).found:
            return f"leave {name} for a second stage: tried, without it the others go in", False
    return "", False


def _from_dict(data: Any) -> Unloading | None:
    """The answer that was kept; None where it is none."""
    try:
        return Unloading(
            loading=Loading.of(data["loading"]),
            missing=tuple(
                Missing(
                    pieces=Loading.of({"steps": [], "out": one["pieces"], "tried_all": True}).out,
                    helps=one["helps"],
                    block=bool(one["block"]),
                )
                for one in data["missing"]
            ),
            lots=tuple(_lot_of(one) for one in data["lots"]),
        )
    except (KeyError, TypeError, ValueError):
        return None


def _lot_of(data: Mapping[str, Any]) -> Lot:
    def out(one: Mapping[str, Any]) -> Out:
        return Out(**{**one, "direction": tuple(one["direction"])})

    cleared = data["cleared"]
    return Lot(
        **{
            **data,
            **{key: tuple(data[key]) for key in ("pieces", "kept_by", "sunk", "middle")},
            "kept_way": None if data["kept_way"] is None else tuple(data["kept_way"]),
            "ways": tuple(out(one) for one in data["ways"]),
            "cleared": None
            if cleared is None
            else Cleared(
                off=tuple(Off(**{**one, "direction": tuple(one["direction"])}) for one in cleared["off"]),
                way=out(cleared["way"]),
                proven=bool(cleared["proven"]),
            ),
        }
    )
