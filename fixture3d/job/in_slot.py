"""A clamp in a slot of the table: where along it, and to which of its two sides. Lengths in mm."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np

from fixture3d import frame
from fixture3d.job.clamping import asked_point, straight_in
from fixture3d.part import Part, parameters
from fixture3d.scene.slots import Spot, TableSlot
from fixture3d.tolerance import SHOP

if TYPE_CHECKING:
    from fixture3d.job import Body
    from fixture3d.job.weldment import Weldment
    from fixture3d.scene.schema import Clamp

TAKES: Final = "slot"
"""A model that hooks over the edge and has a parameter of this name, the slot's width, may stand in a slot too."""
SQUARE: Final = 0.5  # degrees that a turn in the file may be off square: nobody writes 33.69007


def takes_slot(model: type[Part]) -> bool:
    """Whether blocks of that model may stand in a slot."""
    return model.stands == "edge" and TAKES in parameters(model)


class SlotMisfit(Exception):
    """A clamp cannot stand in its slot as the scene says.

    Attributes:
        key: of the clamp.
        what: in words.
        expected: likewise.
        nearest: value that would do.
    """

    def __init__(self, key: str, what: str, expected: str = "", nearest: str = "") -> None:
        super().__init__(what)
        self.key, self.what, self.expected, self.nearest = key, what, expected, nearest


def stand_in_slot(
    item: Clamp, part: Part, slot: TableSlot, piece: Body | None, weldment: Weldment | None
) -> tuple[Spot, float]:
    """Where the origin of a clamp comes to lie on the table top, and its turn in degrees.

    Its X is square to the slot and its origin on the side of the slot towards which X points. That is the side
    that ``turn`` names, or else the one on which what it presses lies.

    Args:
        item: the clamp of the scene, with ``along``.
        part: the clamp with its default measures.
        slot: of the table.
        piece: what it presses.
        weldment: for the piece's own axis.

    Raises:
        SlotMisfit: it would stand in a round end or beyond, or nothing says to which side it reaches.
        ValueError: ``at`` is beyond the piece's end, or the piece has no axis to measure along.
    """
    along = item.along or 0.0
    _fits(item, part, slot, along)
    middle = slot.point(along)
    across = math.degrees(math.atan2(slot.way[1], slot.way[0]))
    turns = (round(across + 90.0, 9) % 360.0, round(across - 90.0, 9) % 360.0)
    aside = _aside(item, part, turns[0], middle, piece, weldment)
    turn = _turned(item, turns, aside) if "turn" in item.model_fields_set else _towards(item, slot, turns, aside)
    c, s = frame.cos_sin(turn)
    return (middle[0] + c * slot.width / 2.0, middle[1] + s * slot.width / 2.0), turn


def _fits(item: Clamp, part: Part, slot: TableSlot, along: float) -> None:
    """The bar must stand against the straight side of the slot with all its width."""
    show, half = part.pattern.show, max(abs(y) for _, y in part.foot("bottom"))
    if slot.length < 2.0 * half:
        what = f"{slot.name} is straight for {show(slot.length)} only, and {item.model} is {show(2.0 * half)} wide"
        raise SlotMisfit("slot", what, "a longer slot")
    low, high = half, slot.length - half
    if not low - SHOP.contact <= along <= high + SHOP.contact:
        what = f"along = {show(along)} brings {item.model} into the round end of {slot.name} or beyond it"
        raise SlotMisfit("along", what, f"{show(low)} to {show(high)}", show(min(max(along, low), high)))


def _aside(
    item: Clamp, part: Part, turn: float, middle: Spot, piece: Body | None, weldment: Weldment | None
) -> float | None:
    """How far what it presses lies to the side of that turn, mm; None where it presses nothing that is there."""
    if piece is None or weldment is None:
        return None
    way = np.array(frame.cos_sin(turn))
    asked = asked_point(item, part.pattern, weldment)
    if asked is not None:
        return float((asked[:2] - np.asarray(middle)) @ way)
    return straight_in(np.asarray(middle), way, piece, frame.identity())


def _turned(item: Clamp, turns: tuple[float, float], aside: float | None) -> float:
    """The square turn that the file means."""

    def off(turn: float) -> float:
        return abs((item.turn - turn + 180.0) % 360.0 - 180.0)

    near = min(turns, key=off)
    if off(near) > SQUARE:
        raise SlotMisfit("turn", f"turn = {item.turn:g} is not square to {item.slot}", _either(turns), f"{near:g}")
    if aside is not None and (aside if near == turns[0] else -aside) < -SHOP.contact:
        other = turns[1] if near == turns[0] else turns[0]
        raise SlotMisfit("turn", f"turn = {item.turn:g} reaches away from {item.presses}", nearest=f"{other:g}")
    return near


def _towards(item: Clamp, slot: TableSlot, turns: tuple[float, float], aside: float | None) -> float:
    """The turn to the side on which what it presses lies."""
    if item.presses is None:
        what = f"nothing says to which side of {slot.name} it reaches"
        raise SlotMisfit("slot", what, f"presses, or {_either(turns)}")
    if aside is None:
        return turns[0]  # that there is no such piece is told when it is aimed
    if abs(aside) <= SHOP.contact:
        what = f"{item.presses} lies over the middle of {slot.name}, to neither side of it"
        raise SlotMisfit("slot", what, f"another place, or {_either(turns)}")
    return turns[0] if aside > 0.0 else turns[1]


def _either(turns: tuple[float, float]) -> str:
    return " or ".join(f"turn = {turn:g}" for turn in turns)
