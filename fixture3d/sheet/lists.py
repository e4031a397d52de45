"""The loose pieces that are welded and the welds themselves, as rows of the sheet."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from fixture3d.checks.weld_doubts import by_joint
from fixture3d.errors import one_line
from fixture3d.job import Job
from fixture3d.job.alike import alike
from fixture3d.job.cut_data import cut_rows
from fixture3d.report.cut_text import rotation_text, round_about
from fixture3d.report.order import reached_words
from fixture3d.tolerance import NUMERIC
from fixture3d.units import show, show_mass, show_plain, show_rough, show_sizes

if TYPE_CHECKING:
    from collections.abc import Mapping

    from fixture3d.job.weldment import Piece
    from fixture3d.report import Report
    from fixture3d.stock.section import Loop
    from fixture3d.units import Units


def piece_rows(*jobs: Job) -> list[dict[str, Any]]:
    """One row for all pieces that are alike, in the order of the scene; of all stages, each piece once."""
    rows: dict[Any, dict[str, Any]] = {}
    for job, piece in _pieces(jobs):
        row = {
            **_stock(job, piece),
            "solid": piece.solid is not None,
            "mass": "" if piece.mass is None else show_mass(piece.mass, job.scene.units),
        }
        found = rows.setdefault(_alike_in(job, piece), {**row, "count": 0, "names": []})
        found["count"] += 1
        found["names"].append(one_line(piece.name))
    return list(rows.values())


def _pieces(jobs: Sequence[Job]) -> list[tuple[Job, Piece]]:
    """Every piece of some stages once, with the first of them that has it on the table."""
    found: dict[str, tuple[Job, Piece]] = {}
    for job in jobs:
        for piece in job.weldment.pieces if job.weldment is not None else ():
            found.setdefault(piece.name, (job, piece))
    return list(found.values())


def total_mass(*jobs: Job) -> str:
    """Of all pieces, or an empty string when one is not known."""
    masses = [piece.mass for _, piece in _pieces(jobs)]
    known = [mass for mass in masses if mass is not None]
    if not known or len(known) < len(masses):
        return ""
    return f"{show_mass(float(sum(known)), jobs[0].scene.units, 1)} in all, if it is steel"


def weld_rows(job: Job, part: Report | None = None) -> list[dict[str, Any]]:
    """Every weld of the scene: its name, its type, its size and its length, with what is reached if it is not all.

    Args:
        job: of one stage, or of a setup without stages.
        part: its report; None when the checks were not run.
    """
    units = job.scene.units
    reached = {} if part is None else {str(row["name"]): row for row in part.figures("welds")}
    out = []
    for weld in job.scene.welds:
        path = np.asarray(weld.path if weld.path is not None else np.zeros((0, 3)), dtype=np.float64).reshape(-1, 3)
        length = float(np.linalg.norm(np.diff(path, axis=0), axis=1).sum())
        size = f" {show_plain(weld.size, units)}" if weld.size else ""
        out.append(
            {
                "key": weld.name,
                "name": one_line(weld.name),
                "type": f"{weld.type or 'fillet'}{size}",
                "length": _length(reached.get(weld.name), length, units) if len(path) else "",
                "short": _is_short(reached.get(weld.name)),
                "skip": weld.skip,
            }
        )
    return out


def skipped_words(job: Job) -> str:
    """The welds that are left out, with each joint named once; empty for none."""
    names = [one_line(weld.name) for weld in job.scene.welds if weld.skip]
    return by_joint(names) if names else ""


def _length(row: Mapping[str, Any] | None, length: float, units: Units) -> str:
    if row is None or row["reachable"] is None:
        return show_rough(length, units)
    return reached_words(row["reachable"], row["length"], units)


def _is_short(row: Mapping[str, Any] | None) -> bool:
    """Whether the torch does not reach all of a weld."""
    return row is not None and row["reachable"] is not None and row["reachable"] < row["length"] - NUMERIC.merge


def reach_words(report: Report | None) -> str:
    """How many welds are not reached whole, over all stages, for the head of the sheet; empty where all are."""
    rows = [] if report is None else [row for part in report.each for row in part.figures("welds")]
    short = [row for row in rows if _is_short(row)]
    if not short:
        return ""
    none = sum(row["reachable"] <= NUMERIC.merge for row in short)
    verb = "is" if len(short) == 1 else "are"
    said = f"{len(short)} of {len(rows)} weld{'s' if len(rows) > 1 else ''} {verb} not reached over the whole length"
    return said + (f", {none} of them nowhere" if none else "") + ": see the list of welds."


def _alike_in(job: Job, piece: Piece) -> Any:
    """Of two solids from a file nothing is known but size and volume; where both agree they are counted together."""
    if piece.solid is None:
        return alike(piece)
    return tuple(round(v, 2) for v in _extents(job, piece)), round(piece.solid.volume, 0)


def _extents(job: Job, piece: Piece) -> list[float]:
    """Sides of a piece's box as it lies, the longest first, mm."""
    boxes = [body.box for body in job.pieces() if body.name == piece.name]
    return sorted((float(v) for v in boxes[0][1] - boxes[0][0]), reverse=True) if boxes else []


def _sides(outline: Loop) -> str:
    """A plate of straight edges by its corners, another one by its edges."""
    arcs = sum(edge.centre is not None for edge in outline)
    return f"{len(outline)} sides, {arcs} round" if arcs else f"{len(outline)} corners"


def _ends(piece: Piece) -> str:
    """How a member is cut, in a few words; the cut list has the figures."""
    mitres = [f"{m:.1f}".removesuffix(".0") for m in piece.mitres]
    cuts = piece.end_cuts or ()
    if any(end.saddle or end.openings for end in cuts):
        words = []
        for end, mitre in zip(cuts, mitres, strict=True):
            flat = "square" if mitre == "0" else f"{mitre}° off square"
            kind = flat if end.saddle is None else f"coped at {end.saddle.angle:.3g}° round {one_line(end.onto)}"
            words.append(" and ".join([kind, *("slotted" if one is end.slot else "notched" for one in end.openings)]))
        cut = f"both {words[0]}" if words[0] == words[1] else f"{words[0]}; {words[1]}"
    else:
        askew = any(m != "0" for m in mitres)
        cut = f"cut {mitres[0]}° and {mitres[1]}° off square{_facing(piece)}" if askew else "square"
    bends = 0 if piece.bent is None else len(piece.bent.arcs)
    return ", ".join([cut, *_count(bends, "bend"), *_count(len(piece.holes), "hole")])


def _facing(piece: Piece) -> str:
    """Which way the cuts of a mitred member face: to each other or not, and where on a section that is not square."""
    (row,) = cut_rows([piece])
    said = [rotation_text(row)] if rotation_text(row) else []
    assert piece.section is not None
    if piece.section.width != piece.section.height and row.ends is not None:
        ends = zip(("first", "last"), row.ends, strict=True)
        said += [f"{which} long point {round_about(end.long)}" for which, end in ends if end.long is not None]
    return "".join(f", {one}" for one in said)


def _count(number: int, noun: str) -> list[str]:
    return [f"{number} {noun}{'s' if number > 1 else ''}"] if number else []


def _stock(job: Job, piece: Piece) -> dict[str, str]:
    """What it is made of and how long it is cut."""
    units: Units = job.scene.units
    if piece.section is not None:
        return {
            "stock": one_line(piece.section.designation),
            "cut": show(piece.cut_length, units),
            "ends": _ends(piece),
        }
    if piece.plate is not None:
        size = sorted(piece.plate.size, reverse=True)
        holes = _count(len(piece.plate.holes) + len(piece.plate.openings), "hole")
        return {
            "stock": f"plate {show_plain(piece.plate.thickness, units)}",
            "cut": show_sizes(size, units),
            "ends": ", ".join([_sides(piece.plate.outline), *holes]),
        }
    size = _extents(job, piece)
    return {
        "stock": "from the file",
        "cut": show_sizes(size, units) if size else "",
        "ends": "size over all, as it lies",
    }
