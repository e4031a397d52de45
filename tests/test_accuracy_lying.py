"""A rail that is pushed against the ends of rungs: which of them decide where it lies, in closed form by levers."""

from __future__ import annotations

import math

import numpy as np
import pytest

from fixture3d.accuracy.figures import Figure, Work, angle, distance
from fixture3d.accuracy.lying import Lying, in_turn
from fixture3d.accuracy.pressing import pressed_home
from fixture3d.accuracy.shapes import longer
from fixture3d.accuracy.stack import Contributor, Loaded, Stack, stack_up
from fixture3d.locating.contact import Contact

UP, BACK, RIGHT = np.array([0.0, 0, 1]), np.array([0.0, 1, 0]), np.array([1.0, 0, 0])
HALF, OFF, TOP = 17.0, 0.5, 700.0  # half of a rung's end, what a rung's length may be off, the rail's far end


def patch(fixed: str, normal: np.ndarray, at: tuple[float, float, float], half: float) -> Contact:
    """Four corners of a square patch."""
    one, other = (BACK, UP) if abs(normal[0]) > 0.5 else (RIGHT, UP) if abs(normal[1]) > 0.5 else (RIGHT, BACK)
    middle = np.array(at)
    corners = [middle + half * (a * one + b * other) for a, b in ((-1, -1), (1, -1), (1, 1), (-1, 1))]
    return Contact(fixed, "face", normal, np.array(corners))


def ladder(rungs: tuple[float, ...], clamp: float | None = None, more: tuple[Contact, ...] = ()) -> dict[str, Stack]:
    """Rungs of 360 between a fixed left side and a rail at x = 380, all of them flat on blocks, a clamp at ``clamp``.

    The rail comes first in the file after the first rung, so that it could go in before the others.
    """
    things, contributors = [], []
    for k, y in enumerate(rungs, 1):
        mine = [patch("left", RIGHT, (20, y, 0), HALF), patch(f"V{k}", UP, (200, y, -17), 60.0)]
        mine.append(patch(f"V{k}", BACK, (200, y - HALF, 0), 15.0))
        things.append(Lying(f"rung {k}", [*mine, patch("rail", -RIGHT, (380, y, 0), HALF)], 362.0))
        shape = longer([20, y, 0], [380, y, 0])
        contributors.append(Contributor(f"cut of rung {k}", f"rung {k}", "cut length", shape, OFF))
    lies = [patch("R1", UP, (400, 30, -20), 15.0), patch("R2", UP, (400, 670, -20), 15.0)]
    ends = [patch(f"rung {k}", RIGHT, (380, y, 0), HALF) for k, y in enumerate(rungs, 1)]
    things.insert(1, Lying("rail", [*lies, *more, *ends], 702.0))
    loaded = in_turn(things, ())
    if clamp is not None:
        pushes = [(np.array([420.0, clamp, 0]), -RIGHT)]
        loaded = [pressed_home(one, pushes) if one.name == "rail" else one for one in loaded]
    return told(loaded, contributors)


def told(loaded: list[Loaded], contributors: list[Contributor]) -> dict[str, Stack]:
    corners = np.zeros((1, 3))
    left = Work("left", np.array([20.0, 0, 0]), np.array([380.0, 0, 0]), corners)
    rail = Work("rail", np.array([380.0, 0, 0]), np.array([380.0, TOP, 0]), corners)
    width: Figure = distance("width", ("left", [-20, TOP, 0]), ("rail", [420, TOP, 0]))
    stacks, _ = stack_up([angle("angle", left, rail), width], loaded, contributors)
    return {stack.figure.name: stack for stack in stacks}


@pytest.mark.parametrize("clamp", [None, 150.0, 350.0])
def test_a_rail_on_two_rungs_takes_its_angle_from_both(clamp: float | None) -> None:
    """Ends 300 apart, plus or minus 0.5 each: 1/300 at worst; wherever between them the clamp pushes.

    The rail touches like corners of both ends, the near ones when it leans one way and the far ones the other.
    """
    found = ladder((100.0, 400.0), clamp)
    worst, likely = math.degrees(1.0 / 300.0), math.degrees(OFF * math.sqrt(2.0) / 300.0)
    assert (found["angle"].low, found["angle"].high) == pytest.approx((-worst, worst), rel=1e-3)
    assert found["angle"].rss == pytest.approx(likely, rel=1e-3)
    near, far = 100.0 - HALF, 400.0 + HALF
    levers = {  # of the top about the end that stays, by which corners are touched
        "cut of rung 1": (OFF * (far - TOP) / 300.0, OFF * (TOP - (far - 2.0 * HALF)) / 300.0),
        "cut of rung 2": (OFF * (TOP - near) / 300.0, -OFF * (TOP - near - 2.0 * HALF) / 300.0),
    }
    for term in found["width"].terms:
        assert (term.plus, term.minus) == pytest.approx(levers[term.name], rel=1e-3), term.name


@pytest.mark.parametrize(("clamp", "plus"), [(160.0, 2.0), (340.0, -1.0)])
def test_a_long_rung_in_the_middle_is_lain_on_with_the_one_beyond_the_clamp(clamp: float, plus: float) -> None:
    """Rungs at 100, 250 and 400: too long by 0.5 the middle one is touched with that on the side of the clamp.

    Too short it is not touched at all. The top swings by its lever over 150, about the end that stays.
    """
    (term,) = (t for t in ladder((100.0, 250.0, 400.0), clamp)["width"].terms if t.name == "cut of rung 2")
    near, far = 100.0 - HALF, 400.0 + HALF
    lever = (TOP - near) / 150.0 if plus > 0.0 else (far - TOP) / 150.0
    assert term.plus == pytest.approx(OFF * lever, rel=1e-3)
    assert term.plus == pytest.approx(plus, abs=0.1)
    assert (term.minus, term.rocks) == pytest.approx((0.0, 0.0), abs=1e-6)


def test_rungs_far_apart_turn_a_rail_rather_than_a_stop_at_its_end() -> None:
    """A stop against the rail's end, 30 wide, would square it too; clamped on to the rungs it lies on these."""
    end = patch("E", BACK, (400, 0, 0), 15.0)
    found = ladder((100.0, 400.0), 250.0, (end,))
    assert found["angle"].high == pytest.approx(math.degrees(1.0 / 300.0), rel=1e-3)


def test_a_short_block_does_not_turn_a_rail_that_lies_on_rungs_too() -> None:
    """A block of 30 beside the first rung, and the second rung 300 from it: half a millimetre there turns the rail."""
    block = patch("B", RIGHT, (380, 100, 0), 15.0)
    (term,) = (t for t in ladder((100.0, 400.0), 250.0, (block,))["angle"].terms if t.name == "cut of rung 2")
    assert abs(term.plus) == pytest.approx(math.degrees(OFF / 300.0), rel=0.02)
