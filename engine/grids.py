"""Tables over columns: words and members as codes, bounds met by address, cells lying flat."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from typing import Any

import numpy as np

from .arrays import UNKNOWN, VOID, Column, first, gather, plain, single
from .declared import Type
from .ladders import Ladder
from .runtime import DASH, DUST, MISSING, REST, TINY, Absent, Axis, Table


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


class Finder:
    """Where values fall along one axis of a table, in steps of `stride`; the size of the axis means outside."""

    def __init__(self, axis: Axis, key: Type, codes: Codes, stride: int = 1) -> None:
        self.axis, self.key, self.codes, self.stride = axis, key, codes, stride
        self.size = len(axis.keys)
        rest = axis.rest
        self.outside = self.size if rest is None else rest
        self.ladder: Ladder | None = None
        """Where numbers fall; None for an axis of words or members."""
        self.ends: Any = None
        """By address, how great a number of an axis of exact numbers may be."""
        if axis.match != "exact":
            self._ranges()
        elif all(isinstance(key, Decimal) or key == REST for key in axis.keys):
            self._numbers()
        else:
            self.places = self._coded() * stride

    def _coded(self) -> Any:
        """By code, where it stands, what lies outside last."""
        found = {
            self.codes.code(key, self.key): place for key, place in self.axis.places.items() if key != REST
        }
        places = np.full(max([*found, 0]) + 2, self.outside, np.intp)
        for code, place in found.items():
            places[code] = place
        return places

    def _numbers(self) -> None:
        bounds = sorted(key for key in self.axis.keys if key != REST)
        self.ladder = Ladder(bounds, DUST, below=True)
        values = np.array([float(bound) for bound in bounds])
        self.ends = np.array([-np.inf, *(values + DUST * abs(values))]).take(self.ladder.passed)
        self._place([self.outside, *(self.axis.places[bound] for bound in bounds)], self.ladder)

    def _ranges(self) -> None:
        axis = self.axis
        upward = axis.match in ("up_to", "below")
        self.ladder = Ladder(axis.bounds, TINY, below=axis.match not in ("up_to", "above"))
        places = [axis.places[bound] for bound in axis.bounds]
        last = axis.beyond == "last"
        beyond = self.outside if axis.rest is not None else places[-1] if last else self.size
        before = self.outside if axis.rest is not None else places[0] if last else self.size
        self._place([*places, beyond] if upward else [before, *places], self.ladder)

    def _place(self, places: Sequence[int], ladder: Ladder) -> None:
        """Lay out by address what is said for each number of bounds passed."""
        self.places = np.array(places, np.intp).take(ladder.passed) * self.stride

    def find(self, data: Any) -> Any:
        """The places of some keys."""
        if self.ladder is None:
            return self._coded_places(data)
        address = self.ladder.address(data)
        found = gather(self.places, address)
        if self.ends is not None:
            found = np.where(self.ends.take(address) < data, self.outside * self.stride, found)
        return found if isinstance(data, np.ndarray) else int(found)

    def misses(self, place: Any) -> bool:
        """True where some places lie outside."""
        if self.axis.rest is not None:
            return False
        most = place.max(initial=0) if isinstance(place, np.ndarray) else place
        return bool(most == self.size * self.stride)

    def _coded_places(self, data: Any) -> Any:
        inside = len(self.places) - 1
        if not isinstance(data, np.ndarray):
            return int(self.places[data if 0 <= data < inside else inside])
        if data.dtype != np.intp:
            data = data.astype(np.intp)
        return gather(self.places, np.minimum(data, inside))


class Grid:
    """The cells of a table, with one more place along every axis for what lies outside."""

    def __init__(self, table: Table, keys: Sequence[Type], type: Type, codes: Codes) -> None:
        self.linear = table.axes[0].match == "linear"
        self.axis = table.axes[0]
        self.shape = shape = [len(axis.keys) + 1 for axis in table.axes]
        self.finders = [
            Finder(axis, key, codes, stride)
            for axis, key, stride in zip(table.axes, keys, strides(shape), strict=True)
        ]
        kind = np.float64 if type.sort == "number" else np.intp
        data, gone = np.zeros(shape, kind), np.full(shape, VOID, np.uint8)
        for place in reversed(range(len(shape))):
            at: list[Any] = [slice(None)] * len(shape)
            at[place] = shape[place] - 1
            gone[tuple(at)] = UNKNOWN if table.axes[place].beyond == MISSING else VOID
        for places, value in table.cells.items():
            if value == DASH:
                continue
            if value == MISSING:
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
        data = gather(self.data[start:], flat)
        if self.whole and not outside:
            return Column(data)
        return Column(data, False, plain(gather(self.gone[start:], flat)))

    def between(self, key: Any, rest: Any) -> Column:
        """Values between the rows of an axis; `rest` is the flat place along the other axes."""
        bounds = np.array([float(bound) for bound in self.axis.bounds])
        places = np.array([self.axis.places[bound] for bound in self.axis.bounds], np.intp)
        ladder, stride = self.finders[0].ladder, self.finders[0].stride
        assert ladder is not None
        low = np.clip(ladder.climb(key) - 1, 0, len(bounds) - 2)
        lower, upper = bounds.take(low), bounds.take(low + 1)
        outside: Any = 0
        if self.axis.beyond != "last":
            beyond = (key < lower) | (key > upper)
            why = UNKNOWN if self.axis.beyond == MISSING else VOID
            outside = np.where(beyond, why, 0).astype(np.uint8)
        key = np.minimum(np.maximum(key, lower), upper)
        one = self.read(single(places.take(low) * stride + rest))
        other = self.read(single(places.take(low + 1) * stride + rest))
        share = (key - lower) / (upper - lower)
        return Column(one.data + (other.data - one.data) * share, False, first(outside, one.gone, other.gone))


def strides(shape: Sequence[int]) -> list[int]:
    """By how much a flat place grows along each axis."""
    return [int(np.prod(shape[place + 1 :])) for place in range(len(shape))]
