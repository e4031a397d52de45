"""``explain`` and ``upgrade``: what a rule means, and an older file in the present format."""

from __future__ import annotations

import textwrap
from argparse import Namespace
from pathlib import Path

from fixture3d.commands.parsing import Commands, add_force, add_scene
from fixture3d.errors import FixtureError, nearest_name, one_line


def add(commands: Commands) -> None:
    """``explain`` and ``upgrade``."""
    explain = commands.add(
        "explain",
        run_explain,
        "say what a rule means on the table and how to cure it, or what a check leaves out",
        models=False,
    )
    explain.add_argument("rule", metavar="RULE", nargs="?", help="a rule or a check; left out: list all")

    upgrade = commands.add(
        "upgrade", run_upgrade, "bring an older scene file to the present format, comments kept", models=False
    )
    add_scene(upgrade)
    upgrade.add_argument("-o", "--output", metavar="FILE", type=Path, help="default: print it")
    add_force(upgrade)


def run_explain(options: Namespace) -> int:
    """``explain``: the manual page of one rule or check, or the list of all."""
    from fixture3d.checks import all_checks, all_rules

    rules = all_rules()
    checks = {check.name.replace(" ", "-"): check for check in all_checks()}
    if options.rule is None:
        for name, (check, rule) in sorted(rules.items()):
            print(f"{name:<22}{rule.level:<6}{check.name:<14}{rule.title}")
        print(f"\nchecks, each with what it leaves out: {', '.join(checks)}")
        return 0
    asked = checks.get("-".join(options.rule.split()))
    if asked is not None:
        print(f"{asked.name} (check). Not looked at: {asked.gist}.\n")
        for sentence in asked.not_covered:
            print(textwrap.fill(sentence, 90, initial_indent="- ", subsequent_indent="  ", break_on_hyphens=False))
        print(f"\nWhat it can find: {', '.join(sorted(rule.name for rule in asked.rules))}")
        return 0
    if options.rule not in rules:
        near = nearest_name(options.rule, [*rules, *checks])
        text = f'"{one_line(options.rule)}" is not a rule or a check; ' + (
            f"nearest: {near}" if near else "see: fixture3d explain"
        )
        raise FixtureError(text)
    check, rule = rules[options.rule]
    print(f"{rule.name} ({rule.level}, {check.name}): {rule.title}\n")
    print(textwrap.fill(rule.meaning, 90))
    print()
    print(textwrap.fill(f"Cure: {rule.cure}", 90))
    return 0


def run_upgrade(options: Namespace) -> int:
    """``upgrade``: print the file in the present format, or write it with ``-o``."""
    from fixture3d.output import write_text
    from fixture3d.scene.find import find
    from fixture3d.scene.read import read_text
    from fixture3d.scene.upgrade import upgrade

    file = str(find(options.scene))
    text = upgrade(read_text(file), file)
    if options.output is None:
        print(text, end="")
    else:
        print(write_text(options.output, text, force=options.force))
    return 0
