"""The stop that a free piece lacks: against which face, and where a block of this setup would do it, tried."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import islice

import numpy as np

from fixture3d.checks.locating_laid import Laid, Table
from fixture3d.checks.trial import Trial
from fixture3d.errors import FixtureError
from fixture3d.frame import Array
from fixture3d.job import Job, PlacedPad, Seat, placed_pads
from fixture3d.job.resolve import with_block
from fixture3d.locating.read_features import standing
from fixture3d.locating.words import Motion
from fixture3d.scene.schema import Clamp, Place
from fixture3d.solid.relate import Placed
from fixture3d.tolerance import SHOP
from fixture3d.units import show

__all__ = ["Stops"]

TRIES = 40
"""Places of a block that are tried for one piece; those whose face does not come to lie against it are not counted."""
_SIDE = 4  # holes to either side of the place that is asked for
_LOOKS = 0.999  # cosine; a pad that looks the way the stop has to push


class Stops:
    """Where a stop would go, for the pieces of one job."""

    def __init__(self, job: Job, table: Table) -> None:
        self.job = job
        self.table = table
        self.trial = Trial(job)
        self.kinds = list(_kinds(job))
        self._seats: dict[tuple[str, float], Seat | None] = {}

    def against(self, laid: Laid) -> str:
        """What to do about a piece that can move; empty where it cannot."""
        free = [m for m in laid.motions if m.kind == "free"]
        if not free:
            return ""
        for motion in free:
            found = next(self._tried(laid, motion), None)
            if found is not None:
                return found
        units = self.job.scene.units
        for motion in free:
            if motion.stop is not None:
                x, y, z = (show(v, units) for v in motion.stop.point)
                return (
                    f"put a stop {motion.stop.words}, at x {x}, y {y}, z {z} from A1; of the blocks in this setup none "
                    "comes to lie there from a hole: take one that can be set, or shim it"
                )
        return "put a stop against the end towards which it can move"

    def _tried(self, laid: Laid, motion: Motion) -> Iterator[str]:
        if motion.stop is None:
            return
        for place in islice(self._places(motion.stop.point, motion.stop.normal), TRIES):
            try:
                after = with_block(self.job, place)
            except FixtureError:
                continue
            if place.name not in after.seats or not self._ends(laid, motion, after, place.name):
                continue
            if self.trial.takes(after, place.name):
                like = next(name for name, seat in self.job.seats.items() if _kind(seat.place) == _kind(place))
                notch = f", notch {place.notch}" if place.notch is not None else ""
                yield (
                    f"one more block like {like} in hole {place.hole}, turn = {place.turn:g}{notch}: tried, it comes "
                    f"{motion.stop.words}; whether the torch still has room there the next run tells"
                )

    def _ends(self, laid: Laid, motion: Motion, after: Job, name: str) -> bool:
        for body in after.of_item(name):
            if body.role == "block":
                block = standing(name, Placed(name, body.shape, body.body_to_world))
                if self.table.held_by(laid.loose, block, motion):
                    return True
        return False

    def _places(self, point: Array, push: Array) -> Iterator[Place]:
        """Places of blocks like those in use whose pad comes to lie in the plane of the stop, nearest first."""
        name = self._fresh()
        found: list[tuple[float, int, Place]] = []
        for kind in self.kinds:
            for turn in (0.0, 90.0, 180.0, 270.0):
                found += self._standing(name, kind, turn, point, push, len(found))
        for _, _, place in sorted(found, key=lambda one: one[:2]):
            yield place

    def _fresh(self) -> str:
        return next(f"S{k}" for k in range(1, 1000) if f"S{k}" not in self.job.seats)

    def _standing(
        self, name: str, kind: Place, turn: float, point: Array, push: Array, count: int
    ) -> Iterator[tuple[float, int, Place]]:
        seat, base = self._seat(name, kind, turn)
        if seat is None:
            return
        for pad in placed_pads(seat):
            if float(pad.normal @ push) < _LOOKS:
                continue
            high = (pad.pad.width if abs(float(pad.along[2])) < 0.5 else pad.pad.length) / 2.0
            if abs(float(pad.at[2] - point[2])) > high + 10.0:
                continue
            for steps, notch in self._steps(seat, pad, point, push):
                hole = _shifted(self.job, base, steps)
                if hole is not None:
                    update = {"name": name, "hole": hole, "turn": turn, "notch": notch}
                    beside = float(np.linalg.norm((pad.at + steps_mm(self.job, steps) - point)[:2]))
                    count += 1
                    yield round(beside, 3), count, kind.model_copy(update=update)

    def _seat(self, name: str, kind: Place, turn: float) -> tuple[Seat | None, str]:
        """A block of a kind, turned, in the hole in which one of the kind stands; made once."""
        key = (_kind(kind), turn)
        if key not in self._seats:
            place = kind.model_copy(update={"name": name, "turn": turn})
            try:
                self._seats[key] = with_block(self.job, place).seats.get(name)
            except FixtureError:
                self._seats[key] = None
        return self._seats[key], str(kind.hole)

    def _steps(
        self, seat: Seat, pad: PlacedPad, point: Array, push: Array
    ) -> Iterator[tuple[tuple[int, int], int | None]]:
        """Whole holes (columns, rows), and the notch, that bring a pad into the plane."""
        pitch = np.array(self.job.table.pitch)
        axis = int(np.argmax(np.abs(push[:2])))
        if abs(float(push[axis])) < _LOOKS:
            return
        gap = float(point[axis] - pad.at[axis])
        beside = 1 - axis
        middle = round(float(point[beside] - pad.at[beside]) / float(pitch[beside]))
        move = seat.part.move()
        notched = pad.pad.moves and move is not None and move.notch is not None
        notches: list[int | None] = list(range(move.notches + 1)) if notched and move is not None else [None]
        for notch in notches:
            out = 0.0 if notch is None or move is None or move.notch is None else notch * move.notch - seat.slide
            left = (gap - out * float(push[axis])) / float(pitch[axis])
            if abs(left - round(left)) * float(pitch[axis]) > SHOP.contact:
                continue
            for side in range(middle - _SIDE, middle + _SIDE + 1):
                steps = (round(left), side) if axis == 0 else (side, round(left))
                yield steps, notch


def steps_mm(job: Job, steps: tuple[int, int]) -> Array:
    """Whole holes as a shift, (3,) mm."""
    return np.array([steps[0] * job.table.pitch[0], steps[1] * job.table.pitch[1], 0.0])


def _kinds(job: Job) -> Iterator[Place]:
    """Each kind of block in use that stands in a hole of the table, once."""
    seen = set()
    for seat in job.seats.values():
        place = seat.place
        if isinstance(place, Clamp) or place.hole is None or ":" in place.hole or place.free is not None:
            continue
        if _kind(place) not in seen:
            seen.add(_kind(place))
            yield place.model_copy(update={"shims": (), "notch": None, "slide": None, "pins": None, "stages": None})


def _kind(place: Place) -> str:
    return repr((place.model, sorted(place.with_.items()), place.face, place.bolt))


def _shifted(job: Job, hole: str, steps: tuple[int, int]) -> str | None:
    """The hole so many columns and rows further; None where there is none."""
    table = job.table
    at = np.asarray(table.find(hole).xyz) + steps_mm(job, steps)
    found = table.hole_near((float(at[0]), float(at[1])), SHOP.contact)
    return None if found is None else found.name
