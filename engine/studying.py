"""A design with every numeric input ready to be moved, and what flips on the way.

Only the inputs an outcome really read are moved, one at a time, from where they stand outward to the bounds
of their field, or far out where it has none; `searching` says how a change is found and to what resolution.
Values that sit exactly on a bound of a table or right at the limit of a check are pointed out.
"""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal
from typing import Any, NamedTuple

from .diagnostics import GaugebookError, Problems
from .evaluating import Run, read_value
from .project import fill_run
from .results import plain, unit_text
from .rulebook import Attribute
from .runtime import Absent
from .searching import RESOLUTION, Evaluate, Point, Search, roundest
from .source import Source
from .tracing import Frame, Read, Recorder, TracedRulebook, traced_run
from .units import Unit
from .watching import WatchedRulebook

Data = dict[str, Any]

REACH = 10**6
"""How many times its value, or its unit where it is zero, an input is searched where its field states no bound."""

POINT_REACH = 1000
"""How many units a point on a scale is searched where its field states no bound."""


class Outcome(NamedTuple):
    """A choice or a check of a thing."""

    kind: str
    thing: str
    name: str

    @property
    def label(self) -> str:
        """Its name, `section.thing.name`."""
        return f"{self.thing}.{self.name}"


class Input(NamedTuple):
    """A numeric field that a project states or a default stands in for."""

    read: Read
    value: Decimal
    attribute: Attribute
    unit: Unit
    whole: bool

    @property
    def label(self) -> str:
        """Its name, as the project states it."""
        return f"{self.read[0]}.{'.'.join(self.attribute.steps)}"


class End(NamedTuple):
    """Where a search ends, and whether the field itself ends there: else what lies beyond is not searched."""

    value: Decimal
    stated: bool


class Flip(NamedTuple):
    """An outcome that changes with an input: right at the bound, and beyond it."""

    outcome: Outcome
    bound: Decimal
    at: Any
    beyond: Any


class Study:
    """One project under one book, with every input ready to be moved."""

    def __init__(self, source: Source, run: Run) -> None:
        """`run` is a sound evaluation of the project `source`; it is left as it is."""
        frozen, settled = run.rulebook.frozen, run.settled
        self.recorder = Recorder()
        self.traced = traced_run(source, TracedRulebook(frozen, self.recorder, run.rulebook.code), settled)
        self.book = WatchedRulebook(frozen)
        self.run = Run(self.book, settled)
        problems = Problems()
        fill_run(self.run, source, problems)
        problems.refuse_if_any()
        self.outcomes = list(self._outcomes())
        self.frames: dict[Outcome, Frame] = {}
        self.now: dict[Outcome, Any] = {}
        for outcome in self.outcomes:
            self.frames[outcome] = self._trace(outcome)
        for outcome in self.outcomes:
            self.now[outcome] = self._outcome(outcome)
        self.base = {path: dict(thing.memo) for path, thing in self.run.things.items()}
        self.readers = self._readers()
        self.inputs = list(self._inputs())

    # -- what there is

    def _outcomes(self) -> Iterator[Outcome]:
        for path, thing in self.run.things.items():
            for attribute in self.book.attributes[thing.kind].values():
                if attribute.role == "choice" and attribute.name not in thing.stated:
                    yield Outcome("choice", path, attribute.name)
            for check in self.book.checks.values():
                if check["kind"] == thing.kind:
                    yield Outcome("check", path, check["name"])

    def _trace(self, outcome: Outcome) -> Frame:
        thing = self.traced.things[outcome.thing]
        if outcome.kind == "check":
            return self.traced.call(f"check {outcome.name}", thing)[1]
        self.traced.ask(thing, outcome.name)
        frame = Frame()
        frame.reads[outcome.thing, outcome.name] = None
        return frame

    def _outcome(self, outcome: Outcome) -> Any:
        """What comes out: (what, value) for a choice, (what, None) for a check."""
        thing = self.run.things[outcome.thing]
        try:
            with self.run.exactly():
                if outcome.kind == "choice":
                    return ("chosen", thing.get(outcome.name))
                verdict = self.run.check(thing, outcome.name)
        except Absent as absent:
            return ("none" if absent.void else "undetermined", None)
        except (GaugebookError, ArithmeticError):
            return ("undetermined", None)
        return ("does not apply" if verdict is None else "passes" if verdict[0] else "fails", None)

    def _readers(self) -> dict[Read, set[Read | Outcome]]:
        """For every value what read it directly, in any of its computations."""
        readers: dict[Read, set[Read | Outcome]] = {}
        for node, reads in self.traced.edges.items():
            for read in reads:
                readers.setdefault(read, set()).add(node)
        for outcome, frame in self.frames.items():
            for read in frame.reads:
                readers.setdefault(read, set()).add(outcome)
        return readers

    def leaning(self, read: Read) -> set[Read | Outcome]:
        """Everything that leans on a value, directly or not."""
        found: set[Read | Outcome] = set()
        waiting: list[Read | Outcome] = [read]
        while waiting:
            node = waiting.pop()
            for reader in self.readers.get(node, ()) if not isinstance(node, Outcome) else ():
                if reader not in found:
                    found.add(reader)
                    waiting.append(reader)
        return found

    def _inputs(self) -> Iterator[Input]:
        for path, thing in self.run.things.items():
            for attribute in self.book.attributes[thing.kind].values():
                if attribute.role != "field" or attribute.unit is None:
                    continue
                value = self.traced.ask(self.traced.things[path], attribute.name)
                if isinstance(value, Decimal):
                    yield Input(
                        (path, attribute.name),
                        value,
                        attribute,
                        attribute.unit,
                        _whole(self.book, attribute, value),
                    )

    # -- moving one input

    def evaluation(self, given: Input, outcomes: list[Outcome]) -> Evaluate:
        """Evaluates some outcomes with one input moved; points hold them in the order given."""
        path, name = given.read
        stripped = {path: dict(memo) for path, memo in self.base.items()}
        for node in self.leaning(given.read):
            if not isinstance(node, Outcome):
                stripped[node[0]].pop(node[1], None)
        decisions = self.book.decisions

        def evaluate(value: Decimal) -> Point:
            for other, thing in self.run.things.items():
                thing.memo = dict(stripped[other])
            self.run.things[path].memo[name] = value
            decisions.clear()
            results = tuple(self._outcome(outcome) for outcome in outcomes)
            return Point(value, results, tuple(decisions))

        return evaluate

    def listed(self, given: Input, outcomes: list[Outcome]) -> list[Decimal]:
        """The values an input can only have because it is itself the exact key of a table; else none."""
        with self.run.exactly():
            evaluate = self.evaluation(given, outcomes)
            nudged = given.value * (1 + RESOLUTION)
            here, there = evaluate(given.value).decisions, evaluate(nudged).decisions
        values = {
            value
            for a, b in zip(here, there, strict=False)
            if a.exact and b.exact and (a.at, b.at) == (given.value, nudged) and given.value in a.bounds
            for value in a.bounds
        }
        return sorted(values)

    def flips(self, given: Input, outcomes: list[Outcome], end: Decimal) -> tuple[list[Flip], Decimal]:
        """The nearest flip of each outcome on the way to `end`, and how far the way was walked.

        An outcome that has flipped is not evaluated any further.
        """
        listed = self.listed(given, outcomes)
        if listed:
            return self._flips_listed(given, outcomes, end, listed)
        waiting, found = list(outcomes), []

        def nice(value: Decimal, within: Decimal) -> Decimal:
            return roundest(given.unit, value, within)

        with self.run.exactly():
            one = abs(given.unit.to_base(Decimal(1)) - given.unit.to_base(Decimal(0)))
            search = Search(self.evaluation(given, waiting), given.value, one, given.whole, nice)
            for change in search.outward(end):
                flipped = [
                    Flip(outcome, change.bound.value, at, beyond)
                    for outcome, at, beyond in zip(
                        waiting, change.bound.outcomes, change.far.outcomes, strict=True
                    )
                    if at != self.now[outcome] or beyond != self.now[outcome]
                ]
                if flipped:
                    found += flipped
                    waiting = [
                        outcome for outcome in waiting if outcome not in {flip.outcome for flip in flipped}
                    ]
                    search.narrow(self.evaluation(given, waiting))
                if not waiting:
                    break
        return found, search.reached

    def _flips_listed(
        self, given: Input, outcomes: list[Outcome], end: Decimal, listed: list[Decimal]
    ) -> tuple[list[Flip], Decimal]:
        """As `flips`, for an input that can only have some values."""
        low, high = sorted((given.value, end))
        way = sorted((value for value in listed if low <= value <= high), reverse=end < given.value)
        found: dict[Outcome, Flip] = {}
        with self.run.exactly():
            evaluate = self.evaluation(given, outcomes)
            for value in way:
                for outcome, told in zip(outcomes, evaluate(value).outcomes, strict=True):
                    if told != self.now[outcome]:
                        found.setdefault(outcome, Flip(outcome, value, told, told))
        return list(found.values()), way[-1]

    def range(self, given: Input) -> tuple[End, End]:
        """The values an input is searched over: what its field allows; where it does not say, far out."""
        with self.run.exactly():
            ends = []
            for word, sign in (("least", -1), ("most", 1)):
                bound = _bound(self.book, given.attribute, word)
                reached = End(_reach(given, sign), False) if bound is None else End(bound, True)
                beyond = (reached.value - given.value) * sign < 0
                ends.append(End(given.value, reached.stated) if beyond else reached)
            return ends[0], ends[1]

    def unstated(self) -> list[str]:
        """Numeric fields that an outcome asked for and that have no value, so that none can be moved."""
        found = []
        for path, thing in self.traced.things.items():
            for attribute in self.book.attributes[thing.kind].values():
                read = path, attribute.name
                if attribute.role != "field" or attribute.unit is None or read not in self.readers:
                    continue
                leaning = any(isinstance(node, Outcome) for node in self.leaning(read))
                if leaning and not isinstance(self.traced.ask(thing, attribute.name), Decimal):
                    found.append(f"{path}.{'.'.join(attribute.steps)}")
        return found


def _whole(book: WatchedRulebook, attribute: Attribute, value: Decimal) -> bool:
    """Whether a plain number counts something: it and the bounds of its field are whole."""
    numbers = [value, *(_bound(book, attribute, word) for word in ("least", "most"))]
    counted = all(number is None or number == number.to_integral_value() for number in numbers)
    return unit_text(attribute.unit) is None and counted


def _bound(book: WatchedRulebook, attribute: Attribute, word: str) -> Decimal | None:
    text = (attribute.field or {}).get(word)
    value = read_value(book, attribute, str(text)) if text is not None else None
    return value if isinstance(value, Decimal) else None


def _reach(given: Input, sign: int) -> Decimal:
    """The far end of a search in one direction."""
    amount = given.unit.from_base(given.value)
    far = Decimal(POINT_REACH) if given.unit.kind.point else abs(amount or Decimal(1)) * REACH
    return given.unit.to_base(sign * far if not given.unit.kind.point else amount + sign * far)


def quantity(value: Any, unit: Unit | None) -> Data:
    """A value with its unit as data."""
    return {"value": plain(value, unit), "unit": unit_text(unit)}
