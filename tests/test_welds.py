from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest
from numpy.typing import ArrayLike, NDArray

from fixture3d.access.welds import Weld, joint_frame, middle_angle, weld_points
from fixture3d.solid.joint_faces import NotOnJoint, sides_at_path
from tests.access_oracle import Mesh, box, circle, moved, prism, tube, turned


@dataclass
class Solid:
    vertices: NDArray[np.float64]
    faces: NDArray[np.int32]


def solid(mesh: Mesh) -> Solid:
    return Solid(*mesh)


def weld(path: Any, sides: Any = ((0, 0, 1), (0, 1, 0))) -> Weld:
    return Weld(
        name="w",
        type="fillet",
        joins=("plate", "upright"),
        size=4.0,
        path=np.asarray(path, dtype=np.float64),
        technique="corner",
        sides=np.asarray(sides, dtype=np.float64),
    )


@pytest.mark.parametrize("length", [0.5, 4.999, 5.0, 5.001, 37.3, 100.0])
@pytest.mark.parametrize("step", [5.0, 3.0])
def test_points_include_both_ends_and_own_the_length(length: float, step: float) -> None:
    found = weld_points(weld([[10, 0, 0], [10 + length, 0, 0]]), step)
    assert found.points[0] == pytest.approx([10, 0, 0])
    assert found.points[-1] == pytest.approx([10 + length, 0, 0])
    gaps = np.linalg.norm(np.diff(found.points, axis=0), axis=1)
    assert gaps.max() <= step + 1e-9
    assert found.length == pytest.approx(length)
    assert found.lengths[0] == pytest.approx(gaps[0] / 2)
    assert found.joined.all()
    assert len(found.joined) == len(found.points) - 1


def test_frame_of_a_tee() -> None:
    frame = joint_frame([2, 0, 0], [[0, 0, 3], [0, 1, 0]])
    assert frame == pytest.approx(np.eye(3))
    # The other side of the upright: sideways turns over, whichever way the path runs.
    assert joint_frame([1, 0, 0], [[0, 0, 1], [0, -1, 0]])[:, 1] == pytest.approx([0, -1, 0])
    assert joint_frame([-1, 0, 0], [[0, 0, 1], [0, -1, 0]])[:, 1] == pytest.approx([0, -1, 0])


@pytest.mark.parametrize("opening", [30.0, 60.0, 90.0, 120.0, 150.0, 270.0])
def test_middle_of_an_opening_counts_from_the_first_normal(opening: float) -> None:
    """The middle of the opening is opening / 2 above the first face, so 90 - opening / 2 from its normal."""
    face = math.radians(opening)  # the second face runs at this angle from the first, which runs along +y
    second: Any = [0.0, math.sin(face), -math.cos(face)]
    expected = 90.0 - opening / 2.0
    if opening < 180.0:
        assert middle_angle([1, 0, 0], [[0, 0, 1], second]) == pytest.approx(expected)
    else:
        # An outside corner: the first plate's top runs towards -y, the open side is towards +y.
        assert middle_angle([1, 0, 0], [[0, 0, 1], [0, 1, 0]]) == pytest.approx(45.0)


def test_butt_has_a_frame_whose_sideways_is_left_of_the_path() -> None:
    frame = joint_frame([1, 0, 0], [[0, 0, 1], [0, 0, 1]])
    assert frame[:, 1] == pytest.approx([0, 1, 0])
    assert middle_angle([1, 0, 0], [[0, 0, 1], [0, 0, 1]]) == pytest.approx(0.0)


def test_a_face_across_the_weld_is_refused() -> None:
    with pytest.raises(ValueError, match="square to the weld"):
        joint_frame([1, 0, 0], [[1, 0, 0], [0, 1, 0]])


def test_path_round_a_bar_is_cut_at_corners() -> None:
    path = [[20, 20, 0], [-20, 20, 0], [-20, -20, 0], [20, -20, 0], [20, 20, 0]]
    sides = [[[0, 0, 1], n] for n in ([0, 1, 0], [-1, 0, 0], [0, -1, 0], [1, 0, 0])]
    found = weld_points(weld(path, sides))
    assert found.length == pytest.approx(160.0)
    assert len(found.points) == 4 * 9
    assert np.flatnonzero(~found.joined).tolist() == [8, 17, 26]
    assert found.along[[0, 8, 9, 35]] == pytest.approx([0, 40, 40, 160])
    # The open side is away from the bar all round.
    assert (np.einsum("ij,ij->i", found.frames[:, :, 1], found.points) > 0).all()


def test_path_round_a_tube_is_smooth() -> None:
    outline = circle(24.0, 72)
    path = np.column_stack([np.vstack([outline, outline[:1]]), np.zeros(73)])
    middles = (path[:-1] + path[1:]) / 2.0
    sides = np.stack([np.tile([0.0, 0.0, 1.0], (72, 1)), middles / 24.0], axis=1)
    found = weld_points(weld(path, sides))
    assert found.joined.all()
    assert found.length == pytest.approx(72 * 2 * 24 * math.sin(math.pi / 72))
    radial = found.points / np.linalg.norm(found.points, axis=1)[:, None]
    cos = np.einsum("ij,ij->i", found.frames[:, :, 1], radial)
    assert cos.min() > math.cos(math.radians(5.0))
    squares = np.einsum("kij,kil->kjl", found.frames, found.frames)
    assert squares == pytest.approx(np.broadcast_to(np.eye(3), squares.shape), abs=1e-9)


@pytest.mark.parametrize(
    ("path", "sides", "words"),
    [
        ([[0, 0, 0]], ((0, 0, 1), (0, 1, 0)), "2 or more points"),
        ([[0, 0, 0], [0, 0, 0]], ((0, 0, 1), (0, 1, 0)), "expected a length"),
        ([[0, 0, 0], [math.nan, 0, 0]], ((0, 0, 1), (0, 1, 0)), "finite"),
        ([[0, 0, 0], [9, 0, 0]], ((0, 0, 1),), "normals of two faces"),
        ([[0, 0, 0], [9, 0, 0]], ((0, 0, 1), (0, 0, 0)), "no length"),
    ],
)
def test_welds_that_are_none(path: ArrayLike, sides: ArrayLike, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        weld(path, sides)


def test_step_must_be_positive() -> None:
    with pytest.raises(ValueError, match="positive step"):
        weld_points(weld([[0, 0, 0], [9, 0, 0]]), 0.0)


# --- faces found from meshes ----------------------------------------------------------------------------------


JOINTS = {
    # path, non-butting piece, other piece, the two normals
    "tee": (
        [[-40, 0, 0], [40, 0, 0]],
        box((-60, -60, -8), (60, 60, 0)),
        box((-50, -6, 0), (50, 0, 60)),
        [[0, 0, 1], [0, 1, 0]],
    ),
    "tee, other side": (
        [[-40, -6, 0], [40, -6, 0]],
        box((-60, -60, -8), (60, 60, 0)),
        box((-50, -6, 0), (50, 0, 60)),
        [[0, 0, 1], [0, -1, 0]],
    ),
    "lap": (
        [[-40, 30, 5], [40, 30, 5]],
        box((-60, -60, 0), (60, 60, 5)),
        box((-60, -90, 5), (60, 30, 10)),
        [[0, 0, 1], [0, 1, 0]],
    ),
    "outside corner": (
        [[-40, 0, 0], [40, 0, 0]],
        box((-50, -60, -6), (50, 0, 0)),
        box((-50, 0, -60), (50, 6, 0)),
        [[0, 0, 1], [0, 0, 1]],
    ),
    "butt": (
        [[-40, 0, 6], [40, 0, 6]],
        box((-50, -60, 0), (50, 0, 6)),
        box((-50, 0, 0), (50, 60, 6)),
        [[0, 0, 1], [0, 0, 1]],
    ),
    "edges meet": (
        [[-40, 0, 0], [40, 0, 0]],
        box((-50, -60, -6), (50, 0, 0)),
        box((-50, -6, -60), (50, 0, -6)),
        None,
    ),
    "foot of a tube": (
        [[-12, 20, 0], [12, 20, 0]],
        box((-60, -60, -8), (60, 60, 0)),
        tube(40, 40, 3, 100),
        [[0, 0, 1], [0, 1, 0]],
    ),
}


@pytest.mark.parametrize("name", sorted(JOINTS))
@pytest.mark.parametrize("seed", [0, 1, 2])
def test_sides_of_known_joints(name: str, seed: int) -> None:
    path, first, second, expected = JOINTS[name]
    turn = np.eye(3) if seed == 0 else turned(np.random.default_rng(seed))
    offset = [0.0, 0.0, 0.0] if seed == 0 else [1500.0, -700.0, 90.0]
    there = np.asarray(path, dtype=np.float64) @ turn.T + offset
    found = sides_at_path(there, solid(moved(first, turn, offset)), solid(moved(second, turn, offset)))
    if expected is None:
        # The path runs along the far edge of the first piece: the second is 6 mm below.
        assert isinstance(found, NotOnJoint)
        assert found.piece == 1
        assert found.gap == pytest.approx(6.0)
    else:
        assert not isinstance(found, NotOnJoint), found
        assert found.shape == (1, 2, 3)
        assert found[0] @ turn == pytest.approx(np.asarray(expected, dtype=np.float64), abs=1e-6)


def test_skewed_upright_gives_the_side_that_the_path_names() -> None:
    """An upright leaning by 30 degrees: 60 degrees of opening on one side, 120 on the other."""
    plate = box((-60, -80, -8), (60, 80, 0))
    lean = math.radians(30.0)
    turn = np.array([[1, 0, 0], [0, math.cos(lean), math.sin(lean)], [0, -math.sin(lean), math.cos(lean)]])
    # Leans towards +y; its foot is cut by the plate's top, which it is sunk into.
    upright = moved(box((-50, -6, -2), (50, 0, 80)), turn, (0, 0, 0))
    found = sides_at_path([[-40, 0, 0], [40, 0, 0]], solid(plate), solid(upright))
    assert not isinstance(found, NotOnJoint)
    opening = 180.0 - math.degrees(math.acos(float(found[0, 0] @ found[0, 1])))
    assert opening == pytest.approx(60.0, abs=1e-6)
    assert middle_angle([1, 0, 0], found[0]) == pytest.approx(60.0, abs=1e-6)


@pytest.mark.parametrize(("lean", "taken"), [(40.0, 40.0), (50.0, 40.0), (16.0, 74.0), (75.0, 75.0)])
def test_a_bar_on_its_edge_is_welded_in_the_smaller_corner_that_a_wire_reaches(lean: float, taken: float) -> None:
    """A square bar on its edge leaves a corner on either side of the path; together they are a right angle."""
    a = math.radians(lean)
    turn = np.array([[1, 0, 0], [0, math.cos(a), -math.sin(a)], [0, math.sin(a), math.cos(a)]])
    bar = moved(box((-50, 0, 0), (50, 20, 20)), turn, (0, 0, 0))
    found = sides_at_path([[-40, 0, 0], [40, 0, 0]], solid(box((-60, -80, -8), (60, 80, 0))), solid(bar))
    assert not isinstance(found, NotOnJoint)
    assert 180.0 - 2.0 * middle_angle([1, 0, 0], found[0]) == pytest.approx(taken, abs=1e-6)


@pytest.mark.parametrize("piece", [0, 1])
def test_gap_to_the_piece_is_told(piece: int) -> None:
    plate, upright = box((-60, -60, -8), (60, 60, 0)), box((-50, -6, 3.25), (50, 0, 60))
    path = [[-40, 0, 0], [40, 0, 0]] if piece else [[-40, 0, 3.25], [40, 0, 3.25]]
    found = sides_at_path(path, solid(plate), solid(upright))
    assert isinstance(found, NotOnJoint)
    assert found.piece == piece
    assert found.gap == pytest.approx(3.25)
    assert "3.25 mm" in found.why


def test_several_parts_get_a_pair_each() -> None:
    plate, post = box((-60, -60, -8), (60, 60, 0)), prism(np.array([[-20, -20], [20, -20], [20, 20], [-20, 20]]), 0, 90)
    path = [[20, 20, 0], [-20, 20, 0], [-20, -20, 0]]
    found = sides_at_path(path, solid(plate), solid(post))
    assert not isinstance(found, NotOnJoint)
    assert found[:, 0] == pytest.approx(np.array([[0, 0, 1], [0, 0, 1]]))
    assert found[:, 1] == pytest.approx(np.array([[0, 1, 0], [-1, 0, 0]]))
