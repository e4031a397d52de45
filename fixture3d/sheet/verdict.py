"""What the checks say, in the few lines that stand on the sheet."""

from __future__ import annotations

from itertools import groupby

from fixture3d.errors import one_line
from fixture3d.report import Report


def verdict(report: Report | None) -> str:
    """Whether to build from this sheet."""
    if report is None:
        return "The checks were not run for this sheet."
    crashed = [r.name for r in report.results if r.status == "crashed"]
    fails, tolerated = report.count("fail"), len(report.accepted)
    bad = [f"{fails} failed"] if fails else []
    bad += [f"{', '.join(crashed)} stopped on a fault of the program"] if crashed else []
    if bad:
        return f"NOT READY: {'; '.join(bad)}. Do not build from this sheet."
    warns = report.count("warn")
    words = [f"READY: no check failed, {warns} warning{'' if warns == 1 else 's'}"]
    words += [f"{tolerated} finding{'' if tolerated == 1 else 's'} accepted"] if tolerated else []
    skipped = [r.name for r in report.results if r.status == "skipped"]
    return ", ".join(words) + (f"; not run: {', '.join(skipped)}" if skipped else "") + "."


def failed(report: Report | None, most: int = 6) -> list[str]:
    """The failed checks in a line each, and how many more there are; first what stopped on a fault of the program."""
    if report is None:
        return []
    out = [one_line(f"{r.name}: {r.status}: {r.why}") for r in report.results if r.status == "crashed"]
    found = [one_line(f"{', '.join(f.subjects)}: {f.message}") for f in report.findings if f.level == "fail"]
    more = [f"and {len(found) - most} more: run the check to see them"] if len(found) > most else []
    return out + found[:most] + more


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
