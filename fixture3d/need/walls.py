"""A block in an upright corner: the two walls of a corner_block against two sides of a post or of a frame's end."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Final

import numpy as np

from fixture3d.job import placed_pads
from fixture3d.need.corner import Candidate
from fixture3d.need.owned import placed, shelf
from fixture3d.need.ways import LOOKS, TURNS
from fixture3d.part import parameters
from fixture3d.scene.schema import Place, Shim
from fixture3d.tolerance import LOCATING, SHOP

if TYPE_CHECKING:
    from fixture3d.need.designs import Designs

_WALLS: Final = ("front wall", "left wall")
_MODEL: Final = "corner_block"


def between_walls(designs: Designs) -> Iterator[Candidate]:
    """A corner_block, its relief no less than the corner of the piece is round; a shim on a wall that stands off."""
    first, other = designs.spots
    if first.diameter or other.diameter:
        designs.note(f"{first.piece} is round there and has no corner; nearest: a vee_block --from {first.side}")
        return
    if not designs.wanted(_MODEL) or _MODEL not in designs.job.library.entries:
        designs.note(f"in a corner of two sides stands a {_MODEL}; leave the model out")
        return
    if not designs.given and designs.height is None:
        for one in shelf(designs):
            if one.part.model == _MODEL:
                for place in _where(designs, placed(designs, one)):
                    if not place.shims:
                        words = "its walls against both; the shop owns it: nothing is to be made"
                        yield Candidate(places=(place,), words=words, owned=True)
    pattern, known = designs.pattern, parameters(designs.job.library.entries[_MODEL].model)
    low = known["height"].resolved("low", pattern)
    height = designs.height or max(pattern.neat(float(first.point[2]) + LOCATING.over), low)
    relief = pattern.neat(max(first.corner, 1.0), step_mm=1.0, step_in=0.0625)
    wide = {"relief": relief} if relief > known["relief"].resolved("default", pattern) + SHOP.contact else {}
    made = designs.place(_MODEL, {"height": height, **({} if "relief" in designs.given else wide)})
    for place in _where(designs, made[0]) if made is not None else ():
        words = "its walls against both" + (", with a shim" if place.shims else "")
        yield Candidate(places=(place,), words=words)


def _where(designs: Designs, place: Place) -> Iterator[Place]:
    """The one place in which both walls look at the piece, where they come to lie against it or a shim does."""
    near = designs.job.table.nearest_holes((float(designs.spots[0].point[0]), float(designs.spots[0].point[1])), 1)
    if not near:
        return
    for turn in TURNS:
        place = place.model_copy(update={"hole": near[0].name, "turn": turn})
        seat = designs.seat(place)
        walls = [pad for pad in placed_pads(seat) if pad.pad.name in _WALLS] if seat is not None else []
        pairs = [(spot, pad) for spot in designs.spots for pad in walls if float(pad.normal @ spot.out) < -LOOKS]
        if len(pairs) < len(designs.spots):
            continue
        at, move, shims = np.asarray(near[0].xyz, dtype=np.float64), np.zeros(3), []
        for spot, pad in pairs:
            pitch = designs.job.table.pitch[int(np.argmax(np.abs(spot.out)))]
            before = float((pad.at - spot.point) @ spot.out)
            off = (before + SHOP.contact) % pitch - SHOP.contact
            at = at + spot.out * (off - before)
            if off > LOCATING.shim or SHOP.contact < off < LOCATING.least_shim:
                move = move + spot.out * (off if off <= pitch / 2.0 else off - pitch)
            elif off > SHOP.contact:
                shims.append(Shim.model_construct(pad=pad.pad.name, by=(round(off, 3),)))
        if move.any():
            ways = [f"{designs.show(float(by))} in {name}" for by, name in zip(move[:2], "xy", strict=True) if by]
            designs.note(
                f"the walls of a {_MODEL} do not come to lie against both sides of {designs.spots[0].piece} from any "
                f"hole, and a shim makes up for {designs.show(LOCATING.shim)} at most; nearest: the work moved by "
                f"{' and '.join(ways)} ([weldment] offset), or a stop for each side"
            )
            return
        hole = designs.job.table.hole_near((float(at[0]), float(at[1])), SHOP.contact)
        if hole is not None:
            yield place.model_copy(update={"hole": hole.name, "shims": tuple(shims)})
