"""The records of the scene file, one class a table; attribute names are the keys of the file, lengths are mm.

``from`` and ``with`` are words of Python, so the attributes are ``from_`` and ``with_``. Key by key description:
``scene.schema.json``, which is made from this file.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from typing import Annotated, Any, Final, Literal, Self

from pydantic import (
    BeforeValidator,
    Field,
    WithJsonSchema,
    WrapSerializer,
    model_validator,
)

from fixture3d import units
from fixture3d.scene.fields import (
    MOST_ITEMS,
    Axis3,
    Coordinate,
    Count,
    Direction,
    Distance,
    Edge,
    Flag,
    HalfTurn,
    Item,
    Label,
    Length,
    Name,
    Notch,
    OrText,
    Passes,
    Percent,
    Point2,
    Point3,
    Slope,
    Spread,
    Text,
    Turn,
    WeldName,
    choice,
    exactly,
    plain_fault,
    several,
    wrong,
)
from fixture3d.stock.plastics import PLASTICS, plastic_named
from fixture3d.tolerance import JOINTS, PRINTING, SHOP

WeldType = Literal["fillet", "butt", "corner", "lap", "edge", "flare"]
MOST_POINTS = 2000
MOST_BENDS = 200
FRAME_SIDES: Final = ("front", "back", "left", "right")


class Torch(Item):
    """One ``[torch.NAME]``: nozzle, neck and handle as plain bodies of revolution, and the hand on it.

    Attributes:
        neck_angle: degrees between the nozzle's axis and the handle's.
        neck_radius: of the neck's centre line, mm.
        hand_diameter: of the ball that stands for the hand, mm.
        back_cap: how far a back cap stands out along the nozzle's axis, from where the neck begins, mm.
        back_cap_diameter: of the back cap, mm.
        stub_length: of a covered electrode as it is thrown away, mm; ``nozzle_length`` is its full length.
    """

    nozzle_diameter: Length
    nozzle_length: Length
    neck_angle: HalfTurn
    neck_radius: Distance
    neck_diameter: Length
    handle_diameter: Length
    handle_length: Length
    hand_diameter: Length = 90.0
    back_cap: Distance = 0.0
    back_cap_diameter: Distance = 0.0
    stub_length: Distance = 0.0


def _work(value: Any) -> Any:
    """The nominal work angle: a number, or the middle of the joint."""
    if isinstance(value, str) and value != "middle":
        nearest = units.describe("middle") if value[:1].casefold() == "m" else ""
        raise wrong(f"{units.describe(value)} is not an angle", 'degrees, or "middle"', nearest)
    return value


WorkAngle = Annotated[
    HalfTurn | Literal["middle"],
    BeforeValidator(_work),
    WithJsonSchema({"anyOf": [{"type": "number"}, {"const": "middle"}]}),
]
"""Degrees, or the middle of the opening between the two faces."""


class Technique(Item):
    """One ``[technique.NAME]``: how a weld is run.

    Attributes:
        torch: name of the torch.
        work_angle: nominal and plus or minus, degrees, from the non-butting face (AWS A3.0); the nominal one may be
            "middle", the middle of the opening.
        travel_angle: nominal and plus or minus, degrees; push is positive.
        stand_off: joint root to nozzle face along the torch axis, mm.
        direction: along the weld's path, against it, or either.
        process: in words, for the sheet.
        filler_angle: of a hand that feeds a rod ahead of the arc, usual and steepest, degrees from the weld.
    """

    torch: Name
    work_angle: Annotated[tuple[WorkAngle, Spread], exactly(2, "[45, 15]")] = (45.0, 15.0)
    travel_angle: Annotated[tuple[HalfTurn, Spread], exactly(2, "[10, 15]")] = (10.0, 15.0)
    stand_off: Length = 15.0
    direction: Annotated[Literal["either", "forward", "back"], choice("either", "forward", "back")] = "either"
    process: Text | None = None
    filler_angle: Annotated[tuple[Spread, Spread], exactly(2, "[15, 60]")] | None = None

    @model_validator(mode="after")
    def _near_the_root(self) -> Self:
        if self.stand_off > SHOP.stand_off_most:
            what = f"stand_off is {self.stand_off:g} mm"
            raise wrong(what, f"above 0 and up to {SHOP.stand_off_most:g} mm, from the root to the nozzle's front")
        return self


FileUnit = Annotated[Literal["mm", "cm", "m", "in", "ft"], choice("mm", "cm", "m", "in", "ft")]
"""What the numbers of a geometry file are in."""
Up = Annotated[Literal["x", "y", "z", "-x", "-y", "-z"], choice("x", "y", "z", "-x", "-y", "-z")]


def _tilt(value: Any) -> Any:
    return [value, 0] if not isinstance(value, list | tuple) else value


_TILT_SCHEMA = WithJsonSchema(
    {
        "anyOf": [
            {"type": "number"},
            {"type": "array", "items": {"type": "number"}, "minItems": 2, "maxItems": 2},
        ]
    }
)


def _classes(value: Any) -> Any:
    """Classes of ISO 13920 as a drawing's note has them, ``"B"`` or ``"BF"``, with or without the standard's number."""
    match = _CLASSES.fullmatch(value) if isinstance(value, str) else None
    if match is None:
        near = ""
        if isinstance(value, str) and (found := _CLASSES.fullmatch(value.strip().upper())) is not None:
            near = f'"{found[1]}{found[2] or ""}"'
        expected = 'A to D for lengths and angles, then E to H for flatness if it is wanted, as in "BF"'
        raise wrong(f"{units.describe(value)} is no class of ISO 13920", expected, near)
    return f"{match[1]}{match[2] or ''}"


_CLASSES: Final = re.compile(r"(?:(?:EN )?ISO 13920 ?-? ?)?([A-D])([E-H])?", re.ASCII)
Classes = Annotated[str, BeforeValidator(_classes), WithJsonSchema({"type": "string", "pattern": "[A-D][E-H]?$"})]
"""Classes of ISO 13920: one of lengths and angles, and one of flatness behind it or none."""


class WeldmentKeys(Item):
    """The ``[weldment]``: where the work sits, and where its pieces come from.

    Attributes:
        hole: the hole over which its origin sits.
        offset: (2,) mm from that hole along world X and Y.
        lift: of its origin above the hole's plane, mm.
        up: which of its axes points up.
        tilt: (2,) degrees about world X and then Y, after ``up``.
        turn: degrees about the vertical, last.
        mirrored: it is built as the mirror image of its drawing: left and right of the drawing, its X, change places.
            All that is said of the pieces stays as on the drawing, and so do the names of welds.
        welds: ``"auto"`` to find welds where pieces touch; ``"none"`` to check none; None for the listed ones only.
        root_gap: up to which gap between two pieces a weld is found; None for the usual one.
        technique: for welds that name none.
        file: STEP, IGES, STL, OBJ or 3MF file instead of listed pieces, relative to the scene file.
        unit: unit of that file's numbers, needed for STL and OBJ; the others state their own.
        iso_13920: general tolerances that the drawing asks for, such as ``"BF"``: a class of lengths and angles, and
            one of flatness; None for none, and key figures are then only held against the usual ones.
    """

    hole: Text = "A1"
    offset: Point2 = (0.0, 0.0)
    lift: Coordinate = 0.0
    turn: Turn = 0.0
    tilt: Annotated[tuple[HalfTurn, HalfTurn], exactly(2, "[0, 30]"), BeforeValidator(_tilt), _TILT_SCHEMA] = (0.0, 0.0)
    up: Up = "z"
    mirrored: Flag = False
    welds: Annotated[Literal["auto", "none"], choice("auto", "none")] | None = None
    root_gap: Distance | None = None
    technique: Name | None = None
    file: Text | None = None
    unit: FileUnit | None = None
    iso_13920: Classes | None = None

    @model_validator(mode="after")
    def _small_gap(self) -> Self:
        if self.root_gap is not None and self.root_gap > JOINTS.most_gap:
            what = f"root_gap is {self.root_gap:g} mm"
            raise wrong(what, f"0 to {JOINTS.most_gap:g} mm, so that no wall is seen through")
        return self


class Slot(Item):
    """A slot sawn into an end along the member, through the whole section, as for a gusset plate.

    Attributes:
        width: across the slot, mm: the plate and its clearance.
        depth: from where the end's cut crosses the centre line, mm.
        about: the weldment axis square to the slot: a gusset that lies in XY takes ``"z"``.
        offset: of the slot's middle from the centre line along that axis, mm.
    """

    width: Length
    depth: Length
    about: Annotated[Axis3, choice("x", "y", "z")]
    offset: Coordinate = 0.0


Corner = Literal["top", "bottom", "left", "right", "top left", "top right", "bottom left", "bottom right"]


class EndNotch(Item):
    """One side or one corner of the section taken away at an end.

    Attributes:
        side: side or corner of the section; seen along the member from its first end, top is its height's end and
            left the way its Y axis points.
        length: along the member from where the end's cut crosses the centre line, mm.
        depth: into the section from that side, mm; of a corner, down from its top or up from its bottom.
        across: of a corner, mm in from its left or right; not of a side.
    """

    side: Annotated[
        Corner,
        choice("top", "bottom", "left", "right", "top left", "top right", "bottom left", "bottom right"),
    ]
    length: Length
    depth: Length
    across: Length | None = None

    @model_validator(mode="after")
    def _corner_has_both(self) -> Self:
        if " " in self.side and self.across is None:
            raise wrong(
                f'the corner "{self.side}" without across',
                f'across = 10, as in notch = {{ side = "{self.side}", length = 20, depth = 10, across = 10 }}',
            )
        if " " not in self.side and self.across is not None:
            corner = f'a corner, as in side = "{_corner_of(self.side)}"'
            raise wrong(f'across with the whole side "{self.side}"', corner)
        return self


def _corner_of(side: str) -> str:
    return f"{side} left" if side in ("top", "bottom") else f"top {side}"


class End(Item):
    """How one end of a member is cut: square when nothing is given.

    Attributes:
        mitre: degrees away from a square cut.
        about: the weldment axis about which the cut is turned.
        mitre_to: the member that it meets in a shared mitre.
        cope: the round or rectangular member, running through, round the outside of which the end fits (fish-mouth).
        against: the member or plate on whose face the end is cut flat.
        gap: of a cope or of ``against``: the root gap left, square to the other's surface, mm.
        slot: sawn into the end, besides its cut.
        notch: a side or corner taken away at the end, besides its cut.
    """

    mitre: Slope | None = None
    about: Annotated[Axis3, choice("x", "y", "z")] | None = None
    mitre_to: Name | None = None
    cope: Name | None = None
    against: Name | None = None
    gap: Distance | None = None
    slot: Slot | None = None
    notch: EndNotch | None = None

    @property
    def kind(self) -> Literal["square", "mitre", "mitre_to", "cope", "against"]:
        """What sort of cut it is."""
        kinds: tuple[Literal["mitre", "mitre_to", "cope", "against"], ...] = ("mitre", "mitre_to", "cope", "against")
        return next((kind for kind in kinds if getattr(self, kind) is not None), "square")

    @property
    def to(self) -> str | None:
        """The other piece that the cut goes by."""
        return self.mitre_to or self.cope or self.against

    @model_validator(mode="after")
    def _one_cut(self) -> Self:
        given = [key for key in ("mitre", "mitre_to", "cope", "against") if getattr(self, key) is not None]
        if len(given) > 1:
            raise wrong(" together with ".join(given), "one of them")
        if (self.mitre is None) != (self.about is None):
            raise wrong("mitre and about go together", 'as in { mitre = 45, about = "z" }')
        if self.gap is not None and self.kind not in ("cope", "against"):
            raise wrong("gap without cope or against", 'as in { cope = "NAME", gap = 1 }')
        return self


_ENDS = (
    '"square", { mitre = 45, about = "z" }, { mitre_to = "NAME" }, { cope = "NAME" }, { against = "NAME" }, '
    '{ slot = { width = 6, depth = 40, about = "z" } } or { notch = { side = "top", length = 20, depth = 10 } }'
)


def _end(value: Any) -> Any:
    if value == "square":
        return End()
    if isinstance(value, End) or (isinstance(value, dict) and value):
        return value
    raise wrong(f"{units.describe(value)} is not an end", _ENDS)


def _write_end(end: End, handler: Any) -> Any:
    return "square" if end == End() else handler(end)


EndCut = Annotated[
    End,
    BeforeValidator(_end),
    WrapSerializer(_write_end),
    OrText({"const": "square"}),
]


class MemberHole(Item):
    """A round hole across a member.

    Attributes:
        at: along the centre line from the member's ``from``, mm, whatever cuts its ends have.
        diameter: mm.
        side: the side of the section that it is drilled from; seen along the member from its first end, top is its
            height's end and left the way its Y axis points.
        offset: of its axis from the centre line, mm; along the member's Y axis for top and bottom, along its height
            for left and right.
        through: through all that lies behind as well, or only into the side that it is drilled from.
    """

    at: Coordinate
    diameter: Length
    side: Annotated[Literal["top", "bottom", "left", "right"], choice("top", "bottom", "left", "right")] = "top"
    offset: Coordinate = 0.0
    through: Flag = True


class Member(Item):
    """One ``[[member]]``: a length of stock.

    Attributes:
        from_: (3,) mm, first end on its centre line, weldment frame.
        to: (3,) mm, second end.
        path: corner points of a bent member's centre line instead of ``from`` and ``to``, (3,) mm each.
        bend: radius of the centre line in every bend of ``path``, mm.
        roll: degrees about its own axis; 0 has the section's height along weldment Z (along Y for members along Z);
            of a bent member about its first leg.
        ends: the cut at ``from_`` and at ``to``.
        holes: drilled across it.
    """

    name: Name
    stock: Text
    from_: Point3 | None = None
    to: Point3 | None = None
    path: Annotated[tuple[Point3, ...], several(3, MOST_BENDS, "points")] | None = None
    bend: Length | None = None
    roll: Turn = 0.0
    ends: Annotated[tuple[EndCut, EndCut], exactly(2, '["square", "square"]')] = (End(), End())
    holes: Annotated[tuple[MemberHole, ...], several(0, MOST_POINTS, "holes")] = ()

    @model_validator(mode="after")
    def _has_length(self) -> Self:
        given = [key for key, point in (("from", self.from_), ("to", self.to)) if point is not None]
        if self.path is not None and given:
            raise wrong(f"path together with {' and '.join(given)}", "one or the other")
        if self.from_ is not None and self.from_ == self.to:
            raise wrong("from and to are the same point", "two different points")
        return self

    @property
    def line(self) -> tuple[tuple[float, float, float], ...]:
        """Points of the centre line, (3,) mm each: both ends, or the corners of a bent one."""
        if self.path is not None:
            return self.path
        assert self.from_ is not None
        assert self.to is not None
        return self.from_, self.to


class Frame(Item):
    """One ``[[frame]]``: four members by outside dimensions.

    Its members are called ``NAME front``, ``NAME back``, ``NAME left`` and ``NAME right``; front is low
    along the frame's own Y.

    Attributes:
        width: outside, along the frame's X, mm.
        height: outside, along the frame's Y, mm.
        corners: mitred, or butted with the X members (``"butt x"``) or the Y members running through.
        at: (3,) mm, its outside front left corner on the plane of the centre lines, weldment frame.
        normal: (3,) direction of its Z.
        along: (3,) direction of its X.
    """

    name: Name
    stock: Text
    width: Length
    height: Length
    corners: Annotated[Literal["mitre", "butt x", "butt y"], choice("mitre", "butt x", "butt y")] = "mitre"
    at: Point3 = (0.0, 0.0, 0.0)
    normal: Direction = (0.0, 0.0, 1.0)
    along: Direction = (1.0, 0.0, 0.0)

    @property
    def members(self) -> tuple[str, ...]:
        """Names of its four members: front, back, left, right."""
        return tuple(f"{self.name} {side}" for side in FRAME_SIDES)


class PlateHole(Item):
    """A round hole in a plate: centre in the outline's own frame, and diameter, mm."""

    at: Point2
    diameter: Length


class Plate(Item):
    """One ``[[plate]]``: a flat cut piece.

    Attributes:
        outline: corner points in the plate's own plane, mm; the last joins the first.
        dxf: drawing that has the outline instead, relative to the scene file; inner loops are cut out.
        unit: unit of the drawing's numbers, where it says none or a wrong one.
        layer: the one layer of the drawing that is cut; None for all.
        thickness: grows from ``at`` along ``normal``, mm.
        at: (3,) mm, where the outline's (0, 0) lies, weldment frame.
        normal: (3,) direction.
        along: (3,) direction of the outline's first axis.
    """

    name: Name
    outline: Annotated[tuple[Point2, ...], several(3, MOST_POINTS, "points")] | None = None
    dxf: Text | None = None
    unit: FileUnit | None = None
    layer: Text | None = None
    thickness: Length
    at: Point3 = (0.0, 0.0, 0.0)
    normal: Direction = (0.0, 0.0, 1.0)
    along: Direction = (1.0, 0.0, 0.0)
    holes: Annotated[tuple[PlateHole, ...], several(0, MOST_POINTS, "holes")] = ()

    @model_validator(mode="after")
    def _one_outline(self) -> Self:
        if self.outline is not None and self.dxf is not None:
            raise wrong("outline together with dxf", "one of them")
        return self


class Weld(Item):
    """One ``[[weld]]``: a weld line.

    Attributes:
        size: leg of a fillet, or depth of a butt weld, mm.
        joins: the two pieces.
        sides: outward normals of the two faces, (3,) each, weldment frame, instead of ``joins``.
        path: points of the root line, weldment frame, mm.
        technique: None for the weldment's.
        passes: that it takes; 1 when not given, 2 for a leg above 8 mm.
        skip: leave it out of the checks; they say so.
        part: of a weld that was found, from where to where it is run, mm along its path; round a closed line the second
            may be the smaller. None for all of it.
    """

    name: WeldName
    type: Annotated[WeldType, choice("fillet", "butt", "corner", "lap", "edge", "flare")] | None = None
    size: Length | None = None
    joins: Annotated[tuple[Name, Name], exactly(2, '["left leg", "foot"]')] | None = None
    sides: Annotated[tuple[Direction, Direction], exactly(2, "[[0, 0, 1], [1, 0, 0]]")] | None = None
    path: Annotated[tuple[Point3, ...], several(2, MOST_POINTS, "points")] | None = None
    technique: Name | None = None
    passes: Passes | None = None
    skip: Flag = False
    part: Annotated[tuple[Distance, Distance], exactly(2, "[57, 190]")] | None = None

    @model_validator(mode="after")
    def _one_line(self) -> Self:
        if self.part is not None and self.path is not None:
            raise wrong("part and path are both given", "part only for a weld that is found; a path is run whole")
        return self


FigureKind = Literal["overall", "length", "diagonal", "angle", "flatness"]


def _both_ways(value: Any) -> Any:
    """One value for plus and minus."""
    if isinstance(value, str) and not value.lstrip().startswith("-"):
        return [f"-{value.strip()}", value]
    if isinstance(value, int | float) and not isinstance(value, bool) and value >= 0.0:
        return [-value, value]
    if not isinstance(value, list | tuple):
        raise wrong(f"{units.describe(value)} is no limit", "0.5 for plus or minus, or [-0.5, 1] for both sides")
    return value


_LIMITS_SCHEMA = WithJsonSchema(
    {
        "anyOf": [
            {"type": ["number", "string"]},
            {"type": "array", "items": {"type": ["number", "string"]}, "minItems": 2, "maxItems": 2},
        ]
    }
)
_DEGREES_SCHEMA = WithJsonSchema(
    {
        "anyOf": [
            {"type": "number"},
            {"type": "array", "items": {"type": "number"}, "minItems": 2, "maxItems": 2},
        ]
    }
)


class Figure(Item):
    """One ``[[figure]]``: a figure of the finished weldment that the drawing gives a limit.

    Attributes:
        name: of a figure that is found by itself, such as ``"overall X"``; or, with ``kind``, a name of one's own.
        kind: overall length along an axis, distance or diagonal between two points, angle of two members, or flatness.
        of: the pieces: two members of an angle; of points one a point; of an overall length those that count.
        points: (3,) mm each, weldment frame: two of a length or diagonal, four or more of a flatness.
        axis: of an overall length, an axis of the weldment.
        size: that the drawing gives, mm; as it is modelled when left out.
        degrees: that the drawing gives, of an angle.
        limits: mm that it may be off, plus or minus, or less and more; of a flatness in all.
        limits_degrees: degrees that an angle may be off, likewise.
    """

    name: WeldName
    kind: Annotated[FigureKind, choice("overall", "length", "diagonal", "angle", "flatness")] | None = None
    of: Annotated[tuple[Name, ...], several(1, MOST_POINTS, "pieces")] | None = None
    points: Annotated[tuple[Point3, ...], several(2, MOST_POINTS, "points")] | None = None
    axis: Annotated[Axis3, choice("x", "y", "z")] | None = None
    size: Length | None = None
    degrees: HalfTurn | None = None
    limits: (
        Annotated[tuple[Coordinate, Coordinate], exactly(2, "[-0.5, 1]"), BeforeValidator(_both_ways), _LIMITS_SCHEMA]
        | None
    ) = None
    limits_degrees: (
        Annotated[tuple[HalfTurn, HalfTurn], exactly(2, "[-0.2, 0.2]"), BeforeValidator(_both_ways), _DEGREES_SCHEMA]
        | None
    ) = None

    @model_validator(mode="after")
    def _makes_sense(self) -> Self:
        for key in ("limits", "limits_degrees"):
            pair = getattr(self, key)
            if pair is not None and pair[0] >= pair[1]:
                raise wrong(f"{key} whose first is not below its second", f"{key} = [-0.5, 1], less and more")
        if self.limits is not None and self.limits_degrees is not None:
            raise wrong("limits together with limits_degrees", "one of them: limits_degrees for an angle")
        if self.size is not None and self.degrees is not None:
            raise wrong("size together with degrees", "one of them: degrees for an angle")
        if self.kind is not None:
            self._has_what_its_kind_takes(self.kind)
        elif self.of is not None or self.points is not None or self.axis is not None:
            raise wrong("of, points or axis without kind", f"kind = {_KINDS}, or only the name of a found figure")
        return self

    def _has_what_its_kind_takes(self, kind: FigureKind) -> None:
        points, of = len(self.points or ()), len(self.of or ())
        if (kind == "overall") != (self.axis is not None):
            raise wrong(
                f'kind = "{kind}" {"without" if kind == "overall" else "with"} axis', 'axis = "x" for "overall"'
            )
        if kind == "angle" and (of != 2 or points):
            raise wrong(
                f"an angle of {of} pieces{' with points' if points else ''}", 'of = ["post", "rail"], no points'
            )
        if kind in ("length", "diagonal") and (of, points) != (2, 2):
            expected = 'two of each, as in of = ["A", "B"], points = [[0, 0, 0], [600, 0, 0]]'
            raise wrong(f"a {kind} with {of} pieces and {points} points", expected)
        if kind == "flatness" and (points < 4 or of != points):
            raise wrong(
                f"a flatness with {of} pieces and {points} points", "four points or more, and the piece of each"
            )
        if kind == "flatness" and _in_one_line(self.points or ()):
            raise wrong("a flatness whose points lie in one line", "four points or more that span a face")
        if kind == "angle" and self.degrees is not None and self.degrees < 0.0:
            raise wrong(f"an angle of {self.degrees:g} degrees", "0 to 180 degrees")
        if kind == "overall" and points:
            raise wrong('kind = "overall" with points', "axis, and of for the pieces that count")
        if kind == "angle" and (self.size is not None or self.limits is not None):
            raise wrong("an angle with a length", "degrees and limits_degrees")
        if kind != "angle" and (self.degrees is not None or self.limits_degrees is not None):
            raise wrong("a length with degrees", "size and limits")


def _in_one_line(points: Sequence[Point3]) -> bool:
    """Whether no three of the points, mm, span a face."""
    first, *rest = (tuple(float(v) for v in point) for point in points)
    ways = [tuple(b - a for a, b in zip(first, one, strict=True)) for one in rest]
    along = max(ways, key=lambda way: sum(v * v for v in way))
    return all(math.hypot(*_cross(along, way)) <= 1e-6 * max(1.0, math.hypot(*along)) for way in ways)


def _cross(a: tuple[float, ...], b: tuple[float, ...]) -> tuple[float, float, float]:
    return a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]


_KINDS: Final = '"overall", "length", "diagonal", "angle" or "flatness"'


class Shim(Item):
    """Shims under one pad: ``{ pad = "front", by = ["0.5", "0.2"] }``."""

    pad: Label
    by: Annotated[tuple[Length, ...], several(1, 20, "thicknesses")]


def _parameters(value: Any) -> Any:
    if not isinstance(value, Mapping):
        raise wrong(f"{units.describe(value)} is not a table of parameters", "as in { length = 100, height = 50 }")
    for key, one in value.items():
        fault = plain_fault(one)
        if fault:
            raise wrong(f"{units.describe(key)}: {fault}", 'a number or a length such as "3/4 in"')
    return {str(key): list(one) if isinstance(one, list | tuple) else one for key, one in value.items()}


Parameters = Annotated[
    dict[str, Any],
    BeforeValidator(_parameters),
    WithJsonSchema({"type": "object", "additionalProperties": {"type": ["number", "string", "boolean", "array"]}}),
]


class Place(Item):
    """One ``[[place]]``: a block at its place.

    Attributes:
        hole: the hole in which pin ``pin`` stands.
        on: the block it stands on, with its first pin in ``socket``.
        free: x, y, z in world mm and turn in degrees; always reported as needing a measurement.
        edge: the table edge that it hooks over or is clamped to, at ``along``.
        along: mm from A1 along that edge, or along the slot that a clamp stands in.
        turn: degrees, counter-clockwise from above, about that pin.
        notch: of a serrated adjustment, 0 fully in.
        slide: mm from fully in, where nothing meshes.
        face: which of the model's faces is down; None for the model's own.
        pins: names of the pins that are put in; None for all that find a hole.
        stages: names of the stages in which it stands; None for all of them.
        mark: of the block of the inventory that stands there; None where any of its kind may.
        with_: the model's parameters as they stand in the file: lengths are still in the file's units.
    """

    name: Name
    model: Name
    hole: Text | None = None
    on: Name | None = None
    socket: Label | None = None
    free: Annotated[tuple[Coordinate, Coordinate, Coordinate, Turn], exactly(4, "[100, 50, 0, 90]")] | None = None
    edge: Edge | None = None
    along: Coordinate | None = None
    turn: Turn = 0.0
    pin: Label = "1"
    pins: Annotated[tuple[Label, ...], several(0, 100, "pins")] | None = None
    notch: Notch | None = None
    slide: Distance | None = None
    face: Label | None = None
    bolt: Flag = False
    shims: Annotated[tuple[Shim, ...], several(0, 50, "shims")] = ()
    stages: Annotated[tuple[Name, ...], several(1, MOST_ITEMS, "names of stages")] | None = None
    mark: Name | None = None
    with_: Parameters = Field(default={})


class Clamp(Place):
    """One ``[[clamp]]``: a block that presses a piece.

    Attributes:
        magnet: held by a magnet anywhere; never exact.
        slot: the slot of the table that it goes down through, at ``along`` from that slot's ``from``; it reaches
            square to the slot, to the side of what it presses, or to that of its ``turn``.
        presses: the piece.
        toward: the block it presses the piece against.
        at: mm along the piece from its first end.
    """

    magnet: Flag = False
    slot: Name | None = None
    presses: Name | None = None
    toward: Name | None = None
    at: Distance | None = None


class StageWeldment(Item):
    """The keys of ``[weldment]`` that are different in one stage; what is not given stays as it is there.

    Attributes:
        hole: the hole over which its origin sits.
        offset: (2,) mm from that hole along world X and Y.
        lift: of its origin above the hole's plane, mm.
        up: which of its axes points up.
        tilt: (2,) degrees about world X and then Y, after ``up``.
        turn: degrees about the vertical, last.
    """

    hole: Text | None = None
    offset: Point2 | None = None
    lift: Coordinate | None = None
    turn: Turn | None = None
    tilt: Annotated[tuple[HalfTurn, HalfTurn], exactly(2, "[0, 30]"), BeforeValidator(_tilt), _TILT_SCHEMA] | None = (
        None
    )
    up: Up | None = None


class Stage(Item):
    """One ``[[stage]]``: one of several states of the setup, in the order of the work.

    Attributes:
        welds: run in this stage; without the key, all welds that no other stage names.
        weldment: where the work sits in this stage, as far as that differs from ``[weldment]``.
        without: blocks and clamps that are taken off in this stage.
        pieces: on the table in this stage; without the key, all.
    """

    name: Name
    welds: Annotated[tuple[WeldName, ...], several(0, MOST_ITEMS, "names of welds")] | None = None
    weldment: StageWeldment | None = None
    without: Annotated[tuple[Name, ...], several(0, MOST_ITEMS, "names of blocks")] = ()
    pieces: Annotated[tuple[Name, ...], several(1, MOST_ITEMS, "names of pieces")] | None = None


Small = Literal["dowel", "bolt", "side bolt"]


class Inventory(Item):
    """One ``[[inventory]]``: blocks, or loose dowels and bolts, that the shop owns.

    Attributes:
        model: of a block; not of loose dowels and bolts.
        small: instead of a model: loose dowels, hold-down bolts, or bolts for upright faces of blocks.
        diameter: of loose dowels and bolts, mm; None for those of the table's bore.
        count: how many there are.
        mark: stamped on the one block of this line, so that a place can say which one stands there.
        measured: lengths of the model as they were measured on these blocks: on the one, or on all of them alike.
        with_: the model's parameters as they stand in the file: lengths are still in the file's units.
    """

    model: Name | None = None
    small: Annotated[Small, choice("dowel", "bolt", "side bolt")] | None = None
    diameter: Length | None = None
    count: Count
    mark: Name | None = None
    measured: Parameters = Field(default={})
    with_: Parameters = Field(default={})

    @model_validator(mode="after")
    def _one_thing(self) -> Self:
        if self.model is None and self.small is None:
            raise wrong('key "model" is missing', 'model = "stop_block", or small = "dowel" for loose dowels')
        if self.model is not None and self.small is not None:
            raise wrong("model together with small", "one of them")
        if self.model is not None and self.diameter is not None:
            raise wrong("diameter of a block", "it under with, as in with = { diameter = 20 }")
        if self.model is None and (self.mark is not None or self.measured or self.with_):
            keys = {"mark": self.mark, "measured": self.measured, "with": self.with_}
            first = next(key for key, value in keys.items() if value)
            raise wrong(f'{first} with small = "{self.small}"', "diameter and count only")
        if self.mark is not None and self.count != 1:
            what = f"the mark {units.describe(self.mark)} on {self.count} blocks"
            raise wrong(what, "count = 1, and a line for each")
        return self


class Printing(Item):
    """One ``[[printing]]``: how the shop's own prints of one plastic come out, as read off a ``print_trial``.

    Attributes:
        material: a plastic that shrinkage is known of, such as ``"PLA"``, or a name of one's own.
        clearance: what holes are drawn wider, mm on diameter.
        pin_clearance: what pins are drawn thinner, mm on diameter.
        shrink: of all lengths, per cent; needed with a name of one's own.
    """

    material: Name
    clearance: Distance | None = None
    pin_clearance: Distance | None = None
    shrink: Percent | None = None

    @model_validator(mode="after")
    def _makes_sense(self) -> Self:
        for key in ("clearance", "pin_clearance"):
            mm = getattr(self, key)
            if mm is not None and mm > PRINTING.most_clearance:
                raise wrong(f"{key} is {mm:g} mm on diameter", f"0 to {PRINTING.most_clearance:g} mm")
        if self.clearance is None and self.pin_clearance is None and self.shrink is None:
            raise wrong("nothing that was measured", "one of clearance, pin_clearance and shrink")
        if self.shrink is None and plastic_named(self.material) is None:
            what = f"no shrinkage is known of {units.describe(self.material)}"
            raise wrong(what, f"shrink = 0.4, per cent, or one of {', '.join(PLASTICS)}")
        return self


class Accept(Item):
    """One ``[[accept]]``: a finding that is known and tolerated, still counted and shown."""

    rule: Name
    subjects: Annotated[tuple[Text, ...], several(0, 50, "names")] = ()
    why: Text
