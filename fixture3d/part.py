"""What a model is: its parameters, pins, pads, sockets, moves and bodies.

A model is one frozen dataclass under ``models/``, marked with :func:`part`. Its own frame has the origin on its
seat plane under its first pin, X along its length, Z up; ``front`` is -Y, ``back`` +Y, ``left`` -X, ``right`` +X,
as on a drawing. Everything except the solids is plain arithmetic, so that listing, seating and the setup sheet
never load a CAD kernel.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, ClassVar, Literal, TypeVar

from fixture3d.errors import ModelError, nearest_name
from fixture3d.units import length as read_length
from fixture3d.units import show

if TYPE_CHECKING:
    import cadquery as cq

Point = tuple[float, float, float]
Face = Literal["bottom", "top", "front", "back", "left", "right"]
FACES: tuple[Face, ...] = ("bottom", "top", "front", "back", "left", "right")
NORMALS: dict[Face, Point] = {
    "bottom": (0.0, 0.0, -1.0),
    "top": (0.0, 0.0, 1.0),
    "front": (0.0, -1.0, 0.0),
    "back": (0.0, 1.0, 0.0),
    "left": (-1.0, 0.0, 0.0),
    "right": (1.0, 0.0, 0.0),
}


@dataclass(frozen=True, kw_only=True)
class Pattern:
    """The hole pattern that a block is made for.

    Attributes:
        pitch: hole spacing, mm.
        bore: hole diameter, mm; a dowel has this nominal size.
        inch: the shop thinks in inches, so derived sizes are rounded to 1/8 in instead of 5 mm.
    """

    pitch: float
    bore: float
    inch: bool = False

    def neat(self, size: float, step_mm: float = 5.0, step_in: float = 0.125) -> float:
        """``size`` (mm) rounded up to a size that is found on a rack of bar stock, never zero."""
        step = step_in * 25.4 if self.inch else step_mm
        return max(1, math.ceil(size / step - 1e-9)) * step

    def show(self, mm: float) -> str:
        """A length in the unit that the shop thinks in, for the messages of rules."""
        return show(mm, "in" if self.inch else "mm")


@dataclass(frozen=True, kw_only=True)
class Pin:
    """A bore through which a loose dowel drops into a hole of the table, seen from the face it leaves by.

    Attributes:
        name: ``"1"``, ``"2"``, ...; the same name on two faces is the same through bore.
        at: centre of the bore on that face, model frame, mm.
        face: the face that is down when this pin is used.
        depth: how far the bore goes into the block from this face, mm; for an integral shank, how far the
            shank stands out of the face.
        integral: the block's own shank stands in the hole; no loose dowel is used.
        nut: that shank is a bolt, pulled tight by a nut from below.
    """

    name: str
    at: Point
    face: Face = "bottom"
    depth: float = math.inf
    integral: bool = False
    nut: bool = False


@dataclass(frozen=True, kw_only=True)
class Pad:
    """A named flat or line that locates or supports the work.

    Attributes:
        name: such as ``"front"`` or ``"ledge"``.
        at: its centre, model frame, mm.
        normal: unit vector out of the block.
        along: unit vector in the pad, the direction of its ``length``.
        length: extent along ``along``, mm.
        width: extent across, mm; 0 for a line contact.
        moves: it goes with the moving body of the model's move.
    """

    name: str
    at: Point
    normal: Point
    along: Point
    length: float
    width: float
    moves: bool = False


@dataclass(frozen=True, kw_only=True)
class Socket:
    """A bore in a block that takes a dowel or bolt of the block that stands on it.

    Attributes:
        name: ``"1"``, ``"2"``, ...
        at: centre of the mouth, model frame, mm.
        face: the face it opens on.
        depth: mm.
    """

    name: str
    at: Point
    face: Face = "top"
    depth: float = math.inf


@dataclass(frozen=True, kw_only=True)
class Move:
    """The one straight adjustment that a model may have.

    Attributes:
        axis: unit vector, model frame: the way the moving body goes when the setting grows.
        travel: mm from fully in (0) to fully out.
        notch: mm between two positions of the serration; None where nothing meshes.
    """

    axis: Point
    travel: float
    notch: float | None = None

    @property
    def notches(self) -> int:
        """The highest notch number, 0 when nothing meshes."""
        return 0 if self.notch is None else math.floor(self.travel / self.notch + 1e-9)


@dataclass(frozen=True, kw_only=True)
class Step:
    """One step of the way that a body goes when a clamp is opened: straight, or a turn about a line, or both at once.

    Attributes:
        shift: mm, model frame.
        degrees: of the turn, right-handed about ``about``.
        about: direction of the line, unit.
        at: a point of the line, where it is before the step, mm.
    """

    shift: Point = (0.0, 0.0, 0.0)
    degrees: float = 0.0
    about: Point = (0.0, 0.0, 1.0)
    at: Point = (0.0, 0.0, 0.0)

    def pose(self, share: float = 1.0) -> Any:
        """What it does to the model frame when ``share`` of it is done, (4, 4)."""
        from fixture3d import frame

        back = frame.translation(tuple(-c for c in self.at))
        turned = frame.chain(frame.translation(self.at), frame.rotation(self.about, share * self.degrees), back)
        return frame.chain(frame.translation(tuple(share * c for c in self.shift)), turned)


def opened(steps: tuple[Step, ...], done: float | None = None) -> Any:
    """The pose of a body from shut to open, (4, 4).

    Args:
        steps: one after the other.
        done: how many of them, as a number with a fraction; None for all.

    >>> opened((Step(shift=(0.0, 0.0, 5.0)), Step(degrees=90.0)), 1.0)[:3, 3].tolist()
    [0.0, 0.0, 5.0]
    """
    from fixture3d import frame

    pose = frame.identity()
    for k, step in enumerate(steps):
        share = 1.0 if done is None else min(max(done - k, 0.0), 1.0)
        pose = frame.chain(step.pose(share), pose)
    return pose


@dataclass(frozen=True, kw_only=True)
class PartBody:
    """One body of a block.

    Attributes:
        name: empty for the main body; otherwise what it is, such as ``"washer"`` or ``"arm"``.
        build: makes the solid in the model frame at setting 0; called only when no stored one exists.
        moves: it goes with the model's move.
        role: ``"block"``, or ``"sweep"`` for space that a moving arm or handle needs and nothing may stand in.
        opens: the way it goes when the clamp is opened; empty for a body that stays.
    """

    name: str
    build: Callable[[], Any]
    moves: bool = False
    role: Literal["block", "sweep"] = "block"
    opens: tuple[Step, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Tip:
    """Where a clamp presses when shut.

    Attributes:
        at: centre of the pressing face, model frame, mm.
        direction: unit vector of the force on the work.
        radius: of the pressing face, mm.
        force: least and greatest force by hand, N; common practice, no source, unless the model says.
        stroke: how far the tip can be adjusted along its direction, mm.
        throat: clear reach from the base to the tip, mm.
        pulls: it draws the work against its face, as a magnet does, instead of pressing on it.
    """

    at: Point
    direction: Point
    radius: float
    force: tuple[float, float]
    stroke: float
    throat: float
    pulls: bool = False


@dataclass(frozen=True, kw_only=True)
class Limit:
    """Two limits of one size of a gauge.

    Attributes:
        name: which size, such as ``"GO"``.
        low: least, mm or degrees.
        high: greatest.
        kind: what it is.
        of: what of the body has that size, so that a drawing puts the limits there: a diameter, a radius, a place on
            an axis, its one angle, the first tooth to the last; empty for a figure that is read with the gauge.
    """

    name: str
    low: float
    high: float
    kind: Literal["length", "angle"] = "length"
    of: Literal["", "diameter", "radius", "X", "Y", "Z", "angle", "teeth"] = ""


@dataclass(frozen=True, kw_only=True)
class Gauge:
    """What a model that is a gauge says of itself, a sentence each.

    Attributes:
        limits: what its working sizes are made to.
        convention: how these limits follow from the limits of the work.
        sees: the errors that it finds.
        misses: those that it cannot find.
        reading: of a calibration piece: how it is read, and what is written where; a line that begins with spaces is to
            be typed as it stands. Such a piece is printed as drawn.
    """

    limits: tuple[Limit, ...]
    convention: str
    sees: tuple[str, ...]
    misses: tuple[str, ...]
    reading: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Thread:
    """A thread of a body, which the solid has as a plain cylinder; the coarse one nearest to its size is meant.

    Attributes:
        body: name of the body.
        drawn: diameter of the plain cylinder, mm; 0 where nothing is drawn.
        size: nominal diameter that is wanted, mm.
        tapped: in a bore; else on a pin.
        told: what a drawing says besides, a sentence.
    """

    body: str
    drawn: float
    size: float
    tapped: bool
    told: str = ""


Stands = Literal["pins", "edge", "magnet", "hand"]
Default = float | Callable[[Pattern], float]
Kind = Literal["length", "angle", "count"]


@dataclass(frozen=True, kw_only=True)
class Parameter:
    """One parameter of a model: the same line feeds validation, help, the catalogue and the corner tests.

    ``words`` are what a count of 1, 2, ... stands for where it counts nothing.
    """

    kind: Kind
    default: Default
    low: Default
    high: Default
    help: str
    words: tuple[str, ...] = ()

    def resolved(self, which: Literal["default", "low", "high"], pattern: Pattern) -> float:
        """The default or a bound for one hole pattern, mm, degrees or a count."""
        value: Default = getattr(self, which)
        return float(value(pattern)) if callable(value) else float(value)


def _parameter(
    kind: Kind, default: Default, low: Default, high: Default, help: str, words: tuple[str, ...] = ()
) -> Any:
    one = Parameter(kind=kind, default=default, low=low, high=high, help=help, words=words)
    return field(metadata={"parameter": one})


def length(default: Default, *, low: Default, high: Default, help: str) -> Any:
    """A length parameter in mm. ``default``, ``low`` and ``high`` may be functions of the pattern.

    Models import it as ``a_length``: inside a class, a parameter called ``length`` would hide this function.
    """
    return _parameter("length", default, low, high, help)


def angle(default: Default, *, low: Default, high: Default, help: str) -> Any:
    """An angle parameter in degrees."""
    return _parameter("angle", default, low, high, help)


def count(default: Default, *, low: Default, high: Default, help: str, words: tuple[str, ...] = ()) -> Any:
    """A whole-number parameter; ``words`` for what 1, 2, ... stand for where it counts nothing."""
    return _parameter("count", default, low, high, help, words)


@dataclass(frozen=True, kw_only=True)
class Part:
    """Base of every model. Subclasses add parameters and override what they have.

    Attributes:
        pattern: the hole pattern it is made for.
    """

    pattern: Pattern

    model: ClassVar[str] = ""
    made: ClassVar[str] = ""
    source: ClassVar[str] = ""
    handed: ClassVar[bool] = False
    stands: ClassVar[Stands] = "pins"

    def pins(self) -> tuple[Pin, ...]:
        """Bores for dowels, first one first. Cheap: no kernel."""
        return ()

    def pads(self) -> tuple[Pad, ...]:
        """Faces that may touch the work."""
        return ()

    def sockets(self) -> tuple[Socket, ...]:
        """Bores that take the dowel of a block standing on this one."""
        return ()

    def move(self) -> Move | None:
        """The straight adjustment, if the model has one."""
        return None

    def tip(self) -> Tip | None:
        """Where it presses, if the model is a clamp."""
        return None

    def gauge(self) -> Gauge | None:
        """Limits, and which errors it can and cannot see, if the model is a gauge."""
        return None

    def threads(self) -> tuple[Thread, ...]:
        """Threads of its bodies that are made, all of which are drawn plain."""
        return ()

    @property
    def takes(self) -> tuple[float, float] | None:
        """The thinnest and the thickest round tube or bar that lies in it, mm, if it is made for round work."""
        return None

    def box(self) -> tuple[Point, Point]:
        """Least and greatest corner of the whole block at setting 0, without sweeps, model frame, mm."""
        raise TypeError(f"{type(self).__name__} does not say how large it is")

    def foot(self, face: Face) -> tuple[tuple[float, float], ...]:
        """Corners of the area it stands on with ``face`` down, counter-clockwise from above, mm.

        Given in the block's frame after it has been turned onto that face (see :func:`face_down`), seat plane
        at z = 0. The default is the rectangle of the box; a model with a smaller base overrides it.
        """
        return box_foot(*self.box(), face)

    def seat_height(self, face: Face) -> float:
        """Distance from the model origin down to the face it stands on, along that face's normal, mm."""
        low, high = self.box()
        return {
            "bottom": 0.0,
            "top": high[2],
            "front": -low[1],
            "back": high[1],
            "left": -low[0],
            "right": high[0],
        }[face]

    def solid(self) -> cq.Solid:
        """The main body, one valid solid in the model frame at setting 0. Imports cadquery inside."""
        raise TypeError(f"{type(self).__name__} has no solid")

    def bodies(self) -> tuple[PartBody, ...]:
        """All bodies; the default is the main one alone."""
        return (PartBody(name="", build=self.solid),)

    def rules(self) -> Iterator[str]:
        """One sentence for every rule between parameters that is broken."""
        return iter(())


P = TypeVar("P", bound=type[Part])


def part(
    name: str,
    *,
    made: str,
    source: str = "common practice, no source",
    handed: bool = False,
    stands: Stands = "pins",
) -> Callable[[P], P]:
    """Mark a dataclass as a model. Marking registers nothing: :mod:`fixture3d.library` collects.

    Args:
        name: what a scene calls it.
        made: how it is made: ``"milled from bar"``, ``"cut from plate"``, ``"bought"``.
        source: where its proportions come from.
        handed: its mirror image is another block.
        stands: on pins; over the table's ``edge``, which then is its plane x = 0 with X pointing inward and ``plate``
            the thickness of the table; by a ``magnet``; or in the ``hand``: a
            gauge or a tool, which no setup holds. A model of the second kind that has a parameter ``slot``
            may also stand in a slot of that width, whose one side then is the plane x = 0; 0 is the edge.
    """

    def mark(cls: P) -> P:
        cls.model, cls.made, cls.source, cls.handed, cls.stands = name, made, source, handed, stands
        return cls

    return mark


def parameters(model: type[Part]) -> dict[str, Parameter]:
    """The parameters of a model in the order they are declared."""
    return {f.name: f.metadata["parameter"] for f in dataclasses.fields(model) if "parameter" in f.metadata}


def build(model: type[Part], pattern: Pattern, given: Mapping[str, object], units: Literal["mm", "in"] = "mm") -> Part:
    """One block: given values read and checked, the rest filled from the pattern.

    Args:
        model: a marked dataclass.
        pattern: the hole pattern it must fit.
        given: parameter name to number (in ``units``) or length string.
        units: unit of bare numbers and of the message texts.

    Raises:
        ModelError: an unknown parameter, a value that cannot be read or is out of range, or a broken rule; one
            line each, all in one error.
    """
    known = parameters(model)
    problems: list[str] = []
    values: dict[str, float] = {}
    for key, raw in given.items():
        if key not in known:
            near = nearest_name(key, known)
            problems.append(
                f'"{key}" is not a parameter of {model.model}; '
                + (f"nearest: {near}" if near else f"expected one of {', '.join(known)}")
            )
            continue
        try:
            values[key] = _read(raw, known[key], units)
        except (ValueError, TypeError) as error:
            problems.append(f"{key}: {error}")
    for key, parameter in known.items():
        if key not in given:
            values[key] = parameter.resolved("default", pattern)
        elif key in values:
            problems += _out_of_range(key, values[key], parameter, pattern, units)
    if problems:
        raise ModelError("\n".join(f"{model.model}: {p}" for p in problems))
    whole = {k: int(v) if known[k].kind == "count" else v for k, v in values.items()}
    made = model(pattern=pattern, **whole)
    broken = list(made.rules())
    if broken:
        raise ModelError("\n".join(f"{model.model}: {p}" for p in broken))
    return made


def _read(raw: object, parameter: Parameter, units: Literal["mm", "in"]) -> float:
    """One value in mm, degrees or as a count."""
    from fixture3d.errors import UnitError

    if parameter.kind == "length":
        try:
            return read_length(raw, units)
        except UnitError as error:
            raise ValueError(str(error)) from error
    if isinstance(raw, bool) or not isinstance(raw, int | float):
        try:
            number = float(str(raw)) if isinstance(raw, str) else math.nan
        except ValueError:
            number = math.nan
    else:
        number = float(raw)
    if not math.isfinite(number):
        raise ValueError(f"{raw!r} is not a number; expected {'degrees' if parameter.kind == 'angle' else 'a count'}")
    if parameter.kind == "count" and number != round(number):
        raise ValueError(f"{raw!r} is not a whole number; nearest: {round(number)}")
    return number


def _out_of_range(
    key: str, value: float, parameter: Parameter, pattern: Pattern, units: Literal["mm", "in"]
) -> Iterator[str]:
    low, high = parameter.resolved("low", pattern), parameter.resolved("high", pattern)
    slack = 1e-9 * max(1.0, abs(low), abs(high))
    if low - slack <= value <= high + slack:
        return

    def text(number: float) -> str:
        if parameter.kind == "length":
            return show(number, units)
        return f"{number:g} degrees" if parameter.kind == "angle" else f"{number:g}"

    nearest = low if value < low else high
    yield f"{key} = {text(value)} is out of range; expected {text(low)} to {text(high)}; nearest: {text(nearest)}"


def prove(part: Part) -> None:
    """Make sure that what a model says of itself can be reckoned with. Cheap: no kernel.

    Raises:
        ModelError: one line for the first thing that cannot.
    """
    declared = (("pins", Pin), ("pads", Pad), ("sockets", Socket), ("bodies", PartBody))
    for name, kind in declared:
        found = getattr(part, name)()
        if not isinstance(found, tuple | list) or not all(isinstance(one, kind) for one in found):
            raise ModelError(f"{part.model}: {name}() gives {found!r}; expected a tuple of {kind.__name__}")
        for one in found:
            _prove_numbers(part, f"{name}()", dataclasses.asdict(one) if kind is not PartBody else {})
            for step in one.opens if isinstance(one, PartBody) else ():
                _prove_numbers(part, f"{name}(), opens", dataclasses.asdict(step))
    for name, sort in (("move", Move), ("tip", Tip)):
        one = getattr(part, name)()
        if one is not None and not isinstance(one, sort):
            raise ModelError(f"{part.model}: {name}() gives {one!r}; expected a {sort.__name__} or None")
        _prove_numbers(part, f"{name}()", {} if one is None else dataclasses.asdict(one))
    low, high = part.box()
    _prove_numbers(part, "box()", {"low": low, "high": high})
    if not all(a < b for a, b in zip(low, high, strict=True)):
        raise ModelError(f"{part.model}: box() gives {low} to {high}; expected a least and a greatest corner")
    for face in sorted({"bottom", *(pin.face for pin in part.pins())}):
        _prove_numbers(part, "foot()", {"corner": part.foot(face)})


def _prove_numbers(part: Part, where: str, values: Mapping[str, Any]) -> None:
    for key, value in values.items():
        if isinstance(value, tuple | list):
            _prove_numbers(part, where, {f"{key}, entry {k}": one for k, one in enumerate(value, start=1)})
        elif isinstance(value, float | int) and not (math.isfinite(value) and abs(value) <= _FARTHEST):
            raise ModelError(f"{part.model}: {where}: {key} is {value}; expected a number of at most {_FARTHEST:g}")


_FARTHEST = 1e5  # mm and newtons; no block is as large and no clamp as strong


def face_down(face: Face) -> Any:
    """The turn that brings ``face`` down, model frame to upright frame, (4, 4).

    ``top`` turns about X, ``front`` and ``back`` about X, ``left`` and ``right`` about Y, so X stays along the
    block wherever it can.
    """
    from fixture3d import frame

    axis, degrees = {
        "bottom": ((0, 0, 1), 0.0),
        "top": ((1, 0, 0), 180.0),
        "front": ((1, 0, 0), 90.0),
        "back": ((1, 0, 0), -90.0),
        "right": ((0, 1, 0), 90.0),
        "left": ((0, 1, 0), -90.0),
    }[face]
    return frame.rotation(axis, degrees)


def through(name: str, x: float, y: float, height: float) -> tuple[Pin, Pin]:
    """The two ends of an upright bore that goes right through: it can be used from below and turned over."""
    return (
        Pin(name=name, at=(x, y, 0.0), face="bottom", depth=height),
        Pin(name=name, at=(x, y, height), face="top", depth=height),
    )


def box_foot(low: Point, high: Point, face: Face) -> tuple[tuple[float, float], ...]:
    """The rectangle that a box stands on with ``face`` down, in the frame of :meth:`Part.foot`.

    Args:
        low: least corner, model frame, mm.
        high: greatest corner, model frame, mm.
        face: the face that is down.

    >>> box_foot((0.0, 0.0, 0.0), (3.0, 2.0, 1.0), "front")
    ((0.0, -1.0), (3.0, -1.0), (3.0, 0.0), (0.0, 0.0))
    """
    turn = face_down(face)[:2, :3]
    ends = [[sum(float(t) * c for t, c in zip(row, corner, strict=True)) for row in turn] for corner in (low, high)]
    (x0, x1), (y0, y1) = sorted((ends[0][0], ends[1][0])), sorted((ends[0][1], ends[1][1]))
    return (x0, y0), (x1, y0), (x1, y1), (x0, y1)
