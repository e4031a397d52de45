"""The model contract: reading parameters, ranges and their messages, faces, feet and bores."""

import itertools
import math
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from fixture3d.errors import ModelError
from fixture3d.library import library
from fixture3d.part import (
    FACES,
    NORMALS,
    Face,
    Move,
    Part,
    Pattern,
    Point,
    angle,
    box_foot,
    build,
    count,
    face_down,
    length,
    parameters,
    part,
    through,
)

METRIC = Pattern(pitch=50.0, bore=16.0)
INCH = Pattern(pitch=50.8, bore=19.05, inch=True)


@part("peg", made="turned")
@dataclass(frozen=True, kw_only=True)
class Peg(Part):
    """A peg for these tests."""

    height: float = length(40.0, low=10.0, high=lambda p: 4.0 * p.pitch, help="seat to top")
    lean: float = angle(0.0, low=-30.0, high=30.0, help="off upright")
    rings: int = count(1, low=0, high=5, help="grooves")

    def box(self) -> tuple[Point, Point]:
        return (-1.0, -2.0, 0.0), (3.0, 5.0, self.height)

    def rules(self) -> Iterator[str]:
        if self.rings * 10.0 > self.height:
            yield f"rings = {self.rings} do not fit into height = {self.pattern.show(self.height)}"


def refused(given: dict[str, object], pattern: Pattern = METRIC, units: str = "mm") -> list[str]:
    with pytest.raises(ModelError) as caught:
        build(Peg, pattern, given, units)  # type: ignore[arg-type]
    return str(caught.value).splitlines()


def test_defaults_come_from_the_pattern_and_values_from_the_file() -> None:
    assert build(Peg, METRIC, {}) == Peg(pattern=METRIC, height=40.0, lean=0.0, rings=1)
    made = build(Peg, INCH, {"height": "1-1/2", "rings": 2.0, "lean": "-7.5"}, "in")
    assert made == Peg(pattern=INCH, height=38.1, lean=-7.5, rings=2)
    assert isinstance(made.rings, int)


def test_a_bare_number_is_in_the_units_of_the_file_and_angles_are_degrees_in_both() -> None:
    assert build(Peg, INCH, {"height": 2, "lean": 10}, "in") == Peg(pattern=INCH, height=50.8, lean=10.0, rings=1)


def test_a_range_holds_to_its_ends_and_no_further() -> None:
    for height in (10.0, 200.0):
        assert build(Peg, METRIC, {"height": height}).height == height  # type: ignore[attr-defined]
    assert refused({"height": 200.01}) == [
        "peg: height = 200.01 mm is out of range; expected 10 mm to 200 mm; nearest: 200 mm"
    ]
    assert refused({"height": 9.99})[0].endswith("nearest: 10 mm")
    assert refused({"height": 9}, INCH, "in")[0].startswith("peg: height = 9 in is out of range")
    assert refused({"lean": 31}) == [
        "peg: lean = 31 degrees is out of range; expected -30 degrees to 30 degrees; nearest: 30 degrees"
    ]


@pytest.mark.parametrize(
    ("given", "part_of_message"),
    [
        ({"hieght": 40}, '"hieght" is not a parameter of peg; nearest: "height"'),
        ({"xyzzy": 1}, "expected one of height, lean, rings"),
        ({"height": "tall"}, '"tall" is not a length'),
        ({"height": True}, "true is not a length"),
        ({"height": math.nan}, "nan is not a length"),
        ({"height": [40]}, "a list is not a length"),
        ({"lean": "steep"}, "'steep' is not a number; expected degrees"),
        ({"lean": math.inf}, "inf is not a number"),
        ({"rings": 1.5}, "1.5 is not a whole number; nearest: 2"),
        ({"rings": True}, "True is not a number; expected a count"),
        ({"rings": 5}, "rings = 5 do not fit into height = 40 mm"),
    ],
)
def test_a_bad_value_is_one_line_with_a_way_out(given: dict[str, object], part_of_message: str) -> None:
    lines = refused(given)
    assert len(lines) == 1
    assert part_of_message in lines[0]


def test_all_problems_are_told_in_one_run() -> None:
    lines = refused({"height": -1, "lean": 90, "rings": "many", "colour": "red"})
    assert len(lines) == 4
    assert all(line.startswith("peg: ") for line in lines)


@pytest.mark.parametrize("face", FACES)
def test_face_down_turns_that_face_to_the_table_and_keeps_hands(face: Face) -> None:
    turn = face_down(face)[:3, :3]
    assert turn @ NORMALS[face] == pytest.approx([0.0, 0.0, -1.0], abs=0.0)
    assert np.linalg.det(turn) == pytest.approx(1.0)
    assert np.array_equal(turn, np.round(turn)), "right angles are exact"


@pytest.mark.parametrize("face", FACES)
def test_a_box_stands_on_the_face_that_is_down(face: Face) -> None:
    low, high = (-1.0, -2.0, 0.0), (3.0, 5.0, 40.0)
    corners = np.array(list(itertools.product(*zip(low, high, strict=True)))) @ face_down(face)[:3, :3].T
    foot = np.array(box_foot(low, high, face))
    assert sorted(map(tuple, foot)) == sorted({tuple(c) for c in corners[:, :2]})
    x, y = foot.T
    assert 0.5 * float(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1))) > 0.0, "counter-clockwise from above"
    peg = Peg(pattern=METRIC, height=40.0, lean=0.0, rings=1)
    assert peg.foot(face) == box_foot(low, high, face)
    assert corners[:, 2].min() == pytest.approx(-peg.seat_height(face))


def test_a_through_bore_is_one_hole_with_two_mouths() -> None:
    below, above = through("2", 50.0, 10.0, 30.0)
    assert (below.name, below.face, below.at, below.depth) == ("2", "bottom", (50.0, 10.0, 0.0), 30.0)
    assert (above.name, above.face, above.at, above.depth) == ("2", "top", (50.0, 10.0, 30.0), 30.0)


@pytest.mark.parametrize(
    ("travel", "notch", "notches"),
    [(48.0, 3.0, 16), (47.625, 3.175, 15), (47.9, 3.0, 15), (2.0, 3.0, 0), (9.0, None, 0)],
)
def test_notches_that_fit_into_the_travel(travel: float, notch: float | None, notches: int) -> None:
    assert Move(axis=(1.0, 0.0, 0.0), travel=travel, notch=notch).notches == notches


def test_neat_sizes_are_rounded_up_to_bar_that_can_be_bought() -> None:
    assert METRIC.neat(41.0) == 45.0
    assert METRIC.neat(45.0) == 45.0
    assert METRIC.neat(0.0) == 5.0
    assert METRIC.neat(3.0, step_mm=3.0) == 3.0
    assert INCH.neat(41.0) == pytest.approx(1.625 * 25.4)
    assert INCH.neat(38.1) == pytest.approx(38.1)
    assert (METRIC.show(12.7), INCH.show(12.7)) == ("12.7 mm", "1/2 in")


def test_a_model_says_nothing_that_it_does_not_have() -> None:
    peg = build(Peg, METRIC, {})
    assert (peg.pins(), peg.pads(), peg.sockets(), peg.move(), peg.tip()) == ((), (), (), None, None)
    with pytest.raises(TypeError, match="has no solid"):
        peg.solid()
    assert [b.name for b in peg.bodies()] == [""]
    assert list(parameters(Peg)) == ["height", "lean", "rings"]


OWN = '''
from dataclasses import dataclass

from fixture3d.part import Part, length, part


@part("{name}", made="printed")
@dataclass(frozen=True, kw_only=True)
class Own(Part):
    """A block of the user's own."""

    tall: float = length(30.0, low=10.0, high=90.0, help="seat to top")

    def box(self):
        return (0.0, 0.0, 0.0), (10.0, 10.0, self.tall)
'''


def test_a_folder_of_ones_own_adds_models_and_shadows_none(tmp_path: Path) -> None:
    (tmp_path / "own.py").write_text(OWN.format(name="my_block"), encoding="utf-8")
    (tmp_path / "_notes.py").write_text("raise RuntimeError('helpers are not run by themselves')", encoding="utf-8")
    found = library([tmp_path])
    assert found.make("my_block", METRIC).tall == 30.0  # type: ignore[attr-defined]
    assert "my_block" not in library().entries
    assert "riser" in found.entries
    with pytest.raises(ModelError, match='nearest: "my_block"'):
        found.entry("my_blok")


@pytest.mark.parametrize(
    ("source", "message"),
    [
        (OWN.format(name="riser"), 'model "riser" is already in the library'),
        ("import nothing_of_that_name", "cannot be run: ModuleNotFoundError"),
        ("def", "cannot be run: SyntaxError"),
    ],
)
def test_a_folder_that_cannot_be_used_is_one_line(tmp_path: Path, source: str, message: str) -> None:
    (tmp_path / "own.py").write_text(source, encoding="utf-8")
    with pytest.raises(ModelError, match=message) as caught:
        library([tmp_path])
    assert "\n" not in str(caught.value)
    with pytest.raises(ModelError, match="not a folder"):
        library([tmp_path / "missing"])
