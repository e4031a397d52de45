"""How welded work comes off the table: its straight ways out, and the fewest blocks that must go first. Lengths in mm.

What has been tacked together moves as one; clamps are open, but one that presses other work and is in the way only when
it is open stays shut. Where no way is free, each set of blocks and clamps that
would free one is looked at by growing size, and only those count whose members can themselves be taken away, one
after the other, while the work still lies there: straight off what they stand on, or level until they are past the
work. Assumed: rigid bodies, straight paths, no turning on the way.
"""

from __future__ import annotations

import heapq
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from fixture3d import frame
from fixture3d.frame import Array
from fixture3d.job import Body, Job, Seat
from fixture3d.job.going_in import Triple, opened, plate_bodies, three, towards
from fixture3d.locating.leaving import Bodies
from fixture3d.locating.leaving_directions import candidates
from fixture3d.solid.relate import Placed
from fixture3d.tolerance import LEAVING

__all__ = ["Cleared", "Off", "Out", "Setup", "out_in_words"]

_DOWN = -1e-6  # upward share of a direction below which it goes into the table
_UP = float(np.cos(np.deg2rad(5.0)))  # as ways are called elsewhere
_LEVEL = 0.1  # vertical part of a direction that still is level
_FIRST = np.array([[0, 0, 1], [1, 0, 0], [-1, 0, 0], [0, 1, 0], [0, -1, 0]], dtype=np.float64)
_WORK = "\0work"  # no name of a scene holds this character


@dataclass(frozen=True, kw_only=True)
class Out:
    """One straight way out.

    Attributes:
        direction: (3,) unit, world.
        words: as at the table, to be put behind "then": "lift it straight up".
        distance: mm until the work is past the blocks, open clamps and other pieces that stand beside it.
    """

    direction: Triple
    words: str
    distance: float


@dataclass(frozen=True, kw_only=True)
class Off:
    """One block or clamp that must be out of the way first.

    Attributes:
        name: of the scene.
        direction: (3,) unit, the way it goes.
        words: "straight up", or how else.
        clamp: it is a clamp, which is in the way even when it is open.
        pin: it is a pin with a shank of its own, and is pulled.
        backs: it stays where it is and is set back by its own adjustment.
    """

    name: str
    direction: Triple
    words: str
    clamp: bool = False
    pin: bool = False
    backs: bool = False

    @property
    def verb(self) -> str:
        """What is done to it."""
        return "back off" if self.backs else "pull" if self.pin else "take off"


@dataclass(frozen=True, kw_only=True)
class Cleared:
    """The fewest that must go first.

    Attributes:
        off: in the order in which they can be taken away; empty where nothing has to be.
        way: the way out after that.
        proven: whether no smaller set would do; False when sets were left untried.
    """

    off: tuple[Off, ...]
    way: Out
    proven: bool = True


@dataclass(frozen=True, eq=False)
class _Item:
    """A block or clamp with its bodies: their numbers, those of its dowels, what stands on it, and how it is set back.

    ``backs``: the ways in which its adjustment can be set to an end: direction, words, its bodies as they stand then.
    """

    seat: Seat
    solids: tuple[int, ...]
    dowels: tuple[int, ...]
    upon: tuple[str, ...]
    backs: tuple[tuple[Array, str, tuple[int, ...]], ...]


class Setup:
    """Work that is one, and everything that stands about it, asked many times.

    Args:
        job: the setup.
        work: names of the pieces that move as one.
        still: names of other pieces on the table, which stay where they are.
        moved: before_to_after of a piece, (4, 4) world, where it does not lie as it is drawn, as once it has shrunk.
        without: blocks and clamps that are not there.
        sunk: names of blocks and plates that reach into the work, about which nothing can be said.

    Attributes:
        seen: names of all that was found in the way of the work, or of a block, so far.
    """

    def __init__(
        self,
        job: Job,
        work: Collection[str],
        still: Collection[str] = (),
        moved: Mapping[str, Array] | None = None,
        without: Collection[str] = (),
        sunk: Collection[str] = (),
    ) -> None:
        self.job = job
        placed: list[Placed] = []
        owner: list[str] = []

        def add(name: str, body: Body | Placed, pose: Array) -> int:
            placed.append(Placed(f"{len(placed)}", body.shape, pose))
            owner.append(name)
            return len(placed) - 1

        pieces = {body.name: body for body in job.pieces()}
        away = moved or {}
        self.work = [
            add(_WORK, b, frame.chain(away.get(name, frame.identity()), b.body_to_world))
            for name, b in pieces.items()
            if name in work
        ]
        self.still = [add(name, b, b.body_to_world) for name, b in pieces.items() if name in still]
        self.plates = [add(plate.name, plate, plate.pose) for plate in plate_bodies(job) if plate.name not in sunk]
        self.items: dict[str, _Item] = {}
        self._shut: dict[str, list[int]] = {}  # clamps that press other work may stay shut meanwhile
        for seat in job.seats.values():
            if seat.name in without or seat.name in sunk:
                continue
            own = job.of_item(seat.name)
            solids = [add(seat.name, b, opened(b)) for b in own if b.role in ("block", "shim", "clamp")]
            dowels = [add(seat.name, b, b.body_to_world) for b in own if b.role == "pin"]
            upper = (s.name for s in job.seats.values() if s.stacked and s.stands_on == seat.name)
            upon = tuple(name for name in upper if name not in without and name not in sunk)
            backs = tuple(
                (way, words, tuple(add(seat.name, b, frame.chain(frame.translation(shift), opened(b))) for b in moving))
                for way, words, shift, moving in _settings(seat, own)
                if not upon
            )
            if seat.clamp and getattr(seat.place, "presses", None) not in work:
                shut = [(b, b.body_to_world) for b in own if b.role == "clamp" and b.open_to_world is not None]
                if shut:
                    here = [(b, b.body_to_world) for b in own if b.role in ("block", "shim", "clamp")]
                    self._shut[seat.name] = [add(seat.name, b, pose) for b, pose in here]
            self.items[seat.name] = _Item(seat, tuple(solids), tuple(dowels), upon, backs)
        self.bodies = Bodies(placed)
        self.owner = owner
        self._stays = [*self.still, *self.plates, *(k for item in self.items.values() for k in item.solids)]
        self.seen: set[str] = set()
        self._stopped: dict[bytes, tuple[str, ...]] = {}
        self._options: dict[str, list[tuple[Array, str, frozenset[str]]]] = {}

    def stopped(self, way: Array) -> tuple[str, ...]:
        """Names of what is in a way out of the work, each once."""
        key = way.tobytes()
        if key not in self._stopped:
            found = dict.fromkeys(self.owner[k] for k in self.bodies.stops(self.work, self._stays, way))
            self._stopped[key] = tuple(name for name in found if not self._clears_shut(name, way))
            self.seen.update(self._stopped[key])
        return self._stopped[key]

    def _clears_shut(self, name: str, way: Array) -> bool:
        """Whether a clamp that may stay shut is not in a way then."""
        return name in self._shut and not self.bodies.stops(self.work, self._shut[name], way, first=True)

    def _is_free(self, way: Array) -> bool:
        if self._shut:
            return not self.stopped(way)
        return not self.bodies.stops(self.work, self._stays, way, first=True)

    def out(self, way: Array, without: Collection[str] = ()) -> Out:
        """A way out in words, and how far it goes past what is there but ``without``."""
        stays = [k for k in self._stays if self.owner[k] not in without and k not in self.plates]
        far = self.bodies.clear_after(self.work, stays, way)
        shut = [
            name
            for name in self._shut
            if name not in without
            and self.bodies.stops(self.work, self.items[name].solids, way, first=True)
            and self._clears_shut(name, way)
        ]
        words = out_in_words(way) + (f" with {' and '.join(shut)} still shut" if shut else "")
        return Out(direction=three(way), words=words, distance=round(far, 3) + 0.0)

    def directions(self) -> Array:
        """Every way out that is tried, (k, 3): up, level along the axes, then the others that do not go down."""
        near = set(self.bodies.near(self.work, LEAVING.near)) & set(self._stays)
        found = candidates(
            [self.bodies.triangles[k] for k in self.work], [self.bodies.triangles[k] for k in sorted(near)]
        )
        kept: Array = found[found[:, 2] >= _DOWN]
        return kept

    def free(self) -> tuple[Out, ...]:
        """The ways out that are free: those along the axes, or, where there is none, the first of the others."""
        found = [way for way in _FIRST if self._is_free(way)]
        if not found:
            others = (way for way in self.directions()[len(_FIRST) :] if self._is_free(way))
            found = [way for way in (next(others, None),) if way is not None]
        return tuple(self.out(way) for way in found)

    def fewest(self) -> Cleared | None:
        """The fewest blocks and clamps that must be taken away first; None when none of them help.

        Sets are looked at by growing size. A set begins as what stops one way, with all that stands on it. Where its
        members cannot be taken away one after the other, one that cannot needs more to go before it: each of its own
        ways gives a larger set. No set that works is smaller than the first one found, for the ways that are tried;
        of those of its size the one is taken in which most need not be taken off, but are backed off or pulled.
        """
        ways = self.directions()
        heap: list[tuple[int, int, int, frozenset[str]]] = []
        seen: set[frozenset[str]] = set()
        count = 0

        def push(names: frozenset[str], way: int) -> None:
            nonlocal count
            whole = self._with_upon(names)
            if whole <= self.items.keys() and whole not in seen:
                seen.add(whole)
                heapq.heappush(heap, (len(whole), way, count, whole))
                count += 1

        for k, way in enumerate(ways):
            push(frozenset(self.stopped(way)), k)
        best: Cleared | None = None
        for _ in range(LEAVING.block_sets):
            if not heap or (best is not None and heap[0][0] > len(best.off)):
                return best
            _, at, _, names = heapq.heappop(heap)
            off, left = self._cleared(names, ways[at])
            if not left:
                here = Cleared(off=tuple(off), way=self.out(ways[at], names))
                best = here if best is None or _whole(here) < _whole(best) else best
                continue
            gone = {one.name for one in off}
            for name in left:
                for _, _, stoppers in self._ways_of(name):
                    if not stoppers <= gone:
                        push(names | stoppers, at)
        if best is not None:
            return best
        return self._all_off(self._can_be_off(ways), ways)

    def _all_off(self, off: Sequence[Off], ways: Array) -> Cleared | None:
        """A bound where not every set was looked at: all that can be taken away is."""
        gone = {one.name for one in off}
        for way in ways:
            stops = set(self.stopped(way))
            if stops <= gone:
                return Cleared(off=tuple(off), way=self.out(way, gone), proven=False)
        return None

    def kept_by(self) -> tuple[Array, tuple[str, ...]]:
        """Where no set helps: the way with the fewest that cannot be taken away, and their names."""
        ways = self.directions()
        gone = {one.name for one in self._can_be_off(ways)}
        best: tuple[Array, tuple[str, ...]] | None = None
        for way in ways:
            names = tuple(name for name in self.stopped(way) if name not in gone)
            if best is None or len(names) < len(best[1]):
                best = way, names
        assert best is not None
        return best

    def _can_be_off(self, ways: Array) -> list[Off]:
        """All that can be taken away of what is in any way, and of what is in the way of that."""
        asked: set[str] = set()
        todo = {name for way in ways for name in self.stopped(way)} & self.items.keys()
        while todo:
            asked |= todo
            more = {name for one in todo for _, _, stoppers in self._ways_of(one) for name in stoppers}
            todo = (set(self._with_upon(frozenset(todo))) | more) - asked
        return self._taken_away(frozenset(asked))[0]

    def can_go(self, names: Collection[str]) -> tuple[Off, ...] | None:
        """An order in which these can be taken away with the work in place; None when they cannot."""
        off, left = self._taken_away(self._with_upon(frozenset(names)))
        return None if left else tuple(off)

    def _with_upon(self, names: frozenset[str]) -> frozenset[str]:
        """The names with all that stands on them."""
        out, todo = set(names), list(names)
        while todo:
            item = self.items.get(todo.pop())
            for upper in item.upon if item is not None else ():
                if upper in self.items and upper not in out:
                    out.add(upper)
                    todo.append(upper)
        return frozenset(out)

    def _cleared(self, names: frozenset[str], way: Array) -> tuple[list[Off], list[str]]:
        """As `_taken_away`, but what can be backed off out of a way, and out of the ways of the rest, is."""
        back: dict[str, tuple[Off, tuple[int, ...]]] = {}
        for name in self.items:
            for direction, words, solids in self.items[name].backs if name in names else ():
                if name not in back and not self.bodies.stops(self.work, solids, way, first=True):
                    back[name] = Off(name=name, direction=three(direction), words=words, backs=True), solids
        rest = names - back.keys()
        off, left = self._taken_away(rest, frozenset(back))
        still = [k for _, solids in back.values() for k in solids]
        for one in off:
            item = self.items[one.name]
            if self.bodies.stops([*item.solids, *item.dowels], still, np.array(one.direction), first=True):
                return self._taken_away(names)
        return ([*(one for one, _ in back.values()), *off], left) if back else (off, left)

    def _taken_away(self, names: frozenset[str], before: frozenset[str] = frozenset()) -> tuple[list[Off], list[str]]:
        """As many of these as can be taken away one after the other, and what is left, both in file order.

        Nothing gets in the way by taking something away, so that whatever can go goes.
        """
        off: list[Off] = []
        left = [name for name in self.items if name in names]
        again = True
        while again:
            again = False
            for name in left:
                gone = before | {one.name for one in off}
                found = next((o for o in self._ways_of(name) if o[2] <= gone), None)
                if found is not None:
                    item = self.items[name]
                    pin = not item.seat.clamp and is_pin(item.seat)
                    direction = three(found[0])
                    off.append(Off(name=name, direction=direction, words=found[1], clamp=item.seat.clamp, pin=pin))
                    left.remove(name)
                    again = True
                    break
        return off, left

    def _ways_of(self, name: str) -> list[tuple[Array, str, frozenset[str]]]:
        """How a block can go: direction, words, and the blocks that stop it; ways that the work stops are none."""
        if name not in self._options:
            item = self.items[name]
            self._options[name] = [
                (way, words, frozenset(stops) | frozenset(item.upon))
                for way, words, stops in self._block_ways(item)
                if stops <= self.items.keys()
            ]
        return self._options[name]

    def _block_ways(self, item: _Item) -> Iterator[tuple[Array, str, set[str]]]:
        own = {*item.solids, *item.dowels}
        others = [k for k in (*self.work, *self._stays) if k not in own and k not in self.plates]
        away = item.seat.plane_to_world[:3, 2] + 0.0
        yield away, _going(away), self._met(item.solids, others, away)
        pulled = self._met(item.dowels, others, away)
        if item.seat.holds == "pins" and any(pin.pin.integral for pin in item.seat.pins):
            return
        first = "once its dowels are pulled, " if item.dowels else ""
        for axis in (item.seat.plane_to_world, item.seat.model_to_world):
            for way in (axis[:3, 0], -axis[:3, 0], axis[:3, 1], -axis[:3, 1]):
                if abs(float(way @ away)) < _LEVEL:
                    way = np.ascontiguousarray(way + 0.0)
                    # Past the work it can be lifted; what stands further off is not in its way.
                    near = self.bodies.until_past(item.solids, others, self.work, way)
                    met = self._met(item.solids, near, way) | pulled
                    yield way, f"{first}{_going(way)}", met

    def _met(self, moves: Sequence[int], stays: Sequence[int], way: Array) -> set[str]:
        found = {self.owner[k] for k in self.bodies.stops(moves, stays, np.ascontiguousarray(way))}
        self.seen |= found
        return found


def _settings(seat: Seat, own: Sequence[Body]) -> Iterator[tuple[Array, str, Array, list[Body]]]:
    """How a block's adjustment goes to either end: direction, words, shift (3,) mm, and the bodies that move."""
    move = seat.part.move()
    if move is None:
        return
    names = {f"{seat.name} {body.name}".strip() for body in seat.part.bodies() if body.moves}
    moving = [body for body in own if body.name in names and body.role != "sweep"]
    axis = frame.directions(seat.model_to_world, move.axis)
    for room, sign, notch in ((seat.slide, -1.0, 0), (move.travel - seat.slide, 1.0, move.notches)):
        if moving and room > LEAVING.undercut:
            words = f"to notch {notch}" if move.notch is not None else "fully in" if sign < 0.0 else "fully out"
            far = room if move.notch is None or sign < 0.0 else notch * move.notch - seat.slide
            yield axis * sign + 0.0, words, axis * sign * far, moving


def _whole(found: Cleared) -> int:
    """How many blocks really have to be taken off."""
    return sum(not one.backs and not one.pin for one in found.off)


def is_pin(seat: Seat) -> bool:
    """Whether a block is nothing but a pin: one shank of its own, in one hole, and round it no more than a collar."""
    return len(seat.pins) == 1 and seat.pins[0].pin.integral and seat.part.tip() is None


def out_in_words(way: Array) -> str:
    """A way out as at the table, behind "then"."""
    if float(way[2]) >= _UP:
        return "lift it straight up"
    if abs(float(way[2])) <= _LEVEL:
        return f"slide it out level ({towards(way)})"
    return f"lift it out at a slant (up and {towards(way)})"


def _going(way: Array) -> str:
    return "straight up" if float(way[2]) >= _UP else f"away ({towards(way)})"
