"""The file that ``new`` writes: the smallest useful scene, with a word on each key."""

from __future__ import annotations

from typing import Literal

_TABLES = {"mm": '"50/16 2000x1000"', "in": '"2/(3/4) 96x48"'}
_SCENE = """\
format = 1
title = "First setup"
units = "{units}"
table = {table:<24}   # hole pitch / bore, and the size of the table

# A block stands with its first pin in the named hole. See: fixture3d models
[[place]]
name = "S1"
model = "stop_block"
hole = "C4"
turn = 0                           # degrees, counter-clockwise seen from above
"""


def starter(units: Literal["mm", "in"]) -> str:
    """The text of a small commented scene."""
    return _SCENE.format(units=units, table=_TABLES[units])
