"""What a check is and what it returns: findings, figures, and what it did not look at."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Literal

if TYPE_CHECKING:
    from fixture3d.frame import Array
    from fixture3d.job import Job

Level = Literal["fail", "warn", "note"]
Unit = Literal["mm", "deg", "mm3", "%", "N", ""]
Progress = Callable[[str, int, int], None]
Point = tuple[float, float, float]


@dataclass(frozen=True, kw_only=True)
class Rule:
    """One thing that can be found, and its manual page.

    Attributes:
        name: kebab-case, stable: what ``[[accept]]`` and ``explain`` use.
        level: how serious it is.
        title: a few words.
        meaning: what it means on the table.
        cure: how to mend it.
    """

    name: str
    level: Level
    title: str
    meaning: str
    cure: str


@dataclass(frozen=True, kw_only=True)
class Finding:
    """One result of one check. Lengths are mm here, whatever the file's units.

    Attributes:
        check: the check's name.
        rule: the rule's name.
        level: ``fail``, ``warn`` or ``note``.
        subjects: what it is about, the item to change first.
        message: plain words without the figures of ``measured`` and ``limit``.
        measured: the figure found, or None.
        limit: what it is held against, or None.
        unit: of both.
        at: a point in the world to look at, mm, or None.
        remedy: what to do, naming the nearest thing that works.
        stage: of the setup, by name, in which it was found; None where the scene has none.
    """

    check: str
    rule: str
    level: Level
    subjects: tuple[str, ...]
    message: str
    measured: float | None = None
    limit: float | None = None
    unit: Unit = ""
    at: Point | None = None
    remedy: str = ""
    stage: str | None = None


Status = Literal["ran", "skipped", "crashed"]


@dataclass(frozen=True, kw_only=True)
class Result:
    """What one check has to say.

    Attributes:
        name: of the check.
        status: whether it ran.
        why: why it was skipped or how it crashed; empty when it ran.
        findings: in a fixed order.
        figures: tables for the report, by name: lists of plain dictionaries.
        not_covered: one sentence for each thing that it does not look at.
    """

    name: str
    status: Status
    why: str = ""
    findings: tuple[Finding, ...] = ()
    figures: Mapping[str, Sequence[Mapping[str, Any]]] = field(default_factory=dict)
    not_covered: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Check:
    """One check of the assembled job.

    Attributes:
        name: one word or two, as it stands in the report.
        rules: everything it can find.
        needs: says why the check cannot run on a job, or returns an empty string.
        run: the check itself.
        gist: in one line, what matters most of that which it never looks at.
        not_covered: one sentence for each thing that it never looks at, whatever the job.
    """

    name: str
    rules: tuple[Rule, ...]
    needs: Callable[[Job], str]
    run: Callable[[Job, Progress], Result]
    gist: str = ""
    not_covered: tuple[str, ...] = ()

    def rule(self, name: str) -> Rule:
        """The rule of that name; a check may only report rules that it declares."""
        return next(r for r in self.rules if r.name == name)

    def finding(self, rule: str, subjects: Sequence[str], message: str, **rest: Any) -> Finding:
        """A finding of one of this check's rules, at the rule's own level unless ``level`` is given."""
        declared = self.rule(rule)
        return Finding(
            check=self.name,
            rule=rule,
            level=rest.pop("level", declared.level),
            subjects=tuple(subjects),
            message=message,
            **rest,
        )


def neat(value: float) -> float:
    """A figure without the digits that mean nothing, mm or mm3."""
    return round(float(value), 6) + 0.0


def point(at: Array) -> Point:
    """A place in the world, (3,) mm, as a finding carries it."""
    x, y, z = (neat(v) for v in at)
    return x, y, z


def quiet(stage: str, done: int, total: int) -> None:
    """A progress function that shows nothing."""
