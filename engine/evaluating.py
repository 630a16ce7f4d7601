"""One project under one book: demand-driven, every value kept with what it took.

A choice is made by binding: while a candidate is tried its name stands for the candidate, and whatever leaned
on it is forgotten with it. Nothing is built for an explanation here; values and ways taken are kept.
"""

from __future__ import annotations

import decimal
from collections.abc import Callable, Sequence
from decimal import Decimal

from .diagnostics import Diagnostic, GaugebookError
from .records import Record
from .rulebook import Attribute, Rulebook
from .runtime import CHECK, EXACT, Absent
from .units import show

TYPE_CHECKING = False

if TYPE_CHECKING:
    from typing import Any, ClassVar

    Verdict = tuple[bool, Any, Any]

MOST_STEPS = 20_000_000
"""What one project may take: a step for each thing or member gone through, more for what is worked out."""

WORKED_OUT = 8
"""Steps of a value worked out or a candidate tried, which takes about as much longer."""

UNSTATED = object()
"""In place of a value that nobody stated."""


class Rejected(Record):
    """A candidate that did not pass, and the first check that said so, by which of its ways (-1: its own)."""

    member: Any
    check: str
    actual: Any
    limit: Any
    reason: str | None
    way: int = -1


class Assumption(Record):
    """A field nobody stated, and the default that stood in."""

    thing: str
    field: str
    value: Any
    attribute: Attribute


class Thing:
    """A thing of a project; `memo` holds every value known of it."""

    __slots__ = ("kind", "memo", "name", "parent", "path", "provisional", "route", "run", "stated")

    def __init__(self, run: Run, kind: str, name: str, path: str, parent: Thing | None) -> None:
        self.run, self.kind, self.name, self.path, self.parent = run, kind, name, path, parent
        self.memo: dict[str, Any] = {}
        self.provisional: dict[str, set[int]] = {}
        self.route: dict[str, int] = {}
        self.stated: set[str] = set()

    def __repr__(self) -> str:
        return f"<{self.kind} {self.path}>"

    def get(self, name: str) -> Any:
        """The value of an attribute; raises `Absent` when there is none."""
        value = self.memo.get(name, self)
        if value is self:
            value = self.run.settle(self, name)
        elif self.provisional and name in self.provisional:
            self.run.touch(self.provisional[name])
        if value.__class__ is Absent:
            raise value.with_traceback(None)
        return value


class Run:
    """The evaluation of one project.

    `settled` maps readings to the option chosen and by whom (layer, project, call).
    """

    thing_type: ClassVar[type[Thing]] = Thing
    """What things are made of; a subclass may watch them."""

    def __init__(self, rulebook: Rulebook, settled: dict[str, tuple[str, str]] | None = None) -> None:
        self.rulebook = rulebook
        self.settled = settled or {}
        self.things: dict[str, Thing] = {}
        self.by_kind: dict[str, list[Thing]] = {kind: [] for kind in rulebook.kinds}
        self.assumptions: dict[tuple[str, str], Assumption] = {}
        self.readings_used: dict[str, tuple[str, str]] = {}
        self.rejected: dict[tuple[str, str], list[Rejected]] = {}
        self.notices: list[Diagnostic] = []
        self._frames: list[set[int]] = []
        self._trials: dict[int, list[tuple[Thing, str]]] = {}
        self._next_trial = 0
        self._steps = 0
        self._open: dict[tuple[str, str], None] = {}
        self._marked: dict[tuple[str, str], set[int]] = {}

    def exactly(self) -> Exactly:
        """Arithmetic with the digits the language promises; `GaugebookError` where values lean too deep."""
        return Exactly()

    def add(self, thing: Thing) -> None:
        """Take a thing into the project."""
        self.things[thing.path] = thing
        self.by_kind[thing.kind].append(thing)

    def only(self, kind: str) -> Thing:
        """The one thing of a kind that has exactly one."""
        things = self.by_kind[kind]
        if not things:
            raise Absent([f"the project states no {kind}"])
        return things[0]

    def reading(self, name: str) -> str:
        """The option of a reading in force here."""
        if name not in self.readings_used:
            body = self.rulebook.frozen["readings"][name]
            self.readings_used[name] = self.settled.get(name) or (str(body["default"]), "default")
        return self.readings_used[name][0]

    def each(self, items: Sequence[Any]) -> Sequence[Any]:
        """The things or members that a rule is about to go through, each of them a step."""
        self._step(len(items))
        return items

    def _step(self, number: int) -> None:
        """Take some steps; raises `GaugebookError` when there were too many."""
        self._steps += number
        if self._steps > MOST_STEPS:
            raise GaugebookError.because("too-much-work", limit=MOST_STEPS)

    def touch(self, trials: set[int]) -> None:
        """The value being computed leans on these trials."""
        if self._frames:
            self._frames[-1].update(trials)

    def contradiction(self, thing: Thing, name: str, holding: list[int]) -> None:
        """Report exceptions of one rank that all hold."""
        if name.startswith(CHECK):
            routes = self.rulebook.checks[name.removeprefix(CHECK)]["ways"]
        else:
            routes = self.rulebook.frozen["rules"][f"{thing.kind}.{name}"]["routes"]
        names = ", ".join(routes[number]["name"] for number in holding)
        raise GaugebookError.because("exceptions-contradict", thing=thing.path, attribute=name, names=names)

    def settle(self, thing: Thing, name: str) -> Any:
        """Compute an attribute once and remember it; an `Absent` is remembered like a value."""
        attribute = self.rulebook.attributes[thing.kind].get(name)
        if attribute is None:
            raise KeyError(f"{thing.kind}.{name}")
        key = (thing.path, name)
        if key in self._open:
            chain = [*list(self._open)[list(self._open).index(key) :], key]
            raise GaugebookError.because(
                "values-lean-on-each-other", path=" -> ".join(".".join(k) for k in chain)
            )
        self._step(WORKED_OUT)
        self._open[key] = None
        self._frames.append(set())
        try:
            try:
                value = self._compute(thing, attribute)
            except Absent as absent:
                value = absent
        finally:
            touched = self._frames.pop()
            touched.update(self._marked.get(key, ()))
            del self._open[key]
        thing.memo[name] = value
        if touched:
            thing.provisional[name] = touched
            for trial in touched:
                self._trials[trial].append((thing, name))
            self.touch(touched)
        return value

    def _compute(self, thing: Thing, attribute: Attribute) -> Any:
        if attribute.role == "rule":
            return self.rulebook.functions[f"rule {attribute.key}"](thing)
        if attribute.role == "choice":
            return self._choose(thing, attribute)
        return self.default_of(thing, attribute)

    def default_of(self, thing: Thing, attribute: Attribute) -> Any:
        """The value of a field nobody stated; raises `Absent` where it has none."""
        field = attribute.field or {}
        default = field.get("default")
        if default is None:
            if attribute.data["optional"]:
                if "assume" in field:
                    self.assumptions[thing.path, attribute.name] = Assumption(
                        thing.path, attribute.name, None, attribute
                    )
                return None
            ask = f" ({field['ask']})" if "ask" in field else ""
            raise Absent([f"{thing.path}.{'.'.join(attribute.steps)} is not stated{ask}"])
        value = read_value(self.rulebook, attribute, str(default))
        self.assumptions[thing.path, attribute.name] = Assumption(
            thing.path, attribute.name, value, attribute
        )
        return value

    def _new_trial(self) -> int:
        """The number of a trial that begins; what comes to lean on it is remembered under it."""
        trial = self._next_trial
        self._next_trial += 1
        self._trials[trial] = []
        return trial

    # -- other values for stated ones

    def bound(self, values: dict[tuple[str, str], Any]) -> Bound:
        """For a while, let (thing, field) have other values; `UNSTATED` takes back what was stated.

        Whatever leans on one of them is worked out anew inside and forgotten afterwards; everything else is
        kept, so that many such bindings one after the other cost only what really changes. What was worked out
        before the first of them counts as what does not lean on any: begin with a run nobody has asked yet.
        Answers the number of the trial, by which `leaning` tells what leans on it.
        """
        return Bound(self, values)

    def bind(self, values: dict[tuple[str, str], Any]) -> tuple[int, list[tuple[Thing, str, Any, bool]]]:
        """Begin what `bound` does: the number of the trial, and what was there before."""
        trial = self._new_trial()
        self._steps = 0
        before = []
        for (path, name), value in values.items():
            thing = self.things[path]
            before.append((thing, name, thing.memo.pop(name, UNSTATED), name in thing.stated))
            thing.stated.discard(name)
            self._marked[path, name] = {trial}
            if value is not UNSTATED:
                thing.provisional[name] = {trial}
                thing.memo[name] = value
                thing.stated.add(name)
        return trial, before

    def release(self, trial: int, before: list[tuple[Thing, str, Any, bool]]) -> None:
        """End what `bind` began."""
        for thing, name in self._trials.pop(trial):
            thing.memo.pop(name, None)
            thing.provisional.pop(name, None)
            self.assumptions.pop((thing.path, name), None)
            self.rejected.pop((thing.path, name), None)
        for thing, name, value, stated in before:
            del self._marked[thing.path, name]
            thing.provisional.pop(name, None)
            thing.memo.pop(name, None)
            if value is not UNSTATED:
                thing.memo[name] = value
            (thing.stated.add if stated else thing.stated.discard)(name)

    def leaning(self, ask: Callable[[], Any]) -> tuple[Any, set[int]]:
        """What a question comes to (an `Absent` where it has no answer), and the trials it leans on."""
        self._frames.append(set())
        try:
            answer = ask()
        except Absent as absent:
            answer = absent
        return answer, self._frames.pop()

    # -- choices

    def _choose(self, thing: Thing, attribute: Attribute) -> Any:
        if not self.rulebook.functions[f"choice {attribute.key}"](thing):
            return None
        choice = self.rulebook.frozen["choices"][attribute.key]
        rejected: list[Rejected] = []
        chosen: Any = self
        for member in self.rulebook.members[choice["series"]]:
            verdict = self._try(thing, attribute.name, member, choice["checks"])
            if verdict is None:
                chosen = member
                break
            rejected.append(verdict)
        self.rejected[thing.path, attribute.name] = rejected
        if chosen is self:
            raise Absent([_none_passes(thing, attribute, rejected)], void=True)
        return chosen

    def _try(self, thing: Thing, name: str, member: Any, checks: list[str]) -> Rejected | None:
        """The first check a candidate fails; None when it passes them all."""
        self._step(WORKED_OUT)
        trial = self._new_trial()
        outside, self._open = self._open, {}
        thing.memo[name] = member
        thing.provisional[name] = {trial}
        try:
            for check in checks:
                try:
                    verdict = self.rulebook.functions[f"check {check}"](thing)
                except Absent as absent:
                    if not absent.void:
                        raise
                    return Rejected(member, check, None, None, "; ".join(absent.reasons))
                if verdict is not None and not verdict[0]:
                    way = thing.route.get(f"{CHECK}{check}", -1)
                    return Rejected(member, check, verdict[1], verdict[2], None, way)
            return None
        finally:
            for other, attribute in self._trials.pop(trial):
                other.memo.pop(attribute, None)
                other.provisional.pop(attribute, None)
            thing.memo.pop(name, None)
            thing.provisional.pop(name, None)
            self._frames[-1].discard(trial)
            self._open = outside

    def check(self, thing: Thing, name: str) -> Verdict | None:
        """The verdict of a check on a thing, None where it does not apply; raises `Absent`."""
        verdict: Verdict | None = self.rulebook.functions[f"check {name}"](thing)
        return verdict


class Exactly:
    """What `Run.exactly` answers."""

    def __enter__(self) -> None:
        self._context = decimal.localcontext(EXACT)
        self._context.__enter__()

    def __exit__(self, kind: type[BaseException] | None, error: object, trace: object) -> None:
        self._context.__exit__(None, None, None)
        if kind is not None and issubclass(kind, RecursionError):
            raise GaugebookError.because("leans-too-deep") from None


class Bound:
    """What `Run.bound` answers."""

    def __init__(self, run: Run, values: dict[tuple[str, str], Any]) -> None:
        self._run, self._values = run, values

    def __enter__(self) -> int:
        trial, self._before = self._run.bind(self._values)
        self._trial = trial
        return trial

    def __exit__(self, *_: object) -> None:
        self._run.release(self._trial, self._before)


def _none_passes(thing: Thing, attribute: Attribute, rejected: list[Rejected]) -> str:
    """Says what left no member; where several checks rejected some, each with its limit if it has but one."""
    said = f"no {attribute.name} of {thing.path} passes every check"
    limits: dict[str, set[Any]] = {}
    for candidate in rejected:
        limits.setdefault(candidate.check, set()).add(candidate.limit)
    if not limits:
        return said
    last = rejected[-1].check
    if len(limits) == 1:
        return f"{said}; the last one fails {last}"
    words = {check: _with_limit(thing.run.rulebook, check, values) for check, values in limits.items()}
    others = ", ".join(word for check, word in words.items() if check != last)
    return f"{said}; the last one fails {words[last]}, others {others}"


def _with_limit(rulebook: Rulebook, check: str, limits: set[Any]) -> str:
    """A check by name, and the limit it held every candidate to."""
    body, limit = rulebook.checks[check], next(iter(limits))
    if len(limits) > 1 or not isinstance(limit, Decimal) or body["unit"] is None:
        return check
    return f"{check} ({body['sign']} {show(limit, rulebook.units.unit(body['unit']))})"


def read_value(rulebook: Rulebook, attribute: Attribute, text: str) -> Any:
    """A stated value as the engine keeps it; raises `UnitError` or `ValueError` when it is not one."""
    if attribute.unit is not None:
        return rulebook.units.quantity_as(text, attribute.unit)
    if attribute.sort == "truth":
        if text not in ("yes", "no"):
            raise ValueError(text)
        return text == "yes"
    if attribute.sort == "word" and text not in rulebook.frozen["terms"][attribute.detail]:
        raise ValueError(text)
    if attribute.sort == "member" and text not in rulebook.ranks[str(attribute.detail)]:
        raise ValueError(text)
    return text
