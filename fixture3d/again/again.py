"""The text of a scene file for the same setup elsewhere on its table: only the keys that must differ are changed."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from fixture3d.again.blocks import moved_blocks, used_spots
from fixture3d.again.change import Change, hole_at, missing, move_words, spot_of
from fixture3d.errors import FixtureError, SceneError, TableError, one_line, some_names
from fixture3d.job import Job
from fixture3d.scene import Scene, problem
from fixture3d.scene.edit import Edit, comments, edited, with_heading
from fixture3d.scene.elsewhere import files_from
from fixture3d.scene.read import parse

_ORDER: Final = {
    "hole": ("name",),
    "offset": ("hole",),
    "turn": ("slide", "socket", "on", "edge", "hole"),
    "tilt": ("turn", "lift", "offset", "hole"),
    "mirrored": ("turn", "lift", "offset", "hole"),
    "pin": ("turn", "hole"),
    "face": ("turn", "hole"),
    "socket": ("on",),
}
_MIRRORED: Final = ", mirrored"
_HOLE: Final = re.compile(r"(?<![\w.])([A-Z]{1,2}[0-9]{1,3}\+?)(?!\w|\.\d)")
_LINE: Final = re.compile(r"\b(?:rows?|columns?) (?:[0-9]{1,3}|[A-Z]{1,2})\b")
_SIDES: Final = re.compile(r"\b(?:left|right|front|back)\b", re.IGNORECASE)
_SHOWN: Final = 8


@dataclass(frozen=True, kw_only=True)
class Again:
    """A scene file made from another one.

    Attributes:
        text: of the new file.
        notes: what the reader should look at, in sentences.
        copies: of several on one table, the sign of the copy that each further piece belongs to.
    """

    text: str
    notes: tuple[str, ...] = ()
    copies: Mapping[str, str] = field(default_factory=dict)


def again(scene: Scene, jobs: Sequence[Job], change: Change, folder: Path | None = None) -> Again:
    """The file of the scene with its setup mirrored, turned and moved.

    Args:
        scene: with all its stages, as read from a file.
        jobs: of its stages.
        change: what is done.
        folder: where the new file will be; files with geometry that the scene names are named from there.

    Raises:
        SceneError: something cannot stand where it should, each with its line.
        FixtureError: the setup would leave the table.
    """
    on_the_table(scene, jobs, change)
    moved = moved_blocks(scene, jobs, change)
    if moved.problems:
        raise SceneError(moved.problems)
    data = parse(scene.source, str(scene.path or ""))
    edits = _weldment_edits(scene, data, change)
    for kind in ("place", "clamp"):
        for k, entry in enumerate(data.get(kind, ())):
            for key, value in moved.keys.get(entry["name"], {}).items():
                value = in_file(entry, key, value)
                if entry.get(key) != value:
                    edits.append(Edit(table=(kind, k), key=key, value=value, after=_ORDER.get(key, ())))
    edits += files_from(scene, data, folder)
    text = edited(scene.source, edits, str(scene.path or ""))
    text = headed(text, ", ".join(change.words), scene)
    return Again(
        text=text[:2] + text[2:3].upper() + text[3:],
        notes=(*moved.notes, *_stale(scene, change), *_exempt(scene, change)),
    )


def headed(text: str, words: str, scene: Scene) -> str:
    """The text with a first line that says what was done and where it comes from."""
    return with_heading(text, f"{words[:1].upper()}{words[1:]}: from {scene.path.name if scene.path else 'a scene'}")


def in_file(entry: Mapping[str, Any], key: str, value: Any) -> Any:
    """A new value of a block's key as it stands in the file: of shims only the pads change."""
    if key != "shims":
        return value
    return [{**shim, "pad": pad} for shim, pad in zip(entry["shims"], value, strict=True)]


def on_the_table(scene: Scene, jobs: Sequence[Job], change: Change) -> None:
    """Refuse what would leave the table, with the move that would keep it there."""
    table, spots = scene.table, used_spots(jobs)
    for keys in _poses(scene):
        hole = table.find(keys.hole)
        if not hole.grid:
            spots[f"the weldment: {hole.name}"] = spot_of(table, hole)
    after = {what: change.spot(at) for what, at in spots.items()}
    short = missing(table, after.values())
    if short == (0.0, 0.0):
        return
    shown = one_line(str(scene.path or "scene"))
    if short is None:
        raise FixtureError(
            f"{shown}: {', '.join(change.words)}: the setup takes more columns or rows than the table has that way "
            f"({table.ranges}); expected another turn, or a larger table"
        )
    gone = [what for what, at in after.items() if hole_at(table, at) is None]
    more = len({what.rpartition(": ")[0] for what in gone}) - 1
    near = move_words(_total(change, short))
    raise FixtureError(
        f"{shown}: {', '.join(change.words)}: {gone[0]} would leave the table"
        + (f", as would {more} more" if more else "")
        + f"; nearest that fits: {'no --move' if near == 'by nothing' else f'--move {near}'}"
    )


def _total(change: Change, short: tuple[float, float]) -> tuple[float, float]:
    """The whole move that is to be asked for, when so much is missing."""
    return change.move[0] + short[0], change.move[1] + short[1]


def _poses(scene: Scene) -> Iterable[Any]:
    """The records that say where the weldment sits."""
    if scene.weldment is not None:
        yield scene.weldment
    yield from (stage.weldment for stage in scene.stages if stage.weldment is not None and stage.weldment.hole)


def _weldment_edits(scene: Scene, data: dict[str, Any], change: Change) -> list[Edit]:
    """What changes in ``[weldment]`` and in the stages that lay it down otherwise, and the title of a mirrored one."""
    if scene.weldment is None and not scene.geometry_files and "weldment" not in data:
        return []
    edits: list[Edit] = []
    tables: list[tuple[tuple[str | int, ...], dict[str, Any]]] = [(("weldment",), data.get("weldment", {}))]
    tables += [
        (("stage", k, "weldment"), one["weldment"]) for k, one in enumerate(data.get("stage", ())) if "weldment" in one
    ]
    for path, keys in tables:
        new: dict[str, Any] = {}
        if path == ("weldment",) or "hole" in keys:
            new["hole"] = _hole(scene, path, str(keys.get("hole", "A1")), change)
        if "offset" in keys:
            new["offset"] = _turned(change, keys["offset"])
        if change.mirrors or change.degrees:
            old = keys.get("turn", 0)
            turn = (change.degrees - old if change.mirrors else change.degrees + old) % 360.0
            turn = int(turn) if turn == int(turn) else turn
            if path == ("weldment",) or "turn" in keys:
                new["turn"] = turn if turn or "turn" in keys else None
        if change.mirrors and "tilt" in keys:
            tilt = keys["tilt"]
            new["tilt"] = [tilt[0], _minus(tilt[1])] if isinstance(tilt, list) else tilt
        if change.mirrors and path == ("weldment",):
            new["mirrored"] = None if keys.get("mirrored", False) else True
        edits += [
            Edit(table=path, key=key, value=value, after=_ORDER.get(key, ()))
            for key, value in new.items()
            if keys.get(key) != value
        ]
    if change.mirrors and scene.title:
        old = data["title"]
        title = old.removesuffix(_MIRRORED) if old.endswith(_MIRRORED) else old + _MIRRORED
        edits.append(Edit(table=(), key="title", value=title))
    return edits


def _hole(scene: Scene, path: tuple[str | int, ...], name: str, change: Change) -> str:
    hole = scene.table.find(name)
    if hole.grid:
        what = f'it sits on grid "{hole.grid}", which stays where it is'
        raise SceneError([problem(scene, path, "hole", what, "a hole of the table top")])
    new = hole_at(scene.table, change.spot(spot_of(scene.table, hole)))
    assert new is not None  # on_the_table has looked
    return new


def _turned(change: Change, offset: Sequence[Any]) -> list[Any]:
    """An offset as the file says it, turned with the work."""
    out: list[Any] = []
    for row in change.turns:
        k = 0 if row[0] else 1
        out.append(offset[k] if row[k] > 0 else _minus(offset[k]))
    return out


def _minus(value: Any) -> Any:
    """The opposite of a number or a length as it stands in a file.

    >>> _minus("3/4 in"), _minus("-3/4 in"), _minus(20), _minus(0)
    ('-3/4 in', '3/4 in', -20, 0)
    """
    if isinstance(value, str):
        text = value.strip()
        return text[1:].lstrip() if text.startswith("-") else f"-{text}"
    return -value if value else value


def _stale(scene: Scene, change: Change) -> list[str]:
    """Comments that name holes or sides, and names with a side in them: they stay as they were."""
    names = {item.name for item in (*scene.places, *scene.clamps)}
    for pieces in (scene.members, scene.frames, scene.plates):
        names |= {item.name for item in pieces}
    holes, sides = [], []
    for line, words in comments(scene.source):
        if any(_is_hole(scene, word) for word in _HOLE.findall(words) if word not in names) or _LINE.search(words):
            holes.append(line + 1)
        elif (change.mirrors or change.degrees) and _SIDES.search(words):
            sides.append(line + 1)
    out = []
    if holes:
        out.append(f"comments that name holes may be stale: {_lines(holes)}")
    if sides:
        out.append(f"comments that speak of left, right, front or back: {_lines(sides)}")
    called = sorted(name for name in names if _SIDES.search(name))
    if called and change.mirrors:
        out.append(f"names keep the words of the drawing: {some_names(called, 4)}")
    return out


def _is_hole(scene: Scene, word: str) -> bool:
    try:
        scene.table.find(word)
    except TableError:
        return False
    return True


def _lines(numbers: Sequence[int]) -> str:
    shown = ", ".join(map(str, numbers[:_SHOWN])) + (
        f" and {len(numbers) - _SHOWN} more" if len(numbers) > _SHOWN else ""
    )
    return f"line{'s' if len(numbers) > 1 else ''} {shown}"


def _exempt(scene: Scene, change: Change) -> list[str]:
    """What of a setup has no mirror image, or another one."""
    if not change.mirrors:
        return []
    out = ["the torch and the hand that feeds filler are not mirrored: who welds stays right-handed"]
    if scene.weldment is not None:
        out.append("the pieces are mirrored too: the cut list says which of them have a hand")
    return out
