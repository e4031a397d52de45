"""What two reports find differently: findings by rule and subjects, and their figures."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Mapping
from typing import Final

from fixture3d.checks.base import Finding
from fixture3d.report import Report

_SHARE: Final = 0.01  # of a figure
_LEAST: Final = 0.01  # of its unit: no figure is shown finer
_COPY: Final = re.compile(r" [b-z](?= (?:front|back|left|right)(?: /|,|$)| /|,|$)")
Key = tuple[str, str, tuple[str, ...], str]


def differences(
    before: Report, after: Report, copies: int = 1, called: Mapping[str, str] | None = None
) -> tuple[str, ...]:
    """In sentences, what one report finds and the other does not, and figures that differ by more than a hundredth.

    Args:
        before: of the setup as it was.
        after: of the same setup elsewhere; stages by the same names.
        copies: how many of it there are then; those after the first are told by ``b``, ``c``, ... behind their names.
        called: what goes by a new name then, to its old one.
    """
    old, new = Counter(key for key, _ in _findings(before)), Counter(key for key, _ in _findings(after, called))
    if copies > 1:
        new = Counter({key: n for key, n in new.items() if _first(key) not in old or key in old})
    out = [f"no longer: {_words(key)}" for key in sorted((old - new).elements())]
    out += [f"new: {_words(key)}" for key in sorted((new - old).elements())]
    figures = {key: one for key, one in _findings(after, called)}
    for key, one in _findings(before):
        other = figures.get(key)
        if other is None or old[key] > 1 or one.measured is None or other.measured is None:
            continue
        if abs(one.measured - other.measured) > max(_LEAST, _SHARE * abs(one.measured)):
            out.append(f"{_words(key)}: {one.measured:.4g} {one.unit} before, {other.measured:.4g} {one.unit} now")
    return tuple(out)


def _findings(report: Report, called: Mapping[str, str] | None = None) -> Iterator[tuple[Key, Finding]]:
    names = called or {}
    for part in report.each:
        for one in part.findings:
            subjects = tuple(dict.fromkeys(names.get(name, name) for name in one.subjects))
            yield (one.level, one.rule, subjects, part.job.stage or ""), one


def _first(key: Key) -> Key:
    """The same finding of the first of several copies."""
    level, rule, subjects, stage = key
    return level, rule, tuple(_COPY.sub("", name) for name in subjects), stage


def _words(key: Key) -> str:
    level, rule, subjects, stage = key
    return f"{level.upper()} {rule}: {', '.join(subjects)}" + (f" (stage {stage})" if stage else "")
