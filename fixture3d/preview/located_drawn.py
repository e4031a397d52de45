"""Contacts, free motions and ways out, drawn over a picture. Shape tells each apart as well as colour."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from fixture3d.errors import one_line
from fixture3d.frame import Array
from fixture3d.preview.camera import View
from fixture3d.preview.located import Arrow, Located, Motion, Role, Shown, WayOut
from fixture3d.sheet import layout

if TYPE_CHECKING:
    from PIL import ImageDraw

INK: Final = "#22282b"
MOVES: Final = "#a33c00"
ROLES: Final[dict[Role, tuple[str, str]]] = {
    "under": ("#0b4f6c", "carries the work"),
    "beside": ("#5b2a86", "stops it sideways"),
    "over": ("#0b4f6c", "keeps it down"),
}
"""Colour and words of each contact; every colour has a contrast of 4.5 to white or more (WCAG 2.2, 1.4.3)."""
_ARROW: Final = 52.0  # pixels of a picture 1200 high; likewise all below
_HEAD: Final = 17.0
_MARK: Final = 6.0
_TICK: Final = 15.0
_OUT: Final = 150.0
_WORDED: Final = 6  # pieces that can still move; of more the report has the words
Pixels = tuple[float, float, float, float]
Font = Callable[..., Any]


class Lies:
    """Draws how the work lies.

    Args:
        draw: what to draw on.
        seen: the view.
        unit: pixels of this picture for one of a picture 1200 high.
        what: what there is to draw.
        shown: how much of the contacts.
    """

    def __init__(self, draw: ImageDraw.ImageDraw, seen: View, unit: float, what: Located, shown: Shown) -> None:
        self.draw, self.seen, self.unit, self.shown = draw, seen, unit, shown
        # That pieces lie against each other is seen; what is asked of a picture is where the blocks are.
        self.touches = [t for t in what.touches if shown == "points" or (shown == "places" and not t.by_piece)]
        self.moves: list[tuple[Motion, list[Arrow]]] = [
            (motion, motion.arrows(_ARROW * unit / seen.scale)) for motion in what.motions if motion.told
        ]
        self.ways_out = what.ways_out

    def contacts(self) -> None:
        """A mark at each place where a piece is located, or at each locator point that is seen apart from others."""
        size = self.unit * (1.0 if self.shown == "places" else 0.75)
        for touch in self.touches:
            way = np.array([touch.normal @ self.seen.right, -(touch.normal @ self.seen.up)])
            spots = self.seen.pixels(touch.points if self.shown == "points" else touch.at[None])
            for at in _apart(spots, 2.0 * _MARK * size):
                self.contact(touch.role, at, way, size)

    def contact(self, role: Role, at: Array, way: Array, size: float) -> None:
        """A triangle that stands under the place or hangs over it, or a square with a line the way that it pushes."""
        x, y, r = float(at[0]), float(at[1]), _MARK * size
        colour, wide = ROLES[role][0], max(1, round(1.4 * size))
        if role == "beside":
            tip = (x + float(way[0]) * _TICK * size, y + float(way[1]) * _TICK * size)
            for ink, line in (("white", 5.0), (colour, 2.4)):
                self.draw.line([(x, y), tip], fill=ink, width=max(1, round(line * size)))
            self.draw.rectangle((x - 0.7 * r, y - 0.7 * r, x + 0.7 * r, y + 0.7 * r), colour, "white", wide)
            return
        down = 1.0 if role == "under" else -1.0
        shape = [(x, y), (x + r, y + 1.7 * r * down), (x - r, y + 1.7 * r * down)]
        self.draw.polygon(shape, fill=colour, outline="white", width=wide)

    def motions(self) -> list[Pixels]:
        """The arrows of pieces that can still move; returns the boxes they take."""
        boxes = []
        for _, arrows in self.moves:
            for arrow in arrows:
                line = self.seen.pixels(arrow.line)
                self.arrow(line, arrow.ends)
                (x0, y0), (x1, y1) = _span(line)
                boxes.append((x0, y0, x1, y1))
        return boxes

    def arrow(self, line: Array, ends: int) -> None:
        """A line (n, 2) with a head at its end, or at both."""
        u = self.unit
        for ink, wide, more in (("white", 9.0 * u, 2.5 * u), (MOVES, 4.5 * u, 0.0)):
            self.draw.line([(float(x), float(y)) for x, y in line], ink, max(1, round(wide)), joint="curve")
            for path in (line, line[::-1])[:ends]:
                tip = path[-1]
                # The head lies along the last stretch of its own length, so that it follows a curve.
                back = path[np.argmin(np.abs(np.linalg.norm(path - tip, axis=1) - _HEAD * u))]
                way = tip - (back if not np.allclose(back, tip) else path[0])
                way = way / max(float(np.linalg.norm(way)), 1e-9)
                side = np.array([-way[1], way[0]])
                long, half = _HEAD * u + more, 0.55 * _HEAD * u + more
                front = tip + way * (0.4 * _HEAD * u + more)
                corners = [front, front - way * (long + more) + side * half, front - way * (long + more) - side * half]
                self.draw.polygon([(float(x), float(y)) for x, y in corners], fill=ink)

    def out(self, area: Pixels) -> list[tuple[str, Pixels]]:
        """The large arrows of the ways out, kept inside the area; returns the words and the box of each."""
        found = []
        for way in self.ways_out:
            shape = self.large(way)
            low, high = shape.min(axis=0), shape.max(axis=0)
            move = np.maximum(np.array(area[:2]) - low, 0.0) + np.minimum(np.array(area[2:]) - high, 0.0)
            points = [(float(x), float(y)) for x, y in shape + move]
            self.draw.polygon(points, fill=(255, 255, 255, 215), outline=INK, width=max(1, round(3.0 * self.unit)))
            (x0, y0), (x1, y1) = _span(shape + move)
            found.append((_named(way, len(self.ways_out)), (x0, y0, x1, y1)))
        return found

    def large(self, way: WayOut) -> Array:
        """The outline of a large arrow from the work, (7, 2) pixels."""
        u = self.unit
        flat = np.array([way.direction @ self.seen.right, -(way.direction @ self.seen.up)])
        along = flat / max(float(np.linalg.norm(flat)), 1e-9)
        side = np.array([-along[1], along[0]])
        start = self.seen.pixels(way.start) + along * 10.0 * u
        profile = [(0, 15), (0.6, 15), (0.6, 34), (1, 0), (0.6, -34), (0.6, -15), (0, -15)]
        found: Array = np.array([start + along * _OUT * u * a + side * b * u for a, b in profile])
        return found

    def flag(self, text: str, at: Array, font: Font) -> None:
        """A flag at a block that must go before the work comes out."""
        u, face = self.unit, font(15, bold=True)
        x, y = float(at[0]), float(at[1])
        self.draw.rectangle(self.flag_box(at), fill=INK, outline="white", width=max(1, round(2 * u)))
        self.draw.text((x, y), text, font=face, fill="white", anchor="mm")

    def flag_box(self, at: Array) -> Pixels:
        """The room that it takes."""
        u, x, y = self.unit, float(at[0]), float(at[1])
        return x - 50 * u, y - 13 * u, x + 50 * u, y + 13 * u

    def words(self, hindrances: Sequence[tuple[Pixels, float]], area: Pixels, font: Font) -> list[Pixels]:
        """What each piece can still do, beside its first arrow; returns the boxes.

        Args:
            hindrances: boxes that should stay clear, each with its weight, as `layout.place_names` wants them.
            area: the words stay inside.
            font: of a size, bold or not.
        """
        said: dict[str, list[int]] = {}
        for number, (motion, _) in enumerate(self.moves):
            said.setdefault(motion.piece, []).append(number)
        if not said or len(said) > _WORDED:
            return []
        things = []
        for piece, numbers in said.items():
            words = " and ".join(dict.fromkeys(self.moves[k][0].words for k in numbers))
            (x0, y0), (x1, y1) = _span(self.seen.pixels(self.moves[numbers[0]][1][0].line))
            things.append((one_line(f"{layout.short_name(piece)} {words}"), (x0, y0, x1, y1)))
        boxes = layout.place_names(things, hindrances, area, 15.0 * self.unit)
        for numbers, box in zip(said.values(), boxes, strict=True):
            place = np.array([(box[0] + box[2]) / 2, (box[1] + box[3]) / 2])
            ends = [self.seen.pixels(arrow.line.mean(axis=0)) for k in numbers for arrow in self.moves[k][1]]
            near = min(ends, key=lambda at: round(float(np.linalg.norm(at - place)), 6))
            line = [(float(at[0]), float(at[1])) for at in (near, place)]
            self.draw.line(line, fill=MOVES, width=max(1, round(1.5 * self.unit)))
        for (text, _), box in zip(things, boxes, strict=True):
            self.plate(text, box, font(16, bold=True))
        return boxes

    def plate(self, text: str, box: Pixels, face: Any, colour: str = MOVES) -> None:
        """A text on white in a frame, in the middle of a box."""
        u, x, y = self.unit, (box[0] + box[2]) / 2, (box[1] + box[3]) / 2
        half = face.getlength(text) / 2 + 5 * u
        low, high = box[1] - 2 * u, box[3] + 2 * u
        self.draw.rectangle((x - half, low, x + half, high), (255, 255, 255, 240), colour, max(1, round(1.5 * u)))
        self.draw.text((x, y), text, font=face, fill=colour, anchor="mm")

    @property
    def any(self) -> bool:
        """Whether there is anything to draw."""
        return bool(self.touches or self.moves or self.ways_out)

    def key(self, x: float, y: float, face: Any) -> None:
        """What the marks that are there mean, in one row."""
        u = self.unit

        def entry(room: float, words: str) -> None:
            nonlocal x
            self.draw.text((x + room * u, y), words, font=face, fill=INK, anchor="lm")
            x += (room + 26) * u + face.getlength(words)

        here = {touch.role for touch in self.touches}
        for role, (_, words) in ROLES.items():
            if role in here:
                lift = {"under": -5.0, "beside": 0.0, "over": 5.0}[role] * u
                self.contact(role, np.array([x + 8 * u, y + lift]), np.array([1.0, 0.0]), u)
                entry(28.0, words)
        if self.moves:
            self.arrow(np.array([[x, y], [x + 38 * u, y]]), 1)
            many = len({motion.piece for motion, _ in self.moves}) > _WORDED
            entry(56.0, "can still move" + (" (which way in words: see the report)" if many else ""))
        if self.ways_out:
            profile = [(0, 5), (24, 5), (24, 10), (40, 0), (24, -10), (24, -5), (0, -5)]
            self.draw.polygon([(x + a * u, y + b * u) for a, b in profile], "white", INK, max(1, round(2 * u)))
            entry(52.0, "way out once it is tacked")


def _apart(spots: Array, reach: float) -> list[Array]:
    """Those whose marks do not cover the marks before them: the rim of a round face has many points."""
    kept: list[Array] = []
    for at in spots:
        if all(float(np.hypot(*(at - other))) >= reach for other in kept):
            kept.append(at)
    return kept


def _span(points: Array) -> list[tuple[float, float]]:
    """Least and greatest corner of points (n, 2)."""
    return [(float(x), float(y)) for x, y in (points.min(axis=0), points.max(axis=0))]


def _named(way: WayOut, of: int) -> str:
    """The way out in words, with what comes out where that is not all of the work."""
    if of == 1:
        return one_line(way.told)
    more = f" and {len(way.pieces) - 1} more" if len(way.pieces) > 1 else ""
    return one_line(f"{layout.short_name(way.pieces[0])}{more}: {way.told}")
