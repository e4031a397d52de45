"""Models of the user's own: the file to start from works, and what is wrong with a model is said in words.

Also files of every shipped model in every format: a share here, thousands with FIXTURE3D_LONG=1.
"""

from __future__ import annotations

import io
import itertools
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import ezdxf
import pytest
import trimesh

from fixture3d.cache import Store
from fixture3d.cli import main
from fixture3d.corners import proofs
from fixture3d.corners.built import Built
from fixture3d.corners.cases import PATTERNS, cases, values
from fixture3d.corners.tried import in_words, try_model
from fixture3d.export.block import FORMATS
from fixture3d.export.orders import read_orders
from fixture3d.job.bodies import part_key
from fixture3d.library import library
from fixture3d.solid import kernel
from fixture3d.solid.shape import Shape
from fixture3d.starter import model_starter
from fixture3d.tolerance import NUMERIC
from fixture3d.workshop import making
from fixture3d.workshop.making import Block, Form
from fixture3d.workshop.orders import write_orders
from tests.test_step_export import read_back

LONG = bool(os.environ.get("FIXTURE3D_LONG"))
STARTER = model_starter(Path("rest.py"), frozenset())


def block_of(folder: Path, text: str) -> Built:
    """The model in a text, at its defaults."""
    (folder / "rest.py").write_text(text, encoding="utf-8")
    return Built.of(library([folder]).make("rest", PATTERNS["50/16"]))


def test_the_starter_works_and_passes(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "wall_rest.py"
    assert main(["new", "model", str(file)]) == 0
    capsys.readouterr()
    assert main(["models", "--test", str(tmp_path)]) == 0
    assert capsys.readouterr().out == "wall_rest: 16 blocks built on 4 hole patterns, nothing wrong\n"
    assert main(["models", "wall_rest", "--models", str(tmp_path)]) == 0
    assert "table to the ledge that work lies on" in capsys.readouterr().out
    assert main(["make", "wall_rest", "--models", str(tmp_path), "--format", "3mf", "-o", str(tmp_path)]) == 0
    assert main(["new", "model", str(file)]) == 2
    assert "add --force" in capsys.readouterr().err
    done = subprocess.run(
        [sys.executable, "-m", "ruff", "check", "-q", "--isolated", "--line-length", "120", str(file)],
        capture_output=True, text=True,
    )  # fmt: skip
    assert done.stdout == ""


@pytest.mark.parametrize(
    ("name", "told"),
    [("stop_block.py", "my_stop_block.py"), ("My Rest.py", "my_rest.py"), ("3.py", "my_3.py"),
     ("class.py", "my_class.py"), ("rest.txt", "rest.py")],
)  # fmt: skip
def test_names_that_no_model_can_have(tmp_path: Path, capsys: pytest.CaptureFixture[str], name: str, told: str) -> None:
    assert main(["new", "model", str(tmp_path / name)]) == 2
    error = capsys.readouterr().err
    assert told in error
    assert error.count("\n") == 1
    assert not list(tmp_path.iterdir())


FAULTS = {
    "a bore that is not drilled": ("block = block.cut(drill)", "pass", "pins", "runs into its main body"),
    "too narrow": ("bore / 2.0, self.ledge + 2.0", "bore / 2.1, self.ledge + 2.0", "pins", "too narrow or not so deep"),
    "too wide": ("bore / 2.0, self.ledge + 2.0", "bore / 1.9, self.ledge + 2.0", "pins", "is wider than the hole"),
    "no steel": ("return pattern.neat(pattern.bore)", "return 0.6 * pattern.bore", "pins",
                 "mm of steel beside it along X"),
    "off the origin": ("k * self.pattern.pitch, 0.0, ", "k * self.pattern.pitch + 1.0, 0.0, ", "pins",
                       "expected (0, 0, 0)"),
    "off the grid": ("k * self.pattern.pitch, 0.0, ", "k * (self.pattern.pitch + 1.5), 0.0, ", "pins",
                     "bore 2 of the bottom is 1.5 mm off the holes of the table when bore 1 stands in one"),
    "twice one name": ("through(str(k + 1)", 'through("1"', "pins", "two pins of one face have one name: 1"),
    "no pins": ('if end.face == "bottom"', 'if end.face == "left"', "pins", "nothing holds it"),
    "floating": ("top, cq.Vector(x0, self._wall(), 0.0)", "top, cq.Vector(x0, self._wall(), 1.0)", "solids",
                 "box() says"),
    "hidden": ("return block.Solids()[0]", "return block", "solids", "is a Compound"),
    "pad in the air": ("(self.ledge + top) / 2.0", "top", "pads", 'pad "wall" has no steel behind it'),
    "pad inside": ("at=(middle, wall,", "at=(middle, wall + 1,", "pads", 'pad "wall" has steel before it'),
    "pad askew": ("along=(1.0, 0.0, 0.0)", "along=(0.8, 0.0, 0.6)", "pads", "along must be square to normal"),
    "a socket that is not": (
        "        return ()", '        return (Socket(name="1", at=(10.0, 0.0, self.ledge), depth=5.0),)', "sockets",
        "stands neither over a bore",
    ),
}  # fmt: skip


@pytest.mark.parametrize("fault", FAULTS)
def test_each_planted_fault_is_said_in_words(tmp_path: Path, fault: str) -> None:
    old, new, proof, told = FAULTS[fault]
    assert old in STARTER
    block = block_of(tmp_path, STARTER.replace(old, new))
    found = list(proofs.ALL[proof](block))
    assert any(told in sentence for sentence in found), found
    assert all(len(sentence) < 200 and "\n" not in sentence for sentence in found)


def test_the_starter_has_none_of_them(tmp_path: Path) -> None:
    block = block_of(tmp_path, STARTER)
    assert {name: list(proof(block)) for name, proof in proofs.ALL.items()} == {name: [] for name in proofs.ALL}


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        (
            "block = foot.fuse(wall).clean()",
            "block = foot.fuse(wal).clean()",
            "it cannot be made: NameError",
        ),
        ("middle, wall = (x0 + x1) / 2.0, self._wall()", "middle, wall = 1 / 0, 0", "ZeroDivisionError"),
        (
            "lambda p: p.neat(2.5 * p.bore), low=10.0",
            "lambda p: p.neat(2.5 * p.bohr), low=10.0",
            "AttributeError",
        ),
        ("lambda p: 2.0 * _edge(p), low", "lambda p: p.no_such, low", "AttributeError"),
        ("return block.Solids()[0]", "raise SystemExit(3)", "it cannot be made: SystemExit: 3 (line "),
        ("if self.height < self.ledge + 5.0:", "if [][0]:", "- IndexError: list index out of range (line "),
        ("if self.height < self.ledge + 5.0:", "if True:", "leaves no wall"),
    ],
)
def test_whatever_a_model_does_there_is_no_traceback(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], old: str, new: str, told: str
) -> None:
    assert old in STARTER
    (tmp_path / "rest.py").write_text(STARTER.replace(old, new), encoding="utf-8")
    assert main(["models", "--test", str(tmp_path)]) == 1
    out, error = capsys.readouterr()
    assert told in out
    assert error == ""
    assert out.startswith("rest: ")
    assert "Traceback" not in out


def test_faults_are_told_once_with_where(tmp_path: Path) -> None:
    text = (
        STARTER.replace("bore / 2.0, self.ledge + 2.0", "bore / 2.0, min(self.ledge, 30.0) + 2.0")
        .replace('help="of the ledge"', 'help="?"')
        .replace("low=10.0, high=300.0", "low=10.0, high=150.0")
        .replace("return ledge, face", "return [][0] if self.bores == 4 else (ledge, face)")
    )
    (tmp_path / "rest.py").write_text(text, encoding="utf-8")
    shop = library([tmp_path])
    tried = try_model(shop, shop.entry("rest"))
    told = in_words([tried])
    assert tried.blocks == 12  # none of the high ones
    assert told.count("a dowel in bore 1 of the bottom runs into its main body") == 1
    assert "not so deep (50/16 random 0" in told
    assert "(50/16 high, 100/28 high, 2in/5-8 high and 1 more)" in told
    assert told.count("parameter depth: help says too little") == 1
    assert told.count("parameter height for holes of 75 mm on 150 mm: its default is not in its range") == 1
    assert told.count("it cannot be made: IndexError") == 1


@pytest.mark.parametrize("text", ["raise RuntimeError('x')", "import no_such_module", "def broken(:", ""])
def test_a_folder_that_cannot_be_used(tmp_path: Path, capsys: pytest.CaptureFixture[str], text: str) -> None:
    (tmp_path / "rest.py").write_text(text, encoding="utf-8")
    assert main(["models", "--test", str(tmp_path)]) == 2
    error = capsys.readouterr().err
    assert error.count("\n") == 1
    assert ("rest.py: cannot be run" in error) if text else ("no model in it" in error)
    assert main(["models", "--test", str(tmp_path / "none")]) == 2


@pytest.mark.parametrize(
    ("old", "new", "line"),
    [
        ("from dataclasses import dataclass", "import no_such_module", "No module named 'no_such_module' (line {})"),
        ("from dataclasses import dataclass", "import sys; sys.exit(3)", "cannot be run: SystemExit: 3 (line {})"),
        ("@dataclass(frozen=True, kw_only=True)", "@dataclass(frozen=True, kw_only=True", "(rest.py, line {})"),
        ('@part("rest"', '@part("riser"', 'rest.py:{}: model "riser" is already in the library, a shipped one'),
        ("foot.fuse(wall)", "foot.fuse(wal)", "name 'wal' is not defined. Did you mean: 'wall'? (line {}) (every"),
    ],
)
def test_the_line_is_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, old: str, new: str, line: str
) -> None:
    assert STARTER.count(old) == 1
    (tmp_path / "rest.py").write_text(STARTER.replace(old, new), encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    assert main(["models", "--test", "."]) in (1, 2)
    said = "".join(capsys.readouterr())
    number = STARTER[: STARTER.index(old)].count("\n") + 1
    short = line.replace(". Did you mean: 'wall'?", "")
    assert line.format(number) in said or short.format(number) in said, said


@pytest.mark.parametrize("old", ["from dataclasses import dataclass", "        end = _edge(self.pattern)"])
def test_a_model_without_an_end_is_ended(tmp_path: Path, old: str) -> None:
    """In a process of its own, which ends with one line that says where the code was."""
    assert STARTER.count(old) == 1
    text = STARTER.replace(old, f"{old}\n{' ' * (len(old) - len(old.lstrip()))}while True: pass")
    (tmp_path / "rest.py").write_text(text, encoding="utf-8")
    code = (
        "import sys, fixture3d.corners.endless as e; e.not_endless.__wrapped__.__defaults__ = (4.0,); "
        f"from fixture3d.cli import main; sys.exit(main(['models', '--test', {str(tmp_path)!r}]))"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60, check=False)
    assert run.returncode == 1
    number = text[: text.index("while True")].count("\n") + 1
    assert run.stderr == f"fixture3d: {tmp_path / 'rest.py'}:{number}: no end after 4 s; expected a loop that ends\n"


def test_a_broken_model_of_a_list_does_not_stop_the_others(tmp_path: Path) -> None:
    (tmp_path / "rest.py").write_text(STARTER.replace("foot.fuse(wall)", "foot.fuse(wal)"), encoding="utf-8")
    (tmp_path / "all.csv").write_text("model,height\nrest,60\nshim,\n", encoding="utf-8")
    asked = read_orders(tmp_path / "all.csv", library([tmp_path]), None, "mm")
    done = write_orders(asked, tmp_path, Form(formats=("step",)), store=Store(None))
    assert (done.made, done.faults, len(done.problems)) == (1, 0, 1)
    assert 'rest.py: model "rest" cannot be built: NameError' in done.problems[0]


# All models, corners and formats

EVERY = list(itertools.product(sorted(library().entries), PATTERNS, cases(2)))
_KINDS = list(itertools.product(PATTERNS, ("default", "low", "high")))
# Without the long run one block of each model, of another pattern and corner each time; all formats of it.
SHARE = EVERY if LONG else [(model, *_KINDS[5 * k % 12]) for k, model in enumerate(sorted(library().entries))]


def test_a_long_run_covers_what_it_should() -> None:
    assert {model for model, _, _ in SHARE} == set(library().entries)
    assert {(p, c) for _, p, c in SHARE} >= set(_KINDS)
    assert len(EVERY) * (len(FORMATS) - 1) >= 2000  # what has no outline to cut makes no DXF


@pytest.mark.parametrize(("model", "pattern", "case"), SHARE)
def test_files_of_all_models_are_closed_and_have_the_right_volume(
    tmp_path: Path, model: str, pattern: str, case: str
) -> None:
    """STEP read back by the kernel, the rest by trimesh and ezdxf; the volume within the chord of the mesh."""
    shop, store = library(), Store(None)
    part = shop.make(model, PATTERNS[pattern], values(shop, model, PATTERNS[pattern], case))
    entry = shop.entry(model)
    form = Form(formats=FORMATS, units="in" if PATTERNS[pattern].inch else "mm", sheets=("dxf",))
    made = making.made(Block(part=part, entry=entry, title="block"), form, store)
    bodies = [b for b in part.bodies() if b.role == "block"]
    shapes = [Shape(part_key(part, entry.digest, b.name), b.build, store) for b in bodies]
    exact = {b.name or model: kernel.volume(s.brep) for b, s in zip(bodies, shapes, strict=True)}
    bound = {b.name or model: NUMERIC.chord * s.mesh.area + 1e-6 for b, s in zip(bodies, shapes, strict=True)}
    step(tmp_path, made.files["block.step"], exact)
    for b in bodies:
        name = b.name or model
        data = made.files[f"{f'block {b.name}'.strip()} (mm).stl"]
        closed(trimesh.load_mesh(io.BytesIO(data), file_type="stl"), exact[name], bound[name])
    packed: Any = trimesh.load(io.BytesIO(made.files["block.3mf"]), file_type="3mf")
    assert packed.units == "millimeter"
    assert packed.bounds[0] == pytest.approx([0.0, 0.0, 0.0], abs=1e-5)
    scene: Any = trimesh.load(io.BytesIO(made.files["block.glb"]), file_type="glb")
    assert set(packed.geometry) == set(scene.graph.nodes_geometry) == set(exact)
    for name, size in exact.items():
        closed(packed.geometry[name], size, bound[name])
        closed(scene.geometry[scene.graph[name][1]], size, bound[name])  # its metres are in the root node
    for name, data in made.files.items():
        if name.endswith(".dxf"):
            found = ezdxf.read(io.StringIO(data.decode(), newline=None)).audit()  # type: ignore[attr-defined,unused-ignore]
            assert not found.errors
            assert not found.fixes
    assert sum(name.startswith("block drawing") for name in made.files) == len(bodies)
    assert len(made.flats) + len(made.solid) == len(bodies)
    for flat in made.flats:
        body = flat.name.removeprefix("block").strip() or model
        assert flat.plate.area * flat.plate.thickness == pytest.approx(exact[body], rel=1e-6)


def closed(mesh: Any, size: float, bound: float) -> None:
    mesh.merge_vertices(merge_tex=True, merge_norm=True)
    assert mesh.is_watertight
    assert mesh.is_winding_consistent
    assert mesh.volume == pytest.approx(size, abs=bound)


def step(folder: Path, data: bytes, exact: dict[str, float]) -> None:
    (folder / "block.step").write_bytes(data)
    title, found = read_back(folder / "block.step")
    assert title == "block"
    assert list(found) == list(exact)
    for name, size in exact.items():
        assert kernel.is_valid(found[name])
        assert kernel.volume(found[name]) == pytest.approx(size, rel=1e-6)
