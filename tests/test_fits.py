"""Limits, clearances and play: the program's own promises. Outside values stand in test_reference.py."""

import math

import pytest

from fixture3d.stock.fits import (
    FitError,
    assembles,
    bore_limits,
    clearance,
    known_classes,
    limits,
    pin_limits,
    pin_play,
    play_turn,
    shift,
)


def test_every_known_class_gives_limits_in_order() -> None:
    for name in known_classes():
        low, high = limits(name, 16.0)
        assert low < high, name
        assert round(low * 1e6) == pytest.approx(low * 1e6, abs=1e-3)


@pytest.mark.parametrize(("size", "upper"), [(10.0, 15), (10.001, 18), (18.0, 18), (18.001, 21), (3.0, 10), (500, 63)])
def test_a_size_on_the_edge_belongs_to_the_range_below(size: float, upper: int) -> None:
    assert limits("H7", size) == (0.0, upper / 1000)


def test_holes_mirror_shafts_of_the_same_letter() -> None:
    for letter in "DEFGH":
        for size in (4, 9, 16, 28, 40, 100, 300):
            hole, shaft = limits(f"{letter}8", size), limits(f"{letter.lower()}8", size)
            assert hole == (-shaft[1], -shaft[0])


@pytest.mark.parametrize(
    ("name", "size", "says"),
    [
        ("H77", 16, 'nearest: "H7"'),
        ("h7x", 16, 'nearest: "h7"'),
        ("q6", 16, "expected one such as"),
        ("", 16, "expected one such as"),
        ("RC4", 16, 'expected "RC4 hole" or "RC4 shaft"'),
        ("RC4 hole", 9.0, "0.4 to 1.19 in"),
        ("RC4 hole", 0.4 * 25.4, "0.4 to 1.19 in"),
        ("H7", 501, "up to 500 mm"),
        ("H7", 0, "above 0"),
        ("H7", math.nan, "above 0"),
        ("H7", -3, "above 0"),
    ],
)
def test_errors_are_one_line_and_name_what_would_work(name: str, size: float, says: str) -> None:
    with pytest.raises(FitError) as caught:
        limits(name, size)
    assert says in str(caught.value)
    assert "\n" not in str(caught.value)


def test_bores_and_pins_as_classes_sizes_or_deviations() -> None:
    assert bore_limits("H7", 16.0) == (16.0, 16.018)
    assert bore_limits([16.0, 16.2], 16.0) == (16.0, 16.2)
    assert bore_limits([0, 0.2], 16.0) == (16.0, 16.2)
    assert bore_limits([-0.1, 0.2], 16.0) == (15.9, 16.2)
    assert bore_limits("RC4", 19.05) == (19.05, 19.08048)
    assert pin_limits("g6", 16.0) == (15.983, 15.994)
    assert pin_limits("RC4", 19.05) == (19.00936, 19.02968)


@pytest.mark.parametrize(
    ("spec", "says"),
    [
        ("h7", 'nearest: "H7"'),
        ([0.2, 0.0], "nearest: [0, 0.2]"),
        ([0.1], "two numbers"),
        ([math.nan, 1], "two numbers"),
        ([30.0, 31.0], "far from"),
    ],
)
def test_bore_limits_that_cannot_be(spec: object, says: str) -> None:
    with pytest.raises(FitError, match=says.replace("[", r"\[").replace("]", r"\]")):
        bore_limits(spec, 16.0)  # type: ignore[arg-type]


def test_a_hole_class_is_no_pin() -> None:
    with pytest.raises(FitError, match='nearest: "g6"'):
        pin_limits("G6", 16.0)


def test_clearance_takes_sizes_and_deviations_alike() -> None:
    by_size = clearance(bore_limits("H7", 16), pin_limits("g6", 16))
    assert by_size == clearance(limits("H7", 16), limits("g6", 16)) == (0.006, 0.035)


def test_press_fits_do_not_shift() -> None:
    least, most = clearance(limits("H7", 16), limits("p6", 16))
    assert (least, most) == (-0.029, 0.0)
    assert shift(least) == shift(most) == 0.0


def test_turn_follows_the_pins_pushed_opposite_ways() -> None:
    # Independent of the formula: move two pins sideways until each meets its hole, and measure the angle.
    c1, c2, spacing = 0.3, 0.5, 50.0
    angle = math.radians(play_turn(c1, c2, spacing))
    assert spacing * math.sin(angle) == pytest.approx((c1 + c2) / 2, rel=1e-12)
    assert play_turn(0.0, 0.0, 50.0) == 0.0
    assert play_turn(60.0, 60.0, 50.0) == 180.0
    play = pin_play(c1, c2, spacing)
    assert play.shift == 0.15
    assert play.turn == play_turn(c1, c2, spacing)
    with pytest.raises(FitError):
        play_turn(0.1, 0.1, 0.0)


def test_pins_enter_when_the_spacing_error_is_within_half_the_clearances() -> None:
    assert assembles(0.035, 0.035, 0.035)
    assert not assembles(0.035, 0.035, 0.0351)
    assert assembles(0.035, 0.035, -0.035)
    assert not assembles(-0.01, 0.5, 0.0)
