"""The steps that go over many values: cells of tables, properties and members of series, and what things have."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import Any

import numpy as np

from .arrays import (
    VOID,
    Column,
    add,
    every,
    first,
    gather,
    lacking,
    opposite,
    plain,
    single,
    some,
    where,
)
from .column_steps import TRUE, Ask, Frame, Leans, Steps, joined, negated
from .declared import Type
from .grids import Codes, Finder, Grid
from .ladders import Ladder
from .meaning import Op
from .planning import Plan, met_by
from .runtime import DASH, MISSING, Absent

MOST_CODES = 1 << 30


class TableSteps(Steps):
    """Makes the functions of lookups, properties, picks and aggregates."""

    def __init__(self, plan: Plan, codes: Codes) -> None:
        super().__init__(plan, codes)
        self._grids: dict[Any, Grid] = {}

    def _lookup(self, op: Op, table: str, *keys: Op) -> Ask:
        grid = self.grid(table, keys, op.type)
        leans = self.leans(op)
        groups: dict[Leans, list[tuple[Op, Finder]]] = {}
        for key, finder in list(zip(keys, grid.finders, strict=True))[grid.linear :]:
            groups.setdefault(self.leans(key), []).append((key, finder))
        spots = []
        for own, members in groups.items():
            spot = self.spot(members)
            spots.append(spot if own == leans or self.loose(own) else self.hoisted(spot, own))
        along = self.part(keys[0], leans) if grid.linear else None

        def made(frame: Frame) -> Column:
            start: int = 0
            flat: Any = None
            gone: Any = 0
            outside = False
            for spot in spots:
                found = spot(frame)
                if isinstance(found.data, np.ndarray):
                    flat = found.data if flat is None else flat + found.data
                else:
                    start += found.data
                gone = first(gone, found.gone)
                outside = outside or found.none
            if along is None:
                cells = grid.read(0 if flat is None else flat, start, outside)
            else:
                key = along(frame)
                gone = first(lacking(key), gone)
                cells = grid.between(key.data, start if flat is None else flat + start)
            return Column(cells.data, False, first(gone, cells.gone))

        return made

    def grid(self, table: str, keys: Sequence[Op], type: Type) -> Grid:
        """The cells of a table."""
        sorts = tuple((key.type.sort, key.type.detail if key.type.sort == "member" else None) for key in keys)
        known = self._grids.get((table, sorts))
        if known is None:
            made = Grid(self.rulebook.tables[table], [key.type for key in keys], type, self.codes)
            known = self._grids[table, sorts] = made
        return known

    def spot(self, keys: Sequence[tuple[Op, Finder]]) -> Ask:
        """Where some keys together lie in the flat cells of a table; `none` says that some lie outside."""
        leans = frozenset().union(*(self.leans(key) for key, _ in keys))
        asks = [(self.part(key, leans), finder) for key, finder in keys]

        def made(frame: Frame) -> Column:
            flat: Any = 0
            gone: Any = 0
            outside = False
            for ask, finder in asks:
                key = ask(frame)
                gone = first(gone, lacking(key))
                place = finder.find(key.data)
                outside = outside or finder.misses(place)
                flat = flat + place
            return Column(flat, outside, gone)

        return made

    def _property(self, op: Op, member: Op, series: str, name: str) -> Ask:
        data, gone = self.cells(series, name, op.type)
        ask = self.part(member, self.leans(op))

        def made(frame: Frame) -> Column:
            found = ask(frame)
            none = lacking(found)
            if not isinstance(found.data, np.ndarray):
                return Column(data[found.data].item(), False, first(none, int(gone[found.data])))
            return Column(data.take(found.data), False, first(none, plain(gone.take(found.data))))

        return made

    def cells(self, series: str, name: str, type: Type) -> tuple[Any, Any]:
        """A property of the members of a series by their codes, and why it is not there."""
        cells = self.rulebook.properties[f"{series}.{name}"].cells
        known = [self.codes.column(_absent_or(cells.get(m)), type) for m in self.rulebook.members[series]]
        return np.array([column.data for column in known]), np.array(
            [column.gone for column in known], np.uint8
        )

    def _pick(self, op: Op, end: str, number: int, series: str, accept: Op) -> Ask:
        members = self.rulebook.members[series]
        met = self._met(end, number, members, accept)
        if met is not None:
            return met
        ordered = members if end == "first" else list(reversed(members))
        columns = [self.codes.column(member, op.type) for member in ordered]
        ask = self.part(accept, self.leans(accept))
        bound = self.bound

        def made(frame: Frame) -> Column:
            data: Any = 0
            gone: Any = 0
            left: Any = True
            before = bound.get(number)
            for column in columns:
                bound[number] = column
                test = ask(frame)
                lost = left & (test.gone != 0)
                taken = left & test.data & opposite(lost) if some(lost) else left & test.data
                if some(lost):
                    gone = where(lost, test.gone, gone)
                if some(taken):
                    data = where(taken, column.data, data)
                left = left & opposite(taken | lost)
                if not some(left):
                    break
            if before is not None:
                bound[number] = before
            if some(left):
                gone = where(left, VOID, gone)
            return Column(single(data), False, plain(single(gone)))

        return made

    def _met(self, end: str, number: int, members: Sequence[Any], accept: Op) -> Ask | None:
        """A pick of the first number that reaches a limit, or of the last that does not pass it, by address."""
        limit = met_by(end, number, members, accept)
        if limit is None:
            return None
        sign, op = limit
        slack = self.slack(accept.parts[1], accept.parts[2])
        ladder = Ladder(members, slack, below=sign in (">", "<="))
        values = [float(member) for member in members]
        found = np.array([*values, 0.0] if end == "first" else [0.0, *values]).take(ladder.passed)
        missed = np.where(ladder.passed == (len(values) if end == "first" else 0), VOID, 0).astype(np.uint8)
        ask = self.part(op, self.leans(accept))

        def made(frame: Frame) -> Column:
            column = ask(frame)
            address = ladder.address(column.data)
            if not isinstance(address, np.ndarray):
                return Column(found[address].item(), False, first(lacking(column), int(missed[address])))
            return Column(
                gather(found, address), False, first(lacking(column), plain(gather(missed, address)))
            )

        return made

    def _gather(self, op: Op, word: str, *pairs: Op | None) -> Ask:
        leans = self.leans(op)
        wheres = [None if test is None else self.part(test, leans) for test in pairs[::2]]
        bodies = [None if body is None else self.part(body, leans) for body in pairs[1::2]]
        if word in ("any", "all"):
            return joined("or" if word == "any" else "and", list(_wanted(word, wheres, bodies)))
        if not bodies:
            empty = Column(0.0, False, VOID if word in ("greatest", "least") else 0)
            return lambda frame: empty
        whole = op.type.sort == "member"
        most: Any = MOST_CODES if whole else np.inf
        start = {"greatest": -most, "least": most}.get(word, 0.0)
        run: Callable[[Any, Any], Any] = {"greatest": np.maximum, "least": np.minimum}.get(word, add)
        extreme = word in ("greatest", "least")

        def made(frame: Frame) -> Column:
            data: Any = start
            gone: Any = 0
            found: Any = False
            for test, body in zip(wheres, bodies, strict=True):
                wanted = TRUE if test is None else test(frame)
                value = Column(1.0) if body is None else body(frame)
                why = lacking(value)
                if wanted.data is True:
                    data = run(data, value.data)
                else:
                    data = where(wanted.data, run(data, value.data), data)
                    why = where(wanted.data, why, 0)
                gone = first(gone, wanted.gone, why)
                found = found | wanted.data
            if extreme and not every(found):
                data = where(found, data, 0)
                gone = first(gone, where(found, 0, VOID))
            return Column(single(data), False, gone)

        return made


def _absent_or(cell: Any) -> Any:
    """A cell of a property, with what is not there as an `Absent`."""
    if cell is None or cell is MISSING or cell is DASH:
        return Absent([], void=cell is DASH)
    return cell


def _wanted(word: str, wheres: Sequence[Ask | None], bodies: Sequence[Ask | None]) -> Iterator[Ask]:
    """For each item whether it makes any, or breaks all."""
    for test, body in zip(wheres, bodies, strict=True):
        value: Ask = body if body is not None else lambda frame: TRUE
        if test is None:
            yield value
        elif word == "any":
            yield joined("and", [test, value])
        else:
            yield joined("or", [negated(test), value])
