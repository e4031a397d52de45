"""Fits by use: which class a bore, socket, slot or shank of a block gets, and what play comes of it.

The classes are of ISO 286 for metric and of ANSI B4.1 for inch work (`fixture3d.stock.fits`); which one serves which
use is common practice, no source, and can be changed.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Final

from fixture3d.errors import ModelError, nearest_name
from fixture3d.part import Part, Pattern, Pin
from fixture3d.stock.fits import FitError, Play, Range, bore_limits, clearance, known_classes, pin_limits, pin_play
from fixture3d.tolerance import DRAWING, SHOP
from fixture3d.units import Units, from_mm

USES: Final[dict[str, str]] = {
    "dowel": "dowel in a bore of the block",
    "table": "dowel or shank in a hole of the table",
    "socket": "dowel of the block that stands on it",
    "slot": "dowel in a slot that it slides in",
}
"""What ``--fit`` can name, and what it is."""

_LIFTS: Final[dict[Units, str]] = {"mm": "H7/g6", "in": "LC5"}
_STAYS: Final[dict[Units, str]] = {"mm": "H7/m6", "in": "LT5"}
_SLIDES: Final[dict[Units, str]] = {"mm": "H9/g6", "in": "RC6"}
WORDS: Final = {"lifts": _LIFTS, "stays": _STAYS, "slides": _SLIDES}
"""Words that stand for a class: the pin lifts out by hand, stays in the block, slides along a slot."""


@dataclass(frozen=True, kw_only=True)
class Fit:
    """A hole and a pin of one nominal size.

    Attributes:
        use: a key of `USES`.
        name: as on a drawing, ``"H7/g6"`` or ``"LC5"``.
        nominal: mm.
        hole, pin: least and greatest diameter, mm.
    """

    use: str
    name: str
    nominal: float
    hole: Range
    pin: Range

    @property
    def hole_name(self) -> str:
        """Class of the hole."""
        return self.name.partition("/")[0] + ("" if "/" in self.name else " hole")

    @property
    def pin_name(self) -> str:
        """Class of the pin."""
        return self.name.rpartition("/")[2] + ("" if "/" in self.name else " shaft")

    @property
    def clear(self) -> Range:
        """Least and most clearance on diameter, mm; negative is interference."""
        return clearance(self.hole, self.pin)


def fits(pattern: Pattern, given: Mapping[str, str] | None = None, only: Iterable[str] = tuple(USES)) -> dict[str, Fit]:
    """The fit of every use for the holes of a pattern.

    Args:
        pattern: its bore is the nominal size.
        given: use to class, such as ``{"dowel": "stays", "slot": "H8/g6"}``.
        only: uses that the block has.

    Raises:
        FitError: an unknown use or class, a use that the block does not have, or a size that the tables do not cover.
    """
    units: Units = "in" if pattern.inch else "mm"
    has = set(only)
    wanted = [use for use in USES if use in has]
    chosen = {use: (_SLIDES if use == "slot" else _LIFTS)[units] for use in wanted}
    for use, name in (given or {}).items():
        if use not in USES:
            near = nearest_name(use, USES)
            raise FitError(f"--fit {use}: expected one of {', '.join(USES)}" + (f"; nearest: {near}" if near else ""))
        if use not in chosen:
            raise FitError(f"--fit {use}: the block has none; expected {' or '.join(chosen) or 'no --fit'}")
        chosen[use] = WORDS[name][units] if name in WORDS else name
    out = {use: _fit(use, name, pattern.bore) for use, name in chosen.items()}
    if "slot" in out and "/" not in chosen["slot"]:
        # An inch class names both sides; what slides in the slot is the dowel of the table all the same.
        slot = out["slot"]
        out["slot"] = Fit(use="slot", name=slot.name, nominal=slot.nominal, hole=slot.hole, pin=out["table"].pin)
    return out


def _fit(use: str, name: str, nominal: float) -> Fit:
    hole, sign, pin = (part.strip() for part in name.partition("/"))
    if not sign:
        if not any(known.startswith(f"{hole} ") for known in known_classes()):
            expected = 'a hole and a pin such as "H7/g6", an inch fit such as "LC5", or lifts, stays or slides'
            raise FitError(f"--fit {use}={name}: expected {expected}")
        pin = hole
    try:
        return Fit(use=use, name=name, nominal=nominal, hole=bore_limits(hole, nominal), pin=pin_limits(pin, nominal))
    except FitError as error:
        raise FitError(f"--fit {use}={name}: {error}") from error


def read_fits(texts: Iterable[str]) -> dict[str, str]:
    """``dowel=stays`` and the like, from the command line.

    Raises:
        FitError: not of that form, or a use that is named twice.
    """
    out: dict[str, str] = {}
    for text in texts:
        use, sign, name = (part.strip() for part in text.partition("="))
        if not (sign and use and name):
            raise FitError(f'--fit "{text}": expected USE=CLASS, such as dowel=stays or slot=H8/g6')
        if use in out:
            raise FitError(f'--fit: "{use}" is given twice; expected one class')
        out[use] = name
    return out


def block_play(part: Part, chosen: Mapping[str, Fit]) -> tuple[Play, float] | None:
    """How far a block on its first two pins shifts and turns at the most, and the distance of these pins, mm.

    A loose dowel has play in the block and in the table; a block's own shank in the table alone. None for a block on
    fewer than two pins in one face.
    """
    pins = _row(part)
    if len(pins) < 2 or "table" not in chosen:
        return None
    first, second = pins[:2]
    dowel = max(0.0, chosen["dowel"].clear[1]) if "dowel" in chosen else 0.0
    most = [max(0.0, chosen["table"].clear[1]) + (0.0 if p.integral else dowel) for p in (first, second)]
    spacing = math.dist(first.at, second.at)
    return pin_play(most[0], most[1], spacing), spacing


def _row(part: Part) -> list[Pin]:
    pins = [p for p in part.pins() if p.face == "bottom"]
    return pins or [p for p in part.pins() if part.pins() and p.face == part.pins()[0].face]


def used(part: Part) -> Iterator[str]:
    """The uses that a block has."""
    pins = part.pins()
    if any(not p.integral for p in pins):
        yield "dowel"
    if pins:
        yield "table"
    if part.sockets():
        yield "socket"
    if part.move() is not None and pins:
        yield "slot"


def fits_text(part: Part, chosen: Mapping[str, Fit], units: Units) -> str:
    """Limits, clearances and play of a block, for the command line."""
    lines = []
    for use in used(part):
        fit = chosen[use]
        least, most = fit.clear
        lines.append(f"{USES[use]}: {fit.name}, {size(fit.nominal, units)}")
        lines.append(f"  hole {span(fit.hole, units)}, pin {span(fit.pin, units)}")
        lines.append(f"  clearance {signed(least, units)} to {signed(most, units)}" + (_tight(least, most)))
    play = block_play(part, chosen)
    if play is not None:
        shift, turn = play[0].shift, play[0].turn
        lines.append(
            f"play on two pins {size(play[1], units)} apart: {signed(shift, units)} each way, "
            f"turn {turn:.3f} degrees each way, at the most"
        )
        slack = sum(max(0.0, chosen[use].clear[0]) for use in ("table", "dowel") if use in chosen)
        lines.append(
            f"two tight pins still go in where their distance is off by {signed(slack, units)} or less, "
            "block and table together"
        )
        apart = 2.0 * DRAWING.bore_place
        if apart > slack:
            lines.append(
                f"two bores at the limits of a drawing, place ±{size(DRAWING.bore_place, units)} each, can be "
                f"{signed(apart, units)} off: tight pins then want easing, or a looser --fit"
            )
    return "\n".join(lines) + ("\n" if lines else "")


def _tight(least: float, most: float) -> str:
    if most <= 0.0:
        return ": always tight"
    return ": tight or loose, as it comes" if least < 0.0 else ""


def size(mm: float, units: Units) -> str:
    """A nominal size: ``"16 mm"``, ``"0.625 in"``."""
    value = from_mm(mm, units)
    return f"{value:.4f}".rstrip("0").rstrip(".") + f" {units}"


def span(limits: Range, units: Units) -> str:
    """Two limits: ``"16.000 to 16.018 mm"``."""
    places = 3 if units == "mm" else 5
    low, high = (f"{from_mm(v, units):.{places}f}" for v in limits)
    if units == "in" and low.endswith("0") and high.endswith("0"):
        low, high = low[:-1], high[:-1]
    return f"{low} to {high} {units}"


def signed(mm: float, units: Units) -> str:
    """A clearance: three places of a millimetre or five of an inch, with its sign where it is negative."""
    return f"{from_mm(mm, units) + 0.0:.{3 if units == 'mm' else 5}f} {units}"


def stands_on(part: Part, table: Pattern, chosen: Mapping[str, Fit], units: Units) -> str:
    """What is left over when a block made for one pattern stands on another: a metric one on an inch table, say.

    Returns:
        One line with the remainder, for a block that can stand there.

    Raises:
        ModelError: its dowels are thicker than the holes, or so much thinner, or so much wider or closer than the
            holes that two of them do not go in.
    """

    def show(mm: float) -> str:
        return size(mm, units)

    def holes(pattern: Pattern) -> str:
        return f"{show(pattern.bore)} holes {show(pattern.pitch)} apart"

    own = part.pattern
    pins = _row(part)
    head = f"{part.model} for {holes(own)}, on {holes(table)}"
    if not pins:
        return f"{head}: it stands on no pins, nothing is left over"
    loose = table.bore - own.bore
    pin = chosen["table"].pin
    clear = table.bore + (chosen["table"].hole[0] - own.bore) - pin[1]
    if clear < 0.0:
        raise ModelError(
            f"{head}: refused, its pins can be {show(-clear)} thicker than the holes; expected a block made for that "
            f"table: --table {_word(table, units)}"
        )
    worst = 0.0
    for a, b in itertools.combinations(pins, 2):
        apart = math.dist(a.at, b.at)
        off = min(abs(apart - hole) for hole in _spacings(table.pitch, apart))
        worst = max(worst, off) if (a, b) == (pins[0], pins[1]) else worst
    if worst > clear + 1e-9:
        raise ModelError(
            f"{head}: refused, its first two pins miss two holes by {show(worst)} where {show(clear)} is free; "
            f"expected a block made for that table: --table {_word(table, units)}"
        )
    found = f"its pins are {show(loose)} thinner than the holes and {show(worst)} off their spacing"
    locates = clear / 2.0 <= SHOP.seat_play
    return f"{head}: it goes in; {found}" + ("" if locates else "; so loose it locates nothing, and has to be clamped")


def _spacings(pitch: float, near: float) -> Iterator[float]:
    """Distances of two holes about as far apart as ``near``, along a row and across."""
    reach = math.ceil(near / pitch) + 1
    for i in range(reach + 1):
        for j in range(i + 1):
            if i or j:
                yield pitch * math.hypot(i, j)


def _word(pattern: Pattern, units: Units) -> str:
    return f"{from_mm(pattern.pitch, units):g}/{from_mm(pattern.bore, units):g}"
