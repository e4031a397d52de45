"""Hostile and unlucky input: one line, exit code 2, nothing written; never a traceback, a hang or a wrong answer."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import trimesh

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


WORK = '[weldment]\nhole = "E4"\nlift = 60\n'
MEMBER = '[[member]]\nname = "bar"\nstock = "SHS 40x40x3"\nfrom = [0, 0, 0]\nto = [0, 300, 0]\n'
PLATE = '[[plate]]\nname = "tab"\noutline = [[0, 0], [80, 0], [0, 80]]\nthickness = 6\n'
WELD = '[[weld]]\nname = "w"\ntype = "fillet"\nsize = 4\npath = [[0, 0, 0], [0, 40, 0]]\n'


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('format = 1\ntable = "2/(3/4) 96x48"\n', 'a table in inches wants units = "in"'),
        ("format = 1\n[table]\npitch = 50\nbore = 1e-12\ncolumns = 9\nrows = 9\n", "a wrong unit?"),
        (SCENE + WORK + PLATE.replace("6", "1e-12"), "a wrong unit?"),
        (SCENE + WORK + PLATE.replace("80", "0.01"), "a wrong unit?"),
        (SCENE + WORK + MEMBER.replace("300", "0.001"), "a wrong unit?"),
        (SCENE + WORK + MEMBER + WELD + "sides = [[0, 1, 0], [0, 0, 1]]\n", "looks along the weld"),
        (
            SCENE + WORK + MEMBER + WELD.replace("40, 0", "0.001, 0") + "sides = [[1, 0, 0], [0, 0, 1]]\n",
            "0.001 mm long",
        ),
        (SCENE + WORK + MEMBER.replace("[0, 0, 0]", '["3 furlong", 0, 0]'), "the units are mm, cm, m, in and ft"),
    ],
    ids=range(8),
)
def test_sizes_that_only_a_wrong_unit_explains(
    text: str, words: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert words in refused(["check", str(write(tmp_path, text))], capsys)


def test_a_table_that_cannot_be_read_judges_no_hole(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    scene = write(tmp_path, 'format = 1\ntable = "50/16 2e3x1000"\n' + STOP)
    assert "cannot be read" in refused(["check", str(scene)], capsys)


def box_mesh(scale: float = 1.0, away: float = 0.0) -> trimesh.Trimesh:
    mesh = trimesh.creation.box((40.0 * scale, 40.0 * scale, 400.0 * scale))
    mesh.apply_translation((away, 0.0, 0.0))
    return mesh


def flat_mesh() -> trimesh.Trimesh:
    mesh = box_mesh()
    return trimesh.Trimesh(mesh.vertices * (1, 1, 0), mesh.faces, process=False)


def twisted_mesh() -> trimesh.Trimesh:
    """A ball whose cap is mirrored: closed and evenly wound, its waist crosses itself."""
    ball = trimesh.creation.icosphere(3, 50.0)
    corners = ball.vertices.copy()
    corners[:, 0] = np.where(corners[:, 2] > 20.0, -corners[:, 0], corners[:, 0])
    return trimesh.Trimesh(corners, ball.faces, process=False)


@pytest.mark.parametrize(
    ("mesh", "words"),
    [
        (box_mesh(1e6), "a wrong unit?"),
        (box_mesh(1e-6), "a wrong unit?"),
        (box_mesh(1.0, 1e6), "a wrong unit?"),
        (flat_mesh(), "no volume"),
        (twisted_mesh(), "crosses itself"),
    ],
    ids=["huge", "tiny", "far", "flat", "twisted"],
)
def test_meshes_that_are_no_work(
    mesh: trimesh.Trimesh, words: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    mesh.export(tmp_path / "work.stl")
    scene = write(tmp_path, SCENE + '[weldment]\nhole = "E4"\nfile = "work.stl"\nunit = "mm"\n')
    assert words in refused(["check", str(scene)], capsys)


@pytest.mark.parametrize("size", [1e6, 0.1])
def test_a_step_file_of_the_wrong_size(size: float, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    import cadquery as cq

    cq.exporters.export(cq.Workplane().box(size, size, size), str(tmp_path / "work.step"))
    scene = write(tmp_path, SCENE + '[weldment]\nhole = "E4"\nfile = "work.step"\n')
    assert "a wrong unit?" in refused(["check", str(scene)], capsys)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["view", "kayak_rack", "--png", "a.jpg"], 'nearest: "a.png"'),
        (["sheet", "kayak_rack", "-o", "a.step"], 'nearest: "a.pdf"'),
        (["export", "kayak_rack", "-o", "a.stl"], 'nearest: "a.step"'),
        (["new", "a\u202eb.toml"], "a file name cannot hold \\u202e"),
        (["make", "riser", "height=50", "height=60"], "given twice"),
        (["make", "riser", "--table", "2/(3/4)"], "a wrong unit?"),
        (["explain", "two\nlines"], "two\\nlines"),
    ],
)
def test_commands_that_would_write_something_else_than_they_say(
    arguments: list[str],
    words: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    assert words in refused(arguments, capsys)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="this system has no device that is always full")
def test_a_full_disk_behind_the_output() -> None:
    with open("/dev/full", "wb") as full:
        run = subprocess.run(
            [sys.executable, "-m", "fixture3d", "models"], stdout=full, stderr=subprocess.PIPE, text=True, check=False
        )
    assert run.returncode == 2
    assert run.stderr == "fixture3d: the output cannot be written: no space left on the device\n"
