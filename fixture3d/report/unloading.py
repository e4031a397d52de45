"""How the setup is loaded and how the work comes off again, in words for the text report."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from fixture3d.errors import listed, one_line
from fixture3d.report.report import Report
from fixture3d.tolerance import LEAVING
from fixture3d.units import Units, show_mass, show_rough

_ABOVE = "from above"


def unloading_lines(report: Report) -> Iterator[tuple[str, str]]:
    """Indents and texts: the order of loading, and one line for each thing that comes off as one."""
    units = report.job.scene.units
    loading, lots = report.figures("loading"), report.figures("unloading")
    if loading:
        yield "", f"Loading, in the order above: {_loaded(loading)}"
    for row in lots:
        whose = "" if len(lots) == 1 else f" of {_named(row['pieces'])}"
        yield "", f"Way out{whose}: {way_out_of(row, units)}"


def _loaded(rows: Sequence[Mapping[str, Any]]) -> str:
    """The ways in, those from above as one, and the clamps."""
    put = [row for row in rows if row["what"] == "put in"]
    shut = [one_line(str(row["name"])) for row in rows if row["what"] == "shut"]
    none = [one_line(str(row["name"])) for row in rows if row["what"] == "no way in"]
    other = [f"{one_line(str(row['name']))} {row['words']}" for row in put if row["words"] != _ABOVE]
    above = [_ABOVE] if len(other) < len(put) else []
    said = ", but ".join([*above, "; ".join(other)] if other else above)
    if none:
        return f"{said}; {listed(none)} {'has' if len(none) == 1 else 'have'} no straight way in"
    return f"{said}; then shut {listed(shut)}" if shut else said


def _named(pieces: Sequence[str]) -> str:
    first = one_line(str(pieces[0]))
    return first if len(pieces) == 1 else f"{first} + {len(pieces) - 1}"


def way_out_of(row: Mapping[str, Any], units: Units) -> str:
    """One thing that comes off the table: what is taken off first, its way, how far, and what it weighs.

    Args:
        row: of the figures "unloading".
        units: of the file.
    """
    if not row["ways"]:
        return f"no single straight way out past {listed([one_line(str(name)) for name in row['stopped_by']])}"
    way = row["ways"][0]
    said = str(way["words"])
    if row["first_off"]:
        said = f"{first_off_words(row['first_off'])}, then {said}"
    if way["distance"] > 0.0:
        said += f", past all that stands beside it after {show_rough(way['distance'], units)}"
    if row["mass"] is not None:
        said += f"; {show_mass(row['mass'], units)} if it is steel"
        if row["mass"] > LEAVING.by_hand:
            said += ": lifting by two or by a hoist, local rules apply"
    return said


def first_off_words(off: Sequence[Mapping[str, Any]]) -> str:
    """What goes first, in order: "pull P1", "take off S3 and S4", "back off T1 (to notch 0)"."""
    done: list[tuple[str, list[str]]] = []
    for one in off:
        if not done or done[-1][0] != one["verb"]:
            done.append((one["verb"], []))
        done[-1][1].append(one_line(str(one["name"])))
    return ", ".join(f"{verb} {listed(names)}" for verb, names in done)
