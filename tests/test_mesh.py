"""Meshes and their files: what is accepted is a solid, what is not is refused in one sentence."""

from __future__ import annotations

import io
import math
import zipfile
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import trimesh

from fixture3d import frame
from fixture3d.errors import BadSolid, ImportFailed
from fixture3d.solid import kernel, mesh
from fixture3d.solid.bvh import Tree, point_triangle
from fixture3d.solid.mesh import Mesh, load_mesh_file, weld
from fixture3d.solid.shape import FINE_CHORD, Shape
from fixture3d.tolerance import NUMERIC
from tests import relate_cases as known


def cube(size: float = 10.0) -> Any:
    return trimesh.creation.box((size, size, size))


def test_a_box_is_a_box() -> None:
    found = Mesh.from_trimesh(trimesh.creation.box((2, 3, 4)))
    assert found.planar
    assert found.chord == 0.0
    assert found.open_edges == 0
    assert found.volume == pytest.approx(24.0)
    assert found.area == pytest.approx(52.0)
    assert np.allclose(found.box, [[-1, -1.5, -2], [1, 1.5, 2]])


def test_moved_keeps_volume_and_area() -> None:
    pose = frame.chain(frame.translation((2000, 5, -3)), frame.rotation((1, 2, 3), 33))
    one = Mesh.from_trimesh(trimesh.creation.icosphere(2, 5.0))
    other = one.moved(pose)
    assert other.volume == pytest.approx(one.volume, rel=1e-9)
    assert other.area == pytest.approx(one.area, rel=1e-9)
    assert other.manifold.volume() == pytest.approx(one.volume, rel=1e-9)


def test_bytes_are_the_same_and_come_back() -> None:
    solid = kernel.tessellate(kernel.one_solid(known.rod(8, 30)))
    for one in (Mesh.from_trimesh(cube()), solid):
        data = one.to_npz_bytes()
        other = Mesh.from_npz_bytes(data)
        assert other.to_npz_bytes() == data
        assert np.array_equal(one.vertices, other.vertices)
        assert np.array_equal(one.faces, other.faces)
        assert (one.planar, one.chord) == (other.planar, other.chord)
        assert np.array_equal(one.curved_triangles, other.curved_triangles)


@pytest.mark.parametrize("data", [b"", b"PK\x03\x04 no", b"\x80\x04pickle"])
def test_stored_rubbish_is_refused(data: bytes) -> None:
    with pytest.raises(BadSolid, match="cannot be read"):
        Mesh.from_npz_bytes(data)


def test_a_pickle_in_a_stored_mesh_is_not_opened() -> None:
    out = io.BytesIO()
    np.savez(out, vertices=np.array([object()], dtype=object), faces=np.zeros((0, 3)), facts=np.zeros(2))
    with pytest.raises(BadSolid):
        Mesh.from_npz_bytes(out.getvalue())


def broken() -> dict[str, tuple[Any, str]]:
    one_out = cube()
    one_out.faces = one_out.faces[:-1]
    flipped = cube()
    flipped.invert()
    mixed = cube()
    mixed.faces[0] = mixed.faces[0][::-1]
    not_finite = cube()
    not_finite.vertices[0, 0] = math.nan
    crossing = trimesh.util.concatenate([cube(), cube().apply_translation((5, 3, 4))])
    flat = trimesh.Trimesh([[0, 0, 0], [1, 0, 0], [0, 1, 0]], [[0, 1, 2], [0, 2, 1]], process=False)
    doubled = trimesh.util.concatenate([cube(), cube()])
    return {
        "open": (one_out, r"open \(3 open edges\)"),
        "flipped": (flipped, "inside out"),
        "mixed": (mixed, "do not all face outwards"),
        "not finite": (not_finite, "not a finite number"),
        "crossing": (crossing, "crosses itself"),
        "flat": (flat, "no volume"),
        "doubled": (doubled, "repeats 12 triangles"),
        "empty": (trimesh.Trimesh(), "empty"),
    }


@pytest.mark.parametrize("name", sorted(broken()))
def test_broken_meshes_are_refused(name: str) -> None:
    bad, words = broken()[name]
    with pytest.raises(BadSolid, match=words) as caught:
        Mesh.from_trimesh(bad)
    assert "\n" not in str(caught.value)


def test_self_crossing_of_one_shell_is_seen() -> None:
    """A bottle whose neck is pushed sideways through its own wall."""
    tall = trimesh.creation.box((4, 4, 4)).subdivide().subdivide().subdivide()
    v = tall.vertices.copy()
    top = v[:, 2] > 1.9
    assert top.any()
    v[top & (np.abs(v[:, 0]) < 1) & (np.abs(v[:, 1]) < 1), 2] -= 6.0
    with pytest.raises(BadSolid, match="crosses itself"):
        Mesh.from_arrays(v, tall.faces)


def test_touching_lumps_and_hollows_are_no_crossing() -> None:
    two = trimesh.util.concatenate([cube(), cube().apply_translation((30, 0, 0))])
    assert Mesh.from_trimesh(two).volume == pytest.approx(2000)
    hollow = cube(5.0)
    hollow.invert()
    assert Mesh.from_trimesh(trimesh.util.concatenate([cube(), hollow])).volume == pytest.approx(875)


def test_too_many_triangles(monkeypatch: pytest.MonkeyPatch) -> None:
    faces = np.zeros((mesh.MOST_TRIANGLES + 1, 3), dtype=np.int64)
    with pytest.raises(BadSolid, match="export it coarser"):
        Mesh.from_arrays(np.zeros((3, 3)), faces)


@pytest.mark.parametrize("jitter", [1e-7, 1e-5, 1e-3])
def test_jittered_triangles_are_drawn_together(jitter: float) -> None:
    ball = trimesh.creation.icosphere(3, 20.0)
    soup = ball.triangles.reshape(-1, 3) + np.random.default_rng(1).uniform(-jitter, jitter, (len(ball.faces) * 3, 3))
    found = Mesh.from_arrays(soup, np.arange(len(soup)).reshape(-1, 3))
    assert found.open_edges == 0
    assert len(found.vertices) == len(ball.vertices)
    assert found.volume == pytest.approx(ball.volume, rel=1e-3)


def test_weld_of_neighbours_across_any_grid_line() -> None:
    points = np.array([[0.4999999, 0, 0], [0.5000001, 0, 0], [1, 0, 0], [0, 1, 0]])
    merged, faces = weld(points, np.array([[0, 2, 3], [1, 3, 2], [0, 1, 2]]), 1e-6)
    assert len(merged) == 3
    assert len(faces) == 2


def test_a_failed_manifold_is_never_volume_zero() -> None:
    bad = Mesh(cube().vertices, np.asarray(cube().faces[:-1], dtype=np.int32), True, 0.0)
    with pytest.raises(BadSolid, match="not a closed solid"):
        _ = bad.manifold


def test_distances_equal_trimesh() -> None:
    """Against trimesh's own closest point."""
    ball = trimesh.creation.icosphere(2, 7.0)
    points = np.random.default_rng(3).uniform(-12, 12, (200, 3))
    _, expected, _ = trimesh.proximity.closest_point(ball, points)
    assert np.allclose(Tree(np.asarray(ball.triangles)).distances(points), expected, atol=1e-9)


def test_point_triangle_on_flat_triangles() -> None:
    line = np.array([[[0.0, 0, 0], [1, 0, 0], [2, 0, 0]]])
    assert point_triangle(np.array([[1.0, 3, 4]]), line)[0] == pytest.approx(5.0)


# Meshing of solids.


@pytest.mark.parametrize("chord", [NUMERIC.chord, FINE_CHORD])
def test_meshes_of_solids_keep_to_their_chord(chord: float) -> None:
    """Closed, and every vertex and triangle middle within the chord of the true surface, by the kernel."""
    import cadquery as cq

    solids = [
        known.rod(20, 60),
        known.tube(30, 26, 80),
        cq.Workplane().sphere(8),
        cq.Workplane(cq.Solid.makeTorus(20, 3)),
        cq.Workplane(cq.Solid.makeCone(0, 10, 20)),
        cq.Workplane().box(50, 40, 20).edges().fillet(3).faces(">Z").workplane().hole(16),
        cq.Workplane().rect(20, 10).workplane(offset=30).circle(8).loft(),
    ]
    for solid in solids:
        shape = kernel.one_solid(solid)
        found = kernel.tessellate(shape, chord)
        assert found.open_edges == 0
        assert not found.planar
        assert found.curved is not None
        assert 0 < found.curved.sum() <= len(found.faces)
        assert abs(found.volume - kernel.volume(shape)) <= chord * kernel.surface(shape)
        middles = found.curved_triangles.mean(axis=1)
        for middle in middles[:: max(1, len(middles) // 25)]:
            assert _off_surface(shape, middle) <= chord * 1.05


def _off_surface(shape: Any, point: Any) -> float:
    import cadquery as cq

    shells = cq.Shape.cast(shape).Shells()
    vertex = cq.Vertex.makeVertex(*(float(x) for x in point))
    return min(float(shell.distance(vertex)) for shell in shells)


def test_a_solid_of_flat_faces_is_its_mesh() -> None:
    wedge = known.box(10, 20, 30).faces(">Z").chamfer(2)
    found = Shape.of(wedge)
    assert found.planar
    assert found.fine is found.mesh
    assert found.mesh.volume == pytest.approx(wedge.val().Volume(), rel=1e-12)


def test_the_kernel_reads_back_what_it_wrote() -> None:
    shape = kernel.one_solid(known.tube(30, 26, 80))
    data = kernel.brep_bytes(shape)
    again = kernel.brep_from_bytes(data)
    assert kernel.volume(again) == kernel.volume(shape)
    assert kernel.surface(again) == kernel.surface(shape)
    assert kernel.is_valid(again)
    with pytest.raises(BadSolid):
        kernel.brep_from_bytes(b"not a solid")


def test_distance_and_common_of_the_kernel() -> None:
    a = kernel.one_solid(known.box(10, 10, 10))
    b = kernel.moved(a, frame.chain(frame.translation((13, 0, 0)), frame.rotation((0, 0, 1), 90)))
    assert kernel.distance(a, b) == pytest.approx(3.0)
    c = kernel.common(a, kernel.moved(a, frame.translation((9, 0, 0))))
    assert c is not None
    assert kernel.volume(c) == pytest.approx(100.0)
    assert len(kernel.split_solids(kernel.wrapped(known.box(1, 1, 1).union(known.box(1, 1, 1, (5, 0, 0)))))) == 2


# Files.


def test_stl_both_ways_obj_and_3mf(tmp_path: Path) -> None:
    two = trimesh.util.concatenate([cube(), cube(4.0).apply_translation((30, 0, 0))])
    for name, kind in (("a.stl", "stl"), ("b.stl", "stl_ascii"), ("c.obj", "obj")):
        path = tmp_path / name
        data = trimesh.exchange.export.export_mesh(two, None, file_type=kind)
        path.write_bytes(data if isinstance(data, bytes) else data.encode())
        found = load_mesh_file(path)
        assert [round(m.volume, 3) for _, m in found] == [1000.0, 64.0]
        assert len({label for label, _ in found}) == 2
    inches = load_mesh_file(tmp_path / "a.stl", "in")
    assert inches[0][1].volume == pytest.approx(1000 * 25.4**3, rel=1e-6)


MODEL = """<?xml version="1.0"?><model unit="inch" xmlns="http://schemas.microsoft.com/3dmanufacturing/core/2015/02">
<resources><object id="1" name="foot" type="model"><mesh><vertices>{v}</vertices><triangles>{t}</triangles></mesh>
</object></resources><build><item objectid="1"/><item objectid="1" transform="1 0 0 0 1 0 0 0 1 20 0 0"/></build>
</model>"""


def model_3mf(body: str) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr("3D/3dmodel.model", body)
    return out.getvalue()


def test_3mf_units_names_and_places(tmp_path: Path) -> None:
    box = cube(1.0)
    v = "".join(f'<vertex x="{x}" y="{y}" z="{z}"/>' for x, y, z in box.vertices)
    t = "".join(f'<triangle v1="{a}" v2="{b}" v3="{c}"/>' for a, b, c in box.faces)
    path = tmp_path / "p.3mf"
    path.write_bytes(model_3mf(MODEL.format(v=v, t=t)))
    found = load_mesh_file(path)
    assert [name for name, _ in found] == ["foot 1", "foot 2"]
    assert found[0][1].volume == pytest.approx(25.4**3)
    assert found[1][1].box.mean(axis=0)[0] == pytest.approx(20 * 25.4)


def test_a_hollow_stays_in_its_solid(tmp_path: Path) -> None:
    hollow = cube(5.0)
    hollow.invert()
    path = tmp_path / "h.stl"
    trimesh.util.concatenate([cube(), hollow]).export(path)
    ((name, found),) = load_mesh_file(path)
    assert name == "h"
    assert found.volume == pytest.approx(875)


def bad_files() -> dict[str, tuple[bytes | None, str]]:
    good = bytes(trimesh.exchange.stl.export_stl(cube()))
    text = trimesh.exchange.stl.export_stl_ascii(cube()).encode()
    noise = np.random.default_rng(0).integers(0, 256, 5000, dtype=np.uint8).tobytes()
    return {
        "missing.stl": (None, "no such file"),
        "empty.stl": (b"", "empty"),
        "cut.stl": (good[:-70], "cut short"),
        "tiny.stl": (good[:40], "cut short"),
        "text_cut.stl": (text[: len(text) // 2], "cut short"),
        "noise.stl": (noise, "not an STL file"),
        "none.stl": (b"\0" * 84, "empty"),
        "many.stl": (b"\0" * 80 + (3_000_000).to_bytes(4, "little") + bytes(50 * 3_000_000), "export it coarser"),
        "noise.obj": (noise, "no triangles|cannot be read"),
        "bad.obj": (b"v 0 0 0\nv 1 0 0\nf 1 2 x\n", "line 3"),
        "beyond.obj": (b"v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 9\n", "names vertex"),
        "noise.3mf": (noise, "not a 3MF file"),
        "none.3mf": (model_3mf("<model/>"), "no triangles"),
        "cut.3mf": (model_3mf("<model><build>"), "not a 3MF file"),
        "bomb.3mf": (model_3mf('<!DOCTYPE x [<!ENTITY a "b">]><model/>'), "entities"),
        "loop.3mf": (
            model_3mf(
                '<model><resources><object id="1"><components><component objectid="1"/></components></object>'
                '</resources><build><item objectid="1"/></build></model>'
            ),
            "nest without end",
        ),
        "wrong.step": (b"ISO-10303-21;", "end in .stl"),
    }


@pytest.mark.parametrize("name", sorted(bad_files()))
def test_bad_files_are_refused_in_one_line(tmp_path: Path, name: str) -> None:
    data, words = bad_files()[name]
    path = tmp_path / name
    if data is not None:
        path.write_bytes(data)
    with pytest.raises((ImportFailed, BadSolid), match=words) as caught:
        load_mesh_file(path)
    assert "\n" not in str(caught.value)
    assert name in str(caught.value)


def test_open_file_and_unknown_unit(tmp_path: Path) -> None:
    one_out = cube()
    one_out.faces = one_out.faces[:-1]
    path = tmp_path / "o.stl"
    one_out.export(path)
    with pytest.raises(BadSolid, match=r"an open edge 34\.1 mm long at \(5\.0, 1\.7, 1\.7\)"):
        load_mesh_file(path)
    with pytest.raises(ImportFailed, match="unit"):
        load_mesh_file(path, "furlong")
