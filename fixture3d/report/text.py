"""The report as text: the verdict first, then what is wrong with its cure, then figures, then what was not checked."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from itertools import groupby

from fixture3d.checks import all_rules
from fixture3d.checks.base import Finding
from fixture3d.errors import one_line
from fixture3d.job import PlacedPad
from fixture3d.report import LEVELS, Report
from fixture3d.units import Units, show, show_fine, show_rough

WIDTH = 100
FACE_WORDS = {
    (1, 0, 0): "+X",
    (-1, 0, 0): "-X",
    (0, 1, 0): "+Y",
    (0, -1, 0): "-Y",
    (0, 0, 1): "+Z",
    (0, 0, -1): "-Z",
}


def to_text(report: Report, *, faces: bool = False, timing: bool = False) -> str:
    """The whole report.

    Args:
        report: the answer.
        faces: print the place of every face; always done when there is no weldment.
        timing: add seconds a check.
    """
    blocks = [_verdict(report), *_findings(report)]
    blocks += _welds(report)
    blocks += _opposed(report)
    if faces or not report.job.pieces():
        blocks += _faces(report)
    blocks += _accepted(report)
    blocks += _assumed(report)
    blocks += _not_checked(report)
    if timing:
        blocks.append("\n".join(f"{name:<20}{value:8.3f} s" for name, value in report.seconds.items()))
    return "\n\n".join(b for b in blocks if b) + "\n"


def verdict(report: Report) -> str:
    """The first line: ``READY`` or ``NOT READY`` with counts."""
    counts = ", ".join(f"{report.count(level)} {level}" for level in LEVELS)
    if report.accepted:
        counts += f", {len(report.accepted)} accepted"
    word = "READY" if report.ready else "NOT READY"
    scene = report.job.scene
    name = one_line(scene.title or (scene.path.name if scene.path else "scene"))
    return f"{word}: {counts} - {name}"


def _verdict(report: Report) -> str:
    lines = [verdict(report)]
    job = report.job
    bits = [_many(len(job.seats), "block")]
    if job.pieces():
        bits.append(_many(len(job.pieces()), "piece"))
    if job.welds:
        total = sum(weld.length for weld in job.welds)
        bits.append(f"{_many(len(job.welds), 'weld')}, {show_rough(total, job.scene.units)} in all")
    lines.append("  " + "; ".join(bits))
    if job.pieces():
        lines.append("  not judged yet: whether each piece is located and held, and whether the work comes out again")
    for result in report.results:
        if result.status != "ran":
            lines.append(f"  {result.name}: {result.status}: {one_line(result.why)}")
    return "\n".join(lines)


def _many(count: int, noun: str) -> str:
    return f"{count} {noun}{'' if count == 1 else 's'}"


def _findings(report: Report) -> Iterator[str]:
    units = report.job.scene.units
    # Rules stand in the order in which the checks tell them: one cause of many findings comes before them.
    first: dict[str, int] = {}
    for number, finding in enumerate(report.findings):
        first.setdefault(finding.rule, number)
    for (level, rule), group in groupby(
        sorted(report.findings, key=lambda f: (LEVELS.index(f.level), first[f.rule])),
        key=lambda f: (f.level, f.rule),
    ):
        found = list(group)
        title = all_rules()[rule][1].title
        lines = [f"{level.upper()}  {title}  [{rule}]"]
        for remedy, same in groupby(_worst_first(found), key=lambda f: f.remedy):
            for finding in same:
                lines += _wrapped(f"{one_line(finding.message)}{measure(finding, units)}", "  - ")
            if remedy:
                lines += _wrapped(f"mend: {one_line(remedy)}", "    ")
        yield "\n".join(lines)


def _worst_first(findings: list[Finding]) -> list[Finding]:
    def excess(finding: Finding) -> float:
        if finding.measured is None:
            return 0.0
        return -abs(finding.measured - (finding.limit or 0.0))

    return sorted(findings, key=lambda f: (excess(f), f.subjects))


def measure(finding: Finding, units: Units) -> str:
    """Figure and limit of a finding as they stand behind its message; empty when there is none."""
    if finding.measured is None:
        return ""
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
    lines = ["Welds, worst first: length that the torch reaches, and the best position"]
    ranked = sorted(rows, key=lambda w: ((w["reachable"] or 0.0) / (w["length"] or 1.0), w["name"]))
    width = min(34, max(len(one_line(str(w["name"]))) for w in rows))
    for weld in ranked:
        best = weld.get("best")
        line = f"  {one_line(str(weld['name'])):<{width}}  "
        line += f"{show_rough(weld['reachable'] or 0.0, units)} of {show_rough(weld['length'], units)}"
        if best:
            line += (
                f"; work {best['work_angle']:.0f}, travel {best['travel_angle']:.0f} degrees"
                f", {show_fine(best['clearance'], units)} clear"
            )
        lines.append(line)
    yield "\n".join(lines)


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
    lines += [f"  nothing matches any more: {one_line(text)}; take it out of the file" for text in report.stale]
    if lines:
        yield "Accepted in the file\n" + "\n".join(lines)


def _assumed(report: Report) -> Iterator[str]:
    lines = [line for sentence in report.assumed for line in _wrapped(one_line(sentence), "  - ")]
    if lines:
        yield "Taken as given\n" + "\n".join(lines)


def _not_checked(report: Report) -> Iterator[str]:
    lines = []
    for result in report.results:
        if result.status == "skipped":
            lines += _wrapped(f"{result.name}: {result.why}", "  - ")
        if result.not_covered:
            lines += _wrapped(f"{result.name}: {' '.join(result.not_covered)}", "  - ")
    if report.job.scene.stages:
        lines += _wrapped("[[stage]] is read but not checked: one state of the setup is looked at.", "  - ")
    lines += _wrapped(
        "Locating, clamping forces, loading order, shrinkage: not part of this version. Planning help, not an "
        "approved procedure: local codes and qualified people come first.",
        "  - ",
    )
    yield "Not checked\n" + "\n".join(lines)
