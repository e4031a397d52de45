"""3MF files: objects, components and the build list of the core specification, parts in other models by path.

3MF Core Specification 1.3 (objects, components, build, units) and Production Extension 1.1 (``p:path``). The model
is read as a stream and counted while it is read: a small file can claim any size.
"""

from __future__ import annotations

import io
import zipfile
import zlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, NoReturn
from xml.parsers import expat

import numpy as np
from numpy.typing import NDArray

from fixture3d.errors import ImportFailed, one_line
from fixture3d.solid.mesh import MOST_TRIANGLES
from fixture3d.tolerance import FILES

Array = NDArray[np.float64]
Longs = NDArray[np.int64]

_UNITS = {"micron": "um", "millimeter": "mm", "centimeter": "cm", "inch": "in", "foot": "ft", "meter": "m"}
_MAIN = "3d/3dmodel.model"
_SOLID_TYPES = ("model", "")  # the others are supports, open surfaces and what no one asked to be made


@dataclass
class _Object:
    name: str
    kind: str
    vertices: list[tuple[float, float, float]] = field(default_factory=list)
    triangles: list[tuple[int, int, int]] = field(default_factory=list)
    components: list[tuple[str, str, Array]] = field(default_factory=list)


@dataclass
class _Model:
    """One model part of the package.

    Attributes:
        unit: as the file writes it.
        objects: by their id.
        items: of the build list: path of another model or "", object id, pose.
    """

    unit: str = "millimeter"
    objects: dict[str, _Object] = field(default_factory=dict)
    items: list[tuple[str, str, Array]] = field(default_factory=list)


def read_3mf(data: bytes, stem: str, unit: str | None, mm: Mapping[str, float]) -> list[tuple[str, Array, Longs]]:
    """Name, vertices (n, 3) mm and faces (m, 3) of every mesh that the build list asks for, each in its place.

    Args:
        data: the file.
        stem: name for objects that have none.
        unit: what the scene says the unit is; None when it says nothing.
        mm: what 1 of a unit is in mm.

    Raises:
        ImportFailed: not such a file, cut short, too large, or in another unit than the scene says.
    """
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            models = _models(archive)
    except (
        zipfile.BadZipFile,
        expat.ExpatError,
        EOFError,
        NotImplementedError,  # what zipfile raises for a way of packing that it does not know
        RuntimeError,
        zlib.error,
    ) as fault:
        raise ImportFailed(f"not a 3MF file, or cut short ({one_line(str(fault))})") from fault
    except (ValueError, TypeError, KeyError, OverflowError) as fault:
        raise ImportFailed("the 3MF model is damaged: a number or a reference is missing") from fault
    main = models[min(models, key=lambda name: (name != _MAIN, name))]
    if main.unit not in _UNITS:
        raise ImportFailed(f'unit "{one_line(main.unit)}" is none of 3MF; expected one of {", ".join(_UNITS)}')
    own = _UNITS[main.unit]
    if unit is not None and unit != own:
        raise ImportFailed(f'unit = "{unit}" contradicts the file, which is in {own}; leave unit = out')
    try:
        return _placed(models, main, stem, mm[own])
    except (ValueError, KeyError) as fault:
        raise ImportFailed("the 3MF model is damaged: a number or a reference is missing") from fault


def _models(archive: zipfile.ZipFile) -> dict[str, _Model]:
    """Every model part of the package by its path, lower case, without a leading slash."""
    names = [n for n in archive.namelist() if n.casefold().endswith(".model")]
    if not names:
        raise ImportFailed("not a 3MF file: it holds no model")
    left = FILES.unpacked
    counter = [0]
    out: dict[str, _Model] = {}
    for name in names:
        reader = _Reader(counter)
        with archive.open(name) as stream:
            while block := stream.read(1 << 20):
                left -= len(block)
                if left < 0:
                    raise ImportFailed(f"its model is larger than {FILES.unpacked // 1_000_000} MB; export it coarser")
                reader.feed(block)
        out[name.casefold().lstrip("/")] = reader.close()
    return out


class _Reader:
    """Reads one model part as a stream of tags."""

    def __init__(self, counter: list[int]) -> None:
        self.model = _Model()
        self.at: _Object | None = None
        self.counter = counter
        self.parser = expat.ParserCreate(namespace_separator="}")
        self.parser.StartElementHandler = self._start
        self.parser.StartDoctypeDeclHandler = self._doctype

    def feed(self, block: bytes) -> None:
        self.parser.Parse(block, False)

    def close(self) -> _Model:
        self.parser.Parse(b"", True)
        return self.model

    def _doctype(self, *_: Any) -> NoReturn:
        raise ImportFailed("the model declares entities, which a 3MF file may not")

    def _start(self, tag: str, keys: dict[str, str]) -> None:
        name = tag.rpartition("}")[2]
        if name == "vertex" and self.at is not None:
            self._count()
            self.at.vertices.append((float(keys["x"]), float(keys["y"]), float(keys["z"])))
        elif name == "triangle" and self.at is not None:
            self._count()
            self.at.triangles.append((int(keys["v1"]), int(keys["v2"]), int(keys["v3"])))
        elif name == "model":
            self.model.unit = keys.get("unit", "millimeter")
        elif name == "object":
            self.at = self.model.objects[keys["id"]] = _Object(keys.get("name", ""), keys.get("type", ""))
        elif name == "component" and self.at is not None:
            self._count()
            self.at.components.append((_path(keys), keys["objectid"], _pose(keys.get("transform"))))
        elif name == "item":
            self._count()
            self.model.items.append((_path(keys), keys["objectid"], _pose(keys.get("transform"))))

    def _count(self) -> None:
        self.counter[0] += 1
        if self.counter[0] > 3 * MOST_TRIANGLES:
            raise ImportFailed(f"the model has more than {MOST_TRIANGLES} triangles; export it coarser")


def _path(keys: Mapping[str, str]) -> str:
    for key, value in keys.items():
        if key.rpartition("}")[2] == "path":
            return value.casefold().lstrip("/")
    return ""


def _pose(text: str | None) -> Array:
    """A 3MF transform as (4, 3): rows multiply row vectors, the last is the shift."""
    if not text:
        return np.vstack([np.eye(3), np.zeros(3)])
    pose = np.array([float(word) for word in text.split()]).reshape(4, 3)
    if not np.isfinite(pose).all() or abs(np.linalg.det(pose[:3])) < 1e-12:
        raise ValueError("a transform that flattens")
    return pose


def _placed(models: Mapping[str, _Model], main: _Model, stem: str, scale: float) -> list[tuple[str, Array, Longs]]:
    """Walk the build list down through components."""
    out: list[tuple[str, Array, Longs]] = []
    steps = 0

    def walk(model: _Model, number: str, pose: Array, name: str, depth: int) -> None:
        nonlocal steps
        steps += 1
        if depth > FILES.depth or steps > 10 * FILES.solids:
            raise ImportFailed(f"its components nest without end, or more than {10 * FILES.solids} times")
        found = model.objects[number]
        label = found.name or name
        if found.kind not in _SOLID_TYPES:
            return
        if found.triangles:
            points = np.array(found.vertices, dtype=np.float64).reshape(-1, 3) @ pose[:3] + pose[3]
            faces = np.array(found.triangles, dtype=np.int64).reshape(-1, 3)
            # A mirroring transform turns every triangle; the specification keeps the outside outside.
            out.append((label, points * scale, faces[:, ::-1] if np.linalg.det(pose[:3]) < 0.0 else faces))
            if sum(len(f) for _, _, f in out) > MOST_TRIANGLES or len(out) > FILES.solids:
                raise ImportFailed(f"it builds more than {FILES.solids} objects or {MOST_TRIANGLES} triangles")
        for path, part, own in found.components:
            inside = models[path] if path else model
            walk(inside, part, np.vstack([own[:3] @ pose[:3], own[3] @ pose[:3] + pose[3]]), label, depth + 1)

    for path, number, pose in main.items:
        walk(models[path] if path else main, number, pose, stem, 0)
    return out
