"""Every block of a list as files in one folder, gone on with where it was left."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path

from fixture3d import output
from fixture3d.cache import Store, default_store
from fixture3d.errors import FixtureError
from fixture3d.export.block import BlockFiles, no_outline
from fixture3d.export.cut_list import refuse_early
from fixture3d.export.orders import Orders
from fixture3d.workshop.making import Block, Form, keep, known, known_of, outcomes, refuse_names, refuse_others


@dataclass(kw_only=True)
class Made:
    """What came of a list: files written, how many blocks were made or were there, what was not made, in words."""

    paths: list[Path] = field(default_factory=list)
    made: int = 0
    there: int = 0
    problems: list[str] = field(default_factory=list)
    faults: int = 0
    solid: list[tuple[str, str]] = field(default_factory=list)


def write_orders(
    asked: Orders,
    folder: str | os.PathLike[str],
    form: Form,
    *,
    force: bool = False,
    store: Store | None = None,
    workers: int = 1,
    models: Sequence[Path] = (),
    progress: Callable[[str, int, int], None] = lambda *_: None,
) -> Made:
    """Write every block of a list. One that cannot be made does not stop the others.

    Args:
        asked: by ``read_orders``; its problems are told with the others.
        folder: that is there.
        form: what they are written as.
        force: files of other content may be replaced.
        store: the cache; None takes the user's own.
        workers: processes, see ``making.outcomes``.
        models: folders of the user's own.
        progress: is told how far it has come.

    Raises:
        OutputRefused: there is no such folder.
    """
    refuse_early(folder)
    target, kept = Path(folder), default_store() if store is None else store
    out = Made(problems=list(asked.problems))
    blocks = [Block(part=o.part, entry=o.entry, title=o.title, quantity=o.quantity) for o in asked.orders]
    first = [_first_look(block, form, target, force, kept, out) for block in blocks]
    todo = [block for block, answer in zip(blocks, first, strict=True) if answer is None]
    owners: dict[str, int] = {}
    with closing(outcomes(todo, form, kept, workers, models)) as made:
        for number, (order, block, answer) in enumerate(zip(asked.orders, blocks, first, strict=True)):
            done = None if answer is not None else next(made)
            if done is not None and done.fault:
                out.faults += 1
                answer = f"{order.title}: a fault of the program, not of your file: {done.fault}"
            elif done is not None and done.files is None:
                answer = done.wrong
            elif done is not None and done.files is not None and not done.files.files:
                answer = "; ".join(no_outline(done.files.solid))
            elif done is not None and done.files is not None:
                answer = _written(number, done.files, target, force, owners, out)
                if not answer:
                    keep(block, form, known_of(done.files), kept)
            out.problems += [f"{order.where}: {line}" for line in (answer or "").splitlines()]
            progress("block", number + 1, len(blocks))
    return out


def _first_look(block: Block, form: Form, folder: Path, force: bool, store: Store, out: Made) -> str | None:
    """None where it is to be made; else what is wrong with that, or nothing where all of it is there."""
    found = known(block, form, store)
    try:
        if found is None:
            refuse_names(block, form, folder)
            return None
        if not found.sums:
            return "; ".join(no_outline(found.solid))
        missing = found.missing(folder)
        refuse_others(folder, missing, force)
    except FixtureError as error:
        return str(error)
    if missing:
        return None
    out.there += 1
    out.solid += found.solid
    return ""


def _written(number: int, done: BlockFiles, folder: Path, force: bool, owners: dict[str, int], out: Made) -> str:
    """Write what is not there yet; what is wrong with that, or nothing."""
    mine = {name.casefold() for name in done.files}
    if any(owners.setdefault(name, number) != number for name in mine):
        return "its files have the names of files of another block of the list; expected another name"
    missing = known_of(done).missing(folder)
    try:
        refuse_others(folder, missing, force)
        wanted = {folder / name: data for name, data in done.files.items() if name in missing}
        out.paths += output.write_many(wanted, force)
    except FixtureError as error:
        return str(error)
    out.solid += done.solid
    out.made += bool(missing)
    out.there += not missing
    return ""
