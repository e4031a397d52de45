"""The command line: exit codes, one-line errors, nothing overwritten, nothing heavy loaded before it is needed."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import jsonschema
import pytest

import fixture3d
from fixture3d.cli import main, parser

HEAVY = ("cadquery", "OCP", "trimesh", "pyvista", "vtkmodules", "manifold3d", "numba", "scipy", "typst", "shapely")


def loaded(code: str, heavy: tuple[str, ...] = HEAVY) -> list[str]:
    """Which heavy libraries a piece of code leaves loaded, in a process of its own."""
    script = f"{code}\nimport sys, json\nprint(json.dumps([m for m in {heavy!r} if m in sys.modules]))"
    out = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    found: list[str] = json.loads(out.stdout.splitlines()[-1])
    return found


@pytest.mark.parametrize(
    "code",
    [
        "import fixture3d",
        "from fixture3d.cli import parser; parser().format_help()",
        "from fixture3d.cli import main; main(['models'])",
        "from fixture3d.cli import main; main(['explain', 'overlap'])",
        "import fixture3d; fixture3d.load('kayak_rack')",
    ],
)
def test_light_commands_load_nothing_heavy(code: str) -> None:
    assert loaded(code) == []


def test_one_model_needs_no_kernel() -> None:
    """The scene that places it is tried, for which outlines are enough."""
    kernels = tuple(name for name in HEAVY if name != "shapely")
    assert loaded("from fixture3d.cli import main; main(['models', 'vee_block'])", kernels) == []


@pytest.mark.parametrize("command", [["models"], ["models", "--table", "50/16"]])
def test_models_loads_neither_arrays_nor_the_schema(command: list[str]) -> None:
    """They would take most of its 0.3 s."""
    assert loaded(f"from fixture3d.cli import main; main({command!r})", (*HEAVY, "numpy", "pydantic")) == []


def test_every_command_has_its_own_function_and_a_line_of_help() -> None:
    text = parser().format_help()
    commands = {
        name: sub.get_default("run")
        for action in parser()._actions
        if isinstance(action.choices, dict)
        for name, sub in action.choices.items()
    }
    assert len(commands) >= 15
    for name, run in commands.items():
        assert run.__name__ == f"run_{name}"
        assert f"\n    {name} " in text


def test_check_prints_the_verdict_first(scene_file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", str(scene_file)]) == 0
    out = capsys.readouterr().out
    assert out.startswith("READY: 0 fail")
    assert "S1 front: y = -20 mm" not in out  # C4 is at y = 150
    assert "S1 front: y = 130 mm, facing -Y" in out
    assert "Not checked" in out


def test_json_is_valid_against_the_shipped_schema(scene_file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    from importlib.resources import files

    main(["check", "--json", str(scene_file)])
    report = json.loads(capsys.readouterr().out)
    schema = json.loads((files("fixture3d.report") / "report.schema.json").read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator(schema).validate(report)
    assert report["schema"] == "fixture3d.report/1"
    assert report["ok"] is True
    assert report["seats"][0]["holes"] == ["C4", "D4"]


def test_the_same_input_gives_the_same_bytes(capsys: pytest.CaptureFixture[str]) -> None:
    main(["check", "--json", "kayak_rack"])
    first = capsys.readouterr().out
    main(["check", "--json", "kayak_rack"])
    assert capsys.readouterr().out == first
    assert "NaN" not in first
    assert "Infinity" not in first


def test_many_scenes_the_worst_exit_code_and_all_are_looked_at(
    scene_file: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    bad = tmp_path / "bad.toml"
    bad.write_text("format = 1\n", encoding="utf-8")
    assert main(["check", str(bad), str(scene_file)]) == 2
    captured = capsys.readouterr()
    assert "READY" in captured.out
    assert len(captured.err.splitlines()) == 1


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["chekc", "x"], ["chekc", 'nearest: "check"']),
        (["check", "missing.toml"], ["missing.toml", "no such file"]),
        (["check", "kayak_rack", "--jsno"], ["--jsno", 'nearest: "--json"']),
        (["explain", "overlpa"], ['nearest: "overlap"']),
        (["models", "stop_blok"], ['nearest: "stop_block"']),
        (["make", "riser", "heigth=3"], ['nearest: "height"']),
        (["make", "riser", "height=1"], ["out of range", "nearest: 20 mm"]),
        (["make", "riser", "height=two"], ["height", "two"]),
        (["make", "riser", "height"], ["KEY=VALUE"]),
        (["make", "riser", "--table", "50"], ["table", "expected"]),
        (["view", "kayak_rack", "--png", "x.png", "--pixels", "big"], ["--pixels", "1600x1200"]),
        (["view", "kayak_rack", "--png", "x.png", "--size", "800x600"], ["no size of that name", "--pixels 800x600"]),
        (["make", "riser", "--paper", "a3"], ["--paper goes with a drawing", "expected --drawing riser.pdf"]),
        (["make", "riser", "--drawing", "a.png"], ["ends in .pdf or .svg or .dxf"]),
        (["make", "riser", "--drawing", "a.dxf", "--quantity", "0"], ["--quantity 0", "expected 1 or more"]),
        (["make", "riser", "--drawing", "a.dxf", "--fit", "dowel"], ["expected USE=CLASS"]),
        (
            ["make", "riser", "--on", "2/(5/8) in"],
            ["refused", "thicker than the holes", "expected a block made for that table"],
        ),
        (["check", "kayak_rack", "--models", "nowhere"], ["nowhere", "not a folder"]),
    ],
)
def test_bad_input_is_one_line_and_exit_code_2(
    arguments: list[str], words: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    try:
        code = main(arguments)
    except SystemExit as stop:
        code = int(str(stop.code))
    captured = capsys.readouterr()
    assert code == 2
    assert captured.out == ""
    assert len(captured.err.splitlines()) == 1, captured.err
    for word in words:
        assert word in captured.err


def test_nothing_is_overwritten_without_force(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    target = tmp_path / "first.toml"
    assert main(["new", str(target)]) == 0
    target.write_text("mine", encoding="utf-8")
    assert main(["new", str(target)]) == 2
    assert target.read_text(encoding="utf-8") == "mine"
    assert "--force" in capsys.readouterr().err
    assert main(["new", str(target), "--force", "--units", "in"]) == 0
    assert main(["check", str(target)]) == 0


def test_what_a_setup_is_made_from_is_not_written_over_even_with_force(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    scenes = Path(fixture3d.__file__).parents[1] / "scenes"
    scene, part, link = tmp_path / "rack.toml", tmp_path / "rack.step", tmp_path / "link.step"
    text = (scenes / "tool_trolley.toml").read_text(encoding="utf-8")
    scene.write_text(text.replace("tool_trolley_base.step", "rack.step"), encoding="utf-8")
    part.write_bytes((scenes / "tool_trolley_base.step").read_bytes())
    link.symlink_to(scene)
    before = (scene.read_bytes(), part.read_bytes())
    for target in (part, link):
        for force in ([], ["--force"]):
            assert main(["export", str(scene), "-o", str(target), *force]) == 2
            assert "the setup is made from this file; give another name" in capsys.readouterr().err
    assert (scene.read_bytes(), part.read_bytes()) == before


def test_a_fault_of_the_program_is_exit_code_3(
    scene_file: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    from fixture3d.checks import seating
    from fixture3d.commands import check

    def broken(*_: object) -> None:
        raise RuntimeError("planted\nfault")

    monkeypatch.setattr(seating, "CHECK", type(seating.CHECK)(**{**vars(seating.CHECK), "run": broken}))
    assert main(["check", str(scene_file)]) == 3
    out = capsys.readouterr().out
    assert out.startswith("NOT READY")
    assert "seating: crashed: RuntimeError: planted\\nfault" in out
    assert "interference: nut and bolt" in out  # the interference check has still run
    monkeypatch.setattr(check, "run_check", broken)
    assert main(["check", str(scene_file)]) == 3
    assert len(capsys.readouterr().err.splitlines()) == 1


def test_watch_checks_again_when_the_file_is_saved(scene_file: Path) -> None:
    run = subprocess.Popen(
        [sys.executable, "-m", "fixture3d", "watch", "--once", str(scene_file)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert run.stderr is not None
    for line in run.stderr:
        if line.startswith("watching"):
            break
    scene_file.write_text(scene_file.read_text(encoding="utf-8") + "turn = 30\n", encoding="utf-8")
    out, err = run.communicate(timeout=300)
    assert out.count("READY: ") == 2, err
    assert "[spins]" in out
    assert run.returncode == 0


def test_watch_does_not_read_a_file_that_is_half_written(scene_file: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """An editor that empties the file, writes half of it, and then the rest, between the looks of the watcher."""
    from fixture3d.commands import check as module

    before = scene_file.read_text(encoding="utf-8")
    after = before + "turn = 30\n"
    saved = iter([before, "", after[:40], after])
    read: list[str] = []
    check = module._check

    def checked(path: Path, *more: Any) -> Any:
        read.append(path.read_text(encoding="utf-8"))
        return check(path, *more)

    def pause(_: float) -> None:
        # Once all is saved the file stays as it is: the watcher waits for that.
        text = next(saved, None)
        if text is not None:
            scene_file.write_text(text, encoding="utf-8")

    monkeypatch.setattr(module, "time", SimpleNamespace(sleep=pause))
    monkeypatch.setattr(module, "_check", checked)
    assert main(["watch", "--once", str(scene_file)]) == 0
    assert read == [before, after]


def test_watch_looks_at_every_file_of_the_scene(scene_file: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The shop's file is changed and the record is written, the scene itself is not."""
    from fixture3d.commands import check as module
    from fixture3d.scene.record import record_path

    shop = scene_file.with_name("shop.toml")
    owned = 'format = 1\n[[inventory]]\nmodel = "stop_block"\ncount = 1\n'
    for file, text in ((shop, owned + "# counted\n"), (record_path(scene_file), "format = 1\n")):
        shop.write_text(owned, encoding="utf-8")
        slept: list[float] = []

        def pause(seconds: float, file: Path = file, text: str = text, slept: list[float] = slept) -> None:
            slept.append(seconds)
            assert len(slept) < 5, "a change is not seen"
            if len(slept) == 1:
                file.write_text(text, encoding="utf-8")

        monkeypatch.setattr(module, "time", SimpleNamespace(sleep=pause))
        monkeypatch.setattr(module, "_check", lambda *_: SimpleNamespace(exit_code=0))
        monkeypatch.setattr(module, "_report_text", lambda *_: "")
        assert main(["watch", "--once", "--shop", str(shop), str(scene_file.with_suffix(""))]) == 0


def test_upgrade_prints_a_file_that_loads(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    old = tmp_path / "old.toml"
    old.write_text('# my table\ntable = "50/16 1000x600"\n', encoding="utf-8")
    assert main(["check", str(old)]) == 2
    capsys.readouterr()
    assert main(["upgrade", str(old)]) == 0
    text = capsys.readouterr().out
    assert "# my table" in text
    new = tmp_path / "new.toml"
    new.write_text(text, encoding="utf-8")
    assert main(["check", str(new)]) == 0


def test_an_accepted_rule_that_does_not_exist_is_an_error(scene_file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = scene_file.read_text(encoding="utf-8")
    scene_file.write_text(text + '[[accept]]\nrule = "overlpa"\nwhy = "x"\n', encoding="utf-8")
    assert main(["check", str(scene_file)]) == 2
    err = capsys.readouterr().err
    assert f"{scene_file}:8" in err
    assert 'nearest: "overlap"' in err


def test_what_is_accepted_is_still_shown_and_what_matches_nothing_is_said(
    scene_file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = scene_file.read_text(encoding="utf-8") + "turn = 30\n"
    accept = '[[accept]]\nrule = "spins"\nsubjects = ["S1"]\nwhy = "held by hand"\n'
    stale = '[[accept]]\nrule = "tips"\nsubjects = ["S9"]\nwhy = "old"\n'
    scene_file.write_text(text + accept + stale, encoding="utf-8")
    assert main(["check", str(scene_file)]) == 0
    out = capsys.readouterr().out
    assert "0 warn" in out.splitlines()[0]
    assert "1 accepted" in out.splitlines()[0]
    assert "held by hand" in out
    assert "nothing matches any more: tips of S9" in out


def test_one_accept_may_list_several_blocks(scene_file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = scene_file.read_text(encoding="utf-8") + "turn = 30\n"
    text += '[[place]]\nname = "S2"\nmodel = "stop_block"\nhole = "J8"\nturn = 30\n'
    text += '[[accept]]\nrule = "spins"\nsubjects = ["S1", "S2"]\nwhy = "held by hand"\n'
    scene_file.write_text(text, encoding="utf-8")
    assert main(["check", str(scene_file)]) == 0
    out = capsys.readouterr().out
    assert "2 accepted" in out.splitlines()[0]
    assert "nothing matches" not in out


def test_a_bare_name_finds_the_file_beside_it(
    scene_file: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(scene_file.parent)
    assert main(["check", "one"]) == 0
    assert "one.toml" in capsys.readouterr().out.splitlines()[0]


def test_json_of_many_scenes_is_one_object_a_line(scene_file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", "--json", str(scene_file), str(scene_file)]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) == 2
    assert [json.loads(line)["ok"] for line in lines] == [True, True]


def test_explain_tells_what_a_check_leaves_out(capsys: pytest.CaptureFixture[str]) -> None:
    from fixture3d.checks import all_checks

    for check in all_checks():
        assert check.gist, check.name
        assert main(["explain", check.name.replace(" ", "-")]) == 0
        out = " ".join(capsys.readouterr().out.split())
        assert all(" ".join(sentence.split()) in out for sentence in check.not_covered)
        assert all(rule.name in out for rule in check.rules)


@pytest.mark.parametrize(
    ("command", "told"),
    [
        (["mak"], 'fixture3d: "mak" is not a command; expected one of check, '),
        (
            ["make", "shim", "--paper", "a9"],
            'fixture3d make: --paper "a9": expected one of a4, a3, a2, letter, tabloid',
        ),
        (["again", "x", "-o", "y.toml", "--turn", "45"], 'fixture3d again: --turn "45": expected one of 90, 180, 270'),
        (["make", "shim", "--quantity", "1e3"], "fixture3d make: --quantity '1e3': expected a whole number"),
        (["make", "shim", "--formt", "stl"], 'fixture3d make: --formt is not understood here; nearest: "--format"'),
    ],
)
def test_a_wrong_word_is_told_with_what_was_expected(
    command: list[str], told: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as stop:
        main(command)
    assert stop.value.code == 2
    (line,) = capsys.readouterr().err.splitlines()
    assert line.startswith(told)


def test_sizes_may_stand_behind_options(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["make", "shim", "--format", "stl", "-o", str(tmp_path), "thickness=3"]) == 0
    assert "shim thickness 3 mm for 16 mm on 50 mm" in capsys.readouterr().out
    assert main(["new", "model", "--units", "in", str(tmp_path / "own.py")]) == 0
    assert main(["new", "model"]) == 2
    assert "expected new model NAME.py" in capsys.readouterr().err


def test_a_link_to_nothing_is_not_written_through(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    there = tmp_path / "elsewhere.toml"
    (tmp_path / "first.toml").symlink_to(there)
    assert main(["new", str(tmp_path / "first.toml")]) == 2
    assert "where nothing is; --force writes there" in capsys.readouterr().err
    assert not there.exists()
    assert main(["new", str(tmp_path / "first.toml"), "--force"]) == 0
    assert there.is_file()


def test_a_shipped_scene_is_copied_by_its_name(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["upgrade", "kayak_rack"]) == 0
    assert 'title = "Kayak rack, end frame"' in capsys.readouterr().out
