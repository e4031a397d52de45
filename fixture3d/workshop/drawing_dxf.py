"""A sheet as DXF: views at true size in mm, the paper about them as large as the scale makes it, real dimensions.

Every dimension is a DIMENSION entity with its own lines and text in a block, so that it looks the same everywhere.
"""

from __future__ import annotations

import math
from typing import Any, Final

from fixture3d.export.dxf import blank, dxf_bytes
from fixture3d.workshop.page import LAYERS, Dimension, Ink, Page, Word
from fixture3d.workshop.solid_facts import Spot
from fixture3d.workshop.words import width

_COLOURS: Final = {"outline": 7, "hidden": 3, "centre": 1, "dimensions": 5, "table": 4, "text": 7, "frame": 7}
_STYLE: Final = "FIXTURE3D"


def drawing_dxf(page: Page) -> bytes:
    """The sheet as text DXF, the same bytes for the same sheet."""
    document = blank(layers={})
    document.header["$INSUNITS"] = 4
    _lines(document, page)
    document.styles.add(_STYLE, font="DejaVuSans.ttf")
    style = document.dimstyles.new(_STYLE)
    style.dxf.dimtxsty = _STYLE
    style.dxf.dimtxt = 2.5 / page.scale
    space = document.modelspace()
    for ink in page.inks:
        _ink(space, ink, page)
    for word in page.words:
        _word(space, word, page)
    for dimension in page.dimensions:
        _dimension(document, space, dimension, page)
    return dxf_bytes(document)


def _lines(document: Any, page: Page) -> None:
    """Layers with the line types of the sheet, as long on paper as there."""
    for layer, (thick, dashes) in LAYERS.items():
        name = "Continuous"
        if dashes:
            name = layer.upper()
            steps = [float(d) / page.scale for d in dashes.split()]
            pattern = [sum(steps), *(d if k % 2 == 0 else -d for k, d in enumerate(steps))]
            document.linetypes.add(name, pattern, description=layer)
        document.layers.add(layer, color=_COLOURS[layer], linetype=name, lineweight=round(thick * 100))


def _true(page: Page, spot: Spot) -> Spot:
    return spot[0] / page.scale, spot[1] / page.scale


def _ink(space: Any, ink: Ink, page: Page) -> None:
    where = {"layer": ink.layer}
    if ink.radius:
        start, sweep = ink.turn
        centre, radius = _true(page, ink.centre), ink.radius / page.scale
        if sweep >= 360.0 - 1e-6:
            space.add_circle(centre, radius, dxfattribs=where)
        else:
            space.add_arc(centre, radius, start, start + sweep, dxfattribs=where)
    elif ink.filled:
        points = [_true(page, p) for p in ink.points[:3]]
        space.add_solid([points[0], points[1], points[2], points[2]], dxfattribs=where)
    elif len(ink.points) == 2:
        space.add_line(*(_true(page, p) for p in ink.points), dxfattribs=where)
    else:
        space.add_lwpolyline([_true(page, p) for p in ink.points], format="xy", dxfattribs=where)


def _word(space: Any, word: Word, page: Page) -> None:
    """A text at its left end: what other programs make of other alignments differs."""
    long = width(word.text, word.height, word.bold)
    back = {"start": 0.0, "middle": long / 2.0, "end": long}[word.anchor]
    x, y = word.at
    at = (x, y - back) if word.upright else (x - back, y)
    space.add_text(
        _plain(word.text),
        height=word.height / page.scale,
        rotation=90.0 if word.upright else 0.0,
        dxfattribs={"layer": word.layer, "style": _STYLE, "insert": _true(page, at)},
    )


def _plain(text: str) -> str:
    """With the minus of every font: a program that has no true one would leave it out, and the part would be wrong."""
    return text.replace("−", "-")


def _dimension(document: Any, space: Any, d: Dimension, page: Page) -> None:
    where = {"layer": "dimensions"}
    points = [_true(page, p) for p in d.points]
    middle = _true(page, d.word.at)
    text = _plain(d.word.text)
    if d.kind == "ordinate":
        made = space.add_ordinate_dim(
            feature_location=points[0], offset=_less(points[1], points[0]), dtype=1 if d.level else 0, text=text,
            origin=_true(page, d.zero), dimstyle=_STYLE, dxfattribs=where,
        )  # fmt: skip
    elif d.kind == "angle":
        made = space.add_angular_dim_2l(
            base=middle, line1=(points[0], points[1]), line2=(points[2], points[3]), text=text,
            dimstyle=_STYLE, dxfattribs=where,
        )  # fmt: skip
    else:
        made = space.add_linear_dim(
            base=middle, p1=points[0], p2=points[1], angle=90.0, text=text, dimstyle=_STYLE, dxfattribs=where
        )
    block = document.blocks.new_anonymous_block(type_char="D")
    for ink in d.inks:
        _ink(block, ink, page)
    _word(block, d.word, page)
    entity = made.dimension
    entity.dxf.geometry = block.name
    entity.dxf.text_midpoint = _true(
        page, ((d.word.box[0] + d.word.box[2]) / 2.0, (d.word.box[1] + d.word.box[3]) / 2.0)
    )
    entity.dxf.actual_measurement = math.radians(d.value) if d.kind == "angle" else d.value


def _less(a: Spot, b: Spot) -> Spot:
    return a[0] - b[0], a[1] - b[1]
