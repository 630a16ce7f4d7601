"""One unit: what it measures, how it scales to the base unit of its kind, and how an amount in it is printed.

A value is always a `Decimal` in the base unit of its dimension, computed with `EXACT`.
"""

from __future__ import annotations

from decimal import ROUND_HALF_UP, Context, Decimal
from functools import cache

from .diagnostics import GaugebookError
from .kinds import NUMBER, Dimension, Kind
from .runtime import EXACT

TYPE_CHECKING = False

if TYPE_CHECKING:
    from fractions import Fraction
    from typing import Any

    Ratio = tuple[int, int]
    """A whole number over another that is positive, in lowest terms."""

    Row = tuple[tuple[tuple[str, int], ...], bool, Ratio, Ratio]
    """A unit as plain data: exponents of its dimension, whether it is a point, scale and zero."""

    Line = tuple[Decimal, Decimal, Decimal]
    """Whole numbers (a, b, c) of a straight line x -> (a*x + b) / c."""

NOUGHT, ONE = (0, 1), (1, 1)

MOST_DIGITS = EXACT.prec
"""The digits of a number that is read, and the figures by which a unit may differ from its base."""


class UnitError(GaugebookError):
    """A unit, a quantity or a combination of kinds that makes no sense."""


class Unit:
    """A unit as written: base value = (amount - zero) * scale, both exact.

    `zero` is the amount at which the base unit of points reads 0, and 0 for anything but a point.
    """

    __slots__ = ("_down", "_scale", "_up", "_zero", "kind", "text")

    def __init__(self, text: str, kind: Kind, scale: Ratio = ONE, zero: Ratio = NOUGHT) -> None:
        self.text, self.kind, self._scale, self._zero = text, kind, scale, zero
        self._up: Line | None = None
        self._down: Line | None = None

    @classmethod
    def from_row(cls, text: str, row: Row) -> Unit:
        """The unit of a text, as `to_row` answered it."""
        exponents, point, scale, zero = row
        return cls(text, Kind(Dimension(exponents), point), scale, zero)

    def to_row(self) -> Row:
        """The unit as plain data, without its text."""
        return self.kind.dimension.exponents, self.kind.point, self._scale, self._zero

    @property
    def scale(self) -> Fraction:
        """Base units in one of this unit."""
        return _fraction(self._scale)

    @property
    def zero(self) -> Fraction:
        """The amount at which the base unit of points reads 0."""
        return _fraction(self._zero)

    def __repr__(self) -> str:
        return f"<Unit {self.text}>"

    def __eq__(self, other: object) -> bool:
        return self._identity() == other._identity() if isinstance(other, Unit) else NotImplemented

    def __hash__(self) -> int:
        return hash(self._identity())

    def _identity(self) -> tuple[str, Row]:
        return self.text, self.to_row()

    @property
    def of_numbers(self) -> bool:
        """True for the unit of plain numbers."""
        return self.kind == NUMBER and self._scale == ONE

    def to_base(self, amount: Decimal) -> Decimal:
        """The amount of this unit, in the base unit."""
        if self._up is None:
            (top, bottom), (zero, over) = self._scale, self._zero
            self._up = _line((top, bottom), _lowest(-zero * top, over * bottom))
        return _along(amount, self._up)

    def from_base(self, value: Decimal) -> Decimal:
        """The value of the base unit, in this unit."""
        if self._down is None:
            self._down = _line(self._scale[::-1], self._zero)
        return _along(value, self._down)


def _fraction(ratio: Ratio) -> Fraction:
    from fractions import Fraction

    return Fraction(*ratio)


def _lowest(top: int, bottom: int) -> Ratio:
    """top / bottom in lowest terms."""
    if not top:
        return 0, 1
    from math import gcd

    common = gcd(top, bottom)
    return top // common, bottom // common


def _line(slope: Ratio, offset: Ratio) -> Line:
    """Whole numbers (a, b, c) with slope*x + offset = (a*x + b) / c."""
    (up, under), (shift, over) = slope, offset
    return Decimal(up * over), Decimal(shift * under), Decimal(under * over)


def _along(value: Decimal, line: Line) -> Decimal:
    """(a*value + b) / c: divided last, so that an exact result stays exact."""
    factor, offset, below = line
    raised = EXACT.multiply(value, factor)
    return EXACT.divide(EXACT.add(raised, offset) if offset else raised, below)


def show(base_value: Decimal, unit: Unit, digits: int = 4) -> str:
    """A quantity for reading: `show_number` of the amount, and the unit unless it is that of numbers."""
    amount = show_number(unit.from_base(base_value), digits)
    return amount if unit.text == "1" else f"{amount} {unit.text}"


def show_number(value: Decimal, digits: int = 4) -> str:
    """A number for reading: `digits` significant digits, the whole part always in full, no exponent."""
    decimals = max(0, digits - 1 - value.adjusted()) if value else 0
    rounded = value.quantize(Decimal(1).scaleb(-decimals), ROUND_HALF_UP, _roomy(abs(value.adjusted())))
    text = f"{rounded:f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text == "-0" else text


@cache
def _roomy(more: int) -> Context:
    """A context with so many digits more than the language promises."""
    return Context(prec=EXACT.prec + more)


def as_written(value: Any) -> str:
    """A value of a file as its text; a decimal without an exponent."""
    return f"{value:f}" if isinstance(value, Decimal) else str(value)


def shortened(text: str) -> str:
    """A text that a message can hold."""
    return text if len(text) <= 60 else text[:59] + "…"
