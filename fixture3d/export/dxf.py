"""DXF drawings at true scale in mm, the same bytes each time. ``ezdxf`` is imported inside functions only."""

from __future__ import annotations

import io
import math
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any, Final

from fixture3d.job.weldment import PlateShape
from fixture3d.stock.section import Loop

CUT, MARKS, TEXT = "cut", "marks", "text"
_COLOURS: Final = {CUT: 7, MARKS: 5, TEXT: 3}  # of the layers: ink, blue, green
_ONE = threading.Lock()


def blank() -> Any:
    """An empty drawing in mm with the layers cut, marks and text."""
    document = fresh()
    for name, colour in _COLOURS.items():
        document.layers.add(name, color=colour)
    return document


def fresh() -> Any:
    """An empty drawing in mm without layers of its own."""
    import ezdxf

    with _undated():
        return ezdxf.new("R2010", setup=False, units=4)  # type: ignore[attr-defined,unused-ignore]


def dxf_bytes(document: Any) -> bytes:
    """The drawing as text DXF, without any date or number of its own."""
    stream = io.StringIO(newline="\r\n")
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
        _add_loop(space, loop)
    for x, y, diameter in plate.holes:
        space.add_circle((x, y), diameter / 2.0, dxfattribs={"layer": CUT})
    return dxf_bytes(document)


def _add_loop(space: Any, loop: Loop) -> None:
    if len(loop) == 1 and loop[0].centre is not None:
        space.add_circle(loop[0].centre, loop[0].radius, dxfattribs={"layer": CUT})
        return
    corners = [(*edge.start, math.tan(edge.sweep / 4.0)) for edge in loop]
    space.add_lwpolyline(corners, format="xyb", close=True, dxfattribs={"layer": CUT})


def add_text(space: Any, text: str, at: tuple[float, float], height: float, angle: float = 0.0) -> None:
    """One line of text, its lower left corner at a point, mm."""
    space.add_text(text, height=height, rotation=angle, dxfattribs={"layer": TEXT, "insert": at})


def add_line(space: Any, points: Sequence[tuple[float, float]], layer: str, closed: bool = False) -> None:
    """Straight lines through points, mm."""
    space.add_lwpolyline(points, format="xy", close=closed, dxfattribs={"layer": layer})
