"""A table in one line: ``50/16 2000x1000`` is pitch, bore and size."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from fixture3d import units
from fixture3d.errors import TableError, UnitError, one_line
from fixture3d.scene.sizes import LONGEST, MOST_HOLES_A_SIDE, SMALLEST_BORE


@dataclass(frozen=True, kw_only=True)
class Preset:
    """What a one-line table says, in mm: ``"50/16 2000x1000"``."""

    pitch: float
    bore: float
    columns: int
    rows: int
    edge: tuple[float, float]


def read_preset(text: str, file_units: units.Units = "mm") -> Preset:
    """Read ``pitch/bore length x width``.

    The grid has as many holes as fit with at least half a pitch to the edge, and sits in the middle of the plate.
    Of several slashes the first one counts that leaves a length on both sides: ``2/3/4 96x48`` has 2 in pitch and
    3/4 in bore; brackets, as in ``2/(3/4) 96x48``, are allowed.

    Raises:
        TableError: it cannot be read, or no table has that size.
    """
    parts = text.strip() if len(text) <= 200 else ""
    for space in re.finditer(r"\s+", parts):
        grid = _pair(parts[: space.start()], "/", file_units)
        size = _pair(parts[space.end() :], "x", file_units)
        if grid is not None and size is not None:
            return _preset(grid, size, text)
    example = '"50/16 2000x1000"' if file_units == "mm" else '"2/(5/8) 96x48"'
    raise TableError(f'table "{one_line(text[:60])}" cannot be read; expected pitch/bore and size, as in {example}')


def _pair(text: str, sign: str, file_units: units.Units) -> tuple[float, float] | None:
    """Two lengths at the first ``sign`` that leaves a length on both sides."""
    text = text.replace("×", "x").replace("X", "x")
    for match in re.finditer(re.escape(sign), text):
        try:
            return (
                units.length(_bare(text[: match.start()]), file_units),
                units.length(_bare(text[match.end() :]), file_units),
            )
        except UnitError:
            continue
    return None


def _bare(text: str) -> str:
    text = text.strip()
    return text[1:-1] if text.startswith("(") and text.endswith(")") else text


def _preset(grid: tuple[float, float], size: tuple[float, float], text: str) -> Preset:
    pitch, bore = grid
    if not (pitch > 0.0 and 0.0 < bore < pitch):
        raise TableError(f'table "{one_line(text[:60])}": the bore must be more than 0 and less than the pitch')
    if bore < SMALLEST_BORE:
        raise TableError(
            f'table "{one_line(text[:60])}": a bore of {bore:g} mm: a wrong unit?; expected at least '
            f'{SMALLEST_BORE:g} mm; a table in inches wants units = "in" (--units in)'
        )
    if max(size) > LONGEST or max(size) / pitch > MOST_HOLES_A_SIDE:
        raise TableError(
            f'table "{one_line(text[:60])}" is too large; expected at most 30 m and {MOST_HOLES_A_SIDE} holes a side'
        )
    counts = [math.floor(s / pitch + 1e-9) for s in size]
    if min(counts) < 1:
        raise TableError(f'table "{one_line(text[:60])}" is smaller than one pitch')
    edge = [round((s - (n - 1) * pitch) / 2, 9) for s, n in zip(size, counts, strict=True)]
    return Preset(pitch=pitch, bore=bore, columns=counts[0], rows=counts[1], edge=(edge[0], edge[1]))
