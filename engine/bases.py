"""The basis a table is printed for, followed through the rules: a product of two different bases means nothing.

Published calculations keep multiplying a figure printed for one basis by a factor printed for another, so the load is
refused where no way through the rules makes the bases agree.
"""

from __future__ import annotations

from .diagnostics import Problems
from .entries import Entry
from .meaning import Op
from .model import Model
from .programs import Node, Programs

Basis = frozenset[tuple[str, str, str]]
"""What a value may rest on: (key of the basis, its value, the table that says so)."""

NOTHING: Basis = frozenset()
TRANSPARENT = ("if", "arithmetic", "negative", "call", "aggregate", "pick")


class Follower:
    """Finds what each rule rests on, and reports products whose bases cannot agree."""

    def __init__(self, model: Model, programs: Programs, problems: Problems) -> None:
        self.model, self.programs, self.problems = model, programs, problems
        self.known: dict[Node, Basis] = {}

    def follow(self) -> None:
        """Look at every rule and every check."""
        for node in self.programs.rules:
            self._of_rule(node)
        for check in self.programs.checks:
            for op in check.ops():
                for part in op.walk():
                    if part.code == "arithmetic":
                        self._of(part, check.entry)

    def _of_rule(self, node: Node) -> Basis:
        if node not in self.known:
            self.known[node] = NOTHING
            rule = self.programs.rules[node]
            self.known[node] = frozenset().union(
                *(self._of(route.value, rule.entry) for route in rule.routes)
            )
        return self.known[node]

    def _of(self, op: Op, entry: Entry) -> Basis:
        if op.code == "lookup":
            stated = self.model.tables[op.parts[0]].entry.body.get("basis") or {}
            return frozenset((key, str(value), str(op.parts[0])) for key, value in stated.items())
        if op.code == "get":
            node = (str(op.parts[0].type.detail), str(op.parts[1]))
            return self._of_rule(node) if node in self.programs.rules else NOTHING
        if op.code not in TRANSPARENT:
            return NOTHING
        parts = [self._of(child, entry) for child in op.children() if child.type.sort == "number"]
        if op.code == "arithmetic" and op.parts[0] in ("*", "/") and len(parts) == 2:
            self._compare(op, parts[0], parts[1], entry)
        return frozenset().union(*parts)

    def _compare(self, op: Op, left: Basis, right: Basis, entry: Entry) -> None:
        for key in {key for key, _, _ in left} & {key for key, _, _ in right}:
            one = {value: table for name, value, table in left if name == key}
            other = {value: table for name, value, table in right if name == key}
            if not one.keys() & other.keys():
                (a, left_table), (b, right_table) = min(one.items()), min(other.items())
                self.problems.add(
                    "bases-differ",
                    entry.place().key_span(),
                    left=left_table,
                    key=key,
                    left_base=a,
                    right=right_table,
                    right_base=b,
                )


def check_bases(model: Model, programs: Programs, problems: Problems) -> None:
    """Report every product of values that rest on different bases."""
    Follower(model, programs, problems).follow()
