"""Files of solids: transforms, names and units kept, broken files refused in one line."""

import math
import os
import random
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import cadquery as cq
import pytest

from fixture3d.cache import Store
from fixture3d.errors import ImportFailed, SceneError
from fixture3d.job.weldment import build
from fixture3d.scene import Scene
from fixture3d.solid import kernel
from fixture3d.solid.step_in import read_solids, read_step
from fixture3d.tolerance import Files


def box(shape: Any) -> list[float]:
    b = cq.Shape.cast(shape).BoundingBox()
    return [b.xmin, b.xmax, b.ymin, b.ymax, b.zmin, b.zmax]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    here = tmp_path_factory.mktemp("step")
    block = cq.Workplane().box(10, 20, 30)
    rod = cq.Workplane().cylinder(40, 5)
    cq.exporters.export(block, str(here / "block.step"))
    block.val().exportStep(str(here / "inch.step"), unit="MM", outputUnit="INCH")
    block.val().exportStep(str(here / "metre.stp"), unit="MM", outputUnit="M")
    inner = (
        cq.Assembly(name="sub")
        .add(rod, name="rod", loc=cq.Location((100, 0, 0)))
        .add(rod, name="rod across", loc=cq.Location((0, 0, 50), (0, 1, 0), 90))
    )
    outer = (
        cq.Assembly(name="top")
        .add(block, name="block/one", loc=cq.Location((1, 2, 3)), color=cq.Color("red"))
        .add(inner, name="inner", loc=cq.Location((0, 500, 0), (0, 0, 1), 90))
        .add(block, name="block/one ", loc=cq.Location((-50, 0, 0)))
    )
    outer.export(str(here / "assembly.step"))
    two = cq.Compound.makeCompound([block.val(), block.val().moved(cq.Location((40, 0, 0)))])
    cq.exporters.export(cq.Workplane(obj=two), str(here / "two.step"))
    open_box = block.faces("<Z or >Z or <X").vals()
    cq.exporters.export(cq.Workplane(obj=open_box[0]), str(here / "face.step"))
    cq.exporters.export(cq.Workplane(obj=cq.Shell.makeShell(open_box)), str(here / "shell.step"))
    mixed = cq.Compound.makeCompound([block.val(), *open_box])
    cq.exporters.export(cq.Workplane(obj=mixed), str(here / "mixed.step"))
    cq.exporters.export(block, str(here / "block.stl"))
    text = (here / "block.step").read_bytes()
    (here / "empty.step").write_bytes(b"")
    (here / "blank.step").write_bytes(b"\n \n")
    (here / "short.step").write_bytes(text[: len(text) // 2])
    (here / "gap.step").write_bytes(text[: len(text) // 3] + text[len(text) // 2 :])
    (here / "noise.step").write_bytes(bytes(range(256)) * 20)
    (here / "noise inside.step").write_bytes(b"ISO-10303-21;\n" + bytes(range(256)) * 20 + b"END-ISO-10303-21;")
    (here / "bare.step").write_bytes(b"ISO-10303-21;\nHEADER;\nENDSEC;\nDATA;\nENDSEC;\nEND-ISO-10303-21;\n")
    (here / "folder.step").mkdir()
    (here / "part.iges").write_bytes(b"x")
    (here / "part.sat").write_bytes(b"x")
    return here


def test_one_solid_in_millimetres(folder: Path) -> None:
    (solid,) = read_step(folder / "block.step")
    assert solid.name == "block"
    assert solid.volume == pytest.approx(6000)
    assert box(solid.load()) == pytest.approx([-5, 5, -10, 10, -15, 15])
    assert solid.mass == pytest.approx(0.0471)


@pytest.mark.parametrize("name", ["inch.step", "metre.stp"])
def test_other_units_come_out_in_millimetres(folder: Path, name: str) -> None:
    text = (folder / name).read_text()
    assert re.search(
        r"CONVERSION_BASED_UNIT\s*\(\s*'INCH'" if name.startswith("inch") else r"SI_UNIT\(\$,\.METRE\.\)", text
    )
    (solid,) = read_step(folder / name)
    assert box(solid.load()) == pytest.approx([-5, 5, -10, 10, -15, 15], abs=1e-6)


def test_a_kernel_that_was_left_in_inches_changes_nothing(folder: Path, tmp_path: Path) -> None:
    from OCP.Interface import Interface_Static

    copy = tmp_path / "again.step"
    copy.write_bytes((folder / "block.step").read_bytes() + b"\n")
    before = Interface_Static.CVal_s("xstep.cascade.unit")
    Interface_Static.SetCVal_s("xstep.cascade.unit", "INCH")
    try:
        (solid,) = read_step(copy)
        assert solid.volume == pytest.approx(6000)
        assert Interface_Static.CVal_s("xstep.cascade.unit") == "INCH"
    finally:
        Interface_Static.SetCVal_s("xstep.cascade.unit", before)


def test_nested_assemblies_keep_places_and_names(folder: Path) -> None:
    solids = read_step(folder / "assembly.step")
    assert [s.name for s in solids] == ["block-one", "rod", "rod across", "block-one 2"]
    boxes = [box(s.load()) for s in solids]
    assert boxes[0] == pytest.approx([-4, 6, -8, 12, -12, 18], abs=1e-6)
    # rod at (100, 0, 0) of the inner assembly, which is turned by 90 degrees and moved by 500 along Y
    assert boxes[1] == pytest.approx([-5, 5, 595, 605, -20, 20], abs=1e-6)
    assert boxes[2] == pytest.approx([-5, 5, 480, 520, 45, 55], abs=1e-6)
    assert boxes[3] == pytest.approx([-55, -45, -10, 10, -15, 15], abs=1e-6)


def test_several_solids_of_one_part_are_numbered(folder: Path) -> None:
    assert [s.name for s in read_step(folder / "two.step")] == ["two", "two 2"]


def test_loose_surfaces_beside_solids_are_said(folder: Path) -> None:
    (solid,) = read_step(folder / "mixed.step")
    assert "3 loose surfaces" in solid.notes[0]


def test_a_mesh_needs_its_unit(folder: Path) -> None:
    with pytest.raises(ImportFailed, match="has no unit of its own"):
        read_solids(folder / "block.stl")
    (mm,) = read_solids(folder / "block.stl", "mm")
    (inch,) = read_solids(folder / "block.stl", "in")
    assert mm.volume == pytest.approx(6000)
    assert inch.volume == pytest.approx(6000 * 25.4**3)
    assert mm.key != inch.key
    assert mm.shape().mesh.volume == pytest.approx(6000)


@pytest.mark.parametrize(
    ("name", "says"),
    [
        ("blok.step", 'does not exist; nearest: "block.step"'),
        ("empty.step", "is empty"),
        ("blank.step", "is empty"),
        ("short.step", "is cut short"),
        ("gap.step", "is damaged: it refers to entity"),
        ("noise.step", "is not a STEP file"),
        ("noise inside.step", "no shapes that can be read"),
        ("bare.step", "no shapes that can be read"),
        ("face.step", "holds no solid, only surfaces"),
        ("shell.step", "holds no solid, only surfaces"),
        ("folder.step", "cannot be read"),
        ("part.iges", "is not an IGES file"),
        ("part.sat", "expected one that ends in .step, .stp, .igs"),
    ],
)
def test_files_that_cannot_be_used(folder: Path, name: str, says: str, capfd: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(ImportFailed) as caught:
        read_solids(folder / name)
    assert says in str(caught.value)
    assert str(caught.value).isprintable()
    assert capfd.readouterr() == ("", "")


def test_a_step_file_takes_no_unit(folder: Path) -> None:
    with pytest.raises(ImportFailed, match="carries its own unit"):
        read_solids(folder / "block.step", "in")


def test_reading_says_nothing(folder: Path, tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    copy = tmp_path / "copy.step"
    copy.write_bytes((folder / "assembly.step").read_bytes() + b"\n")
    assert len(read_step(copy)) == 4
    assert capfd.readouterr() == ("", "")


def test_a_file_that_changes_while_in_use_is_noticed(folder: Path, tmp_path: Path) -> None:
    copy = tmp_path / "moving.step"
    copy.write_bytes((folder / "block.step").read_bytes())
    (solid,) = read_step(copy)
    copy.write_bytes((folder / "two.step").read_bytes())
    with pytest.raises(ImportFailed, match="changed while it was in use"):
        solid.load()


def test_keys_follow_the_content_and_not_the_path(folder: Path, tmp_path: Path) -> None:
    copy = tmp_path / "other name.step"
    copy.write_bytes((folder / "two.step").read_bytes())
    assert [s.key for s in read_step(copy)] == [s.key for s in read_step(folder / "two.step")]
    assert len({s.key for s in read_step(copy)}) == 2


def test_a_scene_may_take_its_pieces_from_a_file(folder: Path) -> None:
    data = {"format": 1, "table": "50/16 2000x1000", "weldment": {"hole": "A1", "file": "assembly.step"}}
    made = build(Scene.from_dict(data, base=folder))
    assert made is not None
    assert [p.name for p in made.pieces] == ["block-one", "rod", "rod across", "block-one 2"]
    assert {p.kind for p in made.pieces} == {"solid"}
    data["weldment"] = {"hole": "A1", "file": "short.step"}
    with pytest.raises(SceneError, match=r"\[weldment\]: short.step is cut short"):
        build(Scene.from_dict(data, base=folder))


def test_a_solid_may_not_have_the_name_of_a_block(folder: Path) -> None:
    data = {
        "format": 1,
        "table": "50/16 2000x1000",
        "weldment": {"hole": "A1", "file": "assembly.step"},
        "place": [{"name": "Rod", "model": "riser", "hole": "C4"}],
    }
    with pytest.raises(SceneError, match='it has a solid called "rod", as a block is'):
        build(Scene.from_dict(data, base=folder))


def test_a_warm_cache_needs_no_kernel(folder: Path, tmp_path: Path) -> None:
    code = (
        "import sys; from pathlib import Path; from fixture3d.solid.step_in import read_step;"
        "from fixture3d.cache import Store;"
        f"store = Store({os.fspath(tmp_path / 'cache')!r});"
        f"solids = read_step(Path({os.fspath(folder / 'assembly.step')!r}), store);"
        "print([(s.name, s.volume, s.shape(store).mesh.volume) for s in solids]);"
        "print('OCP' in sys.modules)"
    )
    first, second = (
        subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True).stdout.splitlines()
        for _ in range(2)
    )
    assert first[0] == second[0]
    assert (first[1], second[1]) == ("True", "False")
    assert Store(tmp_path / "cache").folder is not None


# --- names, colours, repeated and mirrored parts ---


def part(name: str = "part") -> cq.Workplane:
    """A box with a notch in one corner, so that it is no mirror image of itself: 10 x 20 x 30 less 4 x 5 x 6."""
    return cq.Workplane().box(10, 20, 30, centered=False).cut(cq.Workplane().box(4, 5, 6, centered=False))


def test_repeated_parts_are_called_by_where_they_are(tmp_path: Path) -> None:
    leg, foot = part(), cq.Workplane().box(50, 50, 5)
    side = cq.Assembly(name="side").add(leg, name="leg").add(foot, name="foot", loc=cq.Location((0, 0, 40)))
    top = cq.Assembly(name="top")
    for k, name in enumerate(("left", "right")):
        top.add(side, name=name, loc=cq.Location((100 * k, 0, 0), (0, 0, 1), 90 * k))
    top.add(leg, name="leg", loc=cq.Location((300, 0, 0))).add(leg, name="leg ", loc=cq.Location((400, 0, 0)))
    top.export(str(tmp_path / "t.step"))
    solids = read_step(tmp_path / "t.step")
    assert [s.name for s in solids] == ["left leg", "left foot", "right leg", "right foot", "leg", "leg 2"]
    # The independent reader: cadquery's own import of the whole, solid by solid.
    theirs = cq.importers.importStep(str(tmp_path / "t.step")).solids().vals()
    ours = [[round(v, 3) + 0.0 for v in (s.volume, *box(s.load()))] for s in solids]
    assert sorted(ours) == sorted([round(v, 3) + 0.0 for v in (t.Volume(), *box(t.wrapped))] for t in theirs)
    assert {round(s.volume, 6) for s in solids} == {10 * 20 * 30 - 4 * 5 * 6, 50 * 50 * 5}


def test_a_part_without_a_name_is_called_after_what_it_is_in(tmp_path: Path) -> None:
    (tmp_path / "n.step").write_text(
        plain_step(part()).replace("PRODUCT('Open CASCADE STEP translator 7.9 1'", "PRODUCT('SOLID'")
    )
    assert [s.name for s in read_step(tmp_path / "n.step")] == ["n"]


def test_colours_of_parts_uses_and_files(tmp_path: Path) -> None:
    """A use may have a colour of its own; sRGB as it is written, not the kernel's linear values."""
    grey = cq.Color(0.5, 0.5, 0.5)
    inner = cq.Assembly(name="inner").add(part(), name="rod", color=cq.Color(0.25, 0.5, 0.75))
    top = (
        cq.Assembly(name="top")
        .add(part(), name="red", color=cq.Color("red"))
        .add(part(), name="plain", loc=cq.Location((50, 0, 0)))
        .add(part(), name="grey", loc=cq.Location((0, 50, 0)), color=grey)
        .add(inner, name="inner", loc=cq.Location((0, 0, 50)))
    )
    top.export(str(tmp_path / "c.step"))
    found = {s.name: s.colour for s in read_step(tmp_path / "c.step")}
    written = re.findall(r"COLOUR_RGB\(''([^)]*)\)", re.sub(r"\s+", "", (tmp_path / "c.step").read_text()))
    assert found["plain"] is None
    assert found["red"] == (1.0, 0.0, 0.0)
    for name in ("grey", "rod"):
        assert found[name] in [tuple(round(float(v), 4) for v in line.split(",")[1:]) for line in written]
    data = {"format": 1, "table": "50/16 2000x1000", "weldment": {"hole": "A1", "file": "c.step"}}
    made = build(Scene.from_dict(data, base=tmp_path))
    assert made is not None
    assert {p.name: p.colour for p in made.pieces} == found


def plain_step(solid: cq.Workplane, unit: str = "MM") -> str:
    """The STEP text of one solid, one statement a line."""
    import tempfile

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "x.step"
        solid.val().exportStep(str(path), unit="MM", outputUnit=unit)
        return re.sub(r"\n\s+", "", path.read_text())


def placed_by_operator(axis1: str, scale: str = "1.", keys: str = "'',$,''") -> str:
    """A file whose part is placed by a cartesian transformation operator (ISO 10303-42) at x = 100."""
    text = plain_step(part())
    whole = re.search(r"#(\d+) = ADVANCED_BREP_SHAPE_REPRESENTATION\('',\((#\d+),(#\d+)\),(#\d+)\)", text)
    assert whole is not None
    more = f"""#9001=CARTESIAN_POINT('',(100.,0.,0.));
#9002=DIRECTION('',({axis1},0.,0.));
#9003=DIRECTION('',(0.,1.,0.));
#9004=DIRECTION('',(0.,0.,1.));
#9005=CARTESIAN_TRANSFORMATION_OPERATOR_3D({keys},#9002,#9003,#9001,{scale},#9004);
#9006=REPRESENTATION_MAP({whole[2]},#{whole[1]});
#9007=MAPPED_ITEM('',#9006,#9005);
#9008=SHAPE_REPRESENTATION('',({whole[2]},#9007),{whole[4]});
"""
    text, count = re.subn(rf"(SHAPE_DEFINITION_REPRESENTATION\(#\d+),#{whole[1]}\)", r"\1,#9008)", text)
    assert count == 1
    head, end, tail = text.rpartition("ENDSEC;")
    return head + more + end + tail


def test_a_part_placed_by_an_operator(tmp_path: Path) -> None:
    (tmp_path / "o.step").write_text(placed_by_operator("1."))
    (solid,) = read_step(tmp_path / "o.step")
    assert box(solid.load()) == pytest.approx([100, 110, 0, 20, 0, 30], abs=1e-6)


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("-1.",), r"mirrors an instance \(entity #9005\)"),
        (("1.", "2."), "scales an instance by 2"),
        (("1.", "1.", "''"), "by a transform that the CAD kernel cannot read"),
    ],
)
def test_instances_that_the_kernel_would_misplace_are_refused(
    arguments: tuple[str, ...], says: str, tmp_path: Path
) -> None:
    (tmp_path / "o.step").write_text(placed_by_operator(*arguments))
    with pytest.raises(ImportFailed, match=says):
        read_step(tmp_path / "o.step")


def test_mirrored_locations_become_mirrored_solids() -> None:
    """The notch of the mirror image is on the other side, and its faces still look outwards."""
    from OCP.gp import gp_Ax2, gp_Dir, gp_Pnt, gp_Trsf
    from OCP.TopLoc import TopLoc_Location

    from fixture3d.solid.assembly import upright

    mirror = gp_Trsf()
    mirror.SetMirror(gp_Ax2(gp_Pnt(0, 0, 0), gp_Dir(1, 0, 0)))
    solid = kernel.one_solid(upright(part().val().wrapped.Moved(TopLoc_Location(mirror), False)))
    assert kernel.volume(solid) == pytest.approx(10 * 20 * 30 - 4 * 5 * 6)
    mesh = kernel.tessellate(solid)
    assert mesh.box.tolist() == [[-10, 0, 0], [0, 20, 30]]
    assert any((abs(v - [-4, 5, 6]) < 1e-9).all() for v in mesh.vertices)


# --- surfaces sewn, solids mended ---


def six_faces(gap: float = 0.0, without: int = 0) -> list[Any]:
    """The faces of a box of 10 x 20 x 30, the top one lifted by ``gap``."""
    faces = cq.Workplane().box(10, 20, 30).faces().vals()
    top = max(faces, key=lambda f: f.Center().z)
    return [f.moved(cq.Location((0, 0, gap))) if f is top else f for f in faces][without:]


@pytest.mark.parametrize(("gap", "closes"), [(0.0, True), (0.008, True), (0.012, False), (1.0, False)])
def test_loose_surfaces_are_sewn_as_far_as_their_edges_meet(gap: float, closes: bool, tmp_path: Path) -> None:
    path = tmp_path / f"gap{gap}.step"
    cq.exporters.export(cq.Workplane(obj=cq.Compound.makeCompound(six_faces(gap))), str(path))
    if closes:
        (solid,) = read_step(path)
        assert solid.volume == pytest.approx(6000, abs=gap * 200 + 1e-6)
        assert solid.notes == ("repaired: sewn from loose surfaces whose edges meet within 0.01 mm",)
        assert solid.shape().mesh.open_edges == 0
    else:
        with pytest.raises(ImportFailed, match=r"only surfaces \(an open edge 20 mm long at"):
            read_step(path)


def test_an_open_solid_is_refused_with_its_place(tmp_path: Path) -> None:
    """A solid whose shell lacks its lid; the longest edge of the hole is 20 long."""
    from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeSolid

    faces = sorted(six_faces(), key=lambda f: f.Center().z)[:-1]
    shell = cq.Shell.makeShell(faces).wrapped
    solid = BRepBuilderAPI_MakeSolid(shell).Solid()
    cq.exporters.export(cq.Workplane(obj=cq.Shape.cast(solid)), str(tmp_path / "lid.step"))
    with pytest.raises(ImportFailed, match=r"an open edge 20 mm long at \(-?5\.0, 0\.0, 15\.0\)"):
        read_step(tmp_path / "lid.step")


def test_a_solid_with_a_face_that_looks_inwards_is_sewn_again() -> None:
    from OCP.BRep import BRep_Builder
    from OCP.TopoDS import TopoDS_Shell, TopoDS_Solid

    from fixture3d.solid.sewing import mended

    builder, shell, solid = BRep_Builder(), TopoDS_Shell(), TopoDS_Solid()
    builder.MakeShell(shell)
    builder.MakeSolid(solid)
    for k, face in enumerate(six_faces()):
        builder.Add(shell, face.wrapped.Reversed() if k == 2 else face.wrapped)
    shell.Closed(True)
    builder.Add(solid, shell)
    assert not kernel.is_valid(solid)
    found, note = mended(solid)
    assert kernel.volume(found) == pytest.approx(6000)
    assert note == "repaired: its faces sewn together within 0.01 mm"
    whole = cq.Workplane().box(10, 20, 30).val().wrapped
    found, note = mended(whole.Reversed())
    assert (round(kernel.volume(found), 6), note) == (6000, "repaired: turned outside out")
    assert mended(whole) == (whole, "")


def test_surfaces_within_surfaces_may_be_hollow_or_solid() -> None:
    from fixture3d.errors import BadSolid
    from fixture3d.solid.sewing import sew

    inner = [f.wrapped for f in cq.Workplane().box(2, 2, 2).faces().vals()]
    apart = [f.wrapped for f in cq.Workplane().box(2, 2, 2).translate((40, 0, 0)).faces().vals()]
    outer = [f.wrapped for f in six_faces()]
    with pytest.raises(BadSolid, match=r"within another at \(0\.0, 0\.0, 0\.0\)"):
        sew([*outer, *inner])
    solids, left, where = sew([*outer, *apart])
    assert sorted(round(kernel.volume(s), 6) for s in solids) == [8, 6000]
    assert (left, where) == (0, "")


def test_a_solid_inside_out_is_turned(tmp_path: Path) -> None:
    text = plain_step(part())
    assert text.count("CLOSED_SHELL") == 1
    shell = re.search(r"#(\d+) = CLOSED_SHELL\('',\(([^)]*)\)\)", text)
    assert shell is not None
    turned = re.sub(r"(= ADVANCED_FACE\('',\([^)]*\),#\d+),\.(T|F)\.\)", _other_side, text)
    (tmp_path / "t.step").write_text(turned)
    (solid,) = read_step(tmp_path / "t.step")
    assert solid.volume == pytest.approx(10 * 20 * 30 - 4 * 5 * 6)


def _other_side(match: re.Match[str]) -> str:
    return f"{match[1]},.{'F' if match[2] == 'T' else 'T'}.)"


# --- IGES ---


def write_iges(shape: Any, path: Path, brep: bool, unit: str = "MM") -> None:
    from OCP.IGESControl import IGESControl_Writer

    writer = IGESControl_Writer(unit, 1 if brep else 0)
    with kernel.quiet():
        writer.AddShape(shape)
        writer.ComputeModel()
        assert writer.Write(str(path))


@pytest.mark.parametrize("unit", ["MM", "IN"])
@pytest.mark.parametrize("brep", [True, False], ids=["solids", "surfaces"])
def test_iges_solids_and_surfaces(brep: bool, unit: str, tmp_path: Path) -> None:
    path = tmp_path / "P.IGS"
    tube = part().faces(">Z").workplane().center(5, 14).hole(4)
    write_iges(tube.val().wrapped, path, brep, unit)
    (solid,) = read_solids(path)
    assert solid.volume == pytest.approx(10 * 20 * 30 - 4 * 5 * 6 - math.pi * 4 * 30, rel=1e-6)
    assert box(solid.load()) == pytest.approx([0, 10, 0, 20, 0, 30], abs=1e-5)
    assert bool(solid.notes) != brep
    with pytest.raises(ImportFailed, match="carries its own unit"):
        read_solids(path, "mm")


def test_iges_that_does_not_close_or_is_damaged(tmp_path: Path) -> None:
    path = tmp_path / "open.iges"
    write_iges(cq.Compound.makeCompound(six_faces(without=1)).wrapped, path, False)
    with pytest.raises(ImportFailed, match="holds no solid, only surfaces"):
        read_solids(path)
    write_iges(part().val().wrapped, path, True)
    lines = path.read_text().splitlines(keepends=True)
    (tmp_path / "cut.igs").write_text("".join(lines[: len(lines) // 2]))
    with pytest.raises(ImportFailed, match="is cut short"):
        read_solids(tmp_path / "cut.igs")
    (tmp_path / "gap.igs").write_text("".join(lines[:-9] + lines[-8:]))
    with pytest.raises(ImportFailed, match="section P has"):
        read_solids(tmp_path / "gap.igs")


# --- the process that reads ---


@pytest.mark.parametrize(("kind", "count"), [("step", 15), ("igs", 8)])
def test_damaged_copies_never_take_the_program_down(kind: str, count: int, tmp_path: Path) -> None:
    """The kernel itself crashes on some of these; then one line says so, and the next file is read again."""
    path = tmp_path / f"good.{kind}"
    if kind == "step":
        path.write_text(plain_step(part()))
    else:
        write_iges(part().val().wrapped, path, True)
    good = path.read_bytes()
    rng = random.Random(11)
    for k in range(count):
        broken = bytearray(good)
        for _ in range(rng.choice((1, 4, 16))):
            at = rng.randrange(len(broken))
            broken[at : at + 1] = bytes([rng.choice(b"0123456789.,#$*'ED")])
        (tmp_path / f"{k}.{kind}").write_bytes(broken)
        try:
            read_solids(tmp_path / f"{k}.{kind}")
        except ImportFailed as fault:
            if not str(fault).isprintable() or f"{k}.{kind}" not in str(fault):
                raise
    (solid,) = read_solids(path)
    assert solid.volume == pytest.approx(10 * 20 * 30 - 4 * 5 * 6)


def test_a_reader_that_dies_or_dreams_is_replaced(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from fixture3d.solid import reading

    def fresh(name: str) -> Path:
        copy = tmp_path / name
        copy.write_bytes((folder / "block.step").read_bytes() + b"\n")
        return copy

    with monkeypatch.context() as patch:
        patch.setattr(reading, "_CODE", "import sys; sys.stdin.readline(); import os; os._exit(11)")
        patch.setattr(reading, "_reader", None)
        with pytest.raises(ImportFailed, match=r"dies\.step cannot be read: the CAD kernel crashed on it"):
            read_step(fresh("dies.step"))
    with monkeypatch.context() as patch:
        patch.setattr(reading, "_CODE", "import time; time.sleep(60)")
        patch.setattr(reading, "_reader", None)
        patch.setattr("fixture3d.solid.reading.FILES", Files(seconds=0.5))
        with pytest.raises(ImportFailed, match=r"dreams\.step takes the CAD kernel longer than 0\.5 s"):
            read_step(fresh("dreams.step"))
    with monkeypatch.context() as patch:
        # One that has just gone to sleep is woken again.
        patch.setattr(reading, "_CODE", reading._CODE.replace("serve()", "(reading := None) or serve()"))
        assert len(read_step(fresh("lives.step"))) == 1


def test_solids_from_a_file_are_good_enough_for_the_kernel(folder: Path) -> None:
    for solid in read_step(folder / "assembly.step"):
        assert kernel.is_valid(solid.shape().brep)
        assert solid.shape().mesh.open_edges == 0
