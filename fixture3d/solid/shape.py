"""A solid in its own frame, made only when it is needed and only once.

A `Shape` knows its key before it knows its geometry. With a cache its mesh and its boundary representation are
read from disk by that key, so that an unchanged job never starts the CAD kernel.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from fixture3d.cache import Store, content_key
from fixture3d.errors import BadSolid
from fixture3d.solid.mesh import Mesh
from fixture3d.tolerance import NUMERIC

if TYPE_CHECKING:
    from fixture3d.solid.facets import Facets

Array = NDArray[np.float64]

# mm; the chord of the second, finer mesh that settles near contacts of curved faces. Two such meshes of faces
# that touch cross by up to 2 chords, which stays well under the contact tolerance.
FINE_CHORD = NUMERIC.chord / 5.0

_NO_BREP = b"mesh only"


class Shape:
    """One closed solid, immutable, keyed, lazy.

    Args:
        key: says everything that decides the geometry (model, parameters, version of their code); two shapes
            of one key are taken to be the same.
        build: returns a cadquery solid, a ``TopoDS_Shape``, a `Mesh` or a trimesh mesh; called at most once.
        store: cache; None keeps nothing.
    """

    def __init__(self, key: str, build: Callable[[], object], store: Store | None = None) -> None:
        self.key = key
        self._build = build
        self._store = store

    @classmethod
    def of(cls, obj: object, store: Store | None = None) -> Shape:
        """The shape of a cadquery object, a ``TopoDS_Shape``, a trimesh mesh or a `Mesh`, checked at once.

        Raises:
            BadSolid: it is not one valid, closed, outward-facing solid.
        """
        if isinstance(obj, Shape):
            return obj
        if isinstance(obj, Mesh):
            return cls(content_key(["mesh", obj.key]), lambda: obj, store)
        if hasattr(obj, "vertices") and hasattr(obj, "faces") and not callable(obj.faces):
            mesh = Mesh.from_trimesh(obj)
            return cls(content_key(["mesh", mesh.key]), lambda: mesh, store)
        from fixture3d.solid import kernel

        solid = kernel.one_solid(obj)
        return cls(content_key(["brep", kernel.brep_bytes(solid)]), lambda: solid, store)

    @cached_property
    def mesh(self) -> Mesh:
        """The mesh with `NUMERIC.chord`, or the mesh that the shape is.

        Raises:
            BadSolid: the solid is not valid or does not mesh.
        """
        return self._mesh("mesh", NUMERIC.chord)

    @cached_property
    def fine(self) -> Mesh:
        """The mesh with `FINE_CHORD`; the same as `mesh` when that is exact. Raises as `mesh` does."""
        return self.mesh if self.mesh.chord == 0.0 else self._mesh("mesh-fine", FINE_CHORD)

    @cached_property
    def facets(self) -> Facets:
        """The surface face by face, for a viewer that measures. Raises as `mesh` does."""
        from fixture3d.solid import facets

        if self._store is not None:
            data = self._store.get(self.key, facets.STORED)
            if data is not None:
                try:
                    return facets.Facets.from_bytes(data)
                except BadSolid:
                    pass  # a cache is only a shortcut: make them again
        solid = self.brep
        found = facets.of_mesh(self._built) if solid is None else facets.of_brep(solid)
        if self._store is not None:
            self._store.put(self.key, facets.STORED, found.to_bytes())
        return found

    @cached_property
    def brep(self) -> Any | None:
        """The solid as ``TopoDS_Shape``, or None for a mesh.

        Raises:
            BadSolid: the solid is not valid.
        """
        if "_built" not in self.__dict__ and self._store is not None:
            data = self._store.get(self.key, "brep")
            if data == _NO_BREP:
                return None
            if data is not None:
                from fixture3d.solid import kernel

                try:
                    return kernel.brep_from_bytes(data)
                except BadSolid:
                    pass  # a cache is only a shortcut: build it again
        return None if isinstance(self._built, Mesh) else self._built

    @property
    def planar(self) -> bool:
        """Whether every face is flat, so that `mesh` is exact."""
        return self.mesh.planar

    @property
    def box(self) -> Array:
        """Least and greatest corner of the mesh in its own frame, (2, 3) mm."""
        return self.mesh.box

    @cached_property
    def _built(self) -> Any:
        """A checked `Mesh` or ``TopoDS_Shape``, put into the cache."""
        found = self._build()
        if isinstance(found, Mesh):
            result: Any = found
        elif hasattr(found, "vertices") and hasattr(found, "faces") and not callable(found.faces):
            result = Mesh.from_trimesh(found)
        else:
            from fixture3d.solid import kernel

            data = kernel.brep_bytes(kernel.one_solid(found))
            if self._store is not None:
                self._store.put(self.key, "brep", data)
            # As it is read back, so that what is made of it has the same bytes whether it was kept or not.
            return kernel.brep_from_bytes(data)
        if self._store is not None:
            self._store.put(self.key, "brep", _NO_BREP)
        return result

    def _mesh(self, kind: str, chord: float) -> Mesh:
        if self._store is not None:
            data = self._store.get(self.key, kind)
            if data is not None:
                try:
                    return Mesh.from_npz_bytes(data)
                except BadSolid:
                    pass  # a cache is only a shortcut: make it again
        solid = self.brep
        if solid is None:
            mesh = self._built
        else:
            from fixture3d.solid import kernel

            mesh = kernel.tessellate(solid, chord)
        if self._store is not None:
            self._store.put(self.key, kind, mesh.to_npz_bytes())
        return mesh  # type: ignore[no-any-return]
