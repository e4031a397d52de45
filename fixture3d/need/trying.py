"""Whether blocks that are proposed do it: each stands, is clear and touches the piece, and the torch keeps its room."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property

from fixture3d.checks.locating_torch import Room
from fixture3d.checks.trial import Trial
from fixture3d.errors import FixtureError, listed
from fixture3d.job import Job, PlacedPad, placed_pads
from fixture3d.job.contact import touching_pads
from fixture3d.job.resolve import with_block
from fixture3d.need.spot import Spot
from fixture3d.scene.schema import Place
from fixture3d.tolerance import SHOP

_AGAINST = 0.1  # cosine; a pad that pushes against the asked side at all, as the flats of a V do


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """What came of one try.

    Attributes:
        after: the setup with the blocks; None where one cannot stand.
        why: what is wrong; empty where nothing is.
        off: mm along the piece from the asked place to the nearest of the pads that touch; 0 where they cover it.
        at: mm along the piece of the middle of these pads.
        lost: welds of which the torch then reaches less.
    """

    after: Job | None
    why: str = ""
    off: float = 0.0
    at: float = 0.0
    lost: tuple[str, ...] = ()


@dataclass
class Tries:
    """A setup in which blocks are tried.

    Attributes:
        job: the setup.
        count: how many were tried.
    """

    job: Job
    count: int = field(default=0)

    @cached_property
    def _trial(self) -> Trial:
        return Trial(self.job)

    @cached_property
    def _room(self) -> Room:
        return Room(self.job)

    def put(self, places: Sequence[Place], spots: Sequence[Spot], *, reason: bool = True) -> Outcome:
        """Put blocks in, the lowest first, of which the last is to hold the piece at all spots.

        ``reason``: also find out what exactly a block runs into, which takes longer than that it does.
        """
        self.count += 1
        after = self.job
        for place in places:
            before, trial = after, self._trial if after is self.job else Trial(after)
            try:
                after = with_block(before, place)
            except FixtureError as error:
                return Outcome(after=None, why=str(error).splitlines()[0])
            if place.name not in after.seats:
                return Outcome(after=None, why=f"{place.model} cannot stand there")
            if not trial.takes(after, place.name):
                return Outcome(after=None, why=_taken(after, place) if reason else "it cannot stand there")
        pads = touched(after, places[-1].name, spots)
        if not pads:
            sides = " and ".join(spot.side for spot in spots)
            return Outcome(after=after, why=f"it does not touch {spots[0].piece} from {sides} there")
        lost = {weld for place in places for weld in (self._room.loses(after, place.name) if self.job.welds else ())}
        off, at = beside(pads, spots[0])
        return Outcome(after=after, lost=tuple(sorted(lost)), off=off, at=at)


def touched(after: Job, name: str, spots: Sequence[Spot]) -> list[PlacedPad]:
    """The pads of a block that touch the piece as asked; empty unless they do so from every side.

    A round that lies in a V must lie on both flats.
    """
    alone = dataclasses.replace(after, seats={name: after.seats[name]}, bodies=after.pieces())
    touching = {touch.pad for touch in touching_pads(alone) if touch.piece == spots[0].piece}
    vee = spots[0].diameter > 0.0 and after.seats[name].part.takes is not None
    out: list[PlacedPad] = []
    for spot in spots:
        against = [pad for pad in placed_pads(after.seats[name]) if float(pad.normal @ spot.out) < -_AGAINST]
        mine = [pad for pad in against if pad.pad.name in touching]
        if len(mine) < (2 if vee else 1):
            return []
        out += mine
    return out


def beside(pads: Sequence[PlacedPad], spot: Spot) -> tuple[float, float]:
    """How far beside the asked place the nearest pad begins, and where the middle of what they touch is, mm along it.

    What of a pad lies beyond an end of the piece touches nothing.
    """
    import numpy as np

    if spot.along is None:
        return 0.0, 0.0
    gaps, middles = [], []
    for pad in pads:
        across = np.cross(pad.normal, pad.along)
        lean = abs(float(spot.along @ pad.along)), abs(float(spot.along @ across))
        half = (lean[0] * pad.pad.length + lean[1] * pad.pad.width) / 2.0
        at = spot.at + float((pad.at - spot.point) @ spot.along)
        low, high = np.clip((at - half, at + half), 0.0, spot.length)
        gaps.append(max(0.0, low - spot.at, spot.at - high))
        middles.append((low + high) / 2.0)
    return float(min(gaps)), float(np.mean(middles))


def _taken(after: Job, place: Place) -> str:
    """Why a block cannot stand where it is put, as far as that is one thing."""
    seat = after.seats[place.name]
    what = f"a {place.model} in {place.hole}" if place.hole else f"a {place.model} on {place.on}"
    if seat.complaint:
        return f"{what}: {seat.complaint}"
    used = {hole for name, other in after.seats.items() if name != place.name for hole in other.holes}
    if set(seat.holes) & used:
        return f"{what} would need {listed(sorted(set(seat.holes) & used))}, where another block stands"
    if any(pin.state in ("off", "off table", "blocked") for pin in seat.pins):
        return f"{what} finds no hole for one of its dowels"
    met = {pair[1]: depth for pair, depth in Trial(after).meets(frozenset({place.name})).depths.items()}
    into = [name for name, depth in met.items() if depth > SHOP.contact]
    return f"{what} would run into {listed(sorted(into))}" if into else f"{what} has too little under it"
