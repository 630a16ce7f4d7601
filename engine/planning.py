"""One project under one book, worked out as far as it goes while some of its fields are left open.

Whatever leans on no open field becomes a constant; links are followed and aggregates unrolled. What remains is
a `Plan`: a numbered place for each value that leans on an open field, with the steps that lead to it. The steps
are those of `meaning`, and three more:
place (number) | absent (what is missing) | gather (word, *pairs of where and value, each may be None)
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from decimal import Decimal
from typing import Any

from .books import CheckedBook
from .compiling import Pool, Writer, exactness
from .diagnostics import GaugebookError
from .evaluating import Run, Thing
from .meaning import Op
from .model import Model
from .programs import Check, Route, Rule
from .rulebook import Attribute
from .runtime import Absent

OPEN = object()
"""In place of a constant: the value leans on an open field."""

Key = tuple[str, str]
"""The path of a thing, and the name of an attribute or of a check."""


MOST_PLANNED = 300_000
"""Steps of a plan, and places that lean on its choices."""

MIRRORED = {">": "<", "<": ">", ">=": "<=", "<=": ">="}
"""Each order, said from the other side."""


class CannotPlan(Exception):
    """The project has to be looked at row by row: its open fields tie things together, or its plan is too large."""


@dataclass
class Place:
    """A value that leans on an open field: by a rule, by a choice, or as such a field (neither of both).

    `leaning` are the places that lean on a choice, through others or through its checks.
    """

    number: int
    thing: Thing
    attribute: Attribute
    rule: Rule | None = None
    when: Op | None = None
    members: Sequence[Any] = ()
    checks: list[Key] = field(default_factory=list)
    leaning: list[int] = field(default_factory=list)

    @property
    def chosen(self) -> bool:
        """True for a choice."""
        return self.attribute.role == "choice"


@dataclass
class Plan:
    """What is left to do in every row.

    `places` holds every value that leans on an open field, `checks` every check that does and `reads` the
    places it leans on itself; `answers` has the choices and the checks that lean on none, an `Absent` where
    there is no answer. `rough` holds the steps whose comparisons need slack, by identity.
    """

    run: Run
    model: Model
    places: list[Place] = field(default_factory=list)
    numbers: dict[Key, int] = field(default_factory=dict)
    checks: dict[Key, tuple[Thing, Check]] = field(default_factory=dict)
    answers: dict[Key, Any] = field(default_factory=dict)
    reads: dict[int | Key, set[int]] = field(default_factory=dict)
    pool: Pool = field(default_factory=Pool)
    rough: dict[int, Op] = field(default_factory=dict)

    def ops(self, reader: int | Key) -> Iterator[Op]:
        """Every expression of a place or of a check."""
        if isinstance(reader, int):
            place = self.places[reader]
            if place.rule is not None:
                yield from place.rule.ops()
            if place.when is not None:
                yield place.when
        elif reader in self.checks:
            check = self.checks[reader][1]
            yield from check.ops()
            for way in check.ways:
                yield way.value
                if way.when is not None:
                    yield way.when

    def exact(self, op: Op) -> bool:
        """True for a step that stands for an expression without divisions that may not end and without roots."""
        return id(op) not in self.rough


def plan_project(run: Run, checked: CheckedBook, values: dict[Key, Any]) -> Plan:
    """The plan of a project with the fields of `values` left open, as the template has them.

    Raises `CannotPlan` where things are tied together by an open field, `GaugebookError` where the project
    cannot be evaluated.
    """
    with run.exactly(), run.bound(values) as trial:
        return Planner(run, checked, trial, set(values)).plan()


class Planner:
    """Works out what it can; `trial` tells what leans on an open field."""

    def __init__(self, run: Run, checked: CheckedBook, trial: int, open: set[Key]) -> None:
        self.run, self.trial, self.open = run, trial, open
        self.programs = checked.programs
        self.checks_by_name = {check.name: check for check in checked.programs.checks}
        self.made = Plan(run, checked.model)
        self.exact = exactness(checked.model, checked.programs)
        self.writer = Writer(checked.model, self.made.pool, self.exact)
        self.names: dict[str, Any] = dict(run.rulebook.namespace)
        self.flushed = 0
        self.functions: dict[tuple[int, ...], Any] = {}
        self.subject: Thing | None = None
        self.items: dict[int, Thing] = {}
        self.reads: set[int] = set()
        self.waiting: list[Place] = []
        self.steps = 0

    def plan(self) -> Plan:
        """Every choice and every check of every thing, and whatever they lean on."""
        rulebook = self.run.rulebook
        for thing in list(self.run.things.values()):
            for attribute in rulebook.attributes[thing.kind].values():
                if attribute.role == "choice":
                    self._choice_of(thing, attribute)
            for name, check in rulebook.checks.items():
                if check["kind"] == thing.kind:
                    self._check(thing, name)
        while self.waiting:
            self._fill(self.waiting.pop())
        self._lean()
        return self.made

    def _grow(self, number: int) -> None:
        """Take some steps into the plan."""
        self.steps += number
        if self.steps > MOST_PLANNED:
            raise CannotPlan("too large")

    def _choice_of(self, thing: Thing, attribute: Attribute) -> None:
        answer, leans = self.run.leaning(lambda: thing.get(attribute.name))
        if self.trial in leans:
            self._place(thing, attribute)
        else:
            self.made.answers[thing.path, attribute.name] = answer

    def _check(self, thing: Thing, name: str) -> Key:
        """Plan a check, once."""
        key = (thing.path, f"check {name}")
        if key in self.made.checks or key in self.made.answers:
            return key
        answer, leans = self.run.leaning(lambda: self.run.check(thing, name))
        if self.trial not in leans:
            self.made.answers[key] = answer
            return key
        check = self.checks_by_name[name]
        self.made.checks[key] = thing, check
        with self._about(thing, key):
            when, require = self._maybe(check.when), self.rest(check.require)
            self.made.checks[key] = (
                thing,
                replace(
                    check,
                    when=when,
                    require=require,
                    plain=require if check.plain is check.require else self._maybe(check.plain),
                    exceptions=[self._route(way) for way in check.exceptions],
                    alternatives=[self._route(way) for way in check.alternatives],
                ),
            )
        return key

    def _place(self, thing: Thing, attribute: Attribute) -> int:
        """The place of a value that leans on an open field."""
        key = (thing.path, attribute.name)
        number = self.made.numbers.get(key)
        if number is None:
            number = self.made.numbers[key] = len(self.made.places)
            self.made.places.append(Place(number, thing, attribute))
            self.waiting.append(self.made.places[-1])
        return number

    def _fill(self, place: Place) -> None:
        """Say how a value comes about."""
        thing, attribute = place.thing, place.attribute
        node = (attribute.kind, attribute.name)
        with self._about(thing, place.number):
            if attribute.role == "rule":
                rule = self.programs.rules[node]
                place.rule = replace(rule, routes=[self._route(route) for route in rule.routes])
            elif attribute.role == "choice":
                choice = self.programs.choices[node]
                place.when = self._maybe(choice.when)
                place.members = self.run.rulebook.members[choice.series]
                place.checks = [self._check(thing, check.name) for check in choice.checks]
            elif (thing.path, attribute.name) not in self.open or attribute.role == "relation":
                raise CannotPlan(f"{thing.path}.{attribute.name}")

    def _lean(self) -> None:
        """Tell each choice which places lean on it."""
        reads = self.made.reads
        for place in self.made.places:
            reads[place.number].update(*(reads.get(check, ()) for check in place.checks))
        backward: dict[int, set[int]] = {}
        for reader, places in reads.items():
            if isinstance(reader, int):
                for number in places:
                    backward.setdefault(number, set()).add(reader)
        for place in self.made.places:
            if place.chosen:
                place.leaning = _reached(place.number, backward)
                self._grow(len(place.leaning))

    @contextmanager
    def _about(self, thing: Thing, reader: int | Key) -> Iterator[None]:
        before = self.subject, self.reads, self.items
        self.subject, self.items = thing, {}
        self.reads = self.made.reads.setdefault(reader, set())
        try:
            yield
        finally:
            self.subject, self.reads, self.items = before

    # -- expressions

    def _maybe(self, op: Op | None) -> Op | None:
        return None if op is None else self.rest(op)

    def _route(self, route: Route) -> Route:
        return replace(route, when=self._maybe(route.when), value=self.rest(route.value))

    def rest(self, op: Op) -> Op:
        """What remains of an expression: a constant where it leans on no open field."""
        self._grow(1)
        if op.code in ("value", "bound"):
            return op
        known = self._known(op)
        step = getattr(self, f"_{op.code}", self._same)
        made: Op = step(op, *op.parts) if known is OPEN else _constant(known, op)
        if not self.exact(op):
            self.made.rough[id(made)] = made
        return made

    def _known(self, op: Op) -> Any:
        """The value of an expression, an `Absent`, or `OPEN`."""
        if op.code != "pick" and any(step.code == "bound" for step in op.walk()):
            return OPEN
        function = self.functions.get((id(op), *self.items))
        if function is None:
            arguments = ", ".join(["t", *(f"v{number}" for number in self.items)])
            source = self.writer.write(op)
            fresh = self.made.pool.lines[self.flushed :]
            self.flushed = len(self.made.pool.lines)
            exec("\n".join(fresh), self.names)
            function = eval(f"lambda {arguments}: {source}", self.names)
            self.functions[id(op), *self.items] = function
        try:
            value, leans = self.run.leaning(lambda: function(self.subject, *self.items.values()))
        except (GaugebookError, AttributeError, TypeError, KeyError):
            return OPEN  # looked at too early: what guards it has not been asked
        return OPEN if self.trial in leans else value

    def _same(self, op: Op, *parts: Any) -> Op:
        return replace(op, parts=tuple(self.rest(part) if isinstance(part, Op) else part for part in parts))

    def _get(self, op: Op, subject: Op, name: str) -> Op:
        thing = self._known(subject)
        if thing is None:  # what guards it says no
            return _constant(Absent([f"{name} is none"], void=True), op)
        if isinstance(thing, Absent):
            return _constant(thing, op)
        if not isinstance(thing, Thing):
            raise CannotPlan(name)
        number = self._place(thing, self.run.rulebook.attributes[thing.kind][name])
        self.reads.add(number)
        return replace(op, code="place", parts=(number,))

    def _if(self, op: Op, condition: Op, then: Op, otherwise: Op) -> Op:
        known = self._known(condition)
        if isinstance(known, bool):
            return self.rest(then if known else otherwise)
        return self._same(op, *op.parts)

    def _logic(self, op: Op, word: str, left: Op, right: Op) -> Op:
        known = self._known(left)
        if isinstance(known, bool):
            return _constant(known, op) if known is (word == "or") else self.rest(right)
        return self._same(op, *op.parts)

    def _reach(self, op: Op, things: Op, name: str) -> Op:
        raise CannotPlan(name)

    def _aggregate(self, op: Op, word: str, number: int, over: Op, body: Op | None, where: Op | None) -> Op:
        things = self._known(over)
        if not isinstance(things, (list, tuple)):
            raise CannotPlan(word)
        parts: list[Op | None] = []
        for thing in things:
            before, self.items = self.items, {**self.items, number: thing}
            parts += [self._maybe(where), self._maybe(body)]
            self.items = before
        return replace(op, code="gather", parts=(word, *parts))


def _constant(value: Any, op: Op) -> Op:
    """A step that is known."""
    if isinstance(value, Absent):
        return replace(op, code="absent", parts=(value,))
    if value is None or isinstance(value, (Decimal, str, bool, Thing)):
        return replace(op, code="value", parts=(value,))
    raise CannotPlan(repr(value))


def _reached(place: int, backward: dict[int, set[int]]) -> list[int]:
    """Every place that leans on one, through others or through checks of choices."""
    found: set[int] = set()
    waiting: list[int] = [place]
    while waiting:
        for reader in backward.get(waiting.pop(), ()):
            if reader not in found:
                found.add(reader)
                waiting.append(reader)
    return sorted(found - {place})


def limit_of(op: Op, number: int) -> tuple[str, Op] | None:
    """The order and the other side of a comparison that has a number tried by itself on one side only."""
    if op.code != "compare" or op.parts[0] not in MIRRORED or op.parts[1].type.sort != "number":
        return None
    sign, left, right = op.parts
    tried = ("bound", number)
    alone = [(side.code, *side.parts[:1]) == tried for side in (left, right)]
    within = [any((step.code, *step.parts[:1]) == tried for step in side.walk()) for side in (left, right)]
    if alone[0] and not within[1]:
        return sign, right
    if alone[1] and not within[0]:
        return MIRRORED[sign], left
    return None


def met_by(end: str, number: int, members: Sequence[Any], accept: Op) -> tuple[str, Op] | None:
    """The order and the limit of a pick that takes the first number to reach it, or the last not to pass it."""
    limit = limit_of(accept, number) if members and rising(members) else None
    return limit if limit is not None and (end == "first") == (limit[0] in (">", ">=")) else None


def rising(members: Sequence[Any]) -> bool:
    """True for numbers in rising order."""
    return all(isinstance(member, Decimal) for member in members) and list(members) == sorted(set(members))
