"""The answer for one scene, as data, as JSON and as text."""

from fixture3d.report.report import LEVELS, SCHEMA, Accepted, Report, Shared, make_report, plain, together

__all__ = ["LEVELS", "SCHEMA", "Accepted", "Report", "Shared", "make_report", "plain", "together"]
