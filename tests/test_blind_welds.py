"""The weld finder against joints whose lines were written down without sight of it.

First scoring of the whole set, as committed before it was run: 78 of 85 right in place, and the same 78 turned. Two of
the seven were slips of the set (two smooth outlines of unlike lengths were pooled; toe ends fell in with a channel's
inner lines) and are mended here. The other five were the finder's and were mended for all joints of their kind: lines
under a third piece, deep open grooves, edges that leave a round slowly, ends of short lines, slots under an end face.
"""

from __future__ import annotations

import os
import statistics
import time
from typing import Any

import numpy as np
import pytest

from tests.blind_weld_cases import Case, Line, cases

LONG = os.environ.get("FIXTURE3D_LONG") == "1"
OPENING_SLACK = 1.5  # degrees

# Where the finder is wrong, with the exact faults it shows: a case that is mended, or goes wrong otherwise, fails.
KNOWN_WRONG: dict[str, tuple[str, tuple[str, ...]]] = {}


def slack(length: float) -> float:
    """How far a length may be off: 0.5 % and 0.5 mm."""
    return 0.005 * length + 0.5


def told(line: Line) -> str:
    return f"{'/'.join(sorted(line.types))} {line.length:.0f} {'/'.join(sorted(line.states))}"


def seen(weld: Any) -> str:
    return f"{weld.type} {weld.length:.0f} {weld.state} at {weld.opening:.0f}"


def kind_fits(line: Line, weld: Any) -> bool:
    """Type, state and joint are right, and the opening where one is stated."""
    opening = line.opening is None or weld.state == "closed" or abs(weld.opening - line.opening) <= OPENING_SLACK
    joins = line.joins is None or frozenset(weld.joins) == line.joins
    return weld.type in line.types and weld.state in line.states and opening and joins


def match_singles(lines: list[Line], welds: list[Any]) -> tuple[list[Line], list[Any]]:
    """Pairs off as many as can be; returns what is left of both."""
    from scipy.optimize import linear_sum_assignment

    if not lines or not welds:
        return lines, welds
    fits = np.array([[kind_fits(a, b) and abs(a.length - b.length) <= slack(a.length) for b in welds] for a in lines])
    rows, columns = linear_sum_assignment(~fits)
    taken = [(int(i), int(j)) for i, j in zip(rows, columns, strict=True) if fits[i, j]]
    done, used = {i for i, _ in taken}, {j for _, j in taken}
    return [a for i, a in enumerate(lines) if i not in done], [b for j, b in enumerate(welds) if j not in used]


def match_smooth(lines: list[Line], welds: list[Any]) -> tuple[list[str], list[Any]]:
    """Smooth outlines by their total; returns faults and what is left."""
    faults = []
    for line in dict.fromkeys(lines):
        number = lines.count(line)
        mine = [weld for weld in welds if kind_fits(line, weld)]
        total, wanted = sum(weld.length for weld in mine), number * line.length
        if len(mine) < number or abs(total - wanted) > slack(wanted):
            faults.append(f"smooth {number} x {told(line)}: found {len(mine)} of {total:.0f} in all")
        welds = [weld for weld in welds if weld not in mine]
    return faults, welds


def score(case: Case, pieces: dict[str, Any]) -> tuple[list[str], float]:
    """What is wrong with the finder's answer, and its time in ms."""
    from fixture3d.welding import find_welds

    start = time.perf_counter()
    try:
        found = find_welds(pieces)
    except Exception as error:
        return [f"{type(error).__name__}: {error}"], 0.0
    spent = 1e3 * (time.perf_counter() - start)
    faults = []
    if case.wants_remark and not found.remarks:
        faults.append("no remark")
    if case.lines is None:
        return faults, spent
    welds = [weld for weld in found if case.score_closed or weld.state != "closed"]
    missed, left = match_singles(list(case.lines), welds)
    wrong, left = match_smooth([line for line in missed if line.smooth], left)
    missed = [line for line in missed if not line.smooth]
    if all(line.length > case.spare for line in case.lines):
        left = [weld for weld in left if weld.length > case.spare]
    faults += wrong
    faults += [f"missed {told(line)}" for line in missed if line.length > case.spare]
    faults += [f"invented {seen(weld)}" for weld in left]
    return sorted(faults), spent


def turned_pieces(case: Case) -> dict[str, Any]:
    """The case in another attitude and place, the same each time."""
    import cadquery as cq

    where = cq.Location(cq.Vector(310, -170, 95), cq.Vector(0.36, -0.48, 0.8), 77.0)
    return {name: body.moved(where) for name, body in case.build().items()}


def test_the_set_is_what_it_claims() -> None:
    every = cases()
    assert len(every) >= 45
    assert len({case.name for case in every}) == len(every)
    assert set(KNOWN_WRONG) <= {case.name for case in every}
    kinds = {kind for case in every for line in case.lines or () if line.states == {"open"} for kind in line.types}
    assert kinds == {"fillet", "butt", "corner", "lap", "edge", "flare"}


def chosen() -> list[Case]:
    """Every third case and all known faults; the whole set at length."""
    return [case for number, case in enumerate(cases()) if LONG or number % 3 == 0 or case.name in KNOWN_WRONG]


@pytest.mark.parametrize("case", chosen(), ids=lambda case: case.name)
def test_welds_of_a_joint(case: Case) -> None:
    faults, _ = score(case, case.build())
    assert tuple(faults) == KNOWN_WRONG.get(case.name, ("", ()))[1]


@pytest.mark.skipif(not LONG, reason="FIXTURE3D_LONG=1 turns every case too")
def test_turned_the_same() -> None:
    wrong = {case.name for case in cases() if score(case, turned_pieces(case))[0]}
    assert wrong == set(KNOWN_WRONG)


def main() -> None:
    """Score the whole set and print it."""
    for turn in (False, True):
        spent, wrong = [], 0
        for case in cases():
            faults, ms = score(case, turned_pieces(case) if turn else case.build())
            spent.append(ms)
            wrong += bool(faults)
            if faults:
                print(f"{case.name}\n    " + "\n    ".join(faults))
        print(f"turned {turn}: {len(spent) - wrong} of {len(spent)} right; median {statistics.median(spent):.0f} ms")


if __name__ == "__main__":
    main()
