"""What the shop already owns goes before what would have to be made."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import combinations, islice
from typing import TYPE_CHECKING, Final

import numpy as np

from fixture3d.checks.locating_kinds import How, Kind
from fixture3d.checks.locating_places import Places
from fixture3d.errors import ModelError
from fixture3d.frame import Array
from fixture3d.job import PlacedPad, Seat
from fixture3d.job.inventory import given, table_pattern
from fixture3d.job.owned import Stocked, allot, is_shim
from fixture3d.need.corner import Candidate
from fixture3d.need.spot import Spot
from fixture3d.need.stacks import RISERS, Upper, on_risers
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

_THEM: Final = "the shop owns them: nothing is to be made"


def owned(designs: Designs) -> Iterator[Candidate]:
    """Blocks on the shelf that do it as they are, stacked, or with shims from the shelf; marked ones by their mark."""
    spots = designs.spots
    below = len(spots) == 1 and spots[0].side == "below"  # the height is then that of the piece
    if not designs.job.scene.stock or designs.given or (designs.height is not None and not below):
        return
    if "below" not in (spot.side for spot in spots):
        yield from _beside(designs) if len(spots) == 1 else ()
        return
    for one in shelf(designs) if not designs.stack else ():
        place = placed(designs, one)
        if len(spots) == 2:
            yield from _in_corner(designs, place)
        elif spots[0].out[2] < -LOOKS:
            yield from _below(designs, place, one)
    if below and spots[0].out[2] < -LOOKS:
        yield from _stacked(designs)


def shelf(designs: Designs) -> Iterator[Stocked]:
    """The blocks that are free and stand on dowels, of the wanted model."""
    for one, _ in _free(designs):
        if designs.wanted(one.part.model):
            yield one


def _free(designs: Designs) -> Iterator[tuple[Stocked, int]]:
    for one, count in allot(designs.job, table_pattern(designs.job.scene)).free():
        if one.part.tip() is None and one.part.stands == "pins" and not is_shim(one.part):
            yield one, count


def placed(designs: Designs, one: Stocked) -> Place:
    """One of them in some hole, by its mark where it has one."""
    place = Place(name="S0", model=one.part.model, hole=designs.job.table.nearest_holes((0.0, 0.0), 1)[0].name)
    return place.model_copy(update={"with_": given(one.part, designs.job.scene.units), "mark": one.mark})


def _below(designs: Designs, place: Place, one: Stocked) -> Iterator[Candidate]:
    spot = designs.spots[0]
    ways = _ways(spot, one)
    if ways is None:
        return
    turns, axis = ways
    if turns == DIAGONAL:
        try:
            place = place.model_copy(update={"pin": diagonal_pin(one.part)})
        except ModelError:  # without bores for that turn it stands along the rows only
            return

    def pads_of(seat: Seat) -> list[PlacedPad]:
        pads = carrying(seat, axis)
        return pads if pads and abs(_carries(pads, spot.diameter, axis) - float(spot.centre[2])) <= SHOP.contact else []

    fixed = [] if axis is None else [np.array([-axis[1], axis[0], 0.0])]
    for where in islice(designs.holes(place, turns, pads_of, fixed), _EACH):
        yield Candidate(places=(where,), words=_WORDS["owned"], owned=True)


def _ways(spot: Spot, one: Stocked) -> tuple[tuple[float, ...], Array | None] | None:
    """Turns in which a block may carry the piece, and the axis of the piece for a V; None where it cannot."""
    if not spot.diameter or one.part.takes is None:
        return TURNS, None
    thin, thick = one.part.takes
    if spot.axis is None or not thin <= spot.diameter <= thick:
        return None
    if is_square(spot.axis):
        return TURNS, spot.axis
    return (DIAGONAL, spot.axis) if is_diagonal(spot.axis) else None


def _stacked(designs: Designs) -> Iterator[Candidate]:
    """A block on risers, all from the shelf, where together they are as high as it takes."""
    spot = designs.spots[0]
    free = list(_free(designs))
    for one in shelf(designs):
        ways = _ways(spot, one)
        if ways is None:
            continue
        turns, axis = ways
        place = placed(designs, one)
        standing = (designs.seat(place.model_copy(update={"turn": turn})) for turn in turns)
        pads = next((pads for seat in standing if seat is not None and (pads := carrying(seat, axis))), [])
        if not pads:
            continue
        height = _carries(pads, spot.diameter, axis)
        upper = Upper(key="height", place=place, part=one.part, height=height)
        risers = [
            each
            for each, count in free
            if each.part.model == "riser"
            for _ in range(min(count - (each is one), RISERS))
        ]
        seen: set[tuple[int, ...]] = set()
        for under in (under for count in range(1, RISERS + 1) for under in combinations(risers, count)):
            key = tuple(map(id, under))
            total = sum(each.part.box()[1][2] for each in under)
            level = {tuple(socket.at[:2] for socket in each.part.sockets()) for each in under}
            if key in seen or abs(total + height - float(spot.centre[2])) > SHOP.contact or len(level) > 1:
                continue
            seen.add(key)
            lower = tuple((placed(designs, each), each.part) for each in under)
            try:
                for found in islice(on_risers(designs, lower, upper, axis), _EACH):
                    yield replace(found, words=f"{found.words}; {_THEM}", owned=True)
            except ModelError:  # a riser without bores for 45 degrees
                continue


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
