"""When two blocks of a setup can stand in for each other."""

from __future__ import annotations

import dataclasses
from collections.abc import Hashable

from fixture3d.job import Seat


def block_kind(seat: Seat) -> Hashable:
    """What two blocks have in common that can stand in for each other: model, every parameter, and the hole pattern.

    A pattern in inches is another one than the same in millimetres: what follows from it is rounded otherwise.
    """
    part = seat.part
    values = tuple(
        (f.name, round(float(getattr(part, f.name)), 4)) for f in dataclasses.fields(part) if f.name != "pattern"
    )
    return seat.model, values, round(part.pattern.pitch, 4), round(part.pattern.bore, 4), part.pattern.inch
