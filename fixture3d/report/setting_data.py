"""How to set a stop, as data: the places of a scene, and what ``--json`` prints."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from fixture3d.job.locate import Located
from fixture3d.job.set_question import Answer, Question
from fixture3d.job.shop_blocks import Owned
from fixture3d.scene.write import tables_text
from fixture3d.setting import mm
from fixture3d.units import from_mm


def places_text(answer: Answer, asked: Question) -> str:
    """The ``[[place]]`` tables of one setting, in the file's units."""
    return tables_text({"place": places(answer, asked)})


def places(answer: Answer, asked: Question) -> list[dict[str, Any]]:
    """The same as tables of a scene file."""
    units, seat = asked.units, asked.datum.seat
    start: dict[str, Any] = {"hole": answer.hole or _hole(asked)}
    if asked.datum.upright and seat is not None:
        start = {"on": seat.name}
    shims = [round(from_mm(size, units), 9) for size in answer.shims]
    out: list[dict[str, Any]] = []
    for number, owned in enumerate((*answer.below, answer.owned), start=1):
        top = number > len(answer.below)
        place: dict[str, Any] = {"name": f"NEW{number}" if answer.below else "NEW", "model": owned.model}
        place |= start if number == 1 else {"on": out[-1]["name"]}
        if top:
            place |= {"pin": answer.anchor} if answer.anchor != "1" else {}
            place |= {"turn": answer.turn} if answer.turn else {}
            place |= {"face": answer.face} if answer.face != "bottom" else {}
            place |= {"notch": answer.notch} if answer.notch is not None else {}
            place |= {"slide": round(from_mm(answer.slide, units), 9)} if answer.slide is not None else {}
        if shims and (number == 1 if asked.datum.upright else top):
            place["shims"] = [{"pad": "seat" if asked.datum.upright else answer.pad, "by": shims}]
        given = owned.given(units)
        place |= {"mark": owned.mark} if owned.mark is not None else {}
        place |= {"with": given} if given else {}
        out.append(place)
    return out


def _hole(asked: Question) -> str:
    """The hole of a stack: the datum's own, or any."""
    return asked.datum.name.rpartition(".")[0] if asked.datum.name != "table" else "A1"


def to_dict(found: Located) -> dict[str, Any]:
    """The answer as data: mm, degrees; ``null`` for what does not apply."""
    asked = found.question

    def block(owned: Owned) -> dict[str, Any]:
        return {"model": owned.model, "with": owned.given("mm"), "mark": owned.mark}

    def row(answer: Answer) -> dict[str, Any]:
        return {
            "error": round(answer.error, 7),
            "pieces": answer.pieces,
            "loose": round(answer.loose, 6),
            "block": block(answer.owned),
            "below": [block(one) for one in answer.below],
            "hole": answer.hole or None,
            "pin": answer.anchor if answer.hole else None,
            "turn": answer.turn,
            "down": answer.face,
            "face": answer.pad,
            "looks": "away" if answer.looks > 0 else "toward",
            "notch": answer.notch,
            "slide": answer.slide,
            "shims": list(answer.shims),
            "dowels": answer.dowels,
        }

    def span(ends: Sequence[float] | None) -> list[float] | None:
        return None if ends is None else [round(v, 7) for v in ends]

    reach = found.reach
    return {
        "schema": "fixture3d.locate/1",
        "units": "mm",
        "wanted": asked.wanted,
        "from": {"name": asked.datum.name, "at": list(asked.datum.at), "way": list(asked.datum.way)},
        "within": asked.good,
        "inventory": asked.shop.listed,
        "good": found.good,
        "answers": [row(one) for one in found.answers],
        "fewer": [row(one) for one in found.fewer],
        "measured": [row(one) for one in found.measured],
        "out_of_reach": None
        if reach is None
        else {
            "between": span([mm(reach.low), mm(reach.high)]),
            "stretches": [span([mm(a), mm(b)]) for a, b in reach.gaps.tolist()],
            "worst": mm(reach.worst),
        },
        "worst_without_shims": None if found.bare is None else mm(found.bare.worst),
        "ends": span(found.ends),
        "closers": [
            {"kind": one.kind, "size": one.size, "parameter": one.parameter or None, "answer": row(one.answer)}
            for one in found.closers
        ],
    }
