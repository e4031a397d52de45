"""How to set a stop, in words."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator

from fixture3d.errors import one_line
from fixture3d.job.close_gap import Closer
from fixture3d.job.locate import Located
from fixture3d.job.set_datum import Datum
from fixture3d.job.set_question import Answer, Question
from fixture3d.report.setting_data import places_text
from fixture3d.setting import mm
from fixture3d.tolerance import SETTING, SHOP
from fixture3d.units import Units, from_mm, show, show_fine, show_plain

WIDTH = 100
_SETTING = "block and setting (away from the datum, or back to it)"
_GAPS = 6  # stretches out of reach that are told one by one


def to_text(found: Located, typed: str, source: str) -> str:
    """The answer for a person at the table.

    Args:
        found: what came of the question.
        typed: the distance as it was typed.
        source: where the blocks are listed, such as ``"the inventory of shop.toml"``; empty for nowhere.
    """
    asked = found.question
    blocks = ["\n".join(_head(found, typed, source)), "\n".join(_answers(found))]
    fewer = [one for one in found.fewer if one not in found.answers]
    for title, lines in (
        ("With fewer pieces", [row for one in fewer for row in _row(one, asked)]),
        ("Set by measuring, as good as the measurement", list(_measured(found))),
        ("To come nearer, the smallest thing first", [row for one in found.closers for row in _closer(one, asked)]),
        ("Out of reach", [row for line in _reach(found) for row in _wrapped(line, "  ")]),
    ):
        if lines:
            blocks.append("\n".join([title, *lines]))
    if found.answers:
        best = textwrap.indent(places_text(found.answers[0], asked).strip("\n"), "  ")
        blocks.append(f"The first of them in a scene\n{best}")
    blocks.append(
        "\n".join(["Not looked at", *(row for line in _not_covered(asked) for row in _wrapped(line, "  - "))])
    )
    return "\n\n".join(blocks) + "\n"


def _head(found: Located, typed: str, source: str) -> Iterator[str]:
    asked, units = found.question, found.question.units
    size = _whole(asked.wanted, units)
    shown = size if size == typed.strip() else f"{one_line(typed.strip())} = {size}"
    yield from _wrapped(f"{shown} from {asked.datum.words}, {_way(asked.datum)}", "")
    free = sum(one.free for one in asked.shop.blocks)
    owned = sum(one.count for one in asked.shop.blocks)
    shims = sum(count for _, count in asked.shop.shims)
    if not asked.shop.listed:
        yield from _wrapped(
            "no inventory is given: taken are one block of each shipped model, as it comes, and no shims; "
            "--shop FILE names what the shop owns",
            "  ",
        )
    else:
        in_use = f" ({owned - free} more stand in the scene)" if owned > free else ""
        yield from _wrapped(f"{source}: {free} blocks{in_use}, {shims} shims", "  ")
    table = asked.table
    pitch = " × ".join(dict.fromkeys(show_plain(p, units) for p in table.pitch))
    yield from _wrapped(
        f"table: holes of {show_plain(table.bore, units)}, {pitch} apart, {table.columns} columns, {table.rows} rows",
        "  ",
    )


def _whole(wanted: float, units: Units) -> str:
    """A distance that is asked for: nothing of it is rounded away that is not beyond all measuring.

    >>> _whole(441.325, "mm"), _whole(441.325, "in")
    ('441.325 mm', '17-3/8 in')
    """
    return show(wanted, units) if units == "in" else f"{round(wanted, 4):.10g} mm"


def _way(datum: Datum) -> str:
    x, y, z = datum.way
    words = {(1, 0, 0): "along +X", (-1, 0, 0): "along -X", (0, 1, 0): "along +Y", (0, -1, 0): "along -Y"}
    if z > 0.5:
        return "upward"
    return words.get((round(x, 6), round(y, 6), 0), f"at {_degrees(x, y):g} degrees from +X")  # type: ignore[arg-type]


def _degrees(x: float, y: float) -> float:
    import math

    return round(math.degrees(math.atan2(y, x)), 3) % 360.0


def _answers(found: Located) -> Iterator[str]:
    asked, units = found.question, found.question.units
    within = show_fine(asked.good, units)
    if not found.answers:
        at = " at that height" if asked.height is not None else ""
        yield f"NOTHING: no block that is free stands so that a face looks that way{at}"
        return
    if not found.good:
        yield f"NOTHING WITHIN {within}; the nearest"
    else:
        mark = "ON THE MARK" if abs(found.answers[0].error) <= SHOP.contact else f"WITHIN {within}"
        yield f"{mark}, best first: by error, then number of pieces, then how loose its dowels leave it"
    yield _columns(
        "",
        "error",
        "pieces",
        "" if asked.datum.upright else "loose by",
        "block and setting" if asked.datum.upright else _SETTING,
    )
    for number, answer in enumerate(found.answers, start=1):
        yield from _row(answer, asked, f"{number}")
    more = found.good - len(found.answers)
    if more > 0:
        yield f"   and {more} more within {within}; --list {found.good} for all"


def _columns(number: str, error: str, pieces: str, loose: str, rest: str) -> str:
    return f"{number:>4}  {error:<18}{pieces:<8}{loose:<10}{rest}".rstrip()


def _row(answer: Answer, asked: Question, number: str = "") -> list[str]:
    """One setting."""
    units = asked.units
    loose = "" if asked.datum.upright else show_fine(answer.loose, units)
    lead = _columns(number, error_words(answer, units), str(answer.pieces), loose, ".")[:-1]
    return textwrap.wrap(
        ", ".join(_setting(answer, asked)),
        WIDTH,
        initial_indent=lead,
        subsequent_indent=" " * (len(_columns("", "", "", "", ".")) - 1),
        break_long_words=False,
        break_on_hyphens=False,
    )


def _measured(found: Located) -> Iterator[str]:
    for one in found.measured[:_GAPS]:
        yield from _row(one, found.question)
    if len(found.measured) > _GAPS:
        yield f"   and {len(found.measured) - _GAPS} more, in --json"


def error_words(answer: Answer, units: Units) -> str:
    """How far it is out."""
    if answer.exact:
        return "exact"
    side = "too far" if answer.error > 0 else "short"
    text = show_fine(abs(answer.error), units)
    least = "0.01 mm" if units == "mm" else "0.001 in"
    return f"{least if float(text.split()[0]) == 0.0 else text} {side}"


def _setting(answer: Answer, asked: Question) -> Iterator[str]:
    units = asked.units
    name = answer.owned.words(units)
    if answer.below:
        yield "from below: " + ", ".join(one.words(units) for one in answer.below)
    yield name
    if answer.hole:
        pin = "" if answer.anchor == "1" else f" with pin {answer.anchor}"
        yield f"hole {answer.hole}{pin}"
        yield f"turn {answer.turn:g}"
    if answer.face != "bottom":
        yield f"{answer.face} down"
    if answer.notch is not None:
        yield f"notch {answer.notch}"
    if answer.slide is not None:
        yield f"slide {show(answer.slide, units)}"
    if answer.shims:
        sizes = " + ".join(_thickness(size, units).removesuffix(f" {units}") for size in answer.shims)
        yield f"shims {sizes} {units}{' under it' if asked.datum.upright else ''}"
    looks = "" if asked.datum.upright else f" looks {'away' if answer.looks > 0 else 'back'}"
    yield f"its {answer.pad}{looks}" if looks else f"its {answer.pad}"
    if answer.dowels < 2:
        yield "one dowel"


def _closer(closer: Closer, asked: Question) -> Iterator[str]:
    units = asked.units
    if closer.kind == "block":
        model, name = closer.answer.owned.model, closer.parameter.replace("_", " ")
        lead = f"make a {model} with {name} {show(closer.size, units)} instead of {show(closer.instead, units)}"
    elif closer.kind == "odd shim":
        lead = f"make one shim of {_thickness(closer.size, units)}"
    else:
        lead = f"buy one shim of {_thickness(closer.size, units)}, a usual thickness"
    yield from _wrapped(f"{lead}:", "  ")
    yield from _row(closer.answer, asked)


def _thickness(size: float, units: Units) -> str:
    """Of a shim, as it is marked: 0.25 mm, 1/32 in, 0.015 in.

    >>> _thickness(0.79375, "in"), _thickness(0.381, "in"), _thickness(0.05, "mm")
    ('1/32 in', '0.015 in', '0.05 mm')
    """
    if units == "mm":
        return f"{size:.3f}".rstrip("0").rstrip(".") + " mm"
    inches = from_mm(size, units)
    if abs(inches * 64.0 - round(inches * 64.0)) < 1e-6:
        return show(size, units)
    return f"{inches:.4f}".rstrip("0").rstrip(".") + " in"


def _reach(found: Located) -> Iterator[str]:
    asked, units, reach = found.question, found.question.units, found.reach
    if reach is None:
        yield "not listed: the pieces have too many sums; fewer --shims would tell"
    else:
        within = show_fine(asked.good, units)
        low, high = (show(mm(v), units) for v in (reach.low, reach.high))
        if not len(reach.gaps):
            yield f"nothing: every distance from {low} to {high} can be set within {within}"
        else:
            end = show if units == "mm" else show_fine  # fractions beside thousandths are hard to hold apart
            stretches = [f"{end(mm(a), units)} to {end(mm(b), units)}" for a, b in reach.gaps[:_GAPS].tolist()]
            more = f" and {len(reach.gaps) - _GAPS} more" if len(reach.gaps) > _GAPS else ""
            share = "less than 1" if reach.share < 0.01 else f"{100.0 * reach.share:.0f}"
            yield (
                f"from {low} to {high}, {share} % of all distances cannot be set within {within}, at "
                f"worst {show_fine(mm(reach.worst), units)} off: {'; '.join(stretches)}{more}"
            )
    if found.bare is not None:
        share = f"{100.0 * found.bare.share:.0f} %, at worst {show_fine(mm(found.bare.worst), units)} off"
        yield f"without shims, with holes and notches alone: {share if len(found.bare.gaps) else 'nothing'}"
    if found.ends is not None:
        low, high = (show(v, units) for v in found.ends)
        yield f"what lies beyond the table: faces without shims stand from {low} to {high}"


def _not_covered(asked: Question) -> list[str]:
    out = [
        "whether the place is free of the work and of other blocks: put it into the scene and check it",
        "blocks on an upright face, edge stops, other grids than the table top, turns other than by 45 degrees",
        "other turns of a block that bring a face to the same place are not listed; one dowel alone lets a block turn",
    ]
    if asked.shop.listed:
        thickest = show_fine(SETTING.thickest, asked.units)
        out.append(f"sizes are those of the inventory; plates up to {thickest} count as shims, {asked.shims} at a time")
    if asked.datum.upright:
        out[1] = "stacks whose blocks do not share two holes a pitch apart; the weight and tipping of a stack"
    return out


def _wrapped(text: str, lead: str) -> list[str]:
    return textwrap.wrap(
        text,
        WIDTH,
        initial_indent=lead,
        subsequent_indent=" " * max(len(lead), 2),
        break_long_words=False,
        break_on_hyphens=False,
    )
