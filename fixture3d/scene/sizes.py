"""Sizes past which a number in a scene is a slip, not a setup. Loads nothing, so that ``models`` starts at once."""

from __future__ import annotations

from typing import Final

MOST_HOLES_A_SIDE: Final = 2000
LONGEST: Final = 30_000.0  # mm; nothing in a weld shop is longer than 30 m
SMALLEST_BORE: Final = 3.0  # mm; no dowel that locates work is thinner, and 3/4 read as mm is a slip of the unit
