"""Fits by use: classes, limits, play, and blocks of one pattern on a table of another."""

from __future__ import annotations

import math

import pytest

from fixture3d.errors import ModelError
from fixture3d.library import library
from fixture3d.part import Pattern
from fixture3d.stock.fits import FitError, clearance, limits
from fixture3d.workshop.uses import block_play, fits, fits_text, read_fits, stands_on, used

MM = Pattern(pitch=50.0, bore=16.0)
INCH = Pattern(pitch=50.8, bore=15.875, inch=True)
IN = 25.4


def test_the_usual_classes_by_use() -> None:
    names = {use: fit.name for use, fit in fits(MM).items()}
    assert names == {"dowel": "H7/g6", "table": "H7/g6", "socket": "H7/g6", "slot": "H9/g6"}
    assert {use: fit.name for use, fit in fits(INCH).items()} == {
        "dowel": "LC5", "table": "LC5", "socket": "LC5", "slot": "RC6",
    }  # fmt: skip


@pytest.mark.parametrize("size", [10.0, 10.001, 18.0, 18.001, 30.0, 30.001, 50.0, 50.001])
@pytest.mark.parametrize("name", ["H7/g6", "H7/m6", "H7/p6", "H8/f7", "H9/g6"])
def test_fits_equal_pressfit_on_both_sides_of_a_range(name: str, size: float) -> None:
    # The library pressfit 0.1.0: hole and shaft limits of ISO 286-2, micrometres; it pairs equal grades only.
    import pressfit

    fit = fits(Pattern(pitch=200.0, bore=size), {"dowel": name})["dowel"]
    hole, pin = name.split("/")
    for ours, (theirs, low, high) in zip(
        (fit.hole, fit.pin),
        (
            (pressfit.fit(f"{hole}/h{hole[1:]}", size), "hole_ei_um", "hole_es_um"),
            (pressfit.fit(f"H{pin[1:]}/{pin}", size), "shaft_ei_um", "shaft_es_um"),
        ),
        strict=True,
    ):
        assert [round((v - size) * 1000, 6) for v in ours] == [getattr(theirs, low), getattr(theirs, high)]
    assert fit.clear == pytest.approx(clearance(limits(hole, size), limits(pin, size)), abs=1e-9)


def test_words_stand_for_classes_in_both_units() -> None:
    stays = fits(MM, {"dowel": "stays"})["dowel"]
    # ISO 286-2: 16 H7/m6 is 18 um tight to 11 um loose. B4.1: 5/8 LT5 is 0.0009 in tight to 0.0002 in loose.
    assert stays.clear == (-0.018, 0.011)
    tight = fits(INCH, {"dowel": "stays"})["dowel"]
    assert tight.clear == pytest.approx((-0.0009 * IN, 0.0002 * IN), abs=1e-9)
    assert (tight.hole_name, tight.pin_name) == ("LT5 hole", "LT5 shaft")


def test_play_of_a_block_on_loose_dowels_adds_block_and_table() -> None:
    block = library().make("stop_block", MM)
    play = block_play(block, fits(MM))
    assert play is not None
    # ISO 286-2: 16 H7/g6 is 35 um loose at the most, once in the block and once in the table.
    assert play[0].shift == pytest.approx(0.035)
    assert play[0].turn == pytest.approx(math.degrees(math.asin(2 * 0.070 / (2 * 50.0))))
    pressed = block_play(block, fits(MM, {"dowel": "H7/p6"}))
    assert pressed is not None
    assert pressed[0].shift == pytest.approx(0.0175)
    assert block_play(library().make("dowel", MM), fits(MM)) is None


def test_the_text_says_limits_clearance_and_play() -> None:
    text = fits_text(library().make("slide_stop", MM), fits(MM), "mm")
    assert (
        "dowel in a slot that it slides in: H9/g6, 16 mm\n  hole 16.000 to 16.043 mm, pin 15.983 to 15.994 mm" in text
    )
    assert "clearance 0.006 mm to 0.060 mm" in text
    assert "their distance is off by 0.012 mm or less" in text
    assert "0.6250 to 0.6257 in" in fits_text(library().make("stop_block", INCH), fits(INCH), "in")


@pytest.mark.parametrize(
    ("given", "why"),
    [
        (["dowle=H7/g6"], 'expected one of dowel, table, socket, slot; nearest: "?dowel'),
        (["dowel=H7"], "expected a hole and a pin"),
        (["dowel=g6/H7"], "not a class of a bore"),
        (["dowel=H7/z9"], "not in the tables"),
        (["dowel"], "expected USE=CLASS"),
        (["dowel=H7/g6", "dowel=H7/m6"], "given twice"),
    ],
)
def test_wrong_fits_are_refused(given: list[str], why: str) -> None:
    with pytest.raises(FitError, match=why):
        fits(MM, read_fits(given))


def test_a_use_that_a_block_does_not_have_is_refused() -> None:
    part = library().make("dowel", MM)
    with pytest.raises(FitError, match="the block has none; expected table"):
        fits(MM, {"slot": "H9/g6"}, used(part))


def test_a_size_outside_the_inch_tables_is_refused_only_where_it_is_used() -> None:
    large = Pattern(pitch=101.6, bore=38.1, inch=True)
    with pytest.raises(FitError, match="state the limits"):
        fits(large)
    assert fits(large, None, ()) == {}


def test_a_metric_block_on_an_inch_table_and_the_reverse() -> None:
    block = library().make("stop_block", MM)
    with pytest.raises(ModelError, match=r"pins can be 0.0047 in thicker than the holes; expected .*--table 2/0.625"):
        stands_on(block, INCH, fits(MM), "in")
    # 3/4 in holes, 2 in apart: 19.05 - 16 = 3.05 mm loose, and 50.8 - 50 = 0.8 mm off.
    told = stands_on(block, Pattern(pitch=50.8, bore=19.05, inch=True), fits(MM), "mm")
    assert "3.05 mm thinner than the holes and 0.8 mm off their spacing" in told
    assert "locates nothing" in told
    inch = library().make("stop_block", INCH)
    # 5/8 in pins in 16 mm holes: 0.125 mm loose, but 0.8 mm off: they do not go in.
    with pytest.raises(ModelError, match=r"miss two holes by 0.8 mm where 0.131"):
        stands_on(inch, MM, fits(INCH), "mm")
    single = library().make("dowel", INCH)
    assert "0.125 mm thinner" in stands_on(single, MM, fits(INCH), "mm")
