"""The catalogue: one HTML page with every model, its picture, figures and the shortest scene that places it.

Plain HTML without scripts; nothing is fetched. Made for printing: black on white, A4 or letter.
"""

from __future__ import annotations

import base64
import hashlib
import os
from collections.abc import Iterable, Sequence
from html import escape
from pathlib import Path
from typing import Final

from fixture3d import catalogue, output
from fixture3d.cache import Store, default_store
from fixture3d.errors import FixtureError, MissingLibrary, one_line
from fixture3d.export.example import example, example_table, pressing
from fixture3d.library import Entry, Library
from fixture3d.part import Part, Pattern
from fixture3d.preview.block import SIZE, block_png, numbered
from fixture3d.units import Units, show_plain

CAUTION: Final = (
    "Planning help, not an approved procedure: local codes, your employer's rules and qualified people come first. "
    "Forces, strokes and proportions are common practice where no source is named; the figures of the tool in your "
    "hand go before them."
)
_STYLE: Final = """\
@page { margin: 14mm; }
body { margin: 0 auto; max-width: 190mm; padding: 4mm; background: #fff; color: #000;
  font: 10.5pt/1.4 "DejaVu Sans", Arial, Helvetica, sans-serif; }
h1 { font-size: 20pt; margin: 0 0 2mm; }
h2 { font-size: 15pt; margin: 0; font-family: "DejaVu Sans Mono", Consolas, monospace; }
h3 { font-size: 10.5pt; margin: 3mm 0 1mm; }
p { margin: 1mm 0; }
a { color: #000; }
article { border-top: 0.6mm solid #000; padding: 4mm 0 5mm; break-inside: avoid; }
.made, .where, figcaption, footer { color: #444; }
.two { display: grid; grid-template-columns: 2fr 3fr; gap: 2mm 8mm; align-items: start; }
.two > * { min-width: 0; }
figure { margin: 0; }
figcaption { font-size: 9pt; }
img { width: 100%; height: auto; }
table { border-collapse: collapse; width: 100%; font-size: 9.5pt; }
th, td { text-align: left; vertical-align: top; padding: 0.8mm 3mm 0.8mm 0; border-bottom: 0.2mm solid #999; }
td.short { white-space: nowrap; width: 1%; }
thead th { border-bottom: 0.4mm solid #000; }
tbody th { font-weight: normal; font-family: "DejaVu Sans Mono", Consolas, monospace; white-space: nowrap; }
pre { break-inside: avoid; font: 8pt/1.25 "DejaVu Sans Mono", Consolas, monospace; margin: 1mm 0; padding: 2mm;
  border: 0.2mm solid #999; overflow-x: auto; }
ol.index { columns: 2; column-gap: 8mm; padding-left: 6mm; font-size: 9.5pt; }
ol.index li { break-inside: avoid; }
.doubt { border-left: 1mm solid #000; padding-left: 2mm; }
@media (max-width: 640px) { td.short { white-space: normal; }
  .two { grid-template-columns: 1fr; } ol.index { columns: 1; } }
@media print { body { max-width: none; padding: 0; } pre { overflow: hidden; } }
"""


def write_catalogue(
    path: str | os.PathLike[str],
    library: Library,
    pattern: Pattern,
    *,
    table: str,
    units: Units,
    names: Iterable[str] = (),
    force: bool = False,
    store: Store | None = None,
) -> Path:
    """Write the page.

    Args:
        path: of the HTML file.
        library: whose models are shown.
        pattern: the hole pattern that they are made for.
        table: the same in words, as in ``50/16``, with or without the size of a table.
        units: of all lengths.
        names: models to show; empty for all.
        force: an existing file may be replaced.
        store: where solids and pictures are kept; None takes the user's own.

    Raises:
        OutputRefused: the file may not be written.
        MissingLibrary: this machine cannot draw.
        ModelError: no model of that name.
    """
    output.check_target(path, force, (".html", ".htm"))
    entries = [library.entry(name) for name in names] or list(library.entries.values())
    kept = default_store() if store is None else store
    text = catalogue_html(library, entries, pattern, table=table, units=units, store=kept)
    return output.write_text(path, text, force)


def catalogue_html(
    library: Library, entries: Sequence[Entry], pattern: Pattern, *, table: str, units: Units, store: Store | None
) -> str:
    """The page as text. Arguments and errors as of `write_catalogue`."""
    holes = f"holes of {show_plain(pattern.bore, units)}, {show_plain(pattern.pitch, units)} apart"
    digest = base64.b64encode(hashlib.sha256(_STYLE.encode()).digest()).decode()
    policy = f"default-src 'none'; img-src data:; style-src 'sha256-{digest}'"
    size = example_table(table, pattern, units)
    articles = [_article(entry, library, pattern, size, units, store) for entry in entries]
    index = "".join(f'<li><a href="#{_anchor(e)}">{escape(e.name)}</a>: {escape(e.summary)}</li>\n' for e in entries)
    return (
        '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        f'<meta http-equiv="Content-Security-Policy" content="{escape(policy)}">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>Models for {escape(holes)}</title>\n<style>{_STYLE}</style>\n</head>\n<body>\n"
        f"<header>\n<h1>Models</h1>\n<p>{len(entries)} models, made for {escape(holes)}. Lengths in "
        f"{'mm' if units == 'mm' else 'inches'}. X runs along a block, left to right in the pictures; front is towards "
        f"you.</p>\n<p>{escape(CAUTION)}</p>\n</header>\n"
        f'<nav>\n<ol class="index">\n{index}</ol>\n</nav>\n<main>\n{"".join(articles)}</main>\n'
        f"<footer><p>{escape(CAUTION)}</p></footer>\n</body>\n</html>\n"
    )


def _anchor(entry: Entry) -> str:
    """A name for links that no text of a model can break."""
    return "m" + hashlib.sha256(entry.name.encode()).hexdigest()[:12]


def _article(entry: Entry, library: Library, pattern: Pattern, table: str, units: Units, store: Store | None) -> str:
    """One model; of a user's own that fails, why."""
    head = f'<article id="{_anchor(entry)}">\n<h2>{escape(entry.name)}</h2>\n<p>{escape(entry.summary)}</p>\n'
    try:
        part = library.make(entry.name, pattern)
        picture = block_png(part, entry, store)
        words = entry.guarded(lambda: _words(entry, part, pattern, units))()
    except MissingLibrary:
        raise
    except FixtureError as error:
        return f'{head}<p class="doubt">It cannot be shown: {escape(one_line(str(error)))}</p>\n</article>\n'
    if part.stands == "hand":
        told = f"<pre>{escape(chr(10).join(catalogue.gauge_lines(part, units)))}</pre>\n"
        left = _figure(entry, part, picture, units) + told
        both = f'<div class="two">\n<div>\n{left}</div>\n<div>\n{words}</div>\n</div>\n'
        return f"{head}{_made(entry)}{both}{_explained(entry)}</article>\n"
    shown = example(part, library, table, units)
    doubt = f'<p class="doubt">Not as it stands: {escape(shown.doubt)}</p>\n' if shown.doubt else ""
    places = f"<h3>Placed by</h3>\n{doubt}" + (f"<pre>{escape(shown.text)}</pre>\n" if shown.text else "")
    more = pressing(part, units)
    places += f"<h3>{catalogue.PRESSING}</h3>\n<pre>{escape(more)}</pre>\n" if more else ""
    left = _figure(entry, part, picture, units) + places
    both = f'<div class="two">\n<div>\n{left}</div>\n<div>\n{words}</div>\n</div>\n'
    return f"{head}{_made(entry)}{both}{_explained(entry)}</article>\n"


def _made(entry: Entry) -> str:
    """How it is made and where its proportions come from."""
    own = f" Your own model, from {escape(Path(entry.file).name)}." if entry.file else ""
    hand = " Its mirror image is another block." if entry.model.handed else ""
    return f'<p class="made">Made: {escape(entry.model.made)}. Source: {escape(entry.model.source)}.{hand}{own}</p>\n'


def _figure(entry: Entry, part: Part, picture: bytes, units: Units) -> str:
    """The picture with the size of the block and what its numbers mean."""
    low, high = part.box()
    size = " x ".join(show_plain(b - a, units) for a, b in zip(low, high, strict=True))
    tells = ["Orange: faces that touch the work, numbered as in the list."] if part.pads() else []
    tells += ["Tinted: space that it needs to open."] if any(b.role == "sweep" for b in part.bodies()) else []
    data = base64.b64encode(picture).decode()
    return (
        f'<figure>\n<img src="data:image/png;base64,{data}" width="{SIZE[0]}" height="{SIZE[1]}" '
        f'alt="{escape(entry.name)}, seen from the front right and above">\n'
        f"<figcaption>{escape(' '.join([f'{size} over all.', *tells]))}</figcaption>\n</figure>\n"
    )


def _words(entry: Entry, part: Part, pattern: Pattern, units: Units) -> str:
    """Parameters, bores, faces and abilities."""
    known = catalogue.sizes(entry, pattern, units)
    rows = [(s.name, s.default, f"{s.low} to {s.high}", s.help) for s in known]
    out = _table("Parameters", ("", "default", "range", ""), rows)
    out += _table(catalogue.BORES, (), catalogue.bores(part, units))
    marks = {pad.name: f"{k}" if visible else f"{k}, behind" for k, pad, visible in numbered(part)}
    faces = [(name, marks[name], words) for name, words in catalogue.faces(part, units)]
    out += _table(catalogue.FACES, ("", "number", ""), faces)
    more = "".join(f"<p>{escape(line)}</p>\n" for line in catalogue.abilities(part, units))
    return out + (f"<h3>Also</h3>\n{more}" if more else "")


def _table(title: str, heads: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """A table of which the first column names the rows and the last one holds the long texts."""
    if not rows:
        return ""
    top = "".join(f'<th scope="col">{escape(head)}</th>' for head in heads)
    lines = [f"<thead><tr>{top}</tr></thead>" if heads else "", "<tbody>"]
    for name, *middle, last in rows:
        cells = "".join(f'<td class="short">{escape(cell)}</td>' for cell in middle)
        lines.append(f'<tr><th scope="row">{escape(name)}</th>{cells}<td>{escape(last)}</td></tr>')
    body = "\n".join(line for line in lines if line)
    return f"<h3>{escape(title)}</h3>\n<table>\n{body}\n</tbody>\n</table>\n"


def _explained(entry: Entry) -> str:
    """What the model says of itself, with its drawing."""
    text = catalogue.explanation(entry)
    prose: list[str] = []
    drawing: list[str] = []
    for block in text.split("\n\n"):
        (drawing if block.startswith(" ") or drawing else prose).append(block)
    out = "".join(f"<p>{escape(' '.join(block.split()))}</p>\n" for block in prose if block.strip())
    picture = escape("\n\n".join(drawing).rstrip())
    return out + (f"<pre>{picture}</pre>\n" if picture else "")
