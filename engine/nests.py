"""Tables laid out for a program that looks into them again and again: a nest of tuples and dicts, one level a key.

Ranges become tuples with the sorted bounds beside them, their slack folded in, so that a bisection finds the
place; words and members become dicts. What lies outside is filled in.
"""

from __future__ import annotations

import decimal
import itertools
from bisect import bisect_left
from collections.abc import Callable, Sequence
from decimal import Decimal
from typing import Any, NamedTuple

from .declared import Type
from .runtime import DASH, DUST, EXACT, MISSING, REST, SLACK, TINY, Axis, Table, near

LOST = object()
"""In place of a figure that was not read; None stands where the rules give none."""

OUTSIDE = -1
MOST_CELLS = 20_000


class CannotNest(Exception):
    """A table that cannot be laid out so."""


class Numbers:
    """How numbers are kept: as exact decimals, or as binary numbers with the declared slack."""

    def __init__(self, exact: bool) -> None:
        self.exact = exact

    def of(self, value: Any) -> Any:
        """A value as it is kept."""
        return float(value) if isinstance(value, Decimal) and not self.exact else value

    def high(self, bound: Decimal, rough: bool) -> Any:
        """The greatest number that is not above a bound."""
        if self.exact:
            return _farthest(bound, EXACT.next_plus, EXACT.next_minus, 1) if rough else bound
        value = float(bound)
        return value + (TINY if rough else DUST) * abs(value)

    def low(self, bound: Decimal, rough: bool) -> Any:
        """The least number that is not below a bound."""
        if self.exact:
            return _farthest(bound, EXACT.next_minus, EXACT.next_plus, -1) if rough else bound
        value = float(bound)
        return value - (TINY if rough else DUST) * abs(value)


def _farthest(
    bound: Decimal, on: Callable[[Decimal], Decimal], back: Callable[[Decimal], Decimal], way: int
) -> Decimal:
    """The farthest decimal in one direction that is still near a bound."""
    with decimal.localcontext(EXACT):
        found = bound / (1 - SLACK) if bound * way > 0 else bound + way * SLACK * abs(bound)
        while near(bound, on(found)):
            found = on(found)
        while not near(bound, found):
            found = back(found)
    return found


def met(bounds: Sequence[float], key: float) -> int:
    """The place of the bound that a binary number equals; past the end where it equals none."""
    dust = DUST * abs(key)
    spot = bisect_left(bounds, key - dust)
    return spot if spot < len(bounds) and bounds[spot] <= key + dust else len(bounds)


class Level(NamedTuple):
    """One key of a nest: how a key finds its place.

    ways: each (a dict with every key) | some (a dict with an end for the others, `after`) |
    met (exact binary numbers) | left / right (bisection among `bounds`) | rank (a tuple in the order of a series)
    """

    way: str
    spots: dict[Any, int] | list[int]
    bounds: tuple[Any, ...] = ()
    after: int = OUTSIDE


class Nest(NamedTuple):
    """Cells by one level for each key, in `order`; whether some are not there, or were not read."""

    data: Any
    levels: list[Level]
    order: list[int]
    void: bool
    lost: bool


def level(axis: Axis, key: Type, words: Sequence[Any] | None, numbers: Numbers) -> Level:
    """How the keys of an axis find their places; `words` are all values a key can have, where that is known."""
    rest = OUTSIDE if axis.rest is None else axis.rest
    if axis.match == "exact":
        if key.sort == "number" and not numbers.exact:
            bounds = sorted(place for place in axis.keys if place != REST)
            spots = [*(axis.places[bound] for bound in bounds), rest]
            return Level("met", spots, tuple(float(bound) for bound in bounds))
        if words is not None:
            return Level("each", {word: axis.places.get(word, rest) for word in words})
        return Level("some", {key: place for key, place in axis.places.items() if key != REST}, after=rest)
    places = [axis.places[bound] for bound in axis.bounds]
    upward = axis.match in ("up_to", "below")
    if axis.rest is None and axis.beyond == "last":
        rest = places[-1 if upward else 0]
    highs = axis.match in ("up_to", "above")
    edges = tuple((numbers.high if highs else numbers.low)(bound, rough=True) for bound in axis.bounds)
    if any(a >= b for a, b in itertools.pairwise(edges)):
        raise CannotNest(axis.name)
    return Level("left" if highs else "right", [*places, rest] if upward else [rest, *places], edges)


def nested(
    table: Table,
    keys: Sequence[Type],
    words: Callable[[Type], Sequence[Any] | None],
    numbers: Numbers,
    along: int | None = None,
    column: Callable[[Sequence[Any]], Any] = tuple,
) -> Nest:
    """A table as a nest; the key `along`, if any, comes last, as a column in the order of its series.

    Raises `CannotNest`.
    """
    order = [place for place in range(len(keys)) if place != along]
    levels = [level(table.axes[place], keys[place], words(keys[place]), numbers) for place in order]
    if along is not None:
        axis, members = table.axes[along], words(keys[along]) or ()
        if axis.match != "exact":
            raise CannotNest(table.name)
        rest = OUTSIDE if axis.rest is None else axis.rest
        levels.append(Level("rank", [axis.places.get(member, rest) for member in members]))
        order.append(along)
    size, found = 1, set()
    for one in levels:
        size *= len(one.spots)
    if size > MOST_CELLS:
        raise CannotNest(table.name)

    def cell(places: dict[int, int]) -> Any:
        for number, axis in enumerate(table.axes):
            if places[number] == OUTSIDE:
                return LOST if axis.beyond == MISSING else None
        value = table.cells.get(tuple(places[number] for number in range(len(table.axes))), DASH)
        return None if value == DASH else LOST if value == MISSING else numbers.of(value)

    def make(depth: int, places: dict[int, int]) -> Any:
        if depth == len(levels):
            value = cell(places)
            found.add(value if value is None or value is LOST else True)
            return value
        one, at = levels[depth], order[depth]
        if isinstance(one.spots, dict):
            inner: dict[Any, Any] = {
                key: make(depth + 1, {**places, at: place}) for key, place in one.spots.items()
            }
            return (inner, make(depth + 1, {**places, at: one.after})) if one.way == "some" else inner
        cells = [make(depth + 1, {**places, at: place}) for place in one.spots]
        return column(cells) if one.way == "rank" else tuple(cells)

    data = make(0, {})
    return Nest(data, levels, order, None in found, LOST in found)
