"""DXF drawings at true scale, the same bytes each time. ``ezdxf`` is imported inside functions only."""

from __future__ import annotations

import io
import math
import re
import threading
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import Any, Final

from fixture3d.job.weldment import PlateShape
from fixture3d.stock.section import Loop
from fixture3d.units import Units

CUT, MARKS, TEXT = "cut", "marks", "text"
_COLOURS: Final = {CUT: 7, MARKS: 5, TEXT: 3}  # of the layers: ink, blue, green
_ONE = threading.Lock()


def blank(units: Units = "mm", layers: Mapping[str, int] = _COLOURS) -> Any:
    """An empty drawing in mm or inches with these layers, each with its colour number.

    Source of $INSUNITS (1 inches, 4 mm) and $MEASUREMENT (0 imperial, 1 metric): the DXF reference, HEADER section.
    """
    import ezdxf

    with _undated():
        code = 4 if units == "mm" else 1
        document = ezdxf.new("R2010", setup=False, units=code)  # type: ignore[attr-defined,unused-ignore]
    document.header["$INSUNITS"] = code
    document.header["$MEASUREMENT"] = int(units == "mm")
    for name, colour in layers.items():
        document.layers.add(name, color=colour)
    return document


def dxf_bytes(document: Any) -> bytes:
    """The drawing as text DXF, without any date or number of its own."""
    stream = io.StringIO(newline="\r\n")
    for name in sorted(document.entitydb.dxf_types_in_use()):  # the library would go through a set, in another order
        document.classes.add_class(name)  # in every process
    with _undated():
        document.write(stream)
    return stream.getvalue().encode("utf-8", "surrogateescape")


@contextmanager
def _undated() -> Iterator[None]:
    """The library's own switch for drawings without date, set while one is written."""
    import ezdxf

    options: Any = ezdxf.options  # type: ignore[attr-defined,unused-ignore]
    with _ONE:
        before = options.write_fixed_meta_data_for_testing
        options.write_fixed_meta_data_for_testing = True
        try:
            yield
        finally:
            options.write_fixed_meta_data_for_testing = before


def plate_dxf(plate: PlateShape) -> bytes:
    """The outline of a plate with its holes, in the plate's own frame: true arcs, holes as circles."""
    document = blank()
    space = document.modelspace()
    for loop in (plate.outline, *plate.openings):
        add_loop(space, loop)
    for x, y, diameter in plate.holes:
        space.add_circle((x, y), diameter / 2.0, dxfattribs={"layer": CUT})
    return dxf_bytes(document)


def add_loop(space: Any, loop: Loop) -> None:
    """One closed line: a circle, or a polyline with true arcs."""
    if len(loop) == 1 and loop[0].centre is not None:
        space.add_circle(loop[0].centre, loop[0].radius, dxfattribs={"layer": CUT})
        return
    corners = [(*edge.start, math.tan(edge.sweep / 4.0)) for edge in loop]
    space.add_lwpolyline(corners, format="xyb", close=True, dxfattribs={"layer": CUT})


def add_text(
    space: Any, text: str, at: tuple[float, float], height: float, angle: float = 0.0, layer: str = TEXT
) -> None:
    """One line of text, its lower left corner at a point, in units of the drawing."""
    space.add_text(plain(text), height=height, rotation=angle, dxfattribs={"layer": layer, "insert": at})


def plain(text: str) -> str:
    """A text in which nothing is read as a code of the format: a percent sign is ``%%%`` and a caret ``^ ``.

    >>> plain("50%%c^J")
    '50%%%%%%c^ J'
    """
    return re.sub("%{2,}", lambda match: "%%%" * len(match[0]), text.replace("^", "^ "))


def add_line(space: Any, points: Sequence[tuple[float, float]], layer: str, closed: bool = False) -> None:
    """Straight lines through points, in units of the drawing."""
    space.add_lwpolyline(points, format="xy", close=closed, dxfattribs={"layer": layer})
