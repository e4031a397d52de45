"""Plastics that blocks are printed of: what they shrink by, and where they soften.

Shrinkage is the middle of what public print guides give; they disagree. Where a plastic softens is from memory.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True, kw_only=True)
class Plastic:
    """What a print is made of.

    Attributes:
        shrinks: linear, as a share.
        span: what sources say of that, per cent, in words.
        softens: where it gives way, in words.
    """

    shrinks: float
    span: str
    softens: str


PLASTICS: Final[dict[str, Plastic]] = {
    "PLA": Plastic(shrinks=0.002, span="0.1 to 0.3 %", softens="about 60 °C"),
    "PETG": Plastic(shrinks=0.004, span="0.2 to 0.6 %", softens="75 to 80 °C"),
    "ABS": Plastic(shrinks=0.007, span="0.4 to 0.9 %, others 0.7 to 1.6 %", softens="95 to 105 °C"),
    "ASA": Plastic(shrinks=0.0055, span="0.4 to 0.7 %, others 1.0 to 1.5 %", softens="95 to 105 °C"),
}


def plastic_named(name: str) -> Plastic | None:
    """The plastic of that name in any case; None where it is not known.

    >>> plastic_named("petg").shrinks
    0.004
    """
    return PLASTICS.get(name.strip().upper())
