"""Hostile and unlucky input: one line, exit code 2, nothing written; never a traceback, a hang or a wrong answer."""

from __future__ import annotations

from pathlib import Path

import pytest

from fixture3d.cli import main

MODEL = '''
from dataclasses import dataclass
from fixture3d.part import Part, Pin, part
from fixture3d.part import length as a_length


@part("{name}", made="milled from bar")
@dataclass(frozen=True, kw_only=True)
class Own(Part):
    """A model of the user's own."""

    length: float = a_length(100.0, low=10.0, high=200.0, help="end to end")

    def pins(self):
        {pins}

    def box(self):
        {box}

    def solid(self):
        import cadquery as cq
        {solid}
'''
GOOD = {
    "name": "own_block",
    "pins": 'return (Pin(name="1", at=(0.0, 0.0, 0.0), depth=20.0),)',
    "box": "return (-50.0, -25.0, 0.0), (50.0, 25.0, 30.0)",
    "solid": "return cq.Workplane().box(100, 50, 30).translate((0, 0, 15)).val()",
}
SCENE = 'format = 1\ntable = "50/16 1000x600"\n'
OWN = SCENE + '[[place]]\nname = "S1"\nmodel = "own_block"\nhole = "D4"\n'
STOP = '[[place]]\nname = "S1"\nmodel = "stop_block"\nhole = "C4"\n'


def write(folder: Path, text: str, name: str = "scene.toml") -> Path:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def refused(arguments: list[str], capsys: pytest.CaptureFixture[str], lines: int = 1) -> str:
    """The message of a command that must end with exit code 2, ``lines`` lines and no answer."""
    try:
        code = main(arguments)
    except SystemExit as stop:
        code = int(str(stop.code))
    captured = capsys.readouterr()
    assert code == 2, captured
    assert captured.out == ""
    assert len(captured.err.splitlines()) == lines, captured.err
    assert "fault of the program" not in captured.err
    return captured.err


def own(folder: Path, **changes: str) -> str:
    """A folder with one model of the user's own."""
    models = folder / "own"
    models.mkdir()
    write(models, MODEL.format(**{**GOOD, **changes}), "own_block.py")
    return str(models)


def test_a_model_of_ones_own_is_used(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    scene = write(tmp_path, OWN)
    assert main(["check", str(scene), "--models", own(tmp_path)]) == 0
    assert "READY: 0 fail" in capsys.readouterr().out
    assert '"own_block" is not known' in refused(["check", str(scene)], capsys)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"solid": 'raise RuntimeError("planted\\nfault")'}, "RuntimeError: planted\\nfault"),
        ({"solid": "raise SystemExit(0)"}, "SystemExit"),
        ({"solid": "return None"}, "not a solid"),
        ({"solid": "return cq.Shell.makeShell(cq.Workplane().box(9, 9, 9).faces().vals()[:5])"}, "no solid"),
        (
            {"solid": "b = cq.Solid.makeBox(9, 9, 9); return cq.Compound.makeCompound([b, b.translate((50, 0, 0))])"},
            "2 separate solids",
        ),
        ({"solid": "return cq.Workplane().box(100, 50, 30).val()"}, "expected the same"),
        ({"box": 'raise TypeError("no size")'}, "TypeError: no size"),
        ({"box": "return (0.0, 0.0, 0.0), (10.0, 10.0, 0.0)"}, "a least and a greatest corner"),
        ({"pins": 'raise ValueError("no pins")'}, "ValueError: no pins"),
        ({"pins": "return 7"}, "tuple of Pin"),
        ({"pins": 'return (Pin(name="1", at=(float("nan"), 0.0, 0.0), depth=20.0),)'}, "nan"),
        ({"name": "stop_block"}, "already in the library"),
    ],
)
@pytest.mark.parametrize("command", ["check", "make"])
def test_a_model_of_ones_own_that_fails(
    command: str, changes: dict[str, str], words: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    models = own(tmp_path, **changes)
    output = tmp_path / "out"
    output.mkdir()
    what = [str(write(tmp_path, OWN))] if command == "check" else ["own_block", "-o", str(output)]
    message = refused([command, *what, "--models", models], capsys)
    assert words in message
    assert "own" in message
    assert list(output.iterdir()) == []


@pytest.mark.parametrize("code", ["def broken(:", 'raise RuntimeError("one\\ntwo")', "raise SystemExit(0)"])
def test_a_model_file_that_cannot_be_run(code: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    write(tmp_path, code, "mine.py")
    assert "mine.py: cannot be run" in refused(["models", "--models", str(tmp_path)], capsys)
