"""Workshop drawings: read again by a reader that has only the DXF, and looked over for overlaps and slips."""

from __future__ import annotations

import itertools
import os
import re
import xml.etree.ElementTree as ElementTree
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from fixture3d.corners.cases import values
from fixture3d.errors import FixtureError
from fixture3d.library import library
from fixture3d.part import Part, Pattern, build
from fixture3d.solid import kernel
from fixture3d.workshop.drawing import Style, drawing_files, sheets
from fixture3d.workshop.page import Page, meet, run_through
from fixture3d.workshop.strip import Order
from tests.drawing_reader import NotDimensioned, Sheet, read, rebuild

MM = Pattern(pitch=50.0, bore=16.0)
INCH = Pattern(pitch=50.8, bore=15.875, inch=True)
LONG = os.environ.get("FIXTURE3D_LONG") == "1"

REBUILT = [
    "stop_block",
    "vee_block",
    "corner_block",
    "slide_stop",
    "headed_dowel",
    "tilt_block",
    "shim",
    "diamond_dowel",
    "toggle_clamp",
    "angle_gauge",
    "plug_gauge",
]


def pattern(units: str) -> Pattern:
    return MM if units == "mm" else INCH


@cache
def solids(model: str, units: str) -> tuple[Part, tuple[tuple[str, Any], ...]]:
    part = library().make(model, pattern(units))
    return part, tuple((b.name, kernel.one_solid(b.build())) for b in part.bodies() if b.role == "block")


def cornered(model: str, units: str, corner: str) -> tuple[Part, tuple[tuple[str, Any], ...]]:
    part = build(library().entry(model).model, pattern(units), values(library(), model, pattern(units), corner))
    return part, tuple((b.name, kernel.one_solid(b.build())) for b in part.bodies() if b.role == "block")


@cache
def pages(model: str, units: str, projection: Any = None) -> list[Page]:
    return sheets(*solids(model, units), Style(units=units, projection=projection))  # type: ignore[arg-type]


def written(model: str, units: str, folder: Path, projection: Any = None) -> list[tuple[str, Any, Sheet]]:
    part, bodies = solids(model, units)
    style = Style(units=units, projection=projection)  # type: ignore[arg-type]
    made = drawing_files(part, bodies, [folder / "a.dxf"], style, True)
    out = []
    for (name, shape), (path, data) in zip(bodies, made.items(), strict=True):
        path.write_bytes(data)
        out.append((f"{model} {name}".strip(), shape, read(path)))
    return out


def cases() -> list[tuple[str, str, str | None]]:
    if LONG:
        return [(m, u, p) for m in sorted(library().entries) for u in ("mm", "in") for p in ("first", "third")]
    return [*((m, "mm", None) for m in REBUILT), ("pitch_gauge", "in", None), ("step_block", "mm", "third")]


@pytest.mark.parametrize(("model", "units", "projection"), cases())
def test_the_solid_is_rebuilt_from_its_sheet_alone(
    model: str, units: str, projection: str | None, tmp_path: Path
) -> None:
    for name, shape, sheet in written(model, units, tmp_path, projection):
        # Dimensions are written to 0.01 mm or 0.001 in; half of that over the whole surface is the most it can be off.
        slack = kernel.surface(shape) * (0.005 if units == "mm" else 0.0127)
        assert abs(rebuild(sheet).Volume() - kernel.volume(shape)) < min(slack, 2e-3 * kernel.volume(shape)), name


@pytest.mark.parametrize(("model", "units"), [("stop_block", "mm"), ("rail", "in"), ("angle_plate", "mm")])
def test_bores_of_the_table_are_those_of_the_model(model: str, units: str, tmp_path: Path) -> None:
    part, _ = solids(model, units)
    ((_, _, sheet),) = written(model, units, tmp_path)
    rows = {row.name: row for row in sheet.rows}
    low, high = part.box()
    wanted = {p.name: p for p in part.pins() if not p.integral}
    assert set(rows) == set(wanted) | {s.name for s in part.sockets()}
    for name, pin in wanted.items():
        axis = {"bottom": 2, "top": 2, "front": 1, "back": 1}[pin.face]
        row = rows[name]
        nominal = re.search(r"Ø([\d.]+)", row.what)
        assert nominal is not None
        assert float(nominal[1]) * sheet.unit == pytest.approx(part.pattern.bore, abs=1e-6)
        for k, place in enumerate(row.places):
            if k != axis:
                assert float(place) * sheet.unit == pytest.approx(pin.at[k], abs=0.0128)
            elif pin.depth < high[k] - low[k] - 1e-6 and place != "through":
                ends = [float(p) * sheet.unit for p in place.split(" to ")]
                assert ends[1] - ends[0] == pytest.approx(pin.depth, abs=0.0128)


def test_a_missing_dimension_is_found(tmp_path: Path) -> None:
    ((_, _, sheet),) = written("nest", "mm", tmp_path)
    count = 0
    for known in sheet.levels.values():
        for level in [one for one in known if one[1] != 0.0]:
            known.remove(level)
            with pytest.raises(NotDimensioned):
                rebuild(sheet)
            known.append(level)
            count += 1
    assert count == 9
    sheet.angles.clear()
    with pytest.raises(NotDimensioned):
        rebuild(sheet)


def overlaps(page: Page) -> list[tuple[str, str]]:
    words = list(page.every_word())
    found = [(a.text, b.text) for a, b in itertools.combinations(words, 2) if meet(a.box, b.box)]
    lines = [(d.word.text, ink) for d in page.dimensions for ink in d.inks]
    for word in words:
        found += [(word.text, f"line of {text}") for text, ink in lines if run_through([ink], word.box)]
    frame = (10.0, 10.0, page.size[0] - 10.0, page.size[1] - 10.0)
    for word in words:
        x0, y0, x1, y1 = word.box
        if x0 < frame[0] or y0 < frame[1] or x1 > frame[2] or y1 > frame[3]:
            found.append((word.text, "the frame"))
    drawn = [ink for ink in page.inks if ink.layer in ("outline", "hidden", "centre")]
    found += [(d.word.text, "the view") for d in page.dimensions if run_through(drawn, d.word.box)]
    found += [(a, b) for (a, one), (b, two) in itertools.combinations(page.views.items(), 2) if meet(one, two, 8.0)]
    # Between views and the strip of words runs a line of the frame; nothing lies across it.
    (strip,) = (ink.points[0][0] for ink in page.inks if ink.layer == "frame" and len(ink.points) == 2)
    boxes = [(w.text, w.box) for w in words] + [(i.layer, i.box) for i in page.inks if i.layer != "frame"]
    boxes += [(d.word.text, ink.box) for d in page.dimensions for ink in d.inks]
    found += [(what, "the strip") for what, box in boxes if box[0] < strip - 1e-6 and box[2] > strip + 1e-6]
    return found


LOOKED_AT = [("vee_block", "in"), ("rail", "mm"), ("tilt_block", "mm"), ("centring_pair", "in"), ("tube_saddle", "mm")]
CORNERS = itertools.product(sorted(library().entries), ("mm", "in"), ("default", "low", "high"))


@pytest.mark.parametrize(("model", "units", "corner"), CORNERS if LONG else [(m, u, "default") for m, u in LOOKED_AT])
def test_nothing_on_a_sheet_overlaps(model: str, units: str, corner: str) -> None:
    style = Style(units=units)  # type: ignore[arg-type]
    made = pages(model, units) if corner == "default" else sheets(*cornered(model, units, corner), style)
    for page in made:
        assert overlaps(page) == [], page.title


def test_scales_and_symbol_are_those_of_the_standards(tmp_path: Path) -> None:
    # ISO 5455: 1:2, 1:5, 1:10 and their like, 2:1, 5:1. ISO 5456-2: the symbol tells the projection.
    for model in ("vee_block", "dowel", "rail"):
        assert pages(model, "mm")[0].scale in (5.0, 2.0, 1.0, 0.5, 0.2, 0.1)
    for units, projection, third in (("mm", None, False), ("in", None, True), ("mm", "third", True)):
        ((_, _, sheet),) = written("vee_block", units, tmp_path, projection)
        assert sheet.third is third
        above = sheet.views["top"].box[1] > sheet.views["front"].box[1]
        assert above is third


def test_no_more_views_than_needed() -> None:
    def views(model: str) -> list[set[str]]:
        return [set(page.views) for page in pages(model, "mm")]

    assert views("shim") == [{"top"}]
    assert views("dowel") == [{"front"}]
    assert views("stop_block") == [{"front", "top"}]
    assert views("step_block") == [{"front", "top", "right"}]


def test_files_are_sound_and_the_same_each_time(tmp_path: Path) -> None:
    import ezdxf
    import pypdf

    part, bodies = solids("shim_stack", "mm")
    style = Style(order=Order(material="S235JR <&>", quantity=3), fits={"dowel": "stays"})
    targets = [tmp_path / f"s.{kind}" for kind in ("pdf", "svg", "dxf")]
    made = drawing_files(part, bodies, targets, style, False)
    assert [p.name for p in made] == ["s.pdf", "s.svg", "s shims.svg", "s.dxf", "s shims.dxf"]
    assert made == drawing_files(part, bodies, targets, style, False)
    for path, data in made.items():
        path.write_bytes(data)
        assert not re.search(rb"20[23]\d-\d\d-\d\d", data.replace(b"1970-01-01", b""))
    reader = pypdf.PdfReader(tmp_path / "s.pdf")
    assert len(reader.pages) == 2
    size = reader.pages[0].mediabox
    assert (float(size.width) / 72 * 25.4, float(size.height) / 72 * 25.4) == pytest.approx((297, 210), abs=0.1)
    root = ElementTree.parse(tmp_path / "s.svg").getroot()
    assert root.get("width") == "297mm"
    assert "S235JR <&>" in "".join(root.itertext())
    document = ezdxf.readfile(tmp_path / "s.dxf")  # type: ignore[attr-defined,unused-ignore]
    assert not document.audit().has_errors
    kinds = [e.dimtype & 7 for e in document.modelspace().query("DIMENSION")]
    assert kinds == [6] * 8
    # True size in the file: the plate is 90 mm long, whatever the scale of the paper.
    xs = [x for e in document.modelspace().query('LINE[layer=="outline"]') for x in (e.dxf.start.x, e.dxf.end.x)]
    assert max(xs) - min(xs) == pytest.approx(90.0, abs=1e-4)


def test_the_sheet_says_what_the_shop_must_know() -> None:
    page = pages("slide_stop", "mm")[0]
    text = " ".join(word.text for word in page.every_word())
    for part in ("pitch 3, 90°", "ISO 2768-m", "slot 16 H9", "16.000 to 16.043", "2 × 45°", "kg", "Ra 1.6", "1:2"):
        assert part in text or part.replace(" ", "") in text.replace(" ", ""), part


def test_a_paper_that_is_too_small_is_told() -> None:
    part, bodies = solids("rail", "mm")
    long = library().make("rail", Pattern(pitch=400.0, bore=16.0))
    body = [(b.name, kernel.one_solid(b.build())) for b in long.bodies()]
    with pytest.raises(FixtureError, match="does not fit on a4; expected a larger --paper"):
        sheets(long, body, Style(paper="a4"))
    assert sheets(part, bodies, Style(paper="a3"))[0].name == "a3"


GAUGES = sorted(name for name, entry in library().entries.items() if "gauge" in vars(entry.model))
ALL = [(m, u) for m in GAUGES for u in ("mm", "in")]


@pytest.mark.parametrize(("model", "units"), ALL if LONG else [*((m, "mm") for m in GAUGES), ("plug_gauge", "in")])
def test_limits_of_a_gauge_stand_at_its_dimensions(model: str, units: str) -> None:
    (page,) = pages(model, units)
    part, _ = solids(model, units)
    gauge, unit = part.gauge(), 1.0 if units == "mm" else 25.4
    assert gauge is not None
    # Table and dimensions; of the notes only that on the serration, which has all of its dimensions.
    notes = " ".join(w.text for w in page.words if w.layer == "text")
    text = "\n".join([w.text for w in page.every_word() if w.layer in ("table", "dimensions")])
    text += "\n".join(re.findall(r"first tooth to last [\d.]+ to [\d.]+", notes))
    pairs = [(float(a), float(b)) for a, b in re.findall(r"(-?\d[\d.]*\d) to (-?\d[\d.]*\d)", text)]
    for middle, off in re.findall(r"(-?\d[\d.]*)°? ±([\d.]+)", text):
        pairs.append((float(middle) - float(off), float(middle) + float(off)))
    assert "belong to no dimension" not in notes
    for limit in gauge.limits:
        share = 1.0 if limit.kind == "angle" else unit
        slack = 1e-9 + 0.3 * (limit.high - limit.low)  # no more than that is lost by rounding, and to the inside only
        found = any(
            limit.low - 1e-9 <= a * share <= limit.low + slack and limit.high - slack <= b * share <= limit.high + 1e-9
            for a, b in pairs
        )
        assert found is bool(limit.of), f"{limit}: {pairs}"
