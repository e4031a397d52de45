"""Welding positions against closed forms, either side of every limit.

Limits: AWS A3.0 / D1.1 position charts and ISO 6947:2011 production limits, both from memory save the vertical groove
line and the test welds' limits of ISO 6947 3.2 and 3.3, which were looked up; the two agree wherever they overlap.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pytest
from numpy.typing import ArrayLike

from fixture3d.access import position
from fixture3d.access.position import Position, aws_name, iso_name, slope_and_tilt, welding_position
from fixture3d.access.welds import Weld, weld_points
from fixture3d.frame import rotation

OFF = 0.01


def weld(sides: object, start: ArrayLike = (0, 0, 0), end: ArrayLike = (100, 0, 0), kind: str = "fillet") -> Weld:
    return Weld(
        name="w",
        type=kind,
        joins=("a", "b"),
        size=4.0,
        path=np.array([np.asarray(start), np.asarray(end)], dtype=np.float64),
        technique="",
        sides=np.asarray(sides, dtype=np.float64),
    )


def lies(one: Weld, direction: str = "either") -> Position:
    return welding_position(one, weld_points(one), direction=direction)


T_JOINT = [[0, 0, 1], [0, 1, 0]]
"""A weld along X between a plate on the table and an upright."""


@pytest.mark.parametrize(
    ("sides", "end", "kind", "iso", "aws"),
    [
        (T_JOINT, (100, 0, 0), "fillet", "PB", "2F"),
        ([[0, 1, 1], [0, -1, 1]], (100, 0, 0), "fillet", "PA", "1F"),  # in the trough of a V
        ([[0, 0, -1], [0, 1, 0]], (100, 0, 0), "fillet", "PD", "4F"),  # under the plate
        ([[0, 1, 1], [0, 1, -1]], (100, 0, 0), "fillet", "PC", "4F"),  # face on a wall: the standards differ
        ([[1, 0, 0], [0, 1, 0]], (0, 0, 100), "fillet", "PF", "3F"),
        ([[0, 0, 1], [0, 0, 1]], (100, 0, 0), "butt", "PA", "1G"),
        ([[0, 1, 0], [0, 1, 0]], (100, 0, 0), "butt", "PC", "2G"),
        ([[0, 1, 0], [0, 1, 0]], (0, 0, 100), "butt", "PF", "3G"),
        ([[0, 0, -1], [0, 0, -1]], (100, 0, 0), "butt", "PE", "4G"),
        (T_JOINT, (100, 0, 0), "lap", "PB", "2F"),
        (T_JOINT, (100, 0, 0), "corner", "PC", "2G"),
        ([[0, 0, 1], [0, 1, 0]], (100, 0, 0), "flare", "PC", "2G"),
    ],
)
def test_every_position_by_its_textbook_joint(
    sides: object, end: Sequence[float], kind: str, iso: str, aws: str
) -> None:
    found = lies(weld(sides, end=end, kind=kind))
    assert (found.iso, found.aws) == (iso, aws)
    assert dict(found.lengths) == pytest.approx({iso: 100.0})


def test_checks_of_the_chart() -> None:
    """AWS rotation: face up 180; T-joint 135; tilted 20 toward flat 155, which is 1F; under the plate 45."""
    for turn, rotation_, name in ((0, 135, "2F"), (20, 155, "1F"), (-90, 45, "4F"), (45, 180, "1F")):
        about = rotation((1, 0, 0), turn)[:3, :3]
        found = lies(weld(np.array(T_JOINT, dtype=float) @ about.T))
        assert found.to_dict()["rotation"] == pytest.approx(rotation_)
        assert found.aws == name
    up = [math.cos(math.radians(20)) * 100, 0, math.sin(math.radians(20)) * 100]
    across = [-up[2], 0, up[0]]
    # Axis at 20 degrees, rotation 180: vertical by the chart, not flat.
    found = lies(weld([across, across], end=up, kind="butt"))
    assert (found.slope, found.tilt) == pytest.approx((20.0, 0.0), abs=1e-3)
    assert found.aws == "3G"


@pytest.mark.parametrize("slope", [0.0, 14.0])
@pytest.mark.parametrize(
    ("kind", "limit", "below", "above"),
    [
        ("fillet", 30.0, ("PA", "1F"), ("PB", "2F")),
        ("fillet", 55.0, ("PB", "2F"), ("PC", "4F")),
        ("fillet", 100.0, ("PC", "4F"), ("PD", "4F")),
        ("butt", 30.0, ("PA", "1G"), ("PC", "2G")),
        ("butt", 100.0, ("PC", "2G"), ("PE", "4G")),
    ],
)
def test_limits_of_tilt(slope: float, kind: str, limit: float, below: tuple[str, str], above: tuple[str, str]) -> None:
    for tilt, names in ((limit - OFF, below), (limit, below), (limit + OFF, above)):
        assert (iso_name(slope, tilt, kind), aws_name(slope, tilt, kind)) == names


@pytest.mark.parametrize(
    ("kind", "tilt", "limit", "below", "above"),
    [
        ("fillet", 0.0, 15.0, ("PA", "1F"), ("PF", "3F")),
        ("fillet", 45.0, 15.0, ("PB", "2F"), ("PF", "3F")),
        ("fillet", 135.0, 80.0, ("PD", "4F"), ("PF", "3F")),
        ("butt", 0.0, 15.0, ("PA", "1G"), ("PF", "3G")),
        ("butt", 90.0, 15.0, ("PC", "2G"), ("PF", "3G")),
        ("butt", 150.0, 80.0, ("PE", "4G"), ("PF", "3G")),
    ],
)
def test_limits_of_slope(kind: str, tilt: float, limit: float, below: tuple[str, str], above: tuple[str, str]) -> None:
    for slope, names in ((limit - OFF, below), (limit, below), (limit + OFF, above)):
        assert (iso_name(slope, tilt, kind), aws_name(slope, tilt, kind)) == names


def test_test_welds_keep_to_5_and_10_degrees() -> None:
    """ISO 6947:2011, 3.2 and 3.3: plus or minus 5 of slope and 10 of rotation."""
    for turn, kept in ((10 - OFF, True), (10 + OFF, False), (-10 + OFF, True), (-10 - OFF, False)):
        about = rotation((1, 0, 0), turn)[:3, :3]
        assert lies(weld(np.array(T_JOINT, dtype=float) @ about.T)).as_tested is kept
    for lean, kept in ((5 - OFF, True), (5 + OFF, False)):
        about = rotation((0, 1, 0), lean)[:3, :3]
        assert lies(weld(np.array(T_JOINT, dtype=float) @ about.T, end=about @ [100, 0, 0])).as_tested is kept


def test_slope_and_tilt_against_plain_trigonometry() -> None:
    rng = np.random.default_rng(4)
    for _ in range(200):
        slope, tilt, heading = rng.uniform(0, 89), rng.uniform(1, 179), rng.uniform(0, 360)
        side = rng.choice([-1.0, 1.0])
        c, s = math.cos(math.radians(slope)), math.sin(math.radians(slope))
        up, level = np.array([-s, 0, c]), np.array([0, 1.0, 0])
        face = math.cos(math.radians(tilt)) * up + side * math.sin(math.radians(tilt)) * level
        about = rotation((0, 0, 1), heading)[:3, :3]
        axis = about @ np.array([c, 0, s])
        for sense in (1.0, -1.0):
            # A part of the face along the axis does not matter, nor does the sense of the axis.
            found = slope_and_tilt(sense * axis, 3.0 * (about @ face) + rng.normal() * axis)
            assert [float(v) for v in found] == pytest.approx([slope, tilt], abs=1e-6)


def test_vertical_is_up_unless_the_technique_runs_it_down() -> None:
    upright = weld([[1, 0, 0], [0, 1, 0]], end=(0, 0, 100))
    assert [lies(upright, way).iso for way in ("either", "forward", "back")] == ["PF", "PF", "PG"]


def test_positions_change_round_a_frame() -> None:
    """A weld along the plate and up the wall of a box: 100 PB and 60 PF."""
    one = Weld(
        name="w", type="fillet", joins=("a", "b"), size=4.0, technique="",
        path=np.array([[0, 0, 0], [100, 0, 0], [100, 0, 60]], dtype=float),
        sides=np.array([T_JOINT, [[-1, 0, 0], [0, 1, 0]]], dtype=float),
    )  # fmt: skip
    found = lies(one)
    assert dict(found.lengths) == pytest.approx({"PB": 100.0, "PF": 60.0})
    assert position.in_words(found.to_dict()) == "PB/2F (partly PF)"


@pytest.mark.parametrize(
    ("sides", "end", "axis", "angle", "iso"),
    [
        (T_JOINT, (100, 0, 0), "X", 45.0, "PA"),
        ([[0, 0, -1], [0, 0, -1]], (100, 0, 0), "X", 180.0, "PA"),
        ([[0, 1, 0], [0, 1, 0]], (0, 0, 100), "X", 90.0, "PA"),
        ([[0, -1, 0], [0, -1, 0]], (0, 0, 100), "X", -90.0, "PA"),
        ([[1, 0, 0], [1, 0, 0]], (0, 0, 100), "Y", -90.0, "PA"),
        # A right angle that leaves the face 30 off is taken before the 120 that would bring it fully up.
        ([[0, 0.5, -math.sqrt(0.75)], [0, 0.5, -math.sqrt(0.75)]], (100, 0, 0), "X", 180.0, "PA"),
    ],
)
def test_the_turn_that_brings_it_flat(sides: object, end: Sequence[float], axis: str, angle: float, iso: str) -> None:
    turn = lies(weld(sides, end=end)).turn
    assert turn is not None
    assert (turn.axis, turn.angle, str(turn.iso)) == (axis, angle, iso)
    assert turn.length == pytest.approx(100.0)


def test_no_turn_for_a_flat_weld_and_a_level_one_for_a_slanted_upright() -> None:
    assert lies(weld([[0, 0, 1], [0, 0, 1]], kind="butt")).turn is None
    # Both ways round a turn about X or Y leaves this axis 45 off: nothing brings it flat, nor horizontal.
    slanted = weld([[1, -1, 0], [1, -1, 0]], end=(1000, 1000, 1400), kind="butt")
    turn = lies(slanted).turn
    if turn is not None:
        about = rotation((1, 0, 0) if turn.axis == "X" else (0, 1, 0), turn.angle)[:3, :3]
        again = lies(weld([about @ [1, -1, 0]] * 2, end=about @ [1000, 1000, 1400], kind="butt"))
        assert again.iso == turn.iso != lies(slanted).iso


def test_a_turn_is_what_it_says() -> None:
    """Turned as told, most of the weld lies in the position that was promised; random welds, all types."""
    rng = np.random.default_rng(7)
    told = 0
    for _ in range(40):
        about = np.linalg.qr(rng.normal(size=(3, 3)))[0]
        kind = str(rng.choice(["fillet", "butt", "corner"]))
        one = weld(np.array(T_JOINT) @ about.T, end=about @ [100, 0, 0], kind=kind)
        turn = lies(one).turn
        if turn is None:
            continue
        told += 1
        back = rotation((1, 0, 0) if turn.axis == "X" else (0, 1, 0), turn.angle)[:3, :3]
        again = lies(weld(one.sides @ back.T, end=back @ one.path[1], kind=kind))
        assert again.iso == turn.iso
        assert position.ORDER.index(again.iso) < position.ORDER.index(lies(one).iso)
    assert told > 25


def test_a_turn_of_the_whole_work_is_named_when_it_brings_much() -> None:
    """Two long fillets on the underside and a short flat one: over by 180 degrees the long ones face up."""
    from fixture3d.access.position import turn_of_all

    def fillet(name: str, y: float, long: float, up: float) -> Weld:
        side = 0.5**0.5
        return Weld(
            name=name,
            type="fillet",
            size=3.0,
            path=np.array([[0.0, y, 0.0], [long, y, 0.0]]),
            sides=np.array([[0.0, side, up * side], [0.0, -side, up * side]]),
            technique="corner",
            joins=("a", "b"),
        )

    under = [fillet("one", 0.0, 200.0, -1.0), fillet("two", 50.0, 200.0, -1.0)]
    found = turn_of_all([*under, fillet("three", 90.0, 50.0, 1.0)])
    assert found is not None
    assert (found.turn.angle, found.flat) == (180.0, True)
    assert (found.now, found.turn.length, found.total) == pytest.approx((50.0, 400.0, 450.0))
    # One tenth of all is the least that it must bring.
    assert turn_of_all([fillet("up", 0.0, 200.0, 1.0), fillet("down", 9.0, 219.0, -1.0)]) is None
    assert turn_of_all([fillet("up", 0.0, 200.0, 1.0), fillet("down", 9.0, 250.0, -1.0)]) is not None
    assert turn_of_all([fillet("up", 0.0, 200.0, 1.0)]) is None
