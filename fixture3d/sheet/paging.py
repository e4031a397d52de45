"""Whether a smaller plan saves a page: an estimate of how long the lists will be, before anything is set.

The template measures what it sets and puts it where it fits. How large the plan is drawn has to be known before that;
an estimate that is off costs a page or a step of the scale, nothing else.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any, Final

from fixture3d.job import Job
from fixture3d.sheet import layout
from fixture3d.sheet.elevation_drawn import Views, height_of

LEAST_PITCH: Final = 4.9  # mm on paper; in a plan that is made smaller to save a page holes are no nearer than this
_ROW, _HEAD, _GAP, _LINE = 3.55, 5.4, 2.0, 2.9  # mm of a row, of a table's head, between lists, of a line of small type
_STANDS, _SIZE, _SET_TO = 27, 34, 56  # letters on a line: where it stands, a block's size, what a clamp is set to
_BOX_ROW: Final = 4.5  # mm of a row with a box to write in
_TOP_AND_KEY: Final = 26.0  # mm of the words above the plan and of the key below it
_STRIP: Final = 42.0  # mm of picture and cautions where they stand below the plan
_BESIDE: Final = 46.0  # mm; they stand beside the plan where so much is free


def smaller_room(
    job: Job,
    data: Mapping[str, Any],
    room: Mapping[bool, tuple[float, float]],
    page: tuple[float, float],
    views: Views = (),
) -> Mapping[bool, tuple[float, float]]:
    """The room that the plan shall have: all of it, or less where the whole sheet then takes a page less.

    Args:
        job: the setup.
        data: of the sheet, without the plan.
        room: width and height that the plan may have at most, by whether the page is flipped, mm of paper.
        page: width and height of the page within its margins, mm.
        views: the elevations that come with the lists.
    """
    usual, lists = layout.best_fit(job, room), _length(data)

    def pages(fit: layout.Fit) -> int:
        return _pages(fit, lists + height_of(job, views, page[0], fit.scale), page)

    most, least = pages(usual), min(job.table.pitch) / LEAST_PITCH
    for scale in layout.SCALES[job.scene.units]:
        # A plan on its long side has its page for itself: upright, at the same scale, it may leave room for lists.
        if scale < usual.scale or (scale == usual.scale and not usual.flipped) or scale > least:
            continue
        less = {False: _sides(usual, scale)}
        fits = less[False][0] <= room[False][0] and less[False][1] <= room[False][1]
        if fits and pages(layout.best_fit(job, less)) < most:
            return less
    return room


def _sides(fit: layout.Fit, scale: float) -> tuple[float, float]:
    """Width and height of the same drawing at another scale, mm of paper, and a hair more."""
    width, height = ((side - 2 * layout.BAND) * fit.scale / scale + 2 * layout.BAND + 0.01 for side in fit.size)
    return width, height


_WRAPPED: Final = 1.03  # rows of two lines, and room at the foot of pages that no list fits into


def _pages(fit: layout.Fit, long: float, page: tuple[float, float]) -> int:
    """Pages of a sheet whose lists are so long, with a plan of this size."""
    if fit.flipped:
        return 1 + math.ceil(_WRAPPED * long / page[1])
    width, height = fit.size
    strip = 0.0 if page[0] - width >= _BESIDE else _STRIP
    below = max(0.0, page[1] - height - _TOP_AND_KEY - strip)
    return 1 + max(0, math.ceil((_WRAPPED * long - below) / page[1]))


def _length(data: Mapping[str, Any]) -> float:
    """All lists below each other, mm, set as close as they may be."""
    blocks, clamps, welds = data["blocks"], data["clamps"], [row for row in data["welds"] if not row["skip"]]
    groups = {row["group"] for row in blocks}
    wide, tall = sum(_more_lines(row, _SIZE) for row in blocks), sum(_more_lines(row, _SET_TO) for row in clamps)
    lists = [
        (len(blocks) + len(groups)) * _ROW + wide * _LINE + 2 * _LINE + _HEAD if blocks else 0.0,
        len(clamps) * _ROW + tall * _LINE + _HEAD if clamps else 0.0,
        _paragraph(sum(len(step["name"]) + len(step["way"]) + 5 for step in data["loading"]) + 180, data["loading"]),
        _halved(len(data["picks"]) + len(data["small"]), _ROW),
        _halved(len(data["distances"]) + len(data["measures"]), _BOX_ROW) + _LINE,
        len(data["pieces"]) * 0.75 * _ROW + _HEAD + _LINE if data["pieces"] else 0.0,
        len(welds) * _ROW + _HEAD + 2 * _LINE if welds else 0.0,
        _paragraph(len(data["skipped"]), data["skipped"]),
        _paragraph(130 * len(data["unloading"]), data["unloading"]),
    ]
    return sum(one + _GAP for one in lists if one)


def _more_lines(row: Mapping[str, Any], size: int) -> int:
    """Lines of a block's row after the first: what is long in it is where it stands, its size, or what touches."""
    stands = math.ceil((len(row["hole"]) + len(row["others"])) / _STANDS)
    return max(stands, math.ceil(len(row["size"]) / size), len(row["touches"])) - 1


def _halved(count: int, row: float) -> float:
    return math.ceil(count / 2) * row + _HEAD if count else 0.0


def _paragraph(letters: int, there: Any) -> float:
    return math.ceil(letters / 135) * _LINE if there else 0.0
