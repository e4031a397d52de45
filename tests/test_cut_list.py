"""The cut list against plain geometry of the solids, and its files read back and measured."""

import csv
import io
import json
import math
import re
import time
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from fixture3d import frame
from fixture3d.cli import main
from fixture3d.export.cut_list import cuts_csv, cuts_dict, cuts_text, write_cuts
from fixture3d.export.dxf import plate_dxf
from fixture3d.export.template import FOOT, Template, template_dxf, templates
from fixture3d.export.template_pdf import templates_pdf, tiles
from fixture3d.job.cut_data import CutRow, cut_rows, totals
from fixture3d.job.pieces import piece_shape
from fixture3d.job.plate_dxf import read_outline
from fixture3d.job.weldment import Piece, Weldment, build
from fixture3d.report.cut_text import end_text, rotation_text, round_about
from fixture3d.scene import Scene

HEAD = {"format": 1, "table": "50/16 2000x1000", "weldment": {"hole": "A1"}}


def scene(**parts: Any) -> Scene:
    return Scene.from_dict({**HEAD, **parts})


def weldment(**parts: Any) -> Weldment:
    made = build(scene(**parts))
    assert made is not None
    return made


def one(**keys: Any) -> CutRow:
    data = {"name": "m", "stock": "SHS 40x40x3", "from": [0, 0, 0], "to": [500, 0, 0], **keys}
    return cut_rows(weldment(member=[data]).pieces)[0]


def end_normals(piece: Piece) -> list[np.ndarray]:
    """Outward normals of a solid's two end faces in the frame of its piece, (3,) each, from its mesh alone."""
    mesh = piece_shape(piece).mesh
    corners = mesh.vertices[mesh.faces]
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    sizes = np.linalg.norm(normals, axis=1)
    units = normals / sizes[:, None]
    out = []
    for sign in (-1.0, 1.0):
        ends = units[:, 0] * sign > 0.05  # the sides of stock have no X
        out.append(np.average(units[ends], axis=0, weights=sizes[ends]))
        assert np.allclose(units[ends], out[-1], atol=1e-6)
    return out


def test_mitres_of_any_rotation_are_those_of_the_solids_end_faces() -> None:
    rng = np.random.default_rng(2)
    for stock in ("RHS 60x40x3", "CHS 48.3x3.2"):
        for _ in range(4):
            to = rng.normal(size=3)
            to = to / np.linalg.norm(to) * 500
            about = [str(rng.choice([a for a in "xyz" if abs(to["xyz".index(a)]) < 400])) for _ in (0, 1)]
            ends = [{"mitre": float(rng.uniform(15, 55) * rng.choice([-1, 1])), "about": axis} for axis in about]
            row = one(stock=stock, to=to.tolist(), roll=float(rng.uniform(-180, 180)), ends=ends)
            assert row.ends is not None
            clocks = []
            for side, facts, normal in zip((-1, 1), row.ends, end_normals(row.piece), strict=True):
                assert facts.angle == pytest.approx(math.degrees(math.acos(abs(normal[0]))), abs=1e-3)
                # The longest point is where the face leans back: opposite to where it looks across the member.
                clock = math.degrees(math.atan2(normal[1], -normal[2])) % 360
                assert facts.long is not None
                assert math.remainder(facts.long - clock, 360) == pytest.approx(0, abs=1e-3)
                assert side * normal[0] > 0
                clocks.append(clock)
                if facts.marks is not None:
                    top, beside = facts.marks
                    assert math.tan(math.radians(top)) == pytest.approx(abs(normal[1] / normal[0]), abs=1e-5)
                    assert math.tan(math.radians(beside)) == pytest.approx(abs(normal[2] / normal[0]), abs=1e-5)
            assert row.rotation is not None
            assert math.remainder(row.rotation - (clocks[1] - clocks[0]), 360) == pytest.approx(0, abs=1e-3)
            box = piece_shape(row.piece).mesh.box
            assert row.length == pytest.approx(float(box[1, 0] - box[0, 0]), abs=0.05)


@pytest.mark.parametrize(
    ("ends", "words", "turned"),
    [
        ([{"mitre": -45, "about": "z"}, {"mitre": 45, "about": "z"}], ("right", "right"), "both long points on one"),
        ([{"mitre": 45, "about": "z"}, {"mitre": 45, "about": "z"}], ("left", "right"), "long points on opposite"),
        ([{"mitre": -45, "about": "z"}, {"mitre": 30, "about": "y"}], ("right", "top"), "90° counter-clockwise"),
        (["square", {"mitre": 45, "about": "z"}], ("", "right"), ""),
    ],
)  # fmt: skip
def test_words_for_the_saw(ends: list[Any], words: tuple[str, str], turned: str) -> None:
    # Along X with its top up, left is +Y. Turned 45 degrees about z the last face looks to +Y: it is long on -Y.
    row = one(ends=ends)
    assert row.ends is not None
    found = tuple("" if end.long is None else round_about(end.long) for end in row.ends)
    assert found == words
    assert turned in rotation_text(row)
    assert bool(turned) == bool(rotation_text(row))


@pytest.mark.parametrize(("angle", "roll"), [(45.0, 0.0), (60.0, 90.0), (120.0, 30.0), (90.0, 0.0)])
def test_a_slanted_cope_says_where_it_is_longest(angle: float, roll: float) -> None:
    """Held against the solid: the outermost vertices of its coped end, seen along the member."""
    way = [math.cos(math.radians(angle)), math.sin(math.radians(angle))]
    made = weldment(
        member=[
            {"name": "run", "stock": "CHS 48.3x3.2", "from": [-200, 0, 0], "to": [200, 0, 0]},
            {
                **{"name": "arm", "stock": "CHS 33.7x2.6", "from": [0, 0, 0], "to": [300 * way[0], 300 * way[1], 0]},
                **{"roll": roll, "ends": [{"cope": "run"}, "square"]},
            },
        ]
    )
    row = next(row for row in cut_rows(made.pieces) if row.piece.name == "arm")
    assert row.ends is not None
    end = row.ends[0]
    points = piece_shape(row.piece).mesh.vertices
    outside = points[np.hypot(points[:, 1], points[:, 2]) > 33.7 / 2 - 0.01]
    edge = outside[outside[:, 0] < 100.0]  # vertices of its rim, one every 5 to 9 degrees
    clocks = np.degrees(np.arctan2(-edge[:, 1], edge[:, 2])) % 360.0
    for places, best in ((end.tips, edge[:, 0].min()), (end.dips, edge[:, 0].max())):
        for place in places:
            near = np.abs((clocks - place + 180.0) % 360.0 - 180.0).argmin()
            assert edge[near, 0] == pytest.approx(best, abs=0.3)
    assert end.eared == (angle == 90.0)
    assert (", shortest" in cuts_text(scene(member=[]), made)) == (angle != 90.0)


def test_a_notch_says_how_far_it_goes_in() -> None:
    ends = ["square", {"notch": {"side": "top right", "length": 30, "depth": 10, "across": 12}}]
    row = one(stock="SHS 40x40x3", ends=ends)
    assert row.ends is not None
    words = end_text(row.ends[1], "mm")
    assert words == "square; notch on the top right, 30 mm long, 10 mm in from the top and 12 mm in from the right"


def test_pieces_that_are_alike_are_one_row() -> None:
    frame_rows = cut_rows(weldment(frame=[{"name": "f", "stock": "SHS 40x40x3", "width": 600, "height": 400}]).pieces)
    assert [(row.count, row.length) for row in frame_rows] == [(2, 600), (2, 400)]
    assert totals(frame_rows)[0].length == pytest.approx(2000)
    tube = {"stock": "CHS 48.3x3.2", "from": [0, 0, 0], "to": [500, 0, 0]}
    mitre = [{"mitre": 30, "about": "z"}, {"mitre": 40, "about": "z"}]
    flipped = [{"mitre": 40, "about": "y"}, {"mitre": 30, "about": "y"}]
    skew = [{"mitre": 30, "about": "z"}, {"mitre": 40, "about": "y"}]
    hole = [{"at": 100, "diameter": 9}]
    rows = cut_rows(
        weldment(
            member=[
                {"name": "a", **tube, "ends": mitre},
                {"name": "b", **tube, "ends": flipped},
                {"name": "c", **tube, "ends": skew},
                {"name": "d", **tube, "ends": mitre, "holes": hole},
                {"name": "e", **tube, "ends": mitre, "holes": hole},
            ]
        ).pieces
    )
    assert [[piece.name for piece in row.pieces] for row in rows] == [["a", "b"], ["c"], ["d", "e"]]


EARS = [{"cope": "b"}, "square"]
COPED: dict[str, Any] = {
    "member": [
        {"name": "bar", "stock": "CHS 42.4x2.6", "from": [0, 0, 0], "to": [30, 400, 60],
         "ends": [{"cope": "low", "gap": 1}, {"cope": "high"}], "holes": [{"at": 200, "diameter": 9}], "roll": 25},
        {"name": "low", "stock": "CHS 60.3x3.2", "from": [-300, 0, 0], "to": [300, 40, 10]},
        {"name": "high", "stock": "SHS 50x50x3", "from": [-300, 400, 60], "to": [300, 400, 60]},
        {"name": "post", "stock": "SHS 40x40x3", "from": [200, 33.3333, 8.3333], "to": [200, 33.3333, 400],
         "ends": [{"cope": "low"}, "square"]},
        {"name": "hoop", "stock": "CHS 33.7x2.6", "path": [[0, 0, 900], [300, 0, 900], [300, 250, 900]], "bend": 80,
         "ends": ["square", {"mitre": 45, "about": "z"}]},
    ],
    "plate": [{"name": "gusset", "outline": [[0, 0], [80, 0], [0, 80]], "thickness": 6,
               "holes": [{"at": [20, 20], "diameter": 9}]}],
}  # fmt: skip


@pytest.fixture(scope="module")
def coped() -> tuple[Scene, Weldment]:
    data = scene(**COPED, title="Coped <b>#[rack]</b>")
    made = build(data)
    assert made is not None
    return data, made


def rim(template: Template) -> list[np.ndarray]:
    """The template's curve wrapped round the tube again, as points in the frame of the piece."""
    section = template.row.piece.section
    assert section is not None
    assert template.row.piece.end_cuts is not None
    other = template.row.piece.end_cuts[1 - template.which].tip(section)
    side = 1.0 if template.which else -1.0
    out = []
    for across, up in template.curve[:: max(1, len(template.curve) // 60)]:
        clock = (math.pi + side * across / (section.height / 2)) % (2 * math.pi)  # from the bottom over the left
        y, z = -math.sin(clock) * section.height / 2, math.cos(clock) * section.height / 2
        out.append(np.array([other + side * (template.stand + up), y, z]))
    return out


def test_a_template_wrapped_round_the_tube_lies_on_the_solids_edge(coped: tuple[Scene, Weldment]) -> None:
    rows = cut_rows(coped[1].pieces)
    made = [t for t in templates(rows) if t.row.piece.name == "bar"]
    assert [t.name for t in made] == ["P1 first end", "P1 last end"]
    from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeVertex
    from OCP.BRepExtrema import BRepExtrema_DistShapeShape
    from OCP.gp import gp_Pnt

    edges = _rim_edges(piece_shape(made[0].row.piece).brep, 42.4 / 2)
    for template in made:
        # Once round the outside is pi D (the handbook's circumference of a circle).
        assert template.girth == pytest.approx(math.pi * 42.4, abs=1e-9)
        assert float(template.curve[:, 1].min()) == pytest.approx(FOOT, abs=0.01)
        for point in rim(template):
            vertex = BRepBuilderAPI_MakeVertex(gp_Pnt(*map(float, point))).Vertex()
            assert BRepExtrema_DistShapeShape(vertex, edges).Value() < 0.02


def _rim_edges(solid: Any, radius: float) -> Any:
    """Edges of a solid that lie on a cylinder about X."""
    from OCP.BRep import BRep_Builder
    from OCP.BRepAdaptor import BRepAdaptor_Curve
    from OCP.TopAbs import TopAbs_EDGE
    from OCP.TopExp import TopExp_Explorer
    from OCP.TopoDS import TopoDS, TopoDS_Compound

    builder, out = BRep_Builder(), TopoDS_Compound()
    builder.MakeCompound(out)
    edges = TopExp_Explorer(solid, TopAbs_EDGE)
    while edges.More():
        edge = TopoDS.Edge_s(edges.Current())
        curve = BRepAdaptor_Curve(edge)
        params = np.linspace(curve.FirstParameter(), curve.LastParameter(), 9)
        points = [curve.Value(float(t)) for t in params]
        seam = max(p.X() for p in points) - min(p.X() for p in points) > 100
        if not seam and all(abs(math.hypot(p.Y(), p.Z()) - radius) < 1e-3 for p in points):
            builder.Add(out, edge)
        edges.Next()
    return out


def test_a_right_angled_cope_of_equal_tubes_is_the_sine_curve_of_the_handbook() -> None:
    # Equal tubes at right angles: theta from an ear the edge is R |sin theta| below it. Two equal cylinders meet in
    # two plane ellipses (descriptive geometry), and a plane cut unrolls to a sine.
    made = weldment(
        member=[
            {"name": "a", "stock": "CHS 48.3x3.2", "from": [0, 0, 0], "to": [0, 300, 0], "ends": EARS},
            {"name": "b", "stock": "CHS 48.3x3.2", "from": [-300, 0, 0], "to": [300, 0, 0]},
        ]
    )  # fmt: skip
    template = templates(cut_rows(made.pieces))[0]
    r = 48.3 / 2
    theta = template.curve[:, 0] / r  # from the bottom, where an ear is
    depth = template.height - template.curve[:, 1]
    assert np.allclose(depth, r * np.abs(np.sin(theta)), atol=1e-6)


def test_lines_of_the_template_lie_on_the_sides_of_the_tube(coped: tuple[Scene, Weldment]) -> None:
    quarter = math.pi * 42.4 / 4
    first, last = templates(cut_rows(coped[1].pieces))[:2]
    assert [name for name, _ in first.lines] == ["right", "top", "left"]
    assert [name for name, _ in last.lines] == ["left", "top", "right"]
    for template in (first, last):
        assert np.allclose([at for _, at in template.lines], [quarter, 2 * quarter, 3 * quarter], atol=1e-3)


def test_a_square_tube_is_developed_over_its_four_sides() -> None:
    made = weldment(
        member=[
            {"name": "a", "stock": "SHS 40x40x3", "from": [0, 0, 0], "to": [0, 300, 0], "ends": EARS},
            {"name": "b", "stock": "CHS 60.3x3.2", "from": [-300, 0, 0], "to": [300, 0, 0]},
        ]
    )  # fmt: skip
    template = templates(cut_rows(made.pieces))[0]
    section = template.row.piece.section
    assert section is not None
    r = section.outer_radius
    assert template.girth == pytest.approx(4 * (40 - 2 * r) + 2 * math.pi * r, abs=1e-9)
    # Its flats that run along the round tube are cut level; the others dip by the arrow of a circle of 60.3.
    x = template.curve[:, 1]
    arrow = 60.3 / 2 - math.sqrt((60.3 / 2) ** 2 - (40 / 2) ** 2)
    assert float(x.max() - x.min()) == pytest.approx(arrow, abs=1e-6)


def test_a_template_drawing_reads_back_at_true_scale(tmp_path: Path, coped: tuple[Scene, Weldment]) -> None:
    import ezdxf

    rows = cut_rows(coped[1].pieces)
    template = templates(rows)[0]
    (tmp_path / "t.dxf").write_bytes(template_dxf(template, "in"))
    document = ezdxf.readfile(tmp_path / "t.dxf")  # type: ignore[attr-defined,unused-ignore]
    assert not document.audit().errors
    assert document.dxfversion == "AC1024"  # R2010
    assert document.header["$INSUNITS"] == 4
    outline = document.modelspace().query('LWPOLYLINE[layer=="cut"]')
    assert len(outline) == 1
    assert outline[0].closed
    points = np.array([p[:2] for p in outline[0].get_points()])
    assert np.ptp(points[:, 0]) == pytest.approx(math.pi * 42.4, abs=1e-6)
    assert np.ptp(points[:, 1]) == pytest.approx(template.height, abs=1e-6)
    check = next(e for e in document.modelspace().query('LWPOLYLINE[layer=="marks"]') if e.get_points()[0][1] < 0)
    assert math.dist(*(p[:2] for p in check.get_points())) == pytest.approx(101.6, abs=1e-9)


def test_a_plate_goes_out_and_comes_in_again(tmp_path: Path, coped: tuple[Scene, Weldment]) -> None:
    import ezdxf

    from fixture3d.job.weldment import PlateShape
    from fixture3d.stock.section import rounded

    slot = ((30, 20, 5.0), (30, 30, 5.0), (60, 30, 5.0), (60, 20, 5.0))
    outline = rounded([(0, 0, 10), (100, 0, 0), (100, 50, 25), (0, 50, 3)])
    plate = PlateShape(outline=outline, thickness=6, holes=((80, 25, 9),), openings=(rounded(list(slot)),))
    data = plate_dxf(plate)
    path = tmp_path / "p.dxf"
    path.write_bytes(data)
    assert not ezdxf.readfile(path).audit().errors  # type: ignore[attr-defined,unused-ignore]
    found = read_outline(path)
    again = PlateShape(outline=found.outline, thickness=6, holes=found.holes, openings=found.openings)
    assert again.area == pytest.approx(plate.area, rel=1e-9)
    assert found.holes == ((80, 25, 9),)
    assert len(found.openings) == 1
    time.sleep(1.1)  # a date in it would have changed
    assert plate_dxf(plate) == data


def test_the_pdf_is_at_true_scale_and_the_same_each_time(coped: tuple[Scene, Weldment]) -> None:
    import pypdf

    made = templates(cut_rows(coped[1].pieces))
    data = templates_pdf(made, "Coped <b>#[rack]</b>", "a4", "mm")
    assert templates_pdf(made, "Coped <b>#[rack]</b>", "a4", "mm") == data
    reader = pypdf.PdfReader(io.BytesIO(data))
    assert len(reader.pages) == len(made)
    text = reader.pages[0].extract_text()
    assert "Print at 100 %" in text
    assert "100 mm long" in re.sub(r"\s+", " ", text)
    assert "#[rack]" in text
    widths = _widths(reader.pages[0])
    assert any(abs(w - math.pi * 42.4) < 0.05 for w in widths)  # the template
    assert any(abs(w - 100.0) < 0.05 for w in widths)  # the check line


def _widths(page: Any) -> list[float]:
    """Width of every path on a page, mm: its points through the transforms that hold there."""
    import pypdf
    from pypdf.generic import ContentStream

    stack, now = [], np.eye(3)
    points: list[np.ndarray] = []
    out = []
    for operands, operator in ContentStream(page.get_contents(), page.pdf).operations:
        v = [float(x) for x in operands if isinstance(x, int | float | pypdf.generic.FloatObject)]
        if operator == b"q":
            stack.append(now)
        elif operator == b"Q":
            now = stack.pop()
        elif operator == b"cm":
            now = np.array([[v[0], v[1], 0], [v[2], v[3], 0], [v[4], v[5], 1]]) @ now
        elif operator in (b"m", b"l", b"c"):
            points.append((np.array([v[-2], v[-1], 1]) @ now)[:2])
        elif operator in (b"S", b"s", b"f", b"B", b"n", b"b", b"f*"):
            if points:
                out.append(float(np.ptp(np.array(points)[:, 0])) * 25.4 / 72)
            points = []
    return out


def test_a_large_template_is_laid_on_pages_that_share_a_strip() -> None:
    laid = tiles(450.0, 300.0, "a4")
    assert len(laid) > 1
    covered = np.zeros((450, 300), dtype=int)
    for tile in laid:
        x, y = round(tile.left + 4), round(tile.low + 4)
        covered[x : x + int(tile.width), y : y + int(tile.height)] += 1
        assert tile.width <= 210 - 24
        assert tile.height <= 297 - 24
    assert covered.min() >= 1
    assert covered.max() >= 2
    assert len(tiles(150.0, 60.0, "a4")) == len(tiles(250.0, 60.0, "a4")) == 1
    assert tiles(240.0, 60.0, "letter")[0].flipped


def test_text_json_and_csv_say_the_same(coped: tuple[Scene, Weldment]) -> None:
    text, data = cuts_text(*coped), cuts_dict(*coped)
    rows = list(csv.reader(io.StringIO(cuts_csv(cut_rows(coped[1].pieces), "mm").decode("utf-8-sig"))))
    assert len({len(row) for row in rows}) == 1
    assert [row[0] for row in rows[1:]] == [piece["mark"] for piece in data["pieces"]]
    for row, piece in zip(rows[1:], data["pieces"], strict=True):
        if piece["cut_length"] is not None:
            assert float(row[4]) == pytest.approx(piece["cut_length"], abs=0.005)
    hoop = data["pieces"][4]
    assert hoop["cut_length"] == pytest.approx(550 - 160 + 40 * math.pi + 33.7 / 2, abs=1e-5)
    assert hoop["bends"][0]["start"] == pytest.approx(220)
    assert hoop["bends"][0]["arc"] == pytest.approx(40 * math.pi, abs=1e-6)
    assert "bend 1: begins at 220 mm, 90°, radius 80 mm, bending toward left" in text
    assert "coped round low (CHS 60.3x3.2)" in text
    assert "gap 1 mm" in text
    assert "hole 9 mm at" in text
    json.dumps(data, allow_nan=False)


def test_a_cell_is_never_a_formula() -> None:
    made = weldment(member=[{"name": "=1+1", "stock": "SHS 40x40x3", "from": [0, 0, 0], "to": [500, 0, 0]}])
    assert b",'=1+1," in cuts_csv(cut_rows(made.pieces), "mm")


def test_files_are_written_together_or_not_at_all(tmp_path: Path, coped: tuple[Scene, Weldment]) -> None:
    written = write_cuts(*coped, tmp_path)
    names = sorted(path.name for path in written)
    assert names == sorted(path.name for path in tmp_path.iterdir())
    assert {"cuts.csv", "templates.pdf", "P1 first end template.dxf", "P6 plate.dxf"} <= set(names)
    before = {path.name: path.read_bytes() for path in tmp_path.iterdir()}
    (tmp_path / "cuts.csv").unlink()
    from fixture3d.errors import OutputRefused

    with pytest.raises(OutputRefused):
        write_cuts(*coped, tmp_path)
    assert not (tmp_path / "cuts.csv").exists()
    write_cuts(*coped, tmp_path, force=True)
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == before


def test_the_command(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["cuts", "garden_gate"]) == 0
    assert "cut 30 in" in capsys.readouterr().out
    assert main(["cuts", "garden_gate", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["schema"] == "fixture3d.cuts/1"
    assert main(["cuts", "garden_gate", "-o", str(tmp_path / "none")]) == 2
    assert "no such folder" in capsys.readouterr().err
    empty = tmp_path / "s.toml"
    empty.write_text('format = 1\ntable = "50/16 2000x1000"\n', encoding="utf-8")
    assert main(["cuts", str(empty)]) == 2
    assert "it has no pieces to cut" in capsys.readouterr().err


def test_the_frame_of_left_and_right() -> None:
    # Along +X with its top up: left is +Y, as it is for a man who walks along it.
    piece = one().piece
    assert np.allclose(frame.directions(piece.piece_to_weldment, (0, 1, 0)), (0, 1, 0))
    assert [round_about(at) for at in (0, 90, 180, 270, 315)] == ["top", "right", "bottom", "left", "top left"]
