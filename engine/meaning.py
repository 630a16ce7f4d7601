"""What an expression means: a tree of steps in which every name is resolved and every type and unit is known.

It is the only form the compilers and the explainer know; `understanding` makes it, before any project is read.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from .declared import Type
from .grammar import tree


@dataclass(frozen=True)
class Op:
    """One step of an expression that is understood.

    code and its parts:
    value (constant) | constant (name) | reading (name) | this () | item (number) | bound (number) |
    only (kind) | get (subject, attribute) | reach (things, attribute) | property (member, series, name) |
    lookup (table, *keys) | call (function, *arguments) | arithmetic (sign, left, right) | negative (operand) |
    compare (sign, left, right) | not (operand) | logic (word, left, right) | if (condition, then, otherwise) |
    one_of (operand, *options) | given (operand) | aggregate (word, number, over, body, where) |
    pick (end, number, series, where) | wrong ()
    """

    code: str
    parts: tuple[Any, ...]
    type: Type
    node: tree.Node

    def children(self) -> Iterator[Op]:
        """The steps directly under this one."""
        return (part for part in self.parts if isinstance(part, Op))

    def walk(self) -> Iterator[Op]:
        """This step and all below it."""
        waiting = [self]
        while waiting:
            step = waiting.pop()
            yield step
            waiting.extend([part for part in reversed(step.parts) if isinstance(part, Op)])
