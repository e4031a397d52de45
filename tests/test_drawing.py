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
    return [
        *((m, "mm", None) for m in REBUILT),
        ("pitch_gauge", "in", None),
        ("screw_jack", "in", None),
        ("step_block", "mm", "third"),
    ]


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
    for part in ("pitch 3, 90°", "ISO 2768-mK", "slot 16 H9", "16.000 to 16.043", "2 × 45°", "kg", "Ra 1.6", "1:2"):
        assert part in text or part.replace(" ", "") in text.replace(" ", ""), part


def told(model: str, units: str) -> str:
    """The notes of the first sheet of a block, each in one line."""
    return " ".join(word.text for word in pages(model, units)[0].words if word.layer == "text")


def test_a_serration_ends_at_the_wall_and_the_edges_of_the_wall_are_drawn(tmp_path: Path) -> None:
    _, _, sheet = written("slide_stop", "mm", tmp_path)[0]
    (note,) = (n for n in sheet.notes if n.startswith("Serration"))
    for words in ("X -20 to 120", "a crest at X -18 ±0.05; any tooth from any other ±0.05", "a groove as deep as"):
        assert words in note
    plan, front = sheet.views["top"], sheet.views["front"]
    upright = {round(p[0] - plan.box[0] - 20.0, 3) for p, q, seen in plan.lines if seen and abs(p[0] - q[0]) < 1e-6}
    assert upright == {-20.0, 120.0, 122.0, 136.0, 138.0}
    # Where the sides of the slot run on into its ends, X 0 and 98, there is no edge.
    hidden = {round(p[0] - front.box[0] - 20.0, 3) for p, _, seen in front.lines if not seen}
    assert hidden == {-8.0, 106.0}


@pytest.mark.parametrize(("model", "units"), [("vee_block", "mm"), ("vee_block", "in"), ("centring_pair", "mm")])
def test_a_bar_lies_in_the_v_where_the_note_says(model: str, units: str, tmp_path: Path) -> None:
    import cadquery as cq

    _, shape, sheet = written(model, units, tmp_path)[0]
    pattern = r"Bar Ø(\S+) in the V: its middle at ([XYZ]) (\S+) ±\S+, ([XYZ]) (\S+) ±"
    found = re.findall(pattern, " ".join(sheet.notes))
    assert found
    low = [float(v) for v in kernel.box(shape)[0]]
    for size, i, at, j, up in found:
        # A bar that touches both sides is as far from the solid as its radius: measured by the kernel.
        spot = [float(v) - 3.0 for v in kernel.box(shape)[1]]  # along the V near its end, where nothing else is
        for axis, value in ((i, at), (j, up)):
            k = "XYZ".index(axis)
            zero = next(p for p, v in sheet.levels[k] if abs(v) < 1e-9) + low[k]
            spot[k] = zero + float(value) * sheet.unit
        middle = cq.Vertex.makeVertex(*spot)
        assert middle.distance(cq.Shape.cast(shape)) == pytest.approx(float(size) * sheet.unit / 2.0, abs=0.03)


def test_a_drill_goes_past_a_bottom_only_where_there_is_steel() -> None:
    # A point of 118 degrees of Ø16 is 4.8 deep; over bores 1 and 2 of the V-block there are 4 mm, in a step block 10.
    assert "Flat bottom in 1, 2: a drill's point has no room" in told("vee_block", "mm")
    assert "Past the bottom of 3, 4 a drill's point of 118° may go." in told("step_block", "mm")
    assert "full diameter, +0.020 0; a reamer's lead of 0.040" in told("vee_block", "in")


def test_pins_of_turned_work_have_their_limits() -> None:
    words = [d.word.text for d in pages("headed_dowel", "mm")[0].dimensions]
    assert "Ø12 h6 11.989 to 12.000" in words  # ISO 286-2: 0, -11 µm over 10 to 18 mm
    assert "Ø16 g6 15.983 to 15.994" in words  # -6, -17 µm
    small = sheets(*cornered("headed_dowel", "in", "low"), Style(units="in"))[0]  # of 4 mm: 0, -8 µm
    assert "Ø0.157 h6 0.15717 to 0.15748" in [d.word.text for d in small.dimensions]
    notes = told("headed_dowel", "mm")
    assert "Z at the shoulder between Ø16 and Ø30" in notes
    assert "Edge of Ø30 at Z 10: 2 × 45°" in notes
    assert "run true to each other within 0.02." in notes


def test_a_minus_is_a_true_one_on_paper_and_one_of_every_font_in_a_file(tmp_path: Path) -> None:
    (page,) = pages("step_block", "mm")
    texts = [word.text for word in page.every_word()]
    assert not [t for t in texts if re.search(r"(?<!\w)-\d", t)]
    assert {"−27.5 ±0.05", "−10.355"} <= set(texts)
    ((_, _, sheet),) = written("step_block", "mm", tmp_path)
    assert min(value for _, value in sheet.levels[0]) == -27.5


@pytest.mark.parametrize("model", ["corner_block", "plug_gauge"])
def test_extension_lines_come_from_the_nearer_side(model: str) -> None:
    (page,) = pages(model, "mm")
    for d in page.dimensions:
        (x, y), k = d.inks[0].points[0], 1 if d.level else 0
        box = next(b for b in page.views.values() if meet((x, y, x, y), b, 1.5))
        along = (x, y)[1 - k]
        if box[1 - k] + 1e-3 < along < box[3 - k] - 1e-3:  # else it runs beside the view
            assert abs(d.inks[0].points[1][k] - (x, y)[k]) < 0.3 * (box[k + 2] - box[k]) + 5.0, d.word.text


def test_sides_are_told_in_the_projection_that_is_drawn() -> None:
    first, third = told("step_block", "mm"), " ".join(w.text for w in pages("step_block", "mm", "third")[0].words)
    assert "front is low Y, bottom is low Z; first angle: the view from above stands below the front view" in first
    assert "third angle: the view from above stands above the front view, the view from the right stands right" in third
    assert "(that of Y −20 with Z 60): 2 × 45°" in first
    assert "second" not in told("vee_block", "mm")


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


def test_threads_are_named_where_the_solid_is_plain() -> None:
    def words(model: str, units: str, sheet: int) -> str:
        return " ".join(w.text for w in pages(model, units)[sheet].every_word())

    # ISO 261, coarse: M12 × 1.75. ASME B1.1, UNC: 1/2-13. Both as in every handbook.
    base, nut, screw = (words("screw_jack", "mm", k) for k in range(3))
    for text in (base, nut):
        assert "bore tapped M12 (drawn Ø12.5)" in text
        assert "M12: ISO 261 coarse, pitch 1.75; tapped, 6H. Threads are not drawn" in text
    assert "M12 thread (drawn Ø12)" in screw
    assert "bore tapped 1/2-13 UNC (drawn Ø0.520)" in words("screw_jack", "in", 0)
    assert "bore tapped M12 (drawn Ø13)" in words("screw_clamp", "mm", 1)
    assert "bore Ø17" in words("screw_clamp", "mm", 1)  # about the post: plain
    assert "A nut below the table pulls the shank: M16 at its end" in words("screw_clamp", "mm", 0)
    assert "A nut" not in base
    assert "2 × M12 thread (drawn Ø12)" in words("hold_down_bolt", "mm", 1)  # below and above its nut


def test_pins_of_fitted_bores_are_named() -> None:
    part, bodies = solids("vee_block", "mm")
    page = sheets(part, bodies, Style(fits={"dowel": "stays"}))[0]
    text = " ".join(word.text for word in page.words)
    # ISO 286-2: m6 over 10 to 18 mm is +18, +7 µm; g6 is -6, -17 µm.
    assert "Pins for bores 1, 2, 3, 4, not part of this sheet: Ø16 m6, 16.007 to 16.018 mm;" in text
    assert "their ends in the table Ø16 g6, 15.983 to 15.994 mm." in text
    assert "their ends" not in told("vee_block", "mm")


@pytest.mark.parametrize("units", ["mm", "in"])
def test_lands_and_rests_of_locating_pins_have_limits(units: str) -> None:
    # ISO 286-2: h6 is 0, -11 µm over 10 to 18 mm; the inch pin is 1/2 in.
    def texts(model: str) -> list[str]:
        return [w.text for w in pages(model, units)[0].every_word()]

    diamond, headed = texts("diamond_dowel"), texts("headed_dowel")
    lands, limits = {"mm": ("Ø12", "11.989 to 12.000"), "in": ("Ø0.500", "0.49957 to 0.50000")}[units]
    assert f"lands {lands} h6" in diamond
    assert limits in diamond
    assert f"{lands} h6 {limits}" in headed
    rest, place = {"mm": ("10", "0.05"), "in": ("0.375", "0.002")}[units]
    for found in (diamond, headed):
        assert f"{rest} ±{place}" in found
        assert f"Faces marked ±{place} locate the work, from zero." in found


def test_places_with_narrow_tolerances_are_not_rounded_coarser_than_these() -> None:
    # Bores 3 and 4 of the step block stand on a grid turned by 45 degrees: 25 - 25 √2 = -10.3553.
    for units, places in (("mm", ("−10.355", "60.355")), ("in", ("−0.4142", "2.4142"))):
        assert set(places) <= {w.text for w in pages("step_block", units)[0].words if w.layer == "table"}


def test_the_title_of_a_gauge_does_not_round_its_work() -> None:
    title = " ".join(w.text for w in pages("plug_gauge", "mm")[0].words)
    assert "least 16, most 16.018, percent 5" in title
    pitch = " ".join(w.text for w in pages("pitch_gauge", "mm")[0].words)
    assert "pitches 1, GO for the most material, error 0.1" in pitch
    assert "It tells: two holes that are off their distance by more than 0.1 mm when both are" in pitch
