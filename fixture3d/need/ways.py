"""Directions in which blocks stand, along the rows, square to them and at 45 degrees, and pads that look up."""

from __future__ import annotations

import itertools
import math
from typing import Final

from fixture3d.errors import ModelError
from fixture3d.frame import Array
from fixture3d.job import PlacedPad, Seat, placed_pads
from fixture3d.part import Part
from fixture3d.tolerance import SHOP

TURNS: Final = (0.0, 90.0, 180.0, 270.0)
DIAGONAL: Final = (45.0, 135.0, 225.0, 315.0)
ROOT2: Final = math.sqrt(2.0)
LEVEL: Final = 1e-3
"""Sine; a direction this near to one is taken as it."""
LOOKS: Final = 0.999
"""Cosine; a pad that looks the asked way."""


def is_square(axis: Array) -> bool:
    """Whether a level direction runs along rows or columns."""
    return max(abs(float(axis[0])), abs(float(axis[1]))) > 1.0 - LEVEL**2


def is_diagonal(axis: Array) -> bool:
    """Whether a level direction runs at 45 degrees to them."""
    return abs(abs(float(axis[0])) - abs(float(axis[1]))) < LEVEL


def diagonal_pin(part: Part) -> str:
    """Name of the first of two bores in the underside that are on the grid when the block stands at 45 degrees.

    Raises:
        ModelError: it has none.
    """
    below = [pin for pin in part.pins() if pin.face == "bottom"]
    for first, other in itertools.pairwise(below):
        span = (other.at[0] - first.at[0] - ROOT2 * part.pattern.pitch, other.at[1] - first.at[1])
        if math.hypot(*span) < SHOP.contact:
            return first.name
    raise ModelError(f"{part.model}: it has no two bores for 45 degrees; expected a longer or deeper one")


def nearest_turns(degrees: float) -> list[float]:
    """The two turns between which a level direction lies, degrees.

    >>> nearest_turns(30.0), nearest_turns(150.0)
    ([0.0, 45.0], [135.0, 0.0])
    """
    low = math.floor(degrees / 45.0) * 45.0
    return [low, (low + 45.0) % 180.0]


def carrying(seat: Seat, axis: Array | None) -> list[PlacedPad]:
    """The pads that carry: level ones, or for a round piece the two flats of a V that opens upward along its axis."""
    pads = placed_pads(seat)
    if axis is None:
        top = [pad for pad in pads if float(pad.normal[2]) > LOOKS]
        return sorted(top, key=lambda pad: -float(pad.at[2]))[:1]
    flats = [pad for pad in pads if 0.1 < float(pad.normal[2]) < LOOKS and abs(float(pad.normal @ axis)) < 1e-3]
    return flats if len(flats) == 2 else []
