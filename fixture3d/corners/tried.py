"""Models tried at all corners, and what is wrong with them in words."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Final

from fixture3d.corners.built import SAME, Built
from fixture3d.corners.cases import CORNERS, PATTERNS, cases, values
from fixture3d.corners.proofs import ALL
from fixture3d.errors import FixtureError, one_line
from fixture3d.library import Entry, Library, line_in
from fixture3d.part import Pattern, parameters

RANDOM: Final = 1  # blocks between the corners for each hole pattern, as in the suite of the shipped models
# Tables that nobody checked the model for: there it must have a block of its own size, without a look at its solid.
_TABLES: Final = tuple(Pattern(pitch=p, bore=round(p * s)) for p in (25.0, 75.0, 150.0) for s in (0.16, 0.3, 0.5))
_FIGURE: Final = re.compile(r"(?<!bore )(?<!socket )(?<![\w\"])-?\d+(?:\.\d+)?")
_SHORTEST_HELP: Final = 5  # characters; less tells nobody what a parameter is


@dataclass(frozen=True, kw_only=True)
class Wrong:
    """One thing that is wrong with a model.

    Attributes:
        what: a sentence.
        where: the blocks of which it was seen, such as ``"50/16 low"``; none for the model as a whole.
    """

    what: str
    where: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Tried:
    """What came of one model: how many blocks were built, and what is wrong."""

    name: str
    blocks: int
    wrong: tuple[Wrong, ...]


def try_model(
    shop: Library, entry: Entry, random_ones: int = RANDOM, progress: Callable[[str, int, int], None] = lambda *_: None
) -> Tried:
    """Build a model at all corners on the usual hole patterns and look at each block.

    Args:
        shop: the library that has it.
        entry: the model.
        random_ones: blocks between the corners, for each hole pattern.
        progress: is told how far it has come.
    """
    # By the sentence without its figures, which differ from block to block.
    found: dict[str, tuple[str, list[str]]] = {}
    for what in _of_the_model(shop, entry):
        found.setdefault(_FIGURE.sub("", what), (what, []))
    built = 0
    tries = [(p, c) for p in PATTERNS for c in cases(random_ones)]
    for number, (pattern, case) in enumerate(tries, start=1):
        block, wrong = _built(shop, entry, pattern, case)
        built += block is not None
        for what in [*wrong, *([] if block is None else _of_the_block(block, case))]:
            found.setdefault(_FIGURE.sub("", what), (what, []))[1].append(f"{pattern} {case}")
        progress(entry.name, number, len(tries))
    told = tuple(Wrong(what=what, where=tuple(dict.fromkeys(where))) for what, where in found.values())
    return Tried(name=entry.name, blocks=built, wrong=told)


def _of_the_model(shop: Library, entry: Entry) -> Iterator[str]:
    if not entry.summary:
        yield "it has no description; expected a docstring whose first line says what the block does"
    for key, parameter in parameters(entry.model).items():
        if len(str(parameter.help)) <= _SHORTEST_HELP:
            yield f"parameter {key}: help says too little; expected a few words"
    for pattern in (*PATTERNS.values(), *_TABLES):
        where = f"for holes of {pattern.show(pattern.bore)} on {pattern.show(pattern.pitch)}"
        for key, parameter in parameters(entry.model).items():
            ends = _said(lambda p=parameter, t=pattern: [p.resolved(w, t) for w in ("low", "default", "high")])  # type: ignore[misc]
            if isinstance(ends, str):
                yield f"parameter {key} {where}: {ends}"
            elif not ends[0] - SAME <= ends[1] <= ends[2] + SAME:
                yield (
                    f"parameter {key} {where}: its default is not in its range; "
                    f"expected low <= default <= high, found {ends[0]:g}, {ends[1]:g}, {ends[2]:g}"
                )
    for pattern in _TABLES:
        made = _said(lambda t=pattern: shop.make(entry.name, t))  # type: ignore[misc]
        if isinstance(made, str):
            where = f"for holes of {pattern.show(pattern.bore)} on {pattern.show(pattern.pitch)}"
            yield f"no block of its own size can be made {where}: {_short(made, entry)}"


def _built(shop: Library, entry: Entry, pattern: str, case: str) -> tuple[Built | None, list[str]]:
    """A block with its solids; or what is wrong."""
    given = _said(lambda: values(shop, entry.name, PATTERNS[pattern], case), entry.file)
    if isinstance(given, str):
        return None, [_short(given, entry)]
    block = _said(lambda: Built.of(shop.make(entry.name, PATTERNS[pattern], given)), entry.file)
    return (None, [f"it cannot be made: {_short(block, entry)}"]) if isinstance(block, str) else (block, [])


def _of_the_block(block: Built, case: str) -> list[str]:
    out: list[str] = []
    for name, proof in ALL.items():
        told = _said(lambda p=proof: out.extend(p(block, case)))  # type: ignore[misc]
        if isinstance(told, str):
            out.append(f"its {name} cannot be looked at: {told}")
        if name == "solids" and out:
            break  # what follows asks valid solids
    return out


def _said(work: Callable[[], Any], file: str = "") -> Any:
    """What ``work`` gives, or why it could not, as one line of text; with its line in the model's ``file``."""
    try:
        return work()
    except MemoryError:
        raise
    except FixtureError as error:
        return one_line(str(error).splitlines()[0])
    except (Exception, SystemExit) as error:
        return one_line(f"{type(error).__name__}: {error}") + line_in(error, file)


def _short(text: str, entry: Entry) -> str:
    """A message without the file and model that it is printed under."""
    for head in (f"{entry.file}: ", f'model "{entry.name}" ', "cannot be built: ", f"{entry.name}: "):
        text = text.replace(head, "", 1)
    return text


def in_words(tried: Sequence[Tried], most: int = 20) -> str:
    """The answer of ``models --test``: one paragraph a model, faults first seen first.

    Args:
        tried: of all models.
        most: faults of one model that are printed; how many more there are is said.
    """
    out: list[str] = []
    for one in tried:
        if not one.wrong:
            out.append(f"{one.name}: {one.blocks} blocks built on {len(PATTERNS)} hole patterns, nothing wrong")
            continue
        out.append(f"{one.name}: {len(one.wrong)} wrong, {one.blocks} blocks built on {len(PATTERNS)} hole patterns")
        for wrong in one.wrong[:most]:
            out.append(f"  - {wrong.what}{_places(wrong.where, one)}")
        if len(one.wrong) > most:
            out.append(f"  and {len(one.wrong) - most} more, of the same blocks")
    return "\n".join(out) + "\n"


def _places(where: Sequence[str], one: Tried) -> str:
    if not where:
        return ""
    if len(where) >= len(PATTERNS) * (len(CORNERS) + RANDOM):
        return " (every block)"
    return f" ({', '.join(where[:3])}{f' and {len(where) - 3} more' if len(where) > 3 else ''})"
