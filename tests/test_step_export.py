"""STEP files read back: names, volumes, boxes, units; and the same bytes each time."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from fixture3d import frame
from fixture3d.cache import Store
from fixture3d.errors import OutputRefused
from fixture3d.export.block import write_block
from fixture3d.export.step import Solid, encoded, step_bytes, write_step
from fixture3d.library import library
from fixture3d.part import Pattern
from fixture3d.solid.kernel import brep_bytes, brep_from_bytes, one_solid, volume
from tests.jobs import make_job, rack


def read_back(path: Path) -> tuple[str, dict[str, Any]]:
    """Name of the assembly, and each part's shape in its place, by the name in the file."""
    from OCP.IFSelect import IFSelect_RetDone
    from OCP.STEPCAFControl import STEPCAFControl_Reader
    from OCP.TCollection import TCollection_ExtendedString
    from OCP.TDataStd import TDataStd_Name
    from OCP.TDF import TDF_Label, TDF_LabelSequence
    from OCP.TDocStd import TDocStd_Document
    from OCP.XCAFDoc import XCAFDoc_DocumentTool, XCAFDoc_ShapeTool

    def name(label: Any) -> str:
        found = TDataStd_Name()
        assert label.FindAttribute(TDataStd_Name.GetID_s(), found)
        return str(found.Get().ToExtString())

    document = TDocStd_Document(TCollection_ExtendedString("XmlOcaf"))
    reader = STEPCAFControl_Reader()
    reader.SetNameMode(True)
    assert reader.ReadFile(str(path)) == IFSelect_RetDone
    assert reader.Transfer(document)
    tool = XCAFDoc_DocumentTool.ShapeTool_s(document.Main())
    roots, parts = TDF_LabelSequence(), TDF_LabelSequence()
    tool.GetFreeShapes(roots)
    assert roots.Length() == 1
    XCAFDoc_ShapeTool.GetComponents_s(roots.Value(1), parts)
    found = {}
    for k in range(1, parts.Length() + 1):
        # The part's name: for the use of it, this reader falls back to a number when no character is ASCII.
        product = TDF_Label()
        assert XCAFDoc_ShapeTool.GetReferredShape_s(parts.Value(k), product)
        assert name(parts.Value(k)) in (name(product), str(k))
        found[name(product)] = XCAFDoc_ShapeTool.GetShape_s(parts.Value(k))
    return name(roots.Value(1)), found


def box_of(shape: Any) -> np.ndarray[Any, Any]:
    import cadquery as cq

    box = cq.Shape.cast(shape).BoundingBox()
    return np.array([[box.xmin, box.ymin, box.zmin], [box.xmax, box.ymax, box.zmax]])


def test_names_volumes_and_boxes_come_back(tmp_path: Path) -> None:
    job = rack(title="Rack upright")
    wrote = write_step(job, tmp_path / "rack.step")
    title, found = read_back(tmp_path / "rack.step")
    assert title == "Rack upright"
    assert tuple(found) == wrote.bodies == ("S1", "S2", "R1")
    assert "left leg" in wrote.left_out  # it is only a mesh in this setup
    for name, height in (("S1", 50.0), ("S2", 50.0), ("R1", 25.0)):
        # A box less two bores, closed form.
        assert volume(found[name]) == pytest.approx((100 * 50 - 2 * np.pi * 8**2) * height, rel=1e-9)
        body = next(b for b in job.bodies if b.name == name)
        np.testing.assert_allclose(box_of(found[name]), body.box, atol=1e-5)


def test_colours_come_back(tmp_path: Path) -> None:
    """Each body its own, in sRGB as it was given; the same bytes each time, which the kernel's own writer is not."""
    import cadquery as cq

    from fixture3d.solid.step_in import read_step

    box = one_solid(cq.Workplane().box(10, 20, 30))
    poses = [frame.translation((50 * k, 0, 0)) for k in range(4)]
    colours = [(0.2, 0.4, 0.6), None, (1.0, 0.0, 0.0), (0.2, 0.4, 0.6)]
    solids = [Solid(f"b{k}", box, pose, colour) for k, (pose, colour) in enumerate(zip(poses, colours, strict=True))]
    data = step_bytes("four", solids)
    assert all(step_bytes("four", solids) == data for _ in range(5))
    (tmp_path / "four.step").write_bytes(data)
    assert [(s.name, s.colour) for s in read_step(tmp_path / "four.step")] == [(s.name, s.colour) for s in solids]


def test_same_bytes_each_time(tmp_path: Path) -> None:
    job = rack()
    write_step(job, tmp_path / "a.step")
    write_step(rack(), tmp_path / "b.step")
    assert (tmp_path / "a.step").read_bytes() == (tmp_path / "b.step").read_bytes()
    assert not re.search(rb"20[2-9]\d-\d\d-\d\d", (tmp_path / "a.step").read_bytes())


@pytest.mark.parametrize("model", ["riser", "vee_block", "slide_stop", "toggle_clamp"])
def test_same_bytes_whether_built_or_from_the_cache(tmp_path: Path, model: str) -> None:
    """The kernel changes last bits each time it reads a shape."""
    part = library().make(model, Pattern(pitch=50.0, bore=16.0))
    pose = frame.chain(frame.translation((101.3, -7.1, 0.2)), frame.rotation((0, 0, 1), 33.0))
    made = [(b.name or model, one_solid(b.build())) for b in part.bodies()]
    first = step_bytes("t", [Solid(n, s, pose) for n, s in made])
    for _ in range(3):
        made = [(n, brep_from_bytes(brep_bytes(s))) for n, s in made]
        assert step_bytes("t", [Solid(n, s, pose) for n, s in made]) == first


def test_any_name_comes_back_as_it_was(tmp_path: Path) -> None:
    names = [
        "it's",
        "back\\slash",
        "Träger 3°",
        "fx3d000001x",
        "');ENDSEC;",
        "槽鋼",
        "Ä\\",
        "é'é",
        "a;b",
        "x',y",
        "x')",
        "''",
        "槽",
        "😀x",
        "a" * 80,
        "\\1 \\g<0>",
    ]
    import cadquery as cq

    box = one_solid(cq.Workplane("XY").box(1, 2, 3))
    solids = [Solid(n, box, frame.translation((10.0 * k, 0, 0))) for k, n in enumerate(names)]
    (tmp_path / "a.step").write_bytes(step_bytes("NEXT_ASSEMBLY_USAGE_OCCURRENCE('7'", solids))
    title, found = read_back(tmp_path / "a.step")
    assert title == "NEXT_ASSEMBLY_USAGE_OCCURRENCE('7'"
    assert list(found) == names


def test_strings_as_the_standard_writes_them() -> None:
    """ISO 10303-21:2016, 6.4.3: quotes and backslashes doubled, others in hexadecimal."""
    assert encoded("Äx's\\") == "\\X2\\00C4\\X0\\x''s\\\\"
    assert encoded("\U0001f600") == "\\X4\\0001F600\\X0\\"


def test_file_is_in_millimetres(tmp_path: Path) -> None:
    write_step(rack(units="mm"), tmp_path / "a.step")
    text = (tmp_path / "a.step").read_text()
    assert "SI_UNIT(.MILLI.,.METRE.)" in text
    assert "INCH" not in text.upper()


def test_refuses_to_overwrite_and_to_write_nothing(tmp_path: Path) -> None:
    (tmp_path / "a.step").write_bytes(b"mine")
    with pytest.raises(OutputRefused, match="add --force"):
        write_step(rack(), tmp_path / "a.step")
    assert (tmp_path / "a.step").read_bytes() == b"mine"
    with pytest.raises(OutputRefused, match="no solid body"):
        write_step(make_job(blocks=[]), tmp_path / "b.step")
    assert not (tmp_path / "b.step").exists()


def test_a_slide_stands_where_it_is_set_in_the_step_file(tmp_path: Path) -> None:
    shop = library()
    part = shop.make("slide_stop", Pattern(pitch=50.0, bore=16.0))
    boxes = []
    for name, slide in (("in", 0.0), ("out", 12.0)):
        written = write_block(part, tmp_path, entry=shop.entry("slide_stop"), stem=name, slide=slide, store=Store(None))
        _, found = read_back(written[0])
        boxes.append([box_of(shape) for shape in found.values()])
    (body, washer), (moved, stays) = boxes
    assert moved - body == pytest.approx(np.array([[12.0, 0.0, 0.0]] * 2), abs=1e-3)
    assert stays == pytest.approx(washer, abs=1e-6)


def test_file_names_say_the_size_and_the_unit(tmp_path: Path) -> None:
    shop = library()
    part = shop.make("riser", Pattern(pitch=50.8, bore=19.05, inch=True), {"height": "3-1/2"}, "in")
    written = write_block(part, tmp_path, entry=shop.entry("riser"), units="in", store=Store(None))
    assert [p.name for p in written] == [
        "riser height 3-1-2 in for 3-4 in on 2 in.step",
        "riser height 3-1-2 in for 3-4 in on 2 in (mm).stl",
    ]


def test_notes_say_what_is_not_in_the_file(tmp_path: Path) -> None:
    wrote = write_step(rack(), tmp_path / "a.step")
    assert any("left leg" in note for note in wrote.notes)
    assert any("table" in note for note in wrote.notes)
