"""Along one input: where the decisions of the rules change, and what the outcomes are there.

While the decisions stay the same, every number compared is one smooth expression of the input. If each of
them rises or falls throughout, equal decisions at both ends of a stretch mean equal decisions within it, and
halving finds the first change. A stretch whose middle shows a number that turns is divided further.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from decimal import ROUND_HALF_EVEN, Context, Decimal
from typing import Any, NamedTuple

from .runtime import EXACT
from .units import Unit
from .watching import Decision

RESOLUTION = Decimal("1e-6")
"""How narrowly a change is located where it cannot be placed exactly, relative to the input's value."""

FIRST_STEP = Decimal(512)
"""The first step outward is so small a part of the value; each one after it reaches twice as far."""

FAR = 8
"""From so many times the value on, steps grow twice as fast."""

DIVISIONS = 5
"""How often a stretch is divided in which a compared number turns."""

BUDGET = 1500
"""The most evaluations spent on one direction; the range searched is cut where it is spent."""

Outcomes = tuple[Any, ...]


class Point(NamedTuple):
    """The outcomes with the input at `value`, and the decisions behind them."""

    value: Decimal
    outcomes: Outcomes
    decisions: tuple[Decision, ...]

    def like(self, other: Point) -> bool:
        """Whether all decisions and outcomes are the same."""
        return (
            self.outcomes == other.outcomes
            and len(self.decisions) == len(other.decisions)
            and all(a.result == b.result for a, b in zip(self.decisions, other.decisions, strict=True))
        )


class Change(NamedTuple):
    """Where something changes: `near` is the last point before, `far` the first behind.

    `bound` is the point right at the change; it goes with `near`, with `far`, or with neither.
    """

    near: Point
    bound: Point
    far: Point


Evaluate = Callable[[Decimal], Point]


class Search:
    """Walks from a value outward and yields every change of a decision or outcome, nearest first.

    `whole` inputs move in steps of 1. `evaluate` must be pure. `reached` is how far the walk came, `spent`
    how many values were tried. `scale` is what the resolution is relative to where the origin is zero. `nice`
    answers the roundest value within a distance of another.
    """

    def __init__(
        self,
        evaluate: Evaluate,
        origin: Decimal,
        scale: Decimal,
        whole: bool,
        nice: Callable[[Decimal, Decimal], Decimal],
    ) -> None:
        self.evaluate, self.origin, self.whole, self.nice = evaluate, origin, whole, nice
        self.scale = abs(origin) or scale
        self._points: dict[Decimal, Point] = {}
        self.spent = 0
        self.reached = origin

    def at(self, value: Decimal) -> Point:
        """The point at a value."""
        if value not in self._points:
            self.spent += 1
            self._points[value] = self.evaluate(value)
        return self._points[value]

    def outward(self, end: Decimal) -> Iterator[Change]:
        """Every change between the origin and `end`, in the order met.

        Whoever takes a change may then replace `evaluate`; the walk goes on from there.
        """
        self.spent = 0
        self.reached = self.origin
        for stop in self._stops(end):
            while self.reached != stop:
                change = self._between(self.at(self.reached), self.at(stop), DIVISIONS)
                self.reached = stop if change is None else change.far.value
                if change is not None:
                    yield change
                if self.spent > BUDGET:
                    return

    def narrow(self, evaluate: Evaluate) -> None:
        """Go on with another evaluation: what it leaves out is no longer looked at."""
        self.evaluate = evaluate
        self._points.clear()

    def _stops(self, end: Decimal) -> Iterator[Decimal]:
        """Values from near to far: finer where it is near."""
        value = self.origin
        if self.whole:
            step = Decimal(1 if end > value else -1)
            while value != end:
                value = min(value + step, end) if end > value else max(value + step, end)
                yield value
                step *= 2
            return
        step = EXACT.divide(self.scale, FIRST_STEP).copy_sign(end - value)
        while abs(step) < abs(end - value):
            yield value + step
            step *= 2 if abs(step) < FAR * self.scale else 4
        yield end

    def _tolerance(self, near: Decimal, far: Decimal) -> Decimal:
        if self.whole:
            return Decimal(1)
        return RESOLUTION * max(abs(near), abs(far), self.scale)

    def _between(self, near: Point, far: Point, divisions: int) -> Change | None:
        """The first change between two points, if there is one."""
        if not near.like(far):
            before, behind = self._bracket(near, far)
            return self._located(before, behind)
        gap = abs(far.value - near.value)
        if not divisions or gap <= self._tolerance(near.value, far.value):
            return None
        middle = self.at(self._middle(near.value, far.value))
        if middle.like(near) and _steady(near, middle, far):
            return None
        return self._between(near, middle, divisions - 1) or self._between(middle, far, divisions - 1)

    def _middle(self, a: Decimal, b: Decimal) -> Decimal:
        middle = (a + b) / 2
        return middle.to_integral_value() if self.whole else middle

    def _bracket(self, near: Point, far: Point) -> tuple[Point, Point]:
        """The first change behind `near`, between two points no further apart than the resolution."""
        while True:
            tolerance = self._tolerance(near.value, far.value)
            if abs(far.value - near.value) <= tolerance:
                return near, far
            guess = self._guess(near, far)
            tries = [] if guess is None or self.whole else [guess - tolerance / 3, guess + tolerance / 3]
            for value in [*tries, None]:
                if value is None:
                    if abs(far.value - near.value) <= tolerance:
                        break
                    value = self._middle(near.value, far.value)
                if not min(near.value, far.value) < value < max(near.value, far.value):
                    continue
                point = self.at(value)
                if point.like(near):
                    near = point
                else:
                    far = point

    @staticmethod
    def _guess(near: Point, far: Point) -> Decimal | None:
        """Where the first decision that differs would change if its number moved evenly."""
        for a, b in zip(near.decisions, far.decisions, strict=False):
            if a.result == b.result:
                continue
            if a.at is None or b.at is None or a.at == b.at:
                return None
            here, there = a.at, b.at
            bounds = [bound for bound in a.bounds if min(here, there) <= bound <= max(here, there)]
            if not bounds:
                return None
            away = min((bound - here for bound in bounds), key=abs)
            share = EXACT.divide(away, there - here)
            return near.value + share * (far.value - near.value)
        return None

    def _located(self, near: Point, far: Point) -> Change:
        """The change between two points next to each other, put on a round value or a printed bound."""
        if self.whole:
            return Change(near, far, far)
        guess = self._guess(near, far)
        fine = abs(far.value - near.value) / 1000
        candidates = [] if guess is None else [self.nice(guess, fine), guess]
        candidates.append(self.nice((near.value + far.value) / 2, abs(far.value - near.value) / 2))
        low, high = sorted((near.value, far.value))
        for value in candidates:
            if low <= value <= high:
                return Change(near, self.at(value), far)
        return Change(near, far, far)


def _steady(a: Point, b: Point, c: Point) -> bool:
    """Whether every number compared moves one way over three points with the same decisions."""
    if not a.like(c):
        return False
    for x, y, z in zip(a.decisions, b.decisions, c.decisions, strict=True):
        if x.at is None or y.at is None or z.at is None:
            continue
        low, high = (x.at, z.at) if x.at <= z.at else (z.at, x.at)
        slack = (abs(low) + abs(high)) * Decimal("1e-30")
        if not low - slack <= y.at <= high + slack:
            return False
    return True


def roundest(unit: Unit, value: Decimal, within: Decimal) -> Decimal:
    """The value with the fewest digits in `unit` within a distance; the value itself if there is none."""
    amount = unit.from_base(value)
    for digits in range(1, 16):
        rounded = Context(digits, ROUND_HALF_EVEN).create_decimal(amount)
        base = unit.to_base(rounded)
        if abs(base - value) <= within:
            return base
    return value
