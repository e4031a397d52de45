"""How the work lies, for the page: contacts, free motions and the way out, with what is said of them.

One entry a stage. Texts are in the file's units; arrows are lines in world mm, as in the picture.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

import numpy as np

from fixture3d.errors import one_line
from fixture3d.job import Job
from fixture3d.locating.words import way_in_words
from fixture3d.preview.located import Located, Motion, Touch, WayOut, located_in
from fixture3d.preview.page.numbers import mm, unit
from fixture3d.report import Report
from fixture3d.tolerance import HOLDING
from fixture3d.units import Units, show_force

_LONG: Final = 0.1  # length of arrows as a share of the work's diagonal, and its bounds, mm
_BOUNDS: Final = (35.0, 120.0)
_ON: Final = {"face": "on a face", "line": "along a line", "point": "at a point"}
Row = Mapping[str, Any]


def lies(part: Report, stage: int | None) -> dict[str, Any]:
    """What one stage knows of how its work lies; lists are empty where it was not judged."""
    found = located_in(part)
    long = _arrow_length(part.job)
    held = {name: row for row in part.figures("holding") if not row["whole"] for name in row["pieces"]}
    rows = part.figures("pieces")
    last = max((row["order"] for row in rows), default=0)
    return {
        "stage": stage,
        "pieces": [_piece(row, last, held.get(row["name"]), found, part.job.scene.units) for row in rows],
        "motions": [_motion(motion, long) for motion in found.motions],
        "ways_out": [_way(way) for way in found.ways_out],
    }


def _arrow_length(job: Job) -> float:
    boxes = [body.box for body in job.pieces()]
    if not boxes:
        return _BOUNDS[0]
    size = np.max([box[1] for box in boxes], axis=0) - np.min([box[0] for box in boxes], axis=0)
    return float(np.clip(_LONG * float(np.linalg.norm(size)), *_BOUNDS))


def _piece(row: Row, last: int, held: Row | None, found: Located, units: Units) -> dict[str, Any]:
    """What is said of one piece, and where it touches; pieces that are one have that in common."""
    own = {row["name"], *row["with"]}
    motions = [motion for motion in found.motions if motion.piece in own]
    facts = [
        ["goes in", f"{row['order']} of {last}"],
        ["welded to", ", ".join(one_line(str(name)) for name in row["with"])],
        ["moves", "; ".join(one_line(motion.whole) for motion in motions) or _settled(row)],
        ["held", _held(held, units)],
        ["presses on", _reactions(held, units)],
    ]
    return {
        "name": one_line(str(row["name"])),
        "facts": [fact for fact in facts if fact[1]],
        "contacts": _contacts([touch for touch in found.touches if touch.piece in own]),
    }


def _settled(row: Row) -> str:
    return "no, it has one place" if row["rests"] else "falls"


def _held(row: Row | None, units: Units) -> str:
    """Whether clamps and stops hold it while it is tacked."""
    if row is None:
        return ""
    push = show_force(HOLDING.nudge, units)
    if row["held"] is None:
        return f"not judged: {one_line(str(row['why']))}"
    if row["held"]:
        return f"yes, it stands a push of {push} at its welds"
    if not row["clamps"]:
        return "not clamped: hold it while tacking" if row["stays"] else "not clamped, and does not lie by itself"
    return f"no: with {', '.join(one_line(str(n)) for n in row['clamps'])} shut it does not stand a push of {push}"


def _reactions(row: Row | None, units: Units) -> str:
    """What presses on each block while its clamps are shut; no finer than the clamps' forces are known."""
    if row is None or not row["pressed"] or not row["held"]:
        return ""
    forces = [(one_line(str(name)), float(f"{force:.2g}")) for name, force in row["reactions"].items()]
    return ", ".join(f"{name} {show_force(force, units)}" for name, force in forces if force >= 1.0)


def _contacts(touches: Sequence[Touch]) -> list[dict[str, Any]]:
    """What a piece lies against, the same of one block together."""
    out: dict[tuple[str, str], list[Touch]] = {}
    for touch in touches:
        words = {
            "under": "carries it",
            "over": "keeps it down",
            "beside": f"stops it going {way_in_words(-touch.normal + 0.0)}",
        }[touch.role]
        out.setdefault((touch.fixed, f"{words}, {_ON[touch.kind]}"), []).append(touch)
    return [
        {
            "on": one_line(fixed),
            "text": text,
            "role": same[0].role,
            "by_piece": same[0].by_piece,
            "places": [{"normal": unit(t.normal), "at": mm(t.at), "points": [mm(p) for p in t.points]} for t in same],
        }
        for (fixed, text), same in out.items()
    ]


def _motion(motion: Motion, long: float) -> dict[str, Any]:
    return {
        "piece": one_line(motion.piece),
        "words": motion.words,
        "told": motion.told,
        "arrows": [{"line": [mm(p) for p in arrow.line], "ends": arrow.ends} for arrow in motion.arrows(long)],
    }


def _way(way: WayOut) -> dict[str, Any]:
    return {
        "pieces": [one_line(name) for name in way.pieces],
        "words": one_line(way.told),
        "start": mm(way.start),
        "direction": unit(way.direction),
        "first_off": [[one_line(name), verb] for name, verb in way.first_off],
    }
