"""Plates from DXF drawings, written by ezdxf and measured by closed forms, shapely and the kernel."""

import math
import time
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from fixture3d.cache import Store
from fixture3d.errors import ImportFailed, SceneError
from fixture3d.job import polygon
from fixture3d.job.biarc import Bit
from fixture3d.job.pieces import piece_shape
from fixture3d.job.plate_dxf import LARGEST_FILE, Outline, read_outline
from fixture3d.job.weldment import build
from fixture3d.scene import loads
from fixture3d.solid import kernel
from fixture3d.stock.section import Edge, Loop, backwards
from fixture3d.tolerance import SHOP

QUARTER = math.tan(math.pi / 8)  # bulge of a quarter turn


def drawing(folder: Path, draw: Callable[[Any, Any], Any], units: int = 4, fmt: str = "asc") -> Path:
    import ezdxf

    document = ezdxf.new("R2010")  # type: ignore[attr-defined,unused-ignore]
    document.header["$INSUNITS"] = units
    draw(document.modelspace(), document)
    path = folder / "p.dxf"
    document.saveas(path, fmt=fmt)
    return path


def gusset(m: Any, _: Any) -> None:
    """100 x 50 with corners of radius 10, a hole of 10 and a slot of 10 x 30 with round ends; a word beside it."""
    corners = [(10, 0, 0), (90, 0, QUARTER), (100, 10, 0), (100, 40, QUARTER), (90, 50, 0), (10, 50, QUARTER)]
    m.add_lwpolyline([*corners, (0, 40, 0), (0, 10, QUARTER)], format="xyb", close=True)
    m.add_circle((20, 25), 5)
    m.add_line((50, 20), (70, 20))
    m.add_arc((70, 25), 5, 270, 90)
    m.add_line((50, 30), (70, 30))
    m.add_arc((50, 25), 5, 90, 270)
    m.add_text("gusset")


GUSSET = 100 * 50 - (4 - math.pi) * 10**2 - math.pi * 25 - (20 * 10 + math.pi * 25)


def area(found: Outline) -> float:
    inner = [polygon.ring(hole) for hole in found.holes]
    return sum(polygon.signed_area(loop) for loop in (found.outline, *inner, *found.openings))


@pytest.mark.parametrize(("units", "fmt", "scale"), [(4, "asc", 1.0), (1, "bin", 25.4)])
def test_arcs_stay_arcs_and_the_area_is_exact(tmp_path: Path, units: int, fmt: str, scale: float) -> None:
    found = read_outline(drawing(tmp_path, gusset, units, fmt))
    assert area(found) == pytest.approx(GUSSET * scale**2, rel=1e-12)
    assert sorted(round(e.radius / scale, 9) for e in found.outline) == [0, 0, 0, 0, 10, 10, 10, 10]
    assert np.allclose(found.holes, np.array([[20, 25, 10]]) * scale)
    assert len(found.openings) == 1
    assert found.notes == ("not cut from its drawing: 1 text",)
    assert not polygon.fault(found.outline, found.holes, found.openings)


def test_the_solid_has_round_faces_and_the_mass_is_that_of_the_area(tmp_path: Path) -> None:
    drawing(tmp_path, gusset)
    text = (
        'format = 1\ntable = "50/16 2000x1000"\n[weldment]\n[[plate]]\nname = "g"\ndxf = "p.dxf"\nthickness = 6\n'
        "holes = [{ at = [85, 25], diameter = 8 }]\n"
    )
    made = build(loads(text, str(tmp_path / "s.toml")), Store(None))
    assert made is not None
    piece = made.pieces[0]
    exact = (GUSSET - math.pi * 16) * 6
    solid = piece_shape(piece).brep
    assert kernel.is_valid(solid)
    assert kernel.volume(solid) == pytest.approx(exact, rel=1e-9)
    assert piece.mass == pytest.approx(exact * 7850e-9, rel=1e-12)
    from OCP.BRepAdaptor import BRepAdaptor_Surface
    from OCP.GeomAbs import GeomAbs_Cylinder
    from OCP.TopAbs import TopAbs_FACE
    from OCP.TopExp import TopExp_Explorer
    from OCP.TopoDS import TopoDS

    faces, kinds = TopExp_Explorer(solid, TopAbs_FACE), []
    while faces.More():
        kinds.append(BRepAdaptor_Surface(TopoDS.Face_s(faces.Current())).GetType())
        faces.Next()
    assert kinds.count(GeomAbs_Cylinder) == 4 + 2 + 2  # corners, holes, ends of the slot


def free(m: Any, _: Any) -> None:
    m.add_spline([(0, 0), (50, 80), (100, 0)])
    m.add_line((100, 0), (100, -50))
    m.add_line((100.004, -50.003), (0, -50))
    m.add_line((0, -50), (0, 0.004))
    m.add_ellipse((50, -20), (20, 0), 0.5)


def test_free_curves_become_arcs_within_the_tolerance(tmp_path: Path) -> None:
    import ezdxf

    path = drawing(tmp_path, free)
    found = read_outline(path)
    assert any("free curves" in note for note in found.notes)
    assert abs(polygon.signed_area(found.openings[0])) == pytest.approx(math.pi * 20 * 10, abs=SHOP.outline * 100)
    # ezdxf's own fine chords of the same curve say where it runs.
    spline = ezdxf.readfile(path).modelspace().query("SPLINE")[0]  # type: ignore[attr-defined,unused-ignore]
    arcs = [e for e in found.outline if e.centre is not None]
    for p in spline.flattening(1e-4):
        off = min(abs(math.dist((p.x, p.y), e.centre or (0, 0)) - e.radius) for e in arcs)
        assert off <= SHOP.outline
    for one, following in pairwise(arcs):  # and they join smoothly
        if one.end == following.start:
            a, b = (e.at(np.array([t]))[1][0] for e, t in ((one, 1.0), (following, 0.0)))
            assert float(a @ b) / float(np.linalg.norm(a) * np.linalg.norm(b)) > math.cos(math.radians(0.2))


def test_what_looks_down_is_mirrored(tmp_path: Path) -> None:
    # DXF Reference, object coordinates: with extrusion (0, 0, -1) X runs the other way.
    def draw(m: Any, _: Any) -> None:
        down = {"extrusion": (0, 0, -1)}
        corners = [(0, 0, 0), (-60, 0, 0), (-60, -40, 1), (0, -40, 0)]
        m.add_lwpolyline(corners, format="xyb", close=True, dxfattribs=down)
        m.add_circle((-15, -20), 5, dxfattribs=down)

    found = read_outline(drawing(tmp_path, draw))
    assert np.allclose(found.holes, [[15, -20, 10]])
    assert area(found) == pytest.approx(60 * 40 + math.pi * 30**2 / 2 - math.pi * 25)
    assert np.allclose(polygon.box(found.outline), [[0, -70], [60, 0]])


def test_a_layer_a_hidden_layer_and_lines_drawn_twice(tmp_path: Path) -> None:
    def draw(m: Any, document: Any) -> None:
        document.layers.add("hidden").off()
        document.layers.add("cut")
        for a, b in (((0, 0), (80, 0)), ((80, 0), (0, 60)), ((0, 60), (0, 0)), ((80, 0), (0, 0))):
            m.add_line(a, b, dxfattribs={"layer": "cut"})
        m.add_circle((500, 0), 5, dxfattribs={"layer": "hidden"})

    path = drawing(tmp_path, draw)
    found = read_outline(path)
    assert area(found) == pytest.approx(2400)
    assert found.notes[0] == "1 line drawn twice in its drawing count once"
    assert found.notes[1:] == ("not cut from its drawing: 1 hidden entities",)
    assert area(read_outline(path, layer="CUT")) == pytest.approx(2400)
    assert area(read_outline(path, layer="hidden")) == pytest.approx(25 * math.pi)
    assert area(read_outline(path, unit="in")) == pytest.approx(2400 * 25.4**2)


def square(m: Any, gap: float = 0.0, side: float = 50.0) -> Any:
    corners = [(0, 0), (side, 0), (side, side), (0, side), (0, gap)]
    for a, b in pairwise(corners):
        m.add_line(a, b)
    return m


def block_in_itself(m: Any, document: Any) -> None:
    block = document.blocks.new("A")
    block.add_blockref("A", (0, 0))
    m.add_blockref("A", (0, 0))


@pytest.mark.parametrize(
    ("draw", "units", "says"),
    [
        (lambda m, d: square(m, 0.3), 4, "a gap of 0.3 mm between (0 mm, 0 mm) and (0 mm, 0.3 mm)"),
        (lambda m, d: square(m), 0, 'does not say its unit; expected unit = "mm" or "in"'),
        (lambda m, d: square(m), 14, "$INSUNITS 14"),
        (lambda m, d: (m.add_circle((0, 0), 5), m.add_circle((20, 0), 5)), 4, "two outlines: one more at (25 mm"),
        (lambda m, d: m.add_text("nothing"), 4, "nothing in it is cut, only 1 text"),
        (lambda m, d: None, 4, "the drawing is empty"),
        (lambda m, d: (square(m), m.add_line((0, 0), (20, 20))), 4, "ends in nothing at (20 mm, 20 mm)"),
        (lambda m, d: (square(m), m.add_line((0, 0), (50, 50))), 4, "3 lines of the drawing meet at"),
        (block_in_itself, 4, 'uses the block "A"'),
        (lambda m, d: m.add_3dface([(0, 0), (1, 0), (1, 1)]), 4, "has a 3DFACE"),
        (lambda m, d: m.add_circle((1e300, 0), 5), 4, "further than 30 m"),
        (lambda m, d: m.add_circle((0, 0), 0), 4, "radius 0 mm"),
        (lambda m, d: (square(m), m.add_circle((10, 10, 5), 3)), 4, "not flat: heights from 0 mm to 5 mm"),
        (lambda m, d: m.add_circle((0, 0), 5, dxfattribs={"extrusion": (0, 1, 1)}), 4, "not lie in the XY plane"),
        (lambda m, d: [m.add_line((i, 0), (i, 1)) for i in range(4500)], 4, "more than 4000 lines"),
        (lambda m, d: square(m, side=0.1), 4, "smaller than 0.3 mm"),
        (lambda m, d: square(m, side=0.0), 4, "every line in it is shorter than 0.01 mm"),
    ],
)  # fmt: skip
def test_drawings_that_cannot_be_cut(tmp_path: Path, draw: Any, units: int, says: str) -> None:
    path = drawing(tmp_path, draw, units)
    with pytest.raises(ImportFailed) as caught:
        read_outline(path)
    assert says in str(caught.value)
    assert "\n" not in str(caught.value)


def test_broken_files_are_one_line(tmp_path: Path) -> None:
    raw = drawing(tmp_path, gusset).read_bytes()
    broken = {
        "half": raw[: len(raw) // 2],
        "without its end": raw[: raw.rindex(b"EOF")] + b"0\r\n",
        "half with an end": raw[: len(raw) // 2] + b"\n  0\nEOF\n",
        "junk": bytes(range(256)) * 50 + b"EOF",
        "empty": b" ",
        "infinite": raw.replace(b"\n25.0\n", b"\ninf\n"),
        "not a number": raw.replace(b"\n25.0\n", b"\nnan\n"),
        "a word": raw.replace(b"\n25.0\n", b"\nabc\n"),
        "huge": raw + b" " * LARGEST_FILE,
    }
    for name, data in broken.items():
        path = tmp_path / f"{name}.dxf"
        path.write_bytes(data)
        with pytest.raises(ImportFailed) as caught:
            read_outline(path)
        assert "\n" not in str(caught.value)
        if name in ("half", "without its end", "huge"):
            assert {"huge": "larger than 10 MB"}.get(name, "is cut short") in str(caught.value)
    for path in (tmp_path / "none.dxf", tmp_path / "p.step", tmp_path):
        with pytest.raises(ImportFailed):
            read_outline(path)


def test_every_cut_of_a_file_is_refused_or_whole(tmp_path: Path) -> None:
    raw = drawing(tmp_path, gusset).read_bytes()
    rng = np.random.default_rng(5)
    path = tmp_path / "torn.dxf"
    for _ in range(30):
        torn = bytearray(raw)
        for k in rng.integers(0, len(raw) - 10, size=3):
            torn[int(k)] = int(rng.integers(0, 256))
        path.write_bytes(bytes(torn))
        try:
            left = area(read_outline(path))
        except ImportFailed as error:
            left = 1.0 - str(error).count("\n")
        assert left > 0.0


def test_an_error_points_at_the_line_of_the_scene(tmp_path: Path) -> None:
    drawing(tmp_path, lambda m, d: square(m, 0.3))
    text = 'format = 1\ntable = "50/16 2000x1000"\n[weldment]\n[[plate]]\nname = "g"\nthickness = 6\ndxf = "p.dxf"\n'
    with pytest.raises(SceneError) as caught:
        build(loads(text, str(tmp_path / "s.toml")))
    assert 's.toml:7: plate "g": ' in str(caught.value)
    for wrong, says in (
        ("unit = 'mm'\noutline = [[0, 0], [9, 0], [0, 9]]\n", "outline together with dxf"),
        ("layer = 7\n", "layer"),
    ):
        with pytest.raises(SceneError, match=says):
            loads(text + wrong, "s.toml")
    with pytest.raises(SceneError, match="it has no outline"):
        loads(text.replace('dxf = "p.dxf"\n', ""), "s.toml")
    with pytest.raises(SceneError, match="unit without dxf"):
        loads(text.replace('dxf = "p.dxf"\n', 'unit = "mm"\noutline = [[0, 0], [9, 0], [0, 9]]\n'), "s.toml")


def test_what_was_read_is_kept(tmp_path: Path) -> None:
    path, store = drawing(tmp_path, gusset), Store(None)
    first = read_outline(path, store=store)
    assert read_outline(path, store=store) == first
    assert read_outline(path, unit="in", store=store) != first


def blob(rng: np.random.Generator) -> Loop:
    """Chords round a circle, some of them bulged in or out; may cross itself."""
    count = int(rng.integers(2, 8))
    angles = np.sort(rng.uniform(0, 2 * math.pi, count))
    radius = rng.uniform(20, 50, count)
    points = [(float(r * math.cos(a)), float(r * math.sin(a))) for r, a in zip(radius, angles, strict=True)]
    bulges = rng.uniform(-0.9, 0.9, count) * (rng.random(count) < 0.7)
    edges = [Bit(p, points[(k + 1) % count], float(bulges[k])).edge() for k, p in enumerate(points)]
    return polygon.left_turning(tuple(edges))


def flat(loop: Loop, steps: int = 400) -> Any:
    return np.vstack([e.at(np.arange(steps) / steps)[0] if e.centre else np.array([e.start]) for e in loop])


def test_crossing_inside_and_area_of_arcs_against_shapely() -> None:
    import shapely

    rng = np.random.default_rng(3)
    seen = {True: 0, False: 0}
    for _ in range(150):
        loop = blob(rng)
        shape = shapely.Polygon(flat(loop)) if len(flat(loop)) > 2 else shapely.Polygon()
        said = polygon.fault(loop)
        if not shape.is_valid:
            assert said
        elif shape.area > 100.0 and not said:
            assert polygon.signed_area(loop) == pytest.approx(shape.area, abs=0.05)
        elif shape.area > 100.0:
            assert shape.buffer(-0.01).geom_type != "Polygon" or _nearly_touches(loop), (loop, said)
        seen[bool(said)] += 1
        if said:
            continue
        low, high = polygon.box(loop)
        assert np.allclose([*low, *high], shape.bounds, atol=0.01)
        for p in rng.uniform(-60, 60, (10, 2)):
            if shape.boundary.distance(shapely.Point(p)) > 0.01:
                assert polygon.inside(loop, (float(p[0]), float(p[1]))) == shape.contains(shapely.Point(p))
        x, y, size = (float(v) for v in rng.uniform((-40, -40, 1), (40, 40, 20)))
        hole = (x, y, size)
        edge = shape.boundary.distance(shapely.Point(hole[:2])) - hole[2] / 2
        if abs(edge) > 0.01:
            assert (polygon.fault(loop, [hole]) == "") == (edge > 0 and shape.contains(shapely.Point(hole[:2])))
    assert min(seen.values()) > 20


def _nearly_touches(loop: Loop) -> bool:
    """Whether two edges that are not neighbours come within a hundredth of a mm."""
    import shapely

    lines = [shapely.LineString(e.at(np.linspace(0, 1, 400))[0]) for e in loop]
    n = len(lines)
    return any(lines[i].distance(lines[j]) < 0.01 for i in range(n) for j in range(i + 2, n) if (i, j) != (0, n - 1))


def test_openings_that_cannot_be() -> None:
    plate = polygon.lines(np.array([[0, 0], [100, 0], [100, 60], [0, 60]]))
    slot: Loop = (
        Edge((30, 20), (60, 20)),
        Edge((60, 20), (60, 40), (60, 30), True),
        Edge((60, 40), (30, 40)),
        Edge((30, 40), (30, 20), (30, 30), True),
    )
    assert polygon.fault(plate, [(10, 10, 8)], [backwards(slot)]) == ""
    assert "hole 2 runs into hole 1" in polygon.fault(plate, [(65, 30, 4)], [slot])
    assert "hole 2 runs into hole 1" in polygon.fault(plate, [(75, 30, 12)], [slot])  # past its round end
    assert polygon.fault(plate, [(77, 30, 12)], [slot]) == ""
    assert "hole 1 does not lie inside" in polygon.fault(plate, [], [tuple(_shifted(e, 35) for e in slot)])


def test_thousands_of_holes_are_held_against_each_other_at_once() -> None:
    plate = polygon.lines(np.array([[0, 0], [1000, 0], [1000, 600], [0, 600]]))
    holes = [(5.0 + 10 * (k % 90), 5.0 + 10 * (k // 90), 6.0) for k in range(3900)]
    start = time.perf_counter()
    assert polygon.fault(plate, holes) == ""
    assert time.perf_counter() - start < 30.0  # every pair in turn took minutes
    assert polygon.fault(plate, [*holes[:99], (5, 15, 2)]) == "hole 100 runs into hole 91"  # inside, not crossing


def _shifted(e: Edge, x: float) -> Edge:
    a, b, m = ((p[0] + x, p[1]) if p is not None else None for p in (e.start, e.end, e.centre))
    assert a is not None
    assert b is not None
    return Edge(a, b, m, e.left)
