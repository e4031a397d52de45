"""The lists of the setup sheet as HTML. What the data has and these lines do not know is shown all the same.

Every text of a scene goes through ``escape`` here and nowhere else.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from html import escape
from typing import Any, Final

from fixture3d.sheet.picture import Picture
from fixture3d.sheet.plan import Drawing

Row = Mapping[str, Any]

STATE: Final = {
    "blocks": "Blocks: set them in this order",
    "clamps": "Clamps: close them last",
    "loading": "Lay the pieces in, in this order",
    "distances": "Measure before the first tack: face to face",
    "measures": "Check measures",
    "measured": "Not held by holes: check again after every bump",
    "welds": "The welds, in the order to run them",
    "unloading": "Take the work out",
}
"""Lists of one state of the setup, by key of the data."""
WHOLE: Final = {
    "picks": "What to take from the rack",
    "small": "Dowels, bolts and shims",
    "pieces": "The pieces",
}
"""Lists of the whole setup."""
_TYPED: Final = ("distances", "measures")  # with a field for what was measured, in place of a box to tick
_LABELS: Final = {
    "name": "Name",
    "no": "No.",
    "hole": "Stands in",
    "others": "Dowels, bolt, face down",
    "setting": "Set to",
    "as_set": "As set",
    "top": "Top at",
    "datum": "Height of the work",
    "touches": "Face that touches",
    "toward": "Towards",
    "distance": "Face to face",
    "between": "Work between",
    "distances.stock": "Work",
    "pieces.names": "Piece",
    "welds.name": "Weld",
    "owned": "In the shop",
    "short": "Short by",
    "names": "For",
    "ends": "Ends, corners",
    "cut": "Cut to",
    "mass": "Mass each",
    "last": "Measured last",
    "why": "Because",
    "stays": "Stays",
    "skip": "Not run here",
}
_STRONG: Final = ("name", "hole", "setting", "shims", "distance", "count", "no", "planned")
_UNDER: Final = {"model": "name", "size": "name", "others": "hole", "datum": "top", "as_set": "setting", "why": "run"}
_BEFORE: Final = {"as_set": "as set: "}
_FIRST: Final = ("no", "count", "name")
_FIGURE: Final = re.compile(r"(?<=[0-9]) (?=(?:mm|in|kg|lb)\b)")
_GROUP: Final = "group"
_LONGEST: Final = 14  # letters of a word, at most, before a place to break
_HIDDEN: Final = {
    "welds": ("key", "short"),
    "measures": ("kind", "stated"),
    "pieces": ("solid",),
}
_CHANGES: Final = {
    "open": "Open",
    "off": "Take off",
    "pieces_off": "Take away",
    "moved": "Move",
    "on": "Put on",
    "again": "Set anew",
    "work": "Turn and set down the work",
    "pieces_on": "Add",
    "joined": "Welded together by now, lifted as one",
}
_NOT_NOTES: Final = ("name", "verdict", "reach", "table", "place", "title", "head", "code", "program", "units", "mass")


def state(data: Row) -> Iterator[str]:
    """Every list of one state: those that are known in their order, then the others.

    Args:
        data: of the setup, or of one of its stages.
    """
    for key, heading in STATE.items():
        if data.get(key):
            if key == "welds":
                yield from _welds(heading, data[key], data.get("order") or {})
            else:
                yield section(key, heading, data[key])
    known = {*STATE, *WHOLE, "elevations", "tiles", "fails", "accepted", "cautions", "done", "stages", "above", "page"}
    for key, value in data.items():
        if key not in known and value and isinstance(value, list):
            yield section(key, _label(key), value)
    notes = [v for k, v in data.items() if isinstance(v, str) and v and k not in _NOT_NOTES and not v.startswith("<")]
    notes += [str(note) for note in (data.get("order") or {}).get("notes", [])]
    if notes:
        yield "".join(f"<p>{escape(note)}</p>" for note in notes)


def section(key: str, heading: str, rows: Sequence[Any]) -> str:
    """A heading with a list under it: rows of a table, or plain lines."""
    return f"<h3>{escape(heading)}</h3>{table(key, [_as_row(row) for row in rows])}"


def _as_row(row: Any) -> Row:
    return row if isinstance(row, Mapping) else {"": row}


def table(key: str, rows: Sequence[Row]) -> str:
    """A table of all columns that some row has something in, each row with a box to tick or a field to type in."""
    typed = key in _TYPED
    filled = [
        column
        for column in dict.fromkeys(column for row in rows for column in row)
        if column not in _HIDDEN.get(key, ()) and any(_text(row.get(column), column) for row in rows)
    ]
    filled.sort(key=lambda column: _FIRST.index(column) if column in _FIRST else len(_FIRST))
    under = {column: host for column, host in _UNDER.items() if column in filled and host in filled}
    columns = [column for column in filled if column not in under and column != _GROUP]
    body: list[str] = []
    for row, before in zip(rows, [{}, *rows], strict=False):
        if _GROUP in filled and row.get(_GROUP) != before.get(_GROUP):
            words = escape(_text(row.get(_GROUP)))
            body.append(f'<tr><th class="group" scope="rowgroup" colspan="{len(columns) + 1}">{words}</th></tr>')
        cells = "".join(
            _cell(row, column, [one for one, host in under.items() if host == column]) for column in columns
        )
        whose = escape(next((words for column in columns if (words := _text(row.get(column), column))), ""), quote=True)
        if typed:
            field = f'<input type="text" maxlength="40" autocomplete="off" aria-label="measured: {whose}">'
            body.append(f"<tr>{cells}<td>{field}</td></tr>")
        else:
            box = f'<input type="checkbox" autocomplete="off" aria-label="done: {whose}">'
            body.append(f'<tr><td class="first">{box}</td>{cells}</tr>')
    head = "".join(f'<th scope="col">{escape(_label(column, key))}</th>' for column in columns)
    ends = (head, '<th scope="col">Measured</th>') if typed else ("<td></td>", head)
    return (
        f'<div class="wide"><table><thead><tr>{"".join(ends)}</tr></thead><tbody>{"".join(body)}</tbody></table></div>'
    )


def _cell(row: Row, column: str, more: Sequence[str]) -> str:
    """A value, and in small type under it what belongs to it."""
    strong = ' class="strong"' if column in _STRONG else ""
    small = "; ".join(_BEFORE.get(one, "") + words for one in more if (words := _text(row.get(one), one)))
    below = f'<div class="small">{_broken(small)}</div>' if small else ""
    return f"<td{strong}>{_broken(_text(row.get(column), column))}{below}</td>"


def _broken(words: str) -> str:
    """Words as HTML, with places to break in those that are longer than a column should be, and none before a unit."""
    return " ".join(
        "<wbr>".join(escape(word[k : k + _LONGEST]) for k in range(0, len(word), _LONGEST))
        for word in _FIGURE.sub("\u00a0", words).split(" ")
    )


def _label(column: str, key: str = "") -> str:
    return _LABELS.get(f"{key}.{column}", _LABELS.get(column, column.replace("_", " ").capitalize()))


def _text(value: Any, column: str = "") -> str:
    """A value in words: lists with commas, rows in a row as ``pad: piece``; nothing for no, none and none short."""
    if value is None or value is False or (value == 0 and column == "short"):
        return ""
    if value is True:
        return "yes"
    if isinstance(value, Mapping):
        return ": ".join(words for each in value.values() if (words := _text(each)))
    if isinstance(value, list | tuple):
        return ", ".join(words for each in value if (words := _text(each)))
    return str(value)


def _welds(heading: str, rows: Sequence[Row], order: Row) -> Iterator[str]:
    """Tacks, then welds as they are run; those that are not run are named under them."""
    if order.get("tacks"):
        yield section("tacks", "Tack first, in this order", order["tacks"])
    run, later = [row for row in rows if not row.get("skip")], [row for row in rows if row.get("skip")]
    if run:
        yield section("welds", heading, run)
    if later:
        yield f"<p>Not run here: {'; '.join(_broken(_text(row.get('name'))) for row in later)}.</p>"
    yield (
        f'<p class="small">Order of tacks and welds: {escape(str(order.get("basis", "")))}. Before the first weld '
        "check diagonals, twist and squareness.</p>"
    )


def changes(data: Row, before: int) -> str:
    """What comes off, goes on and moves from one stage to the next.

    Args:
        data: of the changes.
        before: number of the stage that is done.
    """
    rows = [
        {"what": _CHANGES.get(key, _label(key)), "which": each}
        for key, value in sorted(data.items(), key=lambda item: [*_CHANGES, item[0]].index(item[0]))
        if isinstance(value, list)
        for each in value
    ]
    head = f"From stage {before} to stage {before + 1}: what changes"
    return section("changes", head, rows) if rows else f"<h3>{head}</h3><p>Nothing on the table changes.</p>"


def figure(drawing: Drawing, caption: str = "") -> str:
    """A drawing; it is made of numbers, and of texts that were escaped when it was drawn."""
    return f"<figure><figcaption>{escape(caption or drawing.title)}</figcaption>{drawing.svg}</figure>"


def picture(seen: Picture, caption: str) -> str:
    """The small picture in 3D."""
    return f'<figure class="picture"><figcaption>{escape(caption)}</figcaption>{seen.svg}</figure>'


def lines(heading: str, found: Sequence[str]) -> str:
    """A box with a heading and a line for each; nothing for none."""
    if not found:
        return ""
    items = "".join(f"<li>{escape(str(one))}</li>" for one in found)
    return f'<div class="boxed"><strong>{escape(heading)}</strong><ul>{items}</ul></div>'
