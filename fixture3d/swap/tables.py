"""Whether two setups stand on one table, so that a hole of the one is the same hole in the other."""

from __future__ import annotations

from collections.abc import Iterator

from fixture3d.errors import FixtureError, one_line
from fixture3d.job import Job, Seat
from fixture3d.scene.table import Grid
from fixture3d.tolerance import SWAPPING
from fixture3d.units import Units, show


def refuse_other_table(before: Job, after: Job) -> tuple[str, ...]:
    """Compare the tables of two setups.

    Returns:
        What differs without harm, and which blocks would stand beyond the first table, in sentences.

    Raises:
        FixtureError: holes of one name are not at one place.
    """
    one, two = before.table, after.table
    problem = _differs(one, two, before, after, "table")
    grids = {grid.name: grid for grid in one.others}
    used = {_grid(after, seat) for seat in after.seats.values()} | {
        _grid(before, seat) for seat in before.seats.values()
    }
    for grid in two.others:
        if not problem and grid.name in grids and grid.name in used:
            problem = _differs(grids[grid.name], grid, before, after, f'grid "{one_line(grid.name)}"')
    if problem:
        raise FixtureError(f"{_file(before)} and {_file(after)} are not set up on one table: {problem}")
    return tuple(_notes(before, after))


def _file(job: Job) -> str:
    return one_line(str(job.scene.whole.path or job.scene.path or job.title or "a scene"))


def _grid(job: Job, seat: Seat) -> str:
    """The grid that a block or the lowest one of its stack stands in; empty for the table top."""
    while seat.stacked and seat.stands_on in job.seats:
        seat = job.seats[seat.stands_on]
    return seat.stands_on


def _differs(one: Grid, two: Grid, before: Job, after: Job, what: str) -> str:
    """Why a hole's name does not mean one place on both; empty when it does."""

    def apart(a: float, b: float) -> bool:
        return abs(a - b) > SWAPPING.same

    def holes(grid: Grid, units: Units) -> str:
        pitch = " by ".join(dict.fromkeys(show(p, units) for p in grid.pitch))
        return f"holes of {show(grid.bore, units)} every {pitch}"

    if apart(one.bore, two.bore) or any(apart(a, b) for a, b in zip(one.pitch, two.pitch, strict=True)):
        here, there = holes(one, before.scene.units), holes(two, after.scene.units)
        return f"the {what} has {here} in the one and {there} in the other; expected the same pitch and bore"
    if one.naming != two.naming:
        return f"the holes of the {what} are named otherwise; expected the same names and corner"
    if one.stagger != two.stagger:
        return f"the {what} has a second grid in one of them only (stagger); expected it in both"
    lines = zip((*one.origin, *one.x, *one.y), (*two.origin, *two.x, *two.y), strict=True)
    if any(apart(a, b) for a, b in lines):
        return f"the {what} lies elsewhere; expected the same origin, x and y"
    return ""


def _notes(before: Job, after: Job) -> Iterator[str]:
    if before.scene.units != after.scene.units:
        yield (
            "one file is in inches and the other in millimetres: blocks made for the one are not taken for the other"
        )
    one, two = before.table, after.table
    if (one.columns, one.rows) == (two.columns, two.rows):
        return
    yield f"the tables differ in size ({one.ranges}; {two.ranges}): compared by the names of holes"
    off = [
        one_line(seat.name)
        for seat in after.seats.values()
        if not _grid(after, seat) and any(p.state == "seated" and not _on(one, p.at[0], p.at[1]) for p in seat.pins)
    ]
    if off:
        yield f"{', '.join(off)} of {_file(after)} would stand beyond the table of {_file(before)}"


def _on(table: Grid, x: float, y: float) -> bool:
    x0, y0, x1, y1 = table.box
    return x0 - SWAPPING.same <= x <= x1 + SWAPPING.same and y0 - SWAPPING.same <= y <= y1 + SWAPPING.same
