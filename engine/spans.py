"""How great and how small the numbers of a plan can become: what is bounded here need not be looked at in a row."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from decimal import Decimal
from typing import Any, NamedTuple

from .compiling import grows
from .meaning import Op
from .planning import Plan
from .runtime import EXACT, MOST_FIGURES

WIDE = 12
"""A stated number has no more places before the point than this, nor noughts after it."""


class Span(NamedTuple):
    """Powers of ten: a number is below `high`, above `low` unless it is zero, and a multiple of `grain`."""

    high: int
    low: int
    grain: int


STATED = Span(WIDE, -WIDE, -WIDE - EXACT.prec)


def fits(value: Any) -> bool:
    """True for a stated value that keeps to `STATED`."""
    if isinstance(value, float):
        return not value or 10.0**-WIDE <= abs(value) < 10.0**WIDE
    return not isinstance(value, Decimal) or not value or -WIDE <= value.adjusted() < WIDE


class Spans:
    """The spans of the steps of a plan; None where nothing can be said."""

    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        self._places: dict[int, Span | None] = {}

    def bounded(self, op: Op) -> bool:
        """True where a step stays within the figures a rule may answer with, or cannot leave them."""
        if not grows(op):
            return True
        span = self.of(op)
        return span is not None and span.high <= MOST_FIGURES and span.low >= -MOST_FIGURES

    def of(self, op: Op) -> Span | None:
        """The span of a number."""
        step = getattr(self, f"_{op.code}", None)
        found: Span | None = step(op, *op.parts) if step is not None else None
        return found

    def _all(self, ops: Iterable[Op]) -> Span | None:
        spans = [self.of(op) for op in ops]
        known = [span for span in spans if span is not None]
        if not known or len(known) < len(spans):
            return None
        highs, lows, grains = zip(*known, strict=True)
        return Span(max(highs), min(lows), min(grains))

    def _value(self, op: Op, value: Any) -> Span | None:
        return _of([value])

    def _constant(self, op: Op, name: str) -> Span | None:
        return _of([self.plan.model.constants[name][1]])

    def _place(self, op: Op, number: int) -> Span | None:
        if number not in self._places:
            self._places[number] = None  # until it is known: what leans on itself
            place = self.plan.places[number]
            if place.chosen:
                self._places[number] = _of(place.members)
            elif place.rule is None:
                self._places[number] = STATED
            else:
                self._places[number] = self._all(
                    route.value for route in place.rule.routes if route.value.type.sort == "number"
                )
        return self._places[number]

    def _lookup(self, op: Op, table: str, *keys: Op) -> Span | None:
        found = self.plan.run.rulebook.tables[table]
        return None if found.axes[0].match == "linear" else _of(found.cells.values())

    def _property(self, op: Op, member: Op, series: str, name: str) -> Span | None:
        return _of(self.plan.run.rulebook.properties[f"{series}.{name}"].cells.values())

    def _pick(self, op: Op, end: str, number: int, series: str, where: Op) -> Span | None:
        return _of(self.plan.run.rulebook.members[series])

    def _call(self, op: Op, name: str, *arguments: Op) -> Span | None:
        return self._all(arguments) if name in ("greatest", "least", "absolute") else None

    def _negative(self, op: Op, operand: Op) -> Span | None:
        return self.of(operand)

    def _if(self, op: Op, condition: Op, then: Op, otherwise: Op) -> Span | None:
        return self._all(part for part in (then, otherwise) if part.type.sort == "number")

    def _arithmetic(self, op: Op, sign: str, left: Op, right: Op) -> Span | None:
        a, b = self.of(left), self.of(right)
        if a is None or b is None:
            return None
        if sign in ("+", "-"):
            grain = min(a.grain, b.grain)
            return Span(max(a.high, b.high) + 1, grain, grain)
        if sign == "*":
            low = a.low + b.low
            return Span(a.high + b.high, low, max(a.grain + b.grain, low - EXACT.prec))
        if sign == "/":
            low = a.low - b.high - 1
            return Span(a.high - b.low + 1, low, low - EXACT.prec)
        return None

    def _gather(self, op: Op, word: str, *pairs: Op | None) -> Span | None:
        if word == "count":
            return Span(len(str(len(pairs))), 0, 0)
        span = self._all(body for body in pairs[1::2] if body is not None)
        if span is None or word != "sum":
            return span
        return Span(span.high + len(str(len(pairs))), span.grain, span.grain)


def _of(values: Iterable[Any]) -> Span | None:
    """The span of some figures."""
    spans = list(_each(values))
    if not spans:
        return None
    highs, lows = zip(*spans, strict=True)
    return Span(max(highs), min(lows), min(lows))


def _each(values: Iterable[Any]) -> Iterator[tuple[int, int]]:
    for value in values:
        if isinstance(value, Decimal):
            exponent = value.as_tuple().exponent
            assert isinstance(exponent, int)
            yield (value.adjusted() + 1, exponent) if value else (0, 0)
