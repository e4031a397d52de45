"""A plan in parts: where a large table is parted so that its hole names can be read, and how the parts are joined.

Neighbours share one line of holes: their sheets are laid over each other on it. Only parts with something on them are
drawn.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from fixture3d.frame import Array
from fixture3d.job import Job
from fixture3d.sheet import layout
from fixture3d.sheet.layout import BAND, SCALES, Box, Fit
from fixture3d.sheet.marks import UNDER, n, text

LEAST_PITCH: Final = 5.0  # mm of paper from hole to hole; any less and a finger or a ruler takes the next one
MARGIN: Final = 5.0  # mm of paper round a part for the names of its neighbours
MOST: Final = 40
"""With more parts than this the scale is made smaller than ``LEAST_PITCH`` asks: nobody lays out more sheets."""
_ABOVE: Final = 14.0  # mm of page that the words over a part need
_TYPE: Final = 2.9  # mm, of the words for neighbours


@dataclass(frozen=True, kw_only=True)
class Tile:
    """One part of a plan.

    Attributes:
        fit: window, scale, and whether its page lies on its long side.
        number: from 1, from the back left.
        total: how many parts there are.
        left: number of the part there; 0 where there is none, or nothing on it.
        right: likewise.
        above: likewise, towards the back of the table.
        below: likewise, towards the front.
        cuts: where it is joined, for each axis in turn: world mm of the lines shared with a neighbour.
        shared: the hole lines on them, each (0 for a column or 1 for a row, index).
    """

    fit: Fit
    number: int
    total: int
    left: int = 0
    right: int = 0
    above: int = 0
    below: int = 0
    cuts: tuple[tuple[float, ...], tuple[float, ...]] = ((), ())
    shared: tuple[tuple[int, int], ...] = field(default=())


def tiling(job: Job, whole: Fit, pages: Mapping[bool, tuple[float, float]]) -> tuple[Tile, ...]:
    """The parts of a plan that is too small to be read; none for one that can be read.

    Args:
        job: the setup.
        whole: how the plan lies on its page.
        pages: width and height of a page with nothing else on it, by whether it is flipped, mm of paper.

    Returns:
        As few as can be at a pitch of ``LEAST_PITCH`` on paper, as large as their pages allow.
    """
    pitch = min(job.table.pitch)
    if pitch / whole.scale >= LEAST_PITCH - 1e-9:
        return ()
    scales = [scale for scale in SCALES[job.scene.units] if scale < whole.scale]
    fine = [scale for scale in scales if pitch / scale >= LEAST_PITCH - 1e-9] or scales[:1]
    coarse = [scale for scale in scales if scale > fine[-1]] if fine else []
    room = {
        flipped: (width - 2 * (BAND + MARGIN), height - 2 * BAND - MARGIN - _ABOVE - UNDER)
        for flipped, (width, height) in pages.items()
    }
    boxes = np.array([body.box[:, :2] for body in job.bodies]).reshape(-1, 2, 2)
    for last in (fine, *([scale] for scale in coarse)):
        ways = [
            (len(found), scale, flipped, found)
            for scale in last
            for flipped in (False, True)
            if (found := _parts(job, whole.window, scale, room[flipped], boxes)) is not None
        ]
        if ways:
            _, scale, flipped, parts = min(ways, key=lambda way: way[:3])
            return _numbered(job, parts, scale, flipped)
    return ()


@dataclass(frozen=True, kw_only=True)
class _Part:
    """A window in the grid of parts: column from the left, row from the back."""

    column: int
    row: int
    window: Box
    cuts: tuple[tuple[float, ...], tuple[float, ...]]


def _parts(job: Job, window: Box, scale: float, room: tuple[float, float], boxes: Array) -> list[_Part] | None:
    """The parts with something on them, from the back left; None for more than ``MOST``, or where none has room."""
    axes = []
    for k in (0, 1):
        ends = _ends(window[k], window[k + 2], job.table.pitch[k], room[k] * scale)
        if ends is None:
            return None
        axes.append(ends)
    out: list[_Part] = []
    for row, (y0, y1, across) in enumerate(reversed(axes[1])):
        near = boxes[(boxes[:, 0, 1] < y1) & (boxes[:, 1, 1] > y0)]
        if not len(near):
            continue
        for column, (x0, x1, along) in enumerate(axes[0]):
            if not bool(((near[:, 0, 0] < x1) & (near[:, 1, 0] > x0)).any()):
                continue
            out.append(_Part(column=column, row=row, window=(x0, y0, x1, y1), cuts=(along, across)))
            if len(out) > MOST:
                return None
    return out


_Ends = list[tuple[float, float, tuple[float, ...]]]


def _ends(low: float, high: float, pitch: float, most: float) -> _Ends | None:
    """Where an axis is parted: pieces of about one length, each over half a pitch past the line that it shares.

    Returns:
        Low and high end of each, world mm, and the shared lines on it; None where a piece has no room for two holes.
    """
    if high - low <= most:
        return [(low, high, ())]
    if most < 2.0 * pitch:
        return None
    fewest = math.ceil((high - low - pitch) / (most - pitch))
    for count in range(fewest, math.ceil((high - low) / pitch) + 2):
        # Rounded to whole holes a piece may come out too long; then there is one more of them.
        lines = [round((low + (high - low) * k / count) / pitch) * pitch for k in range(1, count)]
        starts = [low, *(line - pitch / 2 for line in lines)]
        stops = [*(line + pitch / 2 for line in lines), high]
        if all(stop - start <= most + 1e-6 for start, stop in zip(starts, stops, strict=True)):
            shared = [tuple(lines[max(0, k - 1) : k + 1]) for k in range(count)]
            return list(zip(starts, stops, shared, strict=True))
    return None


def _numbered(job: Job, parts: Sequence[_Part], scale: float, flipped: bool) -> tuple[Tile, ...]:
    at = {(part.column, part.row): k for k, part in enumerate(parts, start=1)}
    return tuple(
        Tile(
            fit=Fit(window=part.window, scale=scale, flipped=flipped),
            number=k,
            total=len(parts),
            left=at.get((part.column - 1, part.row), 0),
            right=at.get((part.column + 1, part.row), 0),
            above=at.get((part.column, part.row - 1), 0),
            below=at.get((part.column, part.row + 1), 0),
            cuts=part.cuts,
            shared=tuple(
                (axis, round(sign * line / pitch))
                for axis, sign, pitch in zip((0, 1), job.table.naming.signs, job.table.pitch, strict=True)
                for line in part.cuts[axis]
            ),
        )
        for k, part in enumerate(parts, start=1)
    )


def title(job: Job, tile: Tile, thinned: int) -> str:
    """What a part shows, and what lies round it, in a line or two."""
    table, fit = job.table, tile.fit
    x0, y0, x1, y1 = fit.window
    sx, sy = table.naming.signs
    spans = []
    for noun, sign, found, name in (
        ("columns", sx, layout.lines(table.columns, table.pitch[0], sx, x0, x1), layout.column_name),
        ("rows", sy, layout.lines(table.rows, table.pitch[1], sy, y0, y1), layout.row_name),
    ):
        if found:
            ends = (found[0], found[-1])[::sign]  # as they follow each other from the left, or from the front
            spans.append(f"{noun} {name(table, ends[0])} to {name(table, ends[1])}")
    round_ = ", ".join(
        f"part {number} {where}"
        for where, number in (
            ("to the left", tile.left),
            ("to the right", tile.right),
            ("above", tile.above),
            ("below", tile.below),
        )
        if number
    )
    words = f"Plan, part {tile.number} of {tile.total}, scale 1:{fit.scale:g}: {', '.join(spans)}."
    if round_:
        words += f" {round_[0].upper()}{round_[1:]}."
        words += " Parts are laid over each other on the dashed line through the holes that both have."
    if thinned > 1:
        words += f" Only every {thinned}. hole of a row is drawn."
    return words


def borders(out: list[str], fit: Fit, tiles: Sequence[Tile]) -> None:
    """The parts on the overview, each with its number in a corner."""
    for tile in tiles:
        x0, y0, x1, y1 = tile.fit.window
        (u, v), (s, t) = fit.paper(x0, y1), fit.paper(x1, y0)
        out.append(f'<path d="M{n(u)} {n(v)}H{n(s)}V{n(t)}H{n(u)}Z" stroke-width="0.3" stroke-dasharray="3 1 0.6 1"/>')
        label = str(tile.number)
        wide = 2.0 + 2.8 * len(label)
        out.append(f'<path d="M{n(u)} {n(v)}h{n(wide)}v5h{n(-wide)}Z" fill="white" stroke-width="0.3"/>')
        out.append(text(u + wide / 2, v + 2.5, label, 3.8, bold=True))


def joins(out: list[str], job: Job, tile: Tile) -> None:
    """Lines on which neighbours are laid over each other, marks at their ends, and which part lies there."""
    fit = tile.fit
    w, h = fit.size
    for axis, lines in enumerate(tile.cuts):
        for line in lines:
            u, v = fit.paper(line, line)
            if axis == 0:
                out.append(_join(u, BAND, u, h - BAND))
                out += [_diamond(u, end) for end in (-1.2, h + 0.4)]
            else:
                out.append(_join(BAND, v, w - BAND, v))
                out += [_diamond(end, v) for end in (-1.2, w + 1.2)]
    for number, u, v, turn, sign in (
        (tile.above, w / 2, -MARGIN / 2, 0, "▲"),
        (tile.left, -MARGIN / 2, h / 2, -90, "▲"),
        (tile.right, w + MARGIN / 2, h / 2, 90, "▲"),
        (tile.below, w / 2, h + 1.0, 0, "▼"),
    ):
        if number:
            words = text(0.0, 0.0, f"{sign} part {number}", _TYPE, bold=True)
            out.append(f'<g transform="translate({n(u)} {n(v)}) rotate({turn})">{words}</g>')


def _join(u: float, v: float, s: float, t: float) -> str:
    return f'<path d="M{n(u)} {n(v)}L{n(s)} {n(t)}" stroke-width="0.25" stroke-dasharray="4 1.2 0.8 1.2"/>'


def _diamond(u: float, v: float) -> str:
    path = f"M{n(u - 1)} {n(v)}L{n(u)} {n(v - 1)}L{n(u + 1)} {n(v)}L{n(u)} {n(v + 1)}Z"
    return f'<path d="{path}" fill="black" stroke="none"/>'
