"""A block in the corner under a piece: ledge, shoulder, and a groove between them for the corner of the stock."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import islice
from typing import TYPE_CHECKING, Final

import numpy as np

from fixture3d.checks.locating_kinds import How, Kind
from fixture3d.checks.locating_places import Places
from fixture3d.job import placed_pads
from fixture3d.need.ways import LOOKS
from fixture3d.part import Part, Pattern
from fixture3d.scene.schema import Place
from fixture3d.tolerance import LOCATING, SHOP

if TYPE_CHECKING:
    from fixture3d.need.designs import Designs

_EACH: Final = 12  # places of one block that are tried
_SHOULDER: Final = 10.0  # mm; least height of the shoulder of a step block, more where the piece is higher


@dataclass(frozen=True, kw_only=True)
class Candidate:
    """Blocks in their places, the lowest first, the last holds the piece; names are not given yet.

    ``owned``: the shop has it, none is to be made.
    """

    places: tuple[Place, ...]
    words: str
    owned: bool = False


def in_corner(designs: Designs) -> Iterator[Candidate]:
    """A step block: the ledge below, the shoulder beside; the ledge wider than the corner of the piece is round."""
    below, side = designs.spots
    if below.diameter or side.diameter:
        designs.note(f"{below.piece} is round and has no corner for a step; nearest: --from below, a V-block")
        return
    if not designs.wanted("step_block"):
        return
    near = designs.job.table.nearest_holes((float(side.point[0]), float(side.point[1])), 1)
    made = _stepped(designs, _top(designs), {})
    if made is None or not near:
        return
    # Where the torch has no room beside it, the shoulder may be lower and the block shorter.
    pattern, low = designs.pattern, min(_top(designs), _low_top(designs))
    short: dict[str, float | int] = {"length": pattern.neat(pattern.pitch + 2.0 * pattern.bore)}
    kinds = [made]
    for other in (_stepped(designs, low, {}), _stepped(designs, low, short)):
        kinds += [other] if other is not None and other not in kinds else []
    places, offered = Places(designs.job), False
    hows: tuple[How, ...] = ("shipped", "shimmed")
    for how in hows:
        for block, part in kinds:
            kind = Kind(how, block.model_copy(update={"hole": near[0].name}))
            found = places.of_kind(kind, designs.box(side), side.point, -side.out)
            for place in islice((one for one in found if _by_shoulder(designs, one)), _EACH):
                offered = True
                words = _words(designs, part) + (", with a shim" if how == "shimmed" else "")
                yield Candidate(places=(place,), words=words)
    off = 0.0 if offered else _shoulder_off(designs, made[1])
    if off > SHOP.contact:
        pitch = designs.job.table.pitch[int(np.argmax(np.abs(side.out)))]
        way, move = "y" if abs(float(side.out[1])) > LOOKS else "x", off if off <= pitch / 2.0 else off - pitch
        designs.note(
            f"the shoulder of a step_block stands {designs.show(off)} off the side of {side.piece} in the nearest "
            f"holes, and a shim makes up for {designs.show(LOCATING.shim)} at most; nearest: the work moved by "
            f"{designs.show(move * float(np.sign(side.out.sum())))} in {way} ([weldment] offset), or two blocks, "
            f"--from below and --from {side.side}"
        )


def _by_shoulder(designs: Designs, place: Place) -> bool:
    """Whether it is the shoulder, or the shim before it, that comes to lie against the side: its front is too low."""
    side, seat = designs.spots[1], designs.seat(place)
    pads = [pad for pad in placed_pads(seat) if pad.pad.name == "shoulder"] if seat is not None else []
    return any(abs(float((pad.at - side.point) @ side.out)) <= SHOP.contact for pad in pads)


def groove(sharpest: float, pattern: Pattern) -> float:
    """Radius of the largest groove, as cutters have it, that takes nothing of the flats beside a round corner, mm.

    Args:
        sharpest: the smallest outer radius that the standard of the stock allows, mm; 0 for none.
        pattern: of the table; cutters go by 1 mm or 1/16 in of diameter.

    >>> groove(4.8, Pattern(pitch=50.0, bore=16.0)), groove(0.0, Pattern(pitch=50.0, bore=16.0))
    (4.5, 0.0)
    """
    step = 25.4 / 32.0 if pattern.inch else 0.5
    return float(np.floor(sharpest / step + 1e-9)) * step


def _top(designs: Designs) -> float:
    """Of the shoulder, mm: as asked for, else a little over the middle of the side."""
    below, side = designs.spots
    ledge, pattern = float(below.point[2]), designs.pattern
    if designs.height is not None:
        return designs.height
    return pattern.neat(max(float(side.point[2]) + LOCATING.over, ledge + _SHOULDER))


def _low_top(designs: Designs) -> float:
    """Of a shoulder that only just meets the flat above the corner of the stock, mm."""
    below = designs.spots[0]
    return designs.pattern.neat(float(below.point[2]) + max(_SHOULDER, below.corner + 7.0))


def _stepped(designs: Designs, top: float, more: Mapping[str, float | int]) -> tuple[Place, Part] | None:
    """A step block with so high a shoulder, its groove the largest that costs no contact and has steel around it."""
    below, pattern = designs.spots[0], designs.pattern
    relief = groove(below.sharpest, pattern)
    sizes: dict[str, float | int] = {**more, "ledge": float(below.point[2]), "height": top}
    made = designs.place("step_block", sizes)
    if made is None:
        return None
    need = pattern.neat(below.corner + pattern.bore)
    if need > float(getattr(made[1], "ledge_width", need)):
        sizes["ledge_width"] = need
        made = designs.place("step_block", sizes)
    usual, noted = float(getattr(made[1], "relief", 0.0)) if made is not None else 0.0, len(designs.notes)
    while relief > usual + SHOP.contact and "relief" not in designs.given:
        fits = designs.place("step_block", {**sizes, "relief": relief})
        del designs.notes[noted:]  # of a groove that was too large; a smaller one is taken
        if fits is not None:
            return fits
        relief = groove(relief - SHOP.contact, pattern)
    return made


def _words(designs: Designs, part: Part) -> str:
    below, relief = designs.spots[0], float(getattr(part, "relief", 0.0))
    words = f"ledge at {designs.show(float(below.point[2]))}, "
    words += f"a groove of radius {designs.show(relief)} in its corner" if relief else "its corner sharp"
    if not below.corner:
        return words
    lost = relief - below.sharpest
    beside = f"{designs.show(lost)} of its flats lies over" if lost > SHOP.contact else "its flats begin beside"
    return (
        f"{words}; the corner of {below.piece} is round by {designs.show(below.sharpest)} or more, {beside} the groove"
    )


def _shoulder_off(designs: Designs, part: Part) -> float:
    """How far the shoulder stays from the side in the nearest row in which it does not run into it, mm."""
    side = designs.spots[1]
    pad = next((pad for pad in part.pads() if pad.name == "shoulder"), None)
    if pad is None:
        return 0.0
    axis = int(np.argmax(np.abs(side.out)))
    pitch = designs.job.table.pitch[axis]
    off = float(pad.at[1]) - float(side.point @ side.out)  # the shoulder looks to -Y of its block
    return (off + SHOP.contact) % pitch - SHOP.contact
