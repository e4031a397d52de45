"""Where blocks come to lie against a face of a piece: whole holes, turns by quarters, notches, and shims."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import cached_property

import numpy as np

from fixture3d.checks.locating_kinds import How, Kind, kind_of, kinds
from fixture3d.errors import FixtureError
from fixture3d.frame import Array
from fixture3d.job import Job, PlacedPad, Seat, placed_pads
from fixture3d.job.inventory import shims_left
from fixture3d.job.resolve import with_block
from fixture3d.job.set_shims import made_up
from fixture3d.scene.schema import Place, Shim
from fixture3d.tolerance import LOCATING, SHOP

__all__ = ["LOOKS", "Places", "meets", "spot_of", "used_spots"]

LOOKS = 0.999  # cosine; a pad that looks the way the stop has to push
_SIDE = 4  # holes to either side of the place that is asked for


class Places:
    """Where one more block may stand in a job."""

    def __init__(self, job: Job) -> None:
        self.job = job
        self._seats: dict[tuple[str, float], Seat | None] = {}

    def near(self, how: How, work: Array, point: Array, push: Array) -> Iterator[tuple[Kind, Place]]:
        """Places of one sort of blocks whose pad comes to lie in the plane of the stop, nearest first.

        Args:
            how: which sort.
            work: (2, 3) box of the piece, mm.
            point: (3,) mm, on its face.
            push: (3,) unit, the way the stop has to push.
        """
        name = self._fresh()
        found: list[tuple[float, float, int, Kind, Place]] = []
        for kind in kinds(self.job, how, point, push):
            for turn in (0.0, 90.0, 180.0, 270.0):
                found += self._standing(name, kind, turn, work, point, push, len(found))
        for _, _, _, kind, place in sorted(found, key=lambda one: one[:3]):
            yield kind, place

    def of_kind(self, kind: Kind, work: Array, point: Array, push: Array) -> Iterator[Place]:
        """Places of one kind of block, such as one that is made for it; arguments and order as ``near``."""
        name = self._fresh()
        found: list[tuple[float, float, int, Kind, Place]] = []
        for turn in (0.0, 90.0, 180.0, 270.0):
            found += self._standing(name, kind, turn, work, point, push, len(found))
        for _, _, _, _, place in sorted(found, key=lambda one: one[:3]):
            yield place

    def _fresh(self) -> str:
        return next(f"S{k}" for k in range(1, 1000) if f"S{k}" not in self.job.seats)

    def _standing(
        self, name: str, kind: Kind, turn: float, work: Array, point: Array, push: Array, count: int
    ) -> Iterator[tuple[float, float, int, Kind, Place]]:
        seat = self._seat(name, kind.place, turn)
        if seat is None:
            return
        for pad in placed_pads(seat):
            if float(pad.normal @ push) < LOOKS:
                continue
            for steps, notch, shim in self._steps(seat, pad, point, push, kind.how.endswith("shimmed")):
                shift = steps_mm(self.job, steps)
                hole = _shifted(self.job, str(kind.place.hole), shift)
                by = (shim,) if kind.how != "owned shimmed" else made_up(shim, self._shelf)
                if shim and not by:
                    continue
                if hole is not None and meets(pad, shift, work) and not self._taken(seat, shift):
                    shims = (Shim.model_construct(pad=pad.pad.name, by=by),) if shim else ()
                    update = {"name": name, "hole": hole, "turn": turn, "notch": notch, "shims": shims}
                    beside = float(np.linalg.norm((pad.at + shift - point)[:2]))
                    count += 1
                    yield round(shim, 3), round(beside, 3), count, kind, kind.place.model_copy(update=update)

    @cached_property
    def _shelf(self) -> Mapping[float, int]:
        return shims_left(self.job)

    def _taken(self, seat: Seat, shift: Array) -> bool:
        """Whether one of its dowels would go into a hole in which another stands."""
        return any(spot_of(pin.at + shift) in self._used for pin in seat.pins if pin.state == "seated")

    @cached_property
    def _used(self) -> set[tuple[float, float]]:
        return used_spots(self.job)

    def _seat(self, name: str, place: Place, turn: float) -> Seat | None:
        """A block of a kind, turned, in the hole that it is given in; made once."""
        key = (f"{kind_of(place)} {place.hole}", turn)
        if key not in self._seats:
            try:
                self._seats[key] = with_block(
                    self.job, place.model_copy(update={"name": name, "turn": turn})
                ).seats.get(name)
            except FixtureError:
                self._seats[key] = None
        return self._seats[key]

    def _steps(
        self, seat: Seat, pad: PlacedPad, point: Array, push: Array, shimmed: bool
    ) -> Iterator[tuple[tuple[int, int], int | None, float]]:
        """Whole holes (columns, rows), the notch and the shim (mm, 0 for none) that bring a pad into the plane."""
        pitch = np.array(self.job.table.pitch)
        axis = int(np.argmax(np.abs(push[:2])))
        if abs(float(push[axis])) < LOOKS:
            return
        gap = float(point[axis] - pad.at[axis]) * float(np.sign(push[axis]))
        beside = 1 - axis
        middle = round(float(point[beside] - pad.at[beside]) / float(pitch[beside]))
        move = seat.part.move()
        notched = pad.pad.moves and move is not None and move.notch is not None
        notches: list[int | None] = list(range(move.notches + 1)) if notched and move is not None else [None]
        for notch in notches:
            out = 0.0 if notch is None or move is None or move.notch is None else notch * move.notch - seat.slide
            holes = int(np.floor((gap - out + SHOP.contact) / float(pitch[axis])))
            left = gap - out - holes * float(pitch[axis])
            if not (LOCATING.least_shim <= left <= LOCATING.shim if shimmed else abs(left) <= SHOP.contact):
                continue
            for side in range(middle - _SIDE, middle + _SIDE + 1):
                along = holes * int(np.sign(push[axis]))
                yield ((along, side) if axis == 0 else (side, along)), notch, (round(left, 3) if shimmed else 0.0)


def steps_mm(job: Job, steps: tuple[int, int]) -> Array:
    """Whole holes as a shift, (3,) mm."""
    return np.array([steps[0] * job.table.pitch[0], steps[1] * job.table.pitch[1], 0.0])


def used_spots(job: Job) -> set[tuple[float, float]]:
    """Where dowels stand in the table, x and y to a tenth of a mm."""
    pins = (pin for seat in job.seats.values() if not seat.stacked for pin in seat.pins)
    return {spot_of(pin.at) for pin in pins if pin.state == "seated"}


def spot_of(at: Array) -> tuple[float, float]:
    """A place in the table as ``used_spots`` has it."""
    return round(float(at[0]), 1), round(float(at[1]), 1)


def meets(pad: PlacedPad, shift: Array, work: Array) -> bool:
    """Whether a pad, moved, lies beside the box (2, 3) of a piece: what does not, does not touch it either."""
    across = np.cross(pad.normal, pad.along)
    half = (np.abs(pad.along) * pad.pad.length + np.abs(across) * pad.pad.width) / 2.0
    middle = pad.at + shift
    inside = np.minimum(middle + half, work[1]) - np.maximum(middle - half, work[0])
    return bool((inside[np.abs(pad.normal) < 0.5] >= LOCATING.least).all())


def _shifted(job: Job, hole: str, shift: Array) -> str | None:
    """The hole that lies so far from another; None where there is none."""
    table = job.table
    at = np.asarray(table.find(hole).xyz) + shift
    found = table.hole_near((float(at[0]), float(at[1])), SHOP.contact)
    return None if found is None else found.name
