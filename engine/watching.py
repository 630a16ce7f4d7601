"""A rulebook that reports every decision its rules take: comparisons, rows of tables, extremes.

Between two decisions a value changes smoothly with an input; only where a decision changes can an outcome
jump. The compiled source is rewritten once so that its comparisons report; ordinary rulebooks pay nothing.
"""

from __future__ import annotations

import ast
import operator
from bisect import bisect_left
from collections.abc import Callable, Iterable, Sequence
from decimal import Decimal
from types import CodeType
from typing import Any, ClassVar, NamedTuple

from . import runtime
from .rulebook import Rulebook
from .runtime import Axis, Table


class Decision(NamedTuple):
    """One decision: what was decided, the number it was decided by, and the bounds where that would change.

    `result` alone tells decisions apart. `at` is None where no number stands behind it. `exact` marks the
    key of a table that has to be one of its values.
    """

    result: Any
    at: Decimal | None = None
    bounds: Sequence[Decimal] = ()
    exact: bool = False


ZERO = (Decimal(0),)

OPERATORS: dict[type[ast.cmpop], tuple[str, Callable[[Any, Any], bool]]] = {
    ast.Lt: ("watched_lt", operator.lt),
    ast.LtE: ("watched_le", operator.le),
    ast.Gt: ("watched_gt", operator.gt),
    ast.GtE: ("watched_ge", operator.ge),
    ast.Eq: ("watched_eq", operator.eq),
}


class Reporting(ast.NodeTransformer):
    """Turns `a < b` into a call that compares and reports."""

    def visit_Compare(self, node: ast.Compare) -> ast.AST:
        """Rewrite one comparison of numbers or texts; identity and membership stay."""
        self.generic_visit(node)
        if len(node.ops) > 1 or type(node.ops[0]) not in OPERATORS:
            return node
        name = OPERATORS[type(node.ops[0])][0]
        return ast.Call(ast.Name(name, ast.Load()), [node.left, *node.comparators], [])


def reporting_code(source: str) -> CodeType:
    """The compiled source of a book with its comparisons reporting."""
    tree = ast.fix_missing_locations(Reporting().visit(ast.parse(source)))
    return compile(tree, "<watched rules>", "exec")


class WatchedTable(Table):
    """A table that reports which row a number fell into."""

    __slots__ = ("decisions",)
    decisions: list[Decision]

    def __call__(self, *keys: Any) -> Any:
        """The cell at `keys`; raises `Absent` as any table does."""
        for axis, key in zip(self.axes, keys, strict=True):
            if isinstance(key, Decimal):
                self.decisions.append(_row(axis, key))
        return super().__call__(*keys)


def _row(axis: Axis, key: Decimal) -> Decision:
    """Where a number falls on an axis; on an exact one, between which of its values or right on one."""
    if axis.match == "exact":
        values = sorted(value for value in axis.keys if isinstance(value, Decimal))
        return Decision((bisect_left(values, key), key in values), key, values, True)
    inside = axis.match != "linear" or axis.bounds[0] <= key <= axis.bounds[-1]
    return Decision((axis.position(key), inside), key, axis.bounds)


class WatchedRulebook(Rulebook):
    """A rulebook whose programs append to `decisions` while they run."""

    table_type: ClassVar[type[Table]] = WatchedTable

    def __init__(self, frozen: dict[str, Any]) -> None:
        super().__init__(frozen, reporting_code(frozen["source"]))
        self.decisions: list[Decision] = []
        for table in self.tables.values():
            assert isinstance(table, WatchedTable)
            table.decisions = self.decisions
        for name, compare in OPERATORS.values():
            self.namespace[name] = self._comparing(compare)
        for name in ("at_least", "above", "near"):
            self.namespace[name] = self._comparing(getattr(runtime, name))
        for name in ("greatest", "least"):
            self.namespace[name] = self._choosing(getattr(runtime, name))
        self.namespace["abs"] = self._absolute

    def _comparing(self, compare: Callable[[Any, Any], bool]) -> Callable[[Any, Any], bool]:
        equality = compare in (operator.eq, runtime.near)

        def watched(a: Any, b: Any) -> bool:
            result = compare(a, b)
            if isinstance(a, Decimal) and isinstance(b, Decimal):
                apart = a - b
                side = 0 if equality and result else (apart > 0) - (apart < 0)
                self.decisions.append(Decision(side if equality else result, apart, ZERO))
            else:
                self.decisions.append(Decision(result))
            return result

        return watched

    def _choosing(self, choose: Callable[..., Any]) -> Callable[..., Any]:
        def watched(values: Iterable[Any], rank: dict[str, int] | None = None) -> Any:
            candidates = list(values)
            result = choose(candidates, rank)
            self.decisions.append(Decision(candidates.index(result)))
            return result

        return watched

    def _absolute(self, value: Decimal) -> Decimal:
        self.decisions.append(Decision((value > 0) - (value < 0), value, ZERO))
        return abs(value)
