"""A picture of the setup as PNG, drawn off screen; the same picture for the same setup on the same machine."""

from __future__ import annotations

import io
import math
import os
from collections.abc import Callable, Mapping, Sequence
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from fixture3d import frame, output
from fixture3d.checks import all_rules
from fixture3d.checks.base import Finding
from fixture3d.errors import MissingLibrary, one_line
from fixture3d.frame import Array
from fixture3d.job import Body, Job, Seat
from fixture3d.part import face_down
from fixture3d.preview import gl
from fixture3d.preview.camera import TO_EYE, View, view
from fixture3d.preview.located import Located, Shown
from fixture3d.preview.located_drawn import Lies
from fixture3d.preview.shapes import Group, body_group, groups, joined, table_shape
from fixture3d.preview.weld_lines import (
    ARM,
    DASH,
    DOUBT,
    GAP,
    PITCH,
    STYLE,
    State,
    WeldLine,
    add_welds,
    length_of,
    point_along,
    weld_lines,
    width,
)
from fixture3d.sheet import layout
from fixture3d.units import show

if TYPE_CHECKING:
    from PIL import Image, ImageDraw, ImageFont

COLOURS: Final = {
    "table": "#d6d8d2",
    "hole": "#5f6664",
    "block": "#7f9fb5",
    "clamp": "#b89a63",
    "pin": "#4c5254",
    "shim": "#9a86a8",
    "piece": "#c79a78",
    "sweep": "#b89a63",
    "bead": "#7a6a5c",
    "ground": "#f4f4f0",
    "ink": "#22282b",
}
_FAIL, _WARN = "#9c1c1c", "#c98a00"
_LISTED: Final = 12  # findings with their text under the picture, a quarter of it; the report has them all
_MANY: Final = 8  # marks; more are drawn smaller
_RINGS: Final = (0.8, 1.6, 2.6, 4.0, 6.0, 8.5, 11.5)  # room between a place and its marks, half sizes of them
Pixels = tuple[float, float, float, float]
_ROW: Final = 30  # the key to the lines of welds, pixels of a picture 1200 high
_CUTS: Final = 8  # a clamp's arm or handle is kept clear of names in so many boxes, because it may lie aslant


def write_png(
    job: Job,
    path: str | os.PathLike[str],
    findings: Sequence[Finding] = (),
    size: tuple[int, int] = (1600, 1200),
    force: bool = False,
    welds: Sequence[Mapping[str, Any]] = (),
    lies: Located | None = None,
    contacts: Shown = "places",
) -> Path:
    """Write a picture.

    Args:
        job: the setup.
        path: of the PNG.
        findings: fails and warnings are marked at their place: octagons F1, F2, ... and triangles W1, W2, ...
        size: width and height, pixels.
        force: an existing file may be replaced.
        welds: the figures of torch access, one a weld; without them welds are drawn as not tried.
        lies: contacts, free motions and ways out; only motions that a finding tells are drawn. None draws none.
        contacts: "places" marks every place where a piece is located, "points" every locator point, "none" nothing.

    Raises:
        OutputRefused: the file may not be written.
        MissingLibrary: this machine cannot draw.
    """
    output.check_target(path, force)
    out = io.BytesIO()
    picture(job, findings, size, welds, lies, contacts).save(out, format="PNG", optimize=False)
    return output.write_bytes(path, out.getvalue(), force)


def picture(
    job: Job,
    findings: Sequence[Finding] = (),
    size: tuple[int, int] = (1600, 1200),
    welds: Sequence[Mapping[str, Any]] = (),
    lies: Located | None = None,
    contacts: Shown = "places",
) -> Image.Image:
    """The picture as a Pillow image. Arguments and errors are those of `write_png`."""
    gl.need_off_screen()
    try:
        from PIL import Image
    except ImportError as error:
        raise MissingLibrary("the picture needs Pillow, which is not installed; pip install pillow") from error
    unit = size[1] / 1200.0
    marked = marks(findings)
    top = 84 * unit
    lines, lies = weld_lines(job, welds), lies or Located()
    rows = (bool(lines) + _keyed(lies, contacts)) * _ROW
    bottom = (58 + rows + 24 * min(len(marked), _LISTED + 1)) * unit
    seen = view(job, size, top, bottom, 60 * unit)
    image = Image.fromarray(rendered(job, seen, lines))
    _Paper(image, job, seen, unit, lines, lies, contacts).annotate(marked, bottom)
    return image


def _keyed(lies: Located, contacts: Shown) -> bool:
    """Whether anything of how the work lies is drawn, and wants a row of the key."""
    moves = any(motion.told for motion in lies.motions)
    return bool(lies.ways_out) or moves or (contacts != "none" and bool(lies.touches))


def marks(findings: Sequence[Finding]) -> list[tuple[str, Finding]]:
    """Fails and warnings with their tags, fails first."""
    out = []
    for level, letter in (("fail", "F"), ("warn", "W")):
        chosen = [f for f in findings if f.level == level]
        out += [(f"{letter}{k + 1}", f) for k, f in enumerate(chosen)]
    return out


def listed(marked: Sequence[tuple[str, Finding]]) -> tuple[Sequence[tuple[str, Finding]], int]:
    """Those that are told in words under the picture, and how many more there are."""
    return marked[:_LISTED], max(0, len(marked) - _LISTED)


def in_words(finding: Finding) -> tuple[str, str]:
    """A finding in one line: what is wrong in general and what it is here; and the code of its rule."""
    known = all_rules().get(finding.rule)
    words = f"{known[1].title}: {finding.message}" if known else finding.message
    return one_line(words), f"[{finding.rule}]"


def rendered(job: Job, seen: View, lines: Sequence[WeldLine] = ()) -> Any:
    """The scene without any text, (height, width, 3) uint8."""
    return shot(lambda plotter: fill(plotter, job, lines, seen), seen)


def shot(fill_in: Callable[[Any], None], seen: View) -> Any:
    """What a function puts into a plotter, seen from somewhere, (height, width, 3) uint8."""
    import pyvista

    plotter = pyvista.Plotter(off_screen=True, window_size=list(seen.size), lighting="none")
    try:
        fill_in(plotter)
        plotter.camera.parallel_projection = True
        plotter.camera.position = tuple(seen.eye)
        plotter.camera.focal_point = tuple(seen.focal)
        plotter.camera.up = tuple(seen.up)
        plotter.camera.parallel_scale = seen.size[1] / 2 / seen.scale
        plotter.reset_camera_clipping_range()
        plotter.enable_anti_aliasing("ssaa")
        return np.ascontiguousarray(plotter.screenshot(return_img=True)[:, :, :3])
    finally:
        plotter.close()


def light(plotter: Any) -> None:
    """Put the lights into a plotter."""
    import pyvista

    for direction, strength in ((TO_EYE, 0.5), ((-0.5, -0.6, 1.0), 0.45), ((0.9, 0.2, 0.5), 0.25)):
        # From the distance, like the sun: the same on every part of the table.
        sun = pyvista.Light(position=tuple(np.asarray(direction) * 1e4), focal_point=(0, 0, 0), intensity=strength)
        sun.positional = False
        plotter.add_light(sun)


def fill(plotter: Any, job: Job, lines: Sequence[WeldLine], seen: View) -> None:
    """Put table, bodies, welds and lights into a plotter; patterns of welds are as large as this view wants them."""
    plotter.set_background(COLOURS["ground"])
    light(plotter)
    table = table_shape(job)
    add_group(plotter, table.plate, COLOURS["table"])
    for openings in (table.holes, *table.slots):
        add_group(plotter, openings, COLOURS["hole"], line="#8b918e")
    for role, group in groups(job).items():
        clear = role == "sweep"
        add_group(plotter, group, COLOURS[role], opacity=0.22 if clear else 1.0, line=None if clear else COLOURS["ink"])
    if job.beads:
        add_group(plotter, joined([body_group(bead) for bead in job.beads]), COLOURS["bead"], line=None)
    pixels = seen.size[1] / 1200.0
    across = np.stack([seen.right + seen.up, seen.right - seen.up]) / np.sqrt(2.0)
    arms = np.vstack([across, TO_EYE])  # the third is not seen from here, but when a window's scene is turned
    add_welds(plotter, lines, pixels / seen.scale, pixels, arms)


def add_group(plotter: Any, group: Group, colour: str, opacity: float = 1.0, line: str | None = "#22282b") -> None:
    """Put triangles of one colour into a plotter, with their edges in the colour ``line``; None for none."""
    import pyvista

    mesh = pyvista.PolyData.from_regular_faces(group.vertices, group.faces)
    plotter.add_mesh(mesh, color=colour, opacity=opacity, smooth_shading=False, ambient=0.35, diffuse=0.8, specular=0.0)
    if line is not None and len(group.edges):
        cells = np.column_stack([np.full(len(group.edges), 2), group.edges]).ravel()
        plotter.add_mesh(
            pyvista.PolyData(group.vertices, lines=cells), color=line, line_width=1.5, lighting=False
        )  # fmt: skip


def _base_edges(seat: Seat) -> list[Array]:
    """Middles of the edges of a block's foot, world, the one that is nearest to the eye first."""
    down = -seat.part.seat_height(seat.face)
    foot = np.array([(x, y, down) for x, y in seat.part.foot(seat.face)], dtype=np.float64)
    upright = frame.chain(seat.model_to_world, frame.inverse(face_down(seat.face)))
    world = frame.points(upright, (foot + np.roll(foot, -1, axis=0)) / 2)
    return sorted(world, key=lambda p: -float(p @ TO_EYE))


def _ordered(ends: Array) -> tuple[Array, Array]:
    """The lesser and the greater of two rows, number by number."""
    return ends.min(axis=0), ends.max(axis=0)


def _together(wanted: Sequence[tuple[str, Array]], reach: float) -> list[tuple[Array, list[str]]]:
    """Tags whose places lie within ``reach`` pixels of the first of them, with that place."""
    out: list[tuple[Array, list[str]]] = []
    for tag, at in wanted:
        near = next((tags for place, tags in out if np.hypot(*(place - at)) < reach), None)
        if near is None:
            out.append((at, [tag]))
        else:
            near.append(tag)
    return out


def _clear_spot(at: Array, half: Array, area: Pixels, specks: Array, taken: Array) -> tuple[float, float]:
    """Where marks stand: at their place, or near it where they hide least.

    Args:
        at: (2,) the place, pixels.
        half: (2,) half the width and height of the marks.
        area: they stay inside.
        specks: (n, 2) pixels that should be seen.
        taken: (m, 4) boxes of marks that stand.
    """
    turns = np.arange(12) * np.pi / 6.0
    ways = np.column_stack([np.cos(turns), np.sin(turns)])
    away = np.concatenate([np.zeros((1, 2)), *(ways * (half + far * half.min()) for far in _RINGS)])
    low, high = np.array(area[:2]) + half, np.array(area[2:]) - half
    tried = np.clip(np.asarray(at, dtype=np.float64) + away, low, np.maximum(low, high))
    cost = np.linalg.norm(away, axis=1) / half.min()
    cost = cost + 2.0 * (np.abs(specks[None] - tried[:, None]) < half).all(axis=2).sum(axis=1)
    apart = np.abs((taken[:, :2] + taken[:, 2:])[None] / 2.0 - tried[:, None])
    cost = cost + 100.0 * (apart < half + (taken[:, 2:] - taken[:, :2])[None] / 2.0).all(axis=2).sum(axis=1)
    x, y = tried[int(np.argmin(np.round(cost, 9)))]
    return float(x), float(y)


class _Paper:
    """Text and marks over a rendered picture."""

    def __init__(
        self,
        image: Image.Image,
        job: Job,
        seen: View,
        unit: float,
        lines: Sequence[WeldLine] = (),
        lies: Located | None = None,
        contacts: Shown = "places",
    ) -> None:
        from PIL import ImageDraw

        self.draw: ImageDraw.ImageDraw = ImageDraw.Draw(image, "RGBA")
        self.lies = Lies(self.draw, seen, unit, lies or Located(), contacts)
        self.job, self.seen, self.unit, self.lines = job, seen, unit, lines
        self.taken: list[Pixels] = []

    def font(self, size: float, bold: bool = False) -> ImageFont.FreeTypeFont:
        from PIL import ImageFont

        name = "DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf"
        data = (files("fixture3d.sheet") / "fonts" / name).read_bytes()
        return ImageFont.truetype(
            io.BytesIO(data), max(6, round(size * self.unit)), layout_engine=ImageFont.Layout.BASIC
        )

    def annotate(self, marked: Sequence[tuple[str, Finding]], bottom: float) -> None:
        """Everything that is written on the picture."""
        self._hole_names()
        self.lies.contacts()
        spots = self._lie(bottom)
        self._names([*spots, *self._marks(marked, bottom, spots)])
        for text, at in self._flags():
            self.lies.flag(text, at, self.font)
        self._title(marked)
        self._legend(marked, bottom)

    def _lie(self, bottom: float) -> list[Pixels]:
        """Draw free motions and ways out with their words; returns the boxes they take."""
        u, (w, h) = self.unit, self.seen.size
        area = (8 * u, 80 * u, w - 8 * u, h - bottom)
        out = self.lies.out(area)
        spots = [*self.lies.motions(), *(box for _, box in out)]
        spots += [self.lies.flag_box(at) for _, at in self._flags()]
        boxes = layout.place_names(out, [(spot, 20.0) for spot in spots], area, 22 * u)
        for (text, _), box in zip(out, boxes, strict=True):
            self.lies.plate(text, box, self.font(20, bold=True), COLOURS["ink"])
        spots += boxes
        hindrances = [(spot, 20.0) for spot in spots]
        hindrances += [((x - 4 * u, y - 4 * u, x + 4 * u, y + 4 * u), 8.0) for x, y in self._specks().tolist()]
        shy = [body for body in self.job.bodies if body.role in ("piece", "clamp")]
        hindrances += [(box, 1.0) for body in shy for box in self.slices(body)]
        return spots + self.lies.words(hindrances, area, self.font)

    def _flags(self) -> list[tuple[str, Array]]:
        """What must go before the work comes out: its number and what is done, and the pixel where its flag stands."""
        done = {name: verb for way in self.lies.ways_out for name, verb in way.first_off}
        places = [(f"{k}: {verb}", self._anchor(name)) for k, (name, verb) in enumerate(done.items(), start=1)]
        return [(text, at) for text, at in places if at is not None]

    def _hole_names(self) -> None:
        """Column names along the near edge of the table or of its used part, row names along the right side."""
        table = self.job.table
        x0, y0, x1, y1 = layout.plate(table) if self.seen.whole else layout.used_window(self.job)
        sx, sy = table.naming.signs
        font = self.font(19)
        dx, dy = table.pitch
        columns = layout.lines(table.columns, dx, sx, x0, x1)
        rows = layout.lines(table.rows, dy, sy, y0, y1)
        edge = layout.plate(table)
        # Off the table where its edge is; between two rows of holes where the table goes on.
        near = edge[1] - 0.3 * dy if edge[1] >= y0 else y0
        far = edge[2] + 0.35 * dx if edge[2] <= x1 else x1
        lines: list[tuple[list[tuple[str, tuple[float, float, float]]], float, float]] = [
            ([(layout.column_name(table, i), (sx * i * dx, near, 0.0)) for i in columns], dx, 0.0),
            ([(layout.row_name(table, j), (far, sy * j * dy, 0.0)) for j in rows], dy, 1.0),
        ]
        for names, pitch, upward in lines:
            if not names:
                continue
            way = np.array([0.0, pitch, 0.0]) if upward else np.array([pitch, 0.0, 0.0])
            step_px = np.abs(self.seen.pixels(self.seen.focal + way) - self.seen.pixels(self.seen.focal))
            need = 24 * self.unit if upward else max(len(n) for n, _ in names) * 17 * self.unit
            step = layout.every(float(step_px[1] if upward else step_px[0]), need)
            first = rows.start if upward else columns.start
            for k, (name, at) in enumerate(names):
                if (first + k) % step == 0:
                    self._text(self.seen.pixels(np.array(at)), name, font)

    def _text(self, at: Array, text: str, font: Any, colour: str = COLOURS["ink"]) -> None:
        self.draw.text(
            (float(at[0]), float(at[1])), one_line(text), font=font, fill=colour, anchor="mm",
            stroke_width=max(1, round(2.2 * self.unit)), stroke_fill=COLOURS["ground"],
        )  # fmt: skip

    def _anchor(self, item: str) -> Array | None:
        """The top of an item's middle, in pixels; of a clamp an edge of its base that is in sight, or its upright."""
        seat = self.job.seats.get(item)
        clamp = seat is not None and seat.part.tip() is not None
        if seat is not None and clamp:
            seen = next((p for p in _base_edges(seat) if not self._hidden(p)), None)
            if seen is not None:
                return self.seen.pixels(seen)
        bodies = [b for b in self.job.bodies if b.item == item and b.role not in ("pin", "sweep")]
        boxes = [b.box for b in bodies if b.name == item or not clamp]
        if not boxes:
            return None
        low, high = np.min([b[0] for b in boxes], axis=0), np.max([b[1] for b in boxes], axis=0)
        return self.seen.pixels(np.array([(low[0] + high[0]) / 2, (low[1] + high[1]) / 2, high[2]]))

    def _hidden(self, point: Array) -> bool:
        """Whether the box of some body stands between a point and the eye."""
        for body in self.job.bodies:
            if body.role not in ("pin", "sweep"):
                enter, leave = _ordered((body.box - point) / TO_EYE)
                if max(float(enter.max()), 1.0) < float(leave.min()):
                    return True
        return False

    def slices(self, body: Body) -> list[Pixels]:
        """Boxes in pixels that together cover a body, cut across its longest side."""
        vertices = body.shape.mesh.vertices
        low, high = vertices.min(axis=0), vertices.max(axis=0)
        long = int(np.argmax(high - low))
        out = []
        for k in range(_CUTS):
            a, b = low.copy(), high.copy()
            a[long], b[long] = (low[long] + f * (high[long] - low[long]) for f in (k / _CUTS, (k + 1) / _CUTS))
            corners = np.array([[x, y, z] for x in (a[0], b[0]) for y in (a[1], b[1]) for z in (a[2], b[2])])
            seen = self.seen.pixels(frame.points(body.body_to_world, corners))
            (x0, y0), (x1, y1) = seen.min(axis=0), seen.max(axis=0)
            out.append((float(x0), float(y0), float(x1), float(y1)))
        return out

    def tags(self, spots: Sequence[Pixels] = ()) -> list[tuple[str, bool, Array, Pixels]]:
        """What is named: the text, whether it is a block, the pixel that is meant, and the box of the text.

        Args:
            spots: boxes of the marks of findings, which stay clear.
        """
        w, h = self.seen.size
        items = [(n, True) for n in self.job.seats]
        pieces = dict.fromkeys(b.item for b in self.job.pieces())
        if len(items) + len(pieces) <= layout.CROWDED:
            items += [(n, False) for n in pieces]
        wanted = [(n, block, at) for n, block in items if (at := self._anchor(n)) is not None]
        r = 14 * self.unit
        things = [
            (layout.short_name(one_line(n)), (float(a[0]) - r, float(a[1]) - r, float(a[0]) + r, float(a[1]) + r))
            for n, _, a in wanted
        ]
        taken = [(spot, 30.0) for spot in spots] + [(box, 2.0) for _, box in things]
        s = 4 * self.unit
        taken += [((x - s, y - s, x + s, y + s), 8.0) for x, y in self._specks().tolist()]
        taken += [(box, 1.0) for body in self.job.bodies if body.role == "clamp" for box in self.slices(body)]
        area = (8 * self.unit, 80 * self.unit, w - 8 * self.unit, h - 8 * self.unit)
        boxes = layout.place_names(things, taken, area, self._name_size(len(wanted)))
        return [(text, block, at, box) for (_, block, at), (text, _), box in zip(wanted, things, boxes, strict=True)]

    def _name_size(self, count: int) -> float:
        return (20 if count <= 60 else 14) * self.unit

    def _names(self, spots: Sequence[Pixels]) -> None:
        """Names of blocks and pieces on small tags, joined to their thing by a line."""
        tags = self.tags(spots)
        for _, _, at, box in tags:
            self.draw.line(
                [(float(at[0]), float(at[1])), ((box[0] + box[2]) / 2, (box[1] + box[3]) / 2)],
                fill=COLOURS["ink"], width=max(1, round(1.5 * self.unit)),
            )  # fmt: skip
        for text, block, _, box in tags:
            font = self.font(self._name_size(len(tags)) / self.unit, bold=block)
            middle = ((box[0] + box[2]) / 2, (box[1] + box[3]) / 2)
            half = font.getlength(text) / 2 + 5 * self.unit
            self.draw.rounded_rectangle(
                (middle[0] - half, box[1], middle[0] + half, box[3]), radius=4 * self.unit,
                fill=(255, 255, 255, 235) if block else (250, 238, 226, 235),
                outline=COLOURS["ink"] if block else "#8a6a50", width=max(1, round(1.2 * self.unit)),
            )  # fmt: skip
            self.draw.text(middle, text, font=font, fill=COLOURS["ink"], anchor="mm")

    def _marks(
        self, marked: Sequence[tuple[str, Finding]], bottom: float, spots: Sequence[Pixels] = ()
    ) -> list[Pixels]:
        """Draw the marks of findings, and question marks at welds to be settled; returns the boxes they take.

        Each stands near its place and clear of the welds' lines and of the others, with a thread to the place. Marks
        of about one place stand together. ``spots`` are boxes that are taken.
        """
        r = (17 if len(marked) <= _MANY else 14) * self.unit
        wanted = [(tag, at) for tag, f in marked if (at := self._place(f)) is not None]
        wanted += [("?", self.seen.pixels(line.middle)) for line in self.lines if line.doubtful]
        groups = _together(wanted, 2.0 * r)
        area = (0.0, 80 * self.unit, float(self.seen.size[0]), self.seen.size[1] - bottom)
        specks = self._specks()
        out: list[Pixels] = []
        for at, tags in groups:
            columns = math.ceil(math.sqrt(1.5 * len(tags)))
            half = 1.15 * r * np.array([min(columns, len(tags)), math.ceil(len(tags) / columns)])
            x, y = _clear_spot(at, half, area, specks, np.array([*out, *spots]).reshape(-1, 4))
            out.append((x - half[0], y - half[1], x + half[0], y + half[1]))
        for (at, _), (x0, y0, x1, y1) in zip(groups, out, strict=True):
            if not (x0 < at[0] < x1 and y0 < at[1] < y1):
                self._thread(at, ((x0 + x1) / 2, (y0 + y1) / 2))
        for (_, tags), (x0, y0, x1, _) in zip(groups, out, strict=True):
            columns = round((x1 - x0) / (2.3 * r))
            for k, tag in enumerate(tags):
                row, column = divmod(k, columns)
                x, y = x0 + (2 * column + 1) * 1.15 * r, y0 + (2 * row + 1) * 1.15 * r
                if tag == "?":
                    self.question(x, y, 0.8 * r)
                else:
                    self.mark(x, y, r, tag)
        return out

    def _thread(self, at: Array, to: tuple[float, float]) -> None:
        """A line from a place to its mark, dark on white, with a dot at the place."""
        x, y, u = float(at[0]), float(at[1]), self.unit
        for colour, wide, dot in (("white", 4 * u, 4 * u), (COLOURS["ink"], 1.6 * u, 2.6 * u)):
            self.draw.line([(x, y), to], fill=colour, width=max(1, round(wide)))
            self.draw.ellipse((x - dot, y - dot, x + dot, y + dot), fill=colour)

    def _specks(self) -> Array:
        """Pixels (n, 2) along all welds that are tried, which marks leave free."""
        step = 6.0 * self.unit / self.seen.scale
        spots = [
            point_along(points, s)
            for line in self.lines
            for state, points in line.stretches
            if state != "unchecked"
            for s in np.arange(0.0, length_of(points) + step, step)
        ]
        return self.seen.pixels(np.array(spots).reshape(-1, 3))

    def question(self, x: float, y: float, r: float) -> None:
        """A question mark in a ring."""
        ring = (x - r, y - r, x + r, y + r)
        self.draw.ellipse(ring, fill="white", outline=COLOURS["ink"], width=max(1, round(2 * self.unit)))
        self.draw.text((x, y), "?", font=self.font(16, bold=True), fill=COLOURS["ink"], anchor="mm")

    def _place(self, finding: Finding) -> Array | None:
        if finding.at is not None:
            return self.seen.pixels(np.array(finding.at))
        return next((a for s in finding.subjects if (a := self._anchor(s)) is not None), None)

    def mark(self, x: float, y: float, r: float, tag: str) -> None:
        """An octagon for a fail, a triangle for a warning, with the tag in it."""
        if tag.startswith("F"):
            turn = (np.arange(8) + 0.5) * np.pi / 4
            shape = [(x + r * float(np.cos(t)), y + r * float(np.sin(t))) for t in turn]
            colour, ink, drop = _FAIL, "white", 0.0
        else:
            shape = [(x, y - 1.15 * r), (x + 1.2 * r, y + 0.9 * r), (x - 1.2 * r, y + 0.9 * r)]
            colour, ink, drop = _WARN, "black", 0.28 * r
        self.draw.polygon(shape, fill=colour, outline="white", width=max(1, round(2 * self.unit)))
        size = r / self.unit * (0.85 if len(tag) < 3 else 0.66) * (1.0 if tag.startswith("F") else 0.85)
        self.draw.text((x, y + drop), tag, font=self.font(size, bold=True), fill=ink, anchor="mm")

    def _title(self, marked: Sequence[tuple[str, Finding]]) -> None:
        u, scene = self.unit, self.job.scene
        self.draw.rectangle((0, 0, self.seen.size[0], 74 * u), fill=(255, 255, 255, 255))
        title = layout.short_name(one_line(scene.title) or "Setup", 60)
        if self.job.stage is not None:
            names = [stage.name for stage in scene.whole.stages]
            number = f"stage {names.index(self.job.stage) + 1} of {len(names)}"
            title = f"{layout.short_name(title, 40)} - {number}: {layout.short_name(one_line(self.job.stage), 30)}"
        self.draw.text((22 * u, 24 * u), title, font=self.font(27, bold=True), fill=COLOURS["ink"], anchor="lm")
        table, units = self.job.table, scene.units
        pitch = " by ".join(dict.fromkeys(show(p, units) for p in table.pitch))
        words = f"table {table.hole_name(0, 0)} to {table.hole_name(table.columns - 1, table.rows - 1)}, "
        words += f"holes {show(table.bore, units)} every {pitch}; lengths in {'mm' if units == 'mm' else 'inches'}"
        self.draw.text((22 * u, 56 * u), words, font=self.font(17), fill=COLOURS["ink"], anchor="lm")
        fails = sum(1 for tag, _ in marked if tag.startswith("F"))
        if marked:
            text = f"{fails} fail, {len(marked) - fails} warn"
            right = self.seen.size[0] - 22 * u
            self.draw.text((right, 24 * u), text, font=self.font(22, bold=True), fill=COLOURS["ink"], anchor="rm")

    def _legend(self, marked: Sequence[tuple[str, Finding]], bottom: float) -> None:
        """The key to the colours, and under it the marked findings in words."""
        u, (w, h) = self.unit, self.seen.size
        self.draw.rectangle((0, h - bottom + 12 * u, w, h), fill=(255, 255, 255, 255))
        x0 = x = 22 * u
        y = h - bottom + 34 * u
        font = self.font(16)
        present = {b.role for b in self.job.bodies}
        key = [("block", "block"), ("clamp", "clamp"), ("sweep", "space a clamp needs"), ("pin", "dowel"),
               ("shim", "shim"), ("piece", "work")]  # fmt: skip
        entries = [(COLOURS[role] if role != "sweep" else "#e6dcc8", words) for role, words in key if role in present]
        if self.job.beads:
            entries.append((COLOURS["bead"], "weld done before"))
        for colour, words in entries:
            self.draw.rectangle((x, y - 8 * u, x + 22 * u, y + 8 * u), fill=colour, outline=COLOURS["ink"])
            self.draw.text((x + 30 * u, y), words, font=font, fill=COLOURS["ink"], anchor="lm")
            x += 56 * u + font.getlength(words)
        if self.lines:
            y += _ROW * u
            self._weld_key(y, font)
        if self.lies.any:
            y += _ROW * u
            self.lies.key(x0, y, font)
        shown, more = listed(marked)
        for k, (tag, finding) in enumerate(shown):
            row = y + (27 + 24 * k) * u
            self.mark(34 * u, row, 11 * u, tag)
            words, code = in_words(finding)
            if font.getlength(f"{words} {code}") <= w - 80 * u:
                words = f"{words} {code}"
            words = self._cut(words, font, w - 80 * u)
            self.draw.text((56 * u, row), words, font=font, fill=COLOURS["ink"], anchor="lm")
        if more:
            row = y + (27 + 24 * len(shown)) * u
            words = f"and {more} more; the report lists them all"
            self.draw.text((56 * u, row), words, font=font, fill=COLOURS["ink"], anchor="lm")

    def _weld_key(self, y: float, font: Any) -> None:
        """What the patterns of the welds mean, those that are there."""
        u, x = self.unit, 22 * self.unit
        present = {state for line in self.lines for state, _ in line.stretches}
        for state, (colour, words) in STYLE.items():
            if state in present:
                self._swatch(state, x, y, colour)
                self.draw.text((x + 64 * u, y), words, font=font, fill=COLOURS["ink"], anchor="lm")
                x += 90 * u + font.getlength(words)
        if any(line.doubtful for line in self.lines):
            self.question(x + 11 * u, y, 11 * u)
            self.draw.text((x + 30 * u, y), DOUBT, font=font, fill=COLOURS["ink"], anchor="lm")
            x += 56 * u + font.getlength(DOUBT)
        self.draw.text((x, y), "(thinner: behind something)", font=font, fill=COLOURS["ink"], anchor="lm")

    def _swatch(self, state: State, x: float, y: float, colour: str) -> None:
        """A short piece of a weld's line."""
        u, wide = self.unit, max(1, round(width(state) * self.unit))
        if state == "blocked":
            a = ARM * u / math.sqrt(2.0)
            for m in (x + (ARM + PITCH * k) * u for k in range(3)):
                self.draw.line((m - a, y - a, m + a, y + a), fill=colour, width=wide)
                self.draw.line((m - a, y + a, m + a, y - a), fill=colour, width=wide)
            return
        long = (3 * DASH + 2 * GAP) * u
        starts = [k * (DASH + GAP) * u for k in range(3)] if state == "part" else [0.0]
        for start in starts:
            end = start + DASH * u if state == "part" else long
            self.draw.line((x + start, y, x + end, y), fill=colour, width=wide)

    def _cut(self, words: str, font: Any, room: float) -> str:
        words = one_line(words)
        while len(words) > 4 and font.getlength(words) > room:
            words = words[:-2].rstrip("…") + "…"
        return words
