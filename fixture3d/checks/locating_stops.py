"""The stop that a free piece lacks: against which face, and where a block would do it, tried before it is named."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from fixture3d.checks.locating_kinds import SHIPPED, How, hows, placed_words
from fixture3d.checks.locating_laid import Laid, Table, thickness
from fixture3d.checks.locating_places import LOOKS, Places
from fixture3d.checks.locating_torch import Room
from fixture3d.checks.shrinkage_stops import closings
from fixture3d.checks.trial import Trial
from fixture3d.errors import FixtureError, listed
from fixture3d.frame import Array
from fixture3d.job import Body, Job
from fixture3d.job.resolve import with_block
from fixture3d.job.shrink_stops import stops_of
from fixture3d.job.shrink_welds import shrink_welds
from fixture3d.locating.features import Standing
from fixture3d.locating.read_features import standing
from fixture3d.locating.words import Motion, Stop, way_in_words
from fixture3d.shrinkage.effect import Effect
from fixture3d.solid.relate import Placed
from fixture3d.tolerance import LOCATING
from fixture3d.units import show

__all__ = ["Stops", "unfaced"]

TRIES = 40
"""Places that are tried for one motion of a piece with one sort of blocks, nearest to the middle of the face first."""
PASSED = 3
"""Places that hold the piece and are passed over, because the work closes on them or the torch loses its room."""
IN_ALL = 200
"""Places that are tried for one setup; what is then left over is told."""
_AGAINST = -0.1  # cosine; three stops that push apart by thirds of a turn hold the work as two do
_SQUARE = 0.1  # cosine; a stop that pushes a long piece square to its length
_NEAR_END = 0.8  # share of half the length from the middle at which one of two stops stands well
_NEXT = "; more stops are lacking, and the next run names the next"
_PINCHES = "a hard stop there would stand straight against that one; the next run names what is still lacking"
_CLOSES = (
    "",
    "; the welds draw the work on to it, so back it off once it is tacked",
    "; the welds draw the work on to it, so pull it once it is tacked",
)


@dataclass(frozen=True)
class _Found:
    """A place that holds the piece.

    Attributes:
        words: block and place.
        stop: the face that it comes against.
        lost: names of welds that the torch then reaches less of.
        closes: 0 the work does not close on it as it shrinks, 1 it does and the block can be backed off, 2 it cannot.
        steady: its face is long enough to keep the piece from turning by itself.
    """

    words: str
    stop: Stop
    lost: tuple[str, ...]
    closes: int
    steady: bool


@dataclass
class _Search:
    """How many places have been tried, what was found so far, and what would do if it did not run into a block."""

    tried: int = 0
    found: list[_Found] = dataclasses.field(default_factory=list)
    nearly: str = ""

    @property
    def done(self) -> bool:
        """Whether there is nothing left to look for."""
        return self.clean or len(self.found) >= PASSED

    @property
    def clean(self) -> bool:
        """Whether one was found that takes no weld from the torch, and on which the work does not close."""
        return any(not one.lost and one.closes == 0 for one in self.found)

    @property
    def best(self) -> _Found:
        """The first that takes no weld from the torch, and on which the work does not close."""
        return min(self.found, key=lambda one: (len(one.lost), one.closes))


class Stops:
    """Where a stop would go, for the pieces of one job."""

    def __init__(self, job: Job, table: Table) -> None:
        self.job = job
        self.table = table
        self.trial = Trial(job)
        self.room = Room(job)
        self.left = IN_ALL
        self.places = Places(job)
        self._named: list[tuple[str, Array]] = []

    def against(self, laid: Laid) -> str:
        """What to do about a piece that can move; empty where it cannot."""
        free = sorted((m for m in laid.motions if m.kind == "free"), key=self._within)
        if not free:
            return ""
        search = _Search()
        against = [m for m in free if self._against(m)]
        self._look(laid, [m for m in free if m not in against], search)
        if against and not search.clean:
            for other in dict.fromkeys(name for m in against for name in self._against(m)):
                way = next(-m.stop.normal for m in against if m.stop is not None)
                if self.table.goes_on(laid.loose.name, other, way):
                    side = way_in_words(way)
                    return f"set the stop for {other} first, then clamp it from its {side} side: {_PINCHES}"
            self._look(laid, against, search)
        if not search.found:
            return self._nothing(laid, free, search)
        best = search.best
        self._named.append((laid.loose.name, best.stop.normal))
        return best.words + _clamp(free, best.stop) + self._more(laid, free, best)

    def _look(self, laid: Laid, motions: Sequence[Motion], search: _Search) -> None:
        for how in hows(self.job):
            for motion in motions:
                if not search.done:
                    self._try(laid, motion, how, search)

    def _against(self, motion: Motion) -> tuple[str, ...]:
        """Pieces for which this run has named a stop that would push straight against one for this motion."""
        if motion.stop is None:
            return ()
        return tuple(name for name, way in self._named if float(motion.stop.normal @ way) < -LOOKS)

    def _more(self, laid: Laid, free: Sequence[Motion], best: _Found) -> str:
        """What else is lacking once one block stands: a second one on the same side of a long piece, or others."""
        lie, stop = laid.lie, best.stop
        across = lie.long and abs(float(stop.normal @ lie.axes[0])) < _SQUARE
        axis = np.cross(lie.axes[0], stop.normal)
        turns = [m for m in free if across and abs(float(m.twist[3:] @ axis)) > LOOKS]
        if not turns or best.steady:
            return _NEXT if _several(free) else ""
        units = self.job.scene.units
        reach = lie.axes[0] * float(lie.size[0]) / 2.0 * _NEAR_END
        middle = stop.point + lie.axes[0] * float((lie.middle - stop.point) @ lie.axes[0])
        ends = [
            ", ".join(f"{n} {show(v, units)}" for n, v in zip("xyz", middle + s * reach, strict=True)) for s in (-1, 1)
        ]
        words = f"; it can turn too, so better two {stop.words}, near its ends: about {ends[0]} and {ends[1]} from A1"
        others = [m for m in free if m not in turns and abs(float(m.twist[:3] @ stop.normal)) < LOOKS]
        return words + (_NEXT if others else "")

    def _nothing(self, laid: Laid, free: Sequence[Motion], search: _Search) -> str:
        """What is said where no block was found."""
        for motion in free:
            taken = self.table.taken_along(laid.loose, motion) if not motion.twist[3:].any() else ()
            if taken:
                way = way_in_words(motion.twist[:3])
                return f"it pushes {listed(taken)} along ({way}): put a stop behind {listed(taken)} there"
        stop = next((motion.stop for motion in free if motion.stop is not None), None)
        if stop is None:
            return unfaced(free)
        x, y, z = (show(v, self.job.scene.units) for v in stop.point)
        words = f"put a stop {stop.words}, at x {x}, y {y}, z {z} from A1"
        shipped = [name for name in SHIPPED if name in self.job.library.entries]
        if all(float(np.abs(m.stop.normal).max()) < LOOKS for m in free if m.stop is not None):
            return f"{words}; no row of holes is square to that face: set one by measuring (free), or on a turned block"
        if self.left == 0:
            return f"{words}; blocks there were not tried to the end: {IN_ALL} places are tried for one setup"
        what = f" and no {', '.join(shipped[:-1])} or {shipped[-1]}" if len(shipped) > 1 else ""
        shelf = "block of the shelf, none" if self.job.scene.stock else "block"
        count = f"{search.tried} places tried, no stacks" if search.tried else "no stacks tried"
        return (
            f"{words}; no {shelf} like those in this setup{what} comes to lie there from a hole and clear of the rest, "
            f"nor with a shim of up to {show(LOCATING.shim, self.job.scene.units)} ({count}): "
            f"{search.nearly or 'make room, or set one by measuring (free)'}"
        )

    def _within(self, motion: Motion) -> bool:
        """Whether the stop would push from inside the work outwards, so that the work may close on it as it shrinks."""
        if motion.stop is None:
            return True
        low, high = self._work
        return float(((low + high) / 2.0 - motion.stop.point) @ motion.stop.normal) < 0.0

    @cached_property
    def _work(self) -> tuple[Array, Array]:
        boxes = [body.box for body in self.job.pieces()]
        return np.min([b[0] for b in boxes], axis=0), np.max([b[1] for b in boxes], axis=0)

    def _try(self, laid: Laid, motion: Motion, how: How, search: _Search) -> None:
        """Add to what was found what holds the piece, until there is nothing left to look for."""
        if motion.stop is None or self.left == 0:
            return
        for tried, (kind, place) in enumerate(
            self.places.near(how, laid.loose.box, motion.stop.point, motion.stop.normal)
        ):
            if tried >= TRIES or search.done or self.left == 0:
                return
            search.tried, self.left = search.tried + 1, self.left - 1
            try:
                after = with_block(self.job, place)
            except FixtureError:
                continue
            if place.name not in after.seats or not self._ends(laid, motion, after, place.name):
                continue
            words = placed_words(kind, place, self.job.scene.units)
            into = self._runs_into(after, place.name)
            if not into and self.trial.takes(after, place.name):
                words += f": tried, it comes {motion.stop.words}"
                search.found.append(self._judged(laid, after, place.name, motion.stop, words))
            elif len(into) == 1 and not search.nearly and self._movable(into[0]):
                search.nearly = f"{words}, would, but runs into {into[0]}: move {into[0]} first"

    def _judged(self, laid: Laid, after: Job, name: str, stop: Stop, words: str) -> _Found:
        """A place that holds the piece: what it does to the torch, and what shrinkage does to it."""
        lost = self.room.loses(after, name)
        steady = any(self.table.steadied_by(laid.loose, block, stop.normal) for block in _blocks(after, name))
        closes = self._closes(after, name) if self._faced(stop) else 0
        words += _CLOSES[closes]
        if lost:
            words += f"; the torch then reaches less of {listed(lost)}, so pull it once the piece is tacked"
        elif self.job.welds:
            words += ", and the torch keeps its room"
        return _Found(words, stop, lost, closes, steady)

    def _movable(self, item: str) -> bool:
        """Whether it is a block, which may stand a hole further on as well; a clamp stands where it presses."""
        return item in self.job.seats and not self.job.seats[item].clamp

    def _runs_into(self, after: Job, name: str) -> tuple[str, ...]:
        """Items and pieces that a new block stands in by more than a touch: the quick part of whether it may stand."""
        out: list[str] = []
        for mine in after.of_item(name):
            here = Placed(mine.name, mine.shape, mine.body_to_world)
            apart = (self._boxes[:, 0] > mine.box[1]).any(axis=1) | (self._boxes[:, 1] < mine.box[0]).any(axis=1)
            for k in np.flatnonzero(~apart):
                other = self._solids[k]
                there = Placed(other.name, other.shape, other.body_to_world)
                if other.item not in out and thickness(here, there) > LOCATING.stopped:
                    out.append(other.item)
        return tuple(out)

    @cached_property
    def _solids(self) -> list[Body]:
        return [body for body in self.job.bodies if body.role != "sweep"]

    @cached_property
    def _boxes(self) -> Array:
        return np.stack([body.box for body in self._solids])

    def _ends(self, laid: Laid, motion: Motion, after: Job, name: str) -> bool:
        return any(self.table.held_by(laid.loose, block, motion) for block in _blocks(after, name))

    @cached_property
    def _shrunk(self) -> Effect | None:
        """What the welds of the job draw together; None without welds."""
        return shrink_welds(self.job).effect if self.job.welds else None

    def _faced(self, stop: Stop) -> bool:
        """Whether a block stands behind the stop and pushes the other way: else nothing is closed on."""
        for found in self.table.fixed.values():
            for one in found:
                behind = float((one.points.mean(axis=0) - stop.point) @ stop.normal) < 0.0
                if behind and float(one.normal @ stop.normal) < _AGAINST:
                    return True
        return False

    def _closes(self, after: Job, name: str) -> int:
        """Whether the welded work closes on the new block: 0 no, 1 yes but it can be backed off, 2 it cannot."""
        if self._shrunk is None:
            return 0
        welded = {piece for weld in self._shrunk.welds for piece in weld.joins}
        found = [one for one in closings(self._shrunk, stops_of(after, welded)) if name in (*one.give, *one.against)]
        return max((1 if one.moves else 2 for one in found), default=0)


def _several(free: Sequence[Motion]) -> bool:
    """Whether it can move in more ways than to and fro in one."""
    first = free[0].twist
    return any(not np.allclose(one.twist, first) and not np.allclose(one.twist, -first) for one in free)


def _blocks(after: Job, name: str) -> Iterator[Standing]:
    """The bodies of a new block and its shims that can touch a piece."""
    for body in after.of_item(name):
        if body.role in ("block", "shim"):
            yield standing(name, Placed(name, body.shape, body.body_to_world))


def _clamp(free: Sequence[Motion], stop: Stop) -> str:
    """The other side is a clamp's where the piece slides both ways: two hard stops would pinch it."""
    ways = [float(m.twist[:3] @ stop.normal) for m in free if not m.twist[3:].any()]
    return ", and a clamp from the other side" if min(ways, default=0.0) < -LOOKS and max(ways) > LOOKS else ""


def unfaced(free: Sequence[Motion]) -> str:
    """What is said where no flat face looks the way of any motion, as on a round bar."""
    slides = [m for m in free if not m.twist[3:].any()]
    if not slides:
        return "put a stop against a face that this turn drives outwards, or a V-block under it"
    end = "along its length" in slides[0].words
    ways = [f"its {way_in_words(m.twist[:3])} {'end' if end else 'side'}" for m in slides[:2]]
    if end:
        return f"put a stop against {' or '.join(ways)}"
    return f"put a stop against {' or '.join(ways)}, or lay it in V-blocks"
