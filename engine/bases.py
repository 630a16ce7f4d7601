"""The basis a table is printed for, followed through the rules: a product of two different bases means nothing.

Published calculations keep multiplying a figure printed for one basis by a factor printed for another, so the load is
refused where no way through the rules makes the bases agree.
"""

from __future__ import annotations

from collections.abc import Iterator

from .diagnostics import Problems
from .entries import Entry
from .meaning import Op
from .model import Model
from .programs import Node, Programs, followed

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
        rules = self.programs.rules
        edges = {
            node: [_node(step) for op in rule.ops() for step in _gets(op)] for node, rule in rules.items()
        }
        for path in followed(edges):
            if len(path) == 1:
                rule = rules[path[0]]
                parts = (self._of(route.value, rule.entry) for route in rule.routes)
                self.known[path[0]] = frozenset().union(*parts)
        for check in self.programs.checks:
            for op in check.ops():
                for part in op.walk():
                    if part.code == "arithmetic":
                        self._of(part, check.entry)

    def _of(self, op: Op, entry: Entry) -> Basis:
        if op.code == "lookup":
            stated = self.model.tables[op.parts[0]].entry.body.get("basis") or {}
            return frozenset((key, str(value), str(op.parts[0])) for key, value in stated.items())
        if op.code == "get":
            return self.known.get(_node(op), NOTHING)
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


def _gets(op: Op) -> Iterator[Op]:
    return (step for step in op.walk() if step.code == "get")


def _node(op: Op) -> Node:
    """The attribute that is asked for."""
    return str(op.parts[0].type.detail), str(op.parts[1])


def check_bases(model: Model, programs: Programs, problems: Problems) -> None:
    """Report every product of values that rest on different bases."""
    Follower(model, programs, problems).follow()
