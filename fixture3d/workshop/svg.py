"""A sheet as SVG, one unit a millimetre of paper, and as PDF by way of typst."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Any
from xml.sax.saxutils import escape

from fixture3d.workshop.page import LAYERS, Ink, Page, Word
from fixture3d.workshop.words import CAP


def svg(page: Page) -> str:
    """The sheet as text, the same for the same sheet."""
    wide, high = page.size
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{_n(wide)}mm" height="{_n(high)}mm" '
        f'viewBox="0 0 {_n(wide)} {_n(high)}">'
    )
    body = [f"<title>{escape(page.title)}</title>", f'<rect width="{_n(wide)}" height="{_n(high)}" fill="#fff"/>']
    every = [*page.inks, *(ink for d in page.dimensions for ink in d.inks)]
    for layer, (line, dashes) in LAYERS.items():
        inside = [_ink(ink, high) for ink in every if ink.layer == layer]
        inside += [_word(word, high) for word in page.every_word() if word.layer == layer]
        dash = f' stroke-dasharray="{dashes}"' if dashes else ""
        style = f'fill="none" stroke="#000" stroke-width="{line:g}" stroke-linecap="round"{dash}'
        body.append(f'<g id="{layer}" {style}>{"".join(inside)}</g>')
    return head + "".join(body) + "</svg>\n"


def _ink(ink: Ink, high: float) -> str:
    if ink.radius:
        start, sweep = ink.turn
        x, y = ink.centre
        if sweep >= 360.0 - 1e-6:
            return f'<circle cx="{_n(x)}" cy="{_n(high - y)}" r="{_n(ink.radius)}"/>'
        ends = [math.radians(start), math.radians(start + sweep)]
        (x0, y0), (x1, y1) = ((x + ink.radius * math.cos(a), high - y - ink.radius * math.sin(a)) for a in ends)
        big = 1 if sweep > 180.0 else 0
        r = _n(ink.radius)
        return f'<path d="M{_n(x0)} {_n(y0)}A{r} {r} 0 {big} 0 {_n(x1)} {_n(y1)}"/>'
    points = " ".join(f"{_n(x)},{_n(high - y)}" for x, y in ink.points)
    fill = ' fill="#000" stroke="none"' if ink.filled else ""
    return f'<polyline points="{points}"{fill}/>'


def _word(word: Word, high: float) -> str:
    x, y = word.at[0], high - word.at[1]
    turn = f' transform="rotate(-90 {_n(x)} {_n(y)})"' if word.upright else ""
    anchor = "" if word.anchor == "start" else f' text-anchor="{word.anchor}"'
    weight = ' font-weight="bold"' if word.bold else ""
    size = _n(word.height / CAP)
    family = 'font-family="DejaVu Sans, Verdana, Arial, sans-serif"'
    style = f'fill="#000" stroke="none" {family} font-size="{size}"{weight}{anchor}{turn}'
    return f'<text x="{_n(x)}" y="{_n(y)}" {style}>{escape(word.text)}</text>'


def _n(value: float) -> str:
    return f"{value:.4f}".rstrip("0").rstrip(".") or "0"


def pdf_bytes(pages: Sequence[Page]) -> bytes:
    """All sheets as one PDF, each at the true size of its paper, the same bytes for the same sheets.

    Raises:
        MissingLibrary: typst is not installed.
        FixtureError: they cannot be set.
    """
    from fixture3d.sheet.typeset import typeset

    data: dict[str, Any] = {"title": pages[0].title, "pages": list(_pages(pages))}
    return typeset("fixture3d.workshop", "drawing.typ", data, "drawing")


def _pages(pages: Sequence[Page]) -> Iterator[dict[str, Any]]:
    for page in pages:
        yield {"svg": svg(page), "width": page.size[0], "height": page.size[1]}
