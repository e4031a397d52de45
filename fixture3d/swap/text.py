"""A swap as the half page that is printed, and as JSON."""

from __future__ import annotations

import textwrap
from collections import Counter
from collections.abc import Iterator, Sequence
from typing import Any, Final

from fixture3d import __version__
from fixture3d.errors import one_line
from fixture3d.job import Job
from fixture3d.job.code import content_code
from fixture3d.swap.swap import ASSUMED, Line, Swap, Where

SCHEMA: Final = "fixture3d.swap/1"
_WIDTH: Final = 110


def head(job: Job) -> str:
    """File, title, stage and content code of a setup."""
    path = job.scene.whole.path
    name = one_line(path.name) if path is not None else "a scene"
    title = one_line(job.title)
    return f"{name}{f' ({title})' if title else ''}, code {content_code(job)}"


def counts(swap: Swap) -> str:
    """How many stand, stay and are moved, in one sentence."""
    done: Counter[str] = Counter(line.do for line in swap.lines)
    parts = [
        f"{done[do]} {words}"
        for do, words in (
            ("take off", "to the rack"),
            ("move", "from place to place"),
            ("put on", "from the rack"),
            ("lay by", "by way of the rack, two moves each"),
        )
        if done[do]
    ]
    moves = f"{swap.moves} move{'' if swap.moves == 1 else 's'}"
    if not swap.moves:
        out = "No block is lifted"
    elif swap.moves == swap.least:
        out = f"{moves}, the fewest that do it: {'; '.join(parts)}"
    else:
        out = f"{moves}: {'; '.join(parts)}. The search was stopped: {swap.least} may do, fewer cannot"
    anew = done["set anew"]
    return f"{out}. {len(swap.stays)} of {len(swap.before.seats)} blocks stay" + (
        f", {anew} set anew." if anew else "."
    )


def first_of_all(swap: Swap) -> str:
    """What is done before the first step; empty when nothing is."""
    if not swap.lines:
        return ""
    opened = f"open {_and(swap.opened)}" if swap.opened else ""
    work = "take the work off" if swap.work else ""
    words = " and ".join(part for part in (opened, work) if part)
    return f"First {words}." if words else ""


def what(line: Line) -> str:
    """What a step does, behind the block's name."""
    if line.do == "set anew":
        assert line.before is not None
        assert line.after is not None
        return f"{line.before.hole}: {line.before.but(line.after)}"
    came = "the rack" if line.before is None else line.before.words()
    goes = "the rack" if line.after is None else line.after.words()
    return f"{came} -> {goes}"


def small_words(swap: Swap) -> str:
    """Small things that are over or lacking, in one sentence; empty where none are."""
    more = [f"{s.after - s.before} {s.what}" for s in swap.small if s.after > s.before]
    less = [f"{s.before - s.after} {s.what}" for s in swap.small if s.after < s.before]
    parts = [f"{verb} {', '.join(rows)}" for verb, rows in (("fetch", more), ("left over:", less)) if rows]
    text = "; ".join(parts)
    return f"{text[:1].upper()}{text[1:]}." if text else ""


def stuck_words(swap: Swap) -> str:
    """Why there is no way."""
    why = (
        f"{_and(swap.stuck)} stand in each other's way: going straight, whichever goes first meets another. Nothing is "
        "proposed. If check finds one of the setups in order, move these by eye."
    )
    return why if swap.proven else f"No order was found within the search's bound. {why}"


def stays_words(swap: Swap) -> str:
    """Blocks that nobody touches."""
    names = [a if a == b else f"{a} (there {b})" for a, b in swap.stays]
    return f"Stay as they are: {', '.join(names)}." if names else ""


def to_text(swap: Swap) -> str:
    """The list for the table, some half a page."""
    out = [f"From {head(swap.before)}", f"To   {head(swap.after)}"]
    if swap.stuck:
        return "\n".join([*out, *_wrapped(stuck_words(swap))]) + "\n"
    out += _wrapped(counts(swap))
    out += _wrapped(first_of_all(swap))
    out += _table(swap.lines)
    for words in (stays_words(swap), small_words(swap), *(f"Mind: {note}." for note in swap.notes)):
        out += _wrapped(words)
    out += _wrapped(" ".join(ASSUMED), "Assumed: ")
    return "\n".join(out) + "\n"


def _table(lines: Sequence[Line]) -> Iterator[str]:
    names = [line.block + (f" (there {line.becomes})" if line.becomes else "") for line in lines]
    wide = min(28, max((len(name) for name in names), default=0))
    models = min(20, max((len(line.model) for line in lines), default=0))
    for line, name in zip(lines, names, strict=True):
        size = f" ({line.size})" if line.do == "put on" and line.size != "standard" else ""
        yield f"{line.number:>4}  {line.do:<8}  {name:<{wide}}  {line.model:<{models}}  {what(line)}{size}"


def _wrapped(words: str, label: str = "") -> list[str]:
    return textwrap.wrap(f"{label}{words}", _WIDTH, subsequent_indent="  ", break_on_hyphens=False) if words else []


def _and(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def to_dict(swap: Swap) -> dict[str, Any]:
    """The same as JSON types."""
    return {
        "schema": SCHEMA,
        "version": __version__,
        "from": _setup(swap.before),
        "to": _setup(swap.after),
        "ok": not swap.stuck,
        "moves": None if swap.stuck else swap.moves,
        "least": None if swap.stuck else swap.least,
        "proven": swap.proven,
        "shortest": swap.shortest,
        "open": list(swap.opened) if swap.lines else [],
        "work_off": swap.work and bool(swap.lines),
        "steps": [
            {
                "number": line.number,
                "do": line.do,
                "block": line.block,
                "becomes": line.becomes or line.block,
                "model": line.model,
                "size": line.size,
                "from": _where(line.before),
                "to": _where(line.after),
            }
            for line in swap.lines
        ],
        "stay": [{"block": a, "becomes": b} for a, b in swap.stays],
        "small": [{"what": s.what, "before": s.before, "after": s.after} for s in swap.small],
        "stuck": list(swap.stuck),
        "notes": list(swap.notes),
        "assumed": list(ASSUMED),
    }


def _setup(job: Job) -> dict[str, Any]:
    path = job.scene.whole.path
    return {
        "scene": None if path is None else one_line(str(path)),
        "title": one_line(job.scene.title),
        "stage": None if job.stage is None else one_line(job.stage),
        "code": content_code(job),
        "blocks": len(job.seats),
    }


def _where(one: Where | None) -> dict[str, str] | None:
    if one is None:
        return None
    keys = ("hole", "turn", "setting", "shims", "others")
    return {key: getattr(one, key) for key in keys}
