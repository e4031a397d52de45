"""A sheet is made once for the same files, and anew as soon as one of them, or what is asked for, is another."""

from __future__ import annotations

from pathlib import Path

import pytest

from fixture3d import program
from fixture3d.cache import Store
from fixture3d.engine import load
from fixture3d.sheet.kept import kept_sheet

SCENE = 'format = 1\ntable = "50/16 1000x1000"\n[[place]]\nname = "S1"\nmodel = "stop_block"\nhole = "C4"\n'
PLATE = SCENE + '[weldment]\nhole = "E4"\n[[plate]]\nname = "tab"\ndxf = "tab.dxf"\nthickness = 5\nat = [0, 0, 0]\n'


class _Maker:
    """Counts how often a sheet had to be made."""

    def __init__(self) -> None:
        self.made = 0

    def __call__(self) -> dict[str, bytes]:
        self.made += 1
        return {"pdf": f"sheet {self.made}".encode()}


def _written(folder: Path, text: str) -> Path:
    path = folder / "rack.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_a_second_print_is_the_first_one(tmp_path: Path) -> None:
    path, store, make = _written(tmp_path, SCENE), Store(tmp_path / "kept"), _Maker()
    sheets = {kept_sheet(load(path), ["pdf"], ("a4", "None"), make, store)["pdf"] for _ in range(3)}
    assert (sheets, make.made) == ({b"sheet 1"}, 1)


def test_what_is_asked_for_and_every_file_count(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path, store, make = _written(tmp_path, PLATE), Store(tmp_path / "kept"), _Maker()
    plate = tmp_path / "tab.dxf"
    plate.write_text("one", encoding="utf-8")

    def told(*asked: str) -> bytes:
        return kept_sheet(load(path), ["pdf"], asked, make, store)["pdf"]

    first = told("a4")
    assert told("letter") != first
    plate.write_text("two", encoding="utf-8")
    other_plate = told("a4")
    assert other_plate != first
    path.write_text(PLATE + "# a comment may hold the reason for another print\n", encoding="utf-8")
    other_text = told("a4")
    assert other_text not in (first, other_plate)
    monkeypatch.setattr(program, "digest", lambda: b"another program")
    assert told("a4") not in (first, other_plate, other_text)
    assert make.made == 5


def test_models_of_the_users_own_and_missing_files_are_not_kept(tmp_path: Path) -> None:
    path, store, make = _written(tmp_path, PLATE), Store(tmp_path / "kept"), _Maker()
    for _ in range(2):
        kept_sheet(load(path), ["pdf"], (), make, store)  # the plate's file is not there
    (tmp_path / "tab.dxf").write_text("one", encoding="utf-8")
    for _ in range(2):
        kept_sheet(load(path, models=[tmp_path]), ["pdf"], (), make, store)
    assert make.made == 4


def test_each_size_of_a_file_has_a_sheet_of_its_own(tmp_path: Path) -> None:
    text = SCENE.replace("table", 'title = "Stop"\ntable').replace('"C4"', '"=hole"')
    text += '[sizes]\nnames = ["near", "far"]\nhole = ["C4", "F4"]\n'
    path, store, make = _written(tmp_path, text), Store(tmp_path / "kept"), _Maker()
    sizes = ("near", "far", "near", None)
    sheets = [kept_sheet(load(path, size=size), ["pdf"], ("a4",), make, store)["pdf"] for size in sizes]
    assert sheets == [b"sheet 1", b"sheet 2", b"sheet 1", b"sheet 1"]


@pytest.mark.parametrize("early", [True, False])
def test_a_file_that_is_saved_meanwhile_does_not_get_the_sheet_of_the_one_before(tmp_path: Path, early: bool) -> None:
    path, store, make = _written(tmp_path, SCENE), Store(tmp_path / "kept"), _Maker()
    scene = load(path)

    def save_and_make() -> dict[str, bytes]:
        _written(tmp_path, SCENE + "turn = 90\n")
        return make()

    if early:
        _written(tmp_path, SCENE + "turn = 90\n")
    assert kept_sheet(scene, ["pdf"], ("a4",), save_and_make, store)["pdf"] == b"sheet 1"
    assert kept_sheet(load(path), ["pdf"], ("a4",), make, store)["pdf"] == b"sheet 2"
    _written(tmp_path, SCENE)
    assert kept_sheet(load(path), ["pdf"], ("a4",), make, store)["pdf"] == b"sheet 3"
