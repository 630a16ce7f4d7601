"""An expression with its values put in: `factor * load` read as `1.5 * 20 A`, and what was read on the way.

What has a name is looked up, and every other value comes from the code that the rules are compiled to:
nothing here interprets an expression. What the evaluation did not need (the branch not taken, the rest of an
`and` that failed) is left out.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from .books import CheckedBook
from .compiling import Pool, Writer, exactness
from .evaluating import Run, Thing
from .freezing import unit_text
from .grammar import print_tree, tree
from .meaning import Op
from .runtime import Absent
from .units import Unit, show

Bound = Mapping[int, Any]
"""The things and members that stand for the numbered names of an expression."""

OPPOSITE = {"is": "is not", "is not": "is", "<": ">=", ">=": "<", ">": "<=", "<=": ">"}

DIGITS = 6
"""Significant digits shown: enough that a reader can follow the arithmetic with a calculator."""
MOST_DIGITS = 12


class Values:
    """Sub-expressions of a checked book evaluated in a run; to be asked inside `run.exactly()`."""

    def __init__(self, run: Run, checked: CheckedBook) -> None:
        self.run, self.model, self.programs = run, checked.model, checked.programs
        self._exact = exactness(checked.model, checked.programs)
        self._compiled: dict[int, tuple[Op, Callable[..., Any], list[int]]] = {}
        self._named: dict[str, Callable[[Op, Thing, Bound], Any]] = {
            "this": lambda op, thing, bound: thing,
            "item": lambda op, thing, bound: bound[op.parts[0]],
            "bound": lambda op, thing, bound: bound[op.parts[0]],
            "only": lambda op, thing, bound: self.run.only(op.parts[0]),
            "constant": lambda op, thing, bound: self.model.constants[op.parts[0]][1],
            "reading": lambda op, thing, bound: self.run.reading(op.parts[0]),
            "get": self._get,
        }
        self._loose: dict[int, tuple[Op, frozenset[int]]] = {}
        self._written: dict[int, tuple[Op, str]] = {}

    def written(self, op: Op) -> str:
        """The expression as its rule writes it."""
        if id(op) not in self._written:
            self._written[id(op)] = op, print_tree(op.node)
        return self._written[id(op)][1]

    def loose(self, op: Op) -> frozenset[int]:
        """The numbered names that an expression uses and does not make itself."""
        if id(op) not in self._loose:
            used = {step.parts[0] for step in op.walk() if step.code in ("item", "bound")}
            made = {step.parts[1] for step in op.walk() if step.code in ("aggregate", "pick")}
            self._loose[id(op)] = op, frozenset(used - made)
        return self._loose[id(op)][1]

    def of(self, op: Op, thing: Thing, bound: Bound) -> Any:
        """The value of an expression on a thing; raises `Absent`."""
        named = self._named.get(op.code)
        if named is not None:
            return named(op, thing, bound)
        if id(op) not in self._compiled:
            self._compiled[id(op)] = self._compile(op)
        _, function, numbers = self._compiled[id(op)]
        return function(thing, *(bound.get(number) for number in numbers))

    def _get(self, op: Op, thing: Thing, bound: Bound) -> Any:
        return self.of(op.parts[0], thing, bound).get(op.parts[1])

    def attempt(self, op: Op, thing: Thing, bound: Bound) -> Any:
        """The value, or the `Absent` that stands in its place."""
        try:
            return self.of(op, thing, bound)
        except Absent as absent:
            return absent

    def _compile(self, op: Op) -> tuple[Op, Callable[..., Any], list[int]]:
        pool = Pool()
        source = Writer(self.model, pool, self._exact).write(op)
        numbers = sorted({step.parts[0] for step in op.walk() if step.code in ("item", "bound")})
        parameters = ", ".join(["t", *(f"v{number}" for number in numbers)])
        namespace = dict(self.run.rulebook.namespace)
        exec("\n".join([*pool.lines, f"def f({parameters}): return {source}"]), namespace)
        return op, namespace["f"], numbers

    def unit_of(self, op: Op) -> Unit | None:
        """The unit an expression is shown in."""
        if op.code == "constant":
            text = self.model.constants[op.parts[0]][2].body.get("unit")
            return self.model.units.unit(str(text)) if text is not None else None
        if op.code == "pick":
            return self.model.series[op.parts[2]].unit
        if op.code == "property":
            return self.model.series[op.parts[1]].properties[op.parts[2]][1]
        text = unit_text(self.model, op)
        return self.model.units.unit(text) if text is not None else None


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


@dataclass
class Trace:
    """What an expression read, in order, each once.

    `reads` are attributes of things, `entries` constants and readings with their values as text.
    """

    reads: dict[tuple[str, str], Thing] = field(default_factory=dict)
    entries: dict[str, tuple[Any, Unit | None]] = field(default_factory=dict)
    lookups: list[tuple[Op, list[Any], list[str], Any]] = field(default_factory=list)
    picks: list[tuple[Op, str, str, Any]] = field(default_factory=list)
    conditions: list[tuple[str, str]] = field(default_factory=list)


def negated(node: tree.Node) -> tree.Node:
    """The condition that holds where this one does not, in the words that read best."""
    match node:
        case tree.OneOf(operand, options, no):
            return tree.OneOf(operand, options, not no)
        case tree.Given(operand, no):
            return tree.Given(operand, not no)
        case tree.Comparison(op, left, right):
            return tree.Comparison(OPPOSITE[op], left, right)
        case tree.Not(operand):
            return operand
        case _:
            return tree.Not(node)


class Substitution:
    """Puts the values of one thing into expressions, and notes in `trace` what it meets."""

    def __init__(self, values: Values, thing: Thing, trace: Trace | None = None) -> None:
        self.values, self.thing = values, thing
        self.trace = trace if trace is not None else Trace()
        self.member_units: dict[int, Unit | None] = {}

    def text(self, op: Op) -> str:
        """The expression with its values put in."""
        return print_tree(self.put(op, {}))

    def side(self, op: Op) -> str:
        """The same for what stands on one side of an `=`: an outermost name, lookup or pick stays itself."""
        return print_tree(self.put(op, {}, outermost=True))

    def put(self, op: Op, bound: Bound, outermost: bool = False) -> tree.Node:
        """The tree with the values put in."""
        if op.code in ("if", "lookup", "property", "pick", "get"):
            made: tree.Node = getattr(self, "_" + op.code)(op, bound, outermost)
        else:
            made = getattr(self, "_" + op.code)(op, bound)
        return made

    def _leaf(self, value: Any, op: Op) -> tree.Node:
        if isinstance(value, Absent):
            return tree.Name(f"{print_tree(op.node)}?")
        unit = self.member_units[op.parts[0]] if op.code == "bound" else self.values.unit_of(op)
        text = text_of(value, unit)
        if not isinstance(value, Decimal) or unit is None:
            return tree.Name(text)
        if unit.text == "1":
            return tree.Number(text)
        amount, _, symbol = text.partition(" ")
        return tree.Quantity(amount, symbol)

    def _free(self, op: Op, bound: Bound) -> bool:
        """Whether it speaks of a member that is still being looked for."""
        return bool(self.values.loose(op) - bound.keys())

    def _value(self, op: Op, bound: Bound) -> tree.Node:
        return op.node

    def _constant(self, op: Op, bound: Bound) -> tree.Node:
        value = self.values.of(op, self.thing, bound)
        self.trace.entries[f"constants/{op.parts[0]}"] = (value, self.values.unit_of(op))
        return self._leaf(value, op)

    def _reading(self, op: Op, bound: Bound) -> tree.Node:
        value = self.values.of(op, self.thing, bound)
        self.trace.entries[f"readings/{op.parts[0]}"] = (value, None)
        return tree.Name(str(value))

    def _this(self, op: Op, bound: Bound) -> tree.Node:
        return self._leaf(self.values.attempt(op, self.thing, bound), op)

    _only = _this

    def _item(self, op: Op, bound: Bound) -> tree.Node:
        return self._leaf(bound[op.parts[0]], op) if op.parts[0] in bound else op.node

    _bound = _item

    def _get(self, op: Op, bound: Bound, outermost: bool) -> tree.Node:
        subject, name = op.parts
        if self._free(op, bound):
            return op.node
        owner = self.values.attempt(subject, self.thing, bound)
        if isinstance(owner, Thing):
            self.trace.reads[owner.path, name] = owner
        else:
            self.put(subject, bound)
        return op.node if outermost else self._leaf(self.values.attempt(op, self.thing, bound), op)

    def _reach(self, op: Op, bound: Bound) -> tree.Node:
        return self._leaf(self.values.attempt(op, self.thing, bound), op)

    def _property(self, op: Op, bound: Bound, outermost: bool) -> tree.Node:
        member, _, name = op.parts
        of = self.put(member, bound)
        printed = tree.Property(tree.Name(f"({print_tree(of)})"), name)
        if self._free(op, bound):
            return printed
        value = self.values.attempt(op, self.thing, bound)
        key = self.values.attempt(member, self.thing, bound)
        self.trace.lookups.append((op, [key], [print_tree(of)], value))
        return printed if outermost else self._leaf(value, op)

    def _lookup(self, op: Op, bound: Bound, outermost: bool) -> tree.Node:
        table, *keys = op.parts
        put = tuple(self.put(key, bound) for key in keys)
        printed = tree.Lookup(table, put)
        if self._free(op, bound):
            return printed
        value = self.values.attempt(op, self.thing, bound)
        found = [self.values.attempt(key, self.thing, bound) for key in keys]
        self.trace.lookups.append((op, found, [print_tree(node) for node in put], value))
        return printed if outermost or isinstance(value, Absent) else self._leaf(value, op)

    def _call(self, op: Op, bound: Bound) -> tree.Node:
        name, *arguments = op.parts
        return tree.Call(name, tuple(self.put(argument, bound) for argument in arguments))

    def _arithmetic(self, op: Op, bound: Bound) -> tree.Node:
        sign, left, right = op.parts
        first, second = self.put(left, bound), self.put(right, bound)
        if sign == "/" and isinstance(second, tree.Quantity) and not second.unit.isalnum():
            second = tree.Name(f"({print_tree(second)})")
        return tree.Arithmetic(sign, first, second)

    def _negative(self, op: Op, bound: Bound) -> tree.Node:
        return tree.Negative(self.put(op.parts[0], bound))

    def _compare(self, op: Op, bound: Bound) -> tree.Node:
        sign, left, right = op.parts
        first, second = self.put(left, bound), self.put(right, bound)
        if sign == "is" and first == second:
            return op.node
        return tree.Comparison(sign, first, second)

    def _one_of(self, op: Op, bound: Bound) -> tree.Node:
        operand, *options = op.parts
        return tree.OneOf(self.put(operand, bound), tuple(self.put(option, bound) for option in options))

    def _given(self, op: Op, bound: Bound) -> tree.Node:
        operand = op.parts[0]
        if not self._free(op, bound) and not self.values.of(op, self.thing, bound):
            return tree.Given(operand.node)
        return tree.Given(self.put(operand, bound))

    def _not(self, op: Op, bound: Bound) -> tree.Node:
        return negated(self.put(op.parts[0], bound))

    def _logic(self, op: Op, bound: Bound) -> tree.Node:
        word, left, right = op.parts
        first = self.put(left, bound)
        if not self._free(left, bound):
            value = self.values.attempt(left, self.thing, bound)
            if isinstance(value, Absent) or bool(value) == (word == "or"):
                return first
        return tree.Logic(word, first, self.put(right, bound))

    def _if(self, op: Op, bound: Bound, outermost: bool) -> tree.Node:
        condition, then, otherwise = op.parts
        put = self.put(condition, bound)
        if self._free(condition, bound):
            return tree.If(put, then.node, otherwise.node)
        holds = self.values.attempt(condition, self.thing, bound)
        if isinstance(holds, Absent):
            return tree.If(put, then.node, otherwise.node)
        asked = condition.node if holds else negated(condition.node)
        self.trace.conditions.append((print_tree(asked), print_tree(put if holds else negated(put))))
        return self.put(then if holds else otherwise, bound, outermost)

    def _aggregate(self, op: Op, bound: Bound) -> tree.Node:
        word, number, over, body, where = op.parts
        if self._free(op, bound):
            return op.node
        things = self.values.attempt(over, self.thing, bound)
        if isinstance(things, Absent):
            return tree.Name(f"{print_tree(op.node)}?")
        if body is None or not things:
            self._note_relation(over, bound)
        parts = []
        for item in things:
            inner = {**bound, number: item}
            if where is not None:
                self.put(where, inner)
                holds = self.values.attempt(where, self.thing, inner)
                if isinstance(holds, Absent) or not holds:
                    continue
            parts.append(tree.Name(item.path) if body is None else self.put(body, inner))
            if word in ("any", "all"):
                value = self.values.attempt(body, self.thing, inner)
                if isinstance(value, Absent) or bool(value) == (word == "any"):
                    break
        return tree.Call(f"{word} of ", tuple(parts)) if parts else tree.Name(f"{word} of nothing")

    def _note_relation(self, over: Op, bound: Bound) -> None:
        """Where a relation itself is what counts, it is something read."""
        if over.code == "get":
            owner = self.values.attempt(over.parts[0], self.thing, bound)
            if isinstance(owner, Thing):
                self.trace.reads[owner.path, over.parts[1]] = owner

    def _pick(self, op: Op, bound: Bound, outermost: bool) -> tree.Node:
        end, number, series, where = op.parts
        assert isinstance(op.node, tree.Pick)
        self.member_units[number] = self.values.model.series[series].unit
        printed = tree.Pick(end, op.node.variable, op.node.series, self.put(where, bound))
        if self._free(op, bound):
            return printed
        value = self.values.attempt(op, self.thing, bound)
        if not isinstance(value, Absent):
            held = print_tree(self.put(where, {**bound, number: value}))
            self.trace.picks.append((op, held, self._passed_over(op, bound, value), value))
        return printed if outermost or isinstance(value, Absent) else self._leaf(value, op)

    def _passed_over(self, op: Op, bound: Bound, value: Any) -> str:
        """The test of the member looked at just before the one picked; empty when the first one fits."""
        end, number, series, where = op.parts
        members = self.values.run.rulebook.members[series]
        before = members.index(value) - 1 if end == "first" else members.index(value) + 1
        if not 0 <= before < len(members):
            return ""
        return print_tree(self.put(where, {**bound, number: members[before]}))
