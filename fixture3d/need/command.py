"""``make --hold``: what is asked for, the new scene file, and what is told."""

from __future__ import annotations

import os
import textwrap
from argparse import Namespace
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

from fixture3d.engine import assemble_all, check_jobs
from fixture3d.errors import FixtureError, SceneError, UnitError, listed, one_line, some_names
from fixture3d.job import Job
from fixture3d.job.inventory import size_in_words, table_pattern
from fixture3d.job.owned import allot
from fixture3d.library import Entry, read_given
from fixture3d.need.find import Held, Need, place_words, several
from fixture3d.need.spot import NotPossible, body_of, read_sides
from fixture3d.need.trying import Tries
from fixture3d.output import check_target, file_name
from fixture3d.part import Part
from fixture3d.progress import on_terminal
from fixture3d.report import Report
from fixture3d.report.text import verdict
from fixture3d.scene import Scene
from fixture3d.scene.edit import edited
from fixture3d.scene.elsewhere import files_from
from fixture3d.scene.fields import name_fault
from fixture3d.scene.read import decode, parse
from fixture3d.scene.scene import loads
from fixture3d.scene.schema import Place
from fixture3d.scene.write import tables_text
from fixture3d.units import from_mm, length

_WIDTH: Final = 100
_ROUNDS: Final = 4  # places that are checked in full for one that makes no check fail; else the first is taken and told
_ALONE: Final = {"table": "--table", "on": "--on"}


@dataclass(frozen=True, kw_only=True)
class Block:
    """One kind of block that is to be made.

    Attributes:
        name: of the first place that takes it.
        part: the block.
        entry: its model.
        count: how many.
    """

    name: str
    part: Part
    entry: Entry
    count: int


@dataclass(frozen=True, kw_only=True)
class Made:
    """What came of it.

    Attributes:
        target: the scene file to write.
        text: of that file.
        blocks: what is to be made.
        lines: what is told.
        worse: a check fails now that did not fail before.
    """

    target: Path
    text: str
    blocks: tuple[Block, ...]
    lines: tuple[str, ...]
    worse: bool


def design(scene: Scene, options: Namespace) -> Made:
    """Find the blocks, try them, and make the new scene file; nothing is written.

    Args:
        scene: as read from its file.
        options: of the command line.

    Raises:
        FixtureError: the options or the scene make no sense.
        NotPossible: no block does it.
    """
    target = _target(scene, options)
    if scene.size is not None and options.size is None:
        raise FixtureError(
            f"--hold: the scene has {len(scene.sizes)} sizes and a block fits one of them; expected --size NAME, one "
            f"of {some_names(scene.sizes)}"
        )
    needs = _needs(scene, options)
    jobs = assemble_all(scene)
    job = next((one for one in jobs if any(body.name == options.hold for body in one.pieces())), jobs[0])
    body_of(job, options.hold)
    for need in needs:
        if need.model:
            job.library.entry(need.model)
    before: Report | None = None
    avoid: frozenset[str] = frozenset()
    first: tuple[tuple[Held, ...], str, Report] | None = None
    for _ in range(_ROUNDS):
        try:
            with on_terminal(str(scene.path)) as progress:
                found = several(job, [replace(need, avoid=avoid) for need in needs], progress)
        except NotPossible:
            if first is None:
                raise
            break
        stages = _stages(jobs, found)
        shelf = from_shelf(found)
        tables = [_table(scene, place, stages) for one in found for place in one.places]
        text = _text(scene, target, options, tables, blocks(found, shelf))
        new = loads(text, str(target))
        new = new if scene.size is None else new.at_size(scene.size)
        new._models, new._shop = scene.models, scene._shop
        with on_terminal(str(scene.path)) as progress:
            before = before or check_jobs(jobs, progress)
            after = check_jobs(assemble_all(new), progress)
        first = first or (found, text, after)
        if after.count("fail") <= before.count("fail"):
            first = (found, text, after)
            break
        avoid |= {place_words(one.places) for one in found}
    assert first is not None
    assert before is not None
    found, text, after = first
    shelf = from_shelf(found)
    lines = [line for one in found for line in _told(one, shelf)]
    if scene.shop_file is not None and blocks(found, shelf):
        lines += _wrapped(
            f"the shop's file {one_line(str(scene.shop_file))} stays as it is; the scene lists what is made", "  "
        )
    if scene.stock and blocks(found, shelf):
        made = sum(block.count for block in blocks(found, shelf))
        lines += _wrapped(f"the scene's inventory lists {made} more, as owned once made", "  ")
    lines += [f"  was: {verdict(before)}", f"  now: {verdict(after)}"]
    worse = after.count("fail") > before.count("fail")
    mine = {place.name for one in found for place in one.places}
    for finding in after.findings:
        if mine & set(finding.subjects) or (finding.level == "fail" and finding not in before.findings):
            lines += _wrapped(f"{finding.level.upper()} {finding.message}", "  - ")
    return Made(target=target, text=text, blocks=blocks(found, shelf), lines=tuple(lines), worse=worse)


def _target(scene: Scene, options: Namespace) -> Path:
    """The scene file to write: a new one, or with ``--force`` the old one."""
    if options.output is not None:
        shown = one_line(str(options.output))
        if options.output.is_dir():
            raise FixtureError(f"-o {shown}: is a folder; expected the new scene file, such as {shown}{os.sep}NEW.toml")
        # That it exists already is looked at when it is known what is to be written: the same file is left as it is.
        return check_target(options.output, force=True, endings=(".toml",))
    if scene.path is None or not options.force:
        raise FixtureError("--hold: expected -o NEW.toml for the scene with the block, or --force to add it to the old")
    if not os.path.lexists(options.scene) and not os.path.lexists(Path(options.scene).with_suffix(".toml")):
        raise FixtureError(f"--force: {one_line(str(options.scene))} is a shipped scene; expected -o NEW.toml")
    check_target(scene.path, force=True)
    return Path(scene.path)


def _needs(scene: Scene, options: Namespace) -> list[Need]:
    for key, option in _ALONE.items():
        if getattr(options, key) is not None:
            raise FixtureError(f"{option} goes without --hold: the block is made for the table of the scene")
    given = read_given(options.parameter)
    if given and not options.model:
        raise FixtureError(f"{next(iter(given))} of which model? expected make MODEL KEY=VALUE --hold ...")
    if options.name is not None and (fault := name_fault(options.name)):
        raise FixtureError(f'--name "{one_line(options.name)}" {fault}; nearest: {file_name(options.name, "B1")}')
    sides = read_sides(options.side or "below")
    height = None if options.height is None else _length("--height", options.height, scene)
    places: list[float | None] = [_length("--at", text, scene) for text in options.at]
    return [
        Need(
            piece=options.hold,
            sides=sides,
            at=at,
            height=height,
            name=options.name or "",
            model=options.model or "",
            given=given,
            stack=options.stack,
        )
        for at in places or [None]
    ]


def _length(option: str, text: str, scene: Scene) -> float:
    try:
        value = length(text, scene.units)
    except UnitError as error:
        raise UnitError(f"{option}: {error}") from None
    if value < 0.0:
        raise UnitError(f"{option} {one_line(text)}: expected 0 or more")
    return value


def _stages(jobs: Sequence[Job], found: Sequence[Held]) -> tuple[str, ...] | None:
    """Names of the stages in which the blocks can stand and hold the piece; None for all of them.

    Raises:
        NotPossible: in none besides the one that they were found for, where that has no name.
    """
    if len(jobs) == 1:
        return None
    good = [job for job in jobs if _stand(job, found)]
    return None if len(good) == len(jobs) else tuple(str(job.stage) for job in good)


def _stand(job: Job, found: Sequence[Held]) -> bool:
    for one in found:
        if one.spots[0].piece not in {body.name for body in job.pieces()}:
            return False
        outcome = Tries(job).put(one.places, one.spots, reason=False)
        if outcome.after is None or outcome.why or set(outcome.lost) - set(one.lost):
            return False
        job = outcome.after
    return True


def _table(scene: Scene, place: Place, stages: tuple[str, ...] | None) -> dict[str, Any]:
    """A place as it stands in the file."""
    out: dict[str, Any] = {"name": place.name, "model": place.model}
    if place.hole is not None:
        out["hole"] = place.hole
    if place.on is not None:
        out |= {"on": place.on, "socket": place.socket}
    if place.turn:
        out["turn"] = place.turn
    if place.pin != "1":
        out["pin"] = place.pin
    if place.face is not None:
        out["face"] = place.face
    if place.notch is not None:
        out["notch"] = place.notch
    if place.shims:
        out["shims"] = [
            {"pad": shim.pad, "by": [round(from_mm(by, scene.units), 6) for by in shim.by]} for shim in place.shims
        ]
    if scene.size is not None:
        out["sizes"] = [scene.size]
    if stages is not None:
        out["stages"] = list(stages)
    if place.mark is not None:
        out["mark"] = place.mark
    if place.with_:
        out["with"] = dict(place.with_)
    return out


def from_shelf(found: Sequence[Held]) -> frozenset[str]:
    """Names of the blocks that the shop owns, counted over all places of the command."""
    after = found[-1].after
    if not after.scene.stock:
        return frozenset()
    mine = {place.name for one in found for place in one.places}
    return frozenset(mine & set(allot(after, table_pattern(after.scene)).of))


def blocks(found: Sequence[Held], shelf: Collection[str]) -> tuple[Block, ...]:
    """Each kind of block that is to be made, once; ``shelf`` are those that the shop owns."""
    out: dict[Part, Block] = {}
    for one in found:
        for place in (place for place in one.places if place.name not in shelf):
            part = one.after.seats[place.name].part
            entry, before = one.after.library.entry(place.model), out.get(part)
            name = place.name if before is None else before.name
            out[part] = Block(name=name, part=part, entry=entry, count=1 if before is None else before.count + 1)
    return tuple(out.values())


def _text(
    scene: Scene, target: Path, options: Namespace, tables: Sequence[dict[str, Any]], blocks: Iterable[Block]
) -> str:
    """The file with the new places at its end; all else as it was, comments too.

    Raises:
        SceneError: its places are written in a form to which none can be added.
    """
    file = str(scene.path or "")
    data = parse(scene.source, file)
    text = edited(scene.source, files_from(scene, data, target.parent), file)
    wanted = parse(text, file)
    wanted["place"] = [*wanted.get("place", []), *tables]
    added: dict[str, Any] = {"place": list(tables)}
    lines = [_owned(one, tables) for one in blocks] if scene.stock else []  # what is made is then owned
    if lines:
        wanted["inventory"] = [*wanted.get("inventory", []), *lines]
        added["inventory"] = lines
    why = f"# To hold {options.hold} from {options.side or 'below'}."
    text = f"{text.rstrip()}\n\n{one_line(why)}\n{tables_text(added).strip()}\n"
    try:
        same = parse(text, file) == wanted
    except SceneError:
        same = False
    if not same:
        raise FixtureError(f"{one_line(file)}: no block can be added behind its places; expected [[place]] for each")
    return text


def as_typed(text: str, old: bytes) -> bytes:
    r"""The new text with the line ends and the byte order mark of the old file; what it begins with stays untouched.

    >>> as_typed("a = 1\n\nb = 2\n", b"\xef\xbb\xbfa = 1\r\n")
    b'\xef\xbb\xbfa = 1\r\n\r\nb = 2\r\n'
    """
    head = decode(old).rstrip() if old.strip() else ""
    ends = "\r\n" if 2 * old.count(b"\r\n") > old.count(b"\n") else "\n"
    if head and text.startswith(head):
        return old.rstrip() + text[len(head) :].replace("\n", ends).encode("utf-8")
    mark = b"\xef\xbb\xbf" if old.startswith(b"\xef\xbb\xbf") else b""
    return mark + text.replace("\n", ends).encode("utf-8")


def _owned(block: Block, tables: Sequence[dict[str, Any]]) -> dict[str, Any]:
    sizes = next(one.get("with", {}) for one in tables if one["name"] == block.name)
    return {"model": block.part.model, "count": block.count, **({"with": sizes} if sizes else {})}


def _told(one: Held, shelf: Collection[str]) -> list[str]:
    """The blocks with their places, and what was worked out and tried."""
    units, show = one.after.scene.units, table_pattern(one.after.scene).show
    lines = []
    for place in one.places:
        seat = one.after.seats[place.name]
        where = f"in hole {place.hole}" if place.hole is not None else f"on {place.on}, socket {place.socket}"
        where = where if place.pin == "1" else f"pin {place.pin} {where}"
        keys = [where, f"turn = {place.turn:g}"]
        keys += [f"on its {place.face}"] if place.face is not None else []
        keys += [f"notch = {place.notch}"] if place.notch is not None else []
        keys += [f"shim of {show(sum(shim.by))} on its {shim.pad}" for shim in place.shims]
        lines += _wrapped(f"{place.name}: {place.model} ({size_in_words(seat.part, units)}), {', '.join(keys)}", "")
    spots = one.spots
    touches = f"touches {spots[0].piece} from {' and '.join(spot.side for spot in spots)}"
    if one.at is not None:
        touches += f", its middle {show(round(one.at, 2))} along it"
        if one.off > 0.0:
            touches += f", the nearest that stands to {show(spots[0].at)}"
    torch = ", and the torch keeps its room" if one.after.welds else ""
    if one.lost:
        torch = f", but there is no place where the torch does not reach less of {listed(one.lost)}"
    dowels = listed([hole for place in one.places for hole in one.after.seats[place.name].holes])
    tried = f"place {one.tried} of those tried" if one.tried > 1 else "the first place tried"
    mine = [place.name for place in one.places if place.name in shelf and not one.owned]
    owns = f"; the shop owns {listed(mine)}" if mine else ""
    words = f"{one.words}{owns}; dowels in {dowels}; it stands, runs into nothing, {touches}{torch} ({tried})"
    return lines + _wrapped(words, "  ")


def _wrapped(text: str, head: str) -> list[str]:
    return textwrap.wrap(
        text, _WIDTH, initial_indent=head, subsequent_indent=" " * max(len(head), 4), break_on_hyphens=False
    )


__all__ = ["Block", "Made", "NotPossible", "as_typed", "design"]
