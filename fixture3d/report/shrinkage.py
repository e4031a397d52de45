"""Shrinkage in the report: as data and as text. All of it is estimated, in bands."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any, Final

from fixture3d.checks.shrinkage_words import change, degrees, rounded, shown
from fixture3d.errors import one_line
from fixture3d.shrinkage.band import Band
from fixture3d.tolerance import SHRINKING
from fixture3d.units import Units, show, show_fine

if TYPE_CHECKING:
    from fixture3d.report.report import Report

HEAD: Final = "Shrinkage, estimated (bands from handbook rules; prove them with the first piece)"
_TABLES: Final = {
    "welds": "shrink_welds",
    "axes": "shrink_axes",
    "lengths": "shrink_lengths",
    "stops": "shrink_stops",
}
_BANDS: Final = frozenset({"transverse", "longitudinal", "angular", "change", "longer", "gap"})


def shrinkage_dict(parts: Sequence[Report]) -> dict[str, Any]:
    """The bands of all stages as plain data, mm and degrees, and the rules that they come from."""
    rules = {rule["name"]: dict(rule) for part in parts for rule in part.figures("shrink_rules")}
    rows = {
        key: [{**_rounded(row, part), "stage": part.job.stage} for part in parts for row in part.figures(table)]
        for key, table in _TABLES.items()
    }
    return {"basis": "estimated by handbook rules for mild steel", **rows, "rules": list(rules.values())}


def _rounded(row: Mapping[str, Any], part: Report) -> dict[str, Any]:
    """A row with its bands rounded outwards to a fifth of their width or less, where the file's units are round."""
    out = dict(row)
    for key in _BANDS & set(row):
        ends = rounded(_band(row[key]), "mm" if key == "angular" else part.job.scene.units)
        out[key] = [ends.low + 0.0, ends.high + 0.0]
    return out


def shrinkage_lines(report: Report, full: bool) -> list[tuple[str, str]]:
    """The bands of one stage in words: how a line begins, and its text.

    Args:
        report: of one stage.
        full: each weld and cut length as well, and the rules.
    """
    axes, units = report.figures("shrink_axes"), report.job.scene.units
    if not axes:
        return []
    lines = [("", HEAD), *(("  ", text) for text in _axes(axes, units))]
    if full:
        lines += [("  ", text) for text in _lengths(report.figures("shrink_lengths"), units)]
        rules = report.figures("shrink_rules")
        numbers = {rule["name"]: number for number, rule in enumerate(rules, start=1)}
        lines += [("  ", text) for text in _stops(report.figures("shrink_stops"), units)]
        lines.append(("  ", "Each weld by itself: across the joint; along its length; angle that it closes by (rules)"))
        lines += [("    ", text) for text in _welds(report.figures("shrink_welds"), numbers, units)]
        lines.append(
            ("  ", "To preset a joint, tack it open by the angle that it closes by; prove it with the first piece.")
        )
        lines.append(("  ", "Rules"))
        lines += [
            ("    ", f"{numbers[rule['name']]}: {rule['formula']}; {rule['source']} ({rule['mark']}); {rule['holds']}")
            for rule in rules
        ]
    return lines


def _band(ends: Sequence[float]) -> Band:
    return Band(float(ends[0]), float(ends[1]))


def _little(band: Band) -> bool:
    return max(abs(band.low), abs(band.high)) < SHRINKING.felt


def _axes(rows: Sequence[Mapping[str, Any]], units: Units) -> list[str]:
    """End to end along each axis; what nobody would feel in one line."""
    several = len({tuple(row["pieces"]) for row in rows}) > 1
    lines, little = [], []
    for row in rows:
        band = _band(row["change"])
        of = f" ({one_line(str(row['pieces'][0]))} and what is welded to it)" if several else ""
        if _little(band):
            little.append(f"{row['axis']}{of}")
        else:
            lines.append(f"along {row['axis']}, {show(row['length'], units)} end to end{of}: {change(band, units)}")
    if little:
        lines.append(f"along {', '.join(little)}: less than {show_fine(SHRINKING.felt, units)}")
    return lines


def _lengths(rows: Sequence[Mapping[str, Any]], units: Units) -> list[str]:
    """What to cut longer, so that the finished work measures what is drawn."""
    out = []
    for row in rows:
        band, name = _band(row["longer"]), one_line(str(row["name"]))
        if not _little(band):
            out.append(f"{name}: cut {show(row['cut_length'], units)} and {shown(band, units)} more")
    plain = [one_line(str(row["name"])) for row in rows if _little(_band(row["longer"]))]
    if plain:
        out.append(f"{', '.join(plain)}: as drawn, within {show_fine(SHRINKING.felt, units)}")
    if not rows:
        return ["Cut lengths: none is known, for no straight member of stock is welded"]
    return ["Cut lengths so that the finished work measures what is drawn:", *(f"  {text}" for text in out)]


def _stops(rows: Sequence[Mapping[str, Any]], units: Units) -> list[str]:
    """What happens between stops that face each other, so that they can be set for what comes out."""
    out = []
    for row in rows:
        band = _band(row["gap"])
        if not _little(band):
            on = "comes short of them by" if row["kind"] == "outside" else "closes on them by"
            by = band if row["kind"] == "outside" else -band
            far = show(row["length"], units)
            out.append(
                f"{one_line(str(row['first']))} to {one_line(str(row['second']))}, {far}: {on} {shown(by, units)}"
            )
    if not out:
        return []
    head = "Between stops as they are set; longer pieces ask for stops that are set as much wider:"
    return [head, *(f"  {text}" for text in out)]


def _welds(rows: Sequence[Mapping[str, Any]], numbers: Mapping[str, int], units: Units) -> list[str]:
    """Each weld by itself; those that draw alike, as the two sides of a frame do, in one line."""
    alike: dict[str, list[str]] = {}
    for row in rows:
        alike.setdefault(_weld(row, numbers, units), []).append(one_line(str(row["name"])))
    return [f"{'; '.join(names)}: {text}" for text, names in alike.items()]


def _weld(row: Mapping[str, Any], numbers: Mapping[str, int], units: Units) -> str:
    across, along = _band(row["transverse"]), _band(row["longitudinal"])
    felt = f"less than {show_fine(SHRINKING.felt, units)}"
    text = "; ".join(felt if _little(band) else shown(band, units) for band in (across, along))
    text = f"{row['type']}, {text}; {degrees(_band(row['angular']))}"
    by = ", ".join(str(number) for number in sorted(numbers[name] for name in row["rules"]))
    return f"{text} ({by})" + ("" if row["covered"] else ", by the nearest rules")
