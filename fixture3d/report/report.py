"""What the checks have to say about one scene, as data: for text, for JSON and for Python."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from fixture3d import __version__
from fixture3d.checks.base import Finding, Result
from fixture3d.job import Job, PlacedPad
from fixture3d.job.contact import FacePair, opposed_faces
from fixture3d.tolerance import SHOP
from fixture3d.units import show

SCHEMA = "fixture3d.report/1"
LEVELS = ("fail", "warn", "note")


@dataclass(frozen=True, kw_only=True)
class Accepted:
    """A finding that the scene tolerates, and why."""

    finding: Finding
    why: str


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
        seconds: how long each check took; shown only when asked for.
    """

    job: Job
    results: tuple[Result, ...]
    findings: tuple[Finding, ...]
    accepted: tuple[Accepted, ...]
    stale: tuple[str, ...]
    faces: tuple[FacePair, ...]
    seconds: Mapping[str, float] = field(default_factory=dict)

    @property
    def assumed(self) -> tuple[str, ...]:
        """What the file leaves open and was filled in, one sentence each."""
        table, units = self.job.table, self.job.scene.units
        values = {
            "edge": f"edge {show(min(table.edge), units)} to the first hole" if table.edge else "",
            "thickness": f"table {show(table.thickness, units)} thick" if table.thickness else "",
            "bore_limits": f"bores to {table.bore_limits}, dowels to {SHOP.pin_class}",
        }
        filled = [values[name] for name in table.assumed if values.get(name)]
        sentences = [f"Not in the file: {', '.join(filled)}."] if filled else []
        notes: dict[str, list[str]] = {}
        for piece in self.job.weldment.pieces if self.job.weldment is not None else ():
            for note in piece.notes:
                notes.setdefault(note, []).append(piece.name)
        return (*sentences, *(f"{', '.join(names)}: {note}" for note, names in notes.items()))

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
        """How many findings of a level there are."""
        return sum(f.level == level for f in self.findings)

    def figures(self, name: str) -> list[Mapping[str, Any]]:
        """One table of figures, whichever check made it."""
        return [row for result in self.results for row in result.figures.get(name, ())]

    def to_dict(self, timing: bool = False) -> dict[str, Any]:
        """The JSON report: lengths in mm, degrees, world frame; undefined is None, never NaN.

        Args:
            timing: add seconds a check. Without them the same input gives the same bytes.
        """
        out: dict[str, Any] = {
            "schema": SCHEMA,
            "version": __version__,
            "scene": self.job.scene.title or (self.job.scene.path.name if self.job.scene.path else ""),
            "units": "mm",
            "ok": self.ready,
            "complete": self.complete,
            "checks": [
                {"name": r.name, "status": r.status, "why": r.why, "not_covered": list(r.not_covered)}
                for r in self.results
            ],
            "findings": [finding_dict(f) for f in self.findings],
            "accepted": [{**finding_dict(a.finding), "why": a.why} for a in self.accepted],
            "pairs": self.figures("pairs"),
            "seats": self.figures("seats"),
            "clamps": self.figures("clamps"),
            "welds": self.figures("welds"),
            "pieces": [
                {"name": body.name, "rank": None, "free_motions": None, "held": None} for body in self.job.pieces()
            ],
            "faces": [
                {
                    "a": f.a,
                    "pad_a": f.pad_a,
                    "b": f.b,
                    "pad_b": f.pad_b,
                    "distance": f.distance,
                    "between": list(f.between),
                    "stock": f.stock,
                }
                for f in self.faces
            ],
            "pads": [pad_dict(pad) for pad in self.job.pads()],
            "assumed": list(self.assumed),
        }
        if timing:
            out["timing"] = {name: round(value, 4) for name, value in self.seconds.items()}
        clean: dict[str, Any] = plain(out)
        return clean


def make_report(job: Job, results: Sequence[Result], seconds: Mapping[str, float]) -> Report:
    """Sort the findings, set aside what the scene accepts, and work out the opposed faces."""
    ranked = sorted(
        (f for r in results for f in r.findings),
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


def _same_subjects(accepted: Sequence[str], found: Sequence[str]) -> bool:
    """Whether an ``[[accept]]`` means a finding: it names some of its subjects, or lists all of them with others."""
    return set(accepted) <= set(found) or (bool(found) and set(found) <= set(accepted))


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
