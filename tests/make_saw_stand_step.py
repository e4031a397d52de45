"""Makes the STEP file of the saw stand's top: ``python tests/make_saw_stand_step.py FILE``.

The weldment of ``scenes/saw_stand.toml`` comes from a file, as it would from a draughtsman: an assembly of named
solids, each in a place of its own. Millimetres; the origin is the outside front left corner at mid-height.
"""

from __future__ import annotations

import re
import sys
from pathlib import Path

import cadquery as cq

LENGTH, WIDTH, SIDE, WALL, RADIUS = 760.0, 460.0, 40.0, 3.0, 6.0
PLATE = 8.0


def tube(length: float) -> cq.Workplane:
    """Square tube from the origin along X, its corners rounded outside and inside."""
    outside = cq.Workplane("YZ").rect(SIDE, SIDE).extrude(length).edges("|X").fillet(RADIUS)
    bore = SIDE - 2.0 * WALL
    return outside.cut(cq.Workplane("YZ").rect(bore, bore).extrude(length).edges("|X").fillet(RADIUS - WALL))


def lug() -> cq.Workplane:
    """Plate for the saw's foot bolt, lying flat, its long side along X from the origin."""
    return cq.Workplane("XY").rect(90.0, 60.0).extrude(PLATE).translate((45.0, 30.0, 0.0)).faces(">Z").hole(11.0)


def solids() -> dict[str, tuple[cq.Workplane, cq.Location]]:
    """Every piece by name: the solid in its own frame, and its place."""
    long_piece, short_piece, plate = tube(LENGTH), tube(WIDTH - 2.0 * SIDE), lug()
    half, inside = SIDE / 2.0, WIDTH - SIDE
    z = -SIDE / 2.0
    return {
        "front rail": (long_piece, cq.Location((0.0, half, 0.0))),
        "back rail": (long_piece, cq.Location((0.0, WIDTH - half, 0.0))),
        "left cross": (short_piece, cq.Location((half, SIDE, 0.0), (0, 0, 1), 90)),
        "middle cross": (short_piece, cq.Location((LENGTH / 2.0, SIDE, 0.0), (0, 0, 1), 90)),
        "right cross": (short_piece, cq.Location((LENGTH - half, SIDE, 0.0), (0, 0, 1), 90)),
        "front lug": (plate, cq.Location((150.0, SIDE, z + RADIUS))),
        "back lug": (plate, cq.Location((150.0, inside - 60.0, z + RADIUS))),
    }


def write(path: Path) -> None:
    """Write the file, without the time in its header, so that the same shapes are the same bytes."""
    top = cq.Assembly(name="saw stand top")
    for name, (solid, place) in solids().items():
        top.add(solid, name=name, loc=place)
    top.export(str(path))
    text = path.read_text(encoding="utf-8")
    text = re.sub(r"FILE_NAME\('[^']*','[^']*'", "FILE_NAME('saw_stand_top.step','2026-01-01T00:00:00'", text, count=1)
    path.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit("usage: python tests/make_saw_stand_step.py FILE")
    write(Path(sys.argv[1]))
