"""Files are written whole or not at all, and nothing is overwritten unasked."""

import os
import stat
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fixture3d import output
from fixture3d.errors import OutputRefused


def leftovers(folder: Path) -> list[str]:
    return sorted(p.name for p in folder.iterdir())


def test_writes_and_refuses_to_overwrite(tmp_path: Path) -> None:
    target = tmp_path / "a.bin"
    assert output.write_bytes(target, b"one") == target
    with pytest.raises(OutputRefused, match="add --force"):
        output.write_bytes(target, b"two")
    assert target.read_bytes() == b"one"
    output.write_bytes(target, b"three", force=True)
    assert target.read_bytes() == b"three"
    assert leftovers(tmp_path) == ["a.bin"]


@pytest.mark.parametrize(
    "name",
    [
        "nul",
        "NUL.pdf",
        "con.stl",
        "Com1.step",
        "lpt9",
        "aux.tar.gz",
        "a:b.pdf",
        'a"b',
        "a?b",
        "a*b",
        "a|b",
        "dot.",
        "space ",
        "line\nfeed.pdf",
        "\x07bell",
        "x" * 300,
    ],
)
def test_names_that_some_system_cannot_keep(tmp_path: Path, name: str) -> None:
    with pytest.raises(OutputRefused) as caught:
        output.write_bytes(tmp_path / name, b"x")
    assert "\n" not in str(caught.value)
    assert leftovers(tmp_path) == []


def test_common_names_that_only_look_reserved(tmp_path: Path) -> None:
    for name in ("console.pdf", "nullify", "com10.step", "auxiliary", "Änderung 3.pdf", ".hidden"):
        output.write_bytes(tmp_path / name, b"x")


def test_folders(tmp_path: Path) -> None:
    with pytest.raises(OutputRefused, match="missing"):
        output.write_bytes(tmp_path / "no" / "a.pdf", b"x")
    (tmp_path / "file").write_bytes(b"keep")
    with pytest.raises(OutputRefused):
        output.write_bytes(tmp_path / "file" / "a.pdf", b"x")
    (tmp_path / "folder").mkdir()
    with pytest.raises(OutputRefused, match="is a folder"):
        output.write_bytes(tmp_path / "folder", b"x", force=True)
    assert (tmp_path / "file").read_bytes() == b"keep"


def test_read_only_file_is_left_alone_even_with_force(tmp_path: Path) -> None:
    target = tmp_path / "a.pdf"
    target.write_bytes(b"keep")
    target.chmod(stat.S_IREAD)
    with pytest.raises(OutputRefused, match="read-only"):
        output.write_bytes(target, b"x", force=True)
    target.chmod(stat.S_IREAD | stat.S_IWRITE)
    assert target.read_bytes() == b"keep"


def test_all_or_none_of_several(tmp_path: Path) -> None:
    (tmp_path / "b").write_bytes(b"keep")
    with pytest.raises(OutputRefused):
        output.write_many({tmp_path / "a": b"1", tmp_path / "b": b"2"})
    assert leftovers(tmp_path) == ["b"]


def test_a_full_disk_leaves_the_old_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    target = tmp_path / "a.pdf"
    target.write_bytes(b"old")

    def full(path: Path, data: bytes) -> None:
        path.write_bytes(data[:1])
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(output, "_write_out", full)
    with pytest.raises(OutputRefused, match="no space left"):
        output.write_bytes(target, b"new", force=True)
    assert target.read_bytes() == b"old"
    assert leftovers(tmp_path) == ["a.pdf"]


def test_a_file_that_appears_meanwhile_is_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    target = tmp_path / "a.pdf"
    honest = output._write_out

    def slow(path: Path, data: bytes) -> None:
        honest(path, data)
        target.write_bytes(b"theirs")

    monkeypatch.setattr(output, "_write_out", slow)
    with pytest.raises(OutputRefused, match="add --force"):
        output.write_bytes(target, b"ours")
    assert target.read_bytes() == b"theirs"
    assert leftovers(tmp_path) == ["a.pdf"]


def test_a_link_is_written_through(tmp_path: Path) -> None:
    real, link = tmp_path / "real.pdf", tmp_path / "link.pdf"
    real.write_bytes(b"old")
    try:
        link.symlink_to(real)
    except OSError:
        pytest.skip("this system makes no links")
    output.write_bytes(link, b"new", force=True)
    assert link.is_symlink()
    assert real.read_bytes() == b"new"


@given(st.text(max_size=300))
def test_any_text_becomes_a_name_that_is_allowed(text: str) -> None:
    name = output.file_name(text)
    output._check_name(name, name)
    assert os.path.basename(name) == name
