"""Every small number that decides something, named for its use, with its reason.

Numbers that describe the shop (what touches, what can be seen) stand apart from numbers that only guard the
arithmetic. Functions take these as defaults and never carry literals of their own.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True)
class Shop:
    """Tolerances with a meaning at the table, in mm and degrees.

    Attributes:
        contact: two faces nearer than this touch; overlap thinner than this is touching. A sheet of paper is
            0.1 mm, ground blocks are true to 0.01 to 0.02 mm.
        report_gap: gaps up to this are listed; further apart is of no interest.
        torch_margin: clear space that a torch position must keep from every body, because at a gap of
            exactly zero every library answers differently.
        weld_step: the greatest distance between two points of a weld at which the torch is tried.
        bead_keep_out: clear space round a weld root for bead and spatter; common practice, no source.
        default_bore_limits: what the table's bores are taken to be when the scene does not say.
        seat_play: how far a locating face may move within the fits before the seat is called loose; common
            practice, no source.
        pin_class: fit class of a loose dowel; common practice for dowels that lift out, no source.
    """

    contact: float = 0.02
    report_gap: float = 5.0
    torch_margin: float = 0.05
    weld_step: float = 5.0
    bead_keep_out: float = 10.0
    default_bore_limits: str = "H7"
    seat_play: float = 0.5
    pin_class: str = "g6"


@dataclass(frozen=True, kw_only=True)
class Numeric:
    """Guards of the arithmetic, in mm unless said.

    Attributes:
        chord: greatest distance between a curved face and its mesh.
        merge: vertices of one solid nearer than this are one.
        zero: lengths below this are zero.
        volume: mm3; a common solid smaller than this is empty.
        angle: degrees; directions closer than this are equal.
        key: poses are rounded to this before they become part of a cache key.
    """

    chord: float = 0.02
    merge: float = 1e-6
    zero: float = 1e-9
    volume: float = 1e-9
    angle: float = 1e-6
    key: float = 1e-7


SHOP = Shop()
NUMERIC = Numeric()
