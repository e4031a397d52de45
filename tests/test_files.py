"""Files of blocks read back by others: trimesh, lib3mf, ezdxf and admesh; and the same bytes each time."""

from __future__ import annotations

import functools
import io
import itertools
import math
import os
import pickle
import re
import shutil
import signal
import subprocess
import sys
import time
import zipfile
from pathlib import Path
from typing import Any

import ezdxf
import numpy as np
import pytest
import shapely
import trimesh

from fixture3d import frame
from fixture3d.cache import Store
from fixture3d.cli import main
from fixture3d.corners.cases import PATTERNS, values
from fixture3d.errors import FixtureError
from fixture3d.export.block import block_files, read_formats, write_block
from fixture3d.export.flat import flat_of
from fixture3d.export.kerf import with_kerf
from fixture3d.export.laying import beside, lying, support
from fixture3d.export.nest import FlatPart, nested, sheet_dxf
from fixture3d.export.orders import read_orders
from fixture3d.export.threemf import Printed, threemf_bytes
from fixture3d.job.bodies import part_key
from fixture3d.job.weldment import PlateShape
from fixture3d.library import library
from fixture3d.part import Pattern
from fixture3d.solid.kernel import one_solid, volume
from fixture3d.solid.mesh import Mesh
from fixture3d.solid.mesh3mf import read_3mf
from fixture3d.solid.shape import Shape
from fixture3d.stock.section import Edge, Loop
from fixture3d.tolerance import MAKING, NUMERIC
from fixture3d.workshop import making
from fixture3d.workshop.making import Block, Form, Recipe, sheet_kinds
from fixture3d.workshop.orders import write_orders

METRIC = Pattern(pitch=50.0, bore=16.0)


STORE = Store(None)  # each solid is made once a run


def made(
    model: str, given: dict[str, object] | None = None, formats: str = "3mf,glb,stl,dxf", kerf: float = 0.0
) -> Any:
    shop = library()
    part = shop.make(model, METRIC, given or {})
    return block_files(part, model, entry=shop.entry(model), formats=read_formats(formats), kerf=kerf, store=STORE)


@functools.cache
def volumes(model: str) -> dict[str, float]:
    """Of the solids, by the kernel."""
    entry, part = library().entry(model), library().make(model, METRIC)
    shapes = {
        b.name or model: Shape(part_key(part, entry.digest, b.name), b.build, STORE)
        for b in part.bodies()
        if b.role == "block"
    }
    return {name: volume(shape.brep) for name, shape in shapes.items()}


def lib3mf_objects(data: bytes) -> tuple[Any, dict[str, tuple[np.ndarray, np.ndarray, np.ndarray]]]:
    """The model that lib3mf reads, strict, and corners, triangles and transform of each build item by its name."""
    lib3mf = pytest.importorskip("lib3mf")
    model = lib3mf.Wrapper().CreateModel()
    reader = model.QueryReader("3mf")
    reader.SetStrictModeActive(True)
    reader.ReadFromBuffer(list(data))
    assert reader.GetWarningCount() == 0
    found = {}
    items = model.GetBuildItems()
    while items.MoveNext():
        item = items.GetCurrent()
        mesh = model.GetMeshObjectByID(item.GetObjectResource().GetResourceID())
        assert mesh.IsManifoldAndOriented()
        assert mesh.IsValid()
        points = np.array([list(v.Coordinates) for v in mesh.GetVertices()])
        faces = np.array([list(t.Indices) for t in mesh.GetTriangleIndices()])
        turn = np.array([list(row) for row in item.GetObjectTransform().Fields])
        found[mesh.GetName()] = (points, faces, turn)
    return model, found


@pytest.mark.parametrize("model", ["screw_jack", "slide_stop", "vee_block", "radius_gauge", "plug_gauge"])
def test_3mf_keeps_unit_names_volume_and_bed(model: str) -> None:
    """lib3mf is the reference implementation of the 3MF Consortium."""
    data = made(model, formats="3mf").files[f"{model}.3mf"]
    package, found = lib3mf_objects(data)
    assert package.GetUnit() == __import__("lib3mf").ModelUnit.MilliMeter
    true = volumes(model)
    assert set(found) == set(true)
    corners = []
    for name, (points, faces, turn) in found.items():
        mesh = trimesh.Trimesh(points, faces, process=False)
        assert mesh.is_watertight
        assert mesh.volume == pytest.approx(true[name], abs=NUMERIC.chord * mesh.area)
        lain = points @ turn[:3] + turn[3]
        corners.append(lain.min(axis=0))
        assert lain[:, 2].min() == pytest.approx(0.0, abs=1e-4)  # lib3mf holds single precision
    assert np.min(corners, axis=0) == pytest.approx([0.0, 0.0, 0.0], abs=1e-4)
    both = trimesh.load(io.BytesIO(data), file_type="3mf")
    assert both.units == "millimeter"
    assert sum(g.volume for g in both.geometry.values()) == pytest.approx(sum(true.values()), rel=5e-3)
    own = read_3mf(data, "x", None, {"mm": 1.0})
    assert {name for name, _, _ in own} == set(true)


def test_3mf_repeats_without_a_date_and_with_any_name() -> None:
    mesh = Mesh.from_trimesh(trimesh.creation.box([10, 20, 30]))
    names = ["<b>&\"'", "槽鋼 ½", "a\x07b", ""]
    parts = [Printed(n, mesh, frame.translation((20.0 * k, 0, 0))) for k, n in enumerate(names)]
    data = threemf_bytes("t&t", parts)
    assert data == threemf_bytes("t&t", parts)
    with zipfile.ZipFile(io.BytesIO(data)) as package:
        assert {entry.date_time for entry in package.infolist()} == {(1980, 1, 1, 0, 0, 0)}
        text = package.read("3D/3dmodel.model").decode()
    assert not re.search(r"20[2-9]\d-|CreationDate", text)
    _, found = lib3mf_objects(data)
    assert set(found) == {"<b>&\"'", "槽鋼 ½", "ab", "part"}


def test_3mf_leaves_no_hole_where_corners_fall_together() -> None:
    mesh = trimesh.creation.box([100.0, 100.0, 100.0])
    vertices, faces = np.array(mesh.vertices), np.array(mesh.faces)
    a, b, c = faces[0]
    other = next(k for k, f in enumerate(faces) if k and {a, b} <= set(f))
    d = next(v for v in faces[other] if v not in (a, b))
    n, extra = len(vertices), vertices[a] + (vertices[b] - vertices[a]) * 1e-9
    kept = [f for k, f in enumerate(faces) if k not in (0, other)]
    split = np.array([*kept, [a, n, c], [n, b, c], [b, n, d], [n, a, d]], dtype=np.int32)
    data = threemf_bytes("t", [Printed("t", Mesh(np.vstack([vertices, extra]), split, True, 0.0), frame.identity())])
    points, triangles, _ = lib3mf_objects(data)[1]["t"]
    assert len(triangles) == 12
    assert trimesh.Trimesh(points, triangles, process=False).is_watertight


def test_a_part_lies_on_the_side_that_needs_least_support() -> None:
    """A mushroom: a plate 60 x 60 x 5 on a stem 40 x 40 x 30 stands on its head; its rim would hang 30 mm up."""
    stem = trimesh.creation.box([40, 40, 30], transform=frame.translation((0, 0, 15)))
    head = trimesh.creation.box([60, 60, 5], transform=frame.translation((0, 0, 32.5)))
    mesh = Mesh.from_trimesh(trimesh.boolean.union([stem, head], engine="manifold"))
    assert support(mesh, frame.identity()) == pytest.approx((60 * 60 - 40 * 40) * 30.0)
    pose = lying(mesh)
    assert support(mesh, pose) == 0.0
    np.testing.assert_allclose(pose[:3, :3], frame.rotation((1, 0, 0), 180.0)[:3, :3], atol=1e-12)
    np.testing.assert_allclose(frame.points(pose, mesh.vertices).min(axis=0), 0.0, atol=1e-12)
    spread = beside([mesh] * 5, [pose] * 5)
    boxes = [frame.points(p, mesh.vertices) for p in spread]
    flat = [shapely.box(*b[:, :2].min(axis=0), *b[:, :2].max(axis=0)) for b in boxes]
    apart = [p.distance(q) for k, p in enumerate(flat) for q in flat[:k]]
    assert min(apart) == pytest.approx(MAKING.apart)


def test_a_broken_edge_is_no_bed() -> None:
    """A block on its chamfer of 45 degrees would need no support, and would fall over."""
    part = library().make("step_block", METRIC)
    from fixture3d.solid.kernel import tessellate

    down = -lying(tessellate(one_solid(part.solid())))[2, :3]
    assert sorted(np.abs(down)) == pytest.approx([0.0, 0.0, 1.0])


@pytest.mark.parametrize("model", ["screw_jack", "toggle_clamp", "pitch_gauge"])
def test_glb_is_in_metres_with_names(model: str) -> None:
    """Khronos glTF 2.0: metres, Y up; trimesh is the reader."""
    data = made(model, formats="glb").files[f"{model}.glb"]
    scene: Any = trimesh.load(io.BytesIO(data), file_type="glb")
    true = volumes(model)
    assert {scene.graph[n][1] for n in scene.graph.nodes_geometry} == set(scene.geometry)
    assert set(scene.graph.nodes_geometry) == set(true)
    for name, size in true.items():
        mesh = scene.geometry[scene.graph[name][1]].copy()
        mesh.merge_vertices()
        assert mesh.is_watertight
        mesh.apply_transform(scene.graph[name][0])
        assert mesh.volume * 1e9 == pytest.approx(size, abs=NUMERIC.chord * mesh.area * 1e6)
    low, high = (np.array(c) for c in library().make(model, METRIC).box())
    tall = np.ptp(np.array(scene.bounds), axis=0) * 1000.0
    assert tall == pytest.approx((high - low)[[0, 2, 1]], abs=0.05)
    assert data == made(model, formats="glb").files[f"{model}.glb"]


@pytest.mark.skipif(shutil.which("admesh") is None, reason="admesh is not installed")
@pytest.mark.parametrize("model", ["screw_jack", "vee_block", "tube_saddle", "print_trial"])
def test_admesh_finds_nothing_to_mend(tmp_path: Path, model: str) -> None:
    """ADMesh 0.98 checks edges, normals and volume of an STL file, and mends what is not right."""
    true = volumes(model)
    for name, data in made(model, formats="stl").files.items():
        (tmp_path / "a.stl").write_bytes(data)
        told = subprocess.run(["admesh", str(tmp_path / "a.stl")], capture_output=True, text=True, check=True).stdout
        body = name.removeprefix(model).removesuffix(" (mm).stl").strip() or model
        found = {k.strip(): float(v) for k, v in re.findall(r"([A-Za-z ]+?)\s*:\s*(-?[\d.]+)", told)}
        assert found["Volume"] == pytest.approx(true[body], rel=2e-3)
        for fault in ("Degenerate facets", "Edges fixed", "Facets removed", "Facets added", "Facets reversed",
                      "Normals fixed", "Backwards edges"):  # fmt: skip
            assert found[fault] == 0.0, fault
        assert not re.search(r"Total disconnected facets\s*:\s*[1-9]", told)


# Outlines


def square(size: float, x: float = 0.0, y: float = 0.0) -> Loop:
    points = [(x, y), (x + size, y), (x + size, y + size), (x, y + size), (x, y)]
    return tuple(Edge(a, b) for a, b in itertools.pairwise(points))


def polygon(loop: Loop, step: int = 200) -> shapely.Polygon:
    """The loop in short chords."""
    points = np.concatenate([e.at(np.linspace(0.0, 1.0, step if e.centre else 2))[0][:-1] for e in loop])
    return shapely.Polygon(points)


def read_dxf(data: bytes) -> tuple[Any, list[tuple[str, float, float]]]:
    """The drawing, audited, and layer, area and length of each closed line, by ezdxf's own sums."""
    document = ezdxf.read(io.StringIO(data.decode(), newline=None))  # type: ignore[attr-defined,unused-ignore]
    audit = document.audit()
    assert not audit.errors
    assert not audit.fixes
    found = []
    for entity in document.modelspace():
        if entity.dxftype() == "CIRCLE":
            found.append((entity.dxf.layer, math.pi * entity.dxf.radius**2, 2 * math.pi * entity.dxf.radius))
        elif entity.dxftype() == "LWPOLYLINE":
            assert entity.closed
            from ezdxf.path import make_path

            points = np.array([(p.x, p.y) for p in make_path(entity).flattening(1e-4, 64)])
            one = shapely.Polygon(points)
            assert one.is_valid
            found.append((entity.dxf.layer, one.area, one.length))
    return document, found


def test_the_outline_of_a_flat_block_is_its_solid() -> None:
    plain = read_dxf(made("shim", formats="dxf").files["shim.dxf"])
    document, lines = plain
    assert document.units == ezdxf.units.MM
    outer, *holes = sorted((area for layer, area, _ in lines if layer == "cut"), reverse=True)
    assert [outer - sum(holes)] == pytest.approx([volumes("shim")["shim"] / 1.0])  # 1 mm thick
    assert len(holes) == 2
    assert "no kerf" in " ".join(e.dxf.text for e in document.modelspace().query("TEXT"))
    # with a slot: one line, its round end a true arc
    slotted = library().make("shim", METRIC, {"slot": 1, "thickness": 3})
    plate = flat_of(one_solid(slotted.solid()))
    assert isinstance(plate, PlateShape)
    assert plate.thickness == pytest.approx(3.0)
    assert [e.radius for e in plate.outline if e.centre] == pytest.approx(
        [8.0] * sum(1 for e in plate.outline if e.centre)
    )
    assert plate.area * 3.0 == pytest.approx(volume(one_solid(slotted.solid())))
    assert made("shim", formats="dxf").files == made("shim", formats="dxf").files


@pytest.mark.parametrize(
    ("what", "why"),
    [("stop_block", "not as thick"), ("cone", "not as thick"), ("spline", "neither lines nor arcs")],
)
def test_what_is_not_flat_is_told(what: str, why: str) -> None:
    import cadquery as cq

    solid = {
        "cone": lambda: cq.Solid.makeCone(10, 5, 3),
        "spline": lambda: cq.Workplane().spline([(0, 0), (10, 5), (20, 0)]).close().extrude(3).val(),
        "stop_block": lambda: library().make("stop_block", METRIC).solid(),
    }[what]()
    found = flat_of(one_solid(solid))
    assert isinstance(found, str)
    if what != "spline":
        assert why in found


def test_any_lie_and_any_turn_gives_the_same_outline() -> None:
    import cadquery as cq

    flat = cq.Workplane().rect(80, 40).extrude(6).edges("|Z").fillet(7).faces(">Z").workplane().pushPoints(
        [(20, 5)]).hole(9).faces("<Z").workplane().center(-15, 0).slot2D(20, 8).cutThruAll()  # fmt: skip
    first = flat_of(one_solid(flat))
    assert isinstance(first, PlateShape)
    assert first.size == pytest.approx((80.0, 40.0))
    assert [d for _, _, d in first.holes] == pytest.approx([9.0])
    assert len(first.openings) == 1
    assert first.area == pytest.approx(80 * 40 - (4 - math.pi) * 49 - math.pi * 4.5**2 - 12 * 8 - math.pi * 16)
    for axis, angle in (((1, 0, 0), 90), ((0, 1, 0), 90), ((1, 1, 0), 33), ((1, 2, 3), 180)):
        turned = flat_of(one_solid(flat.rotate((0, 0, 0), axis, angle).translate((3, -5, 7))))
        assert isinstance(turned, PlateShape)
        assert (turned.area, turned.thickness) == pytest.approx((first.area, 6.0))
        assert polygon(turned.outline).length == pytest.approx(polygon(first.outline).length, rel=1e-6)


L_SHAPE = [(0, 0), (60, 0), (60, 20), (20, 20), (20, 50), (0, 50)]


@pytest.mark.parametrize("kerf", [0.3, 1.5, 4.0])
def test_a_kerf_is_added_outside_and_taken_off_inside(kerf: float) -> None:
    """Against shapely (GEOS), which draws the same line with chords."""
    loop = tuple(
        Edge((float(a), float(b)), (float(c), float(d)))
        for (a, b), (c, d) in zip(L_SHAPE, [*L_SHAPE[1:], L_SHAPE[0]], strict=True)
    )
    opening = tuple(Edge(e.end, e.start) for e in reversed(square(6.0, 4.0, 30.0)))
    plate = PlateShape(outline=loop, thickness=5.0, holes=((40.0, 10.0, 8.0),), openings=(opening,))
    cut = with_kerf("L", plate, kerf)
    outside = shapely.Polygon(L_SHAPE).buffer(kerf / 2, quad_segs=400)
    inside = shapely.Polygon([(4, 30), (10, 30), (10, 36), (4, 36)]).buffer(-kerf / 2, join_style="mitre")
    assert polygon(cut.outline).symmetric_difference(outside).area < 1e-3
    assert polygon(cut.openings[0]).symmetric_difference(inside).area < 1e-9
    assert cut.holes[0] == pytest.approx((40.0, 10.0, 8.0 - kerf))
    assert sum(1 for e in cut.outline if e.centre) == 5  # an arc round each outer corner, none in the inner one
    assert with_kerf("L", plate, 0.0) is plate


def test_a_kerf_that_does_not_fit_is_told() -> None:
    plate = PlateShape(outline=square(50.0), thickness=5.0, holes=((25.0, 25.0, 1.2),))
    with pytest.raises(FixtureError, match=r"hole 1 of 1.2 mm is no wider than the kerf"):
        with_kerf("P", plate, 1.5)
    with pytest.raises(FixtureError, match="expected 0 to 10"):
        with_kerf("P", plate, -1.0)
    slot = tuple(Edge(e.end, e.start) for e in reversed(square(1.0, 5.0, 5.0)))
    with pytest.raises(FixtureError, match="opening 1 is too narrow"):
        with_kerf("P", PlateShape(outline=square(50.0), thickness=5.0, openings=(slot,)), 1.5)


def test_parts_on_sheets_keep_their_gap_and_their_shape() -> None:
    """Held against shapely: inside the sheet, apart from each other, the same area; too large ones told."""
    dice = np.random.default_rng(3)
    parts = []
    for k in range(30):
        a, b = dice.uniform(20, 180, 2)
        loop = tuple(Edge(p, q) for p, q in zip([(0.0, 0.0), (a, 0.0), (0.0, b)], [(a, 0.0), (0.0, b), (0.0, 0.0)],
                                                strict=True))  # fmt: skip
        hole = ((a / 4, b / 4, 6.0),)
        parts.append(FlatPart(name=f"g{k}", plate=PlateShape(outline=loop, thickness=6.0 if k % 3 else 3.0, holes=hole),
                              count=1 + k % 2))  # fmt: skip
    parts.append(FlatPart(name="long", plate=PlateShape(outline=square(600.0), thickness=6.0), count=2))
    found = nested(parts, (500.0, 300.0))
    assert found == nested(parts, (500.0, 300.0))
    assert [one.thickness for one in found] == [3.0, 6.0]
    assert [len(one.left_out) for one in found] == [0, 1]
    assert "long (2 of them)" in found[1].left_out[0]
    assert "too large by" in found[1].left_out[0]
    names = [laid.name for one in found for sheet in one.sheets for laid in sheet]
    assert sorted(names) == sorted(n for p in parts[:-1] for n in [p.name] * p.count)
    for one in found:
        gap = max(MAKING.gap, one.thickness)
        for sheet in one.sheets:
            shapes = {k: polygon(laid.loops[0]) for k, laid in enumerate(sheet)}
            room = shapely.box(0, 0, 500, 300).buffer(-gap + 2e-3, join_style="mitre")
            assert all(room.contains(s) for s in shapes.values())
            assert all(shapes[a].distance(shapes[b]) >= gap - 2e-3 for a in shapes for b in range(a))
            for k, laid in enumerate(sheet):
                plate = next(p.plate for p in parts if p.name == laid.name)
                assert shapes[k].area == pytest.approx(polygon(plate.outline).area)
                assert shapes[k].contains(shapely.Point(laid.loops[1][0].centre))
            _, lines = read_dxf(sheet_dxf(sheet, (500.0, 300.0), "t"))
            assert sum(layer == "cut" for layer, _, _ in lines) == 2 * len(sheet)
            assert [area for layer, area, _ in lines if layer == "sheet"] == pytest.approx([150_000.0])
    with pytest.raises(FixtureError, match="such as 1000x500"):
        nested(parts, (5.0, 300.0))


def test_one_part_on_a_sheet_just_large_enough(tmp_path: Path) -> None:
    part = FlatPart(name="p", plate=PlateShape(outline=square(100.0), thickness=2.0), count=2)
    (fits,) = nested([part], (110.0, 215.0))
    assert (len(fits.sheets), fits.left_out) == (1, ())
    (two,) = nested([part], (110.0, 214.9))
    assert (len(two.sheets), two.left_out) == (2, ())
    (none,) = nested([part], (109.9, 400.0))
    assert (none.sheets, len(none.left_out)) == ((), 1)


# The commands


def test_formats_are_read_in_any_order_and_misspelt_ones_told() -> None:
    assert read_formats("3MF, .step") == ("step", "3mf")
    assert read_formats(None) == ("step", "stl")
    with pytest.raises(FixtureError, match=r'"dx" is not a format.*nearest: "dxf"'):
        read_formats("step,dx")


def test_make_writes_what_is_asked_for(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["make", "shim", "--format", "dxf,3mf", "--kerf", "1/16 in", "-o", str(tmp_path)]) == 0
    assert sorted(p.suffix for p in tmp_path.iterdir()) == [".3mf", ".dxf"]
    text = next(tmp_path.glob("*.dxf")).read_text(encoding="utf-8")
    assert "kerf 1.5875 mm added" in text
    assert main(["make", "stop_block", "--format", "dxf", "-o", str(tmp_path)]) == 2
    assert "it is not as thick everywhere" in capsys.readouterr().err
    assert len(list(tmp_path.iterdir())) == 2


def test_one_of_the_files_in_the_way_and_none_is_written(tmp_path: Path) -> None:
    shop = library()
    part = shop.make("shim", METRIC)
    (tmp_path / "s.dxf").write_bytes(b"mine")
    with pytest.raises(FixtureError, match="add --force"):
        write_block(part, tmp_path, stem="s", formats=("step", "dxf"), store=Store(None))
    assert [p.name for p in tmp_path.iterdir()] == ["s.dxf"]


SCENE = """\
format = 1
table = "50/16 1000x600"
[weldment]
hole = "E4"
lift = 1
[[plate]]
name = "tab"
outline = [[0, 0], [80, 0], [0, 80]]
thickness = 6
at = [0, 0, 0]
[[plate]]
name = "tab two"
outline = [[0, 0], [80, 0], [0, 80]]
thickness = 6
at = [200, 0, 0]
[[place]]
name = "R1"
model = "shim"
hole = "C4"
[[place]]
name = "R2"
model = "shim"
hole = "C8"
"""


def test_all_parts_of_a_scene(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    scene, folder = tmp_path / "s.toml", tmp_path / "parts"
    scene.write_text(SCENE, encoding="utf-8")
    command = [
        "export",
        str(scene),
        "--parts",
        str(folder),
        "--format",
        "step,dxf",
        "--sheet",
        "200x120",
        "--kerf",
        "2",
    ]
    assert main(command) == 2
    assert "no such folder" in capsys.readouterr().err
    folder.mkdir()
    assert main(command) == 0
    names = sorted(p.name for p in folder.iterdir())
    assert names == [
        "P1 plate 6 mm.dxf", "parts.csv", "sheet 1 of plate 1 mm.dxf", "sheet 1 of plate 6 mm.dxf",
        "shim for 16 mm on 50 mm.dxf", "shim for 16 mm on 50 mm.step",
    ]  # fmt: skip
    listed = (folder / "parts.csv").read_text(encoding="utf-8-sig")
    assert '\nshim for 16 mm on 50 mm,2,"R1, R2",shim,standard,' in listed.replace("\r", "")
    assert '\nP1 plate 6 mm,2,"tab, tab two",,6 mm thick,cut from plate,' in listed.replace("\r", "")
    document, lines = read_dxf((folder / "sheet 1 of plate 6 mm.dxf").read_bytes())
    triangle = shapely.Polygon([(0, 0), (80, 0), (0, 80)]).buffer(1.0, quad_segs=400).area
    assert [area for layer, area, _ in lines if layer == "cut"] == pytest.approx([triangle] * 2, rel=1e-5)
    _, shims = read_dxf((folder / "sheet 1 of plate 1 mm.dxf").read_bytes())
    assert sum(layer == "cut" for layer, _, _ in shims) == 2 * 3
    assert "kerf 2 mm added" in " ".join(e.dxf.text for e in document.modelspace().query("TEXT"))
    before = {p.name: p.read_bytes() for p in folder.iterdir()}
    assert main([*command, "--force"]) == 0
    assert {p.name: p.read_bytes() for p in folder.iterdir()} == before
    assert main([*command[:-4], "--sheet", "60x500", "--force"]) == 1
    assert "fits on no sheet: P1 plate 6 mm (2 of them)" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("options", "told"),
    [
        (["--format", "step"], "go with --parts"),
        (["--parts", ".", "--format", "step", "--sheet", "100x100"], "expected dxf among --format"),
        (["--parts", ".", "--format", "dxf", "--gap", "3"], "--gap goes with --sheet"),
        (["--parts", ".", "--format", "dxf", "--sheet", "100"], "is not a size"),
        (["--parts", ".", "--format", "dxf", "--sheet", "100x-3"], "expected such as 1000x500"),
        (["--parts", ".", "--format", "dxf", "--kerf", "wide"], "--kerf:"),
        (["--parts", ".", "--format", "dxf", "--kerf", "30"], "expected 0 to 10 mm"),
        (["--parts", ".", "--stl", "."], "expected one of them"),
    ],
)
def test_what_cannot_be_exported_is_told_in_a_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, options: list[str], told: str
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "s.toml").write_text(SCENE, encoding="utf-8")
    assert main(["export", "s.toml", *options]) == 2
    error = capsys.readouterr().err
    assert told in error
    assert error.count("\n") == 1
    assert [p.name for p in tmp_path.iterdir()] == ["s.toml"]


# Lists of blocks

TABLE = """\
model;height;length;thickness;name
stop_block;60;;;
stop_block;9999;;;
shim;;;2,5;
no_such_model;;;;
shim;;;"1/8 in";thin one
stop_block;60;;;
shim;;;3;my: plate
"""


def test_a_list_is_made_and_gone_on_with(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    table, folder = tmp_path / "all.csv", tmp_path / "out"
    table.write_text(TABLE.replace("2,5", "2.5"), encoding="utf-8-sig")
    folder.mkdir()
    command = ["make", str(table), "-o", str(folder)]
    assert main(command) == 1
    told = capsys.readouterr().out.replace(str(tmp_path), "")
    assert "4 made, 0 there already, 2 not made" in told
    assert "all.csv:3: stop_block: height = 9999 mm is out of range" in told
    assert 'all.csv:5: model "no_such_model" is not known' in told
    stems = ["my plate", "shim thickness 2.5 mm for 16 mm on 50 mm", "stop_block height 60 mm for 16 mm on 50 mm",
             "thin one"]  # fmt: skip
    assert sorted(p.name for p in folder.iterdir()) == [f"{s}.{end}" for s in stems for end in ("3mf", "step")]
    before = {p: (p.read_bytes(), p.stat().st_mtime_ns) for p in folder.iterdir()}
    (folder / "thin one.3mf").unlink()
    (folder / "my plate.step").write_bytes(b"another")
    assert main(command) == 1
    told = capsys.readouterr().out
    assert "1 made, 2 there already, 3 not made" in told
    assert "my plate.step: exists already and is another file; add --force" in told
    assert main([*command, "--force"]) == 1
    assert "1 made, 3 there already" in capsys.readouterr().out
    assert {p: p.read_bytes() for p in folder.iterdir()} == {p: data for p, (data, _) in before.items()}
    kept = [p for p in before if p.name not in ("thin one.3mf", "my plate.step")]
    assert all(p.stat().st_mtime_ns == before[p][1] for p in kept)


def test_a_list_without_a_cache_compares_what_is_there(tmp_path: Path) -> None:
    table = tmp_path / "all.csv"
    table.write_text("model,thickness\nshim,3\nshim,4\n", encoding="utf-8")
    asked = read_orders(table, library(), None, "mm")
    first = write_orders(asked, tmp_path, Form(formats=("3mf",)), store=Store(None))
    again = write_orders(asked, tmp_path, Form(formats=("3mf",)), store=Store(None))
    assert ((first.made, first.there), (again.made, again.there)) == ((2, 0), (0, 2))
    other = write_orders(asked, tmp_path, Form(formats=("step", "3mf")), store=Store(None))
    assert [p.suffix for p in other.paths] == [".step", ".step"]


def test_an_inventory_is_made_for_its_own_table(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    shop = tmp_path / "shop.toml"
    shop.write_text(
        'units = "in"\n[[inventory]]\nmodel = "shim"\nwith = { thickness = "1/8" }\ncount = 4\n'
        '[[inventory]]\nmodel = "shim"\nwith = { thicknes = 1 }\ncount = 1\n',
        encoding="utf-8",
    )
    assert main(["make", str(shop), "-o", str(tmp_path), "--format", "dxf"]) == 1
    told = capsys.readouterr().out
    assert "shim thickness 1-8 in for 3-4 in on 2 in.dxf" in told
    assert 'shop.toml:7: shim: "thicknes" is not a parameter of shim; nearest: "thickness"' in told
    assert main(["make", str(shop), "-o", str(tmp_path), "--format", "dxf", "--table", "50/16"]) == 1
    assert "shim thickness 1-8 in for 0.630 in on 1-31-32 in.dxf" in capsys.readouterr().out


def test_loose_dowels_of_an_inventory_are_left_out_and_that_is_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    shop = tmp_path / "shop.toml"
    shop.write_text(
        '[[inventory]]\nmodel = "shim"\ncount = 1\n[[inventory]]\nsmall = "dowel"\ncount = 8\n', encoding="utf-8"
    )
    assert main(["make", str(shop), "-o", str(tmp_path), "--format", "stl"]) == 0
    out, err = capsys.readouterr()
    assert "1 made, 0 there already, 0 not made" in out
    assert "shop.toml:5: loose dowels are left out" in err


def test_a_fault_in_one_block_does_not_stop_the_others(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(part: Any, title: str, **more: Any) -> Any:
        if "3 mm" in title:
            raise ZeroDivisionError("planted")
        return block_files(part, title, **more)

    monkeypatch.setattr(making, "block_files", broken)
    (tmp_path / "all.csv").write_text("model,thickness\nshim,2\nshim,3\nshim,4\n", encoding="utf-8")
    asked = read_orders(tmp_path / "all.csv", library(), None, "mm")
    done = write_orders(asked, tmp_path, Form(formats=("3mf",)), store=Store(None))
    assert (done.made, done.faults) == (2, 1)
    assert "all.csv:3: shim thickness 3 mm for 16 mm on 50 mm: a fault of the program" in done.problems[0]


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "it is empty"),
        ("modell,height\n", "no column is called model"),
        ("model,height,height\n", "two columns are called height"),
        ("height\n", "expected headings such as model,height,length"),
        ("model,height\n,\n\n", "no block stands in it"),
        ('model,name\nshim,"x\nshim,y\n', "a.csv:3: not a table: unexpected end of data"),
        ("model\0,height\n", "is not a text file; expected a table"),
        ("model,name\nshim,St\udcfcck\n", "a.csv:2: is not UTF-8 text"),
        ("model\n" + "shim\n" * 100_001, r"a.csv:100002: more than 100000 lines"),
        ("model\n" + "shim".ljust(99) * 60_000, "is larger than 5 MB; expected a smaller table"),
    ],
)
def test_tables_that_cannot_be_used(tmp_path: Path, text: str, told: str) -> None:
    (tmp_path / "a.csv").write_text(text, encoding="utf-8", errors="surrogateescape")
    with pytest.raises(FixtureError, match=told) as caught:
        read_orders(tmp_path / "a.csv", library(), None, "mm")
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("mark", [";", ",", "\t"])
def test_tables_as_spreadsheets_save_them(tmp_path: Path, mark: str) -> None:
    """RFC 4180 for quotes; a mark for UTF-8, and what stands between cells, as spreadsheets write them."""
    lines = [["model", "name", "thickness"], ["shim", '"Blech ""A"" ½"', '"3"'], [], ["", "", ""], ["shim", "", "2"]]
    text = "\ufeff" + "\r\n".join(mark.join(line) for line in [*lines, lines[1]])
    (tmp_path / "a b ü.csv").write_bytes(text.encode())
    asked = read_orders(tmp_path / "a b ü.csv", library(), None, "mm")
    found = [(o.title, o.quantity) for o in asked.orders]
    assert found == [('Blech "A" ½', 2), ("shim thickness 2 mm for 16 mm on 50 mm", 1)]
    assert not asked.problems


def test_a_folder_that_cannot_be_written_into(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "a.csv").write_text("model\nshim\n", encoding="utf-8")
    asked = read_orders(tmp_path / "a.csv", library(), None, "mm")
    with pytest.raises(FixtureError, match=r"a\.csv: is a file; expected a folder"):
        write_orders(asked, tmp_path / "a.csv", Form(formats=("3mf",)), store=Store(None))
    monkeypatch.setattr(os, "access", lambda path, mode: False)
    with pytest.raises(FixtureError, match="the system does not allow writing there"):
        write_orders(asked, tmp_path, Form(formats=("3mf",)), store=Store(None))


def test_lists_that_are_not_there(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for given, told in ((["no.csv"], "there is no such file"), (["no.toml"], "there is no such file"),
                        (["shim", "--kerf", "1"], "--kerf is for outlines"),
                        (["shim", "--format", "dxf", "--kerf", "wide"], "--kerf:"),
                        (["a.csv", "height=3"], "expected parameters in its lines")):  # fmt: skip
        assert main(["make", *given, "-o", str(tmp_path)]) == 2
        error = capsys.readouterr().err
        assert told in error
        assert error.count("\n") == 1
    with pytest.raises(FixtureError, match=r"expected a table \(\.csv\)"):
        read_orders("a.xlsx", library(), None, "mm")


def sheet_words(data: bytes) -> str:
    document: Any = ezdxf.read(io.StringIO(data.decode(), newline=None))  # type: ignore[attr-defined,unused-ignore]
    return " | ".join(e.dxf.text for e in document.modelspace().query("TEXT"))


def test_a_list_is_drawn_with_the_quantity_of_its_lines(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    table, folder = tmp_path / "all.csv", tmp_path / "out"
    text = "model,thickness,quantity,name\nshim,3,4,three\nshim,2,,two\nshim,3,3,three\nshim,4,x,four\nshim,5,0,\n"
    table.write_text(text, encoding="utf-8")
    folder.mkdir()
    command = ["make", str(table), "-o", str(folder), "--format", "dxf", "--drawing", "dxf,.PDF"]
    command += ["--material", "S235JR"]
    assert main(command) == 1
    told = capsys.readouterr().out
    assert "2 made, 0 there already, 2 not made" in told
    assert 'all.csv:5: quantity: "x" is no number of blocks' in told
    names = [f"{stem}{end}" for stem in ("three", "two") for end in (" drawing.dxf", " drawing.pdf", ".dxf")]
    assert sorted(p.name for p in folder.iterdir()) == names
    before = {p.name: (p.read_bytes(), p.stat().st_mtime_ns) for p in folder.iterdir()}
    words = {stem: sheet_words(before[f"{stem} drawing.dxf"][0]) for stem in ("three", "two")}
    assert {stem: re.findall(r"(?i)quantity \| (\d+)", each) for stem, each in words.items()} == {
        "three": ["7"], "two": ["1"]
    }  # fmt: skip
    assert "S235JR" in words["two"]
    assert main(command) == 1
    assert "0 made, 2 there already" in capsys.readouterr().out
    # another quantity changes the sheets of one block, which are somebody's until --force says otherwise
    table.write_text(text.replace("3,4,three", "3,5,three"), encoding="utf-8")
    assert main(command) == 1
    told = capsys.readouterr().out
    assert "0 made, 1 there already, 3 not made" in told
    assert "three drawing.dxf: exists already and is another file; add --force" in told
    assert {p.name: p.stat().st_mtime_ns for p in folder.iterdir()} == {name: at for name, (_, at) in before.items()}
    assert main([*command, "--force"]) == 1
    assert "1 made, 1 there already" in capsys.readouterr().out
    changed = {p.name for p in folder.iterdir() if p.stat().st_mtime_ns != before[p.name][1]}
    assert changed == {"three drawing.dxf", "three drawing.pdf"}


@pytest.mark.parametrize(
    ("options", "told"),
    [
        (["--drawing", "vee.pdf"], "nearest: --drawing pdf"),
        (["--drawing", "fdp"], "expected some of pdf,svg,dxf"),
        (["--finish", "oiled"], "expected --drawing pdf as well"),
        (["--fit", "dowel=stays"], "expected --drawing pdf as well"),
        (["--drawing", "pdf", "--fit", "dowl=stays"], 'nearest: "dowel"'),
        (["--drawing", "pdf", "--fit", "dowel=H99"], "--fit dowel=H99: expected"),
        (["--on", "50/16"], "expected one block at a time"),
        (["--drawing", "pdf", "--quantity", "3"], "expected a column quantity"),
    ],
)
def test_options_that_a_list_cannot_have(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], options: list[str], told: str
) -> None:
    (tmp_path / "a.csv").write_text("model\nshim\n", encoding="utf-8")
    assert main(["make", str(tmp_path / "a.csv"), "-o", str(tmp_path), *options]) == 2
    error = capsys.readouterr().err
    assert told in error
    assert error.count("\n") == 1
    assert [p.name for p in tmp_path.iterdir()] == ["a.csv"]


def test_a_drawing_named_like_the_block(tmp_path: Path) -> None:
    assert main(["make", "shim", "--format", "dxf", "--drawing", "svg", "-o", str(tmp_path)]) == 0
    stem = "shim for 16 mm on 50 mm"
    assert sorted(p.name for p in tmp_path.iterdir()) == [f"{stem} drawing.svg", f"{stem}.dxf"]
    assert sheet_kinds("my pdf") == sheet_kinds("") == ()


def test_parts_of_a_scene_are_drawn_and_gone_on_with(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    scene, folder = tmp_path / "s.toml", tmp_path / "parts"
    scene.write_text(SCENE, encoding="utf-8")
    folder.mkdir()
    command = ["export", str(scene), "--parts", str(folder), "--format", "3mf", "--drawing", "dxf"]
    assert main(command) == 0
    stem = "shim for 16 mm on 50 mm"
    assert sorted(p.name for p in folder.iterdir()) == ["parts.csv", f"{stem} drawing.dxf", f"{stem}.3mf"]
    assert "QUANTITY | 2" in sheet_words((folder / f"{stem} drawing.dxf").read_bytes()).upper()
    assert f"{stem}.3mf; {stem} drawing.dxf" in (folder / "parts.csv").read_text(encoding="utf-8-sig")
    before = {p.name: (p.read_bytes(), p.stat().st_mtime_ns) for p in folder.iterdir()}
    capsys.readouterr()
    assert main(command) == 0
    assert capsys.readouterr() == ("", "3 files were there already, as they would be made\n")
    (folder / f"{stem}.3mf").unlink()
    assert main(command) == 0
    assert capsys.readouterr().out == f"{folder / f'{stem}.3mf'}\n"
    (folder / f"{stem}.3mf").write_bytes(b"mine")
    (folder / "parts.csv").unlink()
    assert main(command) == 2
    assert "exists already and is another file; add --force" in capsys.readouterr().err
    assert not (folder / "parts.csv").exists()
    assert main([*command, "--force"]) == 0
    assert {p.name: p.read_bytes() for p in folder.iterdir()} == {name: data for name, (data, _) in before.items()}
    drawn = folder / f"{stem} drawing.dxf"
    assert drawn.stat().st_mtime_ns == before[drawn.name][1]
    # what has no outline is listed and told, and stops nothing
    scene.write_text(SCENE.replace('"R2"\nmodel = "shim"', '"R2"\nmodel = "stop_block"'), encoding="utf-8")
    for _ in range(2):
        assert main([*command[:4], "--format", "dxf", "--force"]) == 0
        assert "no outline to cut from plate" in capsys.readouterr().err
    assert "\nstop_block for 16 mm on 50 mm,1,R2,stop_block,standard," in (folder / "parts.csv").read_text("utf-8-sig")


def test_another_process_makes_the_same_block() -> None:
    """Every model at a corner: its recipe gives the same block, from which the same solid follows."""
    shop = library()
    for model in shop.entries:
        for pattern in PATTERNS.values():
            block = Block(part=shop.make(model, pattern, values(shop, model, pattern, "low")), entry=shop.entry(model),
                          title="t", quantity=3)  # fmt: skip
            assert pickle.loads(pickle.dumps(Recipe.of(block))).block(shop) == block


FALLS_OVER = """
import os
from dataclasses import dataclass
from fixture3d.part import Part, length, part, through

@part("falls_over", made="printed", source="a test")
@dataclass(frozen=True, kw_only=True)
class FallsOver(Part):
    \"\"\"A block that takes its process with it.\"\"\"

    height: float = length(20.0, low=10.0, high=30.0, help="of the block")

    def pins(self):
        return through("1", 0.0, 0.0, self.height)

    def box(self):
        return (-30.0, -30.0, 0.0), (30.0, 30.0, self.height)

    def solid(self):
        print("something on stdout")
        os._exit(7)
"""


def test_two_processes_make_the_same_as_one_and_one_that_falls_over_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    models = tmp_path / "models"
    models.mkdir()
    (models / "falls_over.py").write_text(FALLS_OVER, encoding="utf-8")
    sound = "".join(f"shim,{k},\nstop_block,,{40 + k}\n" for k in range(1, 4))
    (tmp_path / "one.csv").write_text(f"model,thickness,height\n{sound}", encoding="utf-8")
    (tmp_path / "two.csv").write_text(f"model,thickness,height\nfalls_over,,\n{sound}shim,99,\n", encoding="utf-8")
    found = {}
    for name, workers in (("one", 1), ("two", 2)):
        monkeypatch.setattr(making, "FEW", 1)
        (folder := tmp_path / name).mkdir()
        asked = read_orders(tmp_path / f"{name}.csv", library([models]), None, "mm")
        form = Form(formats=("step", "3mf", "dxf"), sheets=("pdf",))
        done = write_orders(asked, folder, form, store=Store(None), workers=workers, models=[models])
        found[name] = [(p.name, p.read_bytes()) for p in done.paths], done.solid
        assert (done.made, done.faults) == (6, workers - 1)
    assert found["one"] == found["two"]
    out_of_range, fell = done.problems
    assert "two.csv:9: shim: thickness" in out_of_range
    assert "two.csv:2: falls_over" in fell
    assert "the process that made it ended by itself, exit code 7" in fell


@pytest.mark.skipif(os.name == "nt", reason="signals of a group of processes")
def test_a_list_that_is_stopped_leaves_whole_files(tmp_path: Path) -> None:
    rows = "".join(f"shim,{1 + k / 10}\n" for k in range(60))
    (tmp_path / "all.csv").write_text(f"model,thickness\n{rows}", encoding="utf-8")
    (folder := tmp_path / "out ½ Stück").mkdir()
    command = [sys.executable, "-m", "fixture3d", "make", "../all.csv", "--format", "3mf", "-o", "."]
    env = {**os.environ, "FIXTURE3D_CACHE": str(tmp_path / "cache"), "PYTHONPATH": str(Path(__file__).parents[1])}
    run = subprocess.Popen(
        command, cwd=folder, env=env, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, start_new_session=True,
        # What a shell starts behind its back has Ctrl-C switched off, and so had all that it starts.
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
    )  # fmt: skip
    while not list(folder.glob("[!.]*")) and run.poll() is None:
        time.sleep(0.02)
    os.killpg(run.pid, signal.SIGINT)
    out, error = run.communicate(timeout=60)
    assert (run.returncode, out) == (2, "")
    assert error == "stopped; what is written is whole, and the same command goes on from there\n"
    for _ in range(400):  # soon none of its processes is left
        try:
            os.killpg(run.pid, 0)
        except ProcessLookupError:
            break
        time.sleep(0.05)
    else:
        raise AssertionError("a process goes on after Ctrl-C")
    there = list(folder.iterdir())
    assert 1 <= len(there) < 60
    for path in there:
        lib3mf_objects(path.read_bytes())
