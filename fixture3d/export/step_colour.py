"""Colours in a STEP text, ISO 10303-46 styled items, in the order of the bodies.

The kernel writes them too, but in an order that changes from run to run.
"""

from __future__ import annotations

import re
from collections.abc import Mapping

from fixture3d.errors import OutputRefused

Colour = tuple[float, float, float]

_STYLE = (
    "COLOUR_RGB('',{r},{g},{b})",
    "FILL_AREA_STYLE_COLOUR('',#{last})",
    "FILL_AREA_STYLE('',(#{last}))",
    "SURFACE_STYLE_FILL_AREA(#{last})",
    "SURFACE_SIDE_STYLE('',(#{last}))",
    "SURFACE_STYLE_USAGE(.BOTH.,#{last})",
    "PRESENTATION_STYLE_ASSIGNMENT((#{last}))",
    "STYLED_ITEM('color',(#{last}),#{solid})",
    "MECHANICAL_DESIGN_GEOMETRIC_PRESENTATION_REPRESENTATION('',(#{last}),#{context})",
)


def coloured(text: str, colours: Mapping[str, Colour]) -> str:
    """The text with a styled item for each product that has a colour.

    Args:
        text: a STEP file, one statement a line.
        colours: sRGB from 0 to 1, by the name of the product as it stands in the file.

    Raises:
        OutputRefused: a product cannot be followed to its solid.
    """
    if not colours:
        return text
    lines = {int(m[1]): m[2] for m in re.finditer(r"^#(\d+) ?= ?(.*);$", text, re.MULTILINE)}
    # Which statement of a kind refers to another: product, formation, definition, shape, representation.
    chain = ("PRODUCT_DEFINITION_FORMATION", "PRODUCT_DEFINITION", "PRODUCT_DEFINITION_SHAPE",
             "SHAPE_DEFINITION_REPRESENTATION")  # fmt: skip
    used_by: dict[tuple[str, int], tuple[int, str]] = {}
    for number, line in lines.items():
        kind = line.partition("(")[0].strip()
        if kind in chain:
            for reference in re.findall(r"#(\d+)", line):
                used_by.setdefault((kind, int(reference)), (number, line))
    products = {m[1]: n for n, line in lines.items() if (m := re.match(r"PRODUCT\('([^']*)'", line))}
    out, number = [], max(lines)
    for name, (r, g, b) in colours.items():
        try:
            at, line = products[name], ""
            for kind in chain:
                at, line = used_by[kind, at]
            items, context = re.findall(r"\(([#\d, ]*)\),#(\d+)\)", lines[int(re.findall(r"#(\d+)", line)[1])])[0]
            solid = next(n for n in re.findall(r"#(\d+)", items) if "SOLID_BREP" in lines[int(n)])
        except (KeyError, IndexError, StopIteration):
            raise OutputRefused("the CAD kernel wrote a body that cannot be coloured; nothing was written") from None
        for step in _STYLE:
            numbers = {"r": _real(r), "g": _real(g), "b": _real(b), "last": number, "solid": solid, "context": context}
            number += 1
            out.append(f"#{number} = {step.format(**numbers)};\n")
    head, end, tail = text.rpartition("ENDSEC;")
    return f"{head}{''.join(out)}{end}{tail}"


def _real(value: float) -> str:
    text = f"{value:.4f}".rstrip("0")
    return text if text != "-0." else "0."
