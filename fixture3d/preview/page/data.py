"""What the page knows beside the shapes, as JSON types: texts in the file's units, places in world mm.

Every text here comes to the page through ``textContent``, so nothing in a scene can run or be markup.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from fixture3d import __version__
from fixture3d.access.position import in_words
from fixture3d.access.welds import Weld
from fixture3d.checks import all_rules
from fixture3d.checks.base import Finding
from fixture3d.errors import one_line
from fixture3d.frame import Array
from fixture3d.job import Job, PlacedPad
from fixture3d.job.code import content_code
from fixture3d.job.table_body import plates
from fixture3d.preview.page.lies import lies
from fixture3d.preview.page.numbers import mm, unit
from fixture3d.preview.page.positions import Positions, bitset
from fixture3d.preview.weld_lines import stretches
from fixture3d.report import LEVELS, Report
from fixture3d.report.text import measure, verdict
from fixture3d.scene.table import Grid, Table
from fixture3d.sheet.data import CAUTIONS, sheet_data
from fixture3d.units import Units, show, show_fine, show_plain, show_rough

SCHEMA: Final = "fixture3d.page/1"
_WORST: Final = ("blocked", "part", "unchecked", "reached")
UNCHECKED: Final = "nothing is judged: not even whether each piece is located and held, and whether the work comes out"


@dataclass(frozen=True, kw_only=True, eq=False)
class View:
    """One stage of the setup, or the only state of it.

    Attributes:
        job: its bodies.
        positions: by weld; empty where the checks were not run.
    """

    job: Job
    positions: Mapping[str, Positions]


def page_data(
    views: Sequence[View], report: Report | None, bodies: Sequence[Mapping[str, Any]], items: Items
) -> dict[str, Any]:
    """The data of the page.

    Args:
        views: the stages in their order, or the only one.
        report: of the checks; None when they were not run.
        bodies: rows of what is drawn.
        items: what can be picked.
    """
    job = views[0].job
    scene = job.scene
    torches = _Torches()
    welds = _ranked([row for stage, view in enumerate(views) for row in _welds(view, stage, torches)])
    return {
        "schema": SCHEMA,
        "version": __version__,
        "scene": title(job),
        "file": one_line(scene.path.name) if scene.path else "",
        "code": content_code(job),
        "units": scene.units,
        "cautions": list(CAUTIONS),
        "verdict": _verdict(report),
        "stages": [_stage(view.job) for view in views if view.job.stage is not None],
        "table": _table(job.table),
        "items": items.rows,
        "bodies": list(bodies),
        "findings": _findings(report, views) if report is not None else [],
        "torches": torches.rows,
        "welds": welds,
        "lies": _lies(views, report),
        "pads": [
            {"block": one_line(p.item), "face": p.pad.name, "at": mm(p.at), "normal": unit(p.normal)}
            for p in {pad_key(p): p for view in views for p in view.job.pads()}.values()
        ],
    }


def _lies(views: Sequence[View], report: Report | None) -> list[dict[str, Any]]:
    """How the work lies, stage by stage."""
    parts = report.each if report is not None else ()
    stages = [None if view.job.stage is None else index for index, view in enumerate(views)]
    return [lies(part, stage) for part, stage in zip(parts, stages, strict=False)]


def pad_key(pad: PlacedPad) -> Any:
    """What tells the same pad of two stages."""
    return pad.item, pad.pad.name, tuple(mm(pad.at))


def title(job: Job) -> str:
    """What the setup is called."""
    scene = job.scene
    return one_line(scene.title) or (one_line(scene.path.name) if scene.path else "Setup")


def _stage(job: Job) -> dict[str, str]:
    """A stage, and how much is welded in it and before; the list of welds has their names."""
    text = f"{_count(len(job.welds))} to run" + (f"; {_count(len(job.done))} run before" if job.done else "")
    return {"name": one_line(job.stage or ""), "text": text}


def _count(welds: int) -> str:
    return "1 weld" if welds == 1 else f"{welds or 'no'} welds"


# --- verdict and findings ------------------------------------------------------------------------------------------


def _verdict(report: Report | None) -> dict[str, Any]:
    if report is None:
        return {"ready": False, "text": "NOT CHECKED: the checks were not run for this page", "not_judged": [UNCHECKED]}
    lines = []
    for result in report.results:
        if result.status != "ran":
            lines.append(one_line(f"{result.name}: {result.status}: {result.why}"))
        lines += [one_line(f"{result.name}: {sentence}") for sentence in result.not_covered]
    return {"ready": report.ready, "text": verdict(report), "not_judged": list(dict.fromkeys(lines))}


def _findings(report: Report, views: Sequence[View]) -> list[dict[str, Any]]:
    """Fails first, marked as in the picture: F1, W1, N1; then what the scene accepts."""
    units = report.job.scene.units
    stages: dict[str | None, int] = {
        view.job.stage: index for index, view in enumerate(views) if view.job.stage is not None
    }
    counts = dict.fromkeys(LEVELS, 0)
    out = []
    for finding in sorted(report.findings, key=lambda f: LEVELS.index(f.level)):
        counts[finding.level] += 1
        mark = f"{finding.level[0].upper()}{counts[finding.level]}"
        out.append(_finding(finding, mark, units, stages))
    for number, accepted in enumerate(report.accepted):
        row = _finding(accepted.finding, f"A{number + 1}", units, stages)
        row |= {"level": "note", "title": f"Accepted: {row['title']}", "remedy": one_line(f"accepted: {accepted.why}")}
        out.append(row)
    return out


def _finding(finding: Finding, mark: str, units: Units, stages: Mapping[str | None, int]) -> dict[str, Any]:
    return {
        "mark": mark,
        "level": finding.level,
        "check": finding.check,
        "rule": finding.rule,
        "title": all_rules()[finding.rule][1].title,
        "message": one_line(finding.message),
        "figure": measure(finding, units).removeprefix(": "),
        "subjects": [one_line(s) for s in finding.subjects],
        "at": mm(np.array(finding.at)) if finding.at is not None else None,
        "remedy": one_line(finding.remedy),
        "stage": stages.get(finding.stage),
    }


# --- table -----------------------------------------------------------------------------------------------------------


def _table(table: Table) -> dict[str, Any]:
    top = next(plate for plate in plates(table) if plate.grid is table)
    return {
        "plate": [mm(np.array([*top.low, -(table.thickness or 12.0)])), mm(np.array([*top.high, 0.0]))],
        "grids": [_grid(grid) for grid in table.grids],
        "slots": [
            {
                "name": one_line(slot.name),
                "ends": [mm(np.array([*end, 0.0])) for end in (slot.start, slot.end)],
                "width": round(slot.width, 6),
            }
            for slot in table.slots
        ],
    }


def _grid(grid: Grid) -> dict[str, Any]:
    """One plane with holes; ``x`` and ``y`` point the way that columns and rows count, from the hole called A1."""
    sx, sy = grid.naming.signs
    letters = [grid.naming.letters(k) for k in range(grid.columns if grid.naming.x == "letters" else grid.rows)]
    numbers = [str(k + 1) for k in range(grid.rows if grid.naming.x == "letters" else grid.columns)]
    columns, rows = (letters, numbers) if grid.naming.x == "letters" else (numbers, letters)
    return {
        "name": one_line(grid.name),
        "origin": mm(np.array(grid.origin)),
        "x": unit(sx * np.array(grid.x)),
        "y": unit(sy * np.array(grid.y)),
        "normal": unit(np.array(grid.normal)),
        "pitch": mm(np.array(grid.pitch)),
        "bore": round(grid.bore, 6),
        "columns": columns,
        "rows": rows,
        "stagger": grid.stagger,
        "blocked": [grid.hole(name).name for name in grid.blocked] + _cut(grid),
        "prefix": one_line(f"{grid.name}:") if grid.name else "",
    }


def _cut(grid: Grid) -> list[str]:
    """Holes that slots cut into."""
    return [hole.name for hole in grid.cut_holes()] if isinstance(grid, Table) else []


# --- what can be picked ----------------------------------------------------------------------------------------------


class Items:
    """Blocks, clamps, pieces and rooms of all stages, each once with its facts."""

    def __init__(self) -> None:
        self.rows: list[dict[str, Any]] = []
        self._known: dict[str, int] = {}

    def of(self, job: Job) -> dict[Any, int]:
        """The index of each item of a job by its name, and of each weld's room by ``("weld", name)``."""
        out: dict[Any, int] = {}
        for name, kind, facts in _facts(job):
            out[name] = self._index({"name": one_line(name), "kind": kind, "facts": facts})
        if job.done:
            facts = [[one_line(weld.name), _size(weld, job.scene.units) or "no size given"] for weld in job.done]
            beads = self._index({"name": "welds of earlier stages", "kind": "piece", "facts": facts})
            out |= {("bead", weld.name): beads for weld in job.done}
        for weld in job.welds:
            facts = [
                ["keep clear", "room for bead and spatter: nothing may stand in it"],
                ["weld", one_line(weld.name)],
            ]
            out["weld", weld.name] = self._index(
                {"name": f"room at {one_line(weld.name)}", "kind": "keep-out", "facts": facts}
            )
        return out

    def _index(self, row: dict[str, Any]) -> int:
        key = repr(row)
        if key not in self._known:
            self._known[key] = len(self.rows)
            self.rows.append(row)
        return self._known[key]


def _facts(job: Job) -> list[tuple[str, str, list[list[str]]]]:
    """Name, kind and facts of every block, clamp and piece."""
    sheet = sheet_data(job)
    rows = {row["name"]: row for row in (*sheet["blocks"], *sheet["clamps"])}
    out = []
    for seat in job.seats.values():
        row = rows[one_line(seat.name)]
        out.append((seat.name, "clamp" if seat.clamp else "block", _filled(_block_facts(row))))
    pieces = {name: row for row in sheet["pieces"] for name in row["names"]}
    for body in job.pieces():
        row = pieces.get(one_line(body.name), {})
        facts = [
            ["stock", row.get("stock", "")],
            ["length" if body_is_member(job, body.name) else "size", row.get("cut", "")],
            ["ends" if body_is_member(job, body.name) else "form", row.get("ends", "")],
            ["mass, if steel", row.get("mass", "")],
            ["lowest point", show(float(body.box[0, 2]), job.scene.units) + " over the table"],
            ["highest point", show(float(body.box[1, 2]), job.scene.units) + " over the table"],
        ]
        out.append((body.name, "piece", _filled(facts)))
    return out


def _block_facts(row: Mapping[str, Any]) -> list[list[str]]:
    touches: dict[str, list[str]] = {}
    for touch in row["touches"]:
        touches.setdefault(touch["piece"], []).append(touch["pad"])
    presses = row.get("presses", "")
    if presses and row.get("at"):
        presses += f", {row['at']} along it"
    return [
        ["model", row["model"]],
        ["hole", row["hole"]],
        ["dowels", row["others"]],
        ["turn", row["turn"]],
        ["setting", row["setting"]],
        ["shims", row["shims"]],
        ["height", f"top at {row['top']} over the table" if row["top"] else ""],
        ["axis", row["datum"]],
        ["size", row["size"]],
        ["presses", presses],
        ["toward", row.get("toward", "")],
        ["touches", "; ".join(f"{piece} with its {' and '.join(pads)}" for piece, pads in touches.items())],
    ]


def _filled(facts: list[list[str]]) -> list[list[str]]:
    return [fact for fact in facts if fact[1]]


def body_is_member(job: Job, name: str) -> bool:
    """Whether a piece is a length of stock."""
    return job.weldment is not None and any(p.name == name and p.section is not None for p in job.weldment.pieces)


# --- welds and torches -----------------------------------------------------------------------------------------------


class _Torches:
    """Torches at their stand-offs, each once."""

    def __init__(self) -> None:
        self.rows: list[dict[str, Any]] = []

    def index(self, found: Positions) -> int:
        body = found.body
        row = {
            "name": one_line(found.torch),
            "burns": found.burns,
            "stand_off": round(body.stand_off, 6),
            "nozzle": {
                "radius": round(body.nozzle_radius, 6),
                "from": round(body.stand_off, 6),
                "to": round(body.stand_off + body.nozzle_length, 6),
            },
            "capsules": [
                {"a": mm(a), "b": mm(b), "r": round(float(r), 6), "part": label}
                for a, b, r, label in zip(body.starts, body.ends, body.radii, body.labels, strict=True)
            ],
        }
        if row not in self.rows:
            self.rows.append(row)
        return self.rows.index(row)


def _welds(view: View, stage: int, torches: _Torches) -> list[dict[str, Any]]:
    units = view.job.scene.units
    where = stage if view.job.stage is not None else None
    found = view.job.found
    out = []
    for weld in view.job.welds:
        row = _weld(weld, view.positions.get(weld.name), where, units, torches)
        if found is not None and weld.name in found.welds:
            row["doubts"] = [one_line(text) for text in found.doubts(weld.name)]
        out.append(row)
    return out


def _ranked(rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """The same rows with ``rank`` for ``least``: 0 for the worst.

    What is reached least comes first, of those alike what has most restarts, then the longest; those that were not
    tried come before those that are reached whole.
    """
    worst = sorted(range(len(rows)), key=lambda k: (_WORST.index(rows[k]["state"]), *rows[k].pop("least"), k))
    for rank, k in enumerate(worst):
        rows[k]["rank"] = rank
    return rows


def _weld(weld: Weld, found: Positions | None, stage: int | None, units: Units, torches: _Torches) -> dict[str, Any]:
    path = np.asarray(weld.path)
    row: dict[str, Any] = {
        "name": one_line(weld.name),
        "type": weld.type,
        "joins": [one_line(name) for name in weld.joins if name],
        "stage": stage,
        "size": _size(weld, units),
        "length": show_rough(weld.length, units),
        "lies": "",
        "reachable": "",
        "run": "",
        "runs": 0,
        "least": (0.0, 0, -weld.length),
        "state": "unchecked",
        "doubts": [],
        "path": [mm(p) for p in path],
        "stretches": [["unchecked", [mm(p) for p in path]]],
        "torch": None,
        "points": [],
        "frames": [],
        "directions": [],
        "rolls": [],
        "free": "",
        "best": None,
        "blockers": [],
        "run_positions": [],
    }
    return row | (_tried(path, found, units, torches) if found is not None else {})


def _size(weld: Weld, units: Units) -> str:
    return show_plain(weld.size, units) if weld.size else ""


def _tried(path: Array, found: Positions, units: Units, torches: _Torches) -> dict[str, Any]:
    access, window = found.access, found.window
    state, parts = stretches(path, access.reachable, access.unreached)
    return {
        "lies": in_words(found.position.to_dict()),
        "reachable": f"{show_rough(access.reachable, units)} of {show_rough(access.length, units)}",
        "run": f"{show_rough(access.longest_run, units)} without a stop" if access.run is not None else "",
        "runs": len(access.runs),
        "least": (access.reachable / access.length, -len(access.runs), -access.length),
        "state": state,
        "stretches": [[kind, [mm(p) for p in points]] for kind, points in parts],
        "torch": torches.index(found),
        "points": [mm(p) for p in found.points.points],
        "frames": [unit(f.ravel()) for f in found.points.frames],
        "directions": _directions(found),
        "rolls": [round(float(r), 6) for r in window.rolls],
        "free": bitset(found.free),
        "best": _best(found, units),
        "blockers": [[[one_line(n), round(s, 4)] for n, s in row] for row in found.blockers],
        "run_positions": [list(step) if step is not None else None for step in found.run],
    }


def _directions(found: Positions) -> list[list[float]]:
    """Work angle, lean, torch axis and roll-zero X of every direction, the vectors along t, b and n of the weld."""
    window = found.window
    axes, xs = window.local_axes()
    works, leans = (v.ravel() for v in np.meshgrid(window.works, window.leans, indexing="ij"))
    return [
        [round(float(w), 6), round(float(t), 6), *unit(axis), *unit(x)]
        for w, t, axis, x in zip(works, leans, axes, xs, strict=True)
    ]


def _best(found: Positions, units: Units) -> dict[str, Any] | None:
    best = found.access.best
    if best is None or found.best is None:
        return None
    point, direction, roll = found.best
    text = (
        f"work {best.work_angle:.0f}, travel {best.travel_angle:.0f} degrees, {best.direction} along the weld, "
        f"{show_fine(best.clearance, units)} clear"
    )
    return {"point": point, "direction": direction, "roll": roll, "text": text}
