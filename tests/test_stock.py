"""Stock by designation. Areas, inertias and rules of standards stand in test_reference.py."""

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fixture3d.errors import StockError
from fixture3d.stock.section import Edge, Section, circle, rounded, support
from fixture3d.stock.stock import known, section
from fixture3d.units import Units


def test_every_shipped_size_is_a_whole_section() -> None:
    for row in known():
        s = section(row.designation, row.units)
        assert s.known
        assert s.designation == row.designation
        assert s.standard == row.standard
        assert s.area > 0
        assert min(s.inertia) > 0
        assert s.radius_least <= s.outer_radius <= s.radius_most or s.shape in ("angle", "channel", "flat")
        assert_closed(s)


def assert_closed(s: Section) -> None:
    """Loops close, arcs are tangent where they are meant to be, and the box is as stated."""
    for loop in s.outline():
        for edge, following in zip(loop, (*loop[1:], loop[0]), strict=True):
            assert math.dist(edge.end, following.start) < 1e-9
    outer = s.outline()[0]
    for y, z, reach in ((1, 0, s.width / 2), (-1, 0, s.width / 2), (0, 1, s.height / 2), (0, -1, s.height / 2)):
        assert support(outer, y, z) == pytest.approx(reach, abs=1e-9)


@pytest.mark.parametrize(
    ("text", "units", "height", "width", "wall", "standard"),
    [
        ("SHS 40x40x3", "mm", 40, 40, 3, "EN 10219-2"),
        ("shs40X40X3", "mm", 40, 40, 3, "EN 10219-2"),
        ("  SHS  40 × 40 × 3 ", "mm", 40, 40, 3, "EN 10219-2"),
        ("SHS 40x3", "mm", 40, 40, 3, "EN 10219-2"),
        ("SHS 40x40x3", "in", 40, 40, 3, "EN 10219-2"),
        ("RHS 60x40x3", "mm", 60, 40, 3, "EN 10219-2"),
        ("CHS 48,3x3,2", "mm", 48.3, 48.3, 3.2, "EN 10219-2"),
        ("HSS 2x2x1/8", "mm", 50.8, 50.8, 3.175, "ASTM A500"),
        ("HSS 2-1/2x2-1/2x3/16", "in", 63.5, 63.5, 4.7625, "ASTM A500"),
        ("HSS 4x2x1/4", "in", 101.6, 50.8, 6.35, "ASTM A500"),
        ("HSS 1.900x0.145", "in", 48.26, 48.26, 3.683, "ASTM A500"),
        ("HSS 1x1x.065", "in", 25.4, 25.4, 1.651, "ASTM A513"),
        ("L 50x50x5", "mm", 50, 50, 5, "EN 10056-1"),
        ("L 60x30x5", "mm", 60, 30, 5, "EN 10056-1"),
        ("L 2x2x1/4 in", "mm", 50.8, 50.8, 6.35, "ASTM A6"),
        ("U 100x50x6", "mm", 100, 50, 6, "EN 10162"),
        ("UPE 100", "in", 100, 55, 4.5, "EN 10365"),
        ("FLAT 40x6", "mm", 40, 6, 6, "EN 10058"),
        ("BAR 20", "mm", 20, 20, 0, "EN 10059"),
        ("ROUND 3/4", "in", 19.05, 19.05, 0, "ASTM A6"),
    ],
)
def test_reading(text: str, units: Units, height: float, width: float, wall: float, standard: str) -> None:
    s = section(text, units)
    assert (s.height, s.width, s.wall) == pytest.approx((height, width, wall), abs=1e-12)
    assert s.standard == standard
    assert s.known


def test_any_stated_size_is_taken_and_says_that_its_radius_is_by_rule() -> None:
    s = section("SHS 41x41x3")
    assert not s.known
    assert s.outer_radius == 6.0
    assert "by the rule of EN 10219-2" in s.notes[0]
    assert section("SHS 2x2x1/8", "in").standard == "ASTM A500"
    hot = section("U 100x55x4.5x7.5")
    assert (hot.wall, hot.flange, hot.standard) == (4.5, 7.5, "EN 10365")


@pytest.mark.parametrize(
    ("text", "units", "says"),
    [
        ("SHS 40x40", "mm", 'does not say its wall; nearest: "SHS 40x40x2"'),
        ("40x40x3", "mm", 'nearest: "SHS 40x40x3"'),
        ("SHS 40x4o x3", "mm", 'nearest: "SHS 40x40x3"'),
        ("TUBE 40x40x3", "mm", "expected one of SHS, RHS"),
        ("SHS 40x40x20", "mm", "half of its smaller side"),
        ("CHS 20x10", "mm", "half of its smaller side"),
        ("FLAT 40x6", "in", 'say "FLAT 40x6 mm" or "FLAT 40x6 in"'),
        ("L 2x2x1/4", "mm", 'say "L 2x2x1/4 in" or "L 2x2x1/4 mm"'),
        ("SHS 45x45x3", "in", 'nearest: "SHS 45x45x3 mm"'),
        ("SHS 40x60x3", "mm", 'nearest: "RHS 40x60x3"'),
        ("UPE 105", "mm", 'nearest: "UPE 100"'),
        ("UPN 100", "mm", 'nearest: "UPE 100"'),
        ("HSS 2x2x14ga", "in", "state the wall as a decimal"),
        ("", "mm", "expected one of"),
        ("SHS", "mm", 'such as "SHS 40x40x3"'),
        ("L 50x50x50", "mm", "as thick as its leg"),
        ("FLAT 6x40", "mm", 'nearest: "FLAT 40x6"'),
        ("SHS -40x40x3", "mm", "not above zero"),
        ("SHS 0x0x0", "mm", "not above zero"),
        ("BAR 20x30", "mm", "expected 1"),
        ("SHS 40x40x0.01", "mm", "thinner than"),
        ("SHS nanxnanx3", "mm", "cannot be read"),
        ("SHS 40x1e400x3", "mm", "cannot be read"),
        ("SHS 40x\x0040x3", "mm", "cannot be read"),
        ("U 20x20x10", "mm", "too thick to be a channel"),
        ("S" * 500, "mm", "too long"),
    ],
)
def test_errors_are_one_line_with_the_nearest(text: str, units: Units, says: str) -> None:
    with pytest.raises(StockError) as caught:
        section(text, units)
    message = str(caught.value)
    assert says in message
    assert message.isprintable()


@pytest.mark.parametrize("wall", [0.5, 1, 2, 3, 4, 5, 6, 8, 9.5])
def test_thick_small_tube_stays_a_tube(wall: float) -> None:
    s = section(f"SHS 20x20x{wall}")
    assert 0 < s.outer_radius < 10
    assert s.inner_radius >= 0
    assert_closed(s)
    assert 0 < s.area < 400


def test_outline_of_a_tube_leaves_the_wall_everywhere() -> None:
    s = section("SHS 40x40x3")
    outer, inner = s.outline()
    for y, z in ((1.0, 0.0), (0.0, 1.0), (math.sqrt(0.5), math.sqrt(0.5))):
        flipped = tuple(Edge(e.end, e.start, e.centre, not e.left) for e in reversed(inner))
        assert support(outer, y, z) - support(flipped, y, z) == pytest.approx(3.0, abs=1e-9)


def test_support_is_the_furthest_sampled_point() -> None:
    for text in ("RHS 60x40x3", "L 60x30x5", "U 100x50x6", "UPE 100", "ROUND 20", "CHS 48.3x3.2"):
        outer = section(text).outline()[0]
        points = np.concatenate([edge.at(np.linspace(0, 1, 2001))[0] for edge in outer])
        for degrees in range(0, 360, 7):
            y, z = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
            assert support(outer, y, z) == pytest.approx(float((points @ [y, z]).max()), abs=1e-4)


def test_rounded_square_and_circle() -> None:
    loop = rounded([(-5, -5, 1), (5, -5, 1), (5, 5, 1), (-5, 5, 1)])
    assert len(loop) == 8
    assert sum(e.sweep for e in loop) == pytest.approx(2 * math.pi)
    assert circle(3.0)[0].sweep == pytest.approx(2 * math.pi)
    assert circle(3.0, left=False)[0].sweep == pytest.approx(-2 * math.pi)


def test_standards_judge_sides_their_own_way() -> None:
    t = section("RHS 60x40x3").tolerances
    assert (t.height, t.width) == (0.6, 0.5)
    assert t.straightness(2000) == pytest.approx(3.0)
    assert t.twist(2000) == pytest.approx(3.0)
    us = section("HSS 4x2x1/4", "in").tolerances
    assert us.height == us.width == pytest.approx(0.030 * 25.4)
    assert section("SHS 20x20x1.5").tolerances.height is None


def test_keys_hold_the_outline_and_not_the_name() -> None:
    assert section("SHS 40x40x3").key() == section("SHS 40x3").key()
    assert section("SHS 40x40x3").key() != section("SHS 40x40x4").key()
    plain = Section(designation="", shape="angle", height=50.0, width=40.0)
    names = ("height", "width", "wall", "flange", "outer_radius", "inner_radius", "toe_radius")
    changes: list[dict[str, Any]] = [{name: 1.5} for name in names]
    keys = {plain.key(), *(replace(plain, **change).key() for change in changes)}
    assert len(keys) == 1 + len(names)


def assert_whole_or_refused(read: Callable[[], Section]) -> None:
    """Either a closed section with metal in it, or one line that says why not."""
    try:
        s = read()
    except StockError as error:
        message = str(error)
    else:
        assert_closed(s)
        assert 0.0 < s.area <= s.width * s.height * (1 + 1e-9)
        assert min(s.inertia) > 0.0
        message = s.designation
    assert message.isprintable()


@settings(max_examples=300, deadline=None, derandomize=True)
@given(
    st.one_of(
        st.text(max_size=70),
        st.from_regex(
            r"(SHS|RHS|CHS|HSS|L|U|UPE|FLAT|BAR|ROUND) ?[0-9./ -]{1,6}(x[0-9./-]{1,5}){0,4}( mm| in)?", fullmatch=True
        ),
    ),
    st.sampled_from(["mm", "in"]),
)
def test_any_text_is_a_whole_section_or_one_line(text: str, units: Units) -> None:
    assert_whole_or_refused(lambda: section(text, units))


@settings(max_examples=200, deadline=None, derandomize=True)
@given(
    st.sampled_from(["SHS", "RHS", "CHS", "L", "U", "FLAT"]),
    st.lists(st.integers(3, 9990).map(lambda n: n / 10), min_size=4, max_size=4),
)
def test_any_size_is_a_whole_section_or_one_line(kind: str, n: list[float]) -> None:
    a, b, t, f = n[0], n[1], n[2], n[3]
    text = {"SHS": f"{a}x{a}x{t}", "CHS": f"{a}x{t}", "FLAT": f"{a}x{t}", "U": f"{a}x{b}x{t}x{f}"}.get(
        kind, f"{a}x{b}x{t}"
    )
    assert_whole_or_refused(lambda: section(f"{kind} {text}"))


@pytest.mark.parametrize(
    ("said", "nearest"),
    [
        # Outside diameters and walls of ASME B36.10M, from memory.
        ("PIPE 1-1/4 SCH40", "HSS 1.660x0.140"),
        ("CHS 1-1/4 SCH 40", "HSS 1.660x0.140"),
        ("pipe 1 1/2 in sch 80", "HSS 1.900x0.200"),
        ("HSS 2 SCH STD", "HSS 2.375x0.154"),
    ],
)
def test_a_nominal_pipe_size_is_told_its_diameter_and_wall(said: str, nearest: str) -> None:
    with pytest.raises(StockError, match="nominal pipe size") as error:
        section(said, "in")
    assert f'nearest: "{nearest} in"' in str(error.value)
    assert section(f"{nearest} in", "mm").shape == "round tube"


def test_a_pipe_of_an_unknown_schedule_is_told_what_is_known() -> None:
    with pytest.raises(StockError, match="schedule 40 and 80 are known"):
        section("PIPE 1-1/4 SCH10", "in")
