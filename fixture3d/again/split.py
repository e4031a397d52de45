"""A setup planned on one long table, stood on two tables in line: the second is a further plane with holes.

The second table stands so far to the right that its holes carry on in the pitch of the first. Columns that fall between
the two have no holes.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

from fixture3d.again.again import Again, headed
from fixture3d.errors import FixtureError, Problem, SceneError, TableError, one_line
from fixture3d.job import Job
from fixture3d.scene import Scene, problem
from fixture3d.scene.edit import Edit, edited
from fixture3d.scene.elsewhere import files_from
from fixture3d.scene.read import parse
from fixture3d.scene.table import Table
from fixture3d.scene.write import tables_text
from fixture3d.units import from_mm, show

NAME: Final = "second"
CALLED: Final = {NAME: "table"}
"""What findings call the second table, and what they called that part of it before."""
_DIGITS: Final = 9
_OTHER: Final = "another column to part them behind"


class _Joint:
    """Where a table is parted: its last column on the first table, and how many pitches on the second begins."""

    def __init__(self, table: Table, last: int) -> None:
        assert table.edge is not None
        self.table, self.last, pitch = table, last, table.pitch[0]
        self.step = max(1, math.ceil(2.0 * table.edge[0] / pitch - 1e-9))
        self.gap = self.step * pitch - 2.0 * table.edge[0]
        self.columns = table.columns - last - self.step

    def name(self, hole: str) -> str | None:
        """A hole's name on the two tables; None where it falls between them."""
        found = self.table.find(hole)
        if found.grid or found.i + found.plus <= self.last:
            return hole
        over = found.i - self.last - self.step
        if over < 0 or (found.plus and over + 1 >= self.columns):
            return None
        return f"{NAME}:{self.table.hole_name(over, found.j, found.plus)}"


def split(scene: Scene, jobs: Sequence[Job], behind: str, folder: Path | None = None) -> Again:
    """The file of the setup on two tables.

    Args:
        scene: with all its stages, as read from a file.
        jobs: of its stages.
        behind: a hole of the last column of the first table.
        folder: where the new file will be.

    Raises:
        SceneError: something would stand over the joint, each with its line.
        FixtureError: the table cannot be parted there.
    """
    joint = _joint(scene, behind)
    data = parse(scene.source, str(scene.path or ""))
    problems = _problems(scene, jobs, data, joint)
    if problems:
        near = _nearest(scene, jobs, data, behind, joint)
        raise SceneError([replace(one, nearest=f"--split {near}" if near else "") for one in problems])
    edits: list[Edit] = []
    for path, entry in _holes(data):
        new = joint.name(str(entry["hole"]))
        if new != entry["hole"]:
            edits.append(Edit(table=path, key="hole", value=new))
    edits += _first(scene, data, joint)
    text = edited(scene.source, [*edits, *files_from(scene, data, folder)], str(scene.path or ""))
    grid = {"grid": [_second(scene, joint)]}
    text = f"{text.rstrip(chr(10))}\n\n# The second table, in line with the first\n\n{tables_text(grid).lstrip()}"
    words = f"parted behind {behind} on to two tables in line"
    return Again(text=headed(text, words, scene), notes=tuple(_notes(scene, joint)))


def _joint(scene: Scene, behind: str) -> _Joint:
    table = scene.table
    try:
        hole = table.find(behind)
    except TableError as error:
        raise FixtureError(f"--split {one_line(behind)}: {error}") from error
    why = ""
    if hole.grid:
        why = "it is on another plane; expected a hole of the table top"
    elif table.naming.corner != "front left":
        why = f"hole A1 is in the corner {table.naming.corner}; only a table that counts from the front left is parted"
    elif table.slots:
        why = "the table has slots; expected one without, or two tables written by hand"
    elif NAME in [grid.name for grid in table.others]:
        why = f'a plane is called "{NAME}" already'
    joint = _Joint(table, hole.i)
    if not why and joint.columns < 1:
        fits = table.columns - joint.step - 1
        why = "nothing is left for a second table"
        why += f"; nearest: {table.hole_name(fits, hole.j)}" if fits >= 0 else ""
    if why:
        raise FixtureError(f"--split {one_line(behind)}: {why}")
    return joint


def _problems(scene: Scene, jobs: Sequence[Job], data: Mapping[str, Any], joint: _Joint) -> list[Problem]:
    """What would stand over the joint, each thing once."""
    out = _across(scene, jobs, joint)
    told = {problem.line for problem in out}
    for path, entry in _holes(data):
        if joint.name(str(entry["hole"])) is None:
            what = f"hole {one_line(str(entry['hole']))} would lie between the two tables"
            one = problem(scene, path, "hole", what, _OTHER)
            out += [one] if one.line not in told else []
    return out


def _nearest(scene: Scene, jobs: Sequence[Job], data: Mapping[str, Any], behind: str, joint: _Joint) -> str:
    """The nearest hole of the same row behind whose column nothing stands over the joint; empty when there is none."""
    row = scene.table.find(behind).j
    for last in sorted(range(scene.table.columns), key=lambda k: (abs(k - joint.last), k)):
        other = _Joint(scene.table, last)
        if other.columns >= 1 and not _problems(scene, jobs, data, other):
            return scene.table.hole_name(last, row)
    return ""


def _holes(data: Mapping[str, Any]) -> list[tuple[tuple[str | int, ...], Mapping[str, Any]]]:
    """Every record of the file that names a hole."""
    out: list[tuple[tuple[str | int, ...], Mapping[str, Any]]] = []
    if "weldment" in data:
        out.append((("weldment",), data["weldment"]))
    out += [
        (("stage", k, "weldment"), one["weldment"]) for k, one in enumerate(data.get("stage", ())) if "weldment" in one
    ]
    out += [((kind, k), one) for kind in ("place", "clamp") for k, one in enumerate(data.get(kind, ()))]
    return [(path, entry) for path, entry in out if "hole" in entry]


def _across(scene: Scene, jobs: Sequence[Job], joint: _Joint) -> list[Problem]:
    """Blocks with dowels on both tables or between them, and those at an edge that is no more."""
    out: list[Problem] = []
    told: set[str] = set()
    end = joint.last * scene.table.pitch[0] + (scene.table.edge or (0.0, 0.0))[0]
    for job in jobs:
        for seat in job.seats.values():
            if seat.name in told:
                continue
            told.add(seat.name)
            path = next(
                (kind, k)
                for kind, group in (("place", scene.places), ("clamp", scene.clamps))
                for k, item in enumerate(group)
                if item.name == seat.name
            )
            on_top = seat.holds == "pins" and not seat.stacked and not seat.stands_on
            tables = {(joint.name(hole) or "").partition(":")[0] == NAME for hole in seat.holes} if on_top else set()
            if len(tables) > 1 or (on_top and None in [joint.name(hole) for hole in seat.holes]):
                what = f"its dowels in {', '.join(seat.holes)} would not stand on one table"
                out.append(problem(scene, path, "hole", what, _OTHER))
            if (
                seat.holds == "edge"
                and seat.place.edge != "left"
                and (seat.place.edge == "right" or float(seat.model_to_world[0, 3]) > end)
            ):
                what = f"it hooks over the {seat.place.edge} edge, which is on the second table then"
                out.append(problem(scene, path, "edge", what, "a block on pins"))
    return out


def _first(scene: Scene, data: Mapping[str, Any], joint: _Joint) -> list[Edit]:
    """The table as far as it is the first one."""
    columns, table = joint.last + 1, data["table"]
    if isinstance(table, str):
        pattern = table.strip().rpartition(" ")[0]
        assert joint.table.edge is not None
        sizes = [
            _plain((n - 1) * pitch + 2.0 * edge, scene)
            for n, pitch, edge in zip((columns, joint.table.rows), joint.table.pitch, joint.table.edge, strict=True)
        ]
        return [Edit(table=(), key="table", value=f"{pattern} {sizes[0]}x{sizes[1]}")]
    edits = [Edit(table=("table",), key="columns", value=columns)]
    for key in ("blocked", "no_nut"):
        if key in table:
            kept = [name for name in table[key] if joint.name(name) == name]
            edits += [Edit(table=("table",), key=key, value=kept)] if kept != table[key] else []
    return edits


def _second(scene: Scene, joint: _Joint) -> dict[str, Any]:
    table, keys = joint.table, scene.table_keys
    assert table.edge is not None
    out: dict[str, Any] = {
        "name": NAME,
        "origin": [_plain((joint.last + joint.step) * table.pitch[0], scene), 0, 0],
        "x": [1, 0, 0],
        "y": [0, 1, 0],
        "columns": joint.columns,
        "rows": table.rows,
        "edge": [_plain(edge, scene) for edge in table.edge],
    }
    if table.thickness is not None:
        out["thickness"] = _plain(table.thickness, scene)
    if table.stagger:
        out["stagger"] = True
    for key in ("blocked", "no_nut"):
        named = [joint.name(name) for name in getattr(keys, key)]
        gone = [name.partition(":")[2] for name in named if name is not None and name.startswith(f"{NAME}:")]
        out |= {key: gone} if gone else {}
    return out


def _notes(scene: Scene, joint: _Joint) -> list[str]:
    table, far = joint.table, joint.table.rows - 1
    width, height = joint.step * table.pitch[0], far * table.pitch[1]
    near = (table.hole_name(joint.last, 0), f"{NAME}:{table.hole_name(0, 0)}")
    back = (table.hole_name(joint.last, far), f"{NAME}:{table.hole_name(0, far)}")
    apart = f"{show(joint.gap, scene.units)} apart" if joint.gap > 1e-6 else "edge to edge"
    return [
        f"the two tables stand {apart}, level and in line; nothing checks that: from {near[0]} to {near[1]} and from "
        f"{back[0]} to {back[1]} must measure {show(width, scene.units)}, both diagonals "
        f"{show(math.hypot(width, height), scene.units)}"
    ]


def _plain(mm: float, scene: Scene) -> float | int:
    value = round(from_mm(mm, scene.units), _DIGITS) + 0.0
    return int(value) if value == int(value) else value
