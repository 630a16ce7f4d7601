"""The steps of a plan as statements and expressions of one function, every place a local variable.

Whatever may be absent is tested where it is worked out: a void leaves the block or rejects the member being tried,
an unknown value leaves the function (`Leave`), and the row is done by the plan's own program.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from bisect import bisect_left, bisect_right
from collections.abc import Callable, Sequence
from decimal import Decimal
from math import floor, log10
from typing import Any

from .compiling import Pool
from .functions import known_functions
from .meaning import Op
from .model import Type
from .nests import LOST, CannotNest, Nest, Numbers, met, nested
from .planning import MIRRORED, Place, Plan, met_by
from .runtime import DASH, DUST, MISSING, MOST_FIGURES, TINY, Absent
from .spans import Spans
from .statements import CannotStraighten, Statements


class Steps(Statements, ABC):
    """Writes expressions.

    `held` are the members being tried, `ready` the steps that stand in a variable, `columns` the lookups whose
    cells for every member being tried do, and `folded` the comparisons of which one side does, its slack in it.
    """

    def __init__(self, plan: Plan, exact: bool) -> None:
        super().__init__()
        self.plan, self.exact, self.numbers = plan, exact, Numbers(exact)
        self.rulebook = plan.run.rulebook
        self.spans = Spans(plan)
        self.pool = Pool()
        self.names |= {**self.rulebook.namespace, "LOST": LOST, "met": met, "floor": floor, "log10": log10}
        self.names |= {"bisect_left": bisect_left, "bisect_right": bisect_right}
        self.held: dict[int, str] = {}
        self.ready: dict[int, str] = {}
        self.columns: dict[int, tuple[str, bool, bool]] = {}
        self.folded: dict[int, tuple[Op, str]] = {}
        self.bound: dict[int, str] = {}
        self._nests: dict[Any, tuple[str, Nest]] = {}

    # -- expressions

    def apart(self, op: Op) -> tuple[list[str], str]:
        """An expression that is only asked for in some rows, with its statements indented once more."""
        before, known = self.lines, self.known
        self.lines, self.known = [], dict(known)
        self.depth += 1
        source = self.write(op)
        lines = self.lines
        self.depth -= 1
        self.lines, self.known = before, known
        return lines, source

    def write(self, op: Op) -> str:
        """The source of an expression; what it needs is written before."""
        if id(op) in self.ready:
            return self.ready[id(op)]
        step = getattr(self, f"_{op.code}", None)
        if step is None:
            raise CannotStraighten(op.code)
        source: str = step(op, *op.parts)
        return source

    def number(self, op: Op) -> str:
        """An operand that must not be none."""
        source = self.write(op)
        if op.type.optional:
            source = self.kept(source)
            self.void_if(f"{source} is None")
        return source

    def literal(self, value: Any) -> str:
        """A constant."""
        if isinstance(value, Decimal):
            return self.pool.decimal(value) if self.exact else repr(float(value))
        if value is None or isinstance(value, (bool, str)):
            return repr(value)
        raise CannotStraighten(repr(value))

    def _value(self, op: Op, value: Any) -> str:
        return self.literal(value)

    def _constant(self, op: Op, name: str) -> str:
        return self.literal(self.plan.model.constants[name][1])

    def _absent(self, op: Op, absent: Absent) -> str:
        if absent.void:
            self.leave()
        else:
            self.put("raise Leave")
        return "None"

    def _place(self, op: Op, number: int) -> str:
        if number in self.held:
            return self.held[number]
        if number not in self.known:
            self.settle(self.plan.places[number])
        if self.known[number]:
            self.void_if(f"p{number} is VOID")
            self.known[number] = False
        return f"p{number}"

    @abstractmethod
    def settle(self, place: Place) -> None:
        """Work out a place."""

    def grown(self, op: Op) -> str:
        """The value of a rule; a product that is too great or too small is void (see `runtime.bounded`)."""
        source = self.write(op)
        if self.spans.bounded(op):
            return source
        source = self.kept(source)
        size = f"abs({source}.adjusted())" if self.exact else f"abs(floor(log10(abs({source}))))"
        self.void_if(f"{source} and {size} > {MOST_FIGURES}")
        return source

    def _bound(self, op: Op, number: int) -> str:
        return self.bound[number]

    # -- tables

    def cell(self, source: str, void: bool, lost: bool) -> str:
        """A cell that may not be there."""
        if not (void or lost):
            return source
        source = self.kept(source)
        if lost:
            with self.under(f"if {source} is LOST:"):
                self.put("raise Leave")
        if void:
            self.void_if(f"{source} is None")
        return source

    def trying(self, keys: Sequence[Op]) -> int | None:
        """Which key is a member being tried."""
        for place, key in enumerate(keys):
            if key.code == "place" and key.parts[0] in self.held and key.type.sort == "member":
                return place
        return None

    def words(self, type: Type) -> Sequence[Any] | None:
        """All values of a type, where they can be listed."""
        if type.sort == "word":
            return self.plan.model.terms.get(type.detail)
        if type.sort == "member":
            return self.rulebook.members[type.detail]
        return (True, False) if type.sort == "truth" else None

    def nest(
        self,
        table: str,
        keys: Sequence[Op],
        along: int | None,
        column: Callable[[Sequence[Any]], Any] = tuple,
    ) -> tuple[str, Nest]:
        """A table as a nest, by its name."""
        key = (table, along, column, tuple((one.type.sort, one.type.detail) for one in keys))
        if key not in self._nests:
            types = [one.type for one in keys]
            try:
                made = nested(self.rulebook.tables[table], types, self.words, self.numbers, along, column)
            except CannotNest as error:
                raise CannotStraighten(str(error)) from None
            self._nests[key] = self.hold(made.data, "N"), made
        return self._nests[key]

    def column(
        self, op: Op, column: Callable[[Sequence[Any]], Any] = tuple, along: int | None = None
    ) -> tuple[str, Nest]:
        """Where the cells of a lookup lie: one cell, or a column over the members of the series `along` which
        one of them is tried."""
        table, *keys = op.parts
        source, nest = self.nest(table, keys, along, column)
        axes = self.rulebook.tables[table].axes
        written: dict[int, str] = {}
        for place, key in enumerate(keys):
            if place != along:
                written[place] = self.write(key)
                if key.type.optional:
                    if any(axis.beyond == MISSING for axis in axes):
                        raise CannotStraighten(table)
                    written[place] = self.kept(written[place])
                    self.void_if(f"{written[place]} is None")
        for one, place in zip(nest.levels, nest.order, strict=True):
            if one.way == "rank":
                continue
            key_source = written[place]
            if one.way == "each":
                source = f"{source}[{key_source}]"
            elif one.way == "some":
                source = self.kept(source)
                source = f"{source}[0].get({key_source}, {source}[1])"
            elif one.way == "met":
                source = f"{source}[met({self.hold(one.bounds)}, {key_source})]"
            else:
                source = f"{source}[bisect_{one.way}({self.hold(one.bounds)}, {key_source})]"
        return source, nest

    def _lookup(self, op: Op, table: str, *keys: Op) -> str:
        if self.rulebook.tables[table].axes[0].match == "linear":
            if not self.exact:
                raise CannotStraighten(table)
            written = ", ".join(self.write(key) for key in keys)
            return self.attempt(f"{self.pool.look('tables', table)}({written})")
        if id(op) in self.columns:
            source, void, lost = self.columns[id(op)]
            return self.cell(f"{source}[{self.rank(keys[self.trying(keys) or 0])}]", void, lost)
        along = self.trying(keys)
        source, nest = self.column(op, along=along)
        if along is not None:
            source = f"{source}[{self.rank(keys[along])}]"
        return self.cell(source, nest.void, nest.lost)

    def rank(self, op: Op) -> str:
        """The place of a member being tried in its series."""
        return f"i{op.parts[0]}"

    def _property(self, op: Op, member: Op, series: str, name: str) -> str:
        cells = self.rulebook.properties[f"{series}.{name}"].cells
        found = {}
        for one in self.rulebook.members[series]:
            value = cells.get(one, MISSING)
            found[one] = None if value is DASH else LOST if value is MISSING else self.numbers.of(value)
        void, lost = None in found.values(), any(value is LOST for value in found.values())
        if self.trying([member]) is not None:
            return self.cell(f"{self.hold(tuple(found.values()))}[{self.rank(member)}]", void, lost)
        return self.cell(f"{self.hold(found)}[{self.number(member)}]", void, lost)

    # -- arithmetic

    def attempt(self, source: str) -> str:
        """A call that may find no value."""
        name = self.fresh()
        with self.under("try:"):
            self.put(f"{name} = {source}")
        with self.under("except Absent as absent:"):
            with self.under("if not absent.void:"):
                self.put("raise Leave from None")
            self.leave()
        return name

    def _call(self, op: Op, name: str, *arguments: Op) -> str:
        function = known_functions()[name]
        if function.lender:
            raise CannotStraighten(name)
        if name in ("greatest", "least"):
            return self._extreme(op, name, [self.number(argument) for argument in arguments])
        written = [self.number(argument) for argument in arguments]
        if name == "absolute":
            return f"abs({written[0]})"
        if not self.exact:
            raise CannotStraighten(name)
        return self.attempt(f"{function.run}({', '.join(written)})")

    def _extreme(self, op: Op, word: str, sources: list[str]) -> str:
        if op.type.sort == "member":
            rank = self.pool.look("ranks", op.type.detail)
            return f"{word}(({', '.join(sources)},), {rank})"
        found = sources[0]
        for source in sources[1:]:
            a, b = self.kept(found), self.kept(source)
            found = f"({b} if {b} {'>' if word == 'greatest' else '<'} {a} else {a})"
        return found

    def _arithmetic(self, op: Op, sign: str, left: Op, right: Op) -> str:
        a, b = self.number(left), self.number(right)
        if sign == "^":
            return f"({a} ** {int(right.parts[0])})"
        if sign == "/":
            if right.code not in ("value", "constant"):
                b = self.kept(b)
                self.void_if(f"not {b}")
            return f"({a} / {b})"
        if sign == "*" or self.exact:
            return f"({a} {sign} {b})"
        return self._sum(a, sign, b, self._from_zero(right) and sign == "+")

    def _sum(self, a: str, sign: str, b: str, rising: bool) -> str:
        """A sum in binary numbers: what is left of two that cancel is nothing, not the dust of their digits."""
        a = self.kept(a)
        name = self.kept(f"{a} {sign} {b}")
        guard = f"{a} <= 0 and " if rising else ""
        with self.under(f"if {guard}abs({name}) <= {DUST} * abs({a}):"):
            self.put(f"{name} = 0.0")
        return name

    def _from_zero(self, op: Op) -> bool:
        """True for a value that is never below zero."""
        if op.code == "value":
            return isinstance(op.parts[0], Decimal) and op.parts[0] >= 0
        if op.code == "lookup":
            cells = self.rulebook.tables[op.parts[0]].cells.values()
            return all(not isinstance(cell, Decimal) or cell >= 0 for cell in cells)
        return False

    def _negative(self, op: Op, operand: Op) -> str:
        return f"(-{self.number(operand)})"

    # -- conditions

    def _compare(self, op: Op, sign: str, left: Op, right: Op) -> str:
        if sign in ("is", "is not"):
            same = self._same(left, right)
            return same if sign == "is" else f"(not {same})"
        return self.ordered(op, self.number(left), self.number(right))

    def ordered(self, op: Op, a: str, b: str) -> str:
        """An order comparison of two operands already written."""
        sign, left, right = op.parts
        if left.type.sort == "member":
            rank = self.pool.look("ranks", left.type.detail)
            return f"({rank}[{a}] {sign} {rank}[{b}])"
        if id(op) in self.folded:
            side, name = self.folded[id(op)]
            return f"({name} {sign} {b})" if side is left else f"({a} {sign} {name})"
        if sign in ("<", "<="):
            sign, a, b = MIRRORED[sign], b, a
        rough = self.rough(left, right)
        if self.exact:
            function = "at_least" if sign == ">=" else "above"
            return f"{function}({a}, {b})" if rough else f"({a} {sign} {b})"
        return f"({a} {sign} {self.slackened(b, rough, '-' if sign == '>=' else '+')})"

    def rough(self, left: Op, right: Op) -> bool:
        """True where a comparison needs the declared slack in decimals too."""
        return not (self.plan.exact(left) and self.plan.exact(right))

    def slackened(self, source: str, rough: bool, way: str) -> str:
        """A binary number with the slack of a comparison taken off it or added to it."""
        b = self.kept(source)
        return f"{b} {way} {TINY if rough else DUST} * abs({b})"

    def _same(self, left: Op, right: Op) -> str:
        if left.type.sort in ("thing", "things") or right.type.sort in ("thing", "things"):
            raise CannotStraighten("things")
        a, b = self.write(left), self.write(right)
        if "nothing" in (left.type.sort, right.type.sort):
            return f"({a} is {b})"
        if left.type.sort == right.type.sort == "number":
            rough = self.rough(left, right)
            if self.exact and not rough:
                return f"({a} == {b})"
            if self.exact or left.type.optional or right.type.optional:
                return f"near({a}, {b})" if self.exact else self._alike_or_none(a, b, rough)
            return self._alike(a, b, rough)
        return f"({a} == {b})"

    def _alike(self, a: str, b: str, rough: bool) -> str:
        a, b = self.kept(a), self.kept(b)
        return f"(abs({a} - {b}) <= {TINY if rough else DUST} * max(abs({a}), abs({b})))"

    def _alike_or_none(self, a: str, b: str, rough: bool) -> str:
        a, b = self.kept(a), self.kept(b)
        return f"({a} is {b} if {a} is None or {b} is None else {self._alike(a, b, rough)})"

    def _not(self, op: Op, operand: Op) -> str:
        return f"(not {self.write(operand)})"

    def _logic(self, op: Op, word: str, left: Op, right: Op) -> str:
        a = self.write(left)
        lines, b = self.apart(right)
        return self._further(a, word, lines, b)

    def _further(self, a: str, word: str, lines: list[str], b: str) -> str:
        """Two conditions, the second asked for only where the first does not settle it."""
        if not lines:
            return f"({a} {word} {b})"
        name = self.fresh()
        self.put(f"{name} = {a}")
        self.put(f"if {name}:" if word == "and" else f"if not {name}:")
        self.lines += [*lines, "    " * (self.depth + 1) + f"{name} = {b}"]
        return name

    def _if(self, op: Op, condition: Op, then: Op, otherwise: Op) -> str:
        test = self.write(condition)
        (some, a), (others, b) = self.apart(then), self.apart(otherwise)
        if not some and not others:
            return f"({a} if {test} else {b})"
        name, pad = self.fresh(), "    " * (self.depth + 1)
        self.put(f"if {test}:")
        self.lines += [*some, f"{pad}{name} = {a}"]
        self.put("else:")
        self.lines += [*others, f"{pad}{name} = {b}"]
        return name

    def _one_of(self, op: Op, operand: Op, *options: Op) -> str:
        if operand.type.sort == "number" and not self.exact:
            a = self.kept(self.number(operand))
            return f"({' or '.join(self._alike(a, self.number(option), False) for option in options)})"
        return f"({self.write(operand)} in ({', '.join(self.write(option) for option in options)},))"

    def _given(self, op: Op, operand: Op) -> str:
        name = self.fresh()
        with self.block(name):
            self.put(f"{name} = {self.write(operand)} is not None")
        return f"({name} is True)"

    # -- many

    def _gather(self, op: Op, word: str, *pairs: Op | None) -> str:
        items = list(zip(pairs[::2], pairs[1::2], strict=True))
        if word in ("any", "all"):
            return self._any_or_all(word, items)
        name = self.fresh()
        start = {"sum": "0", "count": "0"}.get(word, "None")
        self.put(f"{name} = {self.literal(Decimal(0)) if start == '0' else start}")
        for where, body in items:
            if where is None:
                self._take(op, word, name, body)
            else:
                with self.under(f"if {self.write(where)}:"):
                    self._take(op, word, name, body)
        if start == "None":
            self.void_if(f"{name} is None")
        return name

    def _take(self, op: Op, word: str, name: str, body: Op | None) -> None:
        """One more item."""
        value = self.literal(Decimal(1)) if body is None else self.number(body)
        if word == "count":
            self.put(f"{name} = {name} + {self.literal(Decimal(1))}")
        elif word == "sum":
            made = f"{name} + {value}" if self.exact else self._sum(name, "+", value, False)
            self.put(f"{name} = {made}")
        else:
            value = self.kept(value)
            sign = ">" if word == "greatest" else "<"
            rank = f"{self.pool.look('ranks', op.type.detail)}" if op.type.sort == "member" else ""
            better = f"{rank}[{value}] {sign} {rank}[{name}]" if rank else f"{value} {sign} {name}"
            with self.under(f"if {name} is None or {better}:"):
                self.put(f"{name} = {value}")

    def _any_or_all(self, word: str, items: Sequence[tuple[Op | None, Op | None]]) -> str:
        name, settles = self.fresh(), word == "any"
        self.put(f"{name} = {not settles}")
        before, nesting = self.known, self.depth
        self.known = dict(before)
        for where, body in items:
            self.put(f"if {'not ' if settles else ''}{name}:")
            self.depth += 1
            inner = self.depth
            if where is not None:
                self.put(f"if {self.write(where)}:")
                self.depth += 1
            self.put(f"{name} = {'True' if body is None else self.write(body)}")
            self.depth = inner
        self.depth, self.known = nesting, before
        return name

    def _pick(self, op: Op, end: str, number: int, series: str, accept: Op) -> str:
        members = self.rulebook.members[series]
        met = self._met(end, number, members, accept)
        if met is not None:
            return met
        if end != "first":
            members = members[::-1]
        name, member = self.fresh(), self.fresh("v")
        self.put(f"{name} = VOID")
        self.voids.append(lambda: self.put("break"))
        self.exits.append([])
        before = self.bound.get(number)
        self.bound[number] = member
        values = self.hold(tuple(self.numbers.of(one) for one in members))
        with self.under(f"for {member} in {values}:"), self.under(f"if {self.write(accept)}:"):
            self.put(f"{name} = {member}")
            self.put("break")
        self.exits.pop()
        self.voids.pop()
        if before is not None:
            self.bound[number] = before
        self.void_if(f"{name} is VOID")
        return name

    def _met(self, end: str, number: int, members: Sequence[Any], accept: Op) -> str | None:
        """A pick of the first number that reaches a limit, or of the last that does not pass it, by bisection."""
        limit = met_by(end, number, members, accept)
        if limit is None:
            return None
        sign, op = limit
        source = self.number(op)
        edges, side = self.edges(members, sign, self.rough(accept.parts[1], accept.parts[2]))
        values = [self.numbers.of(member) for member in members]
        found = tuple([*values, None] if end == "first" else [None, *values])
        return self.cell(f"{self.hold(found)}[bisect_{side}({edges}, {source})]", True, False)

    def edges(self, members: Sequence[Decimal], sign: str, rough: bool) -> tuple[str, str]:
        """The bounds that rising members set to a number they are compared with, and the side to bisect on."""
        high = sign in (">=", "<")
        make = self.numbers.high if high else self.numbers.low
        return self.hold(tuple(make(member, rough) for member in members), "B"), "left" if high else "right"
