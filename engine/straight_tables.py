"""What the steps of a plan begin with, as expressions of one function: constants, places, cells of tables.

Every place is a local variable. Whatever may be absent is tested where it is worked out: a void leaves the block or
rejects the member being tried, an unknown value leaves the function (`Leave`), and the row is done by the plan's own
program.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from bisect import bisect_left, bisect_right
from collections.abc import Callable, Sequence
from decimal import Decimal
from math import floor, log10
from typing import Any

from .compiling import Pool
from .declared import Type
from .meaning import Op
from .nests import LOST, CannotNest, Nest, Numbers, met, nested
from .planning import Place, Plan
from .runtime import DASH, MISSING, MOST_FIGURES, Absent
from .spans import Spans
from .statements import CannotStraighten, Statements


class Tables(Statements, ABC):
    """Writes constants, places and cells.

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
