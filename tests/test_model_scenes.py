"""Each block in the smallest setup that uses it, written from its catalogue entry alone, as a new user would.

Every scene is judged by all checks but the torch (no weld is declared) and must be READY without a warning, and the
named faces must be the ones that touch the work.
"""

from __future__ import annotations

import tomllib
from typing import Any

import pytest

from fixture3d.checks.base import quiet
from fixture3d.checks.interference import CHECK as INTERFERENCE
from fixture3d.checks.seating import CHECK as SEATING
from fixture3d.engine import assemble
from fixture3d.job import Job
from fixture3d.job.contact import touching_pads
from fixture3d.scene import Scene

METRIC = 'format = 1\ntable = "50/16 2000x1000"\n'
INCH = 'format = 1\nunits = "in"\ntable = "2/(3/4) 80x40"\n'

SCENES: dict[str, tuple[str, set[str]]] = {
    # A post of 50 x 50 stands in the corner, its middle 45 from bore 1 both ways, on the table.
    "corner_block": (
        METRIC
        + """
[weldment]
hole = "C4"
offset = [45, 45]
[[member]]
name = "post"
stock = "SHS 50x50x3"
from = [0, 0, 0]
to = [0, 0, 300]
[[place]]
name = "C"
model = "corner_block"
hole = "C4"
""",
        {"C front wall", "C left wall"},
    ),
    # The far right corner of a flat frame, on the rest.
    "corner_block, with rest": (
        METRIC
        + """
[weldment]
hole = "H8"
offset = [-20, -20]
lift = 45
[[member]]
name = "rail"
stock = "SHS 50x50x3"
from = [-200, -25, 0]
to = [0, -25, 0]
[[place]]
name = "C"
model = "corner_block"
hole = "H8"
turn = 180
with = { rest = 20, height = 60 }
[[place]]
name = "P"
model = "parallel"
hole = "E7"
turn = 90
pin = 2
with = { height = 20, pitches = 1 }
""",
        {"C front wall", "C left wall", "C rest", "P top"},
    ),
    # Two arms on the face of the plate carry a bar that lies along it, 100 above the lowest row.
    "angle_plate": (
        METRIC
        + """
[weldment]
hole = "F7"
offset = [0, -30]
lift = 190
[[member]]
name = "bar"
stock = "SHS 40x40x3"
from = [-60, 0, 0]
to = [260, 0, 0]
[[place]]
name = "AP"
model = "angle_plate"
hole = "F8"
bolt = true
with = { columns = 5 }
[[place]]
name = "S1"
model = "stop_block"
on = "AP"
socket = "A3"
bolt = true
with = { length = 85, height = 60, depth = 40 }
[[place]]
name = "S2"
model = "stop_block"
on = "AP"
socket = "D3"
bolt = true
with = { length = 85, height = 60, depth = 40 }
""",
        {"S1 back", "S2 back"},
    ),
    "parallel": (
        METRIC
        + """
[weldment]
hole = "C4"
lift = 25
[[plate]]
name = "panel"
outline = [[0, 0], [300, 0], [300, 100], [0, 100]]
thickness = 10
[[place]]
name = "P1"
model = "parallel"
hole = "C4"
turn = 90
[[place]]
name = "P2"
model = "parallel"
hole = "H4"
turn = 90
""",
        {"P1 top", "P2 top"},
    ),
    # 20 + 3 x 1 + 4 x 0.1 and a riser of 50 make 73.4.
    "shim_stack": (
        METRIC
        + """
[weldment]
hole = "C4"
lift = 73.4
[[plate]]
name = "panel"
outline = [[0, 0], [120, 0], [120, 100], [0, 100]]
thickness = 10
[[place]]
name = "SS"
model = "shim_stack"
hole = "C4"
with = { count = 3, fine_count = 4, width = 70 }
[[place]]
name = "S"
model = "stop_block"
on = "SS"
with = { length = 90, depth = 40 }
""",
        {"S top"},
    ),
    "screw_jack": (
        METRIC
        + """
[weldment]
hole = "C4"
offset = [0, 0]
lift = 82.5
[[member]]
name = "bar"
stock = "SHS 40x40x3"
from = [0, 0, 0]
to = [400, 0, 0]
[[place]]
name = "J"
model = "screw_jack"
hole = "I4"
slide = 7.5
[[place]]
name = "S"
model = "parallel"
hole = "C3"
turn = 90
with = { pitches = 2, height = 62.5 }
""",
        {"J top", "S top"},
    ),
    # Two holes of 12.2, 150 apart: the round pin left, the diamond pin right, its Y along the line between them.
    "headed_dowel and diamond_dowel": (
        METRIC
        + """
[weldment]
hole = "C4"
lift = 10
[[plate]]
name = "foot plate"
outline = [[-30, -30], [180, -30], [180, 30], [-30, 30]]
thickness = 8
holes = [{ at = [0, 0], diameter = 12.2 }, { at = [150, 0], diameter = 12.2 }]
[[place]]
name = "H"
model = "headed_dowel"
hole = "C4"
[[place]]
name = "D"
model = "diamond_dowel"
hole = "F4"
turn = 90
""",
        {"H rest front", "H rest back", "D rest"},
    ),
    # Two stop blocks on the rail make one line over 400; the tube lies on the rail's top in front of them.
    "rail": (
        METRIC
        + """
[weldment]
hole = "C4"
offset = [0, -40]
lift = 70
[[member]]
name = "bar"
stock = "SHS 40x40x3"
from = [0, 0, 0]
to = [400, 0, 0]
[[place]]
name = "R"
model = "rail"
hole = "C4"
bolt = true
with = { width = 100 }
[[place]]
name = "S1"
model = "stop_bar"
on = "R"
socket = "2"
with = { bores = 2, offset = 0, width = 40 }
[[place]]
name = "S2"
model = "stop_bar"
on = "R"
socket = "7"
with = { bores = 2, offset = 0, width = 40 }
""",
        {"R top", "S1 front", "S2 front"},
    ),
    # A plate on two slopes of 30 degrees: its lower edge lies in the corner, half the depth of 80 in front of bore 1.
    "tilt_block": (
        METRIC
        + """
[weldment]
hole = "C4"
offset = [0, -40]
lift = 30
[[plate]]
name = "panel"
outline = [[0, 0], [300, 0], [300, 90], [0, 90]]
thickness = 10
normal = [0, -0.5, 0.866025403784]
[[place]]
name = "T1"
model = "tilt_block"
hole = "C4"
bolt = true
with = { angle = 30 }
[[place]]
name = "T2"
model = "tilt_block"
hole = "G4"
bolt = true
with = { angle = 30 }
""",
        {"T1 slope", "T1 stop", "T2 slope", "T2 stop"},
    ),
    # A tube on end over hole E4, midway between bores 1 and 2, which are four pitches apart.
    "centring_pair": (
        METRIC
        + """
[weldment]
hole = "E4"
lift = 25
[[member]]
name = "tube"
stock = "CHS 48.3x3.2"
from = [0, 0, 0]
to = [0, 0, 200]
[[place]]
name = "CP"
model = "centring_pair"
hole = "C4"
""",
        {"CP left vee front", "CP left vee back", "CP right vee front", "CP right vee back", "CP rest"},
    ),
    # The angle's section is half its leg round the centre line: its heel is 25 x root 2 = 35.355 below that.
    "nest, heel down": (
        METRIC
        + """
[weldment]
hole = "C4"
offset = [25, 0]
lift = 105.355339
[[member]]
name = "angle"
stock = "L 50x50x5"
from = [0, -30, 0]
to = [0, 230, 0]
roll = 45
[[place]]
name = "N1"
model = "nest"
hole = "C4"
[[place]]
name = "N2"
model = "nest"
hole = "C8"
""",
        {"N1 left leg", "N1 right leg", "N2 left leg", "N2 right leg"},
    ),
    "nest, heel up": (
        METRIC
        + """
[weldment]
hole = "C4"
offset = [25, 0]
lift = 34.644661
[[member]]
name = "angle"
stock = "L 50x50x5"
from = [0, -30, 0]
to = [0, 230, 0]
roll = 225
[[place]]
name = "N1"
model = "nest"
hole = "C4"
with = { shape = 2 }
[[place]]
name = "N2"
model = "nest"
hole = "C8"
with = { shape = 2 }
""",
        {"N1 left leg", "N1 right leg", "N2 left leg", "N2 right leg"},
    ),
    "nest, channel": (
        METRIC
        + """
[weldment]
hole = "C4"
offset = [25, 0]
lift = 62.5
[[member]]
name = "channel"
stock = "U 80x45x5"
from = [0, -30, 0]
to = [0, 230, 0]
roll = 90
[[place]]
name = "N1"
model = "nest"
hole = "C4"
with = { shape = 3, size = 80, height = 40 }
[[place]]
name = "N2"
model = "nest"
hole = "C8"
with = { shape = 3, size = 80, height = 40 }
""",
        {"N1 floor", "N1 left lip", "N2 floor", "N2 left lip"},
    ),
    # In inches: a 2 x 2 post stands in a corner on an angle plate's foot side; bore 1 to the walls is 3/4 in.
    "corner_block, inches": (
        INCH
        + """
[weldment]
hole = "C4"
offset = ["1-3/4", "1-3/4"]
[[member]]
name = "post"
stock = "HSS 2x2x1/8"
from = [0, 0, 0]
to = [0, 0, 12]
[[place]]
name = "C"
model = "corner_block"
hole = "C4"
[[place]]
name = "AP"
model = "angle_plate"
hole = "J10"
bolt = true
[[place]]
name = "S"
model = "stop_block"
on = "AP"
socket = "A2"
bolt = true
""",
        {"C front wall", "C left wall"},
    ),
}


def job(text: str) -> Job:
    return assemble(Scene.from_dict(tomllib.loads(text)))


def told(found: Job) -> list[tuple[str, Any]]:
    out = []
    for check in (SEATING, INTERFERENCE):
        out += [(f.rule, f.message) for f in check.run(found, quiet).findings if f.level != "note"]
    return out


@pytest.mark.parametrize("name", SCENES)
def test_the_catalogue_entry_is_enough_to_place_it(name: str) -> None:
    text, faces = SCENES[name]
    found = job(text)
    assert told(found) == []
    assert {f"{t.item} {t.pad}" for t in touching_pads(found)} == faces
