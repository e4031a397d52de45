"""What the record beside the scene shows to be wrong, as findings of the check of accuracy."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any

from fixture3d.checks.accuracy_answers import Answer, Foreseen
from fixture3d.checks.accuracy_words import departure
from fixture3d.checks.base import Finding
from fixture3d.errors import listed
from fixture3d.tolerance import ACCURACY
from fixture3d.units import Units

__all__ = ["kept_when_measured", "record_findings"]

Make = Callable[..., Finding]


def record_findings(row: Mapping[str, Any], found: Answer, units: Units, make: Make) -> Iterator[Finding]:
    """What the record shows to be wrong.

    Args:
        row: of the record.
        found: the key figures as planned.
        units: of the file.
        make: a finding of the check.
    """
    shares = {one.name: one for one in found.figures}
    for one in row["measured"]:
        yield from _out(one, shares.get(one["name"]), units, make)
        yield from _unexpected(one, units, make)
    for one in row["square"]:
        yield from _askew(one, units, make)
    yield from _as_set_out(row, found, units, make)
    for one in row["between"]:
        if one["tight"]:
            yield make(
                "as-set-tight",
                list(dict.fromkeys([*one["blocks"], *one["pieces"]])),
                f"as set, the work does not go in: {one['name']}",
                measured=round(one["as_set"] - one["stock"], 4),
                limit=0.0,
                unit="mm",
                remedy=f"look at the setting of {one['blocks'][0]}, and measure the pieces",
            )
    if row["stale"]:
        names = list(dict.fromkeys(one["name"] for one in row["stale"]))
        yield make(
            "record-stale",
            names,
            f"in {row['file']} stands what was written on another state of the scene: {_few(names)}",
            remedy="measure and set again, and write that down with: record SCENE --measured, --set; or, where it "
            f"still holds, give it the code {row['code']}",
        )


def kept_when_measured(row: Mapping[str, Any]) -> set[str]:
    """Names of the figures that were measured within their limits."""
    return {
        one["name"] for one in row["measured"] if one["limits"] is not None and _past(one["off"], one["limits"]) is None
    }


def _few(names: Sequence[str]) -> str:
    return listed(names) if len(names) <= 4 else f"{', '.join(names[:4])} and others"


def _past(off: float, span: Sequence[float] | None) -> float | None:
    """The end of a span that a departure lies beyond; None where it lies within."""
    if span is None:
        return None
    low, high = span
    return high if off > high + ACCURACY.even else low if off < low - ACCURACY.even else None


def _point(row: Mapping[str, Any]) -> tuple[float, ...] | None:
    return None if row["at"] is None else tuple(row["at"])


def _out(row: Mapping[str, Any], foreseen: Foreseen | None, units: Units, make: Make) -> Iterator[Finding]:
    limit = _past(row["off"], row["limits"])
    if limit is None:
        return
    most = [] if foreseen is None else list(foreseen.shares[:2])
    moves = ", ".join(f"{one.name} ({departure(one.size, row['unit'], units)})" for one in most)
    yield make(
        "measured-out",
        list(dict.fromkeys([row["name"], *row["pieces"]])),
        f"{row['name']} is measured out of {_what(row)}",
        level="fail" if row["limits_stated"] else "note",
        measured=round(row["off"], 4),
        limit=limit,
        unit="mm" if row["unit"] == "mm" else "deg",
        at=_point(row),
        remedy="measure once more; if it stays, correct what moves it most"
        + (f": {moves}" if moves else "")
        + ", and write down how it is set then",
    )


def _what(row: Mapping[str, Any]) -> str:
    if row["limits_by"] == "the file":
        return "the limits of the file"
    asked = "that the file asks for" if row["limits_stated"] else "for welded work, which the file does not ask for"
    return f"the class of tolerance {asked}"


def _unexpected(row: Mapping[str, Any], units: Units, make: Make) -> Iterator[Finding]:
    limit = _past(row["off"], row["possible"])
    if limit is None:
        return
    yield make(
        "measured-unexpected",
        list(dict.fromkeys([row["name"], *row["pieces"]])),
        f"{row['name']} is further off than all that is known to be off could make it",
        measured=round(row["off"], 4),
        limit=round(limit, 4),
        unit="mm" if row["unit"] == "mm" else "deg",
        at=_point(row),
        remedy="look for chips under blocks, a block one hole or notch off, work that is not home, a wrong cut or a "
        "wrong reading, and measure once more",
    )


def _askew(row: Mapping[str, Any], units: Units, make: Make) -> Iterator[Finding]:
    beyond = row["degrees"] is not None and row["limit"] is not None and row["degrees"] > row["limit"] + ACCURACY.even
    if not beyond:
        return
    yield make(
        "out-of-square",
        list(row["frame"]),
        f"by its measured diagonals the frame of {listed(row['frame'])} is out of square",
        measured=round(row["degrees"], 4),
        limit=row["limit"],
        unit="deg",
        at=_point(row),
        remedy=f"push {row['longer']} shorter by {departure(abs(row['difference']) / 2.0, 'mm', units)} "
        "before the welds are finished",
    )


def _as_set_out(row: Mapping[str, Any], found: Answer, units: Units, make: Make) -> Iterator[Finding]:
    """Figures with limits of the file that are kept as planned, and likely not as set."""
    planned = {one.name: one for one in found.figures}
    measured = {one["name"] for one in row["measured"]}
    for moved in row["moved"]:
        one = planned[moved["name"]]
        if not one.stated or one.limits is None or one.name in measured:
            continue
        was = [end for end in one.likely if _past(end, one.limits) is not None]
        beyond = [(end, edge) for end in moved["as_set"] if (edge := _past(end, one.limits)) is not None]
        if was or not beyond:
            continue
        worst, edge = max(beyond, key=lambda pair: abs(pair[0] - pair[1]))
        blocks = [each["place"] for each in row["as_set"] if not each["same"]]
        yield make(
            "as-set-out",
            list(dict.fromkeys([one.name, *blocks, *one.pieces])),
            f"{one.name} will likely be out of its limits as {_few(blocks)} {'is' if len(blocks) == 1 else 'are'} set",
            measured=round(worst, 4),
            limit=edge,
            unit="mm" if one.unit == "mm" else "deg",
            at=one.at,
            remedy="set as planned: "
            + "; ".join(f"{each['place']} {each['planned']}" for each in row["as_set"] if not each["same"]),
        )
