"""Corner radii and tolerances of stock by the rule of its standard. Lengths in mm."""

from __future__ import annotations

from functools import cache

from fixture3d.stock.section import Shape2D, Tolerances
from fixture3d.stock.shipped import rows
from fixture3d.units import length, show

# Root radius of hot-rolled angles by the longer leg, EN 10056-1, from memory: (up to mm, radius mm).
_ROOTS = (
    (25, 3.5), (30, 5), (35, 4), (40, 6), (55, 7), (60, 8), (75, 9), (80, 10), (90, 11), (100, 12), (150, 14),
    (1000, 18),
)  # fmt: skip


def radii_of(
    shape: Shape2D,
    standard: str,
    sides: tuple[float, float],
    walls: tuple[float, float],
    roots: tuple[float | None, float | None],
    notes: list[str],
) -> dict[str, float]:
    """Corner radii, mm, as the fields of a Section.

    Args:
        shape: kind of outline.
        standard: whose rule to use.
        sides: height and width, mm.
        walls: wall or web, and flange thickness, mm.
        roots: root and toe radius from a table, None where it has none.
        notes: what a reader should know about the answer is added here.
    """
    if shape in ("round tube", "round bar"):
        radius = sides[0] / 2
        return {"outer_radius": radius, "radius_least": radius, "radius_most": radius}
    if shape == "angle":
        return _angle_radii(standard, sides, walls[0], roots, notes)
    if shape == "channel":
        return _channel_radii(sides, walls, roots[0], notes)
    if shape == "flat":
        return {}
    least, drawn, most = corner_rule(standard, walls[0])
    if standard not in ("EN 10219-2", "ASTM A500", "ASTM A513"):
        notes.append(f"corner radius by the rule of EN 10219-2, as that of {standard} is not at hand")
    room = 0.45 * min(sides)
    if drawn > room:
        drawn = room
        notes.append(f"corner radius limited to {show(room)} by its small side")
    return {
        "outer_radius": drawn,
        "radius_least": min(least, drawn),
        "radius_most": most,
        "inner_radius": max(0.0, drawn - walls[0]),
    }


def _angle_radii(
    standard: str,
    sides: tuple[float, float],
    wall: float,
    roots: tuple[float | None, float | None],
    notes: list[str],
) -> dict[str, float]:
    root = roots[0]
    if root is None:
        root = next(float(radius) for top, radius in _ROOTS if max(sides) <= top)
        if standard != "EN 10056-1":
            notes.append(f"root radius of {show(root)} as EN 10056-1 has it for this leg")
    toe = root / 2 if roots[1] is None else roots[1]
    spare = min(sides) - wall  # room on the shorter leg beside the other's thickness
    return {"inner_radius": min(root, 0.5 * spare), "toe_radius": min(toe, 0.9 * wall, 0.4 * spare)}


def _channel_radii(
    sides: tuple[float, float], walls: tuple[float, float], root: float | None, notes: list[str]
) -> dict[str, float]:
    web, flange = walls
    room = min(sides[0] / 2 - flange, sides[1] - web)
    if root is not None or web != flange:  # hot rolled: sharp outside
        if root is None:
            root = 1.4 * flange
            notes.append("root radius drawn at 1.4 flange thicknesses, as the small sizes of EN 10365 have it")
        return {"inner_radius": min(root, 0.9 * room)}
    notes.append("cold formed channel: inner corners drawn at one wall, common practice, no source")
    return {
        "outer_radius": web + min(web, 0.9 * room),
        "radius_least": 1.5 * web,
        "radius_most": 3 * web,
        "inner_radius": min(web, 0.9 * room),
    }


def corner_rule(standard: str, wall: float) -> tuple[float, float, float]:
    """Outer corner radius of square and rectangular tube: least allowed, as drawn, most allowed, mm.

    Sources: EN 10219-2 (1.6 to 2.4 T up to 6 mm, 2.0 to 3.0 T up to 10 mm, 2.4 to 3.6 T above; 2.0, 2.5, 3.0 T
    for section properties); ASTM A500 (at most 3 T; 2 T is usual; its least is one wall, common practice);
    ASTM A513 (its table for walls of 0.049, 0.065 and 0.083 in). Others as EN 10219-2.

    >>> corner_rule("EN 10219-2", 3.0)
    (4.8, 6.0, 7.2)
    """
    if standard == "ASTM A513":
        for decimal, least, most in (("0.049", "3/64", "5/64"), ("0.065", "1/16", "7/64"), ("0.083", "5/64", "1/8")):
            if abs(wall - length(decimal, "in")) < 0.05:
                low, high = length(least, "in"), length(most, "in")
                return low, (low + high) / 2, high
    if standard in ("ASTM A500", "ASTM A513"):
        return wall, 2 * wall, round(3 * wall, 9)
    low, drawn, high = (1.6, 2.0, 2.4) if wall <= 6 else (2.0, 2.5, 3.0) if wall <= 10 else (2.4, 3.0, 3.6)
    return round(low * wall, 9), drawn * wall, round(high * wall, 9)


@cache
def _tolerance_rows() -> dict[tuple[str, str, str], list[dict[str, str]]]:
    out: dict[tuple[str, str, str], list[dict[str, str]]] = {}
    for row in rows("stock_tolerance.csv"):
        out.setdefault((row["standard"], row["shape"], row["quantity"]), []).append(row)
    return out


def tolerances_of(standard: str, shape: str, height: float, width: float, wall: float) -> Tolerances:
    """What a standard lets a section of these sizes vary, from ``stock_tolerance.csv``."""
    memory = False

    def find(quantity: str, size: float) -> dict[str, str] | None:
        nonlocal memory
        for row in _tolerance_rows().get((standard, shape, quantity), []):
            if not row["up_to"] or size <= float(row["up_to"]):
                memory = memory or row["mark"] == "memory"
                return row
        return None

    def value(quantity: str, size: float) -> float | None:
        return _deviation(find(quantity, size), size)

    largest = max(height, width)
    # EN standards judge each side by its own size, ASTM both by the larger one.
    sides = (largest, largest) if standard.startswith("ASTM") else (height, width)
    bow = find("straightness", largest)
    first, rate = _twist(find("twist", largest), find("twist per 3 ft", largest))
    return Tolerances(
        standard=standard,
        height=value("side", sides[0]),
        width=value("side", sides[1]),
        wall=value("wall", wall) if wall else None,
        squareness=value("squareness", largest),
        bow=float(bow["percent"]) / 100 if bow else None,
        twist_first=first,
        twist_rate=rate,
        from_memory=memory,
    )


def _deviation(row: dict[str, str] | None, size: float) -> float | None:
    if row is None:
        return None
    amount = float(row["percent"] or 0) / 100 * size
    amount = max(amount, float(row["at_least"] or 0))
    return round(min(amount, float(row["at_most"] or "inf")), 9)


def _twist(metric: dict[str, str] | None, per_3_ft: dict[str, str] | None) -> tuple[float | None, float | None]:
    if metric is not None:
        return float(metric["at_least"]), float(metric["percent"]) / 100
    if per_3_ft is not None:
        return 0.0, float(per_3_ft["at_least"]) / length("3 ft")
    return None, None
