"""The steps of a plan as functions that answer a column for a frame of rows.

Everything is worked out for all rows, also what a row would not have asked for: what is absent is kept beside
the values and counts only where it is asked for. What leans on fewer choices than the step around it gets a
place of its own, so that walking a series does not work it out again and again.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import Any, Protocol

import numpy as np

from .arrays import (
    FUNCTIONS,
    ORDER,
    VOID,
    Column,
    add,
    blend,
    divide,
    every,
    first,
    here,
    lacking,
    near,
    opposite,
    plain,
    single,
    some,
    where,
)
from .grids import Codes, Grid, Ladder
from .meaning import Op
from .model import Type
from .planning import Plan, met_by
from .runtime import DASH, DUST, MISSING, TINY, Absent

TRUE = Column(True)
MOST_CODES = 1 << 30
LEAVES = ("value", "constant", "place", "bound", "absent")


class CannotColumn(Exception):
    """A step that can only be worked out row by row."""


class Frame(Protocol):
    """Some rows, and what is known of them."""

    count: int

    def read(self, number: int) -> Column:
        """The column of a place."""

    def refuse(self, rows: Any) -> None:
        """Leave these rows to be done one by one."""


Ask = Callable[[Any], Column]
"""Works out a column for the rows of a frame."""


Leans = frozenset[Any]
"""What a step leans on: choices by their number, members being picked as ("bound", number)."""


class Steps:
    """Makes the functions; `extra` gets a number for each step with a place of its own.

    Raises `CannotColumn`.
    """

    def __init__(self, plan: Plan, codes: Codes) -> None:
        self.plan, self.codes = plan, codes
        self.rulebook = plan.run.rulebook
        self.asks: dict[int, Ask] = {}
        """What works out a place that stands for a step."""
        self.leaning: dict[int, set[int]] = {
            place.number: set(place.leaning) for place in plan.places if place.chosen
        }
        """For each choice the places that lean on it."""
        self.bound: dict[int, Column] = {}
        self._next = len(plan.places)
        self._leans: dict[int, Leans] = {}
        self._grids: dict[Any, Grid] = {}

    # -- what leans on what

    def leans(self, op: Op) -> Leans:
        """What a step leans on."""
        known = self._leans.get(id(op))
        if known is None:
            known = self._leans[id(op)] = frozenset(self._leaned(op))
        return known

    def _leaned(self, op: Op) -> Iterator[Any]:
        if op.code == "place":
            number = op.parts[0]
            yield from (choice for choice, on in self.leaning.items() if number == choice or number in on)
        elif op.code == "bound":
            yield "bound", op.parts[0]
        inside = ("bound", op.parts[1]) if op.code == "pick" else None
        for child in op.children():
            yield from (what for what in self.leans(child) if what != inside)

    def hoisted(self, ask: Ask, leans: Iterable[Any]) -> Ask:
        """The same, worked out once in each frame where it can change."""
        number = self._next
        self._next += 1
        self.asks[number] = ask
        for choice in leans:
            self.leaning[choice].add(number)
        return lambda frame: frame.read(number)

    def part(self, op: Op, leans: Leans) -> Ask:
        """A step below one that leans on `leans`."""
        own = self.leans(op)
        made = self.make(op)
        if op.code in LEAVES or own == leans or any(isinstance(what, tuple) for what in own):
            return made
        return self.hoisted(made, own)

    # -- steps

    def make(self, op: Op) -> Ask:
        """The function of a step."""
        write = getattr(self, f"_{op.code}", None)
        if write is None:
            raise CannotColumn(op.code)
        made: Ask = write(op, *op.parts)
        return made

    def _value(self, op: Op, value: Any) -> Ask:
        if not (value is None or isinstance(value, (bool, str)) or hasattr(value, "as_tuple")):
            raise CannotColumn(repr(value))
        column = self.codes.column(value, op.type)
        return lambda frame: column

    def _constant(self, op: Op, name: str) -> Ask:
        return self._value(op, self.plan.model.constants[name][1])

    def _absent(self, op: Op, absent: Absent) -> Ask:
        column = self.codes.column(absent, op.type)
        return lambda frame: column

    def _place(self, op: Op, number: int) -> Ask:
        return lambda frame: frame.read(number)

    def _bound(self, op: Op, number: int) -> Ask:
        bound = self.bound
        return lambda frame: bound[number]

    def _property(self, op: Op, member: Op, series: str, name: str) -> Ask:
        cells = self.rulebook.properties[f"{series}.{name}"].cells
        known = [self.codes.column(_absent_or(cells.get(m)), op.type) for m in self.rulebook.members[series]]
        data = np.array([column.data for column in known])
        gone = np.array([column.gone for column in known], np.uint8)
        ask = self.part(member, self.leans(op))

        def made(frame: Frame) -> Column:
            found = ask(frame)
            none = lacking(found)
            if not isinstance(found.data, np.ndarray):
                return Column(data[found.data].item(), False, first(none, int(gone[found.data])))
            return Column(data.take(found.data), False, first(none, plain(gone.take(found.data))))

        return made

    def _lookup(self, op: Op, table: str, *keys: Op) -> Ask:
        grid = self._grid(table, keys, op.type)
        leans = self.leans(op)
        groups: dict[Leans, list[tuple[int, Op]]] = {}
        for place, key in enumerate(keys):
            if not (grid.linear and place == 0):
                groups.setdefault(self.leans(key), []).append((place, key))
        spots = []
        for own, members in groups.items():
            spot = self._spot(grid, members)
            loose = own == leans or any(isinstance(what, tuple) for what in own)
            spots.append(spot if loose else self.hoisted(spot, own))
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

    def _grid(self, table: str, keys: Sequence[Op], type: Type) -> Grid:
        sorts = tuple((key.type.sort, key.type.detail if key.type.sort == "member" else None) for key in keys)
        known = self._grids.get((table, sorts))
        if known is None:
            made = Grid(self.rulebook.tables[table], [key.type for key in keys], type, self.codes)
            known = self._grids[table, sorts] = made
        return known

    def _spot(self, grid: Grid, keys: Sequence[tuple[int, Op]]) -> Ask:
        """Where some keys together lie in the flat cells of a table; `none` says that some lie outside."""
        leans = frozenset().union(*(self.leans(key) for _, key in keys))
        asks = [(self.part(key, leans), grid.finders[place], grid.strides[place]) for place, key in keys]

        def made(frame: Frame) -> Column:
            flat: Any = 0
            gone: Any = 0
            outside = False
            for ask, finder, stride in asks:
                key = ask(frame)
                gone = first(gone, lacking(key))
                place = finder.find(key.data)
                outside = outside or finder.misses(place)
                flat = flat + (place if stride == 1 else place * stride)
            return Column(flat, outside, gone)

        return made

    def _call(self, op: Op, name: str, *arguments: Op) -> Ask:
        asks = [self.part(argument, self.leans(op)) for argument in arguments]
        if name in ("greatest", "least"):
            choose = np.maximum if name == "greatest" else np.minimum

            def extreme(frame: Frame) -> Column:
                made = asks[0](frame)
                gone = lacking(made)
                data = made.data
                for ask in asks[1:]:
                    other = ask(frame)
                    data, gone = choose(data, other.data), first(gone, lacking(other))
                return Column(single(data), False, gone)

            return extreme
        run = FUNCTIONS.get(name)
        if run is None:
            raise CannotColumn(name)

        def made(frame: Frame) -> Column:
            found = [ask(frame) for ask in asks]
            data, gone = run(*(column.data for column in found))
            return Column(single(data), False, first(*(lacking(column) for column in found), gone))

        return made

    def _arithmetic(self, op: Op, sign: str, left: Op, right: Op) -> Ask:
        leans = self.leans(op)
        a = self.part(left, leans)
        if sign == "^":
            exponent = int(right.parts[0])
            return lambda frame: (lambda x: Column(x.data**exponent, False, lacking(x)))(a(frame))
        b = self.part(right, leans)
        if sign == "/":
            return lambda frame: divide(a(frame), b(frame))
        run: Callable[[Any, Any], Any] = {
            "*": lambda x, y: x * y,
            "+": add,
            "-": lambda x, y: add(x, -y),
        }[sign]

        def made(frame: Frame) -> Column:
            x, y = a(frame), b(frame)
            return Column(run(x.data, y.data), False, first(lacking(x), lacking(y)))

        return made

    def _negative(self, op: Op, operand: Op) -> Ask:
        ask = self.part(operand, self.leans(op))
        return lambda frame: (lambda x: Column(-x.data, False, lacking(x)))(ask(frame))

    def _compare(self, op: Op, sign: str, left: Op, right: Op) -> Ask:
        a, b = self.part(left, self.leans(op)), self.part(right, self.leans(op))
        if sign in ("is", "is not"):
            numbers = left.type.sort == right.type.sort == "number"
            slack = self._slack(left, right)

            def same(frame: Frame) -> Column:
                x, y = a(frame), b(frame)
                data = near(x.data, y.data, slack) if numbers else x.data == y.data
                if x.none is not False or y.none is not False:
                    data = (data & opposite(x.none) & opposite(y.none)) | (x.none & y.none)
                data = single(data)
                return Column(data if sign == "is" else opposite(data), False, first(x.gone, y.gone))

            return same
        order, slack = ORDER[sign], self._slack(left, right)

        def made(frame: Frame) -> Column:
            x, y = a(frame), b(frame)
            return Column(single(order(x.data, y.data, slack)), False, first(lacking(x), lacking(y)))

        return made

    def _slack(self, left: Op, right: Op) -> float:
        """By how much two sides may differ and still be equal; members of a series not at all."""
        if left.type.sort != "number":
            return 0.0
        return DUST if self.plan.exact(left) and self.plan.exact(right) else TINY

    def _not(self, op: Op, operand: Op) -> Ask:
        ask = self.part(operand, self.leans(op))
        return lambda frame: (lambda x: Column(opposite(x.data), False, x.gone))(ask(frame))

    def _logic(self, op: Op, word: str, left: Op, right: Op) -> Ask:
        return _joined(word, [self.part(left, self.leans(op)), self.part(right, self.leans(op))])

    def _if(self, op: Op, condition: Op, then: Op, otherwise: Op) -> Ask:
        leans = self.leans(op)
        asks = [self.part(part, leans) for part in (condition, then, otherwise)]

        def made(frame: Frame) -> Column:
            test = asks[0](frame)
            if every(test.data):
                found = asks[1](frame)
            elif not some(test.data):
                found = asks[2](frame)
            else:
                found = blend(test.data, asks[1](frame), asks[2](frame))
            return found._replace(gone=first(test.gone, found.gone))

        return made

    def _one_of(self, op: Op, operand: Op, *options: Op) -> Ask:
        asks = [self.part(part, self.leans(op)) for part in (operand, *options)]
        numbers = operand.type.sort == "number"

        def made(frame: Frame) -> Column:
            found, *others = [ask(frame) for ask in asks]
            data: Any = False
            for other in others:
                same = near(found.data, other.data, DUST) if numbers else found.data == other.data
                data = data | same
            if found.none is not False:
                data = data & opposite(found.none)
            return Column(single(data), False, first(found.gone, *(other.gone for other in others)))

        return made

    def _given(self, op: Op, operand: Op) -> Ask:
        ask = self.part(operand, self.leans(op))
        return lambda frame: (lambda x: Column(single((x.gone == 0) & opposite(x.none))))(ask(frame))

    def _gather(self, op: Op, word: str, *pairs: Op | None) -> Ask:
        leans = self.leans(op)
        wheres = [None if test is None else self.part(test, leans) for test in pairs[::2]]
        bodies = [None if body is None else self.part(body, leans) for body in pairs[1::2]]
        if word in ("any", "all"):
            return _joined("or" if word == "any" else "and", list(_wanted(word, wheres, bodies)))
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

    def _met(self, end: str, number: int, members: Sequence[Any], accept: Op) -> Ask | None:
        """A pick of the first number that reaches a limit, or of the last that does not pass it, by address."""
        limit = met_by(end, number, members, accept)
        if limit is None:
            return None
        sign, op = limit
        slack = self._slack(accept.parts[1], accept.parts[2])
        ladder = Ladder(members, slack, below=sign in (">", "<="))
        values = np.array([float(member) for member in members])
        found = np.array([*values, 0.0]) if end == "first" else np.array([0.0, *values])
        nothing = len(values) if end == "first" else 0
        ask = self.part(op, self.leans(accept))

        def made(frame: Frame) -> Column:
            column = ask(frame)
            spot = ladder.climb(column.data)
            gone = first(lacking(column), plain(single(where(spot == nothing, VOID, 0))))
            return Column(single(found.take(spot)), False, gone)

        return made

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
            yield _joined("and", [test, value])
        else:
            yield _joined("or", [_negated(test), value])


def _negated(ask: Ask) -> Ask:
    return lambda frame: (lambda x: Column(opposite(x.data), False, x.gone))(ask(frame))


def _joined(word: str, asks: Sequence[Ask]) -> Ask:
    """`and` or `or` of several conditions: what stands after one that settles it is not asked for."""
    settles = word == "or"

    def made(frame: Frame) -> Column:
        data: Any = not settles
        gone: Any = 0
        left: Any = True
        for ask in asks:
            test = ask(frame)
            if not here(test.gone):
                gone = first(gone, plain(single(where(left, test.gone, 0))))
            data = data | test.data if settles else data & test.data
            left = opposite(data) if settles else data
            if not some(left):
                break
        return Column(single(data), False, gone)

    return made
