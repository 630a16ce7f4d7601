"""A plan as a program of its own: one small function for each value, check and choice, over a row of slots.

Asking the program gives what `Run` gives, many times faster; `varying` falls back on `Run` where it cannot.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from typing import Any

from .compiling import Writer, write_check, write_condition, write_rule
from .evaluating import UNSTATED, Thing
from .meaning import Op
from .planning import Key, Place, Plan
from .runtime import Absent

EMPTY = object()
"""In a slot: not worked out yet."""

Values = dict[Key, Any]


class Program:
    """The slots of one project and the functions over them.

    `checks` are all checks in their order; `said` puts the answer of a check in words.
    """

    def __init__(
        self, plan: Plan, checks: list[tuple[Thing, str]], said: Callable[[Thing, str, Any], Any]
    ) -> None:
        self.said = said
        self.places = plan.numbers
        self.slots: list[Any] = [EMPTY] * len(plan.places)
        self.given: dict[int, Any] = {}
        self.bound: dict[int, Any] = {}
        self.answers: dict[Key, Callable[[], Any]] = {
            key: _constantly(answer) for key, answer in plan.answers.items()
        }
        self.answers.update(SlotWriter(self, plan).functions())
        self._empty = [EMPTY] * len(self.slots)
        keys = [(thing.path, f"check {name}") for thing, name in checks]
        self.judging = [
            (number, *check, self.answers[key])
            for number, (check, key) in enumerate(zip(checks, keys, strict=True))
            if key in plan.checks
        ]

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
        return self.answers[thing.path, name]()

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

    def choose(self, place: Place, checks: list[Callable[[], Any]]) -> Any:
        """The first member that passes every check while it stands in the slot."""
        number, leaning = place.number, place.leaning
        for member in place.members:
            self.bound[number] = member
            self._forget(leaning)
            try:
                passes = self._pass(checks)
            except BaseException:
                del self.bound[number]
                self._forget([*leaning, number])
                raise
            del self.bound[number]
            if passes:
                return member
        self._forget([*leaning, number])
        said = f"no {place.attribute.name} of {place.thing.path} passes every check"
        raise Absent([said], void=True)

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


class SlotWriter(Writer):
    """Writes the functions of a program."""

    def __init__(self, program: Program, plan: Plan) -> None:
        super().__init__(plan.model, plan.pool, plan.exact)
        self.program, self.plan = program, plan
        self.names: dict[str, Any] = {
            **plan.run.rulebook.namespace,
            "slots": program.slots,
            "EMPTY": EMPTY,
            "solve": program.solve,
            "raised": _raised,
        }
        self.things: dict[str, str] = {}

    def functions(self) -> Values:
        """What answers each choice and each check."""
        lines: list[str] = []
        for place in self.plan.places:
            lines += [*self._routes(place), *self._asked(place)]
        labels = {key: f"check{number}" for number, key in enumerate(self.plan.checks)}
        for key, (_, check) in self.plan.checks.items():
            lines += write_check(check, labels[key], self)
        exec(compile("\n".join([*self.pool.lines, *lines]), "<plan>", "exec"), self.names)
        found = {}
        for key, (thing, _) in self.plan.checks.items():
            found[key] = self._about(self.names[labels[key]], thing)
        self.program.answers.update(found)
        for place in self.plan.places:
            if place.chosen:
                self.names[f"r{place.number}"] = self._choice(place)
                found[place.thing.path, place.attribute.name] = self.names[f"n{place.number}"]
            elif place.rule is None:
                self.names[f"r{place.number}"] = self._default(place)
        return found

    @staticmethod
    def _about(function: Callable[[Thing], Any], thing: Thing) -> Callable[[], Any]:
        return lambda: function(thing)

    def _routes(self, place: Place) -> list[str]:
        if place.rule is not None:
            return write_rule(place.rule, f"r{place.number}", self)
        return write_condition(place.when, f"w{place.number}", self) if place.chosen else []

    def _asked(self, place: Place) -> list[str]:
        """The function that answers a place, worked out once in a row."""
        number = place.number
        return [
            f"def n{number}():",
            f"    v = slots[{number}]",
            "    if v is EMPTY:",
            f"        v = solve({number}, r{number}, {self._thing(place.thing)})",
            "    if v.__class__ is Absent:",
            "        raise v.with_traceback(None)",
            "    return v",
        ]

    def _choice(self, place: Place) -> Callable[[Thing], Any]:
        program = self.program
        when = self.names[f"w{place.number}"]
        checks = [program.answers[key] for key in place.checks]

        def chosen(thing: Thing) -> Any:
            return program.choose(place, checks) if when(thing) else None

        return chosen

    def _default(self, place: Place) -> Callable[[Thing], Any]:
        """A field that no row states has its default."""
        run, attribute = self.plan.run, place.attribute

        def default(thing: Thing) -> Any:
            return run.default_of(thing, attribute)

        return default

    def _thing(self, thing: Thing) -> str:
        if thing.path not in self.things:
            self.things[thing.path] = f"T{len(self.things)}"
            self.names[self.things[thing.path]] = thing
        return self.things[thing.path]

    # -- the steps of a plan

    def _value(self, op: Op, value: Any) -> str:
        return self._thing(value) if isinstance(value, Thing) else self.constant_text(value)

    def _place(self, op: Op, number: int) -> str:
        return f"n{number}()"

    def _absent(self, op: Op, absent: Absent) -> str:
        label = f"A{len(self.names)}"
        self.names[label] = absent
        return f"raised({label})"

    def _gather(self, op: Op, word: str, *pairs: Op | None) -> str:
        parts = []
        for where, body in zip(pairs[::2], pairs[1::2], strict=True):
            wanted = None if where is None else self.write(where)
            value = (
                "True" if body is None else self.write(body) if word in ("any", "all") else self.number(body)
            )
            if word in ("any", "all"):
                joined = {"any": f"({wanted} and {value})", "all": f"(not {wanted} or {value})"}[word]
                parts.append(f"({value})" if wanted is None else joined)
            else:
                parts.append(value if wanted is None else f"*(({value},) if {wanted} else ())")
        if word in ("any", "all"):
            joiner, empty = (" or ", "False") if word == "any" else (" and ", "True")
            return f"({joiner.join(parts)})" if parts else empty
        items = "".join(f"{part}, " for part in parts)
        call = {"sum": "total", "count": "count"}.get(word, word)
        return f"{call}(({items}){self._rank(op) if word in ('greatest', 'least') else ''})"


def _raised(absent: Absent) -> Any:
    raise absent.with_traceback(None)


def _constantly(answer: Any) -> Callable[[], Any]:
    if isinstance(answer, Absent):
        return lambda: _raised(answer)
    return lambda: answer
