"""Exact quantities: units and their texts, conversion, what may be combined with what.

Which units exist, how they scale and what their dimensions are called is data (`Units.from_data`); nothing
is named here. A value is always a `Decimal` in the base unit of its dimension, computed with `EXACT`.
Faults raise `UnitError`.
"""

import re
from collections.abc import Iterator, Mapping
from decimal import ROUND_HALF_UP, Context, Decimal
from fractions import Fraction
from functools import cache
from typing import Any

from .diagnostics import GaugebookError, hint, nearest, nearest_hint
from .kinds import NUMBER, Dimension, Kind
from .runtime import EXACT

__all__ = ["EXACT", "NUMBER", "Dimension", "Kind", "Unit", "UnitError", "Units", "show", "show_number"]

MOST_DIGITS = EXACT.prec
MOST_FACTORS = 8
GREATEST_SCALE = Fraction(10**MOST_DIGITS)
"""No unit is more than this many times another of its kind."""

_SYMBOL = r"[^\d*/^\s]+"
_FACTOR = re.compile(rf"(?P<join>[*/]?)(?P<symbol>{_SYMBOL})(?P<power>[2-9]|[1-9]\d|)(?=[*/]|$)")
_AMOUNT = re.compile(
    r"(?P<sign>[-+]?)(?:(?:(?P<whole>\d+) +)?(?P<top>\d+)/(?P<bottom>\d+)|(?P<plain>\d+(?:\.\d+)?|\.\d+))",
    re.ASCII,
)
_EXACT_NUMBER = re.compile(r"-?\d+(\.\d+)?(/[1-9]\d*)?", re.ASCII)
_MINUS_SIGN = "\N{MINUS SIGN}"


NOUGHT = Fraction(0)

Line = tuple[Decimal, Decimal, Decimal]
"""Whole numbers (a, b, c) of a straight line x -> (a*x + b) / c."""


class UnitError(GaugebookError):
    """A unit, a quantity or a combination of kinds that makes no sense."""


_OPERATIONS = {
    "+": (Kind.plus, "cannot-add"),
    "-": (Kind.minus, "cannot-subtract"),
    "*": (Kind.times, "cannot-multiply"),
    "/": (Kind.over, "cannot-divide"),
}


class Unit:
    """A unit as written: base value = (amount - zero) * scale, both exact.

    `zero` is the amount at which the base unit of points reads 0, and 0 for anything but a point.
    """

    __slots__ = ("_down", "_up", "kind", "scale", "text", "zero")

    def __init__(self, text: str, kind: Kind, scale: Fraction, zero: Fraction = NOUGHT) -> None:
        self.text, self.kind, self.scale, self.zero = text, kind, scale, zero
        self._up: Line | None = None
        self._down: Line | None = None

    def __repr__(self) -> str:
        return f"<Unit {self.text}>"

    def __eq__(self, other: object) -> bool:
        return self._identity() == other._identity() if isinstance(other, Unit) else NotImplemented

    def __hash__(self) -> int:
        return hash(self._identity())

    def _identity(self) -> tuple[str, Kind, Fraction, Fraction]:
        return self.text, self.kind, self.scale, self.zero

    def to_base(self, amount: Decimal) -> Decimal:
        """The amount of this unit, in the base unit."""
        if self._up is None:
            self._up = _common_form(self.scale, -self.zero * self.scale)
        return _along(amount, self._up)

    def from_base(self, value: Decimal) -> Decimal:
        """The value of the base unit, in this unit."""
        if self._down is None:
            self._down = _common_form(1 / self.scale, self.zero)
        return _along(value, self._down)


def _common_form(slope: Fraction, offset: Fraction) -> Line:
    """Whole numbers (a, b, c) with slope*x + offset = (a*x + b) / c."""
    below = slope.denominator * offset.denominator
    return Decimal(int(slope * below)), Decimal(int(offset * below)), Decimal(below)


def _along(value: Decimal, line: Line) -> Decimal:
    """(a*value + b) / c: divided last, so that an exact result stays exact."""
    factor, offset, below = line
    raised = EXACT.multiply(value, factor)
    return EXACT.divide(EXACT.add(raised, offset) if offset else raised, below)


class Units:
    """The units of a table, and what the table's data says about their dimensions."""

    def __init__(self) -> None:
        self._plain: dict[str, Any] = {}
        self._dimensions: dict[str, Dimension] = {}
        self._descriptions: dict[Kind, str] = {}
        self._bases: dict[str, str] = {}
        self._symbols: dict[str, Unit] = {}
        self._words: dict[str, str] = {}
        self._compounds: dict[str, Unit] = {}

    # --- building -----------------------------------------------------------------------------

    @classmethod
    def from_data(cls, data: Mapping[str, Any]) -> "Units":
        """Build from a table of units as read from its file, or from `to_plain()`.

        Raises `UnitError` at the first fault of the table.
        """
        units = cls()
        units._plain = {
            part: {str(name): _plain_entry(entry) for name, entry in _part(data, part).items()}
            for part in ("dimensions", "units")
        }
        for name, entry in units._plain["dimensions"].items():
            units._add_dimension(name, entry)
        for symbol, entry in units._plain["units"].items():
            units._add_unit(symbol, entry)
        units._check_bases()
        return units

    def to_plain(self) -> dict[str, Any]:
        """Texts and dictionaries only, enough for `from_data` to build the same units again."""
        return self._plain

    def __reduce__(self) -> tuple[Any, ...]:
        return (Units.from_data, (self._plain,))

    def __eq__(self, other: object) -> bool:
        return self._plain == other._plain if isinstance(other, Units) else NotImplemented

    __hash__ = None  # type: ignore[assignment]

    def _add_dimension(self, name: str, entry: Mapping[str, Any]) -> None:
        _check_keys(name, entry, {"base", "point_base", "of", "called", "point_called"})
        if "of" in entry:
            dimension = Dimension()
            for part, power in _factors(entry["of"]):
                dimension = dimension.times(self._dimension(part, name), power)
        elif "base" in entry:
            dimension = Dimension.of({name: 1})
            self._bases[name] = entry["base"]
        else:
            raise UnitError.because("unit-table-lacks", place=name, key="base")
        self._dimensions[name] = dimension
        self._descriptions.setdefault(Kind(dimension), entry.get("called", name.replace("_", " ")))
        if "point_base" in entry:
            self._descriptions.setdefault(Kind(dimension, True), entry.get("point_called", name))

    def _dimension(self, name: str, place: str) -> Dimension:
        if name in self._dimensions:
            return self._dimensions[name]
        known = hint(name, self._dimensions)
        raise UnitError.because("unknown-dimension", place=place, dimension=name, nearest=known)

    def _add_unit(self, symbol: str, entry: Mapping[str, Any]) -> None:
        _check_keys(symbol, entry, {"title", "dimension", "scale", "zero", "also", "words", "source", "note"})
        for key in ("title", "dimension", "scale"):
            if key not in entry:
                raise UnitError.because("unit-table-lacks", place=symbol, key=key)
        kind = Kind(self._dimension(entry["dimension"], symbol), "zero" in entry)
        scale = _exact_number(entry["scale"], symbol)
        if scale <= 0:
            raise UnitError.because("unit-table-number", value=entry["scale"], place=symbol)
        zero = _exact_number(entry.get("zero", "0"), symbol)
        for text in (symbol, *entry.get("also", [])):
            if text in self._symbols:
                raise UnitError.because("unit-table-twice", unit=text)
            if not re.fullmatch(_SYMBOL, text):
                raise UnitError.because("unit-table-symbol", unit=text)
            self._symbols[text] = Unit(text, kind, scale, zero)
        for word in (entry["title"], *entry.get("words", [])):
            self._words.setdefault(word, symbol)

    def _check_bases(self) -> None:
        for name, entry in self._plain["dimensions"].items():
            for key, point in (("base", False), ("point_base", True)):
                symbol = entry.get(key)
                unit = self._symbols.get(symbol)
                plain_unit = Unit(str(symbol), Kind(self._dimensions[name], point), Fraction(1))
                if symbol and unit != plain_unit:
                    raise UnitError.because("unit-table-base", unit=symbol, dimension=name)

    # --- reading ------------------------------------------------------------------------------

    def __iter__(self) -> Iterator[str]:
        """The symbols of the table, in its order."""
        return iter(self._plain["units"])

    def unit(self, text: str) -> Unit:
        """The unit a text names: a symbol, a power, or a compound of them; "1" is that of plain numbers."""
        known = self._symbols.get(text) or self._compounds.get(text)
        if known is None:
            known = self._compounds[text] = self._compound(text)
        return known

    def _compound(self, text: str) -> Unit:
        """A product of symbols; inside it a point stands for its difference."""
        dimension, scale = Dimension(), Fraction(1)
        for symbol, power in _factors(text):
            unit = self._symbols.get(symbol)
            if unit is None:
                raise UnitError.because("unknown-unit", unit=symbol, nearest=nearest_hint(self.like(symbol)))
            dimension = dimension.times(unit.kind.dimension, power)
            scale *= unit.scale**power
        if not 1 / GREATEST_SCALE <= scale <= GREATEST_SCALE:
            raise UnitError.because("unit-astray", unit=_short(text), figures=MOST_DIGITS)
        return Unit(text, Kind(dimension), scale)

    def like(self, symbol: str) -> list[str]:
        """Up to three known symbols that somebody who wrote `symbol` may have meant."""
        symbols = {**{known: known for known in self._plain["units"]}, **self._words}
        folded = symbol.casefold()
        meant = [known for word, known in symbols.items() if word.casefold() == folded]
        near = meant or [symbols[word] for word in nearest(symbol, symbols)]
        return list(dict.fromkeys(near))[:3]

    def quantity(self, text: str) -> tuple[Decimal, Unit]:
        """Read a number (whole, decimal, fraction, mixed) with its unit: base value, and unit as written."""
        amount, unit_text = self._split(text)
        if not unit_text:
            raise UnitError.because("missing-unit", text=text.strip(), example=next(iter(self)))
        unit = self.unit(unit_text)
        return unit.to_base(amount), unit

    def quantity_as(self, value: str | int | Decimal, unit: Unit) -> Decimal:
        """The base value of a quantity that must be of the same kind as `unit`.

        A number without a unit is accepted only where a plain number is wanted.
        """
        text = _written(value)
        amount, unit_text = self._split(text, unit.text)
        if not unit_text:
            if unit.kind != NUMBER or unit.scale != 1:
                raise UnitError.because("missing-unit", text=text.strip(), example=unit.text)
            return amount
        given = self.unit(unit_text)
        if given.kind != unit.kind:
            raise UnitError.because(
                "wrong-kind-of-quantity",
                text=text.strip(),
                given=self.describe(given.kind),
                expected=self.describe(unit.kind),
                example=unit.text,
            )
        return given.to_base(amount)

    def _split(self, text: str, example: str | None = None) -> tuple[Decimal, str]:
        """The leading number of a quantity, and the text of its unit, which may be empty."""
        clean = text.strip().replace(_MINUS_SIGN, "-")
        found = _AMOUNT.match(clean)
        amount = found and _amount(found)
        rest = clean[found.end() :] if found else ""
        if amount is None or rest[:1] in tuple("./,") or " " in rest.strip():
            sample = f"10 {example or next(iter(self))}".removesuffix(" 1")
            raise UnitError.because("not-a-quantity", text=_short(text), example=sample)
        return amount, rest.strip()

    def in_unit(self, base_value: Decimal, unit: Unit) -> Decimal:
        """The value of the base unit, in `unit`."""
        return unit.from_base(base_value)

    # --- kinds, for whoever checks expressions --------------------------------------------------

    def combine(self, operator: str, left: Kind, right: Kind) -> Kind:
        """The kind of `left operator right` for one of + - * /; `UnitError` where it has no meaning."""
        operation, fault = _OPERATIONS[operator]
        return self._meaningful(operation(left, right), fault, left, right=self.describe(right))

    def negate(self, kind: Kind) -> Kind:
        """The kind of a negative; `UnitError` for a point."""
        return self._meaningful(kind.negative(), "cannot-negate", kind)

    def power(self, kind: Kind, exponent: int) -> Kind:
        """The kind of a whole power; `UnitError` for a point."""
        return self._meaningful(kind.power(exponent), "cannot-raise", kind, power=exponent)

    def root(self, kind: Kind, degree: int) -> Kind:
        """The kind of a root; `UnitError` for a point or where the dimension has no such root."""
        return self._meaningful(kind.root(degree), "cannot-take-root", kind, degree=degree)

    def compare(self, left: Kind, right: Kind) -> None:
        """Do nothing if the two kinds are comparable, which means equal; `UnitError` otherwise."""
        if left != right:
            self._meaningful(None, "cannot-compare", left, right=self.describe(right))

    def _meaningful(self, result: Kind | None, fault: str, left: Kind, **values: str | int) -> Kind:
        if result is None:
            raise UnitError.because(fault, None, left=self.describe(left), **values)
        return result

    def describe(self, kind: Kind) -> str:
        """What people call a kind, or its base units where it has no name."""
        return self._descriptions.get(kind) or self.base_unit(kind).text

    def base_unit(self, kind: Kind) -> Unit:
        """The unit in which values of this kind are kept."""
        exponents = kind.dimension.exponents
        if kind.point:
            return self.unit(self._plain["dimensions"][exponents[0][0]]["point_base"])
        over = [(self._bases[name], power) for name, power in exponents if power > 0]
        under = [(self._bases[name], -power) for name, power in exponents if power < 0]
        top = "*".join(_powered(*factor) for factor in over) or "1"
        return Unit("/".join([top, *(_powered(*factor) for factor in under)]), kind, Fraction(1))


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


def _powered(symbol: str, power: int) -> str:
    return symbol if power == 1 else f"{symbol}{power}"


def _factors(text: str) -> list[tuple[str, int]]:
    """The symbols of a product with their powers: "a2*b/c" gives a 2, b 1, c -1; "1" gives none."""
    product = text.removeprefix("1") if text == "1" or text.startswith("1/") else text
    found: list[tuple[str, int]] = []
    position = 0
    while position < len(product):
        factor = _FACTOR.match(product, position)
        starts_well = factor and bool(factor["join"]) == (position > 0 or product is not text)
        if not factor or not starts_well or len(found) == MOST_FACTORS:
            raise UnitError.because("bad-unit", unit=_short(text))
        found.append((factor["symbol"], int(factor["power"] or 1) * (-1 if factor["join"] == "/" else 1)))
        position = factor.end()
    if not text:
        raise UnitError.because("bad-unit", unit=text)
    return found


def _amount(found: re.Match[str]) -> Decimal | None:
    """The number of an amount; none for a fraction over zero. Too many digits raise `UnitError`."""
    digits = sum(character.isdigit() for character in found[0])
    if digits > MOST_DIGITS:
        raise UnitError.because("number-too-long", digits=digits, limit=MOST_DIGITS)
    if found["plain"]:
        number = Decimal(found["plain"])
    elif not int(found["bottom"]):
        return None
    else:
        bottom = Decimal(found["bottom"])
        top = EXACT.fma(Decimal(found["whole"] or 0), bottom, Decimal(found["top"]))
        number = EXACT.divide(top, bottom)
    return number.copy_negate() if found["sign"] == "-" else number


def _exact_number(text: str, place: str) -> Fraction:
    if not _EXACT_NUMBER.fullmatch(text):
        raise UnitError.because("unit-table-number", value=text, place=place)
    top, _, bottom = text.partition("/")
    return Fraction(top) / int(bottom or 1)


def _part(data: Mapping[str, Any], part: str) -> Mapping[Any, Any]:
    if not isinstance(data.get(part), Mapping):
        raise UnitError.because("unit-table-lacks", place="it", key=part)
    entries: Mapping[Any, Any] = data[part]
    return entries


def _plain_entry(entry: Any) -> dict[str, Any]:
    """An entry with every number as text, so that it can be kept by any serialisation."""
    return {
        str(key): [_written(item) for item in value] if isinstance(value, list) else _written(value)
        for key, value in (entry or {}).items()
    }


def _written(value: Any) -> str:
    """A value of a file as its text; a decimal without an exponent."""
    return f"{value:f}" if isinstance(value, Decimal) else str(value)


def _check_keys(place: str, entry: Mapping[str, Any], allowed: set[str]) -> None:
    for key in entry:
        if key not in allowed:
            raise UnitError.because("unit-table-key", place=place, key=key, nearest=hint(key, allowed))


def _short(text: str) -> str:
    return text if len(text) <= 60 else text[:59] + "…"
