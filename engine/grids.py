"""Tables over columns: words and members as codes, bounds met by address, cells lying flat."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction
from math import gcd, lcm
from typing import Any

import numpy as np

from .arrays import UNKNOWN, VOID, Column, first, plain, single
from .model import Type
from .runtime import DASH, DUST, MISSING, REST, TINY, Absent, Axis, Table

WIDEST = 4096
"""So many steps at most some bounds are spread over, to be met by address."""


class Codes:
    """The numbers that stand for words and for members of series."""

    def __init__(self, ranks: dict[str, dict[str, int]]) -> None:
        self.ranks = ranks
        self.words: dict[str, int] = {}

    def code(self, value: Any, type: Type) -> Any:
        """A value as a column holds it."""
        if isinstance(value, Decimal):
            return float(value)
        if isinstance(value, str):
            if type.sort == "member":
                return self.ranks[type.detail][value]
            return self.words.setdefault(value, len(self.words))
        return value

    def column(self, value: Any, type: Type) -> Column:
        """One value for all rows."""
        nothing: Any = False if type.sort == "truth" else 0
        if value is None:
            return Column(nothing, True, 0)
        if isinstance(value, Absent):
            return Column(nothing, False, VOID if value.void else UNKNOWN)
        return Column(self.code(value, type))


class Ladder:
    """Where numbers fall among sorted bounds.

    With `below`, how many bounds lie at or below a number; without, how many lie truly below it. What is no
    further from a bound than the slack stands on it.
    """

    def __init__(self, bounds: Sequence[Decimal], slack: float, below: bool) -> None:
        self.slack, self.below = slack, below
        values = np.array([float(bound) for bound in bounds])
        self.edges = values - slack * abs(values) if below else values + slack * abs(values)
        self.known: Any = None
        """By address, how many bounds are passed; None where the bounds lie on no grid."""
        grid = _grid([Fraction(bound) for bound in bounds])
        if grid is not None:
            step, spots = grid
            self.start, self.per = float(bounds[0]), float(1 / step)
            passed = np.zeros(spots[-1] + 1, np.intp)
            passed[spots] = 1
            self.known = np.concatenate([[0], np.cumsum(passed)])
            if not below:
                self.known = np.concatenate([[0], self.known])

    def climb(self, data: Any) -> Any:
        """How many bounds are passed."""
        if self.known is None or not isinstance(data, np.ndarray):
            return np.searchsorted(self.edges, data, "right" if self.below else "left")
        slack = self.slack * abs(data)
        spot = (data - self.start + (slack if self.below else -slack)) * self.per
        spot = np.floor(spot, out=spot) if self.below else np.ceil(spot, out=spot)
        spot += 1
        np.fmax(spot, 0, out=spot)
        np.fmin(spot, len(self.known) - 1, out=spot)
        return self.known.take(spot.astype(np.intp))


def _grid(bounds: Sequence[Fraction]) -> tuple[Fraction, list[int]] | None:
    """The widest step on which all of some sorted numbers lie, and where; None where that takes too many."""
    if len(bounds) < 2:
        return None
    below = lcm(*(bound.denominator for bound in bounds))
    step = Fraction(gcd(*(int((bound - bounds[0]) * below) for bound in bounds[1:])), below)
    spots = [int((bound - bounds[0]) / step) for bound in bounds]
    return (step, spots) if spots[-1] <= WIDEST else None


class Finder:
    """Where values fall along one axis of a table; its size means outside."""

    def __init__(self, axis: Axis, key: Type, codes: Codes) -> None:
        self.axis, self.key, self.codes = axis, key, codes
        self.size = len(axis.keys)
        rest = axis.rest
        self.outside = self.size if rest is None else rest
        self.known: Any = None
        """By code, where it stands, what lies outside last; None for an axis of numbers."""
        self.ends: Any = None
        if axis.match != "exact":
            self._ranges()
        elif all(isinstance(key, Decimal) or key == REST for key in axis.keys):
            self._numbers()
        else:
            self.known = self._coded()

    def _coded(self) -> Any:
        found = {
            self.codes.code(key, self.key): place for key, place in self.axis.places.items() if key != REST
        }
        known = np.full(max([*found, 0]) + 2, self.outside, np.intp)
        for code, place in found.items():
            known[code] = place
        return known

    def _numbers(self) -> None:
        bounds = sorted(key for key in self.axis.keys if key != REST)
        self.ladder = Ladder(bounds, DUST, below=True)
        values = np.array([float(bound) for bound in bounds])
        self.ends = np.array([-np.inf, *(values + DUST * abs(values))])
        self.spots = np.array([self.outside, *(self.axis.places[bound] for bound in bounds)], np.intp)

    def _ranges(self) -> None:
        axis = self.axis
        upward = axis.match in ("up_to", "below")
        self.ladder = Ladder(axis.bounds, TINY, below=axis.match not in ("up_to", "above"))
        places = [axis.places[bound] for bound in axis.bounds]
        last = axis.beyond == "last"
        beyond = self.outside if axis.rest is not None else places[-1] if last else self.size
        before = self.outside if axis.rest is not None else places[0] if last else self.size
        self.spots = np.array([*places, beyond] if upward else [before, *places], np.intp)

    def find(self, data: Any) -> Any:
        """The places of some keys."""
        if self.known is not None:
            return self._coded_places(data)
        spot = self.ladder.climb(data)
        found = self.spots.take(spot)
        if self.ends is not None:
            found = np.where(self.ends.take(spot) < data, self.outside, found)
        return found if isinstance(data, np.ndarray) else int(found)

    def misses(self, place: Any) -> bool:
        """True where some places lie outside."""
        if self.outside != self.size and self.axis.rest is not None:
            return False
        most = place.max(initial=0) if isinstance(place, np.ndarray) else place
        return bool(most == self.size)

    def _coded_places(self, data: Any) -> Any:
        inside = len(self.known) - 1
        if not isinstance(data, np.ndarray):
            return int(self.known[data if 0 <= data < inside else inside])
        if len(data) and (data.max() >= inside or data.min() < 0):
            data = np.where((data < inside) & (data >= 0), data, inside)
        return self.known.take(data.view(np.uint8) if data.dtype == bool else data)


class Grid:
    """The cells of a table, with one more place along every axis for what lies outside."""

    def __init__(self, table: Table, keys: Sequence[Type], type: Type, codes: Codes) -> None:
        self.linear = table.axes[0].match == "linear"
        self.axis = table.axes[0]
        self.finders = [Finder(axis, key, codes) for axis, key in zip(table.axes, keys, strict=True)]
        shape = [finder.size + 1 for finder in self.finders]
        self.strides = [int(np.prod(shape[place + 1 :])) for place in range(len(shape))]
        kind = np.float64 if type.sort == "number" else np.intp
        data, gone = np.zeros(shape, kind), np.full(shape, VOID, np.uint8)
        for place in reversed(range(len(shape))):
            at: list[Any] = [slice(None)] * len(shape)
            at[place] = shape[place] - 1
            gone[tuple(at)] = UNKNOWN if table.axes[place].beyond == MISSING else VOID
        for places, value in table.cells.items():
            if value is DASH or value == DASH:
                continue
            if value is MISSING or value == MISSING:
                gone[places] = UNKNOWN
            else:
                data[places] = codes.code(value, type)
                gone[places] = 0
        self.whole = not gone[tuple(slice(-1) for _ in shape)].any()
        """True where nothing is missing but what lies outside."""
        self.data, self.gone = data.ravel(), gone.ravel()

    def read(self, flat: Any, start: int = 0, outside: bool = True) -> Column:
        """The cells at some flat places counted from `start`; `outside` says that some may lie outside."""
        if not isinstance(flat, np.ndarray):
            return Column(self.data[start + flat].item(), False, int(self.gone[start + flat]))
        data = self.data[start:].take(flat)
        if self.whole and not outside:
            return Column(data)
        return Column(data, False, plain(self.gone[start:].take(flat)))

    def between(self, key: Any, rest: Any) -> Column:
        """Values between the rows of an axis; `rest` is the flat place along the other axes."""
        bounds = np.array([float(bound) for bound in self.axis.bounds])
        places = np.array([self.axis.places[bound] for bound in self.axis.bounds], np.intp)
        low = np.clip(self.finders[0].ladder.climb(key) - 1, 0, len(bounds) - 2)
        lower, upper = bounds.take(low), bounds.take(low + 1)
        outside: Any = 0
        if self.axis.beyond != "last":
            beyond = (key < lower) | (key > upper)
            why = UNKNOWN if self.axis.beyond == MISSING else VOID
            outside = np.where(beyond, why, 0).astype(np.uint8)
        key = np.minimum(np.maximum(key, lower), upper)
        one = self.read(single(places.take(low) * self.strides[0] + rest))
        other = self.read(single(places.take(low + 1) * self.strides[0] + rest))
        share = (key - lower) / (upper - lower)
        return Column(one.data + (other.data - one.data) * share, False, first(outside, one.gone, other.gone))
