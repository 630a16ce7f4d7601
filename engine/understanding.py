"""Reads an expression: parses it, finds out what its names stand for, and checks every type and unit."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from .declared import NOTHING, TRUTH, WRONG, Type
from .diagnostics import Diagnostic, GaugebookError, Problems, hint
from .entries import Entry
from .functions import known_functions
from .grammar import SyntaxProblem, parse, tree
from .meaning import Op
from .model import Model
from .naming import Names, Scope
from .units import NUMBER, UnitError


class Reader(Names):
    """Reads the expressions of one entry."""

    def __init__(self, model: Model, entry: Entry, kind: str, problems: Problems) -> None:
        super().__init__(model, entry, kind, problems)
        self.numbers = 0
        self.present: list[tree.Node] = []

    # -- entry points

    def read(self, text: Any, *path: str | int, expect: Type | None = None, given: Op | None = None) -> Op:
        """Parse and understand the expression at `path` of the entry.

        `given` is a condition known to hold. A wrong expression is reported and comes back as a step of type
        `wrong`.
        """
        self.at = path
        self.present = _present(given.node) if given is not None else []
        try:
            node = parse(str(text))
        except SyntaxProblem as problem:
            span = self.entry.place(*path).inside(problem.start, problem.end)
            self.problems.take(GaugebookError(Diagnostic(problem.name, problem.message, span, problem.help)))
            return Op("wrong", (), WRONG, tree.Nothing())
        op = self.lower(node, expect)
        if expect is not None:
            self._match(op, expect)
        return op

    def _match(self, op: Op, expect: Type) -> None:
        found = op.type
        if "wrong" in (found.sort, expect.sort) or self._same(found, expect):
            if found.optional and not expect.optional and found.sort != "wrong" and expect.sort != "wrong":
                self._say("may-be-none", op.node, found=self.describe(found))
            return
        if found.sort == "nothing" and expect.optional:
            return
        self._say("wrong-type", op.node, found=self.describe(found), expected=self.describe(expect))

    @staticmethod
    def _same(a: Type, b: Type) -> bool:
        return a.sort == b.sort and a.detail == b.detail

    # -- the nodes

    def lower(self, node: tree.Node, expect: Type | None = None) -> Op:
        """Understand one node; `expect` helps a bare word or a size to find its list."""
        method = getattr(self, "_" + type(node).__name__.lower())
        result: Op = method(node, expect)
        if result.type.optional and node in self.present:
            return replace(result, type=result.type._replace(optional=False))
        return result

    def _number(self, node: tree.Number, expect: Type | None) -> Op:
        value = self.model.units.quantity_as(node.text, self.model.units.unit("1"))
        return Op("value", (value,), Type("number", NUMBER), node)

    def _quantity(self, node: tree.Quantity, expect: Type | None) -> Op:
        label = f"{node.amount} {node.unit}"
        if (
            expect is not None
            and expect.sort == "member"
            and label in self.model.series[expect.detail].labels
        ):
            return Op("value", (label,), Type("member", expect.detail), node)
        try:
            value, unit = self.model.units.quantity(label)
        except UnitError as error:
            homes = [s for s in self.model.series.values() if s.type.sort == "member" and label in s.labels]
            if len(homes) == 1:
                return Op("value", (label,), homes[0].type, node)
            return self._take(error, node)
        return Op("value", (value,), Type("number", unit.kind), node)

    def _truth(self, node: tree.Truth, expect: Type | None) -> Op:
        return Op("value", (node.value,), TRUTH, node)

    def _nothing(self, node: tree.Nothing, expect: Type | None) -> Op:
        if expect is not None and expect.sort == "word" and "none" in self.model.terms.get(expect.detail, ()):
            return Op("value", ("none",), Type("word", expect.detail), node)
        return Op("value", (None,), NOTHING, node)

    def _name(self, node: tree.Name, expect: Type | None) -> Op:
        name = node.text
        if expect is not None and expect.sort == "word" and name in self.model.terms.get(expect.detail, ()):
            return Op("value", (name,), Type("word", expect.detail), node)
        if expect is not None and expect.sort == "member" and name in self.model.series[expect.detail].labels:
            return Op("value", (name,), Type("member", expect.detail), node)
        found = self._bound_name(node) or self._own_name(node) or self._global_name(node)
        if found is not None:
            return found
        homes = [Type("word", list) for list, words in self.model.terms.items() if name in words]
        homes += [s.type for s in self.model.series.values() if s.type.sort == "member" and name in s.labels]
        if len(homes) == 1:
            return Op("value", (name,), homes[0], node)
        if homes:
            lists = ", ".join(sorted(home.detail for home in homes))
            return self._say("word-of-several-lists", node, word=name, lists=lists)
        return self._say(
            "unknown-name-in-rule", node, name=name, nearest=self.model.hint(name, self._known_names(expect))
        )

    def _own(self, node: tree.Own, expect: Type | None) -> Op:
        found = self._own_name(tree.Name(node.name, span=node.span))
        if found is None:
            known = self.model.names_of(self.kind)
            return self._say(
                "unknown-attribute",
                node,
                name=node.name,
                kind=self.kind,
                nearest=self.model.hint(node.name, known),
            )
        return Op(found.code, found.parts, found.type, node)

    def _property(self, node: tree.Property, expect: Type | None) -> Op:
        subject = self.lower(node.of)
        sort, detail = subject.type.sort, subject.type.detail
        if sort == "wrong":
            return subject
        if sort == "member":
            known = self.model.series[detail].properties
            if node.name not in known:
                return self._say(
                    "unknown-property",
                    node,
                    name=node.name,
                    series=detail,
                    nearest=self.model.hint(node.name, known),
                )
            return Op("property", (subject, detail, node.name), known[node.name][0], node)
        if sort not in ("thing", "things"):
            return self._say("nothing-inside", node, found=self.describe(subject.type), name=node.name)
        attribute = self._attribute(detail, node.name, node)
        if attribute is None:
            near = self.model.hint(node.name, self.model.names_of(detail))
            return self._say("unknown-attribute", node, name=node.name, kind=detail, nearest=near)
        if sort == "thing":
            return Op("get", (subject, attribute.name), attribute.type, node)
        if attribute.type.sort not in ("thing", "things"):
            return self._say("value-of-many", node, name=node.name, kind=detail)
        return Op("reach", (subject, attribute.name), Type("things", attribute.type.detail), node)

    def _lookup(self, node: tree.Lookup, expect: Type | None) -> Op:
        table = self.model.tables.get(self._entry_name("tables", node.table, node))
        if table is None:
            return self._say(
                "unknown-table", node, name=node.table, nearest=self.model.hint(node.table, self.model.tables)
            )
        if len(node.keys) != len(table.keys):
            names = ", ".join(key[0] for key in table.keys)
            return self._say(
                "key-count",
                node,
                table=node.table,
                found=len(node.keys),
                expected=len(table.keys),
                names=names,
            )
        keys = []
        for given, (name, type, _) in zip(node.keys, table.keys, strict=True):
            key = self.lower(given, type)
            if key.type.sort != "wrong" and type.sort != "wrong" and not self._same(key.type, type):
                self._say(
                    "wrong-key",
                    given,
                    table=node.table,
                    key=name,
                    found=self.describe(key.type),
                    expected=self.describe(type),
                )
            keys.append(key)
        return Op("lookup", (table.name, *keys), table.type, node)

    def _call(self, node: tree.Call, expect: Type | None) -> Op:
        function = known_functions().get(node.function)
        if function is None:
            near = hint(node.function, known_functions())
            return self._say("unknown-function", node, name=node.function, nearest=near)
        arguments: list[Op] = []
        for argument in node.arguments:
            arguments.append(self.lower(argument, expect if not arguments else arguments[0].type))
        types = [argument.type for argument in arguments]
        if any(type.sort == "wrong" for type in types):
            return Op("wrong", (), WRONG, node)
        result = function.result(types)
        if result is None:
            found = ", ".join(self.describe(type) for type in types) or "nothing"
            return self._say(
                "wrong-arguments", node, name=node.function, why=f"{function.takes}; found {found}"
            )
        return Op("call", (node.function, *arguments), result, node)

    def _negative(self, node: tree.Negative, expect: Type | None) -> Op:
        operand = self.lower(node.operand)
        if operand.type.sort == "wrong":
            return operand
        if operand.type.sort != "number":
            return self._say("not-a-number", node, found=self.describe(operand.type))
        try:
            kind = self.model.units.negate(operand.type.detail)
        except UnitError as error:
            return self._take(error, node)
        return Op("negative", (operand,), Type("number", kind), node)

    def _not(self, node: tree.Not, expect: Type | None) -> Op:
        return Op("not", (self._condition(node.operand),), TRUTH, node)

    def _condition(self, node: tree.Node) -> Op:
        op = self.lower(node, TRUTH)
        if op.type.sort not in ("truth", "wrong"):
            return self._say("not-a-condition", node, found=self.describe(op.type))
        return op

    def _arithmetic(self, node: tree.Arithmetic, expect: Type | None) -> Op:
        left, right = self.lower(node.left), self.lower(node.right)
        if "wrong" in (left.type.sort, right.type.sort):
            return Op("wrong", (), WRONG, node)
        for side in (left, right):
            if side.type.sort != "number":
                return self._say("not-a-number", side.node, found=self.describe(side.type))
        a, b = left.type.detail, right.type.detail
        units = self.model.units
        try:
            if isinstance(node.right, tree.Number) and node.op == "^":
                kind = units.power(a, int(node.right.text))
            else:
                kind = units.combine(node.op, a, b)
        except UnitError as error:
            return self._take(error, node)
        return Op("arithmetic", (node.op, left, right), Type("number", kind), node)

    def _pair(self, left: tree.Node, right: tree.Node) -> tuple[Op, Op]:
        """Two sides of a comparison, each helping the other to find its list."""
        bare = (tree.Quantity, tree.Name, tree.Nothing)
        if isinstance(left, bare) and not isinstance(right, bare):
            b = self.lower(right)
            return self.lower(left, b.type), b
        a = self.lower(left)
        return a, self.lower(right, a.type)

    def _comparison(self, node: tree.Comparison, expect: Type | None) -> Op:
        left, right = self._pair(node.left, node.right)
        a, b = left.type, right.type
        if "wrong" in (a.sort, b.sort):
            return Op("wrong", (), TRUTH, node)
        equality = node.op in ("is", "is not")
        if equality and "nothing" in (a.sort, b.sort):
            return Op("compare", (node.op, left, right), TRUTH, node)
        fits = self._same(a, b) if a.sort != "number" else b.sort == "number" and a.detail == b.detail
        if not fits:
            return self._say("cannot-compare", node, left=self.describe(a), right=self.describe(b))
        if not equality and a.sort not in ("number", "member"):
            return self._say("no-order", node, found=self.describe(a))
        return Op("compare", (node.op, left, right), TRUTH, node)

    def _oneof(self, node: tree.OneOf, expect: Type | None) -> Op:
        operand = self.lower(node.operand)
        options = [self.lower(option, operand.type) for option in node.options]
        if operand.type.sort == "wrong" or any(option.type.sort == "wrong" for option in options):
            return Op("wrong", (), TRUTH, node)
        for option in options:
            if not self._same(operand.type, option.type):
                self._say(
                    "cannot-compare",
                    option.node,
                    left=self.describe(operand.type),
                    right=self.describe(option.type),
                )
        op = Op("one_of", (operand, *options), TRUTH, node)
        return Op("not", (op,), TRUTH, node) if node.negated else op

    def _given(self, node: tree.Given, expect: Type | None) -> Op:
        op = Op("given", (self.lower(node.operand),), TRUTH, node)
        return Op("not", (op,), TRUTH, node) if node.negated else op

    def _logic(self, node: tree.Logic, expect: Type | None) -> Op:
        return Op("logic", (node.op, self._condition(node.left), self._condition(node.right)), TRUTH, node)

    def _if(self, node: tree.If, expect: Type | None) -> Op:
        condition = self._condition(node.condition)
        before = self.present
        self.present = [*before, *_present(node.condition)]
        then = self.lower(node.then, expect)
        self.present = before
        otherwise = self.lower(node.otherwise, expect or then.type)
        if then.type.sort == "nothing" or otherwise.type.sort == "nothing":
            type = (otherwise if then.type.sort == "nothing" else then).type.maybe()
        elif "wrong" in (then.type.sort, otherwise.type.sort):
            type = WRONG
        elif not self._same(then.type, otherwise.type):
            return self._say(
                "branches-differ", node, left=self.describe(then.type), right=self.describe(otherwise.type)
            )
        else:
            type = then.type._replace(optional=then.type.optional or otherwise.type.optional)
        return Op("if", (condition, then, otherwise), type, node)

    def _aggregate(self, node: tree.Aggregate, expect: Type | None) -> Op:
        over = self.lower(node.over)
        if over.type.sort == "wrong":
            return over
        if over.type.sort != "things":
            return self._say("not-several-things", node.over, found=self.describe(over.type))
        self.numbers += 1
        number = self.numbers
        self.scopes.append(Scope("item", number, Type("thing", over.type.detail), None))
        try:
            where = self._condition(node.where) if node.where is not None else None
            body = None
            if node.body is not None:
                body = (
                    self._condition(node.body) if node.op in ("any", "all") else self.lower(node.body, expect)
                )
        finally:
            self.scopes.pop()
        type = self._aggregate_type(node, body)
        return Op("aggregate", (node.op, number, over, body, where), type, node)

    def _aggregate_type(self, node: tree.Aggregate, body: Op | None) -> Type:
        if node.op == "count":
            return Type("number", NUMBER)
        if node.op in ("any", "all"):
            return TRUTH
        if body is None or body.type.sort == "wrong":
            return WRONG
        allowed = ("number",) if node.op == "sum" else ("number", "member")
        if body.type.sort not in allowed or (node.op == "sum" and body.type.detail.point):
            self._say("cannot-aggregate", body.node, op=node.op, found=self.describe(body.type))
            return WRONG
        return body.type._replace(optional=False)

    def _pick(self, node: tree.Pick, expect: Type | None) -> Op:
        name = node.series.text if isinstance(node.series, tree.Name) else ""
        name = self._entry_name("series", name, node.series)
        series = self.model.series.get(name)
        if series is None:
            return self._say(
                "unknown-series", node.series, name=name, nearest=self.model.hint(name, self.model.series)
            )
        self.numbers += 1
        number = self.numbers
        self.scopes.append(Scope("bound", number, series.type, node.variable))
        try:
            where = self._condition(node.where)
        finally:
            self.scopes.pop()
        return Op("pick", (node.which, number, name, where), series.type, node)


def _present(condition: tree.Node) -> list[tree.Node]:
    """What a condition that holds shows to be there: `x is not none`, `x is given`, joined by `and`."""
    if isinstance(condition, tree.Logic) and condition.op == "and":
        return [*_present(condition.left), *_present(condition.right)]
    if (
        isinstance(condition, tree.Comparison)
        and condition.op == "is not"
        and condition.right == tree.Nothing()
    ):
        return [condition.left]
    if isinstance(condition, tree.Given) and not condition.negated:
        return [condition.operand]
    return []
