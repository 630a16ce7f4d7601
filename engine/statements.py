"""The statements of one function, written line by line: blocks that can be left, and what is known on the way."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

VOID = object()
"""In a variable: the rules give no value."""

_SIMPLE = re.compile(r"\w+(\.\d+)?(e-?\d+)?")


class CannotStraighten(Exception):
    """A plan that cannot be one function."""


class TooTangled(CannotStraighten):
    """A plan that cannot be one function without functions inside."""


class Leave(Exception):
    """The row has to be done by the plan's own program."""


class Statements:
    """Writes statements; `lines` are those so far.

    `known` are the places worked out on every way here (True: perhaps void). A void leaves by the way that stands
    on top of `voids`.
    """

    most_lines = 3000
    """What grows beyond this has to be shared, or is given up."""

    def __init__(self) -> None:
        self.names: dict[str, Any] = {"VOID": VOID, "Leave": Leave}
        self.lines: list[str] = []
        self.depth = 1
        self.known: dict[int, bool] = {}
        self.voids: list[Callable[[], None]] = []
        self.exits: list[list[dict[int, bool]]] = []
        self._count = 0

    def put(self, line: str) -> None:
        """Write a statement."""
        self.lines.append("    " * self.depth + line)
        if len(self.lines) > self.most_lines:
            raise TooTangled("too large")

    @contextmanager
    def under(self, line: str) -> Iterator[None]:
        """Statements under a heading; what becomes known there is known there only."""
        self.put(line)
        before, self.known = self.known, dict(self.known)
        self.depth += 1
        try:
            yield
        finally:
            self.depth -= 1
            self.known = before

    def fresh(self, prefix: str = "x") -> str:
        """A new name."""
        self._count += 1
        return f"{prefix}{self._count}_"

    def kept(self, source: str) -> str:
        """A name or a number that stands for an expression."""
        if _SIMPLE.fullmatch(source):
            return source
        name = self.fresh()
        self.put(f"{name} = {source}")
        return name

    def hold(self, value: Any, prefix: str = "K") -> str:
        """The name of something made beforehand."""
        name = self.fresh(prefix)
        self.names[name] = value
        return name

    def leave(self) -> None:
        """Say that there is no value: the rules give none."""
        if self.exits:
            self.exits[-1].append(dict(self.known))
        self.voids[-1]()

    def void_if(self, condition: str) -> None:
        """Leave where a condition holds."""
        with self.under(f"if {condition}:"):
            self.leave()

    @contextmanager
    def block(self, target: str) -> Iterator[None]:
        """Statements that a void leaves with `VOID` in the target; what is known afterwards is known on all ways."""

        def broken() -> None:
            self.put(f"{target} = VOID")
            self.put("break")

        self.exits.append([])
        self.voids.append(broken)
        before = self.known
        with self.under("while True:"):
            yield
            self.put("break")
            ways = [*self.exits.pop(), self.known]
            self.voids.pop()
        self.known = {
            number: any(way[number] for way in ways)
            for number in ways[-1]
            if all(number in way for way in ways)
        }
        assert before.keys() <= self.known.keys()
