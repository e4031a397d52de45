"""Bent round stock: lengths against the textbook arc, volumes against Pappus, frames against turning step by step."""

import math
from itertools import pairwise
from typing import Any

import numpy as np
import pytest

from fixture3d import frame
from fixture3d.engine import assemble
from fixture3d.errors import SceneError
from fixture3d.job.bent import MOST_ANGLE, clockwise
from fixture3d.job.pieces import piece_shape
from fixture3d.job.weldment import Piece, Weldment, build
from fixture3d.scene import Scene, loads
from fixture3d.solid import kernel
from fixture3d.solid.relate import relate

CORNER = [[0, 0, 0], [400, 0, 0], [400, 300, 0]]
SPACE = [[0, 0, 0], [400, 0, 0], [400, 400, 0], [200, 400, 300], [200, 800, 300]]
STOCK = {"name": "m", "stock": "CHS 48.3x3.2", "bend": 100}


def weldment(*members: dict[str, Any]) -> Weldment:
    data = {"format": 1, "table": "50/16 2000x1000", "weldment": {"hole": "A1"}, "member": list(members)}
    made = build(Scene.from_dict(data))
    assert made is not None
    return made


def one(**keys: Any) -> Piece:
    return weldment({**STOCK, **keys}).pieces[0]


def ring(piece: Piece) -> float:
    """Area of a round tube from its designation's two figures, mm2."""
    size, _, wall = (piece.section.designation if piece.section else "").removeprefix("CHS ").partition("x")
    outer, inner = float(size), float(size) - 2 * float(wall)
    return math.pi / 4 * (outer**2 - inner**2)


def test_the_developed_length_is_that_of_legs_and_arcs() -> None:
    # Arc length = radius x angle in radians (Machinery's Handbook, mensuration: length of a circular arc).
    assert one(path=CORNER).cut_length == pytest.approx(300 + 200 + 100 * math.pi / 2, abs=1e-9)
    # Electricians' "gain" of a right-angled bend over the two sides to the corner: 2 R - pi R / 2 = 0.4292 R.
    assert 700 - one(path=CORNER).cut_length == pytest.approx(0.4292 * 100, abs=0.005)
    path = np.array(SPACE, dtype=float)
    ways = np.diff(path, axis=0)
    expected = float(np.linalg.norm(ways, axis=1).sum())
    for a, b in pairwise(ways):
        angle = math.acos(float(a @ b) / float(np.linalg.norm(a) * np.linalg.norm(b)))
        expected += 100 * angle - 2 * 100 * math.tan(angle / 2)
    assert one(path=SPACE).cut_length == pytest.approx(expected, abs=1e-6)


@pytest.mark.parametrize(
    ("path", "ends"),
    [
        (CORNER, ["square", "square"]),
        (SPACE, ["square", "square"]),
        (CORNER, [{"mitre": 30, "about": "z"}, {"mitre": 45, "about": "z"}]),
        ([[0, 0, 0], [100, 0, 0], [100, 300, 0]], ["square", "square"]),  # bent right up to its end
        ([[0, 0, 0], [400, 0, 0], [400, 200, 0], [-100, 200, 0]], ["square", "square"]),  # a half turn
        # Its legs of a hundredth and a ten-thousandth, left over where a dimension was rounded.
        ([[0, 0, 0], [400, 0, 0], [400, 200.01, 0], [-100, 200.01, 0]], ["square", "square"]),
        ([[0, 0, 0], [400, 0, 0], [400, 200.0001, 0], [400, 200.0001, 300]], ["square", "square"]),
    ],
)
def test_the_volume_is_that_of_pappus(path: list[Any], ends: list[Any]) -> None:
    # Pappus and Guldin: area times the way of its centre of gravity, here the centre line between the cuts.
    piece = one(path=path, ends=ends, roll=33)
    solid = piece_shape(piece).brep
    assert kernel.is_valid(solid)
    assert kernel.volume(solid) == pytest.approx(ring(piece) * piece.length, rel=1e-9)
    assert piece.mass == pytest.approx(ring(piece) * piece.length * 7850e-9, rel=1e-9)
    assert piece_shape(piece).mesh.volume == pytest.approx(ring(piece) * piece.length, rel=2e-3)


def test_faces_are_planes_cylinders_and_tori() -> None:
    from OCP.BRepAdaptor import BRepAdaptor_Surface
    from OCP.GeomAbs import GeomAbs_Cylinder, GeomAbs_Plane, GeomAbs_Torus
    from OCP.TopAbs import TopAbs_FACE
    from OCP.TopExp import TopExp_Explorer
    from OCP.TopoDS import TopoDS

    faces, kinds = TopExp_Explorer(piece_shape(one(path=SPACE)).brep, TopAbs_FACE), []
    while faces.More():
        kinds.append(BRepAdaptor_Surface(TopoDS.Face_s(faces.Current())).GetType())
        faces.Next()
    assert [kinds.count(k) for k in (GeomAbs_Plane, GeomAbs_Cylinder, GeomAbs_Torus)] == [2, 8, 6]
    assert len(kinds) == 16


def test_the_centre_line_goes_through_the_tangent_points_and_stays_inside_the_tube() -> None:
    piece = one(path=CORNER)
    assert piece.bent is not None
    to_weldment = piece.piece_to_weldment
    s = 300 + 100 * math.pi / 4
    spots = {0.0: (0, 0, 0), 300.0: (300, 0, 0), s: (400 - 100 * (1 - math.sqrt(0.5)), 100 - 100 * math.sqrt(0.5), 0)}
    spots[300 + 50 * math.pi] = (400, 100, 0)
    spots[piece.length] = (400, 300, 0)
    for where, spot in spots.items():
        point = piece.bent.point(where)
        assert np.allclose(frame.points(to_weldment, point), spot, atol=1e-9)
        assert piece.bent.nearest(point + np.array([0, 0, 7.0])) == pytest.approx(where, abs=1e-6)


def test_the_section_is_not_twisted() -> None:
    # Turned step by step by the least turn that takes one direction to the next, the frame comes out the same.
    piece = one(path=SPACE, roll=20)
    assert piece.bent is not None
    here = piece.bent.at(0.0)[:3, :3]
    for s in np.linspace(0.0, piece.length, 4001)[1:]:
        ahead = piece.bent.at(float(s))[:3, 0]
        axis = np.cross(here[:, 0], ahead)
        size = float(np.linalg.norm(axis))
        if size > 1e-12:
            here = frame.rotation(axis, math.degrees(math.asin(min(size, 1.0))))[:3, :3] @ here
    assert np.allclose(here, piece.bent.at(piece.length)[:3, :3], atol=1e-6)


def test_rotation_between_bends() -> None:
    # The angle between the planes of two bends is that of their normals, measured about the leg between them.
    piece = one(path=SPACE)
    assert piece.bent is not None
    ways = np.diff(np.array(SPACE, dtype=float), axis=0)
    for k in range(2):
        n, m = np.cross(ways[k], ways[k + 1]), np.cross(ways[k + 1], ways[k + 2])
        leg = ways[k + 1] / np.linalg.norm(ways[k + 1])
        turned = math.degrees(math.atan2(float(np.cross(n, m) @ leg), float(n @ m)))
        found = piece.bent.rotations[k + 1] - piece.bent.rotations[k]
        # Clockwise seen along the leg is the right-handed sense about it.
        assert math.remainder(found - turned, 360) == pytest.approx(0, abs=1e-6)
    # Lying flat with its top up, a tube that turns left bends toward 270 degrees.
    assert one(path=CORNER).bent.rotations == (270.0,)  # type: ignore[union-attr]
    assert [clockwise(way) for way in ((0.0, 1.0), (-1.0, 0.0), (0.0, -1.0), (1.0, 0.0))] == [0, 90, 180, 270]


def test_ends_are_cut_on_their_own_legs() -> None:
    # The far leg passes the plane of the near end, which must not cut it.
    piece = weldment(
        {**STOCK, "path": [[0, 0, 0], [400, 0, 0], [400, 200, 0], [-100, 200, 0]],
         "ends": [{"cope": "post", "gap": 1}, "square"], "holes": [{"at": 100, "diameter": 9}]},
        {"name": "post", "stock": "CHS 48.3x3.2", "from": [0, 0, -300], "to": [0, 0, 300]},
    )  # fmt: skip
    tube, post = piece.pieces
    bodies = [kernel.moved(piece_shape(p).brep, p.piece_to_weldment) for p in (tube, post)]
    assert kernel.distance(*bodies) == pytest.approx(1.0, abs=1e-3)
    box = kernel.box(bodies[0])
    assert box[0, 0] == pytest.approx(-100, abs=1e-4)
    assert tube.length == pytest.approx(1014.159265 - 24.15 - 1, abs=1e-6)


def test_a_mitre_to_a_leg_of_a_bent_member() -> None:
    made = weldment(
        {**STOCK, "path": CORNER, "ends": ["square", {"mitre_to": "next"}]},
        {"name": "next", "stock": "CHS 48.3x3.2", "from": [400, 300, 0], "to": [400, 300, 400],
         "ends": [{"mitre_to": "m"}, "square"]},
    )  # fmt: skip
    assert made.piece("m").mitres == pytest.approx((0, 45))
    assert made.piece("next").mitres == pytest.approx((45, 0))
    a, b = (kernel.moved(piece_shape(p).brep, p.piece_to_weldment) for p in made.pieces)
    shared = kernel.common(a, b)
    assert shared is not None
    assert kernel.volume(shared) == pytest.approx(0.0, abs=1e-4)
    assert kernel.distance(a, b) == pytest.approx(0.0, abs=1e-6)


def test_a_cope_on_a_bend_is_refused_and_one_that_runs_on_to_it_is_told() -> None:
    hoop = {**STOCK, "path": CORNER}
    tube = {"name": "t", "stock": "CHS 33.7x2.6", "ends": ["square", {"cope": "m"}]}
    with pytest.raises(SceneError, match="beyond its straight leg"):
        weldment(hoop, {**tube, "from": [350, -300, 0], "to": [350, 0, 0]})
    made = weldment(hoop, {**tube, "from": [290, -300, 0], "to": [290, 0, 0]})
    assert any('mm past the straight leg of "m"' in note for note in made.piece("t").notes)


@pytest.mark.parametrize(
    ("keys", "says"),
    [
        ({"path": [[0, 0, 0], [80, 0, 0], [80, 300, 0]]}, "leg 1 of its path, 80 mm long, is too short for bends of"),
        ({"path": [[0, 0, 0], [80, 0, 0], [80, 300, 0]]}, "expected a radius of at most 80 mm"),
        ({"path": [[0, 0, 0], [400, 0, 0], [400, 150, 0], [0, 150, 0]]}, "expected a radius of at most 75 mm"),
        ({"path": [[0, 0, 0], [400, 0, 0], [800, 0, 0]]}, "point 2 of its path is in line"),
        ({"path": [[0, 0, 0], [400, 0, 0], [0, 1, 0]]}, f"at most {MOST_ANGLE:g}"),
        ({"path": [[0, 0, 0], [400, 0, 0], [400, 0, 0], [400, 300, 0]]}, "points 2 and 3 of its path are the same"),
        ({"path": [[0, 0, 0], [0, 0, 0], [400, 300, 0]]}, "points 1 and 2 of its path are the same"),
        ({"path": CORNER, "stock": "SHS 40x40x3"}, "a rectangular tube cannot be bent here"),
        ({"path": CORNER, "bend": 20}, "leaves nothing on the inside of CHS 48.3x3.2"),
        ({"path": [[0, 0, 0], [600, 0, 0], [600, 400, 0], [200, 400, 0], [200, -400, 0]]}, "runs through itself"),
        ({"path": [[0, 0, 0], [120, 0, 0], [120, 300, 0]], "ends": [{"mitre": 60, "about": "z"}, "square"]},
         "the cut of its end runs 21.83 mm into the bend"),
        ({"path": CORNER, "holes": [{"at": 350, "diameter": 9}]}, "hole 1 lies in a bend"),
        ({"path": CORNER, "bend": None}, 'key "bend" is missing'),
        ({"path": CORNER, "from": [0, 0, 0]}, "path together with from"),
        ({"from": [0, 0, 0], "to": [9, 0, 0]}, "bend without path"),
        ({"bend": None, "to": [9, 0, 0]}, 'key "from" is missing'),
        ({"path": CORNER[:2]}, "3 to 200 points"),
    ],
)  # fmt: skip
def test_bends_that_cannot_be(keys: dict[str, Any], says: str) -> None:
    with pytest.raises(SceneError) as caught:
        weldment({key: value for key, value in {**STOCK, **keys}.items() if value is not None})
    assert says in str(caught.value)
    assert "\n" not in str(caught.value)


def test_an_error_points_at_its_line() -> None:
    text = (
        'format = 1\ntable = "50/16 2000x1000"\n[weldment]\n[[member]]\nname = "m"\nstock = "CHS 48.3x3.2"\n'
        "path = [[0, 0, 0], [80, 0, 0], [80, 300, 0]]\nbend = 100\n"
    )
    with pytest.raises(SceneError, match=r's.toml:8: member "m": leg 1'):
        build(loads(text, "s.toml"))


def test_notes_on_the_neutral_line_and_on_small_radii() -> None:
    notes = one(path=CORNER).notes
    # The neutral line 1 % of the diameter further in turns through the same angle on a radius smaller by so much.
    assert any("0.76 mm shorter" in note for note in notes)
    assert 0.01 * 48.3 * math.pi / 2 == pytest.approx(0.76, abs=0.005)
    assert not any("mandrel" in note for note in notes)
    assert any("1.7 times its depth" in note for note in one(path=CORNER, bend=80).notes)


SETUP = """format = 1
table = "50/16 2000x1000"
[weldment]
hole = "D4"
offset = [0, 25]
lift = 100
[[member]]
name = "hoop"
stock = "CHS 48.3x3.2"
path = [[0, 0, 0], [500, 0, 0], [500, 400, 0]]
bend = 100
[[place]]
name = "V1"
model = "vee_block"
hole = "F4"
turn = 90
with = { diameter = 48.3 }
[[clamp]]
name = "K1"
model = "toggle_clamp"
hole = "K9"
bolt = true
presses = "hoop"
at = 800
"""


def test_a_clamp_presses_along_the_developed_centre_line() -> None:
    job = assemble(loads(SETUP))
    from fixture3d.job.clamping import at_of, placed_tip, way_to_point

    seat = job.seats["K1"]
    tip = seat.part.tip()
    assert tip is not None
    at, _ = placed_tip(seat, tip)
    # 800 along: 400 of the first leg, 157.08 round the bend, 242.92 up the second one from (500, 100).
    assert np.allclose(at[:2] - np.array([150, 175]), [500, 100 + 800 - 400 - 50 * math.pi], atol=1e-6)
    assert job.weldment is not None
    way = way_to_point(seat, job.weldment)
    assert way is not None
    assert np.allclose(way, 0, atol=1e-6)
    assert at_of(seat.place, at, job.weldment) == pytest.approx(800, abs=1e-6)  # type: ignore[arg-type]
    with pytest.raises(SceneError, match="beyond the end of hoop, 857"):
        assemble(loads(SETUP.replace("at = 800", "at = 900")))


def test_a_vee_block_holds_a_straight_leg() -> None:
    job = assemble(loads(SETUP))
    flank = next(pad for pad in job.pads() if pad.item == "V1" and 0.1 < pad.normal[2] < 0.99)
    # Laid down until the tube's axis is its radius away from the flanks, it touches both and goes into neither.
    axis = np.array([0.0, 175.0, 0.0])
    lift = (48.3 / 2 + float(flank.normal @ (flank.at - axis))) / float(flank.normal[2])
    job = assemble(loads(SETUP.replace("lift = 100", f"lift = {lift!r}")))
    tube, block = job.pieces()[0], job.of_item("V1")[0]
    found = relate(*(kernel.moved(body.shape.brep, body.body_to_world) for body in (tube, block)))
    assert found.kind == "touching"
    higher = SETUP.replace("lift = 100", f"lift = {lift + 0.5!r}")
    tube = assemble(loads(higher)).pieces()[0]
    found = relate(*(kernel.moved(body.shape.brep, body.body_to_world) for body in (tube, block)))
    assert found.kind == "clear"
    assert found.gap == pytest.approx(0.5 * float(flank.normal[2]), abs=0.01)
