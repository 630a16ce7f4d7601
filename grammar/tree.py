"""The syntax tree of the rule language.

Nodes are immutable and compare by what they say, not by where they stand: `span` is the pair of character
offsets (start, end) of the node in the text it was parsed from, without the parentheses around it, and takes
no part in equality. A tree built by hand needs no spans.

A literal keeps the figures as they were written, sign included: `-3 1/2 m` is `Quantity("-3 1/2", "m")`,
minus three and a half metres. A minus before anything else is a `Negative`.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, fields

Span = tuple[int, int]

NOWHERE: Span = (0, 0)

MAXIMUM_DEPTH = 64
"""How many nodes may stand on a path from the root of a tree down."""


@dataclass(frozen=True, slots=True)
class Node:
    """What all nodes have in common."""

    span: Span = field(default=NOWHERE, compare=False, repr=False, kw_only=True)


@dataclass(frozen=True, slots=True)
class Number(Node):
    """A plain number: `text` is `1.75`, `7/8` or `3 1/2`, with a minus in front if there was one."""

    text: str


@dataclass(frozen=True, slots=True)
class Quantity(Node):
    """A number with a unit, or a member of a series written that way; `amount` is written like a `Number`."""

    amount: str
    unit: str


@dataclass(frozen=True, slots=True)
class Truth(Node):
    """`yes` or `no`."""

    value: bool


@dataclass(frozen=True, slots=True)
class Nothing(Node):
    """`none`: what an optional value is when there is none."""


@dataclass(frozen=True, slots=True)
class Name(Node):
    """A bare name. `it` is the item of the nearest aggregate, `this` the thing the rule speaks about."""

    text: str


@dataclass(frozen=True, slots=True)
class Own(Node):
    """`own length`: inside an aggregate, the attribute of the rule's own thing and not of the item."""

    name: str


@dataclass(frozen=True, slots=True)
class Property(Node):
    """`of.name`: an attribute, a relation to follow, or a property of a series member."""

    of: Node
    name: str


@dataclass(frozen=True, slots=True)
class Lookup(Node):
    """`table[key, ...]`; the node's span starts with the table's name."""

    table: str
    keys: tuple[Node, ...]


@dataclass(frozen=True, slots=True)
class Call(Node):
    """`function(argument, ...)`; the node's span starts with the function's name."""

    function: str
    arguments: tuple[Node, ...]


@dataclass(frozen=True, slots=True)
class Negative(Node):
    """`-operand`, where the operand is not itself a literal."""

    operand: Node


@dataclass(frozen=True, slots=True)
class Not(Node):
    """`not operand`."""

    operand: Node


@dataclass(frozen=True, slots=True)
class Arithmetic(Node):
    """`left op right`, op one of `+ - * / ^`; right of `^` stands a `Number`, whole and without a sign."""

    op: str
    left: Node
    right: Node


@dataclass(frozen=True, slots=True)
class Comparison(Node):
    """`left op right`, op one of `<`, `<=`, `>`, `>=`, `is`, `is not`."""

    op: str
    left: Node
    right: Node


@dataclass(frozen=True, slots=True)
class OneOf(Node):
    """`operand is one of (option, ...)`, or `is not one of`."""

    operand: Node
    options: tuple[Node, ...]
    negated: bool = False


@dataclass(frozen=True, slots=True)
class Given(Node):
    """`operand is given`, or `is not given`."""

    operand: Node
    negated: bool = False


@dataclass(frozen=True, slots=True)
class Logic(Node):
    """`left and right`, `left or right`."""

    op: str
    left: Node
    right: Node


@dataclass(frozen=True, slots=True)
class If(Node):
    """`if condition then ... else ...`; there is always an `else`."""

    condition: Node
    then: Node
    otherwise: Node


@dataclass(frozen=True, slots=True)
class Aggregate(Node):
    """`op of body over path where condition`, op one of `sum greatest least any all`, or `count of path`.

    `over` is a path: a `Name` or an `Own`, or a `Property` of a path. `body` is None for `count` only.
    """

    op: str
    body: Node | None
    over: Node
    where: Node | None = None


@dataclass(frozen=True, slots=True)
class Pick(Node):
    """`first variable in series where condition` (or `last`); `series` is a path."""

    which: str
    variable: str
    series: Node
    where: Node


def children(node: Node) -> tuple[Node, ...]:
    """The nodes directly under `node`, in the order of the text."""
    found: list[Node] = []
    for part in fields(node):
        value = getattr(node, part.name)
        if isinstance(value, Node):
            found.append(value)
        elif isinstance(value, tuple) and part.name != "span":
            found.extend(value)
    return tuple(found)


def walk(node: Node) -> Iterator[Node]:
    """`node` and everything under it, parents first, left to right; without recursion."""
    waiting = [node]
    while waiting:
        current = waiting.pop()
        yield current
        waiting.extend(reversed(children(current)))


def is_literal(node: Node) -> bool:
    """Whether the node is written in figures, with or without a unit."""
    return isinstance(node, Number | Quantity)


def has_fraction(node: Node) -> bool:
    """Whether the node is a literal with a fraction in its figures: `7/8`, `3 1/2 m`."""
    match node:
        case Number(figures) | Quantity(figures, _):
            return "/" in figures
        case _:
            return False
