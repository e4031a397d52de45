"""From what a scene says of a member's ends and holes to cuts in the member's own frame, or to words why not."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from fixture3d.frame import Array
from fixture3d.job import against, cope
from fixture3d.job.cuts import CutImpossible, Run, plane_of, square_axis
from fixture3d.job.endcut import OUTWARD, EndCut, HoleCut, NotchCut, Side, SlotCut
from fixture3d.job.member_volume import integral
from fixture3d.stock.section import Section
from fixture3d.tolerance import NUMERIC, SHOP
from fixture3d.units import Units, show

if TYPE_CHECKING:
    from fixture3d.job.weldment import Piece
    from fixture3d.scene.schema import EndNotch, MemberHole, Slot


def end_cut(
    run: Run, which: int, runs: Mapping[str, Run], plates: Mapping[str, Piece], units: Units = "mm"
) -> tuple[EndCut, list[str]]:
    """One end of a run in the run's own frame, and what a reader should know about it.

    Args:
        run: the member.
        which: end 0 or 1.
        runs: every member by name.
        plates: every plate by name.
        units: for lengths in messages.

    Raises:
        CutImpossible: it cannot be cut so, in words.
    """
    cut, side = run.cuts[which], 1 if which else -1
    if cut.kind == "cope":
        other = _through(cut.to, runs, plates)
        saddle, notes = cope.saddle(run, which, other, cut.gap, units)
        made = EndCut(
            kind=cut.kind,
            side=side,
            plane=saddle.plane(),
            to=cut.to,
            onto=other.section.designation,
            gap=cut.gap,
            saddle=saddle,
        )
    elif cut.kind == "against":
        notes = []
        if cut.to in plates:
            plane, onto = against.on_plate(run, which, plates[cut.to], cut.gap, units), "plate"
        else:
            other = _through(cut.to, runs, plates)
            plane, onto = against.on_member(run, which, other, cut.gap, units), other.section.designation
        made = EndCut(kind=cut.kind, side=side, plane=plane, to=cut.to, onto=onto, gap=cut.gap)
    else:
        plane, notes = plane_of(run, which, dict(runs), units)
        onto = runs[cut.to].section.designation if cut.to else ""
        made = EndCut(kind=cut.kind, side=side, plane=plane, to=cut.to, onto=onto)
    slot = None if cut.slot is None else _slot(run, side, made, cut.slot, units)
    notch = None if cut.notch is None else _notch(run, side, made, cut.notch, units)
    return EndCut(**{**made.__dict__, "slot": slot, "notch": notch}), notes


def _through(name: str, runs: Mapping[str, Run], plates: Mapping[str, Piece]) -> Run:
    """The other member.

    Raises:
        CutImpossible: it is a plate.
    """
    if name in plates:
        raise CutImpossible(f'it is coped round "{name}", which is a plate', f'against = "{name}"')
    return runs[name]


def _slot(run: Run, side: int, end: EndCut, slot: Slot, units: Units) -> SlotCut:
    axis = square_axis(run.run_to_weldment[:3, 0], slot.about, "slot") @ run.run_to_weldment[:3, :3]
    y, z = round(float(axis[1]), 12) + 0.0, round(float(axis[2]), 12) + 0.0
    low, high = -run.section.reach(-y, -z), run.section.reach(y, z)
    if slot.offset - slot.width / 2.0 <= low or slot.offset + slot.width / 2.0 >= high:
        raise CutImpossible(
            f"its slot is {show(slot.width, units)} wide, and the section there only {show(high - low, units)}: "
            "nothing is left beside it",
            "a narrower slot with metal on both sides, or a notch",
        )
    bottom = round(float(end.plane.point[0]) - side * slot.depth, 9) + 0.0
    return SlotCut(side=side, bottom=bottom, depth=slot.depth, across=(y, z), offset=slot.offset, width=slot.width)


def _notch(run: Run, side: int, end: EndCut, notch: EndNotch, units: Units) -> NotchCut:
    faces = []
    sizes = (notch.depth, notch.across)
    for word, size in zip(notch.side.split(), sizes, strict=False):
        outward, half = _side(run.section, word)
        assert size is not None
        if size >= 2.0 * half:
            raise CutImpossible(
                f"its notch takes {show(size, units)} off the {word}, and the section is only "
                f"{show(2.0 * half, units)} there",
                f"less than {show(2.0 * half, units)}",
            )
        faces.append((outward, round(half - size, 9)))
    bottom = round(float(end.plane.point[0]) - side * notch.length, 9) + 0.0
    depths = tuple(float(size) for size in sizes[: len(faces)] if size is not None)
    return NotchCut(side=side, bottom=bottom, length=notch.length, faces=tuple(faces), name=notch.side, depths=depths)


def _side(section: Section, word: str) -> tuple[tuple[float, float], float]:
    """Where a side looks, and how far it is from the middle, mm."""
    outward = next(way for side, way in OUTWARD.items() if side == word)
    return outward, section.half_extents[0 if outward[0] else 1]


def holes(
    section: Section, ends: tuple[EndCut, EndCut], stated: Sequence[MemberHole], begin: float, units: Units = "mm"
) -> tuple[HoleCut, ...]:
    """The holes across a member, in the frame of its piece.

    Args:
        section: its stock.
        ends: its cuts, in the frame of the piece.
        stated: as the scene has them.
        begin: X of the member's ``from`` in the frame of the piece, mm.
        units: for lengths in messages.

    Raises:
        CutImpossible: one cannot be drilled, in words.
    """
    if not stated:
        return ()
    out = []
    least, most = ends[0].tip(section), ends[1].tip(section)
    for k, hole in enumerate(stated):
        made = HoleCut(
            x=round(begin + hole.at, 9) + 0.0,
            diameter=hole.diameter,
            side=hole.side,
            offset=hole.offset,
            through=hole.through,
        )
        fault = _fault(section, made, least, most, units)
        if fault:
            raise CutImpossible(f"hole {k + 1} {fault[0]}", fault[1])
        out.append(made)
    return tuple(out)


def _fault(section: Section, hole: HoleCut, least: float, most: float, units: Units) -> tuple[str, str] | None:
    half, radius = section.half_extents[0 if hole.upright else 1], hole.diameter / 2.0
    if abs(hole.offset) + radius >= half:
        room = half - radius
        return (
            f"of {show(hole.diameter, units)} runs out of the side of the section, which is "
            f"{show(2.0 * half, units)} there",
            f"an offset below {show(room, units)}" if room > 0.0 else f"a diameter below {show(2.0 * half, units)}",
        )
    if hole.x - radius <= least or hole.x + radius >= most:
        return f"runs out of the member, {show(max(least - hole.x, hole.x - most) + radius, units)} past its end", ""
    if not hole.through and not section.hollow and section.shape not in ("angle", "channel"):
        return f"stops in the middle of {section.designation}, which is solid", "through = true"

    def drilled(y: Array, z: Array) -> Array:
        low, high = hole.taken(y, z)
        return high - low

    if integral(section.outline(), list(hole.lines()), drilled) <= NUMERIC.volume:
        other: dict[Side, Side] = {"top": "bottom", "bottom": "top", "left": "right", "right": "left"}
        return f"meets no metal from the {hole.side}", f'side = "{other[hole.side]}", or through = true'
    return None


def severed(section: Section, ends: tuple[EndCut, EndCut]) -> tuple[str, str] | None:
    """Why the cuts leave nothing, or more than one lump; None when they leave one piece."""
    first, last = ends
    for end, other in ((first, last), (last, first)):
        for one in end.openings:
            opposite = [o.bottom for o in other.openings] + [other.throat(section)]
            left = min(end.side * (one.bottom - x) for x in opposite)
            if left <= SHOP.contact:
                noun = "slot" if isinstance(one, SlotCut) else "notch"
                return f"its {noun} runs into its other end", "a shorter one, or a longer member"
    return None
