"""What may be missing at the ends of a weld, either side of its limits: 5 mm, and a tenth of the weld."""

from __future__ import annotations

import numpy as np
import pytest

from fixture3d.access.ends import end_in_words, end_limit, is_closed, lacking, main_runs, short_ends
from fixture3d.access.runs import Run


def runs(*spans: tuple[float, float]) -> tuple[Run, ...]:
    return tuple(Run(first=0, last=0, start=low, end=high, direction="forward") for low, high in spans)


@pytest.mark.parametrize(("length", "most"), [(20.0, 2.0), (49.0, 4.9), (50.0, 5.0), (300.0, 5.0)])
def test_limit(length: float, most: float) -> None:
    assert end_limit(length) == pytest.approx(most)


@pytest.mark.parametrize(
    ("spans", "ends"),
    [
        ([(0.0, 100.0)], []),
        ([(5.0, 100.0)], [(True, 5.0, False)]),
        ([(5.1, 100.0)], []),
        ([(0.0, 95.0)], [(False, 5.0, False)]),
        ([(0.0, 94.9)], []),
        ([(4.0, 97.0)], [(True, 4.0, False), (False, 3.0, False)]),
        ([(0.0, 5.0), (5.0, 100.0)], [(True, 5.0, True)]),
        ([(0.0, 5.1), (5.1, 100.0)], []),
        ([(0.0, 2.0), (4.0, 100.0)], [(True, 4.0, False)]),  # half of it is not reached at all
        ([(0.0, 97.0), (97.0, 100.0)], [(False, 3.0, True)]),
        ([(0.0, 40.0), (43.0, 100.0)], []),  # a gap in the middle is none, however short
        ([(0.0, 3.0)], []),
        ([], []),
    ],
)
def test_short_ends(spans: list[tuple[float, float]], ends: list[tuple[bool, float, bool]]) -> None:
    found = short_ends(100.0, runs(*spans), closed=False)
    assert [(end.first, pytest.approx(end.length), end.reached) for end in found] == ends
    assert short_ends(100.0, runs(*spans), closed=True) == ()


def test_what_is_left_when_the_ends_are_taken_off() -> None:
    told = runs((0.0, 2.0), (2.0, 40.0), (43.0, 97.0))
    ends = short_ends(100.0, told, closed=False)
    assert [end.length for end in ends] == [2.0, 3.0]
    assert main_runs(told, 100.0, ends) == told[1:]
    assert lacking([(40.0, 43.0), (97.0, 100.0)], 100.0, ends)
    assert not lacking([(97.0, 100.0)], 100.0, ends)
    assert lacking([(97.0, 100.0)], 100.0, ())


def test_an_end_is_called_as_it_lies() -> None:
    path = np.array([[0.0, 0.0, 0.0], [10.0, 4.0, -20.0]])
    assert (end_in_words(path, True), end_in_words(path, False)) == ("upper", "lower")
    assert (end_in_words(path[:, [2, 0, 1]], True), end_in_words(path[:, [0, 2, 1]], False)) == ("right", "front")
    ring = np.array([[0.0, 0.0, 0.0], [10.0, 0.0, 0.0], [10.0, 10.0, 0.0], [0.0, 0.0, 0.0]])
    assert is_closed(ring)
    assert not is_closed(ring[:3])
