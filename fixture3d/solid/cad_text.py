"""What is wrong with a STEP or IGES file can be seen in its text, before the CAD kernel is trusted with it.

The kernel leaves out what it cannot follow and turns mirrored instances into turned ones, in both cases without a
word; a part would be missing or in the wrong place.
"""

from __future__ import annotations

import re

import numpy as np

_OPERATOR = b"CARTESIAN_TRANSFORMATION_OPERATOR_3D"


def step_fault(data: bytes) -> str:
    """What is wrong with the text of a STEP file, as the rest of a sentence after its name; "" for nothing."""
    if b"ISO-10303-21" not in data[:2000]:
        return "is not a STEP file: it does not begin with ISO-10303-21"
    if b"END-ISO-10303-21" not in data[-2000:]:
        return "is cut short: its last line END-ISO-10303-21 is missing; export it again"
    plain = re.sub(rb"'[^']*'", b"", data)
    lost = _dangling(plain)
    if lost:
        return f"is damaged: it refers to entity #{lost}, which is not in it; export it again"
    return _mirrored(plain) if _OPERATOR in plain else ""


def _dangling(plain: bytes) -> int:
    """The lowest entity that the file refers to and does not define; 0 when there is none."""
    defined = set(re.findall(rb"#(\d+)\s*=", plain))
    return min((int(n) for n in set(re.findall(rb"#(\d+)", plain)) - defined), default=0)


def _mirrored(plain: bytes) -> str:
    """What is wrong with the transformation operators of a file (ISO 10303-42, cartesian_transformation_operator_3d).

    The kernel reads them as turns: it takes the second axis from the other two, and leaves the scale out.
    """
    directions = {
        int(m[1]): [float(word) for word in m[2].split(b",")]
        for m in re.finditer(rb"#(\d+)\s*=\s*DIRECTION\s*\(\s*,\s*\(([-+\d.eE,\s]*)\)", plain)
    }
    for m in re.finditer(rb"#(\d+)\s*=\s*" + _OPERATOR + rb"\s*\(([^()]*)\)|(" + _OPERATOR + rb")", plain):
        number = int(m[1] or 0)
        words = [word.strip() for word in (m[2] or b"").split(b",")]
        if len(words) != 8:
            return "places a part by a transform that the CAD kernel cannot read; export it with plain placements"
        try:
            # What may be left out ($) is the unit and right-handed one.
            x, y, z = (directions[int(words[k][1:])] if words[k] != b"$" else None for k in (3, 4, 7))
            scale = 1.0 if words[6] == b"$" else float(words[6])
        except (ValueError, KeyError):
            return f"is damaged: transform #{number} has no directions; export it again"
        if abs(scale - 1.0) > 1e-9:
            return f"scales an instance by {scale:.4g} (entity #{number}); export it at its true size"
        if x is not None and y is not None and z is not None and float(np.linalg.det([x, y, z])) < 0.0:
            return (
                f"mirrors an instance (entity #{number}), which the CAD kernel would turn instead; export the mirrored "
                "part as a part of its own"
            )
    return ""


def iges_fault(data: bytes) -> str:
    """An IGES file is lines of 80 columns; the 73rd names the section, the last line counts the lines of each."""
    lines = [line.rstrip("\r") for line in data.decode("latin-1").split("\n") if line.strip()]
    if lines[0][72:73] != "S" or not any(line[72:73] == "D" for line in lines):
        return "is not an IGES file: its lines have no section letter in column 73"
    said = re.match(r"S\s*(\d+)G\s*(\d+)D\s*(\d+)P\s*(\d+)", lines[-1])
    if lines[-1][72:73] != "T" or said is None:
        return "is cut short: its last line, section T, is missing; export it again"
    for letter, count in zip("SGDP", said.groups(), strict=True):
        there = sum(1 for line in lines if line[72:73] == letter)
        if there != int(count):
            return f"is damaged: section {letter} has {there} lines and should have {count}; export it again"
    return ""
