"""Exact quantities: units and their texts, conversion, what may be combined with what.

What a text means is looked up where it was found out before; the table of units itself, with its checks, is
only read for a text that is new. Faults raise `UnitError`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from decimal import Decimal
from functools import cached_property

from .kinds import NUMBER, Dimension, Kind
from .runtime import EXACT
from .scales import MOST_DIGITS, Unit, UnitError, as_written, shortened, show, show_number

TYPE_CHECKING = False

if TYPE_CHECKING:
    from typing import Any

    from .scales import Row
    from .unit_table import UnitTable

__all__ = ["EXACT", "NUMBER", "Dimension", "Kind", "Unit", "UnitError", "Units", "show", "show_number"]

_AMOUNT = (
    r"(?a)(?P<sign>[-+]?)"
    r"(?:(?:(?P<whole>\d+) +)?(?P<top>\d+)/(?P<bottom>\d+)|(?P<plain>\d+(?:\.\d+)?|\.\d+))"
)
_MINUS_SIGN = "\N{MINUS SIGN}"

_OPERATIONS = {
    "+": (Kind.plus, "cannot-add"),
    "-": (Kind.minus, "cannot-subtract"),
    "*": (Kind.times, "cannot-multiply"),
    "/": (Kind.over, "cannot-divide"),
}


class Units:
    """The units of a table by their texts."""

    def __init__(self, plain: Mapping[str, Any], rows: Mapping[str, Row]) -> None:
        """`plain` is that of `to_plain`, and `rows` what `to_rows` answered, which is taken as it is."""
        self._plain, self._rows = plain, rows
        self._known: dict[str, Unit] = {}

    @classmethod
    def from_data(cls, data: Mapping[str, Any]) -> Units:
        """Build from a table of units as read from its file, or from `to_plain()`.

        Raises `UnitError` at the first fault of the table.
        """
        from .unit_table import UnitTable

        table = UnitTable(data)
        units = cls(table.plain, {})
        units._table = table
        units._known = dict(table.symbols)
        return units

    def to_plain(self) -> Mapping[str, Any]:
        """Texts and dictionaries only, enough for `from_data` to build the same units again."""
        return self._plain

    def to_rows(self) -> dict[str, Row]:
        """Every text whose unit was found out, with it."""
        return {text: unit.to_row() for text, unit in self._known.items()}

    @cached_property
    def _table(self) -> UnitTable:
        from .unit_table import UnitTable

        return UnitTable(self._plain)

    def __reduce__(self) -> tuple[Any, ...]:
        return (Units.from_data, (self._plain,))

    def __eq__(self, other: object) -> bool:
        return self._plain == other._plain if isinstance(other, Units) else NotImplemented

    __hash__ = None  # type: ignore[assignment]

    # --- reading ------------------------------------------------------------------------------

    def __iter__(self) -> Iterator[str]:
        """The symbols of the table, in its order."""
        return iter(self._plain["units"])

    def unit(self, text: str) -> Unit:
        """The unit a text names: a symbol, a power, or a compound of them; "1" is that of plain numbers."""
        known = self._known.get(text)
        if known is None:
            row = self._rows.get(text)
            known = self._known[text] = Unit.from_row(text, row) if row else self._table.unit(text)
        return known

    def like(self, symbol: str) -> list[str]:
        """Up to three known symbols that somebody who wrote `symbol` may have meant."""
        return self._table.like(symbol)

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
        text = as_written(value)
        amount, unit_text = self._split(text, unit.text)
        if not unit_text:
            if not unit.of_numbers:
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
        plain = _plain_amount(text)
        if plain is not None:
            return plain
        import re

        clean = text.strip().replace(_MINUS_SIGN, "-")
        found = re.match(_AMOUNT, clean)
        amount = found and _amount(found)
        rest = clean[found.end() :] if found else ""
        if amount is None or rest[:1] in tuple("./,") or " " in rest.strip():
            sample = f"10 {example or next(iter(self))}".removesuffix(" 1")
            raise UnitError.because("not-a-quantity", text=shortened(text), example=sample)
        return amount, rest.strip()

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
        return self._table.describe(kind)

    def base_unit(self, kind: Kind) -> Unit:
        """The unit in which values of this kind are kept."""
        return self._table.base_unit(kind)


def _plain_amount(text: str) -> tuple[Decimal, str] | None:
    """The number and the unit of a text like "12.5 m", which takes no pattern; none for anything else."""
    number, _, unit = text.partition(" ")
    figures = number.removeprefix("-").replace(".", "", 1)
    plain = figures.isascii() and figures.isdigit() and number[-1] != "." and len(figures) <= MOST_DIGITS
    if not plain or " " in unit or not unit.isprintable() or unit[:1].isdigit() or unit[:1] in tuple("./,"):
        return None
    return Decimal(number), unit


def _amount(found: Any) -> Decimal | None:
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
