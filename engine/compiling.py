"""Understood expressions to Python source: one function per rule, check, choice and caution.

The source is made from checked `Op` trees only; every name and text enters through `repr`, every number
through the pool of constants. `exactness` decides which comparisons need the declared slack.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from decimal import Decimal
from fractions import Fraction
from typing import Any

from .functions import known_functions
from .meaning import Op
from .model import Model
from .programs import Check, Node, Programs, Route, Rule
from .runtime import CHECK

Exact = Callable[[Op], bool]


def exactness(model: Model, programs: Programs) -> Exact:
    """Answers whether an expression is free of divisions that may not end and of roots.

    A rule is exact when all its ways are; rules that lean on each other are settled by repetition.
    """
    rough: set[Node] = set()

    def exact(op: Op) -> bool:
        code, parts = op.code, op.parts
        if op.type.sort != "number":
            return True
        if code == "get":
            return (parts[0].type.detail, parts[1]) not in rough
        if code == "lookup":
            return model.tables[parts[0]].keys[0][2] != "linear"
        if code == "arithmetic" and parts[0] == "/":
            return exact(parts[1]) and _ends(model, parts[2])
        if code == "call" and not known_functions()[parts[0]].exact:
            return False
        return all(exact(child) for child in op.children())

    while True:
        found = {
            node
            for node, rule in programs.rules.items()
            if not all(exact(route.value) for route in rule.routes)
        }
        if found <= rough:
            return exact
        rough |= found


def _ends(model: Model, op: Op) -> bool:
    """True when dividing by this constant always ends within a few digits."""
    if op.code == "value":
        value = op.parts[0]
    elif op.code == "constant":
        value = model.constants[op.parts[0]][1]
    else:
        return False
    if not isinstance(value, Decimal) or not value:
        return False
    below = abs(Fraction(value).numerator)
    for prime in (2, 5):
        while below % prime == 0:
            below //= prime
    return below == 1


def grows(op: Op) -> bool:
    """True for a number with a product in it, which could grow from rule to rule."""
    return op.type.sort == "number" and any(
        step.code == "arithmetic" and step.parts[0] in ("*", "/", "^") for step in op.walk()
    )


class Pool:
    """Constants of the generated module: each distinct value once."""

    def __init__(self) -> None:
        self.lines: list[str] = []
        self.names: dict[str, str] = {}

    def decimal(self, value: Decimal) -> str:
        """The name of a decimal constant."""
        return self._named(f"Decimal({str(value)!r})", "c")

    def look(self, registry: str, name: str) -> str:
        """The name of something the namespace provides by name."""
        return self._named(f"{registry}[{name!r}]", "k")

    def _named(self, source: str, prefix: str) -> str:
        if source not in self.names:
            self.names[source] = f"{prefix}{len(self.names)}"
            self.lines.append(f"{self.names[source]} = {source}")
        return self.names[source]


class Writer:
    """Writes one expression as Python; what it goes through is counted by the evaluation, if wanted."""

    def __init__(self, model: Model, pool: Pool, exact: Exact, counted: bool = False) -> None:
        self.model, self.pool, self.exact, self.counted = model, pool, exact, counted

    def write(self, op: Op) -> str:
        """The source of an expression over `t`, the thing."""
        result: str = getattr(self, "_" + op.code)(op, *op.parts)
        return result

    def number(self, op: Op) -> str:
        """The source of an operand that must not be none."""
        source = self.write(op)
        if op.type.optional:
            return f"need({source}, {describe_read(op)!r})"
        return source

    def bounded(self, op: Op) -> str:
        """The source of the value of a rule; what a product could let grow from rule to rule is held."""
        source = self.write(op)
        return f"bounded({source})" if grows(op) else source

    def _each(self, source: str) -> str:
        return f"t.run.each({source})" if self.counted else source

    def constant_text(self, value: Any) -> str:
        """A constant of the engine as source."""
        return self.pool.decimal(value) if isinstance(value, Decimal) else repr(value)

    def _value(self, op: Op, value: Any) -> str:
        return self.constant_text(value)

    def _constant(self, op: Op, name: str) -> str:
        return self.constant_text(self.model.constants[name][1])

    def _reading(self, op: Op, name: str) -> str:
        return f"t.run.reading({name!r})"

    def _this(self, op: Op) -> str:
        return "t"

    def _item(self, op: Op, number: int) -> str:
        return f"v{number}"

    _bound = _item

    def _only(self, op: Op, kind: str) -> str:
        return f"t.run.only({kind!r})"

    def _get(self, op: Op, subject: Op, name: str) -> str:
        return f"{self.number(subject)}.get({name!r})"

    def _reach(self, op: Op, things: Op, name: str) -> str:
        return self._each(f"reach({self._each(self.write(things))}, {name!r})")

    def _property(self, op: Op, member: Op, series: str, name: str) -> str:
        return f"{self.pool.look('properties', f'{series}.{name}')}({self.number(member)})"

    def _lookup(self, op: Op, table: str, *keys: Op) -> str:
        return f"{self.pool.look('tables', table)}({', '.join(self.write(key) for key in keys)})"

    def _call(self, op: Op, name: str, *arguments: Op) -> str:
        function = known_functions()[name]
        run = self.pool.look("lent", name) if function.lender else function.run
        written = ", ".join(self.number(argument) for argument in arguments)
        if name in ("greatest", "least"):
            return f"{run}(({written},){self._rank(op)})"
        return f"{run}({written})"

    def _rank(self, op: Op) -> str:
        return f", {self.pool.look('ranks', op.type.detail)}" if op.type.sort == "member" else ""

    def _arithmetic(self, op: Op, sign: str, left: Op, right: Op) -> str:
        a, b = self.number(left), self.number(right)
        if sign == "/":
            return f"divide({a}, {b})"
        if sign == "^":
            return f"to_power({a}, {int(right.parts[0])})"
        return f"({a} {sign} {b})"

    def _negative(self, op: Op, operand: Op) -> str:
        return f"(-{self.number(operand)})"

    def _compare(self, op: Op, sign: str, left: Op, right: Op) -> str:
        if sign in ("is", "is not"):
            same = self._same(left, right)
            return same if sign == "is" else f"(not {same})"
        a, b = self.number(left), self.number(right)
        return self.ordered(sign, a, b, left, right)

    def ordered(self, sign: str, a: str, b: str, left: Op, right: Op) -> str:
        """The source of an order comparison of two operands already written."""
        if left.type.sort == "member":
            rank = self.pool.look("ranks", left.type.detail)
            return f"({rank}[{a}] {sign} {rank}[{b}])"
        if self.exact(left) and self.exact(right):
            return f"({a} {sign} {b})"
        return {
            ">=": f"at_least({a}, {b})",
            "<=": f"at_least({b}, {a})",
            ">": f"above({a}, {b})",
            "<": f"above({b}, {a})",
        }[sign]

    def _same(self, left: Op, right: Op) -> str:
        a, b = self.write(left), self.write(right)
        if left.type.sort in ("thing", "things"):
            return f"({a} is {b})"
        if left.type.sort == "number" == right.type.sort and not (self.exact(left) and self.exact(right)):
            return f"near({a}, {b})"
        if "nothing" in (left.type.sort, right.type.sort):
            return f"({a} is {b})"
        return f"({a} == {b})"

    def _not(self, op: Op, operand: Op) -> str:
        return f"(not {self.write(operand)})"

    def _logic(self, op: Op, word: str, left: Op, right: Op) -> str:
        return f"({self.write(left)} {word} {self.write(right)})"

    def _if(self, op: Op, condition: Op, then: Op, otherwise: Op) -> str:
        return f"({self.write(then)} if {self.write(condition)} else {self.write(otherwise)})"

    def _one_of(self, op: Op, operand: Op, *options: Op) -> str:
        return f"({self.write(operand)} in ({', '.join(self.write(option) for option in options)},))"

    def _given(self, op: Op, operand: Op) -> str:
        return f"given(lambda: {self.write(operand)})"

    def _aggregate(self, op: Op, word: str, number: int, over: Op, body: Op | None, where: Op | None) -> str:
        condition = f" if {self.write(where)}" if where is not None else ""
        value = "True" if body is None else self.write(body) if word in ("any", "all") else self.number(body)
        items = f"{value} for v{number} in {self._each(self.write(over))}{condition}"
        if word in ("any", "all"):
            return f"{word}({items})"
        if word == "count":
            return f"count({items})"
        if word == "sum":
            return f"total({items})"
        return f"{word}(({items}){self._rank(op)})"

    def _pick(self, op: Op, end: str, number: int, series: str, where: Op) -> str:
        members = self._each(self.pool.look("members" if end == "first" else "members_backward", series))
        return f"pick({members}, lambda v{number}: {self.write(where)}, {series!r})"


def describe_read(op: Op) -> str:
    """The name of what an operand reads, for a message."""
    return str(op.parts[-1]) if op.code in ("get", "reading", "constant") else op.code


def write_rule(rule: Rule, name: str, writer: Writer) -> list[str]:
    """A function that answers the value and notes in `t.route` which way was taken."""
    lines = [f"def {name}(t):"]
    lines += _alone(rule.routes, rule.name, writer)
    for number, route in enumerate(rule.routes):
        pad = "    "
        if route.when is not None:
            lines.append(f"{pad}if {writer.write(route.when)}:")
            pad += "    "
        if len(rule.routes) > 1:
            lines.append(f"{pad}t.route[{rule.name!r}] = {number}")
        lines.append(f"{pad}return {writer.bounded(route.value)}")
        if route.when is None:
            return lines
    lines.append(f"    raise Absent(['no way of ' + t.path + {'.' + rule.name!r} + ' applies'], True)")
    return lines


def _alone(routes: list[Route], key: str, writer: Writer) -> list[str]:
    """The lines that refuse two exceptions of one rank that both hold."""
    lines = []
    for rank in dict.fromkeys(route.rank for route in routes if route.rank is not None):
        same = [(n, route) for n, route in enumerate(routes) if route.rank == rank]
        if len(same) > 1:
            tests = ", ".join(
                f"({n}, {writer.write(route.when) if route.when else 'True'})" for n, route in same
            )
            lines.append(f"    alone(t, {key!r}, ({tests},))")
    return lines


def write_check(check: Check, name: str, writer: Writer) -> list[str]:
    """A function that answers None where the check does not apply, else (passes, actual, limit).

    Where the check has several ways, the place of the one taken is noted in `t.route` (-1 for none).
    """
    lines = [f"def {name}(t):"]
    if check.when is not None:
        lines += [f"    if not {writer.write(check.when)}:", "        return None"]
    if not check.ways:
        return [*lines, *_answer(check.require, "    ", writer)]
    key = f"{CHECK}{check.name}"
    lines += [f"    t.route[{key!r}] = -1", *_alone(check.exceptions, key, writer)]
    for number, way in enumerate(check.exceptions):
        lines += [
            f"    if {writer.write(way.when) if way.when is not None else 'True'}:",
            f"        t.route[{key!r}] = {number}",
            *_answer(way.value, "        ", writer),
        ]
    if check.plain is not None:
        return [*lines, *_answer(check.plain, "    ", writer)]
    ways = "".join(
        f"lambda: {_verdict(way.value, writer)}"
        f"{'' if way.when is None else f' if {writer.write(way.when)} else None'}, "
        for way in check.alternatives
    )
    return [*lines, f"    return enough(t, {key!r}, {len(check.exceptions)}, ({ways}))"]


def _sides(require: Op, writer: Writer) -> tuple[str, str, str] | None:
    """The sources of both sides of a requirement that is one comparison, and of their order."""
    if require.code != "compare" or require.parts[0] not in ("<", "<=", ">", ">="):
        return None
    sign, left, right = require.parts
    return writer.number(left), writer.number(right), writer.ordered(sign, "a", "b", left, right)


def _answer(require: Op, pad: str, writer: Writer) -> list[str]:
    """The lines that answer (passes, actual, limit)."""
    sides = _sides(require, writer)
    if sides is None:
        return [f"{pad}return {writer.write(require)}, None, None"]
    return [f"{pad}a = {sides[0]}", f"{pad}b = {sides[1]}", f"{pad}return {sides[2]}, a, b"]


def _verdict(require: Op, writer: Writer) -> str:
    """The same as one expression."""
    sides = _sides(require, writer)
    if sides is None:
        return f"({writer.write(require)}, None, None)"
    return f"(lambda a, b: ({sides[2]}, a, b))({sides[0]}, {sides[1]})"


def write_condition(when: Op | None, name: str, writer: Writer) -> list[str]:
    """A function that answers whether a condition holds."""
    return [f"def {name}(t):", f"    return {writer.write(when) if when is not None else 'True'}"]


def compile_book(model: Model, programs: Programs) -> tuple[str, dict[str, str]]:
    """The source of a module with every program of the book, and the function name for each.

    Keys of the map: `rule kind.name`, `choice kind.name`, `check name`, `caution name`, `output name`.
    """
    pool = Pool()
    writer = Writer(model, pool, exactness(model, programs), counted=True)
    names: dict[str, str] = {}
    body: list[str] = []

    def put(key: str, write: Callable[[str], Iterable[str]]) -> None:
        names[key] = f"f{len(names)}"
        body.extend(["", *write(names[key])])

    for (kind, name), rule in programs.rules.items():
        put(f"rule {kind}.{name}", lambda n, rule=rule: write_rule(rule, n, writer))  # type: ignore[misc]
    for (kind, name), choice in programs.choices.items():
        put(f"choice {kind}.{name}", lambda n, c=choice: write_condition(c.when, n, writer))  # type: ignore[misc]
    for check in programs.checks:
        put(f"check {check.name}", lambda n, check=check: write_check(check, n, writer))  # type: ignore[misc]
    for output in programs.outputs:
        put(f"output {output.entry.name}", lambda n, o=output: write_condition(o.when, n, writer))  # type: ignore[misc]
    for caution in programs.cautions:
        put(f"caution {caution.entry.name}", lambda n, c=caution: write_condition(c.when, n, writer))  # type: ignore[misc]
    return "\n".join([*pool.lines, *body, ""]), names
