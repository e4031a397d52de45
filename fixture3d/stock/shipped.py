"""Rows of the tables that the package ships as CSV. Their first line names the source."""

from __future__ import annotations

import csv
from importlib.resources import files


def source(name: str) -> str:
    """The line that names where the table comes from."""
    return _lines(name)[0].lstrip("# ")


def rows(name: str) -> list[dict[str, str]]:
    """The table as one mapping a row, column name to text."""
    return list(csv.DictReader(_lines(name)[1:]))


def _lines(name: str) -> list[str]:
    return (files(__package__) / name).read_text(encoding="utf-8").splitlines()
