"""The report as text: the verdict first, then what is wrong with its cure, then figures, then what was not checked."""

from __future__ import annotations

import textwrap
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from itertools import groupby
from typing import Any

import numpy as np

from fixture3d.access.position import in_words, turn_of_all
from fixture3d.checks import all_checks, all_rules
from fixture3d.checks.accuracy_words import departure
from fixture3d.checks.base import Finding
from fixture3d.errors import one_line
from fixture3d.job import PlacedPad
from fixture3d.report import LEVELS, Report, Shared
from fixture3d.report.figures_text import figure_lines
from fixture3d.report.holding import holding_lines
from fixture3d.report.order import HEAD, order_lines
from fixture3d.report.record_text import record_block
from fixture3d.report.shrinkage import shrinkage_lines
from fixture3d.report.unloading import unloading_lines
from fixture3d.tolerance import NUMERIC
from fixture3d.units import Units, show, show_fine, show_force, show_mass, show_rough, show_sizes

WIDTH = 100
_STAGES = 6  # names of stages in one line
_STAGED = (
    "stages: each is checked by itself. How the work is turned from one to the next, and what the welds before have "
    "drawn out of true, is not."
)
_OUT_OF = {  # so much of a length, and which of the two it is
    "weld-blocked": "{} is reached",
    "weld-partly-blocked": "{} is reached",
    "weld-restart": "the longest run is {}",
    "weld-unseen": "{} is not seen",
}
_SUMMARY = 6  # lines of the summary before the verdict
SCREEN = 40  # lines; of a longer report the head has scrolled off
_SHORT_LINES = 2  # that one entry of the summary takes at most
FACE_WORDS = {
    (1, 0, 0): "+X",
    (-1, 0, 0): "-X",
    (0, 1, 0): "+Y",
    (0, -1, 0): "-Y",
    (0, 0, 1): "+Z",
    (0, 0, -1): "-Z",
}


def to_text(
    report: Report, *, faces: bool = False, timing: bool = False, order: bool = False, shrinkage: bool = False
) -> str:
    """The whole report.

    Args:
        report: the answer.
        faces: print the place of every face; always done when there is no weldment.
        timing: add seconds a check.
        order: propose an order of tacks and welds.
        shrinkage: print the bands of each weld and cut length, and their rules.
    """
    blocks = text_blocks(report, faces=faces, timing=timing, order=order, shrinkage=shrinkage)
    return "\n\n".join(blocks) + "\n"


def text_blocks(
    report: Report,
    *,
    faces: bool = False,
    timing: bool = False,
    order: bool = False,
    shrinkage: bool = False,
    summary: bool = True,
) -> list[str]:
    """The parts of the report that have something to say, the verdict first.

    Args:
        report: the answer.
        faces: as for ``to_text``, and likewise timing, order and shrinkage.
        timing: add seconds a check.
        order: propose an order of tacks and welds.
        shrinkage: print the bands of each weld and cut length, and their rules.
        summary: of a long report, say the main thing once more at its end.
    """
    several = len(report.each) > 1
    blocks = [_verdict(report)]
    if several:
        blocks += _findings(report, [one for one in report.shared if len(one.stages) > 1])
    for number, part in enumerate(report.each, start=1):
        if several:
            blocks.append(_stage(part, number, len(report.each)))
        blocks += _findings(report, [one for one in report.shared if one.stages == [part.job.stage]])
        blocks += _welds(part)
        if order:
            blocks.append(
                "\n".join([HEAD, *(line for lead, said in order_lines(part) for line in _wrapped(said, lead))])
            )
        blocks += _pieces(part)
        blocks += holding_lines(part)
        blocks.append("\n".join(line for lead, said in unloading_lines(part) for line in _wrapped(said, lead)))
        blocks += _figures(part)
        blocks += _opposed(part)
        blocks.append("\n".join(line for lead, said in record_block(part) for line in _hung(f"{lead}{said}")))
        lines = shrinkage_lines(part, shrinkage)
        blocks.append("\n".join(line for lead, said in lines for line in _wrapped(said, lead)))
        if faces or not part.job.pieces():
            blocks += _faces(part)
    blocks += _accepted(report)
    blocks += _assumed(report)
    blocks += _not_checked(report)
    if summary and sum(block.count("\n") + 2 for block in blocks) > SCREEN:
        blocks += _in_short(report)
    if timing:
        blocks.append("\n".join(f"{name:<20}{value:8.3f} s" for name, value in report.seconds.items()))
    return [block for block in blocks if block]


def verdict(report: Report) -> str:
    """The first line: ``READY`` or ``NOT READY`` with counts."""
    counts = ", ".join(f"{report.count(level)} {level}" for level in LEVELS)
    if report.accepted:
        counts += f", {len(report.accepted)} accepted"
    word = "READY" if report.ready else "NOT READY"
    scene = report.job.scene
    name = one_line(scene.title or (scene.path.name if scene.path else "scene"))
    if report.job.stage is not None and not report.parts:
        name += f', stage "{one_line(report.job.stage)}" alone'
    return f"{word}: {counts} - {name}"


def _verdict(report: Report) -> str:
    lines = [verdict(report)]
    parts = report.each
    if len(parts) > 1:
        names = ", then ".join(f'"{one_line(str(part.job.stage))}"' for part in parts[:_STAGES])
        more = f", then {len(parts) - _STAGES} more" if len(parts) > _STAGES else ""
        lines += _wrapped(f"{len(parts)} stages: {names}{more}", "  ")
    else:
        lines += _consists_of(report)
    return "\n".join(lines + ([] if len(parts) > 1 else _did_not_run(report)))


def _stage(part: Report, number: int, of: int) -> str:
    """The head of what is said about one stage."""
    counts = ", ".join(f"{part.count(level)} {level}" for level in LEVELS)
    word = "ready" if part.ready else "NOT READY"
    head = f"Stage {number} of {of}: {one_line(str(part.job.stage))} ({word}: {counts})"
    return "\n".join([head, *_consists_of(part), *_did_not_run(part)])


def _consists_of(report: Report) -> list[str]:
    """What is on the table, and what is done by then."""
    job = report.job
    bits = [_many(len(job.seats), "block")]
    if job.pieces():
        bits.append(_many(len(job.pieces()), "piece"))
    if job.welds:
        total = sum(weld.length for weld in job.welds)
        bits.append(f"{_many(len(job.welds), 'weld')}, {show_rough(total, job.scene.units)} in all")
    lines = ["  " + "; ".join(bits), *_size(report)]
    if job.done:
        lines += _wrapped(f"welded before: {'; '.join(one_line(weld.name) for weld in job.done)}", "  ")
    for group in job.joined:
        lines += _wrapped(f"one piece by now: {'; '.join(one_line(name) for name in group)}", "  ")
    return lines


def _size(report: Report) -> list[str]:
    """How large and heavy the work is, so that a wrong unit of a file is seen at once."""
    job = report.job
    if not job.pieces() or job.weldment is None:
        return []
    boxes = [body.box for body in job.pieces()]
    size = np.max([box[1] for box in boxes], axis=0) - np.min([box[0] for box in boxes], axis=0)
    there = {body.item for body in job.pieces()}
    masses = [piece.mass for piece in job.weldment.pieces if piece.name in there]
    known = [mass for mass in masses if mass is not None]
    heavy = f", {show_mass(sum(known), job.scene.units)} if it is steel" if known and len(known) == len(masses) else ""
    return [f"  the work as it lies: {show_sizes([round(float(one), 1) for one in size], job.scene.units)}{heavy}"]


def _did_not_run(report: Report) -> list[str]:
    """One line for each reason, with the checks that it kept from running."""
    why: dict[str, list[str]] = {}
    for result in report.results:
        if result.status != "ran":
            why.setdefault(f"{result.status}: {one_line(result.why)}", []).append(result.name)
    return [line for said, names in why.items() for line in _wrapped(f"{', '.join(names)}: {said}", "  ")]


def _many(count: int, noun: str) -> str:
    return f"{count} {noun}{'' if count == 1 else 's'}"


def _findings(report: Report, found: Sequence[Shared]) -> Iterator[str]:
    """Some findings of a report, rule by rule."""
    units, of = report.job.scene.units, len(report.each)
    # Rules stand in the order in which the checks tell them: one cause of many findings comes before them.
    first: dict[str, int] = {}
    for number, one in enumerate(found):
        first.setdefault(one.finding.rule, number)
    for (level, rule), group in groupby(
        sorted(found, key=lambda one: (LEVELS.index(one.finding.level), first[one.finding.rule])),
        key=lambda one: (one.finding.level, one.finding.rule),
    ):
        title = all_rules()[rule][1].title
        lines = [f"{level.upper()}  {title}  [{rule}]"]
        for remedy, same in groupby(_worst_first(group), key=lambda one: one.finding.remedy):
            for one in same:
                said = f"{one_line(one.finding.message)}{measure(one.finding, units)}{_where(one.stages, of)}"
                lines += _wrapped(said, "  - ")
            if remedy:
                lines += _wrapped(f"mend: {one_line(remedy)}", "    ")
        yield "\n".join(lines)


def _where(stages: Sequence[str | None], of: int) -> str:
    """In which stages a finding is the same; nothing for one that is told in its own stage."""
    if len(stages) < 2:
        return ""
    if len(stages) == of:
        return " (in both stages)" if of == 2 else " (in every stage)"
    names = ", ".join(f'"{one_line(str(name))}"' for name in stages[:_STAGES])
    return f" (in stages {names}" + (f" and {len(stages) - _STAGES} more)" if len(stages) > _STAGES else ")")


def _worst_first(found: Iterable[Shared]) -> list[Shared]:
    def excess(finding: Finding) -> float:
        if finding.measured is None:
            return 0.0
        return -abs(finding.measured - (finding.limit or 0.0))

    return sorted(found, key=lambda one: (excess(one.finding), one.finding.subjects))


def measure(finding: Finding, units: Units) -> str:
    """Figure and limit of a finding as they stand behind its message; empty when there is none."""
    if finding.measured is None:
        return ""
    if finding.rule in _OUT_OF and finding.limit is not None:
        so_much = f"{show_rough(finding.measured, units)} of {show_rough(finding.limit, units)}"
        return f": {_OUT_OF[finding.rule].format(so_much)}"
    if finding.check == "accuracy":
        allowed = "" if finding.limit is None else f", allowed {departure(finding.limit, finding.unit, units)}"
        return f": {departure(finding.measured, finding.unit, units)}{allowed}"
    text = figure(finding.measured, finding.unit, units)
    if finding.limit is not None and (finding.limit != 0.0 or not finding.unit):
        text += f", limit {figure(finding.limit, finding.unit, units)}"
    return f": {text}"


def figure(value: float, unit: str, units: Units) -> str:
    """A figure of a finding in the file's units, no finer than it is worth."""
    if unit == "mm":
        return show_fine(value, units) if abs(value) < 25.4 else show(value, units)
    if unit == "mm3":
        return f"{_three(value / 25.4**3)} in3" if units == "in" else f"{_three(value)} mm3"
    if unit == "deg":
        return f"{value:.1f} degrees"
    if unit == "%":
        return f"{value:.0f} %"
    if unit == "N":
        return show_force(float(f"{value:.2g}"), units)
    return f"{value:g} {unit}".strip()


def _three(value: float) -> str:
    """Three figures that count, never in powers of ten."""
    return f"{float(f'{value:.3g}'):.10f}".rstrip("0").rstrip(".")


def _wrapped(text: str, lead: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=lead, subsequent_indent=" " * len(lead), break_long_words=False)


def _welds(report: Report) -> Iterator[str]:
    rows = report.figures("welds")
    if not rows:
        return
    units = report.job.scene.units
    lines = ["Welds, worst first: type, length that the torch reaches, and the best position"]
    ranked = sorted(rows, key=lambda w: ((w["reachable"] or 0.0) / (w["length"] or 1.0), w["name"]))
    width = min(34, max(len(one_line(str(w["name"]))) for w in rows))
    for weld in ranked:
        best = weld.get("best")
        line = f"  {one_line(str(weld['name'])):<{width}}  "
        line += f"{weld.get('type', 'weld')}, {show_rough(weld['reachable'] or 0.0, units)}"
        line += f" of {show_rough(weld['length'], units)}"
        if weld.get("restarts"):
            line += f" in {weld['restarts'] + 1} runs"
        line += _short_ends(weld.get("short_ends") or (), units)
        if best:
            line += (
                f"; work {best['work_angle']:.0f}, travel {best['travel_angle']:.0f} degrees"
                f", {show_fine(best['clearance'], units)} clear"
            )
        line += _lying(weld.get("position"))
        lines.append(line)
    example = next((text for text in (_by_turn(weld.get("position")) for weld in ranked) if text), "")
    if example:
        how, _, turn = example.partition(" by ")
        axis, _, angle = turn.partition(" ")
        lines += _wrapped(f"({example}: {how} once the work is turned {angle} degrees about the table's {axis})", "  ")
    lines += _turn_of_all(report, {str(weld["name"]) for weld in ranked if weld.get("position") is not None})
    yield "\n".join(lines)


def _short_ends(ends: Sequence[Mapping[str, Any]], units: Units) -> str:
    """The ends of a weld that the bead may leave out, each with its length."""
    said = ""
    for end in ends:
        where = f"{show_rough(end['length'], units)} at its {end['end']} end"
        said += f", {where} in a run of its own" if end["reached"] else f", without {where}"
    return said


def _turn_of_all(report: Report, names: Collection[str]) -> list[str]:
    """The turn of the whole work that would bring much of the weld length into an easier position."""
    found = turn_of_all([weld for weld in report.job.welds if weld.name in names])
    if found is None:
        return []
    units, turn = report.job.scene.units, found.turn
    return _wrapped(
        f"Turned {turn.angle:.0f} degrees about the table's {turn.axis}, {show_rough(turn.length, units)} of all "
        f"{show_rough(found.total, units)} would lie {'flat' if found.flat else 'flat or horizontal'}; as the work "
        f"lies {show_rough(found.now, units)} do. Whether it can be held and reached so is not checked.",
        "  ",
    )


def _lying(position: Mapping[str, Any] | None) -> str:
    """How a weld lies, ISO 6947 and AWS, and how the work would have to be turned to run it flat or level."""
    if position is None:
        return ""
    text = f"; {in_words(position)}"
    return text + (f" ({_by_turn(position)})" if _by_turn(position) else "")


def _by_turn(position: Mapping[str, Any] | None) -> str:
    """The easier position of a weld that is neither flat nor a level fillet, and the turn that makes it so."""
    if position is None or position["iso"] in ("PA", "PB") or position["turn"] is None:
        return ""
    turn = position["turn"]
    return f"{turn['iso']} by {turn['axis']} {turn['angle']:.0f}"


def _pieces(report: Report) -> Iterator[str]:
    """How each piece is located, in the order of laying in, those that can still move first."""
    rows = [row for row in report.figures("pieces") if row["name"] not in _later(report)]
    if not rows:
        return
    lines = ["Pieces, those that can still move first, then as they go in: what they lie against"]
    width = min(34, max(len(one_line(str(row["name"]))) for row in rows))
    for row in sorted(rows, key=lambda row: (row["rests"] and not _moves(row), row["order"])):
        name = one_line(str(row["name"])) + (f" + {len(row['with'])}" if row["with"] else "")
        by = ", ".join(one_line(str(one)) for one in row["contacts"]) or "nothing"
        state = "does not lie still" if not row["rests"] else "can still move" if _moves(row) else "one place"
        lines += _wrapped(f"{row['order']}  {name:<{width}}  {state}: {by}", "  ")
    yield "\n".join(lines)


def _later(report: Report) -> set[str]:
    """Pieces that are one with a piece named before them."""
    out: set[str] = set()
    for row in report.figures("pieces"):
        if row["name"] not in out:
            out |= set(row["with"])
    return out


def _moves(row: Mapping[str, Any]) -> bool:
    return any(motion["kind"] == "free" for motion in row["free_motions"])


def _opposed(report: Report) -> Iterator[str]:
    if not report.faces:
        return
    units = report.job.scene.units
    lines = ["Between opposed faces: distance, and the work that lies between"]
    for pair in report.faces:
        names = ", ".join(one_line(n) for n in pair.between)
        slack = pair.distance - pair.stock
        ends = one_line(f"{pair.a} {pair.pad_a} to {pair.b} {pair.pad_b}")
        lines.append(
            f"  {ends}: {show(pair.distance, units)}; "
            f"{names} {show(pair.stock, units)}, {show_fine(slack, units)} to spare"
        )
    yield "\n".join(lines)


def _faces(report: Report) -> Iterator[str]:
    pads = report.job.pads()
    if not pads:
        return
    units = report.job.scene.units
    lines = ["Faces, from the centre of hole A1 and the table top"]
    lines += [f"  {one_line(f'{pad.item} {pad.pad.name}')}: {face_place(pad, units)}" for pad in pads]
    yield "\n".join(lines)


def face_place(pad: PlacedPad, units: Units) -> str:
    """Where a face is: the one coordinate that matters for a face along an axis, else its centre and direction."""
    normal = tuple(round(float(v), 6) for v in pad.normal)
    word = next((w for axis, w in FACE_WORDS.items() if normal == tuple(float(a) for a in axis)), None)
    x, y, z = (show(float(v), units) for v in pad.at)
    if word is None:
        nx, ny, nz = (f"{v:.3f}" for v in normal)
        return f"centre x {x}, y {y}, z {z}, facing ({nx}, {ny}, {nz})"
    axis = "XYZ".index(word[1])
    if axis == 2:
        side = "up" if word[0] == "+" else "down"
        return f"z = {(x, y, z)[2]}, facing {side}; centre x {x}, y {y}"
    return f"{word[1].lower()} = {(x, y, z)[axis]}, facing {word}; centre height {z}"


def _accepted(report: Report) -> Iterator[str]:
    lines = [
        f"  {a.finding.level} {a.finding.rule}: {one_line(a.finding.message)} - {one_line(a.why)}"
        for a in report.accepted
    ]
    if report.parts:
        lines = list(dict.fromkeys(lines))
    if report.parts or len(report.job.scene.whole.stages) < 2:  # else another stage may have it
        lines += [f"  nothing matches any more: {one_line(text)}; take it out of the file" for text in report.stale]
    if lines:
        yield "Accepted in the file\n" + "\n".join(lines)


def _assumed(report: Report) -> Iterator[str]:
    lines = [line for sentence in report.assumed for line in _wrapped(one_line(sentence), "  - ")]
    if lines:
        yield "Taken as given\n" + "\n".join(lines)


def _in_short(report: Report) -> Iterator[str]:
    """What stands on the screen when all else has scrolled off: the welds, the worst finding, the verdict."""
    rows = [row for part in report.each for row in part.figures("welds") if row["reachable"] is not None]
    worst = [one for one in report.shared if one.finding.level in ("fail", "warn")]
    if not rows and not worst:
        return
    lines = ["In short"]
    if rows:
        none = [row for row in rows if row["reachable"] <= NUMERIC.merge]
        whole = [row for row in rows if row["reachable"] >= row["length"] - NUMERIC.merge]
        some = len(rows) - len(none) - len(whole)
        said = (f"{len(whole)} reached whole", f"{some} in part" if some else "", f"{len(none)} not at all")
        kept = ", ".join(one for one in said[: 3 if none else 2] if one)
        lines += _wrapped(f"{_many(len(rows), 'weld')}: {kept}", "  ")
    if worst:
        first = min(worst, key=lambda one: (LEVELS.index(one.finding.level), worst.index(one))).finding
        units = report.job.scene.units
        lines += _cut(_wrapped(f"first: {one_line(first.message)}{measure(first, units)}", "  "))
        mend = next((part for part in one_line(first.remedy).split("; ") if part), "")
        lines += _cut(_wrapped(f"mend: {mend}", "    ")) if mend else []
    yield "\n".join([*lines[:_SUMMARY], verdict(report)])


def _figures(report: Report) -> Iterator[str]:
    """How true the work will be."""
    lines = [line for said in figure_lines(report) for line in _hung(said)]
    if lines:
        yield "\n".join(lines)


def _hung(said: str) -> list[str]:
    """A line of a table, its rest further in."""
    return textwrap.wrap(said, WIDTH, subsequent_indent="      ", break_long_words=False)


def _cut(lines: list[str]) -> list[str]:
    """The first lines of a text, with a mark where more was said above."""
    return lines if len(lines) <= _SHORT_LINES else [*lines[: _SHORT_LINES - 1], lines[_SHORT_LINES - 1] + " ..."]


def _not_checked(report: Report) -> Iterator[str]:
    """What no check looked at: of each its gist, and in full what holds for this setup only."""
    known = {check.name: (check.gist, check.not_covered) for check in all_checks()}
    lines = []
    skipped: dict[str, list[str]] = {}
    for name in dict.fromkeys(result.name for result in report.results):
        same = [(part.job.stage, r) for part in report.each for r in part.results if r.name == name]
        for stage, result in same:
            if result.status == "skipped":
                where = f'stage "{one_line(str(stage))}": ' if report.parts else ""
                skipped.setdefault(f"{where}{result.why}", []).append(name)
        gist, standing = known.get(name, ("", ()))
        left_out = dict.fromkeys(s for _, result in same for s in result.not_covered if s not in standing)
        if any(result.status == "ran" for _, result in same) and (gist or left_out):
            said = " ".join(([f"{gist}."] if gist else []) + list(left_out))
            lines += _wrapped(f"{name}: {said}", "  - ")
    for why, names in skipped.items():
        lines += _wrapped(f"{', '.join(names)}: {why}", "  - ")
    if report.job.stage is not None:
        lines += _wrapped(_STAGED, "  - ")
    lines += _wrapped(
        "All that a check leaves out: explain NAME, as in explain seating. Planning help, not an approved procedure: "
        "local codes and qualified people come first.",
        "  - ",
    )
    yield "Not checked\n" + "\n".join(lines)
