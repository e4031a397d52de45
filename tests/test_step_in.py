"""Files of solids: transforms, names and units kept, broken files refused in one line."""

import os
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


def test_solids_from_a_file_are_good_enough_for_the_kernel(folder: Path) -> None:
    for solid in read_step(folder / "assembly.step"):
        assert kernel.is_valid(solid.shape().brep)
        assert solid.shape().mesh.open_edges == 0
