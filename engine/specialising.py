"""One project under one book as a program of its own: every thing known, only some fields left open.

Whatever leans on no open field is worked out now and becomes a constant; links are followed and aggregates
unrolled now. What remains is one small function for each value, check and choice, over a row of slots.
Asking the program gives what `Run` gives, many times faster; `varying` falls back on `Run` where it cannot.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from decimal import Decimal
from typing import Any

from .books import CheckedBook
from .compiling import Pool, Writer, exactness, write_check, write_condition, write_rule
from .diagnostics import GaugebookError
from .evaluating import UNSTATED, Run, Thing
from .meaning import Op
from .rulebook import Attribute
from .runtime import Absent

OPEN = object()
"""In place of a constant: the value leans on an open field."""

EMPTY = object()
"""In a slot: not worked out yet."""

Values = dict[tuple[str, str], Any]


class CannotSpecialise(Exception):
    """The project leans on its open fields in a way that has to be looked at row by row."""


class Program:
    """The slots of one project and the functions over them.

    `values` are those of the open fields as the template has them, `checks` all checks in their order; `said`
    puts the answer of a check in words.
    """

    def __init__(
        self,
        run: Run,
        checked: CheckedBook,
        values: Values,
        checks: list[tuple[Thing, str]],
        said: Callable[[Thing, str, Any], Any],
    ) -> None:
        self.said = said
        self.slots: list[Any] = []
        self.given: dict[int, Any] = {}
        self.bound: dict[int, Any] = {}
        self.places: dict[tuple[str, str], int] = {}
        self.functions: dict[tuple[str, str], Callable[[], Any]] = {}
        self.settled: set[tuple[str, str]] = set()
        with run.exactly(), run.bound(values) as trial:
            Maker(self, run, checked, trial, set(values)).make()
        self._empty = [EMPTY] * len(self.slots)
        keys = [(thing.path, f"check {name}") for thing, name in checks]
        self.judging = [
            (number, *check, self.functions[key])
            for number, (check, key) in enumerate(zip(checks, keys, strict=True))
            if key not in self.settled
        ]
        settled = [number for number, key in enumerate(keys) if key in self.settled]
        with run.exactly():
            self.settled_verdicts = [(n, self._settled(checks[n], keys[n])) for n in settled]
        """What the other checks say in every row, each with its number."""

    def _settled(self, check: tuple[Thing, str], key: tuple[str, str]) -> Any:
        try:
            return self.said(*check, self.functions[key]())
        except Absent as absent:
            return self.said(*check, absent)

    def start(self, values: Values) -> None:
        """Begin a row with these values for the open fields; `UNSTATED` where it states none."""
        self.slots[:] = self._empty
        self.given.clear()
        for key, value in values.items():
            place = self.places.get(key)
            if place is not None and value is not UNSTATED:
                self.slots[place] = self.given[place] = value

    def ask(self, thing: Thing, name: str) -> Any:
        """The value of a choice; raises `Absent`."""
        return self.functions[thing.path, name]()

    def verdicts(self) -> Iterator[Any]:
        """What the checks that lean on an open field say in this row, each with its number."""
        for number, thing, name, ask in self.judging:
            try:
                answer = ask()
            except Absent as absent:
                answer = absent
            yield number, self.said(thing, name, answer)

    def solve(self, place: int, function: Callable[[Thing], Any], thing: Thing) -> Any:
        """Work out a slot; an `Absent` is kept like a value."""
        try:
            value = function(thing)
        except Absent as absent:
            value = absent
        self.slots[place] = value
        return value

    def choose(
        self,
        place: int,
        members: list[Any],
        checks: list[Callable[[], Any]],
        leaning: list[int],
        thing: Thing,
        attribute: Attribute,
    ) -> Any:
        """The first member that passes every check while it stands in the slot."""
        for member in members:
            self.bound[place] = member
            self._forget(leaning)
            try:
                passes = self._pass(checks)
            except BaseException:
                del self.bound[place]
                self._forget([*leaning, place])
                raise
            del self.bound[place]
            if passes:
                return member
        self._forget([*leaning, place])
        raise Absent([f"no {attribute.name} of {thing.path} passes every check"], void=True)

    def _forget(self, places: Iterable[int]) -> None:
        slots, given = self.slots, self.given
        for place in places:
            if place not in given:
                slots[place] = EMPTY
        for place, member in self.bound.items():
            slots[place] = member

    @staticmethod
    def _pass(checks: list[Callable[[], Any]]) -> bool:
        """True when every check passes, or does not apply."""
        for ask in checks:
            try:
                verdict = ask()
            except Absent as absent:
                if not absent.void:
                    raise
                return False
            if verdict is not None and not verdict[0]:
                return False
        return True


class Maker(Writer):
    """Writes the functions of a program; `trial` tells what leans on an open field."""

    def __init__(
        self, program: Program, run: Run, checked: CheckedBook, trial: int, open: set[tuple[str, str]]
    ) -> None:
        super().__init__(checked.model, Pool(), exactness(checked.model, checked.programs))
        self.program, self.run, self.trial, self.open = program, run, trial, open
        self.programs = checked.programs
        self.checks_by_name = {check.name: check for check in checked.programs.checks}
        self.plain = Writer(checked.model, self.pool, self.exact)
        self.names: dict[str, Any] = {
            **run.rulebook.namespace,
            "slots": program.slots,
            "EMPTY": EMPTY,
            "solve": program.solve,
            "choose": program.choose,
            "raised": _raised,
        }
        self.flushed = 0
        self.things: dict[str, str] = {}
        self.subject: Thing | None = None
        self.items: dict[int, Thing] = {}
        self.reads: dict[object, set[int]] = {}
        self.reader: object = None
        self.waiting: list[tuple[int, Thing, Attribute]] = []
        self.choosing: list[tuple[int, list[tuple[str, str]], list[int]]] = []

    # -- the whole

    def make(self) -> None:
        """Every choice and every check of every thing, and whatever they lean on."""
        rulebook = self.run.rulebook
        for thing in list(self.run.things.values()):
            for attribute in rulebook.attributes[thing.kind].values():
                if attribute.role == "choice":
                    self.program.functions[thing.path, attribute.name] = self._asked(thing, attribute)
            for name, check in rulebook.checks.items():
                if check["kind"] == thing.kind:
                    self.program.functions[thing.path, f"check {name}"] = self._check(thing, name)
        while self.waiting:
            self._node(*self.waiting.pop())
        for place, checks, _ in self.choosing:
            self.reads[place].update(*(self.reads.get(check, ()) for check in checks))
        backward: dict[int, set[object]] = {}
        for reader, places in self.reads.items():
            for place in places:
                backward.setdefault(place, set()).add(reader)
        for place, _, leaning in self.choosing:
            leaning.extend(_reached(place, backward))

    def _asked(self, thing: Thing, attribute: Attribute) -> Callable[[], Any]:
        """What answers a choice."""
        answer, leans = self.run.leaning(lambda: thing.get(attribute.name))
        if self.trial not in leans:
            return _constantly(answer)
        place = self._place(thing, attribute)
        return lambda: self.names[f"n{place}"]()

    def _check(self, thing: Thing, name: str) -> Callable[[], Any]:
        """What answers a check; made once."""
        key = (thing.path, f"check {name}")
        known = self.program.functions.get(key)
        if known is not None:
            return known
        answer, leans = self.run.leaning(lambda: self.run.check(thing, name))
        if self.trial not in leans:
            self.program.settled.add(key)
            self.program.functions[key] = made = _constantly(answer)
            return made
        label = f"check{len(self.program.functions)}"
        with self._about(thing, key):
            self._define(write_check(self.checks_by_name[name], label, self))
        function = self.names[label]
        self.program.functions[key] = lambda: function(thing)
        return self.program.functions[key]

    def _place(self, thing: Thing, attribute: Attribute) -> int:
        """The slot of a value that leans on an open field."""
        key = (thing.path, attribute.name)
        place = self.program.places.get(key)
        if place is None:
            place = self.program.places[key] = len(self.program.slots)
            self.program.slots.append(EMPTY)
            self.waiting.append((place, thing, attribute))
        return place

    def _node(self, place: int, thing: Thing, attribute: Attribute) -> None:
        """The functions of one slot."""
        node = (attribute.kind, attribute.name)
        with self._about(thing, place):
            if attribute.role == "rule":
                self._define(write_rule(self.programs.rules[node], f"r{place}", self))
            elif attribute.role == "choice":
                self._choice(place, thing, attribute)
            else:
                self._field(place, thing, attribute)
        owner = self._thing(thing)
        self._define(
            [
                f"def n{place}():",
                f"    v = slots[{place}]",
                "    if v is EMPTY:",
                f"        v = solve({place}, r{place}, {owner})",
                "    if v.__class__ is Absent:",
                "        raise v.with_traceback(None)",
                "    return v",
            ]
        )

    def _choice(self, place: int, thing: Thing, attribute: Attribute) -> None:
        choice = self.programs.choices[attribute.kind, attribute.name]
        self._define(write_condition(choice.when, f"w{place}", self))
        checks = [self._check(thing, check.name) for check in choice.checks]
        leaning: list[int] = []
        members = self.run.rulebook.members[choice.series]
        self.choosing.append(
            (place, [(thing.path, f"check {check.name}") for check in choice.checks], leaning)
        )
        when, choose = self.names[f"w{place}"], self.program.choose

        def chosen(t: Thing) -> Any:
            return choose(place, members, checks, leaning, t, attribute) if when(t) else None

        self.names[f"r{place}"] = chosen

    def _field(self, place: int, thing: Thing, attribute: Attribute) -> None:
        """A field that no row states has its default."""
        if (thing.path, attribute.name) not in self.open or attribute.role == "relation":
            raise CannotSpecialise(f"{thing.path}.{attribute.name}")
        ask = self.run.default_of

        def default(t: Thing) -> Any:
            return ask(t, attribute)

        self.names[f"r{place}"] = default

    @contextmanager
    def _about(self, thing: Thing, reader: object) -> Any:
        before = self.subject, self.reader, self.items
        self.subject, self.reader, self.items = thing, reader, {}
        self.reads.setdefault(reader, set())
        try:
            yield
        finally:
            self.subject, self.reader, self.items = before

    def _define(self, lines: list[str]) -> None:
        self._flush()
        exec(compile("\n".join(lines), "<specialised rules>", "exec"), self.names)

    def _flush(self) -> None:
        fresh = self.pool.lines[self.flushed :]
        self.flushed = len(self.pool.lines)
        if fresh:
            exec("\n".join(fresh), self.names)

    def _thing(self, thing: Thing) -> str:
        if thing.path not in self.things:
            self.things[thing.path] = f"T{len(self.things)}"
            self.names[self.things[thing.path]] = thing
        return self.things[thing.path]

    # -- expressions

    def write(self, op: Op) -> str:
        """A constant where the expression leans on no open field, else its source with the things known."""
        if op.code in ("value", "constant", "bound"):
            return super().write(op)
        value = self._fold(op)
        return super().write(op) if value is OPEN else self._known(value)

    def _known(self, value: Any) -> str:
        if isinstance(value, Absent):
            label = f"A{len(self.names)}"
            self.names[label] = value
            return f"raised({label})"
        if isinstance(value, Thing):
            return self._thing(value)
        if value is None or isinstance(value, (Decimal, str, bool)):
            return self.constant_text(value)
        raise CannotSpecialise(repr(value))

    def _fold(self, op: Op) -> Any:
        """The value of an expression, an `Absent`, or `OPEN`."""
        if any(step.code == "bound" for step in op.walk()) and op.code != "pick":
            return OPEN
        arguments = ", ".join(["t", *(f"v{number}" for number in self.items)])
        source = self.plain.write(op)
        self._flush()
        function = eval(f"lambda {arguments}: {source}", self.names)
        try:
            value, leans = self.run.leaning(lambda: function(self.subject, *self.items.values()))
        except (GaugebookError, AttributeError, TypeError, KeyError):
            return OPEN  # looked at too early: what guards it has not been asked
        return OPEN if self.trial in leans else value

    def _target(self, op: Op) -> Any:
        """The thing or things an expression stands for, which must be known."""
        value = self._fold(op)
        if value is OPEN:
            raise CannotSpecialise(op.code)
        return value

    def _get(self, op: Op, subject: Op, name: str) -> str:
        thing = self._target(subject)
        if thing is None:
            return f"need(None, {name!r})"  # what guards it says no
        if isinstance(thing, Absent):
            return self._known(thing)
        if not isinstance(thing, Thing):
            raise CannotSpecialise(name)
        place = self._place(thing, self.run.rulebook.attributes[thing.kind][name])
        self.reads[self.reader].add(place)
        return f"n{place}()"

    def _if(self, op: Op, condition: Op, then: Op, otherwise: Op) -> str:
        known = self._fold(condition)
        if isinstance(known, bool):
            return self.write(then if known else otherwise)
        return super()._if(op, condition, then, otherwise)

    def _logic(self, op: Op, word: str, left: Op, right: Op) -> str:
        known = self._fold(left)
        if isinstance(known, bool):
            return repr(known) if known is (word == "or") else self.write(right)
        return super()._logic(op, word, left, right)

    def _reach(self, op: Op, things: Op, name: str) -> str:
        raise CannotSpecialise(name)

    def _aggregate(self, op: Op, word: str, number: int, over: Op, body: Op | None, where: Op | None) -> str:
        things = self._target(over)
        if not isinstance(things, (list, tuple)):
            raise CannotSpecialise(word)
        parts = []
        for thing in things:
            before, self.items = self.items, {**self.items, number: thing}
            wanted = None if where is None else self.write(where)
            value = (
                "True" if body is None else self.write(body) if word in ("any", "all") else self.number(body)
            )
            self.items = before
            if word in ("any", "all"):
                joined = {"any": f"({wanted} and {value})", "all": f"(not {wanted} or {value})"}[word]
                parts.append(f"({value})" if wanted is None else joined)
            else:
                parts.append(f"({value},)" if wanted is None else f"(({value},) if {wanted} else ())")
        if word in ("any", "all"):
            joiner, empty = (" or ", "False") if word == "any" else (" and ", "True")
            return f"({joiner.join(parts)})" if parts else empty
        items = f"({' + '.join(parts)})" if parts else "()"
        call = {"sum": "total", "count": "count"}.get(word, word)
        return f"{call}({items}{self._rank(op) if word in ('greatest', 'least') else ''})"


def _raised(absent: Absent) -> Any:
    raise absent.with_traceback(None)


def _constantly(answer: Any) -> Callable[[], Any]:
    if isinstance(answer, Absent):
        return lambda: _raised(answer)
    return lambda: answer


def _reached(place: int, backward: dict[int, set[object]]) -> list[int]:
    """Every slot that leans on one, through others or through checks of choices."""
    found: set[int] = set()
    waiting: list[int] = [place]
    while waiting:
        for reader in backward.get(waiting.pop(), ()):
            if isinstance(reader, int) and reader not in found:
                found.add(reader)
                waiting.append(reader)
    return sorted(found - {place})
