"""Repairs of meshes from files: each on both sides of what can be proven, volumes in closed form."""

from __future__ import annotations

import io
import math
import zipfile
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import trimesh

from fixture3d.errors import BadSolid, ImportFailed
from fixture3d.solid.meshfile import parse
from fixture3d.solid.meshshells import MeshSolid, solids
from fixture3d.solid.step_in import read_solids
from fixture3d.tolerance import FILES


def box(x: float, y: float, z: float, at: tuple[float, float, float] = (0, 0, 0)) -> Any:
    return trimesh.creation.box((x, y, z)).apply_translation(at)


def joined(*meshes: Any) -> Any:
    return trimesh.util.concatenate(list(meshes))


def raw(vertices: Any, faces: Any) -> Any:
    return trimesh.Trimesh(vertices, faces, process=False)


def mended(mesh: Any) -> list[MeshSolid]:
    return solids(np.asarray(mesh.vertices, dtype=np.float64), np.asarray(mesh.faces, dtype=np.int64))


def refused(mesh: Any) -> str:
    with pytest.raises(BadSolid) as caught:
        mended(mesh)
    assert str(caught.value).isprintable()
    return str(caught.value)


def soup(mesh: Any, jitter: float) -> Any:
    """Every triangle with corners of its own, each moved by up to ``jitter`` along each axis."""
    corners = mesh.triangles.reshape(-1, 3)
    moved = corners + np.random.default_rng(5).uniform(-jitter, jitter, corners.shape)
    return raw(moved, np.arange(len(moved)).reshape(-1, 3))


def plate() -> Any:
    """100 x 100 x 10, finely divided: its triangles are 1/512 of 200 x 100 mm2 of surface and less."""
    return box(100, 100, 10).subdivide().subdivide().subdivide().subdivide()


# --- winding and sides ---


def test_a_good_mesh_is_left_alone() -> None:
    (one,) = mended(box(10, 20, 30))
    assert one.mesh.volume == pytest.approx(6000)
    assert one.note == ""


def test_inside_out_is_turned_and_said() -> None:
    wrong = box(10, 20, 30)
    wrong.invert()
    (one,) = mended(wrong)
    assert one.mesh.volume == pytest.approx(6000)
    assert one.note == "repaired: turned outside out"


def test_faces_against_their_neighbours_are_turned() -> None:
    wrong = box(10, 20, 30)
    wrong.faces[[2, 7, 8]] = wrong.faces[[2, 7, 8]][:, ::-1]
    (one,) = mended(wrong)
    assert one.mesh.volume == pytest.approx(6000)
    assert one.note == "repaired: 3 faces turned round"


def test_one_sided_bands_have_no_inside() -> None:
    """A Möbius band, from its textbook parameters."""
    turns = np.linspace(0, 2 * np.pi, 40, endpoint=False)
    middle = np.stack([np.cos(turns), np.sin(turns), 0 * turns], axis=1) * 50
    half = np.stack([np.cos(turns) * np.cos(turns / 2), np.sin(turns) * np.cos(turns / 2), np.sin(turns / 2)], axis=1)
    points = np.stack([middle - 5 * half, middle + 5 * half], axis=1).reshape(-1, 3)
    faces = []
    for i in range(40):
        a, b = 2 * i, 2 * i + 1
        c, d = (2 * i + 2, 2 * i + 3) if i < 39 else (1, 0)
        faces += [[a, b, c], [b, d, c]]
    assert "only one side" in refused(raw(points, faces))


def test_hollows_are_hollows_only_when_the_file_says_so() -> None:
    hollow, inner = box(5, 5, 5), box(5, 5, 5)
    hollow.invert()
    assert [s.mesh.volume for s in mended(joined(box(10, 10, 10), hollow))] == [pytest.approx(875)]
    outer = box(10, 10, 10)
    outer.invert()
    (one,) = mended(joined(outer, inner))
    assert one.mesh.volume == pytest.approx(875)
    assert "turned outside out" in one.note
    # Both as they should be: two solids, one in the other, which is for the interference check to say.
    assert [s.mesh.volume for s in mended(joined(box(10, 10, 10), inner))] == pytest.approx([1000, 125])
    # Both inside out: the inner one may be either.
    assert "do not say whether it is a hollow or a solid" in refused(joined(outer, hollow))
    torn = box(5, 5, 5)
    torn.faces[0] = torn.faces[0][::-1]
    assert "hollow or a solid" in refused(joined(box(10, 10, 10), torn))


# --- corners ---


@pytest.mark.parametrize(("jitter", "weld"), [(1e-6, "1e-05"), (1e-4, "0.001"), (1e-3, "0.005")])
def test_near_corners_are_welded_and_the_volume_stays(jitter: float, weld: str) -> None:
    ball = trimesh.creation.icosphere(3, 20.0)
    (one,) = mended(soup(ball, jitter))
    # Corners moved by up to jitter: the volume may not change by more than that over the whole surface.
    assert abs(one.mesh.volume - ball.volume) < math.sqrt(3) * jitter * ball.area
    assert f"corners welded within {weld} mm" in one.note


def test_corners_further_apart_are_not() -> None:
    assert "an open edge" in refused(soup(trimesh.creation.icosphere(3, 20.0), 2e-2))


def test_a_weld_may_not_eat_what_is_small() -> None:
    """The rim of an open pin in steps of 4 micrometres: within the widest weld each next to each, and 2 mm across.

    Drawn to a point it would close, as a cone. The other end has ten corners only, and is closed.
    """
    fine, coarse, length = 1570, 10, 40.0
    assert 2 * math.pi / fine < 5e-3
    rings = [np.linspace(0, 2 * math.pi, n, endpoint=False) for n in (fine, coarse)]
    rims: list[Any] = [
        np.stack([np.cos(t), np.sin(t), 0 * t + z], axis=1) for t, z in zip(rings, (length, 0.0), strict=True)
    ]
    points = np.vstack([*rims, [[0, 0, 0], [0, 0, length]]])
    at = [fine + i * coarse // fine for i in range(fine)] + [fine]
    low = [(fine + k, fine + (k + 1) % coarse) for k in range(coarse)]
    walls = [(at[i], (i + 1) % fine, i) for i in range(fine)]
    walls += [(at[i], at[i + 1], (i + 1) % fine) for i in range(fine) if at[i] != at[i + 1]]
    floor = [(b, a, fine + coarse) for a, b in low]
    lid = [(i, (i + 1) % fine, fine + coarse + 1) for i in range(fine)]
    whole = raw(points, [*walls, *floor, *lid])
    assert whole.is_volume
    (one,) = mended(raw(points, [*walls, *floor]))
    assert one.mesh.volume == pytest.approx(whole.volume, rel=1e-9)
    assert "1 flat hole closed" in one.note
    assert "welded" not in one.note


def test_faces_without_area_are_dropped() -> None:
    whole = box(10, 20, 30)
    one = raw(whole.vertices, np.vstack([whole.faces, [[0, 0, 1], [2, 3, 3]]]))
    (found,) = mended(one)
    assert found.mesh.volume == pytest.approx(6000)
    assert found.note == "repaired: 2 faces without area dropped"


# --- doubles ---


def test_doubled_faces_are_dropped() -> None:
    (one,) = mended(joined(box(10, 20, 30), box(10, 20, 30)))
    assert one.mesh.volume == pytest.approx(6000)
    assert one.note == "repaired: 12 doubled faces dropped"
    whole = box(10, 20, 30)
    for copy in (whole.faces[:1], whole.faces[:1, ::-1]):
        (one,) = mended(raw(whole.vertices, np.vstack([whole.faces, copy])))
        assert one.mesh.volume == pytest.approx(6000)
        assert one.note == "repaired: 1 doubled face dropped"


@pytest.mark.parametrize("at", [(10, 0, 0), (10, 20, 0), (10, 20, 30)], ids=["face", "edge", "corner"])
def test_solids_that_touch_stay_two(at: tuple[float, float, float]) -> None:
    found = mended(joined(box(10, 20, 30), box(10, 20, 30, at)))
    assert [s.mesh.volume for s in found] == pytest.approx([6000, 6000])
    assert [s.note for s in found] == ["", ""]
    assert sorted(float(s.mesh.box.mean()) for s in found) == pytest.approx([0, sum(at) / 3])


def test_a_sheet_on_an_edge_is_dropped_when_it_has_two_sides_and_refused_with_one() -> None:
    whole = box(10, 20, 30)
    a, b = whole.faces[0][:2]
    points = np.vstack([whole.vertices, [[0, 0, 40]]])
    flap = [[a, b, 8], [b, a, 8]]
    (one,) = mended(raw(points, np.vstack([whole.faces, flap])))
    assert one.mesh.volume == pytest.approx(6000)
    assert "2 faces of a sheet without thickness dropped" in one.note
    assert "an open edge" in refused(raw(points, np.vstack([whole.faces, flap[:1]])))


# --- holes ---


def test_a_small_flat_hole_is_closed() -> None:
    whole = plate()
    (one,) = mended(raw(whole.vertices, np.delete(whole.faces, [100], axis=0)))
    assert one.mesh.volume == pytest.approx(100 * 100 * 10)
    assert "1 flat hole closed" in one.note


def test_a_hole_over_several_faces_of_one_plane_is_closed_and_over_an_edge_is_not() -> None:
    whole = plate()
    middles, normals = whole.triangles_center, whole.face_normals
    top = np.nonzero((normals[:, 2] > 0.9) & (np.abs(middles[:, :2] - 10).max(axis=1) < 5))[0]
    assert len(top) >= 2
    (one,) = mended(raw(whole.vertices, np.delete(whole.faces, top, axis=0)))
    assert one.mesh.volume == pytest.approx(100 * 100 * 10)
    corner = np.nonzero(np.linalg.norm(middles - [50, 0, 5], axis=1) < 5)[0]
    assert len({tuple(n) for n in np.round(normals[corner])}) == 2
    said = refused(raw(whole.vertices, np.delete(whole.faces, corner, axis=0)))
    assert "is not flat" in said
    assert "(4" in said or "(5" in said  # where: at x = 50


def test_holes_are_closed_up_to_a_width_and_a_share() -> None:
    """A round end of radius r is r wide in the mean (2 pi r2 / 2 pi r); closed or not by ``hole_width``."""
    for radius, closes in ((FILES.hole_width - 0.2, True), (FILES.hole_width + 0.2, False)):
        rod = trimesh.creation.cylinder(radius, 600, sections=48)
        open_rod = raw(rod.vertices, rod.faces[np.abs(rod.face_normals[:, 2]) < 0.9])
        if closes:
            (one,) = mended(open_rod)
            assert one.mesh.volume == pytest.approx(rod.volume)
            assert "2 flat holes closed" in one.note
        else:
            assert "mm wide, and closing it would be a guess" in refused(open_rod)
    # Two ends of pi r2 against 2 pi r l in between: the share is r / l.
    for length, closes in ((2.2 / FILES.hole_share, True), (1.8 / FILES.hole_share, False)):
        pin = trimesh.creation.cylinder(2.0, length, sections=48)
        open_pin = raw(pin.vertices, pin.faces[np.abs(pin.face_normals[:, 2]) < 0.9])
        if closes:
            assert mended(open_pin)[0].mesh.volume == pytest.approx(pin.volume)
        else:
            assert "of its surface, and closing them would be a guess" in refused(open_pin)


def drilled(height: float, at: tuple[float, ...] = (25, 75)) -> tuple[trimesh.Trimesh, np.ndarray]:
    """A plate with bores of 9 mm, and which faces are walls of the first."""
    bores = [
        trimesh.creation.cylinder(4.5, height + 10, sections=48).apply_translation([x, 30, height / 2]) for x in at
    ]
    block = trimesh.creation.box((100, 60, height)).apply_translation([50, 30, height / 2])
    whole = trimesh.boolean.difference([block, *bores], engine="manifold")
    beside = np.abs(np.hypot(whole.triangles[:, :, 0] - at[0], whole.triangles[:, :, 1] - 30) - 4.5).max(axis=1)
    return whole, (beside < 1e-3) & (np.abs(whole.face_normals[:, 2]) < 0.5)


def test_a_bore_without_its_wall_is_not_closed_by_discs() -> None:
    whole, wall = drilled(10)
    said = refused(raw(whole.vertices, whole.faces[~wall]))
    assert "a wall between them or two flat faces may be missing" in said
    assert "(25.0, 30.0, 10.0)" in said
    assert "(25.0, 30.0, 0.0)" in said


def test_more_holes_than_a_few_are_not_closed() -> None:
    whole = plate()
    top = np.nonzero(whole.face_normals[:, 2] > 0.9)[0]
    apart: list[int] = []
    taken: set[int] = set()
    for k in top.tolist():
        if not taken & set(whole.faces[k].tolist()):
            apart.append(k)
            taken |= set(whole.faces[k].tolist())
    assert len(apart) > FILES.holes
    few, many = apart[: FILES.holes], apart[: FILES.holes + 1]
    assert "flat holes closed" in mended(raw(whole.vertices, np.delete(whole.faces, few, axis=0)))[0].note
    assert f"at most {FILES.holes} are closed" in refused(raw(whole.vertices, np.delete(whole.faces, many, axis=0)))


def test_the_end_of_a_tube_becomes_a_ring() -> None:
    tube = trimesh.creation.annulus(17, 20, 400, sections=48)
    one_end = (tube.face_normals[:, 2] > 0.9) & (tube.triangles_center[:, 2] > 0)
    (one,) = mended(raw(tube.vertices, tube.faces[~one_end]))
    assert one.mesh.volume == pytest.approx(tube.volume)
    assert "1 flat hole closed" in one.note
    # With both rings gone nothing joins the two walls.
    both = np.abs(tube.face_normals[:, 2]) > 0.9
    assert "an open edge" in refused(raw(tube.vertices, tube.faces[~both]))


def test_a_corner_on_a_neighbours_edge_is_no_hole() -> None:
    """One face of a cube is divided, its neighbour is not."""
    cube = box(100, 100, 100)
    faces, points = cube.faces.tolist(), cube.vertices.tolist()
    a, b, c = faces.pop(0)
    points.append(((np.array(points[a]) + points[b]) / 2).tolist())
    (one,) = mended(raw(points, [*faces, [a, 8, c], [8, b, c]]))
    assert one.mesh.volume == pytest.approx(1e6)


def test_where_it_is_open_is_said() -> None:
    cube = box(10, 10, 10, (100, 0, 0))
    # A right triangle with two sides of 10: 10 + 10 + 14.142 round.
    said = refused(raw(cube.vertices, cube.faces[:-1]))
    assert "an open edge 34.1 mm long at (105.0, 1.7, 1.7)" in said


def test_where_it_crosses_itself_is_said() -> None:
    """A cube whose top corner is pushed through its floor."""
    tall = box(4, 4, 4).subdivide().subdivide().subdivide()
    v = tall.vertices.copy()
    v[(v[:, 2] > 1.9) & (np.abs(v[:, :2]) < 1).all(axis=1), 2] -= 6.0
    assert "two surfaces cross near" in refused(raw(v, tall.faces))


def test_edges_of_three_faces_are_refused() -> None:
    whole = box(10, 10, 10)
    a, b = whole.faces[0][:2]
    points = np.vstack([whole.vertices, box(3, 3, 3, (0, 0, 30)).vertices])
    other = box(3, 3, 3).faces + 8
    # A shell of its own that has one corner torn off and stuck to an edge of the box.
    torn = np.vstack([whole.faces, other, [[a, b, 8]]])
    assert "mm long at" in refused(raw(points, torn)) or "meet in one edge" in refused(raw(points, torn))


# --- files ---


def text_of(mesh: Any, kind: str) -> bytes:
    data = trimesh.exchange.export.export_mesh(mesh, None, file_type=kind)
    return data if isinstance(data, bytes) else data.encode()


def test_the_note_reaches_the_piece(tmp_path: Path) -> None:
    wrong = box(10, 20, 30)
    wrong.invert()
    (tmp_path / "A.STL").write_bytes(text_of(wrong, "stl"))
    (one,) = read_solids(tmp_path / "A.STL", "mm")
    assert one.notes == ("repaired: turned outside out",)
    assert one.volume == pytest.approx(6000)


@pytest.mark.parametrize(("unit", "mm"), [("mm", 1.0), ("cm", 10.0), ("m", 1000.0), ("in", 25.4), ("ft", 304.8)])
def test_the_unit_of_an_obj(unit: str, mm: float) -> None:
    ((_, one),) = parse(text_of(box(1, 2, 3), "obj"), Path("a.obj"), unit)
    assert one.mesh.volume == pytest.approx(6 * mm**3)


def test_obj_polygons_groups_and_objects() -> None:
    """An L of 3 squares, its ends as one concave face of six corners: area 3, length 2."""
    rim = [(0, 0), (2, 0), (2, 1), (1, 1), (1, 2), (0, 2)]
    lines = [f"v {x} {y} {z}" for z in (0, 2) for x, y in rim]
    walls = [f"f {k + 1} {(k + 1) % 6 + 1} {(k + 1) % 6 + 7} {k + 7}" for k in range(6)]
    for start in range(6):  # wherever the file begins the face
        low = " ".join(str((start - k) % 6 + 1) for k in range(6))
        high = " ".join(str((start + k) % 6 + 7) for k in range(6))
        ((name, one),) = parse("\n".join([*lines, *walls, f"f {low}", f"f {high}"]).encode(), Path("l.obj"), "mm")
        assert one.mesh.volume == pytest.approx(6)
        # Triangles that fold over one another have the same volume and more surface: 2 x 3, and 8 x 2 of walls.
        assert one.mesh.area == pytest.approx(22)
        assert (name, one.note) == ("l", "")
    two = text_of(box(1, 1, 1), "obj").decode()
    body = "\n".join(line for line in two.splitlines() if line[:2] in ("v ", "f "))
    names = [n for n, _ in parse(f"o left leg\n{body}".encode(), Path("x.obj"), "mm")]
    assert names == ["left leg"]
    # Groups of one closed surface (paint, not parts) do not tear it apart.
    torn = body.replace("\nf ", "\ng one\nf ", 1).replace("\nf ", "\ng two\nf ", 4)
    assert [s.mesh.volume for _, s in parse(torn.encode(), Path("x.obj"), "mm")] == [pytest.approx(1)]


def model_3mf(*bodies: tuple[str, str]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for path, body in bodies:
            archive.writestr(path, body)
    return out.getvalue()


def mesh_3mf(mesh: Any) -> str:
    v = "".join(f'<vertex x="{x}" y="{y}" z="{z}"/>' for x, y, z in mesh.vertices)
    t = "".join(f'<triangle v1="{a}" v2="{b}" v3="{c}"/>' for a, b, c in mesh.faces)
    return f"<mesh><vertices>{v}</vertices><triangles>{t}</triangles></mesh>"


CORE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
PRODUCTION = "http://schemas.microsoft.com/3dmanufacturing/production/2015/06"


def test_3mf_components_in_components_and_mirrored() -> None:
    """The pose of the inner part is applied first, then the outer one, then that of the build item; by hand."""
    inner = f'<object id="1" name="foot">{mesh_3mf(box(2, 4, 6))}</object>'
    middle = (
        '<object id="2"><components><component objectid="1" transform="1 0 0 0 1 0 0 0 1 10 0 0"/>'
        '<component objectid="1" transform="-1 0 0 0 1 0 0 0 1 10 0 0"/></components></object>'
    )
    build = '<item objectid="2" transform="0 1 0 -1 0 0 0 0 1 100 0 0"/>'
    support = f'<object id="3" type="support">{mesh_3mf(box(9, 9, 9))}</object>'
    body = (
        f'<model unit="centimeter" xmlns="{CORE}"><resources>{inner}{middle}{support}</resources>'
        f'<build>{build}<item objectid="3"/></build></model>'
    )
    found = parse(model_3mf(("3D/3dmodel.model", body)), Path("a.3mf"), None)
    assert [name for name, _ in found] == ["foot", "foot"]
    for _, solid in found:
        # 2 x 4 x 6 cm, shifted by 10 along x, turned by 90 degrees (x to y), shifted by 100 along x.
        assert solid.mesh.volume == pytest.approx(48_000)
        np.testing.assert_allclose(solid.mesh.box, [[980, 90, -30], [1020, 110, 30]])
        assert solid.note == ""


def test_3mf_transforms_against_trimesh() -> None:
    """Turned and shifted three levels deep, against trimesh's own matrices."""
    make = trimesh.transformations
    poses = []
    for k in range(3):
        pose = make.euler_matrix(0.3 + k, 0.5, 0.7 * k)
        pose[:3, 3] = (40 * k, -20, 10)
        poses.append(pose)
    words = [" ".join(repr(float(v)) for v in pose[:3].T.ravel()) for pose in poses]
    wedge = trimesh.creation.cone(4, 50, sections=7)
    body = (
        f'<model xmlns="{CORE}"><resources><object id="1">{mesh_3mf(wedge)}</object>'
        f'<object id="2"><components><component objectid="1" transform="{words[0]}"/></components></object>'
        f'<object id="3" name="arm"><components><component objectid="2" transform="{words[1]}"/></components></object>'
        f'</resources><build><item objectid="3" transform="{words[2]}"/></build></model>'
    )
    ((name, ours),) = parse(model_3mf(("3D/3dmodel.model", body)), Path("a.3mf"), None)
    theirs = wedge.copy()
    for pose in poses:
        theirs.apply_transform(pose)
    assert name == "arm"
    assert ours.mesh.volume == pytest.approx(theirs.volume)
    np.testing.assert_allclose(ours.mesh.box, theirs.bounds, atol=1e-9)


def test_3mf_parts_in_another_model_of_the_package() -> None:
    leg = f'<object id="7" name="leg">{mesh_3mf(box(1, 1, 1))}</object>'
    part = f'<model xmlns="{CORE}"><resources>{leg}</resources></model>'
    main = (
        f'<model unit="millimeter" xmlns="{CORE}" xmlns:p="{PRODUCTION}"><resources/>'
        '<build><item objectid="7" p:path="/3D/Objects/leg.model"/></build></model>'
    )
    ((name, one),) = parse(model_3mf(("3D/3dmodel.model", main), ("3D/Objects/leg.model", part)), Path("a.3mf"), "mm")
    assert name == "leg"
    assert one.mesh.volume == pytest.approx(1)


def one_box_3mf(unit: str) -> bytes:
    body = (
        f'<model unit="{unit}" xmlns="{CORE}"><resources><object id="1">{mesh_3mf(box(1, 1, 1))}</object></resources>'
        '<build><item objectid="1"/></build></model>'
    )
    return model_3mf(("3D/3dmodel.model", body))


def test_a_stated_unit_may_repeat_that_of_a_3mf_but_not_contradict_it() -> None:
    for stated in (None, "in"):
        ((_, one),) = parse(one_box_3mf("inch"), Path("a.3mf"), stated)
        assert one.mesh.volume == pytest.approx(25.4**3)
    with pytest.raises(ImportFailed, match='unit = "mm" contradicts the file, which is in in; leave unit = out'):
        parse(one_box_3mf("inch"), Path("a.3mf"), "mm")
    with pytest.raises(ImportFailed, match='unit "furlong" is none of 3MF'):
        parse(one_box_3mf("furlong"), Path("a.3mf"), None)


def laughs() -> str:
    """Objects of two components each, 30 deep: a thousand million cubes in three thousand letters."""
    objects = [f'<object id="0">{mesh_3mf(box(1, 1, 1))}</object>']
    for k in range(1, 31):
        twice = f'<component objectid="{k - 1}"/>' * 2
        objects.append(f'<object id="{k}"><components>{twice}</components></object>')
    return (
        f'<model xmlns="{CORE}"><resources>{"".join(objects)}</resources><build><item objectid="30"/></build></model>'
    )


@cache
def hostile() -> dict[str, tuple[bytes, str]]:
    nan = text_of(box(10, 10, 10), "stl_ascii").decode().replace("5.0", "nan", 1).replace("5.00", "nan", 1)
    far = raw(box(1, 1, 1).vertices * 1e30, box(1, 1, 1).faces)
    many = joined(*(box(1, 1, 1, (2.0 * k, 0, 0)) for k in range(FILES.solids + 1)))
    return {
        "nan.stl": (nan.encode(), "not a finite number|not three numbers"),
        "far.stl": (text_of(far, "stl"), "a wrong unit"),
        "many.obj": (text_of(many, "obj"), "loose parts; expected at most 2000"),
        "zero.obj": (b"v 0 0 0\nv 1 0 0\nv 0 1 0\nf 0 1 2\n", "line 4"),
        "huge.obj": (b"v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 99999999999999999999\n", "names vertex|line 4"),
        "soup.stl": (bytes(80) + (2000).to_bytes(4, "little") + np.random.default_rng(2).bytes(100_000), "."),
        "laughs.3mf": (model_3mf(("3D/3dmodel.model", laughs())), "more than 2000 objects|nest without end"),
        "utf16.3mf": (
            model_3mf(("3D/3dmodel.model", '<?xml version="1.0" encoding="utf-16"?><!DOCTYPE x><model/>')),
            "not a 3MF file|entities",
        ),
        "flat.3mf": (
            model_3mf(("3D/3dmodel.model", one_box_model('transform="1 0 0 0 1 0 0 0 0 0 0 0"'))),
            "damaged",
        ),
        "lost.3mf": (
            model_3mf(("3D/3dmodel.model", one_box_model("").replace('objectid="1"', 'objectid="5"'))),
            "damaged",
        ),
        "step.3mf": (b"ISO-10303-21;", "not a 3MF file"),
        "zip.stl": (one_box_3mf("inch"), "not an STL file"),
    }


def one_box_model(transform: str) -> str:
    return (
        f'<model xmlns="{CORE}"><resources><object id="1">{mesh_3mf(box(1, 1, 1))}</object></resources>'
        f'<build><item objectid="1" {transform}/></build></model>'
    )


@pytest.mark.parametrize("name", sorted(hostile()))
def test_hostile_files_end_in_one_line(name: str) -> None:
    data, words = hostile()[name]
    with pytest.raises((ImportFailed, BadSolid), match=words) as caught:
        parse(data, Path(name), None if name.endswith(".3mf") else "mm")
    assert name in str(caught.value)
    assert str(caught.value).isprintable()


def test_a_zip_bomb_is_put_down_while_it_is_read(monkeypatch: pytest.MonkeyPatch) -> None:
    bomb = model_3mf(("3D/3dmodel.model", f'<model xmlns="{CORE}">{" " * 30_000_000}</model>'))
    assert len(bomb) < 100_000
    monkeypatch.setattr("fixture3d.solid.mesh3mf.FILES", type(FILES)(unpacked=10_000_000))
    with pytest.raises(ImportFailed, match="its model is larger than 10 MB"):
        parse(bomb, Path("bomb.3mf"), None)


def test_damaged_copies_of_good_files_never_crash() -> None:
    """Bytes changed, cut out and doubled at random: either a solid or one line."""
    rng = np.random.default_rng(7)
    good = {
        "a.stl": text_of(box(10, 20, 30), "stl"),
        "b.stl": text_of(box(10, 20, 30), "stl_ascii"),
        "c.obj": text_of(box(10, 20, 30), "obj"),
        "d.3mf": one_box_3mf("inch"),
    }
    outcomes = set()
    for name, data in good.items():
        for _ in range(60):
            broken = bytearray(data)
            for at in rng.integers(0, len(data), 4):
                kind = rng.integers(3)
                if kind == 0:
                    broken[at : at + 1] = bytes([rng.integers(256)])
                elif kind == 1:
                    del broken[at : at + int(rng.integers(40))]
                else:
                    broken[at:at] = broken[at : at + 20]
            try:
                parse(bytes(broken), Path(name), None if name.endswith("3mf") else "mm")
                outcomes.add("read")
            except (ImportFailed, BadSolid) as fault:
                outcomes.add("refused" if str(fault).isprintable() else str(fault))
    assert outcomes == {"read", "refused"}
