"""What a person needs at the table is on the sheet: order of building, measures, loading, unloading, the picture."""

from __future__ import annotations

import io
import math
import re
from functools import cache
from typing import Any

import pypdf
import pytest

from fixture3d.engine import assemble, check_job, load
from fixture3d.job import Job
from fixture3d.report import Report
from fixture3d.scene.scene import loads
from fixture3d.sheet import layout, pdf
from fixture3d.sheet.data import sheet_data
from fixture3d.sheet.page import sheet_page
from fixture3d.sheet.paging import LEAST_PITCH
from fixture3d.sheet.pdf import sheet_pdf
from fixture3d.sheet.picture import picture
from fixture3d.sheet.typeset import Paper, breakable, typeset
from tests.jobs import make_job, rack
from tests.sheets import demo_job, demo_report, demo_sheet


def kayak() -> tuple[Job, Report]:
    return demo_job("kayak_rack"), demo_report("kayak_rack")


@cache
def kayak_data() -> dict[str, Any]:
    return sheet_data(*kayak())


def words(data: bytes) -> str:
    text = " ".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(data)).pages)
    return " ".join(text.replace("\u200b", "").split())


def test_datum_stops_come_first_then_supports_then_the_stops_set_against_them() -> None:
    """By hand from the drawing: T1, T2 are set against S1, S2, and S6 closes on S5; R, L and V only carry."""
    groups: dict[str, list[str]] = {}
    for row in kayak_data()["blocks"]:
        groups.setdefault(row["group"], []).append(row["name"])
    assert groups == {
        "Datum stops": ["S1", "S2", "S3", "S4", "S5", "S7"],
        "Supports": ["R1", "R2", "R3", "R4", "L1", "L2", "L3", "V1", "V2"],
        "Other stops": ["T1", "T2", "S6"],
    }
    assert list(groups) == ["Datum stops", "Supports", "Other stops"]


def test_what_carries_a_datum_stop_is_set_with_it() -> None:
    rows = sheet_data(demo_job("paddle_hook"))["blocks"]
    names = [row["name"] for row in rows]
    assert names.index("AP") < min(names.index(name) for name in ("S1", "L1", "L2"))
    head = 'format = 1\ntitle = "t"\ntable = "50/16 1000x600"\n'
    top = '[[place]]\nname = "B"\nmodel = "stop_block"\non = "A"\nsocket = "1"\n'
    base = '[[place]]\nname = "A"\nmodel = "stop_block"\nhole = "C3"\n'
    assert [row["name"] for row in sheet_data(assemble(loads(head + top + base)))["blocks"]] == ["A", "B"]


def test_both_diagonals_are_measured_and_are_those_of_the_drawing() -> None:
    """Pythagoras on the centre lines: 560 across the legs, 699 - 120 along them."""
    rows = [row for row in kayak_data()["measures"] if row["kind"] == "diagonal"]
    assert len(rows) == 2
    assert {row["planned"] for row in rows} == {f"{math.hypot(560.0, 579.0):.1f} mm"}
    assert not any(row["kind"] == "angle" for row in kayak_data()["measures"])
    assert kayak_data()["not_listed"] == "4 angles told by the diagonals."
    assert sheet_data(kayak()[0])["measures"] == []  # nothing is known without the checks


def test_a_limit_of_the_file_stands_instead_of_what_is_foreseen() -> None:
    text = (load("kayak_rack").path or pytest.fail("no file")).read_text(encoding="utf-8")
    job = assemble(loads(text + '\n[[figure]]\nname = "overall X"\nlimits = [-1, 2]\n'))
    (row,) = [row for row in sheet_data(job, check_job(job))["measures"] if row["name"] == "overall X"]
    assert (row["stated"], row["by"], row["limits"]) == (True, "the file", "-1.0 / +2.0 mm")
    (usual,) = [row for row in kayak_data()["measures"] if row["name"] == "overall X"]
    assert not usual["stated"]


def test_loading_and_unloading_are_those_of_the_checks() -> None:
    report, data = kayak()[1], kayak_data()
    put = [row["name"] for row in report.figures("loading") if row["what"] == "put in"]
    assert [step["name"] for step in data["loading"]] == put
    assert data["loading_note"].endswith("Then close K1, K2, K3 and K4.")
    (said,) = data["unloading"]
    assert said.startswith("Lift it straight up")
    assert "11.85 kg" in said  # as in the report
    assert "none was worked out" in sheet_data(kayak()[0])["loading_note"]


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_the_metric_demo_has_two_pages_with_all_of_it(paper: Paper) -> None:
    data = demo_sheet("kayak_rack", paper, checked=True)
    assert len(pypdf.PdfReader(io.BytesIO(data)).pages) == 2
    text = words(data)
    for head in ("Plan, seen", "Cautions", "Take from the rack", "The pieces", "Set in order", "Lay in the pieces",
                 "Close last", "Measure, mm", "Tack, then weld", "Take the work off."):  # fmt: skip
        assert head in text, head
    for caution in ("Fire", "Fumes", "Arc", "Shock", "Pinch and stored energy", "Trapped parts", "Local codes"):
        assert caution in text, caution


def test_a_plan_made_smaller_to_save_a_page_stays_readable() -> None:
    text = words(demo_sheet("kayak_rack", "a4", checked=True))
    scale = float(re.search(r"scale 1:([\d.]+)", text)[1])  # type: ignore[index]
    assert scale in layout.SCALES["mm"]
    assert 50.0 / scale >= LEAST_PITCH


def test_as_set_last_measured_and_short_small_things_are_shown(monkeypatch: pytest.MonkeyPatch) -> None:
    """Records and inventory come from elsewhere; what they add to the data stands on the sheet."""
    job, report = kayak()
    plain = words(demo_sheet("kayak_rack", "a4", checked=True))
    usual = typeset

    def more(package: str, template: str, data: dict[str, Any], what: str = "sheet") -> bytes:
        data["blocks"][0]["as_set"] = "notch 11"
        data["measures"][0]["last"] = "661.5"
        data["distances"][0]["last"] = "610.4"
        data["small"][0] |= {"owned": 40, "short": 8}
        box = '<svg xmlns="http://www.w3.org/2000/svg" width="9mm" height="9mm" viewBox="0 0 9 9"></svg>'
        drawing = {"svg": box, "width": 9, "height": 9}
        data["elevations"] = [{**drawing, "title": "From the front", "scale": "1:5"}]
        data["tiles"] = [{**drawing, "title": "Tile 1 of 1", "flipped": True}]
        return usual(package, template, data, what)

    monkeypatch.setattr(pdf, "typeset", more)
    text = words(sheet_pdf(job, None, report))
    for shown in ("as set: notch 11", "661.5", "610.4", "SHORT BY 8", "From the front, scale 1:5", "Tile 1 of 1"):
        assert shown in text, shown
        assert shown not in plain, shown


# ---- the small picture


def lines(svg: str, width: str) -> int:
    """How many lines are drawn in a width, in all paths together."""
    return sum(
        path.count("M") for path, w in re.findall(r'<path d="([^"]*)"[^>]*stroke-width="([\d.]+)"', svg) if w == width
    )


def test_of_a_lone_box_the_nine_edges_are_drawn_that_can_be_seen() -> None:
    """Three of twelve edges meet in the corner that is farthest from the eye, and are hidden."""
    found = picture(make_job(pieces={"p": ((700.0, 200.0, 100.0), (350.0, 0.0, 50.0))}))
    assert found is not None
    assert lines(found.svg, "14") == 9


def test_what_stands_behind_a_wall_is_not_drawn() -> None:
    wall = ((900.0, 20.0, 600.0), (400.0, 0.0, 300.0))
    small = ((60.0, 60.0, 60.0), (400.0, 100.0, 30.0))
    both, alone = (picture(make_job(pieces=p)) for p in ({"w": wall, "s": small}, {"w": wall}))
    assert both is not None
    assert alone is not None
    assert lines(both.svg, "14") == lines(alone.svg, "14") == 9


def test_the_picture_is_the_same_each_time_and_small_enough() -> None:
    first, second = (picture(rack()) for _ in range(2))
    assert first is not None
    assert first == second
    assert len(first.svg) < 60_000
    assert picture(make_job()) is None


def test_an_immense_setup_says_that_its_picture_is_left_out(monkeypatch: pytest.MonkeyPatch) -> None:
    from fixture3d.sheet import picture as module

    job = rack()
    assert "left out" not in words(sheet_pdf(job))
    monkeypatch.setattr(module, "MOST_TRIANGLES", 20)
    assert picture(job) is None
    said = module.left_out(job)
    assert said.startswith("The picture in 3D is left out: the setup has ")
    assert said in words(sheet_pdf(job))
    assert said in sheet_page((job,)).decode()


def test_the_head_of_a_page_keeps_the_size_of_a_long_title() -> None:
    text = f'format = 1\ntitle = "{"Long title " * 9}"\ntable = "50/16 1000x600"\n'
    text += '[sizes]\nnames = ["two pairs of paddles", "four"]\nhole = ["C4", "D4"]\n'
    text += '[[place]]\nname = "S1"\nmodel = "stop_block"\nhole = "=hole"\n'
    head = sheet_data(assemble(loads(text)))["head"]
    assert head.endswith(", two pairs of paddles")
    assert head.startswith("Long title ")
    assert len(head) <= 60


def test_words_too_wide_for_a_column_are_broken_by_their_width() -> None:
    assert breakable({"name": "W" * 13, "size": "n" * 14}) == {
        "name": "\u200b".join(["W" * 6, "W" * 6, "W"]),
        "size": "\u200b".join(["n" * 13, "n"]),
    }
