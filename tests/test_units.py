"""Lengths in and out."""

import math
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fixture3d import units
from fixture3d.errors import UnitError
from fixture3d.units import in_units


@pytest.mark.parametrize(
    ("text", "file_units", "mm"),
    [
        ("3/4", "in", 19.05),
        ("3/4", "mm", 0.75),
        ("3/4 in", "mm", 19.05),
        ("1-1/2 in", "mm", 38.1),
        ("1 1/2 in", "mm", 38.1),
        ("1 - 1/2 in", "mm", 38.1),
        ("2 ft 3 1/8 in", "mm", 688.975),
        ("2 ft", "mm", 609.6),
        ("2ft3in", "mm", 685.8),
        ("2'-3-1/8\"", "mm", 688.975),
        ("2' 3 1/8\"", "mm", 688.975),
        ("1/2 ft", "mm", 152.4),
        ("19.05 mm", "in", 19.05),
        ("19.05mm", "in", 19.05),
        ("2.5 cm", "in", 25.0),
        ("1.2 m", "in", 1200.0),
        ('1-1/2"', "mm", 38.1),
        ("1½ in", "mm", 38.1),
        ("¾″", "mm", 19.05),
        ("2′ 3⅛″", "mm", 688.975),
        (".5 in", "mm", 12.7),
        ("5. mm", "mm", 5.0),
        ("-1-1/2 in", "mm", -38.1),
        ("−3 mm", "mm", -3.0),
        ("  12 MM ", "mm", 12.0),
        ("1-33/64 in plus 0.003 in", "mm", 25.4 * (1 + 33 / 64 + 0.003)),
        ("-1-33/64 in less 0.003 in", "mm", -25.4 * (1 + 33 / 64 + 0.003)),
        (0.1, "in", 2.54),
        (3, "in", 76.2),
        (-7, "mm", -7.0),
        (1e3, "mm", 1000.0),
    ],
)
def test_what_a_person_writes(text: str | float, file_units: units.Units, mm: float) -> None:
    assert units.length(text, file_units) == pytest.approx(mm, abs=1e-12)


# Source: 1 in = 25.4 mm exactly, 1 ft = 304.8 mm exactly, NIST SP 811 (2008), appendix B.8. The decimal equivalents are
# those of the usual chart of inch fractions in handbooks; the three here are from memory.
@pytest.mark.parametrize(
    ("text", "mm"),
    [("1 in", 25.4), ("1 ft", 304.8), ("1/64 in", 0.396875), ("17/32 in", 13.49375), ("63/64 in", 25.003125)],
)
def test_published_conversions(text: str, mm: float) -> None:
    assert units.length(text) == mm


@pytest.mark.parametrize(
    ("value", "says"),
    [
        ("", "write"),
        ("abc", "write"),
        ("3/0", "divides by zero"),
        ("19,05", "19.05"),
        ("3 furlongs", "mm, cm, m, in and ft"),
        ("2 ft 3", "mixes feet"),
        ("2 ft 3 mm", "mixes feet"),
        ("1/2/3", "write"),
        ("--3", "write"),
        ("1e3", "write"),
        ("nan", "write"),
        ("3 in 4 in", "write"),
        ("3\n4", "write"),
        ("9" * 61, "too long"),
        (math.nan, "nan"),
        (math.inf, "inf"),
        (True, "true"),
        (None, "not a length"),
        ([1], "a list"),
        ({}, "a table"),
        (10**400, "digits"),
        (1e300, "too large"),
    ],
)
def test_what_is_refused(value: object, says: str) -> None:
    with pytest.raises(UnitError) as caught:
        units.length(value, "in")
    assert says in str(caught.value)
    assert str(caught.value).isprintable()
    assert len(str(caught.value)) < 200


@pytest.mark.parametrize(
    ("mm", "file_units", "text"),
    [
        (12.7, "mm", "12.7 mm"),
        (12.0, "mm", "12 mm"),
        (100.0, "mm", "100 mm"),
        (0.004, "mm", "0 mm"),
        (-0.004, "mm", "0 mm"),
        (12.346, "mm", "12.35 mm"),
        (38.1, "in", "1-1/2 in"),
        (19.05, "in", "3/4 in"),
        (0.0, "in", "0 in"),
        (-38.1, "in", "-1-1/2 in"),
        (25.4 * (1 + 33 / 64 + 0.003), "in", "1-33/64 in plus 0.003 in"),
        (25.4 * (1 + 33 / 64 - 0.003), "in", "1-33/64 in less 0.003 in"),
        (-25.4 * (1 + 33 / 64 + 0.003), "in", "-1-33/64 in less 0.003 in"),
        (25.4 * 2.0004, "in", "2 in"),
        (-0.0762, "in", "-0.003 in"),
    ],
)
def test_what_is_shown(mm: float, file_units: units.Units, text: str) -> None:
    assert units.show(mm, file_units) == text


def test_clearances_are_fine() -> None:
    assert units.show_fine(0.3048, "in") == "0.012 in"
    assert units.show_fine(0.01) == "0.01 mm"
    assert units.show_fine(-0.0001, "in") == "0.000 in"
    assert units.show_fine(-0.05) == "-0.05 mm"


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf])
def test_nothing_shows_what_is_not_a_length(bad: float) -> None:
    for show in (units.show, units.show_fine, units.from_mm):
        with pytest.raises(UnitError):
            show(bad, "in")


@given(st.floats(-30_000, 30_000), st.sampled_from(units.UNITS))
def test_what_is_shown_reads_back_within_what_it_claims(mm: float, file_units: units.Units) -> None:
    back = units.length(units.show(mm, file_units), "mm" if file_units == "in" else "in")
    assert abs(back - mm) <= (0.00500001 if file_units == "mm" else 0.0127001)


@given(
    st.integers(0, 40), st.integers(0, 63), st.sampled_from(["-", " "]), st.sampled_from(["in", '"', " inches", "″"])
)
def test_every_fraction_reads_back_as_itself(whole: int, top: int, gap: str, unit: str) -> None:
    exact = (Fraction(whole) + Fraction(top, 64)) * Fraction(254, 10)
    assert units.length(f"{whole}{gap}{top}/64{unit}") == float(exact)
    assert units.length(units.show(float(exact), "in")) == pytest.approx(float(exact), abs=1e-9)


@given(st.decimals(-1000, 1000, places=4))
def test_a_decimal_means_what_is_written(value: object) -> None:
    assert units.length(float(str(value)), "in") == float(Fraction(str(value)) * Fraction(127, 5))


@given(st.text(max_size=70), st.sampled_from(units.UNITS))
def test_any_text_is_a_length_or_one_line(text: str, file_units: units.Units) -> None:
    assert complaint(text, file_units).isprintable()


def complaint(text: str, file_units: units.Units) -> str:
    try:
        assert math.isfinite(units.length(text, file_units))
    except UnitError as error:
        return str(error)
    return ""


def test_a_sentence_made_in_mm_is_shown_in_inches_without_touching_its_other_figures() -> None:
    # 1 in = 25.4 mm exactly (international yard and pound agreement, 1959).
    said = "near miss 1.6 mm: 152.4 mm of line, 31 % of 2 places at 90 degrees, 16387 mm3"
    assert in_units(said, "mm") == said
    assert in_units(said, "in") == "near miss 0.063 in: 6 in of line, 31 % of 2 places at 90 degrees, 1 in3"


def test_a_plate_of_an_inch_fraction_is_read_back_as_thick_as_it_is() -> None:
    for steps in range(1, 65):
        assert units.length(units.show_shim(25.4 * steps / 64, "in"), "in") == pytest.approx(
            25.4 * steps / 64, abs=1e-9
        )
    for thousandths in range(1, 100):
        assert units.length(units.show_shim(0.0254 * thousandths, "in"), "in") == pytest.approx(
            0.0254 * thousandths, abs=1e-9
        )
