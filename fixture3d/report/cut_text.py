"""The cut list in words and in the file's units: for the command, the sheet and the page."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from fixture3d.errors import one_line
from fixture3d.job.cut_data import BendFacts, CutRow, EndFacts, HoleFacts, StockTotal
from fixture3d.job.endcut import NotchCut
from fixture3d.units import Units, show, show_mass, show_plain, show_sizes

HEAD = (
    "Seen along the piece from its first end: its height's end is the top, angles round it count clockwise from "
    "there. Lengths are from tip to tip, without saw kerfs."
)
OTHER_HAND = "make the mirror image: read right for left and counter-clockwise for clockwise"
_SIDES = {0.0: "top", 90.0: "right", 180.0: "bottom", 270.0: "left"}
_CORNERS = {45.0: "top right", 135.0: "bottom right", 225.0: "bottom left", 315.0: "top left"}


def degrees(value: float) -> str:
    """An angle to a tenth of a degree.

    >>> degrees(45.0), degrees(22.54), degrees(-0.01)
    ('45°', '22.5°', '0°')
    """
    text = f"{value:.1f}".removesuffix(".0")
    return f"{'0' if text == '-0' else text}°"


def round_about(clock: float) -> str:
    """A place round a piece in words.

    >>> round_about(270.0), round_about(45.0), round_about(100.0)
    ('left', 'top right', '100° clockwise from top')
    """
    for places in (_SIDES, _CORNERS):
        for at, word in places.items():
            if abs((clock - at + 180.0) % 360.0 - 180.0) < 0.05:
                return word
    return f"{degrees(clock)} clockwise from top"


def end_text(end: EndFacts, units: Units) -> str:
    """How one end is cut."""
    parts = [_cut(end, units)]
    if end.slot is not None:
        parts.append(f"slot {show_plain(end.slot.width, units)} wide, {show_plain(end.slot.depth, units)} deep")
        way = end.slot.across
        if min(map(abs, way)) < 1e-6:
            parts[-1] += ", from left to right" if abs(way[1]) > 0.5 else ", from top to bottom"
        if end.slot.offset:
            parts[-1] += f", its middle {show_plain(abs(end.slot.offset), units)} off the centre line"
    if end.notch is not None:
        parts.append(_notch(end.notch, units))
    return "; ".join(parts)


def _cut(end: EndFacts, units: Units) -> str:
    gap = f", gap {show_plain(end.gap, units)}" if end.gap else ""
    onto = f" {one_line(end.to)} ({one_line(end.onto)})" if end.to else f" {one_line(end.onto)}" if end.onto else ""
    if end.coped:
        text = f"coped round{onto} at {degrees(end.angle)}{gap}, {_places(end)}"
        if end.passes > 0.005:
            text += f", centre lines {show_plain(end.passes, units)} apart"
        text += f", {show(end.deep, units)} deep"
        off = f"; the bore's edge lies up to {show(end.inside, units)} off the outside edge: file to fit"
        return text + (off if end.inside > 0.05 else "")
    if end.long is None:
        return "square" + (f" against{onto}{gap}" if end.kind == "against" else "")
    text = f"mitre {degrees(end.angle)} off square, long point {round_about(end.long)}"
    if end.marks is not None:
        text += f" (marked {degrees(end.marks[0])} on top and bottom, {degrees(end.marks[1])} on left and right)"
    return text + (f", {'against' if end.kind == 'against' else 'to'}{onto}{gap}" if onto else "")


def _notch(notch: NotchCut, units: Units) -> str:
    """What a notch takes away: how long it is, and how far it reaches into the section from the side or both sides."""
    depths = dict(zip(notch.name.split() if " " in notch.name else [notch.name], notch.depths, strict=True))
    into = " and ".join(f"{show_plain(depth, units)} in from the {side}" for side, depth in depths.items())
    return f"notch on the {notch.name}, {show_plain(notch.length, units)} long, {into}"


def _places(end: EndFacts) -> str:
    """Where a cope is longest, and where it is shortest when that is not between two equal ears."""
    if end.eared:
        return f"ears {_listed(end.tips)}"
    return f"longest point{'s' if len(end.tips) > 1 else ''} {_listed(end.tips)}, shortest {_listed(end.dips)}"


def _listed(clocks: Sequence[float]) -> str:
    """Several places round a piece in words."""
    words = [round_about(clock) for clock in clocks]
    if len(clocks) > 1 and all("clockwise" in word for word in words):
        return f"{' and '.join(degrees(clock) for clock in clocks)} clockwise from top"
    return " and ".join(words)


def rotation_text(row: CutRow) -> str:
    """How one end is turned against the other; empty when that does not matter."""
    if row.rotation is None or row.ends is None:
        return ""
    turn = row.rotation
    if any(end.eared for end in row.ends):
        askew = round(turn, 1) % 180.0
        return f"last end turned {degrees(turn)} clockwise against the first" if askew else "ends in line"
    if abs(turn) < 0.05:
        return "both long points on one side"
    if abs(abs(turn) - 180.0) < 0.05:
        return "long points on opposite sides"
    way = "clockwise" if turn > 0 else "counter-clockwise"
    return f"last long point {degrees(abs(turn))} {way} from the first"


def bend_text(number: int, bend: BendFacts, units: Units) -> str:
    """One bend as it is set on a bender."""
    turn = f"bending toward {round_about(bend.toward)}"
    if number > 1:
        way = "" if abs(bend.rotation) < 0.05 else " clockwise" if bend.rotation > 0 else " counter-clockwise"
        turn = f"turned {degrees(abs(bend.rotation))}{way} from the last"
    return (
        f"bend {number}: begins at {show(bend.start, units)}, {degrees(bend.angle)}, "
        f"radius {show(bend.radius, units)}, {turn}; {show(bend.straight, units)} straight before it, "
        f"arc {show(bend.arc, units)}"
    )


def hole_text(hole: HoleFacts, units: Units) -> str:
    """One hole."""
    text = f"hole {show_plain(hole.diameter, units)} at {show(hole.at, units)}, from {hole.side}"
    if hole.offset:
        way = ("left" if hole.offset > 0 else "right") if hole.side in ("top", "bottom") else "up"
        way = "down" if way == "up" and hole.offset < 0 else way
        text += f", {show_plain(abs(hole.offset), units)} {way} of the middle"
    return text + (", through both sides" if hole.through else ", one wall")


def stock_text(row: CutRow, units: Units) -> str:
    """What a piece is made of."""
    if row.piece.section is not None:
        return one_line(row.piece.section.designation)
    if row.piece.plate is not None:
        return f"plate {show_plain(row.piece.plate.thickness, units)}"
    return "from the file"


def size_text(row: CutRow, units: Units) -> str:
    """What it is cut to."""
    if row.piece.section is not None:
        return show(row.length, units)
    if row.piece.plate is not None:
        return show_sizes(sorted(row.piece.plate.size, reverse=True), units)
    return ""


def names_text(row: CutRow) -> str:
    """The names of the pieces that are alike."""
    return ", ".join(one_line(piece.name) for piece in row.pieces)


def to_text(title: str, rows: Sequence[CutRow], sums: Sequence[StockTotal], units: Units) -> str:
    """The whole list."""
    lines = [f"Cut list - {one_line(title)}", HEAD, ""]
    for row in rows:
        lines += [*_lines(row, units), ""]
    if sums:
        lines.append("Stock, without saw kerfs and ends of bars")
        lines += [
            f"  {one_line(one.stock)}: {one.count} piece{'s' if one.count > 1 else ''}, {show(one.length, units)}, "
            f"{show_mass(one.mass, units)}"
            for one in sums
        ]
    return "\n".join(lines).rstrip() + "\n"


def _lines(row: CutRow, units: Units) -> Iterator[str]:
    size = size_text(row, units)
    mass = "" if row.piece.mass is None else f", {show_mass(row.piece.mass, units)} each if it is steel"
    cut = f", cut {size}" if row.piece.section is not None else f", {size}" if size else ""
    yield f"{row.mark}  {row.count} x {stock_text(row, units)}{cut}{mass}: {names_text(row)}"
    if row.ends is not None:
        first, last = (end_text(end, units) for end in row.ends)
        if first == last == "square":
            yield "    both ends square"
        else:
            yield f"    first end: {first}"
            yield f"    last end:  {last}"
        turned = rotation_text(row)
        if turned:
            yield f"    {turned}"
    for number, bend in enumerate(row.bends, start=1):
        yield f"    {bend_text(number, bend, units)}"
    for hole in row.holes:
        yield f"    {hole_text(hole, units)}"
    if row.piece.plate is not None:
        holes = row.piece.plate.holes
        sizes: dict[str, int] = {}
        for _, _, diameter in holes:
            sizes[show_plain(diameter, units)] = sizes.get(show_plain(diameter, units), 0) + 1
        parts = [f"{count} hole{'s' if count > 1 else ''} of {size}" for size, count in sizes.items()]
        inner = len(row.piece.plate.openings)
        parts += [f"{inner} opening{'s' if inner > 1 else ''}"] if inner else []
        yield f"    {len(row.piece.plate.outline)} sides" + "".join(f", {part}" for part in parts)
    if row.other_hand:
        yield f"    {OTHER_HAND}"
    for note in row.piece.notes:
        yield f"    note: {one_line(note)}"
