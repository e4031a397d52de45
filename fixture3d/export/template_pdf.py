"""Templates as a PDF to print at true size: one page each, or several that are joined where one is too small."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final
from xml.sax.saxutils import escape

from fixture3d import __version__
from fixture3d.errors import one_line
from fixture3d.export.template import CHECK, ENDS, Template
from fixture3d.report.cut_text import end_text, names_text, stock_text
from fixture3d.sheet.typeset import PAPERS, Paper, typeset
from fixture3d.units import Units, show, show_fine

MARGIN: Final = 12.0  # mm of every page; the typst file keeps the same
_HEAD: Final = 66.0  # mm above the drawing for words and the check line
_CHECK: Final = 6.0  # mm beside the drawing for the upright check line
_ROOM: Final = 4.0  # mm round the drawing
_LAP: Final = 12.0  # mm that two pages of one template have in common
PAPER_THICK: Final = 0.1  # mm, of office paper of 80 g/m2; common practice, no source


_IMAGE: Final = "in, the curve pricked through, as the piece is the mirror image of this"


@dataclass(frozen=True, kw_only=True)
class Tile:
    """One page of a template: what of the drawing is on it, mm, and whether the page lies on its side."""

    left: float
    low: float
    width: float
    height: float
    flipped: bool


def templates_pdf(made: Sequence[Template], title: str, paper: Paper, units: Units) -> bytes:
    """All templates as one PDF, the same bytes for the same templates.

    Raises:
        MissingLibrary: typst is not installed.
        FixtureError: it cannot be set.
    """
    pages = [page for template in made for page in _pages(template, paper, units)]
    long, words = CHECK[units]
    data = {
        "title": one_line(title),
        "paper": {"a4": "a4", "letter": "us-letter"}[paper],
        "margin": MARGIN,
        "program": f"fixture3d {__version__}",
        "check": long,
        "words": words,
        "pages": pages,
    }
    return typeset("fixture3d.export", "template.typ", data, "template")


def tiles(width: float, height: float, paper: Paper) -> list[Tile]:
    """How a drawing of that size is laid on pages: upright or on its side when one page holds it, else on several."""
    short, long = PAPERS[paper]
    beside, above = 2 * MARGIN + _CHECK, 2 * MARGIN + _HEAD
    rooms = [(short - beside, long - above, False), (long - beside, short - above, True)]
    for room_x, room_y, flipped in rooms:
        if width <= room_x and height <= room_y:
            return [Tile(left=-_ROOM, low=-_ROOM, width=width, height=height, flipped=flipped)]
    room_x, room_y, _ = rooms[0]
    across, up = (_split(size, room) for size, room in ((width, room_x), (height, room_y)))
    return [
        Tile(left=x - _ROOM, low=y - _ROOM, width=min(room_x, width - x), height=min(room_y, height - y), flipped=False)
        for y in up
        for x in across
    ]


def _split(size: float, room: float) -> list[float]:
    """Where each page begins so that neighbours share a strip, mm."""
    count = max(1, math.ceil((size - _LAP) / (room - _LAP) - 1e-9))
    return [k * (room - _LAP) for k in range(count)]


def _pages(template: Template, paper: Paper, units: Units) -> list[dict[str, Any]]:
    row = template.row
    assert row.ends is not None
    laid = [t for t in tiles(template.girth + 2 * _ROOM, template.height + 2 * _ROOM, paper) if _holds(template, t)]
    joints = sorted({round(tile.left + _LAP / 2, 6) for tile in laid if tile.left > 0.0})
    steps = sorted({round(tile.low + _LAP / 2, 6) for tile in laid if tile.low > 0.0})
    head = f"{template.name}: {end_text(row.ends[template.which], units)}"
    stand = f"Lower edge square round the tube, {show(template.stand, units)} from the tip of its other end"
    if not template.straight:
        stand += ", along the centre line before it is bent"
    lines = [
        f"{row.count} x {stock_text(row, units)}, {ENDS[template.which]} end of: {names_text(row)}",
        f"{stand}. Seam on the bottom; printed side {_IMAGE if row.other_hand else 'out'}; the curve toward the end.",
        f"Once round: {show(template.girth, units)}, the outside of the tube. Paper of {PAPER_THICK:g} mm then lacks "
        f"{show_fine(math.pi * PAPER_THICK, units)} at the seam: leave that open.",
    ]
    return [
        {
            "head": head,
            "lines": lines,
            "svg": _svg(template, tile, joints, steps),
            "width": tile.width,
            "flipped": tile.flipped,
            "sheet": f"sheet {k + 1} of {len(laid)}" + (", join at the lines with crosses" if len(laid) > 1 else ""),
        }
        for k, tile in enumerate(laid)
    ]


def _holds(template: Template, tile: Tile) -> bool:
    """Whether anything of the template is on a tile besides what its neighbour has too."""
    x = template.curve[:, 0]
    here = (x >= tile.left) & (x <= tile.left + tile.width)
    return float(template.curve[here, 1].max(initial=0.0)) > tile.low + _LAP or tile.low <= 0.0


def _svg(template: Template, tile: Tile, joints: Sequence[float], steps: Sequence[float]) -> str:
    """What of the drawing is in a tile; one unit is one mm."""
    top = tile.low + tile.height

    def at(x: float, y: float) -> str:
        return f"{x - tile.left:.4f},{top - y:.4f}"

    girth = template.girth
    edge = " ".join(at(float(a), float(b)) for a, b in template.curve[::-1])
    outline = f"{at(0.0, 0.0)} {at(girth, 0.0)} {edge}"
    parts = [f'<polygon points="{outline}" fill="none" stroke="#000" stroke-width="0.25"/>']
    for name, across in template.lines:
        high = template.above(across)
        parts += [_line(at(across, 0.0), at(across, 2.0), ""), _line(at(across, 7.0), at(across, high), "2 1")]
        parts.append(_word(name, at(across + 1.0, 9.0), 3.2))
    mark = f"{template.name}, end of tube up"
    # In type that fits once round the smallest tube.
    parts.append(_word(mark, at(2.0, 3.0), min(3.6, (girth - 4.0) / (0.65 * len(mark)))))
    parts.append(_word("bottom (seam)", at(1.0, 9.0), 3.2))
    for x in joints:
        parts.append(_line(at(x, -_ROOM), at(x, template.height + _ROOM), "4 2"))
        parts += [cross for y in (2.0, template.height * 0.5) for cross in _cross(at, x, y)]
    for y in steps:
        parts.append(_line(at(-_ROOM, y), at(girth + _ROOM, y), "4 2"))
        parts += [cross for x in (10.0, girth * 0.5) for cross in _cross(at, x, y)]
    size = f'width="{tile.width:.4f}mm" height="{tile.height:.4f}mm" viewBox="0 0 {tile.width:.4f} {tile.height:.4f}"'
    return f'<svg xmlns="http://www.w3.org/2000/svg" {size}>{"".join(parts)}</svg>'


def _cross(at: Any, x: float, y: float) -> list[str]:
    return [_line(at(x - 3, y), at(x + 3, y), ""), _line(at(x, y - 3), at(x, y + 3), "")]


def _line(a: str, b: str, dash: str) -> str:
    (x1, y1), (x2, y2) = a.split(","), b.split(",")
    dashes = f' stroke-dasharray="{dash}"' if dash else ""
    return f'<line x1="{x1}" y1="{y1}" x2="{x2}" y2="{y2}" stroke="#000" stroke-width="0.18"{dashes}/>'


def _word(text: str, spot: str, size: float) -> str:
    x, y = spot.split(",")
    return f'<text x="{x}" y="{y}" font-family="DejaVu Sans" font-size="{size}">{escape(text)}</text>'
