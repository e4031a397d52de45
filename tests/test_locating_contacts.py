"""Contacts from the solids: what touches, where, which way it pushes and how wide the gap is."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from fixture3d import frame
from fixture3d.errors import BadSolid
from fixture3d.locating.contact import Contact, locators
from fixture3d.locating.find import IN_FILLET, ON_RADIUS, bodies_of, contacts
from fixture3d.locating.located import locate_piece, locate_standing
from fixture3d.locating.over import opposed_pairs
from fixture3d.locating.read_features import standing, together
from fixture3d.solid.mesh import Mesh
from fixture3d.solid.relate import Placed
from fixture3d.solid.shape import Shape
from fixture3d.solid.step_in import read_solids
from fixture3d.tolerance import LOCATING
from tests.locating_cases import (
    BAR,
    SIDE_1,
    TABLE,
    TUBE,
    V_IN,
    at,
    ball,
    bar_shape,
    bend_shape,
    box,
    box_shape,
    corner_shape,
    pin,
    pin_shape,
    plate_shape,
    round_shape,
    saddle_shape,
)  # fmt: skip

ON_ITS_SIDE = frame.rotation((1, 0, 0), 90)  # an upright pin along -Y


def one(piece: Any, fixed: Any, **tolerance: float) -> Contact:
    (found,) = contacts(piece, {"f": fixed}, **tolerance)
    return found


def test_a_patch_has_the_fixed_face_its_hull_area_and_gap() -> None:
    found = one(at(bar_shape(), 0, 0, 0.04), TABLE)
    assert found.kind == "face"
    assert found.normal.tolist() == [0.0, 0.0, 1.0]
    assert found.area == pytest.approx(1000.0 * 38.0)
    assert found.gap == pytest.approx(0.04)
    assert sorted(map(tuple, found.points.round(6).tolist())) == [
        (0, -19, 0), (0, 19, 0), (1000, -19, 0), (1000, 19, 0),
    ]  # fmt: skip
    assert one(at(bar_shape(), 0, 0, -0.04), TABLE).gap == pytest.approx(-0.04)


def test_the_normal_is_that_of_the_fixed_face() -> None:
    leaning = at(box_shape(50, 35, 50), 100, 25, 0, frame.rotation((0, 0, 1), 0.3))
    found = one(BAR, leaning)
    np.testing.assert_allclose(found.normal, frame.rotation((0, 0, 1), 0.3)[:3, :3] @ [0, -1, 0], atol=1e-12)
    against = one(at(bar_shape()), at(pin_shape(), 400, 33, 0, frame.rotation((1, 0, 0), 0.2)))
    assert against.kind == "line"
    np.testing.assert_allclose(
        against.normal, [0, -math.cos(math.radians(0.2)), -math.sin(math.radians(0.2))], atol=1e-6
    )


def test_the_gap_is_measured_over_the_patch_and_not_at_a_face_s_origin() -> None:
    # A plate 2 m long that leans by 0.1 degree about its far end: 1.75 mm off in its middle, nothing at the block.
    plate = at(plate_shape(2000, 100, 10), 0, 0, 0, frame.rotation((0, 1, 0), -0.1))
    block = box((0, 0, -50), (50, 100, 0))
    found = one(plate, block)
    assert found.area == pytest.approx(5000.0, rel=1e-3)
    assert found.gap == pytest.approx(25.0 * math.tan(math.radians(0.1)), abs=2e-3)
    assert contacts(plate, {"far": box((900, 0, -50), (950, 100, 0))}) == []
    # On one long face only the part within the tolerance counts.
    half = one(plate, box((0, 0, -50), (2000, 100, 0)))
    assert half.points[:, 0].max() == pytest.approx(LOCATING.contact / math.tan(math.radians(0.1)), rel=1e-3)


@pytest.mark.parametrize(("off", "touches"), [(0.04, True), (0.06, False), (-0.04, True), (-0.06, False)])
def test_clean_tolerance(off: float, touches: bool) -> None:
    clean = {"within": LOCATING.clean_contact, "angle": LOCATING.clean_angle}
    assert bool(contacts(at(bar_shape(), 0, 0, off), {"t": TABLE}, **clean)) == touches
    tube = at(round_shape(), 0, 0, 24.15 + off)
    assert bool(contacts(tube, {"t": TABLE}, **clean)) == touches
    assert bool(contacts(ball(0, 0, 6.0 + off), {"t": TABLE}, **clean)) == touches


@pytest.mark.parametrize(("lean", "kind"), [(0.05, "face"), (0.3, "line")])
def test_a_face_that_leans_more_than_the_angle_stands_on_its_edge(lean: float, kind: str) -> None:
    slab = at(box_shape(100, 100, 100), 0, 0, 0, frame.rotation((0, 1, 0), -lean))
    assert one(slab, TABLE, within=0.05, angle=0.1).kind == kind


def test_a_graze_is_no_seat() -> None:
    for share, touches in ((0.0, False), (0.3, False), (1.0, True)):
        beside = box((100, 25, 50.0 - share), (150, 60, 90))
        assert bool(contacts(at(bar_shape(1000, 50, 3, 0.0)), {"s": beside})) == touches


POINTS: dict[str, Any] = {
    "ball on a flat": (at(box_shape(50, 50, 50)), ball(20, 30, -6), (20, 30, 0), (0, 0, 1)),
    "ball of the piece on a flat": (ball(5, 6, 10, 10), TABLE, (5, 6, 0), (0, 0, 1)),
    "rounds that cross": (
        at(round_shape(), 0, 0, 24.15), at(pin_shape(16, 100), 300, 50, -8, ON_ITS_SIDE), (300, 0, 0), (0, 0, 1),
    ),
    "ball on a round": (at(round_shape(), 0, 0, 24.15), ball(200, 0, -6), (200, 0, 0), (0, 0, 1)),
    "ball on a ball": (ball(0, 0, 10, 10), ball(0, 0, -6), (0, 0, 0), (0, 0, 1)),
    "corner of the fixed body": (
        at(box_shape(50, 50, 50)),
        at(box_shape(20, 20, 20), 10, 10, 0, frame.rotation((1, -1, 0), math.degrees(math.atan(math.sqrt(2.0))) + 180)),
        (10, 10, 0), (0, 0, 1),
    ),
    "edges that cross": (
        at(box_shape(50, 50, 50), -25, 0, 0, frame.rotation((1, 0, 0), 45)),
        at(box_shape(50, 50, 50), 0, -25, 0, frame.rotation((0, 1, 0), 135)),
        (0, 0, 0), (0, 0, 1),
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", list(POINTS))
def test_points(name: str) -> None:
    piece, fixed, at_, normal = POINTS[name]
    found = one(piece, fixed)
    assert found.kind == "point"
    np.testing.assert_allclose(found.points, [at_], atol=1e-6)
    np.testing.assert_allclose(found.normal, normal, atol=1e-6)
    assert found.gap == pytest.approx(0.0, abs=1e-6)


LINES: dict[str, Any] = {
    "round on a flat": (at(round_shape(), 0, 0, 24.15), TABLE, [(0, 0, 0), (600, 0, 0)], (0, 0, 1)),
    "flat on a round": (
        at(box_shape(100, 100, 20)), at(pin_shape(16, 60), 50, 80, -8, ON_ITS_SIDE),
        [(50, 20, 0), (50, 80, 0)], (0, 0, 1),
    ),
    "round along a round": (
        at(round_shape(), 0, 0, 24.15),
        at(pin_shape(16, 100), 100, 0, -8, frame.rotation((0, 1, 0), 90)),
        [(100, 0, 0), (200, 0, 0)], (0, 0, 1),
    ),
    "edge of the piece": (
        at(box_shape(100, 50, 50), 0, 0, 0, frame.rotation((1, 0, 0), 30)), TABLE, [(0, 0, 0), (100, 0, 0)], (0, 0, 1),
    ),
    "edge of the fixed body": (
        at(box_shape(100, 50, 50), 0, -25, 0),
        at(box_shape(40, 20, 20), 30, 0, 0, frame.rotation((1, 0, 0), 225)),
        [(30, 0, 0), (70, 0, 0)], (0, 0, 1),
    ),
    "round in a wider half round": (
        at(round_shape(), 0, 0, -1.0), at(saddle_shape(50.3), 100), [(100, 0, -25.15), (160, 0, -25.15)], (0, 0, 1),
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", list(LINES))
def test_lines(name: str) -> None:
    piece, fixed, ends, normal = LINES[name]
    found = one(piece, fixed)
    assert found.kind == "line"
    np.testing.assert_allclose(sorted(found.points.round(6).tolist()), ends, atol=2e-3)
    np.testing.assert_allclose(found.normal, normal, atol=1e-6)
    assert found.gap == pytest.approx(0.0, abs=2e-3)


def test_a_round_tube_on_two_sharp_edges() -> None:
    half = 24.15 * math.sin(math.radians(40.0))
    drop = 24.15 * math.cos(math.radians(40.0))
    rails = {"l": box((0, -half - 30, -20), (100, -half, 0)), "r": box((0, half, -20), (100, half + 30, 0))}
    found = contacts(at(round_shape(), 0, 0, drop), rails)
    assert [(c.fixed, c.kind) for c in found] == [("l", "line"), ("r", "line")]
    for contact, side in zip(found, (1.0, -1.0), strict=True):
        np.testing.assert_allclose(
            contact.normal, [0, side * math.sin(math.radians(40)), math.cos(math.radians(40))], atol=1e-6
        )


def test_a_bend_that_lies_flat_touches_along_its_arc() -> None:
    found = contacts(at(bend_shape()), {"t": box((200, -50, -10), (400, 90, 0))})
    (arc,) = [c for c in found if len(c.points) > 2]
    np.testing.assert_allclose(np.linalg.norm(arc.points[:, :2] - [200, 100], axis=1), 100.0, atol=1e-3)
    np.testing.assert_allclose(arc.points[:, 2], 0.0, atol=1e-6)
    (outside,) = contacts(at(bend_shape()), {"s": at(box_shape(60, 20, 40), 0, 0, 0, _touching_bend())})
    assert outside.kind == "point"
    np.testing.assert_allclose(outside.normal, [-math.sqrt(0.5), math.sqrt(0.5), 0.0], atol=1e-6)


def _touching_bend() -> np.ndarray[Any, Any]:
    """A block whose +Y face touches the outside of the bend half way round."""
    way = np.array([math.sqrt(0.5), -math.sqrt(0.5), 0.0])
    touch = np.array([200.0, 100.0, 15.0]) + 115.0 * way
    turn = frame.rotation((0, 0, 1), 45)
    return frame.translation(touch) @ turn @ frame.translation((-30, -20, -20))


def test_on_the_corner_radius_is_doubted() -> None:
    bar = at(bar_shape(600.0), 0, 0, 13.0 + 6.0 * math.sqrt(2.0))
    found = contacts(bar, V_IN)
    assert [c.kind for c in found] == ["line"] * 4
    assert {c.doubt for c in found} == {ON_RADIUS}
    diamond = at(
        bar_shape(600.0), 0, 0, 25.0 * math.sqrt(2.0), frame.rotation((1, 0, 0), 45) @ frame.translation((0, 0, -25))
    )
    seated = contacts(diamond, V_IN)
    assert {(c.kind, c.doubt) for c in seated} == {("face", "")}


def test_locators_are_patch_corners_line_ends_and_points() -> None:
    found = contacts(BAR, {"t": TABLE, "s": pin(400, 33), "b": ball(-6, 0, 47.5)})
    points, normals, owner = locators(found)
    assert (len(points), len(normals)) == (7, 7)
    assert owner.tolist() == [0, 0, 0, 0, 1, 1, 2]
    assert locators([])[0].shape == (0, 3)


def as_mesh(body: Placed) -> Mesh:
    return body.shape.mesh.moved(body.pose)


@pytest.mark.parametrize("setup", ["bar", "tube"])
def test_meshes_and_step_files_give_the_same_contacts(setup: str, tmp_path: Path) -> None:
    import cadquery as cq
    import trimesh

    piece, fixed = (BAR, {"t": TABLE, "s": SIDE_1, "p": pin(900, 33)}) if setup == "bar" else (TUBE, dict(V_IN))
    drawn = contacts(piece, fixed)
    meshes = {n: trimesh.Trimesh(as_mesh(b).vertices, as_mesh(b).faces, process=False) for n, b in fixed.items()}
    from_mesh = contacts(as_mesh(piece), meshes)
    brep = cq.Shape.cast(piece.shape.brep).moved(cq.Location(cq.Vector(*piece.pose[:3, 3])))
    cq.exporters.export(cq.Workplane(brep), str(tmp_path / "piece.step"))
    (solid,) = [one.shape() for one in read_solids(tmp_path / "piece.step")]
    from_step = contacts(solid, fixed)
    for found, within in ((from_mesh, 0.03), (from_step, 1e-3)):
        assert [(c.fixed, c.kind) for c in found] == [(c.fixed, c.kind) for c in drawn]
        for a, b in zip(found, drawn, strict=True):
            np.testing.assert_allclose(a.normal, b.normal, atol=1e-3)
            assert a.area == pytest.approx(b.area, rel=2e-3)
            np.testing.assert_allclose(
                np.sort(a.points, axis=0)[[0, -1]], np.sort(b.points, axis=0)[[0, -1]], atol=within
            )


def test_faces_that_are_not_read_are_told() -> None:
    import cadquery as cq

    cone = cq.Workplane().circle(10).workplane(offset=20).circle(2).loft().val()  # 6 mm at half its height
    table = box((20, -25, 0), (40, 25, 10))
    for x, unread in ((6.0, ("cone",)), (8.0, ())):
        block = box((x, -25, 10), (56, 25, 60))
        assert locate_piece(block, {"cone": cone, "t": table}, leave=False).unread == unread
    on_top = box((-25, -25, 20), (25, 25, 60))  # on its flat end: what is beside that tells nothing new
    assert locate_piece(on_top, {"cone": cone}, leave=False).unread == ()


@pytest.mark.parametrize("height", [30.0, 21.0, 19.0])
def test_the_broken_edge_of_a_dowel_is_no_doubt(height: float) -> None:
    """Its side is read as far up as it goes; the bar's top is above the edge, or beside it, or below."""
    import cadquery as cq

    dowel = cq.Workplane().circle(10).extrude(22).faces(">Z").chamfer(2).val()
    found = locate_piece(box((10, -100, 5), (50, 100, height)), {"dowel": dowel}, leave=False)
    assert found.unread == ()
    assert [(c.fixed, c.kind) for c in found.contacts] == [("dowel", "line")]


def test_what_lies_flat_on_a_broken_edge_is_told() -> None:
    """The edge is a cone: turned by 45 degrees one of its lines is level, (10 + 20) / sqrt(2) high."""
    import cadquery as cq

    dowel = cq.Workplane().circle(10).extrude(22).faces(">Z").chamfer(2).val().rotate((0, 0, 0), (0, 1, 0), -45)
    for above, unread in ((0.0, ("dowel",)), (1.5, ())):
        bar = box((-60, -60, 30 / math.sqrt(2.0) + above), (60, 60, 60))
        assert locate_piece(bar, {"dowel": dowel}, leave=False).unread == unread


def test_bad_input_is_told() -> None:
    with pytest.raises(BadSolid):
        contacts("a bar", {"t": TABLE})
    for wrong in ({"within": -1.0}, {"within": math.nan}, {"angle": 6.0}, {"angle": -0.1}):
        with pytest.raises(ValueError, match="expected"):
            contacts(BAR, {"t": TABLE}, **wrong)
    for gravity in ((0, 0, 0), (0, 0), (math.nan, 0, 0)):
        with pytest.raises(ValueError, match="gravity"):
            locate_piece(BAR, {"t": TABLE}, gravity, leave=False)


def test_placed_bodies_shapes_and_lists_are_taken_alike() -> None:
    by_name = contacts(BAR, {"t": TABLE, "s": SIDE_1})
    listed = contacts(BAR, [Placed("t", TABLE.shape, TABLE.pose), Placed("s", SIDE_1.shape, SIDE_1.pose)])
    shapes = contacts(BAR.shape, {"t": TABLE, "s": SIDE_1})
    assert isinstance(BAR.shape, Shape)
    for found in (listed, shapes):
        assert [(c.fixed, c.kind, c.points.tolist()) for c in found] == [
            (c.fixed, c.kind, c.points.tolist()) for c in by_name
        ]


def test_a_stop_inside_the_piece_is_told_and_not_counted() -> None:
    found = locate_piece(BAR, {"t": TABLE, "s": box((100, 24, 0), (150, 60, 50))}, leave=False)
    assert found.rank == 3
    (doubt,) = found.doubts
    assert doubt.fixed == "s"
    assert doubt.amount == pytest.approx(1.0)
    assert "reaches into the piece" in doubt.words
    assert locate_piece(BAR, {"t": TABLE, "s": box((100, 26, 0), (150, 60, 50))}, leave=False).doubts == ()


def test_pieces_that_are_tacked_together_are_one() -> None:
    """Two bars of a corner as one body are located as the fused solid is."""
    import cadquery as cq

    long, short = at(box_shape(400, 40, 40)), at(box_shape(40, 300, 40), 0, 40, 0)
    fused = (
        cq.Workplane()
        .box(400, 40, 40, centered=False)
        .union(cq.Workplane().box(40, 300, 40, centered=False).translate((0, 40, 0)))
    )
    fixed = {"t": TABLE, "a": box((50, -20, 0), (80, 0, 50)), "b": box((300, -20, 0), (330, 0, 50)),
             "c": box((-20, 200, 0), (0, 230, 50))}  # fmt: skip
    one = together("corner", [standing("long", long), standing("short", short)])
    here, there = locate_standing(one, bodies_of(fixed)), locate_piece(fused.val(), fixed, leave=False)
    assert (here.rank, here.rests) == (there.rank, there.rests) == (6, True)
    assert [m.words for m in here.free_motions] == [m.words for m in there.free_motions]
    np.testing.assert_allclose(here.lie.mass, there.lie.mass, atol=1e-6)
    assert sum(c.area for c in here.contacts) == pytest.approx(sum(c.area for c in there.contacts))
    # Each bar alone is not: the short one has a single stop.
    assert locate_piece(short, fixed, leave=False).rank < 6
    with pytest.raises(ValueError, match="one body"):
        together("none", [])


def test_the_gap_of_a_patch_at_the_end_of_a_long_face() -> None:
    plate = at(plate_shape(100, 100, 10), 0, 0, 0, frame.rotation((0, 1, 0), -0.1))
    found = one(plate, box((-400, 0, -50), (100, 100, 0)))
    assert found.gap == pytest.approx(50.0 * math.tan(math.radians(0.1)), abs=2e-3)


def test_a_corner_that_lies_in_a_fillet_is_doubted() -> None:
    off = (6.0 - 3.0) * (1.0 - math.sqrt(0.5))  # off either wall, where the radius of 3 lies in the fillet of 6
    found = contacts(at(bar_shape(40.0, 30.0, 15.0, 3.0), 0, -15 - off, off), {"b": at(corner_shape(6.0))}, within=0.05)
    assert [(c.kind, c.doubt) for c in found] == [("line", IN_FILLET)]
    np.testing.assert_allclose(found[0].normal, [0, -math.sqrt(0.5), math.sqrt(0.5)], atol=1e-3)


def test_faces_in_one_plane_do_not_oppose_each_other() -> None:
    def face(name: str, y: float, push: float) -> Contact:
        patch = np.array([[0.0, y, 0.0], [10.0, y, 0.0], [10.0, y, 10.0], [0.0, y, 10.0]])
        return Contact(name, "face", np.array([0.0, push, 0.0]), patch, 100.0)

    assert opposed_pairs([face("a", 0.0, 1.0), face("b", 0.0, -1.0)]) == []
    (across,) = opposed_pairs([face("a", 0.0, 1.0), face("b", 20.0, -1.0)])
    (inside,) = opposed_pairs([face("a", 20.0, 1.0), face("b", 0.0, -1.0)])
    assert (across.inside, inside.inside) == (False, True)
