"""What another seat of one block would gain in one figure: a second pin, pins further apart, a relieved second pin."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from fixture3d import frame
from fixture3d.accuracy.pins import Pins, diamond, hole_contributors, seat_contributors, wider
from fixture3d.accuracy.stack import Contributor, Loaded, Stack, combine, stack_up
from fixture3d.job import Job, Seat
from fixture3d.job import seat as seating
from fixture3d.job.looseness import pins_of
from fixture3d.tolerance import ACCURACY

__all__ = ["Gain", "gains"]

_OF_SEAT = ("seat", "seat turn", "table pitch")


@dataclass(frozen=True, kw_only=True)
class Gain:
    """One other seat in words, how far apart its pins are, and how far off the figure is likely with it, and now."""

    words: str
    apart: float
    likely: float
    now: float


def gains(
    job: Job, block: str, stack: Stack, loaded: Sequence[Loaded], stands_on: Mapping[str, str]
) -> tuple[Gain, ...]:
    """What other seats of a block would make of a figure, the best first; those that gain nothing are left out.

    Args:
        job: the setup.
        block: whose seat is tried.
        stack: of the figure, as it is.
        loaded: the pieces.
        stands_on: block to the block below it.
    """
    kept = [t for t in stack.terms if t.body != block or t.cause not in _OF_SEAT]
    out = []
    for words, apart, contributors in _others(job, job.seats[block]):
        (new,), _ = stack_up([stack.figure], loaded, contributors, stands_on)
        likely = _half(combine(stack.figure, [*kept, *new.terms]))
        if likely < _half(stack) * (1.0 - ACCURACY.gain):
            out.append(Gain(words=words, apart=apart, likely=likely, now=_half(stack)))
    return tuple(sorted(out, key=lambda gain: (gain.likely, gain.words)))


def _half(stack: Stack) -> float:
    """The greater likely departure, whatever its sense, about the middle of what is to be expected."""
    low, high = stack.span
    return max(stack.bias - low, high - stack.bias)


def _others(job: Job, seat: Seat) -> Iterator[tuple[str, float, list[Contributor]]]:
    """Other seats in words, how far apart their pins are, mm, and what is then off."""
    pins = pins_of(job, seat)
    pitch = min(job.table.pitch)
    if pins is None:
        second = _second(job, seat, pitch)
        if second is not None:
            yield "a second pin", second.spacing, _seated(job, seat, second)
        return
    further = wider(pins, pitch)
    yield "pins further apart", further.spacing, _seated(job, seat, further)
    close = seating.fit(seat.part.pattern.bore, job.scene.table.bore_limits, ACCURACY.close).most
    yield "a close pin and a diamond pin", pins.spacing, _seated(job, seat, diamond(pins, close))


def _seated(job: Job, seat: Seat, pins: Pins) -> list[Contributor]:
    pitch = ACCURACY.pitch if job.table.pitch_tolerance is None else job.table.pitch_tolerance
    holes = [] if seat.stacked or pitch <= 0.0 else hole_contributors(seat.name, pins, pitch / 2.0)
    return [*seat_contributors(seat.name, pins), *holes]


def _second(job: Job, seat: Seat, pitch: float) -> Pins | None:
    """A block on one pin with a second one: in the bore of its own that is furthest away, else one pitch along it."""
    from fixture3d.job.resolve import dowel_fit

    single = next((p for p in seat.pins if p.state == "seated"), None)
    if single is None:
        return None
    others = [p.at for p in seat.pins if p is not single]
    along = frame.directions(seat.model_to_world, np.array([1.0, 0.0, 0.0]))
    second = max(others, key=lambda at: float(np.linalg.norm(at - single.at)), default=single.at + pitch * along)
    most = dowel_fit(job, seat).most
    return Pins(single.at, second, seat.plane_to_world[:3, 2], (most, most))
