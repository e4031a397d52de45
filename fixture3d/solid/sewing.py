"""Faces of the CAD kernel sewn to solids, and solids that it calls invalid mended, where the result can be proven.

The proof is the kernel's own check of the result, and a tolerance that no edge exceeds.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from fixture3d.errors import BadSolid
from fixture3d.solid import kernel
from fixture3d.solid.meshholes import place
from fixture3d.tolerance import FILES, NUMERIC


def loose_faces(shape: Any) -> list[Any]:
    """Every face in ``shape`` that belongs to no solid."""
    from OCP.TopAbs import TopAbs_FACE, TopAbs_SOLID
    from OCP.TopExp import TopExp_Explorer

    return _explored(TopExp_Explorer(shape, TopAbs_FACE, TopAbs_SOLID))


def sew(faces: Sequence[Any]) -> tuple[list[Any], int, str]:
    """Solids out of faces whose edges meet within `FILES.sew`.

    Returns:
        The closed solids, how many faces are in none of them, and where the longest edge stands open ("" when no
        face is left over).

    Raises:
        BadSolid: one closed surface lies within another, so that it is not known which is a hollow.
    """
    from OCP.BRep import BRep_Tool
    from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeSolid, BRepBuilderAPI_Sewing
    from OCP.BRepLib import BRepLib
    from OCP.TopAbs import TopAbs_FACE, TopAbs_SHELL
    from OCP.TopExp import TopExp_Explorer
    from OCP.TopoDS import TopoDS

    maker = BRepBuilderAPI_Sewing(FILES.sew)
    for face in faces:
        maker.Add(face)
    maker.Perform()
    result = maker.SewedShape()
    solids: list[Any] = []
    left = 0
    if result is None or result.IsNull():
        return [], len(faces), _where_open(maker)
    for shell in _explored(TopExp_Explorer(result, TopAbs_SHELL)):
        solid = None
        if BRep_Tool.IsClosed_s(shell) and kernel.widest(shell) <= 2.0 * FILES.sew:
            built = BRepBuilderAPI_MakeSolid(TopoDS.Shell_s(shell)).Solid()
            if BRepLib.OrientClosedSolid_s(built) and kernel.is_valid(built) and kernel.volume(built) > NUMERIC.volume:
                solid = built
        if solid is None:
            left += len(_explored(TopExp_Explorer(shell, TopAbs_FACE)))
        else:
            solids.append(solid)
    left += len(_explored(TopExp_Explorer(result, TopAbs_FACE, TopAbs_SHELL)))
    _refuse_nested(solids)
    return solids, left, _where_open(maker) if left else ""


def mended(solid: Any) -> tuple[Any, str]:
    """One solid, and what was repaired in words ("" for nothing).

    Raises:
        BadSolid: it is not a valid solid and cannot be made one for certain; where and why.
    """
    valid = kernel.is_valid(solid)
    if valid and kernel.volume(solid) < 0.0:
        return kernel.one_solid(solid.Reversed()), "repaired: turned outside out"
    if valid:
        return kernel.one_solid(solid), ""
    from OCP.TopAbs import TopAbs_FACE
    from OCP.TopExp import TopExp_Explorer

    solids, left, where = sew(_explored(TopExp_Explorer(solid, TopAbs_FACE)))
    if len(solids) == 1 and not left:
        return solids[0], f"repaired: its faces sewn together within {FILES.sew:g} mm"
    fault = where or _where_invalid(solid)
    raise BadSolid(f"the solid is not valid ({fault or 'open, or its faces cross'}); mend it where it was drawn")


def _refuse_nested(solids: Sequence[Any]) -> None:
    boxes = [kernel.box(solid) for solid in solids]
    for k, one in enumerate(boxes):
        for o, other in enumerate(boxes):
            if k != o and (other[0] < one[0]).all() and (other[1] > one[1]).all() and _holds(solids[o], solids[k]):
                raise BadSolid(
                    f"a closed surface lies within another at {place(one.mean(axis=0))}, and the file does not say "
                    "whether it is a hollow or a solid; export the model as solids"
                )


def _holds(outer: Any, inner: Any) -> bool:
    from OCP.BRep import BRep_Tool
    from OCP.BRepClass3d import BRepClass3d_SolidClassifier
    from OCP.TopAbs import TopAbs_IN, TopAbs_VERTEX
    from OCP.TopExp import TopExp_Explorer
    from OCP.TopoDS import TopoDS

    vertex = TopoDS.Vertex_s(TopExp_Explorer(inner, TopAbs_VERTEX).Current())
    return bool(BRepClass3d_SolidClassifier(outer, BRep_Tool.Pnt_s(vertex), 1e-6).State() == TopAbs_IN)


def _where_open(maker: Any) -> str:
    """The longest edge that a sewing leaves open."""
    from OCP.BRepGProp import BRepGProp
    from OCP.GProp import GProp_GProps

    best: tuple[float, Any] | None = None
    for i in range(1, maker.NbFreeEdges() + 1):
        properties = GProp_GProps()
        BRepGProp.LinearProperties_s(maker.FreeEdge(i), properties)
        if best is None or properties.Mass() > best[0]:
            best = (float(properties.Mass()), properties.CentreOfMass())
    if best is None:
        return ""
    at = place((best[1].X(), best[1].Y(), best[1].Z()))
    return f"an open edge {best[0]:.3g} mm long at {at}"


def _where_invalid(solid: Any) -> str:
    """The first face that the kernel finds fault with."""
    from OCP.BRepCheck import BRepCheck_Analyzer
    from OCP.TopAbs import TopAbs_FACE
    from OCP.TopExp import TopExp_Explorer

    analyzer = BRepCheck_Analyzer(solid)
    for face in _explored(TopExp_Explorer(solid, TopAbs_FACE)):
        if not analyzer.IsValid(face):
            return f"a face at {place(kernel.box(face).mean(axis=0))} is folded or its edges cross"
    return ""


def _explored(explorer: Any) -> list[Any]:
    out = []
    while explorer.More():
        out.append(explorer.Current())
        explorer.Next()
    return out
