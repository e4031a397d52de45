"""The setup sheet as a page: what stands on it, what it may do, and that a browser shows it."""

from __future__ import annotations

import base64
import hashlib
import re
from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest

from fixture3d.cli import main
from fixture3d.job.code import content_code
from fixture3d.sheet import page as module
from fixture3d.sheet.data import sheet_data
from fixture3d.sheet.page import sheet_page
from fixture3d.sheet.page_parts import table
from tests.jobs import make_job, rack
from tests.sheets import demo_job, demo_jobs
from tests.test_page_browser import browser  # noqa: F401 - a fixture

_VOID = {"meta", "input", "wbr", "br"}


class Reader(HTMLParser):
    """Collects text, tags and attributes; refuses tags that are not closed in their order."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.text = ""
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self._open: list[str] = []
        self.feed(html)
        self.close()
        assert self._open == []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag not in _VOID:
            self._open.append(tag)
        if tag in ("td", "th", "p", "li", "text", "h1", "h2", "h3", "figcaption"):
            self.text += "\n"

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        assert self._open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.text += data.replace("\u00a0", " ")

    def of(self, tag: str, **attrs: str) -> list[dict[str, str | None]]:
        return [a for t, a in self.tags if t == tag and all(a.get(k) == v for k, v in attrs.items())]


def read(data: bytes) -> Reader:
    return Reader(data.decode("utf-8"))


def test_every_row_of_the_lists_is_on_it_with_a_box_or_a_field() -> None:
    for scene in ("kayak_rack", "garden_gate"):
        job = demo_job(scene)
        data = sheet_data(job)
        got = read(sheet_page((job,)))
        text = re.sub(r"[ \t]+", " ", got.text)
        assert content_code(job) in text
        assert data["title"] in text
        assert data["verdict"] in text
        for row in (*data["blocks"], *data["clamps"]):
            for key in ("name", "hole", "turn", "setting", "shims", "top", "size", "others"):
                assert row[key] in text, (row["name"], key)
            assert got.of("input", type="checkbox", **{"aria-label": f"done: {row['name']}"})
            for touch in row["touches"]:
                assert f"{touch['pad']}: {touch['piece']}" in text
        for row in data["distances"]:
            assert row["distance"] in text
        typed = [a for a in got.of("input", type="text") if (a["aria-label"] or "").startswith("measured: ")]
        assert len(typed) == len(data["distances"]) + len(data.get("measures", ()))
        for row in data["welds"]:
            assert row["name"] in text
        for row in (*data["picks"], *data["pieces"]):
            assert all(name in text for name in row["names"])
        for caution in data["cautions"]:
            assert caution in text
        assert len(got.of("svg")) >= 2  # the plan and at least one elevation
        assert "Seen from the" in text
        assert "nothing is saved or sent" in text


def test_no_script_nothing_fetched_and_the_style_is_the_one_allowed() -> None:
    data = sheet_page((rack(),))
    got, html = read(data), data.decode()
    (policy,) = got.of("meta", **{"http-equiv": "Content-Security-Policy"})
    (style,) = re.findall(r"<style>(.*?)</style>", html, re.DOTALL)
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    rules = (policy["content"] or "").split("; ")
    assert rules == ["default-src 'none'", f"style-src 'sha256-{digest}'", "base-uri 'none'", "form-action 'none'"]
    assert not {"script", "link", "img", "iframe", "form", "object"} & {tag for tag, _ in got.tags}
    for tag, attrs in got.tags:
        assert not {"src", "style", "onclick", "action"} & set(attrs), tag
        assert (attrs.get("href") or "#").startswith("#")
    assert re.findall(r"https?:[^\"' ]*", html.replace('xmlns="http://www.w3.org/2000/svg"', "")) == []


def test_same_bytes() -> None:
    assert sheet_page((rack(),)) == sheet_page((rack(),))


def test_hostile_and_long_texts_are_shown_as_they_are_and_do_nothing() -> None:
    names = ["&lt;b&gt; & 'a'", "x" * 80, "]]& --", "ü 日本 e\u0301"]
    job = make_job(
        title='</title><script>alert(1)</script>"',
        blocks=[{"name": n, "hole": f"{'CFIL'[k]}3"} for k, n in enumerate(names)],
        pieces={"p&q;": ((400.0, 50.0, 50.0), (200.0, 100.0, 75.0))},
    )
    data = sheet_page((job,))
    got = read(data)
    assert '</title><script>alert(1)</script>"' in got.text
    assert not got.of("script")
    for name in names:
        assert name in got.text
        assert got.of("input", type="checkbox", **{"aria-label": f"done: {name}"})
    assert max(len(word) for cell in re.findall(r"<td[^>]*>([^<]*)", data.decode()) for word in cell.split()) < 80


def test_a_stage_has_its_own_lists_and_what_changes() -> None:
    jobs = demo_jobs("bench_end")
    got = read(sheet_page(jobs))
    assert [a["id"] for a in got.of("h2")] == ["s1", "s2", "rack", "cautions"]
    assert {a["href"] for a in got.of("a")} == {"#s1", "#s2", "#rack", "#cautions"}
    assert got.text.count("Blocks: set them") == 2
    assert "From stage 1 to stage 2: what changes" in got.text
    assert "R1b" in got.text


def test_lists_and_notes_that_this_page_does_not_know_are_shown(monkeypatch: pytest.MonkeyPatch) -> None:
    def more(job: Any, report: Any = None) -> dict[str, Any]:
        return {
            **sheet_data(job, report),
            "hoist_points": [{"name": "eye", "load_kg": 120}, {"name": "lug", "load_kg": None}],
            "blocks": [{"group": "Stops", "name": "S9", "hole": "B2", "odd_key": "seen"}],
            "hoist_note": "Lift with two.",
            "unloading": ["The frame goes straight up."],
        }

    monkeypatch.setattr(module, "sheet_data", more)
    got = read(sheet_page((rack(),)))
    for words in ("Hoist points", "Load kg", "120", "Stops", "Odd key", "seen", "Lift with two.", "goes straight up"):
        assert words in got.text
    assert got.of("th", scope="rowgroup")


def test_a_column_without_anything_in_it_is_left_out() -> None:
    rows = [{"name": "a", "shims": "", "short": 0, "owned": None}, {"name": "b", "shims": "", "short": 0}]
    assert "Shims" not in table("picks", rows)
    assert "Short by" not in table("picks", rows)
    assert "Short by" in table("picks", [{**rows[0], "short": 2}])
    both = table("blocks", [{"name": "T1", "setting": "notch 10", "as_set": "notch 11"}])
    assert 'notch 10<div class="small">as set: notch 11</div>' in both
    assert "In the shop" in table("picks", [{**rows[0], "owned": 0}])  # none owned is something to say


def test_the_command(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(["sheet", "kayak_rack", "--html", "a.html"]) == 0
    assert capsys.readouterr().out == "a.html\n"
    assert [p.name for p in tmp_path.iterdir()] == ["a.html"]
    assert "READY: no check failed" in read((tmp_path / "a.html").read_bytes()).text
    assert main(["sheet", "kayak_rack", "--html", "a.html"]) == 2
    assert "add --force" in capsys.readouterr().err
    assert main(["sheet", "kayak_rack", "--html", "a.pdf"]) == 2
    assert 'nearest: "a.html"' in capsys.readouterr().err


@pytest.fixture
def shown(browser: Any, tmp_path: Path) -> Iterator[Any]:  # noqa: F811
    """The page of the rack with a long name, opened from disk on a tablet: it asks for nothing, all is well."""
    blocks: list[dict[str, Any]] = [{"name": "x" * 80, "hole": "C3"}]
    blocks += [{"name": "S2", "hole": "J6", "with": {"height": 25.0}}]
    path = tmp_path / "sheet.html"
    path.write_bytes(sheet_page((make_job(blocks=blocks, title="A" * 120),)))
    context = browser.new_context(viewport={"width": 768, "height": 1024})
    try:
        page = context.new_page()
        trouble: list[str] = []
        page.on("console", lambda message: trouble.append(message.text))
        page.on("request", lambda request: trouble.append(request.url) if request.url != path.as_uri() else None)
        page.goto(path.as_uri())
        yield page
        assert trouble == []
    finally:
        context.close()


def test_a_browser_ticks_types_and_fits_it_on_a_tablet(shown: Any) -> None:
    assert shown.title() == f"{'A' * 120}, setup sheet"
    box = shown.get_by_label("done: S2").first
    box.check()
    assert box.is_checked()
    assert shown.evaluate("document.documentElement.scrollWidth") <= 768
    widths = shown.evaluate("[...document.querySelectorAll('figure svg')].map(s => s.getBoundingClientRect().width)")
    assert len(widths) >= 2
    assert all(300 < width <= 768 for width in widths)
    style = shown.evaluate("getComputedStyle(document.querySelector('h1')).fontFamily")
    assert "Verdana" in style  # the style sheet was let in
    row = shown.evaluate("getComputedStyle(document.querySelector('input:checked').closest('tr')).backgroundColor")
    assert row == "rgb(221, 221, 221)"
