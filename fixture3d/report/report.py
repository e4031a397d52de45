"""What the checks have to say about one scene, as data: for text, for JSON and for Python."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from fixture3d import __version__
from fixture3d.checks.base import Finding, Result
from fixture3d.job import Job, PlacedPad
from fixture3d.job.contact import FacePair, opposed_faces
from fixture3d.tolerance import SHOP
from fixture3d.units import show, show_plain, show_rough

SCHEMA = "fixture3d.report/1"
LEVELS = ("fail", "warn", "note")


@dataclass(frozen=True, kw_only=True)
class Accepted:
    """A finding that the scene tolerates, and why."""

    finding: Finding
    why: str


@dataclass(frozen=True, kw_only=True)
class Shared:
    """A finding, and the stages in which it is found alike; the point to look at may be another in each."""

    finding: Finding
    stages: list[str | None]


@dataclass(frozen=True, kw_only=True)
class Report:
    """The answer for one scene.

    Attributes:
        job: what was checked.
        results: one a check.
        findings: those that the scene does not accept, fails first, in a fixed order.
        accepted: the others.
        stale: accepted rules that nothing matched, in words.
        faces: opposed faces with work between them.
        parts: the reports of all stages, in the order of the work, when this one is of all of them; ``job`` is then
            that of the first.
        seconds: how long each check took; shown only when asked for.
    """

    job: Job
    results: tuple[Result, ...]
    findings: tuple[Finding, ...]
    accepted: tuple[Accepted, ...]
    stale: tuple[str, ...]
    faces: tuple[FacePair, ...]
    parts: tuple[Report, ...] = ()
    seconds: Mapping[str, float] = field(default_factory=dict)

    @property
    def each(self) -> tuple[Report, ...]:
        """The report of every stage; the report itself where there is only one."""
        return self.parts or (self,)

    @property
    def assumed(self) -> tuple[str, ...]:
        """What the file leaves open and was filled in, one sentence each."""
        if self.parts:
            return tuple(dict.fromkeys(sentence for part in self.parts for sentence in part.assumed))
        table, units = self.job.table, self.job.scene.units
        values = {
            "edge": f"edge {show(min(table.edge), units)} to the first hole" if table.edge else "",
            "thickness": f"table {show_plain(table.thickness, units)} thick" if table.thickness else "",
            "bore_limits": f"bores to {table.bore_limits}, dowels to {SHOP.pin_class}",
        }
        filled = [values[name] for name in table.assumed if values.get(name)]
        sentences = [f"Not in the file: {', '.join(filled)}."] if filled else []
        notes: dict[str, list[str]] = {}
        for piece in self.job.weldment.pieces if self.job.weldment is not None else ():
            for note in piece.notes:
                notes.setdefault(note, []).append(piece.name)
        sentences += [f"{', '.join(names)}: {note}" for note, names in notes.items()]
        whole = self.job.found.whole if self.job.found is not None else {}
        sentences += [
            f"{weld.name}: {show_rough(weld.length, units)} of {show_rough(whole[weld.name], units)} are run here, by "
            "part in the file; the rest is not checked"
            for weld in self.job.welds
            if weld.name in whole
        ]
        return tuple(sentences)

    @property
    def ready(self) -> bool:
        """Nothing failed and no check crashed."""
        return not self.crashed and all(f.level != "fail" for f in self.findings)

    @property
    def crashed(self) -> bool:
        """Some check stopped on a fault of the program."""
        return any(r.status == "crashed" for r in self.results)

    @property
    def complete(self) -> bool:
        """Every check ran."""
        return all(r.status == "ran" for r in self.results)

    @property
    def exit_code(self) -> int:
        """0 ready, 1 something failed, 3 a fault of the program."""
        return 3 if self.crashed else 0 if self.ready else 1

    def count(self, level: str) -> int:
        """How many findings of a level there are; one that is the same in several stages counts once."""
        return sum(one.finding.level == level for one in self.shared)

    @property
    def shared(self) -> tuple[Shared, ...]:
        """The findings, each with the stages in which it is found alike."""
        alike: dict[Any, list[Shared]] = {}
        out: list[Shared] = []
        for finding in self.findings:
            known = alike.setdefault(_said(finding), [])
            # Two of one stage stay two.
            found = next((one for one in known if finding.stage not in one.stages), None)
            if found is None:
                known.append(Shared(finding=finding, stages=[finding.stage]))
                out.append(known[-1])
            else:
                found.stages.append(finding.stage)
        return tuple(out)

    def figures(self, name: str) -> list[Mapping[str, Any]]:
        """One table of figures, whichever check made it."""
        return [row for result in self.results for row in result.figures.get(name, ())]

    def to_dict(self, timing: bool = False) -> dict[str, Any]:
        """The JSON report: lengths in mm, degrees, world frame; undefined is None, never NaN.

        Args:
            timing: add seconds a check. Without them the same input gives the same bytes.
        """
        from fixture3d.report.order import order_dict
        from fixture3d.report.shrinkage import shrinkage_dict

        parts = self.each
        out: dict[str, Any] = {
            "schema": SCHEMA,
            "version": __version__,
            "scene": self.job.scene.title or (self.job.scene.path.name if self.job.scene.path else ""),
            "size": self.job.scene.size,
            "units": "mm",
            "ok": self.ready,
            "complete": self.complete,
            "stages": None if self.job.stage is None else [stage_dict(part) for part in parts],
            "checks": [_at(part, check_dict(result)) for part in parts for result in part.results],
            "findings": [finding_dict(f) for f in self.findings],
            "accepted": [{**finding_dict(a.finding), "why": a.why} for a in self.accepted],
            **{
                name: [_at(part, row) for part in parts for row in part.figures(name)]
                for name in ("pairs", "seats", "clamps", "welds")
            },
            "pieces": [_at(part, row) for part in parts for row in piece_rows(part)],
            "whole": [_at(part, row) for part in parts for row in part.figures("whole")],
            **{
                name: [_at(part, row) for part in parts for row in part.figures(name)]
                for name in ("holding", "loading", "unloading", "figures")
            },
            "faces": [_at(part, face_dict(pair)) for part in parts for pair in part.faces],
            "pads": [_at(part, pad_dict(pad)) for part in parts for pad in part.job.pads()],
            "order": order_dict(parts),
            "shrinkage": shrinkage_dict(parts),
            "assumed": list(self.assumed),
        }
        recorded = [_at(part, row) for part in parts for row in part.figures("record")]
        if recorded:
            out["record"] = recorded
        if timing:
            out["timing"] = {name: round(value, 4) for name, value in self.seconds.items()}
        clean: dict[str, Any] = plain(out)
        return clean


def make_report(job: Job, results: Sequence[Result], seconds: Mapping[str, float]) -> Report:
    """Sort the findings, set aside what the scene accepts, and work out the opposed faces."""
    ranked = sorted(
        (replace(f, stage=job.stage) for r in results for f in r.findings),
        key=lambda f: (LEVELS.index(f.level), [r.name for r in results].index(f.check)),
    )
    kept: list[Finding] = []
    accepted: list[Accepted] = []
    used: set[int] = set()
    for finding in ranked:
        match = next(
            (
                k
                for k, a in enumerate(job.scene.accepts)
                if a.rule == finding.rule and _same_subjects(a.subjects, finding.subjects)
            ),
            None,
        )
        if match is None:
            kept.append(finding)
        else:
            used.add(match)
            accepted.append(Accepted(finding=finding, why=job.scene.accepts[match].why))
    stale = tuple(
        f"{a.rule} of {', '.join(a.subjects) or 'anything'}" for k, a in enumerate(job.scene.accepts) if k not in used
    )
    return Report(
        job=job,
        results=tuple(results),
        findings=tuple(kept),
        accepted=tuple(accepted),
        stale=stale,
        faces=tuple(opposed_faces(job)) if job.pieces() else (),
        seconds=dict(seconds),
    )


def together(parts: Sequence[Report]) -> Report:
    """One report of the reports of all stages, in the order of the work."""
    if len(parts) == 1:
        return parts[0]
    seconds: dict[str, float] = {}
    for part in parts:
        for name, value in part.seconds.items():
            seconds[name] = seconds.get(name, 0.0) + value
    return Report(
        job=parts[0].job,
        results=tuple(result for part in parts for result in part.results),
        findings=tuple(f for level in LEVELS for part in parts for f in part.findings if f.level == level),
        accepted=tuple(a for part in parts for a in part.accepted),
        stale=tuple(text for text in parts[0].stale if all(text in part.stale for part in parts)),
        faces=tuple(pair for part in parts for pair in part.faces),
        parts=tuple(parts),
        seconds=seconds,
    )


def _said(finding: Finding) -> Any:
    """All that is said of a finding, but for the point and the stage."""
    measured = None if finding.measured is None else round(finding.measured, 3)
    return replace(finding, at=None, stage=None, measured=measured)


def _same_subjects(accepted: Sequence[str], found: Sequence[str]) -> bool:
    """Whether an ``[[accept]]`` means a finding: it names some of its subjects, or lists all of them with others."""
    return set(accepted) <= set(found) or (bool(found) and set(found) <= set(accepted))


def _at(part: Report, row: Mapping[str, Any]) -> dict[str, Any]:
    """A row with the stage that it is of."""
    return {**row, "stage": part.job.stage}


def stage_dict(part: Report) -> dict[str, Any]:
    """What one stage consists of, by name."""
    job = part.job
    return {
        "name": job.stage,
        "ok": part.ready,
        "blocks": list(job.seats),
        "pieces": [body.name for body in job.pieces()],
        "welds": [weld.name for weld in job.scene.welds],
        "done": [weld.name for weld in job.scene.done],
        "joined": [list(group) for group in job.joined],
    }


def check_dict(result: Result) -> dict[str, Any]:
    """How one check ran."""
    return {
        "name": result.name,
        "status": result.status,
        "why": result.why,
        "not_covered": list(result.not_covered),
    }


def piece_rows(part: Report) -> Iterator[Mapping[str, Any]]:
    """Every piece in file order, with how it is located and whether it is held, each where that was found."""
    found = {row["name"]: row for row in part.figures("pieces")}
    held = held_of(part)
    keys = ("order", "rank", "free_motions", "contacts", "touches", "rests", "with")
    unknown = dict.fromkeys(keys)
    for body in part.job.pieces():
        yield {**found.get(body.name, {"name": body.name, **unknown}), "held": held.get(body.name)}


def held_of(part: Report) -> dict[str, bool | None]:
    """Of each piece, by name, whether it is held; None where that was not judged."""
    return {name: row["held"] for row in part.figures("holding") if not row["whole"] for name in row["pieces"]}


def face_dict(pair: FacePair) -> dict[str, Any]:
    """Two opposed faces, mm."""
    return {
        "a": pair.a,
        "pad_a": pair.pad_a,
        "b": pair.b,
        "pad_b": pair.pad_b,
        "distance": pair.distance,
        "between": list(pair.between),
        "stock": pair.stock,
    }


def finding_dict(finding: Finding) -> dict[str, Any]:
    """One finding as plain data, mm."""
    return {
        "check": finding.check,
        "rule": finding.rule,
        "level": finding.level,
        "subjects": list(finding.subjects),
        "message": finding.message,
        "measured": finding.measured,
        "limit": finding.limit,
        "unit": finding.unit,
        "at": list(finding.at) if finding.at is not None else None,
        "remedy": finding.remedy,
        "stage": finding.stage,
    }


def pad_dict(pad: PlacedPad) -> dict[str, Any]:
    """Where one face of a block is, world frame."""
    return {
        "block": pad.item,
        "face": pad.pad.name,
        "at": [float(v) for v in pad.at],
        "normal": [float(v) for v in pad.normal],
    }


def plain(value: Any) -> Any:
    """Plain data without NaN, infinities, numpy scalars or the noise of the last digits.

    Lengths are rounded to a millionth of a mm so that the same setup gives the same bytes on every machine.
    """
    if isinstance(value, Mapping):
        return {str(k): plain(v) for k, v in value.items()}
    if isinstance(value, bool) or value is None or isinstance(value, str):
        return value
    if isinstance(value, int):
        return int(value)
    if hasattr(value, "tolist"):
        return plain(value.tolist())
    if isinstance(value, float):
        return round(value, 6) + 0.0 if math.isfinite(value) else None
    if isinstance(value, Iterable):
        return [plain(v) for v in value]
    return str(value)
