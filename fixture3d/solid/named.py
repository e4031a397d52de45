"""The solids of a STEP or IGES file with readable names: what `reading` does in its own process.

Loose faces are sewn where they close, invalid solids mended where that is provable, and what is left over is told.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from fixture3d.errors import BadSolid, ImportFailed
from fixture3d.solid import kernel
from fixture3d.solid.assembly import Colour, Leaf, leaves, upright
from fixture3d.solid.names import clean, unique
from fixture3d.solid.sewing import loose_faces, mended, sew
from fixture3d.tolerance import FILES

IGES = (".igs", ".iges")


@dataclass(frozen=True)
class NamedSolid:
    """One solid: a name unique in the file, the ``TopoDS_Shape``, its colour (sRGB, 0 to 1), notes on it."""

    name: str
    solid: Any
    colour: Colour | None = None
    notes: tuple[str, ...] = ()


def named_solids(path: Path) -> list[NamedSolid]:
    """Every solid of a STEP or IGES file, in its order.

    Raises:
        ImportFailed: there is none that can be used; the sentence goes on from the name of the file.
        BadSolid: as ``ImportFailed``.
    """
    iges = path.suffix.casefold() in IGES
    return _solids(path, leaves(path, iges), iges)


def _solids(path: Path, found: list[Leaf], iges: bool) -> list[NamedSolid]:
    """The solids of all leaves, loose faces sewn where they close, named apart."""
    titles = _titles([leaf.path for leaf in found], path.stem)
    parts: list[NamedSolid] = []
    loose: list[tuple[str, list[Any], Colour | None]] = []
    for title, leaf in zip(titles, found, strict=True):
        for k, solid in enumerate(kernel.split_solids(leaf.shape)):
            try:
                one, note = mended(upright(solid))
            except BadSolid as fault:
                raise BadSolid(f'holds a solid "{title}" that cannot be used: {fault}') from None
            parts.append(_noted(title, one, leaf.colours[min(k, len(leaf.colours) - 1)], note))
        if faces := loose_faces(leaf.shape):
            loose.append((title, faces, leaf.colours[0] if leaf.colours else None))
    sewn, left, where = _sewn(loose, path.stem, iges)
    parts += sewn
    if not parts:
        what = "only surfaces" if loose else "nothing that has an inside"
        raise ImportFailed(
            f"holds no solid, {what}{f' ({where})' if where else ''}; "
            "expected closed solids: export the model as solids"
        )
    used: set[str] = set()
    out = [replace(part, name=unique(part.name, used)) for part in parts]
    if left:
        note = f"{left} loose surfaces of {path.name} are left out: only solids are read"
        out[0] = replace(out[0], notes=(*out[0].notes, note))
    return out


def _noted(name: str, solid: Any, colour: Colour | None, note: str) -> NamedSolid:
    return NamedSolid(name, solid, colour, (note,) if note else ())


def _sewn(
    loose: list[tuple[str, list[Any], Colour | None]], stem: str, pool: bool
) -> tuple[list[NamedSolid], int, str]:
    """Solids from loose faces, how many faces stay loose, and where the first of them is open.

    Faces of one part are sewn together; those of parts that do not close by themselves are sewn with all others,
    because many programs write each face as a part of its own. With ``pool`` all faces are taken so at once.
    """
    out: list[NamedSolid] = []
    rest: list[tuple[str, list[Any], Colour | None]] = loose if pool else []
    left, where = 0, ""
    note = f"repaired: sewn from loose surfaces whose edges meet within {FILES.sew:g} mm"
    for title, faces, colour in () if pool else loose:
        solids, over, open_at = sew(faces)
        out += [_noted(title, solid, colour, note) for solid in solids]
        if solids:
            left, where = left + over, where or open_at
        else:
            rest.append((title, faces, colour))
    if rest:
        solids, over, open_at = sew([face for _, faces, _ in rest for face in faces])
        title, colour = (rest[0][0] if len(rest) == 1 else clean(stem)), rest[0][2]
        out += [_noted(title, solid, colour, note) for solid in solids]
        left, where = left + over, where or open_at
    return out, left, where


def _titles(paths: list[tuple[str, ...]], stem: str) -> list[str]:
    """A readable name a leaf: its own; with the assemblies round it where the same name is in several of them.

    Uses of one part in one assembly keep one name here, and are numbered by `names.unique`.
    """
    # A level without a name, the part itself too, says nothing: the nearest name round it stands for it.
    tidy = [tuple(clean(name) for name in path if name) or (clean(stem),) for path in paths]
    homes: dict[str, set[tuple[str, ...]]] = {}
    for path in tidy:
        homes.setdefault(path[-1].casefold(), set()).add(path[:-1])
    out = []
    for path in tidy:
        rivals = homes[path[-1].casefold()]
        steps = path[:-1]
        deep = 0
        # As few of the assemblies as it takes, from the inside out.
        while deep < len(steps) and sum(_tail(home, deep) == _tail(path[:-1], deep) for home in rivals) > 1:
            deep += 1
        out.append(clean(" ".join([*steps[len(steps) - deep :], path[-1]])))
    return out


def _tail(home: tuple[str, ...], deep: int) -> tuple[str, ...]:
    return tuple(step.casefold() for step in home[len(home) - deep :]) if deep else ()
