"""The weldment as data: frames of members, cuts, lengths, poses, and errors that point at their line."""

import math
from typing import Any

import numpy as np
import pytest

from fixture3d import frame
from fixture3d.errors import SceneError
from fixture3d.job import polygon
from fixture3d.job.weldment import Piece, Weldment, build, weldment_pose
from fixture3d.scene import Scene, loads

EMPTY: dict[str, Any] = {"format": 1, "table": "50/16 2000x1000"}
HEAD: dict[str, Any] = {**EMPTY, "weldment": {"hole": "A1"}}


def weldment(**parts: Any) -> Weldment:
    made = build(Scene.from_dict({**HEAD, **parts}))
    assert made is not None
    return made


def one(**member: Any) -> Piece:
    data = {"name": "m", "stock": "RHS 60x40x3", "from": [0, 0, 0], "to": [500, 0, 0], **member}
    return weldment(member=[data]).pieces[0]


def problems(text: str) -> list[str]:
    with pytest.raises(SceneError) as caught:
        build(loads(text, "rack.toml"))
    return str(caught.value).splitlines()


def test_a_scene_without_work_has_no_weldment() -> None:
    assert build(Scene.from_dict(EMPTY)) is None


@pytest.mark.parametrize(
    ("to", "x", "z"),
    [
        ([500, 0, 0], (1, 0, 0), (0, 0, 1)),
        ([-500, 0, 0], (-1, 0, 0), (0, 0, 1)),
        ([0, 500, 0], (0, 1, 0), (0, 0, 1)),
        ([0, 0, 500], (0, 0, 1), (0, 1, 0)),
        ([0, 0, -500], (0, 0, -1), (0, 1, 0)),
        ([300, 0, 400], (0.6, 0, 0.8), (-0.8, 0, 0.6)),
    ],
)
def test_height_of_the_section_points_up(to: list[float], x: tuple[float, ...], z: tuple[float, ...]) -> None:
    pose = one(to=to).piece_to_weldment
    assert np.allclose(pose[:3, 0], x)
    assert np.allclose(pose[:3, 2], z)
    assert np.linalg.det(pose[:3, :3]) == pytest.approx(1.0)


def test_roll_turns_counter_clockwise_seen_from_the_far_end() -> None:
    pose = one(roll=90).piece_to_weldment
    assert np.allclose(pose[:3, 2], (0, -1, 0))


def test_square_ends_need_no_more_than_the_length() -> None:
    piece = one()
    assert piece.length == piece.cut_length == 500.0
    assert piece.mitres == (0.0, 0.0)
    assert piece.mass == pytest.approx(540.82 * 500 * 7850e-9, rel=1e-5)


def test_mitres_of_opposite_signs_make_a_trapezium() -> None:
    piece = one(ends=[{"mitre": -45, "about": "z"}, {"mitre": 45, "about": "z"}])
    assert piece.ends is not None
    first, last = piece.ends
    r = math.sqrt(0.5)
    assert np.allclose(last.normal, (r, r, 0))
    assert np.allclose(first.normal, (-r, r, 0))
    assert piece.length == pytest.approx(500)
    assert piece.cut_length == pytest.approx(540)  # tip to tip on the side away from the cuts: 2 x 40/2 more
    assert piece.mitres == pytest.approx((45, 45))


def test_mitres_of_one_sign_make_a_parallelogram_of_the_same_tip_to_tip() -> None:
    piece = one(ends=[{"mitre": 30, "about": "z"}, {"mitre": 30, "about": "z"}])
    assert piece.cut_length == pytest.approx(500 + 40 * math.tan(math.radians(30)))


def test_a_mitre_about_y_works_on_the_height() -> None:
    piece = one(ends=["square", {"mitre": 45, "about": "y"}])
    assert piece.cut_length == pytest.approx(500 + 30)


def test_the_mass_of_open_sections_counts_their_centre_of_gravity() -> None:
    # The centre of gravity of an angle lies towards its heel, which is on the long side of this cut.
    data = {"stock": "L 50x50x5", "ends": ["square", {"mitre": 45, "about": "z"}]}
    section = one(**data).section
    assert section is not None
    y, _ = section.centroid
    assert y < 0
    assert one(**data).mass == pytest.approx(section.area * (500 - y) * 7850e-9)


def corner(a: str, b: str, angle: float = 90.0) -> tuple[Piece, Piece]:
    c, s = math.cos(math.radians(angle)), math.sin(math.radians(angle))
    made = weldment(
        member=[
            {"name": "a", "stock": a, "from": [500, 0, 0], "to": [0, 0, 0], "ends": ["square", {"mitre_to": "b"}]},
            {
                "name": "b",
                "stock": b,
                "from": [0, 0, 0],
                "to": [400 * c, 400 * s, 0],
                "ends": [{"mitre_to": "a"}, "square"],
            },
        ]
    )
    return made.piece("a"), made.piece("b")


def plane(piece: Piece, which: int) -> tuple[np.ndarray, np.ndarray]:
    assert piece.ends is not None
    end = piece.ends[which]
    return frame.points(piece.piece_to_weldment, end.point), frame.directions(piece.piece_to_weldment, end.normal)


@pytest.mark.parametrize("angle", [30, 45, 60, 90, 120, 135, 170, 200, 270])
def test_equal_sections_share_the_plane_that_halves_their_angle(angle: float) -> None:
    a, b = corner("SHS 40x40x3", "SHS 40x40x3", angle)
    (pa, na), (pb, nb) = plane(a, 1), plane(b, 0)
    assert np.allclose(na, -nb, atol=1e-11)
    assert abs(float((pa - pb) @ na)) < 1e-8
    included = min(angle, 360 - angle)
    assert a.mitres[1] == pytest.approx(90 - included / 2)
    assert b.mitres[0] == pytest.approx(90 - included / 2)
    assert not a.notes


def test_unequal_widths_share_the_plane_through_inner_and_outer_corner() -> None:
    a, b = corner("RHS 60x40x3", "SHS 60x60x3")
    (pa, na), (_, nb) = plane(a, 1), plane(b, 0)
    assert np.allclose(na, -nb, atol=1e-11)
    # a is 40 wide along y, b 60 wide along x; their corners are (30, 20) and (-30, -20).
    for x, y in ((30, 20), (-30, -20)):
        assert abs(float((np.array([x, y, 0.0]) - pa) @ na)) < 1e-8
    assert a.mitres[1] + b.mitres[0] == pytest.approx(90)
    assert a.mitres[1] == pytest.approx(math.degrees(math.atan2(30, 20)))


def test_unequal_depths_are_said() -> None:
    a, _ = corner("RHS 60x40x3", "SHS 40x40x3")
    assert "unequal depths" in a.notes[0]


def test_a_mitre_that_is_not_answered_is_said() -> None:
    made = weldment(
        member=[
            {"name": "a", "stock": "SHS 40x40x3", "from": [500, 0, 0], "to": [0, 0, 0],
             "ends": ["square", {"mitre_to": "b"}]},
            {"name": "b", "stock": "SHS 40x40x3", "from": [0, 0, 0], "to": [0, 400, 0]},
        ]
    )  # fmt: skip
    assert 'no mitre_to = "a"' in made.piece("a").notes[0]


def test_members_in_line_meet_halfway_with_square_cuts() -> None:
    a, b = corner("SHS 40x40x3", "SHS 40x40x3", 180)
    assert a.mitres == b.mitres == (0.0, 0.0)
    assert a.length == pytest.approx(500)


def test_a_member_reaches_for_the_corner_when_it_is_drawn_a_little_short() -> None:
    made = weldment(
        member=[
            {"name": "a", "stock": "SHS 40x40x3", "from": [500, 0, 0], "to": [20, 0, 0],
             "ends": ["square", {"mitre_to": "b"}]},
            {"name": "b", "stock": "SHS 40x40x3", "from": [0, 20, 0], "to": [0, 400, 0],
             "ends": [{"mitre_to": "a"}, "square"]},
        ]
    )  # fmt: skip
    assert made.piece("a").length == pytest.approx(500)
    b = made.piece("b")
    assert b.length == pytest.approx(400)
    assert np.allclose(b.piece_to_weldment[:3, 3], 0)  # its frame begins at the cut


@pytest.mark.parametrize(
    ("corners", "front", "left"),
    [("mitre", (560, 600), (360, 400)), ("butt x", (600, 600), (320, 320)), ("butt y", (520, 520), (400, 400))],
)
def test_a_frame_has_its_outside_dimensions(corners: str, front: tuple[float, ...], left: tuple[float, ...]) -> None:
    made = weldment(frame=[{"name": "base", "stock": "RHS 60x40x3", "width": 600, "height": 400, "corners": corners}])
    assert [p.name for p in made.pieces] == ["base front", "base back", "base left", "base right"]
    assert {p.item for p in made.pieces} == {"base"}
    for name, (length, cut) in {"front": front, "back": front, "left": left, "right": left}.items():
        piece = made.piece(f"base {name}")
        assert (piece.length, piece.cut_length) == pytest.approx((length, cut))
        assert np.allclose(piece.piece_to_weldment[:3, 2], (0, 0, 1))
    box = np.concatenate([corner_points(p) for p in made.pieces])
    assert np.allclose(box.min(axis=0), (0, 0, -30))
    assert np.allclose(box.max(axis=0), (600, 400, 30))


def corner_points(piece: Piece) -> np.ndarray:
    """The eight sharp corners of a cut box round a member, in the weldment frame."""
    assert piece.section is not None
    assert piece.ends is not None
    y, z = piece.section.half_extents
    out = []
    for end in piece.ends:
        g = end.slope
        out += [[end.point[0] + g[0] * sy * y + g[1] * sz * z, sy * y, sz * z] for sy in (-1, 1) for sz in (-1, 1)]
    return frame.points(piece.piece_to_weldment, out)


def test_equal_sides_of_a_frame_have_equal_numbers() -> None:
    made = weldment(
        frame=[{"name": "f", "stock": "SHS 40x40x3", "width": 612.3, "height": 411.7, "at": [3.3, -7.1, 11],
                "normal": [0, 1, 1], "along": [1, 1, -1]}]
    )  # fmt: skip
    for one_side, other in (("front", "back"), ("left", "right")):
        a, b = made.piece(f"f {one_side}").ends, made.piece(f"f {other}").ends
        assert a is not None
        assert b is not None
        for p, q in zip(a, b, strict=True):
            assert p.point.tolist() == q.point.tolist()
            assert p.normal.tolist() == q.normal.tolist()


def test_open_sections_of_a_frame_all_turn_their_backs_outward() -> None:
    made = weldment(frame=[{"name": "f", "stock": "U 100x50x6", "width": 600, "height": 500}])
    middle = np.array([300.0, 250.0, 0.0])
    for piece in made.pieces:
        inward = piece.piece_to_weldment[:3, 1]
        start = piece.piece_to_weldment[:3, 3]
        assert float((middle - start) @ inward) > 0


def test_a_member_may_mitre_to_a_member_of_a_frame() -> None:
    made = weldment(
        frame=[{"name": "f", "stock": "SHS 40x40x3", "width": 600, "height": 400, "corners": "butt x"}],
        member=[{"name": "leg", "stock": "SHS 40x40x3", "from": [0, 20, 500], "to": [0, 20, 0],
                 "ends": ["square", {"mitre_to": "f front"}]}],
    )  # fmt: skip
    assert made.piece("leg").mitres[1] == pytest.approx(45)


def test_plates() -> None:
    made = weldment(
        plate=[
            {"name": "p", "outline": [[0, 0], [0, 80], [80, 0]], "thickness": 6, "at": [1, 2, 3], "normal": [0, 1, 0],
             "along": [1, 0, 0], "holes": [{"at": [20, 20], "diameter": 10}]}
        ]
    )  # fmt: skip
    piece = made.pieces[0]
    assert piece.plate is not None
    assert piece.plate.area == pytest.approx(3200 - 25 * math.pi)
    assert polygon.signed_area(piece.plate.outline) > 0
    assert np.allclose(piece.piece_to_weldment[:3, 2], (0, 1, 0))
    assert np.allclose(piece.piece_to_weldment[:3, 3], (1, 2, 3))
    assert piece.mass == pytest.approx((3200 - 25 * math.pi) * 6 * 7850e-9)


@pytest.mark.parametrize(
    ("outline", "holes", "says"),
    [
        ([[0, 0], [10, 10], [10, 0], [0, 20]], [], "crosses itself: side 1 meets side 3"),
        ([[0, 0], [10, 0], [20, 0]], [], "encloses nothing"),
        ([[0, 0], [0, 0], [10, 0]], [], "fewer than 3"),
        ([[0, 0], [10, 0], [10, 10], [10, 5], [0, 10]], [], "crosses itself"),
        ([[0, 0], [10, 0], [10, 10], [5, 0], [0, 10]], [], "crosses itself"),
        ([[0, 0], [10, 0], [10, 10], [0, 10]], [(5, 5, 10)], "hole 1 does not lie inside"),
        ([[0, 0], [10, 0], [10, 10], [0, 10]], [(50, 5, 1)], "hole 1 does not lie inside"),
        ([[0, 0], [10, 0], [10, 10], [0, 10]], [(3, 5, 2), (5, 5, 2)], "hole 2 runs into hole 1"),
        ([[0, 0], [10, 0], [10, 10], [0, 10], [0, 0]], [(5, 5, 2)], ""),
    ],
)
def test_outlines_that_cannot_be_cut(outline: list[list[float]], holes: list[Any], says: str) -> None:
    found = polygon.fault(polygon.lines(polygon.tidy(outline)), holes)
    assert says in found
    assert bool(says) == bool(found)


def test_every_problem_is_reported_with_its_line() -> None:
    found = problems(
        """format = 1
table = "50/16 2000x1000"
[weldment]
hole = "A1"
[[member]]
name = "a"
stock = "SHS 40x40"
from = [0, 0, 0]
to = [500, 0, 0]
[[member]]
name = "b"
stock = "SHS 40x40x3"
from = [0, 0, 0]
to = [30, 0, 0]
ends = [{ mitre = -45, about = "z" }, { mitre = 45, about = "z" }]
[[member]]
name = "c"
stock = "SHS 40x40x3"
from = [0, 100, 0]
to = [500, 100, 0]
ends = ["square", { mitre = 45, about = "x" }]
[[frame]]
name = "f"
stock = "SHS 40x40x3"
width = 70
height = 500
"""
    )
    assert [line.split(": ")[0] for line in found] == ["rack.toml:7", "rack.toml:15", "rack.toml:21", "rack.toml:25"]
    assert 'nearest: "SHS 40x40x2"' in found[0]
    assert "-10 mm is left on its short side" in found[1]
    assert 'expected about = "y" or "z"' in found[2]
    assert "more than 80 mm" in found[3]


@pytest.mark.parametrize(
    ("b", "says"),
    [
        ({"from": [0, 0, 5], "to": [0, 400, 5]}, "passes that of"),
        ({"from": [0, -200, 0], "to": [0, 200, 0]}, "200 mm away from the end of"),
        ({"from": [-300, 0, 0], "to": [-300, 400, 0]}, "300 mm away from the end of"),
        ({"from": [0, 90, 0], "to": [500, 90, 0]}, "runs the same way"),
        ({"from": [0, 0, 0], "to": [500, 1, 0]}, "runs the same way"),
        ({"from": [0, 0, 0], "to": [500, 60, 0]}, "degrees away from square"),
    ],
)
def test_mitres_that_cannot_be(b: dict[str, Any], says: str) -> None:
    a = {
        "name": "a",
        "stock": "SHS 40x40x3",
        "from": [500, 0, 0],
        "to": [0, 0, 0],
        "ends": ["square", {"mitre_to": "b"}],
    }
    with pytest.raises(SceneError) as caught:
        weldment(member=[a, {"name": "b", "stock": "SHS 40x40x3", **b}])
    assert says in str(caught.value)


def test_the_weldment_stands_over_its_hole() -> None:
    member = {"name": "m", "stock": "SHS 40x40x3", "from": [0, 0, 0], "to": [500, 0, 0]}
    made = weldment(member=[member], weldment={"hole": "E4", "lift": 25, "offset": [3, -2], "turn": 90})
    pose = made.weldment_to_world
    assert np.allclose(frame.points(pose, [0, 0, 0]), [203, 148, 25])
    assert np.allclose(frame.points(pose, [10, 0, 0]), [203, 158, 25])


@pytest.mark.parametrize("up", ["x", "y", "z", "-x", "-y", "-z"])
def test_the_axis_that_is_up_points_up(up: str) -> None:
    axis = np.zeros(3)
    axis["xyz".index(up[-1])] = -1.0 if up.startswith("-") else 1.0
    pose = weldment_pose(np.zeros(3), up=up)
    assert frame.directions(pose, axis).tolist() == [0, 0, 1]
    assert np.linalg.det(pose[:3, :3]) == 1.0


def test_tilt_is_about_world_x_then_y_and_turn_comes_last() -> None:
    pose = weldment_pose(np.zeros(3), tilt=(90, 0))
    assert np.allclose(frame.directions(pose, [0, 1, 0]), [0, 0, 1])
    pose = weldment_pose(np.zeros(3), tilt=(90, 90))
    assert np.allclose(frame.directions(pose, [0, 1, 0]), [1, 0, 0])
    pose = weldment_pose(np.zeros(3), tilt=(0, 90), turn=90)
    assert np.allclose(frame.directions(pose, [0, 0, 1]), [0, 1, 0])


def test_the_mass_of_the_whole() -> None:
    made = weldment(frame=[{"name": "f", "stock": "SHS 40x40x3", "width": 600, "height": 400}])
    assert made.mass == pytest.approx(420.82 * 2 * (560 + 360) * 7850e-9, rel=1e-5)
    with pytest.raises(KeyError):
        made.piece("nobody")


def test_cuts_do_not_depend_on_where_the_work_lies() -> None:
    rng = np.random.default_rng(7)
    for _ in range(20):
        angle = float(rng.uniform(25, 140))  # beyond that one of the two cuts leans over
        u = np.array([1.0, 0.0, 0.0])
        v = np.array([math.cos(math.radians(angle)), math.sin(math.radians(angle)), 0.0])
        turn = frame.rotation(rng.normal(size=3), float(rng.uniform(0, 360)))[:3, :3]
        at = rng.uniform(-500, 500, size=3)
        made = weldment(
            member=[
                {"name": "a", "stock": "CHS 48.3x3.2", "from": (at + turn @ u * 700).tolist(), "to": at.tolist(),
                 "ends": ["square", {"mitre_to": "b"}]},
                {"name": "b", "stock": "CHS 60.3x3.2", "from": at.tolist(), "to": (at + turn @ v * 600).tolist(),
                 "ends": [{"mitre_to": "a"}, "square"]},
            ]
        )  # fmt: skip
        a, b = made.piece("a"), made.piece("b")
        assert a.mitres[1] + b.mitres[0] == pytest.approx(180 - angle, abs=1e-7)
        # Law of sines of the joint: the thicker tube is cut at the flatter angle to its own length.
        ratio = math.cos(math.radians(a.mitres[1])) / math.cos(math.radians(b.mitres[0]))
        assert ratio == pytest.approx(48.3 / 60.3, abs=1e-9)
        assert a.cut_length == pytest.approx(700 + 24.15 * math.tan(math.radians(a.mitres[1])), abs=1e-6)


def test_a_lift_is_square_to_the_plane_of_the_hole() -> None:
    member = {"name": "m", "stock": "SHS 40x40x3", "from": [0, 0, 0], "to": [500, 0, 0]}
    side = {"name": "side", "origin": [0, -50, -40], "x": [1, 0, 0], "y": [0, 0, 1], "columns": 10, "rows": 2}
    made = weldment(member=[member], grid=[side], weldment={"hole": "side:C1", "lift": 30})
    assert np.allclose(frame.points(made.weldment_to_world, [0, 0, 0]), [100, -80, -40])


def test_a_hole_that_is_not_there_is_said() -> None:
    member = {"name": "m", "stock": "SHS 40x40x3", "from": [0, 0, 0], "to": [500, 0, 0]}
    with pytest.raises(SceneError, match="E99"):
        weldment(member=[member], weldment={"hole": "E99"})
