"""The one door to the CAD kernel: solids as boundary representation, placing, exact distance, meshing.

Only the bare ``OCP`` modules are imported, and only inside functions: they start in a quarter of the time that
``cadquery`` takes. A shape here is a ``TopoDS_Shape``; `wrapped` gets one out of whatever the caller has.
"""

from __future__ import annotations

import io
from collections.abc import Iterator
from contextlib import contextmanager
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fixture3d.errors import BadSolid
from fixture3d.solid.follow import FaceMesh
from fixture3d.solid.mesh import Mesh, weld_kept
from fixture3d.tolerance import NUMERIC

Array = NDArray[np.float64]

_TURN = 0.5  # rad; the chord decides on all but the smallest arcs
_FREE_ERROR = 1e-6  # of the volume of a solid with free surfaces
_VOLUME_ERROR = 1e-5  # of the volume, as the kernel estimates it; seen to be some thousand times better
# The first mesher is several times faster on round faces, but fails on extruded curves; the second is the kernel's own
# choice. Where edges between faces lie too far off their surfaces, all is meshed finer, by shares of the chord.
TRIES = ((True, 1.0), (False, 1.0), (True, 0.5), (False, 0.5), (True, 0.25))
_WELDS = (1e-7, 1e-6, 1e-5, 1e-4, 1e-3)


def wrapped(obj: object) -> Any:
    """The ``TopoDS_Shape`` inside a cadquery Workplane, Shape or Assembly, or ``obj`` when it is one already.

    Raises:
        BadSolid: it is nothing of the kind, or it is empty.
    """
    if hasattr(obj, "toCompound"):
        obj = obj.toCompound()
    if hasattr(obj, "vals"):
        values = [v for v in obj.vals() if hasattr(v, "wrapped")]
        if not values:
            raise BadSolid("the workplane holds no solid; expected one closed solid")
        if len(values) > 1:
            return _compound([v.wrapped for v in values])
        obj = values[0]
    shape = getattr(obj, "wrapped", obj)
    if not (hasattr(shape, "ShapeType") and hasattr(shape, "IsNull")):
        raise BadSolid(f"a {type(obj).__name__} is not a solid; expected a cadquery shape or a trimesh mesh")
    if shape.IsNull():
        raise BadSolid("the solid is empty; expected one closed solid")
    return shape


def one_solid(obj: object) -> Any:
    """The single valid, closed, outward-facing solid in ``obj``, as ``TopoDS_Shape``.

    Raises:
        BadSolid: there is none, there are several, it is open, or the kernel calls it invalid.
    """
    return measured_solid(obj)[0]


def measured_solid(obj: object) -> tuple[Any, float]:
    """What `one_solid` gives, and its volume in mm3, which the check of it had to find.

    Raises:
        BadSolid: there is none, there are several, it is open, or the kernel calls it invalid.
    """
    shape = wrapped(obj)
    found = split_solids(shape)
    if not found:
        raise BadSolid(f"no solid, only {_content(shape)}; expected one closed solid")
    if len(found) > 1:
        raise BadSolid(f"{len(found)} separate solids; expected one closed solid: pass them one by one")
    solid = found[0]
    if not is_valid(solid):
        raise BadSolid("the solid is not valid (open, or its faces cross); mend it where it was drawn")
    size = volume(solid)
    if not np.isfinite(size):
        raise BadSolid("the solid has no finite volume; mend it where it was drawn")
    if size < 0.0:
        raise BadSolid("the solid is inside out (negative volume); reverse its faces")
    if size <= NUMERIC.volume:
        raise BadSolid("the solid is empty (no volume); expected one closed solid")
    return solid, size


def split_solids(shape: Any) -> list[Any]:
    """Every solid in ``shape`` with its location applied, in the kernel's own order."""
    from OCP.TopAbs import TopAbs_SOLID
    from OCP.TopExp import TopExp_Explorer

    if shape.ShapeType() == TopAbs_SOLID:
        return [shape]
    out = []
    explorer = TopExp_Explorer(shape, TopAbs_SOLID)
    while explorer.More():
        out.append(explorer.Current())
        explorer.Next()
    return out


def is_valid(shape: Any) -> bool:
    """Whether the kernel finds no fault: every shell closed, every face and edge consistent."""
    from OCP.BRep import BRep_Tool
    from OCP.BRepCheck import BRepCheck_Analyzer
    from OCP.TopAbs import TopAbs_SHELL
    from OCP.TopExp import TopExp_Explorer

    if not BRepCheck_Analyzer(shape).IsValid():
        return False
    explorer = TopExp_Explorer(shape, TopAbs_SHELL)
    while explorer.More():
        if not BRep_Tool.IsClosed_s(explorer.Current()):
            return False
        explorer.Next()
    return True


def all_planar(shape: Any) -> bool:
    """Whether every face lies in a plane, so that a mesh of straight-edged triangles can be exact."""
    from OCP.BRepAdaptor import BRepAdaptor_Curve, BRepAdaptor_Surface
    from OCP.GeomAbs import GeomAbs_Line, GeomAbs_Plane
    from OCP.TopAbs import TopAbs_EDGE, TopAbs_FACE
    from OCP.TopExp import TopExp_Explorer
    from OCP.TopoDS import TopoDS

    explorer = TopExp_Explorer(shape, TopAbs_FACE)
    while explorer.More():
        if BRepAdaptor_Surface(TopoDS.Face_s(explorer.Current()), False).GetType() != GeomAbs_Plane:
            return False
        explorer.Next()
    # A flat face with a curved rim always has a curved neighbour in a closed solid, but not in a broken one.
    explorer = TopExp_Explorer(shape, TopAbs_EDGE)
    while explorer.More():
        if BRepAdaptor_Curve(TopoDS.Edge_s(explorer.Current())).GetType() != GeomAbs_Line:
            return False
        explorer.Next()
    return True


def tessellate(shape: Any, chord: float = NUMERIC.chord, angular: float = _TURN) -> Mesh:
    """A closed mesh of one solid.

    Args:
        shape: one closed solid; it is not changed.
        chord: mm, greatest distance between a curved face and the mesh. Where that cannot be kept, `Mesh.chord`
            tells the greatest distance that was measured.
        angular: rad, greatest turn between neighbouring facets.

    Raises:
        BadSolid: the kernel's mesh does not close.
    """
    planar = all_planar(shape)
    true_volume, true_area = volume(shape), surface(shape)
    # Faces that were sewn need not quite reach their edges, and the volume is known no better than that.
    loose = widest(shape)
    if true_volume < 0.0:
        raise BadSolid("the solid is inside out (negative volume); reverse its faces")
    why = "the solid's mesh has no triangles; mend the solid where it was drawn"
    best: Mesh | None = None
    for delabella, share in TRIES:
        if share < 1.0 and best is None:
            break  # finer edges mend no fault of the solid
        try:
            vertices, faces, curved, off = _triangles(meshed(shape, chord * share, angular, delabella), chord)
        except BadSolid as fault:
            why = str(fault)
            continue
        true_chord = 0.0 if planar else max(chord, off)
        for tolerance in _WELDS:
            merged, triangles, kept = weld_kept(vertices, faces, tolerance)
            mesh = Mesh(merged, triangles, planar, true_chord, None if planar else curved[kept])
            if len(triangles) and mesh.open_edges == 0:
                # A last look at the whole, for a face that is missing or turned over; `off` holds each triangle.
                if abs(mesh.volume - true_volume) > (mesh.chord + loose) * true_area + 1e-6 * true_volume:
                    why = "the solid's mesh has the wrong volume; mend the solid where it was drawn"
                elif best is None or mesh.chord < best.chord:
                    best = mesh
                break
            why = f"the solid's mesh has {mesh.open_edges} open edges; mend the solid where it was drawn"
        if best is not None and best.chord <= chord:
            break
    if best is None:
        raise BadSolid(why)
    return best


def has_free_faces(shape: Any) -> bool:
    """Whether some face is none of plane, cylinder, sphere, cone and torus."""
    from OCP.BRepAdaptor import BRepAdaptor_Surface
    from OCP.GeomAbs import GeomAbs_Cone, GeomAbs_Cylinder, GeomAbs_Plane, GeomAbs_Sphere, GeomAbs_Torus
    from OCP.TopAbs import TopAbs_FACE
    from OCP.TopExp import TopExp_Explorer
    from OCP.TopoDS import TopoDS

    described = (GeomAbs_Plane, GeomAbs_Cylinder, GeomAbs_Sphere, GeomAbs_Cone, GeomAbs_Torus)
    explorer = TopExp_Explorer(shape, TopAbs_FACE)
    while explorer.More():
        if BRepAdaptor_Surface(TopoDS.Face_s(explorer.Current()), False).GetType() not in described:
            return True
        explorer.Next()
    return False


def volume(shape: Any) -> float:
    """Volume in mm3, negative when the solid is inside out."""
    from OCP.BRepGProp import BRepGProp
    from OCP.GProp import GProp_GProps

    properties = GProp_GProps()
    if has_free_faces(shape):
        # The other integral passes over the knots of an extruded spline: it was seen 0.2 % off while it claimed 1e-16.
        BRepGProp.VolumePropertiesGK_s(shape, properties, _FREE_ERROR, False, True, False, False, False)
    else:
        # Without a stated error it is off by up to 0.6 % where two rounds nearly touch along an edge.
        BRepGProp.VolumeProperties_s(shape, properties, _VOLUME_ERROR, False, False)
    return float(properties.Mass())


def box(shape: Any) -> Array:
    """Least and greatest corner, (2, 3) mm, exact but for the kernel's own tolerance."""
    from OCP.Bnd import Bnd_Box
    from OCP.BRepBndLib import BRepBndLib

    found = Bnd_Box()
    BRepBndLib.AddOptimal_s(shape, found, False, False)
    low, high = found.CornerMin(), found.CornerMax()
    return np.array([[low.X(), low.Y(), low.Z()], [high.X(), high.Y(), high.Z()]])


def surface(shape: Any) -> float:
    """Area of all faces, mm2."""
    from OCP.BRepGProp import BRepGProp
    from OCP.GProp import GProp_GProps

    properties = GProp_GProps()
    BRepGProp.SurfaceProperties_s(shape, properties)
    return float(properties.Mass())


def widest(shape: Any) -> float:
    """The greatest tolerance of a face, edge or vertex, mm: how far apart what counts as joined may be."""
    from OCP.ShapeAnalysis import ShapeAnalysis_ShapeTolerance

    return float(ShapeAnalysis_ShapeTolerance().Tolerance(shape, 1))


def distance(a: Any, b: Any) -> float | None:
    """Least distance in mm, 0 when they touch, overlap or contain each other; None when the kernel fails."""
    from OCP.BRepExtrema import BRepExtrema_DistShapeShape

    query = BRepExtrema_DistShapeShape(a, b)
    if not query.IsDone() or query.NbSolution() == 0:
        return None
    return float(query.Value())


def common(a: Any, b: Any) -> Any | None:
    """The part of space in both solids, possibly without any volume; None when the kernel fails."""
    from OCP.BRepAlgoAPI import BRepAlgoAPI_Common

    operation = BRepAlgoAPI_Common(a, b)
    if not operation.IsDone():
        return None
    shape = operation.Shape()
    return None if shape is None or shape.IsNull() else shape


def moved(shape: Any, pose: Array) -> Any:
    """``shape`` in the outer frame.

    Args:
        shape: in its own frame.
        pose: shape_to_outer, (4, 4), rigid.
    """
    from OCP.gp import gp_Mat, gp_Quaternion, gp_Trsf, gp_Vec
    from OCP.TopLoc import TopLoc_Location

    transform = gp_Trsf()
    # By way of a quaternion, so that rounding in the matrix is never taken for a scale.
    transform.SetRotation(gp_Quaternion(gp_Mat(*(float(v) for v in pose[:3, :3].ravel()))))
    transform.SetTranslationPart(gp_Vec(*(float(v) for v in pose[:3, 3])))
    return shape.Moved(TopLoc_Location(transform))


def brep_bytes(shape: Any) -> bytes:
    """The solid in the kernel's binary form, without any mesh."""
    from OCP.BinTools import BinTools, BinTools_FormatVersion

    stream = io.BytesIO()
    version = BinTools_FormatVersion.BinTools_FormatVersion_VERSION_4
    BinTools.Write_s(shape, stream, False, False, version)
    return stream.getvalue()


def brep_from_bytes(data: bytes) -> Any:
    """The solid written by `brep_bytes`.

    Raises:
        BadSolid: the bytes hold no shape.
    """
    from OCP.BinTools import BinTools
    from OCP.TopoDS import TopoDS_Shape

    shape = TopoDS_Shape()
    try:
        BinTools.Read_s(shape, io.BytesIO(data))
    except Exception as fault:  # the kernel raises its own Standard_Failure tree
        raise BadSolid("the stored solid cannot be read") from fault
    if shape.IsNull():
        raise BadSolid("the stored solid is empty")
    return shape


def meshed(
    shape: Any,
    chord: float,
    angular: float = _TURN,
    delabella: bool = True,
    inside: float | None = None,
    inner: bool = True,
) -> Any:
    """A copy of ``shape`` that carries triangles; the original keeps whatever mesh it has.

    Args:
        shape: any shape.
        chord: mm, greatest distance between a curved edge and its chord, and between a face and its triangles.
        angular: rad, greatest turn between neighbouring chords.
        delabella: the faster mesher, or the kernel's own.
        inside: mm, for faces another distance than for their edges.
        inner: whether corners may lie inside faces. Without them nothing holds the chord inside faces, and
            `FaceMesh.followed` has to; a free form then has a tenth of the triangles.
    """
    from OCP.BRepBuilderAPI import BRepBuilderAPI_Copy
    from OCP.BRepMesh import BRepMesh_IncrementalMesh
    from OCP.IMeshTools import IMeshTools_MeshAlgoType, IMeshTools_Parameters
    from OCP.Message import Message_ProgressRange

    parameters = IMeshTools_Parameters()
    parameters.Deflection = chord
    parameters.Angle = angular
    if inside is not None:
        parameters.DeflectionInterior = inside
    parameters.Relative = False
    parameters.InParallel = False
    parameters.InternalVerticesMode = inner
    parameters.ControlSurfaceDeflection = inner
    kinds = IMeshTools_MeshAlgoType
    parameters.MeshAlgo = kinds.IMeshTools_MeshAlgoType_Delabella if delabella else kinds.IMeshTools_MeshAlgoType_Watson
    copy = BRepBuilderAPI_Copy(shape, True, False).Shape()
    BRepMesh_IncrementalMesh(copy, parameters, Message_ProgressRange())
    return copy


def _triangles(shape: Any, limit: float) -> tuple[Array, NDArray[np.int32], NDArray[np.bool_], float]:
    """Vertices (n, 3), faces (m, 3), which faces are curved, (m,), and how far off they are, of a meshed shape.

    Vertices are repeated from face to face. Triangles further than ``limit`` mm off their surface are split.
    """
    blocks: list[Array] = [np.zeros((0, 3))]
    faces: list[NDArray[np.int32]] = [np.zeros((0, 3), dtype=np.int32)]
    curved: list[NDArray[np.bool_]] = [np.zeros(0, dtype=bool)]
    start, off = 0, 0.0
    for found in face_meshes(shape):
        face, far = found.followed(limit)
        off = max(off, far)
        faces.append(face.faces + start)
        blocks.append(face.vertices)
        curved.append(np.full(len(face.faces), not face.flat))
        start += len(face.vertices)
    return np.concatenate(blocks), np.concatenate(faces), np.concatenate(curved), off


def face_meshes(shape: Any) -> Iterator[FaceMesh]:
    """Each face of a meshed shape, in the frame of the shape.

    Raises:
        BadSolid: a face without triangles.
    """
    from OCP.BRep import BRep_Tool
    from OCP.BRepAdaptor import BRepAdaptor_Surface
    from OCP.TopAbs import TopAbs_FACE, TopAbs_REVERSED
    from OCP.TopExp import TopExp_Explorer
    from OCP.TopLoc import TopLoc_Location
    from OCP.TopoDS import TopoDS

    explorer = TopExp_Explorer(shape, TopAbs_FACE)
    while explorer.More():
        face = TopoDS.Face_s(explorer.Current())
        explorer.Next()
        location = TopLoc_Location()
        found = BRep_Tool.Triangulation_s(face, location)
        if found is None:
            raise BadSolid("a face of the solid could not be meshed; mend it where it was drawn")
        block = np.array([found.Node(i).Coord() for i in range(1, found.NbNodes() + 1)], dtype=np.float64)
        if not location.IsIdentity():
            t = location.Transformation()
            matrix = np.array([[t.Value(r, c) for c in range(1, 5)] for r in range(1, 4)])
            block = block @ matrix[:, :3].T + matrix[:, 3]
        corners = [found.Triangle(i).Get() for i in range(1, found.NbTriangles() + 1)]
        part = np.array(corners, dtype=np.int32).reshape(-1, 3) - 1
        outward = part[:, ::-1] if face.Orientation() == TopAbs_REVERSED else part
        yield FaceMesh(BRepAdaptor_Surface(face, False), block, outward, partial(_parameters, found))


def _parameters(triangulation: Any) -> Array:
    """The surface's parameters at the nodes of a ``Poly_Triangulation``, (n, 2)."""
    count = triangulation.NbNodes()
    return np.array([triangulation.UVNode(i).Coord() for i in range(1, count + 1)], dtype=np.float64).reshape(-1, 2)


def _compound(shapes: list[Any]) -> Any:
    from OCP.BRep import BRep_Builder
    from OCP.TopoDS import TopoDS_Compound

    builder, compound = BRep_Builder(), TopoDS_Compound()
    builder.MakeCompound(compound)
    for shape in shapes:
        builder.Add(compound, shape)
    return compound


def _content(shape: Any) -> str:
    """What is in a shape that holds no solid, for an error message."""
    from OCP.TopAbs import TopAbs_EDGE, TopAbs_FACE
    from OCP.TopExp import TopExp_Explorer

    for kind, word in ((TopAbs_FACE, "faces"), (TopAbs_EDGE, "edges")):
        if TopExp_Explorer(shape, kind).More():
            return f"loose {word}"
    return "nothing that has an inside"


@contextmanager
def quiet() -> Iterator[None]:
    """Keep the kernel's own remarks off the answer on stdout."""
    from OCP.Message import Message

    messenger = Message.DefaultMessenger_s()
    printers = list(messenger.Printers())
    for printer in printers:
        messenger.RemovePrinter(printer)
    try:
        yield
    finally:
        for printer in printers:
            messenger.AddPrinter(printer)
