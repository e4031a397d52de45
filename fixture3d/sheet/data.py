"""What stands on the setup sheet, as plain data: no drawing, no layout."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Final

from fixture3d import __version__
from fixture3d.errors import one_line
from fixture3d.job import Job, Seat
from fixture3d.job.code import content_code
from fixture3d.job.contact import Touch, opposed_faces, touching_pads
from fixture3d.job.inventory import Pick, most_at_once, outer_size, small_list
from fixture3d.job.recorded import as_set_words, last_words
from fixture3d.part import Part, parameters
from fixture3d.report import Report
from fixture3d.scene.schema import Clamp
from fixture3d.sheet.going import loading_note, loading_steps, unloading_lines
from fixture3d.sheet.layout import is_round, seen_from_above, short_name
from fixture3d.sheet.lists import piece_rows, reach_words, skipped_words, total_mass, weld_rows
from fixture3d.sheet.measures import face_rows, measure_rows
from fixture3d.sheet.order import Sequence as Sequence_
from fixture3d.sheet.order import sequence
from fixture3d.sheet.stages import changes, place_of
from fixture3d.sheet.steps import grouped
from fixture3d.sheet.verdict import accepted, failed, verdict
from fixture3d.units import show, show_plain, show_shim

_LONGEST_HEAD: Final = 60  # letters of the title in the head of a page
CAUTIONS = (
    "This sheet is planning help, not an approved procedure. Local codes, your employer's rules, qualified welding "
    "procedures and licensed practice come first.",
    "Fire: clear or cover what burns within 11 m (35 ft); fire watch while welding and 30 minutes after, or longer as "
    "your rules say. Work, blocks and dowels are hot.",
    "Fumes: ventilate; zinc, stainless steel and paint need more than an open door.",
    "Arc and noise: cover eyes, skin and ears; screens up for the others.",
    "Shock: dry gloves, sound leads; work return on the work or the clean table, never through dowels, threads or "
    "clamp joints.",
    "Pinch and stored energy: hands out of closing clamps; a bent part jumps when the last clamp or tack lets go.",
    "Trapped parts: back stops off before you free them; no hammering towards a person.",
    "Heavy work: lift with help. Loose blocks and dowels can fall through or off the table.",
)


def sheet_data(job: Job, report: Report | None = None) -> dict[str, Any]:
    """Everything on the sheet of one state except the plan, as JSON types; lengths are texts in the file's units.

    Args:
        job: the setup.
        report: of the checks; None when none were run, which the sheet then says.
    """
    part = report.each[0] if report is not None and len(report.each) == 1 else None
    return {**_whole((job,), report), **_state(job, part), "stages": []}


def stages_data(jobs: Sequence[Job], report: Report | None = None) -> dict[str, Any]:
    """The same for all stages of a setup, in the order of the work; ``stages`` has what is different in each.

    Args:
        jobs: of every stage.
        report: of all of them.
    """
    stages: list[dict[str, Any]] = []
    stands = {job.stage or "": {name: _stands(job, seat) for name, seat in job.seats.items()} for job in jobs}
    for number, job in enumerate(jobs):
        part = None if report is None else report.each[number] if len(report.each) == len(jobs) else report
        before = jobs[number - 1] if number else None
        state = _state(job, part if part is not report else None)
        for row in (*state["blocks"], *state["clamps"]):
            row["stays"] = before is not None and any(one_line(name) == row["name"] for name in before.seats)
        stages.append(
            {
                **state,
                "name": one_line(job.stage or ""),
                "number": number + 1,
                "verdict": verdict(part),
                "fails": failed(part),
                "reach": reach_words(part),
                "place": place_of(job) if job.weldment is not None else "",
                "done": [one_line(weld.name) for weld in job.scene.done],
                "changes": None if before is None else changes(before, job, stands),
                "table": _table(job),
            }
        )
    return {**_whole(jobs, report), **stages[0], "stages": stages}


def _whole(jobs: Sequence[Job], report: Report | None) -> dict[str, Any]:
    """What stands on the sheet once, for all stages."""
    job = jobs[0]
    title = one_line(job.scene.title) or "Setup"
    alone = job.stage if len(jobs) == 1 else None
    if alone is not None:
        title = f"{title}, stage {one_line(alone)}"
    return {
        "title": title,
        "head": _head(title, job, alone),
        "code": content_code(job),
        "program": f"fixture3d {__version__}",
        "table": _table(job),
        "units": job.scene.units,
        "verdict": verdict(report),
        "fails": failed(report),
        "accepted": accepted(report),
        "reach": reach_words(report),
        "picks": [
            {
                "count": pick.count,
                "model": one_line(pick.model),
                "size": one_line(_pick_size(jobs, pick)),
                "names": [one_line(n) for n in pick.names],
                "owned": pick.owned,
                "short": pick.short,
            }
            for pick in most_at_once(jobs)
        ],
        "inventory": bool(job.scene.stock),
        "small": _most(jobs),
        "pieces": piece_rows(*jobs),
        "mass": total_mass(*jobs),
        "cautions": list(CAUTIONS),
    }


def _head(title: str, job: Job, stage: str | None) -> str:
    """The title for the head of every page: one that is too long keeps the size and the stage at its end."""
    tail = f", {one_line(job.scene.size)}" if job.scene.size else ""
    tail += f", stage {one_line(stage)}" if stage is not None else ""
    if len(title) <= _LONGEST_HEAD or not title.endswith(tail):
        return short_name(title, _LONGEST_HEAD)
    end = short_name(tail, _LONGEST_HEAD * 2 // 3)
    return short_name(title[: len(title) - len(tail)], _LONGEST_HEAD - len(end)) + end


def _state(job: Job, part: Report | None) -> dict[str, Any]:
    """What is different from stage to stage."""
    touches, order, pairs = touching_pads(job), sequence(job, part), opposed_faces(job)
    as_set, last = as_set_words(job), last_words(job)
    measures, not_listed = measure_rows(job, part, last)
    return {
        "blocks": [
            {"group": group, **_row(job, seat, touches), "as_set": as_set.get(seat.name, "")}
            for group, seat in grouped(job, touches, pairs)
        ],
        "clamps": [
            {**_clamp(job, seat), "as_set": as_set.get(seat.name, "")} for seat in job.seats.values() if seat.clamp
        ],
        "work": place_of(job) if job.weldment is not None else "",
        "loading": loading_steps(job, part),
        "loading_note": loading_note(job, part),
        "unloading": unloading_lines(job, part),
        "distances": face_rows(pairs, job.scene.units, last),
        "measures": measures,
        "not_listed": not_listed,
        "measured": [one_line(s.name) for s in job.seats.values() if s.holds != "pins"],
        "welds": _in_turn(weld_rows(job, None if part is None or part.parts else part), order),
        "skipped": skipped_words(job),
        "order": order.to_dict(),
        "bolts": any(s.bolted for s in job.seats.values()),
    }  # fmt: skip


def _in_turn(rows: list[dict[str, Any]], order: Sequence_) -> list[dict[str, Any]]:
    """The welds as they are run; those that are not come last."""
    none = {"no": "", "run": "", "why": "", "tacks": ""}
    ranked = [{**row, **order.runs.get(row["key"], none)} for row in rows]
    return sorted(ranked, key=lambda row: int(row["no"] or len(rows) + 1))


def _table(job: Job) -> str:
    """The table in one line, so that the sheet is not taken to the wrong one."""
    table, units = job.table, job.scene.units
    pitch = " by ".join(dict.fromkeys(show(p, units) for p in table.pitch))
    first, last = table.hole_name(0, 0), table.hole_name(table.columns - 1, table.rows - 1)
    extra = "; second grid half a pitch over" if table.stagger else ""
    return f"holes {show(table.bore, units)} every {pitch}, {first} to {last}{extra}"


def _row(job: Job, seat: Seat, touches: list[Touch]) -> dict[str, Any]:
    units = job.scene.units
    return {
        "name": one_line(seat.name),
        "model": one_line(seat.model),
        "hole": _stands(job, seat),
        "others": _others(seat),
        "turn": _turn(seat),
        "setting": _setting(job, seat),
        "shims": _shims(job, seat),
        "top": _top(job, seat),
        "datum": _datum(job, seat),
        "size": one_line(_size(seat, units, bool(_datum(job, seat)))),
        "touches": _touched(seat, touches),
    }  # fmt: skip


def _touched(seat: Seat, touches: list[Touch]) -> list[dict[str, str]]:
    """The faces that touch, by piece: several faces at one piece are named together."""
    found: dict[str, list[str]] = {}
    for touch in touches:
        if touch.item == seat.name and (face := _face(seat, touch.pad)) not in found.setdefault(touch.piece, []):
            found[touch.piece].append(face)
    return [{"pad": _together(faces), "piece": one_line(piece)} for piece, faces in found.items()]


def _together(faces: list[str]) -> str:
    """Names of faces, what all of them begin with once: ``"vee left, right"``."""
    first = {face.partition(" ")[0] for face in faces}
    if len(faces) == 1 or len(first) > 1 or not all(face.partition(" ")[2] for face in faces):
        return ", ".join(faces)
    return f"{first.pop()} {', '.join(face.partition(' ')[2] for face in faces)}"


def _clamp(job: Job, seat: Seat) -> dict[str, Any]:
    row = _row(job, seat, [])
    place = seat.place
    at = getattr(place, "at", None)
    row["presses"] = one_line(getattr(place, "presses", None) or "")
    row["toward"] = one_line(getattr(place, "toward", None) or "")
    row["at"] = show(at, job.scene.units) if at is not None else ""
    return row


def _face(seat: Seat, pad: str) -> str:
    """The face as it can be told on the block: one side of a round one is like another."""
    return "side" if is_round(seat) and pad != "top" else pad


def _stands(job: Job, seat: Seat) -> str:
    """Where it stands, as the person at the table looks for it."""
    place, units = seat.place, job.scene.units
    edge = getattr(place, "edge", None)
    if seat.stacked:
        anchor = next((p.hole for p in seat.pins if p.pin.name == seat.anchor and p.hole), None)
        socket = anchor.removeprefix(f"{seat.stands_on}:") if anchor else place.socket
        return (f"socket {one_line(socket)} of " if socket else "on ") + one_line(seat.stands_on)
    if place.hole:
        return one_line(job.table.find(place.hole).name)
    if place.free is not None:
        x, y, z, _ = place.free
        return f"measure from A1: {show(x, units)} right, {show(y, units)} back" + (
            f", {show(z, units)} up" if z else ""
        )
    if isinstance(place, Clamp) and place.slot is not None:
        slot = job.table.slot(place.slot)
        from_tip = (place.along or 0.0) + slot.width / 2.0
        return f"{one_line(slot.name)}, {show(from_tip, units)} from its {slot.first} tip"
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
    more = [p.hole for p in seat.pins if p.state == "seated" and p is not anchor and p is not seat.bolt and p.hole]
    bolt = seat.bolt
    if bolt is not None:
        here = bolt is anchor
        where = "here" if here else f"in {_holes(seat, [bolt.hole] if bolt.hole else [])}"
        out.append(f"its own bolt {where}" if bolt.pin.nut else f"bolt {where}")
    if more:
        own = anchor is not None and anchor.state == "seated"
        also = "dowel in " if bolt is not None and bolt is anchor else "also " if own else "dowel only in "
        out.append(also + _holes(seat, more))
    elif anchor is not None and bolt is None and anchor.state in ("seated", "left out"):
        out.append("one dowel" if anchor.state == "seated" else "no dowel")
    elif not seat.pins and seat.holds == "pins":
        out.append("no dowel")  # the face that is down has no bores
    if seat.face != "bottom":
        out.append(f"{seat.face} face down")
    if not seen_from_above(seat):
        out.append("on the upright face, turned as seen from its front")
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


def _holes(seat: Seat, names: list[str]) -> str:
    """Hole names; bores of the block below are called sockets, as nothing is marked on it."""
    if not seat.stacked:
        return one_line(", ".join(names))
    bores = [name.removeprefix(f"{seat.stands_on}:") for name in names]
    return one_line(f"socket{'s' if len(bores) > 1 else ''} {', '.join(bores)}")


def _degrees(turn: float) -> str:
    return f"{round(turn, 2) % 360.0:g}°"


def _turn(seat: Seat) -> str:
    """The turn of a block; of a clamp whose turn was worked out, to the degree: nobody sets it any finer."""
    if is_round(seat):
        return "any"
    return _degrees(float(round(seat.turn)) if seat.clamp and round(seat.turn, 1) != round(seat.turn, 6) else seat.turn)


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


def _top(job: Job, seat: Seat) -> str:
    """The highest point of the block itself over the table top."""
    heights = [float(b.box[1, 2]) for b in job.of_item(seat.name) if b.role in ("block", "clamp")]
    return show(max(heights), job.scene.units) if heights else ""


def _datum(job: Job, seat: Seat) -> str:
    """Where the axis of the tube lies over the table top, for a block that is made for one height of it."""
    centre = getattr(seat.part, "centre_height", None)
    if not isinstance(centre, int | float) or seat.face != "bottom" or seat.model_to_world[2, 2] < 0.999:
        return ""
    return f"tube middle at {show(float(seat.model_to_world[2, 3]) + centre, job.scene.units)}"


def _size(seat: Seat, units: Any, centre_shown: bool) -> str:
    """Of a clamp its own lengths, of a block its size over all and what else is not usual about it."""
    lengths = {
        name: float(getattr(seat.part, name))
        for name, parameter in parameters(type(seat.part)).items()
        if parameter.kind == "length"
    }
    if seat.clamp and lengths:
        # A length of 0 is something that this clamp does not have, such as a slot on the table's edge.
        given = {name.replace("_", " "): value for name, value in lengths.items() if value}
        return ", ".join(f"{name} {show_plain(value, units)}" for name, value in given.items())
    return "; ".join(
        [outer_size(seat.part, units), *_unusual(seat.part, units, ("centre_height",) if centre_shown else ())]
    )


def _pick_size(jobs: Sequence[Job], pick: Pick) -> str:
    """The size of a block on the rack, as in its row, and its hole pattern where that is not the table's."""
    job = next(job for job in jobs if pick.names[0] in job.seats)
    _, other, pattern = pick.size.partition("for holes of ")
    return _size(job.seats[pick.names[0]], job.scene.units, False) + (f"; {other}{pattern}" if other else "")


def _unusual(part: Part, units: Any, elsewhere: tuple[str, ...]) -> Iterator[str]:
    """The parameters that differ from the model's defaults and that nothing else in the row shows."""
    low, high = part.box()
    sides = [h - k for k, h in zip(low, high, strict=True)]
    for name, parameter in parameters(type(part)).items():
        value = float(getattr(part, name))
        usual = abs(value - parameter.resolved("default", part.pattern)) <= 1e-6
        shown = parameter.kind == "length" and any(abs(value - side) <= 1e-6 for side in sides)
        if not usual and not shown and name not in elsewhere:
            text = show_plain(value, units) if parameter.kind == "length" else f"{value:g}"
            yield f"{name.replace('_', ' ')} {text}" + (" degrees" if parameter.kind == "angle" else "")


def _most(jobs: Sequence[Job]) -> list[dict[str, Any]]:
    """Dowels, bolts and shims: as many as are in use at the same time at most."""
    most: dict[str, dict[str, Any]] = {}
    for job in jobs:
        for one in small_list(job):
            row = most.setdefault(one.what, {"count": 0, "what": one.what, "owned": one.owned, "short": 0})
            row["count"], row["short"] = max(row["count"], one.count), max(row["short"], one.short)
    return list(most.values())


def block_row(job: Job, seat: Seat) -> dict[str, Any]:
    """One block as the sheet lists it, without what it touches: `hole`, `turn`, `setting`, `shims`, `others`, ..."""
    return _row(job, seat, [])


def small_rows(job: Job) -> list[Mapping[str, Any]]:
    """Dowels, bolts and shims: `what`, and `count`."""
    return [{"what": one.what, "count": one.count} for one in small_list(job)]
