"""Which stops of a scene are on position, in words and as data."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence
from typing import Any

from fixture3d.errors import one_line
from fixture3d.job.job import Job
from fixture3d.job.on_position import Standing, away_from_work
from fixture3d.tolerance import SETTING, SHOP
from fixture3d.units import Units, show_fine

WIDTH = 100


def to_text(job: Job, rows: Sequence[Standing]) -> str:
    """The answer for a person at the table."""
    units = job.scene.units
    title = one_line(job.title or (str(job.scene.path) if job.scene.path else "Setup"))
    off = [row for row in rows if not row.on]
    head = f"{len(rows) - len(off)} of {len(rows)} faces near the work are on position - {title}"
    if not rows:
        head = f"No block has a face near the work - {title}"
    lines = [head]
    for row in off:
        lines += _wrapped(_missed(row, units), "  ")
    on = ", ".join(one_line(f"{row.item} {row.pad}") for row in rows if row.on)
    if on:
        lines += ["", *_wrapped(f"On position: {on}", "")]
    away = ", ".join(one_line(name) for name in away_from_work(job, rows))
    if away and job.pieces():
        lines += ["", *_wrapped(f"No face near the work: {away}", "")]
    lines += ["", "Not looked at"]
    for text in (
        f"faces more than {show_fine(SHOP.report_gap, units)} from the work, clamps, and what another stage brings",
        "whether the work is true: a face that touches here touches a piece of nominal size",
    ):
        lines += _wrapped(text, "  - ")
    return "\n".join(lines) + "\n"


def _missed(row: Standing, units: Units) -> str:
    size = show_fine(abs(row.gap), units)
    where = f"{size} short of {row.piece}" if row.gap > 0 else f"{size} too far, into {row.piece}"
    where += ", as measured" if row.measured else ""
    return one_line(f"{row.item} {row.pad}: {where}; {'; '.join(_mend(row, units))}")


def _mend(row: Standing, units: Units) -> Iterator[str]:
    mend = row.mend
    if mend is None:
        if row.gap > 0:
            yield f"a shim of {show_fine(row.gap, units)} before it would close that"
        else:
            other = "a lower block, or the others shimmed up by as much" if row.carries else "another hole or block"
            yield f"nothing on it can go back so far; {other}"
        return
    words = [] if mend.notch is None else [f"notch {mend.notch}"]
    if mend.shims:
        sizes = " + ".join(show_fine(size, units).removesuffix(f" {units}") for size in mend.shims)
        words.append(f"shims {sizes} {units}")
    else:
        words.append("no shims")
    yield f"with {', '.join(words)} it is {_left(mend.error, units)}"


def _left(error: float, units: Units) -> str:
    if abs(error) <= SETTING.exact:
        return "exact"
    return f"{show_fine(abs(error), units)} {'too far' if error > 0 else 'short'}"


def to_dict(job: Job, rows: Sequence[Standing]) -> dict[str, Any]:
    """The same as data, mm."""
    return {
        "schema": "fixture3d.position/1",
        "units": "mm",
        "scene": str(job.scene.path) if job.scene.path else None,
        "stage": job.stage,
        "faces": [
            {
                "block": row.item,
                "face": row.pad,
                "piece": row.piece,
                "gap": round(row.gap, 7) + 0.0,
                "on": row.on,
                "measured": row.measured,
                "mend": None
                if row.mend is None
                else {"notch": row.mend.notch, "shims": list(row.mend.shims), "error": round(row.mend.error, 7) + 0.0},
            }
            for row in rows
        ],
        "away": away_from_work(job, rows),
    }


def _wrapped(text: str, lead: str) -> list[str]:
    return textwrap.wrap(
        text, WIDTH, initial_indent=lead, subsequent_indent=" " * max(len(lead), 2), break_long_words=False
    )
