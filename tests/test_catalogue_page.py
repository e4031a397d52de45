"""The catalogue page: every model can be placed from its entry alone, and no text of a model can do anything."""

from __future__ import annotations

import base64
import hashlib
import io
import re
from html.parser import HTMLParser
from pathlib import Path

import pytest

from fixture3d.cache import Store
from fixture3d.cli import main
from fixture3d.engine import check
from fixture3d.export.catalogue_page import catalogue_html
from fixture3d.export.example import example, example_table
from fixture3d.library import library
from fixture3d.part import Pattern
from fixture3d.preview.block import block_png
from fixture3d.scene import loads
from fixture3d.units import Units

TABLES: dict[str, tuple[Pattern, Units]] = {
    "50/16": (Pattern(pitch=50.0, bore=16.0), "mm"),
    "100/28": (Pattern(pitch=100.0, bore=28.0), "mm"),
    "2/(5/8)": (Pattern(pitch=50.8, bore=15.875, inch=True), "in"),
    "2/(3/4)": (Pattern(pitch=50.8, bore=19.05, inch=True), "in"),
}
MODELS = tuple(name for name, entry in library().entries.items() if entry.model.stands != "hand")
SHOWN = ("dowel", "screw_clamp", "stop_block")
HOSTILE = '''
from dataclasses import dataclass
from fixture3d.part import Pad, Part, Pin, part, length

@part("<script>alert(1)</script>", made="</p><script>alert(2)</script>", source='"><img src=x onerror=alert(3)>')
@dataclass(frozen=True, kw_only=True)
class Bad(Part):
    """<img src=x onerror=alert(4)> & "quotes" 'and' more.

    <a href="javascript:alert(5)">here</a>

    ::

        </pre><script>alert(6)</script> size
    """
    size: float = length(50.0, low=20.0, high=100.0, help="<b>bold</b>")

    def pins(self):
        return (Pin(name="<i>1</i>", at=(0.0, 0.0, 0.0), depth=10.0),)

    def pads(self):
        flat = {"normal": (0, 0, 1), "along": (1, 0, 0), "length": 40.0, "width": 40.0}
        return (Pad(name="<u>top</u>", at=(0.0, 0.0, 20.0), **flat),)

    def box(self):
        return (-25.0, -25.0, 0.0), (25.0, 25.0, 20.0)

    def solid(self):
        import cadquery as cq
        return cq.Workplane().box(50, 50, 20, centered=(True, True, False)).val()

@part("falls_over", made="never")
@dataclass(frozen=True, kw_only=True)
class Worse(Part):
    """It fails."""

    def box(self):
        return (-25.0, -25.0, 0.0), (25.0, 25.0, 20.0)

    def solid(self):
        raise RuntimeError("no <b>steel</b>")
'''


class Seen(HTMLParser):
    """Tags, attributes and text of a page."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.open: list[str] = []
        self.text: list[str] = []
        self.feed(text)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag not in ("meta", "img"):
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if self.open and self.open[-1] != "style":
            self.text.append(data)


@pytest.mark.parametrize("table", TABLES)
@pytest.mark.parametrize("model", MODELS)
def test_every_model_stands_as_its_entry_places_it(model: str, table: str) -> None:
    pattern, units = TABLES[table]
    part = library().make(model, pattern, {}, units)
    shown = example(part, library(), example_table(table, pattern, units), units)
    assert shown.doubt == ""
    assert len(shown.text.splitlines()) <= 14
    if table == "50/16":
        report = check(loads(shown.text))
        assert report.ready
        assert [f.rule for f in report.findings if f.level == "warn"] == []
        assert any(seat.model == model for seat in report.job.seats.values())


def test_a_table_with_a_size_is_kept_and_one_without_gets_one() -> None:
    pattern, _ = TABLES["2/(3/4)"]
    assert example_table("2/(3/4) 96x48", pattern, "in") == "2/(3/4) 96x48"
    assert example_table("2/(3/4)", pattern, "in") == "2/(3/4) 40x28"


@pytest.fixture(scope="module")
def pages() -> dict[str, str]:
    entries = [library().entry(name) for name in SHOWN]
    kept = Store(None)
    return {
        name: catalogue_html(library(), entries, TABLES[name][0], table=name, units=TABLES[name][1], store=kept)
        for name in ("50/16", "2/(3/4)")
    }


@pytest.mark.parametrize("table", ["50/16", "2/(3/4)"])
def test_the_page_shows_each_model_with_its_picture_and_figures(pages: dict[str, str], table: str) -> None:
    from PIL import Image

    seen = Seen(pages[table])
    images = [attrs for tag, attrs in seen.tags if tag == "img"]
    assert len(images) == len(SHOWN)
    for attrs in images:
        head, _, data = str(attrs["src"]).partition(",")
        assert head == "data:image/png;base64"
        picture = Image.open(io.BytesIO(base64.b64decode(data, validate=True))).convert("L")
        assert picture.size == (640, 480)
        assert 0.05 < sum(picture.histogram()[:235]) / (640 * 480) < 0.9, "an empty picture, or one that is cut off"
        assert str(attrs["alt"])
    text = " ".join(" ".join(seen.text).split())
    part = library().make("screw_clamp", TABLES[table][0])
    for words in (*SHOWN, "Parameters", "Placed by", "Faces that touch the work", "Presses with", "throat", "stroke"):
        assert words in text
    assert "common practice, no source" in text
    assert 'hole = "I6"' in text
    assert part.made.split(";")[0] in text
    assert ("2 in apart" in text) == (table == "2/(3/4)")
    # in the unit of the table, and in no other
    assert not re.search(r"\d mm\b" if table == "2/(3/4)" else r"\d in\b", text.replace("5 mm and the arm", ""))


def test_nothing_is_fetched_and_nothing_runs(pages: dict[str, str]) -> None:
    page = pages["50/16"]
    seen = Seen(page)
    style = page.partition("<style>")[2].partition("</style>")[0]
    (policy,) = [str(a["content"]) for t, a in seen.tags if a.get("http-equiv") == "Content-Security-Policy"]
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    assert policy == f"default-src 'none'; img-src data:; style-src 'sha256-{digest}'"
    assert_harmless(seen)
    assert "url(" not in style
    assert "@import" not in style


def assert_harmless(seen: Seen) -> None:
    for tag, attrs in seen.tags:
        assert tag not in ("script", "iframe", "object", "embed", "link", "base", "form")
        for key, value in attrs.items():
            assert not key.startswith("on")
            if key in ("href", "src"):
                assert str(value).startswith(("#m", "data:image/png;base64,"))


def test_colours_can_be_told_from_white(pages: dict[str, str]) -> None:
    """WCAG 2.1, success criterion 1.4.3: 4.5 to 1; relative luminance as defined there."""
    style = pages["50/16"].partition("<style>")[2].partition("</style>")[0]
    inks = re.findall(r"(?<![-\w])color: #([0-9a-f]{3})\b", style)
    assert len(inks) >= 3
    for ink in inks:
        parts = [int(c * 2, 16) / 255.0 for c in ink]
        linear = [p / 12.92 if p <= 0.03928 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
        luminance = 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
        assert 1.05 / (luminance + 0.05) >= 4.5


def test_a_picture_is_the_same_twice_and_kept() -> None:
    entry, part = library().entry("dowel"), library().make("dowel", TABLES["50/16"][0])
    kept = Store(None)
    first = block_png(part, entry, kept)
    assert block_png(part, entry, None) == first
    assert block_png(part, entry, kept) is first or block_png(part, entry, kept) == first
    other = library().make("dowel", TABLES["50/16"][0], {"height": 60})
    assert block_png(other, entry, kept) != first


def test_a_hostile_model_is_only_text(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "own").mkdir()
    (tmp_path / "own" / "bad.py").write_text(HOSTILE, encoding="utf-8")
    target = tmp_path / "page.html"
    for name in ("<script>alert(1)</script>", "falls_over"):
        command = ["models", name, "--html", str(target), "--models", str(tmp_path / "own"), "--force"]
        assert main(command) == 0, capsys.readouterr().err
        seen = Seen(target.read_text(encoding="utf-8"))
        assert_harmless(seen)
        assert not {tag for tag, _ in seen.tags} & {"b", "i", "u"}
        text = " ".join(seen.text)
        assert name in text
        if name == "falls_over":
            assert "It cannot be shown:" in text
            assert "no <b>steel</b>" in text
        else:
            assert "alert(6)" in text
            assert "Not as it stands" in text  # such a name cannot stand in a scene


def test_the_file_is_never_overwritten_unasked(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    target = tmp_path / "page.html"
    target.write_text("mine", encoding="utf-8")
    assert main(["models", "dowel", "--html", str(target)]) == 2
    assert "--force" in capsys.readouterr().err
    assert target.read_text(encoding="utf-8") == "mine"
    assert main(["models", "dowel", "--html", str(tmp_path / "page.txt")]) == 2
    assert ".html" in capsys.readouterr().err
    assert main(["models", "dowle", "--html", str(tmp_path / "new.html")]) == 2
    assert 'nearest: "dowel"' in capsys.readouterr().err
