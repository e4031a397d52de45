"""A picture of one block by itself, with the faces that touch the work numbered; kept between runs."""

from __future__ import annotations

import io
from collections.abc import Sequence
from importlib import metadata
from importlib.resources import files
from typing import Any, Final

import numpy as np

from fixture3d.cache import Store, content_key
from fixture3d.frame import Array
from fixture3d.job.bodies import part_key, prove_bodies, shared_shape
from fixture3d.library import Entry
from fixture3d.part import Pad, Part
from fixture3d.preview import gl
from fixture3d.preview.camera import TO_EYE, View, around
from fixture3d.preview.png import COLOURS, add_group, light, shot
from fixture3d.preview.shapes import Group, joined, sharp_edges

SIZE: Final = (640, 480)
_PAD: Final = "#d9531e"
_ABOVE: Final = 0.15  # mm over the surface, so that a marked face is not lost in it
_SEEN: Final = 0.1  # cosine: a face that looks less towards the eye is not numbered
_VERSION: Final = 1
_KIND: Final = "block picture"


def block_png(part: Part, entry: Entry, store: Store | None) -> bytes:
    """A PNG of a block at fully in, seen from the front right and above.

    Args:
        part: of the library.
        entry: its model.
        store: where solids and pictures are kept; None keeps nothing.

    Raises:
        MissingLibrary: this machine cannot draw.
        ModelError, BadSolid: the block is of a user's own model, which fails.
    """
    bodies = part.bodies()
    keys = [part_key(part, entry.digest, body.name) for body in bodies]
    key = content_key([_KIND, repr((_VERSION, SIZE, metadata.version("vtk"))), repr(part.pads()), *keys])
    kept = store.get(key, "png") if store is not None else None
    if kept is not None:
        return kept
    shapes = {b.name: shared_shape(k, b.build, store) for b, k in zip(bodies, keys, strict=True)}
    prove_bodies(part, entry, shapes)
    parts: dict[str, list[Group]] = {}
    for body in bodies:
        mesh = shapes[body.name].mesh
        role = "sweep" if body.role == "sweep" else "block" if part.tip() is None else "clamp"
        group = Group(mesh.vertices, mesh.faces.astype(np.int64), sharp_edges(mesh))
        parts.setdefault(role, []).append(group)
    data = _drawn({role: joined(groups) for role, groups in parts.items()}, part.pads())
    if store is not None:
        store.put(key, "png", data)
    return data


def numbered(part: Part) -> list[tuple[int, Pad, bool]]:
    """The pads with their numbers, and whether the picture shows the number."""
    return [(k, pad, float(np.asarray(pad.normal) @ TO_EYE) > _SEEN) for k, pad in enumerate(part.pads(), start=1)]


def _drawn(groups: dict[str, Group], pads: Sequence[Pad]) -> bytes:
    from PIL import Image

    gl.need_off_screen()
    seen = around(np.concatenate([group.vertices for group in groups.values()]), SIZE, 24.0)

    def fill(plotter: Any) -> None:
        import pyvista

        plotter.set_background("white")
        light(plotter)
        for role, group in sorted(groups.items()):
            clear = role == "sweep"
            add_group(plotter, group, COLOURS[role], 0.16 if clear else 1.0, None if clear else COLOURS["ink"])
        for pad in pads:
            at = corners(pad)
            if pad.width > 0.0:
                plotter.add_mesh(
                    pyvista.PolyData.from_regular_faces(at, np.array([[0, 1, 2], [0, 2, 3]])),
                    color=_PAD, opacity=0.45, lighting=False,
                )  # fmt: skip
            else:
                plotter.add_mesh(pyvista.Line(at[0], at[1]), color=_PAD, line_width=5, lighting=False)

    image = Image.fromarray(shot(fill, seen))
    _number(image, seen, pads)
    # A palette is a third of the size and shows no difference on plain shapes.
    small, out = image.quantize(64, method=Image.Quantize.MEDIANCUT, dither=Image.Dither.NONE), io.BytesIO()
    small.save(out, format="PNG", optimize=True)
    return out.getvalue()


def corners(pad: Pad) -> Array:
    """The four corners of a pad just above its surface, in order round it, (4, 3)."""
    normal, along = np.asarray(pad.normal), np.asarray(pad.along)
    u, v = along * pad.length / 2.0, np.cross(normal, along) * pad.width / 2.0
    at = np.asarray(pad.at) + normal * _ABOVE
    return np.stack([at - u - v, at + u - v, at + u + v, at - u + v])


def _number(image: Any, seen: View, pads: Sequence[Pad]) -> None:
    """The numbers of the pads that look towards the eye, on white discs."""
    from PIL import ImageDraw, ImageFont

    data = (files("fixture3d.sheet") / "fonts" / "DejaVuSans-Bold.ttf").read_bytes()
    font = ImageFont.truetype(io.BytesIO(data), 17, layout_engine=ImageFont.Layout.BASIC)
    draw = ImageDraw.Draw(image)
    for k, pad in enumerate(pads, start=1):
        if float(np.asarray(pad.normal) @ TO_EYE) > _SEEN:
            x, y = (float(c) for c in seen.pixels(np.asarray(pad.at)))
            draw.ellipse((x - 13, y - 13, x + 13, y + 13), fill="white", outline="black", width=2)
            draw.text((x, y), str(k), font=font, fill="black", anchor="mm")
