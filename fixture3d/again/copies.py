"""Several of one setup on one table: pieces, welds and blocks once more, each a step further, in one scene file.

A scene has one weldment. The copies are further pieces of it, drawn a step aside, and are welded each by itself.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

import numpy as np

from fixture3d import frame, units
from fixture3d.again.again import Again, headed, in_file, on_the_table
from fixture3d.again.blocks import Moved, moved_blocks
from fixture3d.again.change import Change, Spot, move_words
from fixture3d.errors import FixtureError, Problem, SceneError, some_names
from fixture3d.frame import Array
from fixture3d.job import Job, Seat
from fixture3d.scene import Scene, problem_at
from fixture3d.scene.edit import Edit, edited
from fixture3d.scene.elsewhere import files_from
from fixture3d.scene.read import parse
from fixture3d.scene.schema import FRAME_SIDES
from fixture3d.scene.write import tables_text

MOST: Final = 26
_DIGITS: Final = 9
_NEAR: Final = 1e-6
_LISTS: Final = ("pieces", "welds", "without")


@dataclass
class _Copy:
    """One copy: what its parts are called, and how far it is from the first.

    Attributes:
        sign: behind its names.
        aside: (3,) mm in the frame of the weldment.
        names: of blocks and pieces, as the first calls them, to its own; of shared blocks to those that stand there.
    """

    sign: str
    aside: Array
    names: dict[str, str] = field(default_factory=dict)

    def of(self, name: str) -> str:
        return self.names.get(name, name)

    def weld(self, name: str) -> str:
        """A weld's name; of a found one with the names of its two pieces."""
        first, stroke, rest = name.partition(" / ")
        if not stroke:
            return f"{name} {self.sign}"
        second = max(
            (n for n in self.names if rest == n or rest.startswith(f"{n},") or rest.startswith(f"{n} (")),
            key=len,
            default="",
        )
        return f"{self.of(first)} / {self.of(second)}{rest[len(second) :]}"


def repeated(scene: Scene, jobs: Sequence[Job], times: int, step: Spot, folder: Path | None = None) -> Again:
    """The file of so many of the setup on one table.

    Args:
        scene: with all its stages, as read from a file.
        jobs: of its stages.
        times: how many there will be.
        step: from each to the next, in holes to the right and to the back.
        folder: where the new file will be.

    Raises:
        SceneError: a block cannot stand a step further, or the pieces cannot be repeated.
        FixtureError: a copy would leave the table.
    """
    if not 2 <= times <= MOST:
        raise FixtureError(f"--repeat {times}: expected 2 to {MOST}")
    if step == (0.0, 0.0):
        raise FixtureError('--repeat: nothing says how far apart; expected --step, as in "--step right 14"')
    _refuse(scene)
    data = parse(scene.source, str(scene.path or ""))
    standing = {seat.name: seat for job in reversed(jobs) for seat in job.seats.values()}
    own = dict(standing)
    lists: dict[tuple[int, str], list[str]] = {}
    parts, shared, signs = list[str](), dict[str, list[str]](), dict[str, str]()
    letters = _signs(data, times - 1)
    for number in range(1, times):
        change = Change(shift=(step[0] * number, step[1] * number), words=(f"copy {number + 1} of {times}",))
        try:
            on_the_table(scene, jobs, change)
        except FixtureError as error:
            said = str(error).partition("; nearest")[0]
            raise FixtureError(f"{said}; expected a smaller step, or at most {number} of them") from error
        moved = moved_blocks(scene, jobs, change)
        if moved.problems:
            raise SceneError(moved.problems)
        sign = letters[number - 1]
        copy = _Copy(sign=sign, aside=_aside(jobs[0], change), names=_piece_names(data, sign))
        signs |= dict.fromkeys(copy.names.values(), sign)
        for name in own:
            same = _same_block(scene, moved.seats[name], standing)
            copy.names[name] = same or f"{name} {sign}"
            if same:
                shared.setdefault(same, []).append(f"{name} {sign}")
            else:
                standing[f"{name} {sign}"] = moved.seats[name]
        words = f"# Copy {sign}: {move_words(change.shift)} from the first"
        parts.append(f"{words}\n\n{tables_text(_tables(scene, data, copy, moved, shared)).lstrip()}")
        _add_to_stages(data, copy, lists)
    edits = [Edit(table=("stage", k), key=key, value=names) for (k, key), names in lists.items()]
    if scene.title:
        edits.append(Edit(table=(), key="title", value=f"{scene.title}, {times} on one table"))
    text = edited(scene.source, [*edits, *files_from(scene, data, folder)], str(scene.path or ""))
    text = headed(text.rstrip("\n"), f"{times} on one table, each {move_words(step)} from the last", scene)
    notes = [f"{one} serves as {', '.join(more)} too" for one, more in shared.items()]
    text = "\n\n".join([text, *parts])
    try:
        parse(text)
    except SceneError:
        what = "its entries stand in lists with braces, to which none can be added"
        raise SceneError(
            [Problem(what=what, file=str(scene.path or ""), expected="[[place]] for every block")]
        ) from None
    return Again(text=text, notes=(*notes, *_exempt(scene)), copies=signs)


def _signs(data: Mapping[str, Any], count: int) -> list[str]:
    """Letters that make new names of all that have one, from ``b`` on; then two letters."""
    kinds = ("member", "plate", "frame", "place", "clamp", "weld")
    taken = {str(one["name"]).casefold() for kind in kinds for one in data.get(kind, ())}
    last = {name.rpartition(" ")[2] for name in taken}
    letters = "abcdefghijklmnopqrstuvwxyz"
    every = [*letters[1:], *(a + b for a in letters for b in letters)]
    return [sign for sign in every if sign not in last][:count]


def between(made: Again, jobs: Sequence[Job]) -> list[str]:
    """What to say of welds that join one copy to another: they lie too near each other."""
    found = [
        weld.name
        for job in jobs
        for weld in job.welds
        if len({made.copies.get(name, "") for name in weld.joins if name}) > 1
    ]
    if not found:
        return []
    return [f"copies touch, and welds are found between them: {some_names(found, 3)}; a larger --step parts them"]


def _refuse(scene: Scene) -> None:
    """What cannot be repeated in one scene."""
    keys = scene.weldment
    if keys is not None and keys.file is not None:
        what = "its pieces come from a file, which holds them once"
        raise problem_at(scene, ("weldment",), "file", what, "pieces that are listed, or a file with all copies")
    for k, stage in enumerate(scene.stages):
        if stage.weldment is not None and not stage.weldment.model_fields_set <= {"lift", "offset", "hole"}:
            what = "it lays the work down another way, and copies would not keep their distance"
            raise problem_at(scene, ("stage", k), "weldment", what, "stages that turn nothing, or one setup for each")


def _aside(job: Job, change: Change) -> Array:
    """How far a copy is from the first, in the frame of the weldment, (3,) mm."""
    world = change.to_world(job.table)[:3, 3]
    if job.weldment is None:
        return world
    return np.round(frame.directions(frame.inverse(job.weldment.weldment_to_world), world), _DIGITS) + 0.0


def _piece_names(data: Mapping[str, Any], sign: str) -> dict[str, str]:
    names = {
        one["name"]: f"{one['name']} {sign}" for kind in ("member", "plate", "frame") for one in data.get(kind, ())
    }
    for one in data.get("frame", ()):
        names |= {f"{one['name']} {side}": f"{one['name']} {sign} {side}" for side in FRAME_SIDES}
    return names


def _same_block(scene: Scene, seat: Seat, standing: Mapping[str, Seat]) -> str:
    """The block that stands there already, alike in everything; clamps are never shared."""
    if seat.clamp:
        return ""
    for name, other in standing.items():
        if (
            not other.clamp
            and other.part == seat.part
            and np.abs(other.model_to_world - seat.model_to_world).max() <= _NEAR
            and abs(other.slide - seat.slide) <= _NEAR
            and (other.shims, other.place.bolt, other.place.pins, other.place.stages)
            == (seat.shims, seat.place.bolt, seat.place.pins, seat.place.stages)
        ):
            return name
    return ""


def _tables(
    scene: Scene, data: Mapping[str, Any], copy: _Copy, moved: Moved, shared: Mapping[str, Sequence[str]]
) -> dict[str, Any]:
    """The tables of one copy, as they stand in the file."""
    out: dict[str, Any] = {}
    for kind in ("member", "frame", "plate"):
        out[kind] = [_piece(scene, one, kind, copy) for one in data.get(kind, ())]
    out["weld"] = [_weld(scene, one, copy) for one in data.get("weld", ())]
    gone = {name for names in shared.values() for name in names}
    for kind in ("place", "clamp"):
        out[kind] = [_block(one, copy, moved) for one in data.get(kind, ()) if f"{one['name']} {copy.sign}" not in gone]
    out["accept"] = [
        {**one, "subjects": [copy.of(copy.weld(name) if " / " in name else name) for name in one["subjects"]]}
        for one in data.get("accept", ())
        if one.get("subjects")
    ]
    return {kind: entries for kind, entries in out.items() if entries}


def _piece(scene: Scene, entry: Mapping[str, Any], kind: str, copy: _Copy) -> dict[str, Any]:
    new = {**entry, "name": copy.of(entry["name"])}
    for key in ("from", "to"):
        if key in entry:
            new[key] = _point(scene, entry[key], copy)
    if "path" in entry:
        new["path"] = [_point(scene, point, copy) for point in entry["path"]]
    if kind in ("frame", "plate"):
        new["at"] = _point(scene, entry.get("at", [0, 0, 0]), copy)
    if "ends" in entry:
        new["ends"] = [_end(end, copy) for end in entry["ends"]]
    return new


def _end(end: Any, copy: _Copy) -> Any:
    if not isinstance(end, Mapping):
        return end
    return {key: copy.of(one) if key in ("mitre_to", "cope", "against") else one for key, one in end.items()}


def _weld(scene: Scene, entry: Mapping[str, Any], copy: _Copy) -> dict[str, Any]:
    new = {**entry, "name": copy.weld(entry["name"])}
    if "joins" in entry:
        new["joins"] = [copy.of(name) for name in entry["joins"]]
    if "path" in entry:
        new["path"] = [_point(scene, point, copy) for point in entry["path"]]
    return new


def _block(entry: Mapping[str, Any], copy: _Copy, moved: Moved) -> dict[str, Any]:
    changes = {key: in_file(entry, key, value) for key, value in moved.keys[entry["name"]].items()}
    new = {**entry, **changes, "name": copy.of(entry["name"])}
    for key in ("on", "presses", "toward"):
        if key in entry:
            new[key] = copy.of(entry[key])
    return {key: value for key, value in new.items() if value is not None}


def _point(scene: Scene, point: Sequence[Any], copy: _Copy) -> list[Any]:
    """A point of the file, a step aside; what does not move stays as it is written."""
    out: list[Any] = []
    for value, aside in zip(point, copy.aside, strict=True):
        if abs(float(aside)) <= _NEAR:
            out.append(value)
            continue
        mm = units.length(value, scene.units) + float(aside)
        new = round(units.from_mm(mm, scene.units), _DIGITS) + 0.0
        out.append(int(new) if new == int(new) else new)
    return out


def _add_to_stages(data: Mapping[str, Any], copy: _Copy, lists: dict[tuple[int, str], list[str]]) -> None:
    """The names of a copy in every list of a stage that has those of the first."""
    for k, stage in enumerate(data.get("stage", ())):
        for key in _LISTS:
            if key in stage:
                names = [copy.weld(name) if key == "welds" else copy.of(name) for name in stage[key]]
                known = lists.setdefault((k, key), list(stage[key]))
                known += [name for name in names if name not in known]


def _exempt(scene: Scene) -> list[str]:
    if scene.weldment is None:
        return []
    return [
        "the copies are pieces of one weldment in the file: its mass and its length over all are those of all together"
    ]
