"""Slots through the table: what may be one, what they cut, the plate as a body, and a bar clamp that stands in one.

The table: 20 by 12 holes of 16 every 50, its edges 50 from the outer holes, so the plate is 1050 by 650 and 15 thick.
The front slot is 26 wide and straight from x = 150 to 650 between the third and the fourth row, at y = 125.
"""

from __future__ import annotations

import json
import math
from itertools import product
from typing import Any

import numpy as np
import pytest

from fixture3d import frame
from fixture3d.checks.base import Finding, quiet
from fixture3d.checks.interference import CHECK as INTERFERENCE
from fixture3d.checks.seating import CHECK as SEATING
from fixture3d.engine import assemble
from fixture3d.errors import SceneError, TableError
from fixture3d.job import Job
from fixture3d.job.table_body import ROUND, _patch, plates
from fixture3d.part import Pattern, opened
from fixture3d.scene import Scene, dumps, loads
from fixture3d.scene.slots import TableSlot
from fixture3d.scene.table import Table

FRONT: dict[str, Any] = {"name": "front slot", "from": [150, 125], "to": [650, 125], "width": 26}
TABLE = {"pitch": 50, "bore": 16, "columns": 20, "rows": 12, "edge": 50, "thickness": 15, "slots": [FRONT]}
LEG = {"name": "leg", "stock": "SHS 40x40x3"}
CLAMP = {"name": "K1", "model": "bar_clamp", "slot": "front slot", "along": 250, "presses": "leg"}


def scene(clamp: dict[str, Any] | None = None, y: float = 225.0, **keys: Any) -> dict[str, Any]:
    """A tube of 40 along X whose middle is 70 over the table, at ``y``; None in ``clamp`` takes a key out."""
    leg = {**LEG, "from": [100, y, 0], "to": [700, y, 0]}
    given = {k: v for k, v in {**CLAMP, **(clamp or {})}.items() if v is not None}
    base = {"format": 1, "table": TABLE, "weldment": {"hole": "A1", "lift": 70}, "member": [leg], "clamp": [given]}
    return {**base, **keys}


def setup(clamp: dict[str, Any] | None = None, y: float = 225.0, **keys: Any) -> Job:
    return assemble(Scene.from_dict(scene(clamp, y, **keys)))


def findings(job: Job) -> list[Finding]:
    found = [*SEATING.run(job, quiet).findings, *INTERFERENCE.run(job, quiet).findings]
    return [f for f in found if f.rule != "unsupported"]


def tip(job: Job) -> Any:
    found = job.seats["K1"].part.tip()
    assert found is not None
    return frame.points(job.seats["K1"].model_to_world, np.asarray(found.at))


def said(data: dict[str, Any]) -> list[str]:
    with pytest.raises(SceneError) as caught:
        assemble(Scene.from_dict(data))
    assert all("\n" not in str(problem) for problem in caught.value.problems)
    return [str(problem) for problem in caught.value.problems]


def of_slots(*slots: dict[str, Any], **keys: Any) -> dict[str, Any]:
    return {"format": 1, "table": {**TABLE, "slots": list(slots), **keys}}


# The slots themselves ------------------------------------------------------------------------------------------------


def test_a_slot_arrives_and_is_written_back() -> None:
    for units, factor in (("mm", 1.0), ("in", 25.4)):
        table = (
            {"pitch": 2, "bore": 0.625, "columns": 20, "rows": 12, "edge": 2, "thickness": 0.5}
            if units == "in"
            else TABLE
        )
        slot: dict[str, Any] = {"name": "s", "from": [3, 5], "to": [23, 5], "width": 1} if units == "in" else FRONT
        read = Scene.from_dict({"format": 1, "units": units, "table": {**table, "slots": [slot]}})
        (made,) = read.table.slots
        assert made.start == pytest.approx([v * factor for v in slot["from"]])
        assert made.length == pytest.approx(math.dist(slot["from"], slot["to"]) * factor)
        assert loads(dumps(read)).table.slots == read.table.slots
    clamped = Scene.from_dict(scene())
    assert loads(dumps(clamped)).clamps == clamped.clamps


@pytest.mark.parametrize(
    ("start", "end", "first"),
    [([0, 0], [9, 1], "left"), ([9, 1], [0, 0], "right"), ([0, 0], [1, 9], "front"), ([1, 9], [0, 0], "back")],
)
def test_its_first_end_is_named_as_seen_from_the_front(start: list[float], end: list[float], first: str) -> None:
    slot = TableSlot(name="s", start=(start[0], start[1]), end=(end[0], end[1]), width=1.0)
    assert slot.first == first
    assert slot.point(slot.length) == pytest.approx(end)
    assert slot.along((end[0], end[1])) == pytest.approx(slot.length)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"from": [-36, 125]}, ""),
        ({"from": [-37, 125]}, "breaks through the rim of the plate; expected x between -37 mm and 987 mm, y between "),
        ({"from": [150, -36.9], "to": [650, -36.9]}, ""),
        ({"from": [150, -37.1], "to": [650, -37.1]}, "breaks through the rim"),
        ({"to": [150, 587]}, "breaks through the rim"),
        ({"width": 349}, ""),
        ({"width": 351}, "breaks through the rim"),
        ({"width": 650}, "width 650 mm leaves nothing of the plate"),
        ({"width": 0}, "expected a length above 0"),
        ({"to": [150, 125]}, "from and to are the same point; expected two different points"),
        ({"name": None}, 'key "name" is missing; expected name = '),
        ({"from": None}, r'key "from" is missing; expected from = [200, 60]'),
        ({"wdth": 3}, 'unknown key "wdth"; nearest: "width"'),
    ],
)
def test_a_slot_lies_inside_the_plate(change: dict[str, Any], words: str) -> None:
    data = of_slots({k: v for k, v in {**FRONT, **change}.items() if v is not None})
    if not words:
        assert len(Scene.from_dict(data).table.slots) == 1
        return
    (line,) = said(data)
    assert words in line
    assert line.startswith("[table]")


@pytest.mark.parametrize(
    ("other", "words"),
    [
        ({"from": [150, 152], "to": [650, 152]}, ""),  # 1 mm of steel between them
        ({"from": [150, 151], "to": [650, 151]}, 'the slot "b" runs into "front slot"; expected slots that keep apart'),
        ({"from": [400, 25], "to": [400, 225]}, 'the slot "b" runs into "front slot"'),
        ({"from": [677, 125], "to": [800, 125]}, ""),
        ({"from": [675, 125], "to": [800, 125]}, "runs into"),
        ({"name": "Front Slot", "from": [150, 325], "to": [650, 325]}, 'the name "Front Slot" is taken by entry 1'),
    ],
)
def test_slots_keep_apart(other: dict[str, Any], words: str) -> None:
    data = of_slots(FRONT, {"name": "b", "width": 26, **other})
    if not words:
        assert len(Scene.from_dict(data).table.slots) == 2
        return
    (line,) = said(data)
    assert words in line


def test_a_fault_is_told_with_its_line() -> None:
    text = """format = 1
[table]
pitch = 50
bore = 16
columns = 20
rows = 12
slots = [
  { name = "a", from = [150, 125], to = [650, 125], width = 26 },
  { name = "b", from = [150, 325], to = [1650, 325], width = 26 },
]
"""
    with pytest.raises(SceneError) as caught:
        loads(text)
    (problem,) = caught.value.problems
    assert problem.line == 9
    slots = tuple(TableSlot(name=n, start=(150.0, 125.0), end=(650.0, 125.0), width=26.0) for n in "ab")
    with pytest.raises(TableError, match='the slot "b" runs into "a"'):
        Table(columns=20, rows=12, pitch=(50.0, 50.0), bore=16.0, edge=(50.0, 50.0), slots=slots)


@pytest.mark.parametrize("corner", ["front left", "back right"])
@pytest.mark.parametrize("stagger", [False, True])
@pytest.mark.parametrize(
    "slot", [FRONT, {**FRONT, "width": 34.1}, {**FRONT, "from": [130, 130], "to": [520, 390]}, {**FRONT, "width": 33.9}]
)
def test_holes_that_a_slot_meets_are_unusable(corner: str, stagger: bool, slot: dict[str, Any]) -> None:
    """Against a search of every hole; 17 and half a bore of 8 reach the rows 25 from the slot's middle."""
    sign = 1 if corner == "front left" else -1
    moved = {**slot, **{key: [sign * v for v in slot[key]] for key in ("from", "to")}}
    table = Scene.from_dict(of_slots(moved, names={"corner": corner}, stagger=stagger)).table
    a, b = np.array(moved["from"], dtype=float), np.array(moved["to"], dtype=float)
    met = set()
    for i, j, plus in product(range(20), range(12), (False, True)):
        if table.has(i, j, plus):
            hole = table.at(i, j, plus)
            share = np.clip((np.array(hole.xy) - a) @ (b - a) / ((b - a) @ (b - a)), 0.0, 1.0)
            if np.linalg.norm(np.array(hole.xy) - a - share * (b - a)) <= slot["width"] / 2.0 + 8.0:
                met.add(hole.name)
            assert table.is_blocked(hole) == (hole.name in met)
            assert table.has_nut(hole) == (hole.name not in met)
    assert {hole.name for hole in table.cut_holes()} == met
    assert len(met) == len(list(table.cut_holes()))
    if slot["width"] == 34.1 and not stagger:
        assert len(met) == 22  # 11 columns from 150 to 650, in the rows before and behind it
    if slot["width"] == 33.9 and not stagger:
        assert not met


def test_a_pin_over_a_cut_hole_is_told_with_the_slot() -> None:
    table = {**TABLE, "slots": [{**FRONT, "width": 40}]}
    block = {"name": "S1", "model": "stop_block", "hole": "F4", "turn": 90}
    job = assemble(Scene.from_dict({"format": 1, "table": table, "place": [block]}))
    (found,) = [f for f in SEATING.run(job, quiet).findings if f.rule == "pin-blocked"]
    assert found.message == "pin 1 of S1 stands over F4, which front slot cuts"
    assert found.remedy.startswith("nearest seat that works: hole ")
    seat = found.remedy.removeprefix("nearest seat that works: hole ").partition(",")[0]
    assert not job.table.is_blocked(job.table.find(seat))


# The plate as a body -------------------------------------------------------------------------------------------------


def plate_of(*slots: dict[str, Any]) -> Any:
    return plates(Scene.from_dict(of_slots(*slots)).table)[0]


@pytest.mark.parametrize("end", [[650, 125], [610, 455]])
def test_the_volume_of_the_plate_is_that_of_plate_less_holes_less_slot(end: list[float]) -> None:
    """Closed form: width times length, and a circle for the two round ends; a polygon round it here."""
    plain, slotted = plate_of(), plate_of({**FRONT, "to": end})
    box = np.array([[-200.0, -200.0, -20.0], [1200.0, 800.0, 20.0]])
    around = ROUND * math.tan(math.pi / ROUND)  # of a regular polygon round a circle of radius 1; pi for a circle
    whole, rest = (_patch(plate, box, 0.0, plate.thickness) for plate in (plain, slotted))
    assert whole is not None
    assert rest is not None
    assert whole.volume() == pytest.approx(15.0 * (1050.0 * 650.0 - 240 * around * 64.0), rel=1e-9)
    slot = 26.0 * math.dist(FRONT["from"], end) + around * 169.0
    table = Scene.from_dict(of_slots({**FRONT, "to": end})).table
    if not list(table.cut_holes()):
        assert whole.volume() - rest.volume() == pytest.approx(15.0 * slot, rel=1e-9)
        return
    from shapely import LineString, Point, unary_union

    holes = unary_union([Point(hole.xy).buffer(8.0, 4096) for hole in table.cut_holes()])
    both = LineString([FRONT["from"], end]).buffer(13.0, 4096).intersection(holes).area
    assert whole.volume() - rest.volume() == pytest.approx(15.0 * (slot - both), rel=1e-4)


def test_depth_in_the_material_is_measured_to_the_side_of_the_slot() -> None:
    plate = plate_of(FRONT)
    spots = np.array([[425.0, 125.0, -7.0], [425.0, 139.0, -7.0], [425.0, 136.0, -7.0], [668.0, 125.0, -7.0]])
    assert plate.depth_at(spots) == pytest.approx([0.0, 1.0, 0.0, 5.0])


@pytest.mark.parametrize("into", [0.0, 0.5])
def test_a_block_too_far_to_one_side_runs_into_the_plate(into: float) -> None:
    """A block 40 wide that dips 5 mm into a slot of 60, its side level with the slot's or 0.5 beyond."""
    size = {"length": 60, "height": 60, "depth": 40, "bores": 1}
    block = {"name": "S1", "model": "stop_block", "free": [400, 135 + into, -5, 0], "with": size}
    table = {**TABLE, "slots": [{**FRONT, "width": 60}]}
    job = assemble(Scene.from_dict({"format": 1, "table": table, "place": [block]}))
    assert job.of_item("S1")[0].box[1, 1] == pytest.approx(155.0 + into)
    found = [f for f in INTERFERENCE.run(job, quiet).findings if f.rule == "below-table"]
    assert [f.measured for f in found] == ([pytest.approx(into, abs=0.01)] if into else [])


@pytest.mark.parametrize(
    ("y", "depth", "rule"),
    [
        (125.0, 40.0, "floats"),
        (125.0, 100.0, None),  # on both sides of it
        (154.0, 40.0, "tips"),
        (156.0, 40.0, "overhang"),
        (175.0, 40.0, None),
    ],
)
def test_a_block_does_not_stand_on_a_slot(y: float, depth: float, rule: str | None) -> None:
    """The slot is 60 wide, so that its side is at 155."""
    size = {"length": 60, "height": 60, "depth": depth, "bores": 1}
    block = {"name": "S1", "model": "stop_block", "free": [400, y, 0, 0], "with": size}
    table = {**TABLE, "slots": [{**FRONT, "width": 60}]}
    job = assemble(Scene.from_dict({"format": 1, "table": table, "place": [block]}))
    assert job.of_item("S1")[0].box[:, 1] == pytest.approx([y - depth / 2.0, y + depth / 2.0])
    rules = [f.rule for f in SEATING.run(job, quiet).findings if f.rule in ("floats", "tips", "overhang")]
    assert rules == ([rule] if rule else [])


# A clamp in a slot ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("start", "end", "first"),
    [([150, 125], [650, 125], "left"), ([650, 125], [150, 125], "right")],
)
@pytest.mark.parametrize(("y", "turn"), [(225.0, 90.0), (25.0, 270.0)])
def test_it_reaches_to_the_side_of_the_work(
    start: list[float], end: list[float], first: str, y: float, turn: float
) -> None:
    """The middle of the tube is 100 from that of the slot, so 87 from its side; its top is 90 high."""
    job = setup(y=y, table={**TABLE, "slots": [{**FRONT, "from": start, "to": end}]})
    seat = job.seats["K1"]
    assert seat.turn == turn
    assert tip(job) == pytest.approx((400.0, y, 90.0))
    assert [getattr(seat.part, k) for k in ("reach", "slot", "plate")] == pytest.approx([87.0, 26.0, 15.0])
    (found,) = findings(job)
    assert found.message == "K1 is in front slot, so its place along it must be measured each time"
    assert found.remedy == (
        f"set its middle 263 mm from the {first} tip of front slot; across, the side of the slot locates it"
    )
    (row,) = INTERFERENCE.run(job, quiet).figures["clamps"]
    assert row == {"clamp": "K1", "shut": [], "open": [], "way": []}


def test_its_place_along_follows_from_the_point_that_it_presses() -> None:
    told = setup({"along": None, "at": 150})
    assert told.seats["K1"].place.along == pytest.approx(100.0)
    assert tip(told) == pytest.approx((250.0, 225.0, 90.0))


def test_in_a_slot_aslant_it_stays_square_to_it() -> None:
    """A slot with sides 3 and 4: square to it is (-0.6, 0.8); a turn to a tenth of a degree is near enough."""
    slot = {**FRONT, "from": [150, 100], "to": [550, 400]}
    square = math.degrees(math.atan2(0.8, -0.6))
    job = setup({"presses": None, "turn": round(square, 1)}, y=550.0, table={**TABLE, "slots": [slot]})
    assert job.seats["K1"].turn == pytest.approx(square)
    assert job.seats["K1"].model_to_world[:2, 3] == pytest.approx((350.0 - 13 * 0.6, 250.0 + 13 * 0.8))
    assert [f.rule for f in findings(job)] == ["needs-measuring"]


@pytest.mark.parametrize(
    ("clamp", "y", "words"),
    [
        ({"along": 8}, 225.0, ""),
        ({"along": 7}, 225.0, "round end of front slot or beyond it; expected 8 mm to 492 mm; nearest: 8 mm"),
        ({"along": 492}, 225.0, ""),
        ({"along": 600}, 225.0, "nearest: 492 mm"),
        ({"turn": 90.4}, 225.0, ""),
        ({"turn": 91}, 225.0, "turn = 91 is not square to front slot; expected turn = 90 or turn = 270; nearest: 90"),
        ({"turn": 270}, 225.0, "turn = 270 reaches away from leg; nearest: 90"),
        (
            {"presses": None},
            225.0,
            "nothing says to which side of front slot it reaches; expected presses, or turn = 90",
        ),
        ({}, 125.0, "leg lies over the middle of front slot, to neither side of it"),
        ({}, 500.0, "pressed 362 mm in from the side of front slot, and bar_clamp reaches 24 mm to 300 mm"),
        ({"slot": "frnt slot"}, 225.0, 'slot: no slot is called "frnt slot"; nearest: "front slot"'),
        ({"along": None}, 225.0, "slot without along; expected along = "),
        ({"edge": "front"}, 225.0, "edge together with slot"),
        ({"with": {"slot": 26}}, 225.0, "slot in with: the table says how wide its slots are"),
        ({"bolt": True}, 225.0, "bolt of a block that hooks over a slot"),
        (
            {"model": "toggle_clamp"},
            225.0,
            "toggle_clamp does not stand in a slot; expected hole, on or free; or a model",
        ),
        ({"at": 900, "along": 100}, 225.0, "at = 900 mm is beyond the end of leg"),
        ({"presses": "log"}, 225.0, 'presses: no piece is called "log"; nearest: "leg"'),
    ],
)
def test_what_may_be_asked(clamp: dict[str, Any], y: float, words: str) -> None:
    if not words:
        assert [f.rule for f in findings(setup(clamp, y))] == ["needs-measuring"]
        return
    (line,) = said(scene(clamp, y))
    assert words in line


@pytest.mark.parametrize(
    ("width", "words"), [(21.0, ""), (20.9, "slot = 20.9 mm is too narrow"), (161.0, "0 mm to 160")]
)
def test_the_bar_turns_in_the_slot(width: float, words: str) -> None:
    """Its sides are 12 and 16, so its corners make a circle of 20 when it turns; with 0.5 all round, 21."""
    data = scene(table={**TABLE, "slots": [{**FRONT, "width": width}]})
    if words:
        (line,) = said(data)
        assert words in line
        return
    job = assemble(Scene.from_dict(data))
    assert [f.rule for f in findings(job)] == ["needs-measuring"]
    bar = job.of_item("K1")[0]
    assert bar.open_to_world is not None
    corners = frame.points(bar.open_to_world, bar.shape.mesh.vertices)
    upper = corners[corners[:, 2] > -14.9]  # of the bar itself, above the jaw
    assert np.hypot(*(upper[:, :2] - [400.0, 125.0]).T) == pytest.approx(10.0)


def test_what_stands_in_the_way_of_its_turn_is_told() -> None:
    """Open, its arm lies along the slot, to the left of someone who looks along it: over (320, 125)."""
    size = {"height": 160, "length": 40, "depth": 40, "bores": 1}
    ways = {}
    for hole in ("G3", "K3"):  # x = 300 and 500, y = 100
        place = {"name": "S1", "model": "stop_block", "hole": hole, "with": size}
        job = setup(place=[place])
        (row,) = INTERFERENCE.run(job, quiet).figures["clamps"]
        ways[hole] = (row["shut"], row["open"], row["way"])
    assert ways == {"G3": ([], ["S1"], ["S1"]), "K3": ([], [], [])}


@pytest.mark.parametrize("case", [(50.0, 16.0, 21.0), (50.8, 19.05, 160.0)])
def test_the_sweeps_hold_the_way_and_no_more(case: tuple[float, float, float]) -> None:
    """At every third of each step each body is in its sweep; and the sweep of the bar stays in the slot."""
    from fixture3d.library import library
    from fixture3d.solid import kernel
    from tests.test_clamp_models import placed

    pitch, bore, width = case
    part = library().make("bar_clamp", Pattern(pitch=pitch, bore=bore), {"slot": width})
    bodies = {body.name: body for body in part.bodies()}
    for name in ("", "arm", "screw"):
        body, sweep = bodies[name].build(), bodies[f"{name} sweep".strip() if name else "bar sweep"].build()
        assert kernel.is_valid(sweep.wrapped)
        steps = bodies[name].opens
        for done in np.linspace(0.0, len(steps), 3 * len(steps) + 1):
            rest = placed(body, opened(steps, float(done))).cut(sweep)
            assert sum(kernel.volume(s.wrapped) for s in rest.Solids()) < 1e-6 * kernel.volume(body.wrapped), (
                name,
                done,
            )
    bar = bodies["bar sweep"].build().BoundingBox()
    assert bar.ymin >= -0.625 * bore - 1e-6
    upper = [v for v in bodies["bar sweep"].build().Vertices() if v.Z > 1.0]
    assert min(v.X for v in upper) >= -width - 1e-6
    assert max(v.X for v in upper) <= 1e-6


# What is drawn and told ----------------------------------------------------------------------------------------------


def test_sheet_picture_and_page_show_it() -> None:
    from fixture3d.preview.page.data import _table
    from fixture3d.preview.shapes import table_shape
    from fixture3d.sheet.data import _size, _stands
    from fixture3d.sheet.plan import plan

    job = setup(table={**TABLE, "slots": [{**FRONT, "width": 40}]})
    assert _stands(job, job.seats["K1"]) == "front slot, 270 mm from its left tip"
    assert "slot 40 mm" in _size(job.seats["K1"], "mm", False)
    edge = setup({"slot": None, "edge": "front"})
    assert "slot" not in _size(edge.seats["K1"], "mm", False)
    drawn = plan(job, {False: (180.0, 250.0), True: (250.0, 180.0)}).svg
    assert ">front slot</text>" in drawn
    assert drawn.count('stroke-width="0.3"/>') > plan(edge, {False: (180.0, 250.0), True: (250.0, 180.0)}).svg.count(
        'stroke-width="0.3"/>'
    )
    (field,) = table_shape(job).slots
    a, b, c = (field.vertices[field.faces[:, k]] for k in range(3))
    area = np.cross(b - a, c - a)[:, 2].sum() / 2.0  # facing up
    assert area == pytest.approx(40.0 * 500.0 + math.pi * 400.0, rel=2e-3)
    page = json.loads(json.dumps(_table(job.table)))
    assert page["slots"] == [{"name": "front slot", "ends": [[150, 125, 0], [650, 125, 0]], "width": 40}]
    assert set(page["grids"][0]["blocked"]) == {hole.name for hole in job.table.cut_holes()}
