"""What the checks say, in the few lines that stand on the sheet."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby

from fixture3d.checks.base import Finding
from fixture3d.errors import one_line
from fixture3d.report import Report


def verdict(report: Report | None) -> str:
    """Whether to build from this sheet."""
    if report is None:
        return "The checks were not run for this sheet."
    crashed = _with_status(report, "crashed")
    fails, tolerated = report.count("fail"), len(report.accepted)
    bad = [f"{fails} failed"] if fails else []
    bad += [f"{', '.join(crashed)} stopped on a fault of the program"] if crashed else []
    if bad:
        return f"NOT READY: {'; '.join(bad)}. Do not build from this sheet."
    warns = report.count("warn")
    words = [f"READY: no check failed, {warns} warning{'' if warns == 1 else 's'}"]
    words += [f"{tolerated} finding{'' if tolerated == 1 else 's'} accepted"] if tolerated else []
    skipped = _with_status(report, "skipped")
    return ", ".join(words) + (f"; not run: {', '.join(skipped)}" if skipped else "") + "."


def _with_status(report: Report, status: str) -> list[str]:
    """Names of the checks that did not run, with the stage where there are several."""
    return [r.name + _of(report, [part.job.stage]) for part in report.each for r in part.results if r.status == status]


def _of(report: Report, stages: Sequence[str | None]) -> str:
    """The stages that something is said of; nothing on the sheet of one state."""
    return f" (stage {', '.join(str(stage) for stage in stages)})" if report.parts else ""


def failed(report: Report | None, most: int = 6) -> list[str]:
    """The failed checks in a line each, and how many more there are; first what stopped on a fault of the program."""
    if report is None:
        return []
    out = [
        one_line(f"{r.name}{_of(report, [part.job.stage])}: {r.status}: {r.why}")
        for part in report.each
        for r in part.results
        if r.status == "crashed"
    ]
    fails = [one for one in report.shared if one.finding.level == "fail"]
    found = [one_line(f"{_of_whom(one.finding)}{one.finding.message}{_of(report, one.stages)}") for one in fails]
    more = [f"and {len(found) - most} more: run the check to see them"] if len(found) > most else []
    return out + found[:most] + more


def _of_whom(finding: Finding) -> str:
    """The first name of a finding, where its message does not say it."""
    first = next(iter(finding.subjects), "")
    return "" if not first or first in finding.message else f"{first}: "


def accepted(report: Report | None) -> list[str]:
    """What was found and is accepted, a line for each reason."""
    if report is None:
        return []
    out = []
    for (rule, why), group in groupby(report.accepted, key=lambda a: (a.finding.rule, a.why)):
        same = list(group)
        names = "; ".join(dict.fromkeys(", ".join(a.finding.subjects) for a in same))
        times = f"{len(same)} × " if len(same) > 1 else ""
        out.append(one_line(f"accepted: {times}{rule} ({names}): {why}"))
    return out
