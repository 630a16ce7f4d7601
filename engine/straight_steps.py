"""The steps of a plan as statements and expressions of one function: arithmetic, conditions, what goes through many."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from typing import Any

from .functions import known_functions
from .meaning import Op
from .planning import MIRRORED, met_by
from .runtime import DUST, TINY
from .statements import CannotStraighten
from .straight_tables import Tables


class Steps(Tables):
    """Writes expressions."""

    # -- arithmetic

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
            if self.exact:
                return f"near({a}, {b})"
            a, b = self.kept(a), self.kept(b)
            alike = self._alike(a, b, rough)
            perhaps = [name for name, op in ((a, left), (b, right)) if op.type.optional]
            if len(perhaps) == 2:
                return f"({a} is {b} if {a} is None or {b} is None else {alike})"
            return f"({perhaps[0]} is not None and {alike})" if perhaps else alike
        return f"({a} == {b})"

    def _alike(self, a: str, b: str, rough: bool) -> str:
        a, b = self.kept(a), self.kept(b)
        return f"(abs({a} - {b}) <= {TINY if rough else DUST} * max(abs({a}), abs({b})))"

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
