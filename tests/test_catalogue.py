"""The models as text, and the files of one block: what a person reads before making one."""

from __future__ import annotations

import re
import textwrap
import tomllib
from pathlib import Path

import numpy as np
import pytest

from fixture3d.catalogue import describe
from fixture3d.cli import main
from fixture3d.library import library
from fixture3d.part import Pattern, parameters
from fixture3d.scene import loads
from fixture3d.units import length

METRIC = Pattern(pitch=50.0, bore=16.0)
INCH = Pattern(pitch=50.8, bore=19.05, inch=True)
MODELS = tuple(library().entries)


def text(model: str, inch: bool = False) -> str:
    return describe(library().entry(model), INCH if inch else METRIC, "in" if inch else "mm")


@pytest.mark.parametrize("model", MODELS)
def test_is_plain_text_without_markup_and_keeps_the_drawing(model: str) -> None:
    found = text(model)
    assert "``" not in found
    assert not re.search(r"^\s*::", found, re.MULTILINE)
    assert "::\n" not in found.replace(" ::", "")
    assert re.search(r"\n\n {3,}\S", found)  # a drawing, after a blank line


@pytest.mark.parametrize("model", MODELS)
@pytest.mark.parametrize("inch", [False, True])
def test_says_where_every_straight_face_and_every_bore_is(model: str, inch: bool) -> None:
    units = "in" if inch else "mm"
    pattern = INCH if inch else METRIC
    part = library().make(model, pattern, {}, units)  # type: ignore[arg-type]
    found = text(model, inch)
    for pad in part.pads():
        (line,) = re.findall(rf"^  {re.escape(pad.name)}: (.*)$", found, re.MULTILINE)
        if max(abs(v) for v in pad.normal) < 1.0 - 1e-9:
            assert "aslant" in line
            continue
        said = length(re.match(r"-?[\d./-]+ (mm|in)", line)[0], units)  # type: ignore[index,arg-type]
        first = part.pins()[0].at if part.pins() and not pad.normal[2] else (0.0, 0.0, 0.0)
        where = float(np.dot(np.subtract(pad.at, first), np.abs(pad.normal)))
        sign = 1.0 if pad.normal[2] else float(np.sum(pad.normal))
        assert said == pytest.approx(where * sign, abs=0.013)
    for name in {p.name for p in part.pins()}:
        assert f"  bore {name}: " in found


def test_the_figures_of_one_block_by_hand() -> None:
    """Pitch 50, bore 16: the second row of bores is 1.35 bores on, 25 mm; 70.71 mm is the diagonal of a cell."""
    found = text("stop_block")
    for line in (
        "front: 20 mm from bore 1, facing -Y",
        "top: 50 mm above the table",
        "left: 27.5 mm from bore 1, facing -X",
        "bore 2: 50 mm along X from bore 1 (bottom, top)",
        "bore 3: -10.36 mm along X, 25 mm along Y from bore 1 (bottom, top)",
    ):
        assert f"  {line}\n" in found


@pytest.mark.parametrize("model", MODELS)
def test_bounds_in_inches_are_decimals_and_are_themselves_allowed(model: str) -> None:
    found = text(model, inch=True)
    assert not re.search(r"\d in (plus|less|[+-]) 0\.", found)
    entry = library().entry(model)
    for name, parameter in parameters(entry.model).items():
        if parameter.kind != "length":
            continue
        shown = re.search(rf"^  {name} +\S.*?; (.*?) in to (.*?) in\.", found, re.MULTILINE)
        assert shown is not None
        low, high = (length(f"{s} in", "in") for s in shown.groups())
        assert parameter.resolved("low", INCH) - 1e-9 <= low
        assert high <= parameter.resolved("high", INCH) + 1e-9
        assert low == pytest.approx(parameter.resolved("low", INCH), abs=0.026)
        assert high == pytest.approx(parameter.resolved("high", INCH), abs=0.026)


def test_force_in_pounds_besides_newtons_for_inches_only() -> None:
    """NIST SP 811, appendix B.8: 1 lbf = 4.448 222 N, so 500 N are 112.4 lbf and 2000 N are 449.6 lbf."""
    assert "Presses with 500 N (112 lbf) to 2000 N (450 lbf)" in text("toggle_clamp", inch=True)
    assert "Presses with 500 N to 2000 N," in text("toggle_clamp")


@pytest.mark.parametrize(("model", "kind"), [("toggle_clamp", "clamp"), ("magnet", "clamp"), ("riser", "place")])
def test_the_text_shows_a_scene_that_places_it(model: str, kind: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["models", model]) == 0
    shown = capsys.readouterr().out
    toml, *more = shown.partition("Placed by\n")[2].split("\n\nTo hold a piece, add to its [[clamp]]\n")
    data = tomllib.loads(toml)
    assert data[kind][0]["model"] == model
    loads(textwrap.dedent(toml))
    assert bool(more) == (kind == "clamp")
    for lines in more:
        assert list(tomllib.loads(lines)) == ["presses", "at", "toward"]


def test_only_what_means_something_is_shown() -> None:
    """A magnet has no throat and no stroke; a V tells the tubes that touch its flats.

    In a V of 90 degrees the tangent length to the flats is the radius, so the largest tube has twice the flat's length
    (Euclid III.36); the V of a 48.3 tube has 1.25 times its tangent length and 2 mm: 2 * (1.25 * 24.15 + 2) = 64.38.
    """
    assert "throat" not in text("magnet")
    assert "throat 50 mm, stroke 20 mm" in text("toggle_clamp")
    assert re.search(r"^Takes round tube and bar of [\d.]+ mm to 64.38 mm", text("vee_block"), re.MULTILINE)
    assert "Takes" not in text("riser")


def test_a_name_that_only_begins_like_a_model_finds_it(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["models", "vee"]) == 2
    assert 'nearest: "vee_block"' in capsys.readouterr().err


def test_files_carry_the_table_and_the_usual_one_is_said(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["make", "shim", "-o", str(tmp_path)]) == 0
    captured = capsys.readouterr()
    assert "holes of 16 mm, 50 mm apart" in captured.err
    assert main(["make", "shim", "-o", str(tmp_path), "--table", "100/28"]) == 0
    assert capsys.readouterr().err == ""
    assert main(["make", "shim", "-o", str(tmp_path), "--units", "in"]) == 0
    assert "holes of 3/4 in, 2 in apart" in capsys.readouterr().err
    names = sorted(p.name for p in tmp_path.glob("*.step"))
    assert names == ["shim for 16 mm on 50 mm.step", "shim for 28 mm on 100 mm.step", "shim for 3-4 in on 2 in.step"]
