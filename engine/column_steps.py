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
from .grids import Codes
from .meaning import Op
from .planning import Plan
from .runtime import DUST, TINY, Absent

TRUE = Column(True)
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
        self._parts: dict[int, Ask] = {}

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
        if op.code in LEAVES or own == leans or self.loose(own):
            return self.make(op)
        known = self._parts.get(id(op))
        if known is None:
            known = self._parts[id(op)] = self.hoisted(self.make(op), own)
        return known

    def loose(self, leans: Leans) -> bool:
        """True where a step changes within a pick, and can have no place of its own."""
        return any(isinstance(what, tuple) for what in leans)

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
            slack = self.slack(left, right)

            def same(frame: Frame) -> Column:
                x, y = a(frame), b(frame)
                data = near(x.data, y.data, slack) if numbers else x.data == y.data
                if x.none is not False or y.none is not False:
                    data = (data & opposite(x.none) & opposite(y.none)) | (x.none & y.none)
                data = single(data)
                return Column(data if sign == "is" else opposite(data), False, first(x.gone, y.gone))

            return same
        order, slack = ORDER[sign], self.slack(left, right)

        def made(frame: Frame) -> Column:
            x, y = a(frame), b(frame)
            return Column(single(order(x.data, y.data, slack)), False, first(lacking(x), lacking(y)))

        return made

    def slack(self, left: Op, right: Op) -> float:
        """By how much two sides may differ and still be equal; members of a series not at all."""
        if left.type.sort != "number":
            return 0.0
        return DUST if self.plan.exact(left) and self.plan.exact(right) else TINY

    def _not(self, op: Op, operand: Op) -> Ask:
        ask = self.part(operand, self.leans(op))
        return lambda frame: (lambda x: Column(opposite(x.data), False, x.gone))(ask(frame))

    def _logic(self, op: Op, word: str, left: Op, right: Op) -> Ask:
        return joined(word, [self.part(left, self.leans(op)), self.part(right, self.leans(op))])

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


def negated(ask: Ask) -> Ask:
    """Whether a condition does not hold."""
    return lambda frame: (lambda x: Column(opposite(x.data), False, x.gone))(ask(frame))


def joined(word: str, asks: Sequence[Ask]) -> Ask:
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
