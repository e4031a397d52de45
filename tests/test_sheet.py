"""The setup sheet, read back by an independent PDF reader and as plain data."""

from __future__ import annotations

import dataclasses
import io
import re
import subprocess
import sys
import xml.etree.ElementTree as ET
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import numpy as np
import pypdf
import pytest

from fixture3d.checks.base import Finding, Result
from fixture3d.engine import assemble
from fixture3d.errors import OutputRefused
from fixture3d.job import Job
from fixture3d.job.alike import alike
from fixture3d.job.code import content_code
from fixture3d.library import Entry, Library, library
from fixture3d.report import Report, make_report
from fixture3d.scene import Scene
from fixture3d.scene.scene import loads
from fixture3d.sheet import layout
from fixture3d.sheet.data import sheet_data
from fixture3d.sheet.lists import piece_rows, weld_rows
from fixture3d.sheet.outline import outline
from fixture3d.sheet.pdf import sheet_pdf, write_sheet
from fixture3d.sheet.plan import plan
from tests.jobs import PlainBlock, make_job, rack
from tests.sheets import demo_job, demo_pages, pages

ROOM = {False: (186.0, 227.0), True: (273.0, 140.0)}
SVG = "{http://www.w3.org/2000/svg}"


def squeezed(text: str) -> str:
    return re.sub(r"\s+", "", text)


def many(count: int, **more: Any) -> Job:
    columns = [chr(ord("A") + 3 * k) for k in range(6)]
    blocks = [
        {"name": f"B{k}", "hole": f"{columns[k % 6]}{1 + k // 6}", "turn": 0.0, "with": {"width": 40.0}}
        for k in range(count)
    ]
    table = {"pitch": 50, "bore": 16, "columns": 20, "rows": 60, "edge": 50, "thickness": 12}
    return make_job(blocks=blocks, table=table, **more)


def reported(found: Iterable[Finding] = (), more: Iterable[Result] = (), job: Job | None = None) -> Report:
    """A report of one check with these findings."""
    results = [Result(name="seating", status="ran", findings=tuple(found)), *more]
    return make_report(job or rack(), results, {})


def written(text: str) -> Job:
    """The job of a scene with the shipped models on a table of 50/16."""
    head = 'format = 1\ntitle = "t"\ntable = "50/16 1000x600"\n'
    return assemble(loads(head + text))


def row(job: Job, name: str) -> dict[str, Any]:
    data = sheet_data(job)
    return next(r for r in (*data["blocks"], *data["clamps"]) if r["name"] == name)


def test_every_block_hole_turn_and_face_is_on_it() -> None:
    text = "\n".join(pages(sheet_pdf(rack())))
    for name, hole, turn in (("S1", "D8", "0°"), ("S2", "E4", "180°"), ("R1", "J6", "90°")):
        assert re.search(rf"{name}\s.*?{hole}\s.*?{turn}", text, re.DOTALL)
    assert "also E8" in text
    assert text.count("front: left leg") == 2
    assert "dowels 16\n" in text
    assert re.search(r"S1 front to S2 front\s+150\s", text)


def test_first_page_is_the_plan_with_hole_names_and_scale() -> None:
    job = rack()
    first = pages(sheet_pdf(job))[0]
    drawing = plan(job, ROOM)
    assert re.search(r"scale\s+1:\d", first)
    words = set(first.split())
    x0, y0, x1, y1 = layout.best_fit(job, ROOM).window
    assert {layout.column_name(job.table, i) for i in layout.lines(20, 50.0, 1, x0, x1)} <= words
    assert {layout.row_name(job.table, j) for j in layout.lines(12, 50.0, 1, y0, y1)} <= words
    assert {"S1", "S2", "R1"} <= words
    assert "A1" in first
    assert drawing.thinned == 1


def test_every_page_has_title_code_and_its_number() -> None:
    job = many(70, title="Long job")
    found = pages(sheet_pdf(job))
    assert len(found) >= 3
    for k, text in enumerate(found):
        assert "Long job" in text
        assert content_code(job) in text
        assert f"page {k + 1} of {len(found)}" in text
    whole = "\n".join(found)
    rows = re.findall(r"^B\d+(?=\s)", whole, re.MULTILINE)
    assert {f"B{k}" for k in range(70)} <= set(rows)


def test_same_bytes_each_time() -> None:
    first = sheet_pdf(rack())
    assert first == sheet_pdf(rack())
    assert b"CreationDate" not in first


def test_cautions_and_who_decides() -> None:
    text = " ".join("\n".join(pages(sheet_pdf(rack()))).split())
    named = ("Fire", "Fumes", "Arc", "Shock", "stored energy", "hot", "Local codes", "qualified welding procedures")
    for words in (*named, "not an approved procedure"):
        assert words in text


def test_says_whether_the_checks_passed() -> None:
    fail = Finding(
        check="seating", rule="pin-off-hole", level="fail", subjects=("S1",), message="pin 2 is off its hole"
    )
    assert "checks were not run" in " ".join(pages(sheet_pdf(rack()))[0].split())
    assert "READY: no check failed" in " ".join(pages(sheet_pdf(rack(), report=reported()))[0].split())
    bad = " ".join("\n".join(pages(sheet_pdf(rack(), report=reported([fail])))).split())
    assert "NOT READY: 1 failed" in bad
    assert "pin 2 is off its hole" in bad
    assert "and 3 more" in " ".join("\n".join(pages(sheet_pdf(rack(), report=reported([fail] * 9)))).split())


def test_a_check_that_stopped_on_a_fault_is_not_ready() -> None:
    broken = Result(name="interference", status="crashed", why="RuntimeError: planted")
    report = reported(more=(broken,))
    assert "READY: no check failed" in sheet_data(rack(), reported())["verdict"]
    assert sheet_data(rack(), report)["verdict"].startswith("NOT READY: interference stopped on a fault")
    assert sheet_data(rack(), report)["fails"] == ["interference: crashed: RuntimeError: planted"]
    skipped = Result(name="torch access", status="skipped", why="no welds")
    assert sheet_data(rack(), reported(more=(skipped,)))["verdict"].endswith("; not run: torch access.")


def test_the_sheet_of_a_run_in_which_a_check_crashed(
    scene_file: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from fixture3d.checks import seating
    from fixture3d.cli import main

    def broken(*_: object) -> Result:
        raise RuntimeError("planted")

    monkeypatch.setattr(seating, "CHECK", dataclasses.replace(seating.CHECK, run=broken))
    assert main(["sheet", str(scene_file), "-o", str(tmp_path / "a.pdf")]) == 0
    text = " ".join(" ".join(pages((tmp_path / "a.pdf").read_bytes())).split())
    assert "NOT READY: seating stopped on a fault of the program. Do not build from this sheet." in text
    assert "seating: crashed: RuntimeError: planted" in text
    assert "READY: no check failed" not in text


@pytest.mark.parametrize("count", [1, 2, 5])
def test_what_is_accepted_is_counted_and_its_reason_stands_on_the_sheet(count: int) -> None:
    names = ["S1", "S2", "R1", "S4", "S5"][:count]
    found = [Finding(check="seating", rule="spins", level="warn", subjects=(n,), message="can turn") for n in names]
    accept = [{"rule": "spins", "subjects": [n], "why": f"held by hand at {n}"} for n in names]
    job = rack(accept=accept)
    made = pages(sheet_pdf(job, report=reported(found, job=job)))
    first = " ".join(made[0].split())
    assert f"0 warnings, {count} finding{'s' if count > 1 else ''} accepted." in first
    for name in names[:3]:
        assert f"spins ({name}): held by hand at {name}" in first
    assert all(f"held by hand at {name}" in " ".join(" ".join(made).split()) for name in names)
    assert ("2 more accepted" in first) == (count == 5)


def test_hostile_names_print_as_they_are_and_stay_in_their_column() -> None:
    names = ["#panic(1)", "$x$ _y_ *b*".replace("*", "+"), "`raw` @ref", "= head", "#sys.inputs", "&amp; ©", "x" * 80]
    holes = ["B2", "E2", "H2", "K2", "N2", "Q2", "B5"]
    job = make_job(
        title='<script>"#eval"',
        blocks=[{"name": n, "hole": h} for n, h in zip(names, holes, strict=True)],
        pieces={"p" * 70: ((700.0, 50.0, 50.0), (350.0, 0.0, 25.0))},
    )
    data = sheet_pdf(job)
    text = squeezed("\n".join(pages(data)))
    for name in names:
        assert squeezed(name) in text
    assert squeezed('<script>"#eval"') in text
    for page in pypdf.PdfReader(io.BytesIO(data)).pages:
        right = float(page.mediabox.width)
        edges: list[float] = []

        def visit(
            words: str, cm: list[float], tm: list[float], font: Any, size: float, edges: list[float] = edges
        ) -> None:
            if words.strip():
                edges.append(tm[4] * cm[0] + cm[4])

        page.extract_text(visitor_text=visit)
        assert edges
        assert max(edges) < right
        assert min(edges) >= 0.0


def test_paper_follows_the_units_unless_told() -> None:
    inch = {"pitch": 2, "bore": "3/4", "columns": 12, "rows": 8, "edge": 2, "thickness": "1/2"}
    job = make_job(units="in", table=inch, blocks=[{"name": "S1", "hole": "C3", "with": {"height": 3}}])

    def size(data: bytes) -> list[int]:
        box = pypdf.PdfReader(io.BytesIO(data)).pages[-1].mediabox
        return sorted(round(float(v) * 25.4 / 72) for v in (box.width, box.height))

    assert size(sheet_pdf(job)) == [216, 279]
    assert size(sheet_pdf(job, "a4")) == [210, 297]
    assert size(sheet_pdf(rack())) == [210, 297]
    text = " ".join("\n".join(pages(sheet_pdf(job))).split())
    assert "Take from the rack (in)" in text
    assert "Inches." in text
    assert re.search(r"C3 .*? 0° 3 none", text)
    assert " mm" not in text


def test_pick_list_flags_what_is_short() -> None:
    entry = Entry(name="plain_block", model=PlainBlock, digest="", summary="")
    shop = Library({"plain_block": entry})
    owned = [{"model": "plain_block", "count": 1}, {"model": "plain_block", "with": {"height": 25.0}, "count": 4}]
    job = dataclasses.replace(rack(inventory=owned), library=shop)
    picks = {p["size"]: p for p in sheet_data(job)["picks"]}
    usual = picks["100 × 50 × 50 mm"]
    assert (usual["count"], usual["owned"], usual["short"]) == (2, 1, 1)
    assert picks["100 × 50 × 25 mm"]["short"] == 0
    assert "SHORT BY 1" in " ".join("\n".join(pages(sheet_pdf(job))).split())


def test_code_changes_with_content_only() -> None:
    base = content_code(rack())
    assert re.fullmatch(r"[0-9A-F]{8}", base)
    assert content_code(rack()) == base
    moved = rack(blocks=[{"name": "S1", "hole": "D8"}, {"name": "S2", "hole": "E4", "turn": 180},
                         {"name": "R1", "hole": "J7", "turn": 90, "with": {"height": 25.0}}])  # fmt: skip
    assert content_code(moved) != base
    turned = rack(blocks=[{"name": "S1", "hole": "D8"}, {"name": "S2", "hole": "E4", "turn": 90}])
    assert content_code(turned) not in (base, content_code(moved))


def test_refuses_to_overwrite(tmp_path: Path) -> None:
    target = tmp_path / "a.pdf"
    target.write_bytes(b"mine")
    with pytest.raises(OutputRefused, match="add --force"):
        write_sheet(rack(), target)
    assert target.read_bytes() == b"mine"
    write_sheet(rack(), target, force=True)
    assert target.read_bytes().startswith(b"%PDF")


# ---- the plan, as SVG


def test_plan_is_to_scale() -> None:
    """The seated dowels of S1 are one pitch apart: on paper that is the pitch over the scale."""
    job = rack()
    drawing = plan(job, ROOM)
    fit = layout.best_fit(job, ROOM)
    root = ET.fromstring(drawing.svg)
    width, height = (float(root.attrib[k].removesuffix("mm")) for k in ("width", "height"))
    assert [float(v) for v in root.attrib["viewBox"].split()][2:] == [width, height]  # one unit is one mm
    filled = [
        p.attrib["d"] for p in root.iter(f"{SVG}path") if p.attrib.get("fill") == "black" and "a" in p.attrib["d"]
    ]
    centres = []
    for d in filled:
        match = re.match(r"M(-?[\d.]+) (-?[\d.]+)a([\d.]+) ", d)
        if match:
            x, y, r = (float(g) for g in match.groups())
            centres.append((x + r, y))
            assert r == pytest.approx(8.0 / drawing.scale, abs=1e-3)
    wanted = [fit.paper(float(p.at[0]), float(p.at[1])) for s in job.seats.values() for p in s.pins]
    for u, v in wanted:
        assert min(np.hypot(u - x, v - y) for x, y in centres) < 2e-3
    (a, b), *_ = [wanted[:2]]
    assert np.hypot(a[0] - b[0], a[1] - b[1]) == pytest.approx(50.0 / drawing.scale)


def test_plan_is_seen_from_above_with_the_front_of_the_table_below() -> None:
    drawing = plan(rack(), ROOM)
    root = ET.fromstring(drawing.svg)
    names = [(t.text or "", float(t.attrib["x"]), float(t.attrib["y"])) for t in root.iter(f"{SVG}text")]
    columns = sorted((text, x) for text, x, _ in names if re.fullmatch("[A-Z]", text))
    rows = sorted((int(text), y) for text, _, y in names if re.fullmatch("[0-9]{1,2}", text))
    assert len({text for text, _ in columns}) >= 3
    assert len({number for number, _ in rows}) >= 3
    assert [x for _, x in columns] == sorted(x for _, x in columns)
    assert [y for _, y in rows] == sorted((y for _, y in rows), reverse=True)
    (holes,) = (p.attrib["d"] for p in root.iter(f"{SVG}path") if p.attrib.get("stroke") == "#777")
    (size,) = {float(r) for r in re.findall(r"a([0-9.]+) ", holes)}
    assert size == pytest.approx(8.0 / drawing.scale, abs=1e-3)
    assert all(0.0 <= float(v) <= drawing.size[1] for v in re.findall(r"M-?[0-9.]+ (-?[0-9.]+)a", holes))


def test_a_setting_is_that_of_the_scene() -> None:
    table = {"pitch": 50, "bore": 16, "columns": 20, "rows": 16, "edge": 50, "thickness": 12}
    places = [
        {"name": "N", "model": "slide_stop", "hole": "E4", "notch": 3},
        {"name": "F", "model": "slide_stop", "hole": "E10", "slide": 4.5},
    ]
    rows = sheet_data(assemble(Scene.from_dict({"format": 1, "table": table, "place": places})))["blocks"]
    settings = [next(v for v in row.values() if re.match("notch|slide ", str(v))) for row in rows]
    assert settings == ["notch 3", "slide 4.5 mm"]


def test_capitals_of_hole_names_are_at_least_3_mm() -> None:
    """Against the font's own cap height, read by fontTools."""
    ttlib = pytest.importorskip("fontTools.ttLib")
    import fixture3d.sheet

    fonts = Path(fixture3d.sheet.__path__[0]) / "fonts"
    font = ttlib.TTFont(fonts / "DejaVuSans.ttf")
    cap = font["glyf"]["H"].yMax / font["head"].unitsPerEm
    assert cap == pytest.approx(layout.CAP, abs=0.002)
    root = ET.fromstring(plan(rack(), ROOM).svg)
    sizes = [float(t.attrib["font-size"]) for t in root.iter(f"{SVG}text") if t.text in ("B", "8", "K")]
    assert sizes
    assert min(sizes) * cap >= 3.0


def test_a1_in_the_plan_or_pointed_to() -> None:
    near = plan(rack(), ROOM)
    assert "quartered circle" in near.datum
    far = make_job(
        blocks=[{"name": "S1", "hole": "AD40"}],
        table={"pitch": 50, "bore": 16, "columns": 40, "rows": 60, "edge": 50, "thickness": 12},
    )
    drawing = plan(far, ROOM)
    window = layout.best_fit(far, ROOM).window
    columns = layout.lines(40, 50.0, 1, window[0], window[2])
    rows = layout.lines(60, 50.0, 1, window[1], window[3])
    first = layout.column_name(far.table, columns[0])
    words = f"{columns[0]} columns left of {first} and {rows[0]} rows to the front of {rows[0] + 1}"
    assert words in drawing.datum
    assert first in " ".join(t.text or "" for t in ET.fromstring(drawing.svg).iter(f"{SVG}text"))
    assert columns[0] > 12


def test_a1_in_another_corner_is_pointed_to_the_other_way() -> None:
    far = make_job(
        blocks=[{"name": "S1", "hole": "AD40"}],
        table={"pitch": 50, "bore": 16, "columns": 40, "rows": 60, "edge": 50, "thickness": 12,
               "names": {"corner": "back right"}},
    )  # fmt: skip
    assert "columns right of" in plan(far, ROOM).datum
    assert "to the back" in plan(far, ROOM).datum


def test_second_grid_is_explained() -> None:
    table = {"pitch": 100, "bore": 28, "columns": 8, "rows": 6, "edge": 50, "thickness": 25, "stagger": True}
    assert "A1+ lies half a pitch right and to the back of A1" in plan(make_job(table=table), ROOM).datum
    assert "plus" not in plan(rack(), ROOM).datum


def test_a_table_with_nothing_on_it_has_a_sheet_too() -> None:
    text = "\n".join(pages(sheet_pdf(make_job(title="Bare"))))
    assert "Bare" in text
    assert "Take from the rack" not in text


def test_scale_is_round_and_as_large_as_the_page_allows() -> None:
    for columns in (4, 12, 25, 60, 200, 600):
        window = (0.0, 0.0, columns * 50.0, 500.0)
        found = layout.fit(window, ROOM, "mm")
        series = layout.SCALES["mm"]
        assert found.scale in series
        assert found.size[0] <= ROOM[found.flipped][0]
        assert found.size[1] <= ROOM[found.flipped][1]
        finer = [s for s in series if s < found.scale]
        for flipped, (w, h) in ROOM.items():
            for scale in finer:
                size = layout.Fit(window=window, scale=scale, flipped=flipped).size
                assert size[0] > w or size[1] > h


def test_a_million_holes_are_thinned_and_said() -> None:
    job = make_job(
        blocks=[{"name": "S1", "hole": "A1"}, {"name": "S2", "hole": "BXW990"}],
        table={"pitch": 15, "bore": 8, "columns": 2000, "rows": 1000, "edge": 20, "thickness": 12},
    )
    drawing = plan(job, ROOM)
    assert drawing.thinned > 1
    assert len(drawing.svg) < 5_000_000
    assert f"Only every {drawing.thinned}. hole" in " ".join(pages(sheet_pdf(job))[0].split())


def test_outline_of_a_box_turned_about_z_and_of_a_lying_tube() -> None:
    job = rack()
    body = next(b for b in job.bodies if b.name == "R1")
    rings = outline(body)
    areas = sorted(_area(r) for r in rings)
    assert areas[-1] == pytest.approx(100.0 * 50.0, rel=1e-6)
    # Two bores, as polygons inside circles of 16 mm.
    assert areas[:-1] == pytest.approx([np.pi * 64.0] * 2, rel=0.01)


def _area(ring: np.ndarray[Any, Any]) -> float:
    x, y = ring.T
    return abs(float((x * np.roll(y, -1) - y * np.roll(x, -1)).sum()) / 2)


def test_names_do_not_cover_each_other() -> None:
    job = many(30)
    fit = layout.best_fit(job, ROOM)
    boxes = {n: (*fit.paper(-25.0, 20.0), *fit.paper(75.0, -20.0)) for n in job.seats}
    spots = layout.place_names(list(boxes.items()), [], (0.0, 0.0, *fit.size), layout.NAME_TYPE)
    for k, a in enumerate(spots):
        for b in spots[:k]:
            assert layout.overlap(a, b) == 0.0


def test_no_cad_kernel_is_loaded_for_a_sheet_of_meshes() -> None:
    code = (
        "import sys\n"
        "import fixture3d.sheet.pdf, fixture3d.sheet.plan, fixture3d.sheet.data\n"
        "assert not {'OCP', 'cadquery', 'pyvista', 'trimesh', 'typst'} & set(sys.modules), sys.modules.keys()\n"
    )
    subprocess.run([sys.executable, "-c", code], check=True)


# ---- rows that tell one block from another


def place(name: str, model: str, hole: str, more: str = "") -> str:
    return f'[[place]]\nname = "{name}"\nmodel = "{model}"\nhole = "{hole}"\n{more}\n'


def test_two_blocks_of_one_model_read_differently() -> None:
    job = written(
        place("S1", "stop_block", "C3")
        + place("S2", "stop_block", "G3", "with = { height = 85 }")
        + place("S3", "stop_block", "K3", "with = { bores = 1 }")
    )
    assert row(job, "S1")["size"] == "105 × 65 × 50 mm"
    assert row(job, "S2")["size"] == "105 × 65 × 85 mm"
    assert row(job, "S3")["size"].endswith("; bores 1")
    picks = [(p["count"], p["size"]) for p in sheet_data(job)["picks"]]
    assert (1, "105 × 65 × 50 mm") in picks
    assert (1, "105 × 65 × 85 mm") in picks
    text = " ".join("\n".join(pages(sheet_pdf(job))).split())
    assert text.count("105 × 65 × 85") == 2  # in its row and on the list of what to take


def test_a_clamp_shows_its_reach_and_heights_even_where_they_follow_from_the_work() -> None:
    job = demo_job("kayak_rack")
    part: Any = job.seats["K1"].part
    assert "reach" not in job.seats["K1"].place.with_
    assert row(job, "K1")["size"] == (
        f"work height {part.work_height:g} mm, reach {part.reach:.2f} mm, height {part.height:g} mm"
    )
    assert part.work_height == pytest.approx(110.0)  # the legs' middle at 85, and half of 50


def test_a_vee_block_shows_where_the_middle_of_the_tube_is() -> None:
    job = demo_job("kayak_rack")
    assert row(job, "V1")["datum"] == "tube middle at 85 mm"
    assert row(job, "S1")["datum"] == ""
    lifted = place("V1", "vee_block", "C3", 'with = { centre_height = 70 }\nshims = [{ pad = "seat", by = [2] }]')
    assert row(written(lifted), "V1")["datum"] == "tube middle at 72 mm"
    lying = place("V1", "vee_block", "C3", 'face = "front"')
    assert row(written(lying), "V1")["datum"] == ""


def test_bores_of_a_block_below_are_called_sockets() -> None:
    on = '[[place]]\nname = "B"\nmodel = "stop_block"\non = "A"\nsocket = "1"\n'
    job = written(place("A", "stop_block", "C3") + on)
    found = row(job, "B")
    assert found["hole"] == "socket 1 of A"
    assert found["others"] == "also sockets 2, 3, 4"
    assert ":" not in found["hole"] + found["others"]


def test_a_round_block_has_no_turn_and_no_arrow() -> None:
    job = written(place("D1", "dowel", "C3") + place("S1", "stop_block", "G3", "turn = 90\nwith = { bores = 1 }"))
    assert row(job, "D1")["turn"] == "any"
    assert row(job, "S1")["turn"] == "90°"
    svg = plan(job, ROOM).svg
    arrows = re.findall(r"M[-\d. ]+L[-\d. ]+L[-\d. ]+Z\" fill=\"black\" stroke=\"none\"", svg)
    assert len(arrows) == 1  # of S1


def test_one_thing_not_held_by_holes_stands_and_two_stand() -> None:
    def free(name: str, x: int) -> str:
        return f'[[place]]\nname = "{name}"\nmodel = "stop_block"\nfree = [{x}, 10, 0, 0]\n'

    one = " ".join("\n".join(pages(sheet_pdf(written(free("E", 10))))).split())
    assert "E stands where it is measured or clamped to, not in holes: check it again" in one
    two = " ".join("\n".join(pages(sheet_pdf(written(free("E", 10) + free("F", 300))))).split())
    assert "E, F stand where they are measured or clamped to, not in holes: check them again" in two


# ---- lists of pieces and welds


def test_pieces_that_are_alike_are_counted_together() -> None:
    """Masses by hand: plate 100 x 80 x 6 less two holes of 11, steel of 7850 kg/m3 (EN 1991-1-1:2002, table A.4)."""
    job = demo_job("kayak_rack")
    rows = {tuple(r["names"]): r for r in piece_rows(job)}
    legs = rows["left leg", "right leg"]
    assert (legs["count"], legs["stock"], legs["cut"], legs["ends"]) == (2, "SHS 50x50x3", "900 mm", "square")
    feet = rows["left foot", "right foot"]  # mirror images: one turned over is the other
    kg = (100 * 80 - 2 * np.pi / 4 * 11**2) * 6 * 7.85e-6
    assert (feet["stock"], feet["cut"], feet["mass"]) == ("plate 6 mm", "100 × 80 mm", f"{kg:.2f} kg")
    assert rows["left gusset", "right gusset"]["count"] == 2
    assert sum(r["count"] for r in rows.values()) == len(job.pieces())


def test_plates_and_cuts_that_differ_are_not_counted_together() -> None:
    def plate(name: str, x: float, outline: str, more: str = "") -> str:
        return f'[[plate]]\nname = "{name}"\noutline = {outline}\nthickness = 6\nat = [{x}, 0, 50]\n{more}\n'

    wide = "[[0, 0], [80, 0], [0, 40]]"
    other = "[[0, 0], [80, 0], [80, 40], [0, 40]]"
    text = (
        '[weldment]\nhole = "A1"\n'
        + plate("a", 0, wide)
        + plate("b", 200, "[[0, 0], [0, 80], [-40, 0]]")  # turned by a quarter
        + plate("c", 400, wide, "holes = [{ at = [10, 10], diameter = 6 }]")
        + plate("d", 600, other)
        + '[[member]]\nname = "m"\nstock = "SHS 40x40x3"\nfrom = [0, 300, 50]\nto = [300, 300, 50]\n'
        + '[[member]]\nname = "n"\nstock = "SHS 40x40x3"\nfrom = [0, 400, 50]\nto = [301, 400, 50]\n'
    )
    job = written(text)
    assert [r["names"] for r in piece_rows(job)] == [["m"], ["n"], ["a", "b"], ["c"], ["d"]]
    assert job.weldment is not None
    assert alike(job.weldment.piece("a")) == alike(job.weldment.piece("b"))


def test_mitred_sides_of_a_frame_are_alike_in_pairs_in_pounds_for_an_inch_file() -> None:
    rows = piece_rows(demo_job("garden_gate"))
    assert {tuple(r["names"]) for r in rows} == {("rail",), ("leaf front", "leaf back"), ("leaf left", "leaf right")}
    assert all(r["count"] == len(r["names"]) for r in rows)
    assert all(r["mass"].endswith(" lb") for r in rows)
    assert {r["ends"] for r in rows} == {"square", "cut 45° and 45° off square, both long points on one side"}


def test_every_weld_is_listed_with_type_size_and_length() -> None:
    job = demo_job("kayak_rack")
    rows = weld_rows(job)
    assert [r["name"] for r in rows] == [w.name for w in job.scene.welds]
    first = next(r for r in rows if r["name"] == "left leg / left gusset, top")
    assert (first["type"], first["length"]) == ("fillet 3 mm", "65 mm")  # 80 less the clipped corner; the tube's wall
    text = " ".join("\n".join(demo_pages("kayak_rack")).split())
    for r in rows:
        joint, _, side = r["name"].partition(", ")
        assert r["name"] in text or (r["skip"] and re.search(rf"{joint}: [a-z, ]*{side}", text))


# ---- layout of the pages


def test_a_table_that_fits_on_one_page_is_not_split() -> None:
    found = pages(sheet_pdf(demo_job("saw_stand")))
    for head, last in (
        ("Set in order", "highest point over the table"),
        ("Take from the rack", "hold-down bolts"),
        ("Tack, then weld", "Not run here"),
    ):
        page = next(t for t in found if head in t)
        assert last in page, (head, last)


@pytest.mark.parametrize(
    ("scene", "most"), [("kayak_rack", 2), ("garden_gate", 3), ("saw_stand", 3), ("canoe_trolley", 2)]
)
def test_no_page_holds_only_cautions_and_the_demos_have_few_pages(scene: str, most: int) -> None:
    found = demo_pages(scene)
    assert len(found) <= most
    with_cautions = [t for t in found if "Cautions" in t]
    assert len(with_cautions) == 1
    words = with_cautions[0]
    assert "Plan, seen" in words or "Tack, then weld" in words


def full(count: int) -> Job:
    """So wide a plan that nothing stands beside it, and so high that the cautions do not fit below it."""
    columns = [chr(ord("A") + 3 * k) for k in range(8)]
    table = {"pitch": 50, "bore": 16, "columns": 24, "rows": 30, "edge": 50, "thickness": 12}
    blocks = [
        {"name": f"B{k}", "hole": f"{columns[k % 8]}{1 + 3 * (k // 8)}", "with": {"width": 40.0}} for k in range(count)
    ]
    return make_job(table=table, blocks=[*blocks, {"name": "Z", "hole": "U29", "with": {"width": 40.0}}])


@pytest.mark.parametrize("count", [40, 51, 54])
def test_cautions_are_never_alone_however_long_the_lists_are(count: int) -> None:
    """Lists that end anywhere on their last page, under a plan that leaves the cautions no room."""
    found = pages(sheet_pdf(full(count)))
    (words,) = [t for t in found if "Cautions" in t]
    assert "Plan, seen" not in words
    assert re.search(r"\bB\d+\b", words), "cautions alone"


def test_the_line_on_welds_not_reached_whole_has_its_room() -> None:
    found = demo_pages("garden_gate", checked=True)
    assert "not reached over the whole length" in found[0]
    assert "Thick outlines: blocks" in found[0]  # the key under the plan is not pushed off its page
    assert len(found) == 3


def test_cautions_stand_beside_or_under_a_plan_with_room() -> None:
    assert "Cautions" in pages(sheet_pdf(rack()))[0]
    assert "Cautions" in pages(sheet_pdf(many(30)))[0]
    found = pages(sheet_pdf(full(8)))
    assert "Cautions" not in found[0]
    assert "Cautions" in found[1]


def test_the_key_of_the_plan_explains_what_is_in_it() -> None:
    job = written(place("S1", "stop_block", "C3", "bolt = true"))
    first = " ".join(pages(sheet_pdf(job))[0].split())
    assert "Six-sided: a hold-down bolt" in first
    assert "dashed border: cut off" in first
    assert plan(job, ROOM).cut
    plain = make_job()
    assert not plan(plain, ROOM).cut
    words = " ".join(pages(sheet_pdf(plain))[0].split())
    assert "Six-sided" not in words
    assert "dashed border" not in words


def test_names_lie_beside_outlines_where_there_is_room() -> None:
    """The name of a thin bar right across an empty plan stands beside it, not on its lines."""
    area = (0.0, 0.0, 100.0, 100.0)
    bar = (10.0, 49.0, 90.0, 51.0)
    ring = [(10.0, 49.0), (90.0, 49.0), (90.0, 51.0), (10.0, 51.0)]
    edges = [(box, 4.0) for box in layout.along(ring, 1.5)]
    (spot,) = layout.place_names([("bar", bar)], edges, area, 3.4)
    assert all(layout.overlap(spot, box) == 0.0 for box, _ in edges)
    (careless,) = layout.place_names([("bar", bar)], [], area, 3.4)
    assert any(layout.overlap(careless, box) > 0.0 for box, _ in edges)


def test_boxes_along_a_ring_cover_every_side() -> None:
    ring = [(0.0, 0.0), (10.0, 0.0), (10.0, 7.0)]
    boxes = layout.along(ring, 1.5)
    for (x0, y0), (x1, y1) in zip(ring, (*ring[1:], ring[0]), strict=True):
        for t in np.linspace(0.0, 1.0, 41):
            x, y = x0 + t * (x1 - x0), y0 + t * (y1 - y0)
            assert any(b[0] <= x <= b[2] and b[1] <= y <= b[3] for b in boxes)
    assert max(max(b[2] - b[0], b[3] - b[1]) for b in boxes) <= 1.5 + 0.5 + 1e-9


def test_every_shipped_round_model_is_known_as_round() -> None:
    for model, hole in (("dowel", "C3"), ("stop_block", "C3"), ("riser", "C3"), ("vee_block", "C3")):
        assert model in library().entries
        job = written(place("X", model, hole))
        assert layout.is_round(job.seats["X"]) == (model == "dowel")


def test_the_arm_of_a_clamp_points_though_its_foot_is_round() -> None:
    clamp = '\n[[clamp]]\nname = "K1"\nmodel = "screw_clamp"\nhole = "C3"\nturn = 270\npresses = "B"\n'
    job = written(
        '\n[weldment]\nhole = "C1"\nlift = 20\n[[member]]\nname = "B"\nstock = "BAR 40x40"\n'
        "from = [-60, 0, 0]\nto = [200, 0, 0]\n" + clamp
    )
    assert row(job, "K1")["turn"] == "270°"


def test_tacks_and_welds_are_numbered_on_the_plan_as_in_the_list() -> None:
    """The list is that of the order; every number stands on the plan once, and a triangle at each tack."""
    from fixture3d.job.weld_order import weld_order
    from fixture3d.sheet.order import sequence

    job = demo_job("kayak_rack")
    steps = weld_order(job).steps
    tacks = [step for step in steps if step.kind == "tack"]
    welds = [step.weld for step in steps if step.kind == "weld"]
    data = sheet_data(job)
    assert [(r["no"], r["name"]) for r in data["welds"] if r["no"]] == [
        (str(k), name) for k, name in enumerate(welds, start=1)
    ]
    assert all(not r["no"] for r in data["welds"] if r["skip"])
    assert [r["no"] for r in data["order"]["tacks"]] == [f"t{k}" for k in range(1, len(tacks) + 1)]
    assert all(
        f"weld {welds.index(t.weld) + 1}:" in r["where"] for t, r in zip(tacks, data["order"]["tacks"], strict=True)
    )
    marks = sequence(job, None).marks
    drawing = plan(job, ROOM, marks)
    found = [e.text for e in ET.fromstring(drawing.svg).iter(f"{SVG}text") if e.get("font-size") == "2.3"]
    assert sorted(map(str, found)) == sorted(mark.label for mark in marks)
    for mark, step in zip([m for m in marks if m.label.startswith("t")], tacks, strict=True):
        assert mark.path[0] == pytest.approx((step.start_at + step.end_at) / 2.0, abs=1.0)
    text = " ".join("\n".join(demo_pages("kayak_rack")).split())
    assert "a suggestion; common practice, no source" in text
    assert "Boxed: welds" in text
    assert "Torch access was not checked" in text


def test_too_many_to_number_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    from fixture3d.sheet import order

    monkeypatch.setattr(order, "MOST", 3)
    text = " ".join("\n".join(pages(sheet_pdf(demo_job("kayak_rack")))).split())
    assert "too many tacks and welds to number them on the plan" in text
    assert "Boxed: welds" not in text
