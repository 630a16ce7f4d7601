"""The rules and checks of a plan as statements of one function."""

from __future__ import annotations

from abc import abstractmethod
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager

from .meaning import Op
from .planning import MIRRORED, Key, Place, Plan
from .programs import Check, Route
from .runtime import MISSING, Absent
from .statements import CannotStraighten, TooTangled
from .straight_steps import Steps

MOST_WAYS = 40


class Rules(Steps):
    """Writes rules and checks."""

    def __init__(self, plan: Plan, exact: bool) -> None:
        super().__init__(plan, exact)
        self.leaning = {place.number: {place.number, *place.leaning} for place in plan.places if place.chosen}
        self.mutual = {
            number
            for number, others in self.leaning.items()
            if any(number in self.leaning[other] for other in others & self.leaning.keys() - {number})
        }
        """Choices that lean on each other."""
        self.inputs = {
            place.number: False for place in plan.places if not place.chosen and place.rule is None
        }
        self.known = dict(self.inputs)
        self.working: set[tuple[int, frozenset[int]]] = set()

    def answer(self, key: Key) -> str:
        """Work out what is wanted; the name it has."""
        number = self.plan.numbers.get(key)
        if number is not None:
            if number not in self.known:
                self.ask(number)
            return f"p{number}"
        name = self.fresh("c")
        thing, check = self.plan.checks[key]
        with self.block(name):
            self.put(f"{name} = None")

            def said(passes: str, a: str, b: str, way: int) -> None:
                if check.ways:
                    self.put(f"{self.hold(thing.route)}[{key[1]!r}] = {way}")
                self.put(f"{name} = {passes}, {a}, {b}")

            self.judge(check, said, sides=True)
        return name

    def ask(self, number: int) -> None:
        """Have a place that is wanted worked out."""
        place = self.plan.places[number]
        if place.chosen:
            self.settle(place)
        else:
            with self.block(f"p{number}"):
                self.settle(place)

    def finish(self) -> list[str]:
        """What has to stand in front, once everything that is wanted has been written."""
        return []

    # -- rules

    def settle(self, place: Place) -> None:
        number = place.number
        working = number, frozenset(self.held)
        if working in self.working:
            raise TooTangled("values lean on each other")
        self.working.add(working)
        if place.chosen:
            self.choose(place)
        elif place.rule is not None:
            self._alone(place.rule.routes)
            self._routes(place, place.rule.routes)
        else:
            raise CannotStraighten(place.attribute.name)
        self.working.discard(working)
        self.known[number] = place.chosen

    def _routes(self, place: Place, routes: Sequence[Route]) -> None:
        """The first way whose condition holds."""
        if len(routes) > MOST_WAYS:
            raise CannotStraighten("too many ways")
        if not routes:
            self.leave()
            return
        route = routes[0]
        if route.when is None:
            self.put(f"p{place.number} = {self.grown(route.value)}")
            return
        with self.under(f"if {self.write(route.when)}:"):
            self.put(f"p{place.number} = {self.grown(route.value)}")
            one = self.known
        with self.under("else:"):
            self._routes(place, routes[1:])
            other = self.known
        self.known = {number: one[number] or other[number] for number in one if number in other}

    def _alone(self, routes: Sequence[Route]) -> None:
        """Two exceptions of one rank that both hold contradict each other: left to what can say so."""
        for rank in dict.fromkeys(route.rank for route in routes if route.rank is not None):
            same = [route for route in routes if route.rank == rank]
            if len(same) > 1:
                tests = [self.write(route.when) if route.when else "True" for route in same]
                with self.under(f"if {' + '.join(f'bool({test})' for test in tests)} > 1:"):
                    self.put("raise Leave")

    # -- checks

    def judge(self, check: Check, said: Callable[[str, str, str, int], None], sides: bool) -> None:
        """What a check says where it applies: whether it passes, both sides (None without) and by which way."""
        if check.plain is None and check.alternatives:
            raise CannotStraighten("several ways of a check")
        with self._where(check.when):
            self._alone(check.exceptions)
            self._ways(check, check.exceptions, 0, said, sides)

    @contextmanager
    def _where(self, when: Op | None) -> Iterator[None]:
        if when is None:
            yield
        else:
            with self.under(f"if {self.write(when)}:"):
                yield

    def _ways(
        self, check: Check, ways: Sequence[Route], number: int, said: Callable[..., None], sides: bool
    ) -> None:
        if not ways:
            require = check.require if check.plain is None or not check.ways else check.plain
            said(*self._sides(require, sides), -1)
            return
        if number > MOST_WAYS:
            raise CannotStraighten("too many ways")
        way = ways[0]
        with self.under(f"if {self.write(way.when) if way.when is not None else True}:"):
            said(*self._sides(way.value, sides), number)
        with self.under("else:"):
            self._ways(check, ways[1:], number + 1, said, sides)

    def _sides(self, require: Op, sides: bool) -> tuple[str, str, str]:
        """Whether a requirement holds, and both its sides where it is one comparison."""
        if require.code != "compare" or require.parts[0] not in MIRRORED:
            return self.write(require), "None", "None"
        a, b = (self.number(side) for side in require.parts[1:])
        if sides:
            a, b = self.kept(a), self.kept(b)
        return self.ordered(require, a, b), a, b

    @abstractmethod
    def choose(self, place: Place) -> None:
        """Make a choice."""

    # -- what may be unknown

    def unsure(self, reader: Key, tried: int) -> bool:
        """True for a check that may turn out to be unknown, as far as can be told, while a member is tried."""
        seen: set[int | Key] = {reader, tried}
        waiting: list[int | Key] = [reader]
        while waiting:
            reading = waiting.pop()
            answer = self.plan.answers.get(reading) if isinstance(reading, tuple) else None
            if isinstance(answer, Absent) and not answer.void:
                return True
            if any(self._lost(step) for op in self.plan.ops(reading) for step in op.walk()):
                return True
            fresh = set(self._read(reading)) - seen
            seen |= fresh
            waiting += fresh
        return False

    def _read(self, reader: int | Key) -> Iterator[int | Key]:
        for op in self.plan.ops(reader):
            yield from (step.parts[0] for step in op.walk() if step.code == "place")
        if isinstance(reader, int):
            yield from self.plan.places[reader].checks

    def _lost(self, op: Op) -> bool:
        if op.code == "absent":
            return not op.parts[0].void
        if op.code == "lookup":
            table = self.rulebook.tables[op.parts[0]]
            return (
                any(axis.beyond == MISSING or axis.match == "linear" for axis in table.axes)
                or MISSING in table.cells.values()
            )
        return op.code == "property"
