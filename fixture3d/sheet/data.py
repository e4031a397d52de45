"""What stands on the setup sheet, as plain data: no drawing, no layout."""

from __future__ import annotations

import hashlib
import json
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import numpy as np

from fixture3d import __version__
from fixture3d.checks.base import Finding
from fixture3d.errors import one_line
from fixture3d.job import Job, Seat
from fixture3d.job.contact import Touch, opposed_faces, touching_pads
from fixture3d.job.inventory import dowel_count, pick_list
from fixture3d.sheet.layout import short_name
from fixture3d.units import show, show_fine

CAUTIONS = (
    "This sheet is planning help, not an approved procedure. Local codes, your employer's rules and qualified welding "
    "procedures come first; if they differ from this sheet, follow them.",
    "Fire: clear or cover what can burn within 11 m (35 ft), keep a fire watch while welding and at least 30 minutes "
    "after, or longer where your rules say so. Fresh welds, blocks and dowels are hot.",
    "Fumes: ventilate; zinc coatings, stainless steel and paint need more than an open door.",
    "Arc: eyes and skin covered, screens up for the others. Noise: protect your ears.",
    "Shock: dry gloves, sound leads; the work return goes on the work or the clean table, never through dowels, "
    "threads or clamp joints.",
    "Pinch and stored energy: keep hands out of a closing clamp; a bent part jumps when the last clamp or tack lets "
    "go. Back stops off before you free a part that is stuck; no hammering towards a person.",
    "Loose blocks and dowels can fall through or off the table. Lift heavy work with help.",
)


def content_code(job: Job) -> str:
    """Eight characters that change whenever the content of the scene changes, whatever the file is called.

    Comments and the order of keys do not matter. Pieces from a geometry file count with their size and place.
    """
    digest = hashlib.sha256()
    digest.update(json.dumps(job.scene.model_dump(mode="json", by_alias=True), sort_keys=True).encode())
    for piece in job.pieces():
        digest.update(repr((piece.name, (np.round(piece.box, 2) + 0.0).tolist())).encode())
    return digest.hexdigest()[:8].upper()


def sheet_data(job: Job, findings: Sequence[Finding] | None = None) -> dict[str, Any]:
    """Everything on the sheet except the plan, as JSON types; lengths are texts in the file's units."""
    touches = touching_pads(job)
    title = one_line(job.scene.title) or "Setup"
    return {
        "title": title,
        "head": short_name(title, 60),
        "code": content_code(job),
        "program": f"fixture3d {__version__}",
        "table": _table(job),
        "verdict": _verdict(findings),
        "fails": _fails(findings),
        "blocks": [_row(job, seat, touches) for seat in _in_order(job) if not seat.clamp],
        "clamps": [_clamp(job, seat) for seat in _in_order(job) if seat.clamp],
        "picks": [
            {
                "count": pick.count,
                "model": one_line(pick.model),
                "size": one_line(pick.size),
                "names": [one_line(n) for n in pick.names],
                "owned": pick.owned,
                "short": max(0, pick.count - pick.owned) if pick.owned is not None else 0,
            }
            for pick in pick_list(job)
        ],
        "inventory": bool(job.scene.inventory),
        "small": list(_small(job)),
        "distances": [
            {
                "from": f"{one_line(p.a)} {p.pad_a}",
                "to": f"{one_line(p.b)} {p.pad_b}",
                "distance": show(p.distance, job.scene.units),
                "stock": show(p.stock, job.scene.units),
                "play": show_fine(p.distance - p.stock, job.scene.units),
                "between": ", ".join(one_line(n) for n in p.between),
            }
            for p in opposed_faces(job)
        ],
        "measured": [one_line(s.name) for s in job.seats.values() if s.holds in ("measured", "edge", "magnet")],
        "cautions": list(CAUTIONS),
    }


def _verdict(findings: Sequence[Finding] | None) -> str:
    """Whether to build from this sheet."""
    if findings is None:
        return "The checks were not run for this sheet."
    fails = sum(1 for f in findings if f.level == "fail")
    warns = sum(1 for f in findings if f.level == "warn")
    if not fails:
        return f"READY: no check failed, {warns} warning{'' if warns == 1 else 's'}."
    return f"NOT READY: {fails} failed. Do not build from this sheet."


def _fails(findings: Sequence[Finding] | None, most: int = 6) -> list[str]:
    """The failed checks in a line each, and how many more there are."""
    found = [one_line(f"{', '.join(f.subjects)}: {f.message}") for f in findings or () if f.level == "fail"]
    more = [f"and {len(found) - most} more: run the check to see them"] if len(found) > most else []
    return found[:most] + more


def _table(job: Job) -> str:
    """The table in one line, so that the sheet is not taken to the wrong one."""
    table, units = job.table, job.scene.units
    pitch = " by ".join(dict.fromkeys(show(p, units) for p in table.pitch))
    first, last = table.hole_name(0, 0), table.hole_name(table.columns - 1, table.rows - 1)
    extra = "; second grid half a pitch over" if table.stagger else ""
    return f"holes {show(table.bore, units)} every {pitch}, {first} to {last}{extra}"


def _in_order(job: Job) -> Iterator[Seat]:
    """File order, but a block always before what stands on it."""
    done: set[str] = set()

    def climb(seat: Seat) -> Iterator[Seat]:
        if seat.name in done:
            return
        done.add(seat.name)
        if seat.stacked and seat.stands_on in job.seats:
            yield from climb(job.seats[seat.stands_on])
        yield seat

    for seat in job.seats.values():
        yield from climb(seat)


def _row(job: Job, seat: Seat, touches: list[Touch]) -> dict[str, Any]:
    units = job.scene.units
    return {
        "name": one_line(seat.name),
        "model": one_line(seat.model),
        "hole": _stands(job, seat),
        "others": _others(seat),
        "turn": _degrees(seat.turn),
        "setting": _setting(job, seat),
        "shims": _shims(job, seat),
        "top": _top(job, seat),
        "size": show_box(seat, units),
        "touches": [
            {"pad": t.pad, "piece": one_line(t.piece)} for t in touches if t.item == seat.name
        ],
    }  # fmt: skip


def _clamp(job: Job, seat: Seat) -> dict[str, Any]:
    row = _row(job, seat, [])
    place = seat.place
    at = getattr(place, "at", None)
    row["presses"] = one_line(getattr(place, "presses", None) or "")
    row["toward"] = one_line(getattr(place, "toward", None) or "")
    row["at"] = show(at, job.scene.units) if at is not None else ""
    return row


def _stands(job: Job, seat: Seat) -> str:
    """Where it stands, as the person at the table looks for it."""
    place, units = seat.place, job.scene.units
    edge = getattr(place, "edge", None)
    if seat.stacked:
        return f"on {one_line(seat.stands_on)}" + (f", socket {one_line(place.socket)}" if place.socket else "")
    if place.hole:
        return one_line(job.table.find(place.hole).name)
    if place.free is not None:
        x, y, z, _ = place.free
        return f"measure from A1: {show(x, units)} right, {show(y, units)} back" + (
            f", {show(z, units)} up" if z else ""
        )
    if edge is not None:
        along = getattr(place, "along", None)
        return f"{edge} edge" + (f", {show(along, units)} along" if along is not None else "")
    return "by hand"


def _others(seat: Seat) -> str:
    """The further dowels, the pin when it is not the first, the face when it is not the usual one, a bolt."""
    out = []
    anchor = next((p for p in seat.pins if p.pin.name == seat.anchor), None)
    if anchor is not None and anchor.pin.name != "1":
        out.append(f"by its pin {one_line(anchor.pin.name)}")
    more = [_hole(p.hole) for p in seat.pins if p.state == "seated" and p is not anchor and p.hole]
    if more:
        also = "dowel also in " if anchor is not None and anchor.state == "seated" else "dowel only in "
        out.append(also + ", ".join(more))
    elif anchor is not None and not seat.bolted and anchor.state in ("seated", "left out"):
        out.append("one dowel" if anchor.state == "seated" else "no dowel")
    if seat.bolted:
        out.append("hold-down bolt in the named hole")
    if seat.face != "bottom":
        out.append(f"{seat.face} face down")
    for state, words in (
        ("off", "finds no hole"),
        ("blocked", "is over a blocked hole"),
        ("off table", "is off the table"),
    ):
        wrong = [one_line(p.pin.name) for p in seat.pins if p.state == state]
        if wrong:
            out.append(f"pin {', '.join(wrong)} {words}")
    if seat.complaint:
        out.append(one_line(seat.complaint))
    return "; ".join(out)


def _hole(name: str) -> str:
    return one_line(name)


def _degrees(turn: float) -> str:
    return f"{round(turn, 2) % 360.0:g}°"


def _setting(job: Job, seat: Seat) -> str:
    move = seat.part.move()
    if move is None:
        return ""
    if seat.notch is not None:
        return f"notch {seat.notch}"
    return f"slide {show(seat.slide, job.scene.units)}"


def _shims(job: Job, seat: Seat) -> str:
    units = job.scene.units
    return "; ".join(
        f"{one_line(shim.pad)}: " + " + ".join(show_shim(thickness, units) for thickness in shim.by)
        for shim in seat.place.shims
    )


def show_shim(thickness: float, units: Any) -> str:
    """Shim stock is bought by the hundredth of a millimetre or the thousandth of an inch."""
    return show_fine(thickness, units)


def _top(job: Job, seat: Seat) -> str:
    """The highest point of the block itself over the table top."""
    heights = [float(b.box[1, 2]) for b in job.of_item(seat.name) if b.role in ("block", "clamp")]
    return show(max(heights), job.scene.units) if heights else ""


def show_box(seat: Seat, units: Any) -> str:
    """The size of the block as it lies on the shelf, length by width by height."""
    low, high = seat.part.box()
    return " × ".join(show(h - k, units) for k, h in zip(low, high, strict=True))


def _small(job: Job) -> Iterator[Mapping[str, Any]]:
    """Dowels, bolts and shims."""
    units = job.scene.units
    for diameter, count in sorted(dowel_count(job).items()):
        yield {"count": count, "what": f"dowels {show(diameter, units)}"}
    bolts = sum(1 for s in job.seats.values() if s.bolted)
    if bolts:
        yield {"count": bolts, "what": "hold-down bolts"}
    shims = Counter(round(by, 6) for s in job.seats.values() for shim in s.place.shims for by in shim.by)
    for thickness, count in sorted(shims.items()):
        yield {"count": count, "what": f"shims {show_shim(thickness, units)}"}
