"""The records of the scene file, one class a table; attribute names are the keys of the file, lengths are mm.

``from`` and ``with`` are words of Python, so the attributes are ``from_`` and ``with_``. Key by key description:
``scene.schema.json``, which is made from this file.
"""

from __future__ import annotations

from collections.abc import Mapping
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
    Point2,
    Point3,
    Slope,
    Spread,
    Text,
    Turn,
    choice,
    exactly,
    plain_fault,
    several,
    wrong,
)

WeldType = Literal["fillet", "butt", "corner", "lap", "edge", "flare"]
MOST_ITEMS = 5000
MOST_POINTS = 2000
FRAME_SIDES: Final = ("front", "back", "left", "right")


class Torch(Item):
    """One ``[torch.NAME]``: nozzle, neck and handle as plain bodies of revolution, and the hand on it.

    Attributes:
        neck_angle: degrees between the nozzle's axis and the handle's.
        neck_radius: of the neck's centre line, mm.
        hand_diameter: of the ball that stands for the hand, mm.
    """

    nozzle_diameter: Length
    nozzle_length: Length
    neck_angle: HalfTurn
    neck_radius: Distance
    neck_diameter: Length
    handle_diameter: Length
    handle_length: Length
    hand_diameter: Length = 90.0


class Technique(Item):
    """One ``[technique.NAME]``: how a weld is run.

    Attributes:
        torch: name of the torch.
        work_angle: nominal and plus or minus, degrees, from the non-butting face (AWS A3.0).
        travel_angle: nominal and plus or minus, degrees; push is positive.
        stand_off: joint root to nozzle face along the torch axis, mm.
        direction: along the weld's path, against it, or either.
        process: in words, for the sheet.
    """

    torch: Name
    work_angle: Annotated[tuple[HalfTurn, Spread], exactly(2, "[45, 15]")] = (45.0, 15.0)
    travel_angle: Annotated[tuple[HalfTurn, Spread], exactly(2, "[10, 15]")] = (10.0, 15.0)
    stand_off: Length = 15.0
    direction: Annotated[Literal["either", "forward", "back"], choice("either", "forward", "back")] = "either"
    process: Text | None = None


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


class WeldmentKeys(Item):
    """The ``[weldment]``: where the work sits, and where its pieces come from.

    Attributes:
        hole: the hole over which its origin sits.
        offset: (2,) mm from that hole along world X and Y.
        lift: of its origin above the hole's plane, mm.
        up: which of its axes points up.
        tilt: (2,) degrees about world X and then Y, after ``up``.
        turn: degrees about the vertical, last.
        welds: ``"auto"`` to find welds where pieces touch; None for the listed ones only.
        technique: for welds that name none.
        file: STEP or STL file instead of listed pieces, relative to the scene file.
        unit: unit of that file's numbers, needed for STL.
    """

    hole: Text = "A1"
    offset: Point2 = (0.0, 0.0)
    lift: Coordinate = 0.0
    turn: Turn = 0.0
    tilt: Annotated[tuple[HalfTurn, HalfTurn], exactly(2, "[0, 30]"), BeforeValidator(_tilt), _TILT_SCHEMA] = (0.0, 0.0)
    up: Up = "z"
    welds: Annotated[Literal["auto"], choice("auto")] | None = None
    technique: Name | None = None
    file: Text | None = None
    unit: Annotated[Literal["mm", "cm", "m", "in", "ft"], choice("mm", "cm", "m", "in", "ft")] | None = None


class End(Item):
    """How one end of a member is cut: square when nothing is given.

    Attributes:
        mitre: degrees away from a square cut.
        about: the weldment axis about which the cut is turned.
        mitre_to: the member that it meets in a shared mitre.
    """

    mitre: Slope | None = None
    about: Annotated[Axis3, choice("x", "y", "z")] | None = None
    mitre_to: Name | None = None

    @property
    def kind(self) -> Literal["square", "mitre", "mitre_to"]:
        """What sort of cut it is."""
        return "mitre" if self.mitre is not None else "mitre_to" if self.mitre_to is not None else "square"

    @model_validator(mode="after")
    def _one_cut(self) -> Self:
        if self.mitre is not None and self.mitre_to is not None:
            raise wrong("mitre together with mitre_to", "one of them")
        if (self.mitre is None) != (self.about is None):
            raise wrong("mitre and about go together", 'as in { mitre = 45, about = "z" }')
        return self


def _end(value: Any) -> Any:
    if value == "square":
        return End()
    if isinstance(value, End):
        return value
    if isinstance(value, dict):
        for key in ("cope", "against"):
            if key in value:
                raise wrong(f"{key} is not built yet", '"square", { mitre = 45, about = "z" } or { mitre_to = "NAME" }')
        if value:
            return value
    raise wrong(
        f"{units.describe(value)} is not an end", '"square", { mitre = 45, about = "z" } or { mitre_to = "NAME" }'
    )


def _write_end(end: End, handler: Any) -> Any:
    return "square" if end.kind == "square" else handler(end)


EndCut = Annotated[
    End,
    BeforeValidator(_end),
    WrapSerializer(_write_end),
    OrText({"const": "square"}),
]


class Member(Item):
    """One ``[[member]]``: a length of stock.

    Attributes:
        from_: (3,) mm, first end on its centre line, weldment frame.
        to: (3,) mm, second end.
        roll: degrees about its own axis; 0 has the section's height along weldment Z (along Y for members along Z).
        ends: the cut at ``from_`` and at ``to``.
    """

    name: Name
    stock: Text
    from_: Point3
    to: Point3
    roll: Turn = 0.0
    ends: Annotated[tuple[EndCut, EndCut], exactly(2, '["square", "square"]')] = (End(), End())

    @model_validator(mode="after")
    def _has_length(self) -> Self:
        if self.from_ == self.to:
            raise wrong("from and to are the same point", "two different points")
        return self


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
        thickness: grows from ``at`` along ``normal``, mm.
        at: (3,) mm, where the outline's (0, 0) lies, weldment frame.
        normal: (3,) direction.
        along: (3,) direction of the outline's first axis.
    """

    name: Name
    outline: Annotated[tuple[Point2, ...], several(3, MOST_POINTS, "points")]
    thickness: Length
    at: Point3 = (0.0, 0.0, 0.0)
    normal: Direction = (0.0, 0.0, 1.0)
    along: Direction = (1.0, 0.0, 0.0)
    holes: Annotated[tuple[PlateHole, ...], several(0, MOST_POINTS, "holes")] = ()

    @model_validator(mode="before")
    @classmethod
    def _no_dxf(cls, data: Any) -> Any:
        if isinstance(data, dict) and "dxf" in data:
            raise wrong("dxf is not built yet", "outline = [[0, 0], [80, 0], [0, 80]]")
        return data


class Weld(Item):
    """One ``[[weld]]``: a weld line.

    Attributes:
        size: leg of a fillet, or depth of a butt weld, mm.
        joins: the two pieces.
        sides: outward normals of the two faces, (3,) each, weldment frame, instead of ``joins``.
        path: points of the root line, weldment frame, mm.
        technique: None for the weldment's.
        skip: leave it out of the checks; they say so.
    """

    name: Name
    type: Annotated[WeldType, choice("fillet", "butt", "corner", "lap", "edge", "flare")] | None = None
    size: Length | None = None
    joins: Annotated[tuple[Name, Name], exactly(2, '["left leg", "foot"]')] | None = None
    sides: Annotated[tuple[Direction, Direction], exactly(2, "[[0, 0, 1], [1, 0, 0]]")] | None = None
    path: Annotated[tuple[Point3, ...], several(2, MOST_POINTS, "points")] | None = None
    technique: Name | None = None
    skip: Flag = False


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
        turn: degrees, counter-clockwise from above, about that pin.
        notch: of a serrated adjustment, 0 fully in.
        slide: mm from fully in, where nothing meshes.
        face: which of the model's faces is down; None for the model's own.
        pins: names of the pins that are put in; None for all that find a hole.
        with_: the model's parameters as they stand in the file: lengths are still in the file's units.
    """

    name: Name
    model: Name
    hole: Text | None = None
    on: Name | None = None
    socket: Label | None = None
    free: Annotated[tuple[Coordinate, Coordinate, Coordinate, Turn], exactly(4, "[100, 50, 0, 90]")] | None = None
    turn: Turn = 0.0
    pin: Label = "1"
    pins: Annotated[tuple[Label, ...], several(0, 100, "pins")] | None = None
    notch: Notch | None = None
    slide: Distance | None = None
    face: Label | None = None
    bolt: Flag = False
    shims: Annotated[tuple[Shim, ...], several(0, 50, "shims")] = ()
    with_: Parameters = Field(default={})


class Clamp(Place):
    """One ``[[clamp]]``: a block that presses a piece.

    Attributes:
        edge: the table edge it is clamped to, at ``along``.
        along: mm from A1 along that edge.
        magnet: held by a magnet anywhere; never exact.
        presses: the piece.
        toward: the block it presses the piece against.
        at: mm along the piece from its first end.
    """

    edge: Edge | None = None
    along: Coordinate | None = None
    magnet: Flag = False
    presses: Name | None = None
    toward: Name | None = None
    at: Distance | None = None


def _stage(value: Any) -> Any:
    if not isinstance(value, dict):
        raise wrong(f"{units.describe(value)} is not a table of keys", "a [[stage]] table")
    fault = _fault_inside(value)
    if fault:
        raise wrong(fault, "plain numbers and text")
    return value


def _fault_inside(value: Any) -> str:
    """What no file can hold or no two files can agree on, anywhere in a value that is kept as it stands."""
    if isinstance(value, dict | list | tuple):
        inside = value.values() if isinstance(value, dict) else value
        return next((fault for one in inside if (fault := _fault_inside(one))), "")
    if isinstance(value, int | float) and not abs(value) <= 2**63:
        return f"{units.describe(value)} is not a possible value"
    return ""


Stage = Annotated[dict[str, Any], BeforeValidator(_stage), WithJsonSchema({"type": "object"})]
"""One ``[[stage]]``: reserved for several states of one setup; kept as it stands."""


class Inventory(Item):
    """One ``[[inventory]]``: blocks that the shop owns."""

    model: Name
    count: Count
    with_: Parameters = Field(default={})


class Accept(Item):
    """One ``[[accept]]``: a finding that is known and tolerated, still counted and shown."""

    rule: Name
    subjects: Annotated[tuple[Text, ...], several(0, 50, "names")] = ()
    why: Text
