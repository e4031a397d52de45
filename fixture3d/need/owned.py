"""What the shop already owns goes before what would have to be made."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import islice
from typing import TYPE_CHECKING, Final

import numpy as np

from fixture3d.checks.locating_kinds import How, Kind
from fixture3d.checks.locating_places import Places
from fixture3d.frame import Array
from fixture3d.job import PlacedPad, Seat
from fixture3d.job.inventory import given, table_pattern
from fixture3d.job.owned import Stocked, allot, is_shim
from fixture3d.need.corner import Candidate
from fixture3d.need.ways import DIAGONAL, LOOKS, TURNS, carrying, diagonal_pin, is_diagonal, is_square
from fixture3d.scene.schema import Place
from fixture3d.tolerance import SHOP

if TYPE_CHECKING:
    from fixture3d.need.designs import Designs

_EACH: Final = 12  # places of one block that are tried
_WORDS: Final[dict[How, str]] = {
    "owned": "the shop owns it: nothing is to be made",
    "owned shimmed": "the shop owns it: with a shim before it, nothing is to be made",
}


def owned(designs: Designs) -> Iterator[Candidate]:
    """Blocks on the shelf that do it as they are, or with shims from the shelf; those with a mark by their mark."""
    spots = designs.spots
    if not designs.job.scene.stock or designs.given or designs.stack or designs.height is not None:
        return
    if len(spots) == 1 and spots[0].side != "below":
        yield from _beside(designs)
        return
    for one in shelf(designs):
        place = _placed(designs, one)
        if len(spots) == 2:
            yield from _in_corner(designs, place)
        elif spots[0].out[2] < -LOOKS:
            yield from _below(designs, place, one)


def shelf(designs: Designs) -> Iterator[Stocked]:
    """The blocks that are free and stand on dowels, of the wanted model."""
    for one, _ in allot(designs.job, table_pattern(designs.job.scene)).free():
        stands = one.part.tip() is None and one.part.stands == "pins" and not is_shim(one.part)
        if stands and designs.wanted(one.part.model):
            yield one


def _placed(designs: Designs, one: Stocked) -> Place:
    place = Place(name="S0", model=one.part.model, hole=designs.job.table.nearest_holes((0.0, 0.0), 1)[0].name)
    return place.model_copy(update={"with_": given(one.part, designs.job.scene.units), "mark": one.mark})


def _below(designs: Designs, place: Place, one: Stocked) -> Iterator[Candidate]:
    spot = designs.spots[0]
    axis = spot.axis if spot.diameter and one.part.takes is not None else None
    turns = TURNS
    if axis is not None:
        if not is_square(axis):
            if not is_diagonal(axis):
                return
            turns, place = DIAGONAL, place.model_copy(update={"pin": diagonal_pin(one.part)})
        thin, thick = one.part.takes or (0.0, 0.0)
        if not thin <= spot.diameter <= thick:
            return

    def pads_of(seat: Seat) -> list[PlacedPad]:
        pads = carrying(seat, axis)
        return pads if pads and abs(_carries(pads, spot.diameter, axis) - float(spot.centre[2])) <= SHOP.contact else []

    fixed = [] if axis is None else [np.array([-axis[1], axis[0], 0.0])]
    for where in islice(designs.holes(place, turns, pads_of, fixed), _EACH):
        yield Candidate(places=(where,), words=_WORDS["owned"], owned=True)


def _carries(pads: list[PlacedPad], diameter: float, axis: Array | None) -> float:
    """Height of the face, or of the middle of a round piece, that lies on the pads, mm."""
    if axis is None:
        return float(pads[0].at[2]) + diameter / 2.0
    middle: Array = np.mean([pad.at for pad in pads], axis=0)
    normal = pads[0].normal
    level = float((middle - pads[0].at)[:2] @ normal[:2])
    return float(pads[0].at[2]) + (diameter / 2.0 - level) / float(normal[2])


def _in_corner(designs: Designs, place: Place) -> Iterator[Candidate]:
    below, side = designs.spots
    part = designs.job.library.make(place.model, designs.pattern, place.with_, designs.job.scene.units)
    if not any(abs(pad.at[2] - float(below.point[2])) <= SHOP.contact and pad.normal[2] > LOOKS for pad in part.pads()):
        return
    for how, words in _WORDS.items():
        where = Places(designs.job).of_kind(Kind(how, place, owned=True), designs.box(side), side.point, -side.out)
        for one in islice(where, _EACH):
            yield Candidate(places=(one,), words=words, owned=True)


def _beside(designs: Designs) -> Iterator[Candidate]:
    spot = designs.spots[0]
    for how, words in _WORDS.items():
        for _, place in islice(Places(designs.job).near(how, designs.box(spot), spot.point, -spot.out), _EACH):
            if designs.wanted(place.model):
                yield Candidate(places=(place,), words=words, owned=True)
