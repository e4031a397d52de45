"""What may stand behind ``=`` in a file with sizes: a name, or a sum of names, numbers and lengths.

A small grammar of its own, read from left to right, and never a piece of Python::

    sum      part, or parts with + or - between them
    part     one, or several with * or / between them
    one      name | number | length with its unit | ( sum ) | - one

A bare number counts in the file's units where a length is wanted. What could be read in two ways is refused:

- ``1-1/2 in`` and ``1 1/2 in`` are one and a half inches; ``1 - 1/2 in``, with a space on each side, is a difference;
- ``3/4 in`` without a space is three quarters; a length with its unit behind ``/`` needs brackets, ``6 / (2 in)``;
- ``1-1/2`` without a unit, and ``25-10``, are refused.

Sums are exact fractions until the end, so that ``1/3 in`` three times is an inch.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Any, Final, NamedTuple

from fixture3d.errors import UnitError, nearest_name
from fixture3d.units import Units, describe, length_exactly

SIGN: Final = "="
LONGEST: Final = 200  # characters; no sum that a person writes into a scene is longer
DEEPEST: Final = 20  # brackets in brackets
_LARGEST: Final = 10**12  # as in units.length
UNIT_WORDS: Final = frozenset({"mm", "cm", "m", "in", "inch", "inches", "ft", "foot", "feet"})
NAME: Final = re.compile(r"[A-Za-z_][A-Za-z0-9_]*", re.ASCII)

_MIXED: Final = r"\d+[- ]\d+/\d+"
_SOME: Final = rf"(?:{_MIXED}|\d+/\d+|\d+\.\d*|\.\d+|\d+)"
_END: Final = r"(?![A-Za-z0-9_])"
_INCH: Final = rf"(?:(?:inches|inch|in){_END}|\")"
_FOOT: Final = rf"(?:(?:feet|foot|ft){_END}|')"
_LENGTH: Final = re.compile(
    rf"{_SOME} ?{_FOOT}(?: ?{_SOME} ?{_INCH})?|{_SOME} ?{_INCH}|{_SOME} ?(?:mm|cm|m){_END}", re.ASCII
)
_HALF: Final = re.compile(_MIXED, re.ASCII)
_NUMBER: Final = re.compile(r"\d+\.\d*|\.\d+|\d+", re.ASCII)
_EXAMPLE: Final = 'a name, or a sum such as "=width / 2 - 25"'


class BadExpression(Exception):
    """What is wrong with one, in the words of ``errors.Problem``."""

    def __init__(self, what: str, expected: str = "", nearest: str = "") -> None:
        super().__init__(what)
        self.what, self.expected, self.nearest = what, expected, nearest


class Amount(NamedTuple):
    """A number in the file's units, and whether it was said to be a length."""

    value: Fraction
    length: bool


Values = Mapping[str, Any]
_Node = Callable[[Values, Units], Amount]


@dataclass(frozen=True)
class Expression:
    """One that has been read.

    Attributes:
        text: without the sign before it.
        names: those that stand in it.
        alone: the name, where it is nothing but one.
    """

    text: str
    names: frozenset[str]
    alone: str | None
    _sum: _Node

    def value(self, values: Values, units: Units) -> Any:
        """What it comes to.

        Args:
            values: of every name in it, as a file gives them.
            units: of bare numbers.

        Returns:
            The value as it is, of a name alone; else a whole number, a number, or, where a length with its unit
            takes part, a text such as ``261.9 mm`` that is no angle and no count by mistake.

        Raises:
            BadExpression: a division by zero, a name that is no number, or a result that cannot be.
        """
        if self.alone is not None:
            return values[self.alone]
        result = self._sum(values, units)
        if abs(result.value) > _LARGEST:
            raise BadExpression(f'"={self.text}" comes to more than {_LARGEST:.0e}'.replace("e+", "e"))
        if not result.length:
            return int(result.value) if result.value.denominator == 1 else float(result.value)
        return f"{f'{Decimal(repr(float(result.value))):f}'.removesuffix('.0')} {units}"


def read(text: str) -> Expression:
    """An expression from its text, the sign ``=`` at its front.

    Raises:
        BadExpression: it cannot be read.

    >>> read("=width/2 - 1-1/2 in").value({"width": 600}, "mm")
    '261.9 mm'
    """
    inside = text.removeprefix(SIGN).strip(" \t")
    if not inside:
        raise BadExpression(f'"{SIGN}" with nothing behind it', _EXAMPLE)
    if len(inside) > LONGEST:
        raise BadExpression(f"a sum of {len(inside)} characters", f"at most {LONGEST}")
    reader = _Reader(inside)
    node = reader.whole()
    alone = inside if NAME.fullmatch(inside) else None
    return Expression(inside, frozenset(reader.names), alone, node)


class _Token(NamedTuple):
    kind: str  # number, length, name, or the sign itself; "" at the end
    text: str
    start: int
    end: int


class _Reader:
    """Reads by descent; every step takes at least one character, and brackets are counted."""

    def __init__(self, text: str) -> None:
        self.names: set[str] = set()
        self._text = text
        self._now = self._next(0)
        self._before: _Token | None = None

    def whole(self) -> _Node:
        node = self._sum(0)
        if self._now.kind == ")":
            raise self._wrong('")" without its "("', "as many brackets that open as that close")
        if self._now.kind:
            raise self._nothing_between()
        return node

    def _next(self, at: int) -> _Token:
        text = self._text
        while at < len(text) and text[at] in " \t":
            at += 1
        if at == len(text):
            return _Token("", "", at, at)
        for kind, pattern in (("length", _LENGTH), ("half", _HALF), ("number", _NUMBER), ("name", NAME)):
            if found := pattern.match(text, at):
                if kind == "half":
                    one, other = re.split("[- ]", found[0])
                    what = f'"{found[0]}" may be a mixed number or a difference'
                    raise self._wrong(what, f'"{found[0]} in" with its unit, or "{one} - {other}" with spaces')
                return _Token(kind, found[0], at, found.end())
        if text[at] in "+-*/()":
            return _Token(text[at], text[at], at, at + 1)
        raise self._wrong(f"{describe(text[at])} has no meaning in a sum", "names, numbers, lengths and + - * / ( )")

    def _step(self) -> _Token:
        taken, self._before = self._now, self._now
        self._now = self._next(taken.end)
        return taken

    def _sum(self, depth: int) -> _Node:
        node = self._part(depth)
        while self._now.kind in ("+", "-"):
            self._spaced()
            minus = self._step().kind == "-"
            node = _added(node, self._part(depth), -1 if minus else 1)
        return node

    def _part(self, depth: int) -> _Node:
        node = self._signed(depth)
        while self._now.kind in ("*", "/"):
            if self._step().kind == "*":
                node = _times(node, self._signed(depth))
                continue
            if self._now.kind == "length":
                shown = self._now.text
                raise self._wrong(
                    f'"/ {shown}" may be read in two ways', f'"({shown})" in brackets, or a fraction such as "3/4 in"'
                )
            start = self._now.start
            node = _over(node, self._signed(depth), self._text, start, self._before.end if self._before else start)
        return node

    def _signed(self, depth: int) -> _Node:
        if self._now.kind != "-":
            return self._one(depth)
        self._step()
        return _added(_constant(Fraction(0)), self._one(depth), -1)

    def _one(self, depth: int) -> _Node:
        token = self._now
        if token.kind == "number":
            self._step()
            return _constant(Fraction(token.text.rstrip(".")))
        if token.kind == "length":
            self._step()
            try:
                mm = length_exactly(token.text)
            except UnitError as error:
                what, _, expected = str(error).partition("; ")
                raise self._wrong(what, expected.removeprefix("write ")) from None
            return _length(mm)
        if token.kind == "name":
            self._step()
            self.names.add(token.text)
            return _named(token.text)
        if token.kind != "(":
            found = f'"{token.text}"' if token.kind else "the end"
            raise self._wrong(f"{found} where a name or a number should be", _EXAMPLE)
        if depth == DEEPEST:
            raise self._wrong("brackets are nested too deep", f"at most {DEEPEST}")
        self._step()
        node = self._sum(depth + 1)
        if self._now.kind != ")":
            raise self._nothing_between() if self._now.kind else self._wrong('"(" without its ")"', "both brackets")
        self._step()
        return node

    def _spaced(self) -> None:
        """Refuse ``25-10``: without spaces it looks like a mixed number."""
        sign, before = self._now, self._before
        after = self._text[sign.end : sign.end + 2]
        if before is None or before.kind not in ("number", "length") or not re.match(r" ?[\d.]", after):
            return
        if before.end == sign.start or not after.startswith(" "):
            near = re.match(r"[\d./-]*", self._text[sign.end :].lstrip())
            other = near[0] if near is not None else ""
            what = f'"{self._text[before.start : sign.end]}{after[:1]}" may be read in two ways'
            raise self._wrong(what, f'a space on each side of the sign: "{before.text} {sign.text} {other}"')

    def _nothing_between(self) -> BadExpression:
        before = self._before.text if self._before is not None else ""
        now = self._now.text
        return self._wrong(f'nothing between "{before}" and "{now}"', f'a sign, as in "{before} * {now}"')

    def _wrong(self, what: str, expected: str = "") -> BadExpression:
        return BadExpression(f'in "={self._text}": {what}', expected)


def _constant(value: Fraction) -> _Node:
    return lambda values, units: Amount(value, False)


def _length(mm: Fraction) -> _Node:
    return lambda values, units: Amount(mm / length_exactly(1, units), True)


def _named(name: str) -> _Node:
    def node(values: Values, units: Units) -> Amount:
        value = values[name]
        if isinstance(value, int | float) and not isinstance(value, bool):
            if math.isfinite(value) and abs(value) <= _LARGEST:
                return Amount(Fraction(repr(value)), False)
        elif isinstance(value, str):
            try:
                return Amount(length_exactly(value, units) / length_exactly(1, units), True)
            except UnitError:
                pass
        raise BadExpression(
            f"{name} is {describe(value)}, which cannot be reckoned with",
            f'a number or a length, or "={name}" by itself',
        )

    return node


def _added(one: _Node, other: _Node, sign: int) -> _Node:
    def node(values: Values, units: Units) -> Amount:
        a, b = one(values, units), other(values, units)
        return Amount(a.value + sign * b.value, a.length or b.length)

    return node


def _times(one: _Node, other: _Node) -> _Node:
    def node(values: Values, units: Units) -> Amount:
        a, b = one(values, units), other(values, units)
        if a.length and b.length:
            raise BadExpression("a length times a length is an area", "one of the two as a bare number")
        return Amount(a.value * b.value, a.length or b.length)

    return node


def _over(one: _Node, other: _Node, text: str, start: int, end: int) -> _Node:
    divisor = text[start:end].strip()

    def node(values: Values, units: Units) -> Amount:
        a, b = one(values, units), other(values, units)
        if not b.value:
            raise BadExpression(f'in "={text}": it divides by {divisor}, which is 0')
        return Amount(a.value / b.value, a.length and not b.length)

    return node


def unknown_names(expression: Expression, known: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Names in it that have no values, each with the nearest that has."""
    return [(name, nearest_name(name[:80], known)) for name in sorted(expression.names - known.keys())]
