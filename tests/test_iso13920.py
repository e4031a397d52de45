"""ISO 13920: the tables as a public page quotes them, ranges on both sides of their ends, and what has no tolerance."""

from __future__ import annotations

import math

import numpy as np
import pytest

from fixture3d.accuracy.figures import Work, distance, flatness
from fixture3d.accuracy.iso13920 import FORM, ToleranceError, allowed, angular, call_out, form, linear

TOPS = (30, 120, 400, 1000, 2000, 4000, 8000, 12000, 16000, 20000, 1e6)

# ISO 13920 Table 1 (1996/2023) as a public fabrication page quotes it; the first cell, 2 to 30 mm, from memory.
LINEAR = {
    "A": (1, 1, 1, 2, 3, 4, 5, 6, 7, 8, 9),
    "B": (1, 2, 2, 3, 4, 6, 8, 10, 12, 14, 16),
    "C": (1, 3, 4, 6, 8, 11, 14, 18, 21, 24, 27),
    "D": (1, 4, 7, 9, 12, 16, 21, 27, 32, 36, 40),
}
# Table 3: E and F from the same page, G and H from a public code table that agrees with it; their last from memory.
FORMS = {
    "E": (0.5, 1, 1.5, 2, 3, 4, 5, 6, 7, 8),
    "F": (1, 1.5, 3, 4.5, 6, 8, 10, 12, 14, 16),
    "G": (1.5, 3, 5.5, 9, 11, 16, 20, 22, 25, 25),
    "H": (2.5, 5, 9, 14, 18, 26, 32, 36, 40, 40),
}
# Table 2: minutes by the shorter leg, and mm a metre.
ANGLES = {"A": (20, 15, 10), "B": (45, 30, 20), "C": (60, 45, 30), "D": (90, 75, 60)}
SLOPES = {"A": (6, 4.5, 3), "B": (13, 9, 6), "C": (18, 13, 9), "D": (26, 22, 18)}


@pytest.mark.parametrize("class_", "ABCD")
def test_lengths_over_and_up_to_and_including(class_: str) -> None:
    least = 2.0
    for top, value in zip(TOPS, LINEAR[class_], strict=True):
        assert linear(top, class_) == value
        assert linear(least, class_) == value
        least = top + 0.1


@pytest.mark.parametrize("class_", FORM)
def test_form_over_and_up_to_and_including(class_: str) -> None:
    least = 30.1
    for top, value in zip(TOPS[1:], FORMS[class_], strict=True):
        assert form(top, class_) == value
        assert form(least, class_) == value
        least = top + 0.1


@pytest.mark.parametrize("class_", "ABCD")
def test_angles_by_the_shorter_leg(class_: str) -> None:
    for legs, minutes, slope in zip(
        ((1, 400), (400.1, 1000), (1000.1, 9000)), ANGLES[class_], SLOPES[class_], strict=True
    ):
        for leg in legs:
            found = angular(leg, class_)
            assert found.degrees == pytest.approx(minutes / 60)
            assert found.mm_per_m == slope
            # The mm a metre are the rounded tangent: 1000 tan of the angle, to half a mm at worst.
            assert found.mm_per_m == pytest.approx(1000 * math.tan(math.radians(found.degrees)), abs=0.55)


def test_worked_cases() -> None:
    # Cases worked out beside the tables by hand.
    assert (linear(1200, "A"), linear(1200, "B"), linear(500, "B"), linear(90, "C")) == (3, 4, 3, 3)
    assert (linear(1000.0, "A"), linear(1000.1, "A"), linear(1000 + 1e-9, "A")) == (2, 3, 2)
    assert angular(500, "B").mm == pytest.approx(4.36, abs=0.005)
    assert angular(500, "B").mm_per_m * 0.5 == 4.5
    assert form(1500, "F") == 4.5


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: linear(1.9, "B"), r"no linear tolerance for 1.9 mm; expected a size of 2 mm and more"),
        (lambda: linear(float("nan"), "B"), r"no linear tolerance for nan mm"),
        (lambda: form(30, "F"), r"no form tolerance for 30 mm; expected a size over 30 mm"),
        (lambda: angular(0, "B"), r"no angular tolerance for 0 mm"),
        (lambda: linear(100, "E"), r'"E" is no such class of ISO 13920; expected A, B, C or D'),
        (lambda: form(100, "B"), r'"B" is no such class of ISO 13920; expected E, F, G or H'),
        (lambda: call_out("ISO 2768-m"), r'"ISO 2768-m" is no class of ISO 13920; expected one of A to D'),
        (lambda: call_out(""), r'"" is no class'),
    ],
)
def test_what_is_not_defined_is_an_error_of_one_line(call: object, message: str) -> None:
    with pytest.raises(ToleranceError, match=message) as caught:
        call()  # type: ignore[operator]
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("text", "classes"),
    [("ISO 13920-BF", ("B", "F")), ("EN ISO 13920 - A", ("A", None)), ("C", ("C", None)), ("b f".upper(), ("B", "F"))],
)
def test_a_drawing_note(text: str, classes: tuple[str, str | None]) -> None:
    # "ISO 13920-BF": lengths and angles class B, form class F (public page).
    assert call_out(text) == classes


def test_what_a_class_allows_a_figure() -> None:
    a, b = np.zeros(3), np.array([1200.0, 0, 0])
    assert allowed(distance("long", ("p", a), ("q", b)), "B") == 4
    spots = [("p", a), ("p", b), ("q", np.array([1200.0, 600, 0])), ("q", np.array([0, 600.0, 0]))]
    flat = flatness("flat", spots, 1200.0)
    assert (allowed(flat, "B", "F"), allowed(flat, "B")) == (4.5, None)
    assert allowed(distance("short", ("p", a), ("q", np.array([1.0, 0, 0]))), "B") is None
    assert Work("p", a, b, np.array([a, b])).length == 1200.0
