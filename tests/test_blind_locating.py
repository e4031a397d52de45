"""Locating and ways out, against answers written without a look at the code.

99 cases were written from geometry alone: 54 in `blind_locating_cases.py`, `blind_round_cases.py` and
`blind_seat_cases.py`, 45 in `blind_leaving_cases.py` and `blind_channel_cases.py`. Before the first scoring a check of
their own numbers (`test_answers_follow_from_the_written_contacts`) found two slips, the sense of a turn that two stops
leave; they were mended. Then everything was scored once:

first scored: 93 of 99 as drawn, 92 of 99 turned, 20 of 21 with the blocks out of place.

The misses, and what came of each:

- "pulled into the corner of 3-2-1", "pulled away from the end stop of 3-2-1": told of "6 rigid supports", three of
  which push other ways than the rest. Fault of the program, mended.
- "three risers in one row": nothing said. Fault of the program, and still there: see `STILL_WRONG`.
- "a square tube on edge in a V of 90 degrees": straight up was expected in the list; the two ways up along the flanks,
  of which straight up is made, are as good an answer. Slip of the set.
- "a frame on three risers with hard stops on all four sides": pairs across the corner (s1 and b2) are told as opposed
  too. Which pairs of four stops fight is not for the set to say: slip of the set; the straight pairs are still asked.
- "a bar that fills a slanted square pipe, both ends open": said to rest, though nothing holds it along the pipe. Fault
  of the program, mended: faces that squeeze were let carry any weight sideways.
- turned only, "a round bar on end in a corner of two stops": the slides off the stops were listed by one way between
  them. Fault of the program, and still there: see `TURNED_WRONG`.
"""

from __future__ import annotations

import numpy as np
import pytest

from tests.blind_locating_case import Case, vector
from tests.blind_locating_score import CASES, about, least, score, setup

TURNED = about((1, -2, 3), 37.3, (10, 20, 30), (411.7, -203.1, 97.3))
STILL_WRONG = {
    "three risers in one row": "supports 20 wide in a row under work 120 wide pass: the error across is not seen",
}
TURNED_WRONG = {
    **STILL_WRONG,
    "a round bar on end in a corner of two stops": "one way between the two slides off its stops is listed for both",
}
BARE_TOO = (
    "a tube in two V of 120 degrees against an end stop",
    "a keyed shaft in a hub, a wall behind it",
    "a ring and a post as meshes, 1 mm clear",
)
JITTERED = [case for case in CASES if case.jitter]


def params(cases: list[Case], wrong: dict[str, str]) -> list[object]:
    return [
        pytest.param(
            case,
            id=case.name,
            marks=pytest.mark.xfail(strict=True, reason=wrong[case.name]) if case.name in wrong else (),
        )
        for case in cases
    ]


@pytest.mark.parametrize("case", params(list(CASES), STILL_WRONG))
def test_as_drawn(case: Case) -> None:
    """True solids, judged as such where the case does not ask for the default tolerance."""
    assert score(case, clean=case.tolerance != "sloppy") == []


@pytest.mark.parametrize("case", params(list(CASES), TURNED_WRONG))
def test_turned_about_a_slanted_axis_and_shifted(case: Case) -> None:
    """The whole scene with its gravity, by the default tolerance."""
    assert score(case, clean=case.tolerance == "clean", by=TURNED) == []


@pytest.mark.parametrize("case", params(JITTERED, {}))
def test_every_block_out_of_place(case: Case) -> None:
    """Each block by 0.1 mm and 0.1 degree, its own way."""
    assert score(case, jitter=True) == []


@pytest.mark.parametrize("name", BARE_TOO)
def test_bare_solids_give_the_same(name: str) -> None:
    """Plain solids, moved by hand, instead of shapes in their places."""
    assert score(next(case for case in CASES if case.name == name), by=TURNED, plain=True) == []


@pytest.mark.parametrize("case", [pytest.param(c, id=c.name) for c in CASES if c.rank is not None])
def test_answers_follow_from_the_written_contacts(case: Case) -> None:
    """Rank, free motions and rest from the written points alone: the locating Jacobian and a linear programme."""
    from scipy.optimize import linprog

    rows = np.array(case.touch, float).reshape(-1, 6)
    points, normals = rows[:, :3], rows[:, 3:]
    piece = setup(case.name)[0]
    mass = piece.center_mass if hasattr(piece, "center_mass") else np.array(piece.Center().toTuple())  # type: ignore[attr-defined]
    wrenches = np.hstack([normals, np.cross(points - mass, normals) / 100])
    free = np.array(case.free, float).reshape(-1, 6)
    assert (np.linalg.matrix_rank(wrenches, tol=1e-6) if len(rows) else 0) == case.rank
    assert (np.linalg.matrix_rank(free) if len(free) else 0) == len(free) == 6 - (case.rank or 0)
    both = [*free, *-free, *(np.array(twist, float) for twist in case.can)]
    both += [np.array([*vector(way), 0, 0, 0]) for way in case.listed]
    assert all(least(twist, points, normals) > -1e-6 for twist in both)
    assert all(least(np.array(twist, float), points, normals) < -0.01 for twist in case.cannot)
    if case.rests is not None:
        pull = np.array([*case.gravity, 0, 0, 0]) / np.linalg.norm(case.gravity)
        carried = len(rows) > 0 and linprog(np.ones(len(rows)), A_eq=wrenches.T, b_eq=-pull).success
        assert carried is case.rests


def test_the_set_is_large_and_asks_both_ways() -> None:
    assert len({case.name for case in CASES}) == len(CASES) >= 50
    assert sum(case.rank is not None for case in CASES) >= 40
    assert sum(not names for case in CASES for names in case.out.values()) > 100
    assert sum(bool(names) for case in CASES for names in case.out.values()) > 100
    assert sum(case.leaves is False for case in CASES) >= 6
    assert sum(case.rests is False for case in CASES) >= 8
