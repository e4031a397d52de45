"""Clamps that are aimed at a piece: what the scene leaves open follows from where the piece is."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

import fixture3d
from fixture3d import frame
from fixture3d.engine import assemble
from fixture3d.errors import SceneError
from fixture3d.job import Seat

SCENE = """\
format = 1
units = "{units}"
table = "{table}"
[weldment]
hole = "F6"
lift = {lift}
[[member]]
name = "leg"
stock = "{stock}"
from = [0, 0, 0]
to = [0, {long}, 0]
[[clamp]]
name = "K1"
model = "{model}"
hole = "{hole}"
{bolt}
presses = "leg"
{rest}
"""
TOGGLE = {"model": "toggle_clamp", "bolt": "bolt = true"}
METRIC = {
    **TOGGLE,
    "units": "mm",
    "table": "50/16 1200x900",
    "lift": 75,
    "stock": "SHS 50x50x3",
    "long": 400,
    "hole": "B8",
}
INCH = {**TOGGLE, "units": "in", "table": "2/(3/4) 48x36", "lift": 3, "stock": "HSS 2x2x1/8", "long": 16, "hole": "B8"}


def clamp(folder: Path, keys: dict[str, Any], rest: str = "") -> Seat:
    path = folder / "scene.toml"
    path.write_text(SCENE.format(**keys, rest=rest), encoding="utf-8")
    return assemble(fixture3d.load(path)).seats["K1"]


def tip(seat: Seat) -> tuple[float, float, float]:
    found = seat.part.tip()
    assert found is not None
    x, y, z = (float(v) for v in frame.points(seat.model_to_world, np.asarray(found.at)))
    return x, y, z


def test_reach_height_and_turn_follow_from_the_piece(tmp_path: Path) -> None:
    seat = clamp(tmp_path, METRIC)
    # The leg's centre line runs through column F, 250 right of A; its top is 100 above the table.
    assert tip(seat) == pytest.approx((250.0, 350.0, 100.0))
    assert seat.turn == pytest.approx(0.0, abs=1e-9)


def test_the_same_in_inches(tmp_path: Path) -> None:
    assert tip(clamp(tmp_path, INCH)) == pytest.approx((10 * 25.4, 14 * 25.4, 4 * 25.4))


def test_the_arm_goes_up_with_the_work(tmp_path: Path) -> None:
    low = clamp(tmp_path, METRIC).part
    high = clamp(tmp_path, {**METRIC, "lift": 135}).part
    for part in (low, high):
        assert list(part.rules()) == []
    assert getattr(high, "height") - getattr(low, "height") == pytest.approx(60.0)  # noqa: B009


@pytest.mark.parametrize(("model", "hole"), [("screw_clamp", "B8"), ("hold_down_bolt", "D8")])
def test_every_clamp_turns_and_reaches_by_itself(tmp_path: Path, model: str, hole: str) -> None:
    keys = {**METRIC, "model": model, "hole": hole, "bolt": ""}
    assert tip(clamp(tmp_path, keys)) == pytest.approx((250.0, 350.0, 100.0))
    seat = clamp(tmp_path, keys, "at = 220")
    assert tip(seat) == pytest.approx((250.0, 250.0 + 220.0, 100.0))
    assert seat.bolted


@pytest.mark.parametrize(("rest", "face", "turn"), [("", (225.0, 350.0), 0.0), ("at = 200", None, 45.0)])
def test_a_push_clamp_comes_up_to_the_side_of_the_work(
    tmp_path: Path, rest: str, face: tuple[float, float] | None, turn: float
) -> None:
    """The leg's side is 225 right of A, its axis 75 over the table; from B6 at 45 degrees it presses (250, 450)."""
    hole = "B8" if face else "B6"
    seat = clamp(tmp_path, {**METRIC, "model": "push_clamp", "bolt": "", "hole": hole}, rest)
    assert seat.turn == pytest.approx(turn, abs=1e-9)
    assert tip(seat) == pytest.approx((*(face or (225.0, 425.0)), 75.0))


def test_at_counts_from_the_first_end(tmp_path: Path) -> None:
    seat = clamp(tmp_path, METRIC, "at = 200")
    assert tip(seat) == pytest.approx((250.0, 250.0 + 200.0, 100.0))
    assert seat.turn == pytest.approx(np.degrees(np.arctan2(100.0, 200.0)))


def test_what_the_scene_gives_is_left_alone(tmp_path: Path) -> None:
    seat = clamp(tmp_path, METRIC, "with = { reach = 60, work_height = 90, height = 140 }")
    part: Any = seat.part
    assert (part.reach, part.work_height, part.height) == (60.0, 90.0, 140.0)


def test_a_pivot_that_is_too_low_for_the_work_is_an_error(tmp_path: Path) -> None:
    with pytest.raises(SceneError, match=r"to press leg: height = 90 mm brings the arm too low .* expected at least"):
        clamp(tmp_path, METRIC, "with = { height = 90 }")


@pytest.mark.parametrize(("keys", "said"), [(METRIC, "500 mm .* 400 mm"), (INCH, "500 in .* 16 in")])
def test_beyond_the_end_in_the_units_of_the_file(tmp_path: Path, keys: dict[str, Any], said: str) -> None:
    with pytest.raises(SceneError, match=f"at = {said} long"):
        clamp(tmp_path, keys, "at = 500")
