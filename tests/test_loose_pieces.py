"""A piece to which no weld joins anything is told, with the piece that is nearest."""

from __future__ import annotations

import pytest

from fixture3d.engine import check
from fixture3d.scene import loads
from tests.test_found_welds import ARM

OFF = ARM.replace("from = [20, 150, 0]", "from = [{x}, 150, 0]")


def told(text: str) -> list[str]:
    findings = [f for f in check(loads(text)).findings if f.rule == "no-weld-found"]
    assert all(f.level == "note" for f in findings)
    return [f.message for f in findings]


@pytest.mark.parametrize(("x", "gap"), [(22.1, "2.10"), (40.0, "20.00")])
def test_two_pieces_apart_are_told_once_with_their_distance(x: float, gap: str) -> None:
    assert told(OFF.format(x=x)) == [f"post has no weld: the nearest piece is arm, {gap} mm away"]


def test_the_loose_one_of_three_is_told_and_the_welded_ones_are_not() -> None:
    third = '\n[[member]]\nname = "far"\nstock = "SHS 30x30x3"\nfrom = [-25, 50, 0]\nto = [-200, 50, 0]\n'
    assert told(ARM + third) == ["far has no weld: the nearest piece is post, 5.00 mm away"]
    gone = third.replace("-25", "-125")
    assert told(ARM + gone) == ["far has no weld: no other piece is within 100.00 mm"]


def test_a_near_miss_is_told_once_and_to_a_hundredth() -> None:
    (only,) = told(OFF.format(x=21.06))
    assert "near miss 1.06 mm" in only


def test_a_listed_weld_joins_it() -> None:
    listed = '\n[[weld]]\nname = "w"\ntype = "fillet"\nsize = 3\njoins = ["post", "arm"]\n'
    listed += "path = [[20, 135, -9], [20, 135, 9]]\n"
    assert told(OFF.format(x=22.1) + listed) == []


def test_welded_pieces_are_not_told() -> None:
    assert told(ARM) == []
