"""An expression with its values put in: `factor * load` read as `1.5 * 20 A`, and what was read on the way.

What has a name is looked up, and every other value comes from the code that the rules are compiled to:
nothing here interprets an expression. What the evaluation did not need (the branch not taken, the rest of an
`and` that failed) is left out.
"""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal
from itertools import groupby
from typing import Any

from .evaluating import Thing
from .expressions import Bound, Expressions, Step
from .grammar import phrases
from .grammar.phrases import Phrase
from .runtime import Absent
from .units import Unit, show

DIGITS = 6
"""Significant digits shown: enough that a reader can follow the arithmetic with a calculator."""
MOST_DIGITS = 12
MOST_EQUAL = 3
"""More equal parts of an aggregate than these are counted, not listed."""


def text_of(value: Any, unit: Unit | None, digits: int = DIGITS) -> str:
    """A value for reading."""
    if value is None:
        return "none"
    if isinstance(value, Absent):
        return "none" if value.void else "undetermined"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, Decimal):
        return show(value, unit, digits) if unit is not None else f"{value:f}"
    if isinstance(value, Thing):
        return value.path
    if isinstance(value, list):
        return ", ".join(text_of(one, unit) for one in value) or "nothing"
    return str(value)


def _counted(parts: list[Phrase]) -> Iterator[Phrase]:
    """The parts of an aggregate, many equal ones that follow each other as one and how many there are."""
    for phrase, group in groupby(parts):
        equal = list(group)
        if len(equal) > MOST_EQUAL:
            yield Phrase(f"{phrase.text} {len(equal)} times")
        else:
            yield from equal


class Trace:
    """What an expression read, in order, each once.

    `reads` are attributes of things, `links` those by which it came to other things or found nothing given,
    `entries` constants and readings with their values.
    """

    __slots__ = ("conditions", "entries", "links", "lookups", "picks", "reads")

    def __init__(self) -> None:
        self.reads: dict[tuple[str, str], Thing] = {}
        self.links: dict[tuple[str, str], Thing] = {}
        self.entries: dict[str, tuple[Any, Unit | None]] = {}
        self.lookups: list[tuple[Step, list[Any], list[str], Any]] = []
        self.picks: list[tuple[Step, str, str, Any]] = []
        self.conditions: list[tuple[str, str]] = []


class Substitution:
    """Puts the values of one thing into expressions, and notes in `trace` what it meets."""

    def __init__(self, expressions: Expressions, thing: Thing, trace: Trace | None = None) -> None:
        self.expressions, self.thing = expressions, thing
        self.trace = trace if trace is not None else Trace()
        self.member_units: dict[int, Unit | None] = {}

    def text(self, step: Step) -> str:
        """The expression with its values put in."""
        return self.put(step, {}).text

    def side(self, step: Step) -> str:
        """The same for what stands on one side of an `=`: an outermost name, lookup or pick stays itself."""
        return self.put(step, {}, outermost=True).text

    def put(self, step: Step, bound: Bound, outermost: bool = False) -> Phrase:
        """The phrase with the values put in."""
        if step.code in ("if", "lookup", "property", "pick", "get"):
            made: Phrase = getattr(self, "_" + step.code)(step, bound, outermost)
        else:
            made = getattr(self, "_" + step.code)(step, bound)
        return made

    def _attempt(self, step: Step, bound: Bound) -> Any:
        return self.expressions.attempt(step, self.thing, bound)

    def _leaf(self, value: Any, step: Step) -> Phrase:
        if isinstance(value, Absent):
            return Phrase(f"{step.text}?")
        unit = self.member_units[step.parts[0]] if step.code == "bound" else step.unit
        text = text_of(value, unit)
        if not isinstance(value, Decimal) or unit is None:
            return Phrase(text)
        if unit.text == "1":
            return phrases.literal(text)
        amount, _, symbol = text.partition(" ")
        return phrases.literal(amount, symbol)

    def _free(self, step: Step, bound: Bound) -> bool:
        """Whether it speaks of a member that is still being looked for."""
        return any(number not in bound for number in step.loose)

    def _value(self, step: Step, bound: Bound) -> Phrase:
        return step.phrase

    def _constant(self, step: Step, bound: Bound) -> Phrase:
        value = self.expressions.of(step, self.thing, bound)
        self.trace.entries[f"constants/{step.parts[0]}"] = (value, step.unit)
        return self._leaf(value, step)

    def _reading(self, step: Step, bound: Bound) -> Phrase:
        value = self.expressions.of(step, self.thing, bound)
        self.trace.entries[f"readings/{step.parts[0]}"] = (value, None)
        return Phrase(str(value))

    def _this(self, step: Step, bound: Bound) -> Phrase:
        return self._leaf(self._attempt(step, bound), step)

    _only = _this
    _reach = _this

    def _item(self, step: Step, bound: Bound) -> Phrase:
        return self._leaf(bound[step.parts[0]], step) if step.parts[0] in bound else step.phrase

    _bound = _item

    def _get(self, step: Step, bound: Bound, outermost: bool) -> Phrase:
        subject, name = step.parts
        if self._free(step, bound):
            return step.phrase
        self._note_links(subject, bound)
        owner = self._attempt(subject, bound)
        if isinstance(owner, Thing):
            self.trace.reads[owner.path, name] = owner
        else:
            self.put(subject, bound)
        return step.phrase if outermost else self._leaf(self._attempt(step, bound), step)

    def _property(self, step: Step, bound: Bound, outermost: bool) -> Phrase:
        member, _, name = step.parts
        of = self.put(member, bound).text
        printed = Phrase(f"({of}).{name}")
        if self._free(step, bound):
            return printed
        value = self._attempt(step, bound)
        self.trace.lookups.append((step, [self._attempt(member, bound)], [of], value))
        return printed if outermost else self._leaf(value, step)

    def _lookup(self, step: Step, bound: Bound, outermost: bool) -> Phrase:
        table, *keys = step.parts
        put = [self.put(key, bound) for key in keys]
        printed = phrases.lookup(table, put)
        if self._free(step, bound):
            return printed
        value = self._attempt(step, bound)
        found = [self._attempt(key, bound) for key in keys]
        self.trace.lookups.append((step, found, [phrase.text for phrase in put], value))
        return printed if outermost or isinstance(value, Absent) else self._leaf(value, step)

    def _call(self, step: Step, bound: Bound) -> Phrase:
        name, *arguments = step.parts
        return phrases.call(name, [self.put(argument, bound) for argument in arguments])

    def _arithmetic(self, step: Step, bound: Bound) -> Phrase:
        sign, left, right = step.parts
        first, second = self.put(left, bound), self.put(right, bound)
        if sign == "/" and second.unit and not second.unit.isalnum():
            second = Phrase(second.grouped())
        return phrases.arithmetic(sign, first, second)

    def _negative(self, step: Step, bound: Bound) -> Phrase:
        return phrases.negative(self.put(step.parts[0], bound))

    def _compare(self, step: Step, bound: Bound) -> Phrase:
        sign, left, right = step.parts
        first, second = self.put(left, bound), self.put(right, bound)
        if sign == "is" and first.text == second.text:
            return step.phrase
        return phrases.comparison(sign, first, second)

    def _one_of(self, step: Step, bound: Bound) -> Phrase:
        operand, *options = step.parts
        return phrases.one_of(self.put(operand, bound), [self.put(option, bound) for option in options])

    def _given(self, step: Step, bound: Bound) -> Phrase:
        operand = step.parts[0]
        if not self._free(step, bound) and not self.expressions.of(step, self.thing, bound):
            self._note_links(operand, bound)
            return phrases.given(operand.phrase)
        return phrases.given(self.put(operand, bound))

    def _not(self, step: Step, bound: Bound) -> Phrase:
        return self.put(step.parts[0], bound).denied()

    def _logic(self, step: Step, bound: Bound) -> Phrase:
        word, left, right = step.parts
        first = self.put(left, bound)
        if not self._free(left, bound):
            value = self._attempt(left, bound)
            if isinstance(value, Absent) or bool(value) == (word == "or"):
                return first
        return phrases.logic(word, first, self.put(right, bound))

    def _if(self, step: Step, bound: Bound, outermost: bool) -> Phrase:
        condition, then, otherwise = step.parts
        put = self.put(condition, bound)
        holds = None if self._free(condition, bound) else self._attempt(condition, bound)
        if holds is None or isinstance(holds, Absent):
            return phrases.either(put, then.phrase, otherwise.phrase)
        asked = condition.phrase if holds else condition.phrase.denied()
        self.trace.conditions.append((asked.text, (put if holds else put.denied()).text))
        return self.put(then if holds else otherwise, bound, outermost)

    def _aggregate(self, step: Step, bound: Bound) -> Phrase:
        word, number, over, body, where = step.parts
        if self._free(step, bound):
            return step.phrase
        self._note_links(over, bound)
        things = self._attempt(over, bound)
        if isinstance(things, Absent):
            return Phrase(f"{step.text}?")
        if body is None or not things:
            self._note_relation(over, bound)
        parts = []
        for item in things:
            inner = {**bound, number: item}
            if where is not None:
                self.put(where, inner)
                holds = self._attempt(where, inner)
                if isinstance(holds, Absent) or not holds:
                    continue
            parts.append(Phrase(item.path) if body is None else self.put(body, inner))
            if word in ("any", "all"):
                value = self._attempt(body, inner)
                if isinstance(value, Absent) or bool(value) == (word == "any"):
                    break
        return phrases.call(f"{word} of ", list(_counted(parts))) if parts else Phrase(f"{word} of nothing")

    def _note_links(self, step: Step, bound: Bound) -> None:
        """Note every attribute on the way to a thing."""
        for part in step.parts:
            if isinstance(part, Step):
                self._note_links(part, bound)
        if step.code in ("get", "reach") and not self._free(step, bound):
            subject, name = step.parts
            found = self._attempt(subject, bound)
            for owner in found if isinstance(found, list) else [found]:
                if isinstance(owner, Thing):
                    self.trace.links[owner.path, name] = owner

    def _note_relation(self, over: Step, bound: Bound) -> None:
        """Where a relation itself is what counts, it is something read."""
        if over.code == "get":
            owner = self._attempt(over.parts[0], bound)
            if isinstance(owner, Thing):
                self.trace.reads[owner.path, over.parts[1]] = owner

    def _pick(self, step: Step, bound: Bound, outermost: bool) -> Phrase:
        end, number, _, where, variable, series = step.parts
        self.member_units[number] = step.unit
        printed = phrases.filtered(f"{end} {variable} in {series}", self.put(where, bound))
        if self._free(step, bound):
            return printed
        value = self._attempt(step, bound)
        if not isinstance(value, Absent):
            held = self.put(where, {**bound, number: value}).text
            self.trace.picks.append((step, held, self._passed_over(step, bound, value), value))
        return printed if outermost or isinstance(value, Absent) else self._leaf(value, step)

    def _passed_over(self, step: Step, bound: Bound, value: Any) -> str:
        """The test of the member looked at just before the one picked; empty when the first one fits."""
        end, number, series, where = step.parts[:4]
        members = self.expressions.run.rulebook.members[series]
        before = members.index(value) - 1 if end == "first" else members.index(value) + 1
        if not 0 <= before < len(members):
            return ""
        return self.put(where, {**bound, number: members[before]}).text
