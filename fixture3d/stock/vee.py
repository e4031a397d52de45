"""Round stock in a V: where its axis lies, where it touches, and how a V is measured.

Frame: origin in the sharp bottom of the V (there is a relief slot in a real one), X across, Z up along the middle
plane. Lengths in mm, or any one unit. Elementary trigonometry; see any handbook of jigs and fixtures or metrology.
"""

from __future__ import annotations

import math


def centre_height(diameter: float, angle: float) -> float:
    """Height of the axis of a round of ``diameter`` above the sharp bottom of a V of ``angle`` degrees.

    >>> round(centre_height(48.3, 90.0), 4)
    34.1533
    """
    return diameter / 2 / math.sin(_half(angle))


def contact_points(diameter: float, angle: float) -> tuple[tuple[float, float], tuple[float, float]]:
    """The two points (x, z) where a round touches the flats, left one first."""
    half = _half(angle)
    x = diameter / 2 * math.cos(half)
    z = x / math.tan(half)
    return (-x, z), (x, z)


def flat_to_contact(diameter: float, angle: float) -> float:
    """Distance along a flat from the sharp bottom to the contact: a flat must be at least that long."""
    return diameter / 2 / math.tan(_half(angle))


def height_rate(angle: float) -> float:
    """How much the axis rises for each unit that the diameter grows.

    >>> round(height_rate(90.0), 4)
    0.7071
    """
    return 1 / (2 * math.sin(_half(angle)))


def crown_rate(angle: float) -> float:
    """How much the top of the round rises for each unit that the diameter grows."""
    return height_rate(angle) + 0.5


def underside_rate(angle: float) -> float:
    """How much the underside of the round rises for each unit that the diameter grows."""
    return height_rate(angle) - 0.5


def angle_from_rollers(large: float, small: float, rise: float) -> float:
    """The angle of a V, degrees, from two rollers laid in it in turn.

    Args:
        large: diameter of the thicker roller.
        small: diameter of the thinner one.
        rise: by how much the top of the thicker one lies higher.

    Raises:
        ValueError: no V gives such a rise.
    """
    step = (large - small) / 2
    if not step > 0.0 or not rise > 2 * step:
        raise ValueError("Expected a larger and a smaller roller, and a rise greater than their difference")
    return 2 * math.degrees(math.asin(step / (rise - step)))


def over_pins(land: float, pin_radius: float, left: float, right: float) -> float:
    """Size over two pins, one on each side of a V that projects between two grooves.

    Args:
        land: width between the sharp corners.
        pin_radius: of both pins.
        left: angle of one flank, degrees.
        right: angle of the other, degrees.

    Source: Machinery's Handbook, "Checking a V-shaped groove by measurement over pins".
    """
    total, apart = math.radians(left + right) / 2, math.radians(left - right) / 2
    return land + 2 * pin_radius * (1 + math.cos(apart) / math.sin(total))


def _half(angle: float) -> float:
    if not 0.0 < angle < 180.0:
        raise ValueError(f"Expected an angle of a V between 0 and 180 degrees, got {angle:g}")
    return math.radians(angle) / 2
