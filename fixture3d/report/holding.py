"""The lines of the report on what is held: one that sums up, and one a piece that is not judged."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any

from fixture3d.errors import one_line
from fixture3d.tolerance import HOLDING
from fixture3d.units import show_force

if TYPE_CHECKING:
    from collections.abc import Mapping

    from fixture3d.report import Report

WIDTH = 100
_PLENTY = 10.0  # times the push that is asked: more is of no interest, and blocks give way before
_NAMES = 8  # pieces named in one line


def holding_lines(report: Report) -> Iterator[str]:
    """What is held by clamps and stops, and what has to be held while it is tacked; nothing without pieces."""
    rows = report.figures("holding")
    if not rows:
        return
    units = report.job.scene.units
    pieces = [row for row in rows if not row["whole"]]
    held = [_name(row) for row in pieces if row["held"]]
    push = show_force(HOLDING.nudge, units)
    those = "stand {} at their welds" if len(held) > 1 else "stands {} at its welds"
    said = [f"{_named(held)} {those.format(f'a push of {push}')}" if held else ""]
    if len(held) == len(pieces) > 1:
        said = [f"every piece stands a push of {push} at its welds"]
    said += [_whole(row, report) for row in rows if row["whole"]]
    head = f"Holding (friction {HOLDING.friction:g}, clamps as usual by hand: common practice): "
    first = head + ("; ".join(one for one in said if one) or f"no piece stands a push of {push} at its welds")
    lines = _wrapped(first, "")
    by_hand = [_name(r) for r in pieces if r["held"] is False and not r["clamps"] and r["stays"]]
    if by_hand:
        lines += _wrapped(f"not clamped, hold while tacking: {_named(by_hand)}", "  ")
    falls = [_name(r) for r in pieces if r["stays"] is False and not r["clamps"]]
    if falls:
        lines += _wrapped(f"not clamped, does not lie by itself: {_named(falls)}", "  ")
    for row in rows:
        if row["why"]:
            lines += _wrapped(f"{one_line(_name(row))}: not judged, {one_line(str(row['why']))}", "  ")
    yield "\n".join(lines)


def _name(row: Mapping[str, Any]) -> str:
    """The piece, and how many are one with it by now, as in the lines on how the pieces go in."""
    more = 0 if row["whole"] else len(row["pieces"]) - 1
    return str(row["name"]) + (f" + {more}" if more else "")


def _whole(row: Mapping[str, Any], report: Report) -> str:
    """How much the tacked work stands, where that is known."""
    least = min((s["most"] for s in row["stands"]), default=None)
    if row["held"] is None or least is None or not row["pushes"]:
        return ""
    units = report.job.scene.units
    if least >= _PLENTY * HOLDING.nudge:
        return f"tacked, the work stands more than {show_force(_PLENTY * HOLDING.nudge, units)}"
    return f"tacked, the work stands {show_force(float(f'{least:.2g}'), units)}"


def _named(names: Sequence[str]) -> str:
    shown = ", ".join(one_line(name) for name in names[:_NAMES])
    return shown + (f" and {len(names) - _NAMES} more" if len(names) > _NAMES else "")


def _wrapped(text: str, lead: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=lead, subsequent_indent=lead + "  ", break_long_words=False)
