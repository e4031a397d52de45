"""Print versions: sizes measured in the file's own mesh, and read back by others (trimesh, lib3mf)."""

from __future__ import annotations

import contextlib
import functools
import io
import itertools
import math
import os
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import trimesh

from fixture3d import frame
from fixture3d.cli import main
from fixture3d.corners.cases import cases, values
from fixture3d.errors import FixtureError
from fixture3d.export.block import block_shapes
from fixture3d.export.laying import lying
from fixture3d.library import library
from fixture3d.part import Pattern
from fixture3d.scene import load_inventory
from fixture3d.solid.kernel import tessellate
from fixture3d.solid.mesh import Mesh
from fixture3d.stock.plastics import PLASTICS
from fixture3d.tolerance import PRINTING
from fixture3d.workshop.printing import PrintOrder, print_order, print_version, read_bed
from fixture3d.workshop.printing_checks import checked_lines, flat_undersides, steep_area, thin_walls
from fixture3d.workshop.printing_size import made_up, with_foot
from fixture3d.workshop.printing_split import split

METRIC = Pattern(pitch=50.0, bore=16.0)
INCH = Pattern(pitch=50.8, bore=19.05, inch=True)
LONG = bool(os.environ.get("FIXTURE3D_LONG"))


def shape(model: str, **given: object) -> Any:
    return library().make(model, METRIC, given).solid().wrapped


def laid(solid: Any) -> Mesh:
    mesh = tessellate(solid.wrapped if hasattr(solid, "wrapped") else solid)
    return mesh.moved(lying(mesh))


def rings(mesh: Mesh, z: float) -> list[float]:
    """Areas of the contours of a section, largest first; holes count as negative."""
    areas = []
    for ring in mesh.manifold.slice(z).to_polygons():
        x, y = np.asarray(ring).T
        areas.append(float((x * np.roll(y, -1) - np.roll(x, -1) * y).sum() / 2.0))
    return sorted(areas, key=abs, reverse=True)


@pytest.mark.parametrize(("plastic", "scale"), [("PLA", 1.002004), ("ABS", 1.00705)])
def test_lengths_grow_by_what_the_plastic_shrinks(plastic: str, scale: float) -> None:
    """By hand, scale = 1 / (1 - s): 0.7 % gives 1.00705, and 100 mm of PLA at 0.2 % print as 99.8."""
    solid = shape("parallel", pitches=2, height=30, width=50)
    made = print_version("p", [("p", solid)], PrintOrder(material=plastic), "mm")
    ((_, mesh, pose),) = made.pieces
    size = sorted(np.ptp(frame.points(pose, mesh.vertices), axis=0))
    true = sorted((140.0, 50.0, 30.0))
    assert size == pytest.approx([scale * v for v in true], rel=2e-6)
    assert [v * (1.0 - PLASTICS[plastic].shrinks) for v in size] == pytest.approx(true)


@pytest.mark.parametrize("clearance", [0.0, 0.15, 0.4])
def test_a_hole_is_wider_by_the_clearance_on_diameter(clearance: float) -> None:
    """Stated on diameter, half a side: the hole of 16 that is to be 0.15 wider has a radius of 8.075."""
    sized, said = made_up(shape("stop_block"), clearance, 0.0)
    mesh = tessellate(sized, 0.001)
    outer, *holes = rings(mesh, 25.0)
    assert outer > 0.0
    assert len(holes) == 4
    for area in holes:
        assert 2.0 * math.sqrt(-area / math.pi) == pytest.approx(16.0 + clearance, abs=2e-3)
    assert mesh.box == pytest.approx(np.array(library().make("stop_block", METRIC).box()), abs=1e-6)
    assert said[0].startswith("4 round holes" if clearance else "no holes")


def test_a_pin_is_thinner_and_its_tip_with_it() -> None:
    part = library().make("pitch_gauge", METRIC)
    sized, _ = made_up(part.solid().wrapped, 0.0, 0.3)
    mesh = tessellate(sized, 0.001)
    first = part.pins_to.low  # type: ignore[attr-defined]
    for z, least in ((20.0, 0.0), (part.box()[1][2] - 0.4, 0.2)):
        for area in rings(mesh, z):
            width = 2.0 * math.sqrt(area / math.pi)
            assert width <= first + 0.02 - 0.3
            assert width >= first - 0.3 - least - 0.8
    assert max(flat_undersides(mesh)) < 0.02


@functools.lru_cache(maxsize=8)
def _traced(mesh: Mesh) -> Any:
    return trimesh.Trimesh(mesh.vertices, mesh.faces, process=False)


def across(mesh: Mesh, at: tuple[float, ...], way: tuple[float, ...]) -> float:
    """Distance between the two faces that look at each other through a point, by rays (trimesh)."""
    solid, total = _traced(mesh), 0.0
    for sign in (1.0, -1.0):
        hits, _, _ = solid.ray.intersects_location([at], [sign * np.asarray(way)])
        total += float(np.linalg.norm(hits - np.asarray(at), axis=1).min())
    return total


def test_counterbore_seat_slot_pocket_and_slanting_bore_are_wider() -> None:
    """A block with one of each, measured across in the mesh: 0.3 wider on diameter or width; a rounded edge is not."""
    import cadquery as cq

    def drill(r: float, high: float, at: tuple[float, ...], way: tuple[float, ...] = (0, 0, 1)) -> Any:
        return cq.Solid.makeCylinder(r, high, cq.Vector(*at), cq.Vector(*way))

    lean = (math.sin(math.radians(30.0)), 0.0, math.cos(math.radians(30.0)))
    slot = cq.Workplane("XY", origin=(30, 30, 0)).slot2D(30.0, 12.0).extrude(40.0).val()
    block = cq.Solid.makeBox(160.0, 60.0, 40.0).cut(
        drill(5.0, 40.0, (80, 20, 0)),
        drill(9.0, 8.0, (80, 20, 32)),
        cq.Solid.makeCone(4.0, 10.0, 20.0, cq.Vector(58, 30, 20), cq.Vector(0, 0, 1)),
        slot,
        cq.Solid.makeBox(14.0, 10.0, 25.0, cq.Vector(100, 10, 15)),
        drill(4.0, 80.0, (130 - 40 * lean[0], 30, 20 - 40 * lean[2]), lean),
        cq.Solid.makeBox(160.0, 10.0, 10.0, cq.Vector(0, 50, 30)),
    )
    solid = block.Solids()[0]
    edge = solid.edges(cq.selectors.NearestToPointSelector((80.0, 50.0, 30.0))).Edges()
    solid = solid.fillet(3.0, edge)
    sized, (said,) = made_up(solid.wrapped, 0.3, 0.0)
    assert "3 round holes, 2 slots" not in said, "the pocket has two pairs of sides"
    assert said.startswith("3 round holes, 3 slots, 1 conical seat wider, no pins thinner")
    assert "1 rounded inside edge" in said
    before, after = tessellate(solid.wrapped, 0.001), tessellate(sized, 0.001)
    turned = (lean[2], 0.0, -lean[0])
    for at, way, width in (
        ((80.0, 20.0, 10.0), (1.0, 0.0, 0.0), 10.0),
        ((80.0, 20.0, 36.0), (0.0, 1.0, 0.0), 18.0),
        ((58.0, 30.0, 30.0), (1.0, 0.0, 0.0), 14.0),
        ((30.0, 30.0, 20.0), (1.0, 0.0, 0.0), 30.0),
        ((30.0, 30.0, 20.0), (0.0, 1.0, 0.0), 12.0),
        ((36.0, 30.0, 20.0), (0.0, 1.0, 0.0), 12.0),
        ((107.0, 15.0, 25.0), (1.0, 0.0, 0.0), 14.0),
        ((107.0, 15.0, 25.0), (0.0, 1.0, 0.0), 10.0),
        ((107.0, 19.9, 25.0), (1.0, 0.0, 0.0), 14.0),
        ((130.0, 30.0, 20.0), turned, 8.0),
        ((130.0, 30.0, 20.0), (0.0, 1.0, 0.0), 8.0),
    ):
        assert across(before, at, way) == pytest.approx(width, abs=3e-3), (at, way)
        assert across(after, at, way) == pytest.approx(width + 0.3, abs=3e-3), (at, way)
    assert across(after, (107.0, 20.1, 25.0), (1.0, 0.0, 0.0)) == pytest.approx(14.3, abs=3e-3), "its corner too"
    near = [_traced(m).nearest.on_surface([(150.0, 51.0, 31.0)])[1][0] for m in (before, after)]
    assert near[0] == pytest.approx(near[1], abs=1e-3), "the rounded edge stays"
    assert after.box == pytest.approx(before.box, abs=1e-6)


@pytest.mark.parametrize(
    ("model", "body", "at", "way", "width"),
    [
        ("slide_stop", "", None, (0, 1, 0), 16.0),
        ("tube_saddle", "", (0.0, 7.0, 34.3), (1, 0, 0), 48.825),
        ("edge_stop", "", None, (0, 0, 1), 27.0),
        ("bar_clamp", "arm", None, (0, 1, 0), 17.0),
        ("plug_gauge", "", None, (1, 0, 0), None),
    ],
)
def test_slots_of_shipped_models_measured_across(
    model: str, body: str, at: tuple[float, ...] | None, way: tuple[float, ...], width: float | None
) -> None:
    part = library().make(model, METRIC)
    solids = {one.name: form.brep for one, form in block_shapes(part, library().entry(model))}
    sized, _ = made_up(solids[body], 0.3, 0.2)
    before, after = tessellate(solids[body], 0.002), tessellate(sized, 0.002)
    if width is None:  # the lands of the NO-GO: what lies outside of them is a pin, though it does not go all round
        for z in (4.0, 90.0):
            spans = [np.ptp(np.vstack(m.manifold.slice(z).to_polygons()), axis=0)[0] for m in (before, after)]
            assert spans[0] - spans[1] == pytest.approx(0.2, abs=4e-3)
        return
    at = at or between(before, way, width)
    assert across(before, at, way) == pytest.approx(width, abs=5e-3)
    assert across(after, at, way) == pytest.approx(width + 0.3, abs=5e-3)


def between(mesh: Mesh, way: tuple[float, ...], width: float) -> tuple[float, ...]:
    """A point midway in a gap of that width: from the middle of each triangle that looks across it."""
    t = mesh.triangles
    normals = np.cross(t[:, 1] - t[:, 0], t[:, 2] - t[:, 0])
    sizes = np.linalg.norm(normals, axis=1)
    chosen = (sizes > 1.0) & (normals @ np.asarray(way) > sizes * (1.0 - 1e-9))
    for middle in t[chosen].mean(axis=1):
        at = tuple(float(v) for v in middle + np.asarray(way) * width / 2.0)
        try:
            if abs(across(mesh, at, way) - width) < 5e-3:
                return at
        except ValueError:  # nothing on the other side
            continue
    raise AssertionError(f"no gap of {width} mm")


@pytest.mark.parametrize(
    ("model", "pattern"),
    [(model, pattern) for model in sorted(library().entries) for pattern in (METRIC, INCH)]
    if LONG
    else [("corner_block", METRIC), ("slide_stop", INCH)],
)
def test_bores_measured_across_at_the_corners(model: str, pattern: Pattern) -> None:
    """Every full bore of the solid, found by its surface, measured by rays in the print's mesh at its corner sets."""
    for case in cases(1) if LONG else ("high",):
        part = library().make(model, pattern, values(library(), model, pattern, case), "mm")
        for body, form in block_shapes(part, library().entry(model)):
            sized, (said,) = made_up(form.brep, 0.3, 0.2)
            assert "cannot move" not in said, (case, body.name)
            mesh = tessellate(sized, 0.002)
            assert mesh.open_edges == 0
            for at, axis, radius in bores(form.brep):
                side = np.cross(axis, [1.0, 0.0, 0.0] if abs(axis[0]) < 0.9 else [0.0, 1.0, 0.0])
                wide = []
                for turn in (0.3, 1.4, 2.5):
                    way = np.cos(turn) * side + np.sin(turn) * np.cross(axis, side)
                    with contextlib.suppress(ValueError):  # it runs out of the block that way
                        wide.append(across(mesh, tuple(at), tuple(way)))
                assert min(wide, default=0.0) == pytest.approx(2.0 * radius + 0.3, abs=0.01), (case, body.name, at)


def bores(shape: Any) -> list[tuple[Any, Any, float]]:
    """Middle, axis and radius of every hollow cylinder that goes all round."""
    import cadquery as cq
    from OCP.BRepAdaptor import BRepAdaptor_Surface

    out = []
    for face in cq.Solid(shape).Faces():
        surface = BRepAdaptor_Surface(face.wrapped)
        if face.geomType() != "CYLINDER" or surface.LastUParameter() - surface.FirstUParameter() < 6.28:
            continue
        line = surface.Cylinder().Axis()
        axis = np.array([line.Direction().X(), line.Direction().Y(), line.Direction().Z()])
        along = (surface.FirstVParameter() + surface.LastVParameter()) / 2.0
        at = np.array([line.Location().X(), line.Location().Y(), line.Location().Z()]) + along * axis
        on = surface.Value(surface.FirstUParameter(), along)
        spot = np.array([on.X(), on.Y(), on.Z()])
        if np.array(face.normalAt(cq.Vector(*spot)).toTuple()) @ (spot - at) < 0.0:
            out.append((at, axis, surface.Cylinder().Radius()))
    return out


def test_the_lowest_edge_is_drawn_in_and_closes() -> None:
    import cadquery as cq

    mesh = laid(cq.Solid.makeBox(60.0, 40.0, 20.0))
    made = with_foot(mesh)
    for z, inset in ((0.1, 0.4), (0.3, 0.2), (0.5, 0.0), (10.0, 0.0)):
        assert rings(made, z) == pytest.approx([(60.0 - 2 * inset) * (40.0 - 2 * inset)], rel=1e-6)
    by_hand = 60 * 40 * 19.6 + 0.2 * (59.2 * 39.2 + 59.6 * 39.6)
    assert made.volume == pytest.approx(by_hand, rel=1e-6)
    assert made.open_edges == 0
    bored = laid(cq.Solid.makeBox(60.0, 40.0, 20.0).cut(cq.Solid.makeCylinder(8.0, 20.0, cq.Vector(30, 20, 0))))
    _, hole = rings(with_foot(bored), 0.1)
    assert 2.0 * math.sqrt(-hole / math.pi) == pytest.approx(16.8, abs=0.03)
    thin = laid(cq.Solid.makeBox(60.0, 40.0, 0.5))
    assert with_foot(thin) is thin


@pytest.mark.parametrize(("wall", "thin"), [(1.0, True), (1.15, True), (1.3, False), (3.0, False)])
@pytest.mark.parametrize("turn", [(1, 0, 0), (0, 1, 0), (0, 0, 1)])
def test_thin_walls_whichever_way_they_stand(wall: float, thin: bool, turn: tuple[int, int, int]) -> None:
    import cadquery as cq

    foot, rib = cq.Solid.makeBox(60.0, 40.0, 6.0), cq.Solid.makeBox(wall, 40.0, 30.0, cq.Vector(20.0, 0.0, 0.0))
    mesh = tessellate(foot.fuse(rib).clean().Solids()[0].wrapped).moved(frame.rotation(turn, 90.0))
    assert (thin_walls(mesh) > 0.0) is thin


def test_teeth_are_no_thin_walls() -> None:
    assert thin_walls(tessellate(shape("notch_checker"))) == 0.0


def test_bridges_and_overhangs() -> None:
    import cadquery as cq

    for gap in (8.0, 12.0):
        gate = cq.Solid.makeBox(40.0, 30.0, 20.0).cut(cq.Solid.makeBox(gap, 30.0, 10.0, cq.Vector(10.0, 0.0, 0.0)))
        mesh = tessellate(gate.Solids()[0].wrapped)
        assert flat_undersides(mesh) == pytest.approx((gap, 0.0), abs=0.02)
        said = "\n".join(checked_lines("gate", mesh, "mm"))
        assert ("too wide to bridge" in said) is (gap > PRINTING.bridge)
        assert steep_area(mesh) == 0.0
    # A head of 40 on a stem of 16: a ring of 12 all round, which nothing bears at its outer side.
    stem = cq.Solid.makeCylinder(8.0, 30.0)
    mushroom = stem.fuse(cq.Solid.makeCylinder(20.0, 10.0, cq.Vector(0, 0, 30))).clean()
    bridge, free = flat_undersides(tessellate(mushroom.Solids()[0].wrapped))
    assert bridge < 0.5
    assert free == pytest.approx(12.0, abs=0.2)
    for lean, needs in ((40.0, False), (50.0, True)):
        out = 20.0 * math.tan(math.radians(lean))
        wire = cq.Wire.makePolygon(
            [cq.Vector(*p) for p in ((0, 0, 0), (20, 0, 0), (20 + out, 0, 20), (0, 0, 20))], close=True
        )
        mesh = tessellate(cq.Solid.extrudeLinear(wire, [], cq.Vector(0, 15, 0)).wrapped)
        assert (steep_area(mesh) > 0.0) is needs
        if needs:
            assert steep_area(mesh) == pytest.approx(15.0 * 20.0 / math.cos(math.radians(lean)), abs=0.01)


@pytest.mark.parametrize("bed", [(150.0, 150.0, 200.0), (100.0, 100.0, 40.0), (220.0, 120.0, 200.0)])
def test_pieces_fit_the_bed_and_each_other(bed: tuple[float, float, float]) -> None:
    mesh = laid(shape("stop_bar"))
    mesh = Mesh(mesh.vertices * 2.0, mesh.faces, mesh.planar, mesh.chord * 2.0)
    parts, said = split(mesh, bed, "bar", "mm")
    assert len(parts) > 1
    assert any("key" in line for line in said)
    for name, piece in parts:
        size = np.ptp(piece.vertices, axis=0)
        assert (size <= np.asarray(bed) + 1e-6).all() or (size[[1, 0, 2]] <= np.asarray(bed) + 1e-6).all(), name
        assert piece.open_edges == 0
        assert trimesh.Trimesh(piece.vertices, piece.faces).is_watertight
    for (_, a), (_, b) in itertools.combinations(parts, 2):
        assert (a.manifold ^ b.manifold).volume() < 1e-6
    # What is lacking is the play round the keys: each a shell of half the play, and the play beyond its end.
    lacking = mesh.volume - sum(piece.volume for _, piece in parts)
    shell = max((k + PRINTING.key_play) ** 2 * (k + PRINTING.key_play) - k**3 for k in PRINTING.key)
    keys = sum(int(line.split(": ")[2].split()[0]) for line in said if line.endswith(("key", "keys")))
    assert 0.0 < lacking <= keys * shell + 1e-3
    # Put together they are the whole: every point of it lies in one piece, but for the play.
    together = functools.reduce(lambda a, b: a + b, (piece.manifold for _, piece in parts))
    assert (together - mesh.manifold).volume() < 1e-3
    assert (mesh.manifold - together).volume() == pytest.approx(lacking, abs=1e-2)


def test_a_cut_goes_beside_a_bore_and_level_keys_need_no_support() -> None:
    """A bar is not cut in half through a bore; its keys lie on an edge, with sides of 45 degrees."""
    mesh = laid(shape("stop_bar"))
    parts, (said,) = split(mesh, (120.0, 120.0, 100.0), "bar", "mm")
    assert said.endswith("2 keys")
    assert len(parts) == 2
    middle = float(np.ptp(mesh.vertices, axis=0)[0]) / 2.0
    place = float(said.split("cut at ")[1].split(" ")[0])
    assert abs(place - middle) > PRINTING.key_wall
    for _, piece in parts:
        assert flat_undersides(piece)[1] == flat_undersides(mesh)[1]
        assert steep_area(piece) == 0.0


def test_bores_are_spared_where_the_bed_allows_and_told_where_not() -> None:
    """A row of bores 50 apart, and a block with one large bore on a bed that is just over half of it."""
    import cadquery as cq

    bar = cq.Workplane().box(400, 40, 30, centered=False)
    row = bar.pushPoints([(x, 20.0) for x in range(25, 400, 50)]).circle(8.0).cutThruAll().val()
    _, said = split(laid(row), (112.0, 112.0, 100.0), "row", "mm")
    assert len(said) == 3
    for line in said:
        place = float(line.split("cut at ")[1].split(" ")[0])
        assert min(abs(place - x) for x in range(25, 400, 50)) > 8.0
        assert "hole" not in line
    wide = cq.Workplane().box(100, 60, 30).circle(20.0).cutThruAll().val()
    _, (line,) = split(laid(wide), (63.0, 63.0, 100.0), "wide", "mm")
    assert line.endswith("it goes through a hole, for which there is no other place on this bed")


def test_keys_and_their_sockets_stay_in_solid_material() -> None:
    """A bore that begins 4 mm behind the even parting: no socket opens into it."""
    import cadquery as cq

    block = cq.Workplane().box(100, 40, 40, centered=False).val()
    bored = block.cut(cq.Solid.makeCylinder(6.0, 40.0, cq.Vector(60.0, 20.0, 0.0)))
    parts, said = split(laid(bored), (64.0, 64.0, 100.0), "block", "mm")
    assert said[0].endswith("2 keys")
    assert len(parts) == 2
    assert sum(piece.volume for _, piece in parts) < laid(bored).volume
    # Every key is whole: its piece is longer by the side of a key than the cut is from its end.
    place = float(said[0].split("cut at ")[1].split(" ")[0])
    lengths = sorted(float(np.ptp(piece.vertices[:, 0])) for _, piece in parts)
    stands_out = [length - place for length in lengths]
    assert any(abs(out - side) < 1e-3 for out in stands_out for side in PRINTING.key)


def test_a_calibration_piece_is_not_cut(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["make", "print_trial", "--print", "--bed", "150x150x150", "-o", str(tmp_path)]) == 2
    assert "a calibration piece is not cut" in capsys.readouterr().err
    assert not list(tmp_path.iterdir())


def test_a_part_that_fits_stays_whole_and_too_many_pieces_are_refused() -> None:
    mesh = laid(shape("stop_block"))
    assert split(mesh, (110.0, 70.0, 60.0), "b", "mm") == ([("b", mesh)], [])
    assert split(mesh, (70.0, 110.0, 60.0), "b", "mm") == ([("b", mesh)], [])
    large = Mesh(mesh.vertices * 30.0, mesh.faces, mesh.planar, mesh.chord)
    with pytest.raises(FixtureError, match="expected at most 24: a larger bed"):
        split(large, (220.0, 220.0, 250.0), "b", "mm")


def test_the_file_is_read_back_and_says_what_it_is_for(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    import lib3mf

    command = ["make", "rail", "--print", "--material", "petg", "--clearance", "0.15", "-o", str(tmp_path)]
    assert main(command) == 0
    said = capsys.readouterr().out
    (file,) = tmp_path.iterdir()
    assert file.name.endswith("print PETG.3mf")
    for text in (
        "holes 0.15 mm wider on diameter, 0.075 mm a side (as asked by --clearance)",
        "all lengths times 1.00402: PETG shrinks by 0.4 % (public guides say 0.2 to 0.6 %)",
        "not beside the arc: PETG softens at 75 to 80 °C (from memory)",
        "3 pieces in the file",
    ):
        assert text in said
    packed: Any = trimesh.load(io.BytesIO(file.read_bytes()), file_type="3mf")
    assert packed.units == "millimeter"
    assert len(packed.geometry) == 3
    assert all(one.is_watertight for one in packed.geometry.values())
    assert packed.bounds[0] == pytest.approx([0.0, 0.0, 0.0], abs=1e-5)
    model = lib3mf.get_wrapper().CreateModel()
    model.QueryReader("3mf").ReadFromFile(str(file))
    assert model.GetMeshObjects().Count() == 3
    before = file.read_bytes()
    assert main(command) == 2
    assert "--force" in capsys.readouterr().err
    assert main([*command, "--force"]) == 0
    assert file.read_bytes() == before


@pytest.mark.parametrize(
    ("more", "message"),
    [
        (["--clearance", "0.15"], "--clearance goes with a print; expected --print as well"),
        (["--bed", "220x220x250"], "--bed goes with a print"),
        (["--shop", "shop.toml"], "--shop goes with a print"),
        (["--print", "--hold", "bar"], "--print makes one block at a time"),
        (["--print", "--material", "PLAA"], 'nearest: "PLA"'),
        (["--print", "--bed", "220x220"], "expected WIDTHxDEPTHxHEIGHT in mm"),
        (["--print", "--bed", "10x220x250"], "50 to 2000"),
        (["--print", "--clearance", "3"], "expected 0 to 2 mm"),
        (["--print", "--pin-clearance", "-1"], "expected 0 to 2 mm"),
        (["--print", "--clearance", "wide"], "--clearance: "),
    ],
)
def test_errors_are_one_line(more: list[str], message: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["make", "stop_block", *more, "-o", str(tmp_path)]) == 2
    error = capsys.readouterr().err
    assert message in error
    assert len(error.strip().splitlines()) == 1
    assert not list(tmp_path.iterdir())


def test_words_are_read() -> None:
    assert read_bed("220x220x250 mm".replace(" ", "")) == (220.0, 220.0, 250.0)
    assert read_bed(None) == PRINTING.bed
    assert print_order(None, None, None, PRINTING.bed).material == "PLA"
    assert print_order(" asa ", None, None, PRINTING.bed).material == "ASA"


SHOP = """\
units = "in"
[[printing]]
material = "petg"
clearance = 0.013
shrink = 0.31

[[printing]]
material = "PA12 black"
pin_clearance = "0.1 mm"
shrink = 1.2
"""


def test_the_shops_own_sizes_are_taken_and_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Read off the file: the bores of a rail that are drawn 0.013 in wider, and a block of 50 mm at 0.31 %."""
    shop = tmp_path / "shop.toml"
    shop.write_text(SHOP, encoding="utf-8")
    command = ["make", "stop_block", "--print", "--shop", str(shop), "--force", "-o", str(tmp_path)]

    def made(*more: str) -> tuple[str, Any]:
        assert main([*command, *more]) == 0
        said = capsys.readouterr().out
        packed: Any = trimesh.load(io.BytesIO(Path(said.split("\n")[0]).read_bytes()), file_type="3mf")
        (one,) = packed.geometry.values()
        return said, one

    def bore(mesh: Any, scale: float) -> float:
        section = mesh.section(plane_origin=[0, 0, 25.0], plane_normal=[0, 0, 1]).to_2D()[0]
        holes = [p for p in section.polygons_closed if p.area < 400.0]
        assert len(holes) == 4
        return 2.0 * math.sqrt(max(p.area for p in holes) / math.pi) / scale

    said, mesh = made()
    assert f"material PETG (the first of {shop})" in said
    assert f"holes 0.33 mm wider on diameter, 0.165 mm a side ({shop}, line 2)" in said
    assert "pins as drawn (usual; print_trial gives your own)" in said
    assert f"all lengths times 1.00311: PETG shrinks by 0.31 % ({shop}, line 2)" in said
    scale = 1.0 / (1.0 - 0.0031)
    assert np.ptp(mesh.vertices, axis=0).max() == pytest.approx(105.0 * scale, abs=1e-3)
    assert bore(mesh, scale) == pytest.approx(16.0 + 0.013 * 25.4, abs=5e-3)
    said, mesh = made("--material", "pa12  BLACK", "--clearance", "0.1")
    assert "material" not in said.split("\n")[1]
    assert "holes 0.1 mm wider on diameter, 0.05 mm a side (as asked by --clearance)" in said
    assert f"pins 0.1 mm thinner on diameter ({shop}, line 7)" in said
    assert "PA12 black softens, at what heat is not known here" in said
    assert bore(mesh, 1.0 / (1.0 - 0.012)) == pytest.approx(16.1, abs=5e-3)
    assert "holes 0.1 mm wider" in made("--clearance", "0.1")[0]
    said, _ = made("--material", "ABS")
    assert "holes 0.2 mm wider on diameter, 0.1 mm a side (usual" in said
    assert "ABS shrinks by 0.7 % (public guides say" in said


def test_a_calibration_piece_is_printed_as_drawn_and_tells_what_to_write(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """What it says to type is read back as it stands; its long side is the one of the solid."""
    assert main(["make", "print_trial", "--print", "-o", str(tmp_path)]) == 0
    said = capsys.readouterr().out
    assert "holes as drawn (a calibration piece is printed as drawn)" in said
    assert "pins as drawn (a calibration piece is printed as drawn)" in said
    typed = [line.strip() for line in said.split("\n") if line.startswith("     ")]
    shop = tmp_path / "shop.toml"
    shop.write_text('units = "in"\n' + "\n".join(typed), encoding="utf-8")
    (one,) = load_inventory(shop, "printing").printing
    assert (one.material, one.clearance, one.pin_clearance, one.shrink) == ("PLA", 0.3, 0.1, 0.2)
    flat = " ".join(said.split())
    long = 7 * 28.1
    assert f"It should be {long:g} mm." in flat
    assert "0.05 more for each 0.1 mm that it is short" in flat
    box = library().make("print_trial", METRIC).solid().BoundingBox()
    assert box.xlen == pytest.approx(long)
    before = shop.read_bytes()
    assert main(["make", "print_trial", "--print", "--shop", str(shop), "--clearance", "0.1", "-o", str(tmp_path)]) == 2
    assert main(["make", "shim", "--print", "--shop", str(shop), "-o", str(tmp_path)]) == 0
    assert shop.read_bytes() == before


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ('material = "PLA"', "1: printing 1: nothing that was measured; expected one of clearance"),
        ('material = "PLA"\nclearance = 5', "1: printing 1: clearance is 5 mm on diameter; expected 0 to 2 mm"),
        ('material = "PLA"\nclerance = 0.2', '3: printing 1: unknown key "clerance"; nearest: "clearance"'),
        ("clearance = 0.2", '1: printing 1: key "material" is missing; expected material = "PLA"'),
        ('material = "PVB"\nclearance = 0.2', '1: printing 1: no shrinkage is known of "PVB"; expected shrink = 0.4'),
        ('material = "PLA"\nshrink = 30', "3: printing 1: shrink: 30 is not a possible value"),
        (
            'material = "PLA"\nshrink = 1\n[[printing]]\nmaterial = "pla"\nshrink = 2',
            '5: printing 2: "pla" stands on line 1 already',
        ),
    ],
)
def test_faults_of_the_shops_file_are_told_with_their_line(
    text: str, message: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    shop = tmp_path / "shop.toml"
    shop.write_text(f"[[printing]]\n{text}\n", encoding="utf-8")
    assert main(["make", "shim", "--print", "--shop", str(shop), "-o", str(tmp_path)]) == 2
    assert f"{shop}:{message}" in capsys.readouterr().err
    shop.write_text('[[inventory]]\nmodel = "shim"\ncount = 1\n', encoding="utf-8")
    assert main(["make", "shim", "--print", "--shop", str(shop), "-o", str(tmp_path)]) == 2
    assert "it does not say how prints come out" in capsys.readouterr().err


def test_the_calibration_piece_reads_the_clearance_that_a_print_takes() -> None:
    """Printed 0.25 too small throughout, a dowel of 16 first enters the hole of 3 marks: 16.3 comes out 16.05."""
    part: Any = library().make("print_trial", METRIC)
    mesh = tessellate(part.solid().wrapped, 0.001)
    areas = [-a for a in rings(mesh, 4.0) if -a > 100.0]
    widths = sorted(2.0 * math.sqrt(a / math.pi) for a in areas)
    assert widths == pytest.approx([16.0 + 0.1 * k for k in range(6)], abs=2e-3)
    first = next(k for k, width in enumerate(part.bores()) if width - 0.25 > 16.0)
    assert (first - 1) * part.step < 0.25 <= first * part.step
    assert "1 mark = 0.1 mm wider than 16 mm" in part.gauge().convention
    marks = sum(1 for a in rings(mesh, 4.0) if 0.0 < -a < 3.0)
    assert marks == sum(range(6))
