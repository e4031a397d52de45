"""Run every command that the README shows, and put its real output beneath it.

A block that begins with three backticks and ``console`` holds commands (lines that begin with ``$ ``) and what they
print. A ``toml`` block after a comment ``<!-- file: NAME -->`` is written to that file first. All of it runs in one
empty folder, from top to bottom.

Run as a program it rewrites the README; ``test_readme.py`` only compares.
"""

from __future__ import annotations

import re
import shlex
import tempfile
from pathlib import Path

from tests import warm_python

README = Path(__file__).resolve().parent.parent / "README.md"
_BLOCK = re.compile(r"(?:<!-- file: (?P<file>\S+) -->\n+)?```(?P<kind>\w+)\n(?P<body>.*?)```", re.S)


def fresh(text: str, folder: Path) -> str:
    """The README with every output replaced by what its command prints now."""
    out, last = [], 0
    for block in _BLOCK.finditer(text):
        if block["file"]:
            (folder / block["file"]).write_text(block["body"], encoding="utf-8")
        if block["kind"] == "console":
            out += [text[last : block.start("body")], _session(block["body"], folder)]
            last = block.end("body")
    return "".join([*out, text[last:]])


def commands(text: str) -> list[str]:
    """Every command of the README's console blocks, in order."""
    return [
        line[2:]
        for block in _BLOCK.finditer(text)
        if block["kind"] == "console"
        for line in block["body"].splitlines()
        if line.startswith("$ ")
    ]


def _session(body: str, folder: Path) -> str:
    lines = []
    for line in body.splitlines():
        if line.startswith("$ "):
            lines += [line, *_run(line[2:], folder)]
    return "\n".join(lines) + "\n"


def _run(command: str, folder: Path) -> list[str]:
    program, *words = shlex.split(command)
    assert program in ("python", "fixture3d"), command
    code, printed = warm_python.run(words if program == "python" else ["-m", "fixture3d", *words], folder)
    assert code in (0, 1, 2), printed
    return printed.splitlines()


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as name:
        before = README.read_text(encoding="utf-8")
        after = fresh(before, Path(name))
        README.write_text(after, encoding="utf-8", newline="\n")
        print("README unchanged" if after == before else "README rewritten")
