"""Pictures: that they show what they should, are the same each time, and that a machine that cannot draw says so."""

from __future__ import annotations

import ctypes
import io
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from fixture3d import frame
from fixture3d.checks.base import Finding
from fixture3d.engine import assemble, load
from fixture3d.errors import MissingLibrary, OutputRefused
from fixture3d.preview import gl, shapes
from fixture3d.preview.camera import TO_EYE, view
from fixture3d.preview.png import COLOURS, _base_edges, _Paper, listed, marks, picture, rendered, write_png
from fixture3d.preview.weld_lines import (
    STYLE,
    between,
    crosses,
    dashes,
    length_of,
    stretches,
    weld_lines,
)
from fixture3d.preview.window import key_entries, labels, show_window
from fixture3d.sheet import layout
from tests.jobs import box_mesh, make_job, rack
from tests.page_jobs import bench

SMALL = (480, 360)


def can_draw() -> bool:
    try:
        gl.need_off_screen()
    except MissingLibrary:
        return False
    return True


drawing = pytest.mark.skipif(not can_draw(), reason="this machine has nothing to draw with")


def fail(at: tuple[float, float, float] | None = None) -> Finding:
    return Finding(check="seating", rule="pin-off-hole", level="fail", subjects=("S1",), message="off", at=at)


def warn() -> Finding:
    return Finding(check="seating", rule="spins", level="warn", subjects=("S2",), message="can turn")


def hue_share(image: Any, colour: str) -> float:
    """Share of pixels whose colour points the same way as ``colour``, whatever the light."""
    pixels = np.asarray(image, dtype=np.float64).reshape(-1, 3)
    want = np.array([int(colour[k : k + 2], 16) for k in (1, 3, 5)], dtype=np.float64)
    want -= want.mean()
    away = pixels - pixels.mean(axis=1, keepdims=True)
    norms = np.linalg.norm(away, axis=1)
    along = away @ want / np.linalg.norm(want)
    return float(((norms > 12.0) & (along > 0.97 * np.maximum(norms, 1e-9))).mean())


@drawing
def test_blocks_and_work_are_large_in_the_picture() -> None:
    seen = view(rack(), SMALL, 20, 20, 10)
    image = rendered(rack(), seen)
    assert image.shape == (360, 480, 3)
    assert hue_share(image, COLOURS["block"]) > 0.02
    assert hue_share(image, COLOURS["piece"]) > 0.05
    empty = make_job()
    bare = rendered(empty, view(empty, SMALL, 20, 20, 10))
    assert hue_share(bare, COLOURS["block"]) < 0.001
    assert hue_share(bare, COLOURS["piece"]) < 0.001


@drawing
def test_same_picture_each_time(tmp_path: Path) -> None:
    write_png(rack(), tmp_path / "a.png", [fail()], size=SMALL)
    write_png(rack(), tmp_path / "b.png", [fail()], size=SMALL)
    assert (tmp_path / "a.png").read_bytes() == (tmp_path / "b.png").read_bytes()
    with Image.open(tmp_path / "a.png") as image:
        assert image.size == SMALL


@drawing
def test_a_body_is_drawn_where_the_view_says() -> None:
    job = make_job(pieces={"cube": ((60.0, 60.0, 60.0), (475.0, 275.0, 30.0))})
    seen = view(job, SMALL, 20, 20, 10)
    image = np.asarray(rendered(job, seen), dtype=np.float64)
    top = seen.pixels(np.array([475.0, 275.0, 60.0]))
    beside = seen.pixels(np.array([475.0, 275.0 - 90.0, 0.0]))
    for at, inside in ((top, True), (beside, False)):
        pixel = image[round(float(at[1])), round(float(at[0]))]
        assert (pixel[0] - pixel[2] > 25.0) == inside  # the work is reddish, the table grey


@drawing
def test_findings_have_a_mark_at_their_place_and_a_line_below() -> None:
    job = rack()
    plain = np.asarray(picture(job, size=SMALL), dtype=int)
    marked = np.asarray(picture(job, [fail((150.0, 350.0, 50.0)), warn()], size=SMALL), dtype=int)
    assert (plain[:300] != marked[:300]).any()
    red = (marked[..., 0] > 120) & (marked[..., 1] < 60) & (marked[..., 2] < 60)
    assert red.sum() > 40


def test_marks_are_told_apart_by_letter_and_number_not_only_colour() -> None:
    assert [tag for tag, _ in marks([warn(), fail(), warn(), fail()])] == ["F1", "F2", "W1", "W2"]
    note = Finding(check="x", rule="y", level="note", subjects=(), message="")
    assert marks([note]) == []


@drawing
def test_refuses_to_overwrite(tmp_path: Path) -> None:
    target = tmp_path / "a.png"
    target.write_bytes(b"mine")
    with pytest.raises(OutputRefused, match="add --force"):
        write_png(rack(), target, size=SMALL)
    assert target.read_bytes() == b"mine"


@drawing
def test_hostile_names_and_many_blocks_do_not_stop_it() -> None:
    blocks = [
        {"name": f"{'W' * 60} {k}", "hole": f"{chr(66 + 3 * (k % 6))}{2 + k // 6}", "with": {"width": 40.0}}
        for k in range(60)
    ]
    image = picture(make_job(title="<b>&\u2603 " + "t" * 300, blocks=blocks), [fail()] * 40, size=(320, 240))
    assert image.size == (320, 240)


# ---- what needs no drawing


def test_view_keeps_the_setup_inside_the_borders() -> None:
    for job in (rack(), make_job(blocks=[{"name": "S1", "hole": "T12"}]), make_job()):
        seen = view(job, (800, 600), 50, 70, 30)
        assert float(seen.right @ seen.up) == pytest.approx(0.0, abs=1e-12)
        np.testing.assert_allclose(np.cross(seen.right, seen.up), TO_EYE, atol=1e-12)
        points = [b.box for b in job.bodies]
        if points:
            pixels = seen.pixels(np.concatenate(points))
            assert pixels[:, 0].min() >= 30 - 1
            assert pixels[:, 0].max() <= 770 + 1
            assert pixels[:, 1].min() >= 50 - 1
            assert pixels[:, 1].max() <= 530 + 1


def test_a_large_table_is_cut_off_but_still_seen() -> None:
    table = {"pitch": 50, "bore": 16, "columns": 400, "rows": 300, "edge": 50, "thickness": 12}
    job = make_job(blocks=[{"name": "S1", "hole": "GH150"}], table=table)
    seen = view(job, (800, 600), 50, 70, 30)
    assert not seen.whole
    block = seen.pixels(next(b.box for b in job.bodies if b.name == "S1"))
    assert float(np.ptp(block[:, 0])) > 80
    shape = shapes.table_shape(job)
    assert shape.all == 120_000
    assert 0 < shape.shown <= shapes.MOST_HOLES
    centres = shape.holes.vertices.reshape(shape.shown, -1, 3)[:, 0, :2]
    near = np.hypot(*(centres - np.array(job.table.find("GH150").xy)).T)
    assert near.min() < 1e-9


def test_table_holes_are_where_the_grid_says() -> None:
    table = {"pitch": 100, "bore": 28, "columns": 5, "rows": 4, "edge": 50, "thickness": 12, "stagger": True}
    shape = shapes.table_shape(make_job(table=table))
    assert shape.shown == shape.all == 5 * 4 + 4 * 3
    discs = shape.holes.vertices.reshape(shape.shown, -1, 3)
    radius = np.hypot(*(discs[:, 1:, :2] - discs[:, :1, :2]).reshape(-1, 2).T)
    np.testing.assert_allclose(radius, 14.0, atol=1e-9)
    assert {(float(x), float(y)) for x, y in discs[:, 0, :2]} == {
        (100.0 * i, 100.0 * j) for i in range(5) for j in range(4)
    } | {(100.0 * i + 50.0, 100.0 * j + 50.0) for i in range(4) for j in range(3)}


def test_sharp_edges_of_a_box_and_a_cylinder() -> None:
    import trimesh

    from fixture3d.solid.mesh import Mesh

    assert len(shapes.sharp_edges(box_mesh((10.0, 20.0, 30.0)))) == 12
    cylinder = Mesh.from_trimesh(trimesh.creation.cylinder(radius=5.0, height=10.0, sections=64))
    assert len(shapes.sharp_edges(cylinder)) == 2 * 64


def test_labels_of_the_window() -> None:
    (names, points), (tags, places) = labels(rack(), [fail((1.0, 2.0, 3.0)), warn()])
    assert names == ["S1", "S2", "R1", "left leg"]
    assert points[0] == pytest.approx([175.0, 350.0, 50.0])
    assert tags == ["F1"]
    assert places == [[1.0, 2.0, 3.0]]


# ---- machines that cannot draw

linux = pytest.mark.skipif(not sys.platform.startswith("linux"), reason="only Linux draws without a screen by EGL")


@linux
def test_a_missing_library_is_named_with_its_cure(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    honest = ctypes.CDLL

    def without(name: Any, *rest: Any, **more: Any) -> Any:
        if str(name).startswith("libEGL"):
            raise OSError("cannot open shared object file")
        return honest(name, *rest, **more)

    monkeypatch.setattr(ctypes, "CDLL", without)
    with pytest.raises(MissingLibrary, match="libgl1 libegl1") as caught:
        write_png(rack(), tmp_path / "a.png", size=SMALL)
    assert "\n" not in str(caught.value)
    assert list(tmp_path.iterdir()) == []


@linux
def test_egl_without_a_driver_is_a_message_and_no_crash(tmp_path: Path) -> None:
    """VTK ends the process with a segmentation fault here, so it must not be reached."""
    code = (
        "from fixture3d.preview import gl\n"
        "from fixture3d.errors import MissingLibrary\n"
        "try:\n    gl.need_off_screen()\nexcept MissingLibrary as e:\n    print(e)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True,
        env={"__EGL_VENDOR_LIBRARY_DIRS": str(tmp_path), "PATH": "", "PYTHONPATH": str(Path(__file__).parents[1])},
    )  # fmt: skip
    assert "libgl1 libegl1" in done.stdout
    assert done.stdout.count("\n") == 1


@linux
def test_no_screen_is_a_message_that_names_the_way_out(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("DISPLAY", raising=False)
    with pytest.raises(MissingLibrary, match="--png"):
        show_window(rack())
    monkeypatch.setenv("DISPLAY", ":97")
    with pytest.raises(MissingLibrary, match=r"libgl1|does not answer"):
        show_window(rack())


def test_png_bytes_are_a_png(tmp_path: Path) -> None:
    if not can_draw():
        pytest.skip("this machine has nothing to draw with")
    out = io.BytesIO()
    picture(rack(), size=SMALL).save(out, format="PNG")
    assert out.getvalue().startswith(b"\x89PNG")


def paper(scene: str, size: tuple[int, int] = (1600, 1200)) -> _Paper:
    """What is written on the picture of a scene, without the picture."""
    job = assemble(load(scene))
    return _Paper(Image.new("RGB", size), job, view(job, size, 84.0, 58.0, 60.0), 1.0)


@pytest.mark.parametrize("scene", ["kayak_rack", "garden_gate", "saw_stand"])
def test_no_name_hides_a_clamp_and_clamps_are_named_at_their_base(scene: str) -> None:
    page = paper(scene)
    clamps = [body for body in page.job.bodies if body.role == "clamp"]
    assert clamps
    hidden = [box for body in clamps for box in page.slices(body)]
    for _, _, _, name in page.tags():
        area = (name[2] - name[0]) * (name[3] - name[1])
        assert sum(layout.overlap(name, box) for box in hidden) < 0.2 * area
    for text, block, at, box in page.tags():
        if block and page.job.seats[text].clamp:
            base = next(b for b in page.job.bodies if b.name == text)
            seen = page.seen.pixels(frame.points(base.body_to_world, base.shape.mesh.vertices))
            lowest = float(seen[:, 1].max())
            height = lowest - float(seen[:, 1].min())
            if page._hidden(_base_edges(page.job.seats[text])[0]):
                assert lowest - height - 1.0 <= float(at[1]) <= lowest  # somewhere on it, not afloat
                continue
            assert lowest - 0.35 * height < float(at[1]) <= lowest + 1.0
            assert abs((box[1] + box[3]) / 2 - float(at[1])) < 0.5 * height + 30.0  # beside its base, not afloat


def test_slices_cover_a_body() -> None:
    page = paper("kayak_rack")
    body = next(b for b in page.job.bodies if b.name == "K1 arm")
    boxes = page.slices(body)
    for x, y in page.seen.pixels(frame.points(body.body_to_world, body.shape.mesh.vertices)):
        assert any(b[0] - 1e-6 <= x <= b[2] + 1e-6 and b[1] - 1e-6 <= y <= b[3] + 1e-6 for b in boxes)


def test_at_least_twelve_findings_are_listed_the_failed_ones_first() -> None:
    found = marks([warn()] * 30 + [fail()] * 10)
    shown, more = listed(found)
    assert [tag for tag, _ in shown[:10]] == [f"F{k}" for k in range(1, 11)]
    assert len(shown) >= 12
    assert len(shown) + more == 40
    assert listed(found[:12]) == (found[:12], 0)


# --- welds ----------------------------------------------------------------------------------------------------------

ANGLED = np.array([[0.0, 0, 0], [30, 0, 0], [30, 40, 0]])


def test_a_weld_is_cut_where_the_torch_stops_reaching_it() -> None:
    state, parts = stretches(ANGLED, 45.0, [[0.0, 10.0], [55.0, 70.0]])
    assert state == "part"
    assert [(kind, round(length_of(points), 9)) for kind, points in parts] == [
        ("part", 10.0),
        ("reached", 45.0),
        ("part", 15.0),
    ]
    assert parts[1][1].tolist() == [[10, 0, 0], [30, 0, 0], [30, 25, 0]]  # the corner stays
    assert stretches(ANGLED, 70.0, [])[0] == "reached"
    assert stretches(ANGLED, 0.0, [[0.0, 70.0]])[0] == "blocked"
    assert stretches(ANGLED, None, [])[0] == "unchecked"


@pytest.mark.parametrize("long", [0.5, 19.0, 20.0, 333.3])
def test_patterns_are_patterns_however_short_the_stretch(long: float) -> None:
    path = np.array([[0.0, 0, 0], [long, 0, 0]])
    drawn = dashes(path, 12.0, 8.0)
    assert len(drawn) >= 2
    assert sum(length_of(dash) for dash in drawn) < 0.8 * long
    assert drawn[0][0, 0] == 0.0
    assert drawn[-1][-1, 0] == pytest.approx(long)
    arms = np.array([[0.0, 1, 1], [0, 1, -1]])
    strokes = crosses(path, 18.0, arms)
    assert len(strokes) >= 4
    middles = {round(float(stroke.mean(axis=0)[0]), 6) for stroke in strokes}
    assert {0.0, round(long, 6)} <= middles
    assert length_of(between(path, 0.25 * long, long)) == pytest.approx(0.75 * long)


def luminance(colour: str) -> float:
    """Relative luminance. Source: W3C, WCAG 2.2, definition of the term."""
    parts = [int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return float(np.dot(linear, (0.2126, 0.7152, 0.0722)))


def test_lines_of_welds_stand_out_from_their_white_band() -> None:
    for colour, words in STYLE.values():
        assert 1.05 / (luminance(colour) + 0.05) >= 4.5  # WCAG 2.2, 1.4.3 (AA); lines alone would need 3
        assert words
    assert len({colour for colour, _ in STYLE.values()}) == len(STYLE)


def rows_of(job: Any) -> list[dict[str, Any]]:
    """Figures of three welds: reached, half of it, not at all."""
    out = []
    for weld, share in zip(job.welds, (1.0, 0.5, 0.0), strict=True):
        long = length_of(np.asarray(weld.path))
        unreached = [] if share == 1.0 else [[0.0, long * (1.0 - share)]]
        out.append({"name": weld.name, "reachable": long * share, "unreached": unreached})
    return out


@drawing
def test_a_picture_shows_how_well_each_weld_can_be_reached() -> None:
    job = bench().jobs[0]
    lines = weld_lines(job, rows_of(job))
    assert [line.state for line in lines] == ["reached", "part", "blocked"]
    seen = view(job, SMALL, 20, 20, 10)
    bare = weld_lines(job)
    assert {line.state for line in bare} == {"unchecked"}
    plain, told = rendered(job, seen, bare), rendered(job, seen, lines)
    for state in ("reached", "blocked"):
        assert hue_share(told, STYLE[state][0]) > hue_share(plain, STYLE[state][0]) + 3e-5
    assert [words.split(":")[0] for words, _ in key_entries(lines)] == ["full line", "dashes", "crosses"]
    assert [words.split(":")[0] for words, _ in key_entries(bare)] == ["thin line"]


@drawing
def test_marks_leave_the_lines_of_welds_in_sight_and_each_other() -> None:
    job = bench().jobs[0]
    seen = view(job, (1200, 900), 60, 90, 40)
    page = _Paper(Image.new("RGB", (1200, 900)), job, seen, 0.75, weld_lines(job, rows_of(job)))
    at = [weld.path[0] for weld in job.welds]
    boxes = page._marks(marks([fail(a) for a in at for _ in range(3)]), 90.0)
    for k, a in enumerate(boxes):
        assert all(a[2] <= b[0] + 1 or b[2] <= a[0] + 1 or a[3] <= b[1] + 1 or b[3] <= a[1] + 1 for b in boxes[:k])
    hidden = [any(a[0] < x < a[2] and a[1] < y < a[3] for a in boxes) for x, y in page._specks()]
    assert np.mean(hidden) < 0.1
