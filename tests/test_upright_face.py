"""Blocks on the holes of an upright face: where they come to, and what seating says of them.

The angle plate AP stands with bore 1 in F8 of a table of pitch 50, bores of 16: its face lies 50 in front of that row,
at y = 300, and its hole A1 over column F, 50 above the table.
"""

from __future__ import annotations

import re
from typing import Any

import numpy as np
import pytest

from fixture3d import frame
from fixture3d.checks import seating
from fixture3d.checks.base import Finding, quiet
from fixture3d.engine import assemble
from fixture3d.job import Job
from fixture3d.job.support import support
from fixture3d.job.wayout import remedy
from fixture3d.scene import Scene
from fixture3d.sheet.data import _others
from fixture3d.sheet.plan import plan

TABLE: dict[str, Any] = {"pitch": 50, "bore": 16, "columns": 20, "rows": 16, "edge": 50, "thickness": 12}
PLATE = {"name": "AP", "model": "angle_plate", "hole": "F8", "bolt": True}
# The same holes as a grid of their own, of the same plate: from A1 of the face, X along it, Y up.
GRID: dict[str, Any] = {"name": "face", "origin": [250, 300, 50], "x": [1, 0, 0], "y": [0, 0, 1]}
GRID |= {"columns": 3, "rows": 3, "edge": 30, "thickness": 20}


def block(name: str = "S", model: str = "stop_block", /, **keys: Any) -> dict[str, Any]:
    return {"name": name, "model": model, "on": "AP", **keys}


def job(*places: dict[str, Any], plate: dict[str, Any] = PLATE, **rest: Any) -> Job:
    return assemble(Scene.from_dict({"format": 1, "table": TABLE, "place": [plate, *places], **rest}))


def check(*places: dict[str, Any], **rest: Any) -> list[Finding]:
    return list(seating.CHECK.run(job(*places, **rest), quiet).findings)


@pytest.mark.parametrize(("socket", "turn"), [("A1", 0), ("B2", 0), ("C3", 90), ("B1", 180), ("B2", 270), ("B2", 30)])
@pytest.mark.parametrize("model", ["stop_block", "vee_block", "riser"])
def test_a_block_stands_as_on_a_grid_of_the_same_holes(socket: str, turn: float, model: str) -> None:
    plate = {**PLATE, "hole": "F16"}  # out of the way of the grid
    there = job(block("S", model, socket=socket, turn=turn, bolt=True)).seats["S"]
    grid = {"name": "S", "model": model, "hole": f"face:{socket}", "turn": turn, "bolt": True}
    same = job(grid, plate=plate, grid=[GRID]).seats["S"]
    assert there.model_to_world == pytest.approx(same.model_to_world, abs=1e-9)
    assert [h.partition(":")[2] for h in there.holes] == [h.partition(":")[2] for h in same.holes]
    assert [p.state for p in there.pins] == [p.state for p in same.pins]


def test_its_seat_lies_on_the_face_and_its_dowels_in_the_plate() -> None:
    found = job(block(socket="A1"))
    body = next(b for b in found.of_item("S") if b.role == "block")
    assert body.box[1, 1] == pytest.approx(300.0, abs=1e-6)  # it stands out to the front
    pin = next(b for b in found.of_item("S") if b.name == "S pin 1")
    assert pin.box[:, 0].tolist() == pytest.approx([242.0, 258.0], abs=0.03)
    assert pin.box[:, 2].tolist() == pytest.approx([42.0, 58.0], abs=0.03)
    assert pin.box[1, 1] == pytest.approx(316.0, abs=1e-6)  # 16 deep in a plate of 20


@pytest.mark.parametrize("turn", [90, 180, 30])
def test_turned_with_its_plate(turn: float) -> None:
    """All that stands on the plate turns about the hole that the plate stands in, F8."""
    straight = job(block(socket="B2", turn=90, bolt=True)).seats["S"].model_to_world
    turned = job(block(socket="B2", turn=90, bolt=True), plate={**PLATE, "turn": turn}).seats["S"].model_to_world
    hole = (250.0, 350.0, 0.0)
    about = frame.chain(frame.translation(hole), frame.rotation((0, 0, 1), turn), frame.translation(-np.array(hole)))
    assert turned == pytest.approx(frame.chain(about, straight), abs=1e-9)


def test_only_a_bolt_holds_it() -> None:
    (found,) = check(block(socket="B2"))
    assert (found.rule, found.level, found.remedy) == ("tips", "fail", "hold it down with bolt = true")
    assert check(block(socket="B2", bolt=True)) == []
    assert check(block(socket="B2", bolt=True, pins=["1"])) == []  # a bolt alone holds by friction


def test_pins_are_judged_by_the_same_fits() -> None:
    """Least clearance of 16 H7/g6 is 0.006 (ISO 286-2): two dowels 50 apart allow 0.006 / 50 rad, 0.007 degrees."""
    assert check(block(socket="B2", bolt=True, turn=0.006, pins=["1", "2"])) == []
    askew = check(block(socket="B2", bolt=True, turn=30, pins=["1", "2"]))
    (found,) = [f for f in askew if f.rule == "pin-off-hole"]
    match = re.fullmatch(r"nearest seat that works: socket (\S+) of AP, turn (\S+)", found.remedy)
    assert match is not None, found.remedy
    assert check(block(socket=match[1], turn=float(match[2]), bolt=True, pins=["1", "2"])) == []
    two = check(block(socket="B2", bolt=True), block("T", socket="C2", turn=270, bolt=True))
    assert [f.rule for f in two if f.level != "note"] == ["hole-shared"]


def test_a_block_over_the_edge_of_the_face_is_told() -> None:
    over = [f for f in check(block(socket="C2", bolt=True)) if f.rule == "overhang"]
    # From C2 the block of 105 runs 77.5 to the right; the face ends 30 past the column, less its broken edge of 2.
    assert [f.measured for f in over] == [pytest.approx(77.5 - 28.0, abs=1e-6)]


def test_what_carries_it_is_the_face() -> None:
    found = job(block(socket="B2", bolt=True))
    held = support(found, found.seats["S"])
    assert held is not None
    assert held.gap == 0.0
    assert held.out == 0.0
    # 156 along and 168 up: the face between its broken edges of 2
    assert held.area.area == pytest.approx(156.0 * 168.0)


def test_further_blocks_stack_outward() -> None:
    found = job(block("R", "riser", socket="A1", bolt=True), block("T", on="R", socket="1", bolt=True))
    assert found.seats["T"].model_to_world[:3, 3] == pytest.approx([250.0, 250.0, 50.0])
    assert found.seats["T"].model_to_world[:3, 2] == pytest.approx([0.0, -1.0, 0.0])
    assert seating.CHECK.run(found, quiet).findings == ()


def test_a_plate_on_its_face_and_a_socket_that_is_not_named() -> None:
    laid = check(block(socket="B2"), plate={**PLATE, "face": "front", "hole": "F8"})
    assert [f.message for f in laid if f.rule == "cannot-stand"] == ["socket B2 of AP opens on to what AP stands on"]
    unnamed = [f for f in check(block()) if f.rule == "cannot-stand"]
    assert [f.message for f in unnamed] == ["no socket of AP opens upward as AP lies"]
    assert 'socket = "A1", with bolt = true' in unnamed[0].remedy
    assert check(block(socket="A1", bolt=True)) == []


def test_no_height_is_told_for_a_block_on_an_upright_face() -> None:
    found = job(block(socket="B2", bolt=True))
    body = next(b for b in found.of_item("S") if b.role == "block")
    words = remedy(found, body, np.array([0.0, 0.0, 3.0]))
    assert words.startswith("S would have to go 3 mm up (+Z), and no socket of AP is known")


def test_the_sheet_says_how_its_turn_counts_and_draws_no_hole_in_the_table() -> None:
    with_, without = job(block(socket="B2", bolt=True)), job()
    assert "on the upright face, turned as seen from its front" in _others(with_.seats["S"])
    assert "upright" not in _others(with_.seats["AP"])
    room = {False: (180.0, 200.0), True: (200.0, 180.0)}
    bolts = [plan(found, room).svg.count('fill="white" stroke-width="0.3"') for found in (without, with_)]
    assert bolts == [1, 1]  # that of AP; the holes of the face are not seen from above
