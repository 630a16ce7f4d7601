"""What compiled rules call while they run: absent values, lookups, paths, and comparison with slack.

Numbers are decimals in base units, words and members of a series are their own text, things are objects
with `get(name)`. Nothing here is imported lazily because everything here is small.
"""

from __future__ import annotations

import decimal
from bisect import bisect_left, bisect_right
from collections.abc import Callable, Iterable, Sequence
from decimal import Decimal

TYPE_CHECKING = False

if TYPE_CHECKING:
    from typing import Any, Protocol

    class Subject(Protocol):
        """A thing as compiled rules see it."""

        path: str

        def get(self, name: str) -> Any:
            """The value of an attribute; raises `Absent`."""

    MakeTable = Callable[[], tuple[list["Axis"], dict[tuple[int, ...], Any]]]
    """Makes the axes and the cells of a table."""

EXACT = decimal.Context(prec=50, rounding=decimal.ROUND_HALF_EVEN)
"""The one decimal context: every conversion and every calculation uses it."""

SLACK = Decimal("1e-9")
"""The relative slack of a comparison whose side went through a division, a root or a power (see LANGUAGE.md)."""

TINY = float(SLACK)
"""The same where numbers are binary."""

DUST = 1e-13
"""What binary digits leave of numbers that are equal in decimals; a number of more digits is done in decimals."""


MOST_FIGURES = 100
"""A number worked out has no more places before the point than this, nor noughts after it."""


class Absent(Exception):
    """There is no value.

    `void` is True when the rules say so (a dash in a table, nothing passes) and False when an input or a
    figure is unknown. `reasons` says what is missing, each once, in order.
    """

    def __init__(self, reasons: Iterable[str], void: bool = False) -> None:
        super().__init__("; ".join(reasons))
        self.reasons = tuple(dict.fromkeys(reasons))
        self.void = void


def near(a: Decimal, b: Decimal) -> bool:
    """Equal within the declared slack."""
    return abs(a - b) <= SLACK * max(abs(a), abs(b))


def at_least(a: Decimal, b: Decimal) -> bool:
    """a >= b, or short of it by no more than the slack."""
    return a >= b or near(a, b)


def above(a: Decimal, b: Decimal) -> bool:
    """a > b by more than the slack."""
    return a > b and not near(a, b)


def bounded(value: Decimal | None) -> Decimal | None:
    """A value worked out, unless it is too great or too small to mean anything."""
    if value and abs(value.adjusted()) > MOST_FIGURES:
        raise Absent(["a number that is too great or too small"], void=True)
    return value


def to_power(base: Decimal, exponent: int) -> Decimal:
    """base to a whole exponent."""
    try:
        return EXACT.power(base, exponent)
    except decimal.Overflow:
        raise Absent(["a power that is too great"], void=True) from None


def divide(a: Decimal, b: Decimal) -> Decimal:
    """a / b; a zero divisor leaves nothing."""
    if not b:
        raise Absent(["division by zero"], void=True)
    return EXACT.divide(a, b)


def need(value: Any, name: str) -> Any:
    """A value that may be none, where one is due."""
    if value is None:
        raise Absent([f"{name} is none"], void=True)
    return value


def given(ask: Callable[[], Any]) -> bool:
    """True when the value exists."""
    try:
        return ask() is not None
    except Absent:
        return False


def reach(things: Iterable[Subject], name: str) -> list[Any]:
    """Follow a relation from many things; each thing found comes once, in order of first sight."""
    found: dict[int, Any] = {}
    for thing in things:
        target = thing.get(name)
        if target is None:
            continue
        for other in target if isinstance(target, (list, tuple)) else (target,):
            found.setdefault(id(other), other)
    return list(found.values())


def total(values: Iterable[Decimal]) -> Decimal:
    """The sum; of nothing, zero."""
    result = Decimal(0)
    for value in values:
        result = EXACT.add(result, value)
    return result


def greatest(values: Iterable[Any], rank: dict[str, int] | None = None) -> Any:
    """The greatest value, members of a series by their rank."""
    return _extreme(max, values, rank)


def least(values: Iterable[Any], rank: dict[str, int] | None = None) -> Any:
    """The least value, members of a series by their rank."""
    return _extreme(min, values, rank)


def _extreme(choose: Callable[..., Any], values: Iterable[Any], rank: dict[str, int] | None) -> Any:
    candidates = list(values)
    if not candidates:
        raise Absent(["there is nothing to compare"], void=True)
    return choose(candidates, key=rank.__getitem__) if rank else choose(candidates)


def count(values: Iterable[Any]) -> Decimal:
    """How many."""
    return Decimal(sum(1 for _ in values))


def pick(members: Iterable[Any], accept: Callable[[Any], bool], name: str) -> Any:
    """The first member accepted."""
    for member in members:
        if accept(member):
            return member
    raise Absent([f"no member of {name} fits"], void=True)


def square_root(value: Decimal) -> Decimal:
    """The root; a negative number has none."""
    if value < 0:
        raise Absent(["the square root of a negative number"], void=True)
    return EXACT.sqrt(value)


def power(base: Decimal, exponent: Decimal) -> Decimal:
    """base to any exponent; only a positive base has one, and only while the result is not too great."""
    if base <= 0:
        raise Absent(["a power of a number that is not positive"], void=True)
    try:
        return EXACT.power(base, exponent)
    except decimal.Overflow:
        raise Absent(["a power that is too great"], void=True) from None


def _rounded(value: Decimal, step: Decimal, rounding: str) -> Decimal:
    if step <= 0:
        raise Absent(["rounding to a step that is not positive"], void=True)
    ratio = EXACT.divide(value, step)
    whole = ratio.to_integral_value(decimal.ROUND_HALF_EVEN)
    if not near(ratio, whole) or not whole:
        whole = ratio.to_integral_value(rounding)
    return EXACT.multiply(whole, step)


def round_up(value: Decimal, step: Decimal) -> Decimal:
    """To the next multiple of the step; a multiple stays."""
    return _rounded(value, step, decimal.ROUND_CEILING)


def round_down(value: Decimal, step: Decimal) -> Decimal:
    """To the multiple of the step at or below."""
    return _rounded(value, step, decimal.ROUND_FLOOR)


def round_nearest(value: Decimal, step: Decimal) -> Decimal:
    """To the nearest multiple of the step, halves away from zero."""
    return _rounded(value, step, decimal.ROUND_HALF_UP)


def enough(t: Any, key: str, first: int, ways: Sequence[Callable[[], Any]]) -> tuple[bool, Any, Any] | None:
    """The first of several ways that passes; which one is noted in `t.route`, counted from `first`.

    A way answers None where it is not open. When none passes, the first that is open speaks; an unknown value
    leaves the whole undetermined only when no other way passes.
    """
    failed: tuple[bool, Any, Any] | None = None
    unknown: Absent | None = None
    for number, ask in enumerate(ways):
        try:
            verdict: tuple[bool, Any, Any] | None = ask()
        except Absent as absent:
            if not absent.void:
                unknown = unknown or absent
            continue
        if verdict is not None and verdict[0]:
            t.route[key] = first + number
            return verdict
        if failed is None and verdict is not None:
            failed = verdict
            t.route[key] = first + number
    if unknown is not None:
        raise unknown
    return failed or (False, None, None)


CHECK = "check "
"""In front of the name of a check, where its way stands among the ways of rules."""

REST = "rest"
DASH = "-"
MISSING = "missing"


class Axis:
    """One key of a table: its printed values and how a value meets them.

    `match` is exact; up_to / below (a row's key is its upper bound, closed / open); at_least / above (its lower
    bound, closed / open); linear (between rows). `beyond` says what lies past the outermost bound:
    not_permitted, missing or last.
    """

    __slots__ = ("_high", "_low", "beyond", "bounds", "keys", "match", "name", "places", "rest")

    def __init__(self, name: str, match: str, keys: Sequence[Any], beyond: str) -> None:
        self.name, self.match, self.beyond, self.keys = name, match, beyond, tuple(keys)
        self.places = {key: place for place, key in enumerate(keys)}
        self.rest = self.places.get(REST)
        self.bounds: list[Decimal] = [] if match == "exact" else sorted(key for key in keys if key != REST)
        # whatever is near a bound lies between these two; that is cheaper to ask
        self._low = [bound - 2 * SLACK * abs(bound) for bound in self.bounds]
        self._high = [bound + 2 * SLACK * abs(bound) for bound in self.bounds]

    def find(self, key: Any) -> int | None:
        """The place of the row that holds `key`; None when there is none."""
        if self.match == "exact":
            return self.places.get(key, self.rest)
        bounds = self.bounds
        last = len(bounds) - 1
        found = self.position(key)
        if 0 <= found <= last:
            return self.places[bounds[found]]
        outside = found > last if self.match in ("up_to", "below") else found < 0
        if outside and self.rest is not None:
            return self.rest
        if self.beyond == "last":
            return self.places[bounds[last if found > last else 0]]
        return None

    def position(self, key: Decimal) -> int:
        """Where `key` falls among the sorted bounds; -1 or past the end when outside all of them."""
        bounds = self.bounds
        spot = bisect_left(bounds, key)
        for at in (spot - 1, spot):
            if 0 <= at < len(bounds) and self._low[at] <= key <= self._high[at] and near(bounds[at], key):
                key = bounds[at]
        if self.match == "up_to":
            return bisect_left(bounds, key)
        if self.match == "below":
            return bisect_right(bounds, key)
        if self.match == "above":
            return bisect_left(bounds, key) - 1
        return bisect_right(bounds, key) - 1


class Table:
    """Keyed values; `cells` maps the places along each axis to a value, `-` (not permitted) or `missing`.

    `make` gives axes and cells; it is called when the table is first looked at.
    """

    __slots__ = ("axes", "cells", "make", "name")
    axes: list[Axis]
    cells: dict[tuple[int, ...], Any]

    def __init__(self, name: str, make: MakeTable) -> None:
        self.name, self.make = name, make

    def __getattr__(self, name: str) -> Any:
        """The axes or the cells, not made yet."""
        if name not in ("axes", "cells"):
            raise AttributeError(name)
        self.axes, self.cells = self.make()
        return getattr(self, name)

    def __call__(self, *keys: Any) -> Any:
        """The cell at `keys`; raises `Absent` where nothing is printed or nothing was read."""
        if self.axes[0].match == "linear":
            return self._between(keys)
        return self._value(self.locate(keys), keys)

    def locate(self, keys: Sequence[Any]) -> tuple[int, ...]:
        """The places of the cell along each axis; raises `Absent` when a key is none or lies outside."""
        return tuple(self._place(axis, key) for axis, key in zip(self.axes, keys, strict=True))

    def _place(self, axis: Axis, key: Any) -> int:
        place = axis.find(key) if key is not None else None
        if place is None:
            raise self._outside(axis, key)
        return place

    def _outside(self, axis: Axis, key: Any) -> Absent:
        """What is said of a key that no row holds."""
        if key is None:
            return Absent([f"{axis.name} is none"], void=True)
        return Absent([f"{self.name} has no value for {axis.name} {key}"], void=axis.beyond != MISSING)

    def _value(self, places: tuple[int, ...], keys: Sequence[Any]) -> Any:
        value = self.cells.get(places, DASH)
        if value in (DASH, MISSING):
            at = ", ".join(str(key) for key in keys)
            said = "does not permit" if value == DASH else "was not read at"
            raise Absent([f"{self.name} {said} {at}"], void=value == DASH)
        return value

    def _between(self, keys: Sequence[Any]) -> Decimal:
        axis, key = self.axes[0], keys[0]
        if key is None:
            raise self._outside(axis, key)
        low = max(0, min(axis.position(key), len(axis.bounds) - 2))
        lower, upper = axis.bounds[low], axis.bounds[low + 1]
        if not lower <= key <= upper and axis.beyond != "last":
            raise self._outside(axis, key)
        key = min(max(key, lower), upper)
        rest = [self._place(other, value) for other, value in zip(self.axes[1:], keys[1:], strict=True)]
        ends = [self._value((axis.places[bound], *rest), keys) for bound in (lower, upper)]
        share = EXACT.divide(key - lower, upper - lower)
        return EXACT.add(ends[0], EXACT.multiply(ends[1] - ends[0], share))
