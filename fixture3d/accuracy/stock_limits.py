"""What the stock and the saw may be off, as contributors of a piece, and as greatest and least sizes.

The figures are those of `stock.section.Tolerances` (``stock_tolerance.csv``, with their marks); cut length and mitre
are common practice, no source (`tolerance.Accuracy`). Lengths mm, angles degrees.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fixture3d.accuracy.shapes import askew, bowed, longer, sized, skewed, thicker, twisted
from fixture3d.accuracy.stack import Contributor
from fixture3d.stock.section import Section
from fixture3d.tolerance import ACCURACY

__all__ = ["SizeLimits", "member_contributors", "missing", "plate_contributors", "size_limits"]

Array = NDArray[np.float64]

_PLANES = ("across its width", "across its height")  # in which a cut runs off


@dataclass(frozen=True, kw_only=True)
class SizeLimits:
    """The least and greatest that a section of stock may measure, mm.

    Attributes:
        height: least and greatest; None where the standard's value is not at hand.
        width: likewise.
        wall: likewise.
        standard: that says so.
        from_memory: some figure has not been checked against a copy of the standard.
    """

    height: tuple[float, float] | None
    width: tuple[float, float] | None
    wall: tuple[float, float] | None
    standard: str
    from_memory: bool


def size_limits(section: Section) -> SizeLimits:
    """The least and greatest sizes of a section.

    >>> from fixture3d.stock.stock import section
    >>> size_limits(section("RHS 60x40x3")).height
    (59.4, 60.6)
    """
    t = section.tolerances
    return SizeLimits(
        height=_limits(section.height, t.height),
        width=_limits(section.width, _across(section)),
        wall=_limits(section.wall, t.wall),
        standard=t.standard,
        from_memory=t.from_memory,
    )


def member_contributors(
    name: str,
    start: ArrayLike,
    end: ArrayLike,
    up: ArrayLike,
    section: Section,
    *,
    cut: float = ACCURACY.saw,
    mitre: float | tuple[float, float] = ACCURACY.mitre,
) -> list[Contributor]:
    """All that a straight member may be off by itself. What its standard does not say (`missing`) is left out.

    Args:
        name: of the piece.
        start: (3,) mm, one end of its centre line.
        end: (3,) mm, the other.
        up: (3,) the direction of the section's height.
        section: its stock.
        cut: plus or minus mm on its length.
        mitre: plus or minus degrees on the angle of each end's cut, in both planes; of the first end and the far one.
    """
    a, b = np.asarray(start, dtype=np.float64), np.asarray(end, dtype=np.float64)
    length = float(np.linalg.norm(b - a))
    z = np.asarray(up, dtype=np.float64) / np.linalg.norm(up)
    y = np.cross(z, (b - a) / length)
    t = section.tolerances
    out = [Contributor(f"cut length of {name}", name, "cut length", longer(a, b), cut)]
    if section.shape.startswith("round") and t.height:
        shape = thicker(a, b, section.height)
        out.append(Contributor(f"diameter of {name}", name, "stock size", shape, t.height))
    elif section.height and t.height:
        words = "width" if section.shape == "flat" else "height"
        out.append(Contributor(f"{words} of {name}", name, "stock size", sized(a, z, section.height), t.height))
    across = _across(section)
    if not section.shape.startswith("round") and section.width and across:
        words = "thickness" if section.shape == "flat" else "width"
        out.append(Contributor(f"{words} of {name}", name, "stock size", sized(a, y, section.width), across))
    if t.squareness:
        out.append(Contributor(f"squareness of {name}, sides", name, "squareness", skewed(a, y, z), t.squareness))
        out.append(Contributor(f"squareness of {name}, top", name, "squareness", skewed(a, z, y), t.squareness))
    bow, twist = t.straightness(length), t.twist(length)
    if bow:
        out.append(Contributor(f"bow of {name}, upright", name, "bow", bowed(a, b, z), bow))
        out.append(Contributor(f"bow of {name}, sideways", name, "bow", bowed(a, b, y), bow))
    if twist:
        size = max(section.height, section.width)
        out.append(Contributor(f"twist of {name}", name, "twist", twisted(a, b, size), twist))
    at_first, at_far = mitre if isinstance(mitre, tuple) else (mitre, mitre)
    for place, first, last, off in (("far", a, b, at_far), ("first", b, a, at_first)):
        planes = ("one way", "crosswise") if section.shape.startswith("round") else _PLANES
        for plane, about in zip(planes, (z, y), strict=True):
            shape = askew(first, last, about)
            out.append(Contributor(f"cut at the {place} end of {name}, {plane}", name, "mitre", shape, off))
    return out


def plate_contributors(
    name: str,
    middle: ArrayLike,
    along: ArrayLike,
    normal: ArrayLike,
    size: tuple[float, float, float],
    *,
    cut: float = ACCURACY.plate,
    share: float = ACCURACY.plate_share,
) -> list[Contributor]:
    """What a flat cut piece may be off: its two sides and its thickness.

    Args:
        name: of the piece.
        middle: (3,) mm.
        along: (3,) direction of its first side.
        normal: (3,) of its face.
        size: mm, its first side, its second, its thickness.
        cut: plus or minus mm on each side.
        share: plus or minus, of its thickness.
    """
    x, z = (np.asarray(v, dtype=np.float64) / np.linalg.norm(v) for v in (along, normal))
    ways = ((x, "length"), (np.cross(z, x), "width"))
    out = [
        Contributor(f"{words} of {name}", name, "cut length", sized(middle, way, side), cut)
        for (way, words), side in zip(ways, size[:2], strict=True)
    ]
    thick = Contributor(f"thickness of {name}", name, "stock size", sized(middle, z, size[2]), share * size[2])
    return [*out, thick]


def missing(section: Section) -> tuple[str, ...]:
    """What the standard of a section does not say here, so that it is not in the figures."""
    t = section.tolerances
    known = {
        "height": t.height,
        "width": _across(section),
        "squareness": t.squareness,
        "bow": t.bow,
        "twist": t.twist_rate,
    }
    if not section.hollow or section.shape == "round tube":
        known = {key: value for key, value in known.items() if key not in ("squareness", "twist")}
    return tuple(key for key, value in known.items() if value is None)


def _across(section: Section) -> float | None:
    """Plus or minus mm across a section: of flat bar that is its thickness, for which its standard has limits apart."""
    return section.tolerances.wall if section.shape == "flat" else section.tolerances.width


def _limits(size: float, off: float | None) -> tuple[float, float] | None:
    return None if off is None or not size else (round(size - off, 9), round(size + off, 9))
