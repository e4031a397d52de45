"""A swap on paper: the list with boxes to tick, and the plan with arrows."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any, Final

from fixture3d import __version__, output
from fixture3d.sheet.layout import short_name
from fixture3d.sheet.typeset import PAPERS, Paper, breakable, typeset
from fixture3d.swap.drawing import drawing
from fixture3d.swap.swap import ASSUMED, Line, Swap
from fixture3d.swap.text import counts, first_of_all, head, small_words, stays_words

# mm; the template keeps the same margins.
_MARGIN: Final = 12.0
_TOP: Final = 22.0
_BOTTOM: Final = 14.0
_KEY: Final = 22.0  # heading, key and scale bar of the plan
_ROW: Final = 4.9
_ROUND: Final = 62.0  # what stands above and under the rows
_LEAST: Final = 120.0  # a plan with less room than this goes on a page of its own


def write_swap(
    swap: Swap, path: str | os.PathLike[str], paper: Paper | None = None, force: bool = False
) -> Path:  # fmt: skip
    """Write list and plan.

    Args:
        swap: the way from one setup to the next.
        path: of the PDF.
        paper: None takes letter for a file in inches and A4 otherwise.
        force: an existing file may be replaced.

    Raises:
        OutputRefused: the file may not be written.
        MissingLibrary: typst is not installed.
    """
    return output.write_bytes(path, swap_pdf(swap, paper), force)


def swap_pdf(swap: Swap, paper: Paper | None = None) -> bytes:
    """The PDF as bytes, the same for the same two setups. Arguments as for ``write_swap``."""
    paper = paper or ("letter" if swap.after.scene.units == "in" else "a4")
    data = swap_data(swap)
    short, long = PAPERS[paper]
    wide, high = short - 2 * _MARGIN, long - _TOP - _BOTTOM
    under = high - _ROUND - _ROW * len(swap.lines)
    own = under < _LEAST
    room = {False: (wide, (high if own else under) - _KEY)}
    if own:
        room[True] = (long - 2 * _MARGIN, short - _TOP - _BOTTOM - _KEY)
    drawn = drawing(swap, room)
    data["paper"] = {"a4": "a4", "letter": "us-letter"}[paper]
    data["plan"] = {
        "svg": drawn.svg,
        "width": drawn.size[0],
        "scale": f"1:{drawn.scale:g}",
        "flipped": drawn.flipped,
        "own": own,
        "datum": drawn.datum,
    }
    return typeset("fixture3d.swap", "swap.typ", breakable(data), "swap list")


def swap_data(swap: Swap) -> dict[str, Any]:
    """What stands on paper but the plan, as JSON types."""
    return {
        "head": short_name(f"{swap.before.title or 'Setup'} → {swap.after.title or 'Setup'}", 64),
        "before": head(swap.before),
        "after": head(swap.after),
        "program": f"fixture3d {__version__}",
        "counts": counts(swap),
        "first": first_of_all(swap),
        "rows": [_row(line) for line in swap.lines],
        "stays": stays_words(swap),
        "small": small_words(swap),
        "notes": [f"{note}." for note in swap.notes],
        "assumed": " ".join(ASSUMED),
    }


def _row(line: Line) -> dict[str, str]:
    if line.do == "set anew":
        assert line.before is not None
        assert line.after is not None
        came, goes = line.before.hole, line.before.but(line.after)
    else:
        came = "the rack" if line.before is None else line.before.words()
        goes = "the rack" if line.after is None else line.after.words()
    return {
        "number": str(line.number),
        "do": line.do,
        "block": line.block,
        "becomes": line.becomes,
        "model": line.model,
        "size": line.size if line.do == "put on" and line.size != "standard" else "",
        "from": came,
        "to": goes,
        "others": line.after.others if line.after is not None and line.do != "set anew" else "",
    }
