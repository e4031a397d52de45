"""The key figures as a section of the report: how true the work will be."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from fixture3d.checks.accuracy_words import departure, size
from fixture3d.errors import one_line
from fixture3d.report.report import Report

__all__ = ["figure_lines"]

_MOST = 8  # lines of figures; what is left out is said, with how much of what is allowed it takes
_ALIKE = 0.05  # share by which two sides may differ and be called plus or minus


def figure_lines(report: Report) -> Iterator[str]:
    """Head and lines of the section, worst first; nothing where no figure was found."""
    rows = report.figures("figures")
    if not rows:
        return
    usual = next((str(row["limits_by"]) for row in rows if not row["limits_stated"]), "")
    against = f" Held against {usual}, which the file does not ask for." if usual else ""
    yield f"Key figures, worst first: likely off, off at worst, allowed; what moves each most.{against}"
    ranked = sorted(rows, key=lambda row: (-use(row), row["name"]))
    width = min(34, max(len(one_line(str(row["name"]))) for row in ranked[:_MOST]))
    for row in ranked[:_MOST]:
        yield f"  {one_line(str(row['name'])):<{width}}  {_told(report, row)}"
    if len(ranked) > _MOST:
        share = use(ranked[_MOST])
        most = f", each likely within {max(1, round(100.0 * share))} % of what is allowed" if share > 0.0 else ""
        yield f"  and {len(ranked) - _MOST} more{most}"


def use(row: Mapping[str, Any]) -> float:
    """How much of what is allowed a figure is likely to take; 0 where nothing says what is."""
    if row["limits"] is None:
        return 0.0
    parts = [off / limit for off, limit in zip(row["likely"], row["limits"], strict=True) if off * limit > 0.0]
    inside = row["limits"][0] <= 0.0 <= row["limits"][1]
    return max([float(part) for part in parts], default=0.0) if inside else 2.0


def _told(report: Report, row: Mapping[str, Any]) -> str:
    units, unit, flat = report.job.scene.units, str(row["unit"]), row["kind"] == "flatness"

    def span(pair: Any) -> str:
        low, high = (float(v) for v in pair)
        if flat:
            return f"up to {_bare(departure(high, unit, units))}"
        if abs(low + high) <= _ALIKE * max(abs(low), abs(high)):
            return f"±{_bare(departure(max(-low, high), unit, units))}"
        return " to ".join(_signed(_bare(departure(one, unit, units))) for one in (low, high))

    drawn = "" if flat else f"{size(float(row['drawn']), unit, units, float(row['likely'][1]))}: "
    said = f"{drawn}likely {span(row['likely'])}, at worst {span(row['worst'])}"
    if row["limits"] is not None:
        said += f", allowed {span(row['limits'])}"
    said += f" {'degrees' if unit == 'degrees' else units}"
    if row["limits"] is not None and row["limits_stated"]:
        said += f" by {row['limits_by']}"
    if row["most_from"]:
        said += f"; {one_line(str(row['most_from'][0]['name']))}"
    if row["not_counted"]:
        said += "; what its stock may be off is not all counted"
    if row["spread"] is not None:
        said += f"; {_spread(row['spread'], span)}"
    return said


def _spread(drawn: Mapping[str, Any], span: Any) -> str:
    beyond = "" if drawn["beyond"] is None else f", {_share(drawn['beyond'], drawn['samples'])} beyond what is allowed"
    low, high = drawn["low"], drawn["high"]
    return f"in {drawn['samples']} imagined setups (seed {drawn['seed']}) {span((low, high))}{beyond}"


def _share(share: float, samples: int) -> str:
    """A share no finer than the number of setups tells."""
    if share == 0.0:
        return "none"
    return f"{100.0 * share:.{0 if samples < 1000 or share >= 0.1 else 1}f} %"


def _bare(text: str) -> str:
    return text.partition(" ")[0]


def _signed(text: str) -> str:
    return text if text.startswith(("-", "0.00")) else f"+{text}"
