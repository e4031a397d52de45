"""The solids of pieces against closed forms and against each other."""

import math
import subprocess
import sys
from typing import Any

import numpy as np
import pytest

from fixture3d import frame
from fixture3d.cache import Store
from fixture3d.job.pieces import piece_shape
from fixture3d.job.weldment import Piece, Weldment, build
from fixture3d.scene import Scene
from fixture3d.solid import kernel
from fixture3d.stock.stock import section
from fixture3d.tolerance import NUMERIC

STOCK = [
    "SHS 40x40x3",
    "RHS 60x40x3",
    "CHS 48.3x3.2",
    "L 60x30x5",
    "U 100x50x6",
    "UPE 100",
    "FLAT 40x6",
    "BAR 20",
    "ROUND 20",
]


def weldment(**parts: Any) -> Weldment:
    made = build(Scene.from_dict({"format": 1, "table": "50/16 2000x1000", "weldment": {"hole": "A1"}, **parts}))
    assert made is not None
    return made


def member(stock: str, ends: list[Any], to: tuple[float, float, float] = (500, 0, 0)) -> Piece:
    return weldment(member=[{"name": "m", "stock": stock, "from": [0, 0, 0], "to": list(to), "ends": ends}]).pieces[0]


def area(piece: Piece) -> float:
    assert piece.section is not None
    return piece.section.area


@pytest.mark.parametrize("stock", STOCK)
def test_square_ended_stock_is_area_times_length(stock: str) -> None:
    piece = member(stock, ["square", "square"])
    assert kernel.volume(piece_shape(piece).brep) == pytest.approx(area(piece) * 500, rel=1e-9)


@pytest.mark.parametrize("stock", STOCK)
@pytest.mark.parametrize(
    ("first", "last"),
    [((45, "z"), (-45, "z")), ((30, "y"), (30, "y")), ((22.5, "z"), (60, "y")), ((0, "z"), (-75, "z"))],
)
def test_a_mitred_member_is_area_times_the_length_through_its_centre_of_gravity(
    stock: str, first: tuple[float, str], last: tuple[float, str]
) -> None:
    # A prism between two planes has the volume area x length along the line of centres of gravity.
    piece = member(stock, [{"mitre": a, "about": axis} for a, axis in (first, last)])
    assert piece.section is not None
    assert piece.ends is not None
    y, z = piece.section.centroid
    x = [end.point[0] + end.slope[0] * y + end.slope[1] * z for end in piece.ends]
    solid = piece_shape(piece).brep
    assert kernel.volume(solid) == pytest.approx(piece.section.area * (x[1] - x[0]), rel=1e-8)
    assert kernel.volume(solid) == pytest.approx(piece.mass / 7850e-9 if piece.mass else 0, rel=1e-8)
    assert kernel.is_valid(solid)
    box = piece_shape(piece).mesh.box
    assert box[1, 0] - box[0, 0] == pytest.approx(piece.cut_length, abs=2 * NUMERIC.chord)


@pytest.mark.parametrize("stock", ["SHS 40x40x3", "RHS 60x40x3", "CHS 48.3x3.2", "BAR 20"])
def test_symmetric_stock_needs_only_the_centre_line(stock: str) -> None:
    piece = member(stock, [{"mitre": -45, "about": "z"}, {"mitre": 45, "about": "z"}])
    assert kernel.volume(piece_shape(piece).brep) == pytest.approx(area(piece) * 500, rel=1e-8)


@pytest.mark.parametrize("stock", STOCK)
@pytest.mark.parametrize("corners", ["mitre", "butt x", "butt y"])
def test_members_of_a_frame_touch_and_share_no_volume(stock: str, corners: str) -> None:
    made = weldment(
        frame=[{"name": "f", "stock": stock, "width": 403, "height": 307, "corners": corners, "at": [11, -3, 7.5],
                "normal": [0.2, -0.5, 1], "along": [1, 0.3, 0]}]
    )  # fmt: skip
    solids = {p.name: kernel.moved(piece_shape(p).brep, p.piece_to_weldment) for p in made.pieces}
    for side in ("f left", "f right"):
        for end in ("f front", "f back"):
            assert kernel.distance(solids[side], solids[end]) == pytest.approx(0.0, abs=1e-7)
            shared = kernel.common(solids[side], solids[end])
            assert shared is not None
            assert kernel.volume(shared) == pytest.approx(0.0, abs=1e-4)
    inside = 307 - 2 * section(stock).width
    assert kernel.distance(solids["f front"], solids["f back"]) == pytest.approx(inside)


def test_mitred_faces_of_unequal_tubes_lie_on_each_other() -> None:
    made = weldment(
        member=[
            {"name": "a", "stock": "RHS 40x60x3", "from": [500, 0, 0], "to": [0, 0, 0],
             "ends": ["square", {"mitre_to": "b"}]},
            {"name": "b", "stock": "SHS 40x40x3", "from": [0, 0, 0], "to": [100, 300, 0],
             "ends": [{"mitre_to": "a"}, "square"]},
        ]
    )  # fmt: skip
    a, b = (kernel.moved(piece_shape(p).brep, p.piece_to_weldment) for p in made.pieces)
    assert kernel.distance(a, b) == pytest.approx(0.0, abs=1e-7)
    shared = kernel.common(a, b)
    assert shared is not None
    assert kernel.volume(shared) == pytest.approx(0.0, abs=1e-4)
    # The outline of both cut faces has the same outermost and innermost point: inner and outer corner match.
    assert made.pieces[0].ends is not None
    plane = made.pieces[0].ends[1]
    to_weldment = made.pieces[0].piece_to_weldment
    normal, origin = frame.directions(to_weldment, plane.normal), frame.points(to_weldment, plane.point)
    spans = []
    for piece in made.pieces:
        corners = frame.points(piece.piece_to_weldment, piece_shape(piece).mesh.vertices)
        on = corners[np.abs((corners - origin) @ normal) < 1e-6]
        along = on @ np.cross(normal, [0, 0, 1])
        spans.append((along.min(), along.max()))
    assert spans[0] == pytest.approx(spans[1], abs=1e-6)


def test_round_tube_has_one_face_outside_and_one_inside() -> None:
    from OCP.TopAbs import TopAbs_FACE
    from OCP.TopExp import TopExp_Explorer

    faces = TopExp_Explorer(piece_shape(member("CHS 48.3x3.2", ["square", "square"])).brep, TopAbs_FACE)
    count = 0
    while faces.More():
        count += 1
        faces.Next()
    assert count == 4


def test_a_plate_with_holes() -> None:
    made = weldment(
        plate=[{"name": "p", "outline": [[0, 0], [120, 0], [120, 40], [40, 40], [40, 100], [0, 100]], "thickness": 8,
                "holes": [{"at": [20, 80], "diameter": 17}, {"at": [100, 20], "diameter": 13}]}]
    )  # fmt: skip
    shape = piece_shape(made.pieces[0])
    exact = (120 * 40 + 40 * 60 - math.pi / 4 * (17**2 + 13**2)) * 8
    assert kernel.volume(shape.brep) == pytest.approx(exact, rel=1e-10)
    assert np.allclose(shape.mesh.box, [[0, 0, 0], [120, 100, 8]])


def test_equal_pieces_share_a_key_and_different_ones_do_not() -> None:
    made = weldment(frame=[{"name": "f", "stock": "SHS 40x40x3", "width": 603.7, "height": 411.1, "along": [3, 1, 0]}])
    key = {p.name: piece_shape(p).key for p in made.pieces}
    assert key["f front"] == key["f back"]
    assert key["f left"] == key["f right"] != key["f front"]
    ends = ["square", "square"]
    keys = {piece_shape(member(stock, ends)).key for stock in STOCK}
    keys |= {piece_shape(member("SHS 40x40x3", ends, (500 + i, 0, 0))).key for i in range(3)}
    keys |= {piece_shape(member("SHS 40x40x3", ["square", {"mitre": a, "about": "z"}])).key for a in (1, 45, -45)}
    assert len(keys) == len(STOCK) + 2 + 3


def test_nothing_is_built_before_it_is_asked_for() -> None:
    code = (
        "import sys; from fixture3d.scene import Scene; from fixture3d.job.weldment import build;"
        "from fixture3d.job.pieces import piece_shape;"
        "s = Scene.from_dict({'format': 1, 'table': '50/16 2000x1000', 'weldment': {'hole': 'A1'},"
        "'frame': [{'name': 'f', 'stock': 'SHS 40x40x3', 'width': 600, 'height': 400}]});"
        "shapes = [piece_shape(p) for p in build(s).pieces];"
        "heavy = {'OCP', 'cadquery', 'trimesh', 'scipy', 'manifold3d', 'pyvista'} & set(sys.modules);"
        "assert not heavy, heavy"
    )
    subprocess.run([sys.executable, "-c", code], check=True)


def test_a_warm_cache_needs_no_kernel(tmp_path: Any) -> None:
    code = (
        "import sys; from fixture3d.scene import Scene; from fixture3d.job.weldment import build;"
        "from fixture3d.job.pieces import piece_shape; from fixture3d.cache import Store;"
        "s = Scene.from_dict({'format': 1, 'table': '50/16 2000x1000', 'weldment': {'hole': 'A1'},"
        "'frame': [{'name': 'f', 'stock': 'SHS 40x40x3', 'width': 600, 'height': 400}]});"
        f"store = Store({str(tmp_path)!r});"
        "print(sum(piece_shape(p, store).mesh.volume for p in build(s).pieces), 'OCP' in sys.modules)"
    )
    answers = [
        subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True).stdout.split()
        for _ in range(2)
    ]
    assert answers[0] == [answers[1][0], "True"]
    assert answers[1][1] == "False"
    assert Store(tmp_path) is not None
