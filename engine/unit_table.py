"""A table of units as its file states it: read, checked, and asked for every unit, power and product.

Which units there are, how they scale and what their dimensions are called is data; nothing is named here.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from fractions import Fraction
from typing import Any

from .diagnostics import hint, nearest, nearest_hint
from .kinds import Dimension, Kind
from .scales import MOST_DIGITS, Unit, UnitError, as_written, shortened

MOST_FACTORS = 8
GREATEST_SCALE = Fraction(10**MOST_DIGITS)
"""No unit is more than this many times another of its kind."""

_SYMBOL = r"[^\d*/^\s]+"
_FACTOR = re.compile(rf"(?P<join>[*/]?)(?P<symbol>{_SYMBOL})(?P<power>[2-9]|[1-9]\d|)(?=[*/]|$)")
_EXACT_NUMBER = re.compile(r"-?\d+(\.\d+)?(/[1-9]\d*)?", re.ASCII)


class UnitTable:
    """Every unit of a table, and what its data says about dimensions.

    `data` is a table of units as read from its file, or `plain` of another. Raises `UnitError` at the first
    fault of the table.
    """

    def __init__(self, data: Mapping[str, Any]) -> None:
        self.symbols: dict[str, Unit] = {}
        self._dimensions: dict[str, Dimension] = {}
        self._descriptions: dict[Kind, str] = {}
        self._bases: dict[str, str] = {}
        self._words: dict[str, str] = {}
        self.plain: dict[str, dict[str, dict[str, Any]]] = {
            part: {str(name): _plain_entry(entry) for name, entry in _part(data, part).items()}
            for part in ("dimensions", "units")
        }
        for name, entry in self.plain["dimensions"].items():
            self._add_dimension(name, entry)
        for symbol, entry in self.plain["units"].items():
            self._add_unit(symbol, entry)
        self._check_bases()

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
            if text in self.symbols:
                raise UnitError.because("unit-table-twice", unit=text)
            if not re.fullmatch(_SYMBOL, text):
                raise UnitError.because("unit-table-symbol", unit=text)
            self.symbols[text] = Unit(text, kind, _ratio(scale), _ratio(zero))
        for word in (entry["title"], *entry.get("words", [])):
            self._words.setdefault(word, symbol)

    def _check_bases(self) -> None:
        for name, entry in self.plain["dimensions"].items():
            for key, point in (("base", False), ("point_base", True)):
                symbol = entry.get(key)
                unit = self.symbols.get(str(symbol))
                plain_unit = Unit(str(symbol), Kind(self._dimensions[name], point))
                if symbol and unit != plain_unit:
                    raise UnitError.because("unit-table-base", unit=symbol, dimension=name)

    def unit(self, text: str) -> Unit:
        """The unit a text names."""
        return self.symbols.get(text) or self._compound(text)

    def _compound(self, text: str) -> Unit:
        """A product of symbols; inside it a point stands for its difference."""
        dimension, scale = Dimension(), Fraction(1)
        for symbol, power in _factors(text):
            unit = self.symbols.get(symbol)
            if unit is None:
                raise UnitError.because("unknown-unit", unit=symbol, nearest=nearest_hint(self.like(symbol)))
            dimension = dimension.times(unit.kind.dimension, power)
            scale *= unit.scale**power
        if not 1 / GREATEST_SCALE <= scale <= GREATEST_SCALE:
            raise UnitError.because("unit-astray", unit=shortened(text), figures=MOST_DIGITS)
        return Unit(text, Kind(dimension), _ratio(scale))

    def like(self, symbol: str) -> list[str]:
        """Up to three known symbols that somebody who wrote `symbol` may have meant."""
        symbols = {**{known: known for known in self.plain["units"]}, **self._words}
        folded = symbol.casefold()
        meant = [known for word, known in symbols.items() if word.casefold() == folded]
        near = meant or [symbols[word] for word in nearest(symbol, symbols)]
        return list(dict.fromkeys(near))[:3]

    def describe(self, kind: Kind) -> str:
        """What people call a kind, or its base units where it has no name."""
        return self._descriptions.get(kind) or self.base_unit(kind).text

    def base_unit(self, kind: Kind) -> Unit:
        """The unit in which values of this kind are kept."""
        exponents = kind.dimension.exponents
        if kind.point:
            return self.symbols[self.plain["dimensions"][exponents[0][0]]["point_base"]]
        over = [(self._bases[name], power) for name, power in exponents if power > 0]
        under = [(self._bases[name], -power) for name, power in exponents if power < 0]
        top = "*".join(_powered(*factor) for factor in over) or "1"
        return Unit("/".join([top, *(_powered(*factor) for factor in under)]), kind)


def _ratio(fraction: Fraction) -> tuple[int, int]:
    return fraction.numerator, fraction.denominator


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
            raise UnitError.because("bad-unit", unit=shortened(text))
        found.append((factor["symbol"], int(factor["power"] or 1) * (-1 if factor["join"] == "/" else 1)))
        position = factor.end()
    if not text:
        raise UnitError.because("bad-unit", unit=text)
    return found


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
        str(key): [as_written(item) for item in value] if isinstance(value, list) else as_written(value)
        for key, value in (entry or {}).items()
    }


def _check_keys(place: str, entry: Mapping[str, Any], allowed: set[str]) -> None:
    for key in entry:
        if key not in allowed:
            raise UnitError.because("unit-table-key", place=place, key=key, nearest=hint(key, allowed))
