"""The README is true: each command that it shows is run, and prints just what stands there."""

from __future__ import annotations

import difflib
import re
from pathlib import Path

from tests.readme_tour import README, commands, fresh

TEXT = README.read_text(encoding="utf-8")


def test_every_output_in_the_readme_is_real(tmp_path: Path) -> None:
    now = fresh(TEXT, tmp_path)
    difference = "\n".join(difflib.unified_diff(TEXT.splitlines(), now.splitlines(), "README.md", "now", lineterm=""))
    assert not difference, f"run: python -m tests.readme_tour\n{difference}"


def test_the_tour_shows_every_command() -> None:
    from fixture3d.cli import parser

    known = {name for action in parser()._actions for name in action.choices or ()}
    shown = {words[1] for words in (c.split() for c in commands(TEXT)) if words[0] == "fixture3d"}
    interactive = {"watch"}  # it ends only when it is stopped; test_cli runs it
    assert known - shown - interactive == set()


def test_the_two_commands_are_marked_for_ci() -> None:
    for name in ("main-command", "test-command"):
        assert len(re.findall(rf"<!-- {name} -->\s*```sh\n(.+?)```", TEXT, re.S)) == 1


def test_links_and_pictures_exist() -> None:
    for target in re.findall(r"\]\(([^)#]+)\)", TEXT):
        if "://" not in target:
            assert (README.parent / target).exists(), target
