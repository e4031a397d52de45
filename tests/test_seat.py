"""Standing a block on a plane: which dowels drop in, and what the block can still do."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from fixture3d import frame
from fixture3d.job import seat
from fixture3d.job.plane import GridPlane
from fixture3d.library import library
from fixture3d.part import FACES, Part, Pattern
from fixture3d.scene.table import Naming, Table

PATTERN = Pattern(pitch=50.0, bore=16.0)
TABLE = Table(columns=20, rows=12, pitch=(50.0, 50.0), bore=16.0, edge=(50.0, 50.0), thickness=12.0, blocked=("D4",))
PLANE = GridPlane(TABLE, TABLE)
REAMED = seat.fit(16.0, "H7", "g6")
DRILLED = seat.fit(16.0, (0.0, 0.5), "g6")


def stop(**given: object) -> Part:
    return library().make("stop_block", PATTERN, given)


def stand(part: Part, hole: str, turn: float, fit: seat.Fit = REAMED, **rest: object) -> dict[str, str]:
    """Pin name to its state, for a block with its first pin in ``hole``."""
    anchor = seat.face_pins(part, "bottom")[0]
    pose = seat.model_to_plane(part, "bottom", anchor, TABLE.hole(hole).xy, turn)
    asked = rest.get("asked")
    pins = seat.seat_pins(part, "bottom", pose, PLANE, fit, anchor=anchor, asked=asked)  # type: ignore[arg-type]
    return {p.pin.name: p.state for p in pins}


@pytest.mark.parametrize("turn", [0.0, 90.0, 180.0, 270.0])
def test_right_angles_take_both_dowels(turn: float) -> None:
    states = stand(stop(), "J6", turn)
    assert states["1"] == states["2"] == "seated"


def test_45_degrees_takes_the_pins_that_are_spaced_for_it() -> None:
    part = stop()
    pins = seat.face_pins(part, "bottom")
    third, fourth = pins[2], pins[3]
    assert math.dist(third.at[:2], fourth.at[:2]) == pytest.approx(50.0 * math.sqrt(2.0))
    pose = seat.model_to_plane(part, "bottom", third, TABLE.hole("J6").xy, 45.0)
    seated = [
        p.pin.name
        for p in seat.seat_pins(part, "bottom", pose, PLANE, REAMED, anchor=third, asked=None)
        if p.state == "seated"
    ]
    assert seated == ["3", "4"]


def test_a_turn_off_the_grid_leaves_one_dowel() -> None:
    states = stand(stop(), "J6", 30.0)
    assert [name for name, state in states.items() if state == "seated"] == ["1"]


def test_a_pin_asked_for_is_off_where_a_default_pin_is_left_out() -> None:
    assert stand(stop(), "J6", 30.0)["2"] == "left out"
    assert stand(stop(), "J6", 30.0, asked=frozenset({"1", "2"}))["2"] == "off"


def test_blocked_and_missing_holes() -> None:
    assert stand(stop(), "D4", 0.0)["1"] == "blocked"
    assert stand(stop(), "C4", 0.0)["2"] == "left out"  # over D4, not asked for
    assert stand(stop(), "T4", 0.0, asked=frozenset({"1", "2"}))["2"] == "off"


@pytest.mark.parametrize(("inside", "state"), [(0.95, "seated"), (1.25, "left out")])
def test_the_limit_is_half_the_sum_of_the_least_clearances(inside: float, state: str) -> None:
    # Both dowels at 50 mm, holes 50 mm apart, the block turned a little: the second pin goes sideways by
    # 50 sin(turn). ASME Y14.5 fixed fasteners, and plain geometry: it still drops in up to (c1 + c2) / 2.
    limit = (DRILLED.least + DRILLED.least) / 2.0
    assert limit == pytest.approx(0.006)  # 16 H7 against g6 at their tightest: 16.000 - 15.994
    turn = math.degrees(2.0 * math.asin(inside * limit / 100.0))  # a thousandth of a mm more is given to rounding
    assert stand(stop(), "J6", turn, fit=REAMED)["2"] == state


def test_play_of_two_pins_is_the_handbook_figure() -> None:
    # Two pins 50 apart in 16 H7/g6, worst clearance 0.035 mm each: asin(0.035 / 50) = 0.0401 degrees; shift 0.0175.
    part = stop()
    anchor = seat.face_pins(part, "bottom")[0]
    pose = seat.model_to_plane(part, "bottom", anchor, TABLE.hole("J6").xy, 0.0)
    pins = seat.seat_pins(part, "bottom", pose, PLANE, REAMED, anchor=anchor, asked=frozenset({"1", "2"}))
    play = seat.play(pins, REAMED)
    assert play.shift == pytest.approx(0.0175)
    assert play.turn == pytest.approx(math.degrees(math.asin(0.035 / 50.0)))
    alone = seat.play(pins[:1], REAMED)
    assert alone.turn is None
    assert alone.shift == pytest.approx(0.0175)
    assert seat.play((), REAMED).shift is None


@pytest.mark.parametrize("face", FACES)
@pytest.mark.parametrize("turn", [0.0, 45.0, 133.0])
def test_whatever_face_is_down_the_block_lies_on_the_plane(face: str, turn: float) -> None:
    part = stop(length=105, depth=65, height=40)
    pose = seat.model_to_plane(part, face, None, (120.0, 80.0), turn)  # type: ignore[arg-type]
    low, high = part.box()
    corners = np.array([[x, y, z] for x in (low[0], high[0]) for y in (low[1], high[1]) for z in (low[2], high[2])])
    heights = frame.points(pose, corners)[:, 2]
    assert heights.min() == pytest.approx(0.0, abs=1e-9)
    assert heights.max() == pytest.approx({"bottom": 40, "top": 40, "front": 65, "back": 65}.get(face, 105))


def test_turned_over_the_same_bores_stand_in_the_same_kind_of_holes() -> None:
    part = stop()
    anchor = seat.face_pins(part, "top")[0]
    pose = seat.model_to_plane(part, "top", anchor, TABLE.hole("J6").xy, 0.0)
    pins = seat.seat_pins(part, "top", pose, PLANE, REAMED, anchor=anchor, asked=None)
    assert [p.pin.name for p in pins if p.state == "seated"] == ["1", "2"]
    assert all(abs(float(p.at[2])) < 1e-9 for p in pins)


def test_proposals_work_and_come_nearest_first() -> None:
    part = stop()
    anchor = seat.face_pins(part, "bottom")[0]
    found = list(
        seat.proposals(
            part, "bottom", PLANE, REAMED, anchor=anchor, at=TABLE.hole("J6").xy, turn=20.0, names=frozenset({"1", "2"})
        )
    )
    assert found[0].hole == "J6"
    assert found[0].turn == 0.0
    assert [p.moved for p in found] == sorted(p.moved for p in found)
    for proposal in found[:12]:
        states = stand(part, proposal.hole, proposal.turn)
        assert states["1"] == states["2"] == "seated"


@pytest.mark.parametrize("corner", ["front left", "back right"])
@pytest.mark.parametrize("stagger", [False, True])
def test_the_nearest_hole_is_the_first_of_those_around(corner: Any, stagger: bool) -> None:
    grid = {"pitch": (50.0, 40.0), "bore": 16.0, "columns": 6, "rows": 5, "stagger": stagger}
    table = Table(naming=Naming(corner=corner), **grid)  # type: ignore[arg-type]
    plane, rng = GridPlane(table, table), np.random.default_rng(3)
    spots = [*rng.uniform(-400.0, 400.0, (300, 2)).tolist(), [25.0, 20.0], [-25.0, -20.0], [25.0, 0.0], [0.0, 0.0]]
    for x, y in spots:
        assert plane.nearest((x, y)) == plane.around((x, y), 1)[0]
